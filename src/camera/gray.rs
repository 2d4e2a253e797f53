//! A grey picture in single precision: smoothing, halving, sampling between pixels.
//!
//! Coordinates are those of the upright picture: px, origin at the centre of the top-left pixel, x right, y down.

use image::GrayImage;

/// A grey picture, row by row, 0 to 255.
#[derive(Debug, Clone, PartialEq)]
pub struct GrayPlane {
    /// Width, px.
    pub width: usize,
    /// Height, px.
    pub height: usize,
    /// Values, row by row.
    pub values: Vec<f32>,
}

impl GrayPlane {
    /// The same picture in single precision.
    #[must_use]
    pub fn from_image(image: &GrayImage) -> Self {
        let (width, height) = (to_usize(image.width()), to_usize(image.height()));
        Self { width, height, values: image.as_raw().iter().map(|value| f32::from(*value)).collect() }
    }

    /// The value at a pixel; the picture is continued by its edge.
    #[must_use]
    pub fn at(&self, x: isize, y: isize) -> f32 {
        let column = x.clamp(0, self.width.cast_signed() - 1).cast_unsigned();
        let row = y.clamp(0, self.height.cast_signed() - 1).cast_unsigned();
        self.values[row * self.width + column]
    }

    /// Whether a point lies at least `margin` px inside the picture.
    #[must_use]
    pub fn holds(&self, x: f64, y: f64, margin: f64) -> bool {
        x >= margin
            && y >= margin
            && x <= index_to_f64(self.width) - 1.0 - margin
            && y <= index_to_f64(self.height) - 1.0 - margin
    }

    /// The value between pixels, bilinear; points outside take the edge's value.
    #[must_use]
    pub fn sample(&self, x: f64, y: f64) -> f32 {
        let x = x.clamp(0.0, index_to_f64(self.width - 1));
        let y = y.clamp(0.0, index_to_f64(self.height - 1));
        let (left, top) = (floor_to_index(x), floor_to_index(y));
        let (right, bottom) = ((left + 1).min(self.width - 1), (top + 1).min(self.height - 1));
        let (fx, fy) = (to_f32(x - index_to_f64(left)), to_f32(y - index_to_f64(top)));
        let upper = self.values[top * self.width + left] * (1.0 - fx) + self.values[top * self.width + right] * fx;
        let lower =
            self.values[bottom * self.width + left] * (1.0 - fx) + self.values[bottom * self.width + right] * fx;
        upper * (1.0 - fy) + lower * fy
    }

    /// Smoothed by a Gaussian of standard deviation `sigma` px, cut off at three of them.
    #[must_use]
    pub fn blurred(&self, sigma: f64) -> Self {
        let kernel = gaussian_kernel(sigma);
        let rows = self.convolved_rows(&kernel);
        rows.convolved_columns(&kernel)
    }

    fn convolved_rows(&self, kernel: &[f32]) -> Self {
        let radius = kernel.len() / 2;
        let mut values = vec![0.0_f32; self.values.len()];
        let mut padded = vec![0.0_f32; self.width + 2 * radius];
        for (source, target) in self.values.chunks_exact(self.width).zip(values.chunks_exact_mut(self.width)) {
            padded[..radius].fill(source[0]);
            padded[radius..radius + self.width].copy_from_slice(source);
            padded[radius + self.width..].fill(source[self.width - 1]);
            for (tap, weight) in kernel.iter().enumerate() {
                for (sum, value) in target.iter_mut().zip(&padded[tap..tap + self.width]) {
                    *sum += weight * value;
                }
            }
        }
        Self { width: self.width, height: self.height, values }
    }

    fn convolved_columns(&self, kernel: &[f32]) -> Self {
        let radius = kernel.len() / 2;
        let mut values = vec![0.0_f32; self.values.len()];
        for (row, target) in values.chunks_exact_mut(self.width).enumerate() {
            for (tap, weight) in kernel.iter().enumerate() {
                let source = (row + tap).saturating_sub(radius).min(self.height - 1);
                for (sum, value) in target.iter_mut().zip(&self.values[source * self.width..(source + 1) * self.width])
                {
                    *sum += weight * value;
                }
            }
        }
        Self { width: self.width, height: self.height, values }
    }

