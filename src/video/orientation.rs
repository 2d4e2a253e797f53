//! How the coded picture must be turned and mirrored to stand upright: the eight ways to lay a rectangle on a rectangle.

use image::metadata::Orientation as ExifOrientation;
use serde::Serialize;

/// Source rows that are turned together, so that reads and writes both stay in the cache.
const BLOCK_ROWS: usize = 32;

/// A turn by a multiple of 90 deg, after a mirroring where there is one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Orientation {
    /// Clockwise turn that makes the (mirrored) coded picture upright, deg: 0, 90, 180 or 270.
    #[serde(rename = "rotation_deg")]
    pub clockwise_deg: u16,
    /// Whether the coded picture is mirrored left to right before the turn.
    #[serde(rename = "is_mirrored")]
    pub is_mirrored: bool,
}

impl Orientation {
    /// The orientation that a display matrix asks for, snapped to the nearest quarter turn.
    ///
    /// `matrix` holds nine numbers as ISO/IEC 14496-12 stores them, of which the first, second, fourth and fifth are
    /// a, b, c, d of x' = a x + c y, y' = b x + d y (y down). A degenerate matrix gives the identity.
    #[must_use]
    pub fn from_display_matrix(matrix: &[i32; 9]) -> Self {
        let [a, b, c, d] = [matrix[0], matrix[1], matrix[3], matrix[4]].map(f64::from);
        let determinant = a * d - b * c;
        if determinant == 0.0 {
            return Self::default();
        }
        let is_mirrored = determinant < 0.0;
        let angle = if is_mirrored { (-b).atan2(-a) } else { b.atan2(a) };
        let clockwise_deg = match angle.to_degrees() {
            deg if (-45.0..45.0).contains(&deg) => 0,
            deg if (45.0..135.0).contains(&deg) => 90,
            deg if (-135.0..-45.0).contains(&deg) => 270,
            _ => 180,
        };
        Self { clockwise_deg, is_mirrored }
    }

    /// The orientation that the EXIF tag of a still asks for.
    #[must_use]
    pub const fn from_exif(orientation: ExifOrientation) -> Self {
        let (clockwise_deg, is_mirrored) = match orientation {
            ExifOrientation::NoTransforms => (0, false),
            ExifOrientation::FlipHorizontal => (0, true),
            ExifOrientation::Rotate180 => (180, false),
            ExifOrientation::FlipVertical => (180, true),
            ExifOrientation::Rotate90FlipH => (270, true),
            ExifOrientation::Rotate90 => (90, false),
            ExifOrientation::Rotate270FlipH => (90, true),
            ExifOrientation::Rotate270 => (270, false),
        };
        Self { clockwise_deg, is_mirrored }
    }

    /// Whether width and height change places.
    #[must_use]
    pub const fn is_quarter_turn(self) -> bool {
        self.clockwise_deg == 90 || self.clockwise_deg == 270
    }

    /// Quarter turns clockwise, 0 to 3.
    #[must_use]
    pub const fn quarter_turns(self) -> u8 {
        match self.clockwise_deg {
            90 => 1,
            180 => 2,
            270 => 3,
            _ => 0,
        }
    }

    /// Whether there is nothing to do.
    #[must_use]
    pub const fn is_upright(self) -> bool {
        self.clockwise_deg == 0 && !self.is_mirrored
    }

    /// The size of the upright picture of a coded picture, px.
    #[must_use]
    pub const fn upright_size(self, (width, height): (u32, u32)) -> (u32, u32) {
        if self.is_quarter_turn() { (height, width) } else { (width, height) }
    }

    /// The upright picture of the coded picture whose row `y` is `row(y)`, with `N` bytes a pixel and no padding.
    ///
    /// `width` and `height` are those of the coded picture, px.
    pub(crate) fn upright<'a, const N: usize>(
        self,
        (width, height): (usize, usize),
        row: impl Fn(usize) -> &'a [u8],
    ) -> Vec<u8> {
        self.upright_in::<N>(Vec::new(), (width, height), row)
    }

    /// As [`Self::upright`], in the memory of `out`, whatever it holds.
    pub(crate) fn upright_in<'a, const N: usize>(
        self,
        mut out: Vec<u8>,
        (width, height): (usize, usize),
        row: impl Fn(usize) -> &'a [u8],
    ) -> Vec<u8> {
        if self.is_upright() {
            out.clear();
            out.reserve_exact(width * height * N);
            (0..height).for_each(|y| out.extend_from_slice(&row(y)[..width * N]));
            return out;
        }
        // Along a coded row the upright index moves by `step_x` from the index of the row's first pixel.
        let steps = self.steps(width, height);
        out.resize(width * height * N, 0);
        for first_y in (0..height).step_by(BLOCK_ROWS) {
            let rows = first_y..height.min(first_y + BLOCK_ROWS);
            for first_x in (0..width).step_by(BLOCK_ROWS) {
                let last_x = width.min(first_x + BLOCK_ROWS);
                for y in rows.clone() {
                    let source = &row(y)[first_x * N..last_x * N];
                    let mut index = steps.index(first_x, y);
                    for pixel in source.chunks_exact(N) {
                        out[index * N..index * N + N].copy_from_slice(pixel);
                        index = index.wrapping_add_signed(steps.x);
                    }
                }
            }
        }
        out
    }

    /// Where coded pixels land in the upright picture, as offsets of its pixel index.
    fn steps(self, width: usize, height: usize) -> Steps {
        let (w, h) = (signed(width), signed(height));
        let (first, x, y) = match self.clockwise_deg {
            0 => (0, 1, w),
            90 => (h - 1, h, -1),
            180 => (w * h - 1, -1, -w),
            _ => ((w - 1) * h, -h, 1),
        };
        if self.is_mirrored { Steps { first: first + (w - 1) * x, x: -x, y } } else { Steps { first, x, y } }
    }
}

