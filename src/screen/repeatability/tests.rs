//! Repeatability of invented marks whose spread is known.

use std::fmt::Write as _;
use std::path::PathBuf;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use tempfile::TempDir;

use super::*;
use crate::geometry::Side;

/// Marks files in a folder; each frame is (time, rater, repeat, points as JSON).
struct Files {
    folder: TempDir,
}

impl Files {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    fn write(&self, name: &str, image_size: [u32; 2], frames: &[(f64, Option<&str>, Option<u32>, String)]) -> PathBuf {
        let mut text = format!("{{ \"schema\": \"tworeach/marks/1\", \"image_size\": {image_size:?}, \"frames\": [\n");
        for (index, (time_s, rater, repeat, points)) in frames.iter().enumerate() {
            let comma = if index == 0 { "" } else { "," };
            let rater = rater.map(|rater| format!("\"rater\": \"{rater}\", ")).unwrap_or_default();
            let repeat = repeat.map(|repeat| format!("\"repeat\": {repeat}, ")).unwrap_or_default();
            writeln!(text, "{comma}{{ \"time_s\": {time_s}, {rater}{repeat}\"points\": {{ {points} }} }}").unwrap();
        }
        text.push_str("] }\n");
        let path = self.folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        path
    }
}

fn nose(x: f64, y: f64) -> String {
    format!("\"nose\": [{x}, {y}]")
}

#[test]
fn spread_worked_by_hand_is_found() {
    let files = Files::new();
    // x 100, 102 and y 50, 54 on one picture, x 10, 10, 13 and y 20 three times on another: squares 2 + 8 + 6 + 0 over
    // 1 + 1 + 2 + 2 degrees of freedom.
    let path = files.write(
        "reach.marks.json",
        [1280, 720],
        &[
            (0.0, Some("a"), Some(1), nose(100.0, 50.0)),
            (0.0, Some("a"), Some(2), nose(102.0, 54.0)),
            (1.0, Some("a"), Some(1), nose(10.0, 20.0)),
            (1.0, Some("a"), Some(2), nose(10.0, 20.0)),
            (1.0, Some("a"), Some(3), nose(13.0, 20.0)),
        ],
    );
    let found = repeatability_of(&[&path]).unwrap();
    let in_memory = MarksFile::read(&path).unwrap();
    assert_eq!(repeatability_of_marks(&[("reach", &in_memory)]).as_ref(), Some(&found));
    let once = MarksFile { frames: in_memory.frames[..1].to_vec(), ..in_memory };
    assert_eq!(repeatability_of_marks(&[("reach", &once), ("other", &once)]), None, "two clips are no repeats");
    assert_eq!((found.pictures, found.raters.len()), (2, 1));
    let spread = found.raters[0].landmarks[0].spread;
    assert!((spread.sd - (16.0_f64 / 6.0).sqrt()).abs() < 1e-12, "{}", spread.sd);
    assert!((spread.dof - 6.0).abs() < 1e-12);
    assert_eq!(found.landmarks[0].marks, 5);
    assert!(found.landmarks[0].between_raters_sd_px.is_none());
    let file = &found.spread_files()[0];
    assert_eq!(file.rater.as_deref(), Some("a"));
    assert!((file.landmarks[&Landmark::Nose].sd_px - spread.sd).abs() < 1e-12);
}

#[test]
fn pictures_of_another_size_count_at_the_same_scale() {
    let files = Files::new();
    let path = files.write(
        "reach.marks.json",
        [2560, 1440],
        &[(0.0, None, None, nose(100.0, 50.0)), (0.0, None, Some(2), nose(104.0, 50.0))],
    );
    let found = repeatability_of(&[&path]).unwrap();
    // 4 px at 2560 are 2 px at 1280: squares 2 over 2 degrees of freedom (x and y).
    assert!((found.raters[0].all.unwrap().sd - 1.0).abs() < 1e-12);
    assert_eq!(found.raters[0].rater, NO_RATER);
}

#[test]
fn raters_in_files_of_their_own_meet_on_one_picture() {
    let files = Files::new();
    let a = files.write("reach.a.marks.json", [1280, 720], &[(2.0, Some("a"), None, nose(100.0, 50.0))]);
    let b = files.write("reach.b.marks.json", [1280, 720], &[(2.0004, Some("b"), None, nose(103.0, 50.0))]);
    let other = files.write("rest.marks.json", [1280, 720], &[(2.0, Some("b"), None, nose(500.0, 300.0))]);
    let found = repeatability_of(&[&a, &b, &other]).unwrap();
    assert_eq!(found.pictures, 2);
    let nose = &found.landmarks[0];
    assert!(nose.within_raters.is_none());
    // Places 3 px apart in x, none in y, on one picture: squares 4.5 over 2.
    assert!((nose.between_raters_sd_px.unwrap() - 1.5).abs() < 1e-12);
    assert!(found.spread_files().is_empty(), "no repeats, no spread of their own");
}

