//! Which reaches were filmed by a camera that stood still between them.
//!
//! Reaches share a set-up when view, side, picture size and lens agree and the plumb line and the datum are where they
//! were. A camera that may have moved is never taken to have stood still.

use super::observation::{Mark, ReachObservations};
use super::problem::unmirrored;
use crate::geometry::{ImagePoint, Landmark};

/// A fixed point moved when it lies further than this many standard deviations of the difference from where it was.
const MOVED_SDS: f64 = 4.0;

/// For each reach the number of its set-up, numbered from 0 in the order of first use.
pub(super) fn setup_of_reaches(reaches: &[ReachObservations]) -> Vec<usize> {
    // One bad mark in one reach must not part the others: agreement with any reach of a set-up is enough, whichever comes first.
    let mut first_of_reach: Vec<usize> = Vec::new();
    for (index, reach) in reaches.iter().enumerate() {
        let agreeing = |earlier: &usize| has_stood_still(&reaches[*earlier], reach);
        let joined: Vec<usize> = (0..index).filter(agreeing).map(|earlier| first_of_reach[earlier]).collect();
        let first = joined.iter().copied().min().unwrap_or(index);
        for known in first_of_reach.iter_mut().filter(|known| joined.contains(known)) {
            *known = first;
        }
        first_of_reach.push(first);
    }
    let mut firsts: Vec<usize> = Vec::new();
    first_of_reach
        .into_iter()
        .map(|first| {
            firsts.iter().position(|known| *known == first).unwrap_or_else(|| {
                firsts.push(first);
                firsts.len() - 1
            })
        })
        .collect()
}

/// Whether the camera stood still between two reaches, as far as the fixed points tell.
fn has_stood_still(a: &ReachObservations, b: &ReachObservations) -> bool {
    a.view == b.view
        && a.near_side == b.near_side
        && a.is_mirrored == b.is_mirrored
        && a.image_size == b.image_size
        && a.lens == b.lens
        && match (is_plumb_still(a, b), is_datum_still(a, b)) {
            // One bad mark moves one of the two; a camera that moves takes both along.
            (Some(plumb), Some(datum)) => plumb || datum,
            (Some(plumb), None) => plumb,
            (None, _) => false,
        }
}

/// Whether the datum is where it was; `None` unless both reaches have it.
fn is_datum_still(a: &ReachObservations, b: &ReachObservations) -> Option<bool> {
    let (first, second) = (mean_of(a, Landmark::Datum)?, mean_of(b, Landmark::Datum)?);
    Some(first.point.distance_px(second.point) <= MOVED_SDS * first.sd_px.hypot(second.sd_px))
}

/// Whether the plumb line of one reach runs through the plumb marks of the other, and the other way round; `None` unless
/// both reaches have both. Along the line the marks are free.
fn is_plumb_still(a: &ReachObservations, b: &ReachObservations) -> Option<bool> {
    let line = |reach| Some((mean_of(reach, Landmark::PlumbTop)?, mean_of(reach, Landmark::PlumbBottom)?));
    let ((a_top, a_bottom), (b_top, b_bottom)) = (line(a)?, line(b)?);
    let is_on = |point: &FixedPoint, top: &FixedPoint, bottom: &FixedPoint| {
        let along = top.point.to_vector() - bottom.point.to_vector();
        let length = along.norm().max(1.0);
        let from_bottom = point.point.to_vector() - bottom.point.to_vector();
        let distance = along.perp(&from_bottom) / length;
        // Beyond the marks the line's own uncertainty grows with the distance along it.
        let share = along.dot(&from_bottom) / (length * length);
        let line_sd = (share * top.sd_px).hypot((1.0 - share) * bottom.sd_px);
        distance.abs() <= MOVED_SDS * point.sd_px.hypot(line_sd)
    };
    Some(is_on(&b_top, &a_top, &a_bottom) && is_on(&b_bottom, &a_top, &a_bottom))
}

struct FixedPoint {
    point: ImagePoint,
    sd_px: f64,
}

/// The mean of a fixed point's marks in a reach, with its standard uncertainty.
fn mean_of(reach: &ReachObservations, landmark: Landmark) -> Option<FixedPoint> {
    let marks: Vec<&Mark> =
        reach.frames.iter().flat_map(|frame| &frame.marks).filter(|mark| mark.landmark == landmark).collect();
    let count = marks.len() as f64;
    if marks.is_empty() {
        return None;
    }
    let mut sum = [0.0; 2];
    let mut variance = 0.0;
    for mark in &marks {
        let (point, covariance) = unmirrored(reach, mark.point, mark.covariance_px2);
        sum[0] += point.x;
        sum[1] += point.y;
        variance += covariance.trace() / 2.0;
        if let Some(shared) = mark.shared {
            variance += shared.covariance_px2.trace() / 2.0;
        }
        variance += mark.drift_px2.map_or(0.0, |drift| drift.trace() / 2.0);
        variance += mark.strayed.map_or(0.0, |strayed| strayed.covariance_px2.trace() / 2.0);
    }
    // Marks by hand err on their own; marks that share an error do not average it away.
    let is_shared = marks.iter().any(|mark| mark.shared.is_some() || mark.drift_px2.is_some());
    let sd_px = if is_shared { (variance / count).sqrt() } else { variance.sqrt() / count };
    Some(FixedPoint { point: ImagePoint::new(sum[0] / count, sum[1] / count), sd_px })
}
