//! What the parts of a drawing mean, and how each meaning looks: one table for screen and paper.

/// How many lines of a chart have a shape and colour of their own; further ones begin again.
pub const SHAPES: usize = 6;

/// The meaning of a path or text.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ink {
    /// The frame and its ticks.
    Axis,
    /// A line at a tick.
    Grid,
    /// A line between ticks.
    FineGrid,
    /// A number at a tick.
    Tick,
    /// Any other text.
    Label,
    /// A text that carries the message.
    Strong,
    /// A stretch without any test.
    Gap,
    /// The words about it.
    GapLabel,
    /// The interval of the trend.
    Band,
    /// The trend.
    Trend,
    /// Where the trend would go.
    Fan,
    /// The middle of where it would go.
    Ahead,
    /// When the trend reaches the limit, and the words about it.
    Reach,
    /// The words about when the trend reaches the limit.
    ReachLabel,
    /// A limit.
    Limit,
    /// The words about a limit.
    LimitLabel,
    /// An event.
    Event,
    /// The words about an event.
    EventLabel,
    /// The ground itself, to set words off from what lies beneath.
    Ground,
    /// The onset of a finding.
    Finding,
    /// The words about a finding.
    FindingLabel,
    /// The instant up to which the chart tells.
    Now,
    /// A line of the chart, filled marks.
    Mark(u8),
    /// A line of the chart, outlines: arrows, spans, hollow marks.
    Outline(u8),
    /// The thin line that joins its marks.
    Thread(u8),
    /// A reading that is left out.
    LeftOut,
    /// A bar or cell for each verdict, from calm to urgent: `too few`, `steady`, `watch`,
    /// `declining`, `below limit`.
    Level(u8),
}

/// A colour by its use, on light ground and on dark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Tone {
    /// On white, as 0xRRGGBB.
    pub light: u32,
    /// On black.
    pub dark: u32,
}

/// How a meaning looks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Look {
    /// The name of its class.
    pub class: &'static str,
    /// Colour and width of its line; 0 wide: none.
    pub stroke: (Tone, f64),
    /// Colour of its area, or of its letters.
    pub fill: Option<Tone>,
    /// How much of what lies beneath the area hides, 0 to 1.
    pub cover: f64,
    /// Lengths of dash and gap; none: drawn through.
    pub dash: Option<(f64, f64)>,
    /// Height of letters; 0: not for text.
    pub letters: f64,
    /// Whether letters are bold.
    pub bold: bool,
}

const fn tone(light: u32, dark: u32) -> Tone {
    Tone { light, dark }
}

const INK: Tone = tone(0x1d2329, 0xe8ebee);
const SOFT: Tone = tone(0x56606b, 0xa9b3bd);
const FAINT: Tone = tone(0xd9dee3, 0x39424b);
const FAINTER: Tone = tone(0xeef1f3, 0x272e35);
const ALERT: Tone = tone(0x8f2136, 0xff96a3);
const AHEAD: Tone = tone(0x6b4a12, 0xe3bf7a);

/// Told apart by lightness as well as hue; the shape of the mark is what counts.
const LINES: [Tone; SHAPES] = [
    tone(0x155a8a, 0x7fbdee),
    tone(0xa65a00, 0xf2ae5e),
    tone(0x5f3b8c, 0xc3a5f0),
    tone(0x23705a, 0x74cfae),
    tone(0x7a6a00, 0xd9cf62),
    tone(0x8c2f5d, 0xf098c4),
];
const MARKS: [&str; SHAPES] = ["m0", "m1", "m2", "m3", "m4", "m5"];
const OUTLINES: [&str; SHAPES] = ["o0", "o1", "o2", "o3", "o4", "o5"];
const THREADS: [&str; SHAPES] = ["t0", "t1", "t2", "t3", "t4", "t5"];

/// The five verdicts from calm to urgent, lightness falling with urgency.
const LEVELS: [(&str, Tone); 5] = [
    ("v0", tone(0xc9cfd5, 0x525c66)),
    ("v1", tone(0x9cc3b4, 0x3f7463)),
    ("v2", tone(0xe0bd6a, 0xb08a30)),
    ("v3", tone(0xc4692c, 0xe28a4e)),
    ("v4", tone(0x7d1f33, 0xff96a3)),
];

impl Ink {
    /// Every ink that there is.
    pub fn all() -> impl Iterator<Item = Ink> {
        let single = [
            Ink::Axis,
            Ink::Grid,
            Ink::FineGrid,
            Ink::Tick,
            Ink::Label,
            Ink::Strong,
            Ink::Gap,
            Ink::GapLabel,
            Ink::Band,
            Ink::Trend,
            Ink::Fan,
            Ink::Ahead,
            Ink::Reach,
            Ink::ReachLabel,
            Ink::Limit,
            Ink::LimitLabel,
            Ink::Event,
            Ink::EventLabel,
            Ink::Ground,
            Ink::Finding,
            Ink::FindingLabel,
            Ink::Now,
            Ink::LeftOut,
        ];
        let lines = (0..SHAPES as u8).flat_map(|i| [Ink::Thread(i), Ink::Mark(i), Ink::Outline(i)]);
        single.into_iter().chain(lines).chain((0..LEVELS.len() as u8).map(Ink::Level))
    }

