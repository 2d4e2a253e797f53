//! The body and the bar of one frame, from its parameters, in the body frame: X anterior, Y up, Z to the person's right, mm,
//! origin in the middle between the hips.
//!
//! Two straight-line arms on a stiff trunk. The arm axis runs from shoulder to wrist; the elbow lies beside it by a bend with
//! one component in the sagittal plane and one out of it. The bar lies beyond both wrists. Skin offsets separate each mark
//! from its joint.

use super::dual::Scalar;
use super::layout::{frame, local, reach, visit};
use super::observation::Rotation;
use super::priors::{BAR_HALF_MM, ELEVATION_DEG, UPRIGHT_DEG};
use super::priors::{FOREARM_RATIO, HIP_HALF_RATIO, SHOULDER_HALF_RATIO, TRUNK_RATIO, UPPER_ARM_RATIO};
use super::vector::Vector3;

/// Local parameters of one frame.
pub(super) type Parameters<S> = [S; local::COUNT];

/// Body and bar of one frame. Pairs are left, right.
#[derive(Debug, Clone, Copy)]
pub(super) struct Body<S> {
    pub shoulder: [Vector3<S>; 2],
    pub shoulder_mark: [Vector3<S>; 2],
    pub elbow_mark: [Vector3<S>; 2],
    pub wrist: [Vector3<S>; 2],
    pub wrist_mark: [Vector3<S>; 2],
    pub hip_mark: [Vector3<S>; 2],
    pub mid_shoulder: Vector3<S>,
    pub bar_center: Vector3<S>,
    pub bar_direction: Vector3<S>,
    pub bar_half_mm: S,
    /// Trunk lean, rad, positive backward.
    pub lean: S,
    /// What a trunk that leans far adds to an elevation from it, rad: 0 as far as the marks tell, with its spread.
    pub lean_error: S,
    /// Elevation of each arm from the downward plumb line, rad.
    pub elevation: [S; 2],
    /// Bend of each elbow in and out of the arm's sagittal plane, rad, at the marks.
    pub bend: [[S; 2]; 2],
    /// Shoulder to elbow plus elbow to wrist, mm.
    pub arm_length_mm: S,
}

/// The index of a rotation in a pair of parameters.
pub(super) const fn rotation_index(rotation: Rotation) -> usize {
    match rotation {
        Rotation::Internal => 0,
        Rotation::External => 1,
    }
}

