//! The true quantities of a posed body, by the definitions the results are reported under. Worked out here from joint
//! positions alone; nothing is taken from the rooms that measure.

use std::collections::BTreeMap;

use nalgebra::Vector3;
use serde::Serialize;
use serde_json::{Value, json};

use crate::demo::body::{BAR_LENGTH_MM, Skeleton};
use crate::demo::motion::Raise;
use crate::demo::scenario::{FRAME_RATE, SHUTTER_S, Scenario};
use crate::geometry::{Angle, ImagePoint, Landmark, Side};
use crate::pose::Rotation;
use crate::screen::Occasion;

/// The name of the truth file's format.
pub const TRUTH_SCHEMA: &str = "tworeach/truth/1";

/// What is true at one instant.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TrueQuantities {
    /// Mean of both arms' elevation from the trunk, deg.
    pub elevation_deg: f64,
    /// Left arm's elevation from the trunk, deg.
    pub elevation_left_deg: f64,
    /// Right arm's elevation from the trunk, deg.
    pub elevation_right_deg: f64,
    /// Left arm's elevation from the plumb line, deg.
    pub elevation_from_vertical_left_deg: f64,
    /// Right arm's elevation from the plumb line, deg.
    pub elevation_from_vertical_right_deg: f64,
    /// Lean of the trunk from the plumb line, positive backward, deg.
    pub trunk_lean_deg: f64,
    /// Left: 180 minus the angle at the elbow between shoulder and wrist, of the landmarks in space, deg.
    pub elbow_flexion_left_deg: f64,
    /// Right: the same.
    pub elbow_flexion_right_deg: f64,
    /// Height of the bar's middle above the datum, mm.
    pub bar_height_mm: f64,
    /// The same in lengths of the right arm, shoulder to wrist.
    pub bar_height_arm: f64,
    /// Tilt of the bar in the frontal plane, positive when the right end is higher, deg.
    pub bar_tilt_deg: f64,
    /// Distance between the wrists along the bar, mm.
    pub grip_width_mm: f64,
}

impl TrueQuantities {
    /// The quantities of a posed body; `landmark_mm` says where each landmark is in the world.
    #[must_use]
    pub fn of(body: &Skeleton, landmark_mm: impl Fn(Landmark) -> Vector3<f64>) -> Self {
        let landmark = |landmark| body.world_from_person.inverse_transform_point(&landmark_mm(landmark).into()).coords;
        let middle = |of: fn(Side) -> Landmark| (landmark(of(Side::Left)) + landmark(of(Side::Right))) / 2.0;

        let caudal = middle(Landmark::Hip) - middle(Landmark::Shoulder);
        let lean = sagittal_angle(&caudal);
        let from_vertical = Side::BOTH
            .map(|side| sagittal_angle(&(landmark(Landmark::Wrist(side)) - landmark(Landmark::Shoulder(side)))));
        let elevation = from_vertical.map(|angle| (angle - lean).wrapped_as_elevation().deg());
        let flexion = Side::BOTH.map(|side| {
            let elbow = landmark(Landmark::Elbow(side));
            let to_shoulder = landmark(Landmark::Shoulder(side)) - elbow;
            let to_wrist = landmark(Landmark::Wrist(side)) - elbow;
            180.0 - Angle::between(&to_shoulder, &to_wrist).deg()
        });
        let bar = landmark(Landmark::BarEnd(Side::Right)) - landmark(Landmark::BarEnd(Side::Left));
        let bar_height_mm = middle(Landmark::BarEnd).y - landmark(Landmark::Datum).y;
        let arm_mm = (body.wrist_mm(Side::Right) - body.shoulder_joint_mm(Side::Right)).norm();
        let between_wrists = landmark(Landmark::Wrist(Side::Right)) - landmark(Landmark::Wrist(Side::Left));
        Self {
            elevation_deg: (elevation[0] + elevation[1]) / 2.0,
            elevation_left_deg: elevation[0],
            elevation_right_deg: elevation[1],
            elevation_from_vertical_left_deg: from_vertical[0].wrapped_as_elevation().deg(),
            elevation_from_vertical_right_deg: from_vertical[1].wrapped_as_elevation().deg(),
            trunk_lean_deg: lean.wrapped().deg(),
            elbow_flexion_left_deg: flexion[0],
            elbow_flexion_right_deg: flexion[1],
            bar_height_mm,
            bar_height_arm: bar_height_mm / arm_mm,
            bar_tilt_deg: Angle::from_rad(bar.y.atan2(bar.z)).deg(),
            grip_width_mm: between_wrists.dot(&bar.normalize()),
        }
    }
}

