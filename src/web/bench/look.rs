//! All that a page or a program is told of a sheet, gathered in one look at the store.

use std::sync::Arc;

use axum::http::StatusCode;

use super::now::Timing;
use crate::bench::{
    self, Effect, Refusal as BenchRefusal, Setup, Sheet, Station, TestResult, Watched, effects,
    results, sheet_of,
};
use crate::dossier::DossierError;
use crate::model::{Asset, Gear, Phase, Stamp, Text};
use crate::store::sqlite::SqliteReader;
use crate::store::{Reader, SheetKey, When};
use crate::trend::Assessor;
use crate::web::Service;
use crate::web::offered::offered;
use crate::web::refusal::Refusal;

/// A station with the sheet that is looked at.
pub(super) struct Look {
    pub(super) station: Arc<Station>,
    /// How the station stands; its sheet is the latest one there.
    pub(super) watched: Watched,
    /// The sheet looked at; none: there has never been one.
    pub(super) sheet: Option<Sheet>,
    /// The asset of the sheet as registered.
    pub(super) asset: Option<Asset>,
    pub(super) results: Vec<TestResult>,
    pub(super) effects: Vec<Effect>,
    pub(super) gear: Vec<Gear>,
    pub(super) assets: Vec<Asset>,
    /// How the asset was measured last.
    pub(super) last: Option<Last>,
    /// Readings of this station that wait in the tray since the sheet was opened.
    pub(super) tray: usize,
    pub(super) settings: bench::Settings,
    pub(super) rated_s: f64,
    pub(super) now: Stamp,
}

/// How an asset was measured last: what a plan begins with.
pub(super) struct Last {
    pub(super) phases: Vec<Phase>,
    pub(super) setup: Text,
    pub(super) test_voltage_v: Option<f64>,
}

impl Look {
    /// What a countdown is counted from.
    pub(super) fn timing(&self) -> Timing<'_> {
        let stated_s = self.asset.as_ref().and_then(|asset| asset.discharge_s);
        Timing { watched: &self.watched, stated_s, settings: &self.settings, now: self.now }
    }
}

impl Service {
    /// Looks at a station's latest sheet, or at the one that was opened at an instant.
    pub(super) async fn look(
        self: &Arc<Self>,
        station: String,
        opened: Option<Stamp>,
    ) -> Result<Look, Refusal> {
        let service = Arc::clone(self);
        let looked = tokio::task::spawn_blocking(move || -> Result<Look, Refusal> {
            let reader = service.shared.store.reader()?;
            let station = station_of(&service, &reader, &station)?;
            Ok(gather(&service, &reader, station, opened)?)
        });
        let failed = "the request failed by a fault of this program";
        looked
            .await
            .unwrap_or_else(|_| Err(Refusal::new(StatusCode::INTERNAL_SERVER_ERROR, failed)))
    }
}

/// A station that is running, or one that is set up no more and whose sheets are still there.
pub(super) fn station_of(
    service: &Service,
    reader: &dyn Reader,
    name: &str,
) -> Result<Arc<Station>, BenchRefusal> {
    match service.shared.bench.find(name) {
        Err(gone) if reader.sheets(Some(name), 1)?.is_empty() => Err(gone),
        Err(_) => Ok(Arc::new(Station::new(name.into(), Setup::default(), reader)?)),
        found => found,
    }
}

fn gather(
    service: &Service,
    reader: &SqliteReader,
    station: Arc<Station>,
    opened: Option<Stamp>,
) -> Result<Look, DossierError> {
    let settings = service.shared.settings();
    let now = service.shared.clock.now();
    let watched = station.watched();
    let sheet = match opened {
        None => watched.sheet.clone(),
        Some(opened) if watched.sheet.as_ref().is_some_and(|s| s.key.opened == opened) => {
            watched.sheet.clone()
        }
        Some(opened) => sheet_of(reader, &SheetKey { station: station.name.clone(), opened })?,
    };
    let (mut told, mut done) = (Vec::new(), Vec::new());
    let (mut asset, mut last, mut tray) = (None, None, 0);
    if let Some(sheet) = &sheet {
        if sheet.has_begun() {
            let assessor = Assessor::new(settings.trend.clone());
            told = results(reader, sheet, &settings, &assessor)?;
            done = effects(reader, sheet, &settings)?;
        }
        asset = reader.asset(&sheet.asset, When::ALWAYS)?;
        if sheet.plan.is_none() {
            last = last_measured(reader, sheet)?;
        }
        let ours = |item: &&crate::store::StoredTray| {
            item.item.reading.station == station.name && item.recorded_at >= sheet.key.opened
        };
        tray = reader.tray(When::ALWAYS)?.iter().filter(ours).count();
    }
    let gear = reader.gear(When::ALWAYS)?.into_iter().map(|row| row.value).collect();
    let choosing = sheet.as_ref().is_none_or(|sheet| sheet.end.is_some() || sheet.has_begun());
    let assets = if choosing { offered(reader)? } else { Vec::new() };
    Ok(Look {
        station,
        watched,
        sheet,
        asset,
        results: told,
        effects: done,
        gear,
        assets,
        last,
        tray,
        settings: service.shared.bench.settings(),
        rated_s: settings.visits.rated_duration_s,
        now,
    })
}

/// The phases, setup and voltage of the latest day on which the asset was measured.
fn last_measured(reader: &SqliteReader, sheet: &Sheet) -> Result<Option<Last>, DossierError> {
    let stored = reader.readings(&sheet.asset, When::ALWAYS)?;
    let Some(latest) = stored.last() else { return Ok(None) };
    let latest = &latest.reading;
    let mut phases: Vec<Phase> = Vec::new();
    for stored in stored.iter().rev() {
        let reading = &stored.reading;
        if reading.taken_at.utc_day() != latest.taken_at.utc_day() {
            break;
        }
        if reading.series.setup == latest.series.setup && !phases.contains(&reading.series.phase) {
            phases.push(reading.series.phase.clone());
        }
    }
    phases.sort();
    let test_voltage_v = latest.series.test_voltage.map(|volts| volts.get());
    Ok(Some(Last { phases, setup: latest.series.setup.clone(), test_voltage_v }))
}

impl From<BenchRefusal> for Refusal {
    fn from(error: BenchRefusal) -> Self {
        let status = match error {
            BenchRefusal::Store(error) => return error.into(),
            BenchRefusal::NoStation(_) | BenchRefusal::NoSheet(_) | BenchRefusal::NoAsset(_) => {
                StatusCode::NOT_FOUND
            }
            BenchRefusal::Invalid(_) | BenchRefusal::NoReason => StatusCode::BAD_REQUEST,
            _ => StatusCode::CONFLICT,
        };
        Refusal::new(status, error.to_string())
    }
}
