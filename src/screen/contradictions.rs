//! Marks that the pictures contradict: a spot was carried from one reach to others, and there the marks placed by hand are elsewhere.
//!
//! Marks of a landmark are on one spot where a spot that was carried from one to the other agrees with the mark there, or where two of
//! them lie alike from a spot that was carried to both. The spot on which most of them are is believed, and so is the only one on
//! which several are, if the others lie clearly apart: what was carried from it counts, and the fit outvotes a mark elsewhere. What was
//! carried from another spot counts for nothing, and where no spot is believed nothing does: which side is wrong cannot be told then,
//! and one that is off the body, or that two reaches have wrong alike, would be borne out where it agrees. The fit is told that the
//! marks are not all on one spot. Between two reaches alone the other marks decide.
//!
//! All of it follows from the marks files, wherever what was carried comes from.

use std::collections::BTreeMap;

use nalgebra::{Matrix2, Vector2};

use crate::geometry::Landmark;
use crate::pose::{self, FrameObservations, MarkPlace};

use super::case::ReachEntry;
use super::marks::{MarkedFrame, MarksFile, SAME_TIME_S, Source};
use super::observe::{FOLLOWED_SD_PX, pooled, skin_shift_px2};
use super::spread::scale;
use super::words::{decimal, reach_head, reach_words};

/// A mark and the spot that was found for it disagree beyond this squared distance, whitened by both: chi-square with two degrees of
/// freedom, above which one pair in a hundred lies by chance.
const APART_SQUARE: f64 = 9.21;
/// Beyond this one, above which one pair in 100 000 lies by chance, they are surely on two spots.
const CLEARLY_APART_SQUARE: f64 = 23.03;

/// Marks of a landmark placed by hand, on one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Placed {
    pub(crate) reach: usize,
    pub(crate) time_s: f64,
}

/// What was carried of a landmark and counts for nothing.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct DoubtedSpot {
    pub(crate) landmark: Landmark,
    /// Where it was found: reach and index of the frame that was carried.
    pub(crate) found: Vec<(usize, usize)>,
    /// The marks by the spot that they are on.
    pub(crate) spots: Vec<Vec<Placed>>,
    /// The one of them that is believed.
    believed: Option<usize>,
    /// Where a mark is elsewhere.
    far: Vec<Far>,
}

/// A mark that is elsewhere than the spot that was carried to it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Far {
    from_reach: usize,
    reach: usize,
    apart_px: f64,
}

/// One place to which a spot was carried.
struct Carried {
    from: Placed,
    there: Placed,
    /// Index of the frame that was carried.
    frame: usize,
    /// From the spot to the mark, px.
    apart_px: Vector2<f64>,
    /// Covariance of that without the error of the mark that the spot comes from, px².
    apart_px2: Matrix2<f64>,
    /// Covariance of that error, px².
    from_px2: Matrix2<f64>,
}

impl Carried {
    /// Squared distance of the mark there from the spot, whitened.
    fn apart_square(&self) -> f64 {
        // the mark that it comes from errs by itself, too
        whitened_square(self.apart_px, self.apart_px2 + self.from_px2)
    }

    /// Squared distance of the marks there from each other, whitened; none unless both were carried from one mark.
    fn between_square(&self, other: &Self) -> Option<f64> {
        // the error of the mark that both come from is in both alike
        let is_of_one = self.from.is_same(other.from);
        is_of_one.then(|| whitened_square(self.apart_px - other.apart_px, self.apart_px2 + other.apart_px2))
    }

    fn agrees(&self) -> bool {
        self.apart_square() <= APART_SQUARE
    }
}

fn whitened_square(apart_px: Vector2<f64>, px2: Matrix2<f64>) -> f64 {
    // what is known to a point is nowhere else
    px2.try_inverse().map_or(0.0, |inverse| apart_px.dot(&(inverse * apart_px)))
}

