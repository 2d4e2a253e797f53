//! Reaches marked on a frame to start from: followed, their raises found, and measured at end range, on the sample clips.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;
use tworeach::video::{Clip, EncodeOptions, Encoder};

use crate::case_files::{code, stderr, stdout, tworeach};
use crate::sample_case::{self, json};

/// The reaches of the sample case, in its order.
const NAMES: [&str; 4] = ["before-internal", "before-external", "after-internal", "after-external"];

/// Marks that are seen at rest and through the raise.
const MARKED: [&str; 7] =
    ["right_shoulder", "right_elbow", "right_wrist", "right_hip", "plumb_top", "plumb_bottom", "datum"];

/// Places of the marks without error on a frame of a sample clip.
fn places(truth: &Value, reach: usize, frame: usize) -> serde_json::Map<String, Value> {
    let landmarks = &truth["reaches"][reach]["frames"][frame]["landmarks"];
    MARKED.iter().map(|name| ((*name).to_owned(), landmarks[*name]["px"].clone())).collect()
}

fn write_start(folder: &Path, name: &str, time_s: f64, points: &serde_json::Map<String, Value>) {
    let marks = serde_json::json!({
        "schema": "tworeach/marks/1", "image_size": [1280, 720],
        "frames": [{ "time_s": time_s, "source": "hand", "use": "start", "points": points }]
    });
    fs::write(folder.join(format!("{name}.marks.json")), marks.to_string()).unwrap();
}

/// The sample case with all its reaches marked on their first frame, arms down.
fn started() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    sample_case::copy_to(folder.path());
    let truth = json(&sample_case::folder().join("truth.json"));
    for (reach, name) in NAMES.iter().enumerate() {
        write_start(folder.path(), name, 0.0, &places(&truth, reach, 0));
    }
    folder
}

fn case(folder: &Path) -> String {
    folder.join("case.toml").to_str().unwrap().to_owned()
}

/// A case with the first reach alone, whose clip is put together from frames of the sample's.
fn with_clip(frames: &[usize]) -> (tempfile::TempDir, PathBuf) {
    let folder = started();
    let path = folder.path().join("before-internal.mp4");
    let mut clip = Clip::open(&sample_case::folder().join("before-internal.mp4")).unwrap();
    let pictures: Vec<_> = clip.frames().unwrap().map(|frame| frame.unwrap().image).collect();
    assert!(clip.frame_times_s().unwrap().len() == pictures.len());
    fs::remove_file(&path).unwrap();
    let mut encoder = Encoder::create(&path, EncodeOptions { crf: 18, ..EncodeOptions::new(1280, 720) }).unwrap();
    for frame in frames {
        encoder.push(&pictures[*frame]).unwrap();
    }
    encoder.finish().unwrap();
    let text = fs::read_to_string(folder.path().join("case.toml")).unwrap();
    let second = text.match_indices("[[reach]]").nth(1).unwrap().0;
    fs::write(folder.path().join("case.toml"), &text[..second]).unwrap();
    (folder, path)
}

fn measured(output: &Output) -> Value {
    assert_eq!(code(output), 0, "{}", stderr(output));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn check<'a>(reach: &'a Value, name: &str) -> &'a Value {
    reach["checks"].as_array().unwrap().iter().find(|check| check["name"] == name).unwrap()
}

#[test]
fn marks_with_arms_down_are_followed_to_end_range_and_measured() {
    let folder = started();
    let out = folder.path().join("out");
    let output = tworeach(&["measure", &case(folder.path()), "--json", "--out", out.to_str().unwrap()]);
    let result = measured(&output);
    let truth = json(&sample_case::folder().join("truth.json"));
    for (reach, name) in NAMES.iter().enumerate() {
        let found = &result["reaches"][reach];
        let known = &truth["reaches"][reach];
        let raise = &known["raises"][0];
        let held = raise["hold_start_s"].as_f64().unwrap()..=raise["hold_end_s"].as_f64().unwrap();
        assert!(held.contains(&found["end_range_time_s"].as_f64().unwrap()), "{name}: {found}");
        assert_eq!(found["raises"], 1, "{name}");
        assert_eq!(check(found, "held")["status"], "ok", "{name}");
        let elevation = &found["elevation_deg"];
        let true_deg = known["end_range"]["elevation_right_deg"].as_f64().unwrap();
        let end = |field: &str| elevation[field].as_f64().unwrap();
        assert!((end("lo")..=end("hi")).contains(&true_deg), "{name}: {elevation}, truth {true_deg}");
    }
    let report = fs::read_to_string(out.join("report.html")).unwrap();
    assert!(report.contains("Course of before internal (side)"), "the report shows the curve");
    for name in NAMES {
        assert!(out.join(format!("course-{name}-side.svg")).exists(), "{name}");
    }
}

