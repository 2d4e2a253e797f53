//! Errors of many measurements, summed up.

use crate::uncertainty::Measured;

/// One measurement beside the truth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Trial {
    pub(super) error: f64,
    pub(super) u: f64,
    pub(super) is_covered: bool,
}

impl Trial {
    pub(super) fn of(measured: &Measured, truth: f64) -> Self {
        Self { error: measured.value - truth, u: measured.u, is_covered: measured.lo <= truth && truth <= measured.hi }
    }
}

/// What the errors come to, in the quantity's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Summary {
    pub(super) bias: f64,
    pub(super) rms: f64,
    /// 95 of 100 errors are at most so large.
    pub(super) p95: f64,
    pub(super) mean_u: f64,
    /// Share of intervals that hold the truth.
    pub(super) coverage: f64,
}

impl Summary {
    /// Sums up in the order given; `None` of nothing.
    pub(super) fn of(trials: &[Trial]) -> Option<Self> {
        let n = trials.len() as f64;
        let mean = |value: fn(&Trial) -> f64| trials.iter().map(value).sum::<f64>() / n;
        let mut sizes: Vec<f64> = trials.iter().map(|trial| trial.error.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        // the smallest error that is at least as large as 95 of 100
        let p95 = *sizes.get((95 * sizes.len()).div_ceil(100).checked_sub(1)?)?;
        Some(Self {
            bias: mean(|trial| trial.error),
            rms: mean(|trial| trial.error.powi(2)).sqrt(),
            p95,
            mean_u: mean(|trial| trial.u),
            coverage: mean(|trial| f64::from(u8::from(trial.is_covered))),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_up_by_hand() {
        // Errors 1 to 20: mean 10.5, mean square 20·21·41 / 6 / 20 = 143.5, the 19th of 20 is the 95th of 100. The interval
        // value ± 9.5 holds the truth for errors 1 to 9.
        let trials: Vec<Trial> = (1..=20)
            .map(|error| {
                let value = 100.0 + f64::from(error);
                Trial::of(&Measured { value, u: 2.0, lo: value - 9.5, hi: value + 9.5 }, 100.0)
            })
            .collect();
        let found = Summary::of(&trials).unwrap();
        let expected = [10.5, 143.5_f64.sqrt(), 19.0, 2.0, 0.45];
        for (found, expected) in
            [found.bias, found.rms, found.p95, found.mean_u, found.coverage].into_iter().zip(expected)
        {
            assert!((found - expected).abs() < 1e-12, "{found} {expected}");
        }
        assert_eq!(Summary::of(&[]), None);
    }
}