    /// How it looks.
    pub const fn look(self) -> Look {
        match self {
            Ink::Axis => line("axis", SOFT, 0.8),
            Ink::Grid => line("grid", FAINT, 0.6),
            Ink::FineGrid => line("fine", FAINTER, 0.5),
            Ink::Tick => text("tick", SOFT, 7.5, false),
            Ink::Label => text("label", INK, 8.0, false),
            Ink::Strong => text("strong", INK, 8.5, true),
            Ink::Gap => area("gap", FAINT, 0.45),
            Ink::GapLabel => text("gap-label", SOFT, 7.0, false),
            Ink::Band => area("band", SOFT, 0.22),
            Ink::Trend => line("trend", INK, 1.3),
            Ink::Fan => area("fan", AHEAD, 0.16),
            Ink::Ahead => dashed("ahead", AHEAD, 1.1, (4.0, 2.5)),
            Ink::Reach => line("reach", AHEAD, 2.4),
            Ink::ReachLabel => text("reach-label", AHEAD, 7.5, true),
            Ink::Limit => dashed("limit", ALERT, 1.1, (6.0, 2.5)),
            Ink::LimitLabel => text("limit-label", ALERT, 7.5, false),
            Ink::Event => dashed("event", SOFT, 0.9, (1.5, 1.8)),
            Ink::EventLabel => text("event-label", INK, 7.0, false),
            Ink::Ground => area("ground", tone(0xffffff, 0x14181c), 1.0),
            Ink::Finding => line("finding", ALERT, 1.0),
            Ink::FindingLabel => text("finding-label", ALERT, 7.0, true),
            Ink::Now => dashed("now", SOFT, 0.7, (3.0, 3.0)),
            Ink::Mark(i) => {
                let tone = LINES[i as usize % SHAPES];
                Look { fill: Some(tone), ..line(MARKS[i as usize % SHAPES], tone, 0.8) }
            }
            Ink::Outline(i) => line(OUTLINES[i as usize % SHAPES], LINES[i as usize % SHAPES], 1.0),
            Ink::Thread(i) => {
                let i = i as usize % SHAPES;
                Look { cover: 0.45, ..line(THREADS[i], LINES[i], 0.7) }
            }
            Ink::LeftOut => line("left-out", SOFT, 0.9),
            Ink::Level(i) => {
                let (class, tone) = LEVELS[i as usize % LEVELS.len()];
                area(class, tone, 1.0)
            }
        }
    }
}

const fn line(class: &'static str, tone: Tone, width: f64) -> Look {
    let stroke = (tone, width);
    Look { class, stroke, fill: None, cover: 1.0, dash: None, letters: 0.0, bold: false }
}

const fn dashed(class: &'static str, tone: Tone, width: f64, dash: (f64, f64)) -> Look {
    Look { dash: Some(dash), ..line(class, tone, width) }
}

const fn area(class: &'static str, tone: Tone, cover: f64) -> Look {
    Look { fill: Some(tone), cover, ..line(class, tone, 0.0) }
}

const fn text(class: &'static str, tone: Tone, letters: f64, bold: bool) -> Look {
    Look { fill: Some(tone), letters, bold, ..line(class, tone, 0.0) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_meaning_has_a_class_of_its_own() {
        let mut classes: Vec<&str> = Ink::all().map(|ink| ink.look().class).collect();
        let all = classes.len();
        classes.sort_unstable();
        classes.dedup();
        assert_eq!(classes.len(), all);
    }

    /// WCAG 2.1 success criterion 1.4.3: text at least 4.5 : 1 against its ground; relative
    /// luminance and contrast as defined there.
    #[test]
    fn words_stand_out_from_their_ground() {
        for ink in Ink::all().filter(|ink| ink.look().letters > 0.0) {
            let tone = ink.look().fill.unwrap();
            assert!(contrast(tone.light, 0xffffff) >= 4.5, "{ink:?} on white");
            assert!(contrast(tone.dark, 0x14181c) >= 4.5, "{ink:?} on black");
        }
    }

    fn contrast(a: u32, b: u32) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    fn luminance(rgb: u32) -> f64 {
        let channel = |shift: u32| {
            let c = f64::from((rgb >> shift) & 0xff) / 255.0;
            if c <= 0.03928 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * channel(16) + 0.7152 * channel(8) + 0.0722 * channel(0)
    }
}
