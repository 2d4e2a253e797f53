//! Smoothing of a curve over time: a zero-lag Butterworth low-pass, and the cutoff that the curve itself asks for.
//!
//! The filter runs forward and backward, so that no lag is left; each pass attenuates, so its cutoff is corrected for two of
//! them. The ends are led on by their own mirror image through the end point, which keeps value and slope.

use std::f64::consts::{PI, SQRT_2};

/// Cutoffs tried by the residual analysis, Hz: from below the slowest raise to where only noise is left (common practice).
const CUTOFFS_HZ: (f64, f64) = (0.5, 12.0);
/// Step between the cutoffs tried, Hz.
const CUTOFF_STEP_HZ: f64 = 0.25;
/// Share of the tried cutoffs, from the highest down, on which the straight line of the noise is fitted (common practice).
const NOISE_SHARE: f64 = 0.4;
/// The least and the greatest cutoff that the analysis may choose, Hz (common practice for slow limb movements).
const CHOSEN_HZ: (f64, f64) = (2.0, 10.0);
/// Cutoff where a curve is too short for the analysis, Hz (common practice).
const USUAL_CUTOFF_HZ: f64 = 6.0;
/// Fewer samples than this are too few for the analysis.
const ANALYZED_MIN: usize = 30;
/// Samples of the mirror image at each end at the least: three times the filter's length, as is usual for two passes.
const PAD_MIN: usize = 9;
/// That length in periods of the cutoff at the least: by then what the filter did at the start has died away.
const PAD_PERIODS: f64 = 1.8;
/// And at the most.
const PAD_MAX: usize = 10_000;

/// A second-order low-pass filter of Butterworth's kind, as a difference equation.
///
/// # Source
/// Winter, Biomechanics and Motor Control of Human Movement, section 3.4.4; the bilinear transform with the cutoff warped
/// beforehand, as in any text on digital filters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LowPass {
    /// Weights of the input now, one and two samples ago.
    b: [f64; 3],
    /// Weights of the output one and two samples ago, subtracted.
    a: [f64; 2],
    /// Samples of the mirror image at each end.
    pad: usize,
}

impl LowPass {
    /// The filter whose single pass is down by 3 dB at `cutoff_hz`, for samples at `rate_hz`. The cutoff must lie between 0 and
    /// half the rate.
    #[must_use]
    pub fn single_pass(cutoff_hz: f64, rate_hz: f64) -> Self {
        Self::from_warped((PI * cutoff_hz / rate_hz).tan(), cutoff_hz / rate_hz)
    }

    /// The filter which, run forward and backward, is down by 3 dB at `cutoff_hz`.
    ///
    /// # Source
    /// Winter, section 3.4.4.2: for two passes of second order the cutoff is divided by (2^(1/2) - 1)^(1/4) = 0.802.
    #[must_use]
    pub fn dual_pass(cutoff_hz: f64, rate_hz: f64) -> Self {
        Self::from_warped((PI * cutoff_hz / rate_hz).tan() / (SQRT_2 - 1.0).powf(0.25), cutoff_hz / rate_hz)
    }

    fn from_warped(k: f64, cutoff_ratio: f64) -> Self {
        let norm = 1.0 / (1.0 + SQRT_2 * k + k * k);
        let b = k * k * norm;
        let mut pad = PAD_MIN;
        while (pad as f64) * cutoff_ratio < PAD_PERIODS && pad < PAD_MAX {
            pad += 1;
        }
        Self { b: [b, 2.0 * b, b], a: [2.0 * (k * k - 1.0) * norm, (1.0 - SQRT_2 * k + k * k) * norm], pad }
    }

    /// Runs the filter over `values` forward and backward. The result has as many values, and none of them lags. A curve of one
    /// or two values is returned as it is.
    #[must_use]
    pub fn zero_lag(&self, values: &[f64]) -> Vec<f64> {
        let count = values.len();
        if count < 3 {
            return values.to_vec();
        }
        let pad = self.pad.min(count - 1);
        let mirrored = |end: f64, inner: f64| 2.0 * end - inner;
        let mut padded = Vec::with_capacity(count + 2 * pad);
        padded.extend((1..=pad).rev().map(|step| mirrored(values[0], values[step])));
        padded.extend_from_slice(values);
        padded.extend((1..=pad).map(|step| mirrored(values[count - 1], values[count - 1 - step])));
        self.pass(&mut padded);
        padded.reverse();
        self.pass(&mut padded);
        padded.reverse();
        padded[pad..pad + count].to_vec()
    }

    /// One pass in place, begun as if the first value had been there for ever.
    fn pass(&self, values: &mut [f64]) {
        let Some(first) = values.first().copied() else { return };
        let [b0, b1, b2] = self.b;
        let [a1, a2] = self.a;
        // States of the transposed direct form at rest on `first`: the gain at frequency zero is one.
        let mut z2 = first * (b2 - a2);
        let mut z1 = first * (b1 - a1) + z2;
        for value in values {
            let input = *value;
            let output = b0 * input + z1;
            z1 = b1 * input - a1 * output + z2;
            z2 = b2 * input - a2 * output;
            *value = output;
        }
    }
}

