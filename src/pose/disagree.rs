//! Marks that disagree with the others: each is tested against where all the others put it, the worst is set aside, the
//! fit is repeated, until none stands out.
//!
//! The test is the squared deleted residual in the metric of its covariance, which both follow from the fit with the mark
//! in it: with own covariance `S` and the fit's covariance of the predicted point `P`, the residual `e` has covariance
//! `S - P`, the deleted residual is `S (S - P)^-1 e` and its square in its own metric is `e' (S - P)^-1 e`.
//!
//! # Source
//! Baarda (1968), A testing procedure for use in geodetic networks; Cook and Weisberg (1982), Residuals and Influence in
//! Regression, chapter 2 (deleted residuals).

use nalgebra::{DMatrix, DVector};

use super::problem::{FrameProblem, MarkProblem, Problem, Row, SET_ASIDE_FACTOR, whitening};
use super::solve::{Covariance, Linearization, Solution, row_gradient};
use crate::geometry::Landmark;

/// A mark stands out when its squared deleted residual exceeds this. Were the priors' spreads exact, one good mark in 27
/// would (chi-squared with two degrees of freedom, 0.037); in the seeded scenes of `benches/fit_accuracy.rs` far fewer do.
const DISAGREE_SQUARE: f64 = 6.6;
/// ... and when it is at least this many of its own standard deviations away: a smaller distance is a careful person's own.
const DISAGREE_SDS: f64 = 4.5;
/// At most this share of the marks is set aside; beyond it, it is no longer clear which marks are the good ones.
const MOST_SET_ASIDE_RATIO: f64 = 0.34;
/// A mark this many standard deviations off is a slip, not a second opinion: it no longer widens the uncertainty.
const SLIP_SDS: f64 = 10.0;

/// How a mark stands to the others.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    /// Deleted residual, px (across the line alone for a plumb mark).
    pub distance_px: f64,
    /// Its standard uncertainty in its own direction, px.
    pub u_px: f64,
    /// Squared deleted residual in its own metric.
    pub square: f64,
    /// What putting the mark back would change. Only for marks set aside.
    pub pull: Option<Pull>,
}

/// What putting a mark back would change.
#[derive(Debug, Clone)]
pub(super) struct Pull {
    /// The step of the parameters, in the whitened metric of the covariance.
    pub step: DVector<f64>,
    /// The variance that the mark would take away: the sum of squares of a combination's products with these.
    pub gains: Vec<DVector<f64>>,
    /// The share of it that stands for the doubt about the mark: half, for the two ways it can be, and less for a slip.
    pub doubt: f64,
    pub landmark: Landmark,
}

impl Pull {
    /// By how much the mark would lower the variance of a combination with this whitened gradient.
    pub(super) fn sharpens(&self, whitened: &DVector<f64>) -> f64 {
        self.gains.iter().map(|gain| whitened.dot(gain).powi(2)).sum()
    }
}

/// The converged fit with its marks judged.
pub(super) struct Judged {
    pub solution: Solution,
    pub linearization: Linearization,
    pub covariance: Covariance,
    /// By frame and mark of the problem.
    pub standings: Vec<Vec<Standing>>,
}

/// Solves from `start`, sets disagreeing marks aside one by one, and solves again. `None` when the normal matrix cannot be
/// factored.
pub(super) fn solve_and_judge(problem: &mut Problem, start: Vec<f64>) -> Option<Judged> {
    let total: usize = problem.frames.iter().map(|frame| frame.marks.len()).sum();
    let mut left = (0..total).filter(|k| (*k as f64 + 1.0) <= MOST_SET_ASIDE_RATIO * total as f64).count();
    let mut solution = problem.solve(start);
    loop {
        let linearization = problem.linearize(&solution.theta);
        let covariance = Covariance::from_normal(linearization.normal.clone())?;
        let standings = judge(problem, &linearization, &covariance);
        let worst = worst(problem, &standings);
        match worst {
            Some((frame, mark)) if left > 0 => {
                left -= 1;
                problem.frames[frame].marks[mark].is_set_aside = true;
                let again = problem.solve(solution.theta);
                solution = Solution { iterations: solution.iterations + again.iterations, ..again };
            }
            _ => {
                if let Some((frame, mark)) = readmitted(problem, &standings) {
                    problem.frames[frame].marks[mark].is_set_aside = false;
                    left = 0;
                    let again = problem.solve(solution.theta);
                    solution = Solution { iterations: solution.iterations + again.iterations, ..again };
                    continue;
                }
                return Some(Judged { solution, linearization, covariance, standings });
            }
        }
    }
}

fn worst(problem: &Problem, standings: &[Vec<Standing>]) -> Option<(usize, usize)> {
    let mut worst: Option<(usize, usize, f64)> = None;
    for (f, frame) in problem.frames.iter().enumerate() {
        for (m, mark) in frame.marks.iter().enumerate() {
            let standing = &standings[f][m];
            if !mark.is_set_aside
                && stands_out(mark, standing)
                && worst.is_none_or(|(_, _, most)| standing.square > most)
            {
                worst = Some((f, m, standing.square));
            }
        }
    }
    worst.map(|(f, m, _)| (f, m))
}

