//! The reported angles and lengths, computed from points of the body frame (X anterior, Y up, Z to the person's right, mm).
//!
//! These are the definitions themselves, without a model of the body. Each is `None` where the points do not define it, such
//! as the sagittal angle of an arm that points straight sideways.

use nalgebra::Vector3;

use crate::geometry::{Angle, BodyPoint};

/// An axis has no direction in a plane if less than this fraction of its length lies in the plane: what rounding leaves.
const DEGENERATE_RATIO: f64 = 1e-9;

/// Elevation of an arm from the downward plumb line, in the sagittal (XY) plane, through the front.
///
/// From `shoulder` to `wrist`: 0 hanging, 90 straight ahead, 180 overhead, above 180 past it; range [-90, 270) deg.
#[must_use]
pub fn elevation_from_vertical(shoulder: BodyPoint, wrist: BodyPoint) -> Option<Angle> {
    sagittal_from_down(&(wrist.0 - shoulder.0)).map(Angle::wrapped_as_elevation)
}

/// Sagittal angle of the trunk axis (`mid_shoulder` to `mid_hip`) from the plumb line, positive backward, within 180 deg.
#[must_use]
pub fn trunk_lean(mid_shoulder: BodyPoint, mid_hip: BodyPoint) -> Option<Angle> {
    sagittal_from_down(&(mid_hip.0 - mid_shoulder.0)).map(Angle::wrapped)
}

/// Elevation of an arm from the caudal trunk axis: that from the plumb line less the trunk's lean; range [-90, 270) deg.
///
/// # Source
/// Zero position and direction of shoulder flexion as the American Academy of Orthopaedic Surgeons defines them (Greene and
/// Heckman 1994, The Clinical Measurement of Joint Motion).
#[must_use]
pub fn elevation(shoulder: BodyPoint, wrist: BodyPoint, mid_shoulder: BodyPoint, mid_hip: BodyPoint) -> Option<Angle> {
    let arm = elevation_from_vertical(shoulder, wrist)?;
    Some((arm - trunk_lean(mid_shoulder, mid_hip)?).wrapped_as_elevation())
}

/// Flexion of an elbow: 180 deg less the angle shoulder-elbow-wrist, in space. 0 is straight; the carrying angle is in it.
#[must_use]
pub fn elbow_flexion(shoulder: BodyPoint, elbow: BodyPoint, wrist: BodyPoint) -> Option<Angle> {
    let (upper_arm, forearm) = (elbow.0 - shoulder.0, wrist.0 - elbow.0);
    (upper_arm.norm() > 0.0 && forearm.norm() > 0.0).then(|| Angle::between(&upper_arm, &forearm))
}

/// Tilt of the bar from horizontal in the frontal (YZ) plane, positive when the person's right end is higher.
#[must_use]
pub fn bar_tilt(bar_left: BodyPoint, bar_right: BodyPoint) -> Option<Angle> {
    let bar = bar_right.0 - bar_left.0;
    (bar.y.hypot(bar.z) > DEGENERATE_RATIO * bar.norm()).then(|| Angle::from_rad(bar.y.atan2(bar.z)))
}

/// Distance between the wrists along the bar, mm.
#[must_use]
pub fn grip_width_mm(
    left_wrist: BodyPoint,
    right_wrist: BodyPoint,
    bar_left: BodyPoint,
    bar_right: BodyPoint,
) -> Option<f64> {
    let axis = (bar_right.0 - bar_left.0).try_normalize(0.0)?;
    Some((right_wrist.0 - left_wrist.0).dot(&axis).abs())
}

/// Height of the bar's middle above a reference point along the plumb line, mm.
#[must_use]
pub fn bar_height_mm(bar_left: BodyPoint, bar_right: BodyPoint, reference: BodyPoint) -> f64 {
    0.5 * (bar_left.0.y + bar_right.0.y) - reference.0.y
}

/// The point halfway between two points.
#[must_use]
pub fn midpoint(a: BodyPoint, b: BodyPoint) -> BodyPoint {
    BodyPoint(0.5 * (a.0 + b.0))
}

