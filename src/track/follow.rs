//! Marks followed from frame to frame through a raise.
//!
//! The trunk's marks go on as they went. The arm's marks are followed as one stiff body: it turns about the shoulder, and goes on
//! turning as it did, so that every patch is looked for where the turn puts it and turned by as much. What was found is held
//! against the frame it was marked on, so that small errors do not add up, and against the rest of the arm, so that no mark
//! slides along it.
//!
//! A mark is followed, or it is lost from a time on: it is never kept where it was in silence. A lost mark is looked for where the
//! body must have it, and found again only by the patch that it was marked on.

use nalgebra::{Matrix2, Vector2};

use crate::geometry::{ImagePoint, Landmark, Side};

use super::affine::{Patch, Warp};
use super::carry::SCALE_AT_PX;
use super::pyramid::Pyramid;

/// Levels of the pyramids that a follower is given.
pub const FOLLOW_LEVELS: usize = 2;
/// Radius of a patch, px at a long side of [`SCALE_AT_PX`].
const PATCH_PX: f64 = 14.0;
/// Radius of the wider patch that is aligned first, on half size, px.
const WIDE_PATCH_PX: f64 = 20.0;
/// From one frame to the next a patch stays so much alike: blur and light change it little.
const LIKENESS_MIN: f64 = 0.75;
/// The patch it was marked on counts as the same spot from here on.
const ANCHOR_LIKENESS_MIN: f64 = 0.85;
/// A lost mark is taken for found again from here on.
const FOUND_LIKENESS_MIN: f64 = 0.9;
/// The way back to the frame before may miss by this, px.
const BACK_MAX_PX: f64 = 1.0;
/// What was followed and what the first patch says may differ by this, px.
const DRIFT_MAX_PX: f64 = 2.5;
/// The marks of an arm turn alike within this from frame to frame, deg: bones are stiff.
const TURN_ALIKE_DEG: f64 = 1.5;
/// Their distance from the shoulder changes by no more than this share from frame to frame.
const LENGTH_CHANGE_MAX: f64 = 0.02;
/// Standard deviation that one step adds where the first patch does not tell, px.
const STEP_SD_PX: f64 = 0.15;
/// Standard deviation of a mark that the first patch tells, px.
const ANCHOR_SD_PX: f64 = 0.25;
/// What each degree adds by which the arm turned since the mark was placed, px: skin and sleeve slide, and another side is seen. In
/// rendered raises of 95 deg shoulder, elbow and wrist end 3 to 4.3 px off at the most.
const TURN_SD_PX_PER_DEG: f64 = 0.03;
/// Room that is less alike than this is hidden.
const ROOM_LIKENESS_MIN: f64 = 0.6;

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
    /// It was not found: nothing alike, or it would contradict the rest of the arm.
    Lost,
    /// It left the picture.
    OutOfPicture,
}

/// Follows marks frame by frame, in either direction of time.
pub struct Follower {
    scale: f64,
    before: Pyramid,
    marks: Vec<Followed>,
    /// How far each arm turned in the last step, rad, clockwise as seen; left, right.
    turn_rad: [f64; 2],
    /// How far each arm turned since the start, rad.
    arm_rad: [f64; 2],
}

struct Followed {
    landmark: Landmark,
    /// The patch it was marked on.
    anchor: Option<Patch>,
    /// Its place when it was marked.
    start: ImagePoint,
    /// Its last place.
    point: ImagePoint,
    /// Its last step.
    step: Vector2<f64>,
    /// Turn since it was marked, rad.
    turned_rad: f64,
    drift_px2: f64,
    state: MarkState,
}

impl Follower {
    /// Starts on a frame with marks (px). `picture` must have [`FOLLOW_LEVELS`] levels where its size allows.
    #[must_use]
    pub fn start(picture: Pyramid, marks: &[(Landmark, ImagePoint)]) -> Self {
        let (width, height) = picture.picture().size();
        let scale = width.max(height) as f64 / SCALE_AT_PX;
        let marks = marks
            .iter()
            .map(|(landmark, point)| Followed {
                landmark: *landmark,
                anchor: Patch::take(&picture, 0, *point, PATCH_PX * scale),
                start: *point,
                point: *point,
                step: Vector2::zeros(),
                turned_rad: 0.0,
                drift_px2: 0.0,
                state: MarkState::Followed { point: *point, sd_px: 0.0 },
            })
            .collect();
        Self { scale, before: picture, marks, turn_rad: [0.0; 2], arm_rad: [0.0; 2] }
    }

