//! JPEG files of pictures whose brightness and colours lie in planes already, as decoders give them.
//!
//! Frames are encoded by the dozen while somebody steps through a clip. A clip's colours are halved in both directions, and so
//! are a JPEG's: going from one to the other by way of RGB costs more than the encoding. Baseline, with the standard's own
//! Huffman codes: one pass, and next to no memory.
//!
//! # Source
//! ITU-T T.81 (JPEG), with the quantization tables of its annex K.1 and the codes of annex K.3; ITU-T T.871 (JFIF). Arai, Agui and
//! Nakajima (1988), A fast DCT-SQ scheme for images, Transactions of the IEICE E71(11), 1095-1097.

use super::planes::{Plane, YccPicture};

/// Coefficients of a block.
const BLOCK: usize = 64;

/// Quantization of brightness and of colours, annex K.1, in rows.
const LUMA_STEPS: [u8; BLOCK] = [
    16, 11, 10, 16, 24, 40, 51, 61, 12, 12, 14, 19, 26, 58, 60, 55, 14, 13, 16, 24, 40, 57, 69, 56, 14, 17, 22, 29, 51,
    87, 80, 62, 18, 22, 37, 56, 68, 109, 103, 77, 24, 35, 55, 64, 81, 104, 113, 92, 49, 64, 78, 87, 103, 121, 120, 101,
    72, 92, 95, 98, 112, 100, 103, 99,
];
const CHROMA_STEPS: [u8; BLOCK] = [
    17, 18, 24, 47, 99, 99, 99, 99, 18, 21, 26, 66, 99, 99, 99, 99, 24, 26, 56, 99, 99, 99, 99, 99, 47, 66, 99, 99, 99,
    99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99, 99,
    99, 99, 99, 99, 99, 99,
];

/// The order of coefficients in the file: for each, its place in rows. Figure A.6.
const ZIGZAG: [u8; BLOCK] = [
    0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5, 12, 19, 26, 33, 40, 48, 41, 34, 27, 20, 13, 6, 7, 14, 21,
    28, 35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51, 58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54,
    47, 55, 62, 63,
];

/// The same, with coefficients in columns.
const PLACES: [usize; BLOCK] = {
    let mut places = [0; BLOCK];
    let mut number = 0;
    while number < BLOCK {
        let place = ZIGZAG[number] as usize;
        places[number] = place % 8 * 8 + place / 8;
        number += 1;
    }
    places
};

/// Where each of those is in the file's order.
#[allow(clippy::cast_possible_truncation, reason = "64 places")]
const RANKS: [u8; BLOCK] = {
    let mut ranks = [0; BLOCK];
    let mut number = 0;
    while number < BLOCK {
        ranks[PLACES[number]] = number as u8;
        number += 1;
    }
    ranks
};

/// By how much the fast transform leaves each frequency larger than the true one, but for a factor of 8 in all.
const AAN_SCALES: [f64; 8] =
    [1.0, 1.387_039_845, 1.306_562_965, 1.175_875_602, 1.0, 0.785_694_958, 0.541_196_100, 0.275_899_379];

/// Added to a float below 2^22 in size, it leaves the float's rounded value in the lower bits.
const ROUNDING: f32 = 12_582_912.0;

/// The largest coefficient and the largest step of a block's mean that the codes can tell, for samples of 8 bits.
const AC_MAX: i16 = 1023;
const DC_STEP_MAX: i16 = 2047;

/// Numbers of codes of 1 to 16 bits, and what they stand for: annex K.3.
struct Codes {
    counts: [u8; 16],
    symbols: &'static [u8],
}

