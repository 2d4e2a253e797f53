//! `board` and `calibrate`: a board is printed, filmed, and gives a lens profile.

use std::fs;
use std::path::{Path, PathBuf};

use image::{Rgb, RgbImage};
use tempfile::TempDir;
use tworeach::camera::read_profile;
use tworeach::video::{EncodeOptions, Encoder};

use crate::board_pictures::{FOCAL_PX, Pose, SIZE, picture, poses, write_stills};
use crate::case_files::{code, stderr, stdout, tworeach};

fn calibrate(folder: &TempDir, files: &[String], more: &[&str]) -> std::process::Output {
    let out = folder.path().join("phone.camera.json");
    let mut arguments = vec!["calibrate"];
    arguments.extend(files.iter().map(String::as_str));
    arguments.extend(["--out", out.to_str().unwrap()]);
    arguments.extend(more);
    tworeach(&arguments)
}

fn assert_is_the_camera(profile: &Path) {
    let lens = read_profile(profile).unwrap().lens;
    // The truth is within what the profile itself states, and that is small.
    let u = lens.parameter_u();
    for (value, u, truth) in
        [(lens.fx, u[0], FOCAL_PX), (lens.fy, u[1], FOCAL_PX), (lens.cx, u[2], 319.5), (lens.cy, u[3], 239.5)]
    {
        assert!((value - truth).abs() < 3.5 * u, "{value} u {u}, expected {truth}");
        assert!(u < 2.0, "u {u}");
    }
}

