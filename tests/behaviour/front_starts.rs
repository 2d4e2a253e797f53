//! A reach filmed from the front and marked on one frame: its holds are found by the bar, and measured where they are held.

use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;
use tworeach::video::{Clip, EncodeOptions, Encoder};

use crate::case_files::{code, stderr, stdout, tworeach};
use crate::sample_case::json;

/// The sample is held from frame 45 to 72.
const HELD: usize = 59;
/// The bar's ends are found to 0.5 px (95 % within 1 px) in rendered front views: see `cargo bench --bench found_bar`.
const BAR_PX: f64 = 1.5;

fn samples() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/front")
}

/// A case with one reach, marked without error on a frame to start from, in a clip put together from the frames of a sample's reach.
fn started(reach: usize, marked: usize, frames: &[usize]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(samples().join("case.toml")).unwrap();
    let second = text.match_indices("[[reach]]").nth(1).unwrap().0;
    fs::write(folder.path().join("case.toml"), &text[..second]).unwrap();
    fs::copy(samples().join("phone.camera.json"), folder.path().join("phone.camera.json")).unwrap();
    let pictures: Vec<_> = Clip::open(&samples().join(["before-internal.mp4", "before-external.mp4"][reach]))
        .unwrap()
        .frames()
        .unwrap()
        .map(|frame| frame.unwrap().image)
        .collect();
    let path = folder.path().join("before-internal.mp4");
    let mut encoder = Encoder::create(&path, EncodeOptions { crf: 18, ..EncodeOptions::new(1280, 720) }).unwrap();
    frames.iter().for_each(|frame| encoder.push(&pictures[*frame]).unwrap());
    encoder.finish().unwrap();
    let place = frames.iter().position(|frame| *frame == marked).unwrap();
    let time_s = Clip::open(&path).unwrap().frame_times_s().unwrap()[place];
    let landmarks = &truth(reach, marked)["landmarks"];
    let points: serde_json::Map<String, Value> = landmarks
        .as_object()
        .unwrap()
        .iter()
        .filter(|(name, _)| !name.contains("hip"))
        .map(|(name, landmark)| (name.clone(), landmark["px"].clone()))
        .collect();
    let marks = serde_json::json!({
        "schema": "tworeach/marks/1", "image_size": [1280, 720],
        "frames": [{ "time_s": time_s, "source": "hand", "use": "start", "points": points }]
    });
    fs::write(folder.path().join("before-internal.marks.json"), marks.to_string()).unwrap();
    folder
}

fn truth(reach: usize, frame: usize) -> Value {
    json(&samples().join("truth.json"))["reaches"][reach]["frames"][frame].clone()
}

