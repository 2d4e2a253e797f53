//! What the residuals cost, and how far off the marks lie. A forgiving loss lets marks on wrong spots have little say, as long
//! as it is not told which ones they are.
//!
//! # Source
//! Holland and Welsch (1977), Robust regression using iteratively reweighted least-squares, Communications in Statistics
//! A6(9), 813-827 (Cauchy's weights).

use super::problem::{FrameProblem, LONG_SIDE_PX, ParameterPrior, Problem, Row};
use super::suspect::SOFT_SD_PX;

/// A mark farther off than this many standard deviations, at least of [`SOFT_SD_PX`], pulls less and less on a forgiving
/// solution. Common practice, no source; with 2 seeded scenes come out the same, with 8 marks that are 60 px off still turn some.
const FORGIVING_SDS: f64 = 4.0;

/// What the distance of a mark costs, by its whitened square.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Loss {
    /// The square itself.
    Square,
    /// It grows ever slower: a mark on a wrong spot does not turn the solution.
    Forgiving,
}

impl Loss {
    /// What a whitened square costs beside that up to which it is hardly forgiven.
    fn of_square(self, square: f64, usual: f64) -> f64 {
        match self {
            Self::Square => square,
            Self::Forgiving => usual * (square / usual).ln_1p(),
        }
    }

    /// The slope of the loss by the square.
    fn weight(self, square: f64, usual: f64) -> f64 {
        match self {
            Self::Square => 1.0,
            Self::Forgiving => 1.0 / (1.0 + square / usual),
        }
    }

    /// The weight of a prior.
    pub(super) fn weight_of_prior(self, prior: &ParameterPrior, theta: &[f64]) -> f64 {
        if prior.is_of_mark { self.weight(prior.residual(theta).powi(2), usual_square(prior.sd, 1.0)) } else { 1.0 }
    }

    /// Weighs a frame's rows of each mark by how far it lies off; they come in the marks' order.
    pub(super) fn weigh(self, frame: &FrameProblem, rows: &mut [(Row, Option<usize>)]) {
        for of_mark in rows.chunk_by_mut(|(_, mark), (_, next)| mark == next) {
            let Some(place) = of_mark[0].1 else { continue };
            let square: f64 = of_mark.iter().map(|(row, _)| row.value * row.value).sum();
            let factor = self.weight(square, frame.usual_square(place)).sqrt();
            for (row, _) in of_mark {
                row.value *= factor;
                row.gradient.iter_mut().chain(&mut row.shared.1).for_each(|slope| *slope *= factor);
            }
        }
    }
}

/// The whitened square of [`FORGIVING_SDS`] for an error of this standard deviation, px, on a picture this many times
/// [`LONG_SIDE_PX`].
fn usual_square(sd_px: f64, scale: f64) -> f64 {
    (FORGIVING_SDS * (SOFT_SD_PX * scale / sd_px).max(1.0)).powi(2)
}

impl FrameProblem {
    fn scale(&self) -> f64 {
        f64::from(self.long_side_px) / LONG_SIDE_PX
    }

    fn usual_square(&self, place: usize) -> f64 {
        usual_square(self.marks[place].sd_px(), self.scale())
    }
}

impl Problem {
    /// Half the sum of what all residuals cost; of a loss, only those of marks make use.
    pub(super) fn cost(&self, theta: &[f64], loss: Loss) -> f64 {
        let of_prior = |prior: &ParameterPrior| {
            let square = prior.residual(theta).powi(2);
            if prior.is_of_mark { loss.of_square(square, usual_square(prior.sd, 1.0)) } else { square }
        };
        let mut sum: f64 = self.priors.iter().map(of_prior).sum();
        for frame in &self.frames {
            if loss == Loss::Square {
                let p = Self::local_parameters(frame, theta);
                self.frame_residuals(frame, &p, theta, |value: f64, _, _| sum += value * value);
                continue;
            }
            let squares = self.squares(frame, theta);
            let of_mark = |(place, square)| loss.of_square(square, frame.usual_square(place));
            sum += squares.of_others + squares.of_marks.into_iter().enumerate().map(of_mark).sum::<f64>();
        }
        0.5 * sum
    }

    /// The sums of squares of a frame's residuals.
    fn squares(&self, frame: &FrameProblem, theta: &[f64]) -> Squares {
        let p = Self::local_parameters(frame, theta);
        let mut squares = Squares { of_marks: vec![0.0; frame.marks.len()], of_others: 0.0 };
        self.frame_residuals(frame, &p, theta, |value: f64, _, mark| {
            let square = mark.map_or(&mut squares.of_others, |place| &mut squares.of_marks[place]);
            *square += value * value;
        });
        squares
    }

    /// The distance of the mark that lies farthest off where `theta` puts it, px on a picture whose long side is
    /// [`LONG_SIDE_PX`]; an error that marks have in common counts as one of them.
    pub(super) fn farthest_px(&self, theta: &[f64]) -> f64 {
        let mut farthest_px = 0.0_f64;
        for frame in &self.frames {
            let scale = frame.scale();
            for (mark, square) in frame.marks.iter().zip(self.squares(frame, theta).of_marks) {
                let own_px = square.sqrt() * mark.sd_px();
                let shared = mark.shared.iter().flatten().map(|start| theta[*start].hypot(theta[start + 1]));
                farthest_px = shared.fold(farthest_px.max(own_px / scale), |most, off| most.max(off / scale));
            }
        }
        farthest_px
    }
}

/// Sums of squares of whitened residuals.
struct Squares {
    /// By place of the mark.
    of_marks: Vec<f64>,
    /// Of the couplings between parameters.
    of_others: f64,
}
