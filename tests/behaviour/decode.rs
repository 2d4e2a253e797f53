//! Reading clips of every kind that phones and tools make: frames, times and jumps against `ffmpeg` and `ffprobe`.

use image::{Rgb, RgbImage};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use tworeach::video::{Clip, Plane, Transfer, VideoError, YccPicture};

use crate::clips::{
    ffmpeg, ffmpeg_luma_planes, ffmpeg_pixels, ffprobe, ffprobe_times_s, full_range, has_encoder, made, sequence,
};

/// ffprobe prints times to a microsecond.
const TIME_TOLERANCE_S: f64 = 1.5e-6;
/// Jumps to random frames per clip.
const JUMPS: usize = 60;

/// Reads the clip in three ways: its times must be those of ffprobe, its luma that of ffmpeg turned upright (each code through
/// the quantization of BT.709, exactly), and jumps in random order must find the same frames as reading in order.
pub fn check(path: &std::path::Path) -> Clip {
    let mut clip = Clip::open(path).unwrap();
    let frames = sequence(&clip);
    let expected_s = ffprobe_times_s(path);
    assert_eq!(frames.len(), expected_s.len(), "number of frames");
    for ((time_s, _), expected_s) in frames.iter().zip(&expected_s) {
        let Some(expected_s) = expected_s else { continue };
        assert!((time_s - expected_s).abs() < TIME_TOLERANCE_S, "{time_s} for {expected_s}");
    }
    assert_eq!(clip.frame_times_s().unwrap(), frames.iter().map(|frame| frame.0).collect::<Vec<_>>());
    assert_eq!(clip.info().damage, None);
    check_luma(path, &clip, &frames);
    check_jumps(&mut clip, &frames);
    clip
}

fn check_luma(path: &std::path::Path, clip: &Clip, frames: &[(f64, image::GrayImage)]) {
    let info = clip.info();
    if (info.pixel_aspect - 1.0).abs() > 1e-9 {
        return; // resampled: compared with a tolerance where it is tested
    }
    let pixel_format = ffprobe(path, "stream=pix_fmt").remove(0);
    if !(pixel_format.starts_with("yuv") || pixel_format.starts_with("gray")) {
        return;
    }
    let [width, height] = info.upright_size.map(|side| usize::try_from(side).unwrap());
    let planes = ffmpeg_luma_planes(path, &pixel_format, (width, height));
    assert_eq!(planes.len(), frames.len());
    let is_full = info.color.as_ref().unwrap().is_full_range;
    let table: Vec<u8> = (0..1_u16 << info.bit_depth).map(|code| full_range(code, info.bit_depth, is_full)).collect();
    for (index, ((time_s, image), plane)) in frames.iter().zip(&planes).enumerate() {
        let found = image.as_raw();
        let is_same = if plane.len() == found.len() {
            found.iter().zip(plane).all(|(&found, &code)| found == table[usize::from(code)])
        } else {
            let codes = plane.chunks_exact(2).map(|code| u16::from_le_bytes([code[0], code[1]]));
            found.iter().zip(codes).all(|(&found, code)| found == table[usize::from(code)])
        };
        assert!(is_same, "frame {index} at {time_s} s differs");
    }
}

fn check_jumps(clip: &mut Clip, frames: &[(f64, image::GrayImage)]) {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    for _ in 0..JUMPS {
        let index = rng.random_range(0..frames.len());
        let (start_s, image) = &frames[index];
        // Anywhere while the frame is shown, not only at its first moment.
        let end_s = frames.get(index + 1).map_or(start_s + 0.001, |next| next.0);
        let time_s = start_s + rng.random_range(0.0..0.9) * (end_s - start_s - 0.000_6).max(0.0);
        let found = clip.luma_at(time_s).unwrap();
        assert!((found.time_s - start_s).abs() < 1e-9, "asked {time_s}, expected {start_s}, found {}", found.time_s);
        assert!(found.image == *image, "frame {index} at {start_s} s differs after a jump");
    }
}

fn check_made(name: &str, arguments: &[&str]) -> Clip {
    let (_folder, path) = made(name, arguments);
    check(&path)
}

const H264: &[&str] = &["-c:v", "libx264", "-preset", "ultrafast", "-bf", "3", "-g", "24", "-pix_fmt", "yuv420p"];

