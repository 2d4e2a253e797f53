//! The standard deviation of repeats, pooled over groups of any size.

use serde::Serialize;

use crate::uncertainty::measured::COVERAGE;
use crate::uncertainty::propagation::count_to_f64;
use crate::uncertainty::quantile::chi_squared_quantile;
use crate::uncertainty::{CoverageInterval, UncertaintyError};

/// A standard deviation with its degrees of freedom and 95 % interval, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PooledSpread {
    /// The standard deviation.
    pub sd: f64,
    /// Degrees of freedom: values less groups.
    pub dof: f64,
    /// Its 95 % interval, for normal errors.
    pub interval: CoverageInterval,
}

/// Pools the spread within groups: each group's values repeat one thing. Groups of one say nothing and are passed over.
///
/// # Errors
/// [`UncertaintyError::TooFew`] if no group has a repeat; [`UncertaintyError::NotFinite`].
pub fn pooled_spread(groups: &[Vec<f64>]) -> Result<PooledSpread, UncertaintyError> {
    let (mut squares, mut dof) = (0.0, 0.0);
    for group in groups.iter().filter(|group| group.len() > 1) {
        if let Some(found) = group.iter().find(|value| !value.is_finite()) {
            return Err(UncertaintyError::NotFinite { what: "a repeat", found: *found });
        }
        let count = count_to_f64(group.len());
        let mean = group.iter().sum::<f64>() / count;
        squares += group.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        dof += count - 1.0;
    }
    spread_of(squares, dof)
}

/// The spread of a sum of squares with `dof` degrees of freedom.
///
/// # Errors
/// [`UncertaintyError::TooFew`] below one degree of freedom.
pub fn spread_of(squares: f64, dof: f64) -> Result<PooledSpread, UncertaintyError> {
    if dof < 1.0 {
        return Err(UncertaintyError::TooFew { what: "a spread (repeats of one thing)", found: 1, needed: 2 });
    }
    let tail = 0.5 * (1.0 - COVERAGE);
    let interval = CoverageInterval {
        lo: (squares / chi_squared_quantile(1.0 - tail, dof)).sqrt(),
        hi: (squares / chi_squared_quantile(tail, dof)).sqrt(),
    };
    Ok(PooledSpread { sd: (squares / dof).sqrt(), dof, interval })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn unequal_groups_are_pooled_by_their_degrees_of_freedom() {
        // Squares 2 (two values 2 apart) + 8 (3, 5, 7) over 1 + 2 degrees of freedom; the single value says nothing.
        let found = pooled_spread(&[vec![1.0, 3.0], vec![3.0, 5.0, 7.0], vec![100.0]]).unwrap();
        assert!((found.sd - (10.0_f64 / 3.0).sqrt()).abs() < 1e-12);
        assert!((found.dof - 3.0).abs() < 1e-12);
        // Chi squared with 3 degrees of freedom: 0.216 and 9.348 (tables, from memory, high).
        assert!((found.interval.lo - (10.0_f64 / 9.348).sqrt()).abs() < 1e-3);
        assert!((found.interval.hi - (10.0_f64 / 0.2158).sqrt()).abs() < 1e-3);
    }

    #[test]
    fn without_repeats_there_is_no_spread() {
        assert!(pooled_spread(&[vec![1.0], vec![2.0]]).is_err());
        assert!(pooled_spread(&[]).is_err());
    }

    #[test]
    fn the_papers_repeatability_is_reproduced() {
        // Bland and Altman (1986): twice the within-subject standard deviation times root 2, from paired readings, whose mean
        // difference counts as error: 2 sqrt(sum of squared differences / n) = 43.294 and 56.316 (tests/reference/).
        let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/bland_altman_1986_pefr.csv"));
        let rows: Vec<Vec<f64>> =
            text.lines().skip(1).map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect()).collect();
        for (first, within) in [(1, 15.306_669_057_866_863), (3, 19.910_830_632_361_58)] {
            let groups: Vec<Vec<f64>> = rows.iter().map(|row| row[first..first + 2].to_vec()).collect();
            assert!((pooled_spread(&groups).unwrap().sd - within).abs() < 1e-10);
        }
    }
}
