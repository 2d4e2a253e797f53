//! The rower's body: segment lengths, and where joints, landmarks and bar are in a given stance. Body frame, mm.
//!
//! Lengths are published ratios to stature, not the priors of the fit that is to be tried on the clips.

use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion, Vector3};
use serde::Serialize;

use crate::geometry::{Landmark, Side};
use crate::pose::Rotation;

/// Height of the stool's seat, mm.
pub const SEAT_MM: f64 = 450.0;

/// Length of the bar, mm.
pub const BAR_LENGTH_MM: f64 = 1200.0;

/// Radius of the bar, mm.
pub const BAR_RADIUS_MM: f64 = 12.5;

/// The bar's axis lies this far beyond the wrist along the hand, mm (from memory: middle of the closed fist).
const BAR_BEYOND_WRIST_MM: f64 = 75.0;

/// The bar's axis lies this far to the palm's side of the hand's long axis, mm (half the palm's thickness and the bar's radius).
const BAR_PALMAR_MM: f64 = 26.0;

/// From the acromion down to the centre of the shoulder joint, mm (from memory).
const ACROMION_TO_JOINT_MM: f64 = 25.0;

/// From the acromion inward to the sagittal plane of the joint's centre, mm (from memory).
const ACROMION_INWARD_MM: f64 = 15.0;

/// A seated trunk is this much shorter than a standing one, mm (from memory).
const SITTING_LOSS_MM: f64 = 25.0;

/// Greater trochanter above the seat, mm (from memory).
const TROCHANTER_ABOVE_SEAT_MM: f64 = 90.0;

/// From the shoulder joint's centre to the skin at its side, mm (from memory: half the difference of bideltoid and
/// joint breadth).
const DELTOID_MM: f64 = 54.0;

/// From the middle of the elbow to the lateral epicondyle, mm (nearly half an elbow's breadth, from memory).
const EPICONDYLE_MM: f64 = 32.0;

/// How far the upper arm is turned about its own axis when palms are down or up, deg; the forearm turns the rest.
const HUMERUS_TURN_DEG: f64 = 38.0;

/// How far a shoulder joint rises when the arm goes from [`LIFT_FROM_DEG`] to [`LIFT_TO_DEG`], mm (from memory).
const LIFT_MM: f64 = 36.0;
const LIFT_FROM_DEG: f64 = 45.0;
const LIFT_TO_DEG: f64 = 165.0;

/// How far it moves inward at the same time, mm: in motion capture of ten people with a bar overhead the acromion comes in by
/// 70 mm (UI-PRMD, Vakanski et al. 2018, Data 3(1), 2), the joint below it by less (from memory).
const LIFT_INWARD_MM: f64 = 45.0;

/// Segment lengths of one person, mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Build {
    /// Standing height.
    pub stature_mm: f64,
    /// Centre of the shoulder to centre of the elbow.
    pub upper_arm_mm: f64,
    /// Centre of the elbow to the midpoint between the styloid processes.
    pub forearm_mm: f64,
    /// Half the distance between the centres of the shoulder joints, arms hanging.
    pub shoulder_half_mm: f64,
    /// Half the distance between the greater trochanters, over the skin.
    pub hip_half_mm: f64,
    /// Middle of the hips to middle of the shoulder joints, seated.
    pub trunk_mm: f64,
    /// Hip to knee.
    pub thigh_mm: f64,
    /// Knee to ankle.
    pub shank_mm: f64,
    /// Ankle above the floor, barefoot.
    pub ankle_mm: f64,
}

