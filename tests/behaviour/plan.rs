//! `plan`: the default plan edited and checked, the next session proposed from a log, the course summed up.

use std::fs;

use tempfile::TempDir;

use crate::case_files::{code, stderr, stdout, tworeach};

const INTAKE: &str = r#"schema = "tworeach/intake/1"
client = "R07"
affected_side = "right"
pain_spots = ["right_inner_elbow_tip", "right_flexor_mass"]
provoked_by = ["gripping", "rowing"]
weeks_since_onset = 9
sport = "masters rowing"
goals = ["row an hour without thinking of the elbow"]
activities = ["rowing"]

[[visit]]
on = "2026-10-05"
pain_at_rest = 1
pain_in_use = 5
pain_on_pressing = 5
ratings = { rowing = 3 }
findings = { valgus_stress = "clear", grip_right_kg = [30, 32, 34] }

[[visit]]
on = "2026-10-12"
pain_at_rest = 0
pain_in_use = 2
pain_on_pressing = 4
ratings = { rowing = 6 }
findings = { grip_right_kg = [36, 38, 40] }

[[screen]]
on = "2026-10-05"
call = "positive"
retest = "improved"
"#;

const LOG: &str = "day,stage,done,load,sets,repetitions,seconds,pain_during,pain_next_morning,danger_sign,entered,note
2026-10-06,flexors,yes,1 kg,3,10,,0,0,,,
2026-10-08,flexors,yes,1 kg,3,10,,0,0,,2026-10-12,entered later
2026-10-06,cuff,yes,very light,2,5,5,0,0,,,
";

/// Plan, intake and log on disk.
struct Files {
    folder: TempDir,
}

impl Files {
    fn new() -> Self {
        let files = Self { folder: tempfile::tempdir().unwrap() };
        files.write("plan.toml", &stdout(&tworeach(&["plan", "default"])));
        files.write("intake.toml", INTAKE);
        files.write("log.csv", LOG);
        files
    }

    fn path(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_owned()
    }

    fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).unwrap();
    }

    fn replace(&self, name: &str, old: &str, new: &str) {
        let text = fs::read_to_string(self.path(name)).unwrap();
        assert!(text.contains(old), "no {old}");
        self.write(name, &text.replacen(old, new, 1));
    }

    /// Runs `plan next` or `plan summary` with all files.
    fn run(&self, command: &str, on: &str, further: &[&str]) -> std::process::Output {
        let [plan, log, intake] = ["plan.toml", "log.csv", "intake.toml"].map(|name| self.path(name));
        let mut arguments = vec!["plan", command, "--plan", &plan, "--log", &log, "--intake", &intake, "--on", on];
        arguments.extend(further);
        tworeach(&arguments)
    }

    fn check(&self, further: &[&str]) -> std::process::Output {
        let plan = self.path("plan.toml");
        tworeach(&[&["plan", "check", plan.as_str()], further].concat())
    }
}

fn json(text: &str) -> serde_json::Value {
    serde_json::from_str(text).unwrap()
}

