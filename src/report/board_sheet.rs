//! The calibration board as a page to print, in exact millimetres, as PDF and as SVG.
//!
//! Two rulers beside the board show whether the printer kept the size, and the same size both ways: a board that is printed
//! larger or smaller calibrates as well, one that is stretched does not.

use std::fmt::Write as _;

use krilla::color::rgb;
use krilla::configure::{ConfigurationBuilder, PdfVersion};
use krilla::geom::{PathBuilder, Point};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Data, Document, SerializeSettings};

use crate::camera::Board;
use crate::report::error::ReportError;
use crate::report::font::{FAMILY, Weight, shape, width_em};
use crate::report::input::PageSize;
use crate::uncertainty::propagation::count_to_f64;

/// Points of a PDF in a millimetre.
const POINTS_PER_MM: f64 = 72.0 / 25.4;

/// Bare paper kept at every edge, mm: what usual printers cannot reach (common practice, no source).
const MARGIN_MM: f64 = 6.0;

/// Between the board and a ruler, mm.
const RULER_GAP_MM: f64 = 5.0;

/// Room that a ruler and the text beside it take up, mm.
const RULER_ROOM_MM: f64 = 11.0;

/// Thickness of a ruler's lines, mm.
const LINE_MM: f64 = 0.25;

/// Height of the type, mm.
const TYPE_MM: f64 = 3.0;

/// Longest ruler, mm.
const RULER_MM: f64 = 100.0;

/// A board that could not be put on a page.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "a board of {cols} x {rows} inner corners with squares of {square_mm} mm needs {needed_mm:?} mm, the page has {room_mm:?} mm: squares of up to {largest_square_mm} mm fit"
)]
pub struct BoardTooLarge {
    /// Inner corners along a row.
    pub cols: usize,
    /// Inner corners along a column.
    pub rows: usize,
    /// Side of a square, mm.
    pub square_mm: f64,
    /// Width and height of the board, mm.
    pub needed_mm: [f64; 2],
    /// Width and height that the page leaves, mm.
    pub room_mm: [f64; 2],
    /// The largest whole square that fits, mm.
    pub largest_square_mm: f64,
}

/// A page with a board: what is black on it, in mm from the top left.
#[derive(Debug, Clone, PartialEq)]
pub struct BoardSheet {
    /// Width and height of the page, mm.
    pub page_mm: [f64; 2],
    /// The dark squares: left, top, width, height, mm.
    pub squares_mm: Vec<[f64; 4]>,
    lines_mm: Vec<[f64; 4]>,
    texts: Vec<SheetText>,
    title: String,
}

/// A line of type.
#[derive(Debug, Clone, PartialEq)]
struct SheetText {
    /// Left end of the base line, mm.
    at_mm: [f64; 2],
    text: String,
}

impl BoardSheet {
    /// Lays a board out on a page, upright or across, whichever leaves more room.
    ///
    /// # Errors
    /// [`BoardTooLarge`] with the size that would fit.
    pub fn new(board: &Board, page: PageSize) -> Result<Self, BoardTooLarge> {
        let [short, long] = match page {
            PageSize::A4 => [210.0, 297.0],
            PageSize::Letter => [215.9, 279.4],
        };
        let squares = [count_to_f64(board.cols + 1), count_to_f64(board.rows + 1)];
        let needed_mm = squares.map(|count| count * board.square_mm);
        let page_mm = if needed_mm[0] >= needed_mm[1] { [long, short] } else { [short, long] };
        let room_mm = page_mm.map(|side| side - 2.0 * MARGIN_MM - RULER_ROOM_MM);
        if needed_mm[0] > room_mm[0] || needed_mm[1] > room_mm[1] {
            let largest_square_mm = (room_mm[0] / squares[0]).min(room_mm[1] / squares[1]).floor();
            let Board { cols, rows, square_mm } = *board;
            return Err(BoardTooLarge { cols, rows, square_mm, needed_mm, room_mm, largest_square_mm });
        }
        // The rulers take the right and the lower edge; the board stands in the middle of what is left.
        let corner: [f64; 2] = std::array::from_fn(|axis| MARGIN_MM + 0.5 * (room_mm[axis] - needed_mm[axis]));
        let mut sheet = Self {
            page_mm,
            squares_mm: dark_squares(board, corner),
            lines_mm: Vec::new(),
            texts: Vec::new(),
            title: format!(
                "Calibration board, {} x {} inner corners, {} mm squares",
                board.cols, board.rows, board.square_mm
            ),
        };
        let end = [corner[0] + needed_mm[0], corner[1] + needed_mm[1]];
        sheet.add_rulers(corner, end);
        Ok(sheet)
    }

