//! From a decoded frame to the upright picture: matrix and range, square pixels, turn and mirror.

use ffmpeg_next::format::Pixel;
use ffmpeg_next::frame;
use image::{GrayImage, RgbImage};

use super::color::{self, ColorInfo, Transfer};
use super::ffi::{self, Conversion, FrameNumbers, LumaLayout, Rows, Scaler};
use super::orientation::Orientation;
use super::planes::{Plane, ToJfif, YccPicture};

/// Luma pictures kept for their memory at the most.
const SPARE_MAX: usize = 2;

/// Makes upright pictures of the frames of one clip.
///
/// Every picture has the same size, also where the coded size changes within the stream.
pub(crate) struct Converter {
    orientation: Orientation,
    color: ColorInfo,
    /// Size with square pixels, before the turn, px.
    square_size: (u32, u32),
    keeps_codes: bool,
    rgb: Option<Scaler>,
    planar: Option<Scaler>,
    gray: Option<Scaler>,
    luma: Option<LumaReader>,
    /// Memory of luma pictures that nobody needs any more.
    spare: Vec<Vec<u8>>,
    pq_table: [u8; 256],
}

/// How luma is read straight from frames of one pixel format.
struct LumaReader {
    pixel_format: i32,
    layout: LumaLayout,
    table: Vec<u8>,
    is_identity: bool,
}

impl Converter {
    pub(crate) fn new(orientation: Orientation, color: ColorInfo, square_size: (u32, u32)) -> Self {
        let pq_table = color::pq_table();
        Self {
            orientation,
            color,
            square_size,
            keeps_codes: false,
            rgb: None,
            planar: None,
            gray: None,
            luma: None,
            spare: Vec::new(),
            pq_table,
        }
    }

    /// As it is, with the luma's own codes where they have 8 bits: a picture whose range does not matter costs a copy alone.
    pub(crate) const fn with_codes(mut self) -> Self {
        self.keeps_codes = true;
        self
    }

    /// The upright picture in colour, or `None` if the library can't convert this pixel format.
    pub(crate) fn rgb(&mut self, frame: &frame::Video) -> Option<RgbImage> {
        let conversion = self.conversion(&ffi::frame_numbers(frame), Pixel::RGB24, true);
        let converted = scaler(&mut self.rgb, conversion)?.convert(frame)?;
        let rows = Rows::packed(converted)?;
        let mut pixels = turned::<3>(self.orientation, self.square_size, |y| rows.row(y));
        if self.color.transfer == Transfer::PerceptualQuantizer {
            pixels.iter_mut().for_each(|value| *value = self.pq_table[usize::from(*value)]);
        }
        let (width, height) = self.orientation.upright_size(self.square_size);
        RgbImage::from_raw(width, height, pixels)
    }

    /// The upright picture in planes, or `None` if the library can't convert this pixel format.
    ///
    /// Colours are those of [`Self::rgb`] to a few codes: each stays over the pixels that share it in the clip.
    pub(crate) fn ycc(&mut self, frame: &frame::Video) -> Option<YccPicture> {
        if self.color.transfer == Transfer::PerceptualQuantizer {
            return self.rgb(frame).map(|image| YccPicture::from_rgb(&image));
        }
        let numbers = ffi::frame_numbers(frame);
        let is_full_range = self.is_full_range(numbers.pixel_format);
        let conversion = self.conversion(&numbers, Pixel::YUV420P, is_full_range);
        let is_planar = [Pixel::YUV420P, Pixel::YUVJ420P].map(ffi::format_number).contains(&numbers.pixel_format);
        let frame = if is_planar && (numbers.width, numbers.height) == self.square_size {
            frame
        } else {
            scaler(&mut self.planar, conversion)?.convert(frame)?
        };
        let [lumas, blues, reds] = Rows::planar(frame)?;
        let (width, height) = sizes(self.square_size);
        let (half_width, half_height) = (width.div_ceil(2), height.div_ceil(2));
        let to_jfif = ToJfif::new(color::luminances(self.color.matrix_number), is_full_range);
        let mut luma = Vec::with_capacity(width * height);
        let (mut blue, mut red) = (Vec::with_capacity(half_width * half_height), Vec::new());
        red.reserve_exact(half_width * half_height);
        let mut shades = Vec::with_capacity(2 * half_width);
        for y in 0..blues.height() {
            let pair: Vec<&[u8]> = (2 * y..lumas.height().min(2 * y + 2)).map(|y| &lumas.row(y)[..width]).collect();
            let (blue_row, red_row) = (&blues.row(y)[..half_width], &reds.row(y)[..half_width]);
            to_jfif.rows(&pair, blue_row, red_row, [&mut luma, &mut blue, &mut red], &mut shades);
        }
        let upright = |samples: Vec<u8>, size: (usize, usize)| {
            let (width, height) = if self.orientation.is_quarter_turn() { (size.1, size.0) } else { size };
            if self.orientation.is_upright() {
                return Plane { width, height, samples };
            }
            let samples = self.orientation.upright::<1>(size, |y| &samples[y * size.0..(y + 1) * size.0]);
            Plane { width, height, samples }
        };
        let half_size = (half_width, half_height);
        Some(YccPicture {
            luma: upright(luma, (width, height)),
            blue: upright(blue, half_size),
            red: upright(red, half_size),
        })
    }

