//! `audit`: who changed what, when, and what it was before and after.

use serde::Serialize;
use serde_json::Value;

use super::args::AuditArgs;
use super::output::{self, Format};
use super::place::Place;
use super::{Exit, Failure};
use crate::model::Stamp;
use crate::registry::{Fields, audit as audited};

#[derive(Serialize)]
struct AuditOut {
    at: String,
    who: String,
    what: &'static str,
    subject: String,
    before: Value,
    after: Value,
}

pub(crate) fn audit(place: &mut Place, args: AuditArgs) -> Result<Exit, Failure> {
    let since = args.since.unwrap_or(Stamp::MIN);
    let format = place.format;
    let rows = audited(&place.reader()?, since, place.when.known_at)?;
    let rows: Vec<AuditOut> = rows
        .into_iter()
        .map(|row| AuditOut {
            at: row.at.to_string(),
            who: row.who.into(),
            what: row.what,
            subject: row.subject,
            before: shown(format, row.before),
            after: shown(format, row.after),
        })
        .collect();
    let columns = [
        ("at", "at"),
        ("who", "who"),
        ("what", "what"),
        ("subject", "which"),
        ("before", "before"),
        ("after", "after"),
    ];
    output::rows(format, &columns, &rows, "nobody has changed anything yet")?;
    Ok(Exit::Done)
}

/// An object for programs, a line for people; nothing where nothing was.
fn shown(format: Format, fields: Fields) -> Value {
    match format {
        _ if fields.is_empty() => Value::Null,
        Format::Json => {
            fields.into_iter().map(|(name, value)| (name.to_owned(), Value::from(value))).collect()
        }
        Format::Table | Format::Csv => {
            let fields: Vec<_> =
                fields.iter().map(|(name, value)| format!("{name} {value}")).collect();
            fields.join("; ").into()
        }
    }
}
