//! `tworeach demo`, and the sample cases that come with the project.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;
use tworeach::video::Media;

fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tworeach")).args(arguments).output().unwrap()
}

fn text(path: &Path) -> String {
    fs::read_to_string(path).unwrap()
}

fn json(path: &Path) -> Value {
    serde_json::from_str(&text(path)).unwrap()
}

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips")
}

/// Sum of each file's bytes by name: enough to see that nothing was touched.
fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .map(|path| (path.clone(), fs::read(path).unwrap()))
        .collect()
}

#[test]
fn a_small_front_case_is_rendered_whole_and_never_overwritten() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("samples");
    let arguments = ["demo", "--out", out.to_str().unwrap(), "--case", "front", "--width", "160"];
    let done = run(&arguments);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    assert!(done.stderr.is_empty(), "progress belongs on a terminal only");
    assert!(String::from_utf8(done.stdout).unwrap().contains("case.toml"));

    let case = out.join("front");
    let names: Vec<String> =
        contents(&case).into_keys().map(|path| path.file_name().unwrap().to_string_lossy().into_owned()).collect();
    assert_eq!(
        names,
        [
            "before-external.marks.json",
            "before-external.mp4",
            "before-internal.marks.json",
            "before-internal.mp4",
            "case.toml",
            "phone.camera.json",
            "truth.json"
        ]
    );
    assert_eq!(fs::read_dir(&out).unwrap().count(), 1, "no working folder stays behind");
    let checked = run(&["check", case.join("case.toml").to_str().unwrap()]);
    assert!(checked.status.success(), "{}", String::from_utf8_lossy(&checked.stdout));

    let before = contents(&case);
    let again = run(&arguments);
    assert_eq!(again.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&again.stderr).contains("exists already"));
    assert_eq!(contents(&case), before);
}

#[test]
fn a_width_that_cannot_be_encoded_is_refused_with_what_is_accepted() {
    let folder = tempfile::tempdir().unwrap();
    for width in ["100", "1281", "100000"] {
        let refused = run(&["demo", "--out", folder.path().to_str().unwrap(), "--width", width]);
        assert_eq!(refused.status.code(), Some(1));
        assert!(String::from_utf8_lossy(&refused.stderr).contains("multiple of 32"));
    }
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    fs::write(&file, "in the way").unwrap();
    let refused = run(&["demo", "--out", file.join("samples").to_str().unwrap(), "--width", "160"]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("cannot write"));
}

#[test]
fn samples_have_a_true_frame_for_every_frame_of_the_clips() {
    for case in ["side", "front"] {
        let folder = samples().join(case);
        let truth = json(&folder.join("truth.json"));
        for reach in truth["reaches"].as_array().unwrap() {
            let Media::Clip(mut clip) = Media::open(&folder.join(reach["file"].as_str().unwrap())).unwrap() else {
                panic!("a clip was expected")
            };
            let times = clip.survey().unwrap().frame_times_s.clone();
            let frames = reach["frames"].as_array().unwrap();
            assert_eq!(times.len(), frames.len());
            for (time_s, frame) in times.iter().zip(frames) {
                // Times are written to a tenth of a millisecond.
                assert!((time_s - frame["time_s"].as_f64().unwrap()).abs() < 1e-4);
            }
        }
    }
}

#[test]
fn samples_are_marked_as_well_as_a_careful_hand_marks() {
    // All errors of all marks against the truth, in both axes: their mean square is 1.5 px squared within three standard
    // errors, which for n normal numbers are sqrt(2 / n) of it each, and a 12th of the 0.1 px step squared is negligible.
    let mut squares = Vec::new();
    for case in ["side", "front"] {
        let folder = samples().join(case);
        let truth = json(&folder.join("truth.json"));
        for reach in truth["reaches"].as_array().unwrap() {
            let file = reach["file"].as_str().unwrap().replace(".mp4", ".marks.json");
            for marked in json(&folder.join(file))["frames"].as_array().unwrap() {
                let same_time = |frame: &&Value| {
                    (frame["time_s"].as_f64().unwrap() - marked["time_s"].as_f64().unwrap()).abs() < 1e-3
                };
                let frame = reach["frames"].as_array().unwrap().iter().find(same_time).unwrap();
                for (name, point) in marked["points"].as_object().unwrap() {
                    for axis in 0..2 {
                        let true_px = frame["landmarks"][name]["px"][axis].as_f64().unwrap();
                        squares.push((point[axis].as_f64().unwrap() - true_px).powi(2));
                    }
                }
            }
        }
    }
    let count = squares.len() as f64;
    let mean = squares.iter().sum::<f64>() / count;
    assert!(squares.len() > 300);
    assert!((mean / 2.25 - 1.0).abs() < 3.0 * (2.0 / count).sqrt(), "mean square {mean} px² of {count}");
}

#[test]
fn samples_stay_below_six_megabytes() {
    let bytes: usize = ["side", "front"]
        .iter()
        .flat_map(|case| contents(&samples().join(case)).into_values())
        .map(|file| file.len())
        .sum();
    assert!(bytes < 6_000_000, "{bytes} bytes");
}

/// Measures a sample case and returns its result.
fn measured(case: &str) -> Value {
    let done = run(&["measure", samples().join(case).join("case.toml").to_str().unwrap(), "--json"]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&done.stdout).unwrap()
}

/// The true value of a quantity at the end range of each reach, in the case's order.
fn true_values(case: &str, quantity: &str) -> Vec<f64> {
    let truth = json(&samples().join(case).join("truth.json"));
    let reaches = truth["reaches"].as_array().unwrap();
    reaches.iter().map(|reach| reach["end_range"][quantity].as_f64().unwrap()).collect()
}

fn assert_holds(interval: &Value, truth: f64, what: &str) {
    let (lo, hi) = (interval["lo"].as_f64().unwrap(), interval["hi"].as_f64().unwrap());
    assert!((lo..=hi).contains(&truth), "{what}: {lo} to {hi} does not hold the true {truth}");
}

#[test]
fn side_sample_is_positive_then_cleared_and_its_intervals_hold_the_truth() {
    let result = measured("side");
    let truth = true_values("side", "elevation_right_deg");
    for (reach, truth) in result["reaches"].as_array().unwrap().iter().zip(&truth) {
        assert_holds(&reach["elevation_deg"], *truth, reach["file"].as_str().unwrap());
    }
    let comparisons = result["comparisons"].as_array().unwrap();
    assert_eq!(comparisons[0]["call"], "positive");
    assert_holds(&comparisons[0]["difference_elevation_deg"], truth[1] - truth[0], "before");
    assert_eq!(comparisons[1]["call"], "negative");
    assert_holds(&comparisons[1]["difference_elevation_deg"], truth[3] - truth[2], "after");
    assert_eq!(result["retest"]["outcome"], "improved");
    assert_eq!(result["retest"]["cleared"], true);
    assert_holds(&result["retest"]["change_elevation_deg"], truth[3] - truth[1], "change");
}

#[test]
fn front_sample_is_negative_and_its_interval_holds_the_truth() {
    let result = measured("front");
    let (left, right) = (
        true_values("front", "elevation_from_vertical_left_deg"),
        true_values("front", "elevation_from_vertical_right_deg"),
    );
    let truth = f64::midpoint(left[1] - left[0], right[1] - right[0]);
    let comparison = &result["comparisons"][0];
    assert_eq!(comparison["call"], "negative");
    assert_holds(&comparison["difference_elevation_deg"], truth, "front");
    assert!(result["retest"].is_null());
}
