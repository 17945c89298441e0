//! The words of the trade as plain values, valid by construction: no SQL, no JSON, no HTTP.

mod account;
mod asset;
mod class;
mod correction;
mod finding;
mod gear;
mod gear_set;
mod occasion;
mod point;
mod reading;
mod role;
mod stamp;
mod training;

pub use account::{Access, AccessKind, Account, Check, Token, account_name};
pub use asset::{
    Alias, Asset, AssetId, Event, EventKind, Insulation, Joining, Limit, LimitMeaning, Phase,
};
pub use class::{AssetClass, Isolation, as_meant};
pub use correction::{Correction, CorrectionKind, Mark};
pub use finding::{Finding, FindingKind, FindingState, Outcome, Verdict};
pub use gear::{Gear, GearKind, Proof, ProofKind, ProofMoment, Range};
pub use gear_set::{Category, SetRating, set_rating};
pub use occasion::{Occasion, Shared};
pub use point::{Case, Line, Point};
pub use reading::{
    Bound, CASE, Facts, Precision, Reading, ReadingId, Series, TemperatureOf, TimeDoubt, Volts,
};
pub use role::Role;
pub use stamp::{DAY_MICROS, Stamp};
pub use training::{Fault, Training};

/// A short text; empty means "not stated".
pub type Text = compact_str::CompactString;

/// Why a value cannot be part of the model: what was expected and what was found.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{field}`: expected {expected}, found `{found}`")]
pub struct Invalid {
    /// The field, as it is spelled in the canonical CSV.
    pub field: &'static str,
    /// What would have been right.
    pub expected: String,
    /// What stood there, cut to a readable length.
    pub found: String,
}

impl Invalid {
    /// An error about `field`, with `found` cut to 60 characters.
    pub fn new(field: &'static str, expected: impl Into<String>, found: impl ToString) -> Self {
        let mut found = found.to_string();
        if let Some((cut, _)) = found.char_indices().nth(60) {
            found.truncate(cut);
            found.push('…');
        }
        Invalid { field, expected: expected.into(), found }
    }
}

/// Checks a free text: within the length limit and without control characters
/// (line breaks and tabs are allowed).
pub fn text(field: &'static str, value: &str) -> Result<Text, Invalid> {
    let value = value.trim();
    if value.len() > crate::limits::TEXT_BYTES {
        let most = crate::limits::TEXT_BYTES;
        return Err(Invalid::new(field, format!("at most {most} bytes"), value));
    }
    if value.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t')) {
        return Err(Invalid::new(field, "text without control characters", value));
    }
    Ok(value.into())
}

/// Declares an enumeration whose spellings are the words of the trade, both ways.
macro_rules! words {
    ($(#[$meta:meta])* $name:ident, $field:literal, { $($(#[$vmeta:meta])* $variant:ident => $word:literal),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$vmeta])* $variant),+ }

        impl $name {
            /// Every value, in order.
            pub const ALL: &'static [$name] = &[$($name::$variant),+];

            /// The word for it, as it is spelled everywhere.
            pub const fn word(self) -> &'static str {
                match self { $($name::$variant => $word),+ }
            }

            /// Reads the word; the error lists the words that exist.
            pub fn parse(text: &str) -> Result<Self, $crate::model::Invalid> {
                let wanted = text.trim();
                Self::ALL.iter().copied().find(|v| v.word().eq_ignore_ascii_case(wanted)).ok_or_else(|| {
                    let all: Vec<_> = Self::ALL.iter().map(|v| v.word()).collect();
                    $crate::model::Invalid::new($field, format!("one of {}", all.join(", ")), text)
                })
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.pad(self.word())
            }
        }
    };
}
pub(crate) use words;
