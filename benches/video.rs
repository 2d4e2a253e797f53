//! Reading a clip in order and by jumps, and writing one, over the sizes that phones record; and one frame of a long clip
//! against the `ffmpeg` command (`cargo bench --bench video -- "one frame"`), which also makes the clips.

use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use criterion::{BenchmarkId, Criterion, SamplingMode, Throughput, criterion_group, criterion_main};
use image::{Rgb, RgbImage};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use tempfile::TempDir;
use tworeach::video::{Clip, EncodeOptions, Encoder};

/// Frames of a clip: four seconds at 30 a second.
const FRAMES: u32 = 120;
const SIZES: [(u32, u32); 2] = [(1280, 720), (1920, 1080)];

/// A slope that moves, with grain: neither trivial nor impossible to encode.
fn picture(frame: u32, (width, height): (u32, u32), rng: &mut ChaCha8Rng) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        let level = (x + y + 4 * frame) / 8 % 200 + rng.random_range(0..12);
        let byte = |value: u32| u8::try_from(value.min(255)).unwrap_or(u8::MAX);
        Rgb([byte(level), byte(level / 2 + 40), byte(220 - level)])
    })
}

fn clip(size: (u32, u32)) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let path = folder.path().join("clip.mp4");
    let options = EncodeOptions { preset: "veryfast", ..EncodeOptions::new(size.0, size.1) };
    let mut encoder = Encoder::create(&path, options).expect("the encoder is there");
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    for frame in 0..FRAMES {
        encoder.push(&picture(frame, size, &mut rng)).expect("the frame is encoded");
    }
    encoder.finish().expect("the clip is written");
    (folder, path)
}

fn bench(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("video");
    group.sample_size(10);
    for size in SIZES {
        let name = format!("{} x {}", size.0, size.1);
        let (_folder, path) = clip(size);
        let open = || Clip::open(&path).expect("the clip opens");
        group.bench_function(BenchmarkId::new("open", &name), |bencher| bencher.iter(open));
        group.throughput(Throughput::Elements(FRAMES.into()));
        let whole = open();
        group.bench_function(BenchmarkId::new("luma in order", &name), |bencher| {
            bencher.iter(|| whole.luma_frames().expect("the clip opens").map(black_box).count());
        });
        group.bench_function(BenchmarkId::new("colour in order", &name), |bencher| {
            bencher.iter(|| whole.frames().expect("the clip opens").map(black_box).count());
        });
        group.bench_function(BenchmarkId::new("survey", &name), |bencher| {
            bencher.iter(|| open().survey().map(|survey| survey.frame_times_s.len()).ok());
        });
        group.throughput(Throughput::Elements(1));
        let mut rng = ChaCha8Rng::seed_from_u64(2);
        let mut clip = open();
        group.bench_function(BenchmarkId::new("colour at a random time", &name), |bencher| {
            bencher.iter(|| clip.frame_at(rng.random_range(0.0..3.9)).map(black_box).is_ok());
        });
        let mut rng = ChaCha8Rng::seed_from_u64(3);
        let pictures: Vec<RgbImage> = (0..10).map(|frame| picture(frame, size, &mut rng)).collect();
        group.throughput(Throughput::Elements(10));
        group.bench_function(BenchmarkId::new("encode, medium", &name), |bencher| {
            bencher.iter(|| {
                let folder = tempfile::tempdir().expect("a temporary folder can be made");
                let path = folder.path().join("out.mp4");
                let mut encoder =
                    Encoder::create(&path, EncodeOptions::new(size.0, size.1)).expect("the encoder is there");
                pictures.iter().for_each(|picture| encoder.push(picture).expect("the frame is encoded"));
                encoder.finish().expect("the clip is written");
            });
        });
    }
    group.finish();
}

/// A minute of 1080p at 30 frames a second, moving and grainy, as phones and as encoders by default group them.
const LONG_CLIPS: [(&str, &[&str]); 3] = [
    ("h264, groups of 250", &["-c:v", "libx264", "-preset", "veryfast", "-g", "250"]),
    ("h264, groups of 30", &["-c:v", "libx264", "-preset", "veryfast", "-g", "30"]),
    ("hevc, usual groups", &["-c:v", "libx265", "-preset", "ultrafast", "-x265-params", "log-level=none"]),
];
/// Where the frames are, s: early, in the middle and late, at all places of a group.
const PLACES_S: [f64; 6] = [3.2, 14.9, 27.77, 38.05, 46.4, 57.9];

/// The clip, made once and kept beside the build; `None` without the command.
fn long_clip(name: &str, encoding: &[&str]) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.mp4"));
    if !path.exists() {
        let growing = path.with_extension("growing.mp4");
        let source = "testsrc2=s=1920x1080:r=30:d=60,noise=alls=6:allf=t,format=yuv420p";
        let made = Command::new("ffmpeg")
            .args(["-v", "error", "-y", "-f", "lavfi", "-i", source])
            .args(encoding)
            .arg(&growing)
            .status()
            .ok()?;
        if !made.success() {
            return None;
        }
        std::fs::rename(&growing, &path).ok()?;
    }
    Some(path)
}

fn command(program: &str) -> Command {
    let mut command = Command::new(program);
    command.stdout(Stdio::null()).stderr(Stdio::null());
    command
}

/// One frame as a person asks for it: opened, found, converted; and by two commands that write it as PNG.
fn one_frame(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("one frame of a minute");
    group.sample_size(12);
    group.sampling_mode(SamplingMode::Flat);
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let picture = folder.path().join("still.png");
    for (name, encoding) in LONG_CLIPS {
        let Some(path) = long_clip(name, encoding) else {
            eprintln!("skipped: {name} needs the ffmpeg command with its encoder");
            continue;
        };
        let run = |mut command: Command| assert!(command.status().is_ok_and(|status| status.success()), "{command:?}");
        let mut places = PLACES_S.iter().cycle();
        let mut next = || places.next().copied().unwrap_or_default();
        group.bench_function(BenchmarkId::new("opened and decoded", name), |bencher| {
            bencher.iter(|| Clip::open(&path).and_then(|mut clip| clip.frame_at(next())).expect("the frame is there"));
        });
        group.bench_function(BenchmarkId::new("tworeach still", name), |bencher| {
            bencher.iter(|| {
                let mut still = command(env!("CARGO_BIN_EXE_tworeach"));
                still.arg("still").arg(&path).args(["--at", &next().to_string(), "--force", "--out"]).arg(&picture);
                run(still);
            });
        });
        group.bench_function(BenchmarkId::new("ffmpeg -ss", name), |bencher| {
            bencher.iter(|| {
                let mut ffmpeg = command("ffmpeg");
                ffmpeg.args(["-y", "-ss", &next().to_string(), "-i"]).arg(&path).args(["-frames:v", "1"]).arg(&picture);
                run(ffmpeg);
            });
        });
    }
    group.finish();
}

criterion_group!(benches, bench, one_frame);
criterion_main!(benches);