const LUMA_DC: Codes = Codes {
    counts: [0, 1, 5, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0, 0, 0],
    symbols: &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11],
};
const CHROMA_DC: Codes = Codes {
    counts: [0, 3, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0, 0, 0, 0, 0],
    symbols: &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11],
};
const LUMA_AC: Codes = Codes {
    counts: [0, 2, 1, 3, 3, 2, 4, 3, 5, 5, 4, 4, 0, 0, 1, 0x7d],
    symbols: &[
        0x01, 0x02, 0x03, 0x00, 0x04, 0x11, 0x05, 0x12, 0x21, 0x31, 0x41, 0x06, 0x13, 0x51, 0x61, 0x07, 0x22, 0x71,
        0x14, 0x32, 0x81, 0x91, 0xa1, 0x08, 0x23, 0x42, 0xb1, 0xc1, 0x15, 0x52, 0xd1, 0xf0, 0x24, 0x33, 0x62, 0x72,
        0x82, 0x09, 0x0a, 0x16, 0x17, 0x18, 0x19, 0x1a, 0x25, 0x26, 0x27, 0x28, 0x29, 0x2a, 0x34, 0x35, 0x36, 0x37,
        0x38, 0x39, 0x3a, 0x43, 0x44, 0x45, 0x46, 0x47, 0x48, 0x49, 0x4a, 0x53, 0x54, 0x55, 0x56, 0x57, 0x58, 0x59,
        0x5a, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68, 0x69, 0x6a, 0x73, 0x74, 0x75, 0x76, 0x77, 0x78, 0x79, 0x7a, 0x83,
        0x84, 0x85, 0x86, 0x87, 0x88, 0x89, 0x8a, 0x92, 0x93, 0x94, 0x95, 0x96, 0x97, 0x98, 0x99, 0x9a, 0xa2, 0xa3,
        0xa4, 0xa5, 0xa6, 0xa7, 0xa8, 0xa9, 0xaa, 0xb2, 0xb3, 0xb4, 0xb5, 0xb6, 0xb7, 0xb8, 0xb9, 0xba, 0xc2, 0xc3,
        0xc4, 0xc5, 0xc6, 0xc7, 0xc8, 0xc9, 0xca, 0xd2, 0xd3, 0xd4, 0xd5, 0xd6, 0xd7, 0xd8, 0xd9, 0xda, 0xe1, 0xe2,
        0xe3, 0xe4, 0xe5, 0xe6, 0xe7, 0xe8, 0xe9, 0xea, 0xf1, 0xf2, 0xf3, 0xf4, 0xf5, 0xf6, 0xf7, 0xf8, 0xf9, 0xfa,
    ],
};
const CHROMA_AC: Codes = Codes {
    counts: [0, 2, 1, 2, 4, 4, 3, 4, 7, 5, 4, 4, 0, 1, 2, 0x77],
    symbols: &[
        0x00, 0x01, 0x02, 0x03, 0x11, 0x04, 0x05, 0x21, 0x31, 0x06, 0x12, 0x41, 0x51, 0x07, 0x61, 0x71, 0x13, 0x22,
        0x32, 0x81, 0x08, 0x14, 0x42, 0x91, 0xa1, 0xb1, 0xc1, 0x09, 0x23, 0x33, 0x52, 0xf0, 0x15, 0x62, 0x72, 0xd1,
        0x0a, 0x16, 0x24, 0x34, 0xe1, 0x25, 0xf1, 0x17, 0x18, 0x19, 0x1a, 0x26, 0x27, 0x28, 0x29, 0x2a, 0x35, 0x36,
        0x37, 0x38, 0x39, 0x3a, 0x43, 0x44, 0x45, 0x46, 0x47, 0x48, 0x49, 0x4a, 0x53, 0x54, 0x55, 0x56, 0x57, 0x58,
        0x59, 0x5a, 0x63, 0x64, 0x65, 0x66, 0x67, 0x68, 0x69, 0x6a, 0x73, 0x74, 0x75, 0x76, 0x77, 0x78, 0x79, 0x7a,
        0x82, 0x83, 0x84, 0x85, 0x86, 0x87, 0x88, 0x89, 0x8a, 0x92, 0x93, 0x94, 0x95, 0x96, 0x97, 0x98, 0x99, 0x9a,
        0xa2, 0xa3, 0xa4, 0xa5, 0xa6, 0xa7, 0xa8, 0xa9, 0xaa, 0xb2, 0xb3, 0xb4, 0xb5, 0xb6, 0xb7, 0xb8, 0xb9, 0xba,
        0xc2, 0xc3, 0xc4, 0xc5, 0xc6, 0xc7, 0xc8, 0xc9, 0xca, 0xd2, 0xd3, 0xd4, 0xd5, 0xd6, 0xd7, 0xd8, 0xd9, 0xda,
        0xe2, 0xe3, 0xe4, 0xe5, 0xe6, 0xe7, 0xe8, 0xe9, 0xea, 0xf2, 0xf3, 0xf4, 0xf5, 0xf6, 0xf7, 0xf8, 0xf9, 0xfa,
    ],
};