/// A mark that was set aside while a worse one still bent the fit, and agrees now.
fn readmitted(problem: &Problem, standings: &[Vec<Standing>]) -> Option<(usize, usize)> {
    for (f, frame) in problem.frames.iter().enumerate() {
        for (m, mark) in frame.marks.iter().enumerate() {
            if mark.is_set_aside && !stands_out(mark, &standings[f][m]) {
                return Some((f, m));
            }
        }
    }
    None
}

fn stands_out(mark: &MarkProblem, standing: &Standing) -> bool {
    let sd = (mark.covariance_px2.trace() / 2.0).sqrt();
    standing.square > DISAGREE_SQUARE && standing.distance_px > DISAGREE_SDS * sd
}

fn judge(problem: &Problem, linearization: &Linearization, covariance: &Covariance) -> Vec<Vec<Standing>> {
    let mut standings = Vec::with_capacity(problem.frames.len());
    for (frame, rows) in problem.frames.iter().zip(&linearization.rows) {
        let of_frame = (0..frame.marks.len())
            .map(|place| {
                let rows: Vec<&Row> =
                    rows.iter().filter(|(_, mark)| *mark == Some(place)).map(|(row, _)| row).collect();
                standing(problem, frame, &frame.marks[place], &rows, covariance)
            })
            .collect();
        standings.push(of_frame);
    }
    standings
}

/// The standing of one mark from its whitened rows.
fn standing(
    problem: &Problem,
    frame: &FrameProblem,
    mark: &MarkProblem,
    rows: &[&Row],
    covariance: &Covariance,
) -> Standing {
    // In whitened units the mark's own covariance is the identity. A mark that was set aside has rows scaled down by a
    // known factor; scaled back, its residual is the deleted residual itself and its covariance is I + P.
    let n = rows.len();
    let own = if mark.is_set_aside { SET_ASIDE_FACTOR } else { 1.0 };
    let gradients: Vec<DVector<f64>> =
        rows.iter().map(|row| covariance.whitened(&row_gradient(frame, row, problem.parameter_count))).collect();
    let residual = DVector::from_iterator(n, rows.iter().map(|row| row.value * own));
    let predicted = DMatrix::from_fn(n, n, |i, j| gradients[i].dot(&gradients[j]) * own * own);
    let identity = DMatrix::<f64>::identity(n, n);
    let spread = if mark.is_set_aside { &identity + &predicted } else { &identity - &predicted };
    let Some(factor) = spread.clone().cholesky() else {
        // Nothing but this mark says where it should be: it cannot disagree.
        return Standing { distance_px: 0.0, u_px: f64::INFINITY, square: 0.0, pull: None };
    };
    let solved = factor.solve(&residual);
    let square = residual.dot(&solved);
    let deleted = if mark.is_set_aside { residual.clone() } else { solved.clone() };
    let deleted_px = unwhitened(mark, &deleted);
    let distance_px = deleted_px.norm();
    let u_px = if square > 0.0 { distance_px / square.sqrt() } else { f64::INFINITY };
    let pull = mark.is_set_aside.then(|| {
        let sds = distance_px / (mark.covariance_px2.trace() / 2.0).sqrt();
        let mut step = DVector::zeros(problem.parameter_count);
        for (gradient, factor) in gradients.iter().zip(solved.iter()) {
            step -= gradient * (own * factor);
        }
        Pull {
            step,
            gains: gains(&gradients, own, factor.l_dirty()),
            doubt: 0.5 * (-(sds / SLIP_SDS).powi(4)).exp(),
            landmark: mark.landmark,
        }
    });
    Standing { distance_px, u_px, square, pull }
}

/// The directions in which a mark would sharpen the fit: with `S = I + P = L L'` these are the columns of the mark's
/// gradients times the inverse of `L'`.
fn gains(gradients: &[DVector<f64>], own: f64, lower: &DMatrix<f64>) -> Vec<DVector<f64>> {
    let mut columns: Vec<DVector<f64>> = Vec::with_capacity(gradients.len());
    for (i, gradient) in gradients.iter().enumerate() {
        let mut column = gradient * own;
        for (j, known) in columns.iter().enumerate() {
            column -= known * lower[(i, j)];
        }
        columns.push(column / lower[(i, i)]);
    }
    columns
}

/// A whitened residual in px.
fn unwhitened(mark: &MarkProblem, residual: &DVector<f64>) -> DVector<f64> {
    if residual.len() == 1 {
        let sd = (mark.covariance_px2.trace() / 2.0).sqrt();
        return residual * sd;
    }
    let [[a, _], [b, c]] = whitening(&mark.covariance_px2);
    let x = residual[0] / a;
    DVector::from_vec(vec![x, (residual[1] - b * x) / c])
}
