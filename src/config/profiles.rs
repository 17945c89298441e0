//! The profiles at hand: those compiled in, and those in the data folder's `profiles`.

use std::path::{Path, PathBuf};

use ohmward_parsers::{ProfileError, Profiles};

/// Why a profile in the data folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum ProfileFileError {
    /// The file cannot be read.
    #[error("cannot read it: {0}")]
    Read(#[from] std::io::Error),
    /// What it says cannot be meant.
    #[error(transparent)]
    Profile(#[from] ProfileError),
}

/// Adds the profiles of a data folder; returns those that cannot be used, and why.
pub fn add_profiles(data: &Path, profiles: &mut Profiles) -> Vec<(PathBuf, ProfileFileError)> {
    let mut paths: Vec<PathBuf> = match std::fs::read_dir(data.join("profiles")) {
        Ok(entries) => entries
            .filter_map(|e| e.ok().map(|e| e.path()))
            .filter(|p| p.extension().is_some_and(|e| e == "toml"))
            .collect(),
        Err(_) => Vec::new(),
    };
    paths.sort();
    let mut problems = Vec::new();
    for path in paths {
        let name = path.file_stem().map(|n| n.to_string_lossy()).unwrap_or_default();
        let added = std::fs::read_to_string(&path)
            .map_err(ProfileFileError::from)
            .and_then(|text| Ok(profiles.add(&name, &text)?));
        if let Err(problem) = added {
            problems.push((path, problem));
        }
    }
    problems
}
