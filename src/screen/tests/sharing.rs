//! Marks files turned into observations: pooled frames, raises, shared errors.

use std::fs;
use std::path::Path;

use crate::geometry::{Landmark, Side};
use crate::pose::VisitObservations;
use crate::screen::error::ScreenError;
use crate::screen::media::Viewing;
use crate::screen::observe::observe;
use crate::screen::visit::load_visit;
use crate::video::{EncodeOptions, Encoder};

const CASE: &str = r#"schema = "tworeach/case/1"
[client]
code = "R07"
affected_side = "right"
[[reach]]
occasion = "before"
rotation = "internal"
view = "side"
near_side = "right"
file = "a.mp4"
marks = "a.marks.json"
[[reach]]
occasion = "before"
rotation = "external"
view = "side"
near_side = "right"
file = "b.mp4"
marks = "b.marks.json"
"#;

fn observations(a: &str, b: &str) -> Result<VisitObservations, String> {
    let folder = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("case.toml", CASE);
    for (name, shade, frames) in [("a", 112, a), ("b", 144, b)] {
        write_clip(&folder.path().join(format!("{name}.mp4")), shade);
        let marks = format!(r#"{{ "schema": "tworeach/marks/1", "image_size": [1280, 720], "frames": [{frames}] }}"#);
        write(&format!("{name}.marks.json"), &marks);
    }
    load(&folder.path().join("case.toml"))
}

/// Eight seconds of a grey.
fn write_clip(path: &Path, shade: u8) {
    let options = EncodeOptions { frame_rate: (4, 1), ..EncodeOptions::new(1280, 720) };
    let mut encoder = Encoder::create(path, options).unwrap();
    let picture = image::RgbImage::from_pixel(1280, 720, image::Rgb([shade; 3]));
    for _ in 0..32 {
        encoder.push(&picture).unwrap();
    }
    encoder.finish().unwrap();
}

fn load(case: &Path) -> Result<VisitObservations, String> {
    load_visit(case, Viewing::ONLY)
        .map(|visit| observe(&visit, &visit.doubted_spots()))
        .map_err(|error: ScreenError| error.to_string())
}

const HAND: &str = r#"{ "time_s": 1.0, "source": "hand", "points": { "nose": [100, 100], "datum": [200, 100] } }"#;

#[test]
fn frames_of_one_time_are_pooled_and_far_ones_are_other_raises() {
    let frame = |time_s: f64, rater: &str| {
        format!(r#"{{ "time_s": {time_s}, "rater": "{rater}", "points": {{ "nose": [100, 100, 2.0] }} }}"#)
    };
    let frames = [frame(1.0, "a"), frame(1.0, "b"), frame(2.4, "a"), frame(6.0, "a")].join(",");
    let reach = observations(&frames, HAND).unwrap().reaches.remove(0);
    let found: Vec<_> = reach.frames.iter().map(|frame| (frame.time_s, frame.raise, frame.marks.len())).collect();
    // two raters of one time are one mark: who misplaces a landmark is not outvoted by doing so again
    assert_eq!(found, [(1.0, 0, 1), (2.4, 0, 1), (6.0, 1, 1)]);
    // the mean of two marks of 2 px: 4 / 2
    assert!((reach.frames[0].marks[0].covariance_px2[(0, 0)] - 2.0).abs() < 1e-12);
    assert!((reach.frames[1].marks[0].covariance_px2[(0, 0)] - 4.0).abs() < 1e-12);
}

#[test]
fn repeats_that_contradict_each_other_are_known_less_well() {
    let frame = |repeat: u32, x: f64| {
        format!(r#"{{ "time_s": 1.0, "repeat": {repeat}, "points": {{ "nose": [{x}, 100, 2.0] }} }}"#)
    };
    let variance = |x: [f64; 3]| {
        let frames = [frame(1, x[0]), frame(2, x[1]), frame(3, x[2])].join(",");
        observations(&frames, HAND).unwrap().reaches[0].frames[0].marks[0].covariance_px2[(0, 0)]
    };
    // three marks of 2 px: 4 / 3
    assert!((variance([99.0, 100.0, 101.0]) - 4.0 / 3.0).abs() < 1e-12);
    // 20, 10 and 10 px from their mean: 600 / 4 over four degrees of freedom is 37.5 times what 2 px explain
    assert!((variance([120.0, 90.0, 90.0]) - 37.5 * 4.0 / 3.0).abs() < 1e-9);
}

#[test]
fn carried_marks_share_the_error_of_the_mark_they_came_from() {
    let carried = r#"{ "time_s": 1.5, "source": "carried", "from": { "marks": "a.marks.json", "time_s": 1.0 },
        "points": { "nose": [101, 100, 0.3], "datum": [201, 100] } }"#;
    let visit = observations(HAND, carried).unwrap();
    let origin = |reach: usize, landmark: Landmark| {
        let mark = visit.reaches[reach].frames[0].marks.iter().find(|mark| mark.landmark == landmark).unwrap();
        (mark.shared.unwrap().origin, mark.shared.unwrap().covariance_px2[(0, 0)], mark.covariance_px2[(0, 0)])
    };
    for landmark in [Landmark::Nose, Landmark::Datum] {
        let (hand, carried) = (origin(0, landmark), origin(1, landmark));
        assert_eq!(hand.0, carried.0);
        // the usual spread of a hand mark, 1.5 px, is the shared part of both
        assert!((hand.1 - 2.25).abs() < 1e-9 && (carried.1 - 2.25).abs() < 1e-9);
        assert!(hand.2 < 0.01);
    }
    assert!((origin(1, Landmark::Nose).2 - 0.09).abs() < 1e-12);
    assert_ne!(origin(0, Landmark::Nose).0, origin(0, Landmark::Datum).0);
}

#[test]
fn marks_followed_from_carried_ones_go_back_to_the_same_hand_mark() {
    let a = format!(
        r#"{HAND}, {{ "time_s": 1.2, "source": "track", "from": {{ "marks": "a.marks.json", "time_s": 1.0 }},
        "points": {{ "nose": [102, 100] }} }}"#
    );
    let b = r#"{ "time_s": 1.5, "source": "carried", "from": { "marks": "a.marks.json", "time_s": 1.2 },
        "points": { "nose": [101, 100] } }"#;
    let visit = observations(&a, b).unwrap();
    let origins: Vec<usize> = visit
        .reaches
        .iter()
        .flat_map(|reach| &reach.frames)
        .flat_map(|frame| &frame.marks)
        .filter(|mark| mark.landmark == Landmark::Nose)
        .map(|mark| mark.shared.unwrap().origin)
        .collect();
    assert_eq!(origins.len(), 3);
    assert!(origins.iter().all(|origin| *origin == origins[0]));
}

