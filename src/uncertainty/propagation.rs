//! First-order propagation of uncertainty with full covariance, and the covariance of repeated readings.
//!
//! # Source
//! JCGM 100:2008, 5.2 (correlated inputs) and H.2; JCGM 102:2011, 6.2 (several outputs).

use nalgebra::{DMatrix, DVector};

use crate::uncertainty::UncertaintyError;

/// Means of quantities read together, with the covariance of the means.
#[derive(Debug, Clone, PartialEq)]
pub struct RepeatedMeans {
    /// The mean of each quantity, in its own unit.
    pub mean: DVector<f64>,
    /// Covariance of the means: that of the readings over their number.
    pub covariance: DMatrix<f64>,
    /// Degrees of freedom: readings less one.
    pub dof: usize,
}

/// The covariance of outputs from that of inputs, to first order: J C Jᵀ.
///
/// `jacobian` has a row for each output and a column for each input; `covariance` is that of the inputs. The result is made
/// exactly symmetric.
///
/// # Errors
/// [`UncertaintyError::SizeDiffers`] unless the covariance is square and has a row for each column of the Jacobian.
pub fn propagate(jacobian: &DMatrix<f64>, covariance: &DMatrix<f64>) -> Result<DMatrix<f64>, UncertaintyError> {
    for (what, found) in [("covariance's rows", covariance.nrows()), ("covariance's columns", covariance.ncols())] {
        if found != jacobian.ncols() {
            return Err(UncertaintyError::SizeDiffers { what, found, expected: jacobian.ncols() });
        }
    }
    let output = jacobian * covariance * jacobian.transpose();
    Ok(0.5 * (&output + output.transpose()))
}

/// Means of quantities that were read together several times, with the covariance of those means.
///
/// Each element of `readings` is one set, with all quantities in one order. Correlation between the quantities of a set is
/// kept; the sets are taken as independent of each other.
///
/// # Errors
/// [`UncertaintyError::TooFew`] below two sets, [`UncertaintyError::SizeDiffers`] for sets of unequal length,
/// [`UncertaintyError::NotFinite`].
///
/// # Source
/// JCGM 100:2008, equations 3, 5 and 17.
pub fn repeated_means(readings: &[Vec<f64>]) -> Result<RepeatedMeans, UncertaintyError> {
    let count = readings.len();
    if count < 2 {
        return Err(UncertaintyError::TooFew { what: "covariance of repeated readings", found: count, needed: 2 });
    }
    let quantities = readings[0].len();
    let mut sum = DVector::<f64>::zeros(quantities);
    for set in readings {
        if set.len() != quantities {
            return Err(UncertaintyError::SizeDiffers { what: "a set", found: set.len(), expected: quantities });
        }
        if let Some(found) = set.iter().find(|value| !value.is_finite()) {
            return Err(UncertaintyError::NotFinite { what: "a set", found: *found });
        }
        sum += DVector::from_column_slice(set);
    }
    let n = count_to_f64(count);
    let mean = sum / n;
    let mut covariance = DMatrix::<f64>::zeros(quantities, quantities);
    for set in readings {
        let deviation = DVector::from_column_slice(set) - &mean;
        covariance += &deviation * deviation.transpose();
    }
    Ok(RepeatedMeans { mean, covariance: covariance / (n * (n - 1.0)), dof: count - 1 })
}

/// Correlation coefficients of a covariance; zero where a variance is zero.
#[must_use]
pub fn correlation_of(covariance: &DMatrix<f64>) -> DMatrix<f64> {
    let sd = covariance.diagonal().map(|variance| variance.max(0.0).sqrt());
    DMatrix::from_fn(covariance.nrows(), covariance.ncols(), |row, col| {
        let scale = sd[row] * sd[col];
        if scale > 0.0 { covariance[(row, col)] / scale } else { 0.0 }
    })
}