/// Where a landmark truly is in one frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LandmarkTruth {
    /// In the picture, px.
    pub image: ImagePoint,
    /// In the world, mm.
    pub world_mm: Vector3<f64>,
    /// Nothing hides it.
    pub is_seen: bool,
}

/// What is true of one frame, at the middle of its exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameTruth {
    /// Presentation time, s.
    pub time_s: f64,
    /// The quantities.
    pub quantities: TrueQuantities,
    /// The landmarks by name.
    pub landmarks: BTreeMap<&'static str, LandmarkTruth>,
}

/// What is true of one reach.
#[derive(Debug, Clone, PartialEq)]
pub struct ReachTruth {
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// The clip.
    pub file: String,
    /// The raises in time.
    pub raises: Vec<Raise>,
    /// Time of the marked frame, s.
    pub end_range_time_s: f64,
    /// The quantities at that time.
    pub end_range: TrueQuantities,
    /// All frames.
    pub frames: Vec<FrameTruth>,
}

/// What is true of a rendered visit.
#[derive(Debug, Clone, PartialEq)]
pub struct TruthFile {
    head: Value,
    reaches: Vec<ReachTruth>,
}

impl TruthFile {
    /// The truth of a scenario's rendered reaches.
    #[must_use]
    pub fn of(scenario: &Scenario, reaches: Vec<ReachTruth>) -> Self {
        let camera = &scenario.camera;
        let rows: Vec<[f64; 3]> = (0..3).map(|row| camera.camera_from_world.row(row).transpose().into()).collect();
        let head = json!({
            "schema": TRUTH_SCHEMA,
            "world_frame": "mm; X where the person faces, Y up from the floor, Z to the person's right",
            "build": scenario.build,
            "bar_length_mm": BAR_LENGTH_MM,
            "frame_rate": FRAME_RATE,
            "shutter_s": SHUTTER_S,
            "camera": { "position_mm": camera.position_mm.as_slice(), "camera_from_world": rows, "lens": camera.lens },
        });
        Self { head, reaches }
    }

    /// The text of the file, one frame a line: `px` is x and y, `mm` is X, Y and Z of the world.
    #[must_use]
    pub fn to_json(&self) -> String {
        let mut reaches = Vec::new();
        for reach in &self.reaches {
            let frames: Vec<String> = reach.frames.iter().map(|frame| format!("      {}", frame_json(frame))).collect();
            reaches.push(format!(
                "    {{ \"occasion\": {}, \"rotation\": {}, \"file\": {}, \"raises\": {},\n    \"end_range_time_s\": {}, \
                 \"end_range\": {},\n    \"frames\": [\n{}\n    ] }}",
                json!(reach.occasion),
                json!(reach.rotation),
                json!(reach.file),
                json!(reach.raises),
                rounded(reach.end_range_time_s, 4),
                quantities_json(&reach.end_range),
                frames.join(",\n")
            ));
        }
        let head = self.head.to_string();
        let head = head.strip_suffix('}').unwrap_or(&head);
        format!("{head},\n  \"reaches\": [\n{}\n  ] }}\n", reaches.join(",\n"))
    }
}