#[test]
fn stills_of_the_board_give_the_camera_that_took_them() {
    let folder = tempfile::tempdir().unwrap();
    let files = write_stills(folder.path(), &poses());
    let output = calibrate(&folder, &files, &[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert!(stdout(&output).starts_with("12 views, 640 x 480 px, rms 0.0"), "{}", stdout(&output));
    assert_is_the_camera(&folder.path().join("phone.camera.json"));
    let page = fs::read_to_string(folder.path().join("phone.html")).unwrap();
    assert!(page.contains("view-00.png") && page.contains("</html>"));
    assert!(!page.contains("http://") && !page.contains("https://"), "the page fetches nothing");

    let again = calibrate(&folder, &files, &[]);
    assert_eq!(code(&again), 1);
    assert!(stderr(&again).contains("phone.camera.json exists already"), "{}", stderr(&again));
    assert_eq!(code(&calibrate(&folder, &files, &["--force", "--json"])), 0);
}

#[test]
fn a_clip_of_the_board_is_sorted_into_views() {
    let folder = tempfile::tempdir().unwrap();
    let clip = folder.path().join("board.mp4");
    let options = EncodeOptions { frame_rate: (10, 1), crf: 12, ..EncodeOptions::new(SIZE[0], SIZE[1]) };
    let mut encoder = Encoder::create(&clip, options).unwrap();
    for pose in poses() {
        let still = picture(pose);
        // Held for three frames, then gone for one.
        for _ in 0..3 {
            encoder.push(&still).unwrap();
        }
        encoder.push(&RgbImage::from_pixel(SIZE[0], SIZE[1], Rgb([110; 3]))).unwrap();
    }
    encoder.finish().unwrap();
    let output = calibrate(&folder, &[clip.to_str().unwrap().to_owned()], &[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let views: usize = stdout(&output).split(' ').next().unwrap().parse().unwrap();
    assert!((9..=12).contains(&views), "repeats are passed over: {}", stdout(&output));
    assert_is_the_camera(&folder.path().join("phone.camera.json"));
}

#[test]
fn too_few_or_parallel_views_are_refused_with_the_reason() {
    let folder = tempfile::tempdir().unwrap();
    let mut files = write_stills(folder.path(), &poses()[..2]);
    let blank = folder.path().join("blank.png");
    RgbImage::from_pixel(640, 480, Rgb([90; 3])).save(&blank).unwrap();
    files.push(blank.to_str().unwrap().to_owned());
    let output = calibrate(&folder, &files, &[]);
    assert_eq!(code(&output), 1);
    let said = stderr(&output);
    assert!(said.contains("the board was found in 2 views, expected at least 3"), "{said}");
    assert!(said.contains("blank.png: no board in the picture"), "{said}");
    assert!(!folder.path().join("phone.camera.json").exists());

    let flat: Vec<Pose> = [[0.0, 0.0, 330.0], [40.0, 20.0, 360.0], [-40.0, -20.0, 400.0], [20.0, -20.0, 350.0]]
        .into_iter()
        .map(|middle_mm| Pose { turn_deg: [0.0; 3], middle_mm })
        .collect();
    let output = calibrate(&folder, &write_stills(folder.path(), &flat), &[]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("tilt it about both axes"), "{}", stderr(&output));
}

#[test]
fn wrong_boards_and_pictures_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let files = write_stills(folder.path(), &poses()[..3]);
    let output = calibrate(&folder, &files, &["--cols", "7"]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("a board of 9 x 6 inner corners, expected 7 x 6"), "{}", stderr(&output));
    let output = calibrate(&folder, &files, &["--rows", "2"]);
    assert!(stderr(&output).contains("expected 3 to 40 corners a side"), "{}", stderr(&output));

    let small = folder.path().join("small.png");
    RgbImage::new(320, 240).save(&small).unwrap();
    let output = calibrate(&folder, &[files[0].clone(), small.to_str().unwrap().to_owned()], &[]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("small.png is 320x240 px"), "{}", stderr(&output));
    let output = calibrate(&folder, &[folder.path().join("nowhere.png").to_str().unwrap().to_owned()], &[]);
    assert!(stderr(&output).contains("nowhere.png"), "{}", stderr(&output));
}

#[test]
fn published_photographs_are_calibrated_by_the_command() {
    let Some(root) = std::env::var_os("TWOREACH_REFERENCE") else {
        eprintln!("skipped: no sample photos (set TWOREACH_REFERENCE)");
        return;
    };
    let photos = PathBuf::from(root).join("data/calibration");
    let files: Vec<String> = (1..=14)
        .filter(|number| *number != 10)
        .map(|number| photos.join(format!("left{number:02}.jpg")).to_str().unwrap().to_owned())
        .collect();
    let folder = tempfile::tempdir().unwrap();
    let output = calibrate(&folder, &files, &["--square-mm", "25"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert!(stdout(&output).starts_with("13 views"), "{}", stdout(&output));
    let profile = read_profile(&folder.path().join("phone.camera.json")).unwrap();
    // Reference: 0.19543 px and fx 532.83 from the same photos by another library, tests/reference/.
    assert!(profile.rms_px.unwrap() <= 0.20);
    assert!((profile.lens.fx - 532.83).abs() < 0.3, "{}", profile.lens.fx);
    assert!(stderr(&output).contains("never came near the top left corner"), "{}", stderr(&output));
}

#[test]
fn the_board_is_made_as_pdf_svg_and_page_for_a_screen() {
    let folder = tempfile::tempdir().unwrap();
    let pdf = folder.path().join("board.pdf");
    let run = |path: &Path, more: &[&str]| tworeach(&[&["board", "--out", path.to_str().unwrap()], more].concat());
    assert_eq!(code(&run(&pdf, &[])), 0);
    assert!(fs::read(&pdf).unwrap().starts_with(b"%PDF-1.7"));
    assert!(stderr(&run(&pdf, &[])).contains("exists already"));
    let svg = folder.path().join("board.svg");
    assert_eq!(code(&run(&svg, &["--letter"])), 0);
    assert!(fs::read_to_string(&svg).unwrap().contains("width=\"279.4mm\" height=\"215.9mm\""));
    let screen = folder.path().join("board.html");
    assert_eq!(code(&run(&screen, &["--cols", "7"])), 0);
    let page = fs::read_to_string(&screen).unwrap();
    assert!(page.contains("data-cols=\"7\"") && page.contains("fillRect") && !page.contains("http"), "{page}");
    let large = run(&folder.path().join("large.pdf"), &["--square-mm", "40"]);
    assert_eq!(code(&large), 1);
    assert!(stderr(&large).contains("squares of up to 26 mm fit"), "{}", stderr(&large));
    assert!(stderr(&run(&folder.path().join("board.txt"), &[])).contains("none of .pdf, .svg and .html"));
}

#[test]
fn the_boards_that_ship_are_those_that_the_command_makes() {
    let folder = tempfile::tempdir().unwrap();
    for (name, more) in [("board-a4.svg", None), ("board-letter.svg", Some("--letter"))] {
        let made = folder.path().join(name);
        let mut arguments = vec!["board", "--out", made.to_str().unwrap()];
        arguments.extend(more);
        assert_eq!(code(&tworeach(&arguments)), 0);
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("calibration").join(name);
        assert_eq!(fs::read_to_string(made).unwrap(), fs::read_to_string(shipped).unwrap(), "{name}");
    }
}
