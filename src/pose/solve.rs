//! Damped Gauss-Newton on the whitened residuals, and the factored normal matrix that every covariance comes from.
//!
//! # Source
//! Levenberg (1944); Marquardt (1963), An algorithm for least-squares estimation of nonlinear parameters, Journal of the
//! Society for Industrial and Applied Mathematics 11(2), 431-441.

use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

use super::dual::{Dual, LOCAL, Scalar};
use super::layout::local;
use super::loss::Loss;
use super::problem::{FrameProblem, Problem, Row};

/// Steps that are tried at most, accepted or not.
const MAX_STEPS: usize = 300;
/// The iteration has converged when a step moves no parameter combination by more than this share of its standard
/// uncertainty (the step's norm in the metric of the normal matrix).
const STEP_TOLERANCE: f64 = 1e-3;
/// The same for a solution that only says where to start from.
const FORGIVING_STEPS: usize = 60;
const FORGIVING_STEP_TOLERANCE: f64 = 1.0;
const FIRST_DAMPING: f64 = 1e-3;
const LEAST_DAMPING: f64 = 1e-9;
const MOST_DAMPING: f64 = 1e9;
/// Below this damping a step is as good as undamped, and its length tells of convergence.
const LITTLE_DAMPING: f64 = 1e-2;
/// The parabola's minimum is trusted within these shares of the step, and not looked at when it is near the full step.
const LEAST_SHARE: f64 = 0.1;
const MOST_SHARE: f64 = 2.0;
const FULL_SHARE_WITHIN: f64 = 0.15;

/// A minimum of the cost.
#[derive(Debug, Clone)]
pub(super) struct Solution {
    pub theta: Vec<f64>,
    pub cost: f64,
    pub iterations: usize,
    pub is_converged: bool,
}

/// The problem linearized at a point: rows by frame, and the normal matrix and gradient of the cost.
#[derive(Debug, Clone)]
pub(super) struct Linearization {
    /// For each frame its rows, each with the mark's place in the frame.
    pub rows: Vec<Vec<(Row, Option<usize>)>>,
    pub normal: DMatrix<f64>,
    pub gradient: DVector<f64>,
}

impl Problem {
    /// Residuals, derivatives, normal matrix and gradient at `theta`.
    pub(super) fn linearize(&self, theta: &[f64]) -> Linearization {
        self.linearize_under(theta, Loss::Square)
    }

    fn linearize_under(&self, theta: &[f64], loss: Loss) -> Linearization {
        let count = self.parameter_count;
        let mut normal = DMatrix::zeros(count, count);
        let mut gradient = DVector::zeros(count);
        for prior in &self.priors {
            let slope = 1.0 / prior.sd_in_force();
            let weight = loss.weight_of_prior(prior, theta);
            normal[(prior.index, prior.index)] += weight * slope * slope;
            gradient[prior.index] += weight * slope * prior.residual(theta);
        }
        let mut rows: Vec<Vec<(Row, Option<usize>)>> =
            self.frames.iter().map(|frame| self.frame_rows(frame, theta)).collect();
        if loss != Loss::Square {
            self.frames.iter().zip(&mut rows).for_each(|(frame, frame_rows)| loss.weigh(frame, frame_rows));
        }
        for (frame, frame_rows) in self.frames.iter().zip(&rows) {
            accumulate(frame, frame_rows, &mut normal, &mut gradient);
        }
        Linearization { rows, normal, gradient }
    }

    /// The normal matrix of the priors and couplings alone: what is known before any mark.
    pub(super) fn prior_normal(&self, linearization: &Linearization) -> DMatrix<f64> {
        let count = self.parameter_count;
        let mut normal = DMatrix::zeros(count, count);
        for prior in &self.priors {
            normal[(prior.index, prior.index)] += 1.0 / (prior.sd * prior.sd);
        }
        let mut unused = DVector::zeros(count);
        for (frame, rows) in self.frames.iter().zip(&linearization.rows) {
            let couplings: Vec<_> = rows.iter().filter(|(_, mark)| mark.is_none()).cloned().collect();
            accumulate(frame, &couplings, &mut normal, &mut unused);
        }
        normal
    }

    fn frame_rows(&self, frame: &FrameProblem, theta: &[f64]) -> Vec<(Row, Option<usize>)> {
        let p = Self::dual_parameters(frame, theta);
        let mut rows = Vec::with_capacity(2 * frame.marks.len() + 3);
        self.frame_residuals(frame, &p, theta, |residual: Dual, shared, mark| {
            rows.push((Row { value: residual.value(), gradient: *residual.gradient(), shared }, mark));
        });
        rows
    }

    /// Follows the cost downhill from `start` to a minimum.
    pub(super) fn solve(&self, start: Vec<f64>) -> Solution {
        self.descend(start, Loss::Square, MAX_STEPS, STEP_TOLERANCE)
    }

    /// Goes to about where most of the marks lead, whatever the others are: from there it is told which ones are bad. Its cost
    /// is that of all marks as they are.
    pub(super) fn solve_forgivingly(&self, start: Vec<f64>) -> Solution {
        let solution = self.descend(start, Loss::Forgiving, FORGIVING_STEPS, FORGIVING_STEP_TOLERANCE);
        Solution { cost: self.cost(&solution.theta, Loss::Square), ..solution }
    }

