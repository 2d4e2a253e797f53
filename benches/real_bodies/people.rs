//! Motion capture of ten people, read from marker tables, and what the markers say of each pose by the definitions that results
//! are reported under.
//!
//! Room frame: X ahead of the laboratory, Y up, Z to the right of a person who faces ahead, mm. Each landmark is one point, and
//! both the marks and the truth are made from it:
//!
//! | landmark | from the markers |
//! |---|---|
//! | shoulder | `SHO`, on the acromion |
//! | elbow | `ELB`, on the lateral epicondyle |
//! | wrist | middle of `WRA` and `WRB`, the two sides of the wrist |
//! | hip | centre of the hip joint by regression from `ASI` and `PSI`; its mark lies sideways of it, on the skin |
//! | bar | the line through both `FIN`, on the knuckles |
//!
//! A trial of forward flexion of one more person has no wrist and no hip ([`read_flexion`]). There the shoulder is the joint's centre, which
//! no skin slides over; the wrist lies in line with upper arm and elbow, the hips below the thorax along its own axis, and the left arm
//! mirrors the right one.
//!
//! # Source
//! UI-PRMD: Vakanski, Jun, Paul and Baker (2018), A data set of human body movements for physical rehabilitation exercises,
//! Data 3(1), 2. Hip joint: Bell, Pedersen and Brand (1990), A comparison of the accuracy of several hip center location
//! prediction methods, Journal of Biomechanics 23(6), 617-621 (coefficients from memory; truth and marks share the point, so
//! that an error of theirs cancels). Flexion: Seth, Dong, Matias and Delp (2019), Muscle contributions to upper-extremity movement
//! and work from a musculoskeletal model of the human shoulder, Frontiers in Neurorobotics 13, 90.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use nalgebra::Vector3;
use tworeach::geometry::Side;

/// Hip joint from the middle of the front pelvis markers, in their distance: sideways, back, down.
const HIP_SIDEWAYS: f64 = 0.36;
const HIP_BACK: f64 = 0.19;
const HIP_DOWN: f64 = 0.30;
/// Height of the seventh cervical vertebra over standing height (from memory of ANSUR II, NATICK/TR-15/007).
const CERVICAL_RATIO: f64 = 0.863;
const FLEXION_FILE: &str = "flexion_thorax_frame.csv";
/// Forearm over upper arm, and trunk (shoulder to hip) over upper arm: 0.146, 0.288 and 0.186 of standing height (Drillis and Contini,
/// through Winter).
const FOREARM_RATIO: f64 = 0.146 / 0.186;
const TRUNK_RATIO: f64 = 0.288 / 0.186;
/// Distance between the hip joints over that of the shoulders (Drillis and Contini, through Winter: 0.191 and 0.259).
const HIP_RATIO: f64 = 0.191 / 0.259;

/// The two movements that come nearest to the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Movement {
    /// A squat with both hands on a bar overhead.
    OverheadBar,
    /// One arm raised sideways to overhead, standing, without a bar.
    OneArm,
}

impl Movement {
    const fn file(self) -> &'static str {
        match self {
            Self::OverheadBar => "uiprmd_overhead_bar_squat_m01.csv",
            Self::OneArm => "uiprmd_abduction_m07.csv",
        }
    }
}

/// The markers' landmarks at one instant. Pairs are left, right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pose {
    pub index: usize,
    pub shoulder: [Vector3<f64>; 2],
    pub elbow: [Vector3<f64>; 2],
    pub wrist: [Vector3<f64>; 2],
    pub knuckle: [Vector3<f64>; 2],
    pub hip: [Vector3<f64>; 2],
    /// Unit vector to the right along the front of the pelvis.
    pub pelvis_right: Vector3<f64>,
    pub cervical: Vector3<f64>,
}

/// Axes of a pose in the sense of the body frame: X ahead, Y up the plumb line, Z to the person's right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Axes {
    pub x: Vector3<f64>,
    pub y: Vector3<f64>,
    pub z: Vector3<f64>,
}

/// The person of the flexion trials, after the ten of the others.
pub const FLEXION_PERSON: u32 = 11;

