//! Which part of a still is shown, and the still as JPEG of a size that suits a page.

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};

use crate::geometry::{ImagePoint, Landmark};
use crate::pose::Overlay;
use crate::report::error::ReportError;
use crate::report::input::StillInput;

/// All stills together stay below this, so that a report of two pages stays below a megabyte.
const BYTES_OF_ALL_STILLS: usize = 560_000;
/// The longer side of a still on paper, px: 300 per inch at the width of a quarter page.
const LONG_SIDE_MAX_PX: u32 = 720;
/// JPEG qualities to try until a still is within its share of bytes.
const QUALITIES: [u8; 4] = [84, 74, 62, 48];
/// Shapes that a crop may have, width over height, where the picture allows it.
const ASPECT_RANGE: [f64; 2] = [0.72, 1.34];
/// Room around what is drawn, as a share of its longer side.
const MARGIN_RATIO: f64 = 0.13;
/// A crop is never smaller than this share of the picture's shorter side: a person should remain to be seen.
const CROP_MIN_RATIO: f64 = 0.45;

/// A part of a picture, px.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Crop {
    /// First column.
    pub left: u32,
    /// First row.
    pub top: u32,
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
}

impl Crop {
    /// Width over height.
    pub fn aspect(self) -> f64 {
        f64::from(self.width) / f64::from(self.height)
    }
}

/// Bytes that one of `stills` stills may have.
pub(crate) fn byte_budget(stills: usize) -> usize {
    BYTES_OF_ALL_STILLS / stills.max(1)
}

/// A box in px of the picture.
#[derive(Debug, Clone, Copy)]
struct Bounds {
    low: ImagePoint,
    high: ImagePoint,
}

impl Bounds {
    fn of(overlay: &Overlay) -> Option<Self> {
        let marks = overlay
            .marks
            .iter()
            .filter(|(landmark, _)| !matches!(landmark, Landmark::PlumbTop | Landmark::PlumbBottom | Landmark::Datum))
            .map(|(_, point)| *point);
        let arms = overlay.arms.iter().flat_map(|(_, points)| *points);
        // Not the bar: its ends are among the marks where they are seen, and towards the camera it runs out of the picture.
        let others = overlay.trunk.into_iter().flatten();
        marks
            .chain(arms)
            .chain(others)
            .chain(overlay.arc.iter().copied())
            .filter(|point| point.x.is_finite() && point.y.is_finite())
            .map(|point| Self { low: point, high: point })
            .reduce(Self::union)
    }

    fn union(self, other: Self) -> Self {
        Self {
            low: ImagePoint::new(self.low.x.min(other.low.x), self.low.y.min(other.low.y)),
            high: ImagePoint::new(self.high.x.max(other.high.x), self.high.y.max(other.high.y)),
        }
    }
}

/// The crop of each still. Stills of one size get one crop, so that they can be compared side by side; it holds all that
/// is drawn on any of them. A still without overlay is shown whole.
pub(crate) fn crops(stills: &[&StillInput]) -> Vec<Crop> {
    stills
        .iter()
        .map(|still| {
            let size = still.image.dimensions();
            let bounds = stills
                .iter()
                .filter(|other| other.image.dimensions() == size)
                .filter_map(|other| Bounds::of(&other.overlay))
                .reduce(Bounds::union);
            crop_around(bounds, size)
        })
        .collect()
}

fn crop_around(bounds: Option<Bounds>, (columns, rows): (u32, u32)) -> Crop {
    let size = [f64::from(columns), f64::from(rows)];
    let Some(bounds) = bounds else {
        return Crop { left: 0, top: 0, width: columns, height: rows };
    };
    let clamp_to = |value: f64, limit: f64| value.clamp(0.0, limit);
    let low = [clamp_to(bounds.low.x, size[0]), clamp_to(bounds.low.y, size[1])];
    let high = [clamp_to(bounds.high.x, size[0]), clamp_to(bounds.high.y, size[1])];
    let longer = (high[0] - low[0]).max(high[1] - low[1]);
    let least = CROP_MIN_RATIO * size[0].min(size[1]);
    let mut extent = [0, 1].map(|axis| (high[axis] - low[axis] + 2.0 * MARGIN_RATIO * longer).max(least));
    let aspect = (extent[0] / extent[1]).clamp(ASPECT_RANGE[0], ASPECT_RANGE[1]);
    if extent[0] / extent[1] < aspect {
        extent[0] = extent[1] * aspect;
    } else {
        extent[1] = extent[0] / aspect;
    }
    let [(left, width), (top, height)] = [0, 1].map(|axis| {
        let extent = extent[axis].min(size[axis]);
        let start = ((low[axis] + high[axis] - extent) / 2.0).clamp(0.0, size[axis] - extent);
        (whole(start), whole(extent).max(1))
    });
    Crop { left: left.min(columns - 1), top: top.min(rows - 1), width, height }.within(columns, rows)
}

