//! Motion capture of real people seen by virtual cameras, where `TWOREACH_REFERENCE` names a folder that holds it under
//! `data/mocap`.

#[path = "../../benches/real_bodies/people.rs"]
mod people;

use std::fs;

use nalgebra::Vector3;
use serde_json::Value;
use tworeach::geometry::{BodyPoint, Side, elevation};

use people::{OVERHEAD_BAR, Trial, middle, place, read_trials};

/// The trials with the bar, one of each of ten people.
fn bar_trials() -> Vec<Trial> {
    let Some(folder) = people::folder() else {
        println!("skipped: TWOREACH_REFERENCE is not set");
        return Vec::new();
    };
    let trials = read_trials(&folder, OVERHEAD_BAR);
    assert_eq!(trials.len(), 10);
    trials
}

#[test]
fn markers_are_read_as_their_publisher_summed_them_up() {
    let trials = bar_trials();
    let Some(folder) = people::folder() else { return };
    // Means and population spreads worked out from the source by another program, rounded to 0.1 and 0.01 mm.
    let summary: Value = serde_json::from_slice(&fs::read(folder.join("uiprmd_summary.json")).unwrap()).unwrap();
    for trial in trials {
        let line = summary
            .as_array()
            .unwrap()
            .iter()
            .find(|line| line["movement"] == "overhead_bar_squat_m01" && line["subject"] == trial.person)
            .unwrap();
        assert_eq!(trial.poses.len(), usize::try_from(line["frames"].as_u64().unwrap()).unwrap());
        let widths: Vec<f64> = trial.poses.iter().map(|pose| (pose.knuckle[1] - pose.knuckle[0]).norm()).collect();
        let count = widths.len() as f64;
        let mean = widths.iter().sum::<f64>() / count;
        let sd = (widths.iter().map(|width| (width - mean).powi(2)).sum::<f64>() / count).sqrt();
        let stated = |index: usize| line["hand_distance_LFIN_RFIN_mm_mean_sd"][index].as_f64().unwrap();
        assert!((mean - stated(0)).abs() < 0.06 && (sd - stated(1)).abs() < 0.016, "{}: {mean} {sd}", trial.person);
    }
}

#[test]
fn truth_from_markers_follows_the_definitions() {
    for pose in bar_trials().iter().flat_map(|trial| &trial.poses) {
        let axes = pose.axes();
        assert!((axes.x.cross(&axes.y) - axes.z).norm() < 1e-12);
        // These people face ahead of the laboratory throughout, and their right is where it should be.
        assert!(axes.x.x > 0.9 && (pose.shoulder[1] - pose.shoulder[0]).z > 0.0);
        let body = |point: Vector3<f64>| BodyPoint(Vector3::new(point.dot(&axes.x), point.y, point.dot(&axes.z)));
        for side in Side::BOTH {
            let at = place(side);
            let defined = elevation::elevation(
                body(pose.shoulder[at]),
                body(pose.wrist[at]),
                body(middle(&pose.shoulder)),
                body(middle(&pose.hip)),
            )
            .unwrap();
            assert!((defined.deg() - pose.elevation_deg(side)).abs() < 1e-9);
        }
    }
}
