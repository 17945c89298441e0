//! Invented fleets: assets with a known true course and the readings that testers would have given.
//!
//! Everything here is invented data. The physics is the project's own choice, after published
//! figures where there are any: resistance falls exponentially with age and temperature (log-linear
//! ageing: NIST StRD *Nelson*; halving per 10 K: IEEE Std 43), hand-held testers end at some
//! hundreds of MΩ. The same seed always gives the same fleet, on every machine.

mod course;
mod dialects;
mod dice;
mod preset;
pub mod quay;
mod specimen;
mod tester;

pub use course::{Course, Fate};
pub use dialects::{QuayFile, files, with_slips};
pub use dice::Dice;
pub use preset::Preset;
pub use specimen::{Measured, PHASES, Specimen};

/// An invented fleet of `assets` specimens; each depends on the seed and its own number only, so
/// that a larger fleet begins with the smaller one.
pub fn fleet(preset: &Preset, assets: usize, seed: u64) -> Vec<Specimen> {
    (0..assets).map(|number| Specimen::invent(preset, number, seed)).collect()
}
