//! The two cases: who is filmed, by which camera, and what each reach is like. All of it is invented.

use nalgebra::Vector3;

use crate::demo::body::{Build, Skeleton};
use crate::demo::lens::{SceneCamera, SceneLens};
use crate::demo::motion::Course;
use crate::demo::studio::RoomMarks;
use crate::demo::truth::TrueQuantities;
use crate::geometry::{Landmark, Side};
use crate::pose::{Rotation, View};
use crate::screen::{Occasion, ResultSide};

/// Which case is rendered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DemoCase {
    /// Filmed from the right: a short latissimus before the stretch, cleared after it.
    Side,
    /// Filmed from the front: no difference to speak of.
    Front,
}

impl DemoCase {
    /// Both cases.
    pub const ALL: [Self; 2] = [Self::Side, Self::Front];

    /// The case's folder.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Side => "side",
            Self::Front => "front",
        }
    }
}

/// One reach to render.
#[derive(Debug, Clone, PartialEq)]
pub struct ReachPlan {
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// How it is done; the rotation is in it.
    pub course: Course,
}

impl ReachPlan {
    /// Name of the reach's files, without an ending.
    #[must_use]
    pub const fn name(&self) -> &'static str {
        match (self.occasion, self.course.rotation) {
            (Occasion::Before, Rotation::Internal) => "before-internal",
            (Occasion::Before, Rotation::External) => "before-external",
            (Occasion::After, Rotation::Internal) => "after-internal",
            (Occasion::After, Rotation::External) => "after-external",
        }
    }
}

/// A visit to render.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Which case.
    pub case: DemoCase,
    /// The rower.
    pub build: Build,
    /// The side with the complaint.
    pub affected_side: ResultSide,
    /// From where it is filmed.
    pub view: View,
    /// The camera, on a tripod for all reaches.
    pub camera: SceneCamera,
    /// The room's landmarks.
    pub room: RoomMarks,
    /// Landmarks that a person would mark, where they are seen.
    pub marked: Vec<Landmark>,
    /// The reaches.
    pub reaches: Vec<ReachPlan>,
    /// Seeds noise and marking.
    pub seed: u64,
}

/// Frames per second.
pub const FRAME_RATE: u32 = 30;

/// How long the shutter is open, s: a phone indoors.
pub const SHUTTER_S: f64 = 0.012;

/// Spread of a placed mark, px at [`MARK_SD_AT_PX`], along each axis.
pub const MARK_SD_PX: f64 = 1.5;

/// The picture's long side for which [`MARK_SD_PX`] is stated, px.
pub const MARK_SD_AT_PX: f64 = 1280.0;

/// Times a rater marks the end range of a reach, each anew.
pub const MARK_REPEATS: u32 = 3;

/// The phone's lens at 1280 x 720.
const LENS: SceneLens = SceneLens {
    image_size: [1280, 720],
    fx: 1022.0,
    fy: 1022.0,
    cx: 641.3,
    cy: 358.4,
    distortion: [0.095, -0.21, 0.0004, -0.0006, 0.11],
};

/// What a calibration of that lens would leave uncertain, in the order fx fy cx cy k1 k2 p1 p2 k3.
pub const LENS_U: [f64; 9] = [1.5, 1.5, 2.0, 2.0, 0.004, 0.02, 0.0002, 0.0002, 0.03];

impl Scenario {
    /// A case, filmed `width_px` wide at 16:9.
    #[must_use]
    pub fn of(case: DemoCase, width_px: u32) -> Self {
        let lens = LENS.scaled_to(width_px);
        let build = Build::from_stature(1790.0, 0.7);
        match case {
            DemoCase::Side => Self {
                case,
                build,
                affected_side: ResultSide::Right,
                view: View::Side,
                camera: SceneCamera::looking_at(
                    lens,
                    Vector3::new(570.0, 810.0, 3040.0),
                    Vector3::new(110.0, 972.0, 0.0),
                    0.8,
                ),
                room: RoomMarks::SIDE,
                marked: side_marks(),
                reaches: vec![
                    reach(Occasion::Before, Rotation::Internal, 153.4, [0.0, 0.0], 0.4, 0.2),
                    reach(Occasion::Before, Rotation::External, 146.2, [6.0, -9.0], -1.1, 0.9),
                    reach(Occasion::After, Rotation::Internal, 154.3, [-7.0, 14.0], 1.6, 0.3),
                    reach(Occasion::After, Rotation::External, 154.8, [-3.0, 8.0], 0.7, 0.6),
                ],
                seed: 0x5207_0001,
            },
            DemoCase::Front => Self {
                case,
                build,
                affected_side: ResultSide::Both,
                view: View::Front,
                camera: SceneCamera::looking_at(
                    lens,
                    Vector3::new(3260.0, 1250.0, -220.0),
                    Vector3::new(0.0, 945.0, 15.0),
                    -0.6,
                ),
                room: RoomMarks::FRONT,
                marked: front_marks(),
                reaches: vec![
                    reach(Occasion::Before, Rotation::Internal, 146.0, [2.0, 5.0], -0.8, 0.5),
                    reach(Occasion::Before, Rotation::External, 148.6, [-4.0, -6.0], 0.9, 0.6),
                ],
                seed: 0x5207_0002,
            },
        }
    }

