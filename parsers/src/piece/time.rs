//! Local times by the profile's patterns and zone, and the hours that clock changes repeat or skip.

use jiff::civil::{Date, DateTime, Time};
use jiff::fmt::strtime::{self, BrokenDownTime};
use jiff::tz::{AmbiguousOffset, TimeZone};

use crate::fault::{Fault, Wrong};
use crate::piece::rfc3339;
use crate::raw::{Doubt, Precision, Taken};

/// Years that a dated reading can be of: before, a year lost its century.
const YEARS: std::ops::RangeInclusive<i16> = 1900..=9999;

/// One way of writing a time, checked when the profile was loaded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Pattern {
    written: String,
    precision: Precision,
    has_date: bool,
    has_clock: bool,
    has_offset: bool,
}

impl Pattern {
    /// The word that stands for RFC 3339 in place of a pattern.
    pub(crate) const RFC_3339: &str = "rfc3339";

    /// Checks a `strftime` pattern; the error says what is wrong with it.
    pub(crate) fn new(written: &str) -> Result<Pattern, Wrong> {
        let has = |letters: &str| {
            let mut chars = written.chars();
            let mut found = false;
            while let Some(c) = chars.next() {
                if c == '%' {
                    let kind =
                        chars.find(|c| !matches!(c, '-' | '_' | '0'..='9' | '^' | '#' | '.' | ':'));
                    found |= kind.is_some_and(|kind| letters.contains(kind));
                }
            }
            found
        };
        let rfc = written == Pattern::RFC_3339;
        let has_date = rfc || has("YyFDsGj");
        let has_clock = rfc || has("HIklsTR");
        let precision = match (rfc || has("STs"), has_clock) {
            (true, _) => Precision::Fine,
            (false, true) => Precision::Minute,
            (false, false) => Precision::Day,
        };
        let has_offset = rfc || has("zs");
        if !has_date && !has_clock {
            return Err(Wrong::new("a time pattern with a year or an hour in it", written));
        }
        if !rfc {
            let wrong = |error: jiff::Error| {
                Wrong::new(format!("a time pattern that can be read ({error})"), written)
            };
            // What cannot write a time cannot read one either.
            let sample = Date::constant(2026, 11, 22).at(13, 24, 35, 0);
            let sample = sample.to_zoned_datetime(TimeZone::UTC).map_err(wrong)?;
            let text = strtime::format(written, &sample).map_err(wrong)?;
            BrokenDownTime::parse(written, &text).map_err(wrong)?;
        }
        Ok(Pattern { written: written.to_owned(), precision, has_date, has_clock, has_offset })
    }

    /// Whether a zone must be known to make an instant of it.
    pub(crate) fn is_local(&self) -> bool {
        !self.has_offset
    }

    pub(crate) fn has_date(&self) -> bool {
        self.has_date
    }

    pub(crate) fn has_clock(&self) -> bool {
        self.has_clock
    }

    /// How many bytes at the start of a text it fits.
    pub(crate) fn prefix(&self, text: &str) -> Option<usize> {
        if self.written == Pattern::RFC_3339 {
            let len = text.find([' ', '\t', ',', ';', ']', ')']).unwrap_or(text.len());
            return rfc3339::instant(&text[..len]).map(|_| len);
        }
        BrokenDownTime::parse_prefix(&self.written, text).ok().map(|(_, len)| len)
    }

    fn read(&self, text: &str) -> Option<BrokenDownTime> {
        BrokenDownTime::parse(&self.written, text).ok()
    }
}

/// How a stream writes its times.
#[derive(Clone, Debug, Default)]
pub(crate) struct Rules {
    /// Of a field with date and clock.
    pub(crate) whole: Vec<Pattern>,
    /// Of a field with the date alone.
    pub(crate) date: Vec<Pattern>,
    /// Of a field with the clock alone.
    pub(crate) clock: Vec<Pattern>,
    pub(crate) zone: Option<TimeZone>,
}

/// What the order of records told so far about the times in a stream.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Order {
    /// The last time in microseconds: the earliest and the latest that it can have been.
    last: Option<(i64, i64)>,
    /// The last time without doubt.
    certain: Option<i64>,
    rose: bool,
    fell: bool,
}

impl Order {
    /// Notes a time without doubt.
    fn note(&mut self, micros: i64) {
        self.last = Some((micros, micros));
        let before = self.certain.replace(micros);
        self.rose |= before.is_some_and(|before| before < micros);
        self.fell |= before.is_some_and(|before| before > micros);
    }

    /// Which of the two instants of a repeated hour the order demands. In a stream that only rose
    /// so far it is the later one if the earlier would fall; in one that only fell the earlier one
    /// if the later would rise. That holds also where the last time is itself in doubt, taken at
    /// its near end.
    fn choose(&self, earlier: i64, later: i64) -> Option<i64> {
        let (low, high) = self.last?;
        match (self.rose, self.fell) {
            (true, false) if earlier < low && low <= later => Some(later),
            (false, true) if later > high && high >= earlier => Some(earlier),
            _ => None,
        }
    }
}

