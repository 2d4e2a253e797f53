//! The fit of a visit: quantities with their joint covariance, and where every mark lies from where the others put it.

use std::collections::BTreeSet;

use nalgebra::DVector;

use super::disagree::{Judged, NAMED_PROBABILITY, solve_and_judge};
use super::dual::Scalar;
use super::layout::{frame, local, reach, setup};
use super::observation::{View, VisitObservations};
use super::problem::{FrameProblem, Problem, plumb_normal, predicted};
use super::quantity::Quantity;
use super::setups::setup_of_reaches;
use super::solve::{Covariance, scatter};
use super::start::start_values;
use super::suspect::Explanation;
use crate::geometry::{Landmark, Side};

/// Ends the reason why a quantity is not determined, where only another clip would determine it.
pub const FILM_FROM_SIDE: &str = "; film again from the side";

/// A quantity counts as measured when the marks leave at most this share of the variance that it has without them.
const DETERMINED_VARIANCE_RATIO: f64 = 0.25;
/// Two minima whose costs differ by less than this cannot be told apart.
const TELL_APART_COST: f64 = 2.0;
/// Two minima are the same when no elevation differs by more than this, deg.
const SAME_SOLUTION_DEG: f64 = 1.0;

/// An estimate and its standard uncertainty, in the quantity's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Standard uncertainty of the measurement.
    pub u: f64,
}

/// Why a quantity has no number. The sentence is for the report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undetermined {
    /// For example "the marks do not determine the lean of the trunk".
    pub reason: String,
}

/// One term of a linear combination of quantities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// Factor.
    pub factor: f64,
    /// Index into [`VisitObservations::reaches`].
    pub reach: usize,
    /// Index of the raise in that reach, as in [`super::FrameObservations::raise`].
    pub raise: usize,
    /// The quantity.
    pub quantity: Quantity,
}

/// How the iteration ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// Steps taken.
    pub iterations: usize,
    /// The last step was below the tolerance.
    pub is_converged: bool,
    /// Half the sum of the squared whitened residuals.
    pub cost: f64,
}

/// Where a mark lies from where all the others put it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkResidual {
    /// Index into [`VisitObservations::reaches`].
    pub reach: usize,
    /// Index of the frame in the reach.
    pub frame: usize,
    /// Index of the mark in the frame.
    pub mark: usize,
    /// What was marked.
    pub landmark: Landmark,
    /// Distance from where the other marks put it, px. For a plumb mark, from the line.
    pub distance_px: f64,
    /// Standard uncertainty of that distance, px.
    pub u_px: f64,
    /// It may well be too far off for marking error alone; the fit counts it for less, or not at all.
    pub is_disagreeing: bool,
    /// As [`super::Mark::is_placed`].
    pub is_placed: bool,
    /// What it shares its error with, as [`super::SharedError::origin`].
    pub origin: Option<usize>,
    /// It was carried from a mark that was followed in another reach.
    pub is_carried_on: bool,
    /// It is one of marks that are not all on one spot: see [`VisitObservations::contradictions`].
    pub is_contradicted: bool,
}

/// The fit of all reaches of a visit.
#[derive(Debug, Clone)]
pub struct VisitFit {
    pub(super) observations: VisitObservations,
    pub(super) problem: Problem,
    pub(super) theta: Vec<f64>,
    outcome: Outcome,
    residuals: Vec<MarkResidual>,
    covariance: Option<Covariance>,
    prior_covariance: Option<Covariance>,
    /// Which marks may be bad, with what that would change, in the metric of the covariance.
    explanations: Vec<Explanation>,
    /// The same with every elbow's mark taken for good.
    with_elbows: Vec<Explanation>,
    /// Reaches that fit as well before as behind the vertical.
    is_ambiguous: Vec<bool>,
    /// By how much the marks lie further from the model than their spread allows; 1 where they do not.
    misfit_ratio: f64,
}