    /// Goes on to the next frame, and says how it stands with each mark, in the order of the start.
    pub fn advance(&mut self, picture: Pyramid) -> Vec<(Landmark, MarkState)> {
        let old: Vec<(ImagePoint, bool)> =
            self.marks.iter().map(|mark| (mark.point, matches!(mark.state, MarkState::Followed { .. }))).collect();
        for index in 0..self.marks.len() {
            if arm_of(self.marks[index].landmark).is_none() {
                self.follow_alone(index, &picture);
            }
        }
        for side in Side::BOTH {
            self.follow_arm(side, &old, &picture);
        }
        self.before = picture;
        self.marks.iter().map(|mark| (mark.landmark, mark.state)).collect()
    }

    /// Follows a mark of the trunk, the head or the room.
    fn follow_alone(&mut self, index: usize, picture: &Pyramid) {
        let mark = &self.marks[index];
        if matches!(mark.landmark, Landmark::PlumbTop | Landmark::PlumbBottom | Landmark::Datum) {
            // The camera stands still within a clip: the room's marks stay, as long as they are seen.
            let likeness =
                mark.anchor.as_ref().map_or(0.0, |patch| patch.likeness(picture, &Warp::shift_to(mark.start)));
            self.marks[index].state = if likeness >= ROOM_LIKENESS_MIN {
                MarkState::Followed { point: mark.start, sd_px: ANCHOR_SD_PX * self.scale }
            } else {
                MarkState::Lost
            };
            return;
        }
        let guess = offset(mark.point, mark.step);
        let found = self.found(index, picture, Warp::shift_to(guess));
        self.settle(index, found, guess, 0.0, picture);
    }

    /// Follows the marks of one arm together.
    fn follow_arm(&mut self, side: Side, old: &[(ImagePoint, bool)], picture: &Pyramid) {
        let members: Vec<usize> =
            (0..self.marks.len()).filter(|index| arm_of(self.marks[*index].landmark) == Some(side)).collect();
        let shoulder = (0..self.marks.len()).find(|index| self.marks[*index].landmark == Landmark::Shoulder(side));
        let pivot = shoulder.map(|index| (old[index].0, self.marks[index].point));
        let slot = usize::from(side == Side::Right);
        let expected_rad = self.turn_rad[slot];
        let mut found = Vec::new();
        for index in &members {
            let mark = &self.marks[*index];
            let is_bar = matches!(mark.landmark, Landmark::BarEnd(_));
            let (guess, turn_rad) = match pivot {
                Some((from, to)) => (turned_about(mark.point, from, to, expected_rad), expected_rad),
                None => (offset(mark.point, mark.step), 0.0),
            };
            let warp = Warp::turned(guess, if is_bar { 0.0 } else { turn_rad });
            found.push((*index, guess, self.found(*index, picture, warp)));
        }
        // How far each of them says that the arm turned; the middle one counts.
        let turn_of = |index: usize, point: ImagePoint| {
            let (from, to) = pivot?;
            let before = difference(self.marks[index].point, from);
            let after = difference(point, to);
            let length = after.norm() / before.norm();
            Some((before.perp(&after).atan2(before.dot(&after)), length))
        };
        let mut turns: Vec<f64> = found
            .iter()
            .filter_map(|(index, _, point)| turn_of(*index, point.as_ref()?.0))
            .map(|(turn_rad, _)| turn_rad)
            .collect();
        turns.sort_by(f64::total_cmp);
        let turn_rad = turns.get(turns.len() / 2).copied().unwrap_or(expected_rad);
        let verdicts: Vec<_> = found
            .into_iter()
            .map(|(index, _, point)| {
                let is_alike = |point: ImagePoint| {
                    turn_of(index, point).is_none_or(|(own_rad, length)| {
                        (own_rad - turn_rad).abs() <= TURN_ALIKE_DEG.to_radians()
                            && (length - 1.0).abs() <= LENGTH_CHANGE_MAX
                    })
                };
                let guess = pivot.map_or(self.marks[index].point, |(from, to)| {
                    turned_about(self.marks[index].point, from, to, turn_rad)
                });
                (index, guess, point.filter(|(point, _)| is_alike(*point)))
            })
            .collect();
        for (index, guess, point) in verdicts {
            self.settle(index, point, guess, turn_rad, picture);
        }
        self.arm_rad[slot] += turn_rad;
        self.turn_rad[slot] = turn_rad;
        if let Some(shoulder) = shoulder
            && let MarkState::Followed { sd_px, .. } = &mut self.marks[shoulder].state
        {
            *sd_px = sd_px.hypot(TURN_SD_PX_PER_DEG * self.arm_rad[slot].to_degrees() * self.scale);
        }
    }

