//! Places for words, so that they don't run into one another or out of the frame.

use crate::report::ink::Ink;

/// How wide a text is, roughly and rather too wide than too narrow: the font that a screen uses is
/// not known here.
pub(super) fn width(text: &str, ink: Ink) -> f64 {
    let look = ink.look();
    let wide = if look.bold { 0.7 } else { 0.6 };
    wide * look.letters * text.chars().count() as f64
}

/// Rows for words that belong to places along a line.
#[derive(Clone, Debug)]
pub(super) struct Rows {
    /// For each row the stretches that are taken.
    taken: Vec<Vec<(f64, f64)>>,
    bounds: (f64, f64),
}

impl Rows {
    pub(super) fn new(rows: usize, bounds: (f64, f64)) -> Self {
        Rows { taken: vec![Vec::new(); rows], bounds }
    }

    /// The first row with room for words of that width whose left edge would stand at `x`, and
    /// where they stand when they must not run out of the frame; none when all rows are full.
    pub(super) fn take(&mut self, x: f64, width: f64) -> Option<(usize, f64)> {
        let left = x.min(self.bounds.1 - width).max(self.bounds.0);
        let stretch = (left - 2.0, left + width + 2.0);
        let free = |row: &Vec<(f64, f64)>| row.iter().all(|t| t.1 <= stretch.0 || stretch.1 <= t.0);
        let row = self.taken.iter().position(free)?;
        self.taken[row].push(stretch);
        Some((row, left))
    }

    /// How many rows have words.
    pub(super) fn used(&self) -> usize {
        self.taken.iter().rposition(|row| !row.is_empty()).map_or(0, |row| row + 1)
    }
}

#[cfg(test)]
mod tests {
    use super::Rows;

    #[test]
    fn words_evade_one_another_and_stay_inside() {
        let mut rows = Rows::new(2, (0.0, 100.0));
        assert_eq!(rows.take(10.0, 30.0), Some((0, 10.0)));
        assert_eq!(rows.take(20.0, 30.0), Some((1, 20.0)));
        assert_eq!(rows.take(30.0, 30.0), None);
        assert_eq!(rows.take(95.0, 30.0), Some((0, 70.0)));
        assert_eq!(rows.used(), 2);
    }
}