/// Every spot that counts for nothing. `sd_px` is the spread of a mark placed by hand on a picture of a size, px; `origin` tells where the
/// mark was placed that a landmark of a reach's frame was carried from.
pub(crate) fn doubted_spots(
    reaches: &[&MarksFile],
    sd_px: impl Fn(Landmark, [u32; 2]) -> f64,
    origin: impl Fn((usize, usize), Landmark) -> Option<Placed>,
) -> Vec<DoubtedSpot> {
    let placed = |at: Placed, landmark: Landmark| {
        let marks = reaches[at.reach];
        let here = marks.frames.iter().filter(|frame| is_by_hand_at(frame, at.time_s));
        let points: Vec<_> = here.filter_map(|frame| frame.points.get(&landmark)).collect();
        let covariance_px2 = sd_px(landmark, marks.image_size);
        let pooled =
            pooled(points.iter().map(|mark| (mark.point.to_vector(), mark.spread.covariance_px2(covariance_px2))));
        (!points.is_empty()).then_some(pooled)
    };
    let mut by_landmark: BTreeMap<Landmark, Vec<Carried>> = BTreeMap::new();
    for (reach, marks) in reaches.iter().enumerate() {
        let carried = marks.frames.iter().enumerate().filter(|(_, frame)| frame.source == Source::Carried);
        for (frame, seen) in carried {
            let there = Placed { reach, time_s: seen.time_s };
            for (landmark, spot) in &seen.points {
                let Some(from) = origin((reach, frame), *landmark).filter(|from| from.reach != reach) else { continue };
                let (Some((mark, mark_px2)), Some((_, from_px2))) = (placed(there, *landmark), placed(from, *landmark))
                else {
                    continue;
                };
                let skin_px2 = skin_shift_px2(*landmark, marks.image_size).unwrap_or_else(Matrix2::zeros);
                let own_px2 = spot.spread.covariance_px2(FOLLOWED_SD_PX * scale(marks.image_size));
                by_landmark.entry(*landmark).or_default().push(Carried {
                    from,
                    there,
                    frame,
                    apart_px: mark - spot.point.to_vector(),
                    // the mark's own error, the match's, and how skin lies have nothing in common
                    apart_px2: mark_px2 + own_px2 + skin_px2,
                    from_px2,
                });
            }
        }
    }
    let linked =
        by_landmark.iter().flat_map(|(landmark, carried)| linked(carried).into_iter().map(|of| (*landmark, of)));
    linked.filter_map(|(landmark, carried)| doubted(landmark, &carried)).collect()
}

/// What was carried, in parts that no carried spot links: reaches of other views have nothing to say to each other.
fn linked(carried: &[Carried]) -> Vec<Vec<&Carried>> {
    let mut parts = alone(carried.iter());
    carried.iter().for_each(|of| join(&mut parts, of.from, of.there));
    let of_part = |part: &Vec<Placed>| carried.iter().filter(|of| is_on(part, of.from)).collect();
    parts.iter().map(of_part).collect()
}

/// The marks that spots were carried from or to, each on a spot of its own.
fn alone<'a>(carried: impl Iterator<Item = &'a Carried>) -> Vec<Vec<Placed>> {
    let mut spots: Vec<Vec<Placed>> = Vec::new();
    for at in carried.flat_map(|of| [of.from, of.there]) {
        if !spots.iter().any(|spot| is_on(spot, at)) {
            spots.push(vec![at]);
        }
    }
    spots
}

fn is_on(spot: &[Placed], at: Placed) -> bool {
    spot.iter().any(|known| known.is_same(at))
}

/// What of a landmark that was carried counts for nothing; `None` where all of it counts.
fn doubted(landmark: Landmark, carried: &[&Carried]) -> Option<DoubtedSpot> {
    let mut spots = alone(carried.iter().copied());
    let marks = spots.len();
    for (index, of) in carried.iter().enumerate() {
        if of.agrees() {
            join(&mut spots, of.from, of.there);
        }
        for other in &carried[..index] {
            if of.between_square(other).is_some_and(|square| square <= APART_SQUARE) {
                join(&mut spots, other.there, of.there);
            }
        }
    }
    let believed = believed(&spots, carried);
    let counts = |of: &&&Carried| believed.is_some_and(|spot| is_on(&spots[spot], of.from));
    let doubted: Vec<&&Carried> = carried.iter().filter(|of| !counts(of)).collect();
    if marks == 2 || doubted.is_empty() {
        return None;
    }
    let far = carried.iter().filter(|of| !of.agrees());
    let far = far.map(|of| Far { from_reach: of.from.reach, reach: of.there.reach, apart_px: of.apart_px.norm() });
    let found = doubted.iter().map(|of| (of.there.reach, of.frame)).collect();
    Some(DoubtedSpot { landmark, found, far: far.collect(), spots, believed })
}

