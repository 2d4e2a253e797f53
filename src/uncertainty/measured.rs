//! A measured quantity as it is reported, and how wide its interval is.

use serde::{Deserialize, Serialize};

use crate::uncertainty::quantile::student_t_quantile;

/// The coverage probability of every interval that is reported.
pub const COVERAGE: f64 = 0.95;

/// A reported quantity: estimate, standard uncertainty and a 95 % coverage interval, all in the quantity's own unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// The estimate.
    pub value: f64,
    /// Standard uncertainty (JCGM 100).
    pub u: f64,
    /// Lower end of the 95 % coverage interval.
    pub lo: f64,
    /// Upper end of the 95 % coverage interval.
    pub hi: f64,
}

/// A standard uncertainty with its degrees of freedom.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Component {
    /// Standard uncertainty that this part gives to the result, in the result's unit.
    pub u: f64,
    /// Degrees of freedom; infinite where the uncertainty itself is taken as known.
    pub dof: f64,
}

impl Measured {
    /// The interval `value ± t·u` of 95 % coverage, with Student's t for `dof` degrees of freedom.
    ///
    /// `dof` may be infinite (t = 1.96) and is cut down to a whole number first; see [`coverage_factor`].
    #[must_use]
    pub fn from_u(value: f64, u: f64, dof: f64) -> Self {
        let half_width = if u > 0.0 { coverage_factor(dof) * u } else { 0.0 };
        Self { value, u, lo: value - half_width, hi: value + half_width }
    }

    /// The same quantity with an interval that cannot be below zero kept there: an angle of flexion, a width.
    #[must_use]
    pub fn clamped_at_zero(self) -> Self {
        Self { value: self.value.max(0.0), u: self.u, lo: self.lo.max(0.0), hi: self.hi.max(0.0) }
    }
}

/// The factor t by which a standard uncertainty is multiplied for 95 % coverage.
///
/// Degrees of freedom of 1 and more are cut down to a whole number before the look-up; below 1 the factor grows without
/// bound as `dof` goes to 0, and is infinite there.
///
/// # Source
/// JCGM 100:2008, G.4.1 and Table G.2.
#[must_use]
pub fn coverage_factor(dof: f64) -> f64 {
    if dof.is_nan() || dof <= 0.0 {
        return f64::INFINITY;
    }
    let used = if dof >= 1.0 { dof.floor() } else { dof };
    student_t_quantile(0.5 + 0.5 * COVERAGE, used)
}

/// Effective degrees of freedom of a sum of independent parts, by the Welch-Satterthwaite formula. Not yet cut down.
///
/// Infinite if every part is known (infinite degrees of freedom) or zero. Parts that are correlated must be joined first.
///
/// # Source
/// JCGM 100:2008, equation G.2b.
#[must_use]
pub fn effective_dof(components: &[Component]) -> f64 {
    // Independent parts: the variance of the sum is the sum of the variances.
    let variance: f64 = components.iter().map(|part| part.u * part.u).sum();
    let denominator: f64 = components.iter().filter(|part| part.u > 0.0).map(|part| part.u.powi(4) / part.dof).sum();
    if denominator > 0.0 { variance * variance / denominator } else { f64::INFINITY }
}