    fn descend(&self, start: Vec<f64>, loss: Loss, most_steps: usize, tolerance: f64) -> Solution {
        let mut theta = start;
        let mut cost = self.cost(&theta, loss);
        let mut damping = FIRST_DAMPING;
        let mut linearization = self.linearize_under(&theta, loss);
        for iterations in 1..=most_steps {
            let mut damped = linearization.normal.clone();
            for i in 0..damped.nrows() {
                damped[(i, i)] *= 1.0 + damping;
            }
            let Some(factor) = Cholesky::new(damped) else {
                damping *= 10.0;
                continue;
            };
            let step = -factor.solve(&linearization.gradient);
            let length = step.dot(&(&linearization.normal * &step)).sqrt();
            let slope = linearization.gradient.dot(&step);
            let (trial, trial_cost) = self.search_along(&theta, cost, &step, slope, loss);
            if trial_cost.is_finite() && trial_cost <= cost {
                theta = trial;
                cost = trial_cost;
                if length < tolerance && damping <= LITTLE_DAMPING {
                    return Solution { theta, cost, iterations, is_converged: true };
                }
                damping = (damping * 0.1).max(LEAST_DAMPING);
                linearization = self.linearize_under(&theta, loss);
            } else if length < tolerance && trial_cost.is_finite() {
                // Too near to the minimum for the cost to resolve a difference.
                return Solution { theta, cost, iterations, is_converged: true };
            } else {
                damping *= 10.0;
                if damping > MOST_DAMPING {
                    break;
                }
            }
        }
        Solution { theta, cost, iterations: most_steps, is_converged: false }
    }

    /// The full step, or the minimum of the parabola through the cost and its slope here and the cost there, whichever is
    /// lower. Where the residuals curve, Gauss-Newton can overshoot by nearly the whole step, again and again.
    fn search_along(&self, theta: &[f64], cost: f64, step: &DVector<f64>, slope: f64, loss: Loss) -> (Vec<f64>, f64) {
        let at = |share: f64| {
            let there: Vec<f64> = theta.iter().zip(step.iter()).map(|(value, change)| value + share * change).collect();
            let cost = self.cost(&there, loss);
            (there, cost)
        };
        let full = at(1.0);
        let curvature = full.1 - cost - slope;
        if !(curvature.is_finite() && curvature > 0.0) {
            return full;
        }
        let share = (-slope / (2.0 * curvature)).clamp(LEAST_SHARE, MOST_SHARE);
        if (share - 1.0).abs() < FULL_SHARE_WITHIN {
            return full;
        }
        let part = at(share);
        if part.1 < full.1 || !full.1.is_finite() { part } else { full }
    }
}

/// The normal matrix, factored, so that any combination of parameters has its variance by one triangular solve.
#[derive(Debug, Clone)]
pub(super) struct Covariance {
    factor: Cholesky<f64, Dyn>,
}

impl Covariance {
    /// Factors a normal matrix; `None` when it is not positive definite.
    pub(super) fn from_normal(normal: DMatrix<f64>) -> Option<Self> {
        Cholesky::new(normal).map(|factor| Self { factor })
    }

    /// A gradient in the metric of the covariance: the dot product of two such vectors is a covariance.
    pub(super) fn whitened(&self, gradient: &DVector<f64>) -> DVector<f64> {
        let mut out = gradient.clone();
        let is_solved = self.factor.l_dirty().solve_lower_triangular_mut(&mut out);
        debug_assert!(is_solved, "a Cholesky factor has no zero on its diagonal");
        out
    }
}

/// Adds a frame's rows to the normal matrix and the gradient.
fn accumulate(
    frame: &FrameProblem,
    rows: &[(Row, Option<usize>)],
    normal: &mut DMatrix<f64>,
    gradient: &mut DVector<f64>,
) {
    let mut block = [[0.0; LOCAL]; LOCAL];
    let mut slope = [0.0; LOCAL];
    for (row, _) in rows {
        for (i, a) in row.gradient.iter().enumerate().take(local::COUNT) {
            if *a == 0.0 {
                continue;
            }
            slope[i] += a * row.value;
            for (target, b) in block[i].iter_mut().zip(&row.gradient).take(i + 1) {
                *target += a * b;
            }
        }
        let (starts, factors) = row.shared;
        for start in starts.into_iter().flatten() {
            for (axis, factor) in factors.iter().enumerate() {
                let index = start + axis;
                gradient[index] += factor * row.value;
                for other_start in starts.into_iter().flatten() {
                    for (other, second) in factors.iter().enumerate() {
                        normal[(index, other_start + other)] += factor * second;
                    }
                }
                for (i, a) in row.gradient.iter().enumerate().take(local::COUNT) {
                    let product = factor * a;
                    normal[(index, frame.blocks.global(i))] += product;
                    normal[(frame.blocks.global(i), index)] += product;
                }
            }
        }
    }
    for (i, (products, slope)) in block.iter().zip(slope).enumerate().take(local::COUNT) {
        let row = frame.blocks.global(i);
        gradient[row] += slope;
        for (j, product) in products.iter().enumerate().take(i + 1) {
            let column = frame.blocks.global(j);
            normal[(row, column)] += product;
            if i != j {
                normal[(column, row)] += product;
            }
        }
    }
}

/// A local gradient spread over the whole parameter vector, added to `out` with a factor.
pub(super) fn scatter(frame: &FrameProblem, gradient: &[f64; LOCAL], factor: f64, out: &mut DVector<f64>) {
    for (index, slope) in gradient.iter().enumerate().take(local::COUNT) {
        out[frame.blocks.global(index)] += factor * slope;
    }
}

/// The gradient of one row over the whole parameter vector.
pub(super) fn row_gradient(frame: &FrameProblem, row: &Row, count: usize) -> DVector<f64> {
    let mut out = DVector::zeros(count);
    scatter(frame, &row.gradient, 1.0, &mut out);
    let (starts, factors) = row.shared;
    for start in starts.into_iter().flatten() {
        out[start] += factors[0];
        out[start + 1] += factors[1];
    }
    out
}
