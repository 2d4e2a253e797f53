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

use image::GrayImage;
use nalgebra::{Matrix2, Vector2};

use crate::geometry::{ImagePoint, Landmark, Side};

use super::affine::Warp;
use super::bar_follow::FollowedBar;
use super::carry::SCALE_AT_PX;
use super::limb::{Limb, LimbFound, LimbMarks, LimbSearch};
use super::mark_state::MarkState;
use super::pyramid::Pyramid;
use super::template::{Freedom, Template};

/// Levels of a pyramid.
const LEVELS: usize = 2;
/// How far around a mark the next frame is looked at, px at a long side of [`SCALE_AT_PX`]: a fast wrist's step, and a patch.
const SURROUNDINGS_PX: f64 = 80.0;
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
const FOUND_LIKENESS_MIN: f64 = 0.9;
/// The way back to the frame before may miss by this, px.
const BACK_MAX_PX: f64 = 1.0;
/// What was followed and what the first patch says may differ by this, px.
const DRIFT_MAX_PX: f64 = 2.5;
/// And by so many of the spreads that following has by then, where the first patch is seen beyond doubt: it takes back what was strayed
/// by.
const DRIFT_MAX_SPREADS: f64 = 2.0;
/// A mark of an arm lies within this of where the arm as a whole puts it, from frame to frame, px: bones are stiff.
const BODY_MAX_PX: f64 = 2.5;
/// An elbow lies within this of where shoulder and wrist put it by the marked frame, px: small steps would add up to a slide along the
/// arm, while a bend that changes by 6 deg moves it by less.
const SHAPE_MAX_PX: f64 = 6.0;
/// Standard deviation that a frame adds in which the arm as a whole alone says where a mark is, px.
const BODY_STEP_SD_PX: f64 = 0.4;
/// The arm as a whole stands in for a mark that is not seen for so many frames at the most.
const BODY_FRAMES_MAX: u32 = 30;
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
/// Standard deviation that one step adds where the first patch does not tell, px.
const STEP_SD_PX: f64 = 0.15;
/// Standard deviation of a mark that the first patch tells, px.
const ANCHOR_SD_PX: f64 = 0.25;
/// What each degree adds by which the arm turned since the mark was placed, px: skin and sleeve slide, and another side is seen. In
/// rendered raises of 95 deg shoulder, elbow and wrist end 4 to 8 px off where pictures are clear, 6 to 15 in dull and noisy ones.
const TURN_SD_PX_PER_DEG: f64 = 0.06;
/// Where the arm alone tells a mark, it errs by so much more: in rendered clips hidden marks are off by 1.7 to 2.4 times the spread
/// that seen ones state.
const HIDDEN_SD_RATIO: f64 = 2.0;
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

/// What is known of an arm.
#[derive(Default)]
struct Arm {
    /// How it was seen last.
    limb: Option<Limb>,
    /// How it was marked.
    marked: Option<Limb>,
    /// Frames since.
    unseen: u32,
    /// How far it turned since, as far as can be told, rad, clockwise as seen.
    since_rad: f64,
    /// How far it turned in the last frame, rad.
    turn_rad: f64,
    /// How far it turned since the start, rad.
    whole_rad: f64,
    /// How far it turned since the band was marked, rad.
    marked_rad: f64,
}