/// Combined standard uncertainty of independent parts, with its effective degrees of freedom.
#[must_use]
pub fn combine_independent(components: &[Component]) -> Component {
    // Independent by the function's contract.
    let u = components.iter().map(|part| part.u * part.u).sum::<f64>().sqrt();
    Component { u, dof: effective_dof(components) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn t_factors_are_those_of_the_guide() {
        // JCGM 100:2008, Table G.2, column p = 95 % (from memory, high), to the two decimals printed there.
        for (dof, factor) in [
            (1.0, 12.71),
            (2.0, 4.30),
            (3.0, 3.18),
            (4.0, 2.78),
            (5.0, 2.57),
            (10.0, 2.23),
            (16.0, 2.12),
            (20.0, 2.09),
            (50.0, 2.01),
            (f64::INFINITY, 1.960),
        ] {
            assert!((coverage_factor(dof) - factor).abs() <= 0.0051, "{dof}: {}", coverage_factor(dof));
        }
    }

    #[test]
    fn degrees_of_freedom_are_cut_down_before_the_look_up() {
        assert!((coverage_factor(16.9) - coverage_factor(16.0)).abs() < 1e-12);
        assert!(coverage_factor(0.0).is_infinite());
        assert!(coverage_factor(0.5) > coverage_factor(1.0));
    }

    #[test]
    fn the_end_gauge_budget_gives_the_published_degrees_of_freedom() {
        // JCGM 100:2008, H.1: budget in nm and published results, tests/reference/gum_h1.json.
        let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/gum_h1.json"));
        let file: serde_json::Value = serde_json::from_str(text).unwrap();
        let parts: Vec<Component> = file["budget_nm"]
            .as_array()
            .unwrap()
            .iter()
            .map(|line| Component {
                u: line["u_nm"].as_f64().unwrap(),
                dof: line["dof"].as_f64().unwrap_or(f64::INFINITY),
            })
            .collect();
        assert_eq!(parts.len(), 8);
        let total = combine_independent(&parts);
        // Published: 32 nm and 16.7, to these digits. Recomputed from unrounded contributions: 31.664 and 16.752, from which
        // the printed ones may differ by what rounding 16.6 nm to its last digit does, 0.026 nm.
        assert!((total.u - 32.0).abs() < 0.5 && (total.u - 31.663_879).abs() < 0.026, "{}", total.u);
        assert!((total.dof - 16.7).abs() < 0.06 && (total.dof - 16.751_856).abs() < 0.06, "{}", total.dof);
        // The difference d alone: 9.7 nm, and 25.6 as 9.7^4 over the terms; unrounded it is 25.4.
        let difference = combine_independent(&parts[1..4]);
        assert!((difference.u - 9.7).abs() < 0.05);
        assert!((difference.dof - 25.6).abs() < 0.2);
        // t99(16) = 2.92 and U99 = 93 nm, computed there from the rounded 32 nm, hence 1 nm.
        let t99 = student_t_quantile(0.995, total.dof.floor());
        assert!((t99 - 2.92).abs() < 0.005);
        assert!((t99 * total.u - 93.0).abs() < 1.0);
    }

    #[test]
    fn a_known_part_does_not_limit_the_degrees_of_freedom() {
        let known = Component { u: 3.0, dof: f64::INFINITY };
        let few = Component { u: 4.0, dof: 2.0 };
        // 5^4 / (4^4 / 2) = 4.8828125.
        assert!((effective_dof(&[known, few]) - 4.882_812_5).abs() < 1e-12);
        assert!(effective_dof(&[known]).is_infinite());
        assert!(effective_dof(&[]).is_infinite());
        assert!((effective_dof(&[few, Component { u: 0.0, dof: 1.0 }]) - 2.0).abs() < 1e-12);
    }

    #[test]
    fn an_interval_is_value_plus_minus_t_u() {
        let known = Measured::from_u(151.2, 0.9, f64::INFINITY);
        assert!((known.hi - 151.2 - 1.959_964 * 0.9).abs() < 1e-6);
        assert!((known.lo - 151.2 + 1.959_964 * 0.9).abs() < 1e-6);
        let few = Measured::from_u(0.0, 1.0, 2.4);
        assert!((few.hi - 4.302_653).abs() < 1e-5);
        let exact = Measured::from_u(7.0, 0.0, 0.0);
        assert!((exact.lo - 7.0).abs() < 1e-15 && (exact.hi - 7.0).abs() < 1e-15);
        let flexion = Measured::from_u(1.0, 2.0, f64::INFINITY).clamped_at_zero();
        assert!(flexion.lo.abs() < 1e-15 && flexion.hi > 4.9);
    }
}
