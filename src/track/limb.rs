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
/// Something that comes before an arm, or goes from there, covers a stretch of it: from and to which share of the band's points may be
/// left out, one stretch at a time. A hand covers a quarter of an arm, which lies within one of these wherever it is.
const COVERED: [[f64; 2]; 5] = [[0.0, 0.4], [0.15, 0.55], [0.3, 0.7], [0.45, 0.85], [0.6, 1.0]];
/// What is left must be so much alike: less of a band looks the same by chance more easily.
const REST_LIKENESS_MIN: f64 = 0.85;
/// It grows or shrinks by no more than this share between frames.
const GROWTH_MAX: f64 = 0.03;
/// Its pivot lies no further than this from where the trunk puts it, px at the same size.
const PIVOT_MAX_PX: f64 = 5.0;

/// Marks by their index, and their places from the pivot, px.
pub(crate) type LimbMarks = Vec<(usize, Vector2<f64>)>;

/// The band along an arm in a frame, and the marks that turn with it.
pub(crate) struct Limb {
    whole: Band,
    pub(crate) marks: LimbMarks,
    scale: f64,
}

/// A band on half size and on full.
struct Band {
    coarse: Template,
    fine: Template,
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
    pub(crate) fn take(picture: &Pyramid, chain: &[ImagePoint], marks: LimbMarks, scale: f64) -> Option<Self> {
        let coarse_level = 1.min(picture.count() - 1);
        let half_width_px = HALF_WIDTH_PX * scale;
        let coarse = Template::band(picture, coarse_level, chain, half_width_px)?;
        let fine = Template::band(picture, 0, chain, half_width_px)?;
        Some(Self { whole: Band { coarse, fine }, marks, scale })
    }

    /// Looks for the band in another frame: for all of it, or else for what is left beside a covered stretch.
    pub(crate) fn find(&self, picture: &Pyramid, search: &LimbSearch) -> Option<LimbFound> {
        self.find_whole(picture, search).or_else(|| {
            let rests = COVERED.into_iter().filter_map(|covered| {
                let found = self.whole.without(covered)?.find(picture, search);
                self.is_same(&found, search, REST_LIKENESS_MIN)
            });
            rests.max_by(|a, b| a.likeness.total_cmp(&b.likeness))
        })
    }

    /// Looks for all of the band in another frame.
    pub(crate) fn find_whole(&self, picture: &Pyramid, search: &LimbSearch) -> Option<LimbFound> {
        self.is_same(&self.whole.find(picture, search), search, LIKENESS_MIN)
    }

    /// Whether what was found is this arm: as alike as that, at its distance, about its pivot.
    fn is_same(&self, found: &Found, search: &LimbSearch, likeness_min: f64) -> Option<LimbFound> {
        let Warp { middle, turn } = found.warp;
        let growth = turn.determinant().abs().sqrt();
        let moved_px = (middle.x - search.pivot.x).hypot(middle.y - search.pivot.y);
        let is_same = found.likeness >= likeness_min
            && (growth - 1.0).abs() <= GROWTH_MAX * search.frames
            && moved_px <= PIVOT_MAX_PX * self.scale * search.frames.sqrt();
        is_same.then(|| LimbFound {
            warp: found.warp,
            turn_rad: turn[(1, 0)].atan2(turn[(0, 0)]),
            likeness: found.likeness,
        })
    }
}

impl Band {
    /// The same without a stretch that may be covered.
    fn without(&self, covered: [f64; 2]) -> Option<Self> {
        Some(Self { coarse: self.coarse.without(covered)?, fine: self.fine.without(covered)? })
    }

    /// Where another frame is most like the band.
    fn find(&self, picture: &Pyramid, search: &LimbSearch) -> Found {
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
        self.fine
            .align(picture, &near, Freedom::Similar)
            .unwrap_or_else(|| Found { warp: near, likeness: self.fine.likeness(picture, &near) })
    }
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;

    const PIVOT: ImagePoint = ImagePoint::new(100.0, 90.0);
    const WRIST: ImagePoint = ImagePoint::new(220.0, 150.0);

    /// Cloth around the pivot, turned about it by `turn_rad`. What covers a stretch of the arm around `covered` is brighter and striped.
    fn picture(turn_rad: f64, covered: Option<(Vector2<f64>, f64)>) -> Pyramid {
        let back = Warp::turned(PIVOT, -turn_rad).turn;
        let image = GrayImage::from_fn(320, 240, |x, y| {
            let step = Vector2::new(f64::from(x) - PIVOT.x, f64::from(y) - PIVOT.y);
            let at = back * step;
            let mut level = 110.0 + 12.0 * ((at.x / 3.1).sin() * (at.y / 4.3).cos() + (at.x / 11.0 + at.y / 7.0).sin());
            if covered.is_some_and(|(middle, radius)| (step - middle).norm() < radius) {
                level = 170.0 + 40.0 * (step.x / 2.0).sin();
            }
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
            Luma([level.round() as u8])
        });
        Pyramid::of(&image, 2)
    }

    fn search() -> LimbSearch {
        LimbSearch { pivot: PIVOT, turn_rad: 0.0, range_rad: 4_f64.to_radians(), frames: 1.0 }
    }

    #[test]
    fn arm_is_found_when_what_covered_a_stretch_of_it_goes() {
        // a hand on the shoulder, on the elbow, on the wrist, and between: up to a quarter of the arm
        for share in [0.0, 0.2, 0.35, 0.5, 0.65, 0.8, 1.0] {
            let middle = Vector2::new(WRIST.x - PIVOT.x, WRIST.y - PIVOT.y) * share;
            let before = picture(0.0, Some((middle, 16.0)));
            let limb = Limb::take(&before, &[PIVOT, WRIST], Vec::new(), 1.0).unwrap();
            let turn_rad = 2.5_f64.to_radians();
            let after = picture(turn_rad, None);
            assert_eq!(limb.find_whole(&after, &search()), None, "covered at {share}: what is left must be looked for");
            let found = limb.find(&after, &search()).unwrap_or_else(|| panic!("covered at {share}"));
            // A tenth of a degree moves the wrist by 0.2 px.
            assert!((found.turn_rad - turn_rad).abs() < 0.1_f64.to_radians(), "covered at {share}: {found:?}");
        }
    }

    #[test]
    fn arm_that_is_not_there_is_not_found_in_part() {
        let limb = Limb::take(&picture(0.0, None), &[PIVOT, WRIST], Vec::new(), 1.0).unwrap();
        let elsewhere = picture(40_f64.to_radians(), None);
        assert_eq!(limb.find(&elsewhere, &search()), None);
    }
}
