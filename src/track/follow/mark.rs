//! One followed mark: found by its patch, held against the patch that it was marked on, and how far it may have strayed.

use nalgebra::Vector2;

use crate::geometry::{ImagePoint, Landmark};

use super::super::affine::Warp;
use super::super::mark_state::MarkState;
use super::super::pyramid::Pyramid;
use super::super::template::{Found, Freedom, Template};
use super::{Follower, arm_of, difference};

/// Radius of a patch, px at a long side of [`SCALE_AT_PX`].
const PATCH_PX: f64 = 14.0;
/// A patch's radius at the least, px: a smaller one holds too little.
const PATCH_MIN_PX: f64 = 9.0;
/// Radius of the wider patch that is aligned first, on half size, px.
const WIDE_PATCH_PX: f64 = 20.0;
/// From one frame to the next a patch stays so much alike: blur and light change it little.
const LIKENESS_MIN: f64 = 0.75;
/// The patch it was marked on counts as the same spot from here on.
const ANCHOR_LIKENESS_MIN: f64 = 0.85;
/// A mark that no stiff body holds must stay so much like the patch it was marked on: from frame to frame alone it would slide, each
/// step as good as the last.
const UNHELD_LIKENESS_MIN: f64 = 0.7;
/// A hidden mark is seen again where what was seen of it last is so much alike.
const SEEN_AGAIN_LIKENESS_MIN: f64 = 0.8;
/// A lost mark is taken for found again from here on.
pub(super) const FOUND_LIKENESS_MIN: f64 = 0.9;
/// The way back to the frame before may miss by this, px.
const BACK_MAX_PX: f64 = 1.0;
/// What was followed and what the first patch says may differ by this, px.
const DRIFT_MAX_PX: f64 = 2.5;
/// And by so many of the spreads that following has by then, where the first patch is seen beyond doubt: it takes back what was strayed
/// by.
const DRIFT_MAX_SPREADS: f64 = 2.0;
/// A mark of an arm lies within this of where the arm as a whole puts it, from frame to frame, px: bones are stiff.
pub(super) const BODY_MAX_PX: f64 = 2.5;
/// An elbow lies within this of where shoulder and wrist put it by the marked frame, px: small steps would add up to a slide along the
/// arm, while a bend that changes by 6 deg moves it by less.
pub(super) const SHAPE_MAX_PX: f64 = 6.0;
/// Standard deviation that a frame adds in which the arm as a whole alone says where a mark is, px.
const BODY_STEP_SD_PX: f64 = 0.4;
/// The arm as a whole stands in for a mark that is not seen for so many frames at the most.
pub(super) const BODY_FRAMES_MAX: u32 = 30;
/// Standard deviation that one step adds where the first patch does not tell, px.
const STEP_SD_PX: f64 = 0.15;
/// Standard deviation of a mark that the first patch tells, px.
pub(super) const ANCHOR_SD_PX: f64 = 0.25;
/// What each degree adds by which the arm turned since the mark was placed, px: skin and sleeve slide, and another side is seen. In
/// rendered raises of 95 deg shoulder, elbow and wrist end 4 to 8 px off where pictures are clear, 6 to 15 in dull and noisy ones.
const TURN_SD_PX_PER_DEG: f64 = 0.06;
/// Where the arm alone tells a mark, it errs by so much more: in rendered clips hidden marks are off by 1.7 to 2.4 times the spread
/// that seen ones state.
const HIDDEN_SD_RATIO: f64 = 2.0;

pub(super) struct Followed {
    pub(super) landmark: Landmark,
    /// The patch it was marked on.
    pub(super) anchor: Option<Template>,
    /// Its place when it was marked.
    pub(super) start: ImagePoint,
    /// Its last place.
    pub(super) point: ImagePoint,
    /// Its last step.
    pub(super) step: Vector2<f64>,
    /// Turn since it was marked, rad.
    pub(super) turned_rad: f64,
    /// The most it was turned by since the first patch told its place last, rad: what slid by then does not slide back by itself.
    pub(super) slid_rad: f64,
    pub(super) drift_px2: f64,
    /// Whether the patch it was marked on told its place in the last frame.
    pub(super) is_by_anchor: bool,
    /// The patch on the last frame that it was seen in, and its turn up to there, rad.
    pub(super) seen_last: Option<(Template, f64)>,
    /// Frames for which the arm as a whole stood in for it.
    pub(super) by_body: u32,
    pub(super) state: MarkState,
}

