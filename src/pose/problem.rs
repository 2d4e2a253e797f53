//! The residuals of a visit: every mark, every prior, and which parameters each depends on.
//!
//! Residuals are whitened: predicted minus observed, divided by the standard deviation (for a mark by the inverse Cholesky
//! factor of its covariance), so that the cost is half their sum of squares.

mod shared;

use std::collections::BTreeSet;

use nalgebra::{Matrix2, Vector2};

use super::body::{Body, Parameters};
use super::dual::{Dual, LOCAL, Scalar};
use super::layout::{Blocks, frame, lens as lens_block, local, reach, setup, visit};
use super::observation::{Contradiction, MarkPlace, ReachObservations, View, VisitObservations};
use super::priors::{self, Prior};
use super::view::{LensModel, Sight};
use crate::camera::Lens;
use crate::geometry::{ImagePoint, Landmark, Side};

/// A mark's own error is never taken to be smaller than this, px: below it, the grid of the picture is felt.
const FINEST_MARK_SD_PX: f64 = 0.02;
/// The picture's long side to which pixels of this room refer.
pub(super) const LONG_SIDE_PX: f64 = 1280.0;
/// By how much the standard deviation of a mark that was set aside is widened.
pub(super) const SET_ASIDE_FACTOR: f64 = 1e4;

/// A prior on one parameter, in the solver's units.
#[derive(Debug, Clone, Copy)]
pub(super) struct ParameterPrior {
    pub index: usize,
    pub mean: f64,
    pub sd: f64,
    /// Set aside: what it says of the parameter disagrees with the marks.
    pub is_set_aside: bool,
    /// By how much it is widened then.
    pub aside_factor: f64,
    /// It is about an error that a mark hands on, and the mark may be on a wrong spot.
    pub is_of_mark: bool,
    /// A drawn departure of the mean, in standard deviations; 0 outside a simulation.
    pub drawn: f64,
}

impl ParameterPrior {
    /// Predicted minus expected, over the standard deviation in force.
    pub(super) fn residual(&self, theta: &[f64]) -> f64 {
        (theta[self.index] - self.mean) / self.sd_in_force() - self.drawn
    }

    /// The standard deviation, widened where the prior is set aside.
    pub(super) fn sd_in_force(&self) -> f64 {
        if self.is_set_aside { self.sd * self.aside_factor } else { self.sd }
    }
}

/// One frame of the problem.
#[derive(Debug, Clone)]
pub(super) struct FrameProblem {
    pub reach: usize,
    pub frame: usize,
    pub raise: usize,
    pub blocks: Blocks,
    pub lens: usize,
    /// The picture's long side, px.
    pub long_side_px: u32,
    pub marks: Vec<MarkProblem>,
    /// Drawn errors of its residuals, whitened, in their order; empty outside a simulation.
    pub drawn: Vec<f64>,
}

/// One mark of the problem, in an unmirrored picture.
#[derive(Debug, Clone)]
pub(super) struct MarkProblem {
    /// Index in the frame's observations.
    pub index: usize,
    pub landmark: Landmark,
    pub point: ImagePoint,
    /// Covariance of its own error, px².
    pub covariance_px2: Matrix2<f64>,
    /// Global index of the two parameters of each error it shares: that of its origin, that of having been followed, and that of what it
    /// was carried from having been followed.
    pub shared: SharedErrors,
    /// Set aside: it disagrees with the others.
    pub is_set_aside: bool,
    /// On the arm away from the camera in a side view, of which no bend is told.
    pub is_of_far_arm: bool,
}

impl MarkProblem {
    /// The standard deviation of its own error, px.
    pub(super) fn sd_px(&self) -> f64 {
        (self.covariance_px2.trace() / 2.0).sqrt().max(f64::MIN_POSITIVE)
    }
}

/// One whitened residual with its derivatives.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub value: f64,
    pub gradient: [f64; LOCAL],
    /// Shared errors, and the derivatives by the two parameters of each: they are the same, since the errors add.
    pub shared: (SharedErrors, [f64; 2]),
}

/// Global indices of the first parameter of errors that a mark shares.
pub(super) type SharedErrors = [Option<usize>; 3];

