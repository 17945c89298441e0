//! What an asset says of itself as the fields of a form, and back: only what was changed there is
//! changed.

use ohmward_parsers::{Resistance, read_resistance};

use super::asked::{Fields, Wrongs};
use crate::limits::LONGEST_INTERVAL;
use crate::model::{Asset, Invalid, Limit, LimitMeaning, Text};
use crate::registry::{AssetChange, as_read, isolation};
use crate::trend::words::ohms;

/// The fields, by the names of the columns of `assets.csv`, and the limits beside the one at 40 °C.
pub(super) const NAMES: &[&str] = &[
    "kind",
    "class",
    "rated_voltage_v",
    "limit_ohm",
    "more_limits",
    "insulation",
    "phases",
    "interval_days",
    "discharge_wait_s",
    "site",
    "remark",
    "training",
];

/// The asset in its own words.
pub(super) fn fields_of(asset: &Asset) -> Fields {
    let number = |n: Option<f64>| n.map(|n| n.to_string()).unwrap_or_default();
    let whole = |n: Option<u32>| n.map(|n| n.to_string()).unwrap_or_default();
    let limits: Vec<String> = asset.more_limits.iter().map(limit_line).collect();
    let values = [
        asset.kind.to_string(),
        asset.class.to_string(),
        number(asset.rated_voltage_v),
        asset.limit_ohm.map(exactly).unwrap_or_default(),
        limits.join("\n"),
        asset.insulation.to_string(),
        asset.joining.to_string(),
        whole(asset.interval_days),
        whole(asset.discharge_s),
        asset.site.to_string(),
        asset.remark.to_string(),
        asset.training.as_ref().map(ToString::to_string).unwrap_or_default(),
    ];
    NAMES.iter().zip(values).fold(Fields::default(), |fields, (name, v)| fields.with(name, v))
}

/// The name of the field that keeps what a form began with.
pub(super) fn was(name: &str) -> String {
    format!("was_{name}")
}

/// What was changed in a form, against what it began with: whatever somebody else changed meanwhile
/// stays.
struct Changed<'f>(&'f Fields);

impl Changed<'_> {
    fn get(&self, name: &str) -> Option<String> {
        let lines = |text: &str| text.trim().replace("\r\n", "\n");
        let (is, was) = (lines(self.0.get(name)), lines(self.0.get(&was(name))));
        (is != was).then_some(is)
    }
}

/// The class that a form names where it did not before; empty: none any more.
pub(super) fn class_of(fields: &Fields) -> Option<String> {
    Changed(fields).get("class")
}

/// The asset with what was changed in the form.
pub(super) fn changed(known: Asset, fields: &Fields) -> Result<Asset, Wrongs> {
    let (changed, mut wrong) = (Changed(fields), Wrongs::default());
    let mut read = |name, read: fn(&'static str, &str) -> Result<f64, Invalid>| {
        let written: String = changed.get(name)?;
        if written.is_empty() { Some(None) } else { wrong.keep(read(name, &written)).map(Some) }
    };
    let rated_voltage_v = read("rated_voltage_v", number);
    let limit_ohm = read("limit_ohm", resistance);
    let interval_days = read("interval_days", whole).map(|n| n.map(|n| n as u32));
    let discharge_s = read("discharge_wait_s", whole).map(|n| n.map(|n| n as u32));
    let more_limits = changed.get("more_limits").and_then(|lines| wrong.keep(limits(&lines)));
    let is_silent = fields.get("kind").is_empty() && !fields.get("class").is_empty();
    let change = AssetChange {
        kind: changed.get("kind").filter(|_| !is_silent),
        rated_voltage_v,
        limit_ohm,
        insulation: changed.get("insulation"),
        phases: changed.get("phases"),
        site: changed.get("site"),
        remark: changed.get("remark"),
        more_limits,
        class: changed.get("class"),
        interval_days,
        discharge_s,
        training: changed.get("training").map(|known| match known.as_str() {
            "" => "no".to_owned(),
            _ => known,
        }),
    };
    match wrong.keep(change.of(known.id.clone(), Some(known))) {
        Some(mut asset) if wrong.is_empty() => {
            if is_silent {
                // Its class says what it is.
                asset.kind = Text::default();
            }
            Ok(asset)
        }
        _ => Err(wrong),
    }
}

fn number(field: &'static str, written: &str) -> Result<f64, Invalid> {
    let number = written.replace(',', ".").parse::<f64>().ok().filter(|n| n.is_finite());
    number.ok_or_else(|| Invalid::new(field, "a number such as 400", written))
}

fn whole(field: &'static str, written: &str) -> Result<f64, Invalid> {
    let number = written.parse::<u32>().ok().filter(|n| (1..=LONGEST_INTERVAL).contains(n));
    let expected = "a whole number from 1 to 100000, or nothing";
    number.map(f64::from).ok_or_else(|| Invalid::new(field, expected, written))
}

fn resistance(field: &'static str, written: &str) -> Result<f64, Invalid> {
    match read_resistance(written) {
        Ok(Resistance::Measured(ohms)) if ohms > 0.0 => Ok(ohms),
        _ => Err(Invalid::new(field, "a resistance such as `5 MΩ`", written)),
    }
}

/// Ohms as they are written everywhere, where that says them exactly.
fn exactly(value: f64) -> String {
    let words = ohms(value);
    match read_resistance(&words) {
        Ok(Resistance::Measured(read)) if read == value => words,
        _ => format!("{value} Ω"),
    }
}

