//! The marks of an arm, followed as one stiff body that turns about the shoulder.

use nalgebra::{Matrix2, Vector2};

use crate::geometry::{ImagePoint, Landmark, Side};

use super::super::affine::Warp;
use super::super::limb::{Limb, LimbFound, LimbMarks, LimbSearch};
use super::super::mark_state::MarkState;
use super::super::pyramid::Pyramid;
use super::mark::{BODY_FRAMES_MAX, BODY_MAX_PX, Expected, FOUND_LIKENESS_MIN, SHAPE_MAX_PX};
use super::{Follower, difference, slot};

/// An arm's turn is looked for within this of what it did in the frame before, deg; more for every frame that it was not found.
const TURN_RANGE_DEG: f64 = 4.0;
/// And within this at the most, deg.
const TURN_RANGE_MAX_DEG: f64 = 45.0;
/// An arm that was lost is looked for within this of how it was marked, deg: further away it looks otherwise.
const MARKED_RANGE_DEG: f64 = 10.0;
/// And its pivot and size may be off by as much as in so many frames.
const MARKED_FRAMES: f64 = 4.0;
/// What is left of an arm's speed in a frame in which it is not found.
const SLOWING: f64 = 0.8;
/// Standard deviation of a shoulder that only the arm as a whole tells, px.
const PIVOT_SD_PX: f64 = 1.5;

/// What is known of an arm.
#[derive(Default)]
pub(super) struct Arm {
    /// How it was seen last.
    pub(super) limb: Option<Limb>,
    /// How it was marked.
    pub(super) marked: Option<Limb>,
    /// Frames since.
    pub(super) unseen: u32,
    /// How far it turned since, as far as can be told, rad, clockwise as seen.
    pub(super) since_rad: f64,
    /// How far it turned in the last frame, rad.
    pub(super) turn_rad: f64,
    /// How far it turned since the start, rad.
    pub(super) whole_rad: f64,
    /// How far it turned since the band was marked, rad.
    pub(super) marked_rad: f64,
}

impl Follower {
    /// The marks that turn with an arm.
    fn members(&self, side: Side) -> Vec<usize> {
        let is_member = |index: &usize| matches!(self.marks[*index].landmark, Landmark::Elbow(of) | Landmark::Wrist(of) if of == side);
        (0..self.marks.len()).filter(is_member).collect()
    }

    /// The band along an arm where its marks are now; `None` without shoulder or wrist.
    pub(super) fn limb(&self, side: Side, picture: &Pyramid) -> Option<Limb> {
        let place = |landmark: Landmark| self.index_of(landmark).map(|index| self.marks[index].point);
        let pivot = place(Landmark::Shoulder(side))?;
        let wrist = place(Landmark::Wrist(side))?;
        let chain: Vec<ImagePoint> =
            [Some(pivot), place(Landmark::Elbow(side)), Some(wrist)].into_iter().flatten().collect();
        // the wrist first: with it, the elbow's place is known
        let members = self.members(side).into_iter().rev();
        let marks = members.map(|index| (index, difference(self.marks[index].point, pivot))).collect();
        Limb::take(picture, &chain, marks, self.scale)
    }

    /// Follows the marks of one arm together.
    pub(super) fn follow_arm(&mut self, side: Side, picture: &Pyramid) {
        let shoulder = self.index_of(Landmark::Shoulder(side));
        match (shoulder, self.arms[slot(side)].limb.take()) {
            (Some(shoulder), Some(limb)) => self.follow_limb(side, shoulder, limb, picture),
            (_, limb) => {
                self.arms[slot(side)].limb = limb;
                for index in self.members(side) {
                    self.follow_alone(index, picture);
                }
            }
        }
    }