/// All residuals of a visit.
#[derive(Debug, Clone)]
pub(super) struct Problem {
    pub parameter_count: usize,
    pub frames: Vec<FrameProblem>,
    pub priors: Vec<ParameterPrior>,
    pub lenses: Vec<LensModel>,
    pub mean_lenses: Vec<Lens>,
    pub setups: Vec<SetupProblem>,
    /// Set-up of each reach.
    pub setup_of_reach: Vec<usize>,
    pub rotation_of_reach: Vec<super::observation::Rotation>,
    /// Marks that are not all on one spot: for each such landmark those on each spot, by their number over all frames.
    pub contradictions: Vec<Vec<Vec<usize>>>,
    stated_arm_length_mm: Option<f64>,
    grip_half_sd_mm: f64,
}

/// One camera set-up: a camera that stood still in front of a person seen from one side.
#[derive(Debug, Clone)]
pub(super) struct SetupProblem {
    pub start: usize,
    pub view: View,
    pub heading_rad: f64,
}

/// The heading at which a stated view is square.
pub(super) fn heading_of_view(view: View, near_side: Option<Side>) -> f64 {
    let deg: f64 = match (view, near_side) {
        (View::Side, Some(Side::Left)) => -180.0,
        (View::Side, _) => 0.0,
        (View::Front, _) => -90.0,
        (View::Oblique, Some(Side::Left)) => -135.0,
        (View::Oblique, _) => -45.0,
    };
    deg.to_radians()
}

impl Problem {
    /// Lays out the parameters and whitens nothing yet. `setup_of_reach` says which reaches share a camera set-up.
    pub(super) fn new(observations: &VisitObservations, setup_of_reach: &[usize]) -> Self {
        let mut problem = Self {
            parameter_count: visit::COUNT,
            frames: Vec::new(),
            priors: Vec::new(),
            lenses: Vec::new(),
            mean_lenses: Vec::new(),
            setups: Vec::new(),
            setup_of_reach: setup_of_reach.to_vec(),
            rotation_of_reach: observations.reaches.iter().map(|reach| reach.rotation).collect(),
            contradictions: Vec::new(),
            stated_arm_length_mm: observations.person.arm_length_mm,
            grip_half_sd_mm: if observations.bar.has_taped_grips {
                priors::GRIP_HALF_TAPED_SD_MM
            } else {
                priors::GRIP_HALF_BY_EYE_SD_MM
            },
        };
        problem.add_visit_priors(observations);
        let mut lens_starts: Vec<usize> = Vec::new();
        let mut errors = Vec::new();
        for (index, observed) in observations.reaches.iter().enumerate() {
            let lens = observed.lens.clone().unwrap_or_else(|| Lens::phone_prior(observed.image_size));
            let lens_index = problem.mean_lenses.iter().position(|known| *known == lens).unwrap_or_else(|| {
                problem.lenses.push(LensModel::new(&lens));
                problem.mean_lenses.push(lens);
                lens_starts.push(problem.take(lens_block::COUNT));
                for z in 0..lens_block::COUNT {
                    let start = lens_starts[lens_starts.len() - 1];
                    problem.add_prior(start + z, Prior { mean: 0.0, sd: 1.0 }, 1.0);
                }
                problem.lenses.len() - 1
            });
            if setup_of_reach[index] == problem.setups.len() {
                problem.add_setup(observed);
            }
            let setup_start = problem.setups[setup_of_reach[index]].start;
            let reach_start = problem.add_reach();
            for (frame_index, seen) in observed.frames.iter().enumerate() {
                let frame_start = problem.add_frame();
                let marks = seen
                    .marks
                    .iter()
                    .enumerate()
                    .filter(|(_, mark)| !mark.landmark.is_of_head())
                    .map(|(mark_index, mark)| problem.mark(index, observed, mark_index, mark, &mut errors))
                    .collect();
                problem.frames.push(FrameProblem {
                    reach: index,
                    frame: frame_index,
                    raise: seen.raise,
                    blocks: Blocks {
                        lens: lens_starts[lens_index],
                        setup: setup_start,
                        reach: reach_start,
                        frame: frame_start,
                    },
                    lens: lens_index,
                    long_side_px: observed.image_size[0].max(observed.image_size[1]),
                    marks,
                    drawn: Vec::new(),
                });
            }
        }
        problem.contradictions = observations.contradictions.iter().map(|of| problem.numbered(of)).collect();
        problem
    }