/// Fits one model of body, bar and camera to all marks of a visit.
///
/// All reaches are solved together by damped Gauss-Newton on whitened residuals. Marks that disagree with the others are
/// set aside one by one and named. A front or oblique view is also started from the mirrored arm, before and behind the
/// vertical, and the better solution kept. Whatever the marks are, there is an answer; [`VisitFit::combine`] says which
/// quantities it holds.
#[must_use]
pub fn fit_visit(observations: &VisitObservations) -> VisitFit {
    let setup_of_reach = setup_of_reaches(&observations.reaches);
    let mut problem = Problem::new(observations, &setup_of_reach);
    let start = start_values(&problem);
    let fresh = problem.clone();
    let mut judged = solve_and_judge(&mut problem, start);
    let mut is_ambiguous = vec![false; observations.reaches.len()];
    for index in 0..observations.reaches.len() {
        if problem.setups[setup_of_reach[index]].view == View::Side {
            continue;
        }
        let Some(first) = judged.as_ref() else { break };
        let mut other_problem = fresh.clone();
        let mirrored = mirrored_start(&other_problem, &first.solution.theta, index);
        let Some(other) = solve_and_judge(&mut other_problem, mirrored) else { continue };
        if !other.solution.is_converged || is_same(&problem, first, &other, index) {
            continue;
        }
        is_ambiguous[index] = (other.objective - first.objective).abs() < TELL_APART_COST;
        if other.objective < first.objective {
            problem = other_problem;
            judged = Some(other);
        }
    }
    VisitFit::assemble(observations.clone(), problem, judged, is_ambiguous)
}

/// The solution with one reach's arms mirrored about the vertical: behind it where they were before it.
fn mirrored_start(problem: &Problem, theta: &[f64], reach: usize) -> Vec<f64> {
    let mut start = theta.to_vec();
    for seen in problem.frames.iter().filter(|seen| seen.reach == reach) {
        for index in frame::ELEVATION {
            let at = seen.blocks.frame + index;
            start[at] = std::f64::consts::TAU - start[at];
        }
    }
    start
}

fn is_same(problem: &Problem, first: &Judged, other: &Judged, reach: usize) -> bool {
    let mut frames = problem.frames.iter().filter(|seen| seen.reach == reach);
    frames.all(|seen| {
        frame::ELEVATION.into_iter().all(|index| {
            let at = seen.blocks.frame + index;
            (first.solution.theta[at] - other.solution.theta[at]).abs().to_degrees() < SAME_SOLUTION_DEG
        })
    })
}

impl VisitFit {
    fn assemble(
        observations: VisitObservations,
        problem: Problem,
        judged: Option<Judged>,
        is_ambiguous: Vec<bool>,
    ) -> Self {
        let Some(judged) = judged else {
            let outcome = Outcome { iterations: 0, is_converged: false, cost: f64::NAN };
            let theta = vec![0.0; problem.parameter_count];
            return Self {
                observations,
                problem,
                theta,
                outcome,
                residuals: Vec::new(),
                covariance: None,
                prior_covariance: None,
                explanations: Vec::new(),
                with_elbows: Vec::new(),
                is_ambiguous,
                misfit_ratio: 1.0,
            };
        };
        let contradicted: BTreeSet<usize> = problem.contradictions.iter().flatten().flatten().copied().collect();
        let mut residuals = Vec::new();
        for (seen, standings) in problem.frames.iter().zip(judged.standings) {
            for (mark, standing) in seen.marks.iter().zip(standings) {
                let given = &observations.reaches[seen.reach].frames[seen.frame].marks[mark.index];
                let is_contradicted = contradicted.contains(&residuals.len());
                residuals.push(MarkResidual {
                    is_contradicted,
                    reach: seen.reach,
                    frame: seen.frame,
                    mark: mark.index,
                    landmark: mark.landmark,
                    distance_px: standing.distance_px,
                    u_px: standing.u_px,
                    is_disagreeing: standing.probability >= NAMED_PROBABILITY,
                    is_placed: given.is_placed,
                    origin: given.shared.map(|shared| shared.origin),
                    is_carried_on: given.strayed.is_some(),
                });
            }
        }
        let solution_cost = judged.solution.cost;
        let prior_covariance = Covariance::from_normal(problem.prior_normal(&judged.linearization));
        let misfit_ratio = problem.misfit_ratio(solution_cost);
        let Judged { solution, covariance, explanations, with_elbows, .. } = judged;
        Self {
            observations,
            problem,
            theta: solution.theta,
            outcome: Outcome {
                iterations: solution.iterations,
                is_converged: solution.is_converged,
                cost: solution.cost,
            },
            residuals,
            covariance: Some(covariance),
            prior_covariance,
            explanations,
            with_elbows,
            is_ambiguous,
            misfit_ratio,
        }
    }

    /// How the iteration ended.
    #[must_use]
    pub const fn outcome(&self) -> Outcome {
        self.outcome
    }