/// Left first.
pub const fn place(side: Side) -> usize {
    match side {
        Side::Left => 0,
        Side::Right => 1,
    }
}

pub fn middle(pair: &[Vector3<f64>; 2]) -> Vector3<f64> {
    (pair[0] + pair[1]) / 2.0
}

impl Pose {
    /// The body frame's axes: sideways is the mean of the lines through shoulders and hips, seen from above.
    pub fn axes(&self) -> Axes {
        let level = |pair: &[Vector3<f64>; 2]| {
            let line = pair[1] - pair[0];
            Vector3::new(line.x, 0.0, line.z).normalize()
        };
        let z = (level(&self.shoulder) + level(&self.hip)).normalize();
        Axes { x: Vector3::y().cross(&z), y: Vector3::y(), z }
    }

    /// Angle of a line in the sagittal plane from straight down, through the front, deg within [-90, 270).
    fn sagittal_deg(&self, line: &Vector3<f64>) -> f64 {
        let axes = self.axes();
        let deg = line.dot(&axes.x).atan2(-line.dot(&axes.y)).to_degrees();
        if deg < -90.0 { deg + 360.0 } else { deg }
    }

    /// From mid-shoulder to mid-hip, positive backward, deg.
    pub fn lean_deg(&self) -> f64 {
        self.sagittal_deg(&(middle(&self.hip) - middle(&self.shoulder)))
    }

    /// Shoulder to wrist from the downward plumb line, deg.
    pub fn elevation_from_vertical_deg(&self, side: Side) -> f64 {
        self.sagittal_deg(&(self.wrist[place(side)] - self.shoulder[place(side)]))
    }

    /// Shoulder to wrist from the caudal trunk axis, deg.
    pub fn elevation_deg(&self, side: Side) -> f64 {
        self.elevation_from_vertical_deg(side) - self.lean_deg()
    }

    pub fn mean_elevation_deg(&self) -> f64 {
        Side::BOTH.map(|side| self.elevation_deg(side)).iter().sum::<f64>() / 2.0
    }
}

/// One recorded trial.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    pub person: u32,
    pub repetition: u32,
    /// Only the frames in which no marker was lost.
    pub poses: Vec<Pose>,
}

impl Trial {
    /// The side of the arm that is raised highest.
    pub fn raised_side(&self) -> Side {
        let highest = |side: Side| {
            self.poses
                .iter()
                .map(|pose| pose.wrist[place(side)].y - pose.shoulder[place(side)].y)
                .fold(f64::MIN, f64::max)
        };
        if highest(Side::Right) >= highest(Side::Left) { Side::Right } else { Side::Left }
    }
}

/// The folder with the marker tables, under the one that `TWOREACH_REFERENCE` names.
pub fn folder() -> Option<PathBuf> {
    std::env::var_os("TWOREACH_REFERENCE").map(|folder| PathBuf::from(folder).join("data/mocap"))
}

/// Reads the trials of forward flexion, in the thorax frame with its Y axis taken for the plumb line.
pub fn read_flexion(folder: &Path) -> Vec<Trial> {
    let path = folder.join(FLEXION_FILE);
    let text = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().expect("a table has a header").split(',').collect();
    let column: BTreeMap<&str, usize> = header.iter().enumerate().map(|(index, name)| (*name, index)).collect();
    let mut trials: Vec<Trial> = Vec::new();
    let mut last = String::new();
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let number = |name: &str| cells[column[name]].parse::<f64>().expect("a number");
        let marker = |name: &str| Vector3::from(["x", "y", "z"].map(|axis| number(&format!("{name}_{axis}_mm"))));
        if cells[column["trial"]] != last {
            last = cells[column["trial"]].to_owned();
            let repetition = u32::try_from(trials.len() + 1).expect("a few trials");
            trials.push(Trial { person: FLEXION_PERSON, repetition, poses: Vec::new() });
        }
        let index = cells[column["frame"]].parse().expect("a whole number");
        let trial = trials.last_mut().expect("the first line began a trial");
        let pose = flexion_pose(index, &marker);
        // The hips stay where the first frame, arm hanging, puts them.
        let hip = trial.poses.first().map_or(pose.hip, |first| first.hip);
        trial.poses.push(Pose { hip, ..pose });
    }
    trials
}

