//! `report`: a report to hand over, as a file or on standard output.

use std::io::{self, IsTerminal, Write};
use std::path::Path;

use super::args::Report as Ask;
use super::output::Format;
use super::place::{Place, bar, shown};
use super::{Exit, Failure, note};
use crate::dossier::Desk;
use crate::model::Stamp;
use crate::report::{About, Form, Paper, Report, asset, fleet, write_whole};
use crate::store::Reader;
use crate::trend::Assessor;

pub(crate) fn report(place: &mut Place, ask: Ask) -> Result<Exit, Failure> {
    let form = form(place, &ask)?;
    let to_terminal = ask.output.is_none() && io::stdout().is_terminal();
    if to_terminal && form == Form::Pdf {
        return Err(Failure::Usage("a PDF is not for a terminal: name a file with -o".into()));
    }
    if !(ask.tested_within > 0.0 && ask.tested_within.is_finite()) {
        return Err(Failure::Usage(format!(
            "`--tested-within`: expected days above 0, found `{}`",
            ask.tested_within
        )));
    }
    let paper = if ask.paper == "letter" { Paper::Letter } else { Paper::A4 };
    let bytes = form.render(&made(place, &ask)?, paper)?;
    match &ask.output {
        Some(path) => {
            write_whole(path, &bytes)
                .map_err(|e| Failure::Failed(format!("cannot write `{}`: {e}", shown(path))))?;
            note(format!("written to {}", shown(path)));
        }
        None => {
            io::stdout().lock().write_all(&bytes)?;
            if to_terminal {
                note(format!("this is {}: -o FILE.{0} writes it to a file", form.name()));
            }
        }
    }
    Ok(Exit::Done)
}

/// The form as the file's name, `--as` or `--format` say it.
fn form(place: &Place, ask: &Ask) -> Result<Form, Failure> {
    let named = ask.form.as_deref().and_then(Form::parse);
    let by_name = |path: &Path| {
        Form::of_file(path).ok_or_else(|| {
            Failure::Usage(format!(
                "`{}`: expected a name that ends in .html, .pdf or .csv, or the form with --as",
                shown(path)
            ))
        })
    };
    match (named, place.format, &ask.output) {
        (Some(form), ..) => Ok(form),
        (None, Format::Csv, None) => Ok(Form::Csv),
        (None, Format::Json, None) => Err(Failure::Usage(
            "a report is HTML, PDF or CSV; `ohmward assess --format json` has the numbers".into(),
        )),
        (None, _, Some(path)) => by_name(path),
        (None, _, None) => Ok(Form::Html),
    }
}

fn made(place: &mut Place, ask: &Ask) -> Result<Report, Failure> {
    let known = ask.asset.as_ref().map(|id| place.known_asset(id)).transpose()?;
    if known.is_none() && place.when.known_at == Stamp::MAX {
        place.reader()?;
        place.assess_all_pending()?;
    }
    let reader = place.reader()?;
    let about = About {
        as_of: if place.when.as_of == Stamp::MAX { place.now } else { place.when.as_of },
        known_at: place.when.known_at,
        origin: reader.origin()?,
        settings: &place.config.assess,
    };
    if let Some(known) = known {
        let assessor = Assessor::new(place.config.assess.trend.clone());
        let desk = Desk::new(&reader, about.when(), &place.config.assess, &assessor)?;
        return Ok(asset(&reader, &desk, &known.id, &about)?);
    }
    let bar = bar("assessing", "assets");
    let report = fleet(&reader, &about, ask.tested_within, &|done, of| {
        bar.set_length(of as u64);
        bar.set_position(done as u64);
    })?;
    bar.finish_and_clear();
    Ok(report)
}
