//! Elbow flexion: the size of a bend with two components, so never below zero and far from linear near a straight arm.
//!
//! Its distribution is simulated. A component that the view does not show is drawn from what is known of straight arms.

use rand_distr::{Distribution as _, StandardNormal};

use crate::geometry::Side;
use crate::pose::priors::{ELBOW_FRAME_SD_DEG, ELBOW_IN_PLANE_DEG, ELBOW_OUT_OF_PLANE_DEG, Prior};
use crate::pose::{Quantity, Undetermined};
use crate::uncertainty::{Measured, MonteCarloOptions, SimulatedDistribution, monte_carlo};

use super::pooled::{Combine, Pooled, Raising};

/// No repeats are drawn for more degrees of freedom than this: the t distribution is the normal one there.
const DOF_MAX: f64 = 200.0;

/// Elbow flexion of one arm in a reach, deg.
///
/// The estimate is the mean of the simulated values and `u` their standard deviation; the interval is the shortest one of
/// 95 %, as befits a quantity with an end at zero.
///
/// # Errors
/// [`Undetermined`] when the marks tell neither the bend in the sagittal plane nor the one out of it.
///
/// # Source
/// JCGM 101:2008, 6.4.9 (scaled and shifted t-distribution), 5.3.4 (shortest coverage interval) and 7.6 (estimate).
pub(crate) fn elbow_flexion<F: Combine>(
    raising: &Raising<'_, F>,
    reach: usize,
    side: Side,
) -> Result<Measured, Undetermined> {
    let quantities = [Quantity::ElbowInPlane(side), Quantity::ElbowOutOfPlane(side)];
    let (in_plane, out_of_plane, correlation) = match quantities.map(|quantity| raising.of_reach(reach, quantity)) {
        [Ok(in_plane), Ok(out_of_plane)] => {
            (in_plane, out_of_plane, raising.correlation(reach, quantities[0], quantities[1]))
        }
        [Ok(in_plane), Err(_)] => (in_plane, of_straight_arms(ELBOW_OUT_OF_PLANE_DEG), 0.0),
        [Err(_), Ok(out_of_plane)] => (of_straight_arms(ELBOW_IN_PLANE_DEG), out_of_plane, 0.0),
        [Err(undetermined), Err(_)] => return Err(undetermined),
    };
    let draws = match (&in_plane.draws, &out_of_plane.draws) {
        (Some(first), Some(second)) => Some(first.size(second)),
        // the one that is not seen has no draws
        (Some(seen), None) => Some(seen.size(&seen.replaced(out_of_plane.value, out_of_plane.u))),
        (None, Some(seen)) => Some(seen.size(&seen.replaced(in_plane.value, in_plane.u))),
        (None, None) => None,
    };
    let first_order = simulated_size(&[in_plane, out_of_plane], correlation);
    Ok(draws.map_or(first_order, |draws| draws.measured_shortest(first_order)))
}

/// A component that is not seen: as in straight arms.
fn of_straight_arms(prior: Prior) -> Pooled {
    // the person's own bend and its change from reach to reach are independent
    Pooled { value: prior.mean, u: prior.sd.hypot(ELBOW_FRAME_SD_DEG), dof: f64::INFINITY, draws: None }
}

fn simulated_size(components: &[Pooled; 2], correlation: f64) -> Measured {
    let rest = (1.0 - correlation * correlation).max(0.0).sqrt();
    let draws = monte_carlo(MonteCarloOptions::default(), |rng| {
        let mut normal = || -> f64 { StandardNormal.sample(rng) };
        let (first, second) = (normal(), normal());
        let standard = [first, correlation * first + rest * second];
        let mut size_square = 0.0;
        for (component, standard) in components.iter().zip(standard) {
            let bend = component.value + component.u * standard * few_repeats(component.dof, &mut normal);
            size_square += bend * bend;
        }
        size_square.sqrt()
    });
    let value = draws.iter().sum::<f64>() / super::pooled::number(draws.len());
    match SimulatedDistribution::from_values(draws) {
        Ok(distribution) => distribution.measured_shortest(value),
        // not reached with finite components: then the plain size, as wide as both
        Err(_) => {
            let [first, second] = components;
            let value = first.value.hypot(second.value);
            Measured::from_u(value, first.u.hypot(second.u), f64::INFINITY).clamped_at_zero()
        }
    }
}

/// The factor that makes a normal draw one of Student's t: the square root of degrees of freedom over chi-squared.
fn few_repeats(dof: f64, normal: &mut impl FnMut() -> f64) -> f64 {
    if dof > DOF_MAX {
        return 1.0;
    }
    let (mut count, mut square) = (0.0, 0.0);
    while count < dof.floor().max(1.0) {
        square += normal().powi(2);
        count += 1.0;
    }
    (count / square).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Three standard errors of a mean over the usual number of draws, for a spread of 5 deg; quantiles vary more.
    const TOLERANCE_DEG: f64 = 0.12;

    fn exactly(value: f64, u: f64) -> Pooled {
        Pooled { value, u, dof: f64::INFINITY, draws: None }
    }

    #[test]
    fn a_clear_bend_is_its_size() {
        let flexion = simulated_size(&[exactly(30.0, 0.5), exactly(40.0, 0.5)], 0.0);
        assert!((flexion.value - 50.0).abs() < 0.02 && (flexion.u - 0.5).abs() < 0.02, "{flexion:?}");
        assert!((flexion.hi - flexion.lo - 2.0 * 1.96 * 0.5).abs() < 0.1, "{flexion:?}");
    }

    #[test]
    fn a_straight_arm_has_the_rayleigh_distribution() {
        // two components of zero with 4 deg each: mean 4 sqrt(pi / 2) = 5.013; the shortest interval [a, b] has
        // exp(-a²/2) - exp(-b²/2) = 0.95 at the least b - a, which is 2.390 from 0.110 to 2.500, times 4
        let flexion = simulated_size(&[exactly(0.0, 4.0), exactly(0.0, 4.0)], 0.0);
        assert!((flexion.value - 5.013).abs() < TOLERANCE_DEG, "{flexion:?}");
        assert!((flexion.hi - flexion.lo - 9.56).abs() < 0.2 && flexion.lo >= 0.0, "{flexion:?}");
        assert!(flexion.lo < 0.9, "{flexion:?}");
    }

    #[test]
    fn components_that_err_together_are_not_taken_for_independent() {
        // fully correlated, both 10 with 2: the size is 14.14 with 2.83
        let flexion = simulated_size(&[exactly(10.0, 2.0), exactly(10.0, 2.0)], 1.0);
        assert!((flexion.value - 14.142).abs() < TOLERANCE_DEG && (flexion.u - 2.828).abs() < 0.1, "{flexion:?}");
    }
}