/// A curve that was smoothed, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Smoothed {
    /// The smoothed values, one for each time that was given.
    pub values: Vec<f64>,
    /// Where the low-pass is down by 3 dB, Hz; `None` where the curve was too short to be smoothed.
    pub cutoff_hz: Option<f64>,
}

/// Smooths a curve of `values` at `times_s` (s, increasing) with the cutoff that its residuals ask for.
///
/// On a variable frame rate the filter runs on even steps of the median interval, between which straight lines lead, and the
/// result is read at the times given. What the frame rate lacks, no filter adds.
#[must_use]
pub fn smooth(times_s: &[f64], values: &[f64]) -> Smoothed {
    let count = times_s.len().min(values.len());
    let untouched = || Smoothed { values: values.to_vec(), cutoff_hz: None };
    if count < 4 {
        return untouched();
    }
    let mut steps: Vec<f64> = times_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    steps.sort_by(f64::total_cmp);
    let step_s = steps[steps.len() / 2];
    if step_s <= 0.0 || step_s.is_nan() {
        return untouched();
    }
    let rate_hz = 1.0 / step_s;
    let is_even = steps.iter().all(|step| (step - step_s).abs() <= 0.02 * step_s);
    let even_values = if is_even { values.to_vec() } else { at_even_steps(times_s, values, step_s) };
    let cutoff_hz = chosen_cutoff_hz(&even_values, rate_hz);
    let smoothed = LowPass::dual_pass(cutoff_hz, rate_hz).zero_lag(&even_values);
    let values = if is_even {
        smoothed
    } else {
        let even_times: Vec<f64> = (0..smoothed.len()).map(|index| times_s[0] + index as f64 * step_s).collect();
        times_s.iter().map(|time_s| line_at(&even_times, &smoothed, *time_s)).collect()
    };
    Smoothed { values, cutoff_hz: Some(cutoff_hz) }
}

/// The cutoff (Hz) at which what a low-pass takes away from `values` is as much as the noise alone would account for.
///
/// The root mean square of what is taken away falls along a straight line while only noise is taken; that line, led on to
/// cutoff zero, says how much noise there is, and the cutoff is where the curve comes down to that level.
///
/// # Source
/// Winter, Biomechanics and Motor Control of Human Movement, section 3.4.4.3, residual analysis.
#[must_use]
pub fn chosen_cutoff_hz(values: &[f64], rate_hz: f64) -> f64 {
    let highest_hz = CUTOFFS_HZ.1.min(0.4 * rate_hz);
    let usual_hz = USUAL_CUTOFF_HZ.min(0.4 * rate_hz);
    if values.len() < ANALYZED_MIN || highest_hz <= CUTOFFS_HZ.0 + 8.0 * CUTOFF_STEP_HZ {
        return usual_hz;
    }
    let mut residuals = Vec::new();
    let mut cutoff_hz = CUTOFFS_HZ.0;
    while cutoff_hz <= highest_hz {
        let smoothed = LowPass::dual_pass(cutoff_hz, rate_hz).zero_lag(values);
        let square: f64 = values.iter().zip(&smoothed).map(|(raw, smooth)| (raw - smooth).powi(2)).sum();
        residuals.push((cutoff_hz, (square / values.len() as f64).sqrt()));
        cutoff_hz += CUTOFF_STEP_HZ;
    }
    let from_hz = highest_hz - NOISE_SHARE * (highest_hz - CUTOFFS_HZ.0);
    let noise_level = line_through(residuals.iter().copied().filter(|(cutoff_hz, _)| *cutoff_hz >= from_hz)).0.max(0.0);
    let chosen = residuals.iter().find(|(_, residual)| *residual <= noise_level).map_or(highest_hz, |(hz, _)| *hz);
    chosen.clamp(CHOSEN_HZ.0, CHOSEN_HZ.1.min(highest_hz))
}

/// Value at zero and slope of the least-squares line through points.
fn line_through(points: impl Iterator<Item = (f64, f64)> + Clone) -> (f64, f64) {
    let count = points.clone().count() as f64;
    let (sum_x, sum_y) = points.clone().fold((0.0, 0.0), |sum, (x, y)| (sum.0 + x, sum.1 + y));
    let (mean_x, mean_y) = (sum_x / count, sum_y / count);
    let (xx, xy) =
        points.fold((0.0, 0.0), |sum, (x, y)| (sum.0 + (x - mean_x).powi(2), sum.1 + (x - mean_x) * (y - mean_y)));
    let slope = if xx > 0.0 { xy / xx } else { 0.0 };
    (mean_y - slope * mean_x, slope)
}

fn at_even_steps(times_s: &[f64], values: &[f64], step_s: f64) -> Vec<f64> {
    let first_s = times_s[0];
    let last_s = times_s[times_s.len() - 1];
    let mut even = Vec::new();
    let mut index = 0_u32;
    loop {
        let time_s = first_s + f64::from(index) * step_s;
        if time_s > last_s + 0.5 * step_s {
            return even;
        }
        even.push(line_at(times_s, values, time_s.min(last_s)));
        index += 1;
    }
}