/// The picture as a JPEG file; `None` for one that is empty or has a side over 65,535 px, which the format cannot hold.
///
/// `quality` is 1 to 100, on the scale of common practice: 50 leaves the tables of annex K as they are.
#[must_use]
pub fn encode_jpeg(picture: &YccPicture, quality: u8) -> Option<Vec<u8>> {
    let side = |px: usize| u16::try_from(px).ok().filter(|px| *px > 0);
    let (width, height) = (side(picture.luma.width)?, side(picture.luma.height)?);
    let (luma_steps, chroma_steps) = (steps(&LUMA_STEPS, quality), steps(&CHROMA_STEPS, quality));
    let mut file = Vec::with_capacity(picture.luma.samples.len() / 8 + 1024);
    write_head(&mut file, [height, width], [&luma_steps, &chroma_steps]);

    let luma = Component::new(&luma_steps, &LUMA_DC, &LUMA_AC);
    let chroma = Component::new(&chroma_steps, &CHROMA_DC, &CHROMA_AC);
    let mut bits = Bits { file, held: 0, count: 0 };
    let (mut luma_mean, mut blue_mean, mut red_mean) = (0, 0, 0);
    for y in 0..picture.luma.height.div_ceil(16) {
        for x in 0..picture.luma.width.div_ceil(16) {
            for (below, right) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
                luma.write(&mut bits, &block(&picture.luma, 2 * x + right, 2 * y + below), &mut luma_mean);
            }
            chroma.write(&mut bits, &block(&picture.blue, x, y), &mut blue_mean);
            chroma.write(&mut bits, &block(&picture.red, x, y), &mut red_mean);
        }
    }
    Some(bits.finish())
}

fn write_head(file: &mut Vec<u8>, size: [u16; 2], steps: [&[u8; BLOCK]; 2]) {
    let segment = |file: &mut Vec<u8>, marker: u8, content: &[u8]| {
        let length = u16::try_from(content.len() + 2).expect("a head's segment is short");
        file.extend([0xff, marker]);
        file.extend(length.to_be_bytes());
        file.extend_from_slice(content);
    };
    file.extend([0xff, 0xd8]);
    // JFIF 1.1, square pixels, no small picture
    segment(file, 0xe0, b"JFIF\0\x01\x01\0\0\x01\0\x01\0\0");
    for (number, steps) in (0_u8..).zip(steps) {
        let ordered = ZIGZAG.iter().map(|place| steps[usize::from(*place)]);
        segment(file, 0xdb, &[number].into_iter().chain(ordered).collect::<Vec<_>>());
    }
    let [[high_a, low_a], [high_b, low_b]] = size.map(u16::to_be_bytes);
    // 8 bits; brightness in twice as many samples as colours, each way; which tables
    let frame = [8, high_a, low_a, high_b, low_b, 3, 1, 0x22, 0, 2, 0x11, 1, 3, 0x11, 1];
    segment(file, 0xc0, &frame);
    for (number, codes) in [(0x00, &LUMA_DC), (0x10, &LUMA_AC), (0x01, &CHROMA_DC), (0x11, &CHROMA_AC)] {
        segment(file, 0xc4, &[&[number], &codes.counts[..], codes.symbols].concat());
    }
    segment(file, 0xda, &[3, 1, 0x00, 2, 0x11, 3, 0x11, 0, 63, 0]);
}

/// A quantization table at a quality.
fn steps(table: &[u8; BLOCK], quality: u8) -> [u8; BLOCK] {
    let quality = u32::from(quality.clamp(1, 100));
    let percent = if quality < 50 { 5000 / quality } else { 200 - 2 * quality };
    table.map(|step| u8::try_from(((u32::from(step) * percent + 50) / 100).clamp(1, 255)).unwrap_or(u8::MAX))
}