/// Angle of an axis in the sagittal plane from straight down, through the front.
fn sagittal_from_down(axis: &Vector3<f64>) -> Option<Angle> {
    (axis.x.hypot(axis.y) > DEGENERATE_RATIO * axis.norm()).then(|| Angle::from_rad(axis.x.atan2(-axis.y)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Rotation3;
    use proptest::prelude::*;

    // Angles worked by hand; double arithmetic leaves some 1e-13 deg.
    const TOLERANCE_DEG: f64 = 1e-10;

    fn point(x: f64, y: f64, z: f64) -> BodyPoint {
        BodyPoint(Vector3::new(x, y, z))
    }

    /// Right shoulder of a person who sits upright, hips at the origin.
    fn shoulder() -> BodyPoint {
        point(0.0, 500.0, 200.0)
    }

    fn elevation_of(wrist: BodyPoint, mid_hip: BodyPoint) -> f64 {
        elevation(shoulder(), wrist, point(0.0, 500.0, 0.0), mid_hip).unwrap().deg()
    }

    #[test]
    fn flexion_follows_the_surgeons_convention() {
        // AAOS: 0 with the arm at the side, 90 straight ahead, 180 straight overhead; extension counts below 0.
        let upright = point(0.0, 0.0, 0.0);
        for (wrist, deg) in [
            (point(0.0, -100.0, 200.0), 0.0),
            (point(600.0, 500.0, 200.0), 90.0),
            (point(0.0, 1100.0, 200.0), 180.0),
            (point(300.0, 500.0 + 300.0 * 3.0_f64.sqrt(), 200.0), 150.0),
            (point(-300.0, 500.0 + 300.0 * 3.0_f64.sqrt(), 200.0), 210.0),
            (point(-300.0, 500.0 - 300.0 * 3.0_f64.sqrt(), 200.0), -30.0),
        ] {
            assert!((elevation_of(wrist, upright) - deg).abs() < TOLERANCE_DEG, "{deg}");
        }
    }

    #[test]
    fn an_arm_out_of_the_sagittal_plane_counts_by_its_projection() {
        // Up and forward in equal parts, and well to the side: 135 deg whatever the sideways part.
        assert!((elevation_of(point(400.0, 900.0, 700.0), point(0.0, 0.0, 0.0)) - 135.0).abs() < TOLERANCE_DEG);
    }

    #[test]
    fn leaning_back_takes_as_much_off_the_elevation() {
        // Hips 500 mm below and 500 tan(10 deg) ahead of the shoulders: the trunk leans back by 10 deg.
        let hips = point(500.0 * 10.0_f64.to_radians().tan(), 0.0, 0.0);
        let lean = trunk_lean(point(0.0, 500.0, 0.0), hips).unwrap();
        assert!((lean.deg() - 10.0).abs() < TOLERANCE_DEG);
        assert!((elevation_of(point(0.0, 1100.0, 200.0), hips) - 170.0).abs() < TOLERANCE_DEG);
        let vertical = elevation_from_vertical(shoulder(), point(0.0, 1100.0, 200.0)).unwrap();
        assert!((vertical.deg() - 180.0).abs() < TOLERANCE_DEG);
    }

    #[test]
    fn elbow_flexion_is_zero_when_straight_and_never_negative() {
        let flexion = |elbow: BodyPoint, wrist: BodyPoint| elbow_flexion(shoulder(), elbow, wrist).unwrap().deg();
        assert!(flexion(point(0.0, 800.0, 200.0), point(0.0, 1100.0, 200.0)).abs() < TOLERANCE_DEG);
        assert!((flexion(point(0.0, 800.0, 200.0), point(300.0, 800.0, 200.0)) - 90.0).abs() < TOLERANCE_DEG);
        assert!((flexion(point(0.0, 800.0, 200.0), point(0.0, 800.0, -100.0)) - 90.0).abs() < TOLERANCE_DEG);
        assert!((flexion(point(0.0, 800.0, 200.0), shoulder()) - 180.0).abs() < TOLERANCE_DEG);
    }

    #[test]
    fn the_bar_is_tilted_up_where_the_right_end_is_higher() {
        let left = point(0.0, 1000.0, -600.0);
        let tilt = bar_tilt(left, point(0.0, 1000.0 + 1200.0 * 5.0_f64.to_radians().tan(), 600.0)).unwrap();
        assert!((tilt.deg() - 5.0).abs() < TOLERANCE_DEG);
        assert!(bar_tilt(left, point(0.0, 1000.0, 600.0)).unwrap().deg().abs() < TOLERANCE_DEG);
        // A bar that swings ahead does not tilt by that.
        assert!(bar_tilt(left, point(300.0, 1000.0, 600.0)).unwrap().deg().abs() < TOLERANCE_DEG);
    }

    #[test]
    fn grip_width_runs_along_the_bar() {
        // A bar of direction (0, 3, 4)/5; wrists 500 mm apart along it and off it by different amounts.
        let (bar_left, bar_right) = (point(0.0, -360.0, -480.0), point(0.0, 360.0, 480.0));
        let left = point(40.0, -150.0, -200.0);
        let right = point(-30.0, 150.0 + 40.0, 200.0 - 30.0);
        assert!((grip_width_mm(left, right, bar_left, bar_right).unwrap() - 500.0).abs() < 1e-9);
        assert!(
            (bar_height_mm(point(0.0, 900.0, -1.0), point(0.0, 1100.0, 1.0), point(5.0, 30.0, 7.0)) - 970.0).abs()
                < 1e-9
        );
        assert_eq!(midpoint(bar_left, bar_right), point(0.0, 0.0, 0.0));
    }

    #[test]
    fn points_that_define_nothing_give_nothing() {
        let sideways = point(0.0, 500.0, 800.0);
        assert!(elevation_from_vertical(shoulder(), sideways).is_none());
        assert!(elevation_from_vertical(shoulder(), shoulder()).is_none());
        assert!(trunk_lean(shoulder(), point(0.0, 500.0, -200.0)).is_none());
        assert!(elevation(shoulder(), point(0.0, 1100.0, 0.0), shoulder(), shoulder()).is_none());
        assert!(elbow_flexion(shoulder(), shoulder(), sideways).is_none());
        assert!(bar_tilt(point(-600.0, 0.0, 0.0), point(600.0, 0.0, 0.0)).is_none());
        assert!(grip_width_mm(shoulder(), sideways, shoulder(), shoulder()).is_none());
    }

    proptest! {
        #[test]
        fn turning_arm_and_trunk_together_in_the_sagittal_plane_changes_no_elevation(
            turn_deg in -60.0_f64..60.0, arm_deg in -80.0_f64..260.0, sideways_mm in -300.0_f64..300.0,
        ) {
            let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), turn_deg.to_radians());
            let arm = arm_deg.to_radians();
            let wrist = BodyPoint(shoulder().0 + Vector3::new(600.0 * arm.sin(), -600.0 * arm.cos(), sideways_mm));
            let moved = |p: BodyPoint| BodyPoint(turn * p.0);
            let (mid_shoulder, mid_hip) = (point(0.0, 500.0, 0.0), point(30.0, 0.0, 0.0));
            let before = elevation(shoulder(), wrist, mid_shoulder, mid_hip).unwrap();
            let after = elevation(moved(shoulder()), moved(wrist), moved(mid_shoulder), moved(mid_hip)).unwrap();
            prop_assert!((after - before).wrapped().deg().abs() < 1e-9);
        }

        #[test]
        fn mirroring_the_person_changes_no_elevation_and_turns_the_tilt(
            y in -300.0_f64..300.0, x in 10.0_f64..600.0, z in -300.0_f64..300.0,
        ) {
            let mirror = |p: BodyPoint| point(p.0.x, p.0.y, -p.0.z);
            let wrist = point(x, 500.0 + y, 200.0 + z);
            let here = elevation_from_vertical(shoulder(), wrist).unwrap();
            let there = elevation_from_vertical(mirror(shoulder()), mirror(wrist)).unwrap();
            prop_assert!((here - there).deg().abs() < 1e-12);
            // The mirror makes the left end the right one.
            let (left, right) = (point(x, 1000.0, -600.0), point(-x, 1000.0 + y, 600.0));
            let tilt = bar_tilt(left, right).unwrap();
            let mirrored = bar_tilt(mirror(right), mirror(left)).unwrap();
            prop_assert!((tilt.deg() + mirrored.deg()).abs() < 1e-9);
        }
    }
}
