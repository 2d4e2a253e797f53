//! What the marks of a reach show on the picture itself, without the fit: mean places, lengths and the plain image angle.
//!
//! The plain image angle takes the picture for the sagittal plane. It is a cross-check, never the answer.

use std::collections::BTreeMap;

use nalgebra::{Matrix2, Vector2};

use crate::geometry::{Angle, Landmark, Side};
use crate::pose::{FrameObservations, Mark, ReachObservations, SharedError, View};

/// The mean of a landmark's marks over some frames.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SeenPoint {
    /// px.
    pub(crate) place: Vector2<f64>,
    /// Covariance of its own error, px².
    pub(crate) own_px2: Matrix2<f64>,
    /// Covariance of what it strayed by while it was followed, px²: common to the frames of a reach.
    pub(crate) drift_px2: Matrix2<f64>,
    /// The error that it shares with other marks.
    pub(crate) shared: Option<SharedError>,
}

impl SeenPoint {
    /// Covariance of the whole error, px².
    pub(crate) fn covariance_px2(&self) -> Matrix2<f64> {
        // a mark's own error comes on top of the shared one, independently of it
        self.own_px2 + self.drift_px2 + self.shared.map_or_else(Matrix2::zeros, |shared| shared.covariance_px2)
    }

    /// Covariance of the distance vector to another point: an error that both share is not in it.
    pub(crate) fn separation_covariance_px2(&self, other: &Self) -> Matrix2<f64> {
        let is_common = matches!((self.shared, other.shared), (Some(a), Some(b)) if a.origin == b.origin);
        if is_common {
            self.own_px2 + self.drift_px2 + other.own_px2 + other.drift_px2
        } else {
            self.covariance_px2() + other.covariance_px2()
        }
    }
}

/// The mean place of every landmark over the frames.
pub(crate) fn seen_points<'a>(frames: impl Iterator<Item = &'a FrameObservations>) -> BTreeMap<Landmark, SeenPoint> {
    let mut marks: BTreeMap<Landmark, Vec<Mark>> = BTreeMap::new();
    for mark in frames.flat_map(|frame| &frame.marks) {
        marks.entry(mark.landmark).or_default().push(*mark);
    }
    marks.into_iter().map(|(landmark, marks)| (landmark, mean(&marks))).collect()
}

fn mean(marks: &[Mark]) -> SeenPoint {
    let count = super::pooled::number(marks.len());
    let sum: Vector2<f64> = marks.iter().map(|mark| mark.point.to_vector()).sum();
    let own: Matrix2<f64> = marks.iter().map(|mark| mark.covariance_px2).sum();
    // what followed marks strayed by is common to a reach's frames, and no mean takes it away
    let strayed = |mark: &Mark| [mark.drift_px2, mark.strayed.map(|strayed| strayed.covariance_px2)];
    let drift: Matrix2<f64> = marks.iter().flat_map(strayed).flatten().sum::<Matrix2<f64>>() / count;
    let first = marks.first().and_then(|mark| mark.shared);
    let is_common =
        marks.iter().all(|mark| mark.shared.map(|shared| shared.origin) == first.map(|shared| shared.origin));
    let shared: Matrix2<f64> = marks.iter().filter_map(|mark| mark.shared).map(|shared| shared.covariance_px2).sum();
    if is_common {
        SeenPoint { place: sum / count, own_px2: own / count.powi(2), drift_px2: drift, shared: first }
    } else {
        // of several origins: taken as fully shared among these marks, which is the wider of the two
        SeenPoint { place: sum / count, own_px2: own / count.powi(2) + shared / count, drift_px2: drift, shared: None }
    }
}

/// +1 where the person should face the picture's right, -1 for its left; `None` in a front view.
pub(crate) fn facing(reach: &ReachObservations) -> Option<f64> {
    if reach.view == View::Front {
        return None;
    }
    let mirror = if reach.is_mirrored { -1.0 } else { 1.0 };
    reach.near_side.map(|side| side.sign() * mirror)
}

/// The plain image angle of a frame, deg: from shoulder-hip to shoulder-wrist on the picture, through the front.
/// `None` in a front view or without one of the three marks.
pub(crate) fn image_angle(reach: &ReachObservations, frame: &FrameObservations) -> Option<Angle> {
    let side = reach.near_side?;
    let seen = seen_points(std::iter::once(frame));
    let place = |landmark: Landmark| seen.get(&landmark).map(|point| point.place);
    let shoulder = place(Landmark::Shoulder(side))?;
    let trunk = place(Landmark::Hip(side))? - shoulder;
    let arm = place(Landmark::Wrist(side))? - shoulder;
    angle_through_front(&trunk, &arm, facing(reach)?)
}

/// The angle from `down` to `arm` through the front, on a picture on which the person faces `facing`.
pub(crate) fn angle_through_front(down: &Vector2<f64>, arm: &Vector2<f64>, facing: f64) -> Option<Angle> {
    if down.norm() <= 0.0 || arm.norm() <= 0.0 {
        return None;
    }
    // y is down: for a person facing right, down (0, 1) to ahead (1, 0) is a quarter turn forward
    let turn = down.y * arm.x - down.x * arm.y;
    Some(Angle::from_rad((facing * turn).atan2(down.dot(arm))).wrapped_as_elevation())
}

/// Whether an arm can be seen: its wrist is marked, and its shoulder or elbow.
pub(crate) fn is_arm_seen(reach: &ReachObservations, side: Side) -> bool {
    let has = |landmark: Landmark| is_marked(reach, landmark);
    has(Landmark::Wrist(side)) && (has(Landmark::Shoulder(side)) || has(Landmark::Elbow(side)))
}

/// Whether a landmark is marked in some frame of a reach.
pub(crate) fn is_marked(reach: &ReachObservations, landmark: Landmark) -> bool {
    reach.frames.iter().any(|frame| frame.marks.iter().any(|mark| mark.landmark == landmark))
}

/// The length between two points and its standard uncertainty, px.
pub(crate) fn length_px(a: &SeenPoint, b: &SeenPoint) -> Option<(f64, f64)> {
    let way = b.place - a.place;
    let length = way.norm();
    let direction = way.try_normalize(1e-9)?;
    let variance = direction.dot(&(a.separation_covariance_px2(b) * direction));
    Some((length, variance.max(0.0).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plain_angle_is_0_at_the_side_90_ahead_and_180_overhead_on_either_side() {
        let down = Vector2::new(0.0, 1.0);
        for facing in [1.0, -1.0] {
            let angle = |x: f64, y: f64| {
                angle_through_front(&down, &Vector2::new(x * facing, y), facing).map_or(f64::NAN, Angle::deg)
            };
            assert!(angle(0.0, 1.0).abs() < 1e-9);
            assert!((angle(1.0, 0.0) - 90.0).abs() < 1e-9);
            assert!((angle(0.0, -1.0) - 180.0).abs() < 1e-9);
            // past the vertical: a tenth back for one up is atan(0.1) = 5.71 deg
            assert!((angle(-0.1, -1.0) - 185.71).abs() < 0.01);
        }
    }
}