#[test]
fn three_raises_are_found_and_tell_the_persons_spread() {
    let all: Vec<usize> =
        (0..json(&sample_case::folder().join("truth.json"))["reaches"][0]["frames"].as_array().unwrap().len())
            .collect();
    let one = with_clip(&all);
    let three = with_clip(&all.repeat(3));
    let of = |folder: &Path| measured(&tworeach(&["measure", &case(folder), "--json"]))["reaches"][0].clone();
    let (one, three) = (of(one.0.path()), of(three.0.path()));
    assert_eq!((&one["raises"], &three["raises"]), (&1.into(), &3.into()));
    assert!(one["basis"].to_string().contains("single_raise") && !three["basis"].to_string().contains("single_raise"));
    let number = |reach: &Value, field: &str| reach["elevation_deg"][field].as_f64().unwrap();
    assert!((number(&one, "value") - number(&three, "value")).abs() < 1.0, "{one} {three}");
}

#[test]
fn a_swing_is_named_and_fails_the_check_of_the_hold() {
    // The hold is from 1.5 to 2.4 s: without its frames the arm turns back where it stops.
    let frames: Vec<usize> = (0..43).chain(74..95).collect();
    let (folder, _) = with_clip(&frames);
    let output = tworeach(&["measure", &case(folder.path()), "--json"]);
    let reach = &measured(&output)["reaches"][0];
    let held = check(reach, "held");
    assert_eq!(held["status"], "fail", "{held}");
    assert!(held["text"].as_str().unwrap().contains("swing"), "{held}");
    // a swing breaks no pair, and the reach still has its angle
    assert!(reach["elevation_deg"].is_object(), "{reach}");
}

#[test]
fn a_clip_without_a_raise_gives_no_number_and_says_why() {
    let (folder, _) = with_clip(&[0; 40]);
    let output = tworeach(&["measure", &case(folder.path()), "--json"]);
    let reach = &measured(&output)["reaches"][0];
    assert!(reach["elevation_deg"].is_null(), "{reach}");
    assert_eq!(reach["raises"], 0);
    assert!(stderr(&output).contains("no raise was found by following the marks from 0.00 s"), "{}", stderr(&output));
}

#[test]
fn what_cannot_be_followed_is_named_before_anything_is_measured() {
    let folder = started();
    let truth = json(&sample_case::folder().join("truth.json"));
    let mut points = places(&truth, 0, 0);
    points.remove("right_hip");
    write_start(folder.path(), "before-internal", 0.0, &points);
    let output = tworeach(&["check", &case(folder.path())]);
    assert_eq!(code(&output), 1);
    assert!(stdout(&output).contains("lacks right_hip"), "{}", stdout(&output));

    let text = fs::read_to_string(folder.path().join("case.toml")).unwrap();
    let front = text.replace("view = \"side\"\nnear_side = \"right\"", "view = \"front\"");
    fs::write(folder.path().join("case.toml"), front).unwrap();
    let output = tworeach(&["check", &case(folder.path())]);
    assert!(
        stdout(&output).contains("in a front view lacks left_shoulder, bar_left, bar_right"),
        "{}",
        stdout(&output)
    );

    let still = folder.path().join("still.png");
    let clip = folder.path().join("before-internal.mp4");
    let done = tworeach(&["still", clip.to_str().unwrap(), "--at", "0", "--out", still.to_str().unwrap()]);
    assert_eq!(code(&done), 0, "{}", stderr(&done));
    fs::write(folder.path().join("case.toml"), text.replace("before-internal.mp4", "still.png")).unwrap();
    let output = tworeach(&["check", &case(folder.path())]);
    assert!(stdout(&output).contains("in a single picture: there is nothing to follow"), "{}", stdout(&output));
}

/// Marks on a second frame anchor what was followed: the angle at end range then rests on marks placed there.
#[test]
fn a_second_marked_frame_makes_the_angle_surer() {
    let one = started();
    let two = started();
    let truth = json(&sample_case::folder().join("truth.json"));
    for (reach, name) in NAMES.iter().enumerate() {
        // frame 58 is held in all reaches
        let path = two.path().join(format!("{name}.marks.json"));
        let mut marks = json(&path);
        let mut second = marks["frames"][0].clone();
        second["time_s"] = truth["reaches"][reach]["frames"][58]["time_s"].clone();
        second["points"] = places(&truth, reach, 58).into();
        marks["frames"].as_array_mut().unwrap().push(second);
        fs::write(path, marks.to_string()).unwrap();
    }
    let of = |folder: &Path| measured(&tworeach(&["measure", &case(folder), "--json"]));
    let (one, two) = (of(one.path()), of(two.path()));
    for (reach, name) in NAMES.iter().enumerate() {
        let true_deg = truth["reaches"][reach]["end_range"]["elevation_right_deg"].as_f64().unwrap();
        let number = |result: &Value, field: &str| result["reaches"][reach]["elevation_deg"][field].as_f64().unwrap();
        println!("{name}: u {} from one frame, {} from two", number(&one, "u"), number(&two, "u"));
        assert!(number(&two, "u") < 0.8 * number(&one, "u"), "{name}");
        assert!((number(&two, "lo")..=number(&two, "hi")).contains(&true_deg), "{name}: {two}");
    }
}

