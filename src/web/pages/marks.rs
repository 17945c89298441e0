//! Marks: a verdict, finding or result as a shape and a word. Colour only supports them.

use std::fmt;

use askama::filters::HtmlSafe;

use crate::model::{FindingKind, Outcome, Verdict};

/// A mark for one of our own words; the shapes are in `sprite.svg`, the colours in the style.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::web) struct Mark(&'static str);

impl Mark {
    /// The mark of one of our own words, such as a kind of finding as it is told.
    pub(in crate::web) fn named(word: &'static str) -> Self {
        Mark(word)
    }
}

impl From<Verdict> for Mark {
    fn from(verdict: Verdict) -> Self {
        Mark(verdict.word())
    }
}

impl From<FindingKind> for Mark {
    fn from(kind: FindingKind) -> Self {
        Mark(kind.word())
    }
}

impl From<&Outcome> for Mark {
    fn from(outcome: &Outcome) -> Self {
        Mark(outcome.word())
    }
}

impl fmt::Display for Mark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (word, slug) = (self.0, self.0.replace(' ', "-"));
        write!(
            f,
            "<span class=\"mark {slug}\"><svg aria-hidden=\"true\"><use href=\"#m-{slug}\"/></svg>{word}</span>"
        )
    }
}

/// Its words are of this program, never from outside.
impl HtmlSafe for Mark {}

#[cfg(test)]
mod tests {
    use super::*;

    const SPRITE: &str = include_str!("templates/sprite.svg");
    const STYLE: &str = include_str!("static/ohmward.css");

    #[test]
    fn every_word_has_a_shape_and_a_colour() {
        let verdicts = Verdict::ALL.iter().map(|v| Mark::from(*v));
        let kinds = FindingKind::ALL.iter().map(|k| Mark::from(*k));
        let outcomes =
            [Outcome::Meets, Outcome::Below, Outcome::CannotTell(""), Outcome::Invalid("")];
        for mark in verdicts.chain(kinds).chain(outcomes.iter().map(Mark::from)) {
            let slug = mark.0.replace(' ', "-");
            assert!(SPRITE.contains(&format!("id=\"m-{slug}\"")), "no shape for {slug}");
            assert!(STYLE.contains(&format!(".{slug}")), "no colour for {slug}");
        }
    }

    /// What the three kinds of colour blindness make of linear red, green and blue: Machado,
    /// Oliveira, Fernandes (2009), "A physiologically-based model for simulation of color vision
    /// deficiency", IEEE TVCG 15(6), matrices of severity 1.0 (numbers from memory).
    const BLIND: [(&str, [[f64; 3]; 3]); 4] = [
        ("none", [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
        (
            "protan",
            [
                [0.152286, 1.052583, -0.204868],
                [0.114503, 0.786281, 0.099216],
                [-0.003882, -0.048116, 1.051998],
            ],
        ),
        (
            "deutan",
            [
                [0.367322, 0.860646, -0.227968],
                [0.280085, 0.672501, 0.047413],
                [-0.011820, 0.042940, 0.968881],
            ],
        ),
        (
            "tritan",
            [
                [1.255528, -0.076749, -0.178779],
                [-0.078411, 0.930809, 0.147602],
                [0.004733, 0.691367, 0.303900],
            ],
        ),
    ];

    /// Linear red, green and blue of `#rrggbb` (sRGB, IEC 61966-2-1).
    fn linear(hex: &str) -> [f64; 3] {
        [1, 3, 5].map(|at| {
            let v = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
            if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
        })
    }

    fn seen([r, g, b]: [f64; 3], by: &[[f64; 3]; 3]) -> [f64; 3] {
        by.map(|row| (row[0] * r + row[1] * g + row[2] * b).clamp(0.0, 1.0))
    }

    /// L*a*b* of linear sRGB (CIE 15, white D65).
    fn lab([r, g, b]: [f64; 3]) -> [f64; 3] {
        let f = |t: f64| if t > 0.008856 { t.cbrt() } else { 7.787 * t + 16.0 / 116.0 };
        let x = f((0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.9505);
        let y = f(0.2126 * r + 0.7152 * g + 0.0722 * b);
        let z = f((0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.089);
        [116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)]
    }

    fn apart(a: [f64; 3], b: [f64; 3]) -> f64 {
        a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt()
    }

    /// Contrast by WCAG 2.2 (relative luminance).
    fn contrast(a: [f64; 3], b: [f64; 3]) -> f64 {
        let light = |[r, g, b]: [f64; 3]| 0.2126 * r + 0.7152 * g + 0.0722 * b + 0.05;
        let (a, b) = (light(a), light(b));
        a.max(b) / a.min(b)
    }

    /// The light and the dark set, by name, as the style has them.
    fn sets() -> Vec<Vec<(String, [f64; 3])>> {
        STYLE
            .split(":root {")
            .skip(1)
            .map(|part| {
                let body = part.split('}').next().unwrap();
                let lines = body.split(';').filter_map(|d| d.trim().split_once(": #"));
                lines
                    .filter(|(_, v)| v.len() == 6)
                    .map(|(name, v)| {
                        (name.trim_start_matches("--").into(), linear(&format!("#{v}")))
                    })
                    .collect()
            })
            .collect()
    }

    #[test]
    fn colours_of_verdicts_are_told_apart_and_read_on_the_page() {
        let sets = sets();
        assert_eq!(sets.len(), 2);
        for set in &sets {
            let of = |name: &str| set.iter().find(|(n, _)| n == name).unwrap().1;
            let names = ["steady", "watch", "declining", "below", "few"];
            for (i, a) in names.iter().enumerate() {
                for on in ["paper", "card", "tint"] {
                    let contrast = contrast(of(a), of(on));
                    assert!(contrast >= 4.5, "{a} on {on}: {contrast:.2}");
                }
                for b in &names[i + 1..] {
                    for (blind, by) in &BLIND {
                        let d = apart(lab(seen(of(a), by)), lab(seen(of(b), by)));
                        assert!(d >= 20.0, "{a} and {b}, {blind}: {d:.1}");
                    }
                }
            }
        }
    }
}
