//! Pictures as JPEG files hold them: brightness and two colours in planes of their own, the colours halved each way.

use image::RgbImage;

use super::color::Luminances;

/// One plane: samples in rows, without padding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plane {
    /// Samples of a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// All samples.
    pub samples: Vec<u8>,
}

/// An upright picture in the full range of codes, after ITU-T T.871 (JFIF), which takes BT.601's matrix.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YccPicture {
    /// Brightness.
    pub luma: Plane,
    /// Blue minus brightness, about 128; half as many samples each way, rounded up.
    pub blue: Plane,
    /// Red minus brightness, likewise.
    pub red: Plane,
}

impl YccPicture {
    /// The same picture in planes; each four pixels give their mean colour.
    #[must_use]
    pub fn from_rgb(image: &RgbImage) -> Self {
        let side = |px: u32| usize::try_from(px).expect("usize has at least 32 bits");
        let (width, height) = (side(image.width()), side(image.height()));
        let pixels = image.as_raw();
        // T.871, in 2^16ths
        let luma = |[red, green, blue]: [i32; 3]| 19_595 * red + 38_470 * green + 7_471 * blue;
        let pixel = |x: usize, y: usize| {
            let at = 3 * (y.min(height - 1) * width + x.min(width - 1));
            [0, 1, 2].map(|color| i32::from(pixels[at + color]))
        };
        let lumas =
            pixels.chunks_exact(3).map(|rgb| byte((luma([rgb[0], rgb[1], rgb[2]].map(i32::from)) + (1 << 15)) >> 16));
        let (half_width, half_height) = (width.div_ceil(2), height.div_ceil(2));
        let (mut blues, mut reds) = (Vec::with_capacity(half_width * half_height), Vec::new());
        for (x, y) in (0..half_height).flat_map(|y| (0..half_width).map(move |x| (2 * x, 2 * y))) {
            let four = [pixel(x, y), pixel(x + 1, y), pixel(x, y + 1), pixel(x + 1, y + 1)];
            let sum =
                four.into_iter().fold([0; 3], |sum, [red, green, blue]| [sum[0] + red, sum[1] + green, sum[2] + blue]);
            let away = |color: i32, scale: i32| {
                // four times the mean; scale is in 2^16ths
                let difference = i64::from(color) * (1 << 16) - i64::from(luma(sum));
                let value = difference * i64::from(scale) / (1 << 16) + (512 << 16) + (1 << 17);
                byte(i32::try_from(value >> 18).unwrap_or(0))
            };
            blues.push(away(sum[2], 36_984));
            reds.push(away(sum[0], 46_745));
        }
        let half = |samples| Plane { width: half_width, height: half_height, samples };
        Self { luma: Plane { width, height, samples: lumas.collect() }, blue: half(blues), red: half(reds) }
    }
}

/// From a clip's codes to those of JFIF, in 2^14ths: everything but brightness itself is linear in the two colours.
///
/// Red, green and blue follow from brightness y and the colours b and r by the clip's luminances, `R = y + 2(1 - Kr) r`,
/// `B = y + 2(1 - Kb) b`, `Kr R + Kg G + Kb B = y`; brightness and colours of JFIF follow from them by BT.601's.
#[derive(Debug, Clone, Copy)]
pub(crate) struct ToJfif {
    /// What is added to a code of brightness, for its own range, in 2^6ths and as a share in 2^16ths of itself.
    offset: i16,
    stretch: i16,
    /// What one code of blue and of red adds to brightness, to blue and to red.
    luma: [i32; 2],
    blue: [i32; 2],
    red: [i32; 2],
}

impl ToJfif {
    pub(crate) fn new(from: Luminances, is_full_range: bool) -> Self {
        let Luminances { red: kr, blue: kb } = from;
        let kg = 1.0 - kr - kb;
        let (to_r, to_b) = (2.0 * (1.0 - kr), 2.0 * (1.0 - kb));
        let to = Luminances::BT601;
        let to_kg = 1.0 - to.red - to.blue;
        // G - y by blue and by red
        let green = [-kb * to_b / kg, -kr * to_r / kg];
        let luma = [to.blue * to_b + to_kg * green[0], to.red * to_r + to_kg * green[1]];
        let blue = [to_b - luma[0], -luma[1]].map(|value| value / (2.0 * (1.0 - to.blue)));
        let red = [-luma[0], to_r - luma[1]].map(|value| value / (2.0 * (1.0 - to.red)));
        // BT.709-6 item 4.6: brightness on 219 codes from 16, colours on 224
        let (luma_range, chroma_range, black) =
            if is_full_range { (1.0, 1.0, 0.0) } else { (255.0 / 219.0, 255.0 / 224.0, 16.0) };
        let scaled = |values: [f64; 2], by: f64| values.map(|value| rounded(value * chroma_range * by));
        Self {
            offset: small(-black * luma_range * 64.0),
            stretch: small((luma_range - 1.0) * 65_536.0),
            luma: scaled(luma, 64.0 * 16_384.0),
            blue: scaled(blue, 16_384.0),
            red: scaled(red, 16_384.0),
        }
    }

