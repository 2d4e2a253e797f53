//! Marks of one reach brought to another reach by image matching.
//!
//! A mark that is carried has the error of the mark it comes from, and so drops out of the difference between the two. That
//! holds only if it lands on the same spot of cloth or skin: so every patch is found both ways, must be alike, and must be
//! the only one alike nearby. What does not pass is left to the person. A surface that turned out of sight (the elbow and the
//! forearm when the arm turns) rarely passes, and should not.
//!
//! The two pictures show one person in the same clothes and room, in nearly the same pose, through a camera that hardly moved.
//! That they do is not checked beyond the likeness of the patches and of the room.

mod trunk;

use std::cell::OnceCell;
use std::fmt;

use image::GrayImage;
use nalgebra::{Matrix2, Vector2};

use crate::geometry::{ImagePoint, Landmark, Side};

use super::affine::{Aligned, Patch, Warp, scale_of};
use super::pyramid::Pyramid;
use super::room::{PictureMotion, picture_motion};
use trunk::TrunkMotion;

/// Lengths in px hold for pictures with a long side of this many px and are scaled with it.
pub(crate) const SCALE_AT_PX: f64 = 1280.0;
/// Pictures this many times as large are halved first: what the lens and the sensor of a phone show of skin and cloth is coarser than
/// their px, and the search takes sixteen times as long on a picture twice as large.
const SCALE_MAX: f64 = 2.0;
/// How often at the most.
const LARGEST_SCALE_HALVINGS: usize = 4;
/// Levels of the pyramids: the search begins on the coarsest.
const LEVELS: usize = 3;
/// Radius of the patch that is aligned in the end, px. Common practice: some 5 cm on the body at 3 m.
const PATCH_PX: f64 = 16.0;
/// Radius of the wider patches that find the neighbourhood, on the coarsest level and on the one after, px.
const SEARCH_PATCH_PX: [f64; 2] = [36.0, 24.0];
/// How far the trunk's marks may have moved, px: twice the shift between reaches that is usual at 3 m.
const TRUNK_SEARCH_PX: f64 = 44.0;
/// How far a mark of the arm may be from where its arm's turn puts it, px.
const ARM_SEARCH_PX: f64 = 14.0;
/// Turns of the arm that are tried, deg to either side, and the step between them.
const ARM_TURNS_DEG: (f64, f64) = (14.0, 2.0);
/// Turns of the trunk that are tried, deg to either side, and the step between them.
const TRUNK_TURNS_DEG: (f64, f64) = (4.0, 4.0);
/// Patches less alike than this are not the same spot.
const LIKENESS_MIN: f64 = 0.8;
/// Room that has less of its patch left than this is hidden.
const ROOM_LIKENESS_MIN: f64 = 0.6;
/// A second place is a rival if it is alike up to this share of the best one's likeness, and farther off than
/// [`RIVAL_PX`].
const RIVAL_RATIO: f64 = 0.97;
/// Places nearer than this to the best one are that one, px.
const RIVAL_PX: f64 = 10.0;
/// The way back may miss by this much, px.
const BACK_MAX_PX: f64 = 0.7;
/// Standard deviation that no carried mark is better than, px: surfaces are not flat, and light is not even.
const OWN_SD_PX: f64 = 0.15;
/// What each degree of the patch's turn adds to that, px: a turned patch shows a little more of one side.
const TURN_SD_PX_PER_DEG: f64 = 0.05;
/// The distance of an arm's mark from its shoulder may change by this share: a stiff arm seen from nearly the same side.
const ARM_LENGTH_CHANGE_MAX: f64 = 0.05;
/// An arm's mark may turn this much more or less about the shoulder than the bar did, deg.
const ARM_AND_BAR_DEG: (f64, f64) = (3.0, 1.0);
/// Standard deviation of a room's mark that went with the room, px.
const ROOM_SD_PX: f64 = 0.1;