fn frame_json(frame: &FrameTruth) -> Value {
    let landmarks: BTreeMap<&str, Value> = frame
        .landmarks
        .iter()
        .map(|(name, truth)| {
            let mm: Vec<f64> = truth.world_mm.iter().map(|value| rounded(*value, 1)).collect();
            (*name, json!({ "px": [rounded(truth.image.x, 3), rounded(truth.image.y, 3)], "mm": mm, "seen": truth.is_seen }))
        })
        .collect();
    json!({
        "time_s": rounded(frame.time_s, 4),
        "elevation_left_deg": rounded(frame.quantities.elevation_left_deg, 3),
        "elevation_right_deg": rounded(frame.quantities.elevation_right_deg, 3),
        "trunk_lean_deg": rounded(frame.quantities.trunk_lean_deg, 3),
        "bar_height_mm": rounded(frame.quantities.bar_height_mm, 2),
        "landmarks": landmarks,
    })
}

fn quantities_json(quantities: &TrueQuantities) -> Value {
    let mut value = json!(quantities);
    for field in value.as_object_mut().into_iter().flat_map(serde_json::Map::values_mut) {
        if let Some(number) = field.as_f64() {
            *field = json!(rounded(number, 4));
        }
    }
    value
}

fn rounded(value: f64, places: i32) -> f64 {
    let scale = 10.0_f64.powi(places);
    (value * scale).round() / scale
}

/// Angle in the sagittal plane from straight down, positive to the front.
fn sagittal_angle(direction: &Vector3<f64>) -> Angle {
    Angle::from_rad(direction.x.atan2(-direction.y))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::body::{ArmStance, Build, Stance};
    use crate::pose::Rotation;

    fn truth(stance: &Stance) -> TrueQuantities {
        let body = Skeleton::posed(&Build::from_stature(1800.0, 0.0), stance);
        TrueQuantities::of(&body, |landmark| body.landmark_mm(landmark))
    }

    fn level(elevation_deg: f64) -> Stance {
        let arm = ArmStance { elevation_deg, bend_deg: 0.0 };
        Stance {
            shift_mm: [0.0, 0.0],
            yaw_deg: 0.0,
            lean_deg: 0.0,
            rotation: Rotation::Internal,
            girdle_mm: [0.0; 2],
            arms: [arm; 2],
            grip_mm: 600.0,
            nod_deg: 0.0,
        }
    }

    #[test]
    fn hanging_ahead_and_overhead_are_0_90_and_180() {
        // The shoulder's own small way backward when it lifts leans the trunk by less than half a degree; the arm's
        // direction from the plumb line is exact.
        for elevation_deg in [0.0, 90.0, 180.0] {
            let found = truth(&level(elevation_deg));
            assert!((found.elevation_from_vertical_right_deg - elevation_deg).abs() < 1e-9);
            assert!((found.elevation_deg + found.trunk_lean_deg - elevation_deg).abs() < 1e-9);
            assert!(found.trunk_lean_deg.abs() < 0.5);
            assert!(found.bar_tilt_deg.abs() < 1e-9);
        }
    }

    #[test]
    fn turning_and_moving_the_person_changes_no_angle() {
        let here = truth(&level(150.0));
        let there = truth(&Stance { shift_mm: [40.0, -25.0], yaw_deg: 5.0, ..level(150.0) });
        assert!((here.elevation_deg - there.elevation_deg).abs() < 1e-9);
        assert!((here.grip_width_mm - there.grip_width_mm).abs() < 1e-9);
        assert!((here.bar_height_mm - there.bar_height_mm).abs() < 1e-9);
    }

    #[test]
    fn a_higher_right_arm_tilts_the_bar_up_on_the_right() {
        let mut stance = level(120.0);
        stance.arms[1].elevation_deg = 122.0;
        assert!(truth(&stance).bar_tilt_deg > 0.5);
    }

    #[test]
    fn leaning_back_is_positive_lean() {
        let found = truth(&Stance { lean_deg: 5.0, ..level(30.0) });
        assert!((found.trunk_lean_deg - 5.0).abs() < 1e-9);
    }
}
