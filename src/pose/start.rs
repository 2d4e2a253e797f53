//! Where the iteration starts: a rough reading of the marks, as a person would do it with a protractor.

use nalgebra::Vector2;

use super::layout::{frame, setup, visit};
use super::observation::View;
use super::priors;
use super::problem::{FrameProblem, Problem};
use crate::geometry::{Angle, Landmark, Side};

/// Start values for all parameters: the priors' means, then what the marks say of camera, trunk and arms.
pub(super) fn start_values(problem: &Problem) -> Vec<f64> {
    let mut theta = vec![0.0; problem.parameter_count];
    for prior in &problem.priors {
        theta[prior.index] = prior.mean;
    }
    for (index, set_up) in problem.setups.iter().enumerate() {
        let first = problem.frames.iter().find(|frame| problem.setup_of_reach[frame.reach] == index);
        let Some(first) = first else { continue };
        let sketch = Sketch::new(problem, first);
        if let Some(roll) = sketch.roll_rad() {
            theta[set_up.start + setup::ROLL] = roll;
        }
        let distance = sketch.distance_mm(theta[visit::STATURE_MM]);
        theta[set_up.start + setup::LOG_DISTANCE] = distance.ln();
        if let Some(hip) = sketch.hip(theta[visit::STATURE_MM] / distance) {
            theta[set_up.start + setup::AZIMUTH] = hip.x.atan();
            theta[set_up.start + setup::ELEVATION] = (-hip.y).atan();
        }
        for (landmark, azimuth, elevation) in [
            (Landmark::PlumbTop, setup::PLUMB_AZIMUTH, None),
            (Landmark::Datum, setup::DATUM_AZIMUTH, Some(setup::DATUM_ELEVATION)),
        ] {
            if let Some(ray) = sketch.ray(landmark) {
                theta[set_up.start + azimuth] = ray.x.atan();
                if let Some(elevation) = elevation {
                    theta[set_up.start + elevation] = (-ray.y).atan();
                }
            }
        }
    }
    let mut leans = Vec::new();
    for seen in &problem.frames {
        let set_up = &problem.setups[problem.setup_of_reach[seen.reach]];
        let sketch = Sketch::new(problem, seen);
        let forward = set_up.heading_rad.cos();
        for side in Side::BOTH {
            let place = usize::from(side == Side::Right);
            let elevation = sketch.elevation_rad(side, set_up.view, forward);
            theta[seen.blocks.frame + frame::ELEVATION[place]] =
                elevation.unwrap_or_else(|| priors::ELEVATION_DEG.mean.to_radians());
        }
        if set_up.view == View::Side {
            leans.extend(sketch.lean_rad(forward));
        }
    }
    if !leans.is_empty() {
        let count = f64::from(u32::try_from(leans.len()).unwrap_or(u32::MAX));
        theta[visit::LEAN] = leans.iter().sum::<f64>() / count;
    }
    theta
}

/// A frame's marks as rays of a level camera: x right, y down, on the plane z = 1.
struct Sketch {
    rays: Vec<(Landmark, Vector2<f64>)>,
}

impl Sketch {
    fn new(problem: &Problem, seen: &FrameProblem) -> Self {
        let lens = &problem.mean_lenses[seen.lens];
        let rays = seen
            .marks
            .iter()
            .map(|mark| {
                // A mark outside the lens model's reach starts from the pinhole alone.
                let ray = lens.undistort(mark.point).map_or_else(
                    |_| Vector2::new((mark.point.x - lens.cx) / lens.fx, (mark.point.y - lens.cy) / lens.fy),
                    |ray| Vector2::new(ray.x, ray.y),
                );
                (mark.landmark, ray)
            })
            .collect();
        Self { rays }
    }

    fn ray(&self, landmark: Landmark) -> Option<Vector2<f64>> {
        self.rays.iter().find(|(known, _)| *known == landmark).map(|(_, ray)| *ray)
    }

    /// The middle of both sides' marks, or the one that is there.
    fn middle(&self, of: impl Fn(Side) -> Landmark) -> Option<Vector2<f64>> {
        match (self.ray(of(Side::Left)), self.ray(of(Side::Right))) {
            (Some(left), Some(right)) => Some((left + right) / 2.0),
            (left, right) => left.or(right),
        }
    }

    fn roll_rad(&self) -> Option<f64> {
        let up = self.ray(Landmark::PlumbTop)? - self.ray(Landmark::PlumbBottom)?;
        Some(up.x.atan2(-up.y))
    }

    /// Distance from the longest part of known size that is seen.
    fn distance_mm(&self, stature_mm: f64) -> f64 {
        let span = |from: Option<Vector2<f64>>, to: Option<Vector2<f64>>| Some((to? - from?).norm());
        let arm_ratio = priors::UPPER_ARM_RATIO + priors::FOREARM_RATIO;
        let arm = Side::BOTH
            .into_iter()
            .filter_map(|side| span(self.ray(Landmark::Shoulder(side)), self.ray(Landmark::Wrist(side))))
            .fold(0.0, f64::max)
            / arm_ratio;
        let trunk =
            span(self.middle(Landmark::Shoulder), self.middle(Landmark::Hip)).unwrap_or(0.0) / priors::TRUNK_RATIO;
        let breadth = span(self.ray(Landmark::Shoulder(Side::Left)), self.ray(Landmark::Shoulder(Side::Right)))
            .unwrap_or(0.0)
            / (2.0 * priors::SHOULDER_HALF_RATIO);
        let size = arm.max(trunk).max(breadth);
        if size > 0.0 { stature_mm / size } else { priors::LOG_DISTANCE.mean.exp() }
    }

    fn hip(&self, stature_over_distance: f64) -> Option<Vector2<f64>> {
        self.middle(Landmark::Hip).or_else(|| {
            let shoulder = self.middle(Landmark::Shoulder)?;
            Some(shoulder + Vector2::new(0.0, priors::TRUNK_RATIO * stature_over_distance))
        })
    }

    /// Elevation of an arm from the plumb line, read off the picture; for a front view the prior's mean.
    fn elevation_rad(&self, side: Side, view: View, forward: f64) -> Option<f64> {
        if view == View::Front {
            return None;
        }
        let read = |side: Side| {
            let arm = self.ray(Landmark::Wrist(side))? - self.ray(Landmark::Shoulder(side))?;
            // An oblique view foreshortens what lies ahead by the cosine of its heading.
            let ahead = arm.x / forward;
            Some(Angle::from_rad(ahead.atan2(arm.y)).wrapped_as_elevation().rad())
        };
        read(side).or_else(|| read(side.other()))
    }

    fn lean_rad(&self, forward: f64) -> Option<f64> {
        let trunk = self.middle(Landmark::Shoulder)? - self.middle(Landmark::Hip)?;
        Some((-trunk.x * forward.signum()).atan2(-trunk.y))
    }
}