fn limit_line(limit: &Limit) -> String {
    match limit.meaning {
        LimitMeaning::Isolation { ohm_per_volt, working_voltage_v } => {
            format!("{ohm_per_volt} Ω/V at {working_voltage_v} V")
        }
        LimitMeaning::AsRead | LimitMeaning::At40 => format!("{} as read", exactly(limit.ohms)),
    }
}

/// Limits, one a line.
fn limits(lines: &str) -> Result<Vec<Limit>, Invalid> {
    lines.lines().map(str::trim).filter(|line| !line.is_empty()).map(limit).collect()
}

fn limit(line: &str) -> Result<Limit, Invalid> {
    let wrong = || {
        let expected = "`1 MΩ as read` or `100 Ω/V at 800 V`, one a line";
        Invalid::new("more_limits", expected, line)
    };
    if let Some(written) = line.strip_suffix("as read") {
        return as_read(resistance("more_limits", written.trim()).map_err(|_| wrong())?);
    }
    let (per_volt, volts) = line.split_once("Ω/V at ").ok_or_else(wrong)?;
    let volts = volts.trim().strip_suffix('V').ok_or_else(wrong)?;
    let part = |written: &str| number("more_limits", written.trim()).map_err(|_| wrong());
    isolation(part(per_volt)?, part(volts)?).map_err(|_| wrong())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{AssetId, Insulation, Joining, Training};

    fn drive() -> Asset {
        Asset {
            kind: "drive motor".into(),
            rated_voltage_v: Some(400.0),
            limit_ohm: Some(5_250_001.0),
            insulation: Insulation::Thermosetting,
            more_limits: vec![as_read(1e6).unwrap(), isolation(100.0, 800.0).unwrap()],
            interval_days: Some(90),
            training: Some(Training::parse("V to case 200 kΩ, put in").unwrap()),
            ..Asset::silent(AssetId::new("YT-014/drive").unwrap())
        }
    }

    /// A form that began with an asset, with some fields filled in anew.
    fn form(asset: &Asset, filled: &[(&str, &str)]) -> Fields {
        let shown = fields_of(asset);
        let begun = NAMES.iter().fold(shown.clone(), |fields, name| {
            // As browsers end lines (HTML, "constructing the entry list").
            fields.with(&was(name), shown.get(name).replace('\n', "\r\n"))
        });
        filled.iter().fold(begun, |fields, (name, v)| fields.with(name, (*v).to_owned()))
    }

    #[test]
    fn what_nobody_touched_stays_to_the_last_ohm() {
        assert_eq!(changed(drive(), &form(&drive(), &[])).unwrap(), drive());
        let silent = Asset { class: "drive".into(), ..Asset::silent(drive().id) };
        assert_eq!(changed(silent.clone(), &form(&silent, &[])).unwrap(), silent);
    }

    #[test]
    fn what_was_filled_in_is_changed_and_nothing_else() {
        let filled = form(
            &drive(),
            &[
                ("limit_ohm", "10M"),
                ("more_limits", "500 Ω/V at 800 V\r\n2 MΩ as read\r\n"),
                ("phases", "tied"),
                ("interval_days", ""),
                ("discharge_wait_s", "30"),
                ("training", ""),
            ],
        );
        let expected = Asset {
            limit_ohm: Some(1e7),
            more_limits: vec![isolation(500.0, 800.0).unwrap(), as_read(2e6).unwrap()],
            joining: Joining::Tied,
            interval_days: None,
            discharge_s: Some(30),
            training: None,
            ..drive()
        };
        assert_eq!(changed(drive(), &filled).unwrap(), expected);
        // What somebody else changed since the form was shown stays.
        let meanwhile = Asset { site: "North quay".into(), ..drive() };
        let both = Asset { site: "North quay".into(), ..expected };
        assert_eq!(changed(meanwhile, &filled).unwrap(), both);
    }

    #[test]
    fn what_cannot_be_is_told_beside_each_field() {
        for (name, written) in [
            ("kind", ""),
            ("rated_voltage_v", "-1"),
            ("rated_voltage_v", "much"),
            ("limit_ohm", "OL"),
            ("limit_ohm", "0"),
            ("more_limits", "1 MΩ"),
            ("more_limits", "0 Ω as read"),
            ("more_limits", "100 Ω/V at 0 V"),
            ("insulation", "paper"),
            ("phases", "four"),
            ("interval_days", "0"),
            ("interval_days", "100001"),
            ("discharge_wait_s", "1.5"),
            ("training", "bad"),
        ] {
            let wrong = changed(drive(), &form(&drive(), &[(name, written)])).unwrap_err();
            assert!(wrong.at(name).is_some(), "{name} `{written}`: {:?}", wrong.all());
        }
        let two = [("limit_ohm", "x"), ("interval_days", "x"), ("insulation", "paper")];
        assert_eq!(changed(drive(), &form(&drive(), &two)).unwrap_err().all().len(), 3);
    }

    #[test]
    fn a_class_says_what_its_asset_is_silent_about() {
        let met = Asset::first_met(drive().id);
        let classed = changed(met.clone(), &form(&met, &[("class", "drive motor 400 V")]));
        let silent = Asset { class: "drive motor 400 V".into(), ..Asset::silent(met.id) };
        assert_eq!(classed.unwrap(), silent);
        let emptied = changed(drive(), &form(&drive(), &[("class", "drive"), ("kind", "")]));
        assert_eq!(emptied.unwrap().kind, "");
    }
}
