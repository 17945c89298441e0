//! What findings about more than one asset stand under: a tester, or what readings share on a day.

use std::fmt;

use super::{AssetId, DAY_MICROS, Invalid, Reading, Stamp, Text};

/// What the readings of one day can share.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shared {
    /// One tester on one day.
    Tester(Text),
    /// One station on one day.
    Station(Text),
    /// The day alone.
    Day,
}

/// What readings share on one UTC day: `tester HT-5 on 2026-03-02`, `station B1 on 2026-03-02`,
/// `day 2026-03-02`. A common cause stands under these words in place of an asset's id.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Occasion {
    /// The UTC day, counted from the epoch.
    pub day: i64,
    /// What is shared on it.
    pub shared: Shared,
}

impl Occasion {
    /// Whether a reading belongs to it.
    pub fn covers(&self, reading: &Reading) -> bool {
        reading.taken_at.utc_day() == self.day
            && match &self.shared {
                Shared::Tester(tester) => reading.tester == *tester,
                Shared::Station(station) => reading.station == *station,
                Shared::Day => true,
            }
    }

    /// What its finding stands under; an error where the name is too long for an id.
    pub fn id(&self) -> Result<AssetId, Invalid> {
        subject(&self.to_string())
    }

    /// Its first and last instant.
    pub const fn span(&self) -> (Stamp, Stamp) {
        let first = self.day * DAY_MICROS;
        (Stamp::from_micros(first), Stamp::from_micros(first + DAY_MICROS - 1))
    }
}

impl fmt::Display for Occasion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let date = self.span().0.date();
        match &self.shared {
            Shared::Tester(tester) => write!(f, "{TESTER}{tester} on {date}"),
            Shared::Station(station) => write!(f, "station {station} on {date}"),
            Shared::Day => write!(f, "day {date}"),
        }
    }
}

const TESTER: &str = "tester ";

impl AssetId {
    /// What findings about a tester itself stand under: `tester HT-5`.
    pub fn of_tester(tester: &str) -> Result<Self, Invalid> {
        subject(&format!("{TESTER}{tester}"))
    }

    /// What the finding stands under that a tester reads off: `tester HT-5 against its peers`.
    pub fn of_offset(tester: &str) -> Result<Self, Invalid> {
        subject(&format!("{TESTER}{tester} against its peers"))
    }

    /// The tester that findings under this id are about.
    pub fn as_tester(&self) -> Option<&str> {
        self.as_str().strip_prefix(TESTER)
    }
}

fn subject(words: &str) -> Result<AssetId, Invalid> {
    AssetId::new(&words.replace(['\n', '\r', '\t'], " "))
}
