//! One line above the plot that explains each shape in it.

use super::axis::Frame;
use super::lines::{LeftOut, line_name};
use super::marks::{arrow, left_out, shape};
use super::place::width;
use super::trend::Trend;
use crate::dossier::Group;
use crate::model::Bound;
use crate::report::ink::Ink;
use crate::report::scene::{Anchor, Item, Scene, Spot, through};

/// Draws it; only what is in the chart is explained.
pub(super) fn draw(
    scene: &mut Scene,
    frame: &Frame,
    group: &Group,
    out: &[LeftOut],
    trend: Option<&Trend<'_>>,
) {
    let mut legend = Legend { scene, x: frame.left, right: frame.right };
    for i in 0..group.case.lines.len() {
        legend.entry(line_name(group, i), Ink::Strong, |spot| {
            vec![Item::Path { ink: Ink::Mark(i as u8), steps: shape(i, spot, 2.9) }]
        });
    }
    let has = |bound| group.case.lines.iter().flat_map(|l| &l.points).any(|p| p.bound == bound);
    if has(Bound::Over) {
        legend.entry("over-range: at least", Ink::Label, |(x, y)| {
            vec![arrow(Ink::LeftOut, (x, y + 4.0), -1.0, 2.0)]
        });
    }
    if has(Bound::Under) {
        legend.entry("under-range: at most", Ink::Label, |(x, y)| {
            vec![arrow(Ink::LeftOut, (x, y - 4.0), 1.0, 2.0)]
        });
    }
    if let Some(first) = out.first() {
        let line = first.line;
        legend.entry("left out", Ink::Label, |spot| left_out(line, spot, 2.6));
    }
    if let Some(trend) = trend.filter(|t| t.is_drawn()) {
        let words = format!("trend of {}, 90 % band", line_name(group, trend.line));
        legend.entry(words, Ink::Label, |(x, y)| {
            let band =
                [(x - 5.0, y - 4.0), (x + 5.0, y - 4.0), (x + 5.0, y + 4.0), (x - 5.0, y + 4.0)];
            vec![
                Item::Path { ink: Ink::Band, steps: crate::report::scene::closed(&band) },
                Item::Path { ink: Ink::Trend, steps: through(&[(x - 5.0, y), (x + 5.0, y)]) },
            ]
        });
    }
}

struct Legend<'s> {
    scene: &'s mut Scene,
    x: f64,
    right: f64,
}

impl Legend<'_> {
    /// Adds an entry; one that finds no room is left to the chart's description.
    fn entry(&mut self, words: impl Into<String>, ink: Ink, drawn: impl Fn(Spot) -> Vec<Item>) {
        let words = words.into();
        let wide = 13.0 + width(&words, ink);
        if self.x + wide > self.right + 4.0 {
            return;
        }
        let y = 9.0;
        self.scene.items.extend(drawn((self.x + 5.0, y)));
        self.scene.text(ink, (self.x + 13.0, y + 2.9), Anchor::Start, words);
        self.x += wide + 6.0;
    }
}
