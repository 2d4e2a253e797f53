//! One number from the raises of a reach, and from several reaches, with what they share and what they do not.
//!
//! A raise varies about the reach's end range by the person's own spread, and is measured with errors that raises partly
//! share. With s the spread between raises, pooled over the visit, and w the part of the measurement's variance that raises
//! do not share, s² - w is what the person adds: it is added to the fit's own variance of the combination, never
//! subtracted, so that nothing is counted twice and the result is never surer than the measurement.

use crate::pose::{Estimate, MarkResidual, Quantity, Term, Undetermined, VisitFit};
use crate::uncertainty::Measured;

use super::case::Raises;
use super::simulation::{Draws, Purpose};

/// Degrees of freedom are cut down to a whole number for the interval: this keeps rounding from costing one of them.
const DOF_ROUNDING: f64 = 1.0 + 1e-9;

/// Variance of the largest of n standard normal values, for n = 1 to 10.
///
/// # Source
/// David and Nagaraja (2003), Order Statistics, 3rd ed.; from memory, recomputed by integration in the tests.
pub(super) const VARIANCE_OF_LARGEST: [f64; 10] =
    [1.0, 0.68169, 0.55947, 0.49172, 0.44753, 0.41593, 0.39192, 0.37290, 0.35735, 0.34434];

/// What the screen asks of a fit.
pub(crate) trait Combine {
    /// The value and standard uncertainty of a linear combination of quantities, with everything they share.
    fn combine(&self, terms: &[Term]) -> Result<Estimate, Undetermined>;

    /// The covariance of two linear combinations.
    fn covariance(&self, first: &[Term], second: &[Term]) -> Result<f64, Undetermined>;

    /// Every mark's distance from where the others put it.
    fn residuals(&self) -> &[MarkResidual];

    /// The values of a linear combination over simulated measurements; `None` without a simulation.
    fn draws(&self, _terms: &[Term]) -> Option<Draws> {
        None
    }
}

impl Combine for VisitFit {
    fn combine(&self, terms: &[Term]) -> Result<Estimate, Undetermined> {
        Self::combine(self, terms)
    }

    fn covariance(&self, first: &[Term], second: &[Term]) -> Result<f64, Undetermined> {
        Self::covariance(self, first, second)
    }

    fn residuals(&self) -> &[MarkResidual] {
        Self::residuals(self)
    }
}

/// One reach's part in a combination.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Part {
    pub(crate) factor: f64,
    /// Index of the reach.
    pub(crate) reach: usize,
}

/// A combination of one quantity over reaches, before its interval is drawn.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Pooled {
    pub(crate) value: f64,
    /// Standard uncertainty.
    pub(crate) u: f64,
    /// Effective degrees of freedom.
    pub(crate) dof: f64,
    /// The same by simulation.
    pub(crate) draws: Option<Draws>,
}

impl Pooled {
    /// The quantity as it is reported.
    pub(crate) fn measured(&self) -> Measured {
        let first_order = Measured::from_u(self.value, self.u, self.dof);
        self.draws.as_ref().map_or(first_order, |draws| draws.measured_symmetric(first_order))
    }

    /// The same with an independent error more, known for certain in size.
    pub(crate) fn widened(self, u: f64, purpose: Purpose) -> Self {
        let variance = self.u.powi(2) + u.powi(2);
        // Welch-Satterthwaite with an added part of infinite degrees of freedom
        let ratio = if self.u > 0.0 { variance / self.u.powi(2) } else { 1.0 };
        let draws = self.draws.map(|draws| draws.widened(u, purpose));
        Self { value: self.value, u: variance.sqrt(), dof: self.dof * ratio.powi(2), draws }
    }

    /// The same in another unit.
    pub(crate) fn scaled(self, factor: f64) -> Self {
        let draws = self.draws.map(|draws| draws.scaled(factor));
        Self { value: self.value * factor, u: self.u * factor.abs(), dof: self.dof, draws }
    }
}

/// The raises of a visit and how they become one number.
pub(crate) struct Raising<'a, F: Combine> {
    pub(crate) fit: &'a F,
    pub(crate) raises: Raises,
    /// Per reach, its number of raises.
    pub(crate) counts: Vec<usize>,
    /// Per reach, the highest raise.
    best: Vec<usize>,
}

impl<'a, F: Combine> Raising<'a, F> {
    /// `elevation` is the quantity by which a reach's highest raise is told.
    pub(crate) fn new(fit: &'a F, raises: Raises, counts: Vec<usize>, elevation: &[Vec<Quantity>]) -> Self {
        let best = counts.iter().zip(elevation).enumerate().map(|(reach, (count, quantities))| {
            let value = |raise: usize| {
                let of = |quantity: &Quantity| fit.combine(&[term(1.0, reach, raise, *quantity)]).ok();
                quantities.iter().find_map(of).map_or(f64::NEG_INFINITY, |estimate| estimate.value)
            };
            // the first of equals
            (0..*count).rev().max_by(|a, b| value(*a).total_cmp(&value(*b))).unwrap_or(0)
        });
        let best = best.collect();
        Self { fit, raises, counts, best }
    }

    /// The raise that a reach's still shows: the highest.
    pub(crate) fn shown(&self, reach: usize) -> usize {
        self.best[reach]
    }

