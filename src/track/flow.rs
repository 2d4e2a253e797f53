//! Where a small upright window of one picture is in the next: pyramidal Lucas-Kanade.
//!
//! It assumes that the window keeps its shape and moves by less than its half width on the coarsest level. It cannot see that a
//! window slid onto something alike: the way back (`flow_both_ways`) and the patch test ([`super::affine`]) are for that.
//!
//! # Source
//! Bouguet (2000), Pyramidal implementation of the Lucas Kanade feature tracker, Intel. Derivatives by Scharr's operator.

use std::cell::RefCell;

use fearless_simd::prelude::*;
use fearless_simd::{Level, dispatch};
use nalgebra::{Matrix2, Vector2};

use crate::geometry::ImagePoint;

use super::pyramid::Pyramid;
use super::window::Window;

/// How a point is followed from picture to picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlowOptions {
    /// Half the window's side, px, its middle pixel not counted: 10 is a window of 21 px.
    pub half_window_px: usize,
    /// The coarsest level used; 0 is the picture alone.
    pub max_level: usize,
    /// Most steps on a level.
    pub max_steps: usize,
    /// Steps shorter than this end a level, px.
    pub step_tol_px: f64,
    /// A window whose texture is weaker than this in some direction is not followed: the smaller eigenvalue of the mean outer
    /// product of its derivatives, in squared grey values for each squared px.
    pub texture_min: f64,
    /// Whether a change of brightness of the whole window counts as no change.
    pub is_brightness_free: bool,
}

impl Default for FlowOptions {
    fn default() -> Self {
        Self {
            half_window_px: 10,
            max_level: 3,
            max_steps: 30,
            step_tol_px: 0.01,
            texture_min: TEXTURE_MIN,
            is_brightness_free: true,
        }
    }
}

/// Weakest texture followed by default. Common practice: that of a widely used vision library, 1e-4 in its units of 1024
/// squared grey values for each squared px.
pub(crate) const TEXTURE_MIN: f64 = 0.1024;

/// Where a window was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// Its middle in the second picture, px.
    pub point: ImagePoint,
    /// Mean absolute difference of grey values that is left.
    pub difference: f64,
    /// Covariance of the point by the differences left and the window's texture, px². It knows nothing of a window that changed.
    pub covariance_px2: Matrix2<f64>,
}

/// Why a window was not found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlowLoss {
    /// The window left the picture.
    OutOfPicture,
    /// There is too little texture to tell where it is.
    Flat,
}

thread_local! {
    /// The window, kept from point to point for the room that it takes.
    static WINDOW: RefCell<Window> = RefCell::default();
}

/// Follows the window around `point` of the first picture to the second, starting at `guess` (both px).
///
/// # Errors
/// [`FlowLoss`], a result like any other: it says what to do without the point.
pub fn flow(
    from: &Pyramid,
    to: &Pyramid,
    point: ImagePoint,
    guess: ImagePoint,
    options: &FlowOptions,
) -> Result<Flow, FlowLoss> {
    flow_on(Level::new(), from, to, point, guess, options)
}

/// As [`flow`], with the vectors that the processor has at a level: they change how long it takes, and not a single digit.
fn flow_on(
    vectors: Level,
    from: &Pyramid,
    to: &Pyramid,
    point: ImagePoint,
    guess: ImagePoint,
    options: &FlowOptions,
) -> Result<Flow, FlowLoss> {
    WINDOW.with_borrow_mut(|window| {
        window.fit(options);
        dispatch!(vectors, simd => follow(simd, window, from, to, point, guess, options.max_level))
    })
}

/// Follows a window from the coarsest level to the picture itself.
#[inline(always)]
fn follow<S: Simd>(
    simd: S,
    window: &mut Window,
    from: &Pyramid,
    to: &Pyramid,
    point: ImagePoint,
    guess: ImagePoint,
    max_level: usize,
) -> Result<Flow, FlowLoss> {
    let top = max_level.min(from.count() - 1).min(to.count() - 1);
    let mut found = Vector2::new(guess.x, guess.y);
    let mut last = None;
    for level in (0..=top).rev() {
        let scale = level_scale(level);
        let here = Vector2::new(point.x, point.y) * scale;
        let start = found * scale;
        if !window.is_near(from, level, here) || !window.is_near(to, level, start) {
            if level == 0 {
                return Err(FlowLoss::OutOfPicture);
            }
            continue;
        }
        if !window.take(simd, from, level, here) {
            if level == 0 {
                return Err(FlowLoss::Flat);
            }
            continue;
        }
        let end = window.walk(simd, to, level, start);
        found = end / scale;
        last = (level == 0).then_some(end);
    }
    let end = last.ok_or(FlowLoss::Flat)?;
    if !to.picture().contains(end.x, end.y) {
        return Err(FlowLoss::OutOfPicture);
    }
    let (difference, covariance_px2) = window.judge(simd, to, end);
    Ok(Flow { point: ImagePoint::new(end.x, end.y), difference, covariance_px2 })
}

