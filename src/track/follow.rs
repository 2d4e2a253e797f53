//! Marks followed from frame to frame through a raise.
//!
//! The trunk's marks go on as they went. The arm's marks are followed as one stiff body: it turns about the shoulder, and goes on
//! turning as it did, so that every patch is looked for where the turn puts it and turned by as much. What was found is held
//! against the frame it was marked on, so that small errors do not add up, and against the rest of the arm, so that no mark
//! slides along it.
//!
//! A mark is followed while it is seen itself. Where it is not, but the arm as a whole is, it is hidden: the arm tells where it must
//! be, and it is followed again only when what was seen of it last, or what it was marked on, is seen there again. Else it is lost
//! from a time on: it is never kept where it was in silence. A lost mark is looked for where the body must have it, and found again
//! only by the patch that it was marked on.
//!
//! A bar with both ends marked that is surely found on that frame is found in each frame by itself, and its marks are where its ends
//! are seen, not beside them as they were placed. One that is seen end on is followed by its patches, as is one whose ends are not
//! both marked.

mod arm;
mod bar_ends;
mod mark;

use image::GrayImage;
use nalgebra::Vector2;

use crate::geometry::{ImagePoint, Landmark, Side};

use super::affine::Warp;
use super::bar_follow::FollowedBar;
use super::carry::SCALE_AT_PX;
use super::mark_state::MarkState;
use super::pyramid::Pyramid;

use arm::Arm;
use mark::{ANCHOR_SD_PX, Expected, Followed};

/// Levels of a pyramid.
const LEVELS: usize = 2;
/// How far around a mark the next frame is looked at, px at a long side of [`SCALE_AT_PX`]: a fast wrist's step, and a patch.
const SURROUNDINGS_PX: f64 = 80.0;
/// Room that is less alike than this is hidden.
const ROOM_LIKENESS_MIN: f64 = 0.6;

/// Follows marks frame by frame, in either direction of time.
pub struct Follower {
    scale: f64,
    before: Pyramid,
    marks: Vec<Followed>,
    /// Left, right.
    arms: [Arm; 2],
    /// The bar, where it is found in each frame by itself.
    bar: Option<FollowedBar>,
}

impl Follower {
    /// Starts on a frame with marks (px).
    #[must_use]
    pub fn start(image: GrayImage, marks: &[(Landmark, ImagePoint)]) -> Self {
        let picture = Pyramid::owning(image, LEVELS);
        let (width, height) = picture.picture().size();
        let scale = width.max(height) as f64 / SCALE_AT_PX;
        let arms = [Arm::default(), Arm::default()];
        let mut follower = Self { scale, before: picture, marks: Vec::new(), arms, bar: None };
        follower.place(marks);
        follower
    }

    /// Takes marks (px) that were placed on the frame gone to last: they are followed from there on. Those that were not followed
    /// before come after the others, in their order.
    pub fn place(&mut self, marks: &[(Landmark, ImagePoint)]) {
        for (landmark, point) in marks {
            let known = self.index_of(*landmark);
            let step = known.map_or_else(Vector2::zeros, |index| self.marks[index].step);
            let placed = Followed::placed(*landmark, *point, step, &self.before, self.scale);
            match known {
                Some(index) => self.marks[index] = placed,
                None => self.marks.push(placed),
            }
        }
        for side in Side::BOTH {
            let is_placed = |wanted: Landmark| marks.iter().any(|(landmark, _)| *landmark == wanted);
            let [limb, marked] = [(); 2].map(|()| self.limb(side, &self.before));
            let arm = &mut self.arms[slot(side)];
            if is_placed(Landmark::Shoulder(side)) {
                arm.whole_rad = 0.0;
            }
            let of_arm = [Landmark::Shoulder(side), Landmark::Elbow(side), Landmark::Wrist(side)];
            if limb.is_some() && of_arm.into_iter().any(is_placed) {
                arm.limb = limb;
                arm.marked = marked;
                arm.marked_rad = 0.0;
                arm.unseen = 0;
                arm.since_rad = 0.0;
            }
        }
        if marks.iter().any(|(landmark, _)| matches!(landmark, Landmark::BarEnd(_))) {
            self.take_bar();
        }
    }

