//! A small upright window of one picture, and how it steps over another one to where that is most alike.
//!
//! # Source
//! Bouguet (2000), Pyramidal implementation of the Lucas Kanade feature tracker, Intel. Derivatives by Scharr's operator.

use nalgebra::{Matrix2, Vector2};

use super::flow::FlowOptions;
use super::plane::{LANES, Plane};
use super::pyramid::Pyramid;

/// The first picture's window on one level: its values, their derivatives and the normal matrix.
pub(super) struct Window<'a> {
    options: &'a FlowOptions,
    side: usize,
    /// Columns with those beside the window that make them a multiple of [`LANES`].
    columns: usize,
    /// Values with a border of one px, from which the derivatives come.
    bordered: Vec<f32>,
    values: Vec<f32>,
    /// Derivatives along x and along y, without their mean where brightness is free; 0 beside the window.
    slopes: [Vec<f32>; 2],
    normal: Matrix2<f64>,
    other: Vec<f32>,
    /// Room to read pixels in.
    pixels: Vec<f32>,
}

impl<'a> Window<'a> {
    pub(super) fn new(options: &'a FlowOptions) -> Self {
        Self {
            options,
            side: 2 * options.half_window_px + 1,
            columns: (2 * options.half_window_px + 1).next_multiple_of(LANES),
            bordered: Vec::new(),
            values: Vec::new(),
            slopes: [Vec::new(), Vec::new()],
            normal: Matrix2::zeros(),
            other: Vec::new(),
            pixels: Vec::new(),
        }
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
    pub(super) fn take(&mut self, pyramid: &Pyramid, level: usize, middle: Vector2<f64>) -> bool {
        let plane = pyramid.level(level);
        let (side, columns) = (self.side, self.columns);
        let wide = columns + LANES;
        let corner = middle - Vector2::repeat(self.options.half_window_px as f64 + 1.0);
        plane.sample_grid(narrow(corner.x), narrow(corner.y), [wide, side + 2], &mut self.pixels, &mut self.bordered);
        self.values.clear();
        self.slopes.iter_mut().for_each(Vec::clear);
        let [along_x, along_y] = &mut self.slopes;
        for rows in self.bordered.windows(3 * wide).step_by(wide) {
            let (above, rest) = rows.split_at(wide);
            let (here, below) = rest.split_at(wide);
            self.values.extend_from_slice(&here[1..=columns]);
            // Scharr's operator: a derivative one way, weights 3 10 3 the other, over 32.
            let around = above.windows(3).zip(here.windows(3)).zip(below.windows(3)).take(side);
            along_x.extend(around.clone().map(|((above, here), below)| {
                (3.0 * (above[2] - above[0] + below[2] - below[0]) + 10.0 * (here[2] - here[0])) / 32.0
            }));
            along_y.extend(around.map(|((above, _), below)| {
                (3.0 * (below[0] - above[0] + below[2] - above[2]) + 10.0 * (below[1] - above[1])) / 32.0
            }));
            along_x.resize(self.values.len(), 0.0);
            along_y.resize(self.values.len(), 0.0);
        }
        let count = (side * side) as f32;
        if self.options.is_brightness_free {
            for slopes in &mut self.slopes {
                let mean = slopes.iter().sum::<f32>() / count;
                let rows = slopes.chunks_exact_mut(columns);
                rows.for_each(|row| row[..side].iter_mut().for_each(|slope| *slope -= mean));
            }
        }
        let [along_x, along_y] = &self.slopes;
        let (xx, xy, yy) = (dot(along_x, along_x), dot(along_x, along_y), dot(along_y, along_y));
        self.normal = Matrix2::new(f64::from(xx), f64::from(xy), f64::from(xy), f64::from(yy));
        weaker_eigenvalue(&self.normal) / f64::from(count) >= self.options.texture_min
    }

    /// Steps from `start` to where the second picture's window is most alike, on one level.
    pub(super) fn walk(&mut self, to: &Pyramid, level: usize, start: Vector2<f64>) -> Vector2<f64> {
        let plane = to.level(level);
        let mut here = start;
        let mut before = Vector2::zeros();
        let Some(inverse) = self.normal.try_inverse() else { return here };
        for step in 0..self.options.max_steps {
            if !self.is_near(to, level, here) {
                break;
            }
            let gradient = self.gradient(plane, here);
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
        here
    }

    /// The gradient of half the squared difference by the window's position. Slopes without a mean leave out brightness.
    fn gradient(&mut self, plane: &Plane, middle: Vector2<f64>) -> Vector2<f64> {
        self.sample_other(plane, middle);
        self.other.iter_mut().zip(&self.values).for_each(|(other, value)| *other -= value);
        let [x, y] = self.slopes.each_ref().map(|slopes| dot(&self.other, slopes));
        Vector2::new(f64::from(x), f64::from(y))
    }

    fn sample_other(&mut self, plane: &Plane, middle: Vector2<f64>) {
        let corner = middle - Vector2::repeat(self.options.half_window_px as f64);
        plane.sample_grid(
            narrow(corner.x),
            narrow(corner.y),
            [self.columns, self.side],
            &mut self.pixels,
            &mut self.other,
        );
    }

    /// What is left at `end` on the finest level: mean absolute difference, and the covariance of the point.
    pub(super) fn judge(&mut self, to: &Pyramid, end: Vector2<f64>) -> (f64, Matrix2<f64>) {
        self.sample_other(to.picture(), end);
        let count = (self.side * self.side) as f64;
        let rows = || self.other.chunks_exact(self.columns).zip(self.values.chunks_exact(self.columns));
        let differences = || {
            rows().flat_map(|(other, value)| {
                other.iter().zip(value).take(self.side).map(|(other, value)| f64::from(other - value))
            })
        };
        let mean = if self.options.is_brightness_free { differences().sum::<f64>() / count } else { 0.0 };
        let absolute = differences().map(|difference| (difference - mean).abs()).sum::<f64>() / count;
        let variance = differences().map(|difference| (difference - mean).powi(2)).sum::<f64>() / (count - 3.0);
        let inverse = self.normal.try_inverse().unwrap_or_else(|| Matrix2::repeat(f64::NAN));
        (absolute, inverse * variance)
    }
}

/// The sum of products of windows.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut parts = [0.0_f32; LANES];
    for (a, b) in a.as_chunks::<LANES>().0.iter().zip(b.as_chunks::<LANES>().0) {
        for ((part, a), b) in parts.iter_mut().zip(a).zip(b) {
            *part += a * b;
        }
    }
    parts.iter().sum()
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
