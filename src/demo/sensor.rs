//! From light to the picture a phone stores: falling off to the corners, noise, tone curve, eight bits.

use image::RgbImage;
use rayon::prelude::*;

use crate::demo::shape::V3;

/// Gain from light to full scale.
const GAIN: f32 = 0.98;

/// Loss of light in the corners.
const FALL_OFF: f32 = 0.16;

/// Variance of the noise per unit of light: what a phone leaves after its own noise reduction.
const SHOT_VARIANCE: f32 = 9.0e-5;

/// Variance of the noise in the dark.
const READ_VARIANCE: f32 = 4.0e-6;

/// Entries of the tone table over [`TONE_RANGE`].
const TONE_STEPS: usize = 4096;

/// Light above this is white.
const TONE_RANGE: f32 = 2.0;

/// The sensor with its tables.
#[derive(Debug, Clone)]
pub struct Sensor {
    tone: Vec<f32>,
    noise: Vec<f32>,
}

impl Default for Sensor {
    fn default() -> Self {
        Self::new()
    }
}

impl Sensor {
    /// Fills the tables.
    #[must_use]
    pub fn new() -> Self {
        let tone = (0..=TONE_STEPS).map(|step| tone(step as f32 * TONE_RANGE / TONE_STEPS as f32)).collect();
        let noise = (0..1_u64 << 16).map(gauss).collect();
        Self { tone, noise }
    }

    /// Turns light into a picture. `stream` tells frames and clips apart, so that no two have the same noise.
    #[must_use]
    pub fn develop(&self, light: &[V3], size_px: [usize; 2], stream: u64) -> RgbImage {
        let [width, height] = size_px;
        let half_diagonal = (width as f32).hypot(height as f32) / 2.0;
        let mut bytes = vec![0; width * height * 3];
        bytes.par_chunks_mut(width * 3).enumerate().for_each(|(row, line)| {
            for (column, pixel) in line.chunks_exact_mut(3).enumerate() {
                let number = row * width + column;
                let (x, y) = (column as f32 - width as f32 / 2.0, row as f32 - height as f32 / 2.0);
                let gain = GAIN * (1.0 - FALL_OFF * (x * x + y * y) / (half_diagonal * half_diagonal));
                let dice = scramble(stream, number as u64).to_le_bytes();
                for (channel, byte) in pixel.iter_mut().enumerate() {
                    let level = light[number][channel] * gain;
                    let sd = (SHOT_VARIANCE * level + READ_VARIANCE).sqrt();
                    let throw = usize::from(u16::from_le_bytes([dice[2 * channel], dice[2 * channel + 1]]));
                    *byte = eight_bits(self.toned(level + sd * self.noise[throw]));
                }
            }
        });
        RgbImage::from_raw(side(width), side(height), bytes).expect("three bytes were made for each pixel")
    }

    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped into the table before the cast"
    )]
    fn toned(&self, level: f32) -> f32 {
        let at = (level / TONE_RANGE).clamp(0.0, 0.9999) * TONE_STEPS as f32;
        let step = at as usize;
        let share = at - step as f32;
        self.tone[step] * (1.0 - share) + self.tone[step + 1] * share
    }
}

/// The transfer curve of BT.709, with a shoulder that keeps lit cloth from clipping.
fn tone(level: f32) -> f32 {
    let level = level.max(0.0);
    let soft = if level < 0.7 { level } else { 0.7 + 0.3 * (1.0 - (-(level - 0.7) / 0.3).exp()) };
    if soft < 0.018 { 4.5 * soft } else { 1.099 * soft.powf(0.45) - 0.099 }
}

#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a byte and rounded before the cast"
)]
fn eight_bits(level: f32) -> u8 {
    (level * 255.0 + 0.5).clamp(0.0, 255.0) as u8
}

fn side(px: usize) -> u32 {
    u32::try_from(px).expect("a picture's side fits 32 bits")
}

/// Bits that depend on two numbers alone.
///
/// # Source
/// The mixing steps are those of Steele, Lea and Flood (2014), Fast splittable pseudorandom number generators, OOPSLA.
fn scramble(stream: u64, place: u64) -> u64 {
    let mut bits = stream.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ place.wrapping_mul(0xd6e8_feb8_6659_fd93);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^ (bits >> 31)
}

/// A nearly normal number of mean 0 and variance 1: the sum of four even ones.
fn gauss(place: u64) -> f32 {
    let bits = scramble(1, place);
    let sum: f32 = bits
        .to_le_bytes()
        .chunks_exact(2)
        .map(|pair| f32::from(u16::from_le_bytes([pair[0], pair[1]])) / 65535.0)
        .sum();
    (sum - 2.0) * 3.0_f32.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_has_mean_0_and_variance_1() {
        // Standard errors for 40 000 draws: 0.005 for the mean, about 0.006 for the variance. Five of each are allowed.
        let draws: Vec<f64> = (0..40_000_u64).map(|place| f64::from(gauss(place))).collect();
        let mean = draws.iter().sum::<f64>() / 40_000.0;
        let variance = draws.iter().map(|draw| (draw - mean).powi(2)).sum::<f64>() / 40_000.0;
        assert!(mean.abs() < 0.025, "{mean}");
        assert!((variance - 1.0).abs() < 0.03, "{variance}");
    }

    #[test]
    fn tone_curve_agrees_with_bt_709_below_its_shoulder() {
        // BT.709: V = 4.5 L below 0.018, else 1.099 L^0.45 - 0.099; L = 0.5 gives 1.099 * 0.732043 - 0.099 = 0.705515.
        assert!((tone(0.01) - 0.045).abs() < 1e-6);
        assert!((tone(0.5) - 0.705_515).abs() < 1e-5);
        assert!(tone(5.0) <= 1.0 && tone(-0.1) >= 0.0);
    }
}
