//! A bar's ends carried from picture to picture by the bar itself.

use nalgebra::Vector2;

use crate::geometry::ImagePoint;

use super::bar::{BarFound, BarPoint, find_bar};
use super::carry::{Carried, Pictures};
use super::room::PictureMotion;

/// A bar is as wide in both pictures to within this share, or one of the two is another thing.
const BAR_WIDTH_CHANGE_MAX: f64 = 0.15;
/// A bar is as long in both pictures to within this share: it comes nearer or goes farther by as much.
const BAR_LENGTH_CHANGE_MAX: f64 = 0.03;
/// How far above and below its place a bar is looked for, in steps of so many px: some 8 deg of elevation at 3 m.
const BAR_SEARCH_STEPS: i8 = 8;
const BAR_SEARCH_STEP_PX: f64 = 8.0;
/// Where the bar has its ends and where their patches were found differ by no more than this, px.
const BAR_AND_PATCH_PX: f64 = 3.0;

impl Pictures {
    /// The bar's ends, in place of where their patches were found: the bar is looked for in both pictures, and a mark keeps its
    /// place by the bar's axis and its end. `None` where it is not surely found in both, or the patches say otherwise.
    pub(super) fn carry_on_bar(&self, marked: [ImagePoint; 2], carried: [Carried; 2]) -> Option<[Carried; 2]> {
        let from = find_bar(&self.from, marked).ok()?;
        let to = find_bar(&self.to, carried.map(|carried| carried.point)).ok()?;
        let on_bar = beside_bars([&from, &to], marked, carried.map(Some))?;
        let is_near = |(a, b): (&Carried, &Carried)| {
            (a.point.x - b.point.x).hypot(a.point.y - b.point.y) <= BAR_AND_PATCH_PX * self.scale
        };
        on_bar.iter().zip(&carried).all(is_near).then_some(on_bar)
    }

    /// The bar's ends where no patch could be followed there: a bar as wide and as long is looked for above and below its place in
    /// the other picture. `None` where there is none with both its ends, or more than one.
    pub(super) fn look_for_bar(&self, marked: [ImagePoint; 2], camera: Option<&PictureMotion>) -> Option<[Carried; 2]> {
        let from = find_bar(&self.from, marked).ok()?;
        let [left, right] = from.ends.map(|end| end.map(|end| end.point));
        let length_px = |[left, right]: [ImagePoint; 2]| (right.x - left.x).hypot(right.y - left.y);
        let from_px = length_px([left?, right?]);
        let there = [left?, right?].map(|end| camera.map_or(end, |camera| camera.apply(end)));
        let mut found: Option<BarFound> = None;
        for step in -BAR_SEARCH_STEPS..=BAR_SEARCH_STEPS {
            let down_px = f64::from(step) * BAR_SEARCH_STEP_PX * self.scale;
            let Ok(bar) = find_bar(&self.to, there.map(|end| ImagePoint::new(end.x, end.y + down_px))) else {
                continue;
            };
            let [Some(left), Some(right)] = bar.ends.map(|end| end.map(|end| end.point)) else { continue };
            let is_alike = (length_px([left, right]) / from_px - 1.0).abs() <= BAR_LENGTH_CHANGE_MAX
                && (bar.half_width_px / from.half_width_px - 1.0).abs() <= BAR_WIDTH_CHANGE_MAX;
            if !is_alike {
                continue;
            }
            let is_the_same = |other: &BarFound| {
                let ends = other.axis.iter().zip(&bar.axis);
                ends.map(|(a, b)| (a.point.y - b.point.y).abs())
                    .all(|apart_px| apart_px < BAR_AND_PATCH_PX * self.scale)
            };
            match &found {
                Some(other) if !is_the_same(other) => return None,
                Some(other) if other.support >= bar.support => {}
                _ => found = Some(bar),
            }
        }
        beside_bars([&from, &found?], marked, [None; 2])
    }
}

/// Marks beside a bar of one picture, beside the same bar of another. An end that is missing in one of them is taken from where its
/// patch was found. What two pictures of one bar have in common (light, the shape of its ends) counts for both, so that the
/// covariance is on the safe side.
fn beside_bars(
    [from, to]: [&BarFound; 2],
    marked: [ImagePoint; 2],
    carried: [Option<Carried>; 2],
) -> Option<[Carried; 2]> {
    if (to.half_width_px / from.half_width_px - 1.0).abs() > BAR_WIDTH_CHANGE_MAX {
        return None;
    }
    let vector = |point: ImagePoint| Vector2::new(point.x, point.y);
    let ways = |bar: &BarFound| {
        let along = (vector(bar.axis[1].point) - vector(bar.axis[0].point)).normalize();
        [along, Vector2::new(-along.y, along.x)]
    };
    let ([from_along, from_across], [to_along, to_across]) = (ways(from), ways(to));
    let variance = |point: &BarPoint, way: Vector2<f64>| way.dot(&(point.covariance_px2 * way));
    let place = |index: usize| {
        let (axis_from, axis_to) = (from.axis[index], to.axis[index]);
        let across_px = from_across.dot(&(vector(marked[index]) - vector(axis_from.point)));
        let across_px2 = variance(&axis_from, from_across) + variance(&axis_to, to_across);
        let (along_px, along_px2) = match (from.ends[index], to.ends[index]) {
            (Some(end_from), Some(end_to)) => (
                from_along.dot(&(vector(marked[index]) - vector(end_from.point)))
                    + to_along.dot(&(vector(end_to.point) - vector(axis_to.point))),
                variance(&end_from, from_along) + variance(&end_to, to_along),
            ),
            _ => {
                let carried = carried[index]?;
                let along_px = to_along.dot(&(vector(carried.point) - vector(axis_to.point)));
                (along_px, to_along.dot(&(carried.covariance_px2 * to_along)))
            }
        };
        let at = vector(axis_to.point) + to_along * along_px + to_across * across_px;
        Some(Carried {
            point: ImagePoint::new(at.x, at.y),
            covariance_px2: to_along * to_along.transpose() * along_px2
                + to_across * to_across.transpose() * across_px2,
            likeness: carried[index].map_or_else(|| from.support.min(to.support), |carried| carried.likeness),
        })
    };
    Some([place(0)?, place(1)?])
}
