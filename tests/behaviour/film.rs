//! Films: clips with what was followed and measured drawn over them.

use std::fs;
use std::path::{Path, PathBuf};

use image::RgbImage;
use tworeach::video::{Clip, EncodeOptions, Encoder};

use crate::case_files::{code, stderr, tworeach};
use crate::clips::{ffmpeg, ffprobe};
use crate::sample_case::{self, json};

/// The arm's colours, as the README's charts have them: sRGB of blue and vermilion after Okabe and Ito (2008).
const BLUE: [u8; 3] = [0x00, 0x72, 0xB2];
const VERMILION: [u8; 3] = [0xD5, 0x5E, 0x00];
/// H.264 halves the chroma, and x264 loses some: a stroke 6 px wide keeps its colour within so much a channel.
const COLOUR_TOL: u8 = 60;

/// Marks without error on a frame of the sample's first reach.
fn marks_at(folder: &Path, name: &str, reach: usize, frame: usize, used_as: &str) -> PathBuf {
    let truth = json(&sample_case::folder().join("truth.json"));
    let frame = &truth["reaches"][reach]["frames"][frame];
    let marked = ["right_shoulder", "right_elbow", "right_wrist", "right_hip", "plumb_top", "plumb_bottom", "datum"];
    let points: serde_json::Map<String, serde_json::Value> =
        marked.iter().map(|name| ((*name).to_owned(), frame["landmarks"][*name]["px"].clone())).collect();
    let marks = serde_json::json!({
        "schema": "tworeach/marks/1", "image_size": [1280, 720],
        "frames": [{ "time_s": frame["time_s"], "source": "hand", "use": used_as, "points": points }]
    });
    let path = folder.join(name);
    fs::write(&path, marks.to_string()).unwrap();
    path
}

fn track(clip: &Path, marks: &Path, out: &Path, more: &[&str]) -> std::process::Output {
    let paths = [clip, marks, out].map(|path| path.to_str().unwrap());
    tworeach(&[&["track", paths[0], "--marks", paths[1], "--out", paths[2], "--film"], more].concat())
}

/// How many px along a line have nearly a colour.
fn coloured(image: &RgbImage, from: [f64; 2], to: [f64; 2], colour: [u8; 3]) -> usize {
    (0..100)
        .filter(|step| {
            let share = f64::from(*step) / 100.0;
            let [x, y] = [0, 1].map(|axis| (from[axis] + share * (to[axis] - from[axis])).round());
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place on the picture")]
            let pixel = image.get_pixel(x as u32, y as u32);
            pixel.0.iter().zip(colour).all(|(found, wanted)| found.abs_diff(wanted) <= COLOUR_TOL)
        })
        .count()
}

fn point(truth: &serde_json::Value, reach: usize, frame: usize, name: &str) -> [f64; 2] {
    let px = &truth["reaches"][reach]["frames"][frame]["landmarks"][name]["px"];
    [px[0].as_f64().unwrap(), px[1].as_f64().unwrap()]
}

#[test]
fn a_film_keeps_uneven_times_and_shows_the_arm_where_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let sample = Clip::open(&sample_case::folder().join("before-internal.mp4")).unwrap();
    // the raise and the hold, every frame of it later than it was by a growing bit, and some left out
    let kept: Vec<usize> = (0..75).filter(|frame| frame % 7 != 3).collect();
    let mut times_s = Vec::new();
    let clip = folder.path().join("uneven.mp4");
    let mut encoder = Encoder::create(&clip, EncodeOptions::new(1280, 720)).unwrap();
    for (index, frame) in
        sample.frames().unwrap().map(Result::unwrap).enumerate().filter(|(index, _)| kept.contains(index))
    {
        let time_s = frame.time_s + 0.0001 * (index * index) as f64;
        encoder.push_at(&frame.image, time_s).unwrap();
        times_s.push(time_s);
    }
    encoder.finish().unwrap();
    let marks = marks_at(folder.path(), "first.json", 0, 0, "end_range");
    let out = folder.path().join("out");
    let done = track(&clip, &marks, &out, &[]);
    assert_eq!(code(&done), 0, "{}", stderr(&done));

    let film = out.join("film.mp4");
    let mut shown = Clip::open(&film).unwrap();
    assert_eq!(shown.info().upright_size, [1280, 720]);
    assert_eq!(shown.info().codec, "H.264 (AVC)");
    let found_s = shown.frame_times_s().unwrap().to_vec();
    assert_eq!(found_s.len(), times_s.len());
    for (found_s, time_s) in found_s.iter().zip(&times_s) {
        // the film's clock ticks 90000 times a second, the clip's as well
        assert!((found_s - time_s).abs() < 3e-5, "{found_s} {time_s}");
    }
    // 4:2:0, and the index before the pictures, so that it plays while it loads
    assert_eq!(ffprobe(&film, "stream=pix_fmt"), ["yuv420p"]);
    let bytes = fs::read(&film).unwrap();
    let place = |name: &[u8]| bytes.windows(4).position(|window| window == name).unwrap();
    assert!(place(b"moov") < place(b"mdat"));

    // arms down and held: the upper arm is drawn where it truly is, in the film's one accent
    let truth = json(&sample_case::folder().join("truth.json"));
    for index in [0, kept.len() - 5] {
        let [shoulder, elbow] = ["right_shoulder", "right_elbow"].map(|name| point(&truth, 0, kept[index], name));
        let image = shown.frame_at(found_s[index]).unwrap().image;
        // the rings at both ends are not the line
        assert!(coloured(&image, shoulder, elbow, BLUE) > 60, "frame {index}");
    }
}

