//! The calibration board: a checkerboard, described by its inner corners.

use crate::camera::CameraError;

/// A checkerboard. Its inner corners, where four squares meet, are what is found; the outer squares may be cut off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Board {
    /// Inner corners along a row, at least 3.
    pub cols: usize,
    /// Inner corners along a column, at least 3.
    pub rows: usize,
    /// Side of a square, mm.
    pub square_mm: f64,
}

/// Most inner corners along a side.
pub const MAX_BOARD_SIDE: usize = 40;

impl Board {
    /// A board of `cols` x `rows` inner corners.
    ///
    /// # Errors
    /// [`CameraError::BadBoard`] for fewer than 3 or more than [`MAX_BOARD_SIDE`] corners along a side, and for a square that
    /// is not a positive number of mm.
    pub fn new(cols: usize, rows: usize, square_mm: f64) -> Result<Self, CameraError> {
        let side = 3..=MAX_BOARD_SIDE;
        let is_square = square_mm.is_finite() && square_mm > 0.0;
        if side.contains(&cols) && side.contains(&rows) && is_square {
            Ok(Self { cols, rows, square_mm })
        } else {
            Err(CameraError::BadBoard { cols, rows, square_mm })
        }
    }

    /// Number of inner corners.
    #[must_use]
    pub const fn corner_count(&self) -> usize {
        self.cols * self.rows
    }

    /// Where an inner corner lies on the board, mm, row by row from the corner between the first two dark squares.
    #[must_use]
    pub fn corner_mm(&self, index: usize) -> [f64; 2] {
        let number = crate::camera::gray::index_to_f64;
        [number(index % self.cols) * self.square_mm, number(index / self.cols) * self.square_mm]
    }

    /// Whether turning the board by half a turn swaps its colours, so that its corners can be told apart.
    #[must_use]
    pub const fn has_distinct_ends(&self) -> bool {
        (self.cols + self.rows) % 2 == 1
    }
}
