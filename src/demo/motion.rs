//! How a reach goes in time: raises with their holds, the sway between, and the stance at any instant.

use serde::Serialize;

use crate::demo::body::{ArmStance, Stance, smooth_step};
use crate::pose::Rotation;

/// From the first frame to the start of the first raise, s.
const LEAD_IN_S: f64 = 0.30;

/// From the start of a raise to its end, s. Some 95 deg in this time.
const RAISE_S: f64 = 1.20;

/// End range is held this long, s.
const HOLD_S: f64 = 0.90;

/// From the end of the hold to the arms being back, s.
const LOWER_S: f64 = 0.85;

/// Between raises, s.
const REST_S: f64 = 0.25;

/// After the last raise, s.
const LEAD_OUT_S: f64 = 0.15;

/// Arms forward, the bar above the knees, deg of elevation.
const REST_ELEVATION_DEG: f64 = 57.0;

/// One raise of a reach.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Raise {
    /// The arms begin to move, s.
    pub start_s: f64,
    /// End range is reached, s.
    pub hold_start_s: f64,
    /// The arms begin to sink, s.
    pub hold_end_s: f64,
    /// The arms are back, s.
    pub end_s: f64,
    /// Elevation of the right arm that is held, deg.
    pub held_deg: f64,
}

/// What one reach is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// The raises in time.
    pub raises: Vec<Raise>,
    /// How much higher the left arm is at end range, deg.
    pub left_higher_deg: f64,
    /// Bend of both elbows, deg.
    pub bend_deg: f64,
    /// Distance between the wrists across the body, mm.
    pub grip_mm: f64,
    /// Where the person sits, X and Z of the room, mm.
    pub shift_mm: [f64; 2],
    /// Turn about the vertical, positive to the person's left, deg.
    pub yaw_deg: f64,
    /// Lean of the trunk at rest, positive backward, deg.
    pub lean_deg: f64,
    /// Where the shoulder girdle lies on the trunk, mm forward and up of its usual place.
    pub girdle_mm: [f64; 2],
    /// Sets the phase of sway and breath, rad.
    pub phase_rad: f64,
}

impl Course {
    /// Raises that reach and hold the given elevations one after another.
    #[must_use]
    pub fn raises_to(held_deg: &[f64]) -> Vec<Raise> {
        let cycle_s = RAISE_S + HOLD_S + LOWER_S + REST_S;
        let mut start_s = LEAD_IN_S;
        held_deg
            .iter()
            .map(|&held_deg| {
                let raise = Raise {
                    start_s,
                    hold_start_s: start_s + RAISE_S,
                    hold_end_s: start_s + RAISE_S + HOLD_S,
                    end_s: start_s + RAISE_S + HOLD_S + LOWER_S,
                    held_deg,
                };
                start_s += cycle_s;
                raise
            })
            .collect()
    }

    /// Length of the clip, s.
    #[must_use]
    pub fn duration_s(&self) -> f64 {
        self.raises.last().map_or(LEAD_IN_S, |raise| raise.end_s) + LEAD_OUT_S
    }

    /// The stance at `time_s`, which may lie outside the clip.
    #[must_use]
    pub fn stance_at(&self, time_s: f64) -> Stance {
        let (held_deg, progress) = self.progress_at(time_s);
        let wave = |hertz: f64, turn: f64| (std::f64::consts::TAU * hertz * time_s + self.phase_rad + turn).sin();
        // Nobody holds still: a slow give of the arms, a breath in the trunk, a little sway of the whole.
        let tremor_deg = progress * (0.10 * wave(0.9, 0.3) + 0.05 * wave(2.3, 1.1));
        let right_deg = REST_ELEVATION_DEG + (held_deg - REST_ELEVATION_DEG) * progress + tremor_deg;
        let left_deg = right_deg + self.left_higher_deg * progress;
        Stance {
            shift_mm: [self.shift_mm[0] + 1.2 * wave(0.31, 0.0), self.shift_mm[1] + 1.5 * wave(0.23, 2.0)],
            yaw_deg: self.yaw_deg + 0.25 * wave(0.19, 4.0),
            lean_deg: self.lean_deg + 0.8 * progress + 0.12 * wave(0.27, 1.0),
            rotation: self.rotation,
            girdle_mm: self.girdle_mm,
            arms: [left_deg, right_deg]
                .map(|elevation_deg| ArmStance { elevation_deg, bend_deg: self.bend_deg + 3.0 * (1.0 - progress) }),
            grip_mm: self.grip_mm,
            nod_deg: 2.0 + 4.0 * progress + 0.4 * wave(0.4, 0.7),
        }
    }

    /// The elevation of the raise that is on at `time_s`, and how far it has come: 0 at rest, 1 held.
    fn progress_at(&self, time_s: f64) -> (f64, f64) {
        let Some(raise) = self.raises.iter().rev().find(|raise| time_s >= raise.start_s).or(self.raises.first()) else {
            return (REST_ELEVATION_DEG, 0.0);
        };
        let up = least_jerk((time_s - raise.start_s) / (raise.hold_start_s - raise.start_s));
        let down = smooth_step((time_s - raise.hold_end_s) / (raise.end_s - raise.hold_end_s));
        (raise.held_deg, up * (1.0 - down))
    }
}

/// A reaching movement from 0 to 1 with level, force-free ends.
///
/// # Source
/// Flash and Hogan (1985), The coordination of arm movements, Journal of Neuroscience 5(7), 1688-1703.
fn least_jerk(at: f64) -> f64 {
    let at = at.clamp(0.0, 1.0);
    at.powi(3) * (10.0 - 15.0 * at + 6.0 * at * at)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn course() -> Course {
        Course {
            rotation: Rotation::Internal,
            raises: Course::raises_to(&[150.0, 152.0]),
            left_higher_deg: 0.5,
            girdle_mm: [0.0; 2],
            bend_deg: 2.0,
            grip_mm: 620.0,
            shift_mm: [0.0, 0.0],
            yaw_deg: 0.0,
            lean_deg: 1.0,
            phase_rad: 0.0,
        }
    }

    #[test]
    fn every_raise_is_held_within_the_tremor_and_left_again() {
        let course = course();
        for raise in &course.raises {
            for share in [0.0, 0.3, 0.6, 1.0] {
                let time_s = raise.hold_start_s + share * (raise.hold_end_s - raise.hold_start_s);
                let elevation_deg = course.stance_at(time_s).arms[1].elevation_deg;
                assert!((elevation_deg - raise.held_deg).abs() < 0.2);
            }
            assert!((course.stance_at(raise.end_s).arms[1].elevation_deg - REST_ELEVATION_DEG).abs() < 1e-9);
        }
    }

    #[test]
    fn no_step_between_frames_is_a_jump() {
        let course = course();
        let mut time_s = 0.0;
        while time_s < course.duration_s() {
            let step =
                course.stance_at(time_s + 0.001).arms[1].elevation_deg - course.stance_at(time_s).arms[1].elevation_deg;
            // The fastest least-jerk movement is 1.875 times its mean speed: 95 deg in 1.2 s, so 0.15 deg in 1 ms.
            assert!(step.abs() < 0.17, "{step} deg in a millisecond at {time_s} s");
            time_s += 0.001;
        }
    }
}
