//! A bar followed from frame to frame by finding it in each of them.
//!
//! Patches slide along a bar, and a bar that comes towards the camera in a raise grows. So it is looked for as a bar where its last
//! places and its speed put it, and what is found must be as long, as wide and as bright as the bar was, to what a frame can change
//! of that: else it is another straight thing. A bar that is not found is lost from that frame on. It is looked for again where it
//! should have got to, where it was seen before, and over the whole height of the picture (`bar_column.rs`), and is found only with
//! both its ends. So is one that is not seen on the marked frame, before thighs as grey as it: there its width is not known, and any
//! that a bar can have will do. What is known of its looks is given up where it is not found for some frames.
//!
//! It assumes that both ends are in the picture on the frame that was marked, that no other bar as long and as bright comes where the
//! bar is expected, and that no other thing of a bar's width comes into the picture while it is lost.

use nalgebra::Vector2;

use crate::geometry::ImagePoint;

use super::bar::{BarFound, BarNear, BarPoint, NoBar, find_bar, find_bar_near};
use super::bar_column::{BarSought, bar_stretches};
use super::carry::SCALE_AT_PX;
use super::mark_state::MarkState;
use super::plane::Plane;
use super::pyramid::Pyramid;
use super::strip::read;

/// Places beside the expected one at which a bar is looked for, in steps of so many px: the search around one reaches to the next.
const ASIDE_STEP_PX: f64 = 12.0;
/// The sharpest change of speed that is looked for in the frame after one in which the bar was seen, and in later ones, in steps.
const ASIDE_STEPS: [i8; 2] = [1, 2];
/// Places at which a lost bar was seen before, and is looked for in each frame.
const PLACES_A_FRAME: usize = 3;
/// A place is kept where no other within this is, px.
const PLACES_APART_PX: f64 = 10.0;
/// From one frame to the next a bar changes its length by no more than this share: where arms of 0.6 m turn by 150 deg a second, 2 m
/// before the camera, it comes nearer by 1 % in a thirtieth of a second.
const LENGTH_STEP: f64 = 0.01;
/// And by no more than this since it was marked: with the arms straight ahead it is nearer by a quarter at 3 m.
const LENGTH_RANGE: [f64; 2] = [0.6, 1.6];
/// And by so much more as it is seen, px at a long side of [`SCALE_AT_PX`]: blur moves its ends.
const LENGTH_PX: f64 = 6.0;
/// It is as wide as it was marked to within these shares, as its length is to that on the marked frame.
const WIDTH_RANGE: [f64; 2] = [0.8, 1.3];
/// A part of it that light and shade leave is as wide as this share of it at the least.
const STRIP_RATIO: f64 = 0.4;
/// What reading adds to half a width, px at a long side of [`SCALE_AT_PX`].
const WIDTH_PX: f64 = 0.8;
/// Half the width of any bar in its lengths, at the least and at the most: from 12 mm thick and 1.5 m long to 50 mm and 1 m (common
/// practice).
const WIDTH_OF_LENGTH: [f64; 2] = [0.004, 0.025];
/// Stretches that may be the bar lie apart by this, px at a long side of [`SCALE_AT_PX`].
const STRETCHES_APART_PX: f64 = 16.0;
/// From one frame to the next it goes no farther than this, in its lengths: arms of half its length that turn by 150 deg a second, at
/// 15 frames a second.
const FARTHEST_STEP: f64 = 0.09;
/// Away from where it was marked is so far, in its lengths.
const AWAY_RATIO: f64 = 0.2;
/// Standard deviation of its ends in its lengths where it was found anywhere, as long as it did not go away from there: a hand, or a
/// ground as grey, hides a fifth of it at one end (common practice, no source).
const FOUND_SD_RATIO: f64 = 0.1;
/// How a bar looks is settled once its width was the same to this share, in so many of the last so many frames.
const ALIKE_RATIO: f64 = 0.1;
const ALIKE: usize = 6;
const ALIKE_OF: usize = 8;
/// The length of a stretch is off by this share of it, read coarsely.
const STRETCH_OFF: f64 = 0.07;
/// Share of the way to the next frame for which the shutter is open at the most: a bar that moves looks as wide as that way. A phone
/// indoors opens it for 20 ms of 33 (common practice).
const OPEN_SHARE: f64 = 0.6;
/// And where it is found in the picture strays by this share of that way: light on one side of a bar outlasts the other in the blur. In
/// rendered raises it is off by up to 0.3 of it.
const BLUR_SD_RATIO: f64 = 0.3;
/// What arms may turn by in a frame in which it is not seen, deg: 90 deg in a second.
const UNSEEN_TURN_DEG: f64 = 3.0;
/// Standard deviation that no end found in this way is better than, px in each direction. In 24 rendered clips from the front ends err
/// by 2.4 and 2.9 px rms, most of it at rest before a ground as grey as the bar, where its edges say nothing of that: an end is never
/// told as sure.
const FOLLOWED_SD_PX: f64 = 2.0;
/// The grey value in its middle changes by no more than this from frame to frame: light, and blur over another ground.
const GREY_STEP: f64 = 30.0;
/// And by so much since it was marked.
const GREY_RANGE: f64 = 70.0;
/// That of a part of its width, which is lighter or darker than the whole, by so much.
const STRIP_GREY_RANGE: f64 = 50.0;
/// Places along the bar at which its grey value is read.
const GREY_PLACES: u16 = 96;
/// For so many frames the speed of a bar that is not found tells where it should be, and its length may have changed since.
const FRAMES_MAX: u32 = 4;
/// How long an arm is in lengths of the bar (common practice: a bar of 1.2 m).
const ARM_OF_BAR: f64 = 0.5;
/// What is left of its speed in a frame in which it is not found.
const SLOWING: f64 = 0.8;
/// An end that is covered for so many frames is known as badly as after one in which the bar was not found.
const COVERED_A_FRAME: u32 = 30;
/// An end that is covered is told by the other one and the length, which changes by no more than this share in all.
const COVERED_SHARE_MAX: f64 = 0.1;

