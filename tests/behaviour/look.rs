//! Looking at a file with `inspect` and saving a frame with `still`.

use std::fs;
use std::process::Command;

use image::{DynamicImage, ImageFormat, ImageReader, Rgb, RgbImage};
use serde_json::Value;
use tworeach::video::{Clip, Media, VideoError};

use crate::case_files::{code, stderr, stdout, tworeach};
use crate::clips::made;

const H264: [&str; 6] = ["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p"];

/// A picture whose four corners differ: red, green / blue, white.
fn corners() -> RgbImage {
    RgbImage::from_fn(48, 32, |x, y| match (x < 24, y < 16) {
        (true, true) => Rgb([250, 0, 0]),
        (false, true) => Rgb([0, 250, 0]),
        (true, false) => Rgb([0, 0, 250]),
        (false, false) => Rgb([250, 250, 250]),
    })
}

#[test]
fn inspect_tells_of_a_clip_in_words_and_json() {
    let (_folder, path) = made("clip.mp4", &H264);
    let path = path.to_str().unwrap();
    let words = tworeach(&["inspect", path]);
    assert_eq!(code(&words), 0);
    assert_eq!(stderr(&words), "");
    for part in ["H.264", "MP4", "320 x 240", "75 in 2.500 s", "30.00 per second", "none found"] {
        assert!(stdout(&words).contains(part), "no {part} in {}", stdout(&words));
    }
    let json = tworeach(&["inspect", path, "--json"]);
    let told: Value = serde_json::from_slice(&json.stdout).unwrap();
    assert_eq!(told["kind"], "clip");
    assert_eq!(told["frames"], 75);
    assert_eq!(told["upright_size"], serde_json::json!([320, 240]));
    assert_eq!(told["frame_times_s"].as_array().unwrap().len(), 75);
    assert_eq!(told["damage"], Value::Null);
}

#[test]
fn inspect_tells_of_a_still() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("still.png");
    corners().save(&path).unwrap();
    let output = tworeach(&["inspect", path.to_str().unwrap()]);
    assert_eq!(code(&output), 0);
    assert!(stdout(&output).contains("still, PNG") && stdout(&output).contains("48 x 32"), "{}", stdout(&output));
}

#[test]
fn still_saves_the_frame_shown_at_a_time() {
    let (folder, path) = made("clip.mp4", &H264);
    let out = folder.path().join("frame.png");
    let (clip, picture) = (path.to_str().unwrap(), out.to_str().unwrap());
    let output = tworeach(&["still", clip, "--at", "1.21", "--out", picture]);
    assert_eq!((code(&output), stderr(&output).as_str()), (0, ""));
    let saved = ImageReader::open(&out).unwrap().decode().unwrap().into_rgb8();
    // 1.21 s lies within frame 36 of 30 a second, from 1.2 to 1.2333 s.
    let expected = Clip::open(&path).unwrap().frames().unwrap().nth(36).unwrap().unwrap();
    assert!(saved == expected.image);
    let again = tworeach(&["still", clip, "--at", "0", "--out", picture]);
    assert_eq!(code(&again), 1);
    assert!(stderr(&again).contains("exists already") && stderr(&again).contains("--force"), "{}", stderr(&again));
    assert!(ImageReader::open(&out).unwrap().decode().unwrap().into_rgb8() == expected.image, "it was overwritten");
    assert_eq!(code(&tworeach(&["still", clip, "--at", "0", "--out", picture, "--force"])), 0);
    assert!(ImageReader::open(&out).unwrap().decode().unwrap().into_rgb8() != expected.image);
}

#[test]
fn a_quiet_still_says_errors_alone() {
    let (folder, path) = made("clip.mp4", &H264);
    let out = folder.path().join("frame.png");
    let still =
        |at: &str| tworeach(&["still", path.to_str().unwrap(), "--at", at, "-q", "--out", out.to_str().unwrap()]);
    let output = still("1.21");
    assert_eq!((code(&output), stdout(&output).as_str(), stderr(&output).as_str()), (0, "", ""));
    assert!(ImageReader::open(&out).unwrap().decode().is_ok());
    std::fs::remove_file(&out).unwrap();
    let past = still("7.25");
    assert!(code(&past) == 1 && stderr(&past).contains("is past the end"), "{}", stderr(&past));
}