/// A mark that was carried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Carried {
    /// Where it is in the other picture, px.
    pub point: ImagePoint,
    /// Covariance of the carrying alone, px²: the error of the mark it comes from is not in it.
    pub covariance_px2: Matrix2<f64>,
    /// How alike the two patches are, 1 at the most; of a bar's end that no patch led to, the share of the bar's length that shows
    /// both edges.
    pub likeness: f64,
}

/// Why a mark is left to the person.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NotCarried {
    /// It is too near the edge of one of the pictures.
    OutOfPicture,
    /// Nothing near where it must be is alike; the best likeness that was found.
    NoMatch {
        /// 1 at the most.
        likeness: f64,
    },
    /// Two places are alike.
    Ambiguous {
        /// How far apart they are, px.
        apart_px: f64,
    },
    /// The way back ends elsewhere.
    NoWayBack {
        /// How far off, px.
        back_px: f64,
    },
    /// A mark of the head, which turns and nods by itself.
    HeadTurns,
    /// A mark of an arm that is turned the other way: another side of it is seen, and what looks alike is another spot.
    OtherSide,
    /// The shoulder of that arm was not found, or of an elbow neither the bar's end nor the wrist: nothing tells how the arm turned.
    NoArm,
    /// It would have slid along the arm.
    Slid {
        /// How much farther from the shoulder it would be, px.
        by_px: f64,
    },
    /// The room did not show how the camera moved.
    NoRoom,
}

impl fmt::Display for NotCarried {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfPicture => write!(f, "too near the picture's edge"),
            Self::NoMatch { likeness } => write!(f, "nothing alike there, {:.0} % at best", 100.0 * likeness),
            Self::Ambiguous { apart_px } => write!(f, "two places alike, {apart_px:.0} px apart"),
            Self::NoWayBack { back_px } if back_px.is_finite() => write!(f, "the way back misses by {back_px:.1} px"),
            Self::NoWayBack { .. } => write!(f, "there is no way back"),
            Self::HeadTurns => write!(f, "the head turns by itself"),
            Self::OtherSide => write!(f, "another side of the arm is seen"),
            Self::NoArm => write!(f, "nothing tells how the arm turned"),
            Self::Slid { by_px } => write!(f, "it would slide along the arm by {by_px:.0} px"),
            Self::NoRoom => write!(f, "the room does not show how the camera moved"),
        }
    }
}

/// What became of the marks.
#[derive(Debug, Clone, PartialEq)]
pub struct Carry {
    /// How the camera moved; `None` where the room does not tell.
    pub camera: Option<PictureMotion>,
    /// Each mark, in the order given.
    pub marks: Vec<(Landmark, Result<Carried, NotCarried>)>,
}

/// What two pictures have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ArmTurn {
    /// The shoulders are turned alike: the same side of the arms is seen.
    Same,
    /// One is turned in and the other out.
    Other,
}

/// Carries marks (px of `from`) to the picture `to`, which must have the same size.
///
/// # Panics
/// If the pictures differ in size.
#[must_use]
pub fn carry_marks(from: &GrayImage, to: &GrayImage, arms: ArmTurn, marks: &[(Landmark, ImagePoint)]) -> Carry {
    carry_marks_beside(from, to, arms, marks, &[])
}

