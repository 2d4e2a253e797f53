//! Reading a clip in order and by jumps, and writing one, over the sizes that phones record.

use std::hint::black_box;
use std::path::PathBuf;

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
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

criterion_group!(benches, bench);
criterion_main!(benches);