impl Build {
    /// A person of `stature_mm` with the mean ratios, the arms longer by `arm_sd` standard deviations (rowers are
    /// long-limbed).
    ///
    /// # Source
    /// ANSUR II: Gordon et al. (2014), 2012 Anthropometric Survey of U.S. Army Personnel, NATICK/TR-15/007; ratios to
    /// stature person by person, averaged, with their standard deviations.
    #[must_use]
    pub fn from_stature(stature_mm: f64, arm_sd: f64) -> Self {
        Self {
            stature_mm,
            upper_arm_mm: (0.1909 + 0.0062 * arm_sd) * stature_mm,
            forearm_mm: (0.1511 + 0.0067 * arm_sd) * stature_mm,
            shoulder_half_mm: 0.2328 * stature_mm / 2.0 - ACROMION_INWARD_MM,
            hip_half_mm: 0.2036 * stature_mm / 2.0,
            trunk_mm: 0.3052 * stature_mm - ACROMION_TO_JOINT_MM - SITTING_LOSS_MM,
            thigh_mm: 0.2476 * stature_mm,
            shank_mm: 0.2267 * stature_mm,
            ankle_mm: 0.0405 * stature_mm,
        }
    }

    /// Shoulder to wrist with the elbow straight, mm.
    #[must_use]
    pub fn arm_mm(&self) -> f64 {
        self.upper_arm_mm + self.forearm_mm
    }
}

/// How one arm is held.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArmStance {
    /// Elevation from the trunk, deg, as design words it.
    pub elevation_deg: f64,
    /// Bend at the middle of the elbow, deg.
    pub bend_deg: f64,
}

/// How the person sits at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stance {
    /// Where the middle of the hips is, X and Z of the room, mm.
    pub shift_mm: [f64; 2],
    /// Turn about the vertical, positive to the person's left, deg.
    pub yaw_deg: f64,
    /// Lean of the line from mid-hip to the shoulder girdle, positive backward, deg.
    pub lean_deg: f64,
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// Where the shoulder girdle lies on the trunk, mm forward and up of its usual place.
    pub girdle_mm: [f64; 2],
    /// Left and right arm.
    pub arms: [ArmStance; 2],
    /// Distance between the wrists across the body, mm.
    pub grip_mm: f64,
    /// Nod, positive looks up, deg.
    pub nod_deg: f64,
}

/// Frames of an arm. In each, y runs along the segment away from the trunk and x to the palm's side (upper arm: to the
/// side the elbow bends to).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArmFrames {
    /// From the shoulder's centre to the elbow's.
    pub upper: Isometry3<f64>,
    /// From the elbow's centre to the wrist's.
    pub fore: Isometry3<f64>,
    /// From the wrist along the hand; z is along the bar.
    pub hand: Isometry3<f64>,
    /// Lateral epicondyle, world mm.
    pub epicondyle_mm: Vector3<f64>,
}

/// The posed body: world mm.
#[derive(Debug, Clone, PartialEq)]
pub struct Skeleton {
    /// Segment lengths.
    pub build: Build,
    /// From the person's own axes at mid-hip to the world.
    pub world_from_person: Isometry3<f64>,
    /// Origin mid-hip, y along the trunk.
    pub trunk: Isometry3<f64>,
    /// Origin between the ears, x forward, y up.
    pub head: Isometry3<f64>,
    /// Left and right.
    pub arms: [ArmFrames; 2],
    /// Thighs (hip to knee), left and right; y along the segment, x up.
    pub thighs: [Isometry3<f64>; 2],
    /// Shanks (knee to ankle), left and right; y along the segment, x forward.
    pub shanks: [Isometry3<f64>; 2],
    /// The bar's ends, on the person's left and right.
    pub bar_ends_mm: [Vector3<f64>; 2],
}

