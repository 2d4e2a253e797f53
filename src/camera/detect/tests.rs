//! Board detection on drawn boards of known corners, and on published photographs where they are at hand.

use std::path::PathBuf;

use image::Luma;
use nalgebra::Matrix3;
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::*;
use crate::camera::Lens;
use crate::camera::calibrate::{BoardCorner, BoardView, calibrate};
use crate::camera::homography::map_point;

fn sample_board() -> Board {
    Board::new(9, 6, 1.0).unwrap()
}

/// What is drawn: the board by a homography from its plane (unit squares, origin at the first inner corner) to the picture.
struct Drawing {
    width: u32,
    height: u32,
    homography: Matrix3<f64>,
    board: Board,
    noise_sd: f64,
}

impl Drawing {
    fn new(homography: Matrix3<f64>) -> Self {
        Self { width: 640, height: 480, homography, board: sample_board(), noise_sd: 0.0 }
    }

    /// Each pixel is the mean of 6 x 6 points of its area, so edges are as soft as an ideal sensor sees them.
    fn picture(&self) -> GrayImage {
        const FINE: u32 = 6;
        let inverse = self.homography.try_inverse().unwrap();
        let mut rng = ChaCha8Rng::seed_from_u64(9);
        GrayImage::from_fn(self.width, self.height, |x, y| {
            let mut sum = 0.0;
            for step in 0..FINE * FINE {
                let part = |index: u32| (f64::from(index) + 0.5) / f64::from(FINE) - 0.5;
                let pixel = Vector2::new(f64::from(x) + part(step % FINE), f64::from(y) + part(step / FINE));
                sum += map_point(&inverse, pixel).map_or(90.0, |p| self.brightness(p));
            }
            let noise: f64 = StandardNormal.sample(&mut rng);
            let value = sum / f64::from(FINE * FINE) + self.noise_sd * noise;
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a byte")]
            let byte = value.round().clamp(0.0, 255.0) as u8;
            Luma([byte])
        })
    }

    /// Dark 40 where the square's column and row add up to an even number, bright 210, white paper about it, a grey room.
    fn brightness(&self, p: Vector2<f64>) -> f64 {
        let (right, bottom) = (index_to_f64(self.board.cols), index_to_f64(self.board.rows));
        if p.x < -1.0 || p.y < -1.0 || p.x > right || p.y > bottom {
            let on_paper = p.x > -1.6 && p.y > -1.6 && p.x < right + 0.6 && p.y < bottom + 0.6;
            return if on_paper { 210.0 } else { 90.0 };
        }
        if (p.x.floor() + p.y.floor()).rem_euclid(2.0) < 0.5 { 40.0 } else { 210.0 }
    }

    fn true_corners(&self) -> Vec<Vector2<f64>> {
        (0..self.board.corner_count())
            .map(|index| map_point(&self.homography, Vector2::from(self.board.corner_mm(index))).unwrap())
            .collect()
    }
}

/// A tilted view: some 35 px a square at the near end, 24 at the far one.
fn tilted() -> Matrix3<f64> {
    Matrix3::new(38.0, -6.0, 150.0, 9.0, 33.0, 110.0, 0.02, -0.01, 1.0)
}

fn errors_px(found: &DetectedBoard, truth: &[Vector2<f64>]) -> Vec<f64> {
    found.corners.iter().zip(truth).map(|(corner, truth)| (corner.to_vector() - truth).norm()).collect()
}

fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|value| value * value).sum::<f64>() / index_to_f64(values.len())).sqrt()
}

#[test]
fn corners_of_a_drawn_board_are_found_to_a_twentieth_of_a_pixel() {
    let drawing = Drawing::new(tilted());
    let found = detect_board(&drawing.picture(), &drawing.board).unwrap();
    let errors = errors_px(&found, &drawing.true_corners());
    assert!(rms(&errors) < 0.05, "rms {} px", rms(&errors));
    assert!(errors.iter().all(|error| *error < 0.15), "{errors:?}");
    // A pixel's area alone blurs an edge by 0.29 px; sampling between pixels adds as much again.
    assert!(found.edge_width_px < 0.7, "{}", found.edge_width_px);
}