#[test]
fn a_failed_still_leaves_nothing() {
    let (folder, path) = made("clip.mp4", &H264);
    let out = folder.path().join("frame.png");
    let clip = path.to_str().unwrap();
    let past = tworeach(&["still", clip, "--at", "7.25", "--out", out.to_str().unwrap()]);
    assert_eq!(code(&past), 1);
    assert!(
        stderr(&past).contains("7.250 s is past the end") && stderr(&past).contains("2.467 s"),
        "{}",
        stderr(&past)
    );
    assert_eq!(code(&tworeach(&["still", clip, "--at", "-1", "--out", out.to_str().unwrap()])), 1);
    let nowhere = folder.path().join("no/such/folder.png");
    let nowhere = tworeach(&["still", clip, "--at", "0", "--out", nowhere.to_str().unwrap()]);
    // what is named is what was asked for, not the temporary file beside it
    assert!(code(&nowhere) == 1 && !stderr(&nowhere).contains(".writing-"), "{}", stderr(&nowhere));
    let names: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, ["clip.mp4"]);
}

#[test]
fn what_a_still_is_named_is_what_it_is() {
    let (folder, path) = made("clip.mp4", &H264);
    for (name, format) in [("a.png", ImageFormat::Png), ("a.jpg", ImageFormat::Jpeg), ("a.JPEG", ImageFormat::Jpeg)] {
        let out = folder.path().join(name);
        let output = tworeach(&["still", path.to_str().unwrap(), "--at", "0", "--out", out.to_str().unwrap()]);
        assert_eq!((code(&output), stderr(&output).as_str()), (0, ""), "{name}");
        assert_eq!(image::guess_format(&fs::read(&out).unwrap()).unwrap(), format, "{name}");
    }
    for name in ["a.bmp", "a"] {
        let out = folder.path().join(name);
        let output = tworeach(&["still", path.to_str().unwrap(), "--at", "0", "--out", out.to_str().unwrap()]);
        assert!(code(&output) == 2 && stderr(&output).contains(".png or .jpg"), "{name}: {}", stderr(&output));
        assert!(!out.exists(), "{name}");
    }
}

#[test]
fn wrong_usage_exits_with_2() {
    for arguments in
        [&["still"][..], &["still", "clip.mp4"], &["still", "c.mp4", "--at", "soon", "--out", "o.png"], &["inspect"]]
    {
        let output = tworeach(arguments);
        assert_eq!(code(&output), 2, "{arguments:?}");
        assert!(!stderr(&output).is_empty());
    }
}

#[test]
fn a_full_disk_leaves_nothing_half_written() {
    let (folder, path) = made("clip.mp4", &H264);
    let binary = env!("CARGO_BIN_EXE_tworeach");
    let clip = path.to_str().unwrap();
    // /dev/full takes no byte.
    let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let mut command = Command::new(binary);
    let output = command.args(["still", clip, "--at", "0", "--out", "-"]).stdout(full).output().unwrap();
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("cannot write to standard output"), "{}", stderr(&output));
    // A limit on the size of files stands in for a full disk: writing fails in the middle of the picture.
    let out = folder.path().join("frame.png");
    let script = format!("trap '' XFSZ; ulimit -f 2; exec '{binary}' still '{clip}' --at 0 --out '{}'", out.display());
    let output = Command::new("bash").args(["-c", &script]).output().unwrap();
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("cannot write") && stderr(&output).contains("frame.png"), "{}", stderr(&output));
    let names: Vec<_> = fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert_eq!(names, ["clip.mp4"]);
}