fn h264(more: &[&'static str]) -> Vec<&'static str> {
    [H264, more].concat()
}

#[test]
fn h264_in_mp4_mov_mkv_and_a_transport_stream() {
    for name in ["clip.mp4", "clip.mov", "clip.mkv", "clip.ts"] {
        let clip = check_made(name, H264);
        assert_eq!(clip.info().codec, "H.264 (AVC)");
    }
}

#[test]
fn fragmented_mp4() {
    check_made("clip.mp4", &h264(&["-movflags", "frag_keyframe+empty_moov"]));
}

#[test]
fn turned_by_quarter_turns() {
    for (turn, size) in [("90", [240, 320]), ("180", [320, 240]), ("270", [240, 320])] {
        // From a finished file, so that only the matrix changes and not the picture.
        let (folder, plain) = made("plain.mp4", H264);
        let path = folder.path().join("turned.mp4");
        let metadata = format!("rotate={turn}");
        let (plain, turned) = (plain.to_str().unwrap(), path.to_str().unwrap());
        ffmpeg(&["-i", plain, "-c", "copy", "-metadata:s:v:0", &metadata, turned]);
        let clip = check(&path);
        assert_eq!(clip.info().upright_size, size);
        assert_ne!(clip.info().orientation.clockwise_deg, 0);
    }
}

#[test]
fn every_turn_and_mirroring_of_the_display_matrix() {
    let (_folder, path) = made("clip.mp4", &h264(&["-t", "0.2"]));
    let plain = std::fs::read(&path).unwrap();
    let coded = sequence(&Clip::open(&path).unwrap());
    // ISO/IEC 14496-12, 8.3.2: in the track header of version 0 the matrix starts 40 bytes after the box's name, nine numbers
    // a b u c d v x y w, big endian with 16 bits of fraction, for x' = a x + c y + x, y' = b x + d y + y.
    let matrix_at = plain.windows(4).position(|bytes| bytes == b"tkhd").unwrap() + 4 + 40;
    for [a, b, c, d] in [
        [1, 0, 0, 1],
        [0, 1, -1, 0],
        [-1, 0, 0, -1],
        [0, -1, 1, 0],
        [-1, 0, 0, 1],
        [1, 0, 0, -1],
        [0, 1, 1, 0],
        [0, -1, -1, 0],
    ] {
        let mut bytes = plain.clone();
        for (place, value) in [(0, a), (4, b), (12, c), (16, d)] {
            let at = matrix_at + place;
            bytes[at..at + 4].copy_from_slice(&(value * 65_536_i32).to_be_bytes());
        }
        std::fs::write(&path, bytes).unwrap();
        let upright = sequence(&Clip::open(&path).unwrap());
        assert_eq!(upright.len(), coded.len());
        for ((_, upright), (_, coded)) in upright.iter().zip(&coded) {
            let (width, height) = coded.dimensions();
            assert_eq!(upright.dimensions(), if a == 0 { (height, width) } else { (width, height) });
            for (x, y, value) in coded.enumerate_pixels() {
                // Moved so that the picture starts at 0 again: a side that runs backwards ends where it began.
                let from = |factor: i32, value: u32, side: u32| match factor {
                    1 => value,
                    -1 => side - 1 - value,
                    _ => 0,
                };
                let turned_x = from(a, x, width) + from(c, y, height);
                let turned_y = from(b, x, width) + from(d, y, height);
                assert_eq!(upright.get_pixel(turned_x, turned_y), value, "{a} {b} {c} {d} at {x} {y}");
            }
        }
    }
}

#[test]
fn uneven_frame_times() {
    let uneven = "setpts='(N/30+0.011*mod(N*7,3))/TB'";
    for name in ["clip.mp4", "clip.mkv"] {
        check_made(name, &h264(&["-vf", uneven, "-fps_mode", "passthrough", "-video_track_timescale", "90000"]));
    }
    let dropped = "select='not(eq(mod(n,5),2))*not(between(n,20,33))'";
    let mut clip = check_made("clip.mp4", &h264(&["-vf", dropped, "-fps_mode", "vfr"]));
    clip.survey().unwrap();
    assert!(clip.info().longest_gap_s.unwrap() > 0.4);
}

#[test]
fn first_time_not_zero() {
    for name in ["clip.mp4", "clip.mkv", "clip.ts"] {
        let clip = check_made(name, &h264(&["-output_ts_offset", "5.5"]));
        assert!(clip.info().start_s >= 0.0);
    }
}

#[test]
fn an_edit_list_hides_leading_frames() {
    let (folder, plain) = made("plain.mp4", H264);
    let path = folder.path().join("cut.mp4");
    // Copied from 1.3 s on: the frames from the key frame at 0.8 s are in the file, but hidden by the edit list.
    ffmpeg(&[
        "-ss",
        "1.3",
        "-i",
        plain.to_str().unwrap(),
        "-c",
        "copy",
        "-avoid_negative_ts",
        "disabled",
        path.to_str().unwrap(),
    ]);
    let packets = ffprobe(&path, "packet=pts").len();
    let clip = check(&path);
    assert!(sequence(&clip).len() < packets, "the edit list hides nothing");
}

#[test]
fn open_groups_of_hevc_and_h264() {
    for name in ["clip.mp4", "clip.mkv"] {
        let x265 = ["-c:v", "libx265", "-preset", "ultrafast", "-x265-params"];
        let open = "open-gop=1:keyint=20:min-keyint=20:bframes=4:log-level=none";
        check_made(
            name,
            &[&x265[..], &[open, "-pix_fmt", "yuv420p", "-tag:v", if name == "clip.mp4" { "hvc1" } else { "0" }]]
                .concat(),
        );
        check_made(name, &h264(&["-x264-params", "open-gop=1:keyint=20:bframes=3:b-adapt=0"]));
    }
}

#[test]
fn ten_bit_hevc_with_hybrid_log_gamma() {
    let arguments = [
        "-c:v",
        "libx265",
        "-preset",
        "ultrafast",
        "-x265-params",
        "log-level=none",
        "-pix_fmt",
        "yuv420p10le",
        "-tag:v",
        "hvc1",
        "-color_trc",
        "arib-std-b67",
        "-colorspace",
        "bt2020nc",
        "-color_primaries",
        "bt2020",
    ];
    let clip = check_made("clip.mov", &arguments);
    let color = clip.info().color.as_ref().unwrap();
    assert_eq!(
        (clip.info().bit_depth, color.transfer, color.matrix.as_str()),
        (10, Transfer::HybridLogGamma, "BT.2020")
    );
}

#[test]
fn full_range_and_other_chroma() {
    for format in ["yuvj420p", "yuv422p", "yuv444p", "yuv420p10le"] {
        let clip = check_made("clip.mp4", &["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", format]);
        assert_eq!(clip.info().color.as_ref().unwrap().is_full_range, format == "yuvj420p");
    }
}

/// Means of differences between codes, over a picture of a room: of a clip opened to be shown.
const QUICK_CODES: f64 = 2.0;

#[test]
fn a_clip_opened_to_be_shown_has_its_colours_within_two_codes_and_nothing_moves() {
    let demo = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-clips/side/before-internal.mp4");
    let folder = tempfile::tempdir().unwrap();
    for (name, format) in [("limited", "yuv420p"), ("full", "yuvj420p"), ("finer", "yuv422p"), ("deep", "yuv420p10le")]
    {
        let path = folder.path().join(format!("{name}.mp4"));
        let path_text = path.to_str().unwrap();
        ffmpeg(&["-i", demo, "-frames:v", "1", "-c:v", "libx264", "-crf", "12", "-pix_fmt", format, path_text]);
        let exact = Clip::open(&path).unwrap().frame_at(0.0).unwrap().image;
        let quick = rgb_of(&Clip::open_to_show(&path).unwrap().ycc_at(0.0).unwrap());
        assert_eq!(exact.dimensions(), quick.dimensions());
        let difference = |dx: u32, dy: u32| {
            let pairs = (0..exact.height() - 1).flat_map(|y| (0..exact.width() - 1).map(move |x| (x, y)));
            let sum: f64 = pairs
                .flat_map(|(x, y)| exact.get_pixel(x + dx, y + dy).0.into_iter().zip(quick.get_pixel(x, y).0))
                .map(|(a, b)| f64::from(a.abs_diff(b)))
                .sum();
            sum / f64::from(3 * (exact.width() - 1) * (exact.height() - 1))
        };
        let (here, right, below) = (difference(0, 0), difference(1, 0), difference(0, 1));
        assert!(here < QUICK_CODES, "{format}: {here} codes");
        assert!(here < right && here < below, "{format}: {here} codes, moved by a px {right} and {below}");
    }
}

/// A picture in planes in colour, by the formulas of ITU-T T.871, clause 7.
fn rgb_of(picture: &YccPicture) -> RgbImage {
    let size = |px: usize| u32::try_from(px).unwrap();
    RgbImage::from_fn(size(picture.luma.width), size(picture.luma.height), |x, y| {
        let code = |plane: &Plane, x: u32, y: u32| f64::from(plane.samples[y as usize * plane.width + x as usize]);
        let luma = code(&picture.luma, x, y);
        let (blue, red) = (code(&picture.blue, x / 2, y / 2) - 128.0, code(&picture.red, x / 2, y / 2) - 128.0);
        let color = [luma + 1.402 * red, luma - 0.344_1 * blue - 0.714_1 * red, luma + 1.772 * blue];
        Rgb(color.map(|value| value.round().clamp(0.0, 255.0) as u8))
    })
}

#[test]
fn vp8_and_vp9_in_webm() {
    for (codec, words) in [("libvpx", "VP8"), ("libvpx-vp9", "VP9")] {
        let fast = [
            "-deadline",
            "realtime",
            "-cpu-used",
            "8",
            "-b:v",
            "400k",
            "-g",
            "25",
            "-auto-alt-ref",
            "1",
            "-lag-in-frames",
            "10",
        ];
        let clip = check_made("clip.webm", &[&["-c:v", codec], &fast[..]].concat());
        assert_eq!(clip.info().codec, words);
    }
}

#[test]
fn av1_where_there_is_an_encoder() {
    if !has_encoder("libsvtav1") {
        println!("skipped: this ffmpeg has no AV1 encoder");
        return;
    }
    for name in ["clip.mp4", "clip.mkv"] {
        let clip = check_made(name, &["-c:v", "libsvtav1", "-preset", "12", "-g", "25", "-svtav1-params", "lp=1"]);
        assert_eq!(clip.info().codec, "AV1");
    }
}

#[test]
fn mpeg_4_part_2_and_h263() {
    let mpeg4 = ["-c:v", "mpeg4", "-bf", "2", "-g", "15", "-q:v", "3"];
    for name in ["clip.mp4", "clip.avi", "clip.3gp"] {
        check_made(name, &mpeg4);
    }
    let clip = check_made("clip.3gp", &["-vf", "scale=176:144,setsar=1", "-c:v", "h263", "-r", "15"]);
    assert_eq!(clip.info().codec, "H.263");
}

#[test]
fn motion_jpeg() {
    for name in ["clip.mov", "clip.avi"] {
        let clip = check_made(name, &["-c:v", "mjpeg", "-q:v", "4", "-pix_fmt", "yuvj422p"]);
        assert_eq!(clip.info().codec, "Motion JPEG");
    }
}

#[test]
fn professional_and_uncompressed() {
    let clip = check_made("clip.mov", &["-c:v", "prores_ks", "-profile:v", "0"]);
    assert_eq!(clip.info().bit_depth, 10);
    check_made("clip.avi", &["-c:v", "rawvideo", "-pix_fmt", "yuv420p", "-t", "0.5"]);
}

#[test]
fn rows_stored_bottom_up_come_out_upright() {
    // Uncompressed RGB in AVI is stored from the last row to the first.
    let (_folder, path) = made("clip.avi", &["-c:v", "rawvideo", "-pix_fmt", "bgr24", "-t", "0.3"]);
    let clip = Clip::open(&path).unwrap();
    let expected = ffmpeg_pixels(&path, "null", "rgb24", 320 * 240 * 3);
    let found: Vec<_> = clip.frames().unwrap().map(|frame| frame.unwrap().image.into_raw()).collect();
    assert_eq!(found.len(), expected.len());
    assert!(found == expected);
}

#[test]
fn pixels_that_are_not_square_are_made_square() {
    for (aspect, filter, size) in
        [("setsar=12/11", "scale=349:240", [349, 240]), ("setsar=8/9", "scale=320:270", [320, 270])]
    {
        let (_folder, path) = made("clip.mp4", &h264(&["-vf", aspect]));
        let clip = check(&path);
        assert_eq!(clip.info().upright_size, size);
        let frame_bytes = usize::try_from(size[0] * size[1]).unwrap();
        let expected =
            ffmpeg_pixels(&path, &format!("{filter}:flags=bicubic+accurate_rnd,format=gray"), "gray", frame_bytes);
        for ((_, image), expected) in sequence(&clip).iter().zip(&expected) {
            let sum: u64 = image.as_raw().iter().zip(expected).map(|(a, b)| u64::from(a.abs_diff(*b))).sum();
            // The same resampling with another order of rounding: under a code on average.
            assert!(sum < u64::from(size[0] * size[1]), "{aspect}: {sum}");
        }
    }
}

#[test]
fn colours_follow_matrix_and_range() {
    // The colour is the truth; ffmpeg codes it by each matrix and range. 8-bit YUV rounds to about 2 codes of RGB.
    let truth = [200, 50, 50];
    for (matrix, space) in [("bt709", "bt709"), ("bt601", "smpte170m"), ("bt2020", "bt2020nc")] {
        for (range, tag) in [("limited", "tv"), ("full", "pc")] {
            for format in ["yuv420p", "yuv420p10le"] {
                let folder = tempfile::tempdir().unwrap();
                let path = folder.path().join("clip.mkv");
                let filter = format!(
                    "format=rgb24,scale=out_color_matrix={matrix}:out_range={range}:flags=accurate_rnd,format={format}"
                );
                ffmpeg(&[
                    "-f",
                    "lavfi",
                    "-i",
                    "color=c=0xC83232:size=128x96:rate=10:duration=0.3",
                    "-vf",
                    &filter,
                    "-c:v",
                    "libx264",
                    "-qp",
                    "1",
                    "-colorspace",
                    space,
                    "-color_range",
                    tag,
                    path.to_str().unwrap(),
                ]);
                let clip = Clip::open(&path).unwrap();
                let frame = clip.frames().unwrap().next().unwrap().unwrap();
                for (found, expected) in frame.image.get_pixel(60, 50).0.iter().zip(truth) {
                    assert!(
                        found.abs_diff(expected) <= 2,
                        "{matrix} {range} {format}: {:?}",
                        frame.image.get_pixel(60, 50)
                    );
                }
            }
        }
    }
}

#[test]
fn the_picture_is_found_among_several_streams() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.mp4");
    ffmpeg(&[
        "-f",
        "lavfi",
        "-i",
        "sine=duration=2.5",
        "-f",
        "lavfi",
        "-i",
        "testsrc2=size=320x240:rate=30:duration=2.5",
        "-f",
        "lavfi",
        "-i",
        "testsrc=size=128x96:rate=10:duration=2.5",
        "-map",
        "0",
        "-map",
        "1",
        "-map",
        "2",
        "-c:v",
        "libx264",
        "-preset",
        "ultrafast",
        "-pix_fmt",
        "yuv420p",
        path.to_str().unwrap(),
    ]);
    let clip = check(&path);
    assert_eq!((clip.info().streams, clip.info().coded_size), (3, [320, 240]));
}

#[test]
fn times_between_frames_and_at_the_ends() {
    let (_folder, path) = made("clip.mp4", &h264(&["-r", "30"]));
    let mut clip = Clip::open(&path).unwrap();
    let times_s = clip.frame_times_s().unwrap().to_vec();
    assert_eq!(times_s.len(), 75);
    // A time written to the millisecond finds the frame it was rounded from: 1/30 s as 0.033.
    assert!((clip.luma_at(0.033).unwrap().time_s - times_s[1]).abs() < 1e-9);
    assert!(clip.luma_at(0.032).unwrap().time_s.abs() < 1e-9);
    // The last frame is shown for its 1/30 s, from 74/30 to 75/30 s, and no longer.
    assert!((clip.luma_at(2.499).unwrap().time_s - 74.0 / 30.0).abs() < 1e-4);
    assert!(
        matches!(clip.luma_at(2.51), Err(VideoError::PastEnd { last_s, .. }) if (last_s - 74.0 / 30.0).abs() < 1e-4)
    );
    for time_s in [-0.5, f64::NAN, f64::INFINITY] {
        assert!(matches!(clip.luma_at(time_s), Err(VideoError::NotATime { .. })));
    }
    // After an error the clip is still good.
    assert!(clip.luma_at(1.0).is_ok());
}
