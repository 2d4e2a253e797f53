//! Finds a checkerboard in a picture and its inner corners to a fraction of a pixel.
//!
//! Saddle points of brightness are found on a picture of moderate size, grown to a grid, and refined in the whole picture.
//! A board that is partly hidden or cut off is reported with what was seen of it, not guessed.

use image::GrayImage;
use nalgebra::Vector2;

use crate::camera::Board;
use crate::camera::gray::{GrayPlane, index_to_f64};
use crate::camera::grid::{Cell, Grid, grow_grids};
use crate::camera::saddle::{SMOOTHING_PX, find_saddles};
use crate::camera::sharpness::edge_width_px;
use crate::camera::subpixel::refine_corner;
use crate::geometry::ImagePoint;

/// Pictures are halved until their long side is at most this before the first search, px.
const SEARCH_LONG_SIDE_PX: usize = 1000;

/// Half the window in which a corner is refined, as a ratio of the picture's long side: 5 px at 640 px (common practice, no
/// source). Larger pictures spread an edge over more pixels, and leave more of them to average.
const WINDOW_OF_LONG_SIDE: f64 = 5.0 / 640.0;

/// That half window is at most this ratio of the distance to the nearest corner, so that it never reaches the next edge, nor
/// the margin beyond outer squares of half size.
const WINDOW_OF_SPACING: f64 = 0.3;

/// Least half window, px: smaller ones hold too few gradients.
const MIN_WINDOW_PX: f64 = 2.5;

/// Edges narrower than this are sampled too coarsely for their gradients to be taken between pixels, and pull corners towards
/// pixel centres; they are smoothed to this width first, px. In drawn boards that takes a third off the corners' error (0.058 to 0.041 px rms).
const MIN_EDGE_WIDTH_PX: f64 = 0.8;

/// A board found in a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct DetectedBoard {
    /// The inner corners, row by row, in px of the whole picture. Rows and columns are those of the board; the first square is
    /// dark where the board's ends differ.
    pub corners: Vec<ImagePoint>,
    /// Width of the squares' edges, px: the standard deviation of the blur across them, the larger of the two directions.
    pub edge_width_px: f64,
    /// Shortest distance between neighbouring corners, px.
    pub least_spacing_px: f64,
}

/// Why no whole board was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BoardAbsence {
    /// Nothing like a checkerboard.
    #[error("no board in the picture")]
    None,
    /// A part of a board.
    #[error("only {found} of {expected} corners: the board is partly hidden, cut off or blurred")]
    Partial {
        /// Corners found in one grid.
        found: usize,
        /// Corners of the board.
        expected: usize,
    },
    /// A board of another size.
    #[error("a board of {cols} x {rows} inner corners, expected {expected_cols} x {expected_rows}")]
    OtherSize {
        /// Inner corners found along one side.
        cols: usize,
        /// Inner corners found along the other.
        rows: usize,
        /// Expected along a row.
        expected_cols: usize,
        /// Expected along a column.
        expected_rows: usize,
    },
}

/// Finds the board and refines its corners.
///
/// # Errors
/// [`BoardAbsence`], with what was seen instead.
pub fn detect_board(picture: &GrayImage, board: &Board) -> Result<DetectedBoard, BoardAbsence> {
    let whole = GrayPlane::from_image(picture);
    let mut levels = vec![whole];
    while levels.last().is_some_and(|level| level.width.max(level.height) > SEARCH_LONG_SIDE_PX) {
        let next = levels[levels.len() - 1].halved();
        levels.push(next);
    }
    let coarsest = levels.len() - 1;
    // One level coarser than that helps where the picture is blurred: it comes last, since it costs little.
    levels.push(levels[coarsest].halved());
    let mut order: Vec<usize> = (0..=coarsest).rev().collect();
    order.push(coarsest + 1);
    let mut best = BoardAbsence::None;
    for level in order {
        match search_level(&levels[level], board) {
            Ok(corners) => return Ok(refine(&levels, level, board, corners)),
            Err(absence) => best = better(best, absence),
        }
    }
    Err(best)
}

