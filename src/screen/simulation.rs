//! A visit measured by simulation beside the first-order answer: which interval each quantity gets, and why.
//!
//! The draws are those of the fit. On top of them comes what no mark tells: the person's own variation from raise to raise,
//! and the trunk's movement where it is not seen. Which of several raises is the highest is not drawn.
//!
//! # Source
//! JCGM 101:2008, 6.4.9 (few repeats), 7.7 (coverage interval) and 8.1 (the first-order interval held against the simulated
//! one, end by end).

use std::collections::BTreeMap;

use rand_distr::{ChiSquared, Distribution as _, StandardNormal};

use crate::pose::{Estimate, MarkResidual, Term, Undetermined, VisitDraws, VisitFit};
use crate::uncertainty::{Measured, SimulatedDistribution, draw_stream};

use super::pooled::{Combine, Spread, number};
use super::result::{MonteCarlo, SimulatedInterval, UsedInterval, VisitResult};

/// Two intervals differ when an end lies further apart than this share of the first-order interval's half-width.
const DIFFERS_RATIO: f64 = 0.1;

/// The ends differ for certain when more draws lie between them than this many standard deviations of the number of draws
/// beyond an end of a 95 % interval.
const CERTAIN_SDS: f64 = 3.0;

/// With a larger share of draws that do not settle, their loss may narrow the intervals: none is used. Common practice.
const MOST_UNSETTLED_RATIO: f64 = 0.01;

const SIMULATED_USED: &str = "The two intervals differ by more than a tenth of their half-width. The simulated one is used: over \
     this uncertainty the measurement is not near linear, or it rests on few raises.";

const FIRST_ORDER_USED: &str = "The two intervals differ by more than a tenth of their half-width, but no more than so few draws \
     may differ by chance. The first-order one is used: more draws would tell.";

/// What a draw's random numbers are for, beside the fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Purpose {
    /// The person's variation from raise to raise.
    Person = 1,
    /// The same of the second component of a bend, which varies independently.
    PersonOutOfPlane = 2,
    /// Movement of a trunk that is not seen.
    Trunk = 3,
    /// A component of a bend that the view does not show.
    StraightArm = 4,
}

/// Which interval is stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stated {
    /// That of the first order, always.
    FirstOrder,
    /// The simulated one, always.
    Simulated,
    /// The simulated one where it differs by more than a tenth.
    Settled,
}

/// A fit with its draws.
pub(crate) struct SimulatedFit<'a> {
    pub(crate) fit: &'a VisitFit,
    pub(crate) draws: &'a VisitDraws,
    pub(crate) stated: Stated,
}

impl Combine for SimulatedFit<'_> {
    fn combine(&self, terms: &[Term]) -> Result<Estimate, Undetermined> {
        self.fit.combine(terms)
    }

    fn covariance(&self, first: &[Term], second: &[Term]) -> Result<f64, Undetermined> {
        self.fit.covariance(first, second)
    }

    fn residuals(&self) -> &[MarkResidual] {
        self.fit.residuals()
    }

    fn draws(&self, terms: &[Term]) -> Option<Draws> {
        (self.stated != Stated::FirstOrder)
            .then(|| Draws::new(self.draws.values(terms), self.draws.options().seed, self.stated))
    }
}

/// A quantity's values over the draws.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Draws {
    values: Vec<f64>,
    /// The mean without what is drawn on top: a t distribution of one degree of freedom has none.
    mean: f64,
    variance: f64,
    seed: u64,
    stated: Stated,
}

impl Draws {
    fn new(values: Vec<f64>, seed: u64, stated: Stated) -> Self {
        let count = number(values.len());
        let mean = values.iter().sum::<f64>() / count;
        let variance = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (count - 1.0).max(1.0);
        Self { values, mean, variance, seed, stated }
    }

    /// Adds the person's variation: `weight` of the variance between raises, less what measuring adds to it. That variance
    /// is drawn too, since few raises know it badly.
    pub(crate) fn with_person(mut self, spread: &Spread, weight: f64, purpose: Purpose) -> Self {
        let Ok(chi_squared) = ChiSquared::new(spread.dof) else { return self };
        let person = |variance: f64| weight * (variance - spread.unshared).max(0.0);
        self.add(purpose, |rng| {
            let square: f64 = chi_squared.sample(rng);
            let standard: f64 = StandardNormal.sample(rng);
            person(spread.variance * spread.dof / square).sqrt() * standard
        });
        self.variance += person(spread.variance);
        self
    }

    /// Adds an independent normal error.
    pub(crate) fn widened(mut self, u: f64, purpose: Purpose) -> Self {
        self.add(purpose, |rng| {
            let standard: f64 = StandardNormal.sample(rng);
            u * standard
        });
        self.variance += u * u;
        self
    }

    pub(crate) fn scaled(mut self, factor: f64) -> Self {
        self.values.iter_mut().for_each(|value| *value *= factor);
        Self { mean: self.mean * factor, variance: self.variance * factor * factor, ..self }
    }

