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

/// Fits a line to points (x, y), on centred values.
///
/// # Errors
/// [`UncertaintyError::TooFew`] below three points or if all x are the same; [`UncertaintyError::NotFinite`].
pub fn fit_line(points: &[[f64; 2]]) -> Result<LineFit, UncertaintyError> {
    if let Some(found) = points.iter().flatten().find(|value| !value.is_finite()) {
        return Err(UncertaintyError::NotFinite { what: "a point of the line", found: *found });
    }
    let too_few = |found| UncertaintyError::TooFew { what: "a line (different points)", found, needed: 3 };
    if points.len() < 3 {
        return Err(too_few(points.len()));
    }
    let n = count_to_f64(points.len());
    let mean = |axis: usize| points.iter().map(|point| point[axis]).sum::<f64>() / n;
    let (mean_x, mean_y) = (mean(0), mean(1));
    let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
    for [x, y] in points {
        let (dx, dy) = (x - mean_x, y - mean_y);
        xx += dx * dx;
        xy += dx * dy;
        yy += dy * dy;
    }
    if xx <= 0.0 {
        return Err(too_few(1));
    }
    let slope = xy / xx;
    let intercept = mean_y - slope * mean_x;
    let dof = n - 2.0;
    let squares: f64 = points.iter().map(|[x, y]| ((y - mean_y) - slope * (x - mean_x)).powi(2)).sum();
    let residual_sd = (squares / dof).sqrt();
    Ok(LineFit {
        intercept,
        intercept_se: residual_sd * (1.0 / n + mean_x * mean_x / xx).sqrt(),
        slope,
        slope_se: residual_sd / xx.sqrt(),
        residual_sd,
        r_squared: if yy > 0.0 { 1.0 - squares / yy } else { 1.0 },
        dof,
    })
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
}
