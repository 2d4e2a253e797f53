//! `accuracy`: the simulation runs from the command line, repeats itself, and writes what its formats say.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;

use crate::case_files::{code, stderr, stdout, tworeach};

/// As few scenes as are accepted.
fn few(out: &Path, more: &[&str], threads: &str) -> Output {
    Command::new(env!("CARGO_BIN_EXE_tworeach"))
        .env("RAYON_NUM_THREADS", threads)
        .args(["accuracy", "--scenes", "39", "--seed", "4", "--out"])
        .arg(out)
        .args(more)
        .output()
        .unwrap()
}

#[test]
fn files_follow_their_formats_and_threads_change_no_digit() {
    let folder = tempfile::tempdir().unwrap();
    let [one, three] = ["one", "three"].map(|name| folder.path().join(name));
    let output = few(&one, &[], "1");
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert_eq!(stderr(&output), "", "no progress where there is no terminal");
    assert_eq!(code(&few(&three, &[], "3")), 0);
    let mut names: Vec<String> =
        fs::read_dir(&one).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names, ["accuracy.csv", "accuracy.json", "accuracy.md", "calls.csv", "calls.svg"]);
    for name in &names {
        assert_eq!(fs::read(one.join(name)).unwrap(), fs::read(three.join(name)).unwrap(), "{name}");
    }
    assert_eq!(fs::read_to_string(one.join("accuracy.md")).unwrap(), stdout(&output));

    let json: Value = serde_json::from_str(&fs::read_to_string(one.join("accuracy.json")).unwrap()).unwrap();
    let schema: Value = serde_json::from_str(&stdout(&tworeach(&["schema", "accuracy"]))).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator.iter_errors(&json).map(|error| error.to_string()).collect();
    assert_eq!(errors, Vec::<String>::new());
    let mut wrong = json.clone();
    wrong["rows"][0]["coverage"] = 1.5.into();
    assert!(!validator.is_valid(&wrong), "a coverage above one passes the schema");

    assert_eq!((&json["seed"], &json["scenes"]), (&4.into(), &39.into()));
    let rows: Vec<(&str, &str)> = json["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| (row["view"].as_str().unwrap(), row["quantity"].as_str().unwrap()))
        .collect();
    let quantities = ["elevation_deg", "difference_elevation_deg"];
    let expected: Vec<(&str, &str)> =
        ["side", "oblique", "front"].into_iter().flat_map(|view| quantities.map(|of| (view, of))).collect();
    assert_eq!(rows, expected);
    // 39 scenes: one for each of three views and thirteen differences
    let differences: Vec<f64> = json["calls"][0]["points"]
        .as_array()
        .unwrap()
        .iter()
        .map(|point| point["true_difference_deg"].as_f64().unwrap())
        .collect();
    assert_eq!(differences, (-8..=4).map(f64::from).collect::<Vec<f64>>());
    let csv = fs::read_to_string(one.join("calls.csv")).unwrap();
    assert_eq!(csv.lines().count(), 1 + 4 * 13);
}

#[test]
fn existing_results_are_refused_without_force() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("calls.svg"), "mine").unwrap();
    let output = few(folder.path(), &[], "2");
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("calls.svg exists already"), "{}", stderr(&output));
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1, "nothing else is written");
    let output = few(folder.path(), &["--force", "--json"], "2");
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    serde_json::from_str::<Value>(&stdout(&output)).unwrap();
    assert!(fs::read_to_string(folder.path().join("calls.svg")).unwrap().starts_with("<svg"));
}

#[test]
fn too_few_scenes_and_no_place_for_results_are_wrong_usage() {
    for (arguments, words) in [
        (&["accuracy", "--scenes", "10", "--json"][..], "39..="),
        (&["accuracy", "--seed", "9007199254740992", "--json"][..], "9007199254740991"),
        (&["accuracy"][..], "--out"),
    ] {
        let output = tworeach(arguments);
        assert_eq!(code(&output), 2, "{}", stderr(&output));
        assert!(stderr(&output).contains(words), "{}", stderr(&output));
    }
}