/// Follows as [`flow`], then back again: the flow and how far from `point` the way back ends, px.
///
/// # Errors
/// As [`flow`], for either way.
pub fn flow_both_ways(
    from: &Pyramid,
    to: &Pyramid,
    point: ImagePoint,
    guess: ImagePoint,
    options: &FlowOptions,
) -> Result<(Flow, f64), FlowLoss> {
    let there = flow(from, to, point, guess, options)?;
    // The way back starts where it should not need to move: a start at the answer would hide a window that slid.
    let back_guess = ImagePoint::new(there.point.x - (guess.x - point.x), there.point.y - (guess.y - point.y));
    let back = flow(to, from, there.point, back_guess, options)?;
    Ok((there, (back.point.x - point.x).hypot(back.point.y - point.y)))
}

/// Size of a level over that of the picture.
fn level_scale(level: usize) -> f64 {
    0.5_f64.powi(i32::try_from(level).expect("a pyramid has few levels"))
}

#[cfg(test)]
mod tests {
    use std::path::PathBuf;

    use image::{GrayImage, Luma};
    use serde_json::Value;

    use super::*;

    /// The parameters of the reference tracks.
    const AS_REFERENCE: FlowOptions = FlowOptions {
        half_window_px: 10,
        max_level: 3,
        max_steps: 30,
        step_tol_px: 0.01,
        texture_min: TEXTURE_MIN,
        is_brightness_free: false,
    };

    /// Smooth texture, finer and coarser, moved by `shift` and made brighter.
    fn texture(shift: [f64; 2], brighter: f64) -> GrayImage {
        GrayImage::from_fn(200, 160, |x, y| {
            let (x, y) = (f64::from(x) - shift[0], f64::from(y) - shift[1]);
            let waves = (x / 3.1).sin() * (y / 4.3).cos() + (x / 11.0 + y / 7.0).sin() + (y / 23.0 - x / 17.0).cos();
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
            Luma([(110.0 + 25.0 * waves + brighter).round() as u8])
        })
    }

    #[test]
    fn known_shift_is_found_to_a_fiftieth_of_a_pixel() {
        let options = FlowOptions::default();
        let from = Pyramid::of(&texture([0.0, 0.0], 0.0), 4);
        for shift in [[0.3, -0.7], [4.6, 2.2], [-9.25, 6.5]] {
            let to = Pyramid::of(&texture(shift, 0.0), 4);
            let point = ImagePoint::new(101.3, 79.6);
            let (found, back_px) = flow_both_ways(&from, &to, point, point, &options).unwrap();
            // Grey values are rounded and windows read along straight lines: a few hundredths are left.
            assert!((found.point.x - point.x - shift[0]).abs() < 0.02, "{shift:?} {found:?}");
            assert!((found.point.y - point.y - shift[1]).abs() < 0.02, "{shift:?} {found:?}");
            assert!(back_px < 0.02);
        }
    }

    #[test]
    fn vectors_of_the_processor_change_no_digit() {
        let from = Pyramid::of(&texture([0.0, 0.0], 0.0), 4);
        let to = Pyramid::of(&texture([2.7, -1.4], 9.0), 4);
        for options in [FlowOptions::default(), FlowOptions { half_window_px: 7, ..AS_REFERENCE }] {
            // 200 by 160 px, the edges included
            for (column, row) in (0..=10).flat_map(|row| (0..=10).map(move |column| (column, row))) {
                let point = ImagePoint::new(19.8 * f64::from(column), 15.7 * f64::from(row));
                let [best, least] = [Level::new(), Level::baseline()]
                    .map(|vectors| flow_on(vectors, &from, &to, point, point, &options));
                assert_eq!(best, least, "{point:?}");
                assert!(best.is_ok() || column % 10 == 0 || row % 10 == 0, "{point:?} {best:?}");
            }
        }
    }

    #[test]
    fn brightness_does_not_move_a_window() {
        let from = Pyramid::of(&texture([0.0, 0.0], 0.0), 4);
        let to = Pyramid::of(&texture([1.5, 0.5], 20.0), 4);
        let point = ImagePoint::new(90.0, 70.0);
        let free = flow(&from, &to, point, point, &FlowOptions::default()).unwrap();
        assert!((free.point.x - 91.5).hypot(free.point.y - 70.5) < 0.03, "{free:?}");
        let plain = flow(&from, &to, point, point, &AS_REFERENCE).unwrap();
        assert!((plain.point.x - 91.5).hypot(plain.point.y - 70.5) > 0.03, "{plain:?}");
    }

