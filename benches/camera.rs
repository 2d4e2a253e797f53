//! Calibration from given corners, and board detection, on the published sample photographs.

use std::hint::black_box;
use std::path::PathBuf;

use criterion::{Criterion, criterion_group, criterion_main};
use image::GrayImage;
use tworeach::camera::{Board, BoardCorner, BoardView, calibrate, detect_board};
use tworeach::geometry::ImagePoint;

/// 13 views of 54 corners, tests/reference/opencv_left_calibration.json.
fn views() -> Option<Vec<BoardView>> {
    let text = include_str!("../tests/reference/opencv_left_calibration.json");
    let file: serde_json::Value = serde_json::from_str(text).ok()?;
    let images: Vec<Vec<[f64; 2]>> = serde_json::from_value(file["win5"].clone()).ok()?;
    let board = Board::new(9, 6, 25.0).ok()?;
    let view = |corners: Vec<[f64; 2]>| BoardView {
        corners: corners
            .into_iter()
            .enumerate()
            .map(|(index, [x, y])| BoardCorner { board_mm: board.corner_mm(index), image: ImagePoint::new(x, y) })
            .collect(),
    };
    Some(images.into_iter().map(view).collect())
}

/// The 13 photographs of 640 x 480 px, where TWOREACH_REFERENCE names their folder.
fn photographs() -> Vec<GrayImage> {
    let Some(root) = std::env::var_os("TWOREACH_REFERENCE") else { return Vec::new() };
    let folder = PathBuf::from(root).join("data/calibration");
    (1..=14)
        .filter_map(|number| image::open(folder.join(format!("left{number:02}.jpg"))).ok())
        .map(|picture| picture.to_luma8())
        .collect()
}

fn bench(criterion: &mut Criterion) {
    if let Some(views) = views() {
        criterion.bench_function("calibrate, 13 views of 54 corners", |bencher| {
            bencher.iter(|| calibrate(black_box(&views), [640, 480]));
        });
    }
    let photographs = photographs();
    let Ok(board) = Board::new(9, 6, 25.0) else { return };
    if !photographs.is_empty() {
        criterion.bench_function("detect the board in 13 pictures of 640 x 480 px", |bencher| {
            bencher
                .iter(|| photographs.iter().filter(|picture| detect_board(black_box(picture), &board).is_ok()).count());
        });
    }
}

criterion_group!(benches, bench);
criterion_main!(benches);
