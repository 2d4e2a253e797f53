//! What is drawn on a still: the fitted rays, the arc of the elevation, the plumb line and the bar, in px.

use super::dual::Scalar;
use super::fit::VisitFit;
use super::observation::{Mark, ReachObservations, View};
use super::problem::{FrameProblem, Problem};
use super::vector::Vector3;
use super::view::Sight;
use crate::geometry::{Angle, ImagePoint, Landmark, Side};

/// Radius of the arc of the elevation, as a share of the arm.
const ARC_RADIUS_ARM: f64 = 0.45;
/// Points of a polyline.
const POLYLINE_POINTS: usize = 41;
/// How far the plumb line runs above and below the shoulder, in arm lengths.
const PLUMB_ARMS: f64 = 1.25;
/// Length of a ray of an elevation, in arm lengths: the held bar does not hide its end.
const RAY_ARMS: f64 = 1.22;

/// From where an elevation counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zero {
    /// From the trunk.
    Trunk,
    /// From the downward plumb line.
    Plumb,
}

/// What is drawn on a still, in px of the picture as stored (distorted, and mirrored where the picture is).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Overlay {
    /// Placed marks.
    pub marks: Vec<(Landmark, ImagePoint)>,
    /// Marks that disagree with the others: where they were placed and where the others put them.
    pub disagreeing: Vec<(Landmark, ImagePoint, ImagePoint)>,
    /// Middle of the shoulders to middle of the hips, projected.
    pub trunk: Option<[ImagePoint; 2]>,
    /// Shoulder, elbow, wrist of each arm that is marked, projected.
    pub arms: Vec<(Side, [ImagePoint; 3])>,
    /// The plumb line through the shoulder, as a polyline.
    pub plumb: Vec<ImagePoint>,
    /// The arc of the elevation about the near shoulder, from the trunk axis to the arm axis, as a polyline. Empty in a
    /// front view, where the sagittal plane is seen edge on.
    pub arc: Vec<ImagePoint>,
    /// The bar, left end to right end, projected, where an end of it is marked.
    pub bar: Option<[ImagePoint; 2]>,
}

impl VisitFit {
    /// Where arms at these elevations (deg) would be seen on the picture of a frame: from the near shoulder outward, in its sagittal
    /// plane. `None` where the fit did not converge, or an end would lie behind the camera.
    #[must_use]
    pub fn rays(&self, reach: usize, frame: usize, zero: Zero, elevations_deg: &[f64]) -> Option<Vec<[ImagePoint; 2]>> {
        let observed = &self.observations.reaches[reach];
        let seen = self.problem.frames.iter().find(|seen| (seen.reach, seen.frame) == (reach, frame))?;
        if !self.outcome().is_converged {
            return None;
        }
        let p = Problem::local_parameters(seen, &self.theta);
        let (body, sight) = self.problem.scene(seen, &p);
        let shoulder = body.shoulder[usize::from(observed.near_side.unwrap_or(Side::Right) == Side::Right)];
        let place = |point: Vector3<f64>| finite(stored(observed, image(&sight, point)));
        let ray = |elevation_deg: &f64| {
            let lean_rad = if zero == Zero::Trunk { body.lean } else { 0.0 };
            let (sin, cos) = (lean_rad + Angle::from_deg(*elevation_deg).rad()).sin_cos();
            let along = Vector3::new(sin, -cos, 0.0).scaled(RAY_ARMS * body.arm_length_mm);
            pair(place(shoulder), place(shoulder + along))
        };
        elevations_deg.iter().map(ray).collect()
    }