    /// A quantity of one reach.
    pub(crate) fn of_reach(&self, reach: usize, quantity: Quantity) -> Result<Pooled, Undetermined> {
        self.combine(&[Part { factor: 1.0, reach }], quantity)
    }

    /// A linear combination of one quantity over reaches.
    pub(crate) fn combine(&self, parts: &[Part], quantity: Quantity) -> Result<Pooled, Undetermined> {
        let terms: Vec<Term> = parts.iter().flat_map(|part| self.terms(*part, quantity)).collect();
        let measured = self.fit.combine(&terms)?;
        let draws = self.fit.draws(&terms);
        let Some(spread) = self.spread(quantity)? else {
            return Ok(Pooled { value: measured.value, u: measured.u, dof: f64::INFINITY, draws });
        };
        // raises vary independently of each other: their variances add with the squares of their factors
        let weight: f64 = parts.iter().map(|part| part.factor.powi(2) * self.raise_weight(part.reach)).sum();
        let person = (spread.variance - spread.unshared).max(0.0);
        let variance = measured.u.powi(2) + weight * person;
        let repeated = weight * spread.variance;
        let dof =
            if repeated > 0.0 { spread.dof * (variance / repeated).powi(2) * DOF_ROUNDING } else { f64::INFINITY };
        let purpose = match quantity {
            Quantity::ElbowOutOfPlane(_) => Purpose::PersonOutOfPlane,
            _ => Purpose::Person,
        };
        let draws = draws.map(|draws| draws.with_person(&spread, weight, purpose));
        Ok(Pooled { value: measured.value, u: variance.sqrt(), dof, draws })
    }

    /// The correlation of two quantities of a reach, as far as it comes from the measurement.
    pub(crate) fn correlation(&self, reach: usize, first: Quantity, second: Quantity) -> f64 {
        let terms = |quantity: Quantity| self.terms(Part { factor: 1.0, reach }, quantity);
        let (first, second) = (terms(first), terms(second));
        let covariance = |a: &[Term], b: &[Term]| self.fit.covariance(a, b).unwrap_or(0.0);
        let product = (covariance(&first, &first) * covariance(&second, &second)).sqrt();
        if product > 0.0 { (covariance(&first, &second) / product).clamp(-1.0, 1.0) } else { 0.0 }
    }

    /// Whether raises of this visit tell the person's spread.
    pub(crate) fn has_spread(&self) -> bool {
        self.counts.iter().any(|count| *count > 1)
    }

    fn terms(&self, part: Part, quantity: Quantity) -> Vec<Term> {
        let count = self.counts[part.reach];
        match self.raises {
            Raises::Mean => {
                let factor = part.factor / number(count.max(1));
                (0..count.max(1)).map(|raise| term(factor, part.reach, raise, quantity)).collect()
            }
            Raises::Best => vec![term(part.factor, part.reach, self.best[part.reach], quantity)],
        }
    }

    /// The share of the person's variance that is left in a reach's number.
    fn raise_weight(&self, reach: usize) -> f64 {
        let count = self.counts[reach].max(1);
        match self.raises {
            Raises::Mean => 1.0 / number(count),
            Raises::Best => VARIANCE_OF_LARGEST[count.min(VARIANCE_OF_LARGEST.len()) - 1],
        }
    }

    /// The spread between the raises of a quantity, pooled over the reaches that have several.
    fn spread(&self, quantity: Quantity) -> Result<Option<Spread>, Undetermined> {
        let (mut squares, mut unshared, mut dof) = (0.0, 0.0, 0.0);
        for (reach, count) in self.counts.iter().enumerate().filter(|(_, count)| **count > 1) {
            let raises: Vec<Term> = (0..*count).map(|raise| term(1.0, reach, raise, quantity)).collect();
            let Ok(values) = raises.iter().map(|raise| self.fit.combine(&[*raise])).collect::<Result<Vec<_>, _>>()
            else {
                continue;
            };
            let mean = values.iter().map(|value| value.value).sum::<f64>() / number(*count);
            let of_mean: Vec<Term> =
                raises.iter().map(|raise| Term { factor: 1.0 / number(*count), ..*raise }).collect();
            let of_mean = self.fit.combine(&of_mean)?;
            let degrees = number(count - 1);
            let diagonal = values.iter().map(|value| value.u.powi(2)).sum::<f64>() / number(*count);
            // mean variance less mean covariance, from the variance of the mean: (d - c) (n - 1) / n = d - u²(mean)
            let own = (diagonal - of_mean.u.powi(2)) * number(*count) / degrees;
            squares += values.iter().map(|value| (value.value - mean).powi(2)).sum::<f64>();
            unshared += own.max(0.0) * degrees;
            dof += degrees;
        }
        Ok((dof > 0.0).then(|| Spread { variance: squares / dof, unshared: unshared / dof, dof }))
    }
}

/// The spread between raises.
pub(crate) struct Spread {
    /// s².
    pub(crate) variance: f64,
    /// The measurement's part in it.
    pub(crate) unshared: f64,
    pub(crate) dof: f64,
}

/// A term of a combination.
pub(crate) const fn term(factor: f64, reach: usize, raise: usize, quantity: Quantity) -> Term {
    Term { factor, reach, raise, quantity }
}

/// A count as a number.
pub(crate) fn number(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}
