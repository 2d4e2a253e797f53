//! Which matrix, range and transfer curve a clip's colours follow, and the words for them.
//!
//! Numbers are those of ITU-T H.273 (also ISO/IEC 23091-2), as every container and codec here carries them.

use serde::Serialize;

/// ITU-R BT.709.
pub(crate) const MATRIX_BT709: i32 = 1;
/// ITU-R BT.601 with 625 lines.
const MATRIX_BT470BG: i32 = 5;
/// ITU-R BT.601 with 525 lines: the same coefficients.
const MATRIX_SMPTE170M: i32 = 6;
const MATRIX_FCC: i32 = 4;
const MATRIX_SMPTE240M: i32 = 7;
const MATRIX_BT2020: i32 = 9;
const MATRIX_BT2020_CONSTANT: i32 = 10;
const TRANSFER_PQ: i32 = 16;
const TRANSFER_HLG: i32 = 18;
const RANGE_FULL: i32 = 2;
/// Untagged pictures wider or higher than this are taken for BT.709, others for BT.601: common practice of players.
const LARGEST_STANDARD_DEFINITION: (u32, u32) = (1279, 576);

/// Luminance of the PQ signal that is shown as full white, cd/m²: diffuse white by ITU-R BT.2408.
const PQ_WHITE_CD_M2: f64 = 203.0;

/// The curve between light and code value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Transfer {
    /// Standard dynamic range: shown as it is.
    Standard,
    /// Hybrid log-gamma. Shown as it is, for which the curve was designed (ITU-R BT.2100); colours look a little pale.
    HybridLogGamma,
    /// Perceptual quantizer. Colours are mapped for show so that diffuse white is white; luma keeps its codes.
    PerceptualQuantizer,
}

/// How the colours of a clip are coded.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ColorInfo {
    /// The matrix between YUV and RGB, such as `BT.709`.
    pub matrix: String,
    /// Whether the file says the matrix; otherwise it was chosen by picture size.
    pub is_matrix_stated: bool,
    /// Whether codes use the full range 0 to 255 (`full`) or 16 to 235 (`limited`).
    pub is_full_range: bool,
    /// The transfer curve.
    pub transfer: Transfer,
    #[serde(skip)]
    pub(crate) matrix_number: i32,
}

impl ColorInfo {
    /// The colours of a clip from the numbers its stream and its frames carry; the frame's own count first.
    pub(crate) fn from_numbers(
        frame_matrix: i32,
        stream_matrix: i32,
        transfer: i32,
        range: i32,
        size: (u32, u32),
    ) -> Self {
        let known = |matrix: i32| coefficients_name(matrix).is_some();
        let stated = [frame_matrix, stream_matrix].into_iter().find(|&matrix| known(matrix));
        let assumed = if size.0 > LARGEST_STANDARD_DEFINITION.0 || size.1 > LARGEST_STANDARD_DEFINITION.1 {
            MATRIX_BT709
        } else {
            MATRIX_SMPTE170M
        };
        let matrix_number = stated.unwrap_or(assumed);
        Self {
            matrix: coefficients_name(matrix_number).unwrap_or("BT.601").to_owned(),
            is_matrix_stated: stated.is_some(),
            is_full_range: range == RANGE_FULL,
            transfer: match transfer {
                TRANSFER_HLG => Transfer::HybridLogGamma,
                TRANSFER_PQ => Transfer::PerceptualQuantizer,
                _ => Transfer::Standard,
            },
            matrix_number,
        }
    }
}

/// What red and blue add to brightness, whose rest is green's.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Luminances {
    pub(crate) red: f64,
    pub(crate) blue: f64,
}

impl Luminances {
    /// ITU-R BT.601, which JFIF takes too.
    pub(crate) const BT601: Self = Self { red: 0.299, blue: 0.114 };
}

/// The luminances of a matrix, ITU-T H.273 table 4; BT.601's for one that is not known.
pub(crate) const fn luminances(matrix: i32) -> Luminances {
    match matrix {
        MATRIX_BT709 => Luminances { red: 0.2126, blue: 0.0722 },
        MATRIX_FCC => Luminances { red: 0.30, blue: 0.11 },
        MATRIX_SMPTE240M => Luminances { red: 0.212, blue: 0.087 },
        MATRIX_BT2020 | MATRIX_BT2020_CONSTANT => Luminances { red: 0.2627, blue: 0.0593 },
        _ => Luminances::BT601,
    }
}

/// Whether a range number says anything.
pub(crate) const fn is_range_stated(range: i32) -> bool {
    range != 0
}

