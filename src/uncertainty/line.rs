//! A straight line through points, by least squares.

use serde::Serialize;

use crate::uncertainty::UncertaintyError;
use crate::uncertainty::propagation::count_to_f64;

/// A fitted line y = intercept + slope x.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LineFit {
    /// y at x = 0.
    pub intercept: f64,
    /// Standard error of the intercept.
    pub intercept_se: f64,
    /// Change of y over that of x.
    pub slope: f64,
    /// Standard error of the slope.
    pub slope_se: f64,
    /// Standard deviation of the residuals.
    pub residual_sd: f64,
    /// Share of the variance of y that the line explains.
    pub r_squared: f64,
    /// Degrees of freedom: points less two.
    pub dof: f64,
}

/// A line fitted with weights.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct WeightedLineFit {
    /// The line. Its standard errors rest on how far the points lie from it, and its residual spread is that of one weight: where
    /// weights are 1/u², it is the Birge ratio, and near 1 when the points scatter as much as their u says.
    pub line: LineFit,
    /// Standard uncertainty of the slope where weights are 1/u² and these are taken as known.
    pub slope_u: f64,
}

/// Fits a line to points (x, y), on centred values.
///
/// # Errors
/// [`UncertaintyError::TooFew`] below three points or if all x are the same; [`UncertaintyError::NotFinite`].
pub fn fit_line(points: &[[f64; 2]]) -> Result<LineFit, UncertaintyError> {
    fit_weighted_line(points, &vec![1.0; points.len()]).map(|fit| fit.line)
}

/// Fits a line to points (x, y) by weighted least squares, on centred values. Weights are above zero, usually 1/u².
///
/// # Errors
/// [`UncertaintyError::TooFew`] below three points or if all x are the same; [`UncertaintyError::SizeDiffers`];
/// [`UncertaintyError::NotFinite`], also for a weight that is not above zero.
pub fn fit_weighted_line(points: &[[f64; 2]], weights: &[f64]) -> Result<WeightedLineFit, UncertaintyError> {
    if let Some(found) = points.iter().flatten().find(|value| !value.is_finite()) {
        return Err(UncertaintyError::NotFinite { what: "a point of the line", found: *found });
    }
    if weights.len() != points.len() {
        let (found, expected) = (weights.len(), points.len());
        return Err(UncertaintyError::SizeDiffers { what: "the weights of the line", found, expected });
    }
    if let Some(found) = weights.iter().find(|weight| !weight.is_finite() || **weight <= 0.0) {
        return Err(UncertaintyError::NotFinite { what: "a weight of the line", found: *found });
    }
    let too_few = |found| UncertaintyError::TooFew { what: "a line (different points)", found, needed: 3 };
    if points.len() < 3 {
        return Err(too_few(points.len()));
    }
    let total: f64 = weights.iter().sum();
    let weighted = || points.iter().zip(weights);
    let mean = |axis: usize| weighted().map(|(point, weight)| weight * point[axis]).sum::<f64>() / total;
    let (mean_x, mean_y) = (mean(0), mean(1));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for ([x, y], weight) in weighted() {
        let (dx, dy) = (x - mean_x, y - mean_y);
        xx += weight * dx * dx;
        xy += weight * dx * dy;
        yy += weight * dy * dy;
    }
    if xx <= 0.0 {
        return Err(too_few(1));
    }
    let slope = xy / xx;
    let intercept = mean_y - slope * mean_x;
    let dof = count_to_f64(points.len()) - 2.0;
    let squares: f64 = weighted().map(|([x, y], weight)| weight * ((y - mean_y) - slope * (x - mean_x)).powi(2)).sum();
    let residual_sd = (squares / dof).sqrt();
    let line = LineFit {
        intercept,
        intercept_se: residual_sd * (1.0 / total + mean_x * mean_x / xx).sqrt(),
        slope,
        slope_se: residual_sd / xx.sqrt(),
        residual_sd,
        r_squared: if yy > 0.0 { 1.0 - squares / yy } else { 1.0 },
        dof,
    };
    Ok(WeightedLineFit { line, slope_u: 1.0 / xx.sqrt() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn certified_line_is_reproduced() {
        // NIST StRD Norris, tests/reference/nist_norris.csv and nist_expected.json.
        let points: Vec<[f64; 2]> =
            include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/nist_norris.csv"))
                .lines()
                .skip(1)
                .map(|line| {
                    let (y, x) = line.split_once(',').unwrap();
                    [x.parse().unwrap(), y.parse().unwrap()]
                })
                .collect();
        let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/nist_expected.json"));
        let file: serde_json::Value = serde_json::from_str(text).unwrap();
        let found = fit_line(&points).unwrap();
        for (ours, key) in [
            (found.intercept, "b0"),
            (found.intercept_se, "se_b0"),
            (found.slope, "b1"),
            (found.slope_se, "se_b1"),
            (found.residual_sd, "residual_sd"),
            (found.r_squared, "r_squared"),
        ] {
            let certified = file["norris"][key].as_f64().unwrap();
            assert!((ours / certified - 1.0).abs() < 1e-10, "{key}: {ours} {certified}");
        }
    }

    #[test]
    fn a_line_needs_three_points_at_different_places() {
        assert!(fit_line(&[[0.0, 1.0], [1.0, 2.0]]).is_err());
        assert!(fit_line(&[[1.0, 1.0], [1.0, 2.0], [1.0, 3.0]]).is_err());
        let exact = fit_line(&[[0.0, 1.0], [1.0, 3.0], [2.0, 5.0]]).unwrap();
        assert!(
            (exact.slope - 2.0).abs() < 1e-12 && (exact.intercept - 1.0).abs() < 1e-12 && exact.residual_sd < 1e-12
        );
    }

    #[test]
    fn a_weight_of_two_is_the_point_twice() {
        let points = [[0.0, 1.0], [1.0, 3.5], [2.0, 4.0], [5.0, 12.0]];
        let weighted = fit_weighted_line(&points, &[1.0, 2.0, 1.0, 3.0]).unwrap();
        let repeated: Vec<[f64; 2]> = [0, 1, 1, 2, 3, 3, 3].map(|at: usize| points[at]).to_vec();
        let plain = fit_line(&repeated).unwrap();
        assert!((weighted.line.slope - plain.slope).abs() < 1e-12);
        assert!((weighted.line.intercept - plain.intercept).abs() < 1e-12);
        // the same sum of squares over 2 degrees of freedom in place of 5
        assert!((weighted.line.residual_sd - plain.residual_sd * (5.0_f64 / 2.0).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn known_uncertainties_give_that_of_the_slope() {
        // Points at -1, 0, 1 with u = 2: the variance of the slope is u² over the sum of x², 4 / 2.
        let fit = fit_weighted_line(&[[-1.0, 0.0], [0.0, 7.0], [1.0, 3.0]], &[0.25; 3]).unwrap();
        assert!((fit.slope_u - 2.0_f64.sqrt()).abs() < 1e-12);
        assert!(fit_weighted_line(&[[-1.0, 0.0], [0.0, 7.0], [1.0, 3.0]], &[0.25; 2]).is_err());
        assert!(fit_weighted_line(&[[-1.0, 0.0], [0.0, 7.0], [1.0, 3.0]], &[0.25, 0.0, 1.0]).is_err());
    }
}
