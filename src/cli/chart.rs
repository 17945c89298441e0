//! A chart for the terminal: log10 of the ohms over time, over-range as arrows, limits as lines.

use crate::model::{Bound, Stamp};
use crate::trend::words::ohms;

/// A mark on the chart.
pub(crate) struct Dot {
    pub(crate) at: Stamp,
    pub(crate) log_ohm: f64,
    pub(crate) bound: Bound,
    /// The letter that tells the phase.
    pub(crate) letter: char,
}

/// What is drawn.
pub(crate) struct Chart<'a> {
    pub(crate) dots: Vec<Dot>,
    /// Limits in ohm with a name each.
    pub(crate) limits: Vec<(f64, &'a str)>,
    /// Events, drawn as a column of dots with their word below.
    pub(crate) events: Vec<(Stamp, String)>,
    /// Columns and rows of the plot itself.
    pub(crate) size: (usize, usize),
}

const LABEL: usize = 9;

impl Chart<'_> {
    /// The chart as lines of text; empty when there is nothing to draw.
    pub(crate) fn draw(&self) -> Vec<String> {
        let (width, height) = self.size;
        let Some((from, to)) = self.span() else { return Vec::new() };
        let (low, high) = self.range();
        let column = |at: Stamp| {
            let part = (at.days() - from.days()) / (to.days() - from.days()).max(1e-9);
            ((part * (width - 1) as f64).round() as usize).min(width - 1)
        };
        let row = |log: f64| {
            let part = (high - log) / (high - low);
            ((part * (height - 1) as f64).round().max(0.0) as usize).min(height - 1)
        };
        let mut cells = vec![vec![' '; width]; height];
        for (at, _) in self.events.iter().filter(|(at, _)| *at >= from && *at <= to) {
            for line in &mut cells {
                line[column(*at)] = '┊';
            }
        }
        for (limit, _) in &self.limits {
            let r = row(limit.log10());
            for cell in cells[r].iter_mut().filter(|c| **c == ' ') {
                *cell = '╌';
            }
        }
        for dot in &self.dots {
            let mark = match dot.bound {
                Bound::Measured => dot.letter,
                Bound::Over => '↑',
                Bound::Under => '↓',
            };
            let cell = &mut cells[row(dot.log_ohm)][column(dot.at)];
            // Phases that meet on one cell share a mark that claims to be neither.
            *cell = match *cell {
                ' ' | '╌' | '┊' => mark,
                same if same == mark => same,
                _ => '*',
            };
        }
        let mut out = Vec::with_capacity(height + 3);
        let labelled: Vec<usize> =
            (low.ceil() as i64..=high.floor() as i64).map(|d| row(d as f64)).collect();
        for (r, line) in cells.into_iter().enumerate() {
            let label = labelled
                .iter()
                .position(|&l| l == r)
                .map(|i| ohms(10f64.powi(low.ceil() as i32 + i as i32)))
                .unwrap_or_default();
            let text: String = line.into_iter().collect();
            let limit = self.limits.iter().find(|(l, _)| row(l.log10()) == r);
            let name = limit.map(|(_, name)| format!(" {name}")).unwrap_or_default();
            out.push(format!("{label:>LABEL$} ┤{}{name}", text.trim_end()));
        }
        out.push(format!("{:>LABEL$} └{}", "", "─".repeat(width)));
        let gap = width.saturating_sub(20);
        out.push(format!("{:>LABEL$}  {}{:gap$}{}", "", from.date(), "", to.date()));
        for (at, what) in &self.events {
            out.push(format!("{:>LABEL$}  ┊ {} {what}", "", at.date()));
        }
        out
    }

    fn span(&self) -> Option<(Stamp, Stamp)> {
        let from = self.dots.iter().map(|d| d.at).min()?;
        let to = self.dots.iter().map(|d| d.at).max()?;
        Some((from, to))
    }

    /// From the decade below the lowest mark or limit to the one above the highest mark.
    fn range(&self) -> (f64, f64) {
        let logs = self.dots.iter().map(|d| d.log_ohm);
        let limits = self.limits.iter().map(|(l, _)| l.log10());
        let low = logs.clone().chain(limits.clone()).fold(f64::INFINITY, f64::min);
        let high = logs.chain(limits).fold(f64::NEG_INFINITY, f64::max);
        let low = (low - 0.2).floor();
        (low, (high + 0.2).max(low + 1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn over_range_is_an_arrow_and_the_limit_a_line() {
        let at = |day: f64| Stamp::from_micros(0).plus_days(day);
        let dot = |day, log_ohm, bound| Dot { at: at(day), log_ohm, bound, letter: 'V' };
        let chart = Chart {
            dots: vec![
                dot(0.0, 8.74, Bound::Over),
                dot(30.0, 8.2, Bound::Measured),
                dot(60.0, 7.0, Bound::Measured),
            ],
            limits: vec![(5e6, "limit")],
            events: vec![],
            size: (31, 7),
        };
        let text = chart.draw().join("\n");
        insta::assert_snapshot!(text, @r"
                 ┤↑
                 ┤
          100 MΩ ┤               V
                 ┤
           10 MΩ ┤                              V
                 ┤╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌╌ limit
            1 MΩ ┤
                 └───────────────────────────────
                  1970-01-01           1970-03-02
        ");
    }
}
