//! A picture at full size and at half, a quarter, … of it.

use image::GrayImage;

use super::plane::{Plane, mirrored};

/// Levels are not made smaller than this, px: below it a window is the whole picture.
const SIDE_MIN: usize = 16;

/// A picture and its reductions, each half as wide and high as the one before.
///
/// # Source
/// Burt and Adelson (1983), The Laplacian pyramid as a compact image code, IEEE Transactions on Communications 31(4),
/// 532-540: five weights 1 4 6 4 1 in each direction, then every second pixel.
#[derive(Debug, Clone)]
pub struct Pyramid {
    levels: Vec<Plane>,
}

impl Pyramid {
    /// The pyramid of a picture with at most `levels` levels, the picture itself counted; at least that one.
    #[must_use]
    pub fn of(image: &GrayImage, levels: usize) -> Self {
        Self::owning(image.clone(), levels)
    }

    /// As [`Self::of`], of a picture that is not needed any more.
    #[must_use]
    pub fn owning(image: GrayImage, levels: usize) -> Self {
        let mut pyramid = Self { levels: vec![Plane::owning(image)] };
        while pyramid.levels.len() < levels {
            let finest = &pyramid.levels[pyramid.levels.len() - 1];
            let (width, height) = finest.size();
            if width.min(height) < 2 * SIDE_MIN {
                break;
            }
            let half = halved(finest);
            pyramid.levels.push(half);
        }
        pyramid
    }

    /// Number of levels.
    pub(crate) fn count(&self) -> usize {
        self.levels.len()
    }

    /// Level 0 is the picture, level 1 half of it, and so on.
    pub(crate) fn level(&self, level: usize) -> &Plane {
        &self.levels[level]
    }

    /// The picture itself.
    pub(crate) fn picture(&self) -> &Plane {
        &self.levels[0]
    }
}

/// A plane of half the size: pixel (x, y) stands where (2x, 2y) stood.
fn halved(plane: &Plane) -> Plane {
    let (width, height) = plane.size();
    let (half_width, half_height) = (width.div_ceil(2), height.div_ceil(2));
    let mut values = Vec::with_capacity(half_width * half_height);
    // the column sums of a row, mirrored by two at each end
    let mut sums = vec![0_u16; width + 4];
    let edge = |index: usize, step: i32, count: usize| {
        mirrored(i32::try_from(index).expect("a picture in memory has sides that can be indexed") + step, count)
    };
    for half_y in 0..half_height {
        let [a, b, c, d, e] = [-2, -1, 0, 1, 2].map(|step| plane.row(edge(2 * half_y, step, height)));
        let outer = a.iter().zip(e);
        let inner = b.iter().zip(d);
        for ((sum, middle), ((a, e), (b, d))) in sums[2..].iter_mut().zip(c).zip(outer.zip(inner)) {
            let wide = |value: &u8| u16::from(*value);
            *sum = wide(a) + wide(e) + 4 * (wide(b) + wide(d)) + 6 * wide(middle);
        }
        for step in [-2, -1] {
            let place = if step == -2 { 0 } else { 1 };
            sums[place] = sums[2 + edge(0, step, width)];
            sums[width + 3 - place] = sums[2 + edge(width - 1, -step, width)];
        }
        // 16 times 16 times 255, and the rounding, stay within 16 bits; the quotient is a byte
        let halves = sums.chunks(2).zip(sums[2..].chunks(2)).zip(sums[4..].chunks(2)).take(half_width).map(
            |((first, second), third)| {
                let sum = first[0] + third[0] + 4 * (first[1] + second[1]) + 6 * second[0] + 128;
                sum.to_be_bytes()[0]
            },
        );
        values.extend(halves);
    }
    Plane::new(half_width, half_height, values)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ramp_stays_a_ramp_away_from_the_edges() {
        let image = GrayImage::from_fn(64, 48, |x, y| image::Luma([u8::try_from(3 * x + y).unwrap()]));
        let pyramid = Pyramid::of(&image, 2);
        let half = pyramid.level(1);
        assert_eq!(half.size(), (32, 24));
        for (x, y) in [(5_u16, 7_u16), (20, 11), (30, 22)] {
            // pixel (x, y) of the half stands at (2x, 2y)
            assert!((half.at(f32::from(x), f32::from(y)) - f32::from(6 * x + 2 * y)).abs() < 0.5);
        }
    }

    #[test]
    fn half_is_the_weighted_mean_of_25_pixels_also_at_the_edges() {
        let value = |x: u32, y: u32| u8::try_from((x * x * 7 + y * 31 + x * y * 3) % 256).unwrap();
        for (width, height) in [(33_u16, 40_u16), (34, 33), (40, 35)] {
            let image = GrayImage::from_fn(width.into(), height.into(), |x, y| image::Luma([value(x, y)]));
            let half = halved(&Plane::owning(image));
            for (row, column) in (0..height.div_ceil(2)).flat_map(|y| (0..width.div_ceil(2)).map(move |x| (y, x))) {
                let mut sum = 0.0;
                for (down, weight_down) in [-2, -1, 0, 1, 2].into_iter().zip([1.0, 4.0, 6.0, 4.0, 1.0]) {
                    for (right, weight_right) in [-2, -1, 0, 1, 2].into_iter().zip([1.0, 4.0, 6.0, 4.0, 1.0]) {
                        let x = mirrored(2 * i32::from(column) + right, width.into());
                        let y = mirrored(2 * i32::from(row) + down, height.into());
                        let at = value(u32::try_from(x).unwrap(), u32::try_from(y).unwrap());
                        sum += weight_down * weight_right * f64::from(at);
                    }
                }
                let found = f64::from(half.at(f32::from(column), f32::from(row)));
                assert!((found - (sum / 256.0 + 0.5).floor()).abs() < 1e-9, "{column} {row}: {found} {sum}");
            }
        }
    }

    #[test]
    fn small_pictures_have_few_levels() {
        assert_eq!(Pyramid::of(&GrayImage::new(40, 300), 5).count(), 2);
        assert_eq!(Pyramid::of(&GrayImage::new(1, 1), 5).count(), 1);
    }
}