    /// Every mark's distance from where the others put it, in the order of reaches, frames and marks. Marks of the head
    /// are not modelled and not listed.
    #[must_use]
    pub fn residuals(&self) -> &[MarkResidual] {
        &self.residuals
    }

    /// The value and standard uncertainty of a linear combination of quantities, with everything they share.
    ///
    /// A raise with several marked frames counts as their mean. Where a mark may be bad, value and uncertainty are those of
    /// all explanations together, each with the share of the evidence that it has. Where the marks lie further from the
    /// model than their spread allows, every uncertainty is larger by that ratio (Birge 1932, The calculation of errors by
    /// the method of least squares, Physical Review 40, 207-227): the body is softer than the model.
    ///
    /// # Errors
    /// [`Undetermined`] when the fit did not converge, when two solutions cannot be told apart, or when the marks do not
    /// determine one of the quantities.
    pub fn combine(&self, terms: &[Term]) -> Result<Estimate, Undetermined> {
        for term in terms {
            self.check_determined(*term)?;
        }
        Ok(self.combine_anyway(terms))
    }

    /// The covariance of two linear combinations.
    ///
    /// # Errors
    /// As for [`VisitFit::combine`].
    pub fn covariance(&self, first: &[Term], second: &[Term]) -> Result<f64, Undetermined> {
        for term in first.iter().chain(second) {
            self.check_determined(*term)?;
        }
        let covariance = self.covariance.as_ref().ok_or_else(not_converged)?;
        let whitened = |terms: &[Term]| covariance.whitened(&self.evaluate(terms).1);
        let within = mixed_covariance(self.explanations_for(first), &whitened(first), &whitened(second));
        Ok(within * self.misfit_ratio * self.misfit_ratio)
    }

    /// The number of raises of a reach.
    #[must_use]
    pub fn raises(&self, reach: usize) -> usize {
        self.problem.frames.iter().filter(|seen| seen.reach == reach).map(|seen| seen.raise + 1).max().unwrap_or(0)
    }

    /// Which reaches were filmed by a camera that stood still between them: equal numbers share a set-up.
    #[must_use]
    pub fn setup_of_reach(&self) -> &[usize] {
        &self.problem.setup_of_reach
    }

    fn combine_anyway(&self, terms: &[Term]) -> Estimate {
        let (value, gradient) = self.evaluate(terms);
        let Some(covariance) = self.covariance.as_ref() else { return Estimate { value, u: f64::INFINITY } };
        let whitened = covariance.whitened(&gradient);
        let explanations = self.explanations_for(terms);
        let change = mean_change(explanations, &whitened);
        let u = self.misfit_ratio * mixed_covariance(explanations, &whitened, &whitened).max(0.0).sqrt();
        Estimate { value: value + change, u }
    }

    /// Whether an elbow is bent is what its mark is asked for: a straight arm must not be assumed to call it bad.
    fn explanations_for(&self, terms: &[Term]) -> &[Explanation] {
        let is_bend = terms.iter().all(|term| term.quantity.is_bend());
        if is_bend { &self.with_elbows } else { &self.explanations }
    }

    fn check_determined(&self, term: Term) -> Result<(), Undetermined> {
        if !self.outcome.is_converged {
            return Err(not_converged());
        }
        if self.frames_of(term).next().is_none() {
            let is_unmarked = self.observations.reaches[term.reach].frames.is_empty();
            let reason = if is_unmarked {
                "a reach is not marked at end range".to_owned()
            } else {
                format!("no frame of raise {} is marked", term.raise + 1)
            };
            return Err(Undetermined { reason });
        }
        if self.is_ambiguous[term.reach] && term.quantity.depends_on_elevation() {
            return Err(Undetermined {
                reason: format!("the arms fit as well before as behind the vertical{FILM_FROM_SIDE}"),
            });
        }
        if term.quantity.needs_scale() && !self.observations.has_scale() {
            return Err(Undetermined {
                reason: "nothing gives the scale: state the bar's length, the arm's length or the stature".to_owned(),
            });
        }
        let undetermined = || Undetermined { reason: format!("the marks do not determine {}", term.quantity.words()) };
        let (_, gradient) = self.evaluate(&[Term { factor: 1.0, ..term }]);
        let (Some(covariance), Some(prior)) = (&self.covariance, &self.prior_covariance) else {
            return Err(undetermined());
        };
        let whitened = covariance.whitened(&gradient);
        // Of the likeliest explanation: what others make of it, the uncertainty tells.
        let with_marks =
            mixed_covariance(self.explanations_for(&[term]).get(..1).unwrap_or_default(), &whitened, &whitened);
        let without = prior.whitened(&gradient).norm_squared();
        if with_marks <= DETERMINED_VARIANCE_RATIO * without { Ok(()) } else { Err(undetermined()) }
    }