impl Skeleton {
    /// Poses a body.
    #[must_use]
    pub fn posed(build: &Build, stance: &Stance) -> Self {
        let hip_height = SEAT_MM + TROCHANTER_ABOVE_SEAT_MM;
        let world_from_person = Isometry3::from_parts(
            Translation3::new(stance.shift_mm[0], hip_height, stance.shift_mm[1]),
            UnitQuaternion::from_axis_angle(&Vector3::y_axis(), stance.yaw_deg.to_radians()),
        );
        let trunk_person = Isometry3::rotation(Vector3::z() * stance.lean_deg.to_radians()); // about +Z, +X turns up and +Y backward
        let girdle =
            trunk_person * nalgebra::Point3::new(stance.girdle_mm[0], build.trunk_mm + stance.girdle_mm[1], 0.0);
        let arms_person = Side::BOTH.map(|side| pose_arm(build, stance, side, &girdle.coords, &trunk_person));

        let grips = arms_person.map(|arm| (arm.hand * grip_in_hand()).coords);
        let along_bar = (grips[1] - grips[0]).normalize();
        let bar_middle = (grips[0] + grips[1]) / 2.0;
        let bar_ends = [-0.5, 0.5].map(|half| bar_middle + along_bar * (half * BAR_LENGTH_MM));

        let head_in_trunk = trunk_person * nalgebra::Point3::new(4.0, build.trunk_mm + 205.0, 0.0);
        let head_person = Isometry3::from_parts(
            Translation3::from(head_in_trunk.coords),
            UnitQuaternion::from_axis_angle(&Vector3::z_axis(), stance.nod_deg.to_radians()),
        );
        let knee_height = build.shank_mm + build.ankle_mm - hip_height;
        let legs = Side::BOTH.map(|side| {
            let hip = Vector3::new(0.0, 0.0, side.sign() * 0.48 * build.hip_half_mm);
            let spread = side.sign() * 70.0;
            let reach = (build.thigh_mm.powi(2) - knee_height.powi(2) - spread.powi(2)).sqrt();
            let knee = hip + Vector3::new(reach, knee_height, spread);
            let forward: f64 = 25.0;
            let ankle = knee + Vector3::new(forward, -(build.shank_mm.powi(2) - forward.powi(2)).sqrt(), 0.0);
            (frame_along(hip, knee, Vector3::y()), frame_along(knee, ankle, Vector3::x()))
        });
        let to_world = |frame: Isometry3<f64>| world_from_person * frame;
        Self {
            build: *build,
            world_from_person,
            trunk: to_world(trunk_person),
            head: to_world(head_person),
            arms: arms_person.map(|arm| ArmFrames {
                upper: to_world(arm.upper),
                fore: to_world(arm.fore),
                hand: to_world(arm.hand),
                epicondyle_mm: (world_from_person * nalgebra::Point3::from(arm.epicondyle_mm)).coords,
            }),
            thighs: legs.map(|(thigh, _)| to_world(thigh)),
            shanks: legs.map(|(_, shank)| to_world(shank)),
            bar_ends_mm: bar_ends.map(|end| (world_from_person * nalgebra::Point3::from(end)).coords),
        }
    }

    /// The centre of a shoulder joint, world mm.
    #[must_use]
    pub fn shoulder_joint_mm(&self, side: Side) -> Vector3<f64> {
        self.arms[index(side)].upper.translation.vector
    }

    /// The midpoint between the styloid processes of a wrist, world mm.
    #[must_use]
    pub fn wrist_mm(&self, side: Side) -> Vector3<f64> {
        self.arms[index(side)].hand.translation.vector
    }

    /// Where a landmark of the body or bar is, world mm. Those of the room are not the body's: for them, the middle of the hips.
    ///
    /// The shoulder is on the skin to the side of the joint's centre, so that in the sagittal plane it is the centre
    /// itself: the point about which the raised arm turns.
    #[must_use]
    pub fn landmark_mm(&self, landmark: Landmark) -> Vector3<f64> {
        let across = self.world_from_person.rotation * Vector3::z();
        let in_head = |x: f64, y: f64, z: f64| (self.head * nalgebra::Point3::new(x, y, z)).coords;
        match landmark {
            Landmark::Shoulder(side) => self.shoulder_joint_mm(side) + across * (side.sign() * DELTOID_MM),
            Landmark::Elbow(side) => self.arms[index(side)].epicondyle_mm,
            Landmark::Wrist(side) => self.wrist_mm(side),
            Landmark::Hip(side) => {
                self.world_from_person.translation.vector + across * (side.sign() * self.build.hip_half_mm)
            }
            Landmark::Eye(side) => {
                let [x, y, z] = EYE_CORNER_MM;
                in_head(x, y, side.sign() * z)
            }
            Landmark::Nose => in_head(NOSE_TIP_MM[0], NOSE_TIP_MM[1], 0.0),
            Landmark::Chin => in_head(CHIN_MM[0], CHIN_MM[1], 0.0),
            Landmark::BarEnd(side) => self.bar_ends_mm[index(side)],
            Landmark::PlumbTop | Landmark::PlumbBottom | Landmark::Datum => self.world_from_person.translation.vector,
        }
    }
}

