//! An arm as one stiff body: a band of the picture along it, looked for in the next frame where the arm may have turned to.
//!
//! A band of some hundred points along upper arm and forearm holds its turn far better than the patches around elbow and wrist do:
//! where they blur, are hidden or show another side, the rest still says how the arm lies. It assumes an arm that stays nearly
//! straight and nearly at its distance from one frame to the next.

use nalgebra::Vector2;

use crate::geometry::ImagePoint;

use super::affine::Warp;
use super::pyramid::Pyramid;
use super::template::{Found, Freedom, Template};

/// Half the width of the band, px at a long side of [`super::carry::SCALE_AT_PX`]: within a forearm.
const HALF_WIDTH_PX: f64 = 11.0;
/// Turns tried are so far apart, deg: on half size, a wrist moves by a px or two.
const TURN_STEP_DEG: f64 = 0.75;
/// A band so much alike is the same arm, from frame to frame.
const LIKENESS_MIN: f64 = 0.7;
/// It grows or shrinks by no more than this share between frames.
const GROWTH_MAX: f64 = 0.03;
/// Its pivot lies no further than this from where the trunk puts it, px at the same size.
const PIVOT_MAX_PX: f64 = 5.0;

/// The band along an arm in a frame, and the marks that turn with it.
pub(crate) struct Limb {
    coarse: Template,
    fine: Template,
    /// Marks and their places from the pivot, px.
    pub(crate) marks: Vec<(usize, Vector2<f64>)>,
    scale: f64,
}

/// Where an arm was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LimbFound {
    /// Where the pivot is and how the band turned.
    warp: Warp,
    /// By how much it turned since its frame, rad, clockwise as seen.
    pub(crate) turn_rad: f64,
    /// How alike it is, from 0 to 1.
    pub(crate) likeness: f64,
}

impl LimbFound {
    /// Where a place from the pivot is now, px.
    pub(crate) fn place(&self, step: Vector2<f64>) -> ImagePoint {
        let turned = self.warp.turn * step;
        ImagePoint::new(self.warp.middle.x + turned.x, self.warp.middle.y + turned.y)
    }

    /// Where the pivot is, px.
    pub(crate) const fn pivot(&self) -> ImagePoint {
        self.warp.middle
    }
}

/// Where to look for an arm.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LimbSearch {
    /// Where the pivot should be, px.
    pub(crate) pivot: ImagePoint,
    /// By how much it should have turned, rad.
    pub(crate) turn_rad: f64,
    /// By how much that may be wrong, rad.
    pub(crate) range_rad: f64,
    /// Frames since the band was seen.
    pub(crate) frames: f64,
}

impl Limb {
    /// The band along shoulder, elbow (where it is marked) and wrist, with all marks that turn with it. `scale` is 1 where the
    /// picture's long side is [`super::carry::SCALE_AT_PX`].
    pub(crate) fn take(
        picture: &Pyramid,
        chain: &[ImagePoint],
        marks: Vec<(usize, Vector2<f64>)>,
        scale: f64,
    ) -> Option<Self> {
        let coarse_level = 1.min(picture.count() - 1);
        let half_width_px = HALF_WIDTH_PX * scale;
        let coarse = Template::band(picture, coarse_level, chain, half_width_px)?;
        let fine = Template::band(picture, 0, chain, half_width_px)?;
        Some(Self { coarse, fine, marks, scale })
    }

    /// Looks for the band in another frame.
    pub(crate) fn find(&self, picture: &Pyramid, search: &LimbSearch) -> Option<LimbFound> {
        let step_rad = TURN_STEP_DEG.to_radians();
        let mut best = (f64::NEG_INFINITY, search.turn_rad);
        let mut away_rad = 0.0;
        while away_rad <= search.range_rad {
            for turn_rad in [search.turn_rad + away_rad, search.turn_rad - away_rad] {
                let likeness = self.coarse.likeness(picture, &Warp::turned(search.pivot, turn_rad));
                if likeness > best.0 {
                    best = (likeness, turn_rad);
                }
            }
            away_rad += step_rad;
        }
        let start = Warp::turned(search.pivot, best.1);
        let near = self.coarse.align(picture, &start, Freedom::Similar).map_or(start, |aligned| aligned.warp);
        // a band that blurs does not settle to a fraction of a px: then half size is as good
        let found = self
            .fine
            .align(picture, &near, Freedom::Similar)
            .unwrap_or_else(|| Found { warp: near, likeness: self.fine.likeness(picture, &near) });
        let Warp { middle, turn } = found.warp;
        let growth = turn.determinant().abs().sqrt();
        let moved_px = (middle.x - search.pivot.x).hypot(middle.y - search.pivot.y);
        let is_same = found.likeness >= LIKENESS_MIN
            && (growth - 1.0).abs() <= GROWTH_MAX * search.frames
            && moved_px <= PIVOT_MAX_PX * self.scale * search.frames.sqrt();
        is_same.then(|| LimbFound {
            warp: found.warp,
            turn_rad: turn[(1, 0)].atan2(turn[(0, 0)]),
            likeness: found.likeness,
        })
    }
}
