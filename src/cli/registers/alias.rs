//! `alias`: other names of assets and phases.

use serde::Serialize;

use super::{import_as, marked};
use crate::cli::args::{AddAlias, AliasCommand};
use crate::cli::output;
use crate::cli::place::Place;
use crate::cli::{Exit, Failure};
use crate::model::{Alias, AssetId, Phase, text};
use crate::registry::Register;
use crate::store::{Change, Reader};

#[derive(Serialize)]
struct AliasOut {
    written: String,
    asset: String,
    phase_written: String,
    phase: Option<String>,
    from: Option<String>,
    until: Option<String>,
    remark: String,
    /// The asset of that name is merged into this one.
    merged: bool,
}

pub(crate) fn alias(place: &mut Place, command: AliasCommand) -> Result<Exit, Failure> {
    match command {
        AliasCommand::List => {
            let rows = marked(place.reader()?.aliases(place.when)?, |a| AliasOut {
                written: a.written.into(),
                asset: a.asset.to_string(),
                phase_written: a.phase_written.into(),
                phase: a.phase.map(|p| p.to_string()),
                from: a.from.map(|t| t.to_string()),
                until: a.until.map(|t| t.to_string()),
                remark: a.remark.into(),
                merged: a.merged,
            });
            let columns = [
                ("written", "written"),
                ("asset", "asset"),
                ("phase_written", "label"),
                ("phase", "phase"),
                ("from", "from"),
                ("until", "until"),
                ("merged", "merged"),
                ("remark", "remark"),
            ];
            output::rows(place.format, &columns, &rows, "no aliases yet")?;
            Ok(Exit::Done)
        }
        AliasCommand::Add(add) => {
            let AddAlias { written, asset, phase_written, phase, from, until, remark, by } = add;
            let alias = Alias {
                written: text("written", &written)?,
                asset: AssetId::new(&asset)?,
                phase_written: text("phase_written", &phase_written)?,
                phase: phase.map(|p| Phase::new(&p)).transpose()?,
                from,
                until,
                remark: text("remark", &remark)?,
                merged: false,
            };
            if alias.written.is_empty() && alias.phase.is_none() {
                return Err(Failure::Usage(
                    "say --written NAME, or --phase-written LABEL with --phase".into(),
                ));
            }
            place.record(by.by, &[Change::Alias(alias)])
        }
        AliasCommand::Import(import) => import_as(place, Register::Aliases, import),
    }
}
