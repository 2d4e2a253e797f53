//! The fit repeated with drawn errors: what the reported quantities are when marks, lens and priors are drawn anew.
//!
//! In each draw every whitened residual gets a standard normal error: marks move by their covariance, marks that share an
//! error share its draw, the lens is drawn by its profile's covariance, and the mean of every prior by its spread. The fit
//! then starts from the solution and goes to the minimum of that draw. Where the model is linear the draws have exactly the
//! covariance of the first-order answer; what differs is the model's curvature.
//!
//! Which marks are bad is not judged anew in a draw. The marks hold their own error already and a draw adds another, so that
//! good marks would look bad more often than they are, and a bad one less plainly. Instead each draw takes one explanation of
//! the marks, with the odds that the real marks give it, sets its marks aside and solves without them. The first-order answer
//! is the mixture of the same explanations with the same odds.
//!
//! A draw stays in the minimum that it starts from. It does not see a second one, such as the arms behind the vertical in a
//! front view: [`super::fit_visit`] looks for that.
//!
//! # Source
//! Bardsley, Solonen, Haario and Laine (2014), Randomize-then-optimize, SIAM Journal on Scientific Computing 36(4),
//! A1895-A1910; JCGM 101:2008, clause 7.

use std::sync::atomic::{AtomicUsize, Ordering};

use rand::{Rng, RngExt as _};
use rand_distr::{Distribution as _, StandardNormal};
use rayon::iter::{IntoParallelRefIterator as _, ParallelIterator as _};

use super::disagree::set_aside;
use super::fit::{Term, VisitFit};
use super::layout::{local, reach, setup};
use super::problem::{FrameProblem, Problem};
use super::quantity::Quantity;
use super::suspect::Explanation;
use crate::uncertainty::{MonteCarloOptions, monte_carlo};

/// The quantities of a visit over draws.
#[derive(Debug, Clone)]
pub struct VisitDraws {
    options: MonteCarloOptions,
    /// For each reach, the place of its first raise.
    start_of_reach: Vec<usize>,
    /// Draw by draw, the quantities of every raise of every reach.
    values: Vec<Vec<f64>>,
}

/// A set of bad marks set aside, solved with the marks as they are.
struct Center {
    /// Share of the evidence.
    weight: f64,
    /// The solution for everything but the elbows' bend.
    solved: Solved,
    /// That for the bend, where an elbow's mark is among the bad ones.
    with_elbows: Option<Solved>,
    values: Vec<f64>,
}

/// All explanations that have a solution.
struct Mixture {
    centers: Vec<Center>,
    /// The evidence of all explanations, also of those without a solution.
    total: f64,
    /// The quantities' mean over the centers.
    mean: Vec<f64>,
}

struct Solved {
    problem: Problem,
    theta: Vec<f64>,
}

impl VisitFit {
    /// Repeats the fit with drawn marks, lens and priors.
    ///
    /// `on_draw` is told how many draws are done, from whichever thread did one. The result depends on the seed and on the
    /// marks alone, not on the number of threads. `None` when the fit itself did not converge.
    #[must_use]
    pub fn simulate(&self, options: MonteCarloOptions, on_draw: &(dyn Fn(usize) + Sync)) -> Option<VisitDraws> {
        let (explanations, with_elbows) = self.all_explanations();
        if explanations.is_empty() || !self.outcome().is_converged {
            return None;
        }
        let pairs: Vec<_> = explanations.iter().zip(with_elbows).collect();
        let centers: Vec<Center> = pairs.par_iter().filter_map(|(marks, elbows)| self.center(marks, elbows)).collect();
        // A draw that takes an explanation without a solution does not settle.
        let mixture = Mixture {
            mean: mean_of(&centers)?,
            total: explanations.iter().map(|explanation| explanation.weight).sum(),
            centers,
        };
        let done = AtomicUsize::new(0);
        let values = monte_carlo(options, |rng| {
            let drawn = self.drawn_quantities(&mixture, rng);
            on_draw(done.fetch_add(1, Ordering::Relaxed) + 1);
            drawn
        });
        Some(VisitDraws { options, start_of_reach: self.starts(), values: values.into_iter().flatten().collect() })
    }

    /// The solution without the marks of an explanation. `None` when it does not converge.
    fn center(&self, marks: &Explanation, elbows: &Explanation) -> Option<Center> {
        let solved = |bad: &[usize]| {
            let mut problem = self.problem.clone();
            set_aside(&mut problem, bad);
            let solution = problem.solve(self.theta.clone());
            solution.is_converged.then_some(Solved { problem, theta: solution.theta })
        };
        let without = solved(&marks.bad)?;
        let with_elbows = if elbows.bad == marks.bad { None } else { Some(solved(&elbows.bad)?) };
        let values = self.quantities(&without.theta, with_elbows.as_ref().map(|solved| solved.theta.as_slice()));
        Some(Center { weight: marks.weight, solved: without, with_elbows, values })
    }

