//! How a source stands, over the wire.

use serde::Serialize;
use utoipa::ToSchema;

use crate::limits;
use crate::sources::{Health, Standing};

/// One source: its state in words, and what it counted since the service started.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct SourceOut {
    /// `serial`, `folder` or `http`.
    #[schema(example = "serial")]
    pub(super) kind: &'static str,
    /// Its name in the configuration.
    #[schema(example = "bench-1")]
    pub(super) name: String,
    /// `ok`; `troubled`: something keeps it from its work; `stuck`: it does not answer.
    #[schema(example = "ok")]
    pub(super) state: &'static str,
    /// What keeps it from its work, and what to do; left out while all is well.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(value_type = Option<Vec<String>>)]
    pub(super) trouble: Vec<String>,
    /// When something last came from it and was stored; none since the start.
    #[schema(example = "2026-03-02T08:15:00Z")]
    pub(super) last_at: Option<String>,
    /// What that was: a line, the name of a file, or who sent a request.
    #[schema(example = "550000000,500")]
    pub(super) last: Option<String>,
    /// Bytes read.
    pub(super) bytes: u64,
    /// Lines cut from a stream.
    pub(super) records: u64,
    /// Files taken in.
    pub(super) files: u64,
    /// Files refused as a whole.
    pub(super) refused: u64,
    /// Readings stored.
    pub(super) accepted: u64,
    /// Readings that were there already.
    pub(super) duplicate: u64,
    /// Readings put in the tray.
    pub(super) tray: u64,
    /// Records that could not be read.
    pub(super) rejected: u64,
    /// Openings of a connection.
    pub(super) openings: u64,
    /// Places where bytes are missing.
    pub(super) gaps: u64,
    /// Bytes dropped because the store did not keep up.
    pub(super) dropped_bytes: u64,
    /// Bytes that were noise.
    pub(super) noise_bytes: u64,
    /// Lines without their beginning or end.
    pub(super) torn_lines: u64,
}

impl SourceOut {
    pub(super) fn of(standing: &Standing) -> Self {
        let tally = &standing.tally;
        let sides = match standing.kind {
            // Requests have no loop of their own that could be stuck.
            "http" => vec![],
            "folder" => vec![&standing.reading],
            _ => vec![&standing.reading, &standing.intake],
        };
        let states: Vec<_> = sides.iter().map(|side| state(side)).collect();
        let worst = ["stuck", "troubled"].into_iter().find(|s| states.contains(s));
        let latest = standing.latest();
        SourceOut {
            kind: standing.kind,
            name: standing.name.to_string(),
            state: worst.unwrap_or("ok"),
            trouble: sides.iter().filter_map(|side| side.trouble()).collect(),
            last_at: latest.as_ref().map(|latest| latest.at.to_string()),
            last: latest.map(|latest| latest.what),
            bytes: tally.bytes.get(),
            records: tally.records.get(),
            files: tally.files.get(),
            refused: tally.refused.get(),
            accepted: tally.accepted.get(),
            duplicate: tally.duplicate.get(),
            tray: tally.tray.get(),
            rejected: tally.rejected.get(),
            openings: tally.openings.get(),
            gaps: tally.gaps.get(),
            dropped_bytes: tally.dropped_bytes.get(),
            noise_bytes: tally.noise_bytes.get(),
            torn_lines: tally.torn_lines.get(),
        }
    }

    /// What is wrong with it, in words.
    pub(super) fn wrong(&self) -> Vec<String> {
        let name = &self.name;
        if self.state == "stuck" {
            return vec![format!("source `{name}` gives no sign of life")];
        }
        self.trouble.iter().map(|why| format!("source `{name}`: {why}")).collect()
    }
}

/// How a part stands.
pub(super) fn state(health: &Health) -> &'static str {
    if health.age() > limits::STUCK {
        "stuck"
    } else if health.trouble().is_some() {
        "troubled"
    } else {
        "ok"
    }
}
