//! A reading that a person writes down: pen and paper, or a tester without a file.

use ohmward_parsers as raw;

use super::{HandError, person};
use crate::model::{
    AssetClass, AssetId, Invalid, Precision, ReadingId, Stamp, TemperatureOf, Text,
};
use crate::normalise::{Normalised, Normaliser, Surroundings};
use crate::store::{Entry, Parcel, Reader, RecordPlace, Source, TrayItem, When, Writer};

/// A reading as it was written down; an empty text and none are "not stated".
#[derive(Clone, Debug)]
pub struct HandReading {
    /// When it was measured.
    pub at: Stamp,
    /// How finely that is known.
    pub precision: Precision,
    /// The asset's id, or another name that an alias knows.
    pub asset: String,
    /// The phase.
    pub phase: String,
    /// What the other lead was on.
    pub against: String,
    /// What else defines comparability.
    pub setup: String,
    /// The resistance as the tester shows it: `53 MΩ`, `>550M`, `4M7`, `OL`.
    pub resistance: String,
    /// Nominal test voltage in volts.
    pub test_voltage_v: Option<f64>,
    /// Delivered voltage in volts.
    pub delivered_voltage_v: Option<f64>,
    /// Seconds of applied voltage.
    pub duration_s: Option<f64>,
    /// Degrees Celsius.
    pub temperature_c: Option<f64>,
    /// What that temperature was of.
    pub temperature_of: Option<TemperatureOf>,
    /// Relative humidity in per cent.
    pub humidity_pct: Option<f64>,
    /// The tester.
    pub tester: String,
    /// Who measured.
    pub operator: String,
    /// Where.
    pub station: String,
    /// Free text.
    pub remark: String,
}

/// What became of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Became {
    /// It is stored in its series.
    Stored,
    /// It was there already.
    Duplicate,
    /// It waits for its asset or phase.
    Waiting,
    /// It contradicts what is stored; why.
    Refused(Text),
}

/// A reading that was entered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entered {
    /// Its id; none where nothing new was stored.
    pub id: Option<ReadingId>,
    /// What became of it.
    pub became: Became,
    /// Its asset, where it was met for the first time.
    pub new_asset: Option<AssetId>,
}

/// Enters a reading in a person's name; an asset first met becomes one of `class`.
///
/// # Errors
/// `Invalid` names the field that cannot be, `resistance` for what is read from its text.
pub fn enter(
    reader: &dyn Reader,
    writer: &mut dyn Writer,
    (now, by): (Stamp, &str),
    class: &AssetClass,
    reading: HandReading,
) -> Result<Entered, HandError> {
    let by = person(by)?;
    let raw = reading.raw()?;
    let aliases: Vec<_> = reader.aliases(When::ALWAYS)?.into_iter().map(|r| r.value).collect();
    let gear: Vec<_> = reader.gear(When::ALWAYS)?.into_iter().map(|r| r.value).collect();
    let mut normaliser = Normaliser::new(&aliases, &gear, Surroundings::default());
    let entry = match normaliser.normalise(raw, now)? {
        Normalised::Reading(reading) => Entry::Reading(reading),
        Normalised::Tray { reading, written_asset, written_phase, reason } => {
            Entry::Tray(TrayItem { reading, written_asset, written_phase, reason: reason.into() })
        }
    };
    let place = RecordPlace { record: 1, part: 0 };
    let parcel = Parcel { entries: vec![(place, entry)], ..Parcel::default() };
    let source = Source { kind: "hand".into(), name: by, profile: "".into(), file: None };
    let first_met = |id| class.asset(id);
    let mut parcels = std::iter::once(parcel);
    let receipt = writer.receive(now, &source, &first_met, &mut parcels)?;
    let became = match (receipt.accepted, receipt.duplicate, receipt.tray) {
        (1, _, _) => Became::Stored,
        (_, 1, _) => Became::Duplicate,
        (_, _, 1) => Became::Waiting,
        _ => {
            let first = receipt.first_rejects.into_iter().next();
            Became::Refused(first.map(|(_, reject)| reject.reason).unwrap_or_default())
        }
    };
    let stored = matches!(became, Became::Stored | Became::Waiting);
    let id = receipt.batch.filter(|_| stored);
    Ok(Entered {
        id: id.map(|batch| ReadingId { batch, record: 1, part: 0 }),
        became,
        new_asset: receipt.new_assets.into_iter().next(),
    })
}

impl HandReading {
    fn raw(self) -> Result<raw::RawReading, Invalid> {
        let resistance = raw::read_resistance(&self.resistance).map_err(|why| {
            let expected = format!("{why} (such as 53 MΩ, >550M, 4M7)");
            Invalid::new("resistance", expected, &self.resistance)
        })?;
        let precision = match self.precision {
            Precision::Fine => raw::Precision::Fine,
            Precision::Minute => raw::Precision::Minute,
            Precision::Day => raw::Precision::Day,
        };
        let taken = raw::Taken { micros: self.at.micros(), precision, doubt: raw::Doubt::None };
        Ok(raw::RawReading {
            place: raw::Place { record: 1, ..Default::default() },
            taken: Some(taken),
            asset: self.asset.as_str().into(),
            phase: self.phase.as_str().into(),
            against: self.against.as_str().into(),
            setup: self.setup.as_str().into(),
            resistance,
            test_voltage_v: self.test_voltage_v,
            delivered_voltage_v: self.delivered_voltage_v,
            duration_s: self.duration_s,
            temperature_c: self.temperature_c,
            temperature_of: self.temperature_of.map(|of| match of {
                TemperatureOf::Winding => raw::TemperatureOf::Winding,
                TemperatureOf::Ambient => raw::TemperatureOf::Ambient,
            }),
            humidity_pct: self.humidity_pct,
            tester: self.tester.as_str().into(),
            operator: self.operator.as_str().into(),
            station: self.station.as_str().into(),
            remark: self.remark.as_str().into(),
        })
    }
}