fn coefficients_name(matrix: i32) -> Option<&'static str> {
    match matrix {
        MATRIX_BT709 => Some("BT.709"),
        MATRIX_FCC => Some("FCC"),
        MATRIX_BT470BG | MATRIX_SMPTE170M => Some("BT.601"),
        MATRIX_SMPTE240M => Some("SMPTE 240M"),
        MATRIX_BT2020 | MATRIX_BT2020_CONSTANT => Some("BT.2020"),
        _ => None,
    }
}

/// Luma codes of `depth` bits to 8 bits in the full range, 0 black and 255 nominal white, as a table over all codes.
///
/// # Source
/// Quantization of ITU-R BT.709-6, item 4.6: black 16·2^(n-8), white 235·2^(n-8); full range 0 to 2^n - 1.
pub(crate) fn luma_table(depth: u32, is_full_range: bool) -> Vec<u8> {
    let scale = f64::from(1_u32 << (depth - 8));
    let white_full = f64::from((1_u32 << depth) - 1);
    let (black, white) = if is_full_range { (0.0, white_full) } else { (16.0 * scale, 235.0 * scale) };
    (0..1_u32 << depth).map(|code| byte((f64::from(code) - black) / (white - black) * 255.0)).collect()
}

/// Maps 8-bit PQ code values of one colour to what a standard screen shows.
///
/// # Source
/// SMPTE ST 2084 (in ITU-R BT.2100, table 4) for the curve; BT.709 inverse for the screen, gamma 2.2 for simplicity.
pub(crate) fn pq_table() -> [u8; 256] {
    let (m1, m2) = (2610.0 / 16384.0, 2523.0 / 4096.0 * 128.0);
    let (c1, c2, c3) = (3424.0 / 4096.0, 2413.0 / 4096.0 * 32.0, 2392.0 / 4096.0 * 32.0);
    std::array::from_fn(|code| {
        let signal = f64::from(u16::try_from(code).expect("256 codes")) / 255.0;
        let root = signal.powf(1.0 / m2);
        let light_cd_m2 = 10_000.0 * ((root - c1).max(0.0) / (c2 - c3 * root)).powf(1.0 / m1);
        byte(255.0 * (light_cd_m2 / PQ_WHITE_CD_M2).powf(1.0 / 2.2))
    })
}

/// The nearest 8-bit code.
fn byte(value: f64) -> u8 {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded and clamped to 0..=255")]
    let code = value.round().clamp(0.0, 255.0) as u8;
    code
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Unspecified, in each of H.273's tables.
    const UNSPECIFIED: i32 = 2;

    #[test]
    fn luma_of_black_and_white_fills_the_range() {
        // BT.709-6 item 4.6: 8 bit 16 and 235, 10 bit 64 and 940.
        for (depth, black, white) in [(8, 16, 235), (10, 64, 940)] {
            let table = luma_table(depth, false);
            assert_eq!((table[black], table[white]), (0, 255));
            assert_eq!((table[0], table[(1 << depth) - 1]), (0, 255));
        }
        assert!(luma_table(8, true).iter().enumerate().all(|(code, &value)| code == usize::from(value)));
    }

    #[test]
    fn an_untagged_clip_is_taken_for_high_definition_only_when_large() {
        let info = |size| ColorInfo::from_numbers(UNSPECIFIED, UNSPECIFIED, UNSPECIFIED, 0, size);
        assert_eq!(info((640, 480)).matrix, "BT.601");
        assert_eq!(info((1280, 720)).matrix, "BT.709");
        assert_eq!(info((720, 1280)).matrix, "BT.709");
        assert!(!info((1280, 720)).is_matrix_stated);
    }

    #[test]
    fn a_matrix_that_the_file_states_counts() {
        let info = ColorInfo::from_numbers(UNSPECIFIED, MATRIX_BT470BG, TRANSFER_HLG, RANGE_FULL, (1920, 1080));
        assert_eq!((info.matrix.as_str(), info.is_matrix_stated, info.is_full_range), ("BT.601", true, true));
        assert_eq!(info.transfer, Transfer::HybridLogGamma);
    }

    #[test]
    fn pq_white_is_white_and_mid_codes_are_brighter() {
        // ITU-R BT.2408: 203 cd/m² is 58 % of the PQ signal, code 148 of 255.
        let table = pq_table();
        assert_eq!(table[0], 0);
        assert!((250..=255).contains(&table[148]), "{}", table[148]);
        assert!(table[140] < 255);
    }
}
