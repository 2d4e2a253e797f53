//! Raises in a curve of an arm's angle: when each begins, is held and ends, and whether it was held at all.

use serde::{Deserialize, Serialize};

use super::smooth::smooth;

/// A raise goes up and down by at least this, deg (common practice: a screen's raise goes up by some 90).
const RAISE_MIN_DEG: f64 = 30.0;
/// While held, the angle stays within this of the highest, deg (common practice).
const HOLD_BAND_DEG: f64 = 3.0;
/// While held, it changes by no more than this, deg/s (common practice: a raise goes at some 80).
const HOLD_SPEED_DEG_PER_S: f64 = 12.0;
/// A hold lasts at least so long, s (common practice).
pub const SHORTEST_HOLD_S: f64 = 0.3;
/// Gaps up to this are bridged by a straight line, s: a mark that is hidden in passing. Longer ones part the curve.
const BRIDGED_S: f64 = 0.5;
/// A raise starts and ends where this share of its height is left to go.
const FOOT_RATIO: f64 = 0.05;

/// One up-and-hold movement.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Raise {
    /// The arm begins to rise, s; the curve's beginning where it begins higher.
    pub start_s: f64,
    /// The highest moment, s.
    pub peak_s: f64,
    /// The angle there, smoothed, deg.
    pub peak_deg: f64,
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
    /// Mean of the angle, deg.
    pub mean_deg: f64,
    /// Standard deviation of the angle about it, deg.
    pub sd_deg: f64,
}

/// A curve with its smoothed values and its raises.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// Smoothed angle of each time; `None` where it is not known.
    pub smoothed_deg: Vec<Option<f64>>,
    /// The raises, in order.
    pub raises: Vec<Raise>,
}

