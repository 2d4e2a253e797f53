//! The lens model against published cameras, its own inverse and central differences.

use nalgebra::{SMatrix, Vector3};
use proptest::prelude::*;
use serde::Deserialize;

use super::*;

#[derive(Deserialize)]
struct UndistortReference {
    cameras: Vec<ReferenceCamera>,
}

#[derive(Deserialize)]
#[allow(non_snake_case, reason = "the file's own names")]
struct ReferenceCamera {
    name: String,
    size: [u32; 2],
    K: [[f64; 3]; 3],
    D: [f64; 5],
    normalized_true: Vec<[f64; 2]>,
    distorted_px: Vec<[f64; 2]>,
}

impl ReferenceCamera {
    fn lens(&self) -> Lens {
        let mut lens = Lens::pinhole(self.size, self.K[0][0]);
        lens.fy = self.K[1][1];
        lens.cx = self.K[0][2];
        lens.cy = self.K[1][2];
        lens.distortion = self.D;
        lens
    }
}

/// Closed-form pairs of three cameras; see the source in the file.
fn reference_cameras() -> Vec<ReferenceCamera> {
    let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/undistort_points.json"));
    serde_json::from_str::<UndistortReference>(text).unwrap().cameras
}

/// The camera of OpenCV's sample file left_intrinsics.yml.
fn sample_lens() -> Lens {
    let mut lens = Lens::pinhole([640, 480], 535.915_733_961_632);
    lens.cx = 342.283_154_733_083_73;
    lens.cy = 235.570_829_097_881_73;
    lens.distortion = [
        -0.266_372_609_096_606_8,
        -0.038_588_898_922_304_65,
        0.001_783_194_704_285_296_4,
        -0.000_281_221_004_411_154_7,
        0.238_391_530_808_784_86,
    ];
    lens
}

#[test]
fn distortion_agrees_with_closed_form_pairs() {
    for camera in reference_cameras() {
        let lens = camera.lens();
        for (normalized, px) in camera.normalized_true.iter().zip(&camera.distorted_px) {
            let ours = lens.distort(NormalizedPoint::new(normalized[0], normalized[1]));
            // 1e-9 px: a few units in the last place of 1920, through some twenty operations.
            assert!(ours.distance_px(ImagePoint::new(px[0], px[1])) < 1e-9, "{}", camera.name);
        }
    }
}

#[test]
fn undistortion_inverts_closed_form_pairs_to_a_billionth_of_a_pixel() {
    for camera in reference_cameras() {
        let lens = camera.lens();
        for (normalized, px) in camera.normalized_true.iter().zip(&camera.distorted_px) {
            let ours = lens.undistort(ImagePoint::new(px[0], px[1])).unwrap();
            let error_px = ((ours.x - normalized[0]) * lens.fx).hypot((ours.y - normalized[1]) * lens.fy);
            assert!(error_px < 1e-8, "{}: {error_px} px", camera.name);
        }
    }
}

#[test]
fn projection_agrees_with_the_published_sample_camera() {
    #[derive(Deserialize)]
    struct Pair {
        xy_normalised: [f64; 2],
        px: [f64; 2],
    }
    let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/opencv_camera.json"));
    let file: serde_json::Value = serde_json::from_str(text).unwrap();
    let pairs: Vec<Pair> = serde_json::from_value(file["projection_recomputed"].clone()).unwrap();
    assert_eq!(pairs.len(), 4);
    for pair in pairs {
        let [x, y] = pair.xy_normalised;
        let ours = sample_lens().project(CameraPoint(Vector3::new(x * 2500.0, y * 2500.0, 2500.0))).unwrap();
        assert!(ours.distance_px(ImagePoint::new(pair.px[0], pair.px[1])) < 1e-9);
    }
}

#[test]
fn point_behind_camera_has_no_projection() {
    let lens = Lens::pinhole([1280, 720], 1000.0);
    assert!(lens.project(CameraPoint(Vector3::new(0.0, 0.0, -1000.0))).is_none());
    assert!(lens.project(CameraPoint(Vector3::new(10.0, 0.0, 0.0))).is_none());
    assert!(lens.project(CameraPoint(Vector3::new(f64::NAN, 0.0, 0.0))).is_none());
}

#[test]
fn fold_radius_is_the_root_worked_by_hand() {
    let mut lens = Lens::pinhole([1280, 720], 1000.0);
    assert!(lens.fold_radius().is_none(), "a pinhole never folds");
    // 1 + 3 k1 s = 0 with k1 = -1/3 at s = 1.
    lens.distortion[0] = -1.0 / 3.0;
    assert!((lens.fold_radius().unwrap() - 1.0).abs() < 1e-15);
    // (1 - s)(1 - s/2)(1 - s/3) = 1 - 11/6 s + s² - 1/6 s³: the least of three roots is 1.
    lens.distortion = [-11.0 / 18.0, 1.0 / 5.0, 0.0, 0.0, -1.0 / 42.0];
    assert!((lens.fold_radius().unwrap() - 1.0).abs() < 1e-12);
    lens.distortion = [0.1, 0.0, 0.0, 0.0, 0.0];
    assert!(lens.fold_radius().is_none(), "a rising polynomial never folds");
}

