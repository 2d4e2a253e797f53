//! Puts pieces on pages.

use crate::report::pdf::metrics::Metrics;
use crate::report::pdf::ops::{Op, Piece};

/// A line of text reaches this far below its baseline, points.
const DESCENT: f32 = 3.0;

/// A page and what is drawn on it, from the paper's corner.
#[derive(Debug, Clone, Default)]
pub(super) struct Page {
    /// What is drawn, in reading order.
    pub ops: Vec<Op>,
    /// Entries of the document's outline: title and distance from the top.
    pub outline: Vec<(String, f32)>,
}

/// Puts pieces on pages in order. A piece moves to the next page when it does not fit, together with the pieces that are
/// kept with it; one that is higher than a page is cut between its lines.
pub(super) fn paginate(pieces: Vec<Piece>, metrics: Metrics) -> Vec<Page> {
    let mut pages = vec![Page::default()];
    let mut y = metrics.top();
    let room = metrics.bottom() - metrics.top();
    let pieces: Vec<Piece> = pieces.into_iter().flat_map(|piece| cut(piece, room)).collect();
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

/// Cuts a piece into parts that are no higher than `room`.
fn cut(mut piece: Piece, room: f32) -> Vec<Piece> {
    let mut parts = Vec::new();
    while piece.height > room {
        let (now, later): (Vec<Op>, Vec<Op>) = piece.ops.into_iter().partition(|op| op.top() < room - DESCENT);
        parts.push(Piece { height: room, ops: now, is_kept_with_next: false, ..piece });
        piece = Piece {
            height: piece.height - room,
            ops: later.into_iter().map(|op| op.moved([0.0, -room])).collect(),
            is_kept_with_next: piece.is_kept_with_next,
            ..Piece::default()
        };
    }
    parts.push(piece);
    parts
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
    use crate::report::palette::INK;

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
    fn a_piece_higher_than_a_page_is_cut_and_loses_nothing() {
        let lines = (0..150_u8).map(|line| {
            let y = 12.0 * f32::from(line) + 9.0;
            Op::Rule { from: [0.0, y], to: [9.0, y], width: 1.0, color: INK }
        });
        let high = Piece { height: 1800.0, ops: lines.collect(), ..Piece::default() };
        let metrics = Metrics::new(PageSize::A4, 1.0);
        let pages = paginate(vec![piece(9.0, false), high, piece(9.0, false)], metrics);
        let drawn: usize = pages.iter().map(|page| page.ops.len()).sum();
        assert_eq!(drawn, 150);
        for op in pages.iter().flat_map(|page| &page.ops) {
            assert!(op.top() > metrics.top() - 12.0 && op.top() < metrics.bottom(), "{op:?}");
        }
    }
}