    /// The upright luma, in the full range 0 to 255, or `None` if the library can't convert this pixel format.
    ///
    /// Where pixels are square it is the decoder's luma itself, each code through one table; otherwise resampled.
    pub(crate) fn luma(&mut self, frame: &frame::Video) -> Option<GrayImage> {
        let numbers = ffi::frame_numbers(frame);
        let (width, height) = self.orientation.upright_size(self.square_size);
        let layout = ffi::pixel_layout(numbers.pixel_format).and_then(|(_, layout)| layout);
        let pixels = match layout {
            Some(layout) if (numbers.width, numbers.height) == self.square_size => {
                self.luma_direct(frame, numbers.pixel_format, layout)?
            }
            _ => {
                let conversion = self.conversion(&numbers, Pixel::GRAY8, true);
                let converted = scaler(&mut self.gray, conversion)?.convert(frame)?;
                let rows = Rows::packed(converted)?;
                turned::<1>(self.orientation, self.square_size, |y| rows.row(y))
            }
        };
        GrayImage::from_raw(width, height, pixels)
    }

    /// Takes a luma picture back, in whose memory another is made.
    pub(crate) fn take_back(&mut self, image: GrayImage) {
        if self.spare.len() < SPARE_MAX {
            self.spare.push(image.into_raw());
        }
    }

    fn luma_direct(&mut self, frame: &frame::Video, pixel_format: i32, layout: LumaLayout) -> Option<Vec<u8>> {
        if self.luma.as_ref().is_none_or(|luma| luma.pixel_format != pixel_format) {
            let table = color::luma_table(layout.depth, self.is_full_range(pixel_format));
            let is_identity = table.len() == 256 && (0..=255_u8).zip(&table).all(|(code, &value)| code == value);
            self.luma = Some(LumaReader { pixel_format, layout, table, is_identity });
        }
        let reader = self.luma.as_ref()?;
        let rows = Rows::luma(frame, layout)?;
        let is_as_coded = reader.is_identity || (self.keeps_codes && layout.depth == 8 && layout.shift == 0);
        if is_as_coded && layout.step == 1 {
            let row = |y: usize| rows.row(u32::try_from(y).expect("a picture's height fits 32 bits"));
            let memory = self.spare.pop().unwrap_or_default();
            return Some(self.orientation.upright_in::<1>(memory, sizes(self.square_size), row));
        }
        let (width, height) = sizes(self.square_size);
        let mut codes = vec![0; width * height];
        for (y, out) in (0..self.square_size.1).zip(codes.chunks_exact_mut(width)) {
            reader.read_row(rows.row(y), out);
        }
        if self.orientation.is_upright() {
            return Some(codes);
        }
        Some(self.orientation.upright::<1>((width, height), |y| &codes[y * width..(y + 1) * width]))
    }

    fn conversion(&self, numbers: &FrameNumbers, target_format: Pixel, is_target_full_range: bool) -> Conversion {
        Conversion {
            source_format: numbers.pixel_format,
            source_size: (numbers.width, numbers.height),
            target_format,
            target_size: self.square_size,
            matrix: self.color.matrix_number,
            is_source_full_range: self.is_full_range(numbers.pixel_format),
            is_target_full_range,
        }
    }

    fn is_full_range(&self, pixel_format: i32) -> bool {
        self.color.is_full_range || ffi::is_full_range_format(pixel_format)
    }
}

impl LumaReader {
    fn read_row(&self, source: &[u8], out: &mut [u8]) {
        let LumaLayout { offset, step, shift, depth, .. } = self.layout;
        let samples = source.get(offset..).unwrap_or_default();
        if depth == 8 && shift == 0 {
            for (value, out) in samples.iter().step_by(step).zip(out) {
                *out = self.table[usize::from(*value)];
            }
        } else {
            let mask = (1_usize << depth) - 1;
            for (sample, out) in samples.chunks(step).zip(out) {
                let code = u16::from_le_bytes([sample[0], sample.get(1).copied().unwrap_or(0)]);
                *out = self.table[(usize::from(code) >> shift) & mask];
            }
        }
    }
}

/// The size with square pixels of a coded picture whose pixels are `aspect` as wide as high: the shorter of the two directions
/// is stretched, so that no detail is lost.
pub(crate) fn square_size((width, height): (u32, u32), aspect: f64) -> (u32, u32) {
    let stretched = |side: u32, by: f64| {
        let side = (f64::from(side) * by).round().clamp(1.0, f64::from(u32::MAX));
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "rounded and clamped to the range of u32"
        )]
        let side = side as u32;
        side
    };
    if aspect >= 1.0 { (stretched(width, aspect), height) } else { (width, stretched(height, aspect.recip())) }
}

/// The scaler for `conversion`, made anew where the one in `slot` is for another.
fn scaler(slot: &mut Option<Scaler>, conversion: Conversion) -> Option<&mut Scaler> {
    if slot.as_ref().is_none_or(|scaler| *scaler.conversion() != conversion) {
        *slot = Some(Scaler::new(conversion)?);
    }
    slot.as_mut()
}

/// The upright picture of a picture with square pixels, given by its rows.
fn turned<'a, const N: usize>(
    orientation: Orientation,
    square_size: (u32, u32),
    row: impl Fn(u32) -> &'a [u8],
) -> Vec<u8> {
    let row_at = |y: usize| row(u32::try_from(y).expect("a picture's height fits 32 bits"));
    orientation.upright::<N>(sizes(square_size), row_at)
}

fn sizes((width, height): (u32, u32)) -> (usize, usize) {
    let size = |side: u32| usize::try_from(side).expect("usize has at least 32 bits");
    (size(width), size(height))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_become_square_by_stretching() {
        assert_eq!(square_size((176, 144), 12.0 / 11.0), (192, 144));
        assert_eq!(square_size((720, 480), 8.0 / 9.0), (720, 540));
        assert_eq!(square_size((640, 480), 1.0), (640, 480));
    }
}
