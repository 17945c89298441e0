//! Reports that come by themselves: once in each day, week or month, into a folder, never twice.
//!
//! What was made is noted in the data folder after the file is in its place. A program that is
//! stopped in between finds the file there and notes it then; a file that somebody took away is not
//! made again.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use jiff::ToSpan;
use jiff::civil::{Date, Time};
use jiff::tz::TimeZone;

use super::about::About;
use super::form::{Form, FormError, write_whole};
use super::pdf::Paper;
use super::{asset, fleet};
use crate::dossier::{Desk, DossierError, Settings};
use crate::model::{AssetId, Stamp, Text};
use crate::store::{Reader, StoreError};
use crate::trend::Assessor;

/// How often.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Every {
    /// Each day.
    Day,
    /// Each Monday.
    Week,
    /// On the first of each month.
    Month,
}

impl Every {
    /// The word in the configuration.
    pub const fn word(self) -> &'static str {
        match self {
            Every::Day => "day",
            Every::Week => "week",
            Every::Month => "month",
        }
    }

    /// By its word.
    pub fn parse(word: &str) -> Option<Self> {
        [Every::Day, Every::Week, Every::Month].into_iter().find(|e| e.word() == word)
    }
}

/// One report that comes by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Schedule {
    /// Its name; the names of its files begin with it.
    pub name: Text,
    /// The asset; none: the whole fleet.
    pub asset: Option<AssetId>,
    /// Where its files go.
    pub folder: PathBuf,
    /// How often.
    pub every: Every,
    /// From when on, by the clock on the wall of `zone`.
    pub at: Time,
    /// Whose clock.
    pub zone: TimeZone,
    /// As what.
    pub form: Form,
    /// The paper of a PDF.
    pub paper: Paper,
    /// The fleet: how often each asset is to be tested, where it says nothing itself.
    pub within_days: f64,
}

/// Why a scheduled report was not made.
#[derive(Debug, thiserror::Error)]
pub enum ScheduleError {
    /// The report itself.
    #[error(transparent)]
    Dossier(#[from] DossierError),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Its form.
    #[error(transparent)]
    Form(#[from] FormError),
    /// A file.
    #[error("cannot write `{path}`: {why}", path = path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// What the system says.
        why: io::Error,
    },
}

impl Schedule {
    /// The newest period whose report is due: the day on which it became so. None before the
    /// calendar begins.
    pub fn period(&self, now: Stamp) -> Option<String> {
        let now = jiff::Timestamp::from_microsecond(now.micros()).ok()?;
        let local = self.zone.to_datetime(now);
        let today = local.date();
        let begin = |day: Date| -> Option<Date> {
            match self.every {
                Every::Day => Some(day),
                Every::Week => {
                    day.checked_sub(i64::from(day.weekday().to_monday_zero_offset()).days()).ok()
                }
                Every::Month => Some(day.first_of_month()),
            }
        };
        let first = begin(today)?;
        let due = match first == today && local.time() < self.at {
            true => begin(first.checked_sub(1.days()).ok()?)?,
            false => first,
        };
        Some(due.to_string())
    }

    /// The file of a period.
    pub fn file(&self, period: &str) -> PathBuf {
        self.folder.join(format!("{}-{period}.{}", self.name, self.form.name()))
    }

    fn note(&self, data: &Path) -> PathBuf {
        data.join("reports").join(format!("{}.made", self.name))
    }

    /// What is noted: in which rhythm, and the newest period made. Dates sort as texts.
    fn words(&self, period: &str) -> String {
        format!("{} {period}", self.every.word())
    }

    /// Whether the report of a period, or of a later one, was made.
    pub fn is_made(&self, data: &Path, period: &str) -> bool {
        let made = fs::read_to_string(self.note(data)).unwrap_or_default();
        let rhythm =
            made.split_once(' ').map(|(every, at)| (every.to_owned(), at.trim().to_owned()));
        rhythm.is_some_and(|(every, at)| every == self.every.word() && at.as_str() >= period)
    }