#[test]
fn two_raters_at_an_origin_become_one_surer_mark() {
    let a = r#"{ "time_s": 1.0, "rater": "a", "points": { "nose": [100, 100, 2.0] } },
        { "time_s": 1.0, "rater": "b", "points": { "nose": [104, 100, 2.0] } }"#;
    let b = r#"{ "time_s": 1.5, "source": "carried", "from": { "marks": "a.marks.json", "time_s": 1.0 },
        "points": { "nose": [101, 100] } }"#;
    let visit = observations(a, b).unwrap();
    let marks = &visit.reaches[0].frames[0].marks;
    assert_eq!(marks.len(), 1);
    assert!((marks[0].point.x - 102.0).abs() < 1e-9);
    // two marks of 2 px each: variance 4 / 2
    assert!((marks[0].shared.unwrap().covariance_px2[(0, 0)] - 2.0).abs() < 1e-9);
}

#[test]
fn from_that_leads_back_to_itself_is_refused_with_its_way() {
    let of = |time_s: f64, marks: &str, from_s: f64| {
        format!(
            r#"{{ "time_s": {time_s}, "source": "carried", "from": {{ "marks": "{marks}", "time_s": {from_s} }},
            "points": {{ "nose": [101, 100] }} }}"#
        )
    };
    let error = observations(&of(1.0, "b.marks.json", 2.0), &of(2.0, "a.marks.json", 1.0)).unwrap_err();
    assert!(
        error.contains("leads back to itself over a.marks.json at 1 s -> b.marks.json at 2 s -> a.marks.json at 1 s"),
        "{error}"
    );
    let error = observations(&of(1.0, "a.marks.json", 1.0), HAND).unwrap_err();
    assert!(error.contains("leads back to itself"), "{error}");
}

#[test]
fn what_followed_marks_strayed_by_is_no_error_of_each_frame() {
    let track = |time_s: f64| {
        format!(
            r#"{{ "time_s": {time_s}, "source": "track", "from": {{ "marks": "a.marks.json", "time_s": 1.0 }},
            "points": {{ "nose": [102, 100, 3.0], "datum": [200, 100] }} }}"#
        )
    };
    let visit = observations(&[HAND.to_owned(), track(1.5), track(2.0)].join(","), HAND).unwrap();
    let frames = &visit.reaches[0].frames;
    assert_eq!(frames.len(), 3);
    for frame in &frames[1..] {
        let mark = |landmark: Landmark| frame.marks.iter().find(|mark| mark.landmark == landmark).unwrap();
        let (nose, datum) = (mark(Landmark::Nose), mark(Landmark::Datum));
        // of 3 px stated, 0.5 px are each frame's own; the rest of the variance is common: 9 - 0.25
        assert!((nose.covariance_px2[(0, 0)] - 0.25).abs() < 1e-9, "{nose:?}");
        assert!((nose.drift_px2.unwrap()[(0, 0)] - 8.75).abs() < 1e-9, "{nose:?}");
        // and the mark that they come from errs for all of them
        assert!((nose.shared.unwrap().covariance_px2[(0, 0)] - 2.25).abs() < 1e-9, "{nose:?}");
        assert_eq!(datum.drift_px2, None);
    }
}