    /// Follows an arm as a whole, and then its marks where it puts them.
    fn follow_limb(&mut self, side: Side, shoulder: usize, limb: Limb, picture: &Pyramid) {
        let arm = &self.arms[slot(side)];
        let frames = f64::from(arm.unseen + 1);
        let expected_rad = arm.turn_rad * SLOWING.powi(i32::try_from(arm.unseen).unwrap_or(i32::MAX));
        let before_rad = arm.since_rad;
        let search = LimbSearch {
            pivot: self.marks[shoulder].point,
            turn_rad: before_rad + expected_rad,
            range_rad: (TURN_RANGE_DEG * frames).min(TURN_RANGE_MAX_DEG).to_radians(),
            frames,
        };
        let found = limb.find(picture, &search);
        let again = if found.is_none() { self.limb_as_marked(side, shoulder, picture) } else { None };
        let turn_rad = match (&found, &again) {
            (None, Some((_, again))) => again.turn_rad - arm.marked_rad,
            _ => found.map_or(search.turn_rad, |found| found.turn_rad) - before_rad,
        };
        let since_rad = before_rad + turn_rad;
        let found = found.or(again.as_ref().map(|(_, again)| *again));
        let marks = again.map_or_else(|| limb.marks.clone(), |(marks, _)| marks);
        if let Some(found) = found {
            self.take_pivot(shoulder, &found);
        }
        for (index, step) in &marks {
            let guess = match &found {
                Some(found) => found.place(*step),
                None => turned(*step, self.marks[shoulder].point, since_rad),
            };
            let shape = self.by_shape(side, *index);
            let is_in_shape = |point: ImagePoint| {
                shape.is_none_or(|shape| difference(point, shape).norm() <= SHAPE_MAX_PX * self.scale)
            };
            let guess = shape.filter(|_| !is_in_shape(guess)).unwrap_or(guess);
            let near = found.and_then(|_| self.found(*index, picture, Warp::turned(guess, turn_rad)));
            let near = near
                .filter(|point| difference(*point, guess).norm() <= BODY_MAX_PX * self.scale && is_in_shape(*point));
            let is_by_body = found.is_some();
            self.settle(*index, near, &Expected { guess, turn_rad, shape, is_held: true, is_by_body }, picture);
        }
        let next = if found.is_some() { self.limb(side, picture) } else { None };
        let is_seen = next.is_some();
        let arm = &mut self.arms[slot(side)];
        let whole_rad = arm.whole_rad + turn_rad;
        *arm = Arm {
            limb: next.or(Some(limb)),
            marked: arm.marked.take(),
            marked_rad: arm.marked_rad + turn_rad,
            unseen: if is_seen { 0 } else { arm.unseen.saturating_add(1) },
            since_rad: if is_seen { 0.0 } else { since_rad },
            turn_rad: if is_seen { turn_rad } else { arm.turn_rad },
            whole_rad,
        };
        self.marks[shoulder].slide(whole_rad, self.scale);
    }

    /// An arm that was not found is back where it was marked: its marks as they were placed on that band, and where it is.
    fn limb_as_marked(&self, side: Side, shoulder: usize, picture: &Pyramid) -> Option<(LimbMarks, LimbFound)> {
        let marked = self.arms[slot(side)].marked.as_ref()?;
        let search = LimbSearch {
            pivot: self.marks[shoulder].point,
            turn_rad: 0.0,
            range_rad: MARKED_RANGE_DEG.to_radians(),
            frames: MARKED_FRAMES,
        };
        let found = marked.find_whole(picture, &search).filter(|found| found.likeness >= FOUND_LIKENESS_MIN)?;
        Some((marked.marks.clone(), found))
    }

    /// Where shoulder and wrist put an elbow, as they stood to each other on the marked frame; `None` for other marks.
    fn by_shape(&self, side: Side, index: usize) -> Option<ImagePoint> {
        let elbow = &self.marks[index];
        if !matches!(elbow.landmark, Landmark::Elbow(_)) {
            return None;
        }
        let shoulder = &self.marks[self.index_of(Landmark::Shoulder(side))?];
        let wrist = &self.marks[self.index_of(Landmark::Wrist(side))?];
        let (chord, step) = (difference(wrist.start, shoulder.start), difference(elbow.start, shoulder.start));
        let now = difference(wrist.point, shoulder.point);
        let length_px2 = chord.norm_squared();
        // the step in units of the chord: along it, and across
        let (along, across) = (step.dot(&chord) / length_px2, chord.perp(&step) / length_px2);
        (length_px2 > 0.0).then(|| shoulder.point.moved(now * along + Vector2::new(-now.y, now.x) * across))
    }

    /// A shoulder that was not found for itself lies where the arm as a whole puts it.
    fn take_pivot(&mut self, shoulder: usize, found: &LimbFound) {
        let sd_px = PIVOT_SD_PX * self.scale;
        let mark = &mut self.marks[shoulder];
        if matches!(mark.state, MarkState::Lost | MarkState::OutOfPicture) && mark.by_body < BODY_FRAMES_MAX {
            mark.by_body += 1;
            mark.point = found.pivot();
            mark.drift_px2 += sd_px.powi(2) / f64::from(BODY_FRAMES_MAX);
            mark.state = MarkState::Hidden { point: mark.point, sd_px: (mark.drift_px2 + sd_px.powi(2)).sqrt() };
        }
    }
}

/// A step from a pivot, turned.
fn turned(step: Vector2<f64>, pivot: ImagePoint, turn_rad: f64) -> ImagePoint {
    let (sin, cos) = turn_rad.sin_cos();
    pivot.moved(Matrix2::new(cos, -sin, sin, cos) * step)
}
