//! What is wrong with a record, before its place and bytes are put to it.

use std::borrow::Cow;

use crate::REJECT_BYTES;
use crate::raw::{Place, Reject, Text};

/// Bytes of `found` that are shown: enough to recognise the cell or the line, not a page.
const SHOWN_BYTES: usize = 100;

/// Why a record, or one cell of it, is no reading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Fault {
    pub(crate) kind: &'static str,
    pub(crate) field: Text,
    pub(crate) expected: Cow<'static, str>,
    pub(crate) found: Text,
}

impl Fault {
    pub(crate) fn new(
        kind: &'static str,
        field: &str,
        expected: impl Into<Cow<'static, str>>,
        found: &str,
    ) -> Fault {
        Fault { kind, field: field.into(), expected: expected.into(), found: shown(found) }
    }

    /// The reject of a record with these bytes.
    pub(crate) fn reject(self, place: Place, bytes: &[u8]) -> Reject {
        let Fault { kind, field, expected, found } = self;
        let bytes = bytes[..bytes.len().min(REJECT_BYTES)].to_vec();
        Reject { place, bytes, kind, field, expected, found }
    }
}

/// What in a profile cannot be meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Wrong {
    /// With the key.
    pub(crate) expected: String,
    pub(crate) found: String,
}

impl Wrong {
    pub(crate) fn new(expected: impl Into<String>, found: impl Into<String>) -> Wrong {
        Wrong { expected: expected.into(), found: found.into() }
    }
}

/// A text cut to a readable length, with control characters made visible.
fn shown(text: &str) -> Text {
    let mut out = Text::default();
    for c in text.chars() {
        if out.len() >= SHOWN_BYTES {
            out.push('…');
            break;
        }
        if c.is_control() {
            out.extend(c.escape_default());
        } else {
            out.push(c);
        }
    }
    out
}