    /// Where a landmark is marked in this view, world mm.
    ///
    /// From the front a person places the shoulder over the joint's centre as the camera sees it, not on the outer side.
    #[must_use]
    pub fn landmark_mm(&self, body: &Skeleton, landmark: Landmark) -> Vector3<f64> {
        match landmark {
            Landmark::Shoulder(side) if self.view == View::Front => body.shoulder_joint_mm(side),
            Landmark::PlumbTop => self.room.plumb_top_mm,
            Landmark::PlumbBottom => self.room.plumb_bottom_mm,
            Landmark::Datum => self.room.datum_mm,
            _ => body.landmark_mm(landmark),
        }
    }

    /// What is true of a pose in this view.
    #[must_use]
    pub fn truth(&self, body: &Skeleton) -> TrueQuantities {
        TrueQuantities::of(body, |landmark| self.landmark_mm(body, landmark))
    }
}

/// A reach with one raise: right arm's elevation held, the seat's shift X and Z, mm, the turn and the lean, deg.
fn reach(
    occasion: Occasion,
    rotation: Rotation,
    held_deg: f64,
    shift_mm: [f64; 2],
    yaw_deg: f64,
    lean_deg: f64,
) -> ReachPlan {
    let phase_rad = held_deg * 1.7 + shift_mm[0];
    let raises = Course::raises_to(&[held_deg]);
    let course = Course {
        rotation,
        raises,
        left_higher_deg: 0.7,
        girdle_mm: [0.0; 2],
        bend_deg: 1.0,
        grip_mm: 620.0,
        shift_mm,
        yaw_deg,
        lean_deg,
        phase_rad,
    };
    ReachPlan { occasion, course }
}

fn side_marks() -> Vec<Landmark> {
    use Landmark::{BarEnd, Chin, Datum, Elbow, Eye, Hip, Nose, PlumbBottom, PlumbTop, Shoulder, Wrist};
    let right = Side::Right;
    vec![
        Shoulder(right),
        Elbow(right),
        Wrist(right),
        Hip(right),
        Wrist(Side::Left),
        Eye(right),
        Nose,
        Chin,
        BarEnd(Side::Left),
        BarEnd(right),
        PlumbTop,
        PlumbBottom,
        Datum,
    ]
}

fn front_marks() -> Vec<Landmark> {
    use Landmark::{BarEnd, Chin, Datum, Elbow, Eye, Nose, PlumbBottom, PlumbTop, Shoulder, Wrist};
    let mut marks: Vec<Landmark> = Side::BOTH
        .into_iter()
        .flat_map(|side| [Shoulder(side), Elbow(side), Wrist(side), Eye(side), BarEnd(side)])
        .collect();
    marks.extend([Nose, Chin, PlumbTop, PlumbBottom, Datum]);
    marks
}

#[cfg(test)]
mod tests {
    use super::*;

    fn held(scenario: &Scenario, reach: usize) -> TrueQuantities {
        let course = &scenario.reaches[reach].course;
        let middle_s = f64::midpoint(course.raises[0].hold_start_s, course.raises[0].hold_end_s);
        scenario.truth(&Skeleton::posed(&scenario.build, &course.stance_at(middle_s)))
    }

    #[test]
    fn side_case_is_positive_before_and_cleared_after_by_its_truth() {
        let scenario = Scenario::of(DemoCase::Side, 1280);
        let right = |reach| held(&scenario, reach).elevation_right_deg;
        let (before, after) = (right(1) - right(0), right(3) - right(2));
        assert!((-8.0..-6.0).contains(&before), "{before}");
        assert!((-1.0..2.0).contains(&after), "{after}");
        assert!(right(3) - right(1) > 3.0);
    }

    #[test]
    fn front_case_is_negative_by_its_truth() {
        let scenario = Scenario::of(DemoCase::Front, 1280);
        let difference =
            held(&scenario, 1).elevation_from_vertical_right_deg - held(&scenario, 0).elevation_from_vertical_right_deg;
        assert!(difference > 0.0, "{difference}");
    }

    #[test]
    fn elbows_are_straight_and_the_grip_is_the_same_in_every_reach() {
        for case in DemoCase::ALL {
            let scenario = Scenario::of(case, 1280);
            let truths: Vec<_> = (0..scenario.reaches.len()).map(|reach| held(&scenario, reach)).collect();
            for truth in &truths {
                assert!(truth.elbow_flexion_right_deg < 12.0, "{}", truth.elbow_flexion_right_deg);
                assert!((truth.grip_width_mm / truths[0].grip_width_mm - 1.0).abs() < 0.01);
                assert!(truth.bar_tilt_deg.abs() < 2.0);
            }
        }
    }
}
