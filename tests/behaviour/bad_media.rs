//! Files that can't be used: refused in one sentence with exit code 1, without a panic, a hang or a flood of memory; damaged
//! ones are used up to the damage.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use tworeach::video::{Clip, Media, VideoError};

use crate::case_files::{code, stderr, stdout, tworeach};
use crate::clips::{SOURCE, ffmpeg, made, sequence};

const H264: [&str; 12] = [
    "-c:v",
    "libx264",
    "-preset",
    "ultrafast",
    "-bf",
    "2",
    "-g",
    "15",
    "-pix_fmt",
    "yuv420p",
    "-movflags",
    "+faststart",
];
/// No small file may keep the tool this long, even on a busy machine in the debug build.
const LONGEST: Duration = Duration::from_secs(20);

/// `inspect` fails with all of these words, in one line, and says nothing else.
fn refused(path: &Path, words: &[&str]) {
    let start = Instant::now();
    let output = tworeach(&["inspect", path.to_str().unwrap()]);
    let said = stderr(&output);
    assert_eq!(code(&output), 1, "{}{said}", stdout(&output));
    assert!(start.elapsed() < LONGEST);
    assert_eq!(said.lines().count(), 1, "{said}");
    assert_eq!(stdout(&output), "");
    for words in words {
        assert!(said.contains(words), "no {words} in {said}");
    }
}

fn refused_bytes(name: &str, bytes: &[u8], words: &[&str]) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, bytes).unwrap();
    refused(&path, &[words, &[name]].concat());
}

#[test]
fn missing_empty_and_not_a_file() {
    let folder = tempfile::tempdir().unwrap();
    refused(&folder.path().join("none.mp4"), &["cannot read", "none.mp4", "No such file"]);
    refused(folder.path(), &["is not a file but a directory"]);
    refused(Path::new("/dev/zero"), &["device or pipe"]);
    refused_bytes("empty.mp4", b"", &["is empty"]);
}

#[test]
fn a_cycle_of_links() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.mp4");
    std::os::unix::fs::symlink(folder.path().join("b.mp4"), &path).unwrap();
    std::os::unix::fs::symlink(&path, folder.path().join("b.mp4")).unwrap();
    refused(&path, &["cannot read", "symbolic links"]);
}

#[test]
fn no_permission() {
    use std::os::unix::fs::PermissionsExt as _;
    let (_folder, path) = made("clip.mp4", &H264);
    fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).unwrap();
    if fs::File::open(&path).is_ok() {
        println!("skipped: this user may read every file");
        return;
    }
    refused(&path, &["cannot read", "ermission denied"]);
}

#[test]
fn text_and_other_files_under_a_clips_name() {
    refused_bytes(
        "text.mp4",
        "Dear reader, this is no video.\n".repeat(500).as_bytes(),
        &["is neither a clip nor a still"],
    );
    refused_bytes("zeros.mov", &[0; 100_000], &["is neither a clip nor a still"]);
    let mut noise = vec![0; 100_000];
    ChaCha8Rng::seed_from_u64(3).fill(&mut noise[..]);
    refused_bytes("noise.mkv", &noise, &["is neither a clip nor a still"]);
    // Playlists would lead to other files or hosts.
    refused_bytes(
        "list.m3u8",
        b"#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXTINF:5,\nclip.ts\n#EXT-X-ENDLIST\n",
        &["is neither"],
    );
    refused_bytes("list.txt", b"ffconcat version 1.0\nfile clip.mp4\n", &["is neither"]);
}

#[test]
fn pictures_that_are_not_read_say_how_to_export() {
    let heic = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic and so on";
    refused_bytes("a.heic", heic, &["is a HEIC picture", "export it as JPEG or PNG"]);
    refused_bytes("a.jpg", b"\0\0\0\x1cftypavif\0\0\0\0avifmif1", &["is a AVIF picture", "export it as JPEG or PNG"]);
    refused_bytes("a.gif", b"GIF89a\x01\0\x01\0\0\0\0;", &["is a GIF picture"]);
}