impl<S: Scalar> Body<S> {
    /// Body and bar for these parameters.
    pub(super) fn from_parameters(p: &Parameters<S>, rotation: Rotation) -> Self {
        let of_visit = |index: usize| p[local::VISIT + index];
        let of_reach = |index: usize| p[local::REACH + index];
        let of_frame = |index: usize| p[local::FRAME + index];
        let stature = of_visit(visit::STATURE_MM);
        let length = |ratio: f64, log: usize| stature * of_visit(log).exp() * ratio;
        let upper_arm = length(UPPER_ARM_RATIO, visit::LOG_UPPER_ARM);
        let forearm = length(FOREARM_RATIO, visit::LOG_FOREARM);
        let trunk = length(TRUNK_RATIO, visit::LOG_TRUNK);
        let shoulder_half = length(SHOULDER_HALF_RATIO, visit::LOG_SHOULDER_HALF);
        let hip_half = length(HIP_HALF_RATIO, visit::LOG_HIP_HALF);
        let bar_half_mm = of_visit(visit::LOG_BAR_HALF).exp() * BAR_HALF_MM;
        let zero = S::constant(0.0);
        let turn = rotation_index(rotation);

        let lean = of_visit(visit::LEAN) + of_reach(reach::LEAN) + of_frame(frame::LEAN);
        let side_lean = of_reach(reach::SIDE_LEAN);
        let upright = side_lean.cos();
        let axis = Vector3::new(-(lean.sin() * upright), lean.cos() * upright, side_lean.sin());
        let past = |elevation: S| elevation + -ELEVATION_DEG.mean.to_radians();
        // The shoulder blades rise with the arms, and the joints with them.
        let mean_past = past((of_frame(frame::ELEVATION[0]) + of_frame(frame::ELEVATION[1])) * 0.5);
        let mid_shoulder = axis.scaled(trunk + of_visit(visit::SHOULDER_LIFT_MM) * mean_past);
        // The line of the shoulders is square to the trunk in the frontal plane.
        let shoulder_line = Vector3::new(zero, -side_lean.sin(), side_lean.cos());
        let twist = of_visit(visit::PELVIS_TWIST);
        let hip_line = Vector3::new(twist.sin(), zero, twist.cos());
        let hip_offset = Vector3::new(of_visit(visit::HIP_OFFSET_MM[0]), of_visit(visit::HIP_OFFSET_MM[1]), zero);

        let arm = |side: usize| {
            let sign = if side == 0 { -1.0 } else { 1.0 };
            let elevation = of_frame(frame::ELEVATION[side]);
            let outward = of_frame(frame::OUTWARD[side]);
            let in_plane = of_visit(visit::ELBOW_IN_PLANE[turn]) + of_frame(frame::ELBOW_IN_PLANE[side]);
            let out_of_plane = of_visit(visit::ELBOW_OUT_OF_PLANE[turn]) + of_frame(frame::ELBOW_OUT_OF_PLANE[side]);
            let (sin_e, cos_e) = (elevation.sin(), elevation.cos());
            let (sin_o, cos_o) = (outward.sin(), outward.cos());
            let along = Vector3::new(cos_o * sin_e, -(cos_o * cos_e), sin_o * sign);
            let across = Vector3::new(cos_e, sin_e, zero);
            let aside = along.cross(across);
            // Two sides of a triangle and the bend at the elbow give the third side and the elbow's distance from it.
            let bend_square = in_plane * in_plane + out_of_plane * out_of_plane;
            let product = upper_arm * forearm;
            let reach_mm =
                (upper_arm * upper_arm + forearm * forearm + product * bend_square.cos_of_square() * 2.0).sqrt();
            let height_per_rad = product * bend_square.sinc_of_square() * reach_mm.recip();
            let foot = (reach_mm * reach_mm + upper_arm * upper_arm - forearm * forearm) * reach_mm.recip() * 0.5;
            let shoulder = mid_shoulder + shoulder_line.scaled(shoulder_half * sign);
            let elbow_mark = shoulder
                + along.scaled(foot)
                + across.scaled(height_per_rad * in_plane)
                + aside.scaled((height_per_rad * out_of_plane + of_visit(visit::ELBOW_SKIN_MM)) * sign);
            let wrist = shoulder + along.scaled(reach_mm);
            let past = past(elevation);
            let shoulder_mark = shoulder
                + Vector3::new(
                    of_visit(visit::SHOULDER_OFFSET_MM[0]) + of_visit(visit::SHOULDER_SLIDE_MM[0]) * past,
                    of_visit(visit::SHOULDER_OFFSET_MM[1]) + of_visit(visit::SHOULDER_SLIDE_MM[1]) * past,
                    of_visit(visit::SHOULDER_SKIN_MM) * sign,
                );
            let wrist_mark = wrist
                + along.scaled(of_visit(visit::WRIST_OFFSET_MM[0]))
                + across.scaled(of_visit(visit::WRIST_OFFSET_MM[1]));
            let hip_mark = hip_line.scaled(hip_half * sign) + hip_offset;
            let bend = bend_at(shoulder_mark, elbow_mark, wrist_mark, [across, aside]);
            Arm { elevation, bend, shoulder, shoulder_mark, elbow_mark, wrist, wrist_mark, hip_mark }
        };
        let (left, right) = (arm(0), arm(1));

        let mean_elevation = (left.elevation + right.elevation) * 0.5;
        let (sin_e, cos_e) = (mean_elevation.sin(), mean_elevation.cos());
        let along_mm = of_visit(visit::HAND_ALONG_MM[turn]);
        let across_mm = of_visit(visit::HAND_ACROSS_MM[turn]);
        let hand = Vector3::new(sin_e * along_mm + cos_e * across_mm, sin_e * across_mm - cos_e * along_mm, zero);
        let wrist_line = (right.wrist - left.wrist).unit();
        let bar_direction =
            (wrist_line + Vector3::new(of_frame(frame::BAR_YAW), of_frame(frame::BAR_TILT), zero)).unit();
        let bar_center = (left.wrist + right.wrist).scaled(S::constant(0.5))
            + hand
            + bar_direction.scaled(of_frame(frame::BAR_SHIFT_MM));
        Self {
            shoulder: [left.shoulder, right.shoulder],
            shoulder_mark: [left.shoulder_mark, right.shoulder_mark],
            elbow_mark: [left.elbow_mark, right.elbow_mark],
            wrist: [left.wrist, right.wrist],
            wrist_mark: [left.wrist_mark, right.wrist_mark],
            hip_mark: [left.hip_mark, right.hip_mark],
            mid_shoulder,
            bar_center,
            bar_direction,
            bar_half_mm,
            lean,
            lean_error: of_visit(visit::LEAN_SOFTNESS) * (lean.value().abs() - UPRIGHT_DEG.to_radians()).max(0.0),
            elevation: [left.elevation, right.elevation],
            bend: [left.bend, right.bend],
            arm_length_mm: upper_arm + forearm,
        }
    }

    /// Distance between the wrists along the bar, mm.
    pub(super) fn grip_width_mm(&self) -> S {
        (self.wrist[1] - self.wrist[0]).dot(self.bar_direction)
    }
}

/// The bend at the middle of three marks: the angle between the two lines, with its components along two unit vectors
/// across the arm.
fn bend_at<S: Scalar>(from: Vector3<S>, at: Vector3<S>, to: Vector3<S>, across: [Vector3<S>; 2]) -> [S; 2] {
    let (first, second) = ((at - from).unit(), (to - at).unit());
    let chord = second - first;
    // The chord of an angle a is 2 sin(a/2) long; the ratio is even in the angle, so its slope vanishes where it is straight.
    let half_sine = (0.5 * chord.norm().value()).min(1.0);
    let angle_per_chord = if half_sine < STRAIGHT { 1.0 } else { half_sine.asin() / half_sine };
    across.map(|axis| -(chord.dot(axis) * angle_per_chord))
}

/// Below this sine of half the bend, the angle is its chord to double precision.
const STRAIGHT: f64 = 1e-8;

struct Arm<S> {
    elevation: S,
    bend: [S; 2],
    shoulder: Vector3<S>,
    shoulder_mark: Vector3<S>,
    elbow_mark: Vector3<S>,
    wrist: Vector3<S>,
    wrist_mark: Vector3<S>,
    hip_mark: Vector3<S>,
}
