//! Raises in a curve: when each begins, is held and ends, and whether it was held at all. The curve is an arm's angle, or the height of
//! the bar where the arms are raised towards the camera.

use serde::{Deserialize, Serialize};

use super::smooth::smooth;

/// What counts as a raise and as a hold in a curve, in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RaiseLimits {
    /// A raise goes up and down by at least this.
    pub raise_min: f64,
    /// While held, the curve stays within this of the highest.
    pub hold_band: f64,
    /// While held, it changes by no more than this in a second.
    pub hold_speed: f64,
}

impl RaiseLimits {
    /// Of an arm's angle, deg (common practice: a screen's raise goes up by some 90, at some 80 a second).
    pub const ARM_ANGLE: Self = Self { raise_min: 30.0, hold_band: 3.0, hold_speed: 12.0 };
    /// Of a bar's height, in lengths of the bar: what the limits of the angle come to below an end range of 150 deg, with arms half as
    /// long as the bar: (cos 30 deg - cos 60 deg) / 2, and 3 and 12 deg times half the sine of 150 deg (common practice: a bar of
    /// 1.2 m). A height near the top tells little of the angle, so that no limit in it is as sharp at each end range.
    pub const BAR_HEIGHT: Self = Self { raise_min: 0.18, hold_band: 0.013, hold_speed: 0.05 };
}

/// A hold lasts at least so long, s (common practice).
pub const SHORTEST_HOLD_S: f64 = 0.3;
/// Gaps up to this are bridged by a straight line, s: arms that turn by 150 deg a second go up by 90 deg and down again in 1.2 s, so that
/// no whole raise is lost in one. Longer ones part the curve.
const BRIDGED_S: f64 = 1.0;
/// A longer gap than this parts a hold, s: a mark that is hidden in passing. The line over it says nothing of whether the arm was still.
const HELD_UNSEEN_S: f64 = 0.5;
/// A raise starts and ends where this share of its height is left to go.
const FOOT_RATIO: f64 = 0.05;

/// One up-and-hold movement. What is kept of an arm has its values in deg, by these names.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Raise {
    /// The arm begins to rise, s; the curve's beginning where it begins higher.
    pub start_s: f64,
    /// The highest moment, s.
    pub peak_s: f64,
    /// The curve there, smoothed.
    #[serde(rename = "peak_deg")]
    pub peak: f64,
    /// The arm is down again, s; the curve's end where it ends higher.
    pub end_s: f64,
    /// The held end range; `None` for a swing.
    pub hold: Option<Hold>,
}

/// The time for which a raise is held at its end range.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Hold {
    /// When it begins, s.
    pub start_s: f64,
    /// When it ends, s.
    pub end_s: f64,
    /// Mean of the curve.
    #[serde(rename = "mean_deg")]
    pub mean: f64,
    /// Standard deviation of the curve about it.
    #[serde(rename = "sd_deg")]
    pub sd: f64,
}

/// A curve with its smoothed values and its raises.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Smoothed value of each time; `None` where it is not known.
    pub smoothed: Vec<Option<f64>>,
    /// The raises, in order.
    pub raises: Vec<Raise>,
}

/// Smooths a curve over time (s, increasing) and finds its raises. `None` is a time at which its value is not known.
#[must_use]
pub fn course(times_s: &[f64], values: &[Option<f64>], limits: &RaiseLimits) -> Course {
    let known: Vec<(usize, f64)> =
        values.iter().enumerate().filter_map(|(index, value)| Some((index, (*value)?))).collect();
    let mut smoothed_values = vec![None; values.len()];
    let mut raises = Vec::new();
    let mut from = 0;
    for index in 1..=known.len() {
        let is_parted = index == known.len() || times_s[known[index].0] - times_s[known[index - 1].0] > BRIDGED_S;
        if !is_parted {
            continue;
        }
        let part = &known[from..index];
        let times: Vec<f64> = part.iter().map(|(place, _)| times_s[*place]).collect();
        let raw: Vec<f64> = part.iter().map(|(_, value)| *value).collect();
        let smoothed = smooth(&times, &raw).values;
        raises.extend(raises_of(&times, &smoothed, limits));
        for ((place, _), value) in part.iter().zip(smoothed) {
            smoothed_values[*place] = Some(value);
        }
        from = index;
    }
    Course { smoothed: smoothed_values, raises }
}

/// What the arm does while a curve is gone through.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Phase {
    /// The curve began; whether high or low is not known yet.
    Begun,
    /// Down, or sinking.
    Down,
    /// In a raise.
    Up,
}