#[test]
fn sound_alone_has_no_picture() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["sound.m4a", "sound.mkv"] {
        let path = folder.path().join(name);
        ffmpeg(&["-f", "lavfi", "-i", "sine=duration=1", path.to_str().unwrap()]);
        refused(&path, &["has no video", "1 stream(s), 1 of them sound"]);
    }
    // A cover picture is not a video either.
    let (cover, covered) = (folder.path().join("cover.png"), folder.path().join("covered.m4a"));
    image::RgbImage::new(32, 32).save(&cover).unwrap();
    let sound = folder.path().join("sound.m4a");
    ffmpeg(&[
        "-i",
        sound.to_str().unwrap(),
        "-i",
        cover.to_str().unwrap(),
        "-map",
        "0",
        "-map",
        "1",
        "-c",
        "copy",
        "-disposition:v:0",
        "attached_pic",
        covered.to_str().unwrap(),
    ]);
    refused(&covered, &["has no video"]);
}

#[test]
fn a_stream_of_no_length() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("none.mp4");
    let size = ["-frames:v", "0", "-c:v", "libx264"];
    ffmpeg(&[SOURCE, &size, &[path.to_str().unwrap()]].concat());
    refused(&path, &["none.mp4"]);
}

#[test]
fn an_encrypted_clip() {
    let (_folder, path) = made(
        "locked.mp4",
        &[
            &H264[..],
            &["-encryption_scheme", "cenc-aes-ctr", "-encryption_key", "76a6c65c5ea762046bd749a2e632ccbb"],
            &["-encryption_kid", "a7e61c373e219033c21091fa607bf3b8"],
        ]
        .concat(),
    );
    refused(&path, &["is encrypted"]);
}

#[test]
fn a_header_that_claims_too_many_pixels() {
    // PNG: width and height stand at bytes 16 to 24, followed by five bytes and the checksum of the block.
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("small.png");
    image::RgbImage::new(8, 8).save(&path).unwrap();
    let mut png = fs::read(&path).unwrap();
    png[16..24].copy_from_slice(&[0, 1, 0x86, 0xa0, 0, 1, 0x86, 0xa0]);
    let checksum = png_checksum(&png[12..29]).to_be_bytes();
    png[29..33].copy_from_slice(&checksum);
    refused_bytes("huge.png", &png, &["claims 100000 x 100000 pixels"]);
    // AVI: width and height stand 4 bytes into the stream's format, after the name and length of its block.
    let (_folder, path) = made("clip.avi", &["-c:v", "rawvideo", "-pix_fmt", "yuv420p", "-t", "0.1"]);
    let mut avi = fs::read(&path).unwrap();
    let format = avi.windows(4).position(|bytes| bytes == b"strf").unwrap() + 8;
    avi[format + 4..format + 12].copy_from_slice(&[0xa0, 0x86, 1, 0, 0xa0, 0x86, 1, 0]);
    fs::write(&path, avi).unwrap();
    refused(&path, &["claims 100000 x 100000 pixels"]);
}

/// CRC-32 of ISO 3309, bit by bit, as the PNG specification's annex D defines it.
fn png_checksum(bytes: &[u8]) -> u32 {
    let mut remainder = u32::MAX;
    for &byte in bytes {
        remainder ^= u32::from(byte);
        for _ in 0..8 {
            remainder = if remainder & 1 == 1 { 0xedb8_8320 ^ (remainder >> 1) } else { remainder >> 1 };
        }
    }
    !remainder
}

#[test]
fn names_with_spaces_and_other_scripts_and_colons() {
    let (folder, plain) = made("clip.mp4", &H264);
    for name in ["肩 上げ テスト.mp4", "رفع الذراع.mp4", "a b  c.mp4", "concat:clip.mp4", "-dash.mp4", "http:clip.mp4"]
    {
        let path = folder.path().join(name);
        fs::copy(&plain, &path).unwrap();
        let output = tworeach(&["inspect", path.to_str().unwrap()]);
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        assert!(stdout(&output).contains(name));
    }
}

#[test]
fn a_name_that_is_not_unicode() {
    use std::os::unix::ffi::OsStrExt as _;
    let (folder, plain) = made("clip.mp4", &H264);
    let path = folder.path().join(std::ffi::OsStr::from_bytes(b"cl\xffip.mp4"));
    fs::copy(plain, &path).unwrap();
    assert!(Media::open(&path).is_ok());
}

