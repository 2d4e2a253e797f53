//! The report's typeface: its files, how wide a text is, and how it gets into charts, HTML and PDF.
//!
//! Inter, reduced to Latin, Greek, Cyrillic and the signs that a report uses, under the SIL Open Font License
//! (`fonts/OFL.txt`). Digits are always tabular, so that numbers stand in columns.

use std::ops::Range;
use std::sync::{Arc, LazyLock};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use plotters::style::{FontStyle, register_font};
use rustybuzz::{Face, Feature, UnicodeBuffer, ttf_parser::Tag};
use usvg::fontdb::Database;

use crate::report::error::ReportError;

/// The family's name in CSS, SVG and charts.
pub(crate) const FAMILY: &str = "Inter";
/// Stands in print for a character that the typeface lacks.
const MISSING: char = '□';

const REGULAR_OTF: &[u8] = include_bytes!("fonts/Inter-Regular.subset.otf");
const SEMIBOLD_OTF: &[u8] = include_bytes!("fonts/Inter-SemiBold.subset.otf");
const REGULAR_WOFF2: &[u8] = include_bytes!("fonts/Inter-Regular.subset.woff2");
const SEMIBOLD_WOFF2: &[u8] = include_bytes!("fonts/Inter-SemiBold.subset.woff2");

/// A weight of the typeface.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Weight {
    Regular,
    SemiBold,
}

impl Weight {
    /// The OpenType file.
    pub const fn otf(self) -> &'static [u8] {
        match self {
            Self::Regular => REGULAR_OTF,
            Self::SemiBold => SEMIBOLD_OTF,
        }
    }

    fn face(self) -> &'static Face<'static> {
        match self {
            Self::Regular => &REGULAR,
            Self::SemiBold => &SEMIBOLD,
        }
    }
}

static REGULAR: LazyLock<Face<'static>> = LazyLock::new(|| parse(REGULAR_OTF));
static SEMIBOLD: LazyLock<Face<'static>> = LazyLock::new(|| parse(SEMIBOLD_OTF));

static FONTS_OF_SVG: LazyLock<Arc<Database>> = LazyLock::new(|| {
    let mut database = Database::new();
    database.load_font_data(REGULAR_OTF.to_vec());
    database.load_font_data(SEMIBOLD_OTF.to_vec());
    Arc::new(database)
});

static CSS: LazyLock<String> = LazyLock::new(|| {
    let rule = |weight: &str, file: &[u8]| {
        let data = STANDARD.encode(file);
        format!(
            "@font-face{{font-family:\"{FAMILY}\";font-weight:{weight};font-style:normal;\
             src:url(data:font/woff2;base64,{data}) format(\"woff2\")}}"
        )
    };
    rule("400", REGULAR_WOFF2) + &rule("600 700", SEMIBOLD_WOFF2)
});

/// One glyph of a shaped text; lengths in units of the font size.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ShapedGlyph {
    /// The glyph's number in the font.
    pub id: u32,
    /// The bytes of the text that it stands for.
    pub text_range: Range<usize>,
    /// How far the pen moves on.
    pub advance_em: f32,
    /// Where the glyph is drawn from the pen, right and up.
    pub offset_em: [f32; 2],
}

/// Turns a text into glyphs, kerned and with tabular digits. The text should be [`printable`].
pub(crate) fn shape(text: &str, weight: Weight) -> Vec<ShapedGlyph> {
    let face = weight.face();
    let mut buffer = UnicodeBuffer::new();
    buffer.push_str(text);
    buffer.guess_segment_properties();
    let shaped = rustybuzz::shape(face, &[Feature::new(Tag::from_bytes(b"tnum"), 1, ..)], buffer);
    let units = em_fraction(face.units_per_em());
    let starts: Vec<usize> =
        shaped.glyph_infos().iter().map(|info| usize::try_from(info.cluster).unwrap_or(text.len())).collect();
    shaped
        .glyph_infos()
        .iter()
        .zip(shaped.glyph_positions())
        .zip(&starts)
        .map(|((info, position), &start)| ShapedGlyph {
            id: info.glyph_id,
            text_range: start..starts.iter().copied().filter(|&s| s > start).min().unwrap_or(text.len()),
            advance_em: em_fraction(position.x_advance) / units,
            offset_em: [em_fraction(position.x_offset) / units, em_fraction(position.y_offset) / units],
        })
        .collect()
}

