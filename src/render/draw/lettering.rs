//! Text that is drawn with printpdf: the pack's stamp and the printer check.
//!
//! Printpdf leaves out a letter that the font lacks, without a word, and does no shaping. So every
//! character is looked up first, and only text that is read letter by letter belongs here: Latin,
//! Greek, Cyrillic. Names of patients are set by Typst.

use std::collections::{BTreeMap, BTreeSet};

use printpdf::{FontId, Op, ParsedFont, PdfDocument, PdfFont, PdfFontHandle, Point, Pt, TextItem};
use subsetter::GlyphRemapper;
use ttf_parser::Face;

/// The resource name of the one font.
const NAME: &str = "Lettering";
/// What the font is called in the file; six letters and a plus mark a subset (ISO 32000-1, 9.6.4).
const SUBSET_NAME: &str = "BAYPCK+NotoSans";

/// A font cut down to the characters of some texts.
pub struct Lettering {
    font: ParsedFont,
    /// Advance widths in ems.
    advances: BTreeMap<char, f32>,
}

/// Why a font cannot letter a text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Unletterable {
    /// The bytes are no font that can be cut down.
    NoFont,
    /// The font has no glyph for this character.
    Lacks(char),
}

impl Lettering {
    /// `font` cut down to the characters of `texts`.
    ///
    /// # Errors
    /// The first character that the font lacks.
    pub fn new<'t>(font: &[u8], texts: impl IntoIterator<Item = &'t str>) -> Result<Self, Unletterable> {
        let face = Face::parse(font, 0).map_err(|_| Unletterable::NoFont)?;
        let characters: BTreeSet<char> = texts.into_iter().flat_map(str::chars).collect();
        let mut remapper = GlyphRemapper::new();
        let mut codes = BTreeMap::new();
        let mut advances = BTreeMap::new();
        for character in characters {
            let glyph = face.glyph_index(character).ok_or(Unletterable::Lacks(character))?;
            codes.insert(u32::from(character), remapper.remap(glyph.0));
            let units = f32::from(face.glyph_hor_advance(glyph).unwrap_or(0));
            advances.insert(character, units / f32::from(face.units_per_em()));
        }
        let cut = subsetter::subset(font, 0, &remapper).map_err(|_| Unletterable::NoFont)?;
        let mut font = ParsedFont::from_bytes(&cut, 0, &mut Vec::new()).ok_or(Unletterable::NoFont)?;
        font.font_name = Some(SUBSET_NAME.to_owned());
        font.codepoint_to_glyph = codes;
        Ok(Self { font, advances })
    }

    /// The width of `text` at `size` points, in points.
    #[must_use]
    pub fn width(&self, text: &str, size: f32) -> f32 {
        text.chars().filter_map(|character| self.advances.get(&character)).sum::<f32>() * size
    }

    /// Makes the font known to a document that uses it.
    pub fn register(&self, document: &mut PdfDocument) {
        document.resources.fonts.map.insert(FontId(NAME.to_owned()), PdfFont::new(self.font.clone()));
    }

    /// Writes `text` with the start of its baseline at `at`, in points.
    #[must_use]
    pub fn write(&self, text: &str, size: f32, at: (f32, f32)) -> Vec<Op> {
        vec![
            Op::StartTextSection,
            Op::SetFont { font: PdfFontHandle::External(FontId(NAME.to_owned())), size: Pt(size) },
            Op::SetTextCursor { pos: Point { x: Pt(at.0), y: Pt(at.1) } },
            Op::ShowText { items: vec![TextItem::Text(text.to_owned())] },
            Op::EndTextSection,
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SANS: &[u8] = include_bytes!("../../../layouts/fonts/NotoSans-Regular.ttf");

    #[test]
    fn a_character_that_the_font_lacks_is_named_before_anything_is_written() {
        let refusal = |text: &'static str| Lettering::new(SANS, [text]).err();
        assert_eq!(refusal("Sheet 3 of 12"), None);
        assert_eq!(refusal("Arkusz 3 z 12 · Łódź"), None);
        assert_eq!(refusal("Sheet 3 ה"), Some(Unletterable::Lacks('ה')));
        assert_eq!(Lettering::new(b"no font", ["a"]).err(), Some(Unletterable::NoFont));
    }

    #[test]
    fn the_digits_are_of_one_width_so_stamps_do_not_wander() {
        let lettering = Lettering::new(SANS, ["0123456789"]).expect("digits");
        let width = lettering.width("0", 8.0);
        assert!(width > 4.0 && width < 5.0, "{width}");
        assert!(
            "123456789".chars().all(|digit| (lettering.width(&digit.to_string(), 8.0) - width).abs() < 0.001)
        );
    }

    #[test]
    fn the_font_is_cut_down_to_what_is_written() {
        let lettering = Lettering::new(SANS, ["Sheet 3 of 12"]).expect("Latin");
        assert!(lettering.font.original_bytes.len() < 20_000, "{}", lettering.font.original_bytes.len());
        assert_eq!(lettering.font.codepoint_to_glyph.len(), "Shet 3of12".len());
    }
}