/// What the body says of a mark in the next frame.
pub(super) struct Expected {
    /// Its place, px.
    pub(super) guess: ImagePoint,
    /// By how much it turns, rad.
    pub(super) turn_rad: f64,
    /// Where the shape of the arm puts it, px.
    pub(super) shape: Option<ImagePoint>,
    /// Whether it is part of a stiff body with others, against which it was held.
    pub(super) is_held: bool,
    /// Whether that body was found, so that it can stand in for the mark.
    pub(super) is_by_body: bool,
}

impl Followed {
    /// A mark that is placed at a point of a picture, which went by `step` last.
    pub(super) fn placed(
        landmark: Landmark,
        point: ImagePoint,
        step: Vector2<f64>,
        picture: &Pyramid,
        scale: f64,
    ) -> Self {
        Self {
            landmark,
            anchor: Template::disc(picture, 0, point, patch_px(scale)),
            start: point,
            point,
            step,
            turned_rad: 0.0,
            slid_rad: 0.0,
            drift_px2: 0.0,
            is_by_anchor: true,
            seen_last: None,
            by_body: 0,
            state: MarkState::Followed { point, sd_px: 0.0 },
        }
    }

    /// Adds to its spread what it may have slid by, turned by `turned_rad` since it was marked.
    pub(super) fn slide(&mut self, turned_rad: f64, scale: f64) {
        self.slid_rad = if self.is_by_anchor { turned_rad.abs() } else { self.slid_rad.max(turned_rad.abs()) };
        let slide_px = self.slide_px(scale);
        // The slide of skin and the error of following come from different causes.
        self.widen(slide_px);
    }

    /// Adds an error of another cause to its spread, px.
    pub(super) fn widen(&mut self, by_px: f64) {
        if let MarkState::Followed { sd_px, .. } | MarkState::Hidden { sd_px, .. } = &mut self.state {
            *sd_px = sd_px.hypot(by_px);
        }
    }

    fn slide_px(&self, scale: f64) -> f64 {
        TURN_SD_PX_PER_DEG * self.slid_rad.to_degrees() * scale
    }

    /// How it stands with it, as it is told.
    pub(super) const fn reported(&self) -> MarkState {
        match self.state {
            MarkState::Hidden { point, sd_px } => MarkState::Hidden { point, sd_px: HIDDEN_SD_RATIO * sd_px },
            state => state,
        }
    }

    /// The patch that it was marked on, where it tells its place: near what was `found`, or near where it must be.
    fn by_anchor(
        &self,
        picture: &Pyramid,
        found: Option<ImagePoint>,
        expected: &Expected,
        scale: f64,
    ) -> Option<Found> {
        let near = found.unwrap_or(expected.guess);
        let start = Warp::turned(near, self.turned_rad);
        let anchor = self.anchor.as_ref()?.align(picture, &start, Freedom::Affine)?;
        let limit_px = DRIFT_MAX_PX * scale;
        let drift_px = self.drift_px2.sqrt().hypot(self.slide_px(scale));
        let off_px = difference(anchor.warp.middle, near).norm();
        let is_in_shape =
            expected.shape.is_none_or(|shape| difference(anchor.warp.middle, shape).norm() <= SHAPE_MAX_PX * scale);
        let is_there = found.is_some() && anchor.likeness >= ANCHOR_LIKENESS_MIN && off_px <= limit_px;
        let may_be_px = (2.0 * limit_px).max(DRIFT_MAX_SPREADS * drift_px);
        let is_it = is_in_shape && (is_there || anchor.likeness >= FOUND_LIKENESS_MIN && off_px <= may_be_px);
        is_it.then_some(anchor)
    }

    /// Where a hidden mark is seen again, near where it must be.
    fn seen_again(&self, picture: &Pyramid, guess: ImagePoint, within_px: f64) -> Option<ImagePoint> {
        let (patch, turned_rad) = self.seen_last.as_ref().filter(|_| matches!(self.state, MarkState::Hidden { .. }))?;
        let start = Warp::turned(guess, self.turned_rad - turned_rad);
        let there = patch.align(picture, &start, Freedom::Shift)?;
        let is_it =
            there.likeness >= SEEN_AGAIN_LIKENESS_MIN && difference(there.warp.middle, guess).norm() <= within_px;
        is_it.then_some(there.warp.middle)
    }
}