/// As [`carry_marks`], where it is known of some marks where they are in the other picture, which helps to find the others.
pub(crate) fn carry_marks_beside(
    from: &GrayImage,
    to: &GrayImage,
    arms: ArmTurn,
    marks: &[(Landmark, ImagePoint)],
    known: &[(Landmark, Carried)],
) -> Carry {
    assert_eq!(from.dimensions(), to.dimensions(), "marks are carried between pictures of one size");
    let scale = f64::from(from.width().max(from.height())) / SCALE_AT_PX;
    let halvings = (0..LARGEST_SCALE_HALVINGS).take_while(|halvings| scale * scale_of(*halvings) >= SCALE_MAX).count();
    let shrink = scale_of(halvings);
    let pyramid = |image: &GrayImage| Pyramid::of(image, LEVELS + halvings).coarser(halvings);
    let pictures = Pictures { from: pyramid(from), to: pyramid(to), scale: scale * shrink };
    let marks: Vec<(Landmark, ImagePoint)> =
        marks.iter().map(|(landmark, point)| (*landmark, enlarged(*point, shrink))).collect();
    let known: Vec<(Landmark, Carried)> =
        known.iter().map(|(landmark, carried)| (*landmark, carried.enlarged(shrink))).collect();
    let carry = carry_between(&pictures, arms, &marks, &known);
    let results = carry.marks.into_iter().map(|(landmark, result)| {
        let result = result.map(|carried| carried.enlarged(1.0 / shrink)).map_err(|why| why.enlarged(1.0 / shrink));
        (landmark, result)
    });
    Carry { camera: carry.camera.map(|camera| camera.enlarged(1.0 / shrink)), marks: results.collect() }
}

fn enlarged(point: ImagePoint, by: f64) -> ImagePoint {
    ImagePoint::new(by * point.x, by * point.y)
}

impl Carried {
    /// The same in a picture so many times as large.
    fn enlarged(self, by: f64) -> Self {
        Self { point: enlarged(self.point, by), covariance_px2: self.covariance_px2 * by.powi(2), ..self }
    }
}

impl NotCarried {
    /// The same in a picture so many times as large.
    fn enlarged(self, by: f64) -> Self {
        match self {
            Self::Ambiguous { apart_px } => Self::Ambiguous { apart_px: by * apart_px },
            Self::NoWayBack { back_px } => Self::NoWayBack { back_px: by * back_px },
            Self::Slid { by_px } => Self::Slid { by_px: by * by_px },
            Self::OutOfPicture
            | Self::NoMatch { .. }
            | Self::HeadTurns
            | Self::OtherSide
            | Self::NoArm
            | Self::NoRoom => self,
        }
    }
}

fn carry_between(
    pictures: &Pictures,
    arms: ArmTurn,
    marks: &[(Landmark, ImagePoint)],
    known: &[(Landmark, Carried)],
) -> Carry {
    let camera = picture_motion(&pictures.from, &pictures.to, pictures.scale);
    let mut carrier = Carrier { pictures, camera, arms, found: Vec::new(), chest: OnceCell::new() };
    let marked = |wanted: Landmark| marks.iter().find(|(landmark, _)| *landmark == wanted).map(|(_, point)| *point);
    let mut order: Vec<usize> = (0..marks.len()).collect();
    order.sort_by_key(|index| rank(marks[*index].0));
    let mut results = vec![Err(NotCarried::OutOfPicture); marks.len()];
    for index in order {
        let (landmark, point) = marks[index];
        let there = known.iter().find(|(other, _)| *other == landmark).map(|(_, carried)| *carried);
        let mut result = there.map_or_else(|| carrier.carry(landmark, point), Ok);
        if let (Err(_), Landmark::Shoulder(side)) = (&result, landmark) {
            let [hip, other] = [Landmark::Hip(side), Landmark::Shoulder(side.other())].map(marked);
            let on_trunk = match (hip, other) {
                (Some(hip), _) => carrier.carry_on_trunk(point, hip),
                (None, Some(other)) => carrier.carry_on_chest(point, other),
                (None, None) => None,
            };
            result = on_trunk.map_or(result, Ok);
        }
        if let Ok(carried) = &result {
            carrier.found.push((landmark, point, carried.point));
        }
        results[index] = result;
    }
    let is_bar_known = known.iter().any(|(landmark, _)| matches!(landmark, Landmark::BarEnd(_)));
    let at = |side| marks.iter().position(|(landmark, _)| *landmark == Landmark::BarEnd(side));
    if let (false, Some(left), Some(right)) = (is_bar_known, at(Side::Left), at(Side::Right)) {
        let ends = [marks[left].1, marks[right].1];
        let on_bar = match (results[left], results[right]) {
            (Ok(carried_left), Ok(carried_right)) => pictures.carry_on_bar(ends, [carried_left, carried_right]),
            (Err(_), Err(_)) => pictures.look_for_bar(ends, camera.as_ref()),
            _ => None,
        };
        if let Some(on_bar) = on_bar {
            [results[left], results[right]] = on_bar.map(Ok);
        }
    }
    Carry { camera, marks: marks.iter().map(|(landmark, _)| *landmark).zip(results).collect() }
}