/// A bar that is followed.
pub(super) struct FollowedBar {
    /// The frame that it was marked on: what is the same there is not the bar elsewhere.
    reference: Plane,
    /// How it lay on that frame.
    start: [Vector2<f64>; 2],
    /// How it looked where it was marked; where it was not surely seen there, how it looks away from there, once that is settled.
    known: Option<Look>,
    /// Whether that is settled away from where it was marked: clothes as grey as the bar there can make it look wider or narrower.
    is_settled: bool,
    /// How it looked lately, away from where it was marked, as long as that is not settled.
    lately: Vec<Look>,
    /// How it looked when it was seen last; until then, as bars do.
    last: Look,
    /// Whether it was seen yet.
    is_seen: bool,
    /// Where its middle was when it was found anywhere, as long as its length is not borne out away from there.
    doubted_at: Option<Vector2<f64>>,
    /// The last step of each end, px.
    steps: [Vector2<f64>; 2],
    /// Frames since it was seen.
    unseen: u32,
    /// Frames since each end was seen itself.
    covered: [u32; 2],
    /// Where it was seen, each apart from the others.
    places: Vec<Look>,
    /// Which of them is looked at next.
    next_place: usize,
}

/// How a bar looks in a frame.
#[derive(Clone, Copy)]
struct Look {
    ends: [Vector2<f64>; 2],
    half_width_px: f64,
    /// Grey value along its middle.
    grey: f64,
    /// Whether a part of its width alone was seen.
    is_strip: bool,
}

impl Look {
    fn length_px(&self) -> f64 {
        (self.ends[1] - self.ends[0]).norm()
    }

    fn middle(&self) -> Vector2<f64> {
        0.5 * (self.ends[0] + self.ends[1])
    }

    fn across(&self) -> Vector2<f64> {
        let along = (self.ends[1] - self.ends[0]) / self.length_px();
        Vector2::new(-along.y, along.x)
    }
}

/// Where a bar is looked for.
struct Expected {
    ends: [Vector2<f64>; 2],
    length_px: f64,
    /// Frames in which its length may have changed since it was that.
    frames: u32,
    grey: f64,
    /// Whether it was seen in the frame before, so that one of its ends suffices.
    is_next: bool,
    /// Whether a part of its width alone is looked for: what light and shade leave of it before a ground as grey.
    is_strip: bool,
}

impl Expected {
    /// By how much it may be longer or shorter than it was, px.
    fn longer_px(&self, scale: f64) -> f64 {
        LENGTH_STEP * self.length_px * f64::from(self.frames.min(FRAMES_MAX)) + LENGTH_PX * scale
    }
}

