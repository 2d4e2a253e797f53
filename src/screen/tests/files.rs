//! The file formats: what is written is read back the same, and follows its JSON Schema.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use serde_json::{Value, json};

use super::Visit;
use crate::geometry::{ImagePoint, Landmark};
use crate::pose::View;
use crate::screen::case::CaseFile;
use crate::screen::marks::{
    FrameUse, MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarksFile, MarksOrigin, PointSpread, Source,
};
use crate::screen::measure::evaluate;
use crate::screen::result::VisitResult;
use crate::screen::schema::{CASE_JSON_SCHEMA, MARKS_JSON_SCHEMA, RESULT_JSON_SCHEMA};

fn case() -> CaseFile {
    let mut case = Visit::new(View::Side, &[150.0, 145.0, 150.0, 150.0], 1.0).case;
    case.camera.profile = Some(PathBuf::from("phone.camera.json"));
    case.call.margin_mm = Some(25.0);
    case.limits.elbow_straight = 12.5;
    case.limits.marks_agree = Some(9.0);
    case.reaches[1].mirrored = true;
    case
}

fn marks() -> MarksFile {
    let point = |x: f64, y: f64, spread: PointSpread| MarkedPoint { point: ImagePoint::new(x, y), spread };
    let points = BTreeMap::from([
        (Landmark::Nose, point(12.25, 700.0, PointSpread::Usual)),
        (Landmark::Datum, point(0.0, 1.5, PointSpread::Sd(0.8))),
        (Landmark::Chin, point(-0.5, 719.5, PointSpread::Covariance([4.0, -1.0, 2.0]))),
    ]);
    let frame = |time_s: f64, source: Source, from: Option<MarksOrigin>| MarkedFrame {
        time_s,
        source,
        used_as: FrameUse::EndRange,
        rater: Some("a \"quoted\" rater".to_owned()),
        repeat: Some(2),
        from,
        points: points.clone(),
    };
    let from = MarksOrigin { marks: PathBuf::from("andere Datei ü.json"), time_s: 0.1 };
    MarksFile {
        schema: MARKS_SCHEMA.to_owned(),
        image_size: [1280, 720],
        frames: vec![frame(0.1, Source::Hand, None), frame(2.0, Source::Track, Some(from))],
    }
}

pub(super) fn follows(schema: &str, instance: &Value) -> Vec<String> {
    let schema: Value = serde_json::from_str(schema).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    validator.iter_errors(instance).map(|error| error.to_string()).collect()
}

#[test]
fn a_case_is_read_back_as_it_was_written() {
    let text = case().to_toml().unwrap();
    assert_eq!(CaseFile::parse(&text, Path::new("case.toml")).unwrap(), case());
}

#[test]
fn marks_are_read_back_as_they_were_written() {
    assert_eq!(MarksFile::parse(&marks().to_json(), Path::new("a.marks.json")).unwrap(), marks());
}

#[test]
fn files_are_written_whole_in_the_place_of_older_ones() {
    let folder = tempfile::tempdir().unwrap();
    let (case_path, marks_path) = (folder.path().join("case.toml"), folder.path().join("a.marks.json"));
    std::fs::write(&case_path, "older").unwrap();
    case().write(&case_path).unwrap();
    marks().write(&marks_path).unwrap();
    assert_eq!(CaseFile::read(&case_path).unwrap(), case());
    assert_eq!(MarksFile::read(&marks_path).unwrap(), marks());
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 2);
    let error = marks().write(&folder.path().join("no such folder/a.json")).unwrap_err().to_string();
    assert!(error.ends_with("a.json could not be written"), "{error}");
}

#[test]
fn a_byte_order_mark_and_other_line_ends_are_no_fault() {
    let folder = tempfile::tempdir().unwrap();
    let (case_path, marks_path) = (folder.path().join("case.toml"), folder.path().join("a.marks.json"));
    let as_other_editors = |text: &str| format!("\u{feff}{}", text.replace('\n', "\r\n"));
    std::fs::write(&case_path, as_other_editors(&case().to_toml().unwrap())).unwrap();
    std::fs::write(&marks_path, as_other_editors(&marks().to_json())).unwrap();
    assert_eq!(CaseFile::read(&case_path).unwrap(), case());
    assert_eq!(MarksFile::read(&marks_path).unwrap(), marks());
}

