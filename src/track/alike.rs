//! Whether two pictures show one and the same moment, encoded twice.
//!
//! Between two takes of a person most of the picture stays as it is, and the mean of what changed is no more than what a hard
//! compression changes; but somewhere an arm, a hand or a sleeve lies elsewhere, and there it changes a lot. So the block that changes
//! most decides, against what moving the picture by one of its own px would change. It cannot tell a person who holds still from a copy
//! within one raise, which is one raise either way, and it says nothing of pictures without contrast.
//!
//! On the clips of the demo (640 px wide, share of what one px moves): copies made at crf 18 to 35, at half the size, or brighter and of
//! three quarters the size differ by 0.05 to 0.31, at crf 42 by 0.5, and the same hold a fifth of a second later by 0.2; two takes differ
//! by 1.3 to 2.5. Of 240 pairs of 40 rendered visits the least differ by 0.80 (takes alike in all but where the person sits).

use image::{GrayImage, imageops};

/// Pictures are compared at this long side, px: what compression does to finer detail is left out.
const COMPARED_PX: u32 = 640;
/// Side of a block, px: a hand.
const BLOCK_PX: u32 = 16;
/// A picture that moving by one px changes by less than this in every block has no contrast to judge by, in codes of 255.
const CONTRAST_MIN: f64 = 4.0;
/// Width over height of copies at another size differs by no more than this share, because sides are whole and mostly even.
const SHAPE_TOLERANCE: f64 = 0.005;
/// Two pictures are one where no block differs by more than this share of what moving by one px changes most. See the module for what
/// copies and takes show.
const SHARE_MAX: f64 = 0.5;

/// Whether two pictures are the same moment, encoded twice, at whatever size; `false` where they have no contrast to tell.
pub(crate) fn is_one_moment(first: &GrayImage, second: &GrayImage) -> bool {
    let Some(size) = compared_size([first, second].map(GrayImage::dimensions)) else { return false };
    let [first, second] = [first, second].map(|picture| reduced(picture, size));
    let moved = [[1, 0], [0, 1]].map(|by| most_apart(&first, &first, by)).into_iter().fold(0.0, f64::max);
    moved >= CONTRAST_MIN && most_apart(&first, &second, [0; 2]) <= SHARE_MAX * moved
}

/// The size at which pictures of these sizes can be compared; none where they are of another shape.
fn compared_size([first, second]: [(u32, u32); 2]) -> Option<(u32, u32)> {
    let shape = |(width, height): (u32, u32)| f64::from(width) / f64::from(height);
    let long = |(width, height): (u32, u32)| width.max(height);
    if (shape(first) / shape(second)).ln().abs() > SHAPE_TOLERANCE {
        return None;
    }
    let (small, most) = if long(first) < long(second) { (first, long(first)) } else { (second, long(second)) };
    let side = |px: u32| (px * COMPARED_PX.min(most) / most).max(1);
    Some((side(small.0), side(small.1)))
}

fn reduced(picture: &GrayImage, size: (u32, u32)) -> GrayImage {
    if picture.dimensions() == size { picture.clone() } else { imageops::thumbnail(picture, size.0, size.1) }
}

/// The mean absolute difference of the block that differs most, in codes, its change of brightness taken off; `by` moves the second
/// picture, px.
fn most_apart(first: &GrayImage, second: &GrayImage, by: [u32; 2]) -> f64 {
    let (width, height) = first.dimensions();
    let corners = |side: u32, by: u32| (0..(side - by.min(side)) / BLOCK_PX).map(|block| block * BLOCK_PX);
    let mut most: f64 = 0.0;
    for top in corners(height, by[1]) {
        for left in corners(width, by[0]) {
            let places = (top..top + BLOCK_PX).flat_map(|y| (left..left + BLOCK_PX).map(move |x| (x, y)));
            let differences: Vec<f64> = places
                .map(|(x, y)| {
                    f64::from(first.get_pixel(x, y).0[0]) - f64::from(second.get_pixel(x + by[0], y + by[1]).0[0])
                })
                .collect();
            let count = f64::from(BLOCK_PX * BLOCK_PX);
            let mean = differences.iter().sum::<f64>() / count;
            most = most.max(differences.iter().map(|difference| (difference - mean).abs()).sum::<f64>() / count);
        }
    }
    most
}

#[cfg(test)]
mod tests {
    use image::Luma;

    use super::*;

    /// A bar before stripes: `at` is where it begins, px, and `noise` how far each pixel strays, codes.
    fn picture(at: u32, noise: u32) -> GrayImage {
        let mut state = 1_u32;
        GrayImage::from_fn(640, 360, |x, y| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let stray = (state >> 16) % (2 * noise + 1);
            let ground = if (x / 20 + y / 20) % 2 == 0 { 90 } else { 140 };
            let value = if (at..at + 60).contains(&x) && (100..115).contains(&y) { 220 } else { ground };
            Luma([u8::try_from(value + stray - noise).unwrap_or(u8::MAX)])
        })
    }

    #[test]
    fn a_copy_is_one_moment_and_a_thing_that_moved_makes_another() {
        let first = picture(200, 0);
        assert!(is_one_moment(&first, &picture(200, 6)), "noise is everywhere alike");
        let brighter = GrayImage::from_fn(640, 360, |x, y| Luma([first.get_pixel(x, y).0[0] + 20]));
        assert!(is_one_moment(&first, &brighter));
        assert!(!is_one_moment(&first, &picture(204, 0)), "all but a bar stays as it was");
        let smaller = imageops::resize(&first, 426, 240, imageops::FilterType::Triangle);
        assert!(
            is_one_moment(&first, &smaller) && is_one_moment(&smaller, &first),
            "a smaller copy, its width rounded"
        );
        assert!(!is_one_moment(&smaller, &picture(212, 0)));
        assert!(!is_one_moment(&first, &imageops::crop_imm(&first, 0, 0, 480, 360).to_image()), "another shape");
    }

    #[test]
    fn without_contrast_nothing_is_told() {
        let grey = |value| GrayImage::from_pixel(640, 360, Luma([value]));
        assert!(!is_one_moment(&grey(128), &grey(128)));
        assert!(!is_one_moment(&GrayImage::new(3, 2), &GrayImage::new(3, 2)));
    }
}
