//! The profiles at hand: those compiled in and those that were added.

use crate::profile::{Profile, ProfileError};

/// Every profile that comes with the program: name and text. The dialects of Kestrel Quay are
/// invented, as examples of each format.
pub(crate) const BUILTIN: [(&str, &str); 7] = [
    ("canonical", include_str!("../../profiles/canonical.toml")),
    ("canonical-jsonl", include_str!("../../profiles/canonical-jsonl.toml")),
    ("quay-bench-log", include_str!("../../profiles/quay-bench-log.toml")),
    ("quay-handheld", include_str!("../../profiles/quay-handheld.toml")),
    ("quay-scpi", include_str!("../../profiles/quay-scpi.toml")),
    ("quay-tagged", include_str!("../../profiles/quay-tagged.toml")),
    ("quay-wide", include_str!("../../profiles/quay-wide.toml")),
];

/// Profiles by name, in the order of their names.
#[derive(Clone, Debug, Default)]
pub struct Profiles(Vec<Profile>);

impl Profiles {
    /// Those compiled in.
    ///
    /// # Errors
    /// Never: a test loads each.
    pub fn builtin() -> Result<Profiles, ProfileError> {
        let mut profiles = Profiles::default();
        for (name, toml) in BUILTIN {
            profiles.add(name, toml)?;
        }
        Ok(profiles)
    }

    /// Adds a profile; one of the same name is replaced.
    ///
    /// # Errors
    /// As [`Profile::parse`]; then nothing changed.
    pub fn add(&mut self, name: &str, toml: &str) -> Result<(), ProfileError> {
        let profile = Profile::parse(name, toml)?;
        match self.0.binary_search_by(|known| known.name().cmp(name)) {
            Ok(at) => self.0[at] = profile,
            Err(at) => self.0.insert(at, profile),
        }
        Ok(())
    }

    /// The one of this name.
    pub fn get(&self, name: &str) -> Option<&Profile> {
        self.iter().find(|profile| profile.name() == name)
    }

    /// All, by name.
    pub fn iter(&self) -> impl Iterator<Item = &Profile> {
        self.0.iter()
    }
}