    /// One draw; `None` when its fit does not settle.
    fn drawn_quantities(&self, mixture: &Mixture, rng: &mut impl Rng) -> Option<Vec<f64>> {
        let mut share = rng.random::<f64>() * mixture.total;
        let center = mixture.centers.iter().find(|center| {
            share -= center.weight;
            share < 0.0
        })?;
        // Where the marks fit the model badly, all errors are larger by that ratio, as in the first-order answer.
        let ratio = self.misfit_ratio();
        let mut error = || {
            let standard: f64 = StandardNormal.sample(rng);
            ratio * standard
        };
        let drawn = Drawn {
            of_priors: self.problem.priors.iter().map(|_| error()).collect(),
            of_frames: self
                .problem
                .frames
                .iter()
                .map(|frame| (0..self.problem.residual_count(frame, &self.theta)).map(|_| error()).collect())
                .collect(),
        };
        let theta = drawn.solve(&center.solved)?;
        let theta_with_elbows = match &center.with_elbows {
            Some(solved) => Some(drawn.solve(solved)?),
            None => None,
        };
        let mut values = self.quantities(&theta, theta_with_elbows.as_deref());
        // So is what lies between the explanations.
        for ((value, center), mean) in values.iter_mut().zip(&center.values).zip(&mixture.mean) {
            *value += (ratio - 1.0) * (center - mean);
        }
        Some(values)
    }

    /// For each reach, the place of its first raise in the list of quantities.
    fn starts(&self) -> Vec<usize> {
        let mut next = 0;
        (0..self.problem.rotation_of_reach.len())
            .map(|reach| {
                let start = next;
                next += self.raises(reach) * Quantity::ALL.len();
                start
            })
            .collect()
    }

    /// The quantities of all raises, each the mean over its frames. The bend of an elbow is that of its own solution.
    fn quantities(&self, theta: &[f64], with_elbows: Option<&[f64]>) -> Vec<f64> {
        let mut values = Vec::new();
        for reach in 0..self.problem.rotation_of_reach.len() {
            for raise in 0..self.raises(reach) {
                let is_of = |seen: &&FrameProblem| seen.reach == reach && seen.raise == raise;
                let frames: Vec<&FrameProblem> = self.problem.frames.iter().filter(is_of).collect();
                values.extend(Quantity::ALL.iter().map(|quantity| {
                    let theta = if quantity.is_bend() { with_elbows.unwrap_or(theta) } else { theta };
                    let of_frame = |seen: &&FrameProblem| self.quantity_at(seen, theta, *quantity);
                    frames.iter().map(of_frame).sum::<f64>() / frames.len() as f64
                }));
            }
        }
        values
    }

    fn quantity_at(&self, seen: &FrameProblem, theta: &[f64], quantity: Quantity) -> f64 {
        let p = Problem::local_parameters(seen, theta);
        let (body, sight) = self.problem.scene(seen, &p);
        quantity.evaluate(&body, &sight, p[local::SETUP + setup::HEADING] + p[local::REACH + reach::TURN])
    }
}

/// The quantities' mean over the centers, each with its share of the evidence; `None` without any.
fn mean_of(centers: &[Center]) -> Option<Vec<f64>> {
    let weight: f64 = centers.iter().map(|center| center.weight).sum();
    let count = centers.first()?.values.len();
    let mean = |place: usize| centers.iter().map(|center| center.weight / weight * center.values[place]).sum();
    Some((0..count).map(mean).collect())
}

/// The drawn errors of all residuals, whitened.
struct Drawn {
    of_priors: Vec<f64>,
    of_frames: Vec<Vec<f64>>,
}

impl Drawn {
    /// The solution with these errors, from the one without.
    fn solve(&self, from: &Solved) -> Option<Vec<f64>> {
        let mut problem = from.problem.clone();
        for (prior, drawn) in problem.priors.iter_mut().zip(&self.of_priors) {
            // What is set aside says nothing, nor has it an error that could be drawn.
            prior.drawn = if prior.is_set_aside { 0.0 } else { *drawn };
        }
        for (frame, drawn) in problem.frames.iter_mut().zip(&self.of_frames) {
            frame.drawn.clone_from(drawn);
        }
        let solution = problem.solve(from.theta.clone());
        solution.is_converged.then_some(solution.theta)
    }
}

impl VisitDraws {
    /// How many draws from which seed were asked for.
    #[must_use]
    pub const fn options(&self) -> MonteCarloOptions {
        self.options
    }

    /// How many draws did not settle and are left out.
    #[must_use]
    pub fn unsettled(&self) -> usize {
        self.options.draws - self.values.len()
    }

    /// The values of a linear combination of quantities, draw by draw.
    #[must_use]
    pub fn values(&self, terms: &[Term]) -> Vec<f64> {
        let places: Vec<(f64, usize)> = terms.iter().map(|term| (term.factor, self.place(*term))).collect();
        self.values.iter().map(|draw| places.iter().map(|(factor, place)| factor * draw[*place]).sum()).collect()
    }

    fn place(&self, term: Term) -> usize {
        let of_quantity = Quantity::ALL.iter().position(|quantity| *quantity == term.quantity);
        let of_quantity = of_quantity.expect("the list of quantities is complete");
        self.start_of_reach[term.reach] + term.raise * Quantity::ALL.len() + of_quantity
    }
}
