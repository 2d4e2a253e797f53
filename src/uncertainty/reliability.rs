//! Intraclass correlations, standard error of measurement and minimal detectable change.
//!
//! A coefficient depends on how much the targets differ from each other, a standard error does not: report both.
//!
//! # Source
//! Shrout and Fleiss (1979), Intraclass correlations, Psychological Bulletin 86(2), 420-428; Weir (2005), Quantifying
//! test-retest reliability, Journal of Strength and Conditioning Research 19(1), 231-240.

use serde::Serialize;

use crate::uncertainty::measured::COVERAGE;
use crate::uncertainty::propagation::count_to_f64;
use crate::uncertainty::quantile::{f_quantile, student_t_quantile};
use crate::uncertainty::spread::{PooledSpread, spread_of};
use crate::uncertainty::{CoverageInterval, TwoWay, UncertaintyError, two_way};

/// An intraclass correlation with its 95 % interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Coefficient {
    /// The estimate; it can be negative.
    pub value: f64,
    /// Its 95 % interval, for normal errors.
    pub interval: CoverageInterval,
}

impl Coefficient {
    /// A coefficient of judgements without any residual: there is nothing left to draw an interval from.
    const fn exact(value: f64) -> Self {
        Self { value, interval: CoverageInterval { lo: value, hi: value } }
    }
}

/// Reliability of a table of targets by judges (raters, or repeats of one rater).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reliability {
    /// The analysis of variance it rests on.
    pub anova: TwoWay,
    /// ICC(1,1): each target judged by other judges; one judgement.
    pub icc_1_1: Coefficient,
    /// ICC(2,1): these judges stand for all judges; one judgement, agreement.
    pub icc_2_1: Coefficient,
    /// ICC(3,1): these judges are the only ones; one judgement, consistency.
    pub icc_3_1: Coefficient,
    /// ICC(1,k): as (1,1), the mean of the k judgements.
    pub icc_1_k: Coefficient,
    /// ICC(2,k): as (2,1), the mean of the k judgements.
    pub icc_2_k: Coefficient,
    /// ICC(3,k): as (3,1), the mean of the k judgements.
    pub icc_3_k: Coefficient,
    /// Standard error of measurement: root of the residual mean square. Constant differences between judges are not in it.
    pub sem: PooledSpread,
    /// Standard error of measurement with the differences between judges: root of the mean square within targets.
    pub sem_agreement: PooledSpread,
    /// Minimal detectable change at 95 %: 1.96 times root 2 times [`Self::sem`].
    pub mdc95: f64,
    /// 95 % interval of the minimal detectable change.
    pub mdc95_interval: CoverageInterval,
}

/// Reliability of a full table: a row for each target, a column for each judge.
///
/// # Errors
/// As [`two_way`]; [`UncertaintyError::TooFew`] if all values are the same, which says nothing of reliability.
pub fn reliability_of(table: &[Vec<f64>]) -> Result<Reliability, UncertaintyError> {
    let anova = two_way(table)?;
    if anova.ms_targets + anova.ms_within <= 0.0 {
        return Err(UncertaintyError::TooFew { what: "reliability (different values)", found: 1, needed: 2 });
    }
    let (n, k) = (count_to_f64(anova.targets), count_to_f64(anova.judges));
    let TwoWay { ms_targets, ms_judges, ms_error, ms_within, .. } = anova;
    let by_f = |ms: f64, dof: f64| {
        if ms <= 0.0 {
            return (Coefficient::exact(1.0), Coefficient::exact(1.0));
        }
        let f = ms_targets / ms;
        let upper = 0.5 + 0.5 * COVERAGE;
        let low = f / f_quantile(upper, anova.dof_targets(), dof);
        let high = f * f_quantile(upper, dof, anova.dof_targets());
        let single = Coefficient {
            value: (ms_targets - ms) / (ms_targets + (k - 1.0) * ms),
            interval: CoverageInterval { lo: (low - 1.0) / (low + k - 1.0), hi: (high - 1.0) / (high + k - 1.0) },
        };
        let average = Coefficient {
            value: (ms_targets - ms) / ms_targets,
            interval: CoverageInterval { lo: 1.0 - 1.0 / low, hi: 1.0 - 1.0 / high },
        };
        (single, average)
    };
    let (icc_1_1, icc_1_k) = by_f(ms_within, anova.dof_within());
    let (icc_3_1, icc_3_k) = by_f(ms_error, anova.dof_error());
    let icc_2_1 = agreement_coefficient(&anova);
    let stepped_up = |single: f64| k * single / (1.0 + (k - 1.0) * single);
    let icc_2_k = Coefficient {
        value: (ms_targets - ms_error) / (ms_targets + (ms_judges - ms_error) / n),
        interval: CoverageInterval { lo: stepped_up(icc_2_1.interval.lo), hi: stepped_up(icc_2_1.interval.hi) },
    };
    let sem = spread_of(ms_error * anova.dof_error(), anova.dof_error())?;
    let to_change = student_t_quantile(0.5 + 0.5 * COVERAGE, f64::INFINITY) * std::f64::consts::SQRT_2;
    Ok(Reliability {
        icc_1_1,
        icc_2_1,
        icc_3_1,
        icc_1_k,
        icc_2_k,
        icc_3_k,
        sem,
        sem_agreement: spread_of(ms_within * anova.dof_within(), anova.dof_within())?,
        mdc95: to_change * sem.sd,
        mdc95_interval: CoverageInterval { lo: to_change * sem.interval.lo, hi: to_change * sem.interval.hi },
        anova,
    })
}

