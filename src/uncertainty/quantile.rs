//! Quantiles of the distributions that intervals rest on, by bounded bisection of their distribution functions.

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, Normal, StudentsT};

/// Degrees of freedom from which Student's quantile is taken from its expansion about the normal one: the first term left out
/// is then below 1e-8.
const EXPANSION_DOF: f64 = 1000.0;

/// Halvings of a bracket: more than a double has bits, exponent included.
const MAX_HALVINGS: usize = 1100;

/// Student's t quantile: the value that a variable of `dof` degrees of freedom stays below with `probability`.
///
/// `dof` is positive, not necessarily whole, and may be infinite, which gives the normal quantile; `probability` lies
/// between 0 and 1. `NaN` for anything else.
///
/// # Source
/// For many degrees of freedom: Abramowitz and Stegun (1964), Handbook of Mathematical Functions, 26.7.5.
#[must_use]
pub fn student_t_quantile(probability: f64, dof: f64) -> f64 {
    if !is_open_probability(probability) || dof.is_nan() || dof <= 0.0 {
        return f64::NAN;
    }
    if dof >= EXPANSION_DOF {
        let z = Normal::standard().inverse_cdf(probability);
        let (z3, z5) = (z.powi(3), z.powi(5));
        return z + (z3 + z) / (4.0 * dof) + (5.0 * z5 + 16.0 * z3 + 3.0 * z) / (96.0 * dof * dof);
    }
    let Ok(distribution) = StudentsT::new(0.0, 1.0, dof) else { return f64::NAN };
    // The distribution is symmetric about 0: the upper half is bisected, by its small upper tail.
    let tail = probability.min(1.0 - probability);
    invert(|t| distribution.sf(t) <= tail).copysign(probability - 0.5)
}

/// The value that a ratio F of two mean squares stays below with `probability`; both degrees of freedom are positive and
/// finite. `NaN` for anything else.
#[must_use]
pub fn f_quantile(probability: f64, dof_above: f64, dof_below: f64) -> f64 {
    if !is_open_probability(probability) {
        return f64::NAN;
    }
    let Ok(distribution) = FisherSnedecor::new(dof_above, dof_below) else { return f64::NAN };
    invert(|f| distribution.cdf(f) >= probability)
}

/// The value that a sum of squares of `dof` standard normal variables stays below with `probability`. `NaN` for a `dof` that is
/// not positive and finite, or a probability outside 0 to 1.
#[must_use]
pub fn chi_squared_quantile(probability: f64, dof: f64) -> f64 {
    if !is_open_probability(probability) {
        return f64::NAN;
    }
    let Ok(distribution) = ChiSquared::new(dof) else { return f64::NAN };
    invert(|x| distribution.cdf(x) >= probability)
}

fn is_open_probability(probability: f64) -> bool {
    probability > 0.0 && probability < 1.0
}

/// The least positive number from which on `is_above` holds.
fn invert(is_above: impl Fn(f64) -> bool) -> f64 {
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    while !is_above(high) {
        low = high;
        high *= 2.0;
        if high.is_infinite() {
            return f64::INFINITY;
        }
    }
    for _ in 0..MAX_HALVINGS {
        let middle = 0.5 * (low + high);
        if middle <= low || middle >= high {
            break;
        }
        if is_above(middle) { high = middle } else { low = middle }
    }
    high
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn student_quantiles_have_their_closed_forms() {
        // t_p(1) = tan(pi (p - 1/2)); t_p(2) = (2p - 1) sqrt(2 / (4 p (1 - p))).
        for p in [0.025_f64, 0.6, 0.975, 0.995] {
            let one = (std::f64::consts::PI * (p - 0.5)).tan();
            assert!((student_t_quantile(p, 1.0) / one - 1.0).abs() < 1e-11);
            let two = (2.0 * p - 1.0) * (2.0 / (4.0 * p * (1.0 - p))).sqrt();
            assert!((student_t_quantile(p, 2.0) / two - 1.0).abs() < 1e-11);
        }
        assert!((student_t_quantile(0.975, f64::INFINITY) - 1.959_963_984_540_054).abs() < 1e-10);
        // Both ways agree where they meet.
        assert!((student_t_quantile(0.975, 999.999_999) - student_t_quantile(0.975, 1000.0)).abs() < 1e-8);
    }

    #[test]
    fn f_and_chi_squared_quantiles_are_those_of_the_tables() {
        // F with (2, d): F_p = d/2 ((1 - p)^(-2/d) - 1). F with (1, d) is Student's t squared.
        for d in [3.0, 15.0, 40.0_f64] {
            let closed = 0.5 * d * (0.025_f64.powf(-2.0 / d) - 1.0);
            assert!((f_quantile(0.975, 2.0, d) / closed - 1.0).abs() < 1e-10);
            assert!((f_quantile(0.95, 1.0, d).sqrt() - student_t_quantile(0.975, d)).abs() < 1e-8);
        }
        // Chi squared with 2 degrees of freedom: -2 ln(1 - p); with 10, 3.247 and 20.483 (tables, from memory, high).
        assert!((chi_squared_quantile(0.95, 2.0) + 2.0 * 0.05_f64.ln()).abs() < 1e-10);
        assert!((chi_squared_quantile(0.025, 10.0) - 3.247).abs() < 5e-4);
        assert!((chi_squared_quantile(0.975, 10.0) - 20.483).abs() < 5e-4);
    }

    #[test]
    fn what_is_no_probability_or_dof_gives_nan() {
        assert!(student_t_quantile(1.0, 3.0).is_nan());
        assert!(student_t_quantile(0.9, 0.0).is_nan());
        assert!(f_quantile(0.9, -1.0, 3.0).is_nan());
        assert!(chi_squared_quantile(f64::NAN, 3.0).is_nan());
    }
}