impl FollowedBar {
    /// Takes the bar between two marks (px). Where it is not surely found there, before a ground as grey, it is looked for in the
    /// frames to come, and is not known until it is found; `None` where the marks are too near each other for a bar.
    pub(super) fn start(picture: &Pyramid, marked: [ImagePoint; 2]) -> Option<Self> {
        let bar = match find_bar(picture, marked) {
            Err(NoBar::Short { .. }) => return None,
            found => found.ok(),
        };
        let known = bar.and_then(|bar| first_look(picture.picture(), &bar, marked));
        let last = known.unwrap_or_else(|| {
            let ends = marked.map(vector);
            let half_width_px = WIDTH_OF_LENGTH.iter().sum::<f64>() / 2.0 * (ends[1] - ends[0]).norm();
            Look { ends, half_width_px, grey: 0.0, is_strip: false }
        });
        Some(Self {
            reference: picture.picture().clone(),
            start: last.ends,
            known,
            is_settled: false,
            lately: Vec::new(),
            last,
            is_seen: known.is_some(),
            doubted_at: None,
            steps: [Vector2::zeros(); 2],
            unseen: 0,
            covered: [0; 2],
            places: known.into_iter().collect(),
            next_place: 0,
        })
    }

    /// Whether it was seen yet.
    pub(super) const fn is_seen(&self) -> bool {
        self.is_seen
    }

    /// Where its ends are, or should be, px.
    pub(super) fn expected_ends(&self) -> [ImagePoint; 2] {
        self.predicted().map(point)
    }

    /// About how far the arms turned since it was marked, rad: it rose by so much in lengths of arms that are half as long as it. While it is
    /// not seen they may turn on.
    pub(super) fn turn_rad(&self) -> f64 {
        let start = Look { ends: self.start, ..self.last };
        let risen_px = (self.last.middle() - start.middle()).dot(&start.across()).abs();
        let unseen_rad = f64::from(self.unseen) * UNSEEN_TURN_DEG.to_radians();
        (risen_px / (ARM_OF_BAR * start.length_px()) + unseen_rad).min(std::f64::consts::PI)
    }

    fn predicted(&self) -> [Vector2<f64>; 2] {
        let frames = i32::try_from(self.unseen.min(FRAMES_MAX)).unwrap_or(i32::MAX);
        // the sum of what is left of the speed in each frame since
        let ratio = (1.0 - SLOWING.powi(frames + 1)) / (1.0 - SLOWING);
        [0, 1].map(|end| self.last.ends[end] + self.steps[end] * ratio)
    }

    /// Goes on to the next frame, and says how it stands with its ends.
    pub(super) fn advance(&mut self, picture: &Pyramid) -> [MarkState; 2] {
        let (width, height) = picture.picture().size();
        let scale = width.max(height) as f64 / SCALE_AT_PX;
        let candidates = if self.is_seen { self.candidates(scale) } else { Vec::new() };
        let near = candidates.into_iter().find_map(|expected| self.found(picture, &expected, scale));
        let is_near = near.is_some();
        let Some((look, ends)) = near.or_else(|| self.found_anywhere(picture, scale)) else {
            self.unseen = self.unseen.saturating_add(1);
            self.give_up_known();
            let is_in = |at: &Vector2<f64>| picture.picture().contains(at.x, at.y);
            let is_out = !self.predicted().iter().all(is_in);
            return [if is_out { MarkState::OutOfPicture } else { MarkState::Lost }; 2];
        };
        self.is_seen = true;
        let frames = f64::from(self.unseen.saturating_add(1));
        let way_px = (look.middle() - self.last.middle()).dot(&look.across()).abs() / frames;
        let is_sharp = 0.5 * OPEN_SHARE * way_px <= ALIKE_RATIO * look.half_width_px;
        if is_sharp && !look.is_strip && ends.iter().all(Option::is_some) {
            self.settle(look);
        }
        let strip_px = if look.is_strip { 0.5 * self.known.unwrap_or(look).half_width_px } else { 0.0 };
        let more_px = (BLUR_SD_RATIO * way_px).hypot(strip_px).hypot(self.doubt_px(&look, &ends, is_near));
        self.steps = [0, 1].map(|end| (look.ends[end] - self.last.ends[end]) / frames);
        // a part of its width says nothing of how bright the whole is
        self.last = Look { grey: if look.is_strip { self.last.grey } else { look.grey }, ..look };
        self.unseen = 0;
        let is_apart = |place: &Look| (place.middle() - look.middle()).norm() > PLACES_APART_PX * scale;
        if !look.is_strip && ends.iter().all(Option::is_some) && self.places.iter().all(is_apart) {
            self.places.push(look);
        }
        [0, 1].map(|end| match ends[end] {
            Some(seen) => {
                self.covered[end] = 0;
                // what the edges say, what blur hides of them, and what part of the bar it is, have different causes
                let sd_px = seen.covariance_px2.symmetric_eigenvalues().max().sqrt().hypot(more_px);
                let sd_px = sd_px.max(FOLLOWED_SD_PX * scale);
                MarkState::Followed { point: seen.point, sd_px }
            }
            None => {
                self.covered[end] = self.covered[end].saturating_add(1);
                let share = (LENGTH_STEP / 3.0 * f64::from(self.covered[end])).min(COVERED_SHARE_MAX);
                let sd_px = (share * look.length_px()).max(scale).hypot(more_px);
                MarkState::Hidden { point: point(look.ends[end]), sd_px }
            }
        })
    }

