//! Which marks are bad: a search over sets of marks, each weighed by how well the other marks fit without them.
//!
//! A mark is either good, with its stated covariance, or bad, and then lies about its true place with one of the spreads of
//! [`MISPLACED`]: a slip is small, a wrong spot is far. With whitened residuals `e` of the solution that uses all marks, and
//! `M` one minus the hat matrix, the others put a set `A` of marks at a distance `r = M_AA^-1 e_A` with covariance
//! `D = M_AA^-1` if they are good, and `D + (k^2 - 1) I` if their spread is `k` times as wide. The ratio of these two
//! densities, and the odds of a bad mark, give the log evidence of "just these are bad" against "none is". One linearization
//! thus judges every set, also those whose marks only look bad together.
//! In the solution that goes with a set, its marks say nothing.
//!
//! # Source
//! Baarda (1968), A testing procedure for use in geodetic networks (deleted residuals); Box and Tiao (1968), A Bayesian
//! approach to some outlier problems, Biometrika 55(1), 119-129 (weights of sets); Goodnight (1979), A tutorial on the SWEEP
//! operator, The American Statistician 33(3), 149-158.

mod contradicted;

use std::collections::BTreeMap;
use std::ops::Range;

use nalgebra::{DMatrix, DVector};

use super::belief::Origin;
use super::problem::{LONG_SIDE_PX, MarkProblem, Problem, SET_ASIDE_FACTOR, whitening};
use super::solve::{Covariance, Linearization, Solution, row_gradient};
use crate::geometry::Landmark;

/// How many marks in a hundred a person is taken to misplace. Common practice, no source.
const BAD_RATIO: f64 = 0.085;
/// How a misplaced mark lies about its true place: a slip by up to a hand's breadth, a neighbouring spot, or somewhere else.
/// Each bad mark is judged by the one that its own distance makes likeliest. Common practice, no source.
const MISPLACED: [Misplaced; 3] = [
    Misplaced { sd_px: 12.0, share: 0.7 },
    Misplaced { sd_px: 36.0, share: 0.2 },
    Misplaced { sd_px: 108.0, share: 0.1 },
];
/// In how many reaches of a hundred the trunk moves by more than [`super::priors::TRUNK_MOVEMENT_SD_DEG`] allows, and how far
/// it then leans from the other reaches, deg. Common practice, no source.
const MOVED_RATIO: f64 = 0.03;
const MOVED_SD_DEG: f64 = 8.0;
/// A mark nearer to where the others put it than this many standard deviations is a careful person's own and never bad.
const NEAR_SDS: f64 = 4.5;
/// The standard deviation that this counts at least, px at [`LONG_SIDE_PX`]: bodies are softer than the model.
pub(super) const SOFT_SD_PX: f64 = 1.0;
/// Sets that are followed at a time, and marks that each is extended by.
const BEAM: usize = 8;
const BRANCHES: usize = 5;
/// A mark is tried although alone it lowers the evidence by this: beside another it may raise it.
const LEAST_GAIN: f64 = -4.0;
/// Sets with less than this share of the best one's evidence are forgotten.
const LEAST_WEIGHT: f64 = 1e-3;
/// At most this share of the marks is taken for bad; beyond it, it is no longer clear which marks are the good ones.
const MOST_BAD_RATIO: f64 = 0.34;
/// Smallest eigenvalue of `M_AA` at which a set still has something to be judged by.
const LEAST_FREEDOM: f64 = 1e-6;
/// The same for a mark from which others come: what the rest knows only to ten of its spreads, the rest can't judge.
const LEAST_ORIGIN_FREEDOM: f64 = 1e-2;

/// A set of bad marks that has some weight.
#[derive(Debug, Clone)]
pub(super) struct Explanation {
    /// Numbers of the marks, ascending, over all frames of the problem.
    pub bad: Vec<usize>,
    /// Share of the evidence; all shares add up to one.
    pub weight: f64,
    /// From the solution that uses all marks to the one without these, in the whitened metric of the covariance.
    pub step: DVector<f64>,
    /// What their loss adds to the variance: the sum of squares of a combination's products with these.
    pub losses: Vec<DVector<f64>>,
}

/// How one mark stands to the others.
#[derive(Debug, Clone, Copy)]
pub(super) struct Standing {
    /// Distance from where the others put it, px (across the line alone for a plumb mark).
    pub distance_px: f64,
    /// Its standard uncertainty in its own direction, px.
    pub u_px: f64,
    /// Share of the evidence that takes it for bad.
    pub probability: f64,
}

