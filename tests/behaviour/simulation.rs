//! Repeating the measurement with drawn errors: the same digits again, both intervals, and which of them is stated.

use serde_json::Value;
use std::process::Command;

use crate::case_files::{CLEARED, CaseFiles, From, Reach, code, stderr, stdout, tworeach};

/// Straight arms: the elbow's bend has its end at zero.
const STRAIGHT: [Reach; 1] = [Reach { occasion: "before", rotation: "internal", elevation_deg: 152.0 }];

fn measured(files: &CaseFiles, threads: &str, seed: &str) -> String {
    let output = Command::new(env!("CARGO_BIN_EXE_tworeach"))
        .env("RAYON_NUM_THREADS", threads)
        .arg("measure")
        .arg(files.path("case.toml"))
        .args(["--json", "--monte-carlo", "200", "--seed", seed])
        .output()
        .unwrap();
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    stdout(&output)
}

#[test]
fn the_seed_alone_sets_the_digits() {
    let files = CaseFiles::new(From::RightSide, &STRAIGHT);
    let one = measured(&files, "1", "7");
    assert_eq!(one, measured(&files, "4", "7"), "the number of threads changes no digit");
    let other: Value = serde_json::from_str(&measured(&files, "4", "8")).unwrap();
    let one: Value = serde_json::from_str(&one).unwrap();
    assert_eq!(
        (&one["monte_carlo"]["draws"], &one["monte_carlo"]["seed"], &one["monte_carlo"]["unsettled"]),
        (&200.into(), &7.into(), &0.into())
    );
    assert_ne!(one["monte_carlo"]["intervals"][0]["simulated"], other["monte_carlo"]["intervals"][0]["simulated"]);
    for interval in one["monte_carlo"]["intervals"].as_array().unwrap() {
        let pointer = interval["quantity"].as_str().unwrap();
        let used = interval["used"].as_str().unwrap();
        assert_eq!(one.pointer(pointer), Some(&interval[used]), "{pointer} states the interval that is used");
        if pointer.ends_with("elbow_flexion_deg") {
            assert!(interval["simulated"]["lo"].as_f64().unwrap() >= 0.0, "{interval}");
        }
    }
    let quantities = one["reaches"][0].as_object().unwrap().values().filter(|field| field["lo"].is_f64()).count();
    assert!(quantities > 5);
    assert_eq!(one["monte_carlo"]["intervals"].as_array().unwrap().len(), quantities, "every quantity has both");
}

#[test]
fn both_intervals_are_written_printed_and_in_the_report() {
    let files = CaseFiles::new(From::RightSide, &CLEARED[..2]);
    let output = files.measure(&["--monte-carlo", "200"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let said = stdout(&output);
    for words in ["Simulation: 200 draws, seed 1", "before, right: difference elevation, deg", "first order"] {
        assert!(said.contains(words), "no {words} in {said}");
    }
    let report = files.text("out/report.html");
    for words in ["The same by simulation", "200 draws, seed 1."] {
        assert!(report.contains(words), "no {words}");
    }
    let schema: Value = serde_json::from_str(&stdout(&tworeach(&["schema", "result"]))).unwrap();
    let result: Value = serde_json::from_str(&files.text("out/result.json")).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    let errors: Vec<String> = validator.iter_errors(&result).map(|error| error.to_string()).collect();
    assert_eq!(errors, Vec::<String>::new());
    assert!(result["monte_carlo"]["intervals"].as_array().unwrap().iter().any(|interval| {
        interval["quantity"] == "/comparisons/0/difference_elevation_deg" && interval["first_order"]["u"].is_f64()
    }));
}

#[test]
fn too_few_draws_and_a_seed_without_draws_are_wrong_usage() {
    for (arguments, words) in [
        (&["--monte-carlo", "10"][..], "200..=100000"),
        (&["--seed", "3"][..], "--monte-carlo"),
        (&["--monte-carlo", "200", "--seed", "9007199254740992"][..], "9007199254740991"),
    ] {
        let files = ["measure", "case.toml", "--json"];
        let output = tworeach(&[&files, arguments].concat());
        assert_eq!(code(&output), 2, "{}", stderr(&output));
        assert!(stderr(&output).contains(words), "{}", stderr(&output));
    }
}