/// The difference before the stretch in a result.
fn difference(result: &Value) -> &Value {
    &result["comparisons"][0]["difference_elevation_deg"]
}

#[test]
fn what_was_followed_to_end_range_is_compared_between_reaches() {
    let folder = started();
    let compared = measured(&tworeach(&["measure", &case(folder.path()), "--json"]));
    let alone = measured(&tworeach(&["measure", &case(folder.path()), "--json", "--marks-alone"]));
    assert!(compared["compared_pictures"]["found"].as_u64().unwrap() > 0, "{}", compared["compared_pictures"]);
    assert!(alone["compared_pictures"].is_null());
    let truth = json(&sample_case::folder().join("truth.json"));
    let true_deg = |reach: usize| truth["reaches"][reach]["end_range"]["elevation_right_deg"].as_f64().unwrap();
    let number = |result: &Value, field: &str| difference(result)[field].as_f64().unwrap();
    let true_difference = true_deg(1) - true_deg(0);
    assert!((number(&compared, "lo")..=number(&compared, "hi")).contains(&true_difference), "{compared}");
    // what skin slid by on the way up is common to both reaches, and cancels
    let [with, without] = [&compared, &alone].map(|result| number(result, "u"));
    println!("u {with} compared, {without} by the marks alone");
    assert!(with < 0.7 * without, "{with} {without}");
}

#[test]
fn a_start_in_a_hold_is_at_end_range_itself() {
    let folder = started();
    let truth = json(&sample_case::folder().join("truth.json"));
    for (reach, name) in NAMES.iter().enumerate() {
        let time_s = truth["reaches"][reach]["frames"][58]["time_s"].as_f64().unwrap();
        let mut points = places(&truth, reach, 58);
        if reach == 0 {
            // on the elbow's side of the shoulder
            points["right_shoulder"][0] = (points["right_shoulder"][0].as_f64().unwrap() + 20.0).into();
        }
        write_start(folder.path(), name, time_s, &points);
    }
    let result = measured(&tworeach(&["measure", &case(folder.path()), "--json"]));
    let at_s = result["reaches"][0]["end_range_time_s"].as_f64().unwrap();
    let marked_s = truth["reaches"][0]["frames"][58]["time_s"].as_f64().unwrap();
    assert!((at_s - marked_s).abs() < 1e-3, "{at_s}, marked at {marked_s}");
    let true_deg = |reach: usize| truth["reaches"][reach]["end_range"]["elevation_right_deg"].as_f64().unwrap();
    let end = |field: &str| difference(&result)[field].as_f64().unwrap();
    assert!((end("lo")..=end("hi")).contains(&(true_deg(1) - true_deg(0))), "{}", difference(&result));
    let text = check(&result["reaches"][0], "marks_agree")["text"].to_string();
    assert!(text.contains("right shoulder"), "{text}");
}

#[test]
fn a_wrist_that_its_hold_does_not_show_is_asked_for_and_not_measured() {
    let folder = started();
    let mut points = places(&json(&sample_case::folder().join("truth.json")), 0, 0);
    // beside the near wrist, towards the far arm, which is the one that is followed from there
    for (axis, off_px) in [-10.0, 17.0].into_iter().enumerate() {
        points["right_wrist"][axis] = (points["right_wrist"][axis].as_f64().unwrap() + off_px).into();
    }
    write_start(folder.path(), NAMES[0], 0.0, &points);
    let output = tworeach(&["measure", &case(folder.path()), "--json"]);
    let result = measured(&output);
    assert!(result["reaches"][0]["elevation_deg"].is_null(), "{}", result["reaches"][0]);
    assert_eq!(result["comparisons"][0]["call"], "inconclusive");
    let said = stderr(&output);
    assert!(said.contains("before-internal.mp4: the right wrist could not be followed to end range"), "{said}");
    assert!(said.contains("mark it on a frame in that hold, too"), "{said}");
    // the others are followed rightly, and are measured
    assert!(!result["reaches"][3]["elevation_deg"].is_null(), "{}", result["reaches"][3]);
}
