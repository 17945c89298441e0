//! `thin`: streamed readings on which nothing rests, told or taken out.

use serde::Serialize;

use super::args::Thin;
use super::output;
use super::place::{Place, bar};
use super::{Exit, Failure, note};
use crate::store::Writer;
use crate::watch;

#[derive(Serialize)]
struct ThinOut {
    asset: String,
    readings: usize,
}

pub(crate) fn thin(place: &mut Place, ask: &Thin) -> Result<Exit, Failure> {
    place.reader()?;
    let mut settings = place.config.assess.clone();
    settings.keep_days = ask.keep_days.or(settings.keep_days);
    let Some(days) = settings.keep_days else {
        return Err(Failure::Usage(
            "thinning is off: say --keep-days DAYS, or `keep_days` under `[thinning]` in the \
             configuration"
                .into(),
        ));
    };
    let bar = bar("looking", "assets");
    let progress = |done: usize, of: usize| {
        bar.set_length(of as u64);
        bar.set_position(done as u64);
    };
    let (now, dry_run) = (place.now, ask.dry_run);
    let open = place.writing()?;
    let writer: Option<&mut dyn Writer> = if dry_run { None } else { Some(&mut open.writer) };
    let gone = watch::thin(&open.reader, writer, now, &settings, &progress)?;
    bar.finish_and_clear();
    let all: usize = gone.iter().map(|(_, readings)| readings).sum();
    let rows: Vec<ThinOut> = gone
        .into_iter()
        .map(|(asset, readings)| ThinOut { asset: asset.to_string(), readings })
        .collect();
    let columns = [("asset", "asset"), ("readings", "readings")];
    output::rows(place.format, &columns, &rows, "nothing to thin out")?;
    note(match dry_run {
        true => format!(
            "dry run: {all} streamed readings older than {days} days would go with their lines; \
             nothing was changed"
        ),
        false => {
            format!("{all} streamed readings older than {days} days are gone with their lines")
        }
    });
    Ok(Exit::Done)
}