fn flexion_pose(index: usize, marker: &impl Fn(&str) -> Vector3<f64>) -> Pose {
    let middle_z = marker("centijc7").z;
    let mirrored = |right: Vector3<f64>| [Vector3::new(right.x, right.y, 2.0 * middle_z - right.z), right];
    let (shoulder, elbow) = (marker("gu"), marker("centelbow"));
    let upper_arm = elbow - shoulder;
    let hip_half = (shoulder.z - middle_z) * HIP_RATIO;
    let hip = Vector3::new(shoulder.x, shoulder.y - TRUNK_RATIO * upper_arm.norm(), middle_z + hip_half);
    let wrist = mirrored(elbow + upper_arm * FOREARM_RATIO);
    Pose {
        index,
        shoulder: mirrored(shoulder),
        elbow: mirrored(marker("EpL")),
        wrist,
        knuckle: wrist,
        hip: mirrored(hip),
        pelvis_right: Vector3::z(),
        cervical: marker("centijc7"),
    }
}

/// Reads all trials of a movement.
pub fn read_trials(folder: &Path, movement: Movement) -> Vec<Trial> {
    let path = folder.join(movement.file());
    let text = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let mut lines = text.lines();
    let header: Vec<&str> = lines.next().expect("a table has a header").split(',').collect();
    let column: BTreeMap<&str, usize> = header.iter().enumerate().map(|(index, name)| (*name, index)).collect();
    let mut trials: Vec<Trial> = Vec::new();
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let count = |name: &str| cells[column[name]].parse::<u32>().expect("a whole number");
        let (person, repetition) = (count("subject"), count("rep"));
        if trials.last().is_none_or(|trial| (trial.person, trial.repetition) != (person, repetition)) {
            trials.push(Trial { person, repetition, poses: Vec::new() });
        }
        let marker = |name: &str| {
            let [x, y, z] =
                ["x", "y", "z"].map(|axis| cells[column[format!("{name}_{axis}_mm").as_str()]].parse::<f64>());
            // The laboratory's axes are ahead, left, up.
            Some(Vector3::new(x.ok()?, z.ok()?, -y.ok()?))
        };
        let index = usize::try_from(count("frame")).expect("a small number");
        if let (Some(pose), Some(trial)) = (pose(index, &marker), trials.last_mut()) {
            trial.poses.push(pose);
        }
    }
    trials
}

fn pose(index: usize, marker: &impl Fn(&str) -> Option<Vector3<f64>>) -> Option<Pose> {
    let pair = |name: &str| Some([marker(&format!("L{name}"))?, marker(&format!("R{name}"))?]);
    let (front, back) = (pair("ASI")?, pair("PSI")?);
    let wrists = [pair("WRA")?, pair("WRB")?];
    let width = (front[1] - front[0]).norm();
    let right = (front[1] - front[0]) / width;
    let towards_back = middle(&back) - middle(&front);
    let behind = (towards_back - right * towards_back.dot(&right)).normalize();
    let down = right.cross(&behind);
    let hip = [-1.0, 1.0]
        .map(|sign| middle(&front) + (right * (sign * HIP_SIDEWAYS) + behind * HIP_BACK + down * HIP_DOWN) * width);
    Some(Pose {
        index,
        shoulder: pair("SHO")?,
        elbow: pair("ELB")?,
        wrist: [0, 1].map(|side| (wrists[0][side] + wrists[1][side]) / 2.0),
        knuckle: pair("FIN")?,
        hip,
        pelvis_right: right,
        cervical: marker("C7")?,
    })
}

/// Standing height of a person, mm, from the highest that the seventh cervical vertebra was in any of the trials.
pub fn stature_mm(trials: &[&Trial]) -> f64 {
    trials.iter().flat_map(|trial| &trial.poses).map(|pose| pose.cervical.y).fold(0.0, f64::max) / CERVICAL_RATIO
}