/// The judgement of all marks at one linearization.
#[derive(Debug)]
pub(super) struct Verdict {
    /// Explanations, the likeliest first.
    pub explanations: Vec<Explanation>,
    /// The same with every elbow's mark taken for good whose bend is told.
    pub with_elbows: Vec<Explanation>,
    /// By number of the mark.
    pub standings: Vec<Standing>,
    /// Factored normal matrix with all marks in.
    pub covariance: Covariance,
    /// From the solution with all marks to the present one, in the whitened metric of the covariance.
    pub current_step: DVector<f64>,
    /// Cost and penalties of the likeliest explanation.
    pub likeliest_objective: f64,
}

/// One way for a mark to be bad.
struct Misplaced {
    /// Standard deviation in each direction, px at [`LONG_SIDE_PX`].
    sd_px: f64,
    /// Share of the misplaced marks.
    share: f64,
}

/// What may be bad: a mark, the mark from which others come, or the belief that the trunk kept still in a reach.
struct Suspect<'a> {
    mark: Option<&'a MarkProblem>,
    /// The mark from which others come, with the standard deviation of its error, px.
    origin: Option<(Origin, f64)>,
    is_set_aside: bool,
    rows: Range<usize>,
    /// The ways for it to be bad.
    ways: Vec<Way>,
    near_px: f64,
}

/// One way for a suspect to be bad.
#[derive(Clone, Copy)]
struct Way {
    /// Log odds of good against bad in this way.
    log_odds: f64,
    /// How many times as wide its spread is then.
    spread: f64,
}

impl Way {
    /// The log density of a deleted residual without the constants that all ways of a suspect have in common.
    fn log_density(self, deleted: &DVector<f64>) -> f64 {
        let rows = deleted.len() as f64;
        -self.log_odds - rows * self.spread.ln() - 0.5 * deleted.norm_squared() / (self.spread * self.spread)
    }
}

impl Suspect<'_> {
    /// Whether it is an elbow whose bend is told: one of the far arm in a side view would bend the near one with it.
    fn is_told_elbow(&self) -> bool {
        let landmark = self.mark.map(|mark| mark.landmark).or(self.origin.map(|(origin, _)| origin.landmark));
        let is_elbow = landmark.is_some_and(|landmark| matches!(landmark, Landmark::Elbow(_)));
        is_elbow && !self.mark.is_some_and(|mark| mark.is_of_far_arm)
    }

    /// The likeliest way for it to be bad at a deleted residual.
    fn way(&self, deleted: &DVector<f64>) -> Way {
        let by_density = |a: &&Way, b: &&Way| a.log_density(deleted).total_cmp(&b.log_density(deleted));
        *self.ways.iter().max_by(by_density).expect("every suspect has a way to be bad")
    }

    /// Whether a deleted residual is too small to be anything but a careful person's.
    fn is_near(&self, deleted: &DVector<f64>) -> bool {
        self.distance_px(deleted).is_some_and(|distance_px| distance_px < self.near_px)
    }

    /// A deleted residual as a distance on the picture; `None` for what is not a mark.
    fn distance_px(&self, deleted: &DVector<f64>) -> Option<f64> {
        let of_mark = self.mark.map(|mark| unwhitened(mark, deleted).norm());
        of_mark.or(self.origin.map(|(_, sd_px)| deleted.norm() * sd_px))
    }
}

/// The linearized problem with all marks in.
struct Judge<'a> {
    suspects: Vec<Suspect<'a>>,
    gradients: Vec<DVector<f64>>,
    residual: DVector<f64>,
    freedom: DMatrix<f64>,
    covariance: Covariance,
    cost: f64,
    /// As [`Problem::contradictions`].
    contradictions: &'a [Vec<Vec<usize>>],
    /// For each mark, the number of the suspect that is the mark from which others come, if it is one.
    origin_of_mark: Vec<Option<usize>>,
}

/// A set of marks taken out, with what is left of residuals and freedom.
#[derive(Clone)]
struct Candidate {
    bad: Vec<usize>,
    evidence: f64,
    residual: DVector<f64>,
    freedom: DMatrix<f64>,
}