    /// What an end may be off by, px, where the bar was found anywhere: its length is not known then, since a line of the ground may go on
    /// where it ends or cover its end. Away from there both its ends tell it.
    fn doubt_px(&mut self, look: &Look, ends: &[Option<BarPoint>; 2], is_near: bool) -> f64 {
        if !is_near {
            self.doubted_at = Some(look.middle());
        }
        let is_away = |at: &Vector2<f64>| (look.middle() - at).norm() >= AWAY_RATIO * look.length_px();
        if ends.iter().all(Option::is_some) && self.doubted_at.as_ref().is_some_and(is_away) {
            self.doubted_at = None;
        }
        self.doubted_at.map_or(0.0, |_| FOUND_SD_RATIO * look.length_px())
    }

    /// Takes how it looks for known, once it looked alike often enough before another ground than that on which it was marked: there
    /// what was found first may be the bar with a line of the ground.
    fn settle(&mut self, look: Look) {
        let start = 0.5 * (self.start[0] + self.start[1]);
        if self.known.is_some() || (look.middle() - start).norm() < AWAY_RATIO * look.length_px() {
            return;
        }
        self.lately.push(look);
        if self.lately.len() < ALIKE_OF {
            return;
        }
        let ratio = |look: &Look| look.half_width_px / look.length_px();
        let mut by_width = self.lately.clone();
        by_width.sort_by(|a, b| ratio(a).total_cmp(&ratio(b)));
        let middle = by_width[ALIKE_OF / 2];
        let is_alike = |other: &&Look| (ratio(other) / ratio(&middle) - 1.0).abs() <= ALIKE_RATIO;
        if by_width.iter().filter(is_alike).count() >= ALIKE {
            self.known = Some(middle);
            self.is_settled = true;
        }
        self.lately.remove(0);
    }

    /// Takes how it looks for not known, where it is not found for some frames: what was taken for its edges before may have been one
    /// of them and a fold beside it, or a shade on it.
    fn give_up_known(&mut self) {
        if self.known.is_none() || self.unseen < FRAMES_MAX {
            return;
        }
        self.known = None;
        self.is_settled = false;
        self.lately.clear();
        self.last.half_width_px = WIDTH_OF_LENGTH.iter().sum::<f64>() / 2.0 * self.last.length_px();
    }

    /// Where it is looked for, the likeliest first.
    fn candidates(&mut self, scale: f64) -> Vec<Expected> {
        let ends = self.predicted();
        let across = self.last.across();
        let is_next = self.unseen == 0;
        let covered = self.covered[0].max(self.covered[1]);
        let expected = |aside_px: f64| Expected {
            ends: ends.map(|end| end + across * aside_px),
            length_px: self.last.length_px(),
            frames: self.unseen.saturating_add(1).saturating_add(covered / COVERED_A_FRAME),
            grey: self.last.grey,
            is_next,
            is_strip: false,
        };
        let mut all = vec![expected(0.0), Expected { is_strip: true, is_next: false, ..expected(0.0) }];
        for step in 1..=ASIDE_STEPS[usize::from(!is_next)] {
            let aside_px = f64::from(step) * ASIDE_STEP_PX * scale;
            all.extend([expected(-aside_px), expected(aside_px)]);
        }
        if !is_next {
            let count = self.places.len();
            for _ in 0..count.min(PLACES_A_FRAME) {
                let place = self.places[self.next_place % count];
                self.next_place = (self.next_place + 1) % count;
                let (length_px, grey) = (place.length_px(), place.grey);
                all.push(Expected { ends: place.ends, length_px, frames: 1, grey, is_next: false, is_strip: false });
            }
        }
        all
    }

