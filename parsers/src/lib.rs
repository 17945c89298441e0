//! Bytes to raw insulation-resistance readings.
//!
//! `bytes → Frame → RawReading | Reject`: framing cuts a stream into records, a [`Decoder`] opened
//! per stream turns each into readings or a reject. No IO, no clock: the caller brings both.

mod raw;

pub use raw::{
    Bound, Doubt, Parsed, Place, Precision, RawReading, Reject, Resistance, Taken, TemperatureOf,
    Text,
};

/// Longest record in bytes: a reading with a long remark is under 1 KiB, and a line without an
/// end must not fill the memory. What is longer is one reject.
pub const RECORD_BYTES: usize = 64 * 1024;

/// Bytes of a rejected record kept beside its reason.
pub const REJECT_BYTES: usize = 4 * 1024;