    /// A normal quantity in place of one that the marks do not tell.
    pub(crate) fn replaced(&self, mean: f64, u: f64) -> Self {
        Self { values: vec![mean; self.values.len()], mean, variance: 0.0, ..*self }.widened(u, Purpose::StraightArm)
    }

    /// The size of a bend with these two components.
    pub(crate) fn size(&self, other: &Self) -> Self {
        let sizes = self.values.iter().zip(&other.values).map(|(first, second)| first.hypot(*second));
        Self::new(sizes.collect(), self.seed, self.stated)
    }

    /// The interval that is stated in place of the first-order one, symmetric in probability.
    pub(crate) fn measured_symmetric(&self, first_order: Measured) -> Measured {
        self.stated(first_order, |distribution| distribution.symmetric_interval())
    }

    /// The same for a quantity that has an end at zero: the shortest one.
    pub(crate) fn measured_shortest(&self, first_order: Measured) -> Measured {
        self.stated(first_order, |distribution| distribution.shortest_interval())
    }

    fn stated(
        &self,
        first_order: Measured,
        interval: impl Fn(&SimulatedDistribution) -> crate::uncertainty::CoverageInterval,
    ) -> Measured {
        let Ok(distribution) = SimulatedDistribution::from_values(self.values.clone()) else { return first_order };
        let ends = interval(&distribution);
        let simulated = Measured { value: self.mean, u: self.variance.sqrt(), lo: ends.lo, hi: ends.hi };
        let expected = 0.5 * (1.0 - crate::uncertainty::COVERAGE);
        let chance = CERTAIN_SDS * (number(self.values.len()) * expected * (1.0 - expected)).sqrt();
        let is_certain = |(first, second): (f64, f64)| number(distribution.count_between(first, second)) > chance;
        let is_used = match self.stated {
            Stated::FirstOrder => false,
            Stated::Simulated => true,
            Stated::Settled => far_ends(&first_order, &simulated).into_iter().any(is_certain),
        };
        if is_used { simulated } else { first_order }
    }

    fn add(&mut self, purpose: Purpose, error: impl Fn(&mut rand_chacha::ChaCha8Rng) -> f64) {
        for (draw, value) in self.values.iter_mut().enumerate() {
            *value += error(&mut draw_stream(self.seed, purpose as u8, draw));
        }
    }
}

/// The ends that differ by more than a tenth: first-order, simulated.
fn far_ends(first_order: &Measured, simulated: &Measured) -> Vec<(f64, f64)> {
    let half_width = 0.5 * (first_order.hi - first_order.lo);
    let ends = [(first_order.lo, simulated.lo), (first_order.hi, simulated.hi)];
    ends.into_iter().filter(|(first, second)| (first - second).abs() > DIFFERS_RATIO * half_width).collect()
}

