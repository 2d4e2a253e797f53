//! Refines a checkerboard corner to a fraction of a pixel.
//!
//! Around the crossing of two straight edges every brightness gradient is at right angles to the way from the crossing, or
//! zero; the corner is the point for which that holds best, in the least-squares sense, under a Gaussian window.
//!
//! # Source
//! Förstner and Gülch (1987), A fast operator for detection and precise location of distinct points, corners and centres of
//! circular features, ISPRS Intercommission Workshop, Interlaken.

use nalgebra::{Matrix2, Vector2};

use crate::camera::gray::{GrayPlane, floor_to_index, index_to_f64};

/// A step below this ends the refinement, px.
const STEP_TOL_PX: f64 = 1e-3;

/// Steps after which the refinement stops.
const MAX_STEPS: usize = 30;

/// Standard deviation of the Gaussian window as a ratio of its half width: the weight falls to exp(-1) at its edge (common
/// practice, no source).
const WINDOW_SIGMA_RATIO: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Refines a corner that is good to a pixel or two, in a window of half width `half_window` px about it.
///
/// Returns the start where the window leaves the picture, the gradients do not determine a point, or the point leaves the
/// window: the start is then the better answer.
pub(crate) fn refine_corner(plane: &GrayPlane, start: Vector2<f64>, half_window: f64) -> Vector2<f64> {
    let reach = floor_to_index(half_window.ceil());
    let side = 2 * reach + 1;
    let sigma = WINDOW_SIGMA_RATIO * half_window;
    let weights: Vec<f64> =
        (0..side).map(|index| (-0.5 * ((index_to_f64(index) - index_to_f64(reach)) / sigma).powi(2)).exp()).collect();
    let mut patch = vec![0.0_f64; (side + 2) * (side + 2)];
    let mut corner = start;
    for _ in 0..MAX_STEPS {
        if !plane.holds(corner.x, corner.y, index_to_f64(reach) + 1.0) {
            return start;
        }
        read_patch(plane, corner, reach + 1, &mut patch);
        let Some(shift) = gradient_centre(&patch, reach, &weights) else { return start };
        corner += shift;
        if (corner - start).norm() > half_window {
            return start;
        }
        if shift.norm() < STEP_TOL_PX {
            break;
        }
    }
    corner
}

/// Samples a square of half width `reach` px about a point.
fn read_patch(plane: &GrayPlane, centre: Vector2<f64>, reach: usize, patch: &mut [f64]) {
    let side = 2 * reach + 1;
    for (index, value) in patch.iter_mut().enumerate() {
        let dx = index_to_f64(index % side) - index_to_f64(reach);
        let dy = index_to_f64(index / side) - index_to_f64(reach);
        *value = f64::from(plane.sample(centre.x + dx, centre.y + dy));
    }
}

/// The point, from the patch's middle, at right angles to all gradients.
fn gradient_centre(patch: &[f64], reach: usize, weights: &[f64]) -> Option<Vector2<f64>> {
    let side = 2 * reach + 1;
    let stride = side + 2;
    let (mut xx, mut xy, mut yy, mut bx, mut by) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for row in 0..side {
        for column in 0..side {
            let here = (row + 1) * stride + column + 1;
            let gx = 0.5 * (patch[here + 1] - patch[here - 1]);
            let gy = 0.5 * (patch[here + stride] - patch[here - stride]);
            let (dx, dy) = (index_to_f64(column) - index_to_f64(reach), index_to_f64(row) - index_to_f64(reach));
            let weight = weights[row] * weights[column];
            let (gxx, gxy, gyy) = (weight * gx * gx, weight * gx * gy, weight * gy * gy);
            xx += gxx;
            xy += gxy;
            yy += gyy;
            bx += gxx * dx + gxy * dy;
            by += gxy * dx + gyy * dy;
        }
    }
    let matrix = Matrix2::new(xx, xy, xy, yy);
    // One direction of gradients only (an edge, no corner) leaves the point free along it.
    if matrix.determinant() <= 1e-4 * matrix.trace().powi(2) {
        return None;
    }
    Some(matrix.try_inverse()? * Vector2::new(bx, by))
}