/// A count as a number; exact, since nothing here counts to 2^53.
pub(crate) fn count_to_f64(count: usize) -> f64 {
    #[allow(clippy::cast_precision_loss, reason = "exact below 2^53")]
    let number = count as f64;
    number
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Voltage V, current A, phase rad: JCGM 100:2008, Table H.2, tests/reference/gum_h2.csv.
    fn readings() -> Vec<Vec<f64>> {
        include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/gum_h2.csv"))
            .lines()
            .skip(1)
            .map(|line| {
                let row: Vec<f64> = line.split(',').map(|cell| cell.parse().unwrap()).collect();
                vec![row[1], row[2] * 1e-3, row[3]]
            })
            .collect()
    }

    fn expected() -> serde_json::Value {
        let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/gum_h2_expected.json"));
        serde_json::from_str(text).unwrap()
    }

    /// Resistance, reactance, impedance by the three readings: R = V cos(phi) / I, X = V sin(phi) / I, Z = V / I.
    fn impedance(x: &DVector<f64>) -> (DVector<f64>, DMatrix<f64>) {
        let (v, i, phi) = (x[0], x[1], x[2]);
        let (sin, cos) = phi.sin_cos();
        let value = DVector::from_vec(vec![v * cos / i, v * sin / i, v / i]);
        #[rustfmt::skip]
        let jacobian = DMatrix::from_row_slice(3, 3, &[
            cos / i, -v * cos / (i * i), -v * sin / i,
            sin / i, -v * sin / (i * i), v * cos / i,
            1.0 / i, -v / (i * i), 0.0,
        ]);
        (value, jacobian)
    }

    #[test]
    fn repeated_readings_keep_their_correlation() {
        let means = repeated_means(&readings()).unwrap();
        let expected = expected();
        let published = &expected["published"];
        assert_eq!(means.dof, 4);
        for (index, key, digit) in [(0, "u_V", 5e-5), (1, "u_I_mA", 5e-5), (2, "u_phi", 5e-6)] {
            let unit = if key == "u_I_mA" { 1e3 } else { 1.0 };
            let u = means.covariance[(index, index)].sqrt() * unit;
            assert!((u - published[key].as_f64().unwrap()).abs() <= digit, "{key}: {u}");
        }
        let r = correlation_of(&means.covariance);
        for (row, col, key) in [(0, 1, "r_V_I"), (0, 2, "r_V_phi"), (1, 2, "r_I_phi")] {
            assert!((r[(row, col)] - published[key].as_f64().unwrap()).abs() <= 0.005, "{key}");
            let recomputed = expected["recomputed_full_precision"][key].as_f64().unwrap();
            assert!((r[(row, col)] - recomputed).abs() < 1e-9, "{key}");
        }
    }

    #[test]
    fn correlated_propagation_gives_the_published_impedance() {
        let means = repeated_means(&readings()).unwrap();
        let (value, jacobian) = impedance(&means.mean);
        let covariance = propagate(&jacobian, &means.covariance).unwrap();
        let expected = expected();
        for (index, name) in ["R", "X", "Z"].into_iter().enumerate() {
            let u = covariance[(index, index)].sqrt();
            let published = expected["published"][name].as_f64().unwrap();
            assert!((value[index] - published).abs() <= 0.0006, "{name}: {}", value[index]);
            let key = format!("u_{name}");
            // Published to a thousandth of an ohm; X is printed 0.295 where full precision gives 0.2956.
            assert!((u - expected["published"][&key].as_f64().unwrap()).abs() <= 0.0007, "{key}: {u}");
            let recomputed = expected["recomputed_full_precision"][&key].as_f64().unwrap();
            assert!((u / recomputed - 1.0).abs() < 1e-9, "{key}: {u}");
        }
        let r = correlation_of(&covariance);
        for (row, col, key) in [(0, 1, "r_R_X"), (0, 2, "r_R_Z"), (1, 2, "r_X_Z")] {
            assert!((r[(row, col)] - expected["published"][key].as_f64().unwrap()).abs() <= 0.0005, "{key}");
        }
    }

    #[test]
    fn ignoring_the_correlation_would_give_other_numbers() {
        let means = repeated_means(&readings()).unwrap();
        let (_, jacobian) = impedance(&means.mean);
        let diagonal = DMatrix::from_diagonal(&means.covariance.diagonal());
        let covariance = propagate(&jacobian, &diagonal).unwrap();
        let ignored = &expected()["correlation_ignored"];
        for (index, key) in ["u_R", "u_X", "u_Z"].into_iter().enumerate() {
            let u = covariance[(index, index)].sqrt();
            assert!((u / ignored[key].as_f64().unwrap() - 1.0).abs() < 1e-9, "{key}");
        }
    }

    #[test]
    fn sizes_that_do_not_match_are_refused() {
        let jacobian = DMatrix::zeros(1, 3);
        assert!(matches!(
            propagate(&jacobian, &DMatrix::zeros(2, 2)),
            Err(UncertaintyError::SizeDiffers { found: 2, expected: 3, .. })
        ));
        assert!(matches!(repeated_means(&[vec![1.0]]), Err(UncertaintyError::TooFew { .. })));
        assert!(matches!(repeated_means(&[vec![1.0], vec![1.0, 2.0]]), Err(UncertaintyError::SizeDiffers { .. })));
        assert!(matches!(repeated_means(&[vec![1.0], vec![f64::NAN]]), Err(UncertaintyError::NotFinite { .. })));
    }
}
