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
//! # Source
//! UI-PRMD: Vakanski, Jun, Paul and Baker (2018), A data set of human body movements for physical rehabilitation exercises,
//! Data 3(1), 2. Hip joint: Bell, Pedersen and Brand (1990), A comparison of the accuracy of several hip center location
//! prediction methods, Journal of Biomechanics 23(6), 617-621 (coefficients from memory; truth and marks share the point, so
//! that an error of theirs cancels).

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use nalgebra::Vector3;
use tworeach::geometry::Side;

/// Hip joint from the middle of the front pelvis markers, in their distance: sideways, back, down.
const HIP_SIDEWAYS: f64 = 0.36;
const HIP_BACK: f64 = 0.19;
const HIP_DOWN: f64 = 0.30;
/// The trials of a squat with both hands on a bar overhead.
pub const OVERHEAD_BAR: &str = "uiprmd_overhead_bar_squat_m01.csv";

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
}

/// One recorded trial.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    pub person: u32,
    pub repetition: u32,
    /// Only the frames in which no marker was lost.
    pub poses: Vec<Pose>,
}

/// The folder with the marker tables, under the one that `TWOREACH_REFERENCE` names.
pub fn folder() -> Option<PathBuf> {
    std::env::var_os("TWOREACH_REFERENCE").map(|folder| PathBuf::from(folder).join("data/mocap"))
}

/// Reads all trials of a movement from its file.
pub fn read_trials(folder: &Path, file: &str) -> Vec<Trial> {
    let path = folder.join(file);
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
