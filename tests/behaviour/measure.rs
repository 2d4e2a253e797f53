//! Measuring a visit: what is written and printed, and that the numbers are those of the body that was marked.

use tworeach::screen::{Call, ResultSide};

use crate::case_files::{CLEARED, CaseFiles, From, Reach, code, marks_of, stderr, stdout, tworeach};
use crate::sample_case::{self, json};

/// Marks without error leave the fit's own error: its priors pull on what one picture does not tell.
const EXACT_MARKS_TOL_DEG: f64 = 2.0;

#[test]
fn writes_result_and_report_and_prints_table_and_call() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let said = stdout(&output);
    for words in
        ["Not a diagnosis", "elevation, deg", "before internal (side)", "positive (fail)", "Retest:", "result.json"]
    {
        assert!(said.contains(words), "no {words}\nin {said}");
    }
    let names = files.names("out");
    for name in ["result.json", "report.html", "report.pdf"] {
        assert!(names.contains(&name.to_owned()), "no {name} in {names:?}");
    }
    assert!(!said.contains('\u{1b}'), "a pipe gets no colours");
    assert_eq!(stderr(&output), "");
}

#[test]
fn side_view_finds_the_elevation_of_the_body() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    assert_eq!(code(&files.measure(&[])), 0);
    let result = files.result();
    for (measured, truth) in result.reaches.iter().zip(CLEARED) {
        let elevation = measured.elevation_deg.unwrap();
        assert!((elevation.value - truth.elevation_deg).abs() < EXACT_MARKS_TOL_DEG, "{elevation:?} {truth:?}");
        assert!((elevation.lo..=elevation.hi).contains(&truth.elevation_deg), "{elevation:?} {truth:?}");
        assert_eq!(measured.side, ResultSide::Right);
    }
    let difference = result.comparisons[0].difference_elevation_deg.unwrap();
    assert!((difference.value + 10.0).abs() < 1.0, "{difference:?}");
    assert_eq!(result.comparisons[0].call, Call::Positive);
}

#[test]
fn front_view_compares_by_the_vertical() {
    let reaches = [
        Reach { occasion: "before", rotation: "internal", elevation_deg: 140.0 },
        Reach { occasion: "before", rotation: "external", elevation_deg: 141.0 },
    ];
    let files = CaseFiles::new(From::Front, &reaches);
    assert_eq!(code(&files.measure(&[])), 0);
    let comparison = &files.result().comparisons[0];
    assert_ne!(comparison.call, Call::Positive);
    assert!(comparison.basis.contains(&"vertical".to_owned()), "{comparison:?}");
}

#[test]
fn a_mark_on_the_wrong_place_is_named_and_does_not_turn_the_call() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let clean = {
        assert_eq!(code(&files.measure(&[])), 0);
        files.result().comparisons[0].difference_elevation_deg.unwrap()
    };
    files.move_mark("before-internal.marks.json", "right_elbow", [-20.0, 20.0]);
    let output = files.measure(&["--force"]);
    assert!(stdout(&output).contains("The right elbow is "), "{}", stdout(&output));
    assert!(stdout(&output).contains("px from where the other marks put it"), "{}", stdout(&output));
    let comparison = &files.result().comparisons[0];
    assert_eq!(comparison.call, Call::Positive);
    let moved = comparison.difference_elevation_deg.unwrap();
    assert!((moved.value - clean.value).abs() < clean.u, "{moved:?} {clean:?}");
}

#[test]
fn a_landmark_misplaced_in_every_repeat_is_one_suspect_and_does_not_turn_the_call() {
    // The sample case has three repeats of every mark; its truth is in its own file.
    let samples = sample_case::folder();
    let folder = tempfile::tempdir().unwrap();
    sample_case::copy_to(folder.path());
    let truth = json(&samples.join("truth.json"));
    let elevation = |reach: usize| truth["reaches"][reach]["end_range"]["elevation_right_deg"].as_f64().unwrap();
    for (landmark, by_px) in [("right_wrist", 60.0), ("right_shoulder", -60.0)] {
        let mut marks = json(&samples.join("before-external.marks.json"));
        for frame in marks["frames"].as_array_mut().unwrap() {
            let x = &mut frame["points"][landmark][0];
            *x = (x.as_f64().unwrap() + by_px).into();
        }
        std::fs::write(folder.path().join("before-external.marks.json"), marks.to_string()).unwrap();
        let output = tworeach(&["measure", folder.path().join("case.toml").to_str().unwrap(), "--json"]);
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        let result: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        let check = result["reaches"][1]["checks"]
            .as_array()
            .unwrap()
            .iter()
            .find(|check| check["name"] == "marks_agree")
            .unwrap();
        let words = landmark.replace('_', " ");
        assert_eq!(check["text"].as_str().unwrap().matches(&words).count(), 1, "{landmark}: {check}");
        let difference = &result["comparisons"][0]["difference_elevation_deg"];
        let number = |field: &str| difference[field].as_f64().unwrap();
        let true_deg = elevation(1) - elevation(0);
        assert!((number("lo")..=number("hi")).contains(&true_deg), "{landmark}: {difference}, truth {true_deg}");
    }
}

