//! Bytes of an unknown export to text: Unicode where it is, else the code page whose words are known.

use encoding_rs::{Encoding, UTF_16BE, UTF_16LE, WINDOWS_1252};

use super::ask::{Asker, candidate};
use super::words;
use crate::encoding::{Kind, kind};
use crate::framing::Width;

/// Code pages of workshops' computers. Code pages 437 and 850 of DOS have no WHATWG label, so a
/// profile cannot name them.
const CODE_PAGES: [&str; 6] =
    ["windows-1252", "windows-1250", "iso-8859-2", "macintosh", "windows-1253", "windows-1251"];

/// The text, and the label of its encoding where a profile has to name it.
pub(super) fn decode(bytes: &[u8], asker: &mut Asker<'_>) -> Option<(String, Option<String>)> {
    let Kind::Text(width) = kind(bytes) else { return None };
    let unicode = match width {
        Width::Little => Some(UTF_16LE),
        Width::Big => Some(UTF_16BE),
        Width::Byte => None,
    };
    let trimmed = |text: &str| text.trim_start_matches('\u{feff}').replace('\0', "");
    if let Some(encoding) = unicode {
        return Some((trimmed(&encoding.decode(bytes).0), None));
    }
    if let Ok(text) = std::str::from_utf8(bytes) {
        return Some((trimmed(text), None));
    }
    let is_page = |label: &str| Encoding::for_label(label.as_bytes()).is_some();
    if let Some(label) = asker.overruled("encoding", "a label such as `windows-1252`", is_page) {
        let encoding = Encoding::for_label(label.as_bytes()).unwrap_or(WINDOWS_1252);
        return Some((trimmed(&encoding.decode_without_bom_handling(bytes).0), Some(label)));
    }
    let mut detector = chardetng::EncodingDetector::new(chardetng::Iso2022JpDetection::Deny);
    detector.feed(bytes, true);
    let guess = detector.guess(None, chardetng::Utf8Detection::Deny);
    let mut best: Option<(usize, &'static Encoding, String)> = None;
    let mut others = Vec::new();
    let pages = CODE_PAGES.iter().filter_map(|label| Encoding::for_label(label.as_bytes()));
    for encoding in std::iter::once(guess).chain(pages) {
        let text = encoding.decode_without_bom_handling(bytes).0.into_owned();
        let known = known_words(&text);
        if best.as_ref().is_none_or(|(most, ..)| known > *most) {
            best = Some((known, encoding, text.clone()));
        }
        others.push((known, encoding, text));
    }
    let (most, encoding, text) = best?;
    let differs =
        |(known, _, other): &&(usize, &Encoding, String)| *known == most && *other != text;
    let rivals: Vec<_> = others.iter().filter(differs).collect();
    if !rivals.is_empty() {
        let sample = |text: &str| {
            let line = text.lines().find(|line| !line.is_ascii()).unwrap_or_default();
            line.trim().chars().take(60).collect::<String>()
        };
        let mut hints = vec![candidate(encoding.name(), &sample(&text))];
        for (_, rival, text) in rivals {
            if !hints.iter().any(|hint| hint.means == sample(text)) {
                hints.push(candidate(rival.name(), &sample(text)));
            }
        }
        let unsure = format!("the file is not Unicode; `{}` was taken", encoding.name());
        if hints.len() > 1 {
            asker.may_say("encoding", &unsure, hints, "a label such as `windows-1252`", is_page);
        }
    }
    Some((trimmed(&text), Some(encoding.name().to_lowercase())))
}

/// How many cells with more than ASCII are names or units that are known.
fn known_words(text: &str) -> usize {
    let cells = text.lines().take(60).flat_map(|line| line.split([';', ',', '\t', '|', ':']));
    let known = |cell: &&str| {
        let cell = cell.trim().trim_matches('"');
        let (name, unit) = crate::header::split_unit(cell);
        !cell.is_ascii()
            && (!words::fields(name).is_empty()
                || !words::fields(cell).is_empty()
                || unit.is_some_and(|unit| unit.contains(['Ω', '°']))
                || cell.ends_with('Ω')
                || cell.ends_with("°C"))
    };
    cells.filter(known).count()
}