#[test]
fn what_is_written_follows_its_schema() {
    let from_toml: Value = toml::from_str(&case().to_toml().unwrap()).unwrap();
    assert_eq!(follows(CASE_JSON_SCHEMA, &from_toml), Vec::<String>::new());
    assert_eq!(follows(MARKS_JSON_SCHEMA, &serde_json::from_str(&marks().to_json()).unwrap()), Vec::<String>::new());
    for visit in [
        Visit::new(View::Side, &[150.0, 145.0, 150.0, 150.0], 1.0),
        Visit::new(View::Front, &[140.0, 139.0], 1.0),
        Visit::new(View::Side, &[150.0], 1.0),
    ] {
        let result = evaluate(visit.evidence(), &visit.fit);
        let value = serde_json::to_value(&result).unwrap();
        assert_eq!(follows(RESULT_JSON_SCHEMA, &value), Vec::<String>::new());
        let read: VisitResult = serde_json::from_value(value).unwrap();
        assert_eq!(read, result);
    }
}

#[test]
fn wrong_files_break_their_schema_where_the_reader_refuses_them() {
    let case_value: Value = toml::from_str(&case().to_toml().unwrap()).unwrap();
    let marks_value: Value = serde_json::from_str(&marks().to_json()).unwrap();
    let spoilt = |value: &Value, pointer: &str, new: Value| {
        let mut value = value.clone();
        *value.pointer_mut(pointer).unwrap() = new;
        value
    };
    for (pointer, new) in [
        ("/schema", json!("tworeach/case/2")),
        ("/client/affected_side", json!("up")),
        ("/client/stature_mm", json!(17.6)),
        ("/client", json!({ "code": "R07", "affected_side": "left", "name": "x" })),
        ("/call/margin_deg", json!(0)),
        ("/limits", json!({ "elbow": 3 })),
        ("/reach/0/pain", json!(11)),
        ("/reach/0/view", json!("front")),
        ("/reach/0/near_side", json!(null)),
        ("/reach", json!([])),
    ] {
        let value = spoilt(&case_value, pointer, new.clone());
        assert!(!follows(CASE_JSON_SCHEMA, &value).is_empty(), "{pointer} {new}");
        // TOML has no null: there the field would be missing
        if let Ok(text) = toml::to_string(&value) {
            assert!(CaseFile::parse(&text, Path::new("case.toml")).is_err(), "{pointer} {new}");
        }
    }
    for (pointer, new) in [
        ("/schema", json!("tworeach/case/1")),
        ("/image_size", json!([1280])),
        ("/image_size", json!([1280, 720.5])),
        ("/frames/0/time_s", json!(-1)),
        ("/frames/0/source", json!("track")),
        ("/frames/0/repeat", json!(0)),
        ("/frames/0/points", json!({ "left_sholder": [1, 2] })),
        ("/frames/0/points/nose", json!([1])),
        ("/frames/0/points/nose", json!([1, 2, -1])),
        ("/frames/0/points/nose", json!([1, 2, [1, 0]])),
        ("/frames/1/from", json!({ "marks": "a" })),
    ] {
        let value = spoilt(&marks_value, pointer, new.clone());
        assert!(!follows(MARKS_JSON_SCHEMA, &value).is_empty(), "{pointer} {new}");
        assert!(MarksFile::parse(&value.to_string(), Path::new("m")).is_err(), "{pointer} {new}");
    }
}

#[test]
fn a_result_with_another_field_or_verdict_breaks_its_schema() {
    let visit = Visit::new(View::Side, &[150.0, 145.0], 1.0);
    let value = serde_json::to_value(evaluate(visit.evidence(), &visit.fit)).unwrap();
    for (pointer, new) in [
        ("/comparisons/0/call", json!("maybe")),
        ("/reaches/0/elevation_deg", json!({ "value": 1, "u": 1, "lo": 0 })),
        ("/reaches/0/checks/0/name", json!("other")),
        ("/retest", json!({})),
    ] {
        let mut value = value.clone();
        *value.pointer_mut(pointer).unwrap() = new;
        assert!(!follows(RESULT_JSON_SCHEMA, &value).is_empty(), "{pointer}");
    }
}

#[test]
fn every_problem_of_a_case_is_named_at_once_with_its_line() {
    let text = r#"schema = "tworeach/case/1"
[client]
code = "R07"
affected_side = "rigth"
stature_mm = nan
[call]
margin_deg = -3.0
[limits]
elbow_strait = 10.0
back_flat = 1.0
[[reach]]
occasion = "before"
rotaton = "internal"
view = "side"
file = "a.mp4"
marks = "a.json"
"#;
    let found = CaseFile::parse(text, Path::new("case.toml")).unwrap_err().to_string();
    for expected in [
        "case.toml: line 4: \"affected_side\" in [client] is \"rigth\", expected one of left, right, both; the nearest is \"right\"",
        "case.toml: line 5: \"stature_mm\" in [client] is NaN, expected a number from 500 to 2500 mm",
        "case.toml: line 7: \"margin_deg\" in [call] is -3, expected a number above 0 and up to 45 deg",
        "case.toml: line 9: unknown check \"elbow_strait\" in [limits]",
        "case.toml: line 10: unknown limit \"back_flat\" in [limits]",
        "case.toml: line 11: missing field \"rotation\" in [[reach]]",
        "case.toml: line 13: unknown field \"rotaton\" in [[reach]], expected one of occasion, rotation, view, ",
        "; the nearest is \"rotation\"",
    ] {
        assert!(found.contains(expected), "no {expected}\nin {found}");
    }
    assert_eq!(found.lines().count(), 7, "{found}");
}