struct Followed {
    landmark: Landmark,
    /// The patch it was marked on.
    anchor: Option<Template>,
    /// Its place when it was marked.
    start: ImagePoint,
    /// Its last place.
    point: ImagePoint,
    /// Its last step.
    step: Vector2<f64>,
    /// Turn since it was marked, rad.
    turned_rad: f64,
    /// The most it was turned by since the first patch told its place last, rad: what slid by then does not slide back by itself.
    slid_rad: f64,
    drift_px2: f64,
    /// Whether the patch it was marked on told its place in the last frame.
    is_by_anchor: bool,
    /// The patch on the last frame that it was seen in, and its turn up to there, rad.
    seen_last: Option<(Template, f64)>,
    /// Frames for which the arm as a whole stood in for it.
    by_body: u32,
    state: MarkState,
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
            let placed = Followed {
                landmark: *landmark,
                anchor: Template::disc(&self.before, 0, *point, patch_px(self.scale)),
                start: *point,
                point: *point,
                step: known.map_or_else(Vector2::zeros, |index| self.marks[index].step),
                turned_rad: 0.0,
                slid_rad: 0.0,
                drift_px2: 0.0,
                is_by_anchor: true,
                seen_last: None,
                by_body: 0,
                state: MarkState::Followed { point: *point, sd_px: 0.0 },
            };
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
            let ends = self.bar_marks().map(|ends| ends.map(|end| self.marks[end].point));
            self.bar = ends.and_then(|ends| FollowedBar::start(&self.before, ends));
        }
    }

    /// Whether the bar is found in each frame by itself, so that its ends are where they are seen.
    pub(crate) const fn finds_bar(&self) -> bool {
        self.bar.is_some()
    }

    /// The marks of the bar's left and right end, where both are known.
    fn bar_marks(&self) -> Option<[usize; 2]> {
        let [left, right] = [Side::Left, Side::Right].map(|side| self.index_of(Landmark::BarEnd(side)));
        Some([left?, right?])
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
            self.follow_arm(side, &picture);
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
        let guess = offset(mark.point, mark.step);
        let found = self.found(index, picture, Warp::shift_to(guess));
        // the arm turns about the shoulder, which holds it
        let is_held = matches!(mark.landmark, Landmark::Shoulder(_));
        self.settle(index, found, &Expected { guess, turn_rad: 0.0, shape: None, is_held, is_by_body: false }, picture);
    }

    /// The marks that turn with an arm.
    fn members(&self, side: Side) -> Vec<usize> {
        let is_member = |index: &usize| matches!(self.marks[*index].landmark, Landmark::Elbow(of) | Landmark::Wrist(of) if of == side);
        (0..self.marks.len()).filter(is_member).collect()
    }

    fn index_of(&self, landmark: Landmark) -> Option<usize> {
        self.marks.iter().position(|mark| mark.landmark == landmark)
    }

    /// The band along an arm where its marks are now; `None` without shoulder or wrist.
    fn limb(&self, side: Side, picture: &Pyramid) -> Option<Limb> {
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
    fn follow_arm(&mut self, side: Side, picture: &Pyramid) {
        let shoulder = self.index_of(Landmark::Shoulder(side));
        let wrist_before = self.index_of(Landmark::Wrist(side)).map(|index| self.marks[index].point);
        match (shoulder, self.arms[slot(side)].limb.take()) {
            (Some(shoulder), Some(limb)) => self.follow_limb(side, shoulder, limb, picture),
            (_, limb) => {
                self.arms[slot(side)].limb = limb;
                for index in self.members(side) {
                    self.follow_alone(index, picture);
                }
            }
        }
        // The bar keeps its direction in a raise, and its end goes with the hand.
        let wrist = self.index_of(Landmark::Wrist(side));
        if self.bar.is_none()
            && let Some(bar) = self.index_of(Landmark::BarEnd(side))
        {
            let step = match (wrist, wrist_before) {
                (Some(wrist), Some(before)) => difference(self.marks[wrist].point, before),
                _ => self.marks[bar].step,
            };
            let guess = offset(self.marks[bar].point, step);
            let found = self.found(bar, picture, Warp::shift_to(guess));
            self.settle(
                bar,
                found,
                &Expected { guess, turn_rad: 0.0, shape: None, is_held: false, is_by_body: false },
                picture,
            );
        }
    }

    /// Looks for the bar by itself, where it is followed so.
    fn follow_bar(&mut self, picture: &Pyramid) {
        let (Some(marks), Some(bar)) = (self.bar_marks(), &mut self.bar) else { return };
        let states = bar.advance(picture);
        for ((index, state), expected) in marks.into_iter().zip(states).zip(bar.expected_ends()) {
            let mark = &mut self.marks[index];
            let before = mark.point;
            mark.state = state;
            mark.point = match state {
                MarkState::Followed { point, .. } | MarkState::Hidden { point, .. } => point,
                MarkState::Lost | MarkState::OutOfPicture => expected,
            };
            mark.step = difference(mark.point, before);
        }
        // From the front the arms' turn shows in the bar alone. Who marks a hip films from the side, or nearly so.
        let turn_rad = bar.turn_rad();
        if self.marks.iter().all(|mark| !matches!(mark.landmark, Landmark::Hip(_))) {
            for mark in self.marks.iter_mut().filter(|mark| matches!(mark.landmark, Landmark::Shoulder(_))) {
                mark.slide(turn_rad, self.scale);
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
        (length_px2 > 0.0).then(|| offset(shoulder.point, now * along + Vector2::new(-now.y, now.x) * across))
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

    /// The patch of the frame before, found in this one and back again.
    fn found(&self, index: usize, picture: &Pyramid, guess: Warp) -> Option<ImagePoint> {
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
    fn settle(&mut self, index: usize, found: Option<ImagePoint>, expected: &Expected, picture: &Pyramid) {
        let Expected { guess, turn_rad, shape, is_held, is_by_body } = *expected;
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
        let start = Warp::turned(found.unwrap_or(guess), mark.turned_rad);
        let by_anchor = mark.anchor.as_ref().and_then(|anchor| anchor.align(picture, &start, Freedom::Affine));
        let limit_px = DRIFT_MAX_PX * scale;
        let drift_px = mark.drift_px2.sqrt().hypot(mark.slide_px(scale));
        let by_anchor = by_anchor.filter(|anchor| {
            let off_px = difference(anchor.warp.middle, found.unwrap_or(guess)).norm();
            let is_in_shape =
                shape.is_none_or(|shape| difference(anchor.warp.middle, shape).norm() <= SHAPE_MAX_PX * scale);
            let is_there = found.is_some() && anchor.likeness >= ANCHOR_LIKENESS_MIN && off_px <= limit_px;
            let may_be_px = (2.0 * limit_px).max(DRIFT_MAX_SPREADS * drift_px);
            is_in_shape && (is_there || anchor.likeness >= FOUND_LIKENESS_MIN && off_px <= may_be_px)
        });
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

impl Followed {
    /// Adds to its spread what it may have slid by, turned by `turned_rad` since it was marked.
    fn slide(&mut self, turned_rad: f64, scale: f64) {
        self.slid_rad = if self.is_by_anchor { turned_rad.abs() } else { self.slid_rad.max(turned_rad.abs()) };
        let slide_px = self.slide_px(scale);
        if let MarkState::Followed { sd_px, .. } | MarkState::Hidden { sd_px, .. } = &mut self.state {
            // The slide of skin and the error of following come from different causes.
            *sd_px = sd_px.hypot(slide_px);
        }
    }

    fn slide_px(&self, scale: f64) -> f64 {
        TURN_SD_PX_PER_DEG * self.slid_rad.to_degrees() * scale
    }

    /// How it stands with it, as it is told.
    const fn reported(&self) -> MarkState {
        match self.state {
            MarkState::Hidden { point, sd_px } => MarkState::Hidden { point, sd_px: HIDDEN_SD_RATIO * sd_px },
            state => state,
        }
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

/// What the body says of a mark in the next frame.
struct Expected {
    /// Its place, px.
    guess: ImagePoint,
    /// By how much it turns, rad.
    turn_rad: f64,
    /// Where the shape of the arm puts it, px.
    shape: Option<ImagePoint>,
    /// Whether it is part of a stiff body with others, against which it was held.
    is_held: bool,
    /// Whether that body was found, so that it can stand in for the mark.
    is_by_body: bool,
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

fn offset(point: ImagePoint, step: Vector2<f64>) -> ImagePoint {
    ImagePoint::new(point.x + step.x, point.y + step.y)
}

/// A step from a pivot, turned.
fn turned(step: Vector2<f64>, pivot: ImagePoint, turn_rad: f64) -> ImagePoint {
    let (sin, cos) = turn_rad.sin_cos();
    offset(pivot, Matrix2::new(cos, -sin, sin, cos) * step)
}

fn patch_px(scale: f64) -> f64 {
    (PATCH_PX * scale).max(PATCH_MIN_PX)
}

const fn slot(side: Side) -> usize {
    match side {
        Side::Left => 0,
        Side::Right => 1,
    }
}

#[cfg(test)]
mod tests;