/// The outer corner of the right eye in the head's frame, mm (from memory).
pub const EYE_CORNER_MM: [f64; 3] = [76.0, 17.0, 47.0];

/// The tip of the nose in the head's frame, mm.
pub const NOSE_TIP_MM: [f64; 2] = [122.0, -25.0];

/// The lowest point of the chin in the head's frame, mm.
pub const CHIN_MM: [f64; 2] = [80.0, -107.0];

/// Place of a side in arrays of both.
#[must_use]
pub const fn index(side: Side) -> usize {
    match side {
        Side::Left => 0,
        Side::Right => 1,
    }
}

/// Where the bar's axis passes through a closed hand, in the hand's frame, mm.
#[must_use]
pub fn grip_in_hand() -> nalgebra::Point3<f64> {
    nalgebra::Point3::new(BAR_PALMAR_MM, BAR_BEYOND_WRIST_MM, 0.0)
}

/// One arm in the person's frame. The wrist is placed at the elevation asked for, at the grip's distance from the middle.
fn pose_arm(build: &Build, stance: &Stance, side: Side, girdle: &Vector3<f64>, trunk: &Isometry3<f64>) -> ArmFrames {
    let arm = stance.arms[index(side)];
    let sign = side.sign();
    let lift = smooth_step((arm.elevation_deg - LIFT_FROM_DEG) / (LIFT_TO_DEG - LIFT_FROM_DEG));
    let shoulder = girdle
        + trunk.rotation * Vector3::new(-4.0 * lift, LIFT_MM * lift, 0.0)
        + Vector3::z() * (sign * (build.shoulder_half_mm - LIFT_INWARD_MM * lift));

    let (upper, fore) = (build.upper_arm_mm, build.forearm_mm);
    let span = (upper * upper + fore * fore + 2.0 * upper * fore * arm.bend_deg.to_radians().cos()).sqrt();
    let sideways = sign * stance.grip_mm / 2.0 - shoulder.z;
    let sagittal = (span * span - sideways * sideways).sqrt();
    let (sin, cos) = (arm.elevation_deg + stance.lean_deg).to_radians().sin_cos();
    let wrist = shoulder + Vector3::new(sin * sagittal, -cos * sagittal, sideways);

    // Arm hanging: `ahead` is forward and `lateral` away from the body. Turning the humerus outward takes the lateral
    // epicondyle backward.
    let along = (wrist - shoulder) / span;
    let ahead = (Vector3::new(cos, sin, 0.0) - along * along.dot(&Vector3::new(cos, sin, 0.0))).normalize();
    let lateral = along.cross(&ahead) * sign;
    let turn = match stance.rotation {
        Rotation::Internal => -HUMERUS_TURN_DEG,
        Rotation::External => HUMERUS_TURN_DEG,
    };
    let (turn_sin, turn_cos) = turn.to_radians().sin_cos();
    let to_epicondyle = lateral * turn_cos - ahead * turn_sin;
    let bends_to = ahead * turn_cos + lateral * turn_sin;
    let at_shoulder = ((upper * upper + span * span - fore * fore) / (2.0 * upper * span)).clamp(-1.0, 1.0).acos();
    let elbow = shoulder + (along * at_shoulder.cos() - bends_to * at_shoulder.sin()) * upper;

    let palm = match stance.rotation {
        Rotation::Internal => -Vector3::new(cos, sin, 0.0),
        Rotation::External => Vector3::new(cos, sin, 0.0),
    };
    let forward = wrist - elbow;
    let hand_along = Vector3::new(forward.x, forward.y, 0.0).normalize();
    ArmFrames {
        upper: frame_along(shoulder, elbow, bends_to),
        fore: frame_along(elbow, wrist, palm),
        hand: frame_along(wrist, wrist + hand_along, palm),
        epicondyle_mm: elbow + to_epicondyle * EPICONDYLE_MM,
    }
}