/// Judges the marks at a linearization around a solution with cost `cost`, in which marks may have been set aside. `None`
/// when the normal matrix cannot be factored.
pub(super) fn judge(problem: &Problem, linearization: &Linearization, solution: &Solution) -> Option<Verdict> {
    let judge = Judge::new(problem, linearization, &solution.theta, solution.cost)?;
    let explanations = judge.explanations();
    let with_elbows = explanations.iter().map(|explanation| judge.with_elbows(explanation)).collect();
    let marks = judge.suspects.iter().filter(|suspect| suspect.mark.is_some()).count();
    let standings = (0..marks).map(|number| judge.standing_with_origin(number, &explanations)).collect();
    let likeliest_objective = judge.cost - judge.evidence(&explanations[0].bad).unwrap_or(0.0);
    let current = judge.set_aside();
    let current_step = judge.explanation(current, 1.0)?.step;
    Some(Verdict {
        explanations,
        with_elbows,
        standings,
        covariance: judge.covariance,
        current_step,
        likeliest_objective,
    })
}

impl<'a> Judge<'a> {
    fn new(problem: &'a Problem, linearization: &Linearization, theta: &[f64], cost: f64) -> Option<Self> {
        let count = problem.parameter_count;
        let mut normal = linearization.normal.clone();
        let mut gradient = linearization.gradient.clone();
        let mut suspects = Vec::new();
        let mut row_gradients = Vec::new();
        let mut values = Vec::new();
        let mut cost = cost;
        for (frame, rows) in problem.frames.iter().zip(&linearization.rows) {
            let scale = f64::from(frame.long_side_px) / LONG_SIDE_PX;
            for (place, mark) in frame.marks.iter().enumerate() {
                let start = values.len();
                let own = if mark.is_set_aside { SET_ASIDE_FACTOR } else { 1.0 };
                for (row, _) in rows.iter().filter(|(_, of)| *of == Some(place)) {
                    let slopes = row_gradient(frame, row, count) * own;
                    if mark.is_set_aside {
                        normal.ger(1.0, &slopes, &slopes, 1.0);
                        gradient.axpy(row.value * own, &slopes, 1.0);
                        cost += 0.5 * (row.value * own).powi(2);
                    }
                    values.push(row.value * own);
                    row_gradients.push(slopes);
                }
                let sd_px = mark.sd_px();
                let rows = start..values.len();
                suspects.push(Suspect {
                    mark: Some(mark),
                    origin: None,
                    is_set_aside: mark.is_set_aside,
                    rows,
                    ways: misplaced(sd_px, scale),
                    near_px: NEAR_SDS * sd_px.max(SOFT_SD_PX * scale),
                });
            }
        }
        for belief in problem.beliefs() {
            let start = values.len();
            let mut sd = f64::MIN_POSITIVE;
            for place in &belief.places {
                let prior = &problem.priors[*place];
                let mut slopes = DVector::zeros(count);
                slopes[prior.index] = 1.0 / prior.sd;
                let value = (theta[prior.index] - prior.mean) / prior.sd - prior.drawn;
                if prior.is_set_aside {
                    normal[(prior.index, prior.index)] += slopes[prior.index].powi(2);
                    gradient[prior.index] += value * slopes[prior.index];
                    cost += 0.5 * value * value;
                }
                sd = sd.max(prior.sd);
                values.push(value);
                row_gradients.push(slopes);
            }
            let scale = belief.origin.map_or(1.0, |origin| f64::from(origin.long_side_px) / LONG_SIDE_PX);
            let ways = if belief.origin.is_some() {
                misplaced(sd, scale)
            } else {
                vec![Way { log_odds: log_odds(MOVED_RATIO), spread: (MOVED_SD_DEG.to_radians() / sd).max(1.0) }]
            };
            suspects.push(Suspect {
                mark: None,
                origin: belief.origin.map(|origin| (origin, sd)),
                is_set_aside: belief.places.iter().any(|place| problem.priors[*place].is_set_aside),
                rows: start..values.len(),
                ways,
                near_px: NEAR_SDS * sd.max(SOFT_SD_PX * scale),
            });
        }
        let covariance = Covariance::from_normal(normal)?;
        let gradients: Vec<DVector<f64>> = row_gradients.iter().map(|slopes| covariance.whitened(slopes)).collect();
        let step = covariance.whitened(&gradient);
        let n = values.len();
        let residual = DVector::from_fn(n, |row, _| values[row] - gradients[row].dot(&step));
        let mut freedom = DMatrix::identity(n, n);
        for row in 0..n {
            for column in 0..=row {
                let hat = gradients[row].dot(&gradients[column]);
                freedom[(row, column)] -= hat;
                if row != column {
                    freedom[(column, row)] -= hat;
                }
            }
        }
        cost -= 0.5 * step.norm_squared();
        let origin_of_mark = suspects
            .iter()
            .map_while(|suspect| suspect.mark)
            .map(|mark| {
                let error = mark.shared[0]?;
                suspects.iter().position(|other| other.origin.is_some_and(|(origin, _)| origin.error == error))
            })
            .collect();
        let contradictions = &problem.contradictions;
        Some(Self { suspects, gradients, residual, freedom, covariance, cost, contradictions, origin_of_mark })
    }