    #[test]
    fn flat_window_and_window_outside_are_losses() {
        let flat = Pyramid::of(&GrayImage::from_pixel(80, 80, Luma([90])), 4);
        let point = ImagePoint::new(40.0, 40.0);
        assert_eq!(flow(&flat, &flat, point, point, &FlowOptions::default()), Err(FlowLoss::Flat));
        let picture = Pyramid::of(&texture([0.0, 0.0], 0.0), 4);
        let outside = ImagePoint::new(-40.0, 20.0);
        assert_eq!(flow(&picture, &picture, outside, outside, &FlowOptions::default()), Err(FlowLoss::OutOfPicture));
    }

    #[test]
    fn stated_covariance_is_that_of_noise() {
        // Pictures with independent noise of sd 3 in both: the scatter of the point over draws against what is stated.
        let mut state = 7_u64;
        let mut noise = || {
            (0..12)
                .map(|_| {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    (state >> 11) as f64 / (1_u64 << 53) as f64
                })
                .sum::<f64>()
                - 6.0
        };
        let clean = texture([0.0, 0.0], 0.0);
        let mut noisy = || {
            let mut image = clean.clone();
            for pixel in image.pixels_mut() {
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
                let value = (f64::from(pixel.0[0]) + 3.0 * noise()).round().clamp(0.0, 255.0) as u8;
                pixel.0[0] = value;
            }
            Pyramid::of(&image, 4)
        };
        let point = ImagePoint::new(100.0, 80.0);
        let (mut square, mut stated) = (0.0, 0.0);
        for _ in 0..60 {
            let (from, to) = (noisy(), noisy());
            let found = flow(&from, &to, point, point, &FlowOptions::default()).unwrap();
            square += (found.point.x - point.x).powi(2) + (found.point.y - point.y).powi(2);
            stated += found.covariance_px2.trace();
        }
        // 120 squares scatter by 13 % (one standard deviation); noise in the derivatives adds some.
        let ratio = square / stated;
        assert!((0.6..1.6).contains(&ratio), "{ratio}");
    }

    /// OpenCV 4.14.0 calcOpticalFlowPyrLK, window 21, levels 3, 30 steps or 0.01 px. Points that it keeps (way back within
    /// 0.5 px throughout), followed frame by frame for ten frames by both.
    #[test]
    fn points_that_both_keep_stay_together_on_real_clips() {
        let Some(folder) = std::env::var_os("TWOREACH_REFERENCE").map(|root| PathBuf::from(root).join("data/tracking"))
        else {
            eprintln!("skipped: TWOREACH_REFERENCE is not set");
            return;
        };
        for (name, kept_min) in [("frames_arm_640x480", 10), ("frames_cup_320x240", 15), ("frames_phone_270x360", 15)] {
            let text = std::fs::read_to_string(folder.join(format!("lk_{name}.json"))).unwrap();
            let reference: Value = serde_json::from_str(&text).unwrap();
            let pyramids: Vec<Pyramid> = (0..=10)
                .map(|index| {
                    let path = folder.join(name).join(format!("{index:04}.png"));
                    Pyramid::of(&image::open(path).unwrap().into_luma8(), 4)
                })
                .collect();
            let mut distances = Vec::new();
            for point in reference["points"].as_array().unwrap() {
                let track = point["track"].as_array().unwrap();
                let number = |index: usize, field: &str| track[index][field].as_f64().unwrap();
                if (1..=10).any(|index| number(index, "fb") >= 0.5 || number(index, "status") < 1.0) {
                    continue;
                }
                let mut here = ImagePoint::new(number(0, "x"), number(0, "y"));
                let mut is_kept = true;
                for pair in pyramids.windows(2) {
                    match flow_both_ways(&pair[0], &pair[1], here, here, &AS_REFERENCE) {
                        Ok((found, back_px)) if back_px < 0.5 => here = found.point,
                        _ => is_kept = false,
                    }
                }
                if is_kept {
                    distances.push((here.x - number(10, "x")).hypot(here.y - number(10, "y")));
                }
            }
            distances.sort_by(f64::total_cmp);
            assert!(distances.len() >= kept_min, "{name}: kept {}", distances.len());
            let median_px = distances[distances.len() / 2];
            assert!(median_px <= 0.05, "{name}: {median_px}");
        }
    }
}