    /// Goes on to the next frame, and says how it stands with each mark, in the order of the start.
    ///
    /// # Panics
    /// If the picture is of another size.
    pub fn advance(&mut self, image: GrayImage) -> Vec<(Landmark, MarkState)> {
        self.advance_from(image).0
    }

    /// As [`Self::advance`], with the picture of the frame before, which is not needed any more.
    pub(crate) fn advance_from(&mut self, image: GrayImage) -> (Vec<(Landmark, MarkState)>, Option<GrayImage>) {
        let (from, to) = self.surroundings();
        let picture = Pyramid::around(image, from, to);
        assert_eq!(picture.picture().size(), self.before.picture().size(), "frames of one clip");
        for index in 0..self.marks.len() {
            if arm_of(self.marks[index].landmark).is_none() {
                self.follow_alone(index, &picture);
            }
        }
        for side in Side::BOTH {
            let wrist_before = self.index_of(Landmark::Wrist(side)).map(|index| self.marks[index].point);
            self.follow_arm(side, &picture);
            self.follow_end(side, wrist_before, &picture);
        }
        self.follow_bar(&picture);
        let before = std::mem::replace(&mut self.before, picture);
        let states = self.marks.iter().map(|mark| (mark.landmark, mark.reported())).collect();
        (states, before.into_picture())
    }

    /// The corners of what is looked at in the next frame, px.
    fn surroundings(&self) -> ([f64; 2], [f64; 2]) {
        let (mut from, mut to) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
        let mut add = |point: ImagePoint, margin_px: f64| {
            for (axis, at) in [point.x, point.y].into_iter().enumerate() {
                from[axis] = from[axis].min(at - margin_px);
                to[axis] = to[axis].max(at + margin_px);
            }
        };
        let margin_px = SURROUNDINGS_PX * self.scale;
        for mark in self.marks.iter().filter(|mark| !is_of_room(mark.landmark)) {
            add(mark.point, margin_px);
        }
        for side in Side::BOTH {
            let places = [Landmark::Shoulder(side), Landmark::Wrist(side)].map(|landmark| self.index_of(landmark));
            if let [Some(shoulder), Some(wrist)] = places.map(|index| index.map(|index| self.marks[index].point))
                && self.arms[slot(side)].unseen > 0
            {
                // it is looked for all around
                add(shoulder, difference(wrist, shoulder).norm() + margin_px);
            }
        }
        (from, to)
    }

    /// Follows a mark of the trunk, the head or the room.
    fn follow_alone(&mut self, index: usize, picture: &Pyramid) {
        let mark = &self.marks[index];
        if is_of_room(mark.landmark) {
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
        let guess = mark.point.moved(mark.step);
        let found = self.found(index, picture, Warp::shift_to(guess));
        // the arm turns about the shoulder, which holds it
        let is_held = matches!(mark.landmark, Landmark::Shoulder(_));
        self.settle(index, found, &Expected { guess, turn_rad: 0.0, shape: None, is_held, is_by_body: false }, picture);
    }

    fn index_of(&self, landmark: Landmark) -> Option<usize> {
        self.marks.iter().position(|mark| mark.landmark == landmark)
    }
}

/// The arm that a mark turns with.
const fn arm_of(landmark: Landmark) -> Option<Side> {
    match landmark {
        Landmark::Elbow(side) | Landmark::Wrist(side) | Landmark::BarEnd(side) => Some(side),
        _ => None,
    }
}

/// Whether a mark stays where it is, as the camera does.
const fn is_of_room(landmark: Landmark) -> bool {
    matches!(landmark, Landmark::PlumbTop | Landmark::PlumbBottom | Landmark::Datum)
}

fn difference(point: ImagePoint, from: ImagePoint) -> Vector2<f64> {
    Vector2::new(point.x - from.x, point.y - from.y)
}

const fn slot(side: Side) -> usize {
    match side {
        Side::Left => 0,
        Side::Right => 1,
    }
}

#[cfg(test)]
mod tests;
