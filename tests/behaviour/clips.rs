//! Clips made on the spot with the `ffmpeg` command line, and what `ffmpeg` and `ffprobe` say about them.

use std::path::{Path, PathBuf};
use std::process::Command;

use image::GrayImage;
use tempfile::TempDir;
use tworeach::video::Clip;

/// A source with sharp edges, motion and a frame counter: 320 x 240, 30 frames a second, 2.5 s.
pub const SOURCE: &[&str] = &["-f", "lavfi", "-i", "testsrc2=size=320x240:rate=30:duration=2.5"];

/// A clip made by `ffmpeg` from [`SOURCE`] with `arguments` before the file name.
pub fn made(name: &str, arguments: &[&str]) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    let mut all: Vec<&str> = SOURCE.to_vec();
    all.extend_from_slice(arguments);
    all.push(path.to_str().unwrap());
    ffmpeg(&all);
    (folder, path)
}

/// Runs `ffmpeg` and gives its standard output; fails the test with its words if it fails or is not there.
pub fn ffmpeg(arguments: &[&str]) -> Vec<u8> {
    run("ffmpeg", &[&["-v", "error", "-nostdin", "-y"], arguments].concat())
}

/// Whether this `ffmpeg` has an encoder of this name.
pub fn has_encoder(name: &str) -> bool {
    let list = String::from_utf8(run("ffmpeg", &["-v", "error", "-encoders"])).unwrap();
    list.lines().any(|line| line.split_whitespace().nth(1) == Some(name))
}

/// The times of the frames that `ffprobe` decodes, s from the stream's start time; `None` where it gives none.
///
/// AVI has no presentation times: `ffprobe` shows decoding times, a frame late where frames are reordered. There the first
/// frame counts as the start.
pub fn ffprobe_times_s(path: &Path) -> Vec<Option<f64>> {
    let times: Vec<Option<f64>> =
        ffprobe(path, "frame=best_effort_timestamp_time").iter().map(|time| time.parse().ok()).collect();
    let start_s = match path.extension().and_then(|extension| extension.to_str()) {
        Some("avi") => times[0].unwrap(),
        _ => ffprobe(path, "stream=start_time")[0].parse().unwrap_or(0.0),
    };
    times.into_iter().map(|time_s| time_s.map(|time_s| time_s - start_s)).collect()
}

/// One entry of `ffprobe` for the first video stream, a line each.
pub fn ffprobe(path: &Path, entry: &str) -> Vec<String> {
    let arguments = ["-v", "error", "-select_streams", "v:0", "-show_entries", entry, "-of", "csv=p=0"];
    let text = run("ffprobe", &[&arguments[..], &[path.to_str().unwrap()]].concat());
    // Side data adds empty fields to some lines.
    let line = |line: &str| line.split(',').next().unwrap_or_default().to_owned();
    String::from_utf8(text).unwrap().lines().map(line).filter(|line| !line.is_empty()).collect()
}

/// The luma planes that `ffmpeg` decodes and turns upright, in the codes of the file: the bytes of one plane a frame, two to a
/// code (little endian) where the pixel format ends in `le`.
pub fn ffmpeg_luma_planes(path: &Path, pixel_format: &str, (width, height): (usize, usize)) -> Vec<Vec<u8>> {
    let file = path.to_str().unwrap();
    let input = ["-i", file, "-map", "0:v:0", "-fps_mode", "passthrough"];
    let bytes = ffmpeg(&[&input[..], &["-pix_fmt", pixel_format, "-f", "rawvideo", "-"]].concat());
    let code_bytes = if pixel_format.ends_with("le") { 2 } else { 1 };
    let chroma_codes = match pixel_format {
        format if format.contains("420") => 2 * width.div_ceil(2) * height.div_ceil(2),
        format if format.contains("422") => 2 * width.div_ceil(2) * height,
        format if format.contains("gray") => 0,
        _ => 2 * width * height,
    };
    let frame_bytes = (width * height + chroma_codes) * code_bytes;
    assert_eq!(bytes.len() % frame_bytes, 0, "{} bytes are not whole frames of {width} x {height}", bytes.len());
    bytes.chunks_exact(frame_bytes).map(|frame| frame[..width * height * code_bytes].to_vec()).collect()
}

/// Pictures that `ffmpeg` makes with a filter in `pixel_format`, `frame_bytes` each.
pub fn ffmpeg_pixels(path: &Path, filter: &str, pixel_format: &str, frame_bytes: usize) -> Vec<Vec<u8>> {
    let file = path.to_str().unwrap();
    let input = ["-i", file, "-map", "0:v:0", "-fps_mode", "passthrough"];
    let bytes = ffmpeg(&[&input[..], &["-vf", filter, "-pix_fmt", pixel_format, "-f", "rawvideo", "-"]].concat());
    bytes.chunks_exact(frame_bytes).map(<[u8]>::to_vec).collect()
}

/// A luma code in the full range of 8 bits: black and white of ITU-R BT.709-6, item 4.6, at 0 and 255.
pub fn full_range(code: u16, depth: u32, is_full: bool) -> u8 {
    let scale = f64::from(1_u32 << (depth - 8));
    let (black, white) = if is_full { (0.0, 256.0 * scale - 1.0) } else { (16.0 * scale, 235.0 * scale) };
    let value = ((f64::from(code) - black) / (white - black) * 255.0).round().clamp(0.0, 255.0);
    (0..=255_u8).find(|&byte| f64::from(byte) >= value).unwrap()
}

/// The frames of a clip read one after another: time, s, and luma.
pub fn sequence(clip: &Clip) -> Vec<(f64, GrayImage)> {
    clip.luma_frames().unwrap().map(Result::unwrap).map(|frame| (frame.time_s, frame.image)).collect()
}

fn run(program: &str, arguments: &[&str]) -> Vec<u8> {
    let output = Command::new(program).args(arguments).output().unwrap_or_else(|error| {
        panic!("cannot run {program} ({error}): install the package ffmpeg, which tests/run does")
    });
    assert!(output.status.success(), "{program} {arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
    output.stdout
}
