//! Chance from a seed: small, fast, the same on every machine.

/// A stream of pseudo-random numbers (SplitMix64: Steele, Lea and Flood, OOPSLA 2014).
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    /// A stream of its own for each pair of seed and number.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut dice = Dice(seed ^ stream.wrapping_mul(0xd134_2543_de82_ef95));
        dice.next();
        Dice(dice.next() ^ stream)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Even in [0, 1).
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Even between two numbers.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with a probability.
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// Normal, by the polar form of Box and Muller without its second value.
    pub fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        mean + sd * radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// An index below `n`; 0 when `n` is 0.
    pub fn index(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n.saturating_sub(1))
    }

    /// Waiting time until the next of events that come `per_year`, in days.
    pub fn wait_days(&mut self, per_year: f64) -> f64 {
        -(1.0 - self.unit()).ln() / per_year * 365.25
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs of SplitMix64 from state 1234567, as widely quoted (from memory).
    #[test]
    fn the_stream_is_the_published_one() {
        let mut dice = Dice(1_234_567);
        assert_eq!(dice.next(), 6_457_827_717_110_365_317);
        assert_eq!(dice.next(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn normal_has_its_moments() {
        let mut dice = Dice::new(1, 1);
        let values: Vec<f64> = (0..20_000).map(|_| dice.normal(2.0, 3.0)).collect();
        let mean = values.iter().sum::<f64>() / 20_000.0;
        let var = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 20_000.0;
        assert!((mean - 2.0).abs() < 0.1 && (var - 9.0).abs() < 0.4, "{mean} {var}");
    }
}
