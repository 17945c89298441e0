//! Words into lines of a width.

use super::face::Face;

/// What stays with the number before it.
const UNITS: [&str; 12] = ["Ω", "kΩ", "MΩ", "GΩ", "TΩ", "°C", "%", "V", "s", "K", "h", "days"];

/// The words of a paragraph, a number and its unit as one.
fn words(paragraph: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    for word in paragraph.split_whitespace() {
        let bare = word.trim_end_matches(|c: char| ".,;:)".contains(c));
        match words.last_mut() {
            Some(last) if UNITS.contains(&bare) && last.ends_with(|c: char| c.is_ascii_digit()) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => words.push(word.to_owned()),
        }
    }
    words
}

/// The lines of a text: broken between words, and within a word only where it is wider than a
/// whole line. Never empty.
pub(super) fn wrapped(face: &Face, text: &str, letters: f64, width: f64) -> Vec<String> {
    let mut lines = Vec::new();
    for paragraph in text.lines() {
        let mut line = String::new();
        for word in words(paragraph) {
            let joined = if line.is_empty() { word.clone() } else { format!("{line} {word}") };
            if face.width(&joined, letters) <= width {
                line = joined;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            line = broken(face, &word, letters, width, &mut lines);
        }
        lines.push(line);
    }
    if lines.is_empty() {
        lines.push(String::new());
    }
    lines
}

/// Breaks a word that fits no line; what is left of it begins the next one.
fn broken(face: &Face, word: &str, letters: f64, width: f64, lines: &mut Vec<String>) -> String {
    let mut part = String::new();
    let mut wide = 0.0;
    for c in word.chars() {
        let step = face.width(c.encode_utf8(&mut [0; 4]), letters);
        if wide + step > width && !part.is_empty() {
            lines.push(std::mem::take(&mut part));
            wide = 0.0;
        }
        part.push(c);
        wide += step;
    }
    part
}

#[cfg(test)]
mod tests {
    use super::super::face::Faces;
    use super::*;

    #[test]
    fn nothing_is_lost_and_nothing_too_wide() {
        let faces = Faces::new().unwrap();
        let face = &faces.regular;
        let text = "one two  three\nfour supercalifragilistic Ω";
        let lines = wrapped(face, text, 8.0, 50.0);
        assert!(lines.iter().all(|l| face.width(l, 8.0) <= 50.0), "{lines:?}");
        let letters = |s: &str| s.chars().filter(|c| !c.is_whitespace()).collect::<String>();
        assert_eq!(letters(&lines.concat()), letters(text));
        assert_eq!(wrapped(face, "", 8.0, 50.0), [""]);
    }
}