    /// A ruler below the board and one on its right, both from the board's top left corner on, and what they are for.
    fn add_rulers(&mut self, corner: [f64; 2], end: [f64; 2]) {
        let across = RULER_MM.min(tens_below(end[0] - corner[0]));
        let down = RULER_MM.min(tens_below(end[1] - corner[1]));
        let y = end[1] + RULER_GAP_MM;
        let x = end[0] + RULER_GAP_MM;
        self.lines_mm.push([corner[0], y - 0.5 * LINE_MM, across, LINE_MM]);
        self.lines_mm.push([x - 0.5 * LINE_MM, corner[1], LINE_MM, down]);
        for tick in 0..=10_u8 {
            let offset = 10.0 * f64::from(tick);
            let length = if tick % 5 == 0 { 3.0 } else { 2.0 };
            if offset <= across {
                self.lines_mm.push([corner[0] + offset - 0.5 * LINE_MM, y - length, LINE_MM, length]);
            }
            if offset <= down {
                self.lines_mm.push([x - length, corner[1] + offset - 0.5 * LINE_MM, length, LINE_MM]);
            }
        }
        let at_mm = [corner[0], y + 1.5 + TYPE_MM];
        let text = format!(
            "Print at 100 %. Rulers: {across} mm across, {down} mm down; both must measure alike. Glue on a flat board."
        );
        self.texts.push(SheetText { at_mm, text: format!("{}. {text}", self.title) });
    }

    /// The page as SVG, its user unit a millimetre.
    #[must_use]
    pub fn to_svg(&self) -> String {
        let [width, height] = self.page_mm.map(number);
        let mut svg = format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}mm\" height=\"{height}mm\" viewBox=\"0 0 {width} {height}\">\n\
             <title>{}</title>\n<rect width=\"{width}\" height=\"{height}\" fill=\"#fff\"/>\n\
             <g fill=\"#000\" shape-rendering=\"crispEdges\">\n",
            self.title
        );
        // Writing to a String cannot fail.
        for [left, top, wide, high] in self.squares_mm.iter().chain(&self.lines_mm).map(|rect| rect.map(number)) {
            let _ = writeln!(svg, "<rect x=\"{left}\" y=\"{top}\" width=\"{wide}\" height=\"{high}\"/>");
        }
        svg.push_str("</g>\n");
        for SheetText { at_mm, text } in &self.texts {
            let [x, y] = at_mm.map(number);
            let size = self.type_size_mm(text, at_mm[0]);
            let _ = writeln!(
                svg,
                "<text x=\"{x}\" y=\"{y}\" font-family=\"{FAMILY}, sans-serif\" font-size=\"{}\">{text}</text>",
                number(size)
            );
        }
        svg.push_str("</svg>\n");
        svg
    }

    /// The page as PDF.
    ///
    /// # Errors
    /// [`ReportError`] if the file cannot be written.
    pub fn to_pdf(&self) -> Result<Vec<u8>, ReportError> {
        let configuration = ConfigurationBuilder::new()
            .with_version(PdfVersion::Pdf17)
            .finish()
            .map_err(|fault| ReportError::Pdf { fault: format!("{fault:?}") })?;
        let mut document = Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
        document.set_metadata(Metadata::new().title(self.title.clone()).language("en-GB".to_owned()));
        let [width, height] = self.page_mm.map(points);
        let settings = PageSettings::from_wh(width, height).ok_or(ReportError::Size { width, height })?;
        let font = Font::new(Data::from(Weight::Regular.otf()), 0).ok_or(ReportError::FontUnreadable)?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        surface.set_stroke(None);
        let paint = rgb::Color::new(0, 0, 0).into();
        surface.set_fill(Some(Fill { paint, opacity: NormalizedF32::ONE, rule: FillRule::NonZero }));
        for rect in self.squares_mm.iter().chain(&self.lines_mm) {
            draw_rect(&mut surface, *rect);
        }
        for SheetText { at_mm, text } in &self.texts {
            let glyphs: Vec<KrillaGlyph> = shape(text, Weight::Regular)
                .into_iter()
                .map(|glyph| {
                    let [right, up] = glyph.offset_em;
                    KrillaGlyph::new(GlyphId::new(glyph.id), glyph.advance_em, right, up, 0.0, glyph.text_range, None)
                })
                .collect();
            let [x, y] = at_mm.map(points);
            let size = points(self.type_size_mm(text, at_mm[0]));
            surface.draw_glyphs(Point::from_xy(x, y), &glyphs, font.clone(), text, size, false);
        }
        surface.finish();
        page.finish();
        document.finish().map_err(|fault| ReportError::Pdf { fault: format!("{fault:?}") })
    }

    /// The size of the type, made smaller where the line would leave the page.
    fn type_size_mm(&self, text: &str, left_mm: f64) -> f64 {
        let room = self.page_mm[0] - left_mm - MARGIN_MM;
        TYPE_MM.min(room / f64::from(width_em(text, Weight::Regular)))
    }
}

/// Squares whose column and row add up to an even number, from the top left.
fn dark_squares(board: &Board, corner: [f64; 2]) -> Vec<[f64; 4]> {
    let side = board.square_mm;
    (0..=board.rows)
        .flat_map(|row| (0..=board.cols).map(move |col| (col, row)))
        .filter(|(col, row)| (col + row) % 2 == 0)
        .map(|(col, row)| [corner[0] + count_to_f64(col) * side, corner[1] + count_to_f64(row) * side, side, side])
        .collect()
}