#[test]
fn what_says_nothing_is_refused_with_the_reason() {
    let files = Files::new();
    let once = files.write("reach.marks.json", [1280, 720], &[(0.0, Some("a"), None, nose(1.0, 2.0))]);
    let said = repeatability_of(&[&once]).unwrap_err().to_string();
    assert!(said.contains("nothing was marked twice"), "{said}");
    let other = files.write("reach.b.marks.json", [640, 360], &[(0.0, Some("b"), None, nose(1.0, 2.0))]);
    let said = repeatability_of(&[&once, &other]).unwrap_err().to_string();
    assert!(said.contains("640x360") && said.contains("1280x720"), "{said}");
}

/// Arm and trunk of a right side at an angle, with every coordinate shaken by `sd` px.
fn reach_points(angle_deg: f64, sd: f64, rng: &mut ChaCha8Rng) -> String {
    let mut shaken = |x: f64, y: f64| {
        let mut noise = || -> f64 { sd * <StandardNormal as Distribution<f64>>::sample(&StandardNormal, rng) };
        [x + noise(), y + noise()]
    };
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    let shoulder = shaken(600.0, 400.0);
    let wrist = shaken(600.0 + 200.0 * sin, 400.0 + 200.0 * cos);
    let hip = shaken(600.0, 600.0);
    format!("\"right_shoulder\": {shoulder:?}, \"right_wrist\": {wrist:?}, \"right_hip\": {hip:?}")
}

#[test]
fn known_spread_and_angle_are_recovered_within_their_intervals() {
    let files = Files::new();
    let mut rng = ChaCha8Rng::seed_from_u64(5);
    let mut frames = Vec::new();
    for (picture, angle_deg) in [110.0, 125.0, 140.0, 150.0, 160.0, 170.0].into_iter().enumerate() {
        for rater in ["a", "b"] {
            for repeat in 1..=4 {
                let time_s = f64::from(u8::try_from(picture).unwrap());
                frames.push((time_s, Some(rater), Some(repeat), reach_points(angle_deg, 2.0, &mut rng)));
            }
        }
    }
    let path = files.write("reach.marks.json", [1280, 720], &frames);
    let found = repeatability_of(&[&path]).unwrap();
    for rater in &found.raters {
        for of_landmark in &rater.landmarks {
            let interval = of_landmark.spread.interval;
            assert!(interval.lo < 2.0 && 2.0 < interval.hi, "{of_landmark:?}");
        }
    }
    for landmark in &found.landmarks {
        assert!(landmark.between_raters_sd_px.unwrap() < 1.5, "none was put in: {landmark:?}");
    }
    // Both arms of the angle are 200 px long, and the shoulder moves both: variance of the angle in rad is
    // sd² (|wrist side|² + |hip side|² + |shoulder|²) / L² with |shoulder|² = 2 - 2 cos(angle): 4 to 6 sd²/L² over the pictures.
    let per_px = 2.0 / 200.0_f64;
    let (low, high) = ((2.0 + 2.6_f64).sqrt() * per_px, 6.0_f64.sqrt() * per_px);
    for angle in &found.angles {
        assert!(angle.sem.interval.lo < high.to_degrees() && angle.sem.interval.hi > low.to_degrees(), "{angle:?}");
        assert!((angle.mdc95 / angle.sem.sd - 2.7719).abs() < 1e-3);
    }
    let names: Vec<&str> = found.comparisons.iter().map(|comparison| comparison.between.as_str()).collect();
    assert_eq!(names, ["repeats of rater a", "repeats of rater b", "raters a, b"]);
    let between = found.comparisons[2].reliability.as_ref().unwrap();
    assert!(between.icc_2_1.value > 0.98, "six pictures from 110 to 170 deg differ far more than markings do");
    assert_eq!(found.comparisons[0].table_deg[0].len(), 4);
    assert!(found.notes.is_empty(), "{:?}", found.notes);
}

#[test]
fn missing_cells_and_unequal_repeats_are_handled_and_named() {
    let files = Files::new();
    let mut rng = ChaCha8Rng::seed_from_u64(6);
    let mut frame = |time_s: f64, rater: &'static str, repeat: u32| {
        (time_s, Some(rater), Some(repeat), reach_points(120.0 + 10.0 * time_s, 1.0, &mut rng))
    };
    let frames = [
        frame(0.0, "a", 1),
        frame(0.0, "a", 2),
        frame(0.0, "a", 3),
        frame(1.0, "a", 1),
        frame(1.0, "a", 2),
        frame(2.0, "a", 1),
        frame(0.0, "b", 1),
        frame(1.0, "b", 1),
    ];
    let path = files.write("reach.marks.json", [1280, 720], &frames);
    let found = repeatability_of(&[&path]).unwrap();
    let repeats = &found.comparisons[0];
    assert_eq!((repeats.table_deg.len(), repeats.judges.len()), (2, 2));
    let raters = found.comparisons.last().unwrap();
    assert_eq!((raters.between.as_str(), raters.table_deg.len()), ("raters a, b", 2));
    let notes = found.notes.join("\n");
    assert!(notes.contains("reach at 2 s: rater a marked it once"), "{notes}");
    assert!(notes.contains("the first 2 of each picture"), "{notes}");
    assert!(notes.contains("reach at 2 s: not marked by all raters"), "{notes}");
    let shoulder = found.landmarks.iter().find(|found| found.landmark == Landmark::Shoulder(Side::Right)).unwrap();
    assert!((shoulder.within_raters.unwrap().dof - 6.0).abs() < 1e-12, "2 + 1 repeats too many, in x and y");
}
