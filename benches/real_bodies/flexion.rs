//! Trials of one arm flexed forward, without a bar, of one more person. They have no wrist and no hip: the shoulder is the joint's centre,
//! which no skin slides over; the wrist lies in line with upper arm and elbow, the hips below the thorax along its own axis, and the
//! left arm mirrors the right one.
//!
//! # Source
//! Seth, Dong, Matias and Delp (2019), Muscle contributions to upper-extremity movement and work from a musculoskeletal model of the
//! human shoulder, Frontiers in Neurorobotics 13, 90.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use nalgebra::Vector3;

use super::people::{Pose, Trial};

const FLEXION_FILE: &str = "flexion_thorax_frame.csv";
/// The person of these trials, after the ten of the others.
pub const FLEXION_PERSON: u32 = 11;
/// Forearm over upper arm, and trunk (shoulder to hip) over upper arm: 0.146, 0.288 and 0.186 of standing height (Drillis and Contini,
/// through Winter).
const FOREARM_RATIO: f64 = 0.146 / 0.186;
const TRUNK_RATIO: f64 = 0.288 / 0.186;
/// Distance between the hip joints over that of the shoulders (Drillis and Contini, through Winter: 0.191 and 0.259).
const HIP_RATIO: f64 = 0.191 / 0.259;

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
