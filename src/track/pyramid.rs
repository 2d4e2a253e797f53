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
        let mut pyramid = Self { levels: vec![Plane::of(image)] };
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
    let mut column_sums = vec![0_u16; width];
    let edge = |index: usize, step: i32, count: usize| {
        mirrored(i32::try_from(index).expect("a picture in memory has sides that can be indexed") + step, count)
    };
    for half_y in 0..half_height {
        let y = 2 * half_y;
        let rows: [&[u8]; 5] = [-2, -1, 0, 1, 2].map(|step| plane.row(edge(y, step, height)));
        for (x, sum) in column_sums.iter_mut().enumerate() {
            let [a, b, c, d, e] = rows.map(|row| u16::from(row[x]));
            *sum = a + 4 * b + 6 * c + 4 * d + e;
        }
        for half_x in 0..half_width {
            let x = 2 * half_x;
            let sums: [u16; 5] = if x >= 2 && x + 2 < width {
                [column_sums[x - 2], column_sums[x - 1], column_sums[x], column_sums[x + 1], column_sums[x + 2]]
            } else {
                [-2, -1, 0, 1, 2].map(|step| column_sums[edge(x, step, width)])
            };
            let [a, b, c, d, e] = sums.map(u32::from);
            let mean = (a + 4 * b + 6 * c + 4 * d + e + 128) >> 8;
            values.push(u8::try_from(mean).expect("a mean of bytes is a byte"));
        }
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
    fn small_pictures_have_few_levels() {
        assert_eq!(Pyramid::of(&GrayImage::new(40, 300), 5).count(), 2);
        assert_eq!(Pyramid::of(&GrayImage::new(1, 1), 5).count(), 1);
    }
}
