//! Where a patch of one picture is in another when it may have turned, stretched or changed its light: affine alignment.
//!
//! The patch is a disc, weighted towards its middle. It assumes a surface that is nearly flat over the patch and seen in both
//! pictures. What it cannot tell by itself, it measures: how alike the patches are in the end, and how well the texture holds
//! the answer in each direction.
//!
//! # Source
//! Shi and Tomasi (1994), Good features to track, CVPR, 593-600: an affine warp with least squares of grey values, there as a
//! test of what was followed; with gain and offset of the light here.

use nalgebra::{Matrix2, SMatrix, SVector, Vector2};

use crate::geometry::ImagePoint;

use super::plane::Plane;
use super::pyramid::Pyramid;

/// Steps of the least squares on one level at the most.
const MAX_STEPS: usize = 30;
/// Steps that move no part of the patch by more end a level, px.
const STEP_TOL_PX: f64 = 0.005;
/// The patch's edge may move by this share of its radius against the middle at the most: beyond it another surface is meant.
const STRETCH_MAX: f64 = 0.6;
/// Weight at the rim of the patch over that in its middle (common practice: a bell of half the radius).
const RIM_WEIGHT: f64 = 0.135;
/// Differences beyond this many spreads count less: Huber's constant.
const HUBER: f64 = 1.345;
/// Share of a standard deviation of normal noise at which its median absolute value lies.
const MEDIAN_OF_NORMAL: f64 = 0.674_5;

/// A patch around a point, as a warp to another picture: where its middle goes, and what becomes of steps from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Warp {
    /// The middle in the other picture, px.
    pub middle: ImagePoint,
    /// What one px right and one px down become, px: the columns.
    pub turn: Matrix2<f64>,
}

impl Warp {
    /// A shift without turn.
    #[must_use]
    pub fn shift_to(middle: ImagePoint) -> Self {
        Self { middle, turn: Matrix2::identity() }
    }

    /// A shift with a turn by `clockwise_rad` as seen on the picture.
    #[must_use]
    pub fn turned(middle: ImagePoint, clockwise_rad: f64) -> Self {
        let (sin, cos) = clockwise_rad.sin_cos();
        Self { middle, turn: Matrix2::new(cos, -sin, sin, cos) }
    }

    /// The warp back, for a patch around `middle` of the first picture.
    #[must_use]
    pub(crate) fn back(&self, middle: ImagePoint) -> Option<Self> {
        Some(Self { middle, turn: self.turn.try_inverse()? })
    }

    fn place(&self, step: Vector2<f64>) -> Vector2<f64> {
        Vector2::new(self.middle.x, self.middle.y) + self.turn * step
    }
}

/// A patch that was found in another picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aligned {
    /// Where it is.
    pub warp: Warp,
    /// How alike the patches are, without gain and offset of the light: 1 the same, 0 nothing in common (the weighted
    /// correlation of grey values).
    pub likeness: f64,
    /// Covariance of the middle by the differences left and the texture, px². It knows nothing of a wrong place.
    pub covariance_px2: Matrix2<f64>,
}

/// A patch of a picture, ready to be looked for.
pub(crate) struct Patch {
    /// Steps from the middle, px of the finest level used.
    steps: Vec<Vector2<f64>>,
    weights: Vec<f64>,
    values: Vec<f64>,
    radius_px: f64,
    level: usize,
}

/// Unknowns: shift, turn (row by row), gain and offset of the light.
const UNKNOWNS: usize = 8;

