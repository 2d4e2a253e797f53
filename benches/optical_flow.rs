//! Points followed from picture to picture, with the parameters of the published reference tracks, on one thread.

use std::hint::black_box;
use std::path::{Path, PathBuf};

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use image::GrayImage;
use serde_json::Value;
use tworeach::geometry::ImagePoint;
use tworeach::track::{FlowOptions, Pyramid, flow};

/// Pictures of a clip that are gone through, one after the other.
const PICTURES: usize = 11;
/// Levels of a pyramid, the picture counted.
const LEVELS: usize = 4;

/// Pictures of a clip, and where the reference has its points in each of them.
fn clip(folder: &Path, name: &str) -> Option<(Vec<GrayImage>, Vec<Vec<ImagePoint>>)> {
    let text = std::fs::read_to_string(folder.join(format!("lk_{name}.json"))).ok()?;
    let reference: Value = serde_json::from_str(&text).ok()?;
    let mut pictures = Vec::new();
    let mut points = Vec::new();
    for index in 0..PICTURES {
        let picture = image::open(folder.join(name).join(format!("{index:04}.png"))).ok()?;
        pictures.push(picture.into_luma8());
        let at = |point: &Value| -> Option<ImagePoint> {
            let place = &point["track"][index];
            Some(ImagePoint::new(place["x"].as_f64()?, place["y"].as_f64()?))
        };
        points.push(reference["points"].as_array()?.iter().filter_map(at).collect());
    }
    Some((pictures, points))
}

fn bench(criterion: &mut Criterion) {
    let Some(root) = std::env::var_os("TWOREACH_REFERENCE") else { return };
    let folder = PathBuf::from(root).join("data/tracking");
    let options = FlowOptions { is_brightness_free: false, ..FlowOptions::default() };
    for name in ["frames_arm_640x480", "frames_cup_320x240", "frames_phone_270x360"] {
        let Some((pictures, points)) = clip(&folder, name) else { continue };
        let pyramids: Vec<Pyramid> = pictures.iter().map(|picture| Pyramid::of(picture, LEVELS)).collect();
        let mut group = criterion.benchmark_group(name);
        let steps: usize = points[..PICTURES - 1].iter().map(Vec::len).sum();
        group.throughput(Throughput::Elements(u64::try_from(steps).unwrap_or(u64::MAX)));
        group.bench_function("points", |bencher| {
            bencher.iter(|| {
                for (pair, points) in pyramids.windows(2).zip(&points) {
                    for point in points {
                        let _ = black_box(flow(&pair[0], &pair[1], black_box(*point), *point, &options));
                    }
                }
            });
        });
        group.throughput(Throughput::Elements(u64::try_from(PICTURES).unwrap_or(u64::MAX)));
        group.bench_function("pyramids", |bencher| {
            bencher.iter(|| {
                for picture in &pictures {
                    black_box(Pyramid::of(picture, LEVELS));
                }
            });
        });
    }
}

criterion_group!(benches, bench);
criterion_main!(benches);
