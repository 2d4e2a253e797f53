//! A small upright window of one picture, and how it steps over another one to where that is most alike.
//!
//! Sums go over [`LANES`] places side by side, whatever vectors the processor has, and no product is contracted with a sum: all
//! machines find the same digits.
//!
//! # Source
//! Bouguet (2000), Pyramidal implementation of the Lucas Kanade feature tracker, Intel. Derivatives by Scharr's operator.

use std::{array, mem};

use fearless_simd::prelude::*;
use fearless_simd::{f32x8, f64x4};
use nalgebra::{Matrix2, Vector2};

use super::flow::FlowOptions;
use super::plane::{GridReader, LANES};
use super::pyramid::Pyramid;

/// Values of a window that lie side by side.
type Block = [f32; LANES];

/// The first picture's window on one level: its values, their derivatives and the normal matrix.
#[derive(Default)]
pub(super) struct Window {
    options: FlowOptions,
    side: usize,
    /// Columns with those beside the window that make them a multiple of [`LANES`].
    columns: usize,
    /// For the blocks of a row: 1 in the window, 0 beside it.
    inside: Vec<Block>,
    /// Values with a border of one px, from which the derivatives come.
    bordered: Vec<f32>,
    values: Vec<Block>,
    /// Derivatives along x and along y, without their mean where brightness is free; 0 beside the window.
    slopes: [Vec<Block>; 2],
    normal: Matrix2<f64>,
    /// The second picture's values less the first one's.
    differences: Vec<Block>,
    /// Room to read pixels in.
    pixels: Vec<f32>,
}

impl Window {
    /// Makes room for windows of the size wanted.
    pub(super) fn fit(&mut self, options: &FlowOptions) {
        self.options = *options;
        let side = 2 * options.half_window_px + 1;
        if self.side == side {
            return;
        }
        self.side = side;
        self.columns = side.next_multiple_of(LANES);
        let blocks = self.columns / LANES;
        let inside = |block: usize, lane: usize| if block * LANES + lane < side { 1.0 } else { 0.0 };
        self.inside = (0..blocks).map(|block| array::from_fn(|lane| inside(block, lane))).collect();
        self.bordered = vec![0.0; (self.columns + LANES) * (side + 2)];
        self.values = vec![[0.0; LANES]; blocks * side];
        self.slopes = [self.values.clone(), self.values.clone()];
        self.differences = self.values.clone();
    }

    /// Whether some of the window at `middle` is on the picture.
    pub(super) fn is_near(&self, pyramid: &Pyramid, level: usize, middle: Vector2<f64>) -> bool {
        let (width, height) = pyramid.level(level).size();
        let reach = self.options.half_window_px as f64;
        middle.x.is_finite()
            && middle.y.is_finite()
            && (-reach..width as f64 + reach).contains(&middle.x)
            && (-reach..height as f64 + reach).contains(&middle.y)
    }

    /// Takes the window around `middle`; `false` if it is too flat.
    #[inline(always)]
    pub(super) fn take<S: Simd>(&mut self, simd: S, pyramid: &Pyramid, level: usize, middle: Vector2<f64>) -> bool {
        let wide = self.columns + LANES;
        let corner = self.corner(middle, 1.0);
        let bordered = self.bordered.as_chunks_mut().0;
        let mut reader = GridReader::new(pyramid.level(level), [wide, self.side + 2], mem::take(&mut self.pixels));
        reader.read(
            simd,
            corner,
            #[inline(always)]
            |number, values| bordered[number] = values.into(),
        );
        self.pixels = reader.into_room();
        let blocks = self.inside.len();
        let (values, inside) = (self.values.as_mut_slice(), self.inside.as_slice());
        let [along_x, along_y] = self.slopes.each_mut().map(Vec::as_mut_slice);
        for row in 0..self.side {
            let (above, rest) = self.bordered[row * wide..][..3 * wide].split_at(wide);
            let (here, below) = rest.split_at(wide);
            for block in 0..blocks {
                let at = |line: &[f32], right: usize| f32x8::from_slice(simd, &line[block * LANES + right..][..LANES]);
                let number = row * blocks + block;
                values[number] = at(here, 1).into();
                // Scharr's operator: a derivative one way, weights 3 10 3 the other, over 32.
                let share = f32x8::simd_from(simd, inside[block]) / 32.0;
                let corners = at(above, 2) - at(above, 0) + at(below, 2) - at(below, 0);
                along_x[number] = ((corners * 3.0 + (at(here, 2) - at(here, 0)) * 10.0) * share).into();
                let corners = at(below, 0) - at(above, 0) + at(below, 2) - at(above, 2);
                along_y[number] = ((corners * 3.0 + (at(below, 1) - at(above, 1)) * 10.0) * share).into();
            }
        }
        let count = (self.side * self.side) as f32;
        if self.options.is_brightness_free {
            self.leave_out_mean(simd, count);
        }
        let [along_x, along_y] = &self.slopes;
        let mut sums = [f32x8::splat(simd, 0.0); 3];
        for number in 0..self.side * blocks {
            let (x, y) = (f32x8::simd_from(simd, along_x[number]), f32x8::simd_from(simd, along_y[number]));
            sums[0] += x * x;
            sums[1] += x * y;
            sums[2] += y * y;
        }
        let [xx, xy, yy] = sums.map(total);
        self.normal = Matrix2::new(xx, xy, xy, yy);
        weaker_eigenvalue(&self.normal) / f64::from(count) >= self.options.texture_min
    }