impl Patch {
    /// The disc of `radius_px` (px of the picture) around `middle` on a level of the pyramid. `None` if its middle is not on
    /// the picture.
    pub(crate) fn take(pyramid: &Pyramid, level: usize, middle: ImagePoint, radius_px: f64) -> Option<Self> {
        let plane = pyramid.level(level);
        let scale = scale_of(level);
        let here = Vector2::new(middle.x, middle.y) * scale;
        if !(here.x.is_finite() && here.y.is_finite() && plane.contains(here.x, here.y)) {
            return None;
        }
        let radius_px = radius_px * scale;
        let mut patch = Self { steps: Vec::new(), weights: Vec::new(), values: Vec::new(), radius_px, level };
        let reach = radius_px.ceil();
        let mut y = -reach;
        while y <= reach {
            let mut x = -reach;
            while x <= reach {
                let step = Vector2::new(x, y);
                let place = here + step;
                if step.norm() <= radius_px && plane.contains(place.x, place.y) {
                    patch.steps.push(step);
                    patch.weights.push(RIM_WEIGHT.powf(step.norm_squared() / (radius_px * radius_px)));
                    patch.values.push(read(plane, place));
                }
                x += 1.0;
            }
            y += 1.0;
        }
        (patch.steps.len() > 4 * UNKNOWNS).then_some(patch)
    }

    /// How alike the patch is to what lies under `warp` (given in px of the picture) in another picture.
    pub(crate) fn likeness(&self, to: &Pyramid, warp: &Warp) -> f64 {
        let plane = to.level(self.level);
        let warp = self.on_level(warp);
        let mut sums = Correlation::default();
        for ((step, weight), value) in self.steps.iter().zip(&self.weights).zip(&self.values) {
            let place = warp.place(*step);
            if plane.contains(place.x, place.y) {
                sums.add(*weight, *value, read(plane, place));
            }
        }
        // Less than half a patch is no patch.
        if sums.weight < 0.5 * self.weights.iter().sum::<f64>() { 0.0 } else { sums.value() }
    }

    /// Aligns the patch with another picture, starting at `start` (px of the picture). With `is_rigid` the turn stays as it is
    /// and only shift and light are free: what a patch with little texture can bear.
    ///
    /// `None` when the texture does not hold the answer, or when it runs off.
    pub(crate) fn align(&self, to: &Pyramid, start: &Warp, is_rigid: bool) -> Option<Aligned> {
        let plane = to.level(self.level);
        let mut warp = self.on_level(start);
        let first = warp;
        let (mut gain, mut offset) = (1.0, 0.0);
        let mut spread = f64::INFINITY;
        let mut normal = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
        let mut square = 0.0;
        let mut weight_sum = 0.0;
        let mut is_settled = false;
        let mut residuals = Vec::with_capacity(self.steps.len());
        for _ in 0..MAX_STEPS {
            normal.fill(0.0);
            let mut gradient = SVector::<f64, UNKNOWNS>::zeros();
            (square, weight_sum) = (0.0, 0.0);
            residuals.clear();
            for ((step, weight), value) in self.steps.iter().zip(&self.weights).zip(&self.values) {
                let place = warp.place(*step);
                if !plane.contains(place.x, place.y) {
                    continue;
                }
                let residual = read(plane, place) - gain * value - offset;
                residuals.push(residual.abs());
                let weight =
                    if residual.abs() > HUBER * spread { weight * HUBER * spread / residual.abs() } else { *weight };
                let slope = slope(plane, place);
                let turn = if is_rigid { 0.0 } else { 1.0 };
                let row = SVector::<f64, UNKNOWNS>::from([
                    slope.x,
                    slope.y,
                    turn * slope.x * step.x,
                    turn * slope.x * step.y,
                    turn * slope.y * step.x,
                    turn * slope.y * step.y,
                    -value,
                    -1.0,
                ]);
                normal.syger(weight, &row, &row, 1.0);
                gradient += row * (weight * residual);
                square += weight * residual * residual;
                weight_sum += weight;
            }
            if residuals.len() < 4 * UNKNOWNS {
                return None;
            }
            let middle = residuals.len() / 2;
            let (_, median, _) = residuals.select_nth_unstable_by(middle, f64::total_cmp);
            spread = (*median / MEDIAN_OF_NORMAL).max(0.5);
            if is_rigid {
                for index in 2..6 {
                    normal[(index, index)] = 1.0;
                }
            }
            fill_upper(&mut normal);
            let change = -normal.cholesky()?.solve(&gradient);
            warp.middle = ImagePoint::new(warp.middle.x + change[0], warp.middle.y + change[1]);
            warp.turn += Matrix2::new(change[2], change[3], change[4], change[5]);
            gain += change[6];
            offset += change[7];
            let far = (warp.turn - first.turn).norm() > STRETCH_MAX
                || (warp.middle.x - first.middle.x).hypot(warp.middle.y - first.middle.y) > 2.0 * self.radius_px;
            if far || !gain.is_finite() || gain <= 0.0 {
                return None;
            }
            let moved = change[0].hypot(change[1]) + self.radius_px * change.fixed_rows::<4>(2).norm();
            if moved < STEP_TOL_PX {
                is_settled = true;
                break;
            }
        }
        if !is_settled {
            return None;
        }
        // Weighted least squares with weights that are no inverse variances: the noise's share is that of the unweighted
        // residuals, here by their weighted mean square, and the weights count once in the normal matrix. Neighbouring residuals
        // share the interpolation's error, for which the degrees of freedom are halved.
        let variance = square / weight_sum * 2.0;
        let covariance = normal.cholesky()?.inverse() * variance;
        let scale = scale_of(self.level);
        let warp = Warp { middle: ImagePoint::new(warp.middle.x / scale, warp.middle.y / scale), turn: warp.turn };
        Some(Aligned {
            likeness: self.likeness(to, &warp),
            covariance_px2: covariance.fixed_view::<2, 2>(0, 0) / (scale * scale),
            warp,
        })
    }

