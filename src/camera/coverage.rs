//! What a calibration can be trusted for: where in the picture the board was, how sure the lens is there, and what was wrong
//! with the views.

use std::fmt;

use nalgebra::Matrix2;

use crate::camera::{Calibration, Lens, Sighting};
use crate::geometry::ImagePoint;
use crate::uncertainty::propagation::count_to_f64;

/// A corner of the picture counts as visited if the board came within this part of the picture's sides of it.
const VISITED_PART: f64 = 0.15;

/// Views that a calibration should have (common practice, no source).
const VIEWS_ADVISED: usize = 10;

/// Tilt between the views that a calibration should have, deg (common practice, no source).
const TILT_ADVISED_DEG: f64 = 25.0;

/// Blur that counts as much, as a part of the picture's long side: 1.5 px at 640 px (common practice, no source).
const BLUR_OF_LONG_SIDE: f64 = 1.5 / 640.0;

/// A view whose residuals are larger than the middle view's by this factor fits badly (common practice, no source).
const BAD_FIT_FACTOR: f64 = 2.5;

/// A relative uncertainty of the focal length that is worth a warning: 1 % is 1 % of every depth.
const FOCAL_U_ADVISED: f64 = 0.01;

/// A corner of the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureCorner {
    /// Top left.
    TopLeft,
    /// Top right.
    TopRight,
    /// Bottom left.
    BottomLeft,
    /// Bottom right.
    BottomRight,
}

impl PictureCorner {
    /// All four.
    pub const ALL: [Self; 4] = [Self::TopLeft, Self::TopRight, Self::BottomLeft, Self::BottomRight];

    /// The corner in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::TopLeft => "top left",
            Self::TopRight => "top right",
            Self::BottomLeft => "bottom left",
            Self::BottomRight => "bottom right",
        }
    }

    /// The pixel in the corner of a picture, px.
    #[must_use]
    pub fn pixel(self, image_size: [u32; 2]) -> ImagePoint {
        let [right, bottom] = image_size.map(|side| f64::from(side) - 1.0);
        match self {
            Self::TopLeft => ImagePoint::new(0.0, 0.0),
            Self::TopRight => ImagePoint::new(right, 0.0),
            Self::BottomLeft => ImagePoint::new(0.0, bottom),
            Self::BottomRight => ImagePoint::new(right, bottom),
        }
    }
}

/// How the board covered the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Coverage {
    /// Corners of the picture that the board never came near.
    pub unvisited: Vec<PictureCorner>,
    /// Standard uncertainty of where the lens puts a direction, at each of [`PictureCorner::ALL`], px; `None` where the lens
    /// model does not reach.
    pub corner_u_px: [Option<f64>; 4],
    /// The same at the middle of the picture, px.
    pub middle_u_px: Option<f64>,
}

/// How the board's corners covered a picture of the lens's size.
#[must_use]
pub fn coverage_of(lens: &Lens, corners: &[ImagePoint]) -> Coverage {
    let reach = lens.image_size.map(|side| VISITED_PART * f64::from(side));
    let is_unvisited = |corner: &PictureCorner| {
        let pixel = corner.pixel(lens.image_size);
        !corners.iter().any(|found| (found.x - pixel.x).abs() < reach[0] && (found.y - pixel.y).abs() < reach[1])
    };
    let [right, bottom] = lens.image_size.map(|side| f64::from(side) - 1.0);
    Coverage {
        unvisited: PictureCorner::ALL.into_iter().filter(is_unvisited).collect(),
        corner_u_px: PictureCorner::ALL.map(|corner| direction_u_px(lens, corner.pixel(lens.image_size))),
        middle_u_px: direction_u_px(lens, ImagePoint::new(right / 2.0, bottom / 2.0)),
    }
}

/// Standard uncertainty of the image point of a fixed direction, by the lens's covariance: root of the sum of both
/// coordinates' variances, px.
fn direction_u_px(lens: &Lens, point: ImagePoint) -> Option<f64> {
    let direction = lens.undistort(point).ok()?;
    let by_parameters = lens.distort_with_jacobian(direction).by_parameters;
    let covariance: Matrix2<f64> = by_parameters * lens.covariance * by_parameters.transpose();
    Some(covariance.trace().max(0.0).sqrt())
}

/// Something about a calibration that its user should know. The sentence says what was seen, what it does, and what to do.
#[derive(Debug, Clone, PartialEq)]
pub enum CalibrationWarning {
    /// Few views.
    FewViews {
        /// Views.
        found: usize,
    },
    /// The board was tilted little.
    LittleTilt {
        /// Largest angle between two views, deg.
        widest_deg: f64,
    },
    /// A corner of the picture was never visited.
    CornerUnvisited {
        /// Which.
        corner: PictureCorner,
        /// Standard uncertainty there, px.
        u_px: Option<f64>,
    },
    /// A view is blurred.
    Blurred {
        /// Which view.
        label: String,
        /// Width of its edges, px.
        edge_width_px: f64,
    },
    /// A view fits badly.
    FitsBadly {
        /// Which view.
        label: String,
        /// Its residuals, px.
        rms_px: f64,
        /// Those of the middle view, px.
        usual_px: f64,
    },
    /// The focal length is uncertain.
    FocalUncertain {
        /// Relative standard uncertainty.
        relative_u: f64,
    },
}