    /// The marks that the present solution goes without.
    fn set_aside(&self) -> Vec<usize> {
        (0..self.suspects.len()).filter(|number| self.suspects[*number].is_set_aside).collect()
    }

    /// The likeliest sets of bad marks by a beam search, with their weights.
    fn explanations(&self) -> Vec<Explanation> {
        let none = Candidate {
            bad: Vec::new(),
            evidence: -self.unsettled(&[]),
            residual: self.residual.clone(),
            freedom: self.freedom.clone(),
        };
        let mut beam = self.settled(none);
        let mut known: BTreeMap<Vec<usize>, f64> =
            beam.iter().map(|candidate| (candidate.bad.clone(), candidate.evidence)).collect();
        let mut best = known.values().copied().fold(f64::NEG_INFINITY, f64::max);
        let most = (0..self.suspects.len())
            .filter(|bad| (*bad as f64 + 1.0) <= MOST_BAD_RATIO * self.suspects.len() as f64)
            .count();
        for _ in 0..most {
            let mut children: Vec<Candidate> = Vec::new();
            for parent in &beam {
                for (number, _) in self.extensions(parent) {
                    let bad = with_one_more(&parent.bad, number);
                    if known.contains_key(&bad) {
                        continue;
                    }
                    let Some(child) = self.extended(parent, number, bad) else { continue };
                    known.insert(child.bad.clone(), child.evidence);
                    children.push(child);
                }
            }
            children.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
            children.truncate(BEAM);
            let Some(top) = children.first() else { break };
            let is_hopeless = top.evidence < best + 2.0 * LEAST_GAIN;
            best = best.max(top.evidence);
            if is_hopeless {
                break;
            }
            beam = children;
        }
        self.weighed(known)
    }

    /// A set with one more suspect in it, which makes it `bad`.
    fn extended(&self, parent: &Candidate, number: usize, bad: Vec<usize>) -> Option<Candidate> {
        let evidence = self.evidence(&bad)?;
        self.without(parent, number, bad, evidence)
    }

    /// The marks by which a set is worth extending, with the evidence that each adds.
    fn extensions(&self, parent: &Candidate) -> Vec<(usize, f64)> {
        let mut gains: Vec<(usize, f64)> = (0..self.suspects.len())
            .filter(|number| parent.bad.binary_search(number).is_err())
            .filter_map(|number| {
                let of = &self.suspects[number];
                let n = of.rows.len();
                let block = parent.freedom.view((of.rows.start, of.rows.start), (n, n)).into_owned();
                let least = if of.origin.is_some() { LEAST_ORIGIN_FREEDOM } else { LEAST_FREEDOM };
                let factor = factored_above(least, &block)?;
                let residual = parent.residual.rows(of.rows.start, n).into_owned();
                let deleted = factor.solve(&residual);
                if of.is_near(&deleted) {
                    return None;
                }
                let way = of.way(&deleted);
                let gain = log_ratio(&factor, &residual, &vec![way.spread; n]) - way.log_odds;
                (gain > LEAST_GAIN).then_some((number, gain))
            })
            .collect();
        gains.sort_by(|a, b| b.1.total_cmp(&a.1));
        gains.truncate(BRANCHES);
        gains
    }

    /// Takes one more mark out.
    fn without(&self, parent: &Candidate, number: usize, bad: Vec<usize>, evidence: f64) -> Option<Candidate> {
        let rows = &self.suspects[number].rows;
        let (start, n) = (rows.start, rows.len());
        let factor = freely_factored(&parent.freedom.view((start, start), (n, n)).into_owned())?;
        let columns = parent.freedom.columns(start, n).into_owned();
        let weights = factor.solve(&columns.transpose());
        let mut freedom = parent.freedom.clone();
        freedom.gemm(-1.0, &columns, &weights, 1.0);
        let deleted = factor.solve(&parent.residual.rows(start, n).into_owned());
        let mut residual = parent.residual.clone();
        residual.gemv(-1.0, &columns, &deleted, 1.0);
        Some(Candidate { bad, evidence, residual, freedom })
    }