#[derive(Debug, Clone, Copy)]
struct Steps {
    first: isize,
    x: isize,
    y: isize,
}

impl Steps {
    fn index(self, x: usize, y: usize) -> usize {
        let index = self.first + signed(x) * self.x + signed(y) * self.y;
        index.unsigned_abs() // never negative: each pixel lands inside the upright picture
    }
}

fn signed(value: usize) -> isize {
    isize::try_from(value).expect("a picture in memory has fewer than 2^63 pixels")
}

#[cfg(test)]
mod tests {
    use super::*;

    const ONE: i32 = 1 << 16;

    /// a b / c d / e f: two wide, three high.
    fn turned(orientation: Orientation) -> String {
        let coded = b"abcdef";
        let out = orientation.upright::<1>((2, 3), |y| &coded[2 * y..2 * y + 2]);
        String::from_utf8(out).unwrap()
    }

    fn orientation(clockwise_deg: u16, is_mirrored: bool) -> Orientation {
        Orientation { clockwise_deg, is_mirrored }
    }

    #[test]
    fn turns_and_mirrors_as_worked_out_by_hand() {
        // Turned clockwise the first column, read upward, becomes the first row.
        assert_eq!(turned(orientation(0, false)), "abcdef");
        assert_eq!(turned(orientation(90, false)), "ecafdb");
        assert_eq!(turned(orientation(180, false)), "fedcba");
        assert_eq!(turned(orientation(270, false)), "bdface");
        assert_eq!(turned(orientation(0, true)), "badcfe");
        assert_eq!(turned(orientation(90, true)), "fdbeca");
        assert_eq!(turned(orientation(180, true)), "efcdab");
        assert_eq!(turned(orientation(270, true)), "acebdf");
    }

    #[test]
    fn three_byte_pixels_larger_than_a_block_land_where_single_ones_do() {
        let (width, height) = (70, 45);
        let coded: Vec<u8> = (0..width * height).map(|i| u8::try_from(i * 7 % 251).unwrap()).collect();
        let triple: Vec<u8> = coded.iter().flat_map(|&v| [v, v ^ 0xff, v / 2]).collect();
        for clockwise_deg in [0, 90, 180, 270] {
            for is_mirrored in [false, true] {
                let turn = orientation(clockwise_deg, is_mirrored);
                let one = turn.upright::<1>((width, height), |y| &coded[y * width..(y + 1) * width]);
                let three = turn.upright::<3>((width, height), |y| &triple[3 * y * width..3 * (y + 1) * width]);
                let expected: Vec<u8> = one.iter().flat_map(|&v| [v, v ^ 0xff, v / 2]).collect();
                assert_eq!(three, expected, "{turn:?}");
            }
        }
    }

    #[test]
    fn display_matrices_turn_points_as_their_formula_says() {
        // For each of the eight matrices of zeros and ones: where does x' = a x + c y, y' = b x + d y send the corners?
        for (a, b, c, d) in [
            (1, 0, 0, 1),
            (0, 1, -1, 0),
            (-1, 0, 0, -1),
            (0, -1, 1, 0),
            (-1, 0, 0, 1),
            (1, 0, 0, -1),
            (0, 1, 1, 0),
            (0, -1, -1, 0),
        ] {
            let matrix = [a * ONE, b * ONE, 0, c * ONE, d * ONE, 0, 0, 0, 1 << 30];
            let coded: Vec<(i32, i32)> = (0..3).flat_map(|y| (0..2).map(move |x| (x, y))).collect();
            let mut by_formula: Vec<((i32, i32), u8)> = coded
                .iter()
                .zip(b"abcdef")
                .map(|(&(x, y), &letter)| ((b * x + d * y, a * x + c * y), letter)) // (y', x') sorts in reading order
                .collect();
            by_formula.sort_unstable();
            let expected: String = by_formula.iter().map(|&(_, letter)| char::from(letter)).collect();
            assert_eq!(turned(Orientation::from_display_matrix(&matrix)), expected, "{a} {b} {c} {d}");
        }
    }

    #[test]
    fn a_degenerate_matrix_turns_nothing() {
        assert_eq!(Orientation::from_display_matrix(&[0; 9]), Orientation::default());
    }

    #[test]
    fn exif_tags_agree_with_the_picture_library() {
        for tag in 1..=8 {
            let exif = ExifOrientation::from_exif(tag).unwrap();
            let coded = image::GrayImage::from_raw(2, 3, b"abcdef".to_vec()).unwrap();
            let mut expected = image::DynamicImage::from(coded);
            expected.apply_orientation(exif);
            assert_eq!(turned(Orientation::from_exif(exif)).as_bytes(), expected.as_bytes(), "{tag}");
        }
    }
}