#[test]
fn pain_never_leads_to_another_reach_on_the_same_day() {
    for (old, new) in [("limited_by = \"stretch\"", "limited_by = \"pain\""), ("pain = 0", "pain = 9")] {
        let files = CaseFiles::new(From::RightSide, &CLEARED);
        assert!(files.text("case.toml").contains(old), "{}", files.text("case.toml"));
        files.replace("case.toml", old, new);
        let output = files.measure(&[]);
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        for comparison in files.result().comparisons {
            assert!(comparison.next_step.contains("do not reach again today"), "{new}: {comparison:?}");
        }
    }
}

#[test]
fn a_far_arm_that_cannot_be_there_is_named_and_left_out() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    assert_eq!(code(&files.measure(&[])), 0);
    let without = files.result();
    // the far wrist holds the same bar as the near one: it cannot hang 300 px lower
    let text = files.text("before-internal.marks.json");
    let near = files.mark("before-internal.marks.json", "right_wrist");
    let far = format!("\"left_wrist\": [{}, {}], \"right_wrist\"", near[0] - 20.0, near[1] + 300.0);
    files.write("before-internal.marks.json", &text.replacen("\"right_wrist\"", &far, 1));
    let output = files.measure(&["--force"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    for (reach, before) in files.result().reaches.iter().zip(&without.reaches) {
        assert_eq!(reach.elevation_deg, before.elevation_deg, "what is left out moves nothing");
        assert_eq!(reach.bar_height_mm, before.bar_height_mm);
    }
    let words = "Internally rotated reach before the stretch: the left wrist is marked 301 px from the right one, further than the arm is long";
    assert!(stderr(&output).contains(words), "{}", stderr(&output));
    let checked = tworeach(&["check", files.path("case.toml").to_str().unwrap()]);
    assert!(stdout(&checked).contains(words), "{}", stdout(&checked));
}

#[test]
fn a_bad_mark_on_the_far_elbow_does_not_bend_the_near_one() {
    let folder = tempfile::tempdir().unwrap();
    sample_case::copy_to(folder.path());
    let path = folder.path().join("before-internal.marks.json");
    let mut marks = json(&path);
    let truth = json(&sample_case::folder().join("truth.json"));
    for frame in marks["frames"].as_array_mut().unwrap() {
        // on the near elbow, where a person who takes one arm for the other puts it
        frame["points"]["left_elbow"] = frame["points"]["right_elbow"].clone();
    }
    std::fs::write(&path, marks.to_string()).unwrap();
    let output = tworeach(&["measure", folder.path().join("case.toml").to_str().unwrap(), "--json"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let result: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
    for (reach, truth) in result["reaches"].as_array().unwrap().iter().zip(truth["reaches"].as_array().unwrap()) {
        let flexion = |field: &str| reach["elbow_flexion_deg"][field].as_f64().unwrap();
        let true_deg = truth["end_range"]["elbow_flexion_right_deg"].as_f64().unwrap();
        assert!((flexion("lo")..=flexion("hi")).contains(&true_deg), "{reach}, truth {true_deg}");
    }
    for comparison in result["comparisons"].as_array().unwrap() {
        assert_ne!(comparison["call"], "not_comparable", "{comparison}");
    }
}

#[test]
fn a_person_who_faces_the_other_way_is_not_comparable() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    files.replace("case.toml", "pain = 0", "mirrored = true\npain = 0");
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let comparison = &files.result().comparisons[0];
    assert_eq!(comparison.call, Call::NotComparable);
    assert!(
        comparison.reason.contains("the picture is mirrored, or its side is stated wrongly"),
        "{}",
        comparison.reason
    );
}

#[test]
fn limits_of_checks_and_the_margin_can_be_set() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    files.replace("case.toml", "[bar]", "[limits]\nelbow_straight = 14.5\n[call]\nmargin_deg = 14\n[bar]");
    assert_eq!(code(&files.measure(&[])), 0);
    let result = files.result();
    assert_eq!(result.reaches[0].checks[0].name, "elbow_straight");
    assert_eq!(result.reaches[0].checks[0].limit, Some(14.5));
    // 10 deg lower is within a margin of 14 deg, and surely so
    assert_eq!(result.comparisons[0].call, Call::Negative);
}

#[test]
fn three_raises_in_a_clip_tell_the_persons_spread() {
    let files = CaseFiles::new(From::RightSide, &CLEARED[..2]);
    for (name, elevations) in [("before-internal", [150.0, 152.0, 154.0]), ("before-external", [140.5, 142.0, 143.5])] {
        files.film(name, 12);
        let frames = [(2.0, elevations[0]), (6.0, elevations[1]), (10.0, elevations[2])];
        files.write(&format!("{name}.marks.json"), &marks_of(From::RightSide, &frames));
    }
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert!(!stdout(&output).contains("Single raise"), "{}", stdout(&output));
    let result = files.result();
    assert_eq!((result.reaches[0].raises, result.reaches[0].basis.clone()), (3, Vec::<String>::new()));
    let elevation = result.reaches[0].elevation_deg.unwrap();
    assert!((elevation.value - 152.0).abs() < EXACT_MARKS_TOL_DEG, "{elevation:?}");
    assert_eq!(result.reaches[0].end_range_time_s, Some(10.0));
    // squares 8 and 4.5 over 4 degrees of freedom: s² = 3.125, so at least s sqrt(2 / 3) in the difference
    let difference = result.comparisons[0].difference_elevation_deg.unwrap();
    assert!(difference.u > (3.125_f64 * 2.0 / 3.0).sqrt() - 0.01, "{difference:?}");
    // the best raise: 143.5 - 154
    files.replace("case.toml", "[bar]", "[call]\nraises = \"best\"\n[bar]");
    assert_eq!(code(&files.measure(&["--force"])), 0);
    let best = files.result().comparisons[0].difference_elevation_deg.unwrap();
    assert!((best.value + 10.5).abs() < 1.0, "{best:?}");
}

#[test]
fn a_clip_that_was_cut_off_is_used_up_to_there_and_the_result_says_so() {
    let files = CaseFiles::new(From::RightSide, &CLEARED[..2]);
    files.film("before-internal", 8);
    let clip = std::fs::read(files.path("before-internal.mp4")).unwrap();
    std::fs::write(files.path("before-internal.mp4"), &clip[..clip.len() - clip.len() / 8]).unwrap();
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert!(stderr(&output).contains("warning: before-internal.mp4 is damaged after "), "{}", stderr(&output));
    assert!(files.text("out/report.html").contains("before-internal.mp4 is damaged after "));
    let output = tworeach(&["check", files.path("case.toml").to_str().unwrap()]);
    assert_eq!(code(&output), 0, "{}", stdout(&output));
    assert!(stdout(&output).contains("warning: before-internal.mp4 is damaged after "), "{}", stdout(&output));
}

#[test]
fn json_goes_to_standard_output_and_nothing_else_does() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let output = tworeach(&["measure", files.path("case.toml").to_str().unwrap(), "--json"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let result: tworeach::screen::VisitResult = serde_json::from_str(&stdout(&output)).unwrap();
    assert_eq!(result.schema, "tworeach/result/1");
    assert!(!files.path("out").exists());
    // beside files, it is the same text
    let output = files.measure(&["--json"]);
    assert_eq!(stdout(&output), files.text("out/result.json"));
}

#[test]
fn quiet_prints_nothing() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let output = files.measure(&["--quiet"]);
    assert_eq!((code(&output), stdout(&output), stderr(&output)), (0, String::new(), String::new()));
}

#[test]
fn a_check_without_problems_says_so() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let output = tworeach(&["check", files.path("case.toml").to_str().unwrap()]);
    assert_eq!(code(&output), 0, "{}", stdout(&output));
    assert!(stdout(&output).contains("no problem found"));
}