    /// A contradiction by the numbers that marks have over all frames. Marks that are not modelled are on no spot.
    fn numbered(&self, contradiction: &Contradiction) -> Vec<Vec<usize>> {
        let marks = self.frames.iter().flat_map(|seen| {
            seen.marks.iter().map(|mark| MarkPlace { reach: seen.reach, frame: seen.frame, mark: mark.index })
        });
        let numbered: Vec<(MarkPlace, usize)> = marks.zip(0..).collect();
        let number = |wanted: &MarkPlace| numbered.iter().find(|(place, _)| place == wanted).map(|(_, number)| *number);
        contradiction.spots.iter().map(|spot| spot.iter().filter_map(number).collect()).collect()
    }

    /// By how much the marks in force lie further from a solution of this cost than their spread allows, at least 1. Every
    /// parameter has a prior, so that there are as many degrees of freedom as residuals of marks. Frames that were followed from
    /// one mark repeat each other: all they say of how well the model fits, one of them says.
    pub(super) fn misfit_ratio(&self, cost: f64) -> f64 {
        let mut followed = BTreeSet::new();
        let residuals: usize = self
            .frames
            .iter()
            .flat_map(|frame| &frame.marks)
            .filter(|mark| !mark.is_set_aside)
            .filter(|mark| mark.shared[1].is_none_or(|error| followed.insert(error)))
            .map(|mark| if matches!(mark.landmark, Landmark::PlumbTop | Landmark::PlumbBottom) { 1 } else { 2 })
            .sum();
        if residuals == 0 { 1.0 } else { (2.0 * cost / residuals as f64).sqrt().max(1.0) }
    }

    /// The local parameters of a frame out of the whole vector.
    pub(super) fn local_parameters(frame: &FrameProblem, theta: &[f64]) -> Parameters<f64> {
        std::array::from_fn(|index| theta[frame.blocks.global(index)])
    }

    /// The same as numbers with derivatives.
    pub(super) fn dual_parameters(frame: &FrameProblem, theta: &[f64]) -> Parameters<Dual> {
        std::array::from_fn(|index| Dual::parameter(theta[frame.blocks.global(index)], index))
    }

    /// Body and sight of a frame.
    pub(super) fn scene<S: Scalar>(&self, frame: &FrameProblem, p: &Parameters<S>) -> (Body<S>, Sight<S>) {
        let body = Body::from_parameters(p, self.rotation_of_reach[frame.reach]);
        let sight = Sight::from_parameters(p, &self.lenses[frame.lens]);
        (body, sight)
    }

    /// Hands every whitened residual of a frame to `push`: value, shared error with its factors, and the mark's place in
    /// the frame (`None` for the couplings between parameters).
    pub(super) fn frame_residuals<S: Scalar>(
        &self,
        frame: &FrameProblem,
        p: &Parameters<S>,
        theta: &[f64],
        mut push: impl FnMut(S, (SharedErrors, [f64; 2]), Option<usize>),
    ) {
        let mut drawn = frame.drawn.iter();
        let mut push = |value: S, shared: (SharedErrors, [f64; 2]), mark: Option<usize>| {
            push(drawn.next().map_or(value, |error| value + -error), shared, mark);
        };
        let (body, sight) = self.scene(frame, p);
        for (place, mark) in frame.marks.iter().enumerate() {
            let [x, y] = predicted(mark, &body, &sight);
            let shared = |axis: usize| mark.shared.iter().flatten().map(|start| theta[start + axis]).sum::<f64>();
            let off = [x + (shared(0) - mark.point.x), y + (shared(1) - mark.point.y)];
            let widen = if mark.is_set_aside { 1.0 / SET_ASIDE_FACTOR } else { 1.0 };
            if let Some(across) = plumb_normal(mark, &sight) {
                let sd = (across.transpose() * mark.covariance_px2 * across)[(0, 0)].sqrt().max(FINEST_MARK_SD_PX);
                let scale = widen / sd;
                let value = (off[0] * across.x + off[1] * across.y) * scale;
                push(value, (mark.shared, [across.x * scale, across.y * scale]), Some(place));
            } else {
                for row in whitening(&mark.covariance_px2) {
                    let [a, b] = row.map(|entry| entry * widen);
                    push(off[0] * a + off[1] * b, (mark.shared, [a, b]), Some(place));
                }
            }
        }
        let asymmetry = body.elevation[1] - body.elevation[0] - p[local::VISIT + visit::ASYMMETRY];
        push(asymmetry * priors::ASYMMETRY_FRAME_SD_DEG.to_radians().recip(), NOTHING_SHARED, None);
        let grip_center = (body.wrist[0].z + body.wrist[1].z) * 0.5 + -priors::GRIP_CENTER_MM.mean;
        push(grip_center * priors::GRIP_CENTER_MM.sd.recip(), NOTHING_SHARED, None);
        let grip_half = body.grip_width_mm() * 0.5;
        push((grip_half - p[local::VISIT + visit::GRIP_HALF_MM]) * self.grip_half_sd_mm.recip(), NOTHING_SHARED, None);
        if let (Some(stated), true) =
            (self.stated_arm_length_mm, frame.reach == self.frames[0].reach && frame.frame == 0)
        {
            push((body.arm_length_mm + -stated) * priors::STATED_ARM_LENGTH_SD_MM.recip(), NOTHING_SHARED, None);
        }
    }

