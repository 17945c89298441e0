//! The letters of the PDF: an embedded font, how wide its letters are, and which were used.

use std::collections::BTreeMap;

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, UnicodeCmap};
use pdf_writer::{Finish, Name, Pdf, Rect, Ref, Str};
use ttf_parser::{Face as Parsed, GlyphId};

use super::deflated;

const REGULAR: &[u8] = include_bytes!("font/DejaVuSans.ttf");
const BOLD: &[u8] = include_bytes!("font/DejaVuSans-Bold.ttf");

/// What stands where the font has no letter: never nothing.
const INSTEAD: char = '\u{fffd}';

/// One weight of the font.
pub(super) struct Face {
    parsed: Parsed<'static>,
    bytes: &'static [u8],
    /// Its name as a resource and in the file.
    pub(super) resource: Name<'static>,
    name: &'static str,
    /// Glyphs used so far, each with the character it stands for.
    used: BTreeMap<u16, char>,
}

/// Both weights.
pub(super) struct Faces {
    pub(super) regular: Face,
    pub(super) bold: Face,
}

impl Faces {
    /// The fonts that are part of the program: reading them fails only when the build is broken.
    pub(super) fn new() -> Result<Self, ttf_parser::FaceParsingError> {
        Ok(Faces {
            regular: Face::new(REGULAR, b"R", "OHMWRD+DejaVuSans")?,
            bold: Face::new(BOLD, b"B", "OHMWRD+DejaVuSans-Bold")?,
        })
    }

    pub(super) fn of(&mut self, bold: bool) -> &mut Face {
        if bold { &mut self.bold } else { &mut self.regular }
    }
}

impl Face {
    fn new(
        bytes: &'static [u8],
        resource: &'static [u8],
        name: &'static str,
    ) -> Result<Self, ttf_parser::FaceParsingError> {
        let parsed = Parsed::parse(bytes, 0)?;
        Ok(Face { parsed, bytes, resource: Name(resource), name, used: BTreeMap::new() })
    }

    fn glyph(&self, c: char) -> (GlyphId, char) {
        // A space that does not break and the like look as what they stand for.
        let c = if c == '\n' || c == '\t' { ' ' } else { c };
        match self.parsed.glyph_index(c) {
            Some(glyph) => (glyph, c),
            None => (self.parsed.glyph_index(INSTEAD).unwrap_or(GlyphId(0)), INSTEAD),
        }
    }

    fn advance(&self, glyph: GlyphId) -> f64 {
        f64::from(self.parsed.glyph_hor_advance(glyph).unwrap_or(0))
            / f64::from(self.parsed.units_per_em())
    }

    /// How wide a text is at a height of its letters.
    pub(super) fn width(&self, text: &str, letters: f64) -> f64 {
        text.chars().map(|c| self.advance(self.glyph(c).0)).sum::<f64>() * letters
    }

    /// The text as the font's glyphs, which are noted as used.
    pub(super) fn encode(&mut self, text: &str) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(2 * text.len());
        for c in text.chars() {
            let (glyph, c) = self.glyph(c);
            self.used.entry(glyph.0).or_insert(c);
            bytes.extend(glyph.0.to_be_bytes());
        }
        bytes
    }

    /// Writes the font with everything that it needs, as five objects.
    pub(super) fn embed(&self, pdf: &mut Pdf, refs: &mut Ref, font: Ref) {
        let [cid, descriptor, file, cmap] = [(); 4].map(|()| refs.bump());
        let base = Name(self.name.as_bytes());
        let system =
            SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };
        pdf.type0_font(font)
            .base_font(base)
            .encoding_predefined(Name(b"Identity-H"))
            .descendant_font(cid)
            .to_unicode(cmap);
        let em = 1000.0 / f32::from(self.parsed.units_per_em());
        let mut written = pdf.cid_font(cid);
        written
            .subtype(CidFontType::Type2)
            .base_font(base)
            .system_info(system)
            .font_descriptor(descriptor)
            .default_width(600.0)
            .cid_to_gid_map_predefined(Name(b"Identity"));
        let mut widths = written.widths();
        for glyph in self.used.keys() {
            widths.consecutive(*glyph, [(self.advance(GlyphId(*glyph)) * 1000.0) as f32]);
        }
        widths.finish();
        written.finish();
        let bbox = self.parsed.global_bounding_box();
        let scaled = |v: i16| f32::from(v) * em;
        pdf.font_descriptor(descriptor)
            .name(base)
            .flags(FontFlags::SYMBOLIC)
            .bbox(Rect::new(
                scaled(bbox.x_min),
                scaled(bbox.y_min),
                scaled(bbox.x_max),
                scaled(bbox.y_max),
            ))
            .italic_angle(0.0)
            .ascent(scaled(self.parsed.ascender()))
            .descent(scaled(self.parsed.descender()))
            .cap_height(scaled(self.parsed.capital_height().unwrap_or(1493)))
            .stem_v(if self.name.ends_with("Bold") { 140.0 } else { 88.0 })
            .font_file2(file);
        let length = self.bytes.len() as i32;
        let bytes = deflated(self.bytes);
        let mut stream = pdf.stream(file, &bytes);
        stream.filter(pdf_writer::Filter::FlateDecode);
        stream.pair(Name(b"Length1"), length);
        stream.finish();
        let mut map = UnicodeCmap::new(Name(b"OhmwardUnicode"), system);
        for (glyph, c) in &self.used {
            map.pair(*glyph, *c);
        }
        let bytes = deflated(&map.finish());
        pdf.cmap(cmap, &bytes)
            .name(Name(b"OhmwardUnicode"))
            .system_info(system)
            .filter(pdf_writer::Filter::FlateDecode);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_signs_of_the_trade_are_there_and_what_is_missing_shows() {
        let mut faces = Faces::new().unwrap();
        for face in [&mut faces.regular, &mut faces.bold] {
            for c in "ΩΩµμ°≥≤–→±×·ßéŁžЖ▼◇■●○…“”".chars() {
                assert_eq!(face.glyph(c).1, c, "{c}");
            }
            assert_eq!(face.glyph('電').1, INSTEAD);
            assert_eq!(face.encode("電V").len(), 4);
            assert!(face.width("電", 10.0) > 4.0);
        }
    }
}