#[test]
fn a_still_of_every_format_is_read() {
    let folder = tempfile::tempdir().unwrap();
    for (name, format, words) in [
        ("a.png", ImageFormat::Png, "PNG"),
        ("a.jpg", ImageFormat::Jpeg, "JPEG"),
        ("a.webp", ImageFormat::WebP, "WebP"),
        ("a.tiff", ImageFormat::Tiff, "TIFF"),
        // The content counts, not the name.
        ("misnamed.mp4", ImageFormat::Png, "PNG"),
    ] {
        let path = folder.path().join(name);
        corners().save_with_format(&path, format).unwrap();
        let mut media = Media::open(&path).unwrap();
        assert_eq!(media.info().container, words);
        let frame = media.frame_at(0.0).unwrap();
        for (x, y) in [(5, 5), (40, 5), (5, 27), (40, 27)] {
            let (found, expected) = (frame.image.get_pixel(x, y), *corners().get_pixel(x, y));
            // JPEG is lossy, but not on flat patches away from edges.
            assert!(
                found.0.iter().zip(expected.0).all(|(found, expected)| found.abs_diff(expected) <= 6),
                "{name} {found:?}"
            );
        }
        assert!(matches!(media.frame_at(0.5), Err(VideoError::NotInStill { .. })));
    }
}

#[test]
fn deep_gray_and_transparent_stills_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let picture = DynamicImage::ImageRgb8(corners());
    for (name, picture) in [
        ("deep.png", DynamicImage::ImageRgb16(picture.to_rgb16())),
        ("gray.png", DynamicImage::ImageLuma8(picture.to_luma8())),
        ("clear.png", DynamicImage::ImageRgba8(picture.to_rgba8())),
    ] {
        let path = folder.path().join(name);
        picture.save(&path).unwrap();
        let mut media = Media::open(&path).unwrap();
        assert_eq!(media.info().bit_depth, if name == "deep.png" { 16 } else { 8 });
        assert_eq!(media.frame_at(0.0).unwrap().image, picture.to_rgb8(), "{name}");
    }
}

/// A JPEG with an EXIF block that holds the orientation tag alone (TIFF 6.0 layout, tag 0x0112).
fn with_orientation(jpeg: &[u8], orientation: u8) -> Vec<u8> {
    let mut exif = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
    exif.extend_from_slice(&[orientation, 0, 0, 0, 0, 0, 0]);
    let length = u16::try_from(exif.len() + 2).unwrap().to_be_bytes();
    [&jpeg[..2], b"\xff\xe1", &length[..], &exif[..], &jpeg[2..]].concat()
}

#[test]
fn stills_stand_upright_by_their_exif_orientation() {
    let folder = tempfile::tempdir().unwrap();
    let plain = folder.path().join("plain.jpg");
    corners().save(&plain).unwrap();
    let jpeg = fs::read(&plain).unwrap();
    // Where the stored top-left, top-right, bottom-left and bottom-right land, by the EXIF standard's table of orientation
    // (JEITA CP-3451, 4.6.4): 1 as stored; 3 half a turn; 6 the 0th row is the right side; 8 the 0th row is the left side;
    // 2, 4, 5, 7 mirrored.
    let (red, green, blue, white) = ([250, 0, 0], [0, 250, 0], [0, 0, 250], [250; 3]);
    for (orientation, corners) in [
        (1, [red, green, blue, white]),
        (2, [green, red, white, blue]),
        (3, [white, blue, green, red]),
        (4, [blue, white, red, green]),
        (5, [red, blue, green, white]),
        (6, [blue, red, white, green]),
        (7, [white, green, blue, red]),
        (8, [green, white, red, blue]),
    ] {
        let path = folder.path().join(format!("{orientation}.jpg"));
        fs::write(&path, with_orientation(&jpeg, orientation)).unwrap();
        let mut media = Media::open(&path).unwrap();
        let [width, height] = media.upright_size();
        assert_eq!([width, height], if orientation < 5 { [48, 32] } else { [32, 48] });
        let frame = media.frame_at(0.0).unwrap().image;
        for (place, expected) in
            [(4, 4), (width - 5, 4), (4, height - 5), (width - 5, height - 5)].into_iter().zip(corners)
        {
            let found = frame.get_pixel(place.0, place.1).0;
            let is_near = found.iter().zip(expected).all(|(found, expected)| found.abs_diff(expected) <= 8);
            assert!(is_near, "orientation {orientation} at {place:?}: {found:?}");
        }
    }
}
