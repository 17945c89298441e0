//! Raw readings to readings: whose they are, which phase, what a bare over-range mark stands for.

mod bench;
mod identity;
mod phase;

use std::sync::Arc;

use ohmward_parsers as raw;
use rustc_hash::FxHashMap;

use crate::limits;
use crate::model::{
    Alias, AssetId, Bound, CASE, Facts, Gear, Invalid, Phase, Precision, Reading, Series, Stamp,
    TemperatureOf, Text, TimeDoubt, Volts, text,
};
pub use bench::{Belongs, Identify, OnBench};
pub use identity::{AliasBook, Resolved};
pub use phase::{PhaseRule, phase_of};

/// What a raw reading became.
#[derive(Clone, Debug, PartialEq)]
pub enum Normalised {
    /// A reading of a known asset and phase.
    Reading(Reading),
    /// A reading whose asset or phase is not known yet.
    Tray {
        /// The reading under a placeholder series: its asset and phase mean nothing.
        reading: Reading,
        /// What was written for the asset; may be empty.
        written_asset: Text,
        /// What was written for the phase; may be empty.
        written_phase: Text,
        /// Why it has to wait.
        reason: &'static str,
    },
}

/// The placeholder of a reading in the tray where nothing was written.
pub const UNKNOWN: &str = "?";

/// What the surroundings of a stream say where its records are silent.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Surroundings {
    /// Nominal test voltage in volts.
    pub test_voltage_v: Option<f64>,
    /// The tester.
    pub tester: Text,
    /// The station.
    pub station: Text,
    /// The operator.
    pub operator: Text,
    /// A date given by a person for records without a clock.
    pub taken: Option<Stamp>,
}

/// Turns raw readings of one stream into readings. It remembers series, so that a long file
/// allocates one per series and not one per row.
pub struct Normaliser {
    aliases: AliasBook,
    gear: FxHashMap<Text, Gear>,
    around: Surroundings,
    series: FxHashMap<SeriesKey, Placed>,
}

#[derive(Clone, PartialEq, Eq, Hash)]
struct SeriesKey {
    asset: Text,
    phase: Text,
    against: Text,
    setup: Text,
    volts: u64,
}

/// A series, and why its readings wait in the tray if they do.
#[derive(Clone)]
struct Placed {
    series: Arc<Series>,
    waits: Option<&'static str>,
}

impl Normaliser {
    /// A normaliser for one stream.
    pub fn new(aliases: &[Alias], gear: &[Gear], around: Surroundings) -> Self {
        let gear = gear.iter().map(|g| (g.id.clone(), g.clone())).collect();
        Normaliser { aliases: AliasBook::new(aliases), gear, around, series: FxHashMap::default() }
    }

    /// One raw reading that arrived at `arrived`. The error names the field at fault, what was
    /// expected and what was found.
    pub fn normalise(
        &mut self,
        raw: raw::RawReading,
        arrived: Stamp,
    ) -> Result<Normalised, Invalid> {
        let (taken_at, precision, time_doubt) = self.time(raw.taken, arrived)?;
        let or = |own: Text, around: &Text| if own.is_empty() { around.clone() } else { own };
        let tester = or(raw.tester, &self.around.tester);
        let volts = match raw.test_voltage_v.or(self.around.test_voltage_v) {
            None => None,
            Some(v) => Some(Volts::new("test_voltage_v", v)?),
        };
        let (ohms, bound) = self.resistance(raw.resistance, &tester, volts)?;
        let key = SeriesKey {
            asset: raw.asset,
            phase: raw.phase,
            against: raw.against,
            setup: raw.setup,
            volts: volts.map_or(0, |v| v.get().to_bits()),
        };
        let placed = self.place(&key, volts, taken_at)?;
        let reading = Reading::new(Facts {
            series: placed.series,
            taken_at,
            precision,
            time_doubt,
            ohms,
            bound,
            delivered_voltage_v: raw.delivered_voltage_v,
            duration_s: raw.duration_s,
            temperature_c: raw.temperature_c,
            temperature_of: raw.temperature_of.map(|t| match t {
                raw::TemperatureOf::Winding => TemperatureOf::Winding,
                raw::TemperatureOf::Ambient => TemperatureOf::Ambient,
            }),
            humidity_pct: raw.humidity_pct,
            tester,
            operator: or(raw.operator, &self.around.operator),
            station: or(raw.station, &self.around.station),
            remark: raw.remark,
        })?;
        Ok(match placed.waits {
            None => Normalised::Reading(reading),
            Some(reason) => Normalised::Tray {
                reading,
                written_asset: key.asset,
                written_phase: key.phase,
                reason,
            },
        })
    }