#[test]
fn a_turned_clip_of_odd_size_gives_an_upright_film_of_even_size() {
    let folder = tempfile::tempdir().unwrap();
    let [plain, clip] = ["plain.mp4", "turned.mp4"].map(|name| folder.path().join(name));
    // whole chroma, without which a picture has even sides
    let picture = ["-vf", "format=yuv444p,crop=641:361:0:0", "-c:v", "libx264", plain.to_str().unwrap()];
    ffmpeg(&[&["-f", "lavfi", "-i", "testsrc2=size=642x362:rate=25:duration=0.4"], &picture[..]].concat());
    let turned = ["-c", "copy", "-metadata:s:v:0", "rotate=90", clip.to_str().unwrap()];
    ffmpeg(&[&["-i", plain.to_str().unwrap()], &turned[..]].concat());
    let marks = folder.path().join("marks.json");
    let points = serde_json::json!({ "right_shoulder": [150.0, 300.0], "right_wrist": [200.0, 200.0] });
    let text = serde_json::json!({
        "schema": "tworeach/marks/1", "image_size": [361, 641],
        "frames": [{ "time_s": 0.0, "source": "hand", "use": "end_range", "points": points }]
    });
    fs::write(&marks, text.to_string()).unwrap();
    let out = folder.path().join("out");
    let done = track(&clip, &marks, &out, &["--quiet"]);
    assert_eq!(code(&done), 0, "{}", stderr(&done));
    let film = Clip::open(&out.join("film.mp4")).unwrap();
    assert_eq!(film.info().upright_size, [360, 640]);
    assert_eq!(film.frames().unwrap().count(), 10, "0.4 s at 25 a second");

    // what is there is kept, and the film of an earlier run does not stay beside new tracks
    let before = fs::read(out.join("film.mp4")).unwrap();
    let again = track(&clip, &marks, &out, &["--quiet"]);
    assert_eq!(code(&again), 1);
    assert!(stderr(&again).contains("exists already"), "{}", stderr(&again));
    assert_eq!(fs::read(out.join("film.mp4")).unwrap(), before);
    let paths = [&clip, &marks, &out].map(|path| path.to_str().unwrap());
    let done = tworeach(&["track", paths[0], "--marks", paths[1], "--out", paths[2], "--force", "--quiet"]);
    assert_eq!(code(&done), 0, "{}", stderr(&done));
    assert!(!out.join("film.mp4").exists());
}

#[test]
fn a_measured_reach_becomes_a_film_with_both_held_rays() {
    let folder = tempfile::tempdir().unwrap();
    sample_case::copy_to(folder.path());
    let truth = json(&sample_case::folder().join("truth.json"));
    // frame 59 is held; the reaches after the stretch are left out
    for (reach, name) in ["before-internal", "before-external"].iter().enumerate() {
        marks_at(folder.path(), &format!("{name}.marks.json"), reach, 59, "start");
    }
    let case = folder.path().join("case.toml");
    let text = fs::read_to_string(&case).unwrap();
    let third = text.match_indices("[[reach]]").nth(2).unwrap().0;
    fs::write(&case, &text[..third]).unwrap();
    let out = folder.path().join("out");
    let done = tworeach(&["measure", case.to_str().unwrap(), "--out", out.to_str().unwrap(), "--film", "--json"]);
    assert_eq!(code(&done), 0, "{}", stderr(&done));
    let result: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();

    let mut film = Clip::open(&out.join("film-before-internal-side.mp4")).unwrap();
    assert!(out.join("film-before-external-side.mp4").exists());
    // arms down: nothing but the held rays stands above the head
    let image = film.frame_at(0.0).unwrap().image;
    let shoulder = point(&truth, 0, 59, "right_shoulder");
    let wrist = point(&truth, 0, 59, "right_wrist");
    let length = (wrist[0] - shoulder[0]).hypot(wrist[1] - shoulder[1]);
    for (reach, colour, least) in [(0, BLUE, 30), (1, VERMILION, 60)] {
        let deg = |field: &str| result["reaches"][reach][field]["value"].as_f64().unwrap();
        // Seen from the side, 0 hangs down along the plumb line and the person faces the picture's right. The camera stands some
        // 5 deg off square, for which the ray is looked for within 2.5 deg. Internal is dashed.
        let best = (-10..=10)
            .map(|step| {
                let (sin, cos) = (deg("elevation_from_vertical_deg") + 0.25 * f64::from(step)).to_radians().sin_cos();
                let at = |radius: f64| [shoulder[0] + radius * sin, shoulder[1] + radius * cos];
                coloured(&image, at(0.5 * length), at(1.15 * length), colour)
            })
            .max();
        assert!(best.unwrap() >= least, "reach {reach}: {best:?}");
    }
}

#[test]
fn a_case_without_followed_marks_says_that_there_is_no_film() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("out");
    let case = sample_case::folder().join("case.toml");
    let done = tworeach(&["measure", case.to_str().unwrap(), "--out", out.to_str().unwrap(), "--film"]);
    assert_eq!(code(&done), 0, "{}", stderr(&done));
    assert!(stderr(&done).contains("No film"), "{}", stderr(&done));
}