    fn weighed(&self, known: BTreeMap<Vec<usize>, f64>) -> Vec<Explanation> {
        let best = known.values().copied().fold(f64::NEG_INFINITY, f64::max);
        let mut sets: Vec<(Vec<usize>, f64)> = known
            .into_iter()
            .map(|(bad, evidence)| (bad, (evidence - best).exp()))
            .filter(|(_, weight)| *weight >= LEAST_WEIGHT)
            .collect();
        sets.sort_by(|a, b| b.1.total_cmp(&a.1));
        let total: f64 = sets.iter().map(|(_, weight)| weight).sum();
        let explained: Vec<Explanation> =
            sets.into_iter().filter_map(|(bad, weight)| self.explanation(bad, weight / total)).collect();
        explained
    }

    /// What taking a set of marks out does to the solution.
    fn explanation(&self, bad: Vec<usize>, weight: f64) -> Option<Explanation> {
        let rows: Vec<usize> = bad.iter().flat_map(|number| self.suspects[*number].rows.clone()).collect();
        let n = rows.len();
        let count = self.gradients.first().map_or(0, DVector::len);
        let mut step = DVector::zeros(count);
        let mut losses: Vec<DVector<f64>> = Vec::with_capacity(n);
        if n > 0 {
            let freedom = DMatrix::from_fn(n, n, |i, j| self.freedom[(rows[i], rows[j])]);
            let factor = freely_factored(&freedom)?;
            let residual = DVector::from_fn(n, |i, _| self.residual[rows[i]]);
            let deleted = factor.solve(&residual);
            for (row, factor) in rows.iter().zip(deleted.iter()) {
                step += &self.gradients[*row] * *factor;
            }
            // With M = L L' the columns of the gradients times the inverse of L'.
            let lower = factor.l_dirty();
            for (i, row) in rows.iter().enumerate() {
                let mut column = self.gradients[*row].clone();
                for (j, earlier) in losses.iter().enumerate() {
                    column.axpy(-lower[(i, j)], earlier, 1.0);
                }
                losses.push(column / lower[(i, i)]);
            }
        }
        Some(Explanation { bad, weight, step, losses })
    }

    fn with_elbows(&self, explanation: &Explanation) -> Explanation {
        let is_elbow = |number: &usize| self.suspects[*number].is_told_elbow();
        if !explanation.bad.iter().any(is_elbow) {
            return explanation.clone();
        }
        let others = explanation.bad.iter().copied().filter(|number| !is_elbow(number)).collect();
        self.explanation(others, explanation.weight).unwrap_or_else(|| explanation.clone())
    }

    /// The log evidence of a set against none.
    fn evidence(&self, bad: &[usize]) -> Option<f64> {
        let rows: Vec<usize> = bad.iter().flat_map(|number| self.suspects[*number].rows.clone()).collect();
        let freedom = DMatrix::from_fn(rows.len(), rows.len(), |i, j| self.freedom[(rows[i], rows[j])]);
        let residual = DVector::from_fn(rows.len(), |i, _| self.residual[rows[i]]);
        let factor = freely_factored(&freedom)?;
        let deleted = factor.solve(&residual);
        let mut spreads = Vec::with_capacity(rows.len());
        let mut odds = 0.0;
        for number in bad {
            let of = &self.suspects[*number];
            let way = of.way(&deleted.rows(spreads.len(), of.rows.len()).into_owned());
            spreads.extend(of.rows.clone().map(|_| way.spread));
            odds += way.log_odds;
        }
        Some(log_ratio(&factor, &residual, &spreads) - odds - self.unsettled(bad))
    }

    /// How a mark stands to the others, itself or as the mark that it comes from: whichever is the likelier to be bad.
    fn standing_with_origin(&self, number: usize, explanations: &[Explanation]) -> Standing {
        let own = self.standing(number, explanations);
        let Some(error) = self.suspects[number].mark.and_then(|mark| mark.shared[0]) else { return own };
        let is_origin = |suspect: &Suspect| suspect.origin.is_some_and(|(origin, _)| origin.error == error);
        let Some(origin) = self.suspects.iter().position(is_origin) else { return own };
        let of_origin = self.standing(origin, explanations);
        if of_origin.probability > own.probability { of_origin } else { own }
    }