/// The raises of a curve without gaps.
fn raises_of(times_s: &[f64], values: &[f64], limits: &RaiseLimits) -> Vec<Raise> {
    let mut raises = Vec::new();
    let mut phase = Phase::Begun;
    let (mut low, mut high) = (0, 0);
    for (index, value) in values.iter().enumerate() {
        if phase != Phase::Up && *value < values[low] {
            low = index;
        }
        if phase != Phase::Down && *value > values[high] {
            high = index;
        }
        if phase != Phase::Down && values[high] - value >= limits.raise_min {
            let end = lowest_after(values, index, limits);
            // a curve that begins overhead shows the end of a raise alone
            let begin = if phase == Phase::Up { low } else { 0 };
            raises.push(raise(times_s, values, [begin.min(high), high, end], limits));
            phase = Phase::Down;
            low = end;
        } else if phase != Phase::Up && index > low && value - values[low] >= limits.raise_min {
            // up to the lowest place the arm still sinks
            phase = Phase::Up;
            high = index;
        }
    }
    if phase == Phase::Up {
        raises.push(raise(times_s, values, [low, high, values.len() - 1], limits));
    }
    raises
}

/// Where the curve stops sinking after an index.
fn lowest_after(values: &[f64], from: usize, limits: &RaiseLimits) -> usize {
    let mut lowest = from;
    for (index, value) in values.iter().enumerate().skip(from) {
        if *value < values[lowest] {
            lowest = index;
        }
        if value - values[lowest] >= 0.5 * limits.raise_min {
            break;
        }
    }
    lowest
}

fn raise(times_s: &[f64], values: &[f64], [low, high, end]: [usize; 3], limits: &RaiseLimits) -> Raise {
    let height = |base: usize| values[high] - values[base];
    let foot = |base: usize| values[base] + FOOT_RATIO * height(base);
    // a curve that begins or ends high shows no foot there
    let start =
        (low..=high).rev().find(|index| height(low) >= limits.raise_min && values[*index] <= foot(low)).unwrap_or(low);
    let stop = (high..=end).find(|index| height(end) >= limits.raise_min && values[*index] <= foot(end)).unwrap_or(end);
    Raise {
        start_s: times_s[start],
        peak_s: times_s[high],
        peak: values[high],
        end_s: times_s[stop],
        hold: hold(times_s, values, [start, high, stop], limits),
    }
}