/// How the blocks of a component are written.
struct Component {
    /// By which the fast transform's coefficients are multiplied, in columns: it leaves them so.
    factors: [f32; BLOCK],
    dc: [Code; 256],
    ac: [Code; 256],
}

/// The bits of a code, and how many they are.
#[derive(Clone, Copy, Default)]
struct Code {
    bits: u32,
    count: u32,
}

impl Component {
    #[allow(clippy::cast_possible_truncation, reason = "factors of a few digits")]
    fn new(steps: &[u8; BLOCK], dc: &Codes, ac: &Codes) -> Self {
        let factor = |place: usize| {
            let (x, y) = (place / 8, place % 8);
            (1.0 / (f64::from(steps[8 * y + x]) * AAN_SCALES[x] * AAN_SCALES[y] * 8.0)) as f32
        };
        Self { factors: std::array::from_fn(factor), dc: codes(dc), ac: codes(ac) }
    }

    /// Transforms a block and writes it; `mean` is that of the component's block before.
    fn write(&self, bits: &mut Bits, block: &Samples, mean: &mut i16) {
        let coefficients = self.quantized(block);
        let step = (coefficients[0] - *mean).clamp(-DC_STEP_MAX, DC_STEP_MAX);
        *mean += step;
        let (size, value) = magnitude(step);
        bits.put(self.dc[size as usize], value, size);
        // a bit for each coefficient that is not zero, in the file's order; most fours of them are zero
        let mut left = 0_u64;
        for (four, ranks) in coefficients.as_chunks::<4>().0.iter().zip(RANKS.as_chunks::<4>().0) {
            if *four != [0; 4] {
                for (value, rank) in four.iter().zip(ranks) {
                    left |= u64::from(*value != 0) << rank;
                }
            }
        }
        left &= !1;
        let mut before = 0;
        while left != 0 {
            let number = left.trailing_zeros() as usize;
            left &= left - 1;
            let mut zeros = number - before - 1;
            before = number;
            while zeros > 15 {
                bits.put(self.ac[0xf0], 0, 0);
                zeros -= 16;
            }
            let (size, value) = magnitude(coefficients[PLACES[number]]);
            bits.put(self.ac[(zeros << 4 | size as usize) & 0xff], value, size);
        }
        if before < BLOCK - 1 {
            bits.put(self.ac[0], 0, 0);
        }
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_possible_wrap, reason = "bounded by the samples' 8 bits")]
    fn quantized(&self, block: &Samples) -> [i16; BLOCK] {
        let columns = transformed(&transposed(&transformed(block)));
        let mut coefficients = [0; BLOCK];
        let values = columns.as_flattened().iter().zip(&self.factors);
        for (out, (value, factor)) in coefficients.iter_mut().zip(values) {
            let rounded = (value * factor + ROUNDING).to_bits().wrapping_sub(ROUNDING.to_bits()) as i32;
            *out = (rounded as i16).clamp(-AC_MAX, AC_MAX);
        }
        coefficients
    }
}

/// The codes by symbol, annex C.2.
fn codes(table: &Codes) -> [Code; 256] {
    let mut codes = [Code::default(); 256];
    let (mut bits, mut symbols) = (0, table.symbols.iter());
    for (count, codes_of_length) in (1..).zip(table.counts) {
        for symbol in symbols.by_ref().take(codes_of_length.into()) {
            codes[usize::from(*symbol)] = Code { bits, count };
            bits += 1;
        }
        bits <<= 1;
    }
    codes
}

/// How many bits a value takes, and those: negative values are one less, without their sign.
#[allow(clippy::cast_sign_loss, reason = "the bits below the sign are meant")]
fn magnitude(value: i16) -> (u32, u32) {
    let size = 16 - value.unsigned_abs().leading_zeros();
    let bits = i32::from(value) + i32::from(value >> 15);
    (size, bits as u32 & ((1 << size) - 1))
}

/// Eight rows of eight samples, about zero.
type Samples = [[f32; 8]; 8];