    /// How many residuals a frame has.
    pub(super) fn residual_count(&self, frame: &FrameProblem, theta: &[f64]) -> usize {
        let p = Self::local_parameters(frame, theta);
        let mut count = 0;
        self.frame_residuals(frame, &p, theta, |_: f64, _, _| count += 1);
        count
    }

    fn take(&mut self, count: usize) -> usize {
        let start = self.parameter_count;
        self.parameter_count += count;
        start
    }

    fn add_prior(&mut self, index: usize, prior: Prior, unit: f64) {
        let (mean, sd) = (prior.mean * unit, prior.sd * unit);
        self.priors.push(ParameterPrior {
            index,
            mean,
            sd,
            is_set_aside: false,
            aside_factor: SET_ASIDE_FACTOR,
            is_of_mark: false,
            drawn: 0.0,
        });
    }

    fn add_visit_priors(&mut self, observations: &VisitObservations) {
        let deg = 1f64.to_radians();
        let stature = observations
            .person
            .stature_mm
            .map_or(priors::STATURE_MM, |stated| Prior { mean: stated, sd: priors::STATED_STATURE_SD_MM });
        let bar = observations.bar.length_mm.map_or(Prior { mean: 0.0, sd: priors::BAR_HALF_LOG_SD }, |length| Prior {
            mean: (length / 2.0 / priors::BAR_HALF_MM).ln(),
            sd: priors::STATED_BAR_SD_MM / length,
        });
        let spread = |sd: f64| Prior { mean: 0.0, sd };
        let singles = [
            (visit::STATURE_MM, stature, 1.0),
            (visit::LOG_UPPER_ARM, spread(priors::UPPER_ARM_LOG_SD), 1.0),
            (visit::LOG_FOREARM, spread(priors::FOREARM_LOG_SD), 1.0),
            (visit::LOG_TRUNK, spread(priors::TRUNK_LOG_SD), 1.0),
            (visit::LOG_SHOULDER_HALF, spread(priors::SHOULDER_HALF_LOG_SD), 1.0),
            (visit::LOG_HIP_HALF, spread(priors::HIP_HALF_LOG_SD), 1.0),
            (visit::LOG_BAR_HALF, bar, 1.0),
            (visit::PELVIS_TWIST, priors::PELVIS_TWIST_DEG, deg),
            (visit::LEAN, priors::LEAN_DEG, deg),
            (visit::LEAN_SOFTNESS, priors::LEAN_SOFTNESS, 1.0),
            (visit::SHOULDER_LIFT_MM, priors::SHOULDER_LIFT_MM_PER_RAD, 1.0),
            (visit::GRIP_HALF_MM, priors::GRIP_HALF_MM, 1.0),
            (visit::SHOULDER_SKIN_MM, priors::SHOULDER_SKIN_MM, 1.0),
            (visit::ASYMMETRY, priors::ASYMMETRY_DEG, deg),
            (visit::ELBOW_SKIN_MM, priors::ELBOW_SKIN_MM, 1.0),
        ];
        for (index, prior, unit) in singles {
            self.add_prior(index, prior, unit);
        }
        let pairs = [
            (visit::HAND_ALONG_MM, priors::HAND_ALONG_MM, 1.0),
            (visit::HAND_ACROSS_MM, priors::HAND_ACROSS_MM, 1.0),
            (visit::SHOULDER_OFFSET_MM, priors::SHOULDER_OFFSET_MM, 1.0),
            (visit::SHOULDER_SLIDE_MM, priors::SHOULDER_SLIDE_MM_PER_RAD, 1.0),
            (visit::WRIST_OFFSET_MM, priors::WRIST_OFFSET_MM, 1.0),
            (visit::HIP_OFFSET_MM, priors::HIP_OFFSET_MM, 1.0),
            (visit::ELBOW_IN_PLANE, priors::ELBOW_IN_PLANE_DEG, deg),
            (visit::ELBOW_OUT_OF_PLANE, priors::ELBOW_OUT_OF_PLANE_DEG, deg),
        ];
        for (indices, prior, unit) in pairs {
            for index in indices {
                self.add_prior(index, prior, unit);
            }
        }
    }

