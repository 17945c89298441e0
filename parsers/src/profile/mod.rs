//! One export or line format, described in TOML and checked as it is loaded.

mod builtin;
mod recognise;
pub(crate) mod rules;
pub(crate) mod wire;

use std::sync::Arc;

use encoding_rs::Encoding;

pub use builtin::Profiles;
pub use recognise::Recognised;

use crate::format::{FORMATS, Format};
use rules::Rules;
use wire::Written;

/// A profile ready for use; a clone is cheap.
#[derive(Clone)]
pub struct Profile(Arc<Inner>);

#[derive(Clone)]
struct Inner {
    name: String,
    source: String,
    written: Written,
    format: &'static dyn Format,
    encoding: Option<&'static Encoding>,
    rules: Rules,
}

/// Why a profile cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ProfileError {
    /// Not TOML, or a key that is unknown, missing or of the wrong kind; the inner text shows the
    /// line.
    #[error("profile `{name}` is not written as a profile should be")]
    Toml {
        /// The profile.
        name: String,
        /// With line and column.
        #[source]
        source: Box<toml::de::Error>,
    },
    /// A value that cannot be meant.
    #[error("profile `{name}`: expected {expected}, found `{found}`")]
    Value {
        /// The profile.
        name: String,
        /// What was expected, with the key.
        expected: String,
        /// What was found.
        found: String,
    },
}

impl Profile {
    /// Reads and checks a profile.
    ///
    /// # Errors
    /// When it is not TOML, has an unknown key, or says something that cannot be meant.
    pub fn parse(name: &str, toml: &str) -> Result<Profile, ProfileError> {
        let written: Written = toml::from_str(toml).map_err(|error| ProfileError::Toml {
            name: name.to_owned(),
            source: Box::new(error),
        })?;
        let error = |expected: String, found: &str| ProfileError::Value {
            name: name.to_owned(),
            expected,
            found: found.to_owned(),
        };
        if !written.unanswered.is_empty() {
            let expected = "no open question (answer each where it stands as a comment, then take \
                            its key out of `unanswered`)";
            return Err(error(expected.to_owned(), &written.unanswered.join("`, `")));
        }
        let format =
            *FORMATS.iter().find(|format| format.name() == written.format).ok_or_else(|| {
                let names: Vec<_> = FORMATS.iter().map(|format| format.name()).collect();
                error(format!("`format` to be one of `{}`", names.join("`, `")), &written.format)
            })?;
        if let Some(table) = written.tables().find(|table| *table != format.name()) {
            let expected = format!("the tables of format `{}` only", format.name());
            return Err(error(expected, &format!("[{table}]")));
        }
        let encoding = match &written.encoding {
            None => None,
            Some(label) => Some(Encoding::for_label(label.as_bytes()).ok_or_else(|| {
                error("`encoding` to be a label such as `windows-1252`".to_owned(), label)
            })?),
        };
        let rules = Rules::new(&written).map_err(|wrong| error(wrong.expected, &wrong.found))?;
        let (name, source) = (name.to_owned(), toml.to_owned());
        let profile = Profile(Arc::new(Inner { name, source, written, format, encoding, rules }));
        // What a format needs of a profile shows when it opens.
        format.open(&profile).map_err(|wrong| profile.error(&wrong.expected, &wrong.found))?;
        Ok(profile)
    }

    /// The same profile for another place: local times are of this IANA zone.
    ///
    /// # Errors
    /// When there is no such zone.
    pub fn with_zone(&self, zone: &str) -> Result<Profile, ProfileError> {
        let mut inner = Inner::clone(&self.0);
        let expected = "a zone such as `Europe/Berlin`";
        inner.rules.time.zone = Some(rules::zone(zone).ok_or_else(|| self.error(expected, zone))?);
        Ok(Profile(Arc::new(inner)))
    }

    /// The name it goes by.
    pub fn name(&self) -> &str {
        &self.0.name
    }

    /// What it is the profile of, in one line.
    pub fn title(&self) -> &str {
        &self.0.written.title
    }

    /// Caveats for a person; may be empty.
    pub fn about(&self) -> &str {
        self.0.written.about.trim()
    }

    /// The name of its format.
    pub fn format_name(&self) -> &'static str {
        self.0.format.name()
    }

    /// Its text as it was loaded.
    pub fn source(&self) -> &str {
        &self.0.source
    }

    pub(crate) fn format(&self) -> &'static dyn Format {
        self.0.format
    }

    pub(crate) fn encoding(&self) -> Option<&'static Encoding> {
        self.0.encoding
    }

    pub(crate) fn rules(&self) -> &Rules {
        &self.0.rules
    }

    pub(crate) fn written(&self) -> &Written {
        &self.0.written
    }

    pub(crate) fn error(&self, expected: &str, found: &str) -> ProfileError {
        let (name, expected) = (self.0.name.clone(), expected.to_owned());
        ProfileError::Value { name, expected, found: found.to_owned() }
    }

    /// A stream of local times without a zone cannot be read.
    pub(crate) fn needs_zone(&self) -> Result<(), ProfileError> {
        if self.rules().time.zone.is_none() && self.format().is_local(self) {
            return Err(
                self.error("`time.zone` in the profile or from the caller", "local times only")
            );
        }
        Ok(())
    }
}

impl std::fmt::Debug for Profile {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Profile")
            .field("name", &self.name())
            .field("format", &self.format_name())
            .finish_non_exhaustive()
    }
}