/// Opens and reads what can be read; whatever happens must be an error or an end. Gives the number of frames.
fn read_through(path: &Path) -> usize {
    let start = Instant::now();
    let frames = match Media::open(path) {
        Ok(Media::Clip(mut clip)) => {
            let read = clip.luma_frames().unwrap().take_while(Result::is_ok).count();
            let _ = (clip.luma_at(1.0), clip.luma_at(0.1), clip.frame_at(2.0));
            let _ = clip.survey();
            read
        }
        Ok(Media::Still(_)) => 1,
        Err(error) => {
            assert!(!error.to_string().is_empty());
            0
        }
    };
    assert!(start.elapsed() < LONGEST, "{:?}", start.elapsed());
    frames
}

#[test]
fn clips_and_stills_cut_off_at_100_random_places() {
    let webm = ["-c:v", "libvpx-vp9", "-deadline", "realtime", "-cpu-used", "8", "-g", "20"];
    let mut rng = ChaCha8Rng::seed_from_u64(11);
    for (name, arguments) in
        [("clip.mp4", &H264[..]), ("clip.mkv", &H264[..10]), ("clip.webm", &webm), ("clip.avi", &["-c:v", "mjpeg"])]
    {
        let (folder, path) = made(name, arguments);
        let bytes = fs::read(&path).unwrap();
        let whole = read_through(&path);
        assert_eq!(whole, 75, "{name}");
        for _ in 0..25 {
            let length = rng.random_range(0..bytes.len());
            let cut = folder.path().join(format!("cut-{name}"));
            fs::write(&cut, &bytes[..length]).unwrap();
            assert!(read_through(&cut) <= whole);
        }
    }
    let folder = tempfile::tempdir().unwrap();
    for name in ["a.jpg", "a.png", "a.webp", "a.tiff"] {
        let path = folder.path().join(name);
        image::RgbImage::from_fn(64, 64, |x, y| image::Rgb([(x * y) as u8, x as u8, y as u8])).save(&path).unwrap();
        let bytes = fs::read(&path).unwrap();
        for _ in 0..25 {
            fs::write(&path, &bytes[..rng.random_range(0..bytes.len())]).unwrap();
            read_through(&path);
        }
    }
}

#[test]
fn clips_with_bytes_changed_at_random() {
    let mut rng = ChaCha8Rng::seed_from_u64(12);
    let hevc = ["-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=none", "-pix_fmt", "yuv420p10le"];
    for (name, arguments) in [
        ("clip.mp4", &H264[..]),
        ("clip.mov", &hevc),
        ("clip.mkv", &["-c:v", "mpeg4", "-bf", "2"]),
        ("clip.avi", &["-c:v", "mpeg4"]),
    ] {
        let (folder, path) = made(name, arguments);
        let bytes = fs::read(&path).unwrap();
        for _ in 0..15 {
            let mut changed = bytes.clone();
            for _ in 0..rng.random_range(1..20) {
                let place = rng.random_range(0..changed.len());
                changed[place] = rng.random();
            }
            let damaged = folder.path().join(format!("changed-{name}"));
            fs::write(&damaged, &changed).unwrap();
            read_through(&damaged);
        }
    }
}

#[test]
fn a_jpeg_without_its_end_is_refused_and_a_whole_one_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let whole = folder.path().join("whole.jpg");
    // a picture with detail, so that most of the file is the scan
    image::RgbImage::from_fn(320, 240, |x, y| {
        image::Rgb([(x * 7 % 256) as u8, (y * 5 % 256) as u8, (x * y % 251) as u8])
    })
    .save(&whole)
    .unwrap();
    assert_eq!(code(&tworeach(&["inspect", whole.to_str().unwrap()])), 0);
    let bytes = fs::read(&whole).unwrap();
    for percent in [60, 80, 99] {
        refused_bytes("cut.jpg", &bytes[..bytes.len() * percent / 100], &["cut off", "its end is missing"]);
    }
    // phones write more after the end
    let longer = folder.path().join("longer.jpg");
    fs::write(&longer, [bytes.as_slice(), b"trailer of a phone"].concat()).unwrap();
    assert_eq!(code(&tworeach(&["inspect", longer.to_str().unwrap()])), 0);
}

