//! What the fit takes to be likely, beside what the markers of ten people show.

use std::collections::BTreeMap;

use nalgebra::Vector3;
use tworeach::geometry::Side;
use tworeach::pose::priors::{self, Prior};

use super::people::{Axes, Pose, Trial, middle, place};
use super::score::Subject;

/// One line of the table: what it is, the prior, and the value in a pose of a person of a standing height in mm.
struct Line {
    name: &'static str,
    prior: Prior,
    value: fn(&Pose, f64) -> f64,
}

const fn spread(sd: f64) -> Prior {
    Prior { mean: 0.0, sd }
}

/// The prior on half the distance between the shoulder marks, for a standing height of 1.7 m.
fn shoulder_half_prior() -> Prior {
    let half_mm = priors::SHOULDER_HALF_RATIO * priors::STATURE_MM.mean;
    let sd = (priors::SHOULDER_HALF_LOG_SD * half_mm).hypot(priors::SHOULDER_SKIN_MM.sd);
    Prior { mean: half_mm + priors::SHOULDER_SKIN_MM.mean, sd }
}

fn lines() -> Vec<Line> {
    let line = |name, prior, value| Line { name, prior, value };
    vec![
        line("log upper arm over prior's", spread(priors::UPPER_ARM_LOG_SD), |pose, stature| {
            let mean = Side::BOTH
                .map(|side| (pose.elbow[place(side)] - pose.shoulder[place(side)]).norm())
                .iter()
                .sum::<f64>()
                / 2.0;
            (mean / stature / priors::UPPER_ARM_RATIO).ln()
        }),
        line("log forearm over prior's", spread(priors::FOREARM_LOG_SD), |pose, stature| {
            let mean =
                Side::BOTH.map(|side| (pose.wrist[place(side)] - pose.elbow[place(side)]).norm()).iter().sum::<f64>()
                    / 2.0;
            (mean / stature / priors::FOREARM_RATIO).ln()
        }),
        line("log trunk over prior's", spread(priors::TRUNK_LOG_SD), |pose, stature| {
            ((middle(&pose.shoulder) - middle(&pose.hip)).norm() / stature / priors::TRUNK_RATIO).ln()
        }),
        line("half breadth of shoulder marks, mm", shoulder_half_prior(), |pose, _| {
            (pose.shoulder[1] - pose.shoulder[0]).norm() / 2.0
        }),
        line("right less left elevation, deg", priors::ASYMMETRY_DEG, |pose, _| {
            pose.elevation_deg(Side::Right) - pose.elevation_deg(Side::Left)
        }),
        line("turn of hips against shoulders, deg", priors::PELVIS_TWIST_DEG, |pose, _| {
            let axes = pose.axes();
            heading_deg(&axes, &(pose.hip[1] - pose.hip[0]))
                - heading_deg(&axes, &(pose.shoulder[1] - pose.shoulder[0]))
        }),
        line("lean of the trunk, deg", priors::LEAN_DEG, |pose, _| pose.lean_deg()),
        line("height of the hips, mm", spread(priors::SHIFT_SD_MM), |pose, _| middle(&pose.hip).dot(&pose.axes().y)),
        line("sideways lean, deg", priors::SIDE_LEAN_DEG, |pose, _| {
            let (axes, trunk) = (pose.axes(), middle(&pose.shoulder) - middle(&pose.hip));
            trunk.dot(&axes.z).atan2(trunk.dot(&axes.y)).to_degrees()
        }),
        line("elbow bend in plane, right, deg", priors::ELBOW_IN_PLANE_DEG, |pose, _| bend_deg(pose, Side::Right)[0]),
        line("elbow bend in plane, left, deg", priors::ELBOW_IN_PLANE_DEG, |pose, _| bend_deg(pose, Side::Left)[0]),
        line("elbow bend outward, right, deg", priors::ELBOW_OUT_OF_PLANE_DEG, |pose, _| {
            bend_deg(pose, Side::Right)[1]
        }),
        line("elbow bend outward, left, deg", priors::ELBOW_OUT_OF_PLANE_DEG, |pose, _| bend_deg(pose, Side::Left)[1]),
        line("arm out of its plane, deg", priors::OUTWARD_DEG, |pose, _| {
            let outward = |side: Side| {
                let arm = pose.wrist[place(side)] - pose.shoulder[place(side)];
                (arm.dot(&pose.axes().z) * side.sign() / arm.norm()).asin().to_degrees()
            };
            (outward(Side::Left) + outward(Side::Right)) / 2.0
        }),
        line("half grip, mm", priors::GRIP_HALF_MM, |pose, _| (pose.wrist[1] - pose.wrist[0]).norm() / 2.0),
        line("middle of the grip to the right, mm", priors::GRIP_CENTER_MM, |pose, _| {
            (middle(&pose.wrist) - middle(&pose.hip)).dot(&pose.axes().z)
        }),
        line("wrist to bar along the arm, mm", priors::HAND_ALONG_MM, |pose, _| hand_mm(pose)[0]),
        line("wrist to bar across the arm, mm", priors::HAND_ACROSS_MM, |pose, _| hand_mm(pose)[1]),
        line("bar against the wrists' line, yaw, deg", spread(priors::BAR_SKEW_SD_DEG), |pose, _| {
            skew_deg(pose).dot(&pose.axes().x)
        }),
        line("bar against the wrists' line, tilt, deg", spread(priors::BAR_SKEW_SD_DEG), |pose, _| skew_deg(pose).y),
    ]
}

