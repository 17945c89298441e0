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

/// An invented fleet of `assets` specimens; each depends on the seed and its own number only, and
/// where records are exchanged on its neighbour, so that a larger fleet begins with the smaller one.
pub fn fleet(preset: &Preset, assets: usize, seed: u64) -> Vec<Specimen> {
    let whole = if preset.assets_swapped > 0.0 { assets.next_multiple_of(2) } else { assets };
    let mut all: Vec<_> = (0..whole).map(|number| Specimen::invent(preset, number, seed)).collect();
    for (pair, both) in all.as_chunks_mut::<2>().0.iter_mut().enumerate() {
        let mut dice = Dice::new(seed ^ 0x5a7e, pair as u64);
        if dice.chance(preset.assets_swapped) {
            let from = dice.between(0.1, 0.8) * preset.span_days;
            Specimen::exchange(both, from, from + dice.between(60.0, 180.0));
        }
    }
    all.truncate(assets);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exchanged_records_are_only_exchanged() {
        let plain = fleet(&Preset::handheld(), 4, 1);
        let preset = Preset { assets_swapped: 1.0, ..Preset::handheld() };
        let mixed = fleet(&preset, 4, 1);
        assert_eq!(fleet(&preset, 3, 1), mixed[..3]);
        for (plain, mixed) in plain.as_chunks::<2>().0.iter().zip(mixed.as_chunks::<2>().0) {
            assert_ne!(plain[0].measured, mixed[0].measured);
            let all = |pair: &[Specimen; 2]| {
                let mut all: Vec<_> = pair.iter().flat_map(|s| s.measured.clone()).collect();
                all.sort_by_key(|m| (m.at, m.phase));
                all
            };
            assert_eq!(all(plain), all(mixed));
            assert!(mixed.iter().all(|s| s.measured.is_sorted_by_key(|m| m.at)));
            assert_eq!(plain[0].courses, mixed[0].courses);
        }
    }
}
