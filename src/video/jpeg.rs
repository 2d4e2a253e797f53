//! JPEG files of pictures whose brightness and colours lie in planes already, as decoders give them.
//!
//! Frames are encoded by the dozen while somebody steps through a clip. A clip's colours are halved in both directions, and so
//! are a JPEG's: going from one to the other by way of RGB costs as much as the encoding.

use jpeg_encoder::{Encoder, ImageBuffer, JpegColorType, SamplingFactor};

use super::planes::{Plane, YccPicture};

/// The picture as a JPEG file; `None` for one that is empty or has a side over 65,535 px, which the format cannot hold.
///
/// `quality` is 1 to 100, on the scale of common practice: 50 leaves the tables of ITU-T T.81, annex K, as they are.
#[must_use]
pub fn encode_jpeg(picture: &YccPicture, quality: u8) -> Option<Vec<u8>> {
    let side = |px: usize| u16::try_from(px).ok().filter(|px| *px > 0);
    let rows = Rows { picture, width: side(picture.luma.width)?, height: side(picture.luma.height)? };
    let mut file = Vec::with_capacity(picture.luma.samples.len() / 8 + 1024);
    let mut encoder = Encoder::new(&mut file, quality);
    encoder.set_sampling_factor(SamplingFactor::F_2_2);
    encoder.encode_image(rows).ok()?;
    Some(file)
}

/// The picture row by row as the encoder takes it: a colour for every sample of brightness, of which it halves the number again.
struct Rows<'a> {
    picture: &'a YccPicture,
    width: u16,
    height: u16,
}

impl ImageBuffer for Rows<'_> {
    fn get_jpeg_color_type(&self) -> JpegColorType {
        JpegColorType::Ycbcr
    }

    fn width(&self) -> u16 {
        self.width
    }

    fn height(&self) -> u16 {
        self.height
    }

    fn fill_buffers(&self, y: u16, buffers: &mut [Vec<u8>; 4]) {
        let row = |plane: &'_ Plane, y: usize| plane.width * y..plane.width * (y + 1);
        let (y, width) = (usize::from(y), usize::from(self.width));
        let YccPicture { luma, blue, red } = self.picture;
        buffers[0].extend_from_slice(&luma.samples[row(luma, y)]);
        for (plane, buffer) in [(blue, 1), (red, 2)] {
            let doubled = plane.samples[row(plane, y / 2)].iter().flat_map(|code| [*code; 2]);
            buffers[buffer].extend(doubled.take(width));
        }
    }
}

#[cfg(test)]
mod tests {
    use image::{ImageFormat, RgbImage};
    use rand::{RngExt as _, SeedableRng as _};
    use rand_chacha::ChaCha8Rng;

    use super::*;

    /// Steps of 1 leave an error of up to a half in each of 64 coefficients, 0.29 rms in a sample, and rounding another half:
    /// codes that five times that leaves.
    const FINEST_CODES: u8 = 2;

    fn gray(width: usize, height: usize, samples: Vec<u8>) -> YccPicture {
        let (half_width, half_height) = (width.div_ceil(2), height.div_ceil(2));
        let colors = Plane { width: half_width, height: half_height, samples: vec![128; half_width * half_height] };
        YccPicture { luma: Plane { width, height, samples }, blue: colors.clone(), red: colors }
    }

    /// By another library.
    fn decoded(jpeg: &[u8]) -> RgbImage {
        image::load_from_memory_with_format(jpeg, ImageFormat::Jpeg).unwrap().into_rgb8()
    }

    #[test]
    fn every_sample_comes_back_where_it_was_at_any_size() {
        let mut rng = ChaCha8Rng::seed_from_u64(5);
        for (width, height) in [(1, 1), (7, 9), (8, 8), (15, 17), (16, 16), (33, 50), (64, 31)] {
            // noise of all codes writes long codes, bytes of ones among them
            let samples: Vec<u8> = (0..width * height).map(|_| rng.random()).collect();
            let back = decoded(&encode_jpeg(&gray(width, height, samples.clone()), 100).unwrap());
            assert_eq!(back.dimensions(), (u32::try_from(width).unwrap(), u32::try_from(height).unwrap()));
            for (pixel, sample) in back.pixels().zip(samples) {
                assert!(pixel.0.iter().all(|code| code.abs_diff(sample) <= FINEST_CODES), "{pixel:?} {sample}");
            }
        }
    }

    #[test]
    fn flat_colours_come_back_in_their_places() {
        // the worst of the three colours is blue, 1.772 codes of brightness for each of its own
        const COLOUR_CODES: u8 = 3;
        let colors = [[250, 10, 20], [20, 200, 30], [10, 30, 240], [128, 128, 128], [255, 255, 255], [0, 0, 0]];
        let image = RgbImage::from_fn(96, 32, |x, _| image::Rgb(colors[usize::try_from(x).unwrap() / 16]));
        let back = decoded(&encode_jpeg(&YccPicture::from_rgb(&image), 100).unwrap());
        for x in (8..96).step_by(16) {
            let (there, found) = (image.get_pixel(x, 16), back.get_pixel(x, 16));
            let is_near = there.0.iter().zip(found.0).all(|(a, b)| a.abs_diff(b) <= COLOUR_CODES);
            assert!(is_near, "{there:?} {found:?}");
        }
    }

    #[test]
    fn less_quality_takes_less_room_and_is_still_the_picture() {
        let samples: Vec<u8> =
            (0..64 * 64_usize).map(|at| u8::try_from((at % 64) * 2 + at / 64 * 2).unwrap()).collect();
        let picture = gray(64, 64, samples.clone());
        let lengths = [100, 90, 50, 10].map(|quality| encode_jpeg(&picture, quality).unwrap().len());
        assert!(lengths.is_sorted_by(|a, b| a > b), "{lengths:?}");
        let back = decoded(&encode_jpeg(&picture, 50).unwrap());
        // annex K's own tables take a slope for what it is: 16 codes is the step of a block's mean over eight
        let mean: f64 = back.pixels().zip(&samples).map(|(a, b)| f64::from(a.0[0].abs_diff(*b))).sum::<f64>() / 4096.0;
        assert!(mean < 2.0, "{mean}");
    }

    #[test]
    fn what_the_format_cannot_hold_is_refused() {
        assert!(encode_jpeg(&gray(0, 5, vec![]), 90).is_none());
        assert!(encode_jpeg(&gray(65_536, 1, vec![0; 65_536]), 90).is_none());
    }
}
