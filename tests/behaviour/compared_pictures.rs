//! Reaches that are all marked by hand, and what their pictures add: when, how much, and when nothing.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use image::{GrayImage, Luma};
use serde_json::{Value, json};
use tworeach::screen::schema::RESULT_JSON_SCHEMA;
use tworeach::screen::{
    Call, CheckStatus, MarksFile, MeasureOptions, MeasuredVisit, Occasion, VisitResult, measure_case,
    with_marks_as_placed,
};
use tworeach::uncertainty::Measured;
use tworeach::video::{Clip, EncodeOptions, Encoder};

use crate::case_files::tworeach;
use crate::sample_case::{self, json};

const REACHES: [&str; 4] = ["before-internal", "before-external", "after-internal", "after-external"];

/// The standard deviation that the sample case has for marks, px (its `case.toml` states none).
const MARK_SD_PX: f64 = 1.5;

/// The sample case in a folder of its own, every reach marked once by hand.
struct MarkedCase {
    folder: tempfile::TempDir,
}

impl MarkedCase {
    fn new() -> Self {
        let case = Self { folder: tempfile::tempdir().unwrap() };
        sample_case::copy_to(case.folder.path());
        for reach in REACHES {
            case.change(reach, |marks| marks["frames"].as_array_mut().unwrap().retain(|frame| frame["repeat"] == 1));
        }
        case
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("case.toml")
    }

    fn marks_path(&self, reach: &str) -> PathBuf {
        self.folder.path().join(format!("{reach}.marks.json"))
    }

    fn change(&self, reach: &str, change: impl FnOnce(&mut Value)) {
        let path = self.marks_path(reach);
        let mut marks = json(&path);
        change(&mut marks);
        std::fs::write(path, marks.to_string()).unwrap();
    }

    fn measured(&self) -> MeasuredVisit {
        measured(&self.path())
    }

    fn measured_by_marks_alone(&self) -> MeasuredVisit {
        measure_case(&self.path(), MeasureOptions { marks_alone: true, ..MeasureOptions::default() }).unwrap()
    }
}

fn measured(case: &Path) -> MeasuredVisit {
    measure_case(case, MeasureOptions::default()).unwrap()
}

#[test]
fn spots_found_again_in_other_reaches_sharpen_the_difference() {
    let case = MarkedCase::new();
    let (compared, alone) = (case.measured(), case.measured_by_marks_alone());
    assert_eq!(alone.result.compared_pictures, None);
    // shoulder, hip, three marks of the room and the bar's near end go to each of three reaches
    let count = compared.result.compared_pictures.unwrap();
    assert!(count.found >= 15, "{count:?}");
    // which the filed result says, too
    let filed = [&compared, &alone].map(|visit| serde_json::to_value(&visit.result).unwrap());
    assert_eq!(filed[0]["compared_pictures"], json!({ "tried": count.tried, "found": count.found }));
    assert_eq!(filed[1].get("compared_pictures"), None);
    let schema: Value = serde_json::from_str(RESULT_JSON_SCHEMA).unwrap();
    let validator = jsonschema::validator_for(&schema).unwrap();
    assert!(filed.iter().all(|result| validator.is_valid(result)), "{}", filed[0]);
    // and a still shows every mark once
    let (_, overlay) = compared.shown(1).unwrap();
    let landmarks: BTreeSet<_> = overlay.marks.iter().map(|(landmark, _)| landmark).collect();
    assert_eq!(landmarks.len(), overlay.marks.len(), "{:?}", overlay.marks);
    let truth = json(&sample_case::folder().join("truth.json"));
    let elevation = |reach: usize| truth["reaches"][reach]["end_range"]["elevation_right_deg"].as_f64().unwrap();
    for pair in 0..2 {
        let difference = |visit: &MeasuredVisit| visit.result.comparisons[pair].difference_elevation_deg.unwrap();
        let (ours, theirs) = (difference(&compared), difference(&alone));
        let true_difference = elevation(2 * pair + 1) - elevation(2 * pair);
        assert!((ours.lo..=ours.hi).contains(&true_difference), "{ours:?} {true_difference}");
        // a trunk's two marks are more than half of the variance by hand, and nearly cancel here: less than 0.7 of u is left
        assert!(ours.u < 0.7 * theirs.u, "{ours:?} {theirs:?}");
    }
}

