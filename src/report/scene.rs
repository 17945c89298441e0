//! A drawing before it is SVG or PDF: paths and texts with a meaning each, and no colours.

use super::ink::Ink;

/// Width and height of a drawing in points (1/72 inch); SVG scales them to its place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Points across.
    pub width: f64,
    /// Points down.
    pub height: f64,
}

/// A point of a drawing: right and down from the upper left corner.
pub type Spot = (f64, f64);

/// A drawing: everything a renderer needs, and nothing of how it renders.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Its size.
    pub size: Size,
    /// What it shows, in a few words.
    pub title: String,
    /// The same in sentences, for whoever cannot see it.
    pub description: String,
    /// What is drawn, in this order.
    pub items: Vec<Item>,
}

/// A part of a drawing.
#[derive(Clone, Debug, PartialEq)]
pub enum Item {
    /// A line or an area.
    Path {
        /// What it means.
        ink: Ink,
        /// Its course.
        steps: Vec<Step>,
    },
    /// A text on one line.
    Text {
        /// What it means.
        ink: Ink,
        /// Where its base line begins, is centred, or ends.
        at: Spot,
        /// Which of the three.
        anchor: Anchor,
        /// What it says.
        text: String,
    },
    /// What belongs together: a mark of the chart, with words that a pointer brings up.
    Group {
        /// What it says.
        tip: String,
        /// Its parts.
        items: Vec<Item>,
    },
}

/// A step of a path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    /// Begins anew here.
    Move(Spot),
    /// A straight line to here.
    Line(Spot),
    /// A cubic curve by two control points to the third.
    Curve(Spot, Spot, Spot),
    /// Back to where it began.
    Close,
}

/// What of a text stands at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Its beginning.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

impl Scene {
    /// An empty drawing.
    pub fn new(size: Size, title: impl Into<String>, description: impl Into<String>) -> Self {
        Scene { size, title: title.into(), description: description.into(), items: Vec::new() }
    }

    /// Adds a line through some spots; fewer than two draw nothing.
    pub fn line(&mut self, ink: Ink, spots: &[Spot]) {
        if spots.len() > 1 {
            self.items.push(Item::Path { ink, steps: through(spots) });
        }
    }

    /// Adds an area with these corners.
    pub fn area(&mut self, ink: Ink, corners: &[Spot]) {
        if corners.len() > 2 {
            self.items.push(Item::Path { ink, steps: closed(corners) });
        }
    }

    /// Adds a text.
    pub fn text(&mut self, ink: Ink, at: Spot, anchor: Anchor, text: impl Into<String>) {
        self.items.push(Item::Text { ink, at, anchor, text: text.into() });
    }
}

/// The steps through some spots.
pub fn through(spots: &[Spot]) -> Vec<Step> {
    let step =
        |(i, spot): (usize, &Spot)| if i == 0 { Step::Move(*spot) } else { Step::Line(*spot) };
    spots.iter().enumerate().map(step).collect()
}

/// The steps around some corners.
pub fn closed(corners: &[Spot]) -> Vec<Step> {
    let mut steps = through(corners);
    steps.push(Step::Close);
    steps
}

/// The steps of a circle: four cubic curves, off by less than 0.03 % of the radius.
pub fn circle((x, y): Spot, r: f64) -> Vec<Step> {
    let k = 0.552_284_75 * r;
    vec![
        Step::Move((x + r, y)),
        Step::Curve((x + r, y + k), (x + k, y + r), (x, y + r)),
        Step::Curve((x - k, y + r), (x - r, y + k), (x - r, y)),
        Step::Curve((x - r, y - k), (x - k, y - r), (x, y - r)),
        Step::Curve((x + k, y - r), (x + r, y - k), (x + r, y)),
        Step::Close,
    ]
}