    /// The bar anywhere along its way, with both its ends.
    fn found_anywhere(&self, picture: &Pyramid, scale: f64) -> Option<(Look, [Option<BarPoint>; 2])> {
        let frames = f64::from(self.unseen.saturating_add(1));
        let longer_px = LENGTH_STEP * self.last.length_px() * frames + LENGTH_PX * scale;
        let [shortest_px, longest_px] = LENGTH_RANGE.map(|ratio| ratio * (self.start[1] - self.start[0]).norm());
        let length_px =
            [(self.last.length_px() - longer_px).max(shortest_px), (self.last.length_px() + longer_px).min(longest_px)];
        let sought = BarSought {
            ends: self.last.ends,
            half_width_px: self.known.unwrap_or(self.last).half_width_px,
            length_px: [length_px[0] * (1.0 - STRETCH_OFF), length_px[1] * (1.0 + STRETCH_OFF)],
            apart_px: STRETCHES_APART_PX * scale,
        };
        bar_stretches(picture.picture(), &self.reference, &sought).into_iter().find_map(|ends| {
            let expected = Expected {
                ends,
                length_px: (ends[1] - ends[0]).norm(),
                frames: FRAMES_MAX,
                grey: self.last.grey,
                is_next: false,
                is_strip: false,
            };
            let found = self.found(picture, &expected, scale);
            found.filter(|(look, _)| {
                let way_px = (look.middle() - self.last.middle()).norm();
                (length_px[0]..=length_px[1]).contains(&look.length_px())
                    && way_px <= FARTHEST_STEP * frames * look.length_px() + STRETCHES_APART_PX * scale
            })
        })
    }

    /// Half the width that a bar can have where it is expected, from and to, px.
    fn half_width_px(&self, expected: &Expected, scale: f64) -> [f64; 2] {
        let way_px = self.steps.iter().map(|step| step.dot(&self.last.across()).abs()).fold(0.0, f64::max);
        let frames = i32::try_from(self.unseen).unwrap_or(i32::MAX);
        let blurred_px = 0.5 * OPEN_SHARE * way_px * SLOWING.powi(frames);
        let Some(known) = self.known else {
            let [narrowest_px, widest_px] = WIDTH_OF_LENGTH.map(|ratio| ratio * expected.length_px);
            return [narrowest_px, widest_px.max(blurred_px)];
        };
        let half_px = known.half_width_px * expected.length_px / known.length_px();
        let reading_px = WIDTH_PX * scale;
        let narrowest_px =
            if expected.is_strip { STRIP_RATIO * half_px } else { WIDTH_RANGE[0] * half_px - reading_px };
        let widest_px = if self.is_settled { 0.0 } else { WIDTH_OF_LENGTH[1] * expected.length_px };
        [narrowest_px, widest_px.max(WIDTH_RANGE[1] * half_px).max(blurred_px) + reading_px]
    }

    /// The bar near where it is expected, with its ends as far as they were seen; `None` where there is none that is surely it.
    fn found(&self, picture: &Pyramid, expected: &Expected, scale: f64) -> Option<(Look, [Option<BarPoint>; 2])> {
        let rough = expected.ends.map(point);
        let [narrowest_px, widest_px] = self.half_width_px(expected, scale);
        let near = BarNear { half_width_px: [narrowest_px, widest_px].map(|px| px / scale), ..BarNear::ANY };
        let bar = find_bar_near(picture, rough, &near).ok()?;
        if !(narrowest_px..=widest_px + WIDTH_PX * scale).contains(&bar.half_width_px) {
            return None;
        }
        let seen = Self::seen_ends(&bar, expected, scale);
        let ends = self.both_ends(&bar, &seen, expected)?;
        let grey = grey_along(picture.picture(), ends)?;
        let look = Look { ends, half_width_px: bar.half_width_px, grey, is_strip: expected.is_strip };
        self.is_it(&look, expected, scale).then_some((look, seen))
    }

