//! Analysis of variance, one-way and two-way, on centred values so that leading digits cost nothing.
//!
//! # Source
//! Winer (1971), Statistical Principles in Experimental Design; Shrout and Fleiss (1979), Psychological Bulletin 86, 420-428,
//! table 1, for the names of the mean squares.

use serde::Serialize;

use crate::uncertainty::UncertaintyError;
use crate::uncertainty::propagation::count_to_f64;

/// One-way analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// Degrees of freedom between groups.
    pub dof_between: f64,
    /// Degrees of freedom within groups.
    pub dof_within: f64,
    /// Sum of squares between groups, unit squared.
    pub ss_between: f64,
    /// Sum of squares within groups, unit squared.
    pub ss_within: f64,
}

impl OneWay {
    /// Mean square between groups.
    #[must_use]
    pub fn ms_between(&self) -> f64 {
        self.ss_between / self.dof_between
    }

    /// Mean square within groups.
    #[must_use]
    pub fn ms_within(&self) -> f64 {
        self.ss_within / self.dof_within
    }

    /// Ratio of the two.
    #[must_use]
    pub fn f(&self) -> f64 {
        self.ms_between() / self.ms_within()
    }

    /// Share of the total sum of squares that lies between groups.
    #[must_use]
    pub fn r_squared(&self) -> f64 {
        self.ss_between / (self.ss_between + self.ss_within)
    }

    /// Standard deviation within groups.
    #[must_use]
    pub fn residual_sd(&self) -> f64 {
        self.ms_within().sqrt()
    }
}

/// Two-way analysis of variance with one value a cell: targets by judges.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct TwoWay {
    /// Number of targets, n.
    pub targets: usize,
    /// Number of judges, k.
    pub judges: usize,
    /// Mean square between targets, BMS.
    pub ms_targets: f64,
    /// Mean square between judges, JMS.
    pub ms_judges: f64,
    /// Residual mean square, EMS.
    pub ms_error: f64,
    /// Mean square within targets, WMS.
    pub ms_within: f64,
}

impl TwoWay {
    /// Degrees of freedom between targets.
    #[must_use]
    pub fn dof_targets(&self) -> f64 {
        count_to_f64(self.targets) - 1.0
    }

    /// Residual degrees of freedom.
    #[must_use]
    pub fn dof_error(&self) -> f64 {
        self.dof_targets() * (count_to_f64(self.judges) - 1.0)
    }

    /// Degrees of freedom within targets.
    #[must_use]
    pub fn dof_within(&self) -> f64 {
        count_to_f64(self.targets) * (count_to_f64(self.judges) - 1.0)
    }
}

/// One-way analysis of variance over groups of any size; empty groups are passed over.
///
/// # Errors
/// [`UncertaintyError::TooFew`] below two groups or without a repeat; [`UncertaintyError::NotFinite`].
pub fn one_way(groups: &[Vec<f64>]) -> Result<OneWay, UncertaintyError> {
    let groups: Vec<&Vec<f64>> = groups.iter().filter(|group| !group.is_empty()).collect();
    refuse_not_finite(groups.iter().copied())?;
    let count: usize = groups.iter().map(|group| group.len()).sum();
    if groups.len() < 2 {
        return Err(UncertaintyError::TooFew { what: "analysis of variance (groups)", found: groups.len(), needed: 2 });
    }
    if count <= groups.len() {
        let needed = groups.len() + 1;
        return Err(UncertaintyError::TooFew { what: "analysis of variance (values)", found: count, needed });
    }
    let origin = groups[0][0];
    let means: Vec<f64> = groups.iter().map(|group| mean_from(group.iter().copied(), origin)).collect();
    let grand = groups.iter().zip(&means).map(|(group, mean)| count_to_f64(group.len()) * mean).sum::<f64>()
        / count_to_f64(count);
    let ss_between =
        groups.iter().zip(&means).map(|(group, mean)| count_to_f64(group.len()) * (mean - grand).powi(2)).sum();
    let ss_within = groups
        .iter()
        .zip(&means)
        .map(|(group, mean)| centred_squares(group.iter().map(|value| value - origin), *mean))
        .sum();
    Ok(OneWay {
        dof_between: count_to_f64(groups.len() - 1),
        dof_within: count_to_f64(count - groups.len()),
        ss_between,
        ss_within,
    })
}

/// Two-way analysis of variance of a full table: a row for each target, a column for each judge.
///
/// # Errors
/// [`UncertaintyError::TooFew`] below two targets or judges, [`UncertaintyError::SizeDiffers`] for rows of unequal length,
/// [`UncertaintyError::NotFinite`].
pub fn two_way(table: &[Vec<f64>]) -> Result<TwoWay, UncertaintyError> {
    let targets = table.len();
    let judges = table.first().map_or(0, Vec::len);
    for (what, found) in [("two-way analysis (targets)", targets), ("two-way analysis (judges)", judges)] {
        if found < 2 {
            return Err(UncertaintyError::TooFew { what, found, needed: 2 });
        }
    }
    if let Some(row) = table.iter().find(|row| row.len() != judges) {
        return Err(UncertaintyError::SizeDiffers { what: "a row of the table", found: row.len(), expected: judges });
    }
    refuse_not_finite(table.iter())?;
    let origin = table[0][0];
    let target_means: Vec<f64> = table.iter().map(|row| mean_from(row.iter().copied(), origin)).collect();
    let judge_means: Vec<f64> =
        (0..judges).map(|judge| mean_from(table.iter().map(|row| row[judge]), origin)).collect();
    let grand = target_means.iter().sum::<f64>() / count_to_f64(targets);
    let (n, k) = (count_to_f64(targets), count_to_f64(judges));
    let ss_targets: f64 = k * centred_squares(target_means.iter().copied(), grand);
    let ss_judges: f64 = n * centred_squares(judge_means.iter().copied(), grand);
    let (mut ss_error, mut ss_within) = (0.0, 0.0);
    for (row, target) in table.iter().zip(&target_means) {
        for (value, judge) in row.iter().zip(&judge_means) {
            let value = value - origin;
            ss_error += (value - target - judge + grand).powi(2);
            ss_within += (value - target).powi(2);
        }
    }
    Ok(TwoWay {
        targets,
        judges,
        ms_targets: ss_targets / (n - 1.0),
        ms_judges: ss_judges / (k - 1.0),
        ms_error: ss_error / ((n - 1.0) * (k - 1.0)),
        ms_within: ss_within / (n * (k - 1.0)),
    })
}