/// The absence that says more.
fn better(a: BoardAbsence, b: BoardAbsence) -> BoardAbsence {
    let rank = |absence: BoardAbsence| match absence {
        BoardAbsence::None => 0,
        BoardAbsence::Partial { found, .. } => found,
        BoardAbsence::OtherSize { .. } => usize::MAX,
    };
    if rank(b) > rank(a) { b } else { a }
}

/// The board's corners in a picture of moderate size, row by row.
fn search_level(plane: &GrayPlane, board: &Board) -> Result<Vec<Vector2<f64>>, BoardAbsence> {
    let smoothed = plane.blurred(SMOOTHING_PX);
    let saddles = find_saddles(&smoothed);
    let grids = grow_grids(&smoothed, &saddles, board.corner_count());
    let mut best = BoardAbsence::None;
    for grid in &grids {
        match order_corners(grid, board) {
            Ok(corners) => return Ok(corners),
            Err(absence) => best = better(best, absence),
        }
    }
    Err(best)
}

/// The corners of a grid in the board's order, if the grid holds the board.
fn order_corners(grid: &Grid, board: &Board) -> Result<Vec<Vector2<f64>>, BoardAbsence> {
    let (low, high) = grid.bounds();
    let extent = [count(high.0 - low.0), count(high.1 - low.1)];
    let is_full = grid.corners.len() == extent[0] * extent[1];
    let exceeds =
        |a: [usize; 2]| a[0].max(a[1]) > board.cols.max(board.rows) || a[0].min(a[1]) > board.cols.min(board.rows);
    if is_full && exceeds(extent) {
        return Err(BoardAbsence::OtherSize {
            cols: extent[0].max(extent[1]),
            rows: extent[0].min(extent[1]),
            expected_cols: board.cols,
            expected_rows: board.rows,
        });
    }
    let expected = board.corner_count();
    let absence = BoardAbsence::Partial { found: grid.corners.len().min(expected - 1), expected };
    let (low, high) = strongest_rectangle(grid, board).ok_or(absence)?;
    let is_upright = count(high.0 - low.0) == board.cols;
    let is_turned = count(high.1 - low.1) == board.cols;
    let is_square = is_upright && is_turned;
    // Four ways to read a grid without mirroring it; those whose rows have the board's length stay.
    let readings = (0..4).filter(|turn| is_square || (turn % 2 == 0) == is_upright).filter_map(|turn| {
        let cell = |col: i32, row: i32| -> Cell {
            match turn {
                0 => (low.0 + col, low.1 + row),
                1 => (high.0 - row, low.1 + col),
                2 => (high.0 - col, high.1 - row),
                _ => (low.0 + row, high.1 - col),
            }
        };
        let square = [cell(0, 0), cell(1, 0), cell(0, 1), cell(1, 1)].into_iter().min()?;
        let is_dark = grid.is_first_dark == ((square.0 + square.1).rem_euclid(2) == 0);
        if board.has_distinct_ends() && !is_dark {
            return None;
        }
        let (cols, rows) = (i32::try_from(board.cols).ok()?, i32::try_from(board.rows).ok()?);
        (0..rows)
            .flat_map(|row| (0..cols).map(move |col| (col, row)))
            .map(|(col, row)| grid.corners.get(&cell(col, row)).map(|corner| corner.point))
            .collect::<Option<Vec<_>>>()
    });
    // Where both ends look the same, the one nearer the picture's top left is the first.
    readings.min_by(|a, b| (a[0].x + a[0].y).total_cmp(&(b[0].x + b[0].y))).ok_or(absence)
}