impl Crop {
    fn within(self, columns: u32, rows: u32) -> Self {
        Self { width: self.width.min(columns - self.left), height: self.height.min(rows - self.top), ..self }
    }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "rounded, and a crop lies within a picture, whose size is u32"
)]
fn whole(length: f64) -> u32 {
    length.round().max(0.0) as u32
}

/// The cropped still as JPEG, at the best quality that stays within `byte_budget`; the coarsest where none does, at half
/// the size.
///
/// # Errors
/// [`ReportError::Jpeg`] when the encoder refuses the picture.
pub(crate) fn encode_jpeg(still: &StillInput, crop: Crop, byte_budget: usize) -> Result<Vec<u8>, ReportError> {
    let cropped = imageops::crop_imm(&still.image, crop.left, crop.top, crop.width, crop.height).to_image();
    let mut scaled = fit(cropped, LONG_SIDE_MAX_PX);
    for long_side_px in [LONG_SIDE_MAX_PX, LONG_SIDE_MAX_PX / 2, LONG_SIDE_MAX_PX / 4] {
        scaled = fit(scaled, long_side_px);
        for quality in QUALITIES {
            let mut jpeg = Vec::new();
            JpegEncoder::new_with_quality(&mut jpeg, quality)
                .encode_image(&scaled)
                .map_err(|source| ReportError::Jpeg { reach: still.reach, source })?;
            if jpeg.len() <= byte_budget {
                return Ok(jpeg);
            }
        }
    }
    Err(ReportError::StillTooLarge { reach: still.reach, budget: byte_budget })
}

fn fit(picture: RgbImage, long_side_px: u32) -> RgbImage {
    let (columns, rows) = picture.dimensions();
    let longer = columns.max(rows);
    if longer <= long_side_px {
        return picture;
    }
    let ratio = f64::from(long_side_px) / f64::from(longer);
    let scaled = |length: u32| whole(f64::from(length) * ratio).max(1);
    imageops::resize(&picture, scaled(columns), scaled(rows), FilterType::CatmullRom)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Side;

    fn still(columns: u32, rows: u32, points: &[[f64; 2]]) -> StillInput {
        let marks = points.iter().map(|&[x, y]| (Landmark::Elbow(Side::Right), ImagePoint::new(x, y))).collect();
        StillInput { reach: 0, image: RgbImage::new(columns, rows), overlay: Overlay { marks, ..Overlay::default() } }
    }

    #[test]
    fn stills_of_one_size_share_a_crop_that_holds_all_marks() {
        let a = still(1280, 720, &[[500.0, 300.0]]);
        let b = still(1280, 720, &[[700.0, 650.0]]);
        let crops = crops(&[&a, &b]);
        assert_eq!(crops[0], crops[1]);
        assert!(crops[0].left <= 500 && crops[0].left + crops[0].width >= 700);
        assert!(crops[0].top <= 300 && crops[0].top + crops[0].height >= 650);
    }

    #[test]
    fn a_crop_lies_within_the_picture_wherever_the_marks_are() {
        for (columns, rows) in [(1280, 720), (720, 1280), (40, 2000), (1, 1)] {
            for point in [[0.0, 0.0], [-500.0, 9e9], [1e4, 700.0], [640.0, 360.0]] {
                let crop = crops(&[&still(columns, rows, &[point])])[0];
                assert!(crop.width > 0 && crop.left + crop.width <= columns, "{crop:?}");
                assert!(crop.height > 0 && crop.top + crop.height <= rows, "{crop:?}");
            }
        }
    }

    #[test]
    fn a_still_without_marks_is_shown_whole() {
        assert_eq!(crops(&[&still(64, 48, &[])])[0], Crop { left: 0, top: 0, width: 64, height: 48 });
    }

    #[test]
    fn even_noise_stays_within_its_bytes() {
        let mut state = 1_u32;
        let image = RgbImage::from_fn(1920, 1080, |_, _| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let [_, r, g, b] = state.to_be_bytes();
            image::Rgb([r, g, b])
        });
        let still = StillInput { reach: 0, image, overlay: Overlay::default() };
        let crop = crops(&[&still])[0];
        let budget = byte_budget(12);
        assert!(encode_jpeg(&still, crop, budget).unwrap().len() <= budget);
    }
}