    /// What to draw on the still of a frame. Only the marks where the fit did not converge. What was brought beside a mark that a
    /// person placed lies on that mark, nearly, and is not drawn.
    #[must_use]
    pub fn overlay(&self, reach: usize, frame: usize) -> Overlay {
        let observed = &self.observations.reaches[reach];
        let marks = &observed.frames[frame].marks;
        let is_drawn = |mark: &Mark| {
            mark.is_placed || !marks.iter().any(|other| other.is_placed && other.landmark == mark.landmark)
        };
        let mut overlay = Overlay {
            marks: marks.iter().filter(|mark| is_drawn(mark)).map(|mark| (mark.landmark, mark.point)).collect(),
            ..Overlay::default()
        };
        let seen = self.problem.frames.iter().find(|seen| (seen.reach, seen.frame) == (reach, frame));
        let (Some(seen), true) = (seen, self.outcome().is_converged) else { return overlay };
        let stored = |place: [f64; 2]| stored(observed, place);
        for (mark, (landmark, predicted, _)) in seen.marks.iter().zip(self.predicted_marks(seen)) {
            let is_named = self.residuals().iter().any(|residual| {
                (residual.reach, residual.frame, residual.mark) == (reach, frame, mark.index) && residual.is_disagreeing
            });
            if is_named && is_drawn(&marks[mark.index]) {
                overlay.disagreeing.push((landmark, stored([mark.point.x, mark.point.y]), stored(predicted)));
            }
        }
        self.draw(seen, observed.view, observed.near_side, &stored, &mut overlay);
        overlay
    }

    fn draw(
        &self,
        seen: &FrameProblem,
        view: View,
        near_side: Option<Side>,
        stored: &impl Fn([f64; 2]) -> ImagePoint,
        overlay: &mut Overlay,
    ) {
        let p = Problem::local_parameters(seen, &self.theta);
        let (body, sight) = self.problem.scene(seen, &p);
        let place = |point: Vector3<f64>| finite(stored(image(&sight, point)));
        let has = |landmark: Landmark| seen.marks.iter().any(|mark| mark.landmark == landmark);
        let has_hip = Side::BOTH.into_iter().any(|side| has(Landmark::Hip(side)));
        let near = near_side.unwrap_or(Side::Right);
        let near_index = usize::from(near == Side::Right);
        let origin = Vector3::new(0.0, 0.0, 0.0);
        if has_hip {
            overlay.trunk = pair(place(body.mid_shoulder), place(origin));
        }
        for side in Side::BOTH {
            if has(Landmark::Shoulder(side)) && has(Landmark::Wrist(side)) {
                let index = usize::from(side == Side::Right);
                if let (Some(shoulder), Some(elbow), Some(wrist)) =
                    (place(body.shoulder[index]), place(body.elbow_mark[index]), place(body.wrist[index]))
                {
                    overlay.arms.push((side, [shoulder, elbow, wrist]));
                }
            }
        }
        let shoulder = body.shoulder[near_index];
        let arm = body.arm_length_mm;
        overlay.plumb = steps()
            .filter_map(|t| place(shoulder + Vector3::new(0.0, (2.0 * t - 1.0) * PLUMB_ARMS * arm, 0.0)))
            .collect();
        if view != View::Front && has_hip {
            let (from, to) = (body.lean, body.elevation[near_index]);
            overlay.arc = steps()
                .filter_map(|t| {
                    let (sin, cos) = (from + t * (to - from)).sin_cos();
                    place(shoulder + Vector3::new(sin, -cos, 0.0).scaled(ARC_RADIUS_ARM * arm))
                })
                .collect();
        }
        if Side::BOTH.into_iter().any(|side| has(Landmark::BarEnd(side))) {
            let end = |side: Side| place(body.bar_center + body.bar_direction.scaled(body.bar_half_mm * side.sign()));
            overlay.bar = pair(end(Side::Left), end(Side::Right));
        }
    }
}

/// A place as it lies on the picture as stored.
fn stored(observed: &ReachObservations, [x, y]: [f64; 2]) -> ImagePoint {
    let x = if observed.is_mirrored { f64::from(observed.image_size[0]) - 1.0 - x } else { x };
    ImagePoint::new(x, y)
}

fn image(sight: &Sight<f64>, point: Vector3<f64>) -> [f64; 2] {
    sight.image_from_room(sight.room_from_body(point)).map(|value| value.value())
}

fn finite(point: ImagePoint) -> Option<ImagePoint> {
    (point.x.is_finite() && point.y.is_finite()).then_some(point)
}

fn pair(a: Option<ImagePoint>, b: Option<ImagePoint>) -> Option<[ImagePoint; 2]> {
    Some([a?, b?])
}

fn steps() -> impl Iterator<Item = f64> {
    let last = (POLYLINE_POINTS - 1) as f64;
    (0..POLYLINE_POINTS).map(move |index| index as f64 / last)
}
