//! Real clips of phones and cameras, where `TWOREACH_REFERENCE` names a folder that holds them under `data/video`.

use std::fs;
use std::path::PathBuf;

use serde_json::Value;
use tworeach::video::Clip;

use crate::decode::check;

/// Times in the reference file are rounded to a microsecond.
const TIME_TOLERANCE_S: f64 = 1.5e-6;
/// Means of an eighth of a million pixels and more: what is left is how `ffmpeg` rounds the limited range to grey.
const GRAY_TOLERANCE: f64 = 0.6;

/// The clips and what `ffprobe` and `ffmpeg` 5.1.9 say about them.
fn clips() -> Vec<(PathBuf, Value)> {
    let Ok(folder) = std::env::var("TWOREACH_REFERENCE") else {
        println!("skipped: TWOREACH_REFERENCE is not set");
        return Vec::new();
    };
    let folder = PathBuf::from(folder).join("data/video");
    let reference: Value = serde_json::from_slice(&fs::read(folder.join("probe_reference.json")).unwrap()).unwrap();
    let clips = reference["clips"].as_array().unwrap();
    assert!(clips.len() >= 19, "{} clips", clips.len());
    clips.iter().map(|clip| (folder.join(clip["file"].as_str().unwrap()), clip.clone())).collect()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
}

#[test]
fn times_and_upright_sizes() {
    for (path, reference) in clips() {
        let name = path.display();
        let mut clip = Clip::open(&path).unwrap();
        let times_s = clip.frame_times_s().unwrap().to_vec();
        let expected_s = numbers(&reference["frame_pts_s"]);
        let start_s: f64 = reference["start_time"].as_str().unwrap().parse().unwrap();
        assert_eq!(times_s.len(), expected_s.len(), "{name}");
        for (time_s, expected_s) in times_s.iter().zip(expected_s) {
            assert!((time_s - (expected_s - start_s)).abs() < TIME_TOLERANCE_S, "{name}: {time_s} for {expected_s}");
        }
        // The reference was made without squaring pixels; only the 3GP clip has others, 12:11 in 176 x 144.
        let mut expected_size = numbers(&reference["upright_size"]);
        if reference["sar"] == "12:11" {
            expected_size[0] = (expected_size[0] * 12.0 / 11.0).round();
        }
        let info = clip.info();
        assert_eq!(info.upright_size.map(f64::from).to_vec(), expected_size, "{name}");
        assert_eq!(info.streams, usize::try_from(reference["streams"].as_u64().unwrap()).unwrap(), "{name}");
        assert_eq!(info.damage, None, "{name}");
    }
}

#[test]
fn the_first_frame_stands_upright() {
    for (path, reference) in clips() {
        let name = path.display();
        let frame = Clip::open(&path).unwrap().luma_at(0.0).unwrap();
        let (width, height) = frame.image.dimensions();
        for (row, expected) in (0..4).zip(reference["upright_first_frame_4x4_mean_gray"].as_array().unwrap()) {
            for (column, expected) in (0..4).zip(numbers(expected)) {
                let (x, y) = (column * width / 4..(column + 1) * width / 4, row * height / 4..(row + 1) * height / 4);
                let count = f64::from((x.end - x.start) * (y.end - y.start));
                let sum: f64 = y
                    .flat_map(|y| x.clone().map(move |x| (x, y)))
                    .map(|(x, y)| f64::from(frame.image.get_pixel(x, y).0[0]))
                    .sum();
                let mean = sum / count;
                assert!((mean - expected).abs() < GRAY_TOLERANCE, "{name} {row} {column}: {mean} for {expected}");
            }
        }
    }
}

#[test]
fn frames_times_and_jumps_agree_with_ffmpeg() {
    for (path, _) in clips() {
        let start = std::time::Instant::now();
        check(&path);
        println!("{}: {:.1} s", path.display(), start.elapsed().as_secs_f64());
    }
}