impl fmt::Display for CalibrationWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FewViews { found } => {
                write!(f, "only {found} views: one bad view weighs much; take {VIEWS_ADVISED} or more")
            }
            Self::LittleTilt { widest_deg } => write!(
                f,
                "the board was tilted by only {widest_deg:.0} deg between the views: the focal length rests on little; tilt it by {TILT_ADVISED_DEG:.0} deg and more about both axes"
            ),
            Self::CornerUnvisited { corner, u_px } => {
                write!(f, "the board never came near the {} corner of the picture: ", corner.words())?;
                match u_px {
                    Some(u_px) => write!(f, "marks there carry {u_px:.1} px of the lens's own uncertainty")?,
                    None => write!(f, "the lens model does not reach it")?,
                }
                write!(f, "; take views with the board there")
            }
            Self::Blurred { label, edge_width_px } => write!(
                f,
                "{label} is blurred, its edges are {edge_width_px:.1} px wide: its corners are less sure than the others; take it again with the board held still"
            ),
            Self::FitsBadly { label, rms_px, usual_px } => write!(
                f,
                "{label} fits badly, {rms_px:.2} px where the middle view has {usual_px:.2} px: the board was bent, moving or partly in glare and pulls at the lens; leave it out"
            ),
            Self::FocalUncertain { relative_u } => write!(
                f,
                "the focal length is uncertain by {:.1} %: so is every distance from the camera; take views from nearer and with more tilt",
                100.0 * relative_u
            ),
        }
    }
}

/// What is worth a warning in a calibration, in the order of weight.
#[must_use]
pub fn warnings_of(calibration: &Calibration, sightings: &[Sighting], coverage: &Coverage) -> Vec<CalibrationWarning> {
    let mut warnings = Vec::new();
    if sightings.len() < VIEWS_ADVISED {
        warnings.push(CalibrationWarning::FewViews { found: sightings.len() });
    }
    if calibration.widest_tilt_deg < TILT_ADVISED_DEG {
        warnings.push(CalibrationWarning::LittleTilt { widest_deg: calibration.widest_tilt_deg });
    }
    let relative_u = calibration.lens.parameter_u()[0] / calibration.lens.fx;
    if relative_u > FOCAL_U_ADVISED {
        warnings.push(CalibrationWarning::FocalUncertain { relative_u });
    }
    for corner in &coverage.unvisited {
        let place = PictureCorner::ALL.iter().position(|other| other == corner);
        let u_px = place.and_then(|index| coverage.corner_u_px[index]);
        warnings.push(CalibrationWarning::CornerUnvisited { corner: *corner, u_px });
    }
    let mut rms: Vec<f64> = calibration.views.iter().map(|view| view.rms_px).collect();
    rms.sort_by(f64::total_cmp);
    let usual_px = rms[rms.len() / 2];
    for (sighting, view) in sightings.iter().zip(&calibration.views) {
        if view.rms_px > BAD_FIT_FACTOR * usual_px {
            let label = sighting.label.clone();
            warnings.push(CalibrationWarning::FitsBadly { label, rms_px: view.rms_px, usual_px });
        }
    }
    let long_side = f64::from(calibration.lens.image_size[0].max(calibration.lens.image_size[1]));
    for sighting in sightings {
        if sighting.board.edge_width_px > BLUR_OF_LONG_SIDE * long_side {
            let (label, edge_width_px) = (sighting.label.clone(), sighting.board.edge_width_px);
            warnings.push(CalibrationWarning::Blurred { label, edge_width_px });
        }
    }
    warnings
}

/// How far the views' corners spread over the picture, in numbers: the share of an 8 x 6 grid of the picture that holds one.
#[must_use]
pub fn covered_share(lens: &Lens, corners: &[ImagePoint]) -> f64 {
    const GRID: [usize; 2] = [8, 6];
    let cell = |value: f64, side: u32, count: usize| {
        let part = ((value + 0.5) / f64::from(side)).clamp(0.0, 1.0 - f64::EPSILON);
        crate::camera::gray::floor_to_index(part * count_to_f64(count))
    };
    let mut is_covered = vec![false; GRID[0] * GRID[1]];
    for corner in corners {
        let column = cell(corner.x, lens.image_size[0], GRID[0]);
        let row = cell(corner.y, lens.image_size[1], GRID[1]);
        is_covered[row * GRID[0] + column] = true;
    }
    count_to_f64(is_covered.iter().filter(|covered| **covered).count()) / count_to_f64(is_covered.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_corner_is_visited_by_a_board_near_it_alone() {
        let lens = Lens::phone_prior([1000, 500]);
        // Within 150 px across and 75 px down of the top left; across but not down of the top right.
        let corners = [ImagePoint::new(140.0, 70.0), ImagePoint::new(900.0, 80.0)];
        let coverage = coverage_of(&lens, &corners);
        assert_eq!(
            coverage.unvisited,
            [PictureCorner::TopRight, PictureCorner::BottomLeft, PictureCorner::BottomRight]
        );
        assert!((covered_share(&lens, &corners) - 2.0 / 48.0).abs() < 1e-12);
    }

    #[test]
    fn uncertainty_of_the_principal_point_alone_is_the_same_everywhere() {
        let mut lens = Lens::pinhole([1000, 500], 800.0);
        lens.covariance[(2, 2)] = 9.0;
        lens.covariance[(3, 3)] = 16.0;
        let coverage = coverage_of(&lens, &[]);
        for u_px in coverage.corner_u_px.into_iter().chain([coverage.middle_u_px]) {
            assert!((u_px.unwrap() - 5.0).abs() < 1e-12);
        }
    }

    #[test]
    fn warnings_say_what_it_does_and_what_to_do() {
        let unvisited = CalibrationWarning::CornerUnvisited { corner: PictureCorner::TopLeft, u_px: Some(11.04) };
        assert_eq!(
            unvisited.to_string(),
            "the board never came near the top left corner of the picture: marks there carry 11.0 px of the lens's own uncertainty; take views with the board there"
        );
    }
}
