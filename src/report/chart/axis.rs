//! The two axes: where an instant and a resistance lie, and which of them get a tick.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::model::{DAY_MICROS, Stamp};
use crate::report::scene::Spot;
use crate::trend::words::ohms;

/// The rectangle of the plot and what it spans.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Frame {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
    /// Days since the epoch at the left and right edge.
    pub(super) days: (f64, f64),
    /// log10 ohm at the lower and upper edge.
    pub(super) logs: (f64, f64),
}

impl Frame {
    /// Where an instant lies; outside the frame for one that it does not span.
    pub(super) fn x(&self, at: Stamp) -> f64 {
        let (from, to) = self.days;
        self.left + (at.days() - from) / (to - from) * (self.right - self.left)
    }

    /// Where a resistance lies, held inside the frame.
    pub(super) fn y(&self, log_ohm: f64) -> f64 {
        let (low, high) = self.logs;
        let y = self.bottom - (log_ohm - low) / (high - low) * (self.bottom - self.top);
        y.clamp(self.top, self.bottom)
    }

    pub(super) fn spot(&self, at: Stamp, log_ohm: f64) -> Spot {
        (self.x(at).clamp(self.left, self.right), self.y(log_ohm))
    }

    pub(super) fn holds(&self, at: Stamp) -> bool {
        (self.days.0..=self.days.1).contains(&at.days())
    }
}

/// A tick: where, and what stands at it; nothing at a fine one.
pub(super) type Tick<T> = (T, Option<String>);

/// Ticks in ohms: every decade, and where there are few of them 2 and 5 times as much.
pub(super) fn ohm_ticks((low, high): (f64, f64)) -> Vec<Tick<f64>> {
    let span = high - low;
    let within = |log: f64| (low..=high).contains(&log);
    let mut ticks = Vec::new();
    for decade in low.floor() as i32..=high.ceil() as i32 {
        // Ten decades and more have a number at every second or third.
        let every = (span / 6.0).ceil().max(1.0) as i32;
        for (times, numbered) in
            [(1.0, decade.rem_euclid(every) == 0), (2.0, span < 1.6), (5.0, span < 1.6)]
        {
            let value = times * 10f64.powi(decade);
            if within(value.log10()) && (times == 1.0 || span < 4.5) {
                ticks.push((value.log10(), numbered.then(|| ohms(value))));
            }
        }
    }
    ticks
}

/// Steps of the time axis.
#[derive(Clone, Copy, Debug)]
enum Pace {
    Hours(i64),
    Days(i64),
    Months(i64),
}

/// From the finest to the coarsest, with the days that each roughly lasts.
const PACES: [(Pace, f64); 16] = [
    (Pace::Hours(1), 1.0 / 24.0),
    (Pace::Hours(3), 0.125),
    (Pace::Hours(6), 0.25),
    (Pace::Days(1), 1.0),
    (Pace::Days(2), 2.0),
    (Pace::Days(7), 7.0),
    (Pace::Days(14), 14.0),
    (Pace::Months(1), 30.4),
    (Pace::Months(2), 60.9),
    (Pace::Months(3), 91.3),
    (Pace::Months(6), 182.6),
    (Pace::Months(12), 365.2),
    (Pace::Months(24), 730.5),
    (Pace::Months(60), 1826.0),
    (Pace::Months(120), 3652.0),
    (Pace::Months(600), 18_262.0),
];