/// Smooths an angle over time (s, increasing; deg) and finds its raises. `None` is a time at which the angle is not known.
#[must_use]
pub fn course(times_s: &[f64], angles_deg: &[Option<f64>]) -> Course {
    let known: Vec<(usize, f64)> =
        angles_deg.iter().enumerate().filter_map(|(index, angle)| Some((index, (*angle)?))).collect();
    let mut smoothed_deg = vec![None; angles_deg.len()];
    let mut raises = Vec::new();
    let mut from = 0;
    for index in 1..=known.len() {
        let is_parted = index == known.len() || times_s[known[index].0] - times_s[known[index - 1].0] > BRIDGED_S;
        if !is_parted {
            continue;
        }
        let part = &known[from..index];
        let times: Vec<f64> = part.iter().map(|(place, _)| times_s[*place]).collect();
        let raw: Vec<f64> = part.iter().map(|(_, angle)| *angle).collect();
        let smoothed = smooth(&times, &raw).values;
        raises.extend(raises_of(&times, &smoothed));
        for ((place, _), value) in part.iter().zip(smoothed) {
            smoothed_deg[*place] = Some(value);
        }
        from = index;
    }
    Course { smoothed_deg, raises }
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
fn raises_of(times_s: &[f64], angles_deg: &[f64]) -> Vec<Raise> {
    let mut raises = Vec::new();
    let mut phase = Phase::Begun;
    let (mut low, mut high) = (0, 0);
    for (index, angle) in angles_deg.iter().enumerate() {
        if phase != Phase::Up && *angle < angles_deg[low] {
            low = index;
        }
        if phase != Phase::Down && *angle > angles_deg[high] {
            high = index;
        }
        if phase != Phase::Down && angles_deg[high] - angle >= RAISE_MIN_DEG {
            let end = lowest_after(angles_deg, index);
            // a curve that begins overhead shows the end of a raise alone
            let begin = if phase == Phase::Up { low } else { 0 };
            raises.push(raise(times_s, angles_deg, [begin.min(high), high, end]));
            phase = Phase::Down;
            low = end;
        } else if phase != Phase::Up && index > low && angle - angles_deg[low] >= RAISE_MIN_DEG {
            // up to the lowest place the arm still sinks
            phase = Phase::Up;
            high = index;
        }
    }
    if phase == Phase::Up {
        raises.push(raise(times_s, angles_deg, [low, high, angles_deg.len() - 1]));
    }
    raises
}

/// Where the curve stops sinking after an index.
fn lowest_after(angles_deg: &[f64], from: usize) -> usize {
    let mut lowest = from;
    for (index, angle) in angles_deg.iter().enumerate().skip(from) {
        if *angle < angles_deg[lowest] {
            lowest = index;
        }
        if angle - angles_deg[lowest] >= 0.5 * RAISE_MIN_DEG {
            break;
        }
    }
    lowest
}

fn raise(times_s: &[f64], angles_deg: &[f64], [low, high, end]: [usize; 3]) -> Raise {
    let height = |base: usize| angles_deg[high] - angles_deg[base];
    let foot = |base: usize| angles_deg[base] + FOOT_RATIO * height(base);
    // a curve that begins or ends high shows no foot there
    let start =
        (low..=high).rev().find(|index| height(low) >= RAISE_MIN_DEG && angles_deg[*index] <= foot(low)).unwrap_or(low);
    let stop =
        (high..=end).find(|index| height(end) >= RAISE_MIN_DEG && angles_deg[*index] <= foot(end)).unwrap_or(end);
    Raise {
        start_s: times_s[start],
        peak_s: times_s[high],
        peak_deg: angles_deg[high],
        end_s: times_s[stop],
        hold: hold(times_s, angles_deg, [start, high, stop]),
    }
}

/// The longest time for which the angle stays near the highest and still; `None` if it is too short.
fn hold(times_s: &[f64], angles_deg: &[f64], [start, high, stop]: [usize; 3]) -> Option<Hold> {
    let is_still = |index: usize| {
        let (before, after) = (index.saturating_sub(1), (index + 1).min(angles_deg.len() - 1));
        let speed = (angles_deg[after] - angles_deg[before]) / (times_s[after] - times_s[before]);
        angles_deg[index] >= angles_deg[high] - HOLD_BAND_DEG && speed.abs() <= HOLD_SPEED_DEG_PER_S
    };
    let mut best: Option<(usize, usize)> = None;
    let mut from = None;
    for index in start..=stop {
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
    let held = &angles_deg[first..=last];
    let count = held.len() as f64;
    let mean_deg = held.iter().sum::<f64>() / count;
    let sd_deg = (held.iter().map(|angle| (angle - mean_deg).powi(2)).sum::<f64>() / (count - 1.0)).sqrt();
    Some(Hold { start_s: times_s[first], end_s: times_s[last], mean_deg, sd_deg })
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
        let found = course(&times_s, &angles).raises;
        assert_eq!(found.len(), 3, "{found:?}");
        let mut begin_s = 0.5;
        for (raise, held_s) in found.iter().zip([1.0, 0.8, 1.5]) {
            let hold = raise.hold.unwrap();
            // Within the band of 3 deg the raise is still 0.14 s from its end, and slower than 12 deg/s for 0.04 s of that.
            assert!((hold.start_s - begin_s - 1.2).abs() < 0.15, "{hold:?} {begin_s}");
            assert!((hold.end_s - begin_s - 1.2 - held_s).abs() < 0.15, "{hold:?} {begin_s}");
            assert!((hold.mean_deg - 150.0).abs() < 0.3, "{hold:?}");
            assert!((raise.start_s - begin_s).abs() < 0.3 && raise.end_s > hold.end_s, "{raise:?}");
            begin_s += held_s + 2.7;
        }
    }

    #[test]
    fn swing_is_a_raise_without_a_hold() {
        let (times_s, angles) = raises_held(&[0.0]);
        let found = course(&times_s, &angles).raises;
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].hold, None, "{found:?}");
    }

    #[test]
    fn still_arm_has_no_raise() {
        let times_s: Vec<f64> = (0..90).map(|frame| f64::from(frame) / 30.0).collect();
        let angles: Vec<Option<f64>> = times_s.iter().map(|time_s| Some(150.0 + (3.0 * time_s).sin())).collect();
        assert_eq!(course(&times_s, &angles).raises, []);
    }

    #[test]
    fn gap_parts_the_curve_and_a_short_one_is_bridged() {
        let (times_s, mut angles) = raises_held(&[1.0]);
        for (time_s, angle) in times_s.iter().zip(&mut angles) {
            if (2.0..2.1).contains(time_s) {
                *angle = None;
            }
        }
        assert!(course(&times_s, &angles).raises[0].hold.is_some());
        for (time_s, angle) in times_s.iter().zip(&mut angles) {
            if (1.0..1.6).contains(time_s) {
                *angle = None;
            }
        }
        let cut = course(&times_s, &angles);
        assert_eq!(
            cut.smoothed_deg.iter().filter(|angle| angle.is_none()).count(),
            angles.iter().filter(|a| a.is_none()).count()
        );
        // What is left begins overhead and comes down: one raise, whose rise was not seen.
        assert_eq!(cut.raises.len(), 1, "{:?}", cut.raises);
        assert!(cut.raises[0].start_s >= 1.6);
    }

    #[test]
    fn raise_that_the_clip_cuts_off_is_found() {
        let (times_s, angles) = raises_held(&[1.0]);
        let cut = times_s.partition_point(|time_s| *time_s < 2.4);
        let found = course(&times_s[..cut], &angles[..cut]).raises;
        assert_eq!(found.len(), 1);
        assert!(found[0].hold.is_some(), "{found:?}");
    }
}
