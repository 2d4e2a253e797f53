//! How it stands with a followed mark: seen, told by its arm alone, or lost; and whether it is surely on its spot.

use crate::geometry::ImagePoint;

/// A mark is sure to be on its spot where [`SURE_SPREADS`] of its spreads stay within this, px.
const SURE_PX: f64 = 5.0;
/// As many as hold nearly all errors.
const SURE_SPREADS: f64 = 3.0;

/// How it stands with a mark in a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MarkState {
    /// It is here.
    Followed {
        /// Where, px.
        point: ImagePoint,
        /// Standard deviation of the following in each direction, px: the error of the mark at the start is not in it.
        sd_px: f64,
    },
    /// It is not seen itself: the arm as a whole, which is, tells where it must be.
    Hidden {
        /// Where, px.
        point: ImagePoint,
        /// As of a mark that is followed, px.
        sd_px: f64,
    },
    /// It was not found: nothing alike, or it would contradict the rest of the arm.
    Lost,
    /// It left the picture.
    OutOfPicture,
}

impl MarkState {
    /// Whether the mark is seen, and surely on the spot that was marked: a patch that is followed well slides over the joint below
    /// as the arm turns. `scale` is 1 where the picture's long side is 1280 px.
    #[must_use]
    pub fn is_sure(&self, scale: f64) -> bool {
        matches!(self, Self::Followed { sd_px, .. } if SURE_SPREADS * sd_px <= SURE_PX * scale)
    }
}