#[test]
fn a_clip_cut_off_is_used_up_to_the_cut_and_says_so() {
    for name in ["clip.mp4", "clip.mkv"] {
        let (folder, path) = made(name, if name == "clip.mp4" { &H264 } else { &H264[..10] });
        let whole = sequence(&Clip::open(&path).unwrap());
        let bytes = fs::read(&path).unwrap();
        let cut = folder.path().join(format!("cut-{name}"));
        fs::write(&cut, &bytes[..bytes.len() * 6 / 10]).unwrap();
        let mut clip = Clip::open(&cut).unwrap();
        assert!(clip.known_damage().unwrap().is_some(), "{name}");
        let frames = sequence(&clip);
        assert!((20..70).contains(&frames.len()), "{name}: {}", frames.len());
        assert!(whole.starts_with(&frames), "{name}: a frame differs from the whole clip's");
        let damage = clip.survey().unwrap().damage.unwrap();
        let (last_s, _) = frames.last().unwrap();
        assert!((damage.time_s - last_s).abs() < 1e-9);
        assert_eq!(damage.frames, Some(u64::try_from(frames.len()).unwrap()));
        assert!(clip.frame_at(*last_s).is_ok());
        assert!(
            matches!(clip.frame_at(2.4), Err(VideoError::PastDamage { found_s, .. }) if (found_s - 2.4).abs() < 1e-9)
        );
        assert!(clip.frame_at(0.2).is_ok());
        let told = tworeach(&["inspect", cut.to_str().unwrap()]);
        assert_eq!(code(&told), 0);
        assert!(stdout(&told).contains(&format!("usable up to {last_s:.3} s")), "{}", stdout(&told));
    }
}

#[test]
fn a_cut_close_to_the_end_of_a_picture_without_sound_is_noticed() {
    let (folder, path) = made("clip.mkv", &H264[..10]);
    assert!(Clip::open(&path).unwrap().survey().unwrap().damage.is_none());
    let bytes = fs::read(&path).unwrap();
    let cut = folder.path().join("cut.mkv");
    fs::write(&cut, &bytes[..bytes.len() * 9 / 10]).unwrap();
    assert!(Clip::open(&cut).unwrap().survey().unwrap().damage.is_some());
}

#[test]
fn a_clip_damaged_in_the_middle_is_used_up_to_the_damage() {
    let hevc =
        ["-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=none:keyint=20", "-pix_fmt", "yuv420p"];
    for (name, arguments) in [("clip.mp4", &H264[..]), ("clip.mov", &hevc)] {
        let (folder, path) = made(name, arguments);
        let whole = sequence(&Clip::open(&path).unwrap());
        let mut bytes = fs::read(&path).unwrap();
        // All of the coded pictures between six and seven tenths of the file become noise.
        let range = bytes.len() * 6 / 10..bytes.len() * 7 / 10;
        ChaCha8Rng::seed_from_u64(5).fill(&mut bytes[range]);
        let damaged = folder.path().join(format!("damaged-{name}"));
        fs::write(&damaged, &bytes).unwrap();
        let mut clip = Clip::open(&damaged).unwrap();
        let frames = sequence(&clip);
        assert!((15..60).contains(&frames.len()), "{name}: {}", frames.len());
        // HEVC tells of the damage only where the data no longer parse: what comes before by three frames is good.
        let good = frames.len() - if name == "clip.mov" { 3 } else { 0 };
        assert!(whole.starts_with(&frames[..good]), "{name}: a frame differs from the whole clip's");
        let damage = clip.survey().unwrap().damage.unwrap();
        assert_eq!(damage.frames, Some(u64::try_from(frames.len()).unwrap()), "{name}");
        // The same place is met by jumping.
        let (last_s, image) = frames.last().unwrap();
        let mut clip = Clip::open(&damaged).unwrap();
        assert!(clip.luma_at(*last_s).unwrap().image == *image);
        assert!(matches!(clip.luma_at(last_s + 0.1), Err(VideoError::PastDamage { .. })), "{name}");
    }
}