    /// Two rows of brightness, or one, and the row of colours that goes with them, to the ends of `picture`'s planes.
    pub(crate) fn rows(&self, lumas: &[&[u8]], blue: &[u8], red: &[u8], out: [&mut Vec<u8>; 3], shades: &mut Vec<i16>) {
        let [luma_out, blue_out, red_out] = out;
        let away = |code: &u8| i32::from(*code) - 128;
        let linear = |[by_blue, by_red]: [i32; 2], blue: &u8, red: &u8| {
            (by_blue * away(blue) + by_red * away(red) + (1 << 13)) >> 14
        };
        let colors = || blue.iter().zip(red);
        blue_out.extend(colors().map(|(blue, red)| byte(128 + linear(self.blue, blue, red))));
        red_out.extend(colors().map(|(blue, red)| byte(128 + linear(self.red, blue, red))));
        shades.clear();
        shades.extend(colors().flat_map(|(blue, red)| {
            #[allow(clippy::cast_possible_truncation, reason = "some 2000 at most")]
            let shade = linear(self.luma, blue, red) as i16 + self.offset + 32;
            [shade, shade]
        }));
        for luma in lumas {
            luma_out.extend(luma.iter().zip(&*shades).map(|(code, shade)| {
                let code = i16::from(*code) << 6;
                #[allow(clippy::cast_possible_truncation, reason = "the upper half of a product of two halves")]
                let more = ((i32::from(code) * i32::from(self.stretch)) >> 16) as i16;
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
                let code = ((code + more + shade) >> 6).clamp(0, 255) as u8;
                code
            }));
        }
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
fn byte(value: i32) -> u8 {
    value.clamp(0, 255) as u8
}

#[allow(clippy::cast_possible_truncation, reason = "coefficients of a few units, scaled")]
fn rounded(value: f64) -> i32 {
    value.round() as i32
}

#[allow(clippy::cast_possible_truncation, reason = "at most 16 codes or a share below one half")]
fn small(value: f64) -> i16 {
    value.round() as i16
}

#[cfg(test)]
mod tests {
    use image::Rgb;

    use super::*;
    use crate::video::color::{MATRIX_BT709, luminances};

    /// Codes of brightness, blue and red of a flat picture.
    fn flat(rgb: [u8; 3]) -> [u8; 3] {
        let YccPicture { luma, blue, red } = YccPicture::from_rgb(&RgbImage::from_pixel(3, 5, Rgb(rgb)));
        assert_eq!((luma.width, luma.height, blue.width, blue.height, red.width), (3, 5, 2, 3, 2));
        let one = |plane: Plane| {
            assert_eq!(plane.samples.len(), plane.width * plane.height);
            assert!(plane.samples.iter().all(|code| *code == plane.samples[0]));
            plane.samples[0]
        };
        [one(luma), one(blue), one(red)]
    }

    #[test]
    fn primaries_have_the_codes_of_the_standard() {
        // T.871, clause 7, with 255 for one colour: 0.299, -0.1687 and 0.5 of it for red, and so on
        assert_eq!(flat([255, 255, 255]), [255, 128, 128]);
        assert_eq!(flat([0, 0, 0]), [0, 128, 128]);
        assert_eq!(flat([255, 0, 0]), [76, 85, 255]);
        assert_eq!(flat([0, 255, 0]), [150, 44, 21]);
        assert_eq!(flat([0, 0, 255]), [29, 255, 107]);
    }

    #[test]
    fn primaries_of_a_clip_become_those_of_jfif() {
        /// Both sides are rounded to whole codes, and those of a clip are wider by 255 / 219.
        const CODES: u8 = 2;
        // BT.709-6, items 3.2 and 4.6, rounded: red is 16 + 219 × 0.2126, 128 - 224 × 0.2126 / 1.8556, 128 + 112
        let primaries = [
            ([63, 102, 240], [255, 0, 0]),
            ([173, 42, 26], [0, 255, 0]),
            ([32, 240, 118], [0, 0, 255]),
            ([235, 128, 128], [255; 3]),
        ];
        for (coded, rgb) in primaries {
            let mut out = [vec![], vec![], vec![]];
            let [luma, blue, red] = &mut out;
            let rows: [&[u8]; 2] = [&[coded[0]; 3], &[coded[0]; 3]];
            let of_709 = ToJfif::new(luminances(MATRIX_BT709), false);
            of_709.rows(&rows, &[coded[1]; 2], &[coded[2]; 2], [luma, blue, red], &mut vec![]);
            assert_eq!(out.each_ref().map(Vec::len), [6, 2, 2]);
            for (codes, expected) in out.iter().zip(flat(rgb)) {
                assert!(codes.iter().all(|code| code.abs_diff(expected) <= CODES), "{rgb:?} {codes:?} {expected}");
            }
        }
    }

    #[test]
    fn what_is_jfif_already_stays_as_it_is() {
        let all: Vec<u8> = (0..=255).collect();
        let mut out = [vec![], vec![], vec![]];
        let [luma, blue, red] = &mut out;
        ToJfif::new(Luminances::BT601, true).rows(&[&all], &all[..128], &all[128..], [luma, blue, red], &mut vec![]);
        assert_eq!(out, [all.clone(), all[..128].to_vec(), all[128..].to_vec()]);
    }
}