    /// Makes the report of a period as things stand now, puts it in its place and notes it. A file
    /// that is there already is only noted.
    pub fn make<R: Reader + ?Sized>(
        &self,
        reader: &R,
        settings: &Settings,
        data: &Path,
        period: &str,
        now: Stamp,
    ) -> Result<PathBuf, ScheduleError> {
        let path = self.file(period);
        if !path.exists() {
            let bytes = self.bytes(reader, settings, now)?;
            let failed = |why| ScheduleError::File { path: path.clone(), why };
            fs::create_dir_all(&self.folder).map_err(failed)?;
            write_whole(&path, &bytes).map_err(failed)?;
        }
        let note = self.note(data);
        let failed = |why| ScheduleError::File { path: note.clone(), why };
        fs::create_dir_all(data.join("reports")).map_err(failed)?;
        write_whole(&note, self.words(period).as_bytes()).map_err(failed)?;
        Ok(path)
    }

    fn bytes<R: Reader + ?Sized>(
        &self,
        reader: &R,
        settings: &Settings,
        now: Stamp,
    ) -> Result<Vec<u8>, ScheduleError> {
        let about = About { as_of: now, known_at: Stamp::MAX, origin: reader.origin()?, settings };
        let report = match &self.asset {
            Some(id) => {
                let assessor = Assessor::new(settings.trend.clone());
                let desk = Desk::new(reader, about.when(), settings, &assessor)?;
                asset(reader, &desk, id, &about)?
            }
            None => fleet(reader, &about, self.within_days, &|_, _| ())?,
        };
        Ok(self.form.render(&report, self.paper)?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::memory::MemoryStore;

    fn schedule(every: Every, folder: &Path) -> Schedule {
        Schedule {
            name: "quay".into(),
            asset: None,
            folder: folder.to_owned(),
            every,
            at: Time::constant(6, 30, 0, 0),
            zone: TimeZone::get("Europe/Berlin").unwrap(),
            form: Form::Csv,
            paper: Paper::A4,
            within_days: 42.0,
        }
    }

    fn at(text: &str) -> Stamp {
        Stamp::parse(text).unwrap()
    }

    /// 2026-03-02 was a Monday; Berlin was an hour ahead of UTC, in summer two.
    #[test]
    fn a_period_begins_at_its_hour_by_the_clock_on_the_wall() {
        let table = [
            (Every::Day, "2026-03-02T05:29:59Z", "2026-03-01"),
            (Every::Day, "2026-03-02T05:30:00Z", "2026-03-02"),
            (Every::Day, "2026-07-02T04:30:00Z", "2026-07-02"),
            (Every::Week, "2026-03-02T05:29:59Z", "2026-02-23"),
            (Every::Week, "2026-03-02T05:30:00Z", "2026-03-02"),
            (Every::Week, "2026-03-08T22:00:00Z", "2026-03-02"),
            (Every::Month, "2026-03-01T05:00:00Z", "2026-02-01"),
            (Every::Month, "2026-03-31T21:00:00Z", "2026-03-01"),
            (Every::Month, "2026-01-01T01:00:00Z", "2025-12-01"),
        ];
        for (every, now, period) in table {
            let schedule = schedule(every, Path::new("."));
            assert_eq!(schedule.period(at(now)).as_deref(), Some(period), "{every:?} {now}");
        }
    }

    #[test]
    fn a_report_is_made_once_whatever_happens_to_its_file() {
        let place = tempfile::tempdir().unwrap();
        let (data, folder) = (place.path().join("data"), place.path().join("out"));
        let schedule = schedule(Every::Week, &folder);
        let (store, settings) = (MemoryStore::default(), Settings::default());
        let now = at("2026-03-04");
        let period = schedule.period(now).unwrap();
        assert!(!schedule.is_made(&data, &period));
        let make = || schedule.make(&store, &settings, &data, &period, now).unwrap();
        let path = make();
        assert_eq!(path, folder.join("quay-2026-03-02.csv"));
        assert!(schedule.is_made(&data, &period));
        assert!(schedule.is_made(&data, "2026-02-23"), "a clock that is set back makes none anew");
        assert!(!schedule.is_made(&data, "2026-03-09"));
        // Somebody takes the file away.
        fs::remove_file(&path).unwrap();
        assert!(schedule.is_made(&data, &period));
        // Killed after the file and before the note: it stays as it is.
        fs::remove_dir_all(data.join("reports")).unwrap();
        fs::write(&path, "as it was").unwrap();
        make();
        assert_eq!(fs::read_to_string(&path).unwrap(), "as it was");
        let left = fs::read_dir(&folder).unwrap().count();
        assert_eq!(left, 1, "nothing half written is left");
        // Another rhythm is another report.
        assert!(!self::schedule(Every::Day, &folder).is_made(&data, &period));
    }
}
