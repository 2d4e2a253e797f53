//! `repeatability`: marks are repeated, and a case carries the rater's own spread.

use std::fs;
use std::path::Path;

use crate::case_files::{CLEARED, CaseFiles, From, code, stderr, stdout, tworeach};

/// Marks of one picture per line: time, rater, repeat, and how far each coordinate is moved, px.
fn write_marks(path: &Path, frames: &[(f64, &str, u32, [f64; 6])]) {
    let frames: Vec<String> = frames
        .iter()
        .map(|(time_s, rater, repeat, [sx, sy, wx, wy, hx, hy])| {
            // An arm that is raised by another 10 deg with every picture.
            let (sin, cos) = (120.0 + 10.0 * time_s).to_radians().sin_cos();
            format!(
                "{{ \"time_s\": {time_s}, \"rater\": \"{rater}\", \"repeat\": {repeat}, \"points\": {{\n\
                 \"right_shoulder\": [{}, {}], \"right_wrist\": [{}, {}], \"right_hip\": [{}, {}] }} }}",
                600.0 + sx,
                400.0 + sy,
                600.0 + 200.0 * sin + wx,
                400.0 + 200.0 * cos + wy,
                600.0 + hx,
                600.0 + hy
            )
        })
        .collect();
    let text = format!(
        "{{ \"schema\": \"tworeach/marks/1\", \"image_size\": [1280, 720], \"frames\": [\n{}\n] }}\n",
        frames.join(",\n")
    );
    fs::write(path, text).unwrap();
}

/// Two raters, three pictures, two repeats each: rater b sets the shoulder 4 px lower.
fn invented(path: &Path) {
    let mut frames = Vec::new();
    for time_s in [0.0, 1.0, 2.0] {
        let sign = if time_s > 0.5 { -1.0 } else { 1.0 };
        for (rater, lower) in [("a", 0.0), ("b", 4.0)] {
            frames.push((time_s, rater, 1, [sign, lower, 0.0, sign, 0.0, 0.0]));
            frames.push((time_s, rater, 2, [-sign, lower + 1.0, sign, 0.0, 1.0, 0.0]));
        }
    }
    write_marks(path, &frames);
}

#[test]
fn repeated_marks_give_spread_reliability_chart_and_spread_files() {
    let folder = tempfile::tempdir().unwrap();
    let marks = folder.path().join("reach.marks.json");
    invented(&marks);
    let out = folder.path().join("out");
    let run = |more: &[&str]| {
        tworeach(&[&["repeatability", marks.to_str().unwrap(), "--out", out.to_str().unwrap()], more].concat())
    };
    let output = run(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let said = stdout(&output);
    for words in ["3 pictures", "right_shoulder", "ICC(2,1)", "MDC95", "limits of agreement", "raters a, b"] {
        assert!(said.contains(words), "no {words} in {said}");
    }
    let mut names: Vec<String> =
        fs::read_dir(&out).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names, ["agreement.svg", "rater-a.spread.json", "rater-b.spread.json", "repeatability.json"]);
    let json: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(out.join("repeatability.json")).unwrap()).unwrap();
    let schema: serde_json::Value = serde_json::from_str(&stdout(&tworeach(&["schema", "repeatability"]))).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator.iter_errors(&json).map(|error| error.to_string()).collect();
    assert_eq!(errors, Vec::<String>::new());
    // Rater b's shoulder lies 4 px lower on every picture and x agrees: the raters' middle places differ by 0 and 4, squares
    // 0 and 8 over 1 + 1 degrees of freedom a picture, 4 px²; the repeats (x 2 apart, y 1 apart: 1.25 px², halved by
    // averaging two) come off: sqrt(4 - 0.625).
    let shoulder = json["repeatability"]["landmarks"]
        .as_array()
        .unwrap()
        .iter()
        .find(|landmark| landmark["landmark"] == "right_shoulder")
        .unwrap();
    assert!((shoulder["within_raters"]["sd"].as_f64().unwrap() - 1.25_f64.sqrt()).abs() < 1e-9);
    assert!((shoulder["between_raters_sd_px"].as_f64().unwrap() - 3.375_f64.sqrt()).abs() < 1e-9);

    let again = run(&[]);
    assert_eq!(code(&again), 1);
    assert!(stderr(&again).contains("repeatability.json exists already"), "{}", stderr(&again));
    let json = run(&["--force", "--json"]);
    assert_eq!(code(&json), 0);
    serde_json::from_str::<serde_json::Value>(&stdout(&json)).unwrap();
}

#[test]
fn a_case_that_names_the_spread_file_is_measured_with_it() {
    let u_with = |spread: Option<&str>| {
        let files = CaseFiles::new(From::RightSide, &CLEARED);
        if let Some(text) = spread {
            fs::write(files.path("a.spread.json"), text).unwrap();
            let case = fs::read_to_string(files.path("case.toml")).unwrap();
            let (head, reaches) = case.split_once("[[reach]]").unwrap();
            let marking = "[marking]\nspread_file = \"a.spread.json\"\n[[reach]]";
            fs::write(files.path("case.toml"), format!("{head}{marking}{reaches}")).unwrap();
        }
        let output = files.measure(&["--json"]);
        (code(&output), stdout(&output), stderr(&output))
    };
    let u_of = |json: &str| {
        let value: serde_json::Value = serde_json::from_str(json).unwrap();
        value["reaches"][0]["elevation_deg"]["u"].as_f64().unwrap()
    };
    let landmarks = ["shoulder", "elbow", "wrist", "hip"]
        .map(|name| format!("\"right_{name}\": {{ \"sd_px\": 6.0, \"dof\": 1000 }}"))
        .join(", ");
    let text = format!("{{ \"schema\": \"tworeach/spread/1\", \"rater\": \"a\", \"landmarks\": {{ {landmarks} }} }}");
    let (usual_code, usual, said) = u_with(None);
    assert_eq!(usual_code, 0, "{said}");
    let (own_code, own, said) = u_with(Some(&text));
    assert_eq!(own_code, 0, "{said}");
    // Marks four times as loose as the usual 1.5 px: the elevation is far less sure.
    assert!(u_of(&own) > 2.0 * u_of(&usual), "{} {}", u_of(&own), u_of(&usual));

    let (bad_code, _, said) = u_with(Some(&text.replace("right_hip", "right_hipp")));
    assert_eq!(bad_code, 1);
    assert!(said.contains("unknown mark \"right_hipp\""), "{said}");
}

#[test]
fn marks_without_repeats_are_refused_with_the_reason() {
    let folder = tempfile::tempdir().unwrap();
    let marks = folder.path().join("reach.marks.json");
    write_marks(&marks, &[(0.0, "a", 1, [0.0; 6])]);
    let output = tworeach(&["repeatability", marks.to_str().unwrap()]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("nothing was marked twice"), "{}", stderr(&output));
}