    /// Takes their mean from the slopes in the window.
    #[inline(always)]
    fn leave_out_mean<S: Simd>(&mut self, simd: S, count: f32) {
        let [along_x, along_y] = &self.slopes;
        let mut sums = [0.0; 2];
        for (x, y) in along_x.as_flattened().iter().zip(along_y.as_flattened()) {
            sums[0] += x;
            sums[1] += y;
        }
        for (slopes, sum) in self.slopes.iter_mut().zip(sums) {
            for row in slopes.chunks_exact_mut(self.inside.len()) {
                for (slopes, inside) in row.iter_mut().zip(&self.inside) {
                    let means = f32x8::simd_from(simd, *inside) * (sum / count);
                    *slopes = (f32x8::simd_from(simd, *slopes) - means).into();
                }
            }
        }
    }

    /// Steps from `start` to where the second picture's window is most alike, on one level.
    #[inline(always)]
    pub(super) fn walk<S: Simd>(&mut self, simd: S, to: &Pyramid, level: usize, start: Vector2<f64>) -> Vector2<f64> {
        let Some(inverse) = self.normal.try_inverse() else { return start };
        let mut reader = GridReader::new(to.level(level), [self.columns, self.side], mem::take(&mut self.pixels));
        let mut here = start;
        let mut before = Vector2::zeros();
        for step in 0..self.options.max_steps {
            if !self.is_near(to, level, here) {
                break;
            }
            let gradient = self.gradient(simd, &mut reader, here);
            let change = -(inverse * gradient);
            here += change;
            if change.norm() <= self.options.step_tol_px {
                break;
            }
            // Two steps that undo each other: the answer lies halfway.
            if step > 0 && (change + before).amax() < self.options.step_tol_px {
                here -= change * 0.5;
                break;
            }
            before = change;
        }
        self.pixels = reader.into_room();
        here
    }

    /// The gradient of half the squared difference by the window's position. Slopes without a mean leave out brightness.
    #[inline(always)]
    fn gradient<S: Simd>(&self, simd: S, reader: &mut GridReader<'_>, middle: Vector2<f64>) -> Vector2<f64> {
        let [along_x, along_y] = &self.slopes;
        let mut sums = [f32x8::splat(simd, 0.0); 2];
        reader.read(
            simd,
            self.corner(middle, 0.0),
            #[inline(always)]
            |number, other| {
                let difference = other - f32x8::simd_from(simd, self.values[number]);
                sums[0] += difference * f32x8::simd_from(simd, along_x[number]);
                sums[1] += difference * f32x8::simd_from(simd, along_y[number]);
            },
        );
        let [x, y] = sums.map(total);
        Vector2::new(x, y)
    }

    /// What is left at `end` on the finest level: mean absolute difference, and the covariance of the point.
    #[inline(always)]
    pub(super) fn judge<S: Simd>(&mut self, simd: S, to: &Pyramid, end: Vector2<f64>) -> (f64, Matrix2<f64>) {
        let corner = self.corner(end, 0.0);
        let mut reader = GridReader::new(to.picture(), [self.columns, self.side], mem::take(&mut self.pixels));
        reader.read(
            simd,
            corner,
            #[inline(always)]
            |number, other| self.differences[number] = (other - f32x8::simd_from(simd, self.values[number])).into(),
        );
        self.pixels = reader.into_room();
        let count = (self.side * self.side) as f64;
        let zero = f64x4::splat(simd, 0.0);
        let mut mean = 0.0;
        if self.options.is_brightness_free {
            let mut sum = zero;
            for row in self.differences.chunks_exact(self.inside.len()) {
                for (differences, inside) in row.iter().zip(&self.inside) {
                    let (left, right) =
                        (f32x8::simd_from(simd, *differences) * f32x8::simd_from(simd, *inside)).widen();
                    sum += left + right;
                }
            }
            mean = sum.iter().sum::<f64>() / count;
        }
        let (mut absolute, mut square) = (zero, zero);
        for row in self.differences.chunks_exact(self.inside.len()) {
            for (differences, inside) in row.iter().zip(&self.inside) {
                let (left, right) = f32x8::simd_from(simd, *differences).widen();
                let (inside_left, inside_right) = f32x8::simd_from(simd, *inside).widen();
                let (left, right) = ((left - mean) * inside_left, (right - mean) * inside_right);
                absolute += left.abs() + right.abs();
                square += left * left + right * right;
            }
        }
        let [absolute, square] = [absolute, square].map(|parts| parts.iter().sum::<f64>());
        let inverse = self.normal.try_inverse().unwrap_or_else(|| Matrix2::repeat(f64::NAN));
        (absolute / count, inverse * (square / (count - 3.0)))
    }

    /// Where the top-left value of the window around `middle` is, with a border of some px.
    fn corner(&self, middle: Vector2<f64>, border_px: f64) -> [f32; 2] {
        let corner = middle - Vector2::repeat(self.options.half_window_px as f64 + border_px);
        [narrow(corner.x), narrow(corner.y)]
    }
}

/// The sum of all lanes.
#[inline(always)]
fn total<S: Simd>(parts: f32x8<S>) -> f64 {
    f64::from(parts.iter().sum::<f32>())
}

/// The smaller eigenvalue of a symmetric matrix.
fn weaker_eigenvalue(matrix: &Matrix2<f64>) -> f64 {
    let mean = f64::midpoint(matrix.m11, matrix.m22);
    mean - (0.5 * (matrix.m11 - matrix.m22)).hypot(matrix.m12)
}

/// A position on a picture needs no more than single precision holds: a thousandth of a px at 8192.
#[expect(clippy::cast_possible_truncation, reason = "see above")]
const fn narrow(value: f64) -> f32 {
    value as f32
}