    fn add_setup(&mut self, observed: &ReachObservations) {
        let start = self.take(setup::COUNT);
        let deg = 1f64.to_radians();
        let heading_rad = heading_of_view(observed.view, observed.near_side);
        let heading_sd = match observed.view {
            View::Side | View::Front => priors::SQUARE_VIEW_SD_DEG,
            View::Oblique => priors::OBLIQUE_VIEW_SD_DEG,
        };
        for (index, prior, unit) in [
            (setup::ROLL, priors::ROLL_DEG, deg),
            (setup::PITCH, priors::PITCH_DEG, deg),
            (setup::LOG_DISTANCE, priors::LOG_DISTANCE, 1.0),
            (setup::AZIMUTH, priors::DIRECTION_DEG, deg),
            (setup::ELEVATION, priors::DIRECTION_DEG, deg),
            (setup::HEADING, Prior { mean: heading_rad.to_degrees(), sd: heading_sd }, deg),
            (setup::PLUMB_AZIMUTH, priors::DIRECTION_DEG, deg),
            (setup::PLUMB_TILT, priors::PLUMB_DEG, deg),
            (setup::DATUM_AZIMUTH, priors::DIRECTION_DEG, deg),
            (setup::DATUM_ELEVATION, priors::DIRECTION_DEG, deg),
            (setup::DATUM_LOG_DEPTH, priors::DATUM_LOG_DEPTH, 1.0),
        ] {
            self.add_prior(start + index, prior, unit);
        }
        self.setups.push(SetupProblem { start, view: observed.view, heading_rad });
    }

    fn add_reach(&mut self) -> usize {
        let start = self.take(reach::COUNT);
        let deg = 1f64.to_radians();
        let spread = |sd: f64| Prior { mean: 0.0, sd };
        for index in reach::SHIFT_MM {
            self.add_prior(start + index, spread(priors::SHIFT_SD_MM), 1.0);
        }
        self.add_prior(start + reach::TURN, spread(priors::TURN_SD_DEG), deg);
        // Two reaches depart from the visit's lean on their own, so each has half the variance of their difference.
        self.add_prior(start + reach::LEAN, spread(priors::TRUNK_MOVEMENT_SD_DEG / 2f64.sqrt()), deg);
        self.add_prior(start + reach::SIDE_LEAN, priors::SIDE_LEAN_DEG, deg);
        start
    }

    fn add_frame(&mut self) -> usize {
        let start = self.take(frame::COUNT);
        let deg = 1f64.to_radians();
        let spread = |sd: f64| Prior { mean: 0.0, sd };
        for side in 0..2 {
            self.add_prior(start + frame::ELEVATION[side], priors::ELEVATION_DEG, deg);
            self.add_prior(start + frame::OUTWARD[side], priors::OUTWARD_DEG, deg);
            self.add_prior(start + frame::ELBOW_IN_PLANE[side], spread(priors::ELBOW_FRAME_SD_DEG), deg);
            self.add_prior(start + frame::ELBOW_OUT_OF_PLANE[side], spread(priors::ELBOW_FRAME_SD_DEG), deg);
        }
        self.add_prior(start + frame::BAR_SHIFT_MM, priors::BAR_SHIFT_MM, 1.0);
        self.add_prior(start + frame::BAR_TILT, spread(priors::BAR_SKEW_SD_DEG), deg);
        self.add_prior(start + frame::BAR_YAW, spread(priors::BAR_SKEW_SD_DEG), deg);
        self.add_prior(start + frame::LEAN, spread(priors::LEAN_FRAME_SD_DEG), deg);
        for index in frame::SHIFT_MM {
            self.add_prior(start + index, spread(priors::SHIFT_FRAME_SD_MM), 1.0);
        }
        start
    }
}

