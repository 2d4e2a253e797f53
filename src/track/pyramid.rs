//! A picture at full size and at half, a quarter, … of it.

use fearless_simd::{Level, dispatch};
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
        while pyramid.levels.len() < levels && pyramid.may_be_halved() {
            let finest = &pyramid.levels[pyramid.levels.len() - 1];
            let (width, height) = finest.size();
            let half = halved(finest, [0, width.div_ceil(2)], [0, height.div_ceil(2)]);
            pyramid.levels.push(half);
        }
        pyramid
    }

    /// The picture and, where its size allows, half of it around some places alone: `from` and `to` are the corners of what is
    /// wanted, px of the picture.
    #[must_use]
    pub(crate) fn around(image: GrayImage, from: [f64; 2], to: [f64; 2]) -> Self {
        let mut pyramid = Self { levels: vec![Plane::owning(image)] };
        if pyramid.may_be_halved() {
            let (width, height) = pyramid.levels[0].size();
            let columns = halves(from[0], to[0], width.div_ceil(2));
            let rows = halves(from[1], to[1], height.div_ceil(2));
            let half = halved(&pyramid.levels[0], columns, rows);
            pyramid.levels.push(half);
        }
        pyramid
    }

    /// Without its finest levels, so many of them: a pyramid of a smaller picture.
    pub(crate) fn coarser(mut self, levels: usize) -> Self {
        self.levels.drain(..levels.min(self.levels.len() - 1));
        self
    }

    /// The picture, where it is not needed any more.
    pub(crate) fn into_picture(self) -> Option<GrayImage> {
        self.levels.into_iter().next()?.into_picture()
    }

    fn may_be_halved(&self) -> bool {
        let (width, height) = self.levels[self.levels.len() - 1].size();
        width.min(height) >= 2 * SIDE_MIN
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

/// From which pixel of the half to before which a stretch of the picture reaches, at least [`SIDE_MIN`] of them.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the picture")]
fn halves(from: f64, to: f64, count: usize) -> [usize; 2] {
    let last = (count - SIDE_MIN.min(count)) as f64;
    let first = (0.5 * from).floor().clamp(0.0, last) as usize;
    let end = (0.5 * to).ceil().clamp(0.0, count as f64) as usize;
    [first, end.max(first + SIDE_MIN).min(count)]
}

/// A plane of half the size: pixel (x, y) stands where (2x, 2y) stood. Only the columns and rows from the first to before the
/// second are worked out, with the processor's widest vectors.
fn halved(plane: &Plane, columns: [usize; 2], rows: [usize; 2]) -> Plane {
    dispatch!(Level::new(), _ => halve(plane, columns, rows))
}

#[inline(always)]
fn halve(plane: &Plane, columns: [usize; 2], rows: [usize; 2]) -> Plane {
    let (width, height) = plane.size();
    let (half_width, half_height) = (width.div_ceil(2), height.div_ceil(2));
    let mut values = vec![0; half_width * half_height];
    let edge = |index: usize, step: i32, count: usize| {
        mirrored(i32::try_from(index).expect("a picture in memory has sides that can be indexed") + step, count)
    };
    // column sums of a row, from two to the left of the first column to two to the right of the last
    let (first, last) = (2 * columns[0], 2 * (columns[1] - 1));
    let mut sums = vec![0_u16; last - first + 5];
    let (seen_first, seen_last) = (first.saturating_sub(2), (last + 2).min(width - 1));
    let before = seen_first + 2 - first;
    for half_y in rows[0]..rows[1] {
        let [a, b, c, d, e] =
            [-2, -1, 0, 1, 2].map(|step| &plane.row(edge(2 * half_y, step, height))[seen_first..=seen_last]);
        let outer = a.iter().zip(e);
        let inner = b.iter().zip(d);
        for ((sum, middle), ((a, e), (b, d))) in sums[before..].iter_mut().zip(c).zip(outer.zip(inner)) {
            let wide = |value: &u8| u16::from(*value);
            *sum = wide(a) + wide(e) + 4 * (wide(b) + wide(d)) + 6 * wide(middle);
        }
        // beyond an edge the picture is its mirror image
        for place in (0..before).chain(before + c.len()..sums.len()) {
            let column = mirrored(
                i32::try_from(first + place).expect("a picture in memory has sides that can be indexed") - 2,
                width,
            );
            sums[place] = sums[column + 2 - first];
        }
        // 16 times 16 times 255, and the rounding, stay within 16 bits; the quotient is the upper byte
        let out = &mut values[half_y * half_width + columns[0]..half_y * half_width + columns[1]];
        let pairs = sums.chunks(2).zip(sums[2..].chunks(2)).zip(sums[4..].chunks(2));
        for (half, ((first, second), third)) in out.iter_mut().zip(pairs) {
            let sum = first[0] + third[0] + 4 * (first[1] + second[1]) + 6 * second[0] + 128;
            *half = sum.to_be_bytes()[0];
        }
    }
    Plane::partial([half_width, half_height], values, columns, rows)
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
            let (half_width, half_height) = (usize::from(width.div_ceil(2)), usize::from(height.div_ceil(2)));
            let plane = Plane::owning(image);
            let half = halved(&plane, [0, half_width], [0, half_height]);
            // a part of it holds the same values
            let part = halved(&plane, [3, half_width], [0, half_height - 2]);
            assert_eq!(part.at_inside(4.25, 5.5), half.at_inside(4.25, 5.5));
            assert_eq!(part.row(0)[3..], half.row(0)[3..]);
            assert_eq!(part.at_inside(2.5, 5.0), None);
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