/// A frame at `from` whose y axis points to `to` and whose x axis is as near to `toward` as that allows.
pub(crate) fn frame_along(from: Vector3<f64>, to: Vector3<f64>, toward: Vector3<f64>) -> Isometry3<f64> {
    let y = (to - from).normalize();
    let x = (toward - y * y.dot(&toward)).normalize();
    let axes = Matrix3::from_columns(&[x, y, x.cross(&y)]);
    Isometry3::from_parts(
        Translation3::from(from),
        UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(axes)),
    )
}

/// 0 to 1 with level ends.
pub(crate) fn smooth_step(at: f64) -> f64 {
    let at = at.clamp(0.0, 1.0);
    at * at * (3.0 - 2.0 * at)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stance(elevation_deg: f64, rotation: Rotation) -> Stance {
        let arm = ArmStance { elevation_deg, bend_deg: 0.0 };
        Stance {
            shift_mm: [0.0, 0.0],
            yaw_deg: 0.0,
            lean_deg: 0.0,
            rotation,
            girdle_mm: [0.0; 2],
            arms: [arm; 2],
            grip_mm: 620.0,
            nod_deg: 0.0,
        }
    }

    #[test]
    fn arm_straight_ahead_is_level_and_its_own_length() {
        let build = Build::from_stature(1800.0, 0.0);
        let body = Skeleton::posed(&build, &stance(90.0, Rotation::Internal));
        let arm = body.wrist_mm(Side::Right) - body.shoulder_joint_mm(Side::Right);
        assert!((arm.norm() - 1800.0 * (0.1909 + 0.1511)).abs() < 1e-9);
        assert!(arm.y.abs() < 1e-9 && arm.x > 500.0);
    }

    #[test]
    fn palms_down_the_bar_lies_below_the_hand_and_palms_up_above() {
        let build = Build::from_stature(1800.0, 0.0);
        for (rotation, above_wrist) in [(Rotation::Internal, -BAR_PALMAR_MM), (Rotation::External, BAR_PALMAR_MM)] {
            let body = Skeleton::posed(&build, &stance(90.0, rotation));
            let middle = (body.bar_ends_mm[0] + body.bar_ends_mm[1]) / 2.0;
            let wrist = body.wrist_mm(Side::Left);
            assert!((middle.y - wrist.y - above_wrist).abs() < 1e-9);
            assert!((middle.x - wrist.x - BAR_BEYOND_WRIST_MM).abs() < 1e-9);
            assert!((body.bar_ends_mm[1] - body.bar_ends_mm[0] - Vector3::z() * BAR_LENGTH_MM).norm() < 1e-9);
        }
    }

    #[test]
    fn epicondyle_goes_forward_overhead_when_the_arm_is_turned_outward() {
        let build = Build::from_stature(1800.0, 0.0);
        let x = |rotation| {
            let body = Skeleton::posed(&build, &stance(180.0, rotation));
            body.arms[1].epicondyle_mm.x - body.arms[1].fore.translation.vector.x
        };
        let reach = EPICONDYLE_MM * HUMERUS_TURN_DEG.to_radians().sin();
        assert!((x(Rotation::External) - reach).abs() < 1e-9);
        assert!((x(Rotation::Internal) + reach).abs() < 1e-9);
    }

    #[test]
    fn feet_stand_on_the_floor() {
        let build = Build::from_stature(1790.0, 0.7);
        let body = Skeleton::posed(&build, &stance(60.0, Rotation::Internal));
        for shank in body.shanks {
            let ankle = shank * nalgebra::Point3::new(0.0, build.shank_mm, 0.0);
            assert!((ankle.y - build.ankle_mm).abs() < 1.0);
        }
    }
}