/// A residual without a shared error.
const NOTHING_SHARED: (SharedErrors, [f64; 2]) = ([None; 3], [0.0; 2]);

/// A mark of a mirror picture where it would lie without the mirror.
pub(super) fn unmirrored(
    observed: &ReachObservations,
    point: ImagePoint,
    covariance_px2: Matrix2<f64>,
) -> (ImagePoint, Matrix2<f64>) {
    if observed.is_mirrored {
        let flip = Matrix2::new(-1.0, 0.0, 0.0, 1.0);
        let x = f64::from(observed.image_size[0]) - 1.0 - point.x;
        (ImagePoint::new(x, point.y), flip * covariance_px2 * flip)
    } else {
        (point, covariance_px2)
    }
}

/// Where the model puts a mark, px.
pub(super) fn predicted<S: Scalar>(mark: &MarkProblem, body: &Body<S>, sight: &Sight<S>) -> [S; 2] {
    let of_side = |side: Side| usize::from(side == Side::Right);
    let in_body = match mark.landmark {
        Landmark::Shoulder(side) => body.shoulder_mark[of_side(side)],
        Landmark::Elbow(side) => body.elbow_mark[of_side(side)],
        Landmark::Wrist(side) => body.wrist_mark[of_side(side)],
        Landmark::Hip(side) => body.hip_mark[of_side(side)],
        Landmark::BarEnd(side) => body.bar_center + body.bar_direction.scaled(body.bar_half_mm * side.sign()),
        Landmark::Datum => return sight.image_from_room(sight.datum()),
        Landmark::PlumbTop | Landmark::PlumbBottom => {
            return sight.image_from_room(sight.plumb_point(slope_of(mark.point, sight)));
        }
        Landmark::Eye(_) | Landmark::Nose | Landmark::Chin => {
            unreachable!("marks of the head are filtered out when the problem is made")
        }
    };
    sight.image_from_room(sight.room_from_body(in_body))
}

/// The slope at which the plumb line passes nearest to a mark: found on the value alone, because a mark says nothing of
/// its place along the line.
fn slope_of<S: Scalar>(mark: ImagePoint, sight: &Sight<S>) -> f64 {
    let at = |slope: f64| {
        let [x, y] = sight.image_from_room(sight.plumb_point(slope));
        Vector2::new(x.value(), y.value())
    };
    let mut slope = 0.0;
    for _ in 0..SLOPE_STEPS {
        let here = at(slope);
        let along = (at(slope + SLOPE_PROBE) - here) / SLOPE_PROBE;
        let step = along.dot(&(mark.to_vector() - here)) / along.norm_squared();
        slope += step;
        if !slope.is_finite() || step.abs() < SLOPE_TOLERANCE {
            break;
        }
    }
    slope
}

/// Steps of the search along the plumb line: it is nearly straight in the picture, so a few suffice, and what is left of
/// the step is along the line and drops out of the residual.
const SLOPE_STEPS: usize = 6;
const SLOPE_PROBE: f64 = 1e-4;
const SLOPE_TOLERANCE: f64 = 1e-7;

/// The unit normal of the plumb line's picture at a plumb mark; `None` for other marks.
pub(super) fn plumb_normal<S: Scalar>(mark: &MarkProblem, sight: &Sight<S>) -> Option<Vector2<f64>> {
    if !matches!(mark.landmark, Landmark::PlumbTop | Landmark::PlumbBottom) {
        return None;
    }
    let slope = slope_of(mark.point, sight);
    let at = |slope: f64| {
        let [x, y] = sight.image_from_room(sight.plumb_point(slope));
        Vector2::new(x.value(), y.value())
    };
    let along = at(slope + SLOPE_PROBE) - at(slope);
    Some(Vector2::new(-along.y, along.x).normalize())
}

/// The rows of the inverse Cholesky factor of a covariance, px²: they whiten a residual.
pub(super) fn whitening(covariance_px2: &Matrix2<f64>) -> [[f64; 2]; 2] {
    let floor = FINEST_MARK_SD_PX * FINEST_MARK_SD_PX;
    let a = (covariance_px2[(0, 0)] + floor).sqrt();
    let b = covariance_px2[(1, 0)] / a;
    let c = (covariance_px2[(1, 1)] + floor - b * b).max(floor).sqrt();
    [[1.0 / a, 0.0], [-b / (a * c), 1.0 / c]]
}