    /// The patch of the frame before, found in this one and back again: where, and how alike.
    fn found(&self, index: usize, picture: &Pyramid, guess: Warp) -> Option<(ImagePoint, f64)> {
        let mark = &self.marks[index];
        if !matches!(mark.state, MarkState::Followed { .. }) {
            return None;
        }
        let wide_level = 1.min(picture.count() - 1);
        let wide = Patch::take(&self.before, wide_level, mark.point, WIDE_PATCH_PX * self.scale)?;
        let near = wide.align(picture, &guess, true).map_or(guess, |aligned| aligned.warp);
        let patch = Patch::take(&self.before, 0, mark.point, PATCH_PX * self.scale)?;
        let there = patch.align(picture, &near, true)?;
        if there.likeness < LIKENESS_MIN {
            return None;
        }
        let back = Patch::take(picture, 0, there.warp.middle, PATCH_PX * self.scale)?;
        let home = back.align(&self.before, &there.warp.back(mark.point)?, true)?;
        let back_px = difference(home.warp.middle, mark.point).norm();
        (back_px <= BACK_MAX_PX * self.scale).then_some((there.warp.middle, there.likeness))
    }

    /// Takes what was found for a mark, held against the patch it was marked on; looks for a lost one around `guess`.
    fn settle(
        &mut self,
        index: usize,
        found: Option<(ImagePoint, f64)>,
        guess: ImagePoint,
        turn_rad: f64,
        picture: &Pyramid,
    ) {
        let scale = self.scale;
        let mark = &mut self.marks[index];
        let is_bar = matches!(mark.landmark, Landmark::BarEnd(_));
        mark.turned_rad += if is_bar { 0.0 } else { turn_rad };
        let before = mark.point;
        let start = Warp::turned(found.map_or(guess, |(point, _)| point), mark.turned_rad);
        let by_anchor = mark.anchor.as_ref().and_then(|anchor| anchor.align(picture, &start, false));
        let limit_px = DRIFT_MAX_PX * scale;
        match (found, by_anchor) {
            (Some((point, _)), Some(anchor))
                if anchor.likeness >= ANCHOR_LIKENESS_MIN
                    && difference(anchor.warp.middle, point).norm() <= limit_px =>
            {
                mark.point = anchor.warp.middle;
                mark.drift_px2 = 0.0;
                mark.state = MarkState::Followed { point: mark.point, sd_px: ANCHOR_SD_PX * scale };
            }
            (Some((point, _)), _) => {
                mark.point = point;
                mark.drift_px2 += (STEP_SD_PX * scale).powi(2);
                let sd_px = (mark.drift_px2 + (ANCHOR_SD_PX * scale).powi(2)).sqrt();
                mark.state = MarkState::Followed { point, sd_px };
            }
            (None, Some(anchor))
                if anchor.likeness >= FOUND_LIKENESS_MIN
                    && difference(anchor.warp.middle, guess).norm() <= 2.0 * limit_px =>
            {
                mark.point = anchor.warp.middle;
                mark.drift_px2 = 0.0;
                mark.state = MarkState::Followed { point: mark.point, sd_px: ANCHOR_SD_PX * scale };
            }
            (None, _) => {
                // Its place goes on with the body, so that it can be found again; it is not reported.
                mark.point = guess;
                mark.state = if picture.picture().contains(guess.x, guess.y) {
                    MarkState::Lost
                } else {
                    MarkState::OutOfPicture
                };
            }
        }
        mark.step = difference(mark.point, before);
        if let MarkState::Followed { sd_px, .. } = &mut mark.state {
            // The slide of skin and the error of following come from different causes.
            *sd_px = sd_px.hypot(TURN_SD_PX_PER_DEG * mark.turned_rad.to_degrees() * scale);
        }
    }
}

/// The arm that a mark turns with.
const fn arm_of(landmark: Landmark) -> Option<Side> {
    match landmark {
        Landmark::Elbow(side) | Landmark::Wrist(side) | Landmark::BarEnd(side) => Some(side),
        _ => None,
    }
}

fn difference(point: ImagePoint, from: ImagePoint) -> Vector2<f64> {
    Vector2::new(point.x - from.x, point.y - from.y)
}

fn offset(point: ImagePoint, step: Vector2<f64>) -> ImagePoint {
    ImagePoint::new(point.x + step.x, point.y + step.y)
}

/// A point turned about a pivot that moved.
fn turned_about(point: ImagePoint, from: ImagePoint, to: ImagePoint, turn_rad: f64) -> ImagePoint {
    let (sin, cos) = turn_rad.sin_cos();
    offset(to, Matrix2::new(cos, -sin, sin, cos) * difference(point, from))
}