    /// How a mark stands to the others when the likeliest bad ones are out.
    fn standing(&self, number: usize, explanations: &[Explanation]) -> Standing {
        let probability = explanations
            .iter()
            .filter(|explanation| explanation.bad.binary_search(&number).is_ok())
            .map(|explanation| explanation.weight)
            .sum();
        let nowhere = Standing { distance_px: 0.0, u_px: f64::INFINITY, probability };
        let of = &self.suspects[number];
        let others = explanations[0].bad.iter().copied().filter(|other| *other != number);
        let rows: Vec<usize> =
            of.rows.clone().chain(others.flat_map(|other| self.suspects[other].rows.clone())).collect();
        let n = rows.len();
        let Some(factor) = freely_factored(&DMatrix::from_fn(n, n, |i, j| self.freedom[(rows[i], rows[j])])) else {
            // Nothing but this mark says where it should be: it cannot disagree.
            return nowhere;
        };
        let residual = DVector::from_fn(n, |i, _| self.residual[rows[i]]);
        let own = of.rows.len();
        let deleted = factor.solve(&residual).rows(0, own).into_owned();
        let spread = factor.solve(&DMatrix::identity(n, own)).rows(0, own).into_owned();
        let Some(spread) = spread.cholesky() else { return nowhere };
        let square = deleted.dot(&spread.solve(&deleted));
        let Some(distance_px) = of.distance_px(&deleted) else { return nowhere };
        let u_px = if square > 0.0 { distance_px / square.sqrt() } else { f64::INFINITY };
        Standing { distance_px, u_px, probability }
    }
}

/// A set, ascending, with a suspect in it.
fn with_one_more(bad: &[usize], number: usize) -> Vec<usize> {
    let mut more = bad.to_vec();
    if let Err(place) = more.binary_search(&number) {
        more.insert(place, number);
    }
    more
}

/// The Cholesky factor of a block of `M`; `None` where the others leave a mark no freedom.
fn freely_factored(block: &DMatrix<f64>) -> Option<nalgebra::Cholesky<f64, nalgebra::Dyn>> {
    factored_above(LEAST_FREEDOM, block)
}

fn factored_above(least: f64, block: &DMatrix<f64>) -> Option<nalgebra::Cholesky<f64, nalgebra::Dyn>> {
    let factor = block.clone().cholesky()?;
    let lower = factor.l_dirty();
    (0..block.nrows()).all(|i| lower[(i, i)] * lower[(i, i)] > least).then_some(factor)
}

/// The ways for a mark with this standard deviation to be bad, px, on a picture this many times [`LONG_SIDE_PX`].
fn misplaced(sd_px: f64, scale: f64) -> Vec<Way> {
    let way = |kind: &Misplaced| Way {
        log_odds: log_odds(BAD_RATIO) - kind.share.ln(),
        spread: (kind.sd_px * scale / sd_px).max(1.0),
    };
    MISPLACED.iter().map(way).collect()
}

fn log_odds(ratio: f64) -> f64 {
    ((1.0 - ratio) / ratio).ln()
}

/// The log of the densities' ratio, bad against good, of residuals whose block of `M` is factored and whose spreads are so
/// many times as wide when bad.
fn log_ratio(freedom: &nalgebra::Cholesky<f64, nalgebra::Dyn>, residual: &DVector<f64>, spreads: &[f64]) -> f64 {
    let deleted = freedom.solve(residual);
    let mut wide = freedom.inverse();
    for (i, spread) in spreads.iter().enumerate() {
        wide[(i, i)] += spread * spread - 1.0;
    }
    let Some(wide) = wide.cholesky() else { return f64::NEG_INFINITY };
    let good = residual.dot(&deleted) - log_determinant(freedom);
    let bad = deleted.dot(&wide.solve(&deleted)) + log_determinant(&wide);
    0.5 * (good - bad)
}

fn log_determinant(factor: &nalgebra::Cholesky<f64, nalgebra::Dyn>) -> f64 {
    let lower = factor.l_dirty();
    (0..lower.nrows()).map(|i| 2.0 * lower[(i, i)].ln()).sum()
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
