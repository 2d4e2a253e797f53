//! Which poses are tried, and how the fit's answers compare with what the markers say.

use std::collections::BTreeMap;

use rand::{Rng, RngExt};
use tworeach::geometry::{Landmark, Side};
use tworeach::pose::{Quantity, Term, View, fit_visit};

use super::people::{Pose, Trial, place};
use super::visit::{Visit, VisitOptions, image_angle_deg};

/// The reaches of a visit.
const REACHES: usize = 4;
/// Poses within this of a person's highest elevation stand for end range, deg.
const NEAR_TOP_DEG: f64 = 10.0;
/// The trunk leans within this of where it is most upright or the reach is highest, deg: the check `trunk_still` breaks a pair
/// beyond twice that.
const STILL_DEG: f64 = 4.0;
/// Two poses of a visit are at least this many frames apart, 0.1 s, where there are enough.
const APART: usize = 10;

/// Whose poses, and which.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// Near the highest reach with the trunk as upright as the person has it.
    BarStanding,
    /// Near the highest reach of all, which is deep in the squat.
    BarSquat,
    /// Near the highest reach of the one arm.
    OneArm,
    /// Near the highest reach of an arm flexed forward, by the joint's centre in place of a mark on the skin.
    Flexion,
}

impl Subject {
    pub const fn words(self) -> &'static str {
        match self {
            Self::BarStanding => "bar overhead, standing",
            Self::BarSquat => "bar overhead, squatting",
            Self::OneArm => "one arm overhead, standing, no bar",
            Self::Flexion => "one arm flexed, joint centres, no bar",
        }
    }

    /// Whether both hands hold a bar.
    pub const fn has_bar(self) -> bool {
        matches!(self, Self::BarStanding | Self::BarSquat)
    }

    /// The poses of a trial that are tried.
    pub fn candidates(self, trial: &Trial) -> Vec<Pose> {
        let side = raised_side(trial);
        let height = |pose: &Pose| match self {
            Self::OneArm | Self::Flexion => {
                let arm = pose.wrist[place(side)] - pose.shoulder[place(side)];
                arm.angle(&-nalgebra::Vector3::y()).to_degrees()
            }
            _ => Side::BOTH.map(|side| pose.elevation_deg(side)).iter().sum::<f64>() / 2.0,
        };
        let uprightness = |pose: &Pose| -pose.lean_deg().abs();
        let best = |of: &dyn Fn(&Pose) -> f64| trial.poses.iter().max_by(|a, b| of(a).total_cmp(&of(b)));
        let anchor = if self == Self::BarStanding { best(&uprightness) } else { best(&height) };
        let Some(lean_deg) = anchor.map(Pose::lean_deg) else { return Vec::new() };
        let mut poses = trial.poses.clone();
        poses.retain(|pose| (pose.lean_deg() - lean_deg).abs() <= STILL_DEG);
        let top = poses.iter().map(height).fold(f64::MIN, f64::max);
        poses.retain(|pose| height(pose) >= top - NEAR_TOP_DEG);
        poses
    }

    /// Four poses of one person, from all repetitions in turn.
    pub fn draw_poses(self, trials: &[Trial], rng: &mut impl Rng) -> Vec<Pose> {
        let candidates: Vec<Vec<Pose>> = trials.iter().map(|trial| self.candidates(trial)).collect();
        let mut chosen: Vec<(usize, Pose)> = Vec::new();
        for reach in 0..REACHES {
            let repetition = reach % trials.len();
            let pool = &candidates[repetition];
            let is_apart = |pose: &Pose| {
                chosen.iter().all(|(of, known)| *of != repetition || known.index.abs_diff(pose.index) >= APART)
            };
            let free: Vec<&Pose> = pool.iter().filter(|pose| is_apart(pose)).collect();
            let pose = if free.is_empty() {
                pool[rng.random_range(0..pool.len())]
            } else {
                *free[rng.random_range(0..free.len())]
            };
            chosen.push((repetition, pose));
        }
        chosen.into_iter().map(|(_, pose)| pose).collect()
    }
}

/// Errors of one quantity, with what was stated about them.
#[derive(Debug, Clone, Default)]
pub struct Column {
    pub errors: Vec<f64>,
    pub us: Vec<f64>,
    pub covered: usize,
    pub missing: usize,
}

/// 95 % of a normal distribution lie within this many standard deviations.
const COVERAGE_FACTOR: f64 = 1.959_964;

impl Column {
    fn add(&mut self, estimate: Option<(f64, f64)>, truth: f64) {
        match estimate {
            Some((value, u)) => {
                self.errors.push(value - truth);
                self.us.push(u);
                self.covered += usize::from((value - truth).abs() <= COVERAGE_FACTOR * u);
            }
            None => self.missing += 1,
        }
    }

    fn merge(&mut self, other: &Self) {
        self.errors.extend(&other.errors);
        self.us.extend(&other.us);
        self.covered += other.covered;
        self.missing += other.missing;
    }

    fn count(&self) -> f64 {
        self.errors.len().max(1) as f64
    }

    pub fn bias(&self) -> f64 {
        self.errors.iter().sum::<f64>() / self.count()
    }

    pub fn rms(&self) -> f64 {
        (self.errors.iter().map(|error| error * error).sum::<f64>() / self.count()).sqrt()
    }