#[test]
fn case_with_carried_marks_is_measured_by_its_marks() {
    let case = MarkedCase::new();
    let carried = case.folder.path().join("carried");
    let done = tworeach(&["carry", case.path().to_str().unwrap(), "--out", carried.to_str().unwrap()]);
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    let carried = measured(&carried.join("case.toml"));
    assert_eq!(carried.result.compared_pictures, None);
    // what a person would have carried is what is found without asking, but for the rounding of files to a thousandth of a px
    let (carried, compared) = (&carried.result.comparisons[0], &case.measured().result.comparisons[0]);
    let [carried, compared] = [carried, compared].map(|pair| pair.difference_elevation_deg.unwrap());
    assert!(
        (carried.value - compared.value).abs() < 0.01 && (carried.u - compared.u).abs() < 0.01,
        "{carried:?} {compared:?}"
    );
}

#[test]
fn marks_that_state_their_spread_are_compared_with_nothing() {
    let case = MarkedCase::new();
    let before = case.measured_by_marks_alone().result;
    for reach in REACHES {
        let path = case.marks_path(reach);
        with_marks_as_placed(&MarksFile::read(&path).unwrap(), MARK_SD_PX).write(&path).unwrap();
    }
    let placed = case.measured();
    assert_eq!(placed.result.compared_pictures, None);
    assert_eq!(placed.result, before);
}

#[test]
fn pictures_that_have_nothing_in_common_add_nothing() {
    let case = MarkedCase::new();
    let mut text = std::fs::read_to_string(case.path()).unwrap();
    for (number, reach) in REACHES.into_iter().enumerate() {
        // grey values by a linear congruential generator, another stream for each reach
        let mut state = 1 + number as u64;
        let noise = GrayImage::from_fn(1280, 720, |_, _| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            Luma([(state >> 56) as u8])
        });
        noise.save(case.folder.path().join(format!("{reach}.png"))).unwrap();
        text = text.replace(&format!("{reach}.mp4"), &format!("{reach}.png"));
        case.change(reach, |marks| marks["frames"][0]["time_s"] = 0.0.into());
    }
    std::fs::write(case.path(), text).unwrap();
    let (compared, alone) = (case.measured(), case.measured_by_marks_alone());
    let count = compared.result.compared_pictures.unwrap();
    assert!(count.tried > 0 && count.found == 0, "{count:?}");
    assert_eq!(VisitResult { compared_pictures: None, ..compared.result }, alone.result);
}

#[test]
fn one_recording_encoded_twice_is_no_pair_of_reaches() {
    let case = MarkedCase::new();
    let call = |visit: &MeasuredVisit| visit.result.comparisons[0].call;
    assert_ne!(call(&case.measured()), Call::NotComparable);
    // what phones and messengers make of a clip
    let folder = case.folder.path();
    let clip = Clip::open(&folder.join("before-internal.mp4")).unwrap();
    let options = EncodeOptions { crf: 28, overwrite: true, ..EncodeOptions::new(1280, 720) };
    let mut copy = Encoder::create(&folder.join("before-external.mp4"), options).unwrap();
    // the marked frame is number 59
    for frame in clip.frames().unwrap().take(65) {
        copy.push(&frame.unwrap().image).unwrap();
    }
    copy.finish().unwrap();
    std::fs::copy(case.marks_path("before-internal"), case.marks_path("before-external")).unwrap();
    let visit = case.measured();
    assert_eq!(call(&visit), Call::NotComparable);
    let reason = &visit.result.comparisons[0].reason;
    assert!(reason.contains("seem to be one recording"), "{reason}");
    assert_ne!(visit.result.comparisons[1].call, Call::NotComparable, "the other pair is as it was");
}

/// By how much a number may differ where the reaches are in another order, in shares of its u: the fit ends once a whitened step is below
/// this, and another order of its unknowns leaves another rest.
const STEP_TOLERANCE: f64 = 1e-3;

#[test]
fn order_of_the_reaches_in_the_case_changes_no_number() {
    let case = MarkedCase::new();
    let forth = case.measured().result;
    let text = std::fs::read_to_string(case.path()).unwrap();
    let mut parts: Vec<&str> = text.split("[[reach]]").collect();
    parts[1..].reverse();
    assert_eq!(parts.len(), 1 + REACHES.len());
    // the last part may lack the empty line before the next
    std::fs::write(case.path(), parts.join("\n[[reach]]")).unwrap();
    let back = case.measured().result;
    assert_eq!(back.reaches[3].file, forth.reaches[0].file);
    assert_eq!(back.compared_pictures, forth.compared_pictures);
    let close = |a: Measured, b: Measured| {
        let most = STEP_TOLERANCE * a.u;
        (a.value - b.value).abs() < most && (a.u - b.u).abs() < most
    };
    for (index, reach) in forth.reaches.iter().enumerate() {
        let (ours, theirs) = (reach.elevation_deg.unwrap(), back.reaches[3 - index].elevation_deg.unwrap());
        assert!(close(ours, theirs), "{}: {ours:?} {theirs:?}", reach.file);
    }
    for occasion in [Occasion::Before, Occasion::After] {
        let difference = |result: &VisitResult| {
            let comparison = result.comparisons.iter().find(|comparison| comparison.occasion == occasion).unwrap();
            comparison.difference_elevation_deg.unwrap()
        };
        let (ours, theirs) = (difference(&forth), difference(&back));
        assert!(close(ours, theirs), "{ours:?} {theirs:?}");
    }
}