#[test]
fn point_past_the_fold_is_refused_both_ways() {
    let mut lens = Lens::pinhole([1280, 720], 1000.0);
    lens.distortion[0] = -1.0 / 3.0;
    // The farthest image radius is 1000 * (1 - 1/3) = 666.7 px, reached at radius 1.
    assert!(lens.undistort(ImagePoint::new(lens.cx + 600.0, lens.cy)).is_ok());
    assert!(matches!(
        lens.undistort(ImagePoint::new(lens.cx + 700.0, lens.cy)),
        Err(CameraError::OutsideLensField { .. })
    ));
    assert!(lens.project(CameraPoint(Vector3::new(1100.0, 0.0, 1000.0))).is_none());
    assert!(lens.project(CameraPoint(Vector3::new(900.0, 0.0, 1000.0))).is_some());
    assert!(lens.undistort(ImagePoint::new(f64::NAN, 0.0)).is_err());
}

#[test]
fn jacobians_agree_with_central_differences() {
    for camera in reference_cameras() {
        let lens = camera.lens();
        for normalized in &camera.normalized_true {
            let [x, y] = *normalized;
            let analytic = lens.distort_with_jacobian(NormalizedPoint::new(x, y));
            assert!(analytic.point.distance_px(lens.distort(NormalizedPoint::new(x, y))) < 1e-9);
            let h = 1e-6;
            for (column, (dx, dy)) in [(h, 0.0), (0.0, h)].into_iter().enumerate() {
                let plus = lens.distort(NormalizedPoint::new(x + dx, y + dy)).to_vector();
                let minus = lens.distort(NormalizedPoint::new(x - dx, y - dy)).to_vector();
                let numeric = (plus - minus) / (2.0 * h);
                // Central differences at 1e-6 are good to about 1e-9 of the focal length.
                assert!((numeric - analytic.by_normalized.column(column)).norm() < 1e-5);
            }
            for index in 0..LENS_PARAMETERS {
                let step = 1e-6 * (1.0 + lens.parameters()[index].abs());
                let moved = |sign: f64| {
                    let mut parameters = lens.parameters();
                    parameters[index] += sign * step;
                    lens.clone().with_parameters(parameters).distort(NormalizedPoint::new(x, y)).to_vector()
                };
                let numeric = (moved(1.0) - moved(-1.0)) / (2.0 * step);
                assert!((numeric - analytic.by_parameters.column(index)).norm() < 1e-5, "{index}");
            }
        }
    }
}

#[test]
fn half_size_moves_the_principal_point_by_pixel_centres() {
    // Pixel 0 of the half picture covers pixels 0 and 1, whose common centre is 0.5: (0.5 + 0.5) / 2 - 0.5 = 0.
    let mut lens = sample_lens();
    lens.cx = 0.5;
    lens.cy = 239.5;
    lens.covariance = SMatrix::identity();
    let half = lens.scaled_to([320, 240]).unwrap();
    assert!(half.cx.abs() < 1e-15);
    assert!((half.cy - 119.5).abs() < 1e-12);
    assert!((half.fx - lens.fx / 2.0).abs() < 1e-12);
    assert!((half.covariance[(0, 0)] - 0.25).abs() < 1e-15);
    assert!((half.covariance[(4, 4)] - 1.0).abs() < 1e-15, "distortion has no unit and keeps its covariance");
}

#[test]
fn another_aspect_is_refused_and_rounded_sizes_are_not() {
    let lens = Lens::pinhole([1920, 1080], 1580.0);
    for size in [[854, 480], [852, 480], [640, 360], [3840, 2160]] {
        assert!(lens.scaled_to(size).is_ok(), "{size:?}");
    }
    for size in [[1440, 1080], [1080, 1920], [1920, 1088], [640, 480], [0, 0]] {
        let refused = lens.scaled_to(size);
        assert!(matches!(refused, Err(CameraError::AspectDiffers { .. })), "{size:?}");
    }
}

#[test]
fn phone_prior_covers_usual_phones() {
    let lens = Lens::phone_prior([1920, 1080]);
    let sd = lens.covariance[(0, 0)].sqrt();
    // 24 mm and 30 mm on a 4:3 sensor with the full width in video: 24 / 43.267 / 0.8 * 1920 and 30 / ...
    assert!((lens.fx - 1331.3).abs() < 2.0 * sd);
    assert!((lens.fx - 1664.1).abs() < 2.0 * sd);
    assert!((lens.cx - 959.5).abs() < 1e-12);
    assert!(lens.covariance.cholesky().is_some(), "must be positive definite");
    let portrait = Lens::phone_prior([1080, 1920]);
    assert!((portrait.fx - lens.fx).abs() < 1e-12, "holding the phone upright does not change the lens");
}