#[test]
fn one_frame_in_a_hold_from_the_front_measures_every_raise() {
    // up, held, down, up again, held
    let frames: Vec<usize> = (20..88).chain(12..75).collect();
    let folder = started(0, HELD, &frames);
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let output = tworeach(&["measure", &path("case.toml"), "--json", "--out", &path("out")]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let result: Value = serde_json::from_slice(&output.stdout).unwrap();
    let reach = &result["reaches"][0];
    assert_eq!(reach["raises"], 2, "{reach} {}", stderr(&output));
    let held = reach["checks"].as_array().unwrap().iter().find(|check| check["name"] == "held").unwrap();
    assert_eq!(held["status"], "ok", "{held}");
    // frames 45 to 72 of the sample, at 30 a second
    let time_s = reach["end_range_time_s"].as_f64().unwrap();
    let in_first = (45.0 - 20.0) / 30.0..=(72.0 - 20.0) / 30.0;
    let in_second = (68.0 + 45.0 - 12.0) / 30.0..=(68.0 + 72.0 - 12.0) / 30.0;
    assert!(in_first.contains(&time_s) || in_second.contains(&time_s), "{time_s}");
    let known = &json(&samples().join("truth.json"))["reaches"][0]["end_range"];
    let mean = ["elevation_from_vertical_left_deg", "elevation_from_vertical_right_deg"]
        .map(|name| known[name].as_f64().unwrap())
        .iter()
        .sum::<f64>()
        / 2.0;
    let elevation = &reach["elevation_from_vertical_deg"];
    let end = |field: &str| elevation[field].as_f64().unwrap();
    assert!((end("lo")..=end("hi")).contains(&mean), "{elevation}, truth {mean}");
    assert!(Path::new(&path("out/course-before-internal-front.svg")).exists());
    let chart = fs::read_to_string(path("out/course-before-internal-front.svg")).unwrap();
    assert!(chart.contains("not the elevation") && !chart.contains("degrees"), "the chart names what it shows");
}

#[test]
fn marks_followed_from_the_front_lie_on_the_bar_in_its_hold() {
    let frames: Vec<usize> = (30..75).collect();
    let folder = started(0, HELD, &frames);
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let tracked = [
        "track",
        &path("before-internal.mp4"),
        "--marks",
        &path("before-internal.marks.json"),
        "--out",
        &path("tracked"),
    ];
    let output = tworeach(&tracked);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert!(stdout(&output).contains("lengths of the bar above the shoulders"), "{}", stdout(&output));
    let marks = json(&folder.path().join("tracked/marks.json"));
    let frame = &marks["frames"][0];
    assert_eq!((&frame["source"], marks["frames"].as_array().unwrap().len()), (&"track".into(), 1));
    let at = (frame["time_s"].as_f64().unwrap() * 30.0).round();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a frame of a short clip")]
    let landmarks = &truth(0, frames[at as usize])["landmarks"];
    for name in ["bar_left", "bar_right"] {
        let [x, y] = [0, 1].map(|axis| frame["points"][name][axis].as_f64().unwrap());
        let [true_x, true_y] = [0, 1].map(|axis| landmarks[name]["px"][axis].as_f64().unwrap());
        let off_px = (x - true_x).hypot(y - true_y);
        assert!(off_px < BAR_PX, "{name} is {off_px} px off");
    }
}

#[test]
fn marks_with_arms_down_from_the_front_are_asked_for_in_a_hold() {
    let frames: Vec<usize> = (0..75).collect();
    let folder = started(1, 0, &frames);
    let case = folder.path().join("case.toml");
    let output = tworeach(&["measure", case.to_str().unwrap(), "--json"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let result: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(result["reaches"][0]["elevation_from_vertical_deg"].is_null(), "{result}");
    let said = stderr(&output);
    assert!(said.contains("so the reach is not measured"), "{said}");
    assert!(
        said.contains("are not in a hold, and the arms show another side there") && said.contains("held from"),
        "{said}"
    );
}

/// The sample case with both reaches marked without error on a frame of their hold, both shoulders of the first one lower by this, px.
fn both_started(lower_px: f64) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    for file in ["case.toml", "phone.camera.json", "before-internal.mp4", "before-external.mp4"] {
        fs::copy(samples().join(file), folder.path().join(file)).unwrap();
    }
    for (reach, name) in ["before-internal", "before-external"].iter().enumerate() {
        let marked = truth(reach, HELD);
        let mut points = serde_json::Map::new();
        for (landmark, seen) in marked["landmarks"].as_object().unwrap() {
            let mut px = seen["px"].clone();
            if reach == 0 && landmark.contains("shoulder") {
                px[1] = (px[1].as_f64().unwrap() + lower_px).into();
            }
            if !landmark.contains("hip") {
                points.insert(landmark.clone(), px);
            }
        }
        let marks = serde_json::json!({
            "schema": "tworeach/marks/1", "image_size": [1280, 720],
            "frames": [{ "time_s": marked["time_s"], "source": "hand", "use": "start", "points": points }]
        });
        fs::write(folder.path().join(format!("{name}.marks.json")), marks.to_string()).unwrap();
    }
    folder
}

#[test]
fn shoulders_marked_too_low_from_the_front_make_no_call_of_their_own() {
    let truth = json(&samples().join("truth.json"));
    let true_deg = |reach: usize| truth["reaches"][reach]["end_range"]["elevation_deg"].as_f64().unwrap();
    let true_difference = true_deg(1) - true_deg(0);
    for lower_px in [-20.0, 0.0, 20.0] {
        let folder = both_started(lower_px);
        let output = tworeach(&["measure", folder.path().join("case.toml").to_str().unwrap(), "--json"]);
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        let result: Value = serde_json::from_slice(&output.stdout).unwrap();
        let comparison = &result["comparisons"][0];
        let end = |field: &str| comparison["difference_elevation_deg"][field].as_f64().unwrap();
        let held = end("lo")..=end("hi");
        assert!(held.contains(&true_difference), "{lower_px} px: {held:?}, truth {true_difference}");
        // 2.8 deg: the external reach is the higher one
        assert_ne!(comparison["call"], "positive", "{lower_px} px");
        let checks = result["reaches"][0]["checks"].as_array().unwrap();
        let agree = checks.iter().find(|check| check["name"] == "marks_agree").unwrap();
        assert_eq!(agree["text"].to_string().contains("shoulder"), lower_px != 0.0, "{lower_px} px: {agree}");
    }
}

#[test]
fn bar_that_is_not_where_it_was_marked_is_said_so() {
    let frames: Vec<usize> = (0..75).collect();
    let folder = started(0, HELD, &frames);
    let path = folder.path().join("before-internal.marks.json");
    let mut marks = json(&path);
    for end in ["bar_left", "bar_right"] {
        let y = &mut marks["frames"][0]["points"][end][1];
        *y = (y.as_f64().unwrap() + 40.0).into();
    }
    fs::write(&path, marks.to_string()).unwrap();
    let [case, out] = ["case.toml", "out"].map(|name| folder.path().join(name));
    let output = tworeach(&["measure", case.to_str().unwrap(), "--out", out.to_str().unwrap()]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let said = stderr(&output);
    assert!(said.contains("The bar is not surely found between the marks on its ends at"), "{said}");
    assert!(!stdout(&output).contains("Single raise"), "{}", stdout(&output));
}