/// Marks that others lean on come first.
const fn rank(landmark: Landmark) -> u8 {
    match landmark {
        Landmark::Hip(_) => 0,
        Landmark::Shoulder(_) => 1,
        Landmark::BarEnd(_) => 2,
        Landmark::Wrist(_) => 3,
        _ => 4,
    }
}

/// Two pictures that marks are carried between.
pub(super) struct Pictures {
    pub(super) from: Pyramid,
    pub(super) to: Pyramid,
    /// Px of these pictures for each px at [`SCALE_AT_PX`].
    pub(super) scale: f64,
}

struct Carrier<'a> {
    pictures: &'a Pictures,
    camera: Option<PictureMotion>,
    arms: ArmTurn,
    /// What was carried so far: landmark, from, to.
    found: Vec<(Landmark, ImagePoint, ImagePoint)>,
    /// How the chest moved, once it was looked for.
    chest: OnceCell<Option<TrunkMotion>>,
}

/// A place where a patch may be, and how far around it.
#[derive(Clone, Copy)]
struct Guess {
    warp: Warp,
    radius_px: f64,
}

impl Carrier<'_> {
    fn carry(&self, landmark: Landmark, point: ImagePoint) -> Result<Carried, NotCarried> {
        match landmark {
            Landmark::PlumbTop | Landmark::PlumbBottom | Landmark::Datum => self.carry_room(point),
            Landmark::Eye(_) | Landmark::Nose | Landmark::Chin => Err(NotCarried::HeadTurns),
            Landmark::Shoulder(_) | Landmark::Hip(_) => self.carry_body(point, &self.guesses_near(point)),
            Landmark::Elbow(_) | Landmark::Wrist(_) if self.arms == ArmTurn::Other => Err(NotCarried::OtherSide),
            Landmark::Elbow(side) | Landmark::Wrist(side) | Landmark::BarEnd(side) => {
                let pivot = self.pivot(side).ok_or(NotCarried::NoArm)?;
                let turns_rad = match landmark {
                    Landmark::BarEnd(_) => turns(0.0, ARM_TURNS_DEG),
                    // an elbow's outline looks alike along the arm
                    Landmark::Elbow(_) => turns(self.arm_turn_deg(side).ok_or(NotCarried::NoArm)?, ARM_AND_BAR_DEG),
                    _ => self
                        .arm_turn_deg(side)
                        .map_or_else(|| turns(0.0, ARM_TURNS_DEG), |turn_deg| turns(turn_deg, ARM_AND_BAR_DEG)),
                };
                // The bar goes round with the arm but hangs level in the hands.
                let is_turned = !matches!(landmark, Landmark::BarEnd(_));
                let carried = self.carry_body(point, &self.guesses_on_arm(point, pivot, turns_rad, is_turned))?;
                // A stiff arm keeps its length: what changed it slid along the arm.
                let before_px = (point.x - pivot.0.x).hypot(point.y - pivot.0.y);
                let after_px = (carried.point.x - pivot.1.x).hypot(carried.point.y - pivot.1.y);
                if (after_px / before_px - 1.0).abs() > ARM_LENGTH_CHANGE_MAX {
                    return Err(NotCarried::Slid { by_px: after_px - before_px });
                }
                Ok(carried)
            }
        }
    }

    /// How far the arm turned about its shoulder as its end of the bar shows, or its wrist, deg clockwise as seen.
    fn arm_turn_deg(&self, side: Side) -> Option<f64> {
        let (from, to) = self.pivot(side)?;
        let found = |wanted: Landmark| self.found.iter().find(|(landmark, ..)| *landmark == wanted);
        let (_, bar_from, bar_to) = found(Landmark::BarEnd(side)).or_else(|| found(Landmark::Wrist(side)))?;
        let before = Vector2::new(bar_from.x - from.x, bar_from.y - from.y);
        let after = Vector2::new(bar_to.x - to.x, bar_to.y - to.y);
        Some(before.perp(&after).atan2(before.dot(&after)).to_degrees())
    }

    /// A mark of the room goes where the room went; its own patch only has to be there still.
    fn carry_room(&self, point: ImagePoint) -> Result<Carried, NotCarried> {
        let camera = self.camera.ok_or(NotCarried::NoRoom)?;
        let scale = self.pictures.scale;
        let patch = Patch::take(&self.pictures.from, 0, point, PATCH_PX * scale).ok_or(NotCarried::OutOfPicture)?;
        let moved = camera.apply(point);
        let likeness = patch.likeness(&self.pictures.to, &Warp::shift_to(moved));
        if likeness < ROOM_LIKENESS_MIN {
            return Err(NotCarried::NoMatch { likeness });
        }
        let covariance_px2 = Matrix2::identity() * (ROOM_SD_PX * scale).powi(2);
        Ok(Carried { point: moved, covariance_px2, likeness })
    }

    /// Where a mark of the trunk may be.
    fn guesses_near(&self, point: ImagePoint) -> Vec<Guess> {
        let still = self.camera.map_or(point, |camera| camera.apply(point));
        let radius_px = TRUNK_SEARCH_PX * self.pictures.scale;
        turns(0.0, TRUNK_TURNS_DEG).map(|turn_rad| Guess { warp: Warp::turned(still, turn_rad), radius_px }).collect()
    }

    /// Where a mark of an arm may be that turns about the shoulder `pivot` (before, after); with `is_turned` its patch turns
    /// with it.
    fn guesses_on_arm(
        &self,
        point: ImagePoint,
        pivot: (ImagePoint, ImagePoint),
        turns_rad: impl Iterator<Item = f64>,
        is_turned: bool,
    ) -> Vec<Guess> {
        let arm = Vector2::new(point.x - pivot.0.x, point.y - pivot.0.y);
        turns_rad
            .map(|turn_rad| {
                let (sin, cos) = turn_rad.sin_cos();
                let place =
                    ImagePoint::new(pivot.1.x + cos * arm.x - sin * arm.y, pivot.1.y + sin * arm.x + cos * arm.y);
                let patch_turn_rad = if is_turned { turn_rad } else { 0.0 };
                Guess { warp: Warp::turned(place, patch_turn_rad), radius_px: ARM_SEARCH_PX * self.pictures.scale }
            })
            .collect()
    }

    /// The shoulder about which an arm turns, before and after: its own, else the other one.
    fn pivot(&self, side: Side) -> Option<(ImagePoint, ImagePoint)> {
        let of = |side| {
            self.found
                .iter()
                .find(|(landmark, ..)| *landmark == Landmark::Shoulder(side))
                .map(|(_, from, to)| (*from, *to))
        };
        of(side).or_else(|| of(side.other()))
    }

    fn carry_body(&self, point: ImagePoint, guesses: &[Guess]) -> Result<Carried, NotCarried> {
        let Pictures { from, to, scale } = self.pictures;
        let take =
            |level, radius_px: f64| Patch::take(from, level, point, radius_px * scale).ok_or(NotCarried::OutOfPicture);
        let coarsest = from.count() - 1;
        let found = self.search(&take(coarsest, SEARCH_PATCH_PX[0])?, coarsest, guesses)?;
        let middle = coarsest.min(1);
        let near = take(middle, SEARCH_PATCH_PX[1])?.align(to, &found, true).map_or(found, |aligned| aligned.warp);
        let fine = take(0, PATCH_PX)?;
        let aligned = fine
            .align(to, &near, true)
            .and_then(|rigid| fine.align(to, &rigid.warp, false).or(Some(rigid)))
            .ok_or_else(|| NotCarried::NoMatch { likeness: fine.likeness(to, &near).max(0.0) })?;
        if aligned.likeness < LIKENESS_MIN {
            return Err(NotCarried::NoMatch { likeness: aligned.likeness.max(0.0) });
        }
        let back_px = self.way_back(point, &aligned).ok_or(NotCarried::NoWayBack { back_px: f64::INFINITY })?;
        if back_px > BACK_MAX_PX * scale {
            return Err(NotCarried::NoWayBack { back_px });
        }
        let turn_deg = aligned.warp.turn.m21.atan2(aligned.warp.turn.m11).to_degrees().abs();
        // The alignment's own error, the surface's and the turned patch's come from different causes: their variances add.
        let own_sd_px = OWN_SD_PX.hypot(TURN_SD_PX_PER_DEG * turn_deg) * scale;
        let covariance_px2 = aligned.covariance_px2 + Matrix2::identity() * own_sd_px.powi(2);
        Ok(Carried { point: aligned.warp.middle, covariance_px2, likeness: aligned.likeness })
    }

    /// The place of the greatest likeness on the coarsest level.
    fn search(&self, patch: &Patch, level: usize, guesses: &[Guess]) -> Result<Warp, NotCarried> {
        let step_px = super::affine::scale_of(level).recip();
        let mut best: Option<(f64, Warp)> = None;
        let mut places = Vec::new();
        for guess in guesses {
            let steps = (guess.radius_px / step_px).ceil();
            let mut down = -steps;
            while down <= steps {
                let mut across = -steps;
                while across <= steps {
                    let middle =
                        ImagePoint::new(guess.warp.middle.x + across * step_px, guess.warp.middle.y + down * step_px);
                    let warp = Warp { middle, turn: guess.warp.turn };
                    let likeness = patch.likeness(&self.pictures.to, &warp);
                    places.push((likeness, middle));
                    if best.is_none_or(|(most, _)| likeness > most) {
                        best = Some((likeness, warp));
                    }
                    across += 1.0;
                }
                down += 1.0;
            }
        }
        let (likeness, warp) = best.ok_or(NotCarried::OutOfPicture)?;
        let rival = places
            .iter()
            .filter(|(other, _)| *other >= RIVAL_RATIO * likeness)
            .map(|(_, middle)| (middle.x - warp.middle.x).hypot(middle.y - warp.middle.y))
            .fold(0.0, f64::max);
        if rival > RIVAL_PX * self.pictures.scale {
            return Err(NotCarried::Ambiguous { apart_px: rival });
        }
        Ok(warp)
    }

    /// How far from `point` the patch around the place that was found ends when it is looked for in the first picture.
    fn way_back(&self, point: ImagePoint, aligned: &Aligned) -> Option<f64> {
        let Pictures { from, to, scale } = self.pictures;
        let back = Patch::take(to, 0, aligned.warp.middle, PATCH_PX * scale)?;
        let home = back.align(from, &aligned.warp.back(point)?, false)?;
        Some((home.warp.middle.x - point.x).hypot(home.warp.middle.y - point.y))
    }
}

/// Turns around one (deg) within a range (deg to either side, step), in rad.
fn turns(middle_deg: f64, (most_deg, step_deg): (f64, f64)) -> impl Iterator<Item = f64> {
    let mut turn_deg = -most_deg;
    std::iter::from_fn(move || {
        let here = turn_deg;
        turn_deg += step_deg;
        (here <= most_deg + 1e-9).then(|| (middle_deg + here).to_radians())
    })
}

#[cfg(test)]
mod tests;