    /// The picture at half size, each pixel the mean of four. A point p of the whole picture lies at (p + 0.5) / 2 - 0.5.
    #[must_use]
    pub fn halved(&self) -> Self {
        let (width, height) = ((self.width / 2).max(1), (self.height / 2).max(1));
        let mut values = Vec::with_capacity(width * height);
        for row in 0..height {
            let upper = &self.values[2 * row * self.width..];
            let lower = &self.values[(2 * row + 1).min(self.height - 1) * self.width..];
            for column in 0..width {
                let (left, right) = (2 * column, (2 * column + 1).min(self.width - 1));
                values.push(0.25 * (upper[left] + upper[right] + lower[left] + lower[right]));
            }
        }
        Self { width, height, values }
    }
}

fn gaussian_kernel(sigma: f64) -> Vec<f32> {
    let radius = floor_to_index((3.0 * sigma).ceil()).max(1);
    let weights: Vec<f64> = (0..=2 * radius)
        .map(|tap| {
            let distance = (index_to_f64(tap) - index_to_f64(radius)) / sigma;
            (-0.5 * distance * distance).exp()
        })
        .collect();
    let sum: f64 = weights.iter().sum();
    weights.into_iter().map(|weight| to_f32(weight / sum)).collect()
}

/// A picture's side or index as a number; exact.
pub(crate) fn index_to_f64(index: usize) -> f64 {
    #[allow(clippy::cast_precision_loss, reason = "sides of pictures are far below 2^53")]
    let number = index as f64;
    number
}

/// The whole part of a number that is not negative, as an index into a picture.
pub(crate) fn floor_to_index(number: f64) -> usize {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped to the picture by the callers; the fraction is meant to go"
    )]
    let index = number as usize;
    index
}

fn to_f32(number: f64) -> f32 {
    #[allow(clippy::cast_possible_truncation, reason = "pixel values and weights need no more than single precision")]
    let single = number as f32;
    single
}

fn to_usize(side: u32) -> usize {
    usize::try_from(side).expect("a picture in memory has sides that fit an index")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ramp(width: usize, height: usize) -> GrayPlane {
        let values =
            (0..width * height).map(|i| to_f32(3.0 * index_to_f64(i % width) + index_to_f64(i / width))).collect();
        GrayPlane { width, height, values }
    }

    #[test]
    fn sampling_a_ramp_gives_the_ramp() {
        let plane = ramp(20, 10);
        assert!((plane.sample(4.25, 3.5) - 16.25).abs() < 1e-5);
        assert!((plane.sample(-3.0, 0.0)).abs() < 1e-6, "the edge continues");
        assert!((plane.sample(19.0, 9.0) - 66.0).abs() < 1e-5);
    }

    #[test]
    fn blurring_keeps_a_ramp_and_spreads_a_point_by_sigma() {
        let blurred = ramp(40, 30).blurred(1.5);
        assert!((blurred.at(20, 15) - 75.0).abs() < 1e-3);
        let mut point = GrayPlane { width: 41, height: 41, values: vec![0.0; 41 * 41] };
        point.values[20 * 41 + 20] = 1.0;
        let blurred = point.blurred(2.0);
        let variance: f64 =
            (0..41 * 41).map(|i| f64::from(blurred.values[i]) * (index_to_f64(i % 41) - 20.0).powi(2)).sum();
        // Cutting at three standard deviations takes some 3 % off the variance of 4.
        assert!((variance - 4.0).abs() < 0.15, "{variance}");
    }

    #[test]
    fn halving_moves_points_by_pixel_centres() {
        let half = ramp(20, 10).halved();
        assert_eq!((half.width, half.height), (10, 5));
        // Half pixel (3, 2) stands at (6.5, 4.5) of the whole: 3 * 6.5 + 4.5.
        assert!((half.at(3, 2) - 24.0).abs() < 1e-5);
    }
}