/// The picture moves of a profile, stated on points instead of parameters.
fn assert_moves(
    from: &Lens,
    to: &Lens,
    normalized: impl Fn(f64, f64) -> (f64, f64),
    px: impl Fn(f64, f64) -> (f64, f64),
) {
    for (x, y) in [(0.1, 0.05), (-0.3, 0.2), (0.4, -0.25), (0.0, 0.0)] {
        let old = from.distort(NormalizedPoint::new(x, y));
        let (x_new, y_new) = normalized(x, y);
        let new = to.distort(NormalizedPoint::new(x_new, y_new));
        let (x_px, y_px) = px(old.x, old.y);
        assert!(new.distance_px(ImagePoint::new(x_px, y_px)) < 1e-9);
    }
}

#[test]
fn a_quarter_turn_moves_every_point_with_the_picture() {
    let lens = sample_lens();
    assert_moves(&lens, &lens.quarter_turned(1), |x, y| (-y, x), |x, y| (479.0 - y, x));
    assert_moves(&lens, &lens.quarter_turned(2), |x, y| (-x, -y), |x, y| (639.0 - x, 479.0 - y));
    assert_moves(&lens, &lens.quarter_turned(3), |x, y| (y, -x), |x, y| (y, 639.0 - x));
    assert_moves(&lens, &lens.mirrored(), |x, y| (-x, y), |x, y| (639.0 - x, y));
}

#[test]
fn turning_and_mirroring_carry_the_covariance() {
    let mut lens = sample_lens();
    // A covariance with every entry different: A Aᵀ of a full matrix.
    let a = SMatrix::<f64, 9, 9>::from_fn(|row, col| f64::from(u8::try_from((row * 5 + col * 3) % 7).unwrap()) + 0.1);
    lens.covariance = a * a.transpose();
    for moved in [lens.quarter_turned(1), lens.mirrored()] {
        // Push the parameters along each column of A: the covariance is the sum of the outer products of the pushes.
        let mut expected = SMatrix::<f64, 9, 9>::zeros();
        for column in a.column_iter() {
            let pushed: [f64; 9] = std::array::from_fn(|i| lens.parameters()[i] + column[i]);
            let base = lens.clone().with_parameters(pushed);
            let moved_pushed = if moved.image_size == [480, 640] { base.quarter_turned(1) } else { base.mirrored() };
            let push = SMatrix::<f64, 9, 1>::from_fn(|i, _| moved_pushed.parameters()[i] - moved.parameters()[i]);
            expected += push * push.transpose();
        }
        assert!((expected - moved.covariance).norm() < 1e-9 * expected.norm());
    }
}

proptest! {
    #[test]
    fn undistorting_inverts_distorting(
        x in -0.6_f64..0.6, y in -0.4_f64..0.4, k1 in -0.35_f64..0.2, k2 in -0.3_f64..0.3, k3 in -0.1_f64..0.2,
        p1 in -0.002_f64..0.002, p2 in -0.002_f64..0.002,
    ) {
        let mut lens = Lens::pinhole([1920, 1080], 1500.0);
        lens.distortion = [k1, k2, p1, p2, k3];
        let point = NormalizedPoint::new(x, y);
        // Close to the fold the inverse is ill-conditioned; the law is claimed inside 95 % of it.
        prop_assume!(lens.fold_radius().is_none_or(|fold| x.hypot(y) < 0.95 * fold));
        let back = lens.undistort(lens.distort(point)).unwrap();
        prop_assert!((back.x - x).hypot(back.y - y) < 1e-9);
    }

    #[test]
    fn four_quarter_turns_or_two_mirrors_change_nothing(cx in 0.0_f64..640.0, cy in 0.0_f64..480.0, p1 in -0.01_f64..0.01) {
        let mut lens = sample_lens();
        lens.cx = cx;
        lens.cy = cy;
        lens.distortion[2] = p1;
        let turned = lens.quarter_turned(1).quarter_turned(2).quarter_turned(1);
        let mirrored = lens.mirrored().mirrored();
        for (a, b, c) in itertools3(&lens, &turned, &mirrored) {
            prop_assert!((a - b).abs() < 1e-12 && (a - c).abs() < 1e-12);
        }
    }
}

fn itertools3<'a>(a: &'a Lens, b: &'a Lens, c: &'a Lens) -> impl Iterator<Item = (f64, f64, f64)> + 'a {
    (0..LENS_PARAMETERS).map(|i| (a.parameters()[i], b.parameters()[i], c.parameters()[i]))
}