/// Measures by simulation: `measure` turns a fit into a result, in which every interval is the one that holds.
///
/// Without draws that can be relied on, the result is the first-order one and says so.
pub(crate) fn simulated(
    fit: &VisitFit,
    draws: &VisitDraws,
    measure: impl Fn(&SimulatedFit<'_>) -> VisitResult,
) -> VisitResult {
    let of = |stated: Stated| measure(&SimulatedFit { fit, draws, stated });
    let first_order = of(Stated::FirstOrder);
    let options = draws.options();
    let unsettled = draws.unsettled();
    let mut record =
        MonteCarlo { draws: options.draws, seed: options.seed, unsettled, note: None, intervals: Vec::new() };
    if number(unsettled) > MOST_UNSETTLED_RATIO * number(options.draws) {
        record.note = Some(format!(
            "{unsettled} of {} draws did not settle, which may narrow their intervals: the first-order ones are used.",
            options.draws
        ));
        return VisitResult { monte_carlo: Some(record), ..first_order };
    }
    let (always, settled) = (of(Stated::Simulated), of(Stated::Settled));
    let simulated: BTreeMap<String, Measured> = always.quantities().into_iter().collect();
    let stated: BTreeMap<String, Measured> = settled.quantities().into_iter().collect();
    for (quantity, first_order) in first_order.quantities() {
        let (Some(simulated), Some(stated)) = (simulated.get(&quantity), stated.get(&quantity)) else { continue };
        record.intervals.push(interval(quantity, first_order, *simulated, *stated));
    }
    VisitResult { monte_carlo: Some(record), ..settled }
}

fn interval(quantity: String, first_order: Measured, simulated: Measured, stated: Measured) -> SimulatedInterval {
    let used = if stated == first_order { UsedInterval::FirstOrder } else { UsedInterval::Simulated };
    let reason = match (far_ends(&first_order, &simulated).is_empty(), used) {
        (true, _) => None,
        (false, UsedInterval::Simulated) => Some(SIMULATED_USED.to_owned()),
        (false, UsedInterval::FirstOrder) => Some(FIRST_ORDER_USED.to_owned()),
    };
    SimulatedInterval { quantity, first_order, simulated, used, reason }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::{MonteCarloOptions, monte_carlo};

    const DRAWS: usize = 20_000;

    fn draws(count: usize, model: impl Fn(f64) -> f64 + Sync) -> Draws {
        let options = MonteCarloOptions { draws: count, seed: 5 };
        let values = monte_carlo(options, |rng| model(StandardNormal.sample(rng)));
        Draws::new(values, options.seed, Stated::Settled)
    }

    fn used(draws: &Draws, first_order: Measured) -> UsedInterval {
        let simulated = Draws { stated: Stated::Simulated, ..draws.clone() }.measured_symmetric(first_order);
        interval(String::new(), first_order, simulated, draws.measured_symmetric(first_order)).used
    }

    #[test]
    fn a_linear_quantity_keeps_its_first_order_interval() {
        let first_order = Measured::from_u(150.0, 2.0, f64::INFINITY);
        let linear = draws(DRAWS, |z| 150.0 + 2.0 * z);
        assert_eq!(linear.measured_symmetric(first_order), first_order);
        let simulated = Draws { stated: Stated::Simulated, ..linear }.measured_symmetric(first_order);
        // an end over n draws has sd u sqrt(0.025 * 0.975 / n) / 0.0584, 0.038 here; 4 of them
        assert!((simulated.lo - first_order.lo).abs() < 0.15 && (simulated.hi - first_order.hi).abs() < 0.15);
        assert!(simulated != first_order);
    }

    #[test]
    fn a_curved_quantity_gets_the_simulated_interval_and_the_reason() {
        // y = z + z²/2 has its least value, -1/2, at z = -1: first order says -1.96
        let first_order = Measured::from_u(0.0, 1.0, f64::INFINITY);
        let curved = draws(DRAWS, |z| z + 0.5 * z * z);
        let stated = curved.measured_symmetric(first_order);
        assert!(stated.lo > -0.5 - 1e-9 && stated.lo < -0.49, "{stated:?}");
        assert!((stated.value - 0.5).abs() < 0.04, "the mean of z²/2 is 1/2: {stated:?}");
        let of = interval(String::new(), first_order, stated, stated);
        assert_eq!((of.used, of.reason.as_deref()), (UsedInterval::Simulated, Some(SIMULATED_USED)));
    }

    #[test]
    fn a_difference_that_chance_explains_is_not_acted_on() {
        // the true interval is an eighth narrower at each end: clear in 20 000 draws, not in 60
        let first_order = Measured::from_u(0.0, 8.0 / 7.0, f64::INFINITY);
        assert_eq!(used(&draws(DRAWS, |z| z), first_order), UsedInterval::Simulated);
        let few = draws(60, |z| z);
        assert_eq!(used(&few, first_order), UsedInterval::FirstOrder);
        let simulated = Draws { stated: Stated::Simulated, ..few }.measured_symmetric(first_order);
        let of = interval(String::new(), first_order, simulated, first_order);
        assert_eq!(of.reason.is_some(), !far_ends(&first_order, &simulated).is_empty());
    }

    #[test]
    fn few_raises_have_the_t_distribution() {
        // JCGM 100, table G.2: t95 of 4 degrees of freedom is 2.78; the person's mean of three raises with s = 3
        let spread = Spread { variance: 9.0, unshared: 0.0, dof: 4.0 };
        let person = draws(DRAWS, |_| 0.0).with_person(&spread, 1.0 / 3.0, Purpose::Person);
        let first_order = Measured::from_u(0.0, 3.0_f64.sqrt(), 4.0);
        let simulated = Draws { stated: Stated::Simulated, ..person }.measured_symmetric(first_order);
        // the density of t4 at 2.78 is 0.0255: an end's sd is sqrt(0.025 * 0.975 / n) / 0.0255 of u, 0.043 u; 4 of them
        assert!((simulated.hi - 2.776 * 3.0_f64.sqrt()).abs() < 0.3, "{simulated:?}");
        assert!((simulated.lo + 2.776 * 3.0_f64.sqrt()).abs() < 0.3, "{simulated:?}");
        assert!((simulated.u - 3.0_f64.sqrt()).abs() < 1e-9, "{simulated:?}");
    }

    #[test]
    fn what_measuring_adds_to_the_raises_is_not_counted_twice() {
        // the raises differ by less than they are measured to: nothing is left for the person, most of the time
        let spread = Spread { variance: 1.0, unshared: 100.0, dof: 8.0 };
        let measured = draws(DRAWS, |z| z);
        assert_eq!(measured.clone().with_person(&spread, 0.5, Purpose::Person), measured);
    }

    #[test]
    fn the_bend_of_a_straight_arm_never_goes_below_zero() {
        // two components of zero with 4 deg each: shortest interval 0.44 to 10.00, see the tests of flexion
        let in_plane = draws(DRAWS, |z| 4.0 * z);
        let unseen = in_plane.replaced(0.0, 4.0);
        let first_order = Measured::from_u(0.0, 4.0, f64::INFINITY);
        let flexion = in_plane.size(&unseen).measured_shortest(first_order);
        assert!(flexion.lo >= 0.0 && flexion.lo < 0.9, "{flexion:?}");
        assert!((flexion.hi - flexion.lo - 9.56).abs() < 0.3, "{flexion:?}");
    }
}
