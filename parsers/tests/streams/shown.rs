//! A stream read and told in lines, as the fixtures' `expected.txt` has it.
//!
//! ```text
//! 4.0 @120+58 2026-03-02T08:15:00Z asset=YT-014 phase=U against=case >550000000 un=500 t=60
//! 5.0 @179+40 reject time `Datum`: expected a time as `%d.%m.%Y`, found `32.03.2026`
//! ```
//! Record and part, byte offset and length, then what came of it. A time known to the minute ends
//! in `~min`, to the day in `~day`, one of a repeated hour in `?hour`; `none` is no time at all.

use std::collections::BTreeSet;
use std::fmt::Write;

use ohmward_parsers::{
    Doubt, Parsed, Place, Precision, Profile, RawReading, Resistance, Stream, TemperatureOf,
};

/// Reads the bytes in several choppings, checks that all agree and that every record is accounted
/// for, and tells the outcome.
pub(crate) fn check(profile: &Profile, input: &[u8]) -> String {
    let whole = read(profile, input, input.len().max(1));
    for size in [1, 7, 64] {
        assert_eq!(read(profile, input, size), whole, "in chunks of {size}");
    }
    whole
}

/// Reads the bytes in chunks of a size and tells the outcome.
pub(crate) fn read(profile: &Profile, input: &[u8], size: usize) -> String {
    let mut stream =
        match Stream::open(profile, &input[..input.len().min(ohmward_parsers::HEAD_BYTES)]) {
            Ok(stream) => stream,
            Err(error) => return format!("not opened: {error}\n"),
        };
    let mut out = Parsed::default();
    for chunk in input.chunks(size) {
        stream.push(chunk, &mut out);
    }
    stream.finish(&mut out);
    account(&stream, &out);
    tell(&stream, &out)
}

/// The invariant: every record has readings or rejects, or is silent, or was not read at all; and
/// no place is there twice.
pub(crate) fn account(stream: &Stream, out: &Parsed) {
    let readings = out.readings.iter().map(|reading| reading.place);
    let places: Vec<_> = readings.chain(out.rejects.iter().map(|reject| reject.place)).collect();
    let distinct: BTreeSet<_> = places.iter().map(|p| (p.record, p.part)).collect();
    assert_eq!(distinct.len(), places.len(), "a place twice");
    let records: BTreeSet<_> = places.iter().map(|place| place.record).collect();
    let counted = records.len() as u64 + out.silent + stream.unread();
    assert_eq!(counted, stream.records(), "records accounted for");
}

fn tell(stream: &Stream, out: &Parsed) -> String {
    let mut lines: Vec<(Place, String)> = Vec::new();
    for reading in &out.readings {
        lines.push((reading.place, tell_reading(reading)));
    }
    for reject in &out.rejects {
        let field =
            if reject.field.is_empty() { String::new() } else { format!(" `{}`", reject.field) };
        let told = format!(
            "{}{field}: expected {}, found `{}`",
            reject.kind, reject.expected, reject.found
        );
        lines.push((reject.place, format!("reject {told}")));
    }
    lines.sort_by_key(|(place, _)| *place);
    let mut text = String::new();
    for (place, told) in lines {
        let Place { record, part, offset, len } = place;
        writeln!(text, "{record}.{part} @{offset}+{len} {told}").unwrap();
    }
    writeln!(text, "silent {}", out.silent).unwrap();
    for warning in stream.warnings() {
        writeln!(text, "warning: {warning}").unwrap();
    }
    if let Some(refusal) = stream.refusal() {
        writeln!(text, "refused: {refusal}; {} records unread", stream.unread()).unwrap();
    }
    text
}

pub(crate) fn tell_reading(reading: &RawReading) -> String {
    let mut told = match reading.taken {
        None => "none".to_owned(),
        Some(taken) => {
            let precision = match taken.precision {
                Precision::Fine => "",
                Precision::Minute => "~min",
                Precision::Day => "~day",
            };
            let doubt = if taken.doubt == Doubt::RepeatedHour { "?hour" } else { "" };
            let stamp = jiff::Timestamp::from_microsecond(taken.micros).unwrap();
            format!("{stamp}{precision}{doubt}")
        }
    };
    let texts = [
        ("asset", &reading.asset),
        ("phase", &reading.phase),
        ("against", &reading.against),
        ("setup", &reading.setup),
        ("tester", &reading.tester),
        ("operator", &reading.operator),
        ("station", &reading.station),
        ("remark", &reading.remark),
    ];
    let (before, behind) = texts.split_at(4);
    put(&mut told, before);
    let ohms = |ohms: Option<f64>| ohms.map_or("?".to_owned(), |ohms| ohms.to_string());
    match reading.resistance {
        Resistance::Measured(value) => write!(told, " ={value}").unwrap(),
        Resistance::Over(value) => write!(told, " >{}", ohms(value)).unwrap(),
        Resistance::Under(value) => write!(told, " <{}", ohms(value)).unwrap(),
    }
    let of = match reading.temperature_of {
        None => "temp",
        Some(TemperatureOf::Winding) => "winding",
        Some(TemperatureOf::Ambient) => "ambient",
    };
    let values = [
        ("un", reading.test_voltage_v),
        ("u", reading.delivered_voltage_v),
        ("t", reading.duration_s),
        (of, reading.temperature_c),
        ("rh", reading.humidity_pct),
    ];
    for (name, value) in values {
        if let Some(value) = value {
            write!(told, " {name}={value}").unwrap();
        }
    }
    put(&mut told, behind);
    told
}

fn put(told: &mut String, texts: &[(&str, &ohmward_parsers::Text)]) {
    for (name, text) in texts {
        if !text.is_empty() {
            let quoted = text.contains([' ', '\n']);
            if quoted { write!(told, " {name}={text:?}") } else { write!(told, " {name}={text}") }
                .unwrap();
        }
    }
}
