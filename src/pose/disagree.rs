//! The fit with its bad marks set aside: solve, judge the marks, set the likeliest bad ones aside, solve again, until the
//! judgement stands.

use nalgebra::DVector;

use super::problem::Problem;
use super::solve::{Covariance, Linearization, Solution};
use super::suspect::{Explanation, Standing, judge};

/// How often the set of bad marks may change before it is taken as it is.
const MOST_ROUNDS: usize = 8;
/// A mark farther than this from where most of the marks lead may turn the solution with all of them, px at
/// [`super::problem::LONG_SIDE_PX`]: more than a careful person errs by. Common practice, no source.
const FAR_PX: f64 = 10.0;
/// A mark is named, and drawn where the others put it, when it is at least this likely to be bad: looking again costs little.
/// In the seeded scenes of `benches/fit_accuracy.rs` this names 92 % of marks displaced by 15 px and 1.4 % of good ones.
pub(super) const NAMED_PROBABILITY: f64 = 0.08;

/// The converged fit with its marks judged.
pub(super) struct Judged {
    pub solution: Solution,
    pub linearization: Linearization,
    /// With all marks in.
    pub covariance: Covariance,
    /// What the marks may be, the likeliest first, each with its step from the solution, in the covariance's metric.
    pub explanations: Vec<Explanation>,
    /// The same with every elbow's mark taken for good.
    pub with_elbows: Vec<Explanation>,
    /// By frame and mark of the problem.
    pub standings: Vec<Vec<Standing>>,
    /// Cost and penalties of the likeliest explanation.
    pub objective: f64,
}

/// Solves from `start` and judges the marks, in turns. `None` when the normal matrix cannot be factored.
pub(super) fn solve_and_judge(problem: &mut Problem, start: Vec<f64>) -> Option<Judged> {
    let mut solution = first_solution(problem, start);
    for round in 1.. {
        let linearization = problem.linearize(&solution.theta);
        let mut verdict = judge(problem, &linearization, &solution)?;
        let bad = &verdict.explanations[0].bad;
        if round < MOST_ROUNDS && set_aside(problem, bad) {
            let again = problem.solve(solution.theta);
            solution = Solution { iterations: solution.iterations + again.iterations, ..again };
            continue;
        }
        let from = verdict.current_step;
        relative_to(&from, &mut verdict.explanations);
        relative_to(&from, &mut verdict.with_elbows);
        let mut standings = verdict.standings.into_iter();
        return Some(Judged {
            solution,
            linearization,
            covariance: verdict.covariance,
            explanations: verdict.explanations,
            with_elbows: verdict.with_elbows,
            standings: problem
                .frames
                .iter()
                .map(|frame| standings.by_ref().take(frame.marks.len()).collect())
                .collect(),
            objective: verdict.likeliest_objective,
        });
    }
    None
}

/// The solution with all marks; where most of them lead away from one, that without those that look bad from there. Solved with
/// all of them, marks on wrong spots can turn the body so far that no linearization tells them any more.
fn first_solution(problem: &mut Problem, start: Vec<f64>) -> Solution {
    let forgiving = problem.solve_forgivingly(start.clone());
    if problem.farthest_px(&forgiving.theta) <= FAR_PX {
        return problem.solve(start);
    }
    if let Some(verdict) = judge(problem, &problem.linearize(&forgiving.theta), &forgiving) {
        set_aside(problem, &verdict.explanations[0].bad);
    }
    let solution = problem.solve(forgiving.theta);
    Solution { iterations: forgiving.iterations + solution.iterations, ..solution }
}

/// Sets just these suspects aside, marks first, then beliefs; whether that changes anything.
pub(super) fn set_aside(problem: &mut Problem, bad: &[usize]) -> bool {
    let mut is_changed = false;
    let mut set = |is_set_aside: &mut bool, number: usize| {
        let is_bad = bad.binary_search(&number).is_ok();
        is_changed |= *is_set_aside != is_bad;
        *is_set_aside = is_bad;
    };
    let mut number = 0;
    let beliefs = problem.beliefs();
    for mark in problem.frames.iter_mut().flat_map(|frame| &mut frame.marks) {
        set(&mut mark.is_set_aside, number);
        number += 1;
    }
    for belief in beliefs {
        for place in belief.places {
            set(&mut problem.priors[place].is_set_aside, number);
        }
        number += 1;
    }
    is_changed
}

fn relative_to(from: &DVector<f64>, explanations: &mut [Explanation]) {
    for explanation in explanations {
        explanation.step -= from;
    }
}