/// The stated interval of a pair's difference, before the stretch or after it, holds the true one.
fn assert_holds(visit: &MeasuredVisit, pair: usize) {
    let truth = json(&sample_case::folder().join("truth.json"));
    let elevation = |reach: usize| truth["reaches"][reach]["end_range"]["elevation_right_deg"].as_f64().unwrap();
    let true_deg = elevation(2 * pair + 1) - elevation(2 * pair);
    let difference = visit.result.comparisons[pair].difference_elevation_deg.unwrap();
    assert!((difference.lo..=difference.hi).contains(&true_deg), "{true_deg} {difference:?}");
}

#[test]
fn mark_that_the_pictures_contradict_is_named_and_believed_by_neither_call() {
    let case = MarkedCase::new();
    // the hip of one reach is marked 30 px behind where it is: some 9 deg of trunk lean
    case.change("before-external", |marks| {
        let hip = &mut marks["frames"][0]["points"]["right_hip"];
        hip[0] = (hip[0].as_f64().unwrap() - 30.0).into();
    });
    let visit = case.measured();
    let check = visit.result.reaches[1].checks.iter().find(|check| check.name == "marks_agree").unwrap();
    assert_eq!(check.status, CheckStatus::Fail, "{check:?}");
    assert!(check.text.contains("right hip"), "{}", check.text);
    assert_holds(&visit, 0);
}

#[test]
fn mark_that_two_reaches_have_wrong_alike_leaves_no_sure_difference() {
    // the hip of both internal reaches, before and behind where it is: on the thigh, and on the wall, which stands still
    for off_px in [30.0, -30.0] {
        let case = MarkedCase::new();
        for reach in ["before-internal", "after-internal"] {
            case.change(reach, |marks| {
                let hip = &mut marks["frames"][0]["points"]["right_hip"];
                hip[0] = (hip[0].as_f64().unwrap() + off_px).into();
            });
        }
        let visit = case.measured();
        [0, 1].into_iter().for_each(|pair| assert_holds(&visit, pair));
        let check = visit.result.reaches[0].checks.iter().find(|check| check.name == "marks_agree").unwrap();
        let is_told = check.text.contains("the right hip is marked on another spot than in other reaches");
        assert!(check.status == CheckStatus::Fail && is_told, "{check:?}");
        let said = |warning: &String| {
            warning.contains("the right hip is marked 3") && warning.contains("mark the wrong one again")
        };
        assert!(visit.warnings.iter().any(said), "{:?}", visit.warnings);
    }
}

#[test]
fn wrist_that_two_reaches_have_wrong_alike_is_contradicted_by_the_other_rotation() {
    // The external reaches' wrist 20 px to either side of its arm, which is some 4 deg. The true differences are -7 deg and none.
    for across_px in [20.0, -20.0] {
        let case = MarkedCase::new();
        for reach in ["before-external", "after-external"] {
            case.change(reach, |marks| {
                let points = &mut marks["frames"][0]["points"];
                let at = |landmark: &str| [0, 1].map(|axis| points[landmark][axis].as_f64().unwrap());
                let (wrist, elbow) = (at("right_wrist"), at("right_elbow"));
                let along = [elbow[0] - wrist[0], elbow[1] - wrist[1]];
                let px = across_px / along[0].hypot(along[1]);
                points["right_wrist"] = json!([wrist[0] - px * along[1], wrist[1] + px * along[0]]);
            });
        }
        let visit = case.measured();
        [0, 1].into_iter().for_each(|pair| assert_holds(&visit, pair));
        let calls = [0, 1].map(|pair| visit.result.comparisons[pair].call);
        assert!(calls[0] != Call::Negative && calls[1] != Call::Positive, "{across_px}: {calls:?}");
        let check = visit.result.reaches[1].checks.iter().find(|check| check.name == "marks_agree").unwrap();
        assert!(check.status != CheckStatus::Ok && check.text.contains("right wrist"), "{check:?}");
    }
}