    /// The ends of a bar that was found which are where they can be.
    fn seen_ends(bar: &BarFound, expected: &Expected, scale: f64) -> [Option<BarPoint>; 2] {
        let along = (expected.ends[1] - expected.ends[0]) / expected.length_px;
        let far_px = expected.longer_px(scale);
        [0, 1].map(|end| {
            bar.ends[end].filter(|seen| along.dot(&(vector(seen.point) - expected.ends[end])).abs() <= far_px)
        })
    }

    /// Both ends of a bar: one that is covered is as far out as the other one.
    fn both_ends(
        &self,
        bar: &BarFound,
        seen: &[Option<BarPoint>; 2],
        expected: &Expected,
    ) -> Option<[Vector2<f64>; 2]> {
        let [from, to] = bar.axis.map(|axis| vector(axis.point));
        let along = (to - from).try_normalize(1e-9)?;
        match seen.map(|end| end.map(|end| vector(end.point))) {
            [Some(left), Some(right)] => Some([left, right]),
            // a bar that comes nearer grows to both sides
            [Some(left), None] if expected.is_next => {
                let out_px = along.dot(&(self.last.ends[0] - left));
                Some([left, left + along * (self.last.length_px() + 2.0 * out_px)])
            }
            [None, Some(right)] if expected.is_next => {
                let out_px = along.dot(&(right - self.last.ends[1]));
                Some([right - along * (self.last.length_px() + 2.0 * out_px), right])
            }
            _ => None,
        }
    }

    fn is_it(&self, look: &Look, expected: &Expected, scale: f64) -> bool {
        let longer = look.length_px() / (self.start[1] - self.start[0]).norm();
        let is_as_long = (look.length_px() - expected.length_px).abs() <= expected.longer_px(scale)
            && (LENGTH_RANGE[0]..=LENGTH_RANGE[1]).contains(&longer);
        let is_as_bright = self.known.is_none_or(|known| {
            let changed = (look.grey - known.grey).abs();
            if look.is_strip {
                return changed <= STRIP_GREY_RANGE;
            }
            let step = (look.grey - expected.grey).abs();
            step <= GREY_STEP * f64::from(expected.frames.min(2)) && changed <= GREY_RANGE
        });
        is_as_long && is_as_bright
    }
}

/// How a bar looks that was found between marks (px); `None` where it is not surely that: without an end, or not as wide as bars are.
fn first_look(plane: &Plane, bar: &BarFound, marked: [ImagePoint; 2]) -> Option<Look> {
    let [from, to] = bar.axis.map(|axis| vector(axis.point));
    let along = (to - from).try_normalize(1e-9)?;
    let ends = [0, 1].map(|end| match bar.ends[end] {
        Some(seen) => vector(seen.point),
        // an end that is not seen is where it was marked, beside the axis
        None => from + along * along.dot(&(vector(marked[end]) - from)),
    });
    let width_ratio = bar.half_width_px / (ends[1] - ends[0]).norm();
    let is_bar =
        bar.ends.iter().any(Option::is_some) && (WIDTH_OF_LENGTH[0]..=WIDTH_OF_LENGTH[1]).contains(&width_ratio);
    let grey = grey_along(plane, ends).filter(|_| is_bar)?;
    Some(Look { ends, half_width_px: bar.half_width_px, grey, is_strip: false })
}

/// The grey value along the middle of a bar: the median, so that hands on it do not count. `None` where it is not on the picture.
fn grey_along(plane: &Plane, [from, to]: [Vector2<f64>; 2]) -> Option<f64> {
    let mut values: Vec<f64> = (0..GREY_PLACES)
        .filter_map(|place| {
            let share = (f64::from(place) + 0.5) / f64::from(GREY_PLACES);
            read(plane, from + (to - from) * share)
        })
        .collect();
    if values.len() * 2 < usize::from(GREY_PLACES) {
        return None;
    }
    let middle = values.len() / 2;
    let (_, median, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    Some(*median)
}

const fn vector(point: ImagePoint) -> Vector2<f64> {
    Vector2::new(point.x, point.y)
}

fn point(at: Vector2<f64>) -> ImagePoint {
    ImagePoint::new(at.x, at.y)
}

#[cfg(test)]
mod tests;