/// Prints the table: prior, then mean and spread between people and the spread within one over the poses tried.
pub fn print(bar: &[Trial], statures_mm: &BTreeMap<u32, f64>) {
    println!("What priors say and ten people show: mean +- spread between people (root mean square spread within one)");
    println!("{:<40} {:>20} {:>30} {:>30}", "", "prior", "bar, standing", "bar, squatting");
    for line in lines() {
        let shown: Vec<String> = [Subject::BarStanding, Subject::BarSquat]
            .into_iter()
            .map(|subject| {
                let of_people: Vec<Vec<f64>> = bar
                    .iter()
                    .map(|trial| {
                        let stature = statures_mm[&trial.person];
                        subject.candidates(trial).iter().map(|pose| (line.value)(pose, stature)).collect()
                    })
                    .collect();
                let means: Vec<f64> = of_people.iter().map(|values| mean(values)).collect();
                let within = mean(&of_people.iter().map(|values| variance(values)).collect::<Vec<_>>()).sqrt();
                format!("{:.2} +- {:.2} ({within:.2})", mean(&means), variance(&means).sqrt())
            })
            .collect();
        let prior = format!("{:.2} +- {:.2}", line.prior.mean, line.prior.sd);
        println!("{:<40} {prior:>20} {:>30} {:>30}", line.name, shown[0], shown[1]);
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn variance(values: &[f64]) -> f64 {
    let middle = mean(values);
    values.iter().map(|value| (value - middle).powi(2)).sum::<f64>() / (values.len() as f64 - 1.0)
}

/// Turn of a line from the body's right, seen from above, deg.
fn heading_deg(axes: &Axes, line: &Vector3<f64>) -> f64 {
    line.dot(&axes.x).atan2(line.dot(&axes.z)).to_degrees()
}

/// The turn from upper arm to forearm, in the arm's sagittal plane and outward from it, deg: the turn's size along the part of
/// the difference of the two directions.
fn bend_deg(pose: &Pose, side: Side) -> [f64; 2] {
    let (at, axes) = (place(side), pose.axes());
    let arm = (pose.wrist[at] - pose.shoulder[at]).normalize();
    let elevation = pose.elevation_from_vertical_deg(side).to_radians();
    let across = axes.x * elevation.cos() + axes.y * elevation.sin();
    let outward = arm.cross(&across) * side.sign();
    let upper_arm = (pose.elbow[at] - pose.shoulder[at]).normalize();
    let forearm = (pose.wrist[at] - pose.elbow[at]).normalize();
    let chord = upper_arm - forearm;
    let size_deg = upper_arm.angle(&forearm).to_degrees() / chord.norm();
    [chord.dot(&across) * size_deg, chord.dot(&outward) * size_deg]
}

/// From the middle between the wrists to the bar, along the arms and across them in the sagittal plane, mm.
fn hand_mm(pose: &Pose) -> [f64; 2] {
    let axes = pose.axes();
    let hand = middle(&pose.knuckle) - middle(&pose.wrist);
    let mean_deg = Side::BOTH.map(|side| pose.elevation_from_vertical_deg(side)).iter().sum::<f64>() / 2.0;
    let (sin, cos) = mean_deg.to_radians().sin_cos();
    let (ahead, up) = (hand.dot(&axes.x), hand.dot(&axes.y));
    [ahead * sin - up * cos, ahead * cos + up * sin]
}

/// The direction of the bar less that of the line through the wrists, deg.
fn skew_deg(pose: &Pose) -> Vector3<f64> {
    ((pose.knuckle[1] - pose.knuckle[0]).normalize() - (pose.wrist[1] - pose.wrist[0]).normalize()) * 1f64.to_degrees()
}