    /// The error that 95 % of the answers stay below.
    pub fn p95(&self) -> f64 {
        let mut sizes: Vec<f64> = self.errors.iter().map(|error| error.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        let beyond = sizes.len() / 20;
        sizes.len().checked_sub(beyond + 1).map_or(f64::NAN, |index| sizes[index])
    }

    pub fn mean_u(&self) -> f64 {
        self.us.iter().sum::<f64>() / self.us.len().max(1) as f64
    }

    /// Share of the intervals that hold the truth, %.
    pub fn coverage(&self) -> f64 {
        100.0 * self.covered as f64 / self.count()
    }

    fn print(&self, name: &str) {
        print!("  {name:<12} n {:>5} null {:>4}", self.errors.len(), self.missing);
        print!("  bias {:>6.2}  rms {:>5.2}  p95 {:>5.2}", self.bias(), self.rms(), self.p95());
        if self.us.is_empty() {
            println!();
        } else {
            println!("  mean u {:>5.2}  coverage {:>5.1} %", self.mean_u(), self.coverage());
        }
    }
}

/// All that is counted.
#[derive(Debug, Clone, Default)]
pub struct Score {
    pub elevation: Column,
    pub difference: Column,
    pub image: Column,
    pub image_difference: Column,
    pub marks: usize,
    pub named: BTreeMap<Landmark, usize>,
    pub not_converged: usize,
    pub unfilmed: usize,
}

impl Score {
    /// Fits a visit and adds what comes of it.
    pub fn add(&mut self, options: &VisitOptions, visit: &Visit) {
        let fit = fit_visit(&visit.observations);
        self.not_converged += usize::from(!fit.outcome().is_converged);
        let side: Side = options.near_side;
        let is_front = options.view == View::Front;
        let quantity = if is_front { Quantity::ElevationFromVertical(side) } else { Quantity::Elevation(side) };
        let truth: Vec<f64> = visit
            .poses
            .iter()
            .map(|pose| if is_front { pose.elevation_from_vertical_deg(side) } else { pose.elevation_deg(side) })
            .collect();
        let found = |terms: &[Term]| fit.combine(terms).ok().map(|estimate| (estimate.value, estimate.u));
        let term = |factor: f64, reach: usize| Term { factor, reach, raise: 0, quantity };
        let images: Vec<Option<f64>> = visit.observations.reaches.iter().map(image_angle_deg).collect();
        for (reach, true_deg) in truth.iter().enumerate() {
            self.elevation.add(found(&[term(1.0, reach)]), *true_deg);
            self.image.errors.extend(images[reach].map(|deg| deg - true_deg));
        }
        for reach in (0..truth.len()).step_by(2) {
            let true_deg = truth[reach + 1] - truth[reach];
            self.difference.add(found(&[term(1.0, reach + 1), term(-1.0, reach)]), true_deg);
            let image = images[reach + 1].zip(images[reach]);
            self.image_difference.errors.extend(image.map(|(second, first)| second - first - true_deg));
        }
        for residual in fit.residuals() {
            self.marks += 1;
            if residual.is_disagreeing {
                *self.named.entry(residual.landmark).or_default() += 1;
            }
        }
    }

    pub fn merge(&mut self, other: &Self) {
        self.elevation.merge(&other.elevation);
        self.difference.merge(&other.difference);
        self.image.merge(&other.image);
        self.image_difference.merge(&other.image_difference);
        self.marks += other.marks;
        for (landmark, count) in &other.named {
            *self.named.entry(*landmark).or_default() += count;
        }
        self.not_converged += other.not_converged;
        self.unfilmed += other.unfilmed;
    }

    pub fn print(&self) {
        self.elevation.print("elevation");
        self.difference.print("difference");
        if !self.image.errors.is_empty() {
            self.image.print("image angle");
            self.image_difference.print("its diff.");
        }
        let named: usize = self.named.values().sum();
        let list: Vec<String> = self.named.iter().map(|(landmark, count)| format!("{landmark} {count}")).collect();
        println!(
            "  good marks named {:.2} % of {} ({}); {} fits did not converge, {} visits did not fit into a picture",
            100.0 * named as f64 / self.marks.max(1) as f64,
            self.marks,
            list.join(", "),
            self.not_converged,
            self.unfilmed
        );
    }

    pub fn print_line(&self, person: u32) {
        let column = |column: &Column| {
            format!(
                "bias {:>6.2} rms {:>5.2} u {:>5.2} cov {:>5.1}",
                column.bias(),
                column.rms(),
                column.mean_u(),
                column.coverage()
            )
        };
        println!(
            "    person {person:>2}: elevation {} | difference {} | image bias {:>6.2} rms {:>5.2} | named {:>4} null {}",
            column(&self.elevation),
            column(&self.difference),
            self.image.bias(),
            self.image.rms(),
            self.named.values().sum::<usize>(),
            self.elevation.missing
        );
    }
}

/// The side of the arm that is raised highest.
pub fn raised_side(trial: &Trial) -> Side {
    let highest = |side: Side| {
        let heights = trial.poses.iter().map(|pose| pose.wrist[place(side)].y - pose.shoulder[place(side)].y);
        heights.fold(f64::MIN, f64::max)
    };
    if highest(Side::Right) >= highest(Side::Left) { Side::Right } else { Side::Left }
}