/// The spot on which most of the marks are, or the only one on which there are several, if the others lie clearly apart.
fn believed(spots: &[Vec<Placed>], carried: &[&Carried]) -> Option<usize> {
    let marks: usize = spots.iter().map(Vec::len).sum();
    let most = spots.iter().position(|spot| 2 * spot.len() > marks);
    most.or_else(|| {
        let mut several = (0..spots.len()).filter(|spot| spots[*spot].len() > 1);
        let only = several.next().filter(|_| several.next().is_none())?;
        let single: Vec<Placed> = spots.iter().filter(|spot| spot.len() == 1).map(|spot| spot[0]).collect();
        let is_clear = |first: usize| single[..first].iter().all(|at| is_clearly_apart(single[first], *at, carried));
        (0..single.len()).all(is_clear).then_some(only)
    })
}

/// Whether all that links two marks says that they are on two spots.
fn is_clearly_apart(first: Placed, second: Placed, carried: &[&Carried]) -> bool {
    let is_pair =
        |a: Placed, b: Placed| (a.is_same(first) && b.is_same(second)) || (a.is_same(second) && b.is_same(first));
    let of_one = carried.iter().filter(|of| is_pair(of.from, of.there)).map(|of| of.apart_square());
    let of_two = carried.iter().enumerate().flat_map(|(index, of)| {
        let to_both = carried[..index].iter().filter(|other| is_pair(of.there, other.there));
        to_both.filter_map(|other| of.between_square(other))
    });
    let squares: Vec<f64> = of_one.chain(of_two).collect();
    !squares.is_empty() && squares.into_iter().all(|square| square > CLEARLY_APART_SQUARE)
}

/// Makes two marks lie on one spot.
fn join(spots: &mut Vec<Vec<Placed>>, first: Placed, second: Placed) {
    let place = |spots: &[Vec<Placed>], at: Placed| spots.iter().position(|spot| is_on(spot, at));
    if let (Some(one), Some(other)) = (place(spots, first), place(spots, second))
        && one != other
    {
        let moved = std::mem::take(&mut spots[other]);
        spots[one].extend(moved);
        spots.remove(other);
    }
}

impl Placed {
    fn is_same(self, other: Self) -> bool {
        self.reach == other.reach && (self.time_s - other.time_s).abs() < SAME_TIME_S
    }
}

fn is_by_hand_at(frame: &MarkedFrame, time_s: f64) -> bool {
    frame.source == Source::Hand && (frame.time_s - time_s).abs() < SAME_TIME_S
}

impl DoubtedSpot {
    /// What is said of it, each sentence with the reach that it is about.
    pub(crate) fn sentences<'a>(&self, entry: impl Fn(usize) -> &'a ReachEntry) -> Vec<(usize, String)> {
        let landmark = self.landmark.words();
        let sentence = |Far { from_reach, reach, apart_px }: &Far| {
            let (from, there) = (reach_words(entry(*from_reach)), reach_head(entry(*reach)));
            let px = decimal(*apart_px, 0);
            let words = format!(
                "{there}: the {landmark} is marked {px} px from the spot that is marked as the {landmark} in the {from}, as the pictures \
                 show it. One of the two is on another spot; look at both, and mark the wrong one again. Until then this spot is not \
                 compared."
            );
            (*reach, words)
        };
        self.far.iter().map(sentence).collect()
    }

    /// The reaches, none of whose marks is on the spot that most are on, each with the landmark.
    pub(crate) fn outvoted(&self) -> Vec<(usize, Landmark)> {
        let Some(believed) = self.believed.map(|spot| &self.spots[spot]) else { return Vec::new() };
        let others = self.spots.iter().flatten().filter(|at| !believed.iter().any(|good| good.reach == at.reach));
        others.map(|at| (at.reach, self.landmark)).collect()
    }

    /// The same for the fit. `frames` are the observations of each reach.
    pub(crate) fn contradiction(&self, frames: &[&[FrameObservations]]) -> pose::Contradiction {
        let place = |placed: &Placed| {
            let frame =
                frames[placed.reach].iter().position(|frame| (frame.time_s - placed.time_s).abs() < SAME_TIME_S)?;
            let marks = &frames[placed.reach][frame].marks;
            let mark = marks.iter().position(|mark| mark.is_placed && mark.landmark == self.landmark)?;
            Some(MarkPlace { reach: placed.reach, frame, mark })
        };
        let spots = self.spots.iter().map(|spot| spot.iter().filter_map(place).collect());
        pose::Contradiction { spots: spots.collect() }
    }
}