    fn on_level(&self, warp: &Warp) -> Warp {
        let scale = scale_of(self.level);
        Warp { middle: ImagePoint::new(warp.middle.x * scale, warp.middle.y * scale), turn: warp.turn }
    }
}

/// Sums for a weighted correlation.
#[derive(Default)]
struct Correlation {
    weight: f64,
    first: f64,
    second: f64,
    first_square: f64,
    second_square: f64,
    product: f64,
}

impl Correlation {
    fn add(&mut self, weight: f64, first: f64, second: f64) {
        self.weight += weight;
        self.first += weight * first;
        self.second += weight * second;
        self.first_square += weight * first * first;
        self.second_square += weight * second * second;
        self.product += weight * first * second;
    }

    fn value(&self) -> f64 {
        let first = self.first_square - self.first * self.first / self.weight;
        let second = self.second_square - self.second * self.second / self.weight;
        let product = self.product - self.first * self.second / self.weight;
        // Grey values are whole numbers: a patch that varies by less is one tone.
        if first <= self.weight || second <= self.weight { 0.0 } else { product / (first * second).sqrt() }
    }
}

fn fill_upper(matrix: &mut SMatrix<f64, UNKNOWNS, UNKNOWNS>) {
    // `syger` fills one triangle; a copy of it makes the matrix whole.
    for row in 0..UNKNOWNS {
        for column in 0..row {
            matrix[(column, row)] = matrix[(row, column)];
        }
    }
}

pub(crate) fn scale_of(level: usize) -> f64 {
    0.5_f64.powi(i32::try_from(level).expect("a pyramid has few levels"))
}

/// The value at a position of a plane; single precision holds a thousandth of a px at 8192.
#[expect(clippy::cast_possible_truncation, reason = "see above")]
#[inline]
fn read(plane: &Plane, place: Vector2<f64>) -> f64 {
    let (x, y) = (place.x as f32, place.y as f32);
    // the same value, sooner, where no edge is near
    f64::from(plane.at_inside(x, y).unwrap_or_else(|| plane.at(x, y)))
}