/// ICC(2,1) with the interval of Shrout and Fleiss, whose degrees of freedom are Satterthwaite's.
fn agreement_coefficient(anova: &TwoWay) -> Coefficient {
    let (n, k) = (count_to_f64(anova.targets), count_to_f64(anova.judges));
    let TwoWay { ms_targets, ms_judges, ms_error, .. } = *anova;
    let value = (ms_targets - ms_error) / (ms_targets + (k - 1.0) * ms_error + k * (ms_judges - ms_error) / n);
    if ms_error <= 0.0 {
        return Coefficient::exact(value);
    }
    let f_judges = ms_judges / ms_error;
    let a = k * value * f_judges;
    let b = n * (1.0 + (k - 1.0) * value) - k * value;
    let dof = (k - 1.0) * (n - 1.0) * (a + b).powi(2) / ((n - 1.0) * a * a + b * b);
    let upper = 0.5 + 0.5 * COVERAGE;
    let f_low = f_quantile(upper, n - 1.0, dof);
    let f_high = f_quantile(upper, dof, n - 1.0);
    let shared = k * ms_judges + (k * n - k - n) * ms_error;
    let lo = n * (ms_targets - f_low * ms_error) / (f_low * shared + n * ms_targets);
    let hi = n * (f_high * ms_targets - ms_error) / (shared + n * f_high * ms_targets);
    Coefficient { value, interval: CoverageInterval { lo, hi } }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(csv: &str, columns: std::ops::Range<usize>) -> Vec<Vec<f64>> {
        csv.lines()
            .skip(1)
            .map(|line| {
                let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
                cells[columns.clone()].to_vec()
            })
            .collect()
    }

    fn json(text: &str) -> serde_json::Value {
        serde_json::from_str(text).unwrap()
    }

    const SHROUT: &str = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/shrout_fleiss_1979.csv"));

    #[test]
    fn the_six_published_coefficients_are_reproduced() {
        let file = json(include_str!(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/reference/shrout_fleiss_1979_expected.json"
        )));
        let found = reliability_of(&rows(SHROUT, 1..5)).unwrap();
        for (ours, key) in [
            (found.icc_1_1, "icc_1_1"),
            (found.icc_2_1, "icc_2_1"),
            (found.icc_3_1, "icc_3_1"),
            (found.icc_1_k, "icc_1_k"),
            (found.icc_2_k, "icc_2_k"),
            (found.icc_3_k, "icc_3_k"),
        ] {
            assert!((ours.value - file["published_2dp"][key].as_f64().unwrap()).abs() < 0.0051, "{key}");
            assert!((ours.value - file["recomputed_exact"][key].as_f64().unwrap()).abs() < 1e-12, "{key}");
        }
        for (ours, key) in [
            (found.anova.ms_targets, "between_targets"),
            (found.anova.ms_within, "within_targets"),
            (found.anova.ms_judges, "between_judges"),
            (found.anova.ms_error, "residual"),
        ] {
            assert!((ours - file["recomputed_exact"]["ms"][key].as_f64().unwrap()).abs() < 1e-12, "{key}");
        }
    }

    #[test]
    fn intervals_are_those_that_other_software_gives() {
        // 95 % intervals of the same table as a long-standing R package prints them (from memory, high).
        let found = reliability_of(&rows(SHROUT, 1..5)).unwrap();
        for (ours, lo, hi) in [
            (found.icc_1_1, -0.133, 0.72),
            (found.icc_2_1, 0.019, 0.76),
            (found.icc_3_1, 0.342, 0.95),
            (found.icc_1_k, -0.884, 0.91),
            (found.icc_2_k, 0.071, 0.93),
            (found.icc_3_k, 0.676, 0.99),
        ] {
            assert!((ours.interval.lo - lo).abs() < 0.0011, "{ours:?}");
            assert!((ours.interval.hi - hi).abs() < 0.0051, "{ours:?}");
        }
    }

    #[test]
    fn error_of_measurement_does_not_depend_on_the_spread_of_people() {
        let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/weir_2005.csv"));
        let file = json(include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/weir_2005_expected.json")));
        for (columns, key) in [(1..3, "set_a"), (3..5, "set_b")] {
            let found = reliability_of(&rows(text, columns)).unwrap();
            for (ours, name) in [
                (found.anova.ms_targets, "ms_subjects"),
                (found.anova.ms_judges, "ms_trials"),
                (found.anova.ms_error, "ms_error"),
                (found.icc_1_1.value, "icc_1_1"),
                (found.icc_2_1.value, "icc_2_1"),
                (found.icc_3_1.value, "icc_3_1"),
                (found.icc_3_k.value, "icc_3_k"),
                (found.sem.sd, "sem_sqrt_ms_error"),
            ] {
                let expected = file[key][name].as_f64().unwrap();
                assert!((ours / expected - 1.0).abs() < 1e-12, "{key} {name}: {ours} {expected}");
            }
            // Recomputed with 1.96 for the quantile 1.959964.
            assert!((found.mdc95 - file[key]["mdc95"].as_f64().unwrap()).abs() < 1e-3);
        }
    }

    #[test]
    fn a_constant_table_says_nothing_and_a_perfect_one_says_one() {
        assert!(reliability_of(&[vec![3.0, 3.0], vec![3.0, 3.0]]).is_err());
        let perfect = reliability_of(&[vec![1.0, 1.0], vec![2.0, 2.0], vec![4.0, 4.0]]).unwrap();
        assert!((perfect.icc_1_1.value - 1.0).abs() < 1e-12 && (perfect.icc_2_1.interval.lo - 1.0).abs() < 1e-12);
        assert!(perfect.sem.sd < 1e-12 && perfect.mdc95 < 1e-12);
    }
}