impl Follower {
    /// The patch of the frame before, found in this one and back again.
    pub(super) fn found(&self, index: usize, picture: &Pyramid, guess: Warp) -> Option<ImagePoint> {
        let mark = &self.marks[index];
        if !matches!(mark.state, MarkState::Followed { .. } | MarkState::Hidden { .. }) {
            return None;
        }
        let wide_level = 1.min(picture.count() - 1);
        let wide = Template::disc(&self.before, wide_level, mark.point, WIDE_PATCH_PX * self.scale)?;
        let near = wide.align(picture, &guess, Freedom::Shift).map_or(guess, |aligned| aligned.warp);
        let patch = Template::disc(&self.before, 0, mark.point, patch_px(self.scale))?;
        let there = patch.align(picture, &near, Freedom::Shift)?;
        if there.likeness < LIKENESS_MIN {
            return None;
        }
        let back = Template::disc(picture, 0, there.warp.middle, patch_px(self.scale))?;
        let home = back.align(&self.before, &there.warp.back(mark.point)?, Freedom::Shift)?;
        let back_px = difference(home.warp.middle, mark.point).norm();
        (back_px <= BACK_MAX_PX * self.scale).then_some(there.warp.middle)
    }

    /// Takes what was found for a mark, held against the patch it was marked on; looks for a lost one where it is expected.
    pub(super) fn settle(&mut self, index: usize, found: Option<ImagePoint>, expected: &Expected, picture: &Pyramid) {
        let Expected { guess, turn_rad, is_held, is_by_body, .. } = *expected;
        let scale = self.scale;
        let mark = &mut self.marks[index];
        let before = mark.point;
        if found.is_none() && matches!(mark.state, MarkState::Followed { .. }) {
            let patch = Template::disc(&self.before, 0, before, patch_px(scale));
            mark.seen_last = patch.map(|patch| (patch, mark.turned_rad));
        }
        mark.turned_rad += turn_rad;
        let again = mark.seen_again(picture, guess, BODY_MAX_PX * scale);
        // what covers a mark goes along with it, and is followed as well as the mark itself
        let is_seen = again.is_some() || matches!(mark.state, MarkState::Followed { .. });
        let found = again.or(found);
        let by_anchor = mark.by_anchor(picture, found, expected, scale);
        let is_like_anchor = |point: ImagePoint| {
            let here = Warp::turned(point, mark.turned_rad);
            mark.anchor.as_ref().is_some_and(|anchor| anchor.likeness(picture, &here) >= UNHELD_LIKENESS_MIN)
        };
        let found = found.filter(|point| is_held || is_like_anchor(*point));
        mark.is_by_anchor = false;
        match (by_anchor, found) {
            (Some(anchor), _) => {
                mark.point = anchor.warp.middle;
                mark.drift_px2 = 0.0;
                mark.by_body = 0;
                mark.is_by_anchor = true;
                mark.state = MarkState::Followed { point: mark.point, sd_px: ANCHOR_SD_PX * scale };
            }
            (None, Some(point)) => {
                mark.point = point;
                mark.by_body = 0;
                mark.drift_px2 += (STEP_SD_PX * scale).powi(2);
                let sd_px = (mark.drift_px2 + (ANCHOR_SD_PX * scale).powi(2)).sqrt();
                mark.state =
                    if is_seen { MarkState::Followed { point, sd_px } } else { MarkState::Hidden { point, sd_px } };
            }
            (None, None) if is_by_body && mark.by_body < BODY_FRAMES_MAX => {
                mark.point = guess;
                mark.by_body += 1;
                mark.drift_px2 += (BODY_STEP_SD_PX * scale).powi(2);
                let sd_px = (mark.drift_px2 + (ANCHOR_SD_PX * scale).powi(2)).sqrt();
                mark.state = MarkState::Hidden { point: guess, sd_px };
            }
            (None, None) => {
                // Its place goes on with the body, so that it can be found again; it is not reported.
                mark.point = guess;
                mark.state = if picture.picture().contains(guess.x, guess.y) {
                    MarkState::Lost
                } else {
                    MarkState::OutOfPicture
                };
            }
        }
        // a trunk that is out of sight goes nowhere
        let is_lost = !matches!(mark.state, MarkState::Followed { .. });
        mark.step =
            if is_lost && arm_of(mark.landmark).is_none() { Vector2::zeros() } else { difference(mark.point, before) };
        // a shoulder turns with its arm, which is followed after it
        mark.slide(mark.turned_rad, scale);
    }
}

fn patch_px(scale: f64) -> f64 {
    (PATCH_PX * scale).max(PATCH_MIN_PX)
}
