//! Puts pieces on pages.

use crate::report::pdf::metrics::Metrics;
use crate::report::pdf::ops::{Op, Piece};

/// A page and what is drawn on it, from the paper's corner.
#[derive(Debug, Clone, Default)]
pub(super) struct Page {
    /// What is drawn, in reading order.
    pub ops: Vec<Op>,
    /// Entries of the document's outline: title and distance from the top.
    pub outline: Vec<(String, f32)>,
}

/// Puts pieces on pages in order. A piece moves to the next page when it does not fit, together with the pieces that are
/// kept with it; one that is higher than a page gets a page of its own and runs over its end.
pub(super) fn paginate(pieces: Vec<Piece>, metrics: Metrics) -> Vec<Page> {
    let mut pages = vec![Page::default()];
    let mut y = metrics.top();
    let heights: Vec<(f32, f32, bool)> =
        pieces.iter().map(|piece| (piece.gap_above, piece.height, piece.is_kept_with_next)).collect();
    for (index, piece) in pieces.into_iter().enumerate() {
        let is_at_top = y <= metrics.top();
        let gap = if is_at_top { 0.0 } else { piece.gap_above };
        let is_continuing = index > 0 && heights[index - 1].2;
        let needed = gap + if is_continuing { piece.height } else { kept_height(&heights[index..]) };
        if y + needed > metrics.bottom() && !is_at_top {
            pages.push(Page::default());
            y = metrics.top();
        } else {
            y += gap;
        }
        if let Some(page) = pages.last_mut() {
            page.outline.extend(piece.outline.map(|title| (title, y)));
            page.ops.extend(piece.ops.into_iter().map(|op| op.moved([metrics.left(), y])));
        }
        y += piece.height;
    }
    pages
}

/// Height of the first piece and of all that is kept with it.
fn kept_height(heights: &[(f32, f32, bool)]) -> f32 {
    let mut total = 0.0;
    for (index, (gap, height, is_kept_with_next)) in heights.iter().enumerate() {
        total += height + if index > 0 { *gap } else { 0.0 };
        if !is_kept_with_next {
            break;
        }
    }
    total
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::input::PageSize;

    fn piece(height: f32, is_kept_with_next: bool) -> Piece {
        Piece { height, is_kept_with_next, outline: Some(String::new()), ..Piece::default() }
    }

    fn pieces_per_page(pieces: Vec<Piece>) -> Vec<usize> {
        let pages = paginate(pieces, Metrics::new(PageSize::A4, 1.0));
        pages.iter().map(|page| page.outline.len()).collect()
    }

    #[test]
    fn a_piece_that_does_not_fit_moves_on() {
        assert_eq!(pieces_per_page(vec![piece(400.0, false), piece(300.0, false), piece(100.0, false)]), [2, 1]);
    }

    #[test]
    fn a_heading_moves_with_what_it_heads() {
        assert_eq!(pieces_per_page(vec![piece(700.0, false), piece(20.0, true), piece(100.0, false)]), [1, 2]);
    }

    #[test]
    fn a_piece_higher_than_a_page_stands_alone() {
        assert_eq!(pieces_per_page(vec![piece(9.0, false), piece(2000.0, false), piece(9.0, false)]), [1, 1, 1]);
    }
}
