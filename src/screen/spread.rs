//! How well marks are placed: one usual spread, or a rater's own from repeated marking.

use std::error::Error;
use std::path::Path;

use crate::geometry::Landmark;

use super::case::SD_PX_AT;

/// The standard deviation of a mark that states none.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct MarkingSpread {
    /// px at a long side of [`SD_PX_AT`].
    usual_sd_px: f64,
}

impl MarkingSpread {
    /// The same spread for every landmark, px at a long side of [`SD_PX_AT`].
    pub(crate) const fn usual(sd_px: f64) -> Self {
        Self { usual_sd_px: sd_px }
    }

    /// A rater's own spread, with `sd_px` for the landmarks it does not name.
    pub(crate) fn read(path: &Path, sd_px: f64) -> Result<Self, Box<dyn Error + Send + Sync>> {
        std::fs::metadata(path)?;
        let _ = sd_px;
        Err("spread files cannot be read yet: state sd_px in their place".into())
    }

    /// The standard deviation of a landmark's mark along each axis on a picture of `image_size`, px.
    pub(crate) fn sd_px(&self, landmark: Landmark, image_size: [u32; 2]) -> f64 {
        let _ = landmark;
        self.usual_sd_px * scale(image_size)
    }
}

/// How much larger a picture is than the one for which spreads are stated.
pub(crate) fn scale(image_size: [u32; 2]) -> f64 {
    f64::from(image_size[0].max(image_size[1])) / SD_PX_AT
}