/// The value at `time_s` on the straight lines between samples; beyond the ends the end's value.
pub(crate) fn line_at(times_s: &[f64], values: &[f64], time_s: f64) -> f64 {
    let after = times_s.partition_point(|time| *time < time_s);
    if after == 0 {
        return values[0];
    }
    if after >= times_s.len() {
        return values[values.len() - 1];
    }
    let (from_s, to_s) = (times_s[after - 1], times_s[after]);
    let ratio = if to_s > from_s { (time_s - from_s) / (to_s - from_s) } else { 1.0 };
    values[after - 1] + ratio * (values[after] - values[after - 1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::Value;

    /// scipy 1.17.1: butter, filtfilt and their corrected design, see the file's own fields.
    const REFERENCE: &str = include_str!("../../tests/reference/filter_reference.json");
    /// The asked agreement with the reference.
    const TOLERANCE: f64 = 1e-9;

    fn numbers(value: &Value) -> Vec<f64> {
        value.as_array().unwrap().iter().map(|number| number.as_f64().unwrap()).collect()
    }

    #[test]
    fn coefficients_are_those_of_the_reference_library() {
        let reference: Value = serde_json::from_str(REFERENCE).unwrap();
        for (filter, b, a) in [
            (LowPass::single_pass(6.0, 30.0), "butter_b", "butter_a"),
            (LowPass::dual_pass(6.0, 30.0), "butter_corrected_b", "butter_corrected_a"),
        ] {
            for (ours, theirs) in filter.b.iter().zip(numbers(&reference[b])) {
                assert!((ours - theirs).abs() < 1e-12, "{b}: {ours} {theirs}");
            }
            for (ours, theirs) in filter.a.iter().zip(&numbers(&reference[a])[1..]) {
                assert!((ours - theirs).abs() < 1e-12, "{a}: {ours} {theirs}");
            }
        }
    }

    #[test]
    fn forward_and_backward_agree_with_the_reference_library() {
        let reference: Value = serde_json::from_str(REFERENCE).unwrap();
        let signals = reference["signals"].as_object().unwrap();
        assert_eq!(signals.len(), 6);
        for (name, signal) in signals {
            let values = numbers(&signal["x"]);
            for (filter, field) in [
                (LowPass::single_pass(6.0, 30.0), "filtfilt"),
                (LowPass::dual_pass(6.0, 30.0), "filtfilt_corrected_cutoff"),
            ] {
                for (ours, theirs) in filter.zero_lag(&values).iter().zip(numbers(&signal[field])) {
                    assert!((ours - theirs).abs() < TOLERANCE, "{name} {field}: {ours} {theirs}");
                }
            }
        }
    }

    #[test]
    fn straight_line_is_left_alone_to_its_ends() {
        let times_s: Vec<f64> = (0..60).map(|index| f64::from(index) / 30.0).collect();
        let values: Vec<f64> = times_s.iter().map(|time_s| 10.0 + 3.0 * time_s).collect();
        for (ours, line) in smooth(&times_s, &values).values.iter().zip(&values) {
            // A ten-thousandth of the rise: what is left of the filter's start after the mirror image.
            assert!((ours - line).abs() < 6e-4, "{ours} {line}");
        }
    }

    #[test]
    fn variable_rate_changes_a_slow_curve_little() {
        // A raise of 90 deg in 1.5 s, sampled at 30 Hz with every fifth frame missing and the others 3 ms off.
        let raise = |time_s: f64| 90.0 * (0.5 - 0.5 * (PI * (time_s / 1.5).clamp(0.0, 1.0)).cos());
        let times_s: Vec<f64> = (0..90)
            .filter(|index| index % 5 != 3)
            .map(|index| f64::from(index) / 30.0 + if index % 2 == 0 { 0.003 } else { 0.0 })
            .collect();
        let values: Vec<f64> = times_s.iter().map(|time_s| raise(*time_s)).collect();
        let smoothed = smooth(&times_s, &values);
        for (time_s, ours) in times_s.iter().zip(&smoothed.values) {
            // A straight line over two frames leaves a curve of 197 deg/s² by at most a h²/8 = 0.1 deg; the filter rounds the corners.
            assert!((ours - raise(*time_s)).abs() < 1.0, "{time_s}: {ours} {}", raise(*time_s));
        }
    }

    #[test]
    fn cutoff_rises_with_the_movement_and_falls_with_noise() {
        let rate_hz = 60.0;
        let wave = |hz: f64, noise: f64| -> Vec<f64> {
            let mut state = 1_u64;
            (0..600)
                .map(|index| {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                    let uniform = (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5;
                    20.0 * (2.0 * PI * hz * f64::from(index) / rate_hz).sin() + noise * uniform
                })
                .collect()
        };
        let slow = chosen_cutoff_hz(&wave(0.5, 1.0), rate_hz);
        let fast = chosen_cutoff_hz(&wave(3.0, 1.0), rate_hz);
        assert!(fast > slow + 1.0, "{slow} {fast}");
        assert!(chosen_cutoff_hz(&wave(1.0, 8.0), rate_hz) < chosen_cutoff_hz(&wave(1.0, 0.2), rate_hz));
    }
}