#[test]
fn contradictory_sides_and_repeated_reaches_are_refused() {
    let mut case = case();
    case.reaches[1].near_side = Some(crate::geometry::Side::Left);
    let found = CaseFile::parse(&case.to_toml().unwrap(), Path::new("c")).unwrap_err().to_string();
    assert!(found.contains("near_side = \"left\" contradicts line"), "{found}");

    let mut case = super::files::case();
    case.reaches[1].rotation = crate::pose::Rotation::Internal;
    let found = CaseFile::parse(&case.to_toml().unwrap(), Path::new("c")).unwrap_err().to_string();
    assert!(found.contains("the same reach twice: before internal side is also at line"), "{found}");

    let mut case = super::files::case();
    case.reaches[0].view = View::Front;
    let found = CaseFile::parse(&case.to_toml().unwrap(), Path::new("c")).unwrap_err().to_string();
    assert!(found.contains("contradicts view = \"front\""), "{found}");

    let mut case = super::files::case();
    case.reaches[0].near_side = None;
    let found = CaseFile::parse(&case.to_toml().unwrap(), Path::new("c")).unwrap_err().to_string();
    assert!(found.contains("a side view needs the side towards the camera"), "{found}");
}

#[test]
fn marks_that_cannot_be_are_refused_one_by_one() {
    let with = |points: &str| {
        let text = format!(
            "{{ \"schema\": \"tworeach/marks/1\", \"image_size\": [1280, 720],\n \"frames\": [ {{ \"time_s\": 1,\n \"points\": {{\n {points} }} }} ] }}"
        );
        MarksFile::parse(&text, Path::new("m.json")).map(|_| ()).map_err(|error| error.to_string())
    };
    assert_eq!(with("\"nose\": [1279.5, 719.5]"), Ok(()));
    for (points, expected) in [
        ("\"nose\": [1280, 10]", "m.json: line 4: mark \"nose\" at (1280, 10) lies outside the picture of 1280x720 px"),
        ("\"nose\": [1e999, 10]", "\"nose\" in points is inf, expected a number from"),
        ("\"right_sholder\": [1, 10]", "line 4: unknown mark \"right_sholder\" in points"),
        ("\"right_sholder\": [1, 10]", "the nearest is \"right_shoulder\""),
        ("\"nose\": [1, 10], \"nose\": [2, 10]", "\"nose\" occurs twice in points"),
        ("\"nose\": [1, 10, 0]", "\"nose\" in points is 0, expected a number above 0"),
        (
            "\"nose\": [1, 10, [1, 2, 1]]",
            "the covariance of \"nose\" is [1, 2, 1] px², expected a positive definite one",
        ),
        ("\"nose\": [1, \"a\"]", "\"nose\" in points is a text, expected a number from"),
        ("\"nose\": {}", "\"nose\" in points is a table, expected [x, y], [x, y, sd] or"),
    ] {
        let found = with(points).unwrap_err();
        assert!(found.contains(expected), "no {expected}\nin {found}");
    }
}

proptest! {
    #[test]
    fn no_text_makes_a_reader_panic(text in ".{0,400}") {
        let _ = CaseFile::parse(&text, Path::new("c"));
        let _ = MarksFile::parse(&text, Path::new("m"));
    }

    #[test]
    fn no_cut_or_changed_byte_makes_a_reader_panic(at in 0..2000_usize, byte in 32..127_u8) {
        for text in [case().to_toml().unwrap(), marks().to_json()] {
            let at = at.min(text.len());
            let mut bytes = text.into_bytes();
            let cut = String::from_utf8_lossy(&bytes[..at]).into_owned();
            if let Some(place) = bytes.get_mut(at) {
                *place = byte;
            }
            for text in [cut, String::from_utf8_lossy(&bytes).into_owned()] {
                let _ = CaseFile::parse(&text, Path::new("c"));
                let _ = MarksFile::parse(&text, Path::new("m"));
            }
        }
    }

    #[test]
    fn written_marks_keep_every_digit(x in 0.0..1279.0_f64, y in 0.0..719.0_f64, sd in 0.01..50.0_f64) {
        let mut file = marks();
        let spread = PointSpread::Sd(sd);
        file.frames[0].points.insert(Landmark::Nose, MarkedPoint { point: ImagePoint::new(x, y), spread });
        prop_assert_eq!(MarksFile::parse(&file.to_json(), Path::new("m")).unwrap(), file);
    }
}