/// Ticks in time, at most about `most`: whole hours, days, months or years of UTC, written so that
/// no country reads them differently.
pub(super) fn time_ticks((from, to): (f64, f64), most: f64) -> Vec<(Stamp, String)> {
    let wanted = (to - from) / most.max(1.0);
    let fitting = PACES.iter().find(|(_, days)| *days >= wanted);
    let (pace, _) = fitting.unwrap_or(&PACES[PACES.len() - 1]);
    let mut ticks = Vec::new();
    let within = |at: Stamp| at.days() >= from && at.days() <= to;
    match *pace {
        Pace::Hours(step) => {
            let micros = step * DAY_MICROS / 24;
            let mut at = (from * DAY_MICROS as f64) as i64 / micros * micros;
            while (at as f64) <= to * DAY_MICROS as f64 {
                let stamp = Stamp::from_micros(at);
                if within(stamp) {
                    ticks.push((stamp, clock(stamp)));
                }
                at += micros;
            }
        }
        Pace::Days(step) => {
            // Weeks begin on Monday; day 4 of the epoch was one.
            let origin = if step % 7 == 0 { 4 } else { 0 };
            let mut day = (from.floor() as i64 - origin).div_euclid(step) * step + origin;
            while day as f64 <= to {
                let stamp = Stamp::from_micros(day * DAY_MICROS);
                if within(stamp) {
                    ticks.push((stamp, stamp.date()));
                }
                day += step;
            }
        }
        Pace::Months(step) => {
            let Some(mut date) = month_before(from, step) else { return ticks };
            while let Some(stamp) = midnight(date).filter(|s| s.days() <= to) {
                if within(stamp) {
                    let text = stamp.date();
                    let whole_years = step % 12 == 0;
                    ticks.push((stamp, text[..if whole_years { 4 } else { 7 }].to_owned()));
                }
                let Ok(next) = date.checked_add(step.months()) else { break };
                date = next;
            }
        }
    }
    ticks
}

/// The first of the month at or before a day whose number in the calendar is a multiple.
fn month_before(days: f64, step: i64) -> Option<Date> {
    let date: Date = Stamp::from_micros((days * DAY_MICROS as f64) as i64).date().parse().ok()?;
    let months = i64::from(date.year()) * 12 + i64::from(date.month()) - 1;
    let months = months.div_euclid(step) * step;
    Date::new(
        i16::try_from(months.div_euclid(12)).ok()?,
        i8::try_from(months.rem_euclid(12) + 1).ok()?,
        1,
    )
    .ok()
}

fn midnight(date: Date) -> Option<Stamp> {
    Stamp::parse(&date.to_string()).ok()
}

/// `2026-03-02 14:00` at midnight as the date alone, else the hour.
fn clock(at: Stamp) -> String {
    let text = at.to_string();
    match &text[11..16] {
        "00:00" => text[..10].to_owned(),
        hour => hour.to_owned(),
    }
}

/// How long it was, in words: `5 weeks`, `7 months`.
pub(super) fn lasting(days: f64) -> String {
    match days {
        d if d < 14.0 => format!("{d:.0} days"),
        d if d < 61.0 => format!("{:.0} weeks", d / 7.0),
        d if d < 730.0 => format!("{:.0} months", d / 30.44),
        d => format!("{:.1} years", d / 365.25),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(from: &str, to: &str, most: f64) -> String {
        let days = |t: &str| Stamp::parse(t).unwrap().days();
        let ticks = time_ticks((days(from), days(to)), most);
        ticks.into_iter().map(|(_, w)| w).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn ticks_stand_at_whole_units() {
        assert_eq!(
            words("2026-01-15", "2029-02-01", 7.0),
            "2026-07 2027-01 2027-07 2028-01 2028-07 2029-01"
        );
        assert_eq!(words("2016-05-01", "2026-05-01", 6.0), "2018 2020 2022 2024 2026");
        assert_eq!(words("2026-01-30", "2026-02-20", 4.0), "2026-02-02 2026-02-09 2026-02-16");
        assert_eq!(
            words("2026-01-30T22:00:00Z", "2026-01-31T07:00:00Z", 5.0),
            "2026-01-31 03:00 06:00"
        );
    }

    #[test]
    fn ohms_are_numbered_by_the_decade_or_closer() {
        let words = |range| {
            let ticks = ohm_ticks(range).into_iter().filter_map(|(_, w)| w);
            ticks.collect::<Vec<_>>().join(", ")
        };
        assert_eq!(words((6.2, 8.9)), "10 MΩ, 100 MΩ");
        assert_eq!(words((7.9, 9.1)), "100 MΩ, 200 MΩ, 500 MΩ, 1 GΩ");
        assert_eq!(words((3.0, 12.0)), "10 kΩ, 1 MΩ, 100 MΩ, 10 GΩ, 1 TΩ");
    }
}