#[test]
fn mark_carried_from_a_followed_one_has_what_that_strayed_by() {
    let a = format!(
        r#"{HAND}, {{ "time_s": 1.5, "source": "track", "from": {{ "marks": "a.marks.json", "time_s": 1.0 }},
        "points": {{ "nose": [102, 100, 3.0] }} }}"#
    );
    let carried_from = |time_s: f64| {
        format!(
            r#"{{ "time_s": 2.0, "source": "carried", "from": {{ "marks": "a.marks.json", "time_s": {time_s} }},
            "points": {{ "nose": [101, 100] }} }}"#
        )
    };
    let nose = |b: &str| {
        let visit = observations(&a, b).unwrap();
        *visit.reaches[1].frames[0].marks.iter().find(|mark| mark.landmark == Landmark::Nose).unwrap()
    };
    let (followed, by_hand) = (nose(&carried_from(1.5)), nose(&carried_from(1.0)));
    // one origin, and of 3 px stated all but the 0.5 px that are each frame's own: 9 - 0.25
    assert_eq!(followed.shared, by_hand.shared);
    let strayed = followed.strayed.unwrap();
    assert_eq!(strayed.reach, 0);
    assert!((strayed.covariance_px2[(0, 0)] - 8.75).abs() < 1e-9, "{strayed:?}");
    assert_eq!(by_hand.strayed, None);
}

#[test]
fn skin_lies_otherwise_in_another_reach_and_not_in_the_same_one() {
    let points = r#""points": { "right_shoulder": [102, 100], "right_wrist": [150, 20] }"#;
    let from = |source: &str, time_s: f64| {
        format!(
            r#"{{ "time_s": {time_s}, "source": "{source}", "from": {{ "marks": "a.marks.json", "time_s": 1.0 }}, {points} }}"#
        )
    };
    let a = format!(r#"{{ "time_s": 1.0, {points} }}, {}"#, from("track", 1.5));
    let visit = observations(&a, &from("carried", 1.5)).unwrap();
    let drift = |reach: usize, frame: usize, landmark: Landmark| {
        let marks = &visit.reaches[reach].frames[frame].marks;
        let mark = marks.iter().find(|mark| mark.landmark == landmark).unwrap();
        mark.drift_px2.map(|drift| drift[(0, 0)])
    };
    let (shoulder, wrist) = (Landmark::Shoulder(Side::Right), Landmark::Wrist(Side::Right));
    // 0.6 px on pictures of 1280 px
    assert!((drift(1, 0, shoulder).unwrap() - 0.36).abs() < 1e-9);
    assert_eq!(drift(1, 0, wrist), None);
    assert_eq!([drift(0, 0, shoulder), drift(0, 1, shoulder)], [None, None]);
}

#[test]
fn a_long_chain_of_followed_frames_is_traced_in_no_time() {
    // each of 5000 frames from the one before: a way that is gone anew for each would take minutes
    let mut frames = HAND.to_owned();
    for index in 1..5000 {
        let (time_s, from_s) = (1.0 + 0.001_3 * f64::from(index), 1.0 + 0.001_3 * f64::from(index - 1));
        frames += &format!(
            r#", {{ "time_s": {time_s:.4}, "source": "track", "from": {{ "marks": "a.marks.json", "time_s": {from_s:.4} }},
            "points": {{ "nose": [102, 100] }} }}"#
        );
    }
    let start = std::time::Instant::now();
    let visit = observations(&frames, HAND).unwrap();
    let marks = visit.reaches[0].frames.iter().flat_map(|frame| &frame.marks);
    assert!(marks.filter(|mark| mark.landmark == Landmark::Nose).all(|mark| mark.shared.unwrap().origin == 0));
    assert!(start.elapsed().as_secs() < 30, "{:?}", start.elapsed());
}

#[test]
fn a_fault_on_a_way_is_noted_once_at_the_frame_that_has_it() {
    let of = |time_s: f64, from_s: f64| {
        format!(
            r#"{{ "time_s": {time_s}, "source": "track",
            "from": {{ "marks": "a.marks.json", "time_s": {from_s} }}, "points": {{ "nose": [101, 100] }} }}"#
        )
    };
    let a = [of(3.0, 2.0), of(2.0, 1.0), of(1.0, 0.5)].join(",\n");
    let error = observations(&a, HAND).unwrap_err();
    assert_eq!(error.lines().count(), 1, "{error}");
    assert!(error.contains("a.marks.json: line 6: \"from\" names mark \"nose\" at 0.5 s"), "{error}");
}

#[test]
fn from_that_names_no_mark_is_refused() {
    let b = r#"{ "time_s": 1.5, "source": "carried", "from": { "marks": "a.marks.json", "time_s": 1.1 },
        "points": { "nose": [101, 100] } }"#;
    let error = observations(HAND, b).unwrap_err();
    assert!(error.contains(r#""from" names mark "nose" at 1.1 s in a.marks.json, which has no such mark"#), "{error}");
}