/// The width of a text in units of the font size.
pub(crate) fn width_em(text: &str, weight: Weight) -> f32 {
    shape(text, weight).iter().map(|glyph| glyph.advance_em).sum()
}

/// The text with runs of white space made single spaces, control characters dropped and characters that the typeface
/// lacks made a visible box. For print; HTML keeps the characters, as a browser can fall back to another typeface.
pub(crate) fn printable(text: &str) -> String {
    let face = Weight::Regular.face();
    single_spaced(text).chars().map(|c| if face.glyph_index(c).is_some() { c } else { MISSING }).collect()
}

/// The letters of a text that the typeface lacks, each once, in order: the PDF shows a box in place of each.
#[must_use]
pub fn letters_not_in_print(text: &str) -> Vec<char> {
    let face = Weight::Regular.face();
    let mut letters = Vec::new();
    for letter in single_spaced(text).chars() {
        if face.glyph_index(letter).is_none() && !letters.contains(&letter) {
            letters.push(letter);
        }
    }
    letters
}

/// The text with runs of breaking white space made single spaces and control characters dropped.
pub(crate) fn single_spaced(text: &str) -> String {
    let words: Vec<String> = text
        .split(|c: char| c.is_whitespace() && c != '\u{a0}' && c != '\u{202f}')
        .map(|word| word.chars().filter(|c| !c.is_control()).collect::<String>())
        .filter(|word| !word.is_empty())
        .collect();
    words.join(" ")
}

/// The CSS that brings the typeface along within a page or an SVG.
pub(crate) fn css() -> &'static str {
    &CSS
}

/// The typeface for SVG that goes into the PDF.
pub(crate) fn fonts_of_svg() -> Arc<Database> {
    Arc::clone(&FONTS_OF_SVG)
}

/// Makes the typeface known to the charts. Doing so again changes nothing.
pub(crate) fn register_for_charts() -> Result<(), ReportError> {
    for (style, file) in [(FontStyle::Normal, REGULAR_OTF), (FontStyle::Bold, SEMIBOLD_OTF)] {
        register_font(FAMILY, style, file).map_err(|_| ReportError::FontUnreadable)?;
    }
    Ok(())
}

fn parse(file: &'static [u8]) -> Face<'static> {
    Face::from_slice(file, 0).expect("the embedded font is a valid OpenType file, which a test proves")
}

/// A font unit count as a float; they are below 2^16, so nothing is lost.
fn em_fraction(units: i32) -> f32 {
    f32::from(i16::try_from(units).unwrap_or(if units < 0 { i16::MIN } else { i16::MAX }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_weights_have_every_sign_that_reports_use() {
        for weight in [Weight::Regular, Weight::SemiBold] {
            for c in "−±×·–—’“”…°²³≤≥→←↑↓✓✗▲△▼◆◇○●■□\u{a0}\u{202f}ÅßøžΩЖ".chars()
            {
                assert!(weight.face().glyph_index(c).is_some(), "{c}");
            }
        }
    }

    #[test]
    fn digits_are_tabular_and_letters_are_not() {
        let width = |text| width_em(text, Weight::Regular);
        assert!((width("1111") - width("8888")).abs() < 1e-6);
        assert!(width("iiii") < width("mmmm"));
    }

    #[test]
    fn glyphs_cover_the_text_without_gap() {
        let text = "Før 12,5° – Ω";
        let glyphs = shape(text, Weight::Regular);
        assert_eq!(glyphs[0].text_range.start, 0);
        for pair in glyphs.windows(2) {
            assert_eq!(pair[0].text_range.end, pair[1].text_range.start);
        }
        assert_eq!(glyphs[glyphs.len() - 1].text_range.end, text.len());
    }

    #[test]
    fn characters_out_of_reach_become_a_box() {
        assert_eq!(printable("R07\t漢\n x\u{7}"), "R07 □ x");
        assert_eq!(letters_not_in_print("R07\t漢字 x漢Žβ"), ['漢', '字']);
    }
}