    fn frames_of(&self, term: Term) -> impl Iterator<Item = &FrameProblem> {
        self.problem.frames.iter().filter(move |seen| seen.reach == term.reach && seen.raise == term.raise)
    }

    /// Value and gradient over the whole parameter vector.
    fn evaluate(&self, terms: &[Term]) -> (f64, DVector<f64>) {
        let mut value = 0.0;
        let mut gradient = DVector::zeros(self.problem.parameter_count);
        for term in terms {
            let count = self.frames_of(*term).count() as f64;
            for seen in self.frames_of(*term) {
                let p = Problem::dual_parameters(seen, &self.theta);
                let (body, sight) = self.problem.scene(seen, &p);
                let heading = p[local::SETUP + setup::HEADING] + p[local::REACH + reach::TURN];
                let quantity = term.quantity.evaluate(&body, &sight, heading);
                let weight = term.factor / count;
                value += weight * quantity.value();
                scatter(seen, quantity.gradient(), weight, &mut gradient);
            }
        }
        (value, gradient)
    }

    /// By how much the marks lie further from the model than their spread allows; 1 where they do not.
    pub(super) const fn misfit_ratio(&self) -> f64 {
        self.misfit_ratio
    }

    /// What the marks may be, each with its share of the evidence: for all quantities, and for the bend of an elbow.
    pub(super) fn all_explanations(&self) -> (&[Explanation], &[Explanation]) {
        (&self.explanations, &self.with_elbows)
    }

    /// Where the model puts a mark, px of the unmirrored picture, and whether it is a plumb mark.
    pub(super) fn predicted_marks(&self, seen: &FrameProblem) -> Vec<(Landmark, [f64; 2], bool)> {
        let p = Problem::local_parameters(seen, &self.theta);
        let (body, sight) = self.problem.scene(seen, &p);
        seen.marks
            .iter()
            .map(|mark| (mark.landmark, predicted(mark, &body, &sight), plumb_normal(mark, &sight).is_some()))
            .collect()
    }
}

/// By how much the mean over all explanations lies from the present solution.
fn mean_change(explanations: &[Explanation], whitened: &DVector<f64>) -> f64 {
    explanations.iter().map(|explanation| explanation.weight * whitened.dot(&explanation.step)).sum()
}

/// The covariance of two combinations over these explanations: that within each, averaged, and that of their means.
fn mixed_covariance(explanations: &[Explanation], first: &DVector<f64>, second: &DVector<f64>) -> f64 {
    let total: f64 = explanations.iter().map(|explanation| explanation.weight).sum();
    let means = [first, second].map(|whitened| mean_change(explanations, whitened) / total);
    let extra: f64 = explanations
        .iter()
        .map(|explanation| {
            let lost: f64 = explanation.losses.iter().map(|loss| first.dot(loss) * second.dot(loss)).sum();
            let between = (first.dot(&explanation.step) - means[0]) * (second.dot(&explanation.step) - means[1]);
            explanation.weight / total * (lost + between)
        })
        .sum();
    first.dot(second) + extra
}

fn not_converged() -> Undetermined {
    Undetermined { reason: "the fit of body and camera to the marks did not converge".to_owned() }
}

impl Quantity {
    /// Whether the quantity differs between the arms before and behind the vertical.
    const fn depends_on_elevation(self) -> bool {
        matches!(
            self,
            Self::Elevation(_) | Self::ElevationBoth | Self::ElevationFromVertical(_) | Self::ElevationFromVerticalBoth
        )
    }

    /// Whether the quantity is a height in mm, which the usual stature alone must not stand in for.
    const fn needs_scale(self) -> bool {
        matches!(self, Self::BarHeightAboveDatum | Self::BarHeightAboveHip)
    }

    pub(super) const fn is_bend(self) -> bool {
        matches!(self, Self::ElbowInPlane(_) | Self::ElbowOutOfPlane(_))
    }

    /// The elevation from the trunk of one side, or of both.
    #[must_use]
    pub const fn elevation_of(side: Option<Side>) -> Self {
        match side {
            Some(side) => Self::Elevation(side),
            None => Self::ElevationBoth,
        }
    }
}