#[test]
fn noise_costs_little() {
    let drawing = Drawing { noise_sd: 6.0, ..Drawing::new(tilted()) };
    let found = detect_board(&drawing.picture(), &drawing.board).unwrap();
    let errors = errors_px(&found, &drawing.true_corners());
    assert!(rms(&errors) < 0.08, "rms {} px", rms(&errors));
}

#[test]
fn a_large_picture_is_searched_small_and_refined_whole() {
    let scale = Matrix3::new(3.0, 0.0, 1.0, 0.0, 3.0, 1.0, 0.0, 0.0, 1.0);
    let drawing = Drawing { width: 1920, height: 1440, ..Drawing::new(scale * tilted()) };
    let found = detect_board(&drawing.picture(), &drawing.board).unwrap();
    let errors = errors_px(&found, &drawing.true_corners());
    assert!(rms(&errors) < 0.05, "rms {} px", rms(&errors));
}

#[test]
fn a_blurred_board_is_found_and_its_blur_measured() {
    let drawing = Drawing::new(tilted());
    let blurred = GrayPlane::from_image(&drawing.picture()).blurred(3.0);
    let picture = GrayImage::from_fn(640, 480, |x, y| {
        let value = blurred.sample(f64::from(x), f64::from(y)).round();
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a mean of bytes")]
        let byte = value as u8;
        Luma([byte])
    });
    let found = detect_board(&picture, &drawing.board).unwrap();
    assert!((found.edge_width_px - 3.0).abs() < 0.5, "{}", found.edge_width_px);
    assert!(rms(&errors_px(&found, &drawing.true_corners())) < 0.15);
}

#[test]
fn the_first_corner_is_told_by_colour_however_the_board_is_turned() {
    for deg in [0.0_f64, 70.0, 140.0, 180.0, 250.0, 320.0] {
        let (sin, cos) = deg.to_radians().sin_cos();
        // 26 px a square, turned about the board's middle at the picture's middle.
        let turn = Matrix3::new(26.0 * cos, -26.0 * sin, 320.0, 26.0 * sin, 26.0 * cos, 240.0, 0.0, 0.0, 1.0);
        let to_middle = Matrix3::new(1.0, 0.0, -4.0, 0.0, 1.0, -2.5, 0.0, 0.0, 1.0);
        let drawing = Drawing::new(turn * to_middle);
        let found = detect_board(&drawing.picture(), &drawing.board).unwrap();
        let errors = errors_px(&found, &drawing.true_corners());
        assert!(errors.iter().all(|error| *error < 0.1), "{deg}: {errors:?}");
    }
}

#[test]
fn a_board_of_equal_ends_starts_at_the_top_left() {
    let mut drawing = Drawing::new(tilted());
    drawing.board = Board::new(7, 5, 1.0).unwrap();
    let found = detect_board(&drawing.picture(), &drawing.board).unwrap();
    assert!(rms(&errors_px(&found, &drawing.true_corners())) < 0.05);
}

#[test]
fn a_hidden_or_cut_off_board_is_reported_with_what_was_seen() {
    let drawing = Drawing::new(tilted());
    let mut hidden = drawing.picture();
    let thumb = map_point(&drawing.homography, Vector2::new(0.5, 0.5)).unwrap();
    for (x, y, pixel) in hidden.enumerate_pixels_mut() {
        if (Vector2::new(f64::from(x), f64::from(y)) - thumb).norm() < 40.0 {
            *pixel = Luma([120]);
        }
    }
    let absence = detect_board(&hidden, &drawing.board).unwrap_err();
    assert!(matches!(absence, BoardAbsence::Partial { found: 40..=53, expected: 54 }), "{absence}");

    let shift = Matrix3::new(1.0, 0.0, -180.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0);
    let cut = Drawing::new(shift * tilted());
    let absence = detect_board(&cut.picture(), &cut.board).unwrap_err();
    assert!(matches!(absence, BoardAbsence::Partial { found: 30..=52, .. }), "{absence}");
}

