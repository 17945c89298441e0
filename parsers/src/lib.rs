//! Bytes to raw insulation-resistance readings.
//!
//! `bytes → Frame → Record → RawReading | Reject`: framing cuts a [`Stream`] into records, and the
//! decoder that its [`Profile`] opens makes readings or a reject of each. No IO, no clock: the
//! caller brings both.

mod raw;

mod encoding;
mod fault;
mod fields;
mod framing;
mod header;
mod split;

mod piece;

mod cells;
mod draft;
mod format;
mod profile;
mod stream;

pub use draft::{Candidate, Draft, DraftColumn, DraftError, Question, Told, draft};
pub use format::{formats, json_array};
pub use profile::{Profile, ProfileError, Profiles, Recognised};
pub use raw::{
    Bound, Doubt, Parsed, Place, Precision, RawReading, Reject, Resistance, Taken, TemperatureOf,
    Text,
};
pub use stream::{HEAD_BYTES, Stream};

/// Longest record in bytes: a reading with a long remark is under 1 KiB, and a line without an
/// end must not fill the memory. What is longer is one reject.
pub const RECORD_BYTES: usize = 64 * 1024;

/// Bytes of a rejected record kept beside its reason.
pub const REJECT_BYTES: usize = 4 * 1024;

/// Reads a resistance as a person types it from a display: `53 MΩ`, `>550M`, `4M7`, `OL`. A bare
/// number is in ohms.
///
/// # Errors
/// What was expected and what was found.
pub fn read_resistance(text: &str) -> Result<Resistance, String> {
    use piece::resistance::{Rules, resistance};
    let ohms = Some(piece::unit::Unit::Scale(1.0));
    resistance(text.trim(), &Rules::PLAIN, ohms, None, None, "resistance")
        .map_err(|fault| format!("expected {}, found `{}`", fault.expected, fault.found))
}
