//! Limits of agreement between two ways of measuring the same things.
//!
//! # Source
//! Bland and Altman (1986), Statistical methods for assessing agreement between two methods of clinical measurement, Lancet
//! 327(8476), 307-310.

use serde::Serialize;

use crate::uncertainty::line::{LineFit, fit_line};
use crate::uncertainty::measured::{COVERAGE, coverage_factor};
use crate::uncertainty::propagation::count_to_f64;
use crate::uncertainty::quantile::student_t_quantile;
use crate::uncertainty::{CoverageInterval, UncertaintyError};

/// Agreement of two ways of measuring, in the unit of the measurement. Differences are first minus second.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LimitsOfAgreement {
    /// Number of pairs.
    pub pairs: usize,
    /// Mean difference: the bias between the two.
    pub mean_difference: f64,
    /// Its standard error.
    pub mean_se: f64,
    /// Its 95 % interval, by Student's t.
    pub mean_interval: CoverageInterval,
    /// Standard deviation of the differences.
    pub sd: f64,
    /// Lower limit of agreement.
    pub lower: f64,
    /// Upper limit of agreement.
    pub upper: f64,
    /// Standard error of a limit, sqrt(3 / n) times the standard deviation.
    pub limit_se: f64,
    /// 95 % interval of the lower limit.
    pub lower_interval: CoverageInterval,
    /// 95 % interval of the upper limit.
    pub upper_interval: CoverageInterval,
    /// The differences over the means: a slope that is not zero says that the bias grows with what is measured. `None` below
    /// three pairs or if all means are the same.
    pub trend: Option<LineFit>,
}

/// Limits of agreement of pairs (first, second), `multiplier` standard deviations on either side of the mean difference.
///
/// For 95 % the multiplier is 1.96; the paper rounds it to 2.
///
/// # Errors
/// [`UncertaintyError::TooFew`] below two pairs; [`UncertaintyError::NotFinite`].
pub fn limits_of_agreement(pairs: &[[f64; 2]], multiplier: f64) -> Result<LimitsOfAgreement, UncertaintyError> {
    if pairs.len() < 2 {
        return Err(UncertaintyError::TooFew { what: "limits of agreement (pairs)", found: pairs.len(), needed: 2 });
    }
    if let Some(found) = pairs.iter().flatten().find(|value| !value.is_finite()) {
        return Err(UncertaintyError::NotFinite { what: "a pair", found: *found });
    }
    let n = count_to_f64(pairs.len());
    let mean_difference = pairs.iter().map(|[first, second]| first - second).sum::<f64>() / n;
    let squares: f64 = pairs.iter().map(|[first, second]| (first - second - mean_difference).powi(2)).sum();
    let sd = (squares / (n - 1.0)).sqrt();
    let mean_se = sd / n.sqrt();
    let limit_se = sd * (3.0 / n).sqrt();
    let t = coverage_factor(n - 1.0);
    let about = |middle: f64, se: f64| CoverageInterval { lo: middle - t * se, hi: middle + t * se };
    let (lower, upper) = (mean_difference - multiplier * sd, mean_difference + multiplier * sd);
    let against_means: Vec<[f64; 2]> =
        pairs.iter().map(|[first, second]| [0.5 * (first + second), first - second]).collect();
    Ok(LimitsOfAgreement {
        pairs: pairs.len(),
        mean_difference,
        mean_se,
        mean_interval: about(mean_difference, mean_se),
        sd,
        lower,
        upper,
        limit_se,
        lower_interval: about(lower, limit_se),
        upper_interval: about(upper, limit_se),
        trend: fit_line(&against_means).ok(),
    })
}

/// The multiplier for limits that hold 95 % of normal differences, 1.96.
#[must_use]
pub fn normal_multiplier() -> f64 {
    student_t_quantile(0.5 + 0.5 * COVERAGE, f64::INFINITY)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings() -> Vec<[f64; 4]> {
        include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/bland_altman_1986_pefr.csv"))
            .lines()
            .skip(1)
            .map(|line| {
                let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
                [row[1], row[2], row[3], row[4]]
            })
            .collect()
    }

    #[test]
    fn the_papers_limits_and_intervals_are_reproduced() {
        // First readings of the two meters, l/min; published values and exact ones in tests/reference/.
        let pairs: Vec<[f64; 2]> = readings().iter().map(|row| [row[0], row[2]]).collect();
        let found = limits_of_agreement(&pairs, 2.0).unwrap();
        assert_eq!(found.pairs, 17);
        // Published -2.1 and 38.8; the paper goes on with these rounded numbers: its limits differ by up to 0.1, and its
        // intervals by 2.12 times the rounding of 16.3 more.
        for (ours, published) in [
            (found.mean_difference, -2.1),
            (found.sd, 38.8),
            (found.lower, -79.7),
            (found.upper, 75.5),
            (found.mean_se, 9.4),
            (found.mean_interval.lo, -22.0),
            (found.mean_interval.hi, 17.8),
            (found.limit_se, 16.3),
            (found.lower_interval.lo, -114.3),
            (found.lower_interval.hi, -45.1),
            (found.upper_interval.lo, 40.9),
            (found.upper_interval.hi, 110.1),
        ] {
            assert!((ours - published).abs() < 0.2, "{ours} {published}");
        }
        assert!((found.mean_difference + 2.117_647_058_823_529_4).abs() < 1e-12);
        assert!((found.sd - 38.765_129_873_607_38).abs() < 1e-10);
        let narrow = limits_of_agreement(&pairs, normal_multiplier()).unwrap();
        // Recomputed with 1.96 exactly, which is 3.6e-5 more than the quantile.
        assert!((narrow.lower + 78.097_301_611_094).abs() < 0.002);
        assert!((narrow.upper - 73.862_007_493_446_92).abs() < 0.002);
    }

    #[test]
    fn a_bias_that_grows_shows_as_a_trend() {
        let pairs: Vec<[f64; 2]> = (1..=10).map(|i| [1.1 * f64::from(i), f64::from(i)]).collect();
        let trend = limits_of_agreement(&pairs, 2.0).unwrap().trend.unwrap();
        // Difference 0.1 i over mean 1.05 i.
        assert!((trend.slope - 0.1 / 1.05).abs() < 1e-12);
    }

    #[test]
    fn one_pair_has_no_limits() {
        assert!(matches!(limits_of_agreement(&[[1.0, 2.0]], 2.0), Err(UncertaintyError::TooFew { .. })));
    }
}