/// The mean of values less an origin near them, corrected once for rounding.
fn mean_from(values: impl Iterator<Item = f64> + Clone, origin: f64) -> f64 {
    let count = values.clone().fold(0.0, |count, _| count + 1.0);
    let mean = values.clone().map(|value| value - origin).sum::<f64>() / count;
    mean + values.map(|value| value - origin - mean).sum::<f64>() / count
}

fn centred_squares(values: impl Iterator<Item = f64>, mean: f64) -> f64 {
    values.map(|value| (value - mean).powi(2)).sum()
}

fn refuse_not_finite<'a>(groups: impl Iterator<Item = &'a Vec<f64>>) -> Result<(), UncertaintyError> {
    match groups.flatten().find(|value| !value.is_finite()) {
        Some(found) => Err(UncertaintyError::NotFinite { what: "analysis of variance", found: *found }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn groups(csv: &str) -> Vec<Vec<f64>> {
        let mut groups: Vec<Vec<f64>> = Vec::new();
        for line in csv.lines().skip(1) {
            let (group, value) = line.split_once(',').unwrap();
            let index: usize = group.parse().unwrap();
            groups.resize(groups.len().max(index), Vec::new());
            groups[index - 1].push(value.parse().unwrap());
        }
        groups
    }

    /// Certified values of NIST's Statistical Reference Datasets, tests/reference/nist_expected.json.
    fn assert_certified(csv: &str, name: &str, digits: f64) {
        let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/nist_expected.json"));
        let file: serde_json::Value = serde_json::from_str(text).unwrap();
        let certified = |key: &str| file[name][key].as_f64().unwrap();
        let found = one_way(&groups(csv)).unwrap();
        for (ours, key) in [
            (found.dof_between, "df_between"),
            (found.dof_within, "df_within"),
            (found.ss_between, "ss_between"),
            (found.ss_within, "ss_within"),
            (found.ms_between(), "ms_between"),
            (found.ms_within(), "ms_within"),
            (found.f(), "f"),
            (found.r_squared(), "r_squared"),
            (found.residual_sd(), "residual_sd"),
        ] {
            let log_error = -(ours / certified(key) - 1.0).abs().max(1e-16).log10();
            assert!(log_error > digits, "{name} {key}: {ours} has {log_error:.1} digits");
        }
    }

    #[test]
    fn certified_data_of_lower_difficulty_are_reproduced() {
        let csv = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/nist_sirstv.csv"));
        assert_certified(csv, "sirstv", 12.0);
    }

    #[test]
    fn certified_data_with_seven_constant_digits_keep_what_doubles_can_hold() {
        // Nine significant digits are left of 107.8681568 once the constant ones are gone: 9 to 10 digits of F at best.
        let csv = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/nist_atmwtag.csv"));
        assert_certified(csv, "atmwtag", 8.5);
    }

    #[test]
    fn a_table_worked_by_hand_splits_into_its_parts() {
        // Rows (1, 3), (5, 7), (3, 8): target means 2, 6, 5.5; judge means 3, 6; grand 4.5.
        // SS targets 2(6.25 + 2.25 + 1) = 19; judges 3(2.25 + 2.25) = 13.5; within 2 + 2 + 12.5 = 16.5; error 3.
        let table = vec![vec![1.0, 3.0], vec![5.0, 7.0], vec![3.0, 8.0]];
        let found = two_way(&table).unwrap();
        assert!((found.ms_targets - 9.5).abs() < 1e-12);
        assert!((found.ms_judges - 13.5).abs() < 1e-12);
        assert!((found.ms_error - 1.5).abs() < 1e-12);
        assert!((found.ms_within - 5.5).abs() < 1e-12);
    }

    #[test]
    fn tables_that_cannot_be_analysed_are_refused() {
        assert!(matches!(one_way(&[vec![1.0, 2.0]]), Err(UncertaintyError::TooFew { .. })));
        assert!(matches!(one_way(&[vec![1.0], vec![2.0]]), Err(UncertaintyError::TooFew { .. })));
        assert!(matches!(two_way(&[vec![1.0, 2.0]]), Err(UncertaintyError::TooFew { .. })));
        assert!(matches!(two_way(&[vec![1.0, 2.0], vec![1.0]]), Err(UncertaintyError::SizeDiffers { .. })));
        assert!(matches!(two_way(&[vec![1.0, 2.0], vec![1.0, f64::NAN]]), Err(UncertaintyError::NotFinite { .. })));
    }
}