/// Derivatives of the values at a position, for each px, over two px.
fn slope(plane: &Plane, place: Vector2<f64>) -> Vector2<f64> {
    let along = |step: Vector2<f64>| 0.5 * (read(plane, place + step) - read(plane, place - step));
    Vector2::new(along(Vector2::x()), along(Vector2::y()))
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;

    /// A texture seen through an affine view: the picture's point is `turn` times the texture's, plus `shift`.
    fn seen(turn: &Matrix2<f64>, shift: Vector2<f64>, gain: f64, offset: f64) -> Pyramid {
        let inverse = turn.try_inverse().unwrap();
        let image = GrayImage::from_fn(200, 160, |x, y| {
            let at = inverse * (Vector2::new(f64::from(x), f64::from(y)) - shift);
            let waves = (at.x / 3.1).sin() * (at.y / 4.3).cos()
                + (at.x / 11.0 + at.y / 7.0).sin()
                + (at.y / 23.0 - at.x / 17.0).cos();
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
            Luma([(gain * (110.0 + 25.0 * waves) + offset).round().clamp(0.0, 255.0) as u8])
        });
        Pyramid::of(&image, 3)
    }

    #[test]
    fn known_affine_view_is_found() {
        let from = seen(&Matrix2::identity(), Vector2::zeros(), 1.0, 0.0);
        let turn = Warp::turned(ImagePoint::new(0.0, 0.0), 0.14).turn * Matrix2::new(1.06, 0.02, 0.0, 0.95);
        let middle = Vector2::new(95.4, 81.2);
        let there = Vector2::new(101.7, 77.9);
        let to = seen(&turn, there - turn * middle, 0.8, 20.0);
        let point = ImagePoint::new(middle.x, middle.y);
        let patch = Patch::take(&from, 0, point, 16.0).unwrap();
        let start = Warp::turned(ImagePoint::new(there.x + 1.5, there.y - 1.0), 0.08);
        let found = patch.align(&to, &start, false).unwrap();
        assert!((found.warp.middle.x - there.x).hypot(found.warp.middle.y - there.y) < 0.03, "{found:?}");
        assert!((found.warp.turn - turn).norm() < 0.01, "{found:?}");
        assert!(found.likeness > 0.99, "{found:?}");
        // and back again
        let back = Patch::take(&to, 0, found.warp.middle, 16.0).unwrap();
        let home = back.align(&from, &found.warp.back(point).unwrap(), false).unwrap();
        assert!((home.warp.middle.x - point.x).hypot(home.warp.middle.y - point.y) < 0.03, "{home:?}");
    }

    #[test]
    fn level_changes_the_patch_not_the_answer() {
        let from = seen(&Matrix2::identity(), Vector2::zeros(), 1.0, 0.0);
        let to = seen(&Matrix2::identity(), Vector2::new(5.0, -3.0), 1.0, 0.0);
        let patch = Patch::take(&from, 1, ImagePoint::new(90.0, 80.0), 24.0).unwrap();
        let found = patch.align(&to, &Warp::shift_to(ImagePoint::new(94.0, 78.0)), true).unwrap();
        assert!((found.warp.middle.x - 95.0).hypot(found.warp.middle.y - 77.0) < 0.05, "{found:?}");
    }

    #[test]
    fn flat_patch_is_not_aligned() {
        let flat = Pyramid::of(&GrayImage::from_pixel(80, 80, Luma([90])), 1);
        let patch = Patch::take(&flat, 0, ImagePoint::new(40.0, 40.0), 12.0).unwrap();
        let start = Warp::shift_to(ImagePoint::new(40.0, 40.0));
        assert_eq!(patch.align(&flat, &start, false), None);
        assert!(patch.likeness(&flat, &start).abs() < 1e-9);
    }

    #[test]
    fn edge_holds_the_answer_across_and_not_along() {
        let edge = |at: f64| {
            let image = GrayImage::from_fn(120, 120, |x, y| {
                let step = (f64::from(x) - at) / 1.5;
                // a little texture, so that the answer exists along the edge too
                let grain = 2.0 * (f64::from(y) / 9.0).sin();
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
                Luma([(120.0 + 70.0 * step.tanh() + grain).round() as u8])
            });
            Pyramid::of(&image, 1)
        };
        let patch = Patch::take(&edge(60.0), 0, ImagePoint::new(60.0, 60.0), 14.0).unwrap();
        let found = patch.align(&edge(62.5), &Warp::shift_to(ImagePoint::new(61.0, 60.0)), true).unwrap();
        assert!((found.warp.middle.x - 62.5).abs() < 0.03, "{found:?}");
        assert!(found.covariance_px2.m22 > 25.0 * found.covariance_px2.m11, "{found:?}");
    }
}