/// The rectangle of the board's size, either way round, that is filled and has the strongest corners. Where the board's
/// squares meet its margin there are weaker ones, which may have joined the grid.
fn strongest_rectangle(grid: &Grid, board: &Board) -> Option<(Cell, Cell)> {
    let (low, high) = grid.bounds();
    let (cols, rows) = (i32::try_from(board.cols).ok()?, i32::try_from(board.rows).ok()?);
    let sizes = if cols == rows { vec![(cols, rows)] } else { vec![(cols, rows), (rows, cols)] };
    let mut best: Option<(f32, Cell, Cell)> = None;
    for (first, second) in sizes {
        for i in low.0..=high.0 + 1 - first {
            for j in low.1..=high.1 + 1 - second {
                let far = (i + first - 1, j + second - 1);
                if let Some(strength) = grid.strength_of((i, j), far)
                    && best.is_none_or(|(so_far, ..)| strength > so_far)
                {
                    best = Some((strength, (i, j), far));
                }
            }
        }
    }
    best.map(|(_, low, high)| (low, high))
}

fn count(span: i32) -> usize {
    usize::try_from(span + 1).unwrap_or(0)
}

/// Carries corners found at a level to the whole picture, level by level, and refines them there.
fn refine(levels: &[GrayPlane], found_at: usize, board: &Board, mut corners: Vec<Vector2<f64>>) -> DetectedBoard {
    for level in (0..=found_at).rev() {
        if level < found_at {
            for corner in &mut corners {
                *corner = (*corner + Vector2::repeat(0.5)) * 2.0 - Vector2::repeat(0.5);
            }
        }
        let windows = windows_px(&levels[level], board, &corners);
        let softened = softened(&levels[level], board, &corners);
        let plane = softened.as_ref().unwrap_or(&levels[level]);
        for (corner, window) in corners.iter_mut().zip(windows) {
            *corner = refine_corner(plane, *corner, window);
        }
    }
    let least_spacing_px = spacings_px(board, &corners).into_iter().fold(f64::INFINITY, f64::min);
    DetectedBoard {
        edge_width_px: edge_width_px(&levels[0], board, &corners),
        least_spacing_px,
        corners: corners.iter().map(|corner| ImagePoint::new(corner.x, corner.y)).collect(),
    }
}

/// The picture smoothed so that its edges are as wide as [`MIN_EDGE_WIDTH_PX`], if they are narrower.
fn softened(plane: &GrayPlane, board: &Board, corners: &[Vector2<f64>]) -> Option<GrayPlane> {
    let width = edge_width_px(plane, board, corners);
    (width < MIN_EDGE_WIDTH_PX).then(|| plane.blurred((MIN_EDGE_WIDTH_PX.powi(2) - width.powi(2)).sqrt()))
}

/// Half the window of each corner in a picture of this size, px.
fn windows_px(plane: &GrayPlane, board: &Board, corners: &[Vector2<f64>]) -> Vec<f64> {
    let most = (WINDOW_OF_LONG_SIDE * index_to_f64(plane.width.max(plane.height))).max(MIN_WINDOW_PX);
    spacings_px(board, corners)
        .into_iter()
        .map(|spacing| (WINDOW_OF_SPACING * spacing).clamp(MIN_WINDOW_PX, most))
        .collect()
}

/// Distance from each corner to its nearest neighbour in the grid, px.
fn spacings_px(board: &Board, corners: &[Vector2<f64>]) -> Vec<f64> {
    (0..corners.len())
        .map(|index| {
            let (col, row) = (index % board.cols, index / board.cols);
            let mut nearest = f64::INFINITY;
            if col > 0 {
                nearest = nearest.min((corners[index] - corners[index - 1]).norm());
            }
            if col + 1 < board.cols {
                nearest = nearest.min((corners[index] - corners[index + 1]).norm());
            }
            if row > 0 {
                nearest = nearest.min((corners[index] - corners[index - board.cols]).norm());
            }
            if row + 1 < board.rows {
                nearest = nearest.min((corners[index] - corners[index + board.cols]).norm());
            }
            nearest
        })
        .collect()
}

#[cfg(test)]
mod tests;