/// Block `(x, y)` of a plane; past the plane's edge its last samples are repeated.
fn block(plane: &Plane, x: usize, y: usize) -> Samples {
    let (left, top) = (8 * x, 8 * y);
    let mut block = [[0.0; 8]; 8];
    for (row, line) in block.iter_mut().enumerate() {
        let from = (top + row).min(plane.height - 1) * plane.width;
        let samples = &plane.samples[from..from + plane.width];
        match samples.get(left..).and_then(<[u8]>::first_chunk::<8>) {
            Some(samples) => *line = samples.map(|value| f32::from(value) - 128.0),
            None => {
                for (column, out) in line.iter_mut().enumerate() {
                    *out = f32::from(samples[(left + column).min(plane.width - 1)]) - 128.0;
                }
            }
        }
    }
    block
}

fn transposed(block: &Samples) -> Samples {
    std::array::from_fn(|row| std::array::from_fn(|column| block[column][row]))
}

/// The transform of each column, but for [`AAN_SCALES`].
fn transformed(block: &Samples) -> Samples {
    const HALF_ROOT: f32 = std::f32::consts::FRAC_1_SQRT_2;
    let mut out = [[0.0; 8]; 8];
    for column in 0..8 {
        let at = |row: usize| block[row][column];
        let (sum_07, difference_07) = (at(0) + at(7), at(0) - at(7));
        let (sum_16, difference_16) = (at(1) + at(6), at(1) - at(6));
        let (sum_25, difference_25) = (at(2) + at(5), at(2) - at(5));
        let (sum_34, difference_34) = (at(3) + at(4), at(3) - at(4));

        let (even_0, even_3) = (sum_07 + sum_34, sum_07 - sum_34);
        let (even_1, even_2) = (sum_16 + sum_25, sum_16 - sum_25);
        let turned = (even_2 + even_3) * HALF_ROOT;
        out[0][column] = even_0 + even_1;
        out[4][column] = even_0 - even_1;
        out[2][column] = even_3 + turned;
        out[6][column] = even_3 - turned;

        let (odd_0, odd_1, odd_2) =
            (difference_34 + difference_25, difference_25 + difference_16, difference_16 + difference_07);
        let common = (odd_0 - odd_2) * 0.382_683_43;
        let (low, high) = (0.541_196_1 * odd_0 + common, 1.306_563 * odd_2 + common);
        let middle = odd_1 * HALF_ROOT;
        let (plus, minus) = (difference_07 + middle, difference_07 - middle);
        out[5][column] = minus + low;
        out[3][column] = minus - low;
        out[1][column] = plus + high;
        out[7][column] = plus - high;
    }
    out
}

/// Codes one after the other, in bytes; after a byte of ones comes a zero, which tells it from a marker.
struct Bits {
    file: Vec<u8>,
    held: u64,
    count: u32,
}

impl Bits {
    /// Writes a code and `size` bits after it.
    fn put(&mut self, code: Code, value: u32, size: u32) {
        // at most 16 and 11 bits, beside at most 31 that are held
        self.held = self.held << (code.count + size) | u64::from(code.bits << size | value);
        self.count += code.count + size;
        if self.count >= 32 {
            self.count -= 32;
            #[allow(clippy::cast_possible_truncation, reason = "the 32 bits that are due")]
            let due = (self.held >> self.count) as u32;
            // a byte of ones becomes zero in the complement
            let ones = (!due).wrapping_sub(0x0101_0101) & due & 0x8080_8080;
            if ones == 0 {
                self.file.extend(due.to_be_bytes())
            } else {
                due.to_be_bytes().into_iter().for_each(|byte| self.byte(byte));
            }
        }
    }

    fn byte(&mut self, byte: u8) {
        self.file.push(byte);
        if byte == 0xff {
            self.file.push(0);
        }
    }

    fn finish(mut self) -> Vec<u8> {
        // ones fill the last byte
        let fill = self.count.next_multiple_of(8) - self.count;
        self.held = self.held << fill | ((1 << fill) - 1);
        for number in (0..(self.count + fill) / 8).rev() {
            self.byte(self.held.to_le_bytes()[number as usize]);
        }
        self.file.extend([0xff, 0xd9]);
        self.file
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