#[test]
fn one_rotation_alone_is_measured_without_a_call() {
    let files = CaseFiles::new(From::RightSide, &CLEARED[..1]);
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert!(stdout(&output).contains("There is no externally rotated reach before the stretch"), "{}", stdout(&output));
    let result = files.result();
    assert_eq!(result.reaches.len(), 1);
    assert_eq!(result.comparisons[0].call, Call::Inconclusive);
}

#[test]
fn schemas_are_printed_and_are_valid() {
    for format in ["case", "marks", "camera", "result", "spread", "repeatability"] {
        let output = tworeach(&["schema", format]);
        assert_eq!(code(&output), 0);
        let schema: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
        assert!(jsonschema::meta::is_valid(&schema), "{format}");
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
    }
}

#[test]
fn written_result_follows_its_schema() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    assert_eq!(code(&files.measure(&[])), 0);
    let schema: serde_json::Value = serde_json::from_str(&stdout(&tworeach(&["schema", "result"]))).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let result: serde_json::Value = serde_json::from_str(&files.text("out/result.json")).unwrap();
    let errors: Vec<String> = validator.iter_errors(&result).map(|error| error.to_string()).collect();
    assert_eq!(errors, Vec::<String>::new());
}

#[test]
fn paths_with_spaces_and_other_letters_work() {
    let files = CaseFiles::new(From::RightSide, &CLEARED[..2]);
    std::fs::rename(files.path("before-internal.png"), files.path("vor dem Dehnen – 内旋 é.png")).unwrap();
    files.replace("case.toml", "before-internal.png", "vor dem Dehnen – 内旋 é.png");
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
}