#[test]
fn a_board_of_another_size_is_named() {
    let drawing = Drawing::new(tilted());
    let other = Board::new(7, 6, 1.0).unwrap();
    let absence = detect_board(&drawing.picture(), &other).unwrap_err();
    assert_eq!(absence, BoardAbsence::OtherSize { cols: 9, rows: 6, expected_cols: 7, expected_rows: 6 });
    let larger = Board::new(10, 7, 1.0).unwrap();
    let absence = detect_board(&drawing.picture(), &larger).unwrap_err();
    assert!(matches!(absence, BoardAbsence::Partial { found: 54, expected: 70 }), "{absence}");
}

#[test]
fn a_picture_without_a_board_has_none() {
    let mut rng = ChaCha8Rng::seed_from_u64(4);
    let noise = GrayImage::from_fn(640, 480, |_, _| {
        let value: f64 = StandardNormal.sample(&mut rng);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a byte")]
        let byte = (128.0 + 30.0 * value).clamp(0.0, 255.0) as u8;
        Luma([byte])
    });
    assert_eq!(detect_board(&noise, &sample_board()), Err(BoardAbsence::None));
    assert_eq!(detect_board(&GrayImage::new(1, 1), &sample_board()), Err(BoardAbsence::None));
}

/// OpenCV's 13 sample photos, when the environment names the folder; see tests/reference/opencv_left_calibration.json.
fn photos() -> Vec<(String, GrayImage)> {
    let Some(root) = std::env::var_os("TWOREACH_REFERENCE") else { return Vec::new() };
    let folder = PathBuf::from(root).join("data/calibration");
    (1..=14)
        .filter(|number| *number != 10)
        .map(|number| format!("left{number:02}.jpg"))
        .filter(|name| folder.join(name).exists())
        .map(|name| {
            let picture = image::open(folder.join(&name)).unwrap().to_luma8();
            (name, picture)
        })
        .collect()
}

#[test]
fn published_photographs_give_the_published_camera() {
    let photos = photos();
    if photos.is_empty() {
        eprintln!("skipped: no sample photos (set TWOREACH_REFERENCE)");
        return;
    }
    assert_eq!(photos.len(), 13);
    let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/opencv_left_calibration.json"));
    let reference: serde_json::Value = serde_json::from_str(text).unwrap();
    let board = sample_board();
    let mut views = Vec::new();
    for (index, (name, picture)) in photos.iter().enumerate() {
        // The other library finds the board in all of them.
        let found = detect_board(picture, &board).unwrap_or_else(|absence| panic!("{name}: {absence}"));
        let theirs: Vec<[f64; 2]> = serde_json::from_value(reference["win5"][index].clone()).unwrap();
        for corner in &found.corners {
            let nearest =
                theirs.iter().map(|p| corner.distance_px(ImagePoint::new(p[0], p[1]))).fold(f64::MAX, f64::min);
            // Same window, other interpolation: what is left is far below the photos' own 0.2 px.
            assert!(nearest < 0.1, "{name}: {nearest}");
        }
        let corners = found
            .corners
            .iter()
            .enumerate()
            .map(|(index, corner)| BoardCorner { board_mm: board.corner_mm(index), image: *corner })
            .collect();
        views.push(BoardView { corners });
    }
    let found = calibrate(&views, [640, 480]).unwrap();
    assert!(found.rms_px <= 0.20, "rms {} px", found.rms_px);

    let result = &reference["result_win5"];
    let camera: [[f64; 3]; 3] = serde_json::from_value(result["camera_matrix"].clone()).unwrap();
    let mut model = Lens::pinhole([640, 480], camera[0][0]);
    model.fy = camera[1][1];
    model.cx = camera[0][2];
    model.cy = camera[1][2];
    model.distortion = serde_json::from_value(result["dist_coeffs_k1_k2_p1_p2_k3"].clone()).unwrap();
    for row in 0..=24 {
        for column in 0..=32 {
            let point = ImagePoint::new(f64::from(column) * 639.0 / 32.0, f64::from(row) * 479.0 / 24.0);
            let ours = found.lens.distort(model.undistort(point).unwrap());
            assert!(ours.distance_px(point) < 0.3, "({}, {}): {} px", point.x, point.y, ours.distance_px(point));
        }
    }
}