    fn time(
        &self,
        taken: Option<raw::Taken>,
        arrived: Stamp,
    ) -> Result<(Stamp, Precision, TimeDoubt), Invalid> {
        let precision = |p| match p {
            raw::Precision::Fine => Precision::Fine,
            raw::Precision::Minute => Precision::Minute,
            raw::Precision::Day => Precision::Day,
        };
        match taken {
            // A clock that lost its time starts again in 1970; nothing else was measured then.
            Some(t) if !(0..RESET_CLOCK_MICROS).contains(&t.micros) => {
                let at = Stamp::from_micros(t.micros);
                if t.micros > arrived.micros().saturating_add(limits::FUTURE_MICROS) {
                    let expected = format!("a time not more than a day after {arrived}");
                    return Err(Invalid::new("taken_at", expected, at));
                }
                let doubt = match t.doubt {
                    raw::Doubt::None => TimeDoubt::None,
                    raw::Doubt::RepeatedHour => TimeDoubt::RepeatedHour,
                };
                Ok((at, precision(t.precision), doubt))
            }
            _ => Ok(match self.around.taken {
                Some(given) => (given, Precision::Day, TimeDoubt::Given),
                None => (arrived, Precision::Fine, TimeDoubt::Arrival),
            }),
        }
    }

    fn resistance(
        &self,
        resistance: raw::Resistance,
        tester: &Text,
        volts: Option<Volts>,
    ) -> Result<(f64, Bound), Invalid> {
        let known = self.gear.get(tester);
        Ok(match resistance {
            raw::Resistance::Measured(ohms) => (ohms, Bound::Measured),
            raw::Resistance::Over(Some(ohms)) => (ohms, Bound::Over),
            raw::Resistance::Under(Some(ohms)) => (ohms, Bound::Under),
            raw::Resistance::Over(None) => match known
                .and_then(|g| g.full_scale_at(volts.map(Volts::get)))
            {
                Some(ohms) => (ohms, Bound::Over),
                None => {
                    let expected = "the range limit beside an over-range mark, or the tester's \
                                    full scale (`ohmward gear add`), or `full_scale` in the profile";
                    return Err(Invalid::new("resistance_ohm", expected, "over-range, no limit"));
                }
            },
            raw::Resistance::Under(None) => (
                known.and_then(|g| g.lowest_ohm).unwrap_or(limits::LOWEST_READING_OHM),
                Bound::Under,
            ),
        })
    }

    fn place(
        &mut self,
        key: &SeriesKey,
        volts: Option<Volts>,
        at: Stamp,
    ) -> Result<Placed, Invalid> {
        // What an alias may touch depends on the date, so it is not remembered.
        let dated = self.aliases.may_touch(&key.asset);
        if !dated && let Some(placed) = self.series.get(key) {
            return Ok(placed.clone());
        }
        let resolved = self.aliases.resolve(&key.asset, &key.phase, at);
        let (phase, mut waits) = match &resolved.phase {
            Some(phase) => (phase.clone(), None),
            None => match phase_of(&key.phase)? {
                PhaseRule::Phase(phase) => (phase, None),
                PhaseRule::Unmapped(why) => {
                    let label = if key.phase.trim().is_empty() { UNKNOWN } else { &key.phase };
                    (Phase::new(label)?, Some(why))
                }
            },
        };
        if resolved.asset.trim().is_empty() {
            waits = Some("no asset stated");
        }
        let asset =
            if resolved.asset.trim().is_empty() { UNKNOWN } else { resolved.asset.as_str() };
        let series = Arc::new(Series {
            asset: AssetId::new(asset)?,
            phase,
            against: against(&key.against)?,
            setup: text("setup", &key.setup)?,
            test_voltage: volts,
        });
        let placed = Placed { series, waits };
        if !dated {
            self.series.insert(key.clone(), placed.clone());
        }
        Ok(placed)
    }
}

/// One year after the epoch: a time before it comes from a clock that was reset.
const RESET_CLOCK_MICROS: i64 = 365 * 86_400_000_000;

/// The other lead: the case unless stated; a phase by the same rule as the live lead.
fn against(written: &str) -> Result<Text, Invalid> {
    let written = text("against", written)?;
    if written.is_empty() || written.eq_ignore_ascii_case(CASE) {
        return Ok(CASE.into());
    }
    Ok(match phase_of(&written)? {
        PhaseRule::Phase(phase) => phase.as_str().into(),
        PhaseRule::Unmapped(_) => written,
    })
}

#[cfg(test)]
mod tests;