impl Rules {
    /// The instant of a field that holds date and clock.
    pub(crate) fn whole(&self, text: &str, order: &mut Order, field: &str) -> Result<Taken, Fault> {
        let fault = || Fault::new("time", field, expected(&self.whole), text);
        for pattern in &self.whole {
            if pattern.written == Pattern::RFC_3339 {
                if let Some(taken) = rfc3339::instant(text) {
                    order.note(taken.micros);
                    return Ok(taken);
                }
                continue;
            }
            let Some(parts) = pattern.read(text) else { continue };
            if pattern.has_offset {
                let stamp = parts.to_timestamp().map_err(|_| fault())?;
                if parts.year().is_some_and(|year| !YEARS.contains(&year)) {
                    return Err(short_year(field, text));
                }
                let precision = pattern.precision;
                let taken = Taken { micros: stamp.as_microsecond(), precision, doubt: Doubt::None };
                order.note(taken.micros);
                return Ok(taken);
            }
            let date = parts.to_date().map_err(|_| fault())?;
            let clock = if pattern.has_clock {
                parts.to_time().map_err(|_| fault())?
            } else {
                Time::midnight()
            };
            return self.local(date.to_datetime(clock), pattern.precision, order, field, text);
        }
        Err(fault())
    }

    /// The instant of a date and a clock that stand in fields of their own; no clock, or an empty
    /// one, leaves the day.
    pub(crate) fn parts(
        &self,
        date: (&str, &str),
        clock: (&str, &str),
        order: &mut Order,
    ) -> Result<Taken, Fault> {
        let (date_field, date_text) = date;
        let (clock_field, clock_text) = clock;
        let day = self
            .date
            .iter()
            .find_map(|pattern| pattern.read(date_text)?.to_date().ok())
            .ok_or_else(|| Fault::new("time", date_field, expected(&self.date), date_text))?;
        if clock_text.is_empty() {
            let midnight = day.to_datetime(Time::midnight());
            return self.local(midnight, Precision::Day, order, date_field, date_text);
        }
        let (time, precision) = self
            .clock
            .iter()
            .find_map(|pattern| {
                Some((pattern.read(clock_text)?.to_time().ok()?, pattern.precision))
            })
            .ok_or_else(|| Fault::new("time", clock_field, expected(&self.clock), clock_text))?;
        let text = format!("{date_text} {clock_text}");
        self.local(day.to_datetime(time), precision, order, date_field, &text)
    }

    fn local(
        &self,
        time: DateTime,
        precision: Precision,
        order: &mut Order,
        field: &str,
        text: &str,
    ) -> Result<Taken, Fault> {
        if !YEARS.contains(&time.year()) {
            return Err(short_year(field, text));
        }
        let zone = self
            .zone
            .as_ref()
            .ok_or_else(|| Fault::new("time", field, "a zone in the profile", text))?;
        let out_of_range = || Fault::new("time", field, "a time that can be counted", text);
        let micros = |offset: jiff::tz::Offset| {
            offset
                .to_timestamp(time)
                .map(|stamp| stamp.as_microsecond())
                .map_err(|_| out_of_range())
        };
        let micros = match zone.to_ambiguous_timestamp(time).offset() {
            AmbiguousOffset::Unambiguous { offset } => micros(offset)?,
            AmbiguousOffset::Fold { before, after } => {
                let (earlier, later) = (micros(before)?, micros(after)?);
                // A day is a day, whichever of two midnights began it.
                if precision == Precision::Day {
                    earlier
                } else if let Some(chosen) = order.choose(earlier, later) {
                    chosen
                } else {
                    let doubt = Doubt::RepeatedHour;
                    order.last = Some((earlier, later));
                    return Ok(Taken { micros: earlier, precision, doubt });
                }
            }
            AmbiguousOffset::Gap { before, .. } if precision == Precision::Day => micros(before)?,
            AmbiguousOffset::Gap { .. } => {
                let expected = "a time that exists: clocks were put forward over this one";
                return Err(Fault::new("time", field, expected, text));
            }
        };
        order.note(micros);
        Ok(Taken { micros, precision, doubt: Doubt::None })
    }
}

fn short_year(field: &str, text: &str) -> Fault {
    Fault::new("time", field, "a year in four digits (two only where the profile has `%y`)", text)
}

/// The patterns as a person is told them.
fn expected(patterns: &[Pattern]) -> String {
    let told: Vec<_> = patterns
        .iter()
        .map(|pattern| match pattern.written.as_str() {
            Pattern::RFC_3339 => rfc3339::EXPECTED.to_owned(),
            written => format!("a time as `{written}`"),
        })
        .collect();
    told.join(" or ")
}