fn draw_rect(surface: &mut Surface, [left, top, wide, high]: [f64; 4]) {
    let (x0, y0, x1, y1) = (points(left), points(top), points(left + wide), points(top + high));
    let mut path = PathBuilder::new();
    path.move_to(x0, y0);
    path.line_to(x1, y0);
    path.line_to(x1, y1);
    path.line_to(x0, y1);
    path.close();
    if let Some(path) = path.finish() {
        surface.draw_path(&path);
    }
}

/// The whole tens of millimetres in a length.
fn tens_below(length_mm: f64) -> f64 {
    (length_mm / 10.0).floor() * 10.0
}

/// A length in points; single precision is good to 0.1 micrometre on a page.
fn points(mm: f64) -> f32 {
    #[allow(clippy::cast_possible_truncation, reason = "single precision is what the PDF writer takes")]
    let points = (mm * POINTS_PER_MM) as f32;
    points
}

/// A length to a tenth of a micrometre, without trailing noughts.
fn number(mm: f64) -> String {
    let text = format!("{mm:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(page: PageSize) -> BoardSheet {
        BoardSheet::new(&Board::new(9, 6, 25.0).unwrap(), page).unwrap()
    }

    #[test]
    fn the_usual_board_fits_both_papers_in_exact_millimetres() {
        for (page, paper) in [(PageSize::A4, [297.0, 210.0]), (PageSize::Letter, [279.4, 215.9])] {
            let sheet = sheet(page);
            assert!(sheet.page_mm.iter().zip(paper).all(|(a, b)| (a - b).abs() < 1e-12));
            assert_eq!(sheet.squares_mm.len(), 35, "half of 10 x 7");
            let first = sheet.squares_mm[0];
            for [left, top, wide, high] in &sheet.squares_mm {
                assert!((wide - 25.0).abs() < 1e-12 && (high - 25.0).abs() < 1e-12);
                let (col, row) = ((left - first[0]) / 25.0, (top - first[1]) / 25.0);
                assert!((col - col.round()).abs() < 1e-12 && (row - row.round()).abs() < 1e-12);
                assert!(*left >= MARGIN_MM && left + wide <= sheet.page_mm[0] - MARGIN_MM);
                assert!(*top >= MARGIN_MM && top + high <= sheet.page_mm[1] - MARGIN_MM);
            }
            assert!(sheet.lines_mm.iter().all(|[left, top, wide, high]| {
                *left >= 5.0 && *top >= 5.0 && left + wide <= sheet.page_mm[0] && top + high <= sheet.page_mm[1] - 5.0
            }));
            assert!((sheet.lines_mm[0][2] - 100.0).abs() < 1e-12 && (sheet.lines_mm[1][3] - 100.0).abs() < 1e-12);
        }
    }

    #[test]
    fn the_svg_states_its_size_in_millimetres_and_holds_the_squares() {
        let svg = sheet(PageSize::A4).to_svg();
        assert!(svg.contains("width=\"297mm\" height=\"210mm\" viewBox=\"0 0 297 210\""));
        assert_eq!(svg.matches("width=\"25\" height=\"25\"").count(), 35);
        let tree = usvg::Tree::from_str(&svg, &usvg::Options::default()).unwrap();
        // An inch is 25.4 mm and 96 px in SVG.
        assert!((f64::from(tree.size().width()) - 297.0 / 25.4 * 96.0).abs() < 0.01);
    }

    #[test]
    fn the_pdf_page_has_the_papers_size_in_points() {
        let pdf = sheet(PageSize::Letter).to_pdf().unwrap();
        let text = String::from_utf8_lossy(&pdf);
        // 279.4 mm is 11 inches, 792 points; 215.9 mm is 612.
        let numbers: Vec<f64> = text
            .split_once("/MediaBox[")
            .and_then(|(_, rest)| rest.split_once(']'))
            .map(|(numbers, _)| numbers.split_whitespace().map(|number| number.parse().unwrap()).collect())
            .unwrap();
        assert!(numbers.iter().zip([0.0, 0.0, 792.0, 612.0]).all(|(a, b)| (a - b).abs() < 1e-3), "{numbers:?}");
    }

    #[test]
    fn a_board_that_does_not_fit_is_refused_with_the_size_that_does() {
        let fault = BoardSheet::new(&Board::new(9, 6, 30.0).unwrap(), PageSize::A4).unwrap_err();
        assert!((fault.largest_square_mm - 26.0).abs() < 1e-12, "{fault}");
        assert!(BoardSheet::new(&Board::new(9, 6, 26.0).unwrap(), PageSize::A4).is_ok());
        let upright = BoardSheet::new(&Board::new(6, 9, 25.0).unwrap(), PageSize::A4).unwrap();
        assert!((upright.page_mm[1] - 297.0).abs() < 1e-12);
    }
}