#[test]
fn the_next_session_comes_with_cautions_dose_and_reason() {
    let files = Files::new();
    let output = files.run("next", "2026-10-12", &[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let said = stdout(&output);
    // two whole sessions without pain raise the default plan's first dose, 3 x 10 with 1 kg, to 3 x 15
    for words in [
        "Not a diagnosis. Stop on pain.",
        "3 sets of 15, 1 kg",
        "One step up, because",
        "rule ready; 6 and 8 October",
        "Pain limit: None during it",
    ] {
        assert!(said.replace('\n', " ").contains(words), "no {words} in {said}");
    }
    assert!(said.find("Not a diagnosis") < said.find("One step up"), "{said}");
    assert!(said.lines().all(|line| line.chars().count() <= 100), "{said}");
}

#[test]
fn a_proposal_as_json_follows_its_schema() {
    let files = Files::new();
    let output = files.run("next", "2026-10-12", &["--json"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let proposal = json(&stdout(&output));
    let validator = jsonschema::validator_for(&json(&stdout(&tworeach(&["schema", "proposal"])))).unwrap();
    let errors: Vec<String> = validator.iter_errors(&proposal).map(|error| error.to_string()).collect();
    assert_eq!(errors, Vec::<String>::new());
    let flexors = &proposal["stages"][1];
    assert_eq!((&flexors["decision"], &flexors["rule"]), (&"up".into(), &"ready".into()));
    assert_eq!(flexors["entries"], serde_json::json!(["2026-10-06", "2026-10-08"]));
}

#[test]
fn a_danger_sign_in_the_log_proposes_a_clinician_and_nothing_else() {
    let files = Files::new();
    files.replace("log.csv", "0,0,,2026-10-12,", "0,0,weak_grip,,");
    let proposal = json(&stdout(&files.run("next", "2026-10-12", &["--json"])));
    for stage in proposal["stages"].as_array().unwrap() {
        assert_eq!((&stage["decision"], stage["dose"].is_null()), (&"see_clinician".into(), true), "{stage}");
    }
    let clearance =
        format!("{INTAKE}\n[[clearance]]\non = \"2026-10-09\"\nreason = \"grip tested, equal on both sides\"\n");
    files.write("intake.toml", &clearance);
    let proposal = json(&stdout(&files.run("next", "2026-10-12", &["--json"])));
    assert_eq!(proposal["stages"][1]["decision"], "hold", "{}", proposal["stages"][1]);
    // what was entered after the clinician looked is not answered by that
    files.replace("log.csv", "0,0,weak_grip,,", "0,0,weak_grip,2026-10-12,");
    let proposal = json(&stdout(&files.run("next", "2026-10-12", &["--json"])));
    assert_eq!(proposal["stages"][1]["decision"], "see_clinician", "{}", proposal["stages"][1]);
}

#[test]
fn severe_pain_in_the_log_proposes_a_clinician_and_nothing_else() {
    let files = Files::new();
    files.replace("log.csv", "3,10,,0,0,,2026-10-12,", "3,10,,10,10,,2026-10-12,");
    let proposal = json(&stdout(&files.run("next", "2026-10-12", &["--json"])));
    for stage in proposal["stages"].as_array().unwrap() {
        assert_eq!((&stage["decision"], stage["dose"].is_null()), (&"see_clinician".into(), true), "{stage}");
        assert!(stage["reason"].as_str().unwrap().contains("was noted on 9 October"), "{stage}");
    }
}

#[test]
fn the_default_plan_follows_its_schema_in_both_units() {
    let schema = json(&stdout(&tworeach(&["schema", "plan"])));
    assert!(jsonschema::meta::is_valid(&schema));
    let validator = jsonschema::validator_for(&schema).unwrap();
    for unit in ["kg", "lb"] {
        let text = stdout(&tworeach(&["plan", "default", "--unit", unit]));
        let plan: toml::Table = toml::from_str(&text).unwrap();
        let errors: Vec<String> =
            validator.iter_errors(&serde_json::json!(plan)).map(|error| error.to_string()).collect();
        assert_eq!(errors, Vec::<String>::new());
        assert_eq!(plan["equipment"]["unit"].as_str(), Some(unit));
    }
    let intake: toml::Table = toml::from_str(INTAKE).unwrap();
    let schema = json(&stdout(&tworeach(&["schema", "intake"])));
    assert!(jsonschema::meta::is_valid(&schema));
    assert!(jsonschema::validator_for(&schema).unwrap().is_valid(&serde_json::json!(intake)));
}

#[test]
fn reader_and_schema_refuse_the_same_fields() {
    let validator = jsonschema::validator_for(&json(&stdout(&tworeach(&["schema", "plan"])))).unwrap();
    for (old, new) in [
        ("sessions_to_rise = 2", "sessions_to_raise = 2"),
        ("days_between = 1", "days_between = 15"),
        ("mode = \"press\"", "mode = \"push\""),
        ("hold_s = [60, 120]", "hold_s = [60]"),
        ("unit = \"kg\"", "unit = \"st\""),
        ("setbacks_at_least = 3", "setbacks_at_least = 11"),
        ("pain_on_pressing_at_most = 2", "pain_on_pressing_at_most = 11"),
        ("then = \"up\"", "then = \"jump\""),
        ("keep_percent = 90", "keep_percent = 100"),
    ] {
        let files = Files::new();
        files.replace("plan.toml", old, new);
        let output = files.check(&[]);
        assert_eq!(code(&output), 1, "{new}");
        let line = fs::read_to_string(files.path("plan.toml")).unwrap().lines().position(|line| line.contains(new));
        let place = format!("plan.toml: line {}: ", line.unwrap() + 1);
        // a field that is missing because it is misspelt is named too, at its table
        assert!(stderr(&output).contains(&place), "{new}: {}", stderr(&output));
        let text = fs::read_to_string(files.path("plan.toml")).unwrap();
        let plan: toml::Table = toml::from_str(&text).unwrap();
        assert!(!validator.is_valid(&serde_json::json!(plan)), "{new}");
    }
}

#[test]
fn a_plan_that_cannot_work_is_refused_in_one_sentence() {
    for (old, new, sentence) in [
        (
            "after = [\"flexors\", \"cuff\"]",
            "after = [\"flexors\", \"back_to_it\"]",
            "stage \"pull\" can never be reached: it waits for \"back_to_it\", which waits for \"pull\"",
        ),
        (
            "during = \"acceptable\"\nthen = \"hold\"",
            "during = \"too_much\"\nthen = \"hold\"",
            "rule \"some_pain\" can never fire: its own conditions or the rules before it leave it no case",
        ),
        (
            "is_short = true\nthen = \"hold\"",
            "is_short = true\nthen = \"hold\"\nwhen = 3",
            "unknown field \"when\" in [[rule]] \"short\"",
        ),
        (
            "is_ready = true",
            "is_ready = true\nstages = [\"soft_tissue\", \"cuff\", \"lat_stretch\", \"pull\", \"back_to_it\"]",
            "stage \"flexors\" ends at its last dose, but no rule raises its dose there, so that \"pull\" can never be reached",
        ),
        (
            "is_short = true\nthen = \"hold\"",
            "is_short = true\nkeep_percent = 50\nthen = \"hold\"",
            "\"keep_percent\" in [[rule]] \"short\" goes with then = \"down\" alone",
        ),
    ] {
        let files = Files::new();
        files.replace("plan.toml", old, new);
        let output = files.check(&[]);
        assert_eq!((code(&output), stdout(&output).as_str()), (1, ""));
        assert!(stderr(&output).contains(sentence), "{}", stderr(&output));
        assert_ne!(code(&files.run("next", "2026-10-12", &[])), 0);
    }
}

#[test]
fn what_cannot_be_is_refused_with_its_line_and_changes_nothing() {
    for (name, old, new, sentence) in [
        (
            "log.csv",
            "3,10,,0,0",
            "3,10,,11,0",
            "log.csv: line 2: \"pain_during\" is \"11\", expected a whole number from 0 to 10",
        ),
        ("log.csv", "1 kg", "-5 kg", "log.csv: line 2: \"load\" is \"-5 kg\", expected a weight above 0 with its unit"),
        // the default plan's flexors end with 8 kg: twice that is taken
        (
            "log.csv",
            "1 kg",
            "500 kg",
            "log.csv: line 2: \"load\" is \"500 kg\", but stage \"flexors\" takes at most 16 kg",
        ),
        (
            "log.csv",
            "2026-10-06,cuff",
            "2026-10-27,cuff",
            "log.csv: line 4: \"day\" is 2026-10-27, which is in the future",
        ),
        (
            "log.csv",
            "2026-10-06,cuff",
            "2026-10-01,cuff",
            "log.csv: line 4: \"day\" is 2026-10-01, before 2026-10-05, the day of the first visit",
        ),
        (
            "intake.toml",
            "right_inner_elbow_tip",
            "left_inner_elbow_tip",
            "intake.toml: line 4: pain spot \"left_inner_elbow_tip\" contradicts affected_side",
        ),
        (
            "intake.toml",
            "pain_in_use = 5",
            "pain_in_use = 11",
            "intake.toml: line 14: \"pain_in_use\" in [[visit]] is 11",
        ),
    ] {
        let files = Files::new();
        files.replace(name, old, new);
        let before = fs::read(files.path(name)).unwrap();
        let output = files.run("next", "2026-10-26", &[]);
        assert_eq!((code(&output), stdout(&output).as_str()), (1, ""), "{new}");
        assert!(stderr(&output).contains(sentence), "{}", stderr(&output));
        assert_eq!(stderr(&output).trim_end().lines().count(), 1, "{}", stderr(&output));
        assert_eq!(fs::read(files.path(name)).unwrap(), before);
        let [log, intake] = ["log.csv", "intake.toml"].map(|name| files.path(name));
        let checked = files.check(&["--log", &log, "--intake", &intake, "--on", "2026-10-26"]);
        assert_eq!(stderr(&checked), stderr(&output));
    }
}

#[test]
fn a_summary_flags_what_is_told_from_error_and_blames_nobody() {
    let files = Files::new();
    let output = files.run("summary", "2026-10-26", &[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let said = stdout(&output).replace('\n', " ");
    // from 6 to 26 October every second day: 11 each of flexors and cuff
    assert!(said.contains("3 sessions in the last 28 days; the plan had room for about 22."), "{said}");
    // the load of the log is 1 kg on both days; what is set is not measured
    assert!(said.contains("load, Wrist flexors: 1.0 to 1.0 kg, 6 October to 8 October: 0.0 (no change)."), "{said}");
    files.replace("log.csv", "2026-10-08,flexors,yes,1 kg", "2026-10-08,flexors,yes,1.5 kg");
    files.replace("log.csv", "2026-10-06,cuff", "2026-10-10,flexors,yes,2 kg,3,10,,0,0,,,\n2026-10-06,cuff");
    let raised = stdout(&files.run("summary", "2026-10-26", &[])).replace('\n', " ");
    assert!(raised.contains("6 October to 10 October: 1.0 (set by the plan, not measured)."), "{raised}");
    assert!(said.contains("pain in use: 5.0 to 2.0, 5 October to 12 October: −3.0 (a change"), "{said}");
    assert!(said.contains("pain at rest: 1.0 to 0.0, 5 October to 12 October: −1.0 (not told from error"), "{said}");
    // three tries 2 kg around each mean: sd 2 with 4 degrees of freedom, 2.776 x 2 x root(2/3) = 4.5 kg
    assert!(
        said.contains("right: 32.0 to 38.0 kg, 5 October to 12 October: 6.0 (a change; counts from 4.5 on)"),
        "{said}"
    );
    let found = json(&stdout(&files.run("summary", "2026-10-26", &["--json"])));
    assert_eq!(found["adherence"]["stages"][0]["done"], 3);
}

#[test]
fn wrong_usage_is_told_apart_from_failure() {
    let files = Files::new();
    let log = files.path("log.csv");
    assert_eq!(code(&tworeach(&["plan", "next", "--log", &log])), 2);
    assert_eq!(code(&tworeach(&["plan", "next", "--log", &log, "--on", "26.10.2026"])), 2);
    assert_eq!(code(&tworeach(&["plan", "next", "--log", "none.csv", "--on", "2026-10-26"])), 1);
    for command in ["default", "check", "next", "summary"] {
        assert!(stdout(&tworeach(&["plan", command, "--help"])).contains("Example"), "{command}");
    }
}

#[test]
fn what_is_no_plan_is_told_in_one_sentence() {
    for (text, sentence) in
        [("", "line 1: not valid TOML: the file is empty"), ("hello = = 3", "line 1: not valid TOML: ")]
    {
        let files = Files::new();
        files.write("plan.toml", text);
        let output = files.check(&[]);
        assert_eq!((code(&output), stderr(&output).trim_end().lines().count()), (1, 1), "{}", stderr(&output));
        assert!(stderr(&output).contains(sentence), "{}", stderr(&output));
    }
}

#[test]
fn a_log_whose_quote_is_not_closed_proposes_nothing() {
    let files = Files::new();
    files.replace("log.csv", "entered later", "\"entered later");
    let output = files.run("next", "2026-10-12", &[]);
    assert_eq!((code(&output), stdout(&output).as_str()), (1, ""));
    assert!(stderr(&output).contains("log.csv: line 3: not valid CSV: a quote is not closed"), "{}", stderr(&output));
}

#[test]
fn a_filled_log_keeps_what_was_done_when_the_plan_changes() {
    let files = Files::new();
    // two sessions that state nothing: 1 kg, 3 x 10, as the default plan begins
    files.write(
        "log.csv",
        "day,stage,done,pain_during,pain_next_morning\n2026-10-06,flexors,yes,0,0\n2026-10-08,flexors,yes,0,0\n",
    );
    let filled = stdout(&files.run("fill", "2026-10-12", &[]));
    let rows: Vec<&str> = filled.lines().skip(1).collect();
    assert_eq!(rows, ["2026-10-06,flexors,yes,1 kg,3,10,,0,0,,,", "2026-10-08,flexors,yes,1 kg,3,10,,0,0,,,"]);
    // a plan that begins with 2 kg: read by it, the empty cells would be 2 kg
    let plan = stdout(&tworeach(&["plan", "default"]));
    assert_eq!(plan.matches("weight_kg = [1.0, 4.5]").count(), 2);
    files.write("plan.toml", &plan.replace("weight_kg = [1.0, 4.5]", "weight_kg = [2.0, 4.5]"));
    let refilled = stdout(&files.run("fill", "2026-10-12", &[]));
    assert!(refilled.contains("2026-10-06,flexors,yes,2 kg,3,10"), "{refilled}");
    files.write("log.csv", &filled);
    assert_eq!(stdout(&files.run("fill", "2026-10-12", &[])), filled, "filling twice changes nothing");
}