/// The longest time for which the curve stays near the highest and still; `None` if it is too short.
fn hold(times_s: &[f64], values: &[f64], [start, high, stop]: [usize; 3], limits: &RaiseLimits) -> Option<Hold> {
    let is_still = |index: usize| {
        let (before, after) = (index.saturating_sub(1), (index + 1).min(values.len() - 1));
        let speed = (values[after] - values[before]) / (times_s[after] - times_s[before]);
        values[index] >= values[high] - limits.hold_band && speed.abs() <= limits.hold_speed
    };
    let mut best: Option<(usize, usize)> = None;
    let mut from = None;
    for index in start..=stop {
        if index > start && times_s[index] - times_s[index - 1] > HELD_UNSEEN_S {
            from = None;
        }
        if is_still(index) {
            let first = *from.get_or_insert(index);
            if best.is_none_or(|(a, b)| times_s[index] - times_s[first] > times_s[b] - times_s[a]) {
                best = Some((first, index));
            }
        } else {
            from = None;
        }
    }
    let (first, last) = best.filter(|(first, last)| times_s[*last] - times_s[*first] >= SHORTEST_HOLD_S)?;
    let held = &values[first..=last];
    let count = held.len() as f64;
    let mean = held.iter().sum::<f64>() / count;
    let sd = (held.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (count - 1.0)).sqrt();
    Some(Hold { start_s: times_s[first], end_s: times_s[last], mean, sd })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Raises of 90 deg from 60, each up in 1.2 s, held for `held_s`, down in 1 s, with 0.5 s between; 30 frames a second.
    fn raises_held(held_s: &[f64]) -> (Vec<f64>, Vec<Option<f64>>) {
        let mut times_s = Vec::new();
        let mut angles = Vec::new();
        let ease = |share: f64| 0.5 - 0.5 * (std::f64::consts::PI * share.clamp(0.0, 1.0)).cos();
        let length_s: f64 = held_s.iter().map(|held| held + 2.7).sum::<f64>() + 0.5;
        for frame in 0..u32::MAX {
            let time_s = f64::from(frame) / 30.0;
            if time_s > length_s {
                break;
            }
            let mut angle = 60.0;
            let mut begin_s = 0.5;
            for held in held_s {
                let up = ease((time_s - begin_s) / 1.2);
                let down = ease((time_s - begin_s - 1.2 - held) / 1.0);
                angle += 90.0 * up * (1.0 - down);
                begin_s += held + 2.7;
            }
            // a tremor that no two frames share
            angle += 0.2 * (f64::from(frame) * 2.4).sin();
            times_s.push(time_s);
            angles.push(Some(angle));
        }
        (times_s, angles)
    }

    #[test]
    fn three_raises_are_found_with_their_holds() {
        let (times_s, angles) = raises_held(&[1.0, 0.8, 1.5]);
        let found = course(&times_s, &angles, &RaiseLimits::ARM_ANGLE).raises;
        assert_eq!(found.len(), 3, "{found:?}");
        let mut begin_s = 0.5;
        for (raise, held_s) in found.iter().zip([1.0, 0.8, 1.5]) {
            let hold = raise.hold.unwrap();
            // Within the band of 3 deg the raise is still 0.14 s from its end, and slower than 12 deg/s for 0.04 s of that.
            assert!((hold.start_s - begin_s - 1.2).abs() < 0.15, "{hold:?} {begin_s}");
            assert!((hold.end_s - begin_s - 1.2 - held_s).abs() < 0.15, "{hold:?} {begin_s}");
            assert!((hold.mean - 150.0).abs() < 0.3, "{hold:?}");
            assert!((raise.start_s - begin_s).abs() < 0.3 && raise.end_s > hold.end_s, "{raise:?}");
            begin_s += held_s + 2.7;
        }
    }

    #[test]
    fn swing_is_a_raise_without_a_hold() {
        let (times_s, angles) = raises_held(&[0.0]);
        let found = course(&times_s, &angles, &RaiseLimits::ARM_ANGLE).raises;
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].hold, None, "{found:?}");
    }

    #[test]
    fn still_arm_has_no_raise() {
        let times_s: Vec<f64> = (0..90).map(|frame| f64::from(frame) / 30.0).collect();
        let angles: Vec<Option<f64>> = times_s.iter().map(|time_s| Some(150.0 + (3.0 * time_s).sin())).collect();
        assert_eq!(course(&times_s, &angles, &RaiseLimits::ARM_ANGLE).raises, []);
    }

    #[test]
    fn gap_parts_the_curve_and_a_short_one_is_bridged() {
        let (times_s, mut angles) = raises_held(&[1.0]);
        for (time_s, angle) in times_s.iter().zip(&mut angles) {
            if (2.0..2.1).contains(time_s) {
                *angle = None;
            }
        }
        assert!(course(&times_s, &angles, &RaiseLimits::ARM_ANGLE).raises[0].hold.is_some());
        for (time_s, angle) in times_s.iter().zip(&mut angles) {
            if (0.5..1.6).contains(time_s) {
                *angle = None;
            }
        }
        let cut = course(&times_s, &angles, &RaiseLimits::ARM_ANGLE);
        assert_eq!(
            cut.smoothed.iter().filter(|angle| angle.is_none()).count(),
            angles.iter().filter(|a| a.is_none()).count()
        );
        // What is left begins overhead and comes down: one raise, whose rise was not seen.
        assert_eq!(cut.raises.len(), 1, "{:?}", cut.raises);
        assert!(cut.raises[0].start_s >= 1.6);
    }

    #[test]
    fn raise_goes_on_over_a_gap_in_which_no_other_fits_and_is_not_held_over_it() {
        let (times_s, mut angles) = raises_held(&[1.4]);
        for (time_s, angle) in times_s.iter().zip(&mut angles) {
            if (1.9..2.8).contains(time_s) {
                *angle = None;
            }
        }
        let found = course(&times_s, &angles, &RaiseLimits::ARM_ANGLE).raises;
        assert_eq!(found.len(), 1, "{found:?}");
        let seen_s = found[0].hold.map_or(0.0, |hold| hold.end_s - hold.start_s);
        assert!(seen_s < 0.6, "0.3 and 0.4 s of it are seen: {found:?}");
        assert!(found[0].start_s < 1.0 && found[0].end_s > 3.5, "{found:?}");
    }

    #[test]
    fn raise_that_the_clip_cuts_off_is_found() {
        let (times_s, angles) = raises_held(&[1.0]);
        let cut = times_s.partition_point(|time_s| *time_s < 2.4);
        let found = course(&times_s[..cut], &angles[..cut], &RaiseLimits::ARM_ANGLE).raises;
        assert_eq!(found.len(), 1);
        assert!(found[0].hold.is_some(), "{found:?}");
    }
}
