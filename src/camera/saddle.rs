//! Candidates for corners of a checkerboard: saddle points of brightness where two edges cross.

use std::f64::consts::{PI, TAU};

use nalgebra::{Matrix2, Vector2};

use crate::camera::gray::{GrayPlane, index_to_f64};

/// Smoothing before second derivatives are taken, px.
pub(crate) const SMOOTHING_PX: f64 = 1.4;

/// A candidate is the strongest within this many px.
const SEPARATION_PX: isize = 4;

/// Candidates weaker than this ratio of the strong ones are noise (common practice, no source).
const RESPONSE_RATIO: f32 = 0.01;

/// Most candidates looked at closely: a board has some hundred corners, clutter some hundred more.
const MAX_CANDIDATES: usize = 3000;

/// Radii of the ring on which a candidate is judged, px; the first on which it passes is taken.
const RING_RADII_PX: [f64; 2] = [5.0, 3.5];

/// Samples on the ring.
const RING_SAMPLES: usize = 32;

/// The dark and bright parts of a ring differ by at least this, of 255.
const MIN_CONTRAST: f32 = 12.0;

/// Opposite edges of a corner may bend by this much from a straight line, rad: the centre is good to a pixel at this stage.
const STRAIGHT_TOL_RAD: f64 = 0.6;

/// Opposite points of a ring have the same colour: their mean difference is at most this ratio of the contrast. Where a square
/// meets the board's margin they have not.
const ASYMMETRY_RATIO: f32 = 0.3;

/// A saddle point with two crossing edges.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Saddle {
    /// Where, px; good to about half a pixel.
    pub point: Vector2<f64>,
    /// Directions of the two edges, of length 1, each up to its sign.
    pub axes: [Vector2<f64>; 2],
    /// Bright minus dark on the ring, of 255.
    pub contrast: f32,
    /// Strength of the saddle.
    pub response: f32,
}

/// Finds saddles in a smoothed picture, strongest first.
pub(crate) fn find_saddles(smoothed: &GrayPlane) -> Vec<Saddle> {
    let response = saddle_response(smoothed);
    let mut peaks = peaks_of(&response);
    peaks.truncate(MAX_CANDIDATES);
    let mut saddles: Vec<Saddle> =
        peaks.into_iter().filter_map(|(x, y, strength)| judge(smoothed, x, y, strength)).collect();
    saddles.sort_by(|a, b| b.response.total_cmp(&a.response));
    saddles
}

/// Minus the determinant of the Hessian: large where brightness curves up one way and down the other.
fn saddle_response(smoothed: &GrayPlane) -> GrayPlane {
    let (width, height) = (smoothed.width, smoothed.height);
    let mut values = vec![0.0_f32; width * height];
    if width < 3 || height < 3 {
        return GrayPlane { width, height, values };
    }
    for row in 1..height - 1 {
        let above = &smoothed.values[(row - 1) * width..row * width];
        let here = &smoothed.values[row * width..(row + 1) * width];
        let below = &smoothed.values[(row + 1) * width..(row + 2) * width];
        let target = &mut values[row * width..(row + 1) * width];
        for column in 1..width - 1 {
            let xx = here[column - 1] - 2.0 * here[column] + here[column + 1];
            let yy = above[column] - 2.0 * here[column] + below[column];
            let xy = 0.25 * (above[column - 1] - above[column + 1] - below[column - 1] + below[column + 1]);
            target[column] = xy * xy - xx * yy;
        }
    }
    GrayPlane { width, height, values }
}

/// Local maxima of the response, strongest first.
fn peaks_of(response: &GrayPlane) -> Vec<(usize, usize, f32)> {
    let margin = SEPARATION_PX.unsigned_abs() + 1;
    let (width, height) = (response.width, response.height);
    let mut peaks = Vec::new();
    if width <= 2 * margin || height <= 2 * margin {
        return peaks;
    }
    let strongest = response.values.iter().copied().fold(0.0, f32::max);
    let floor = (strongest * RESPONSE_RATIO).max(f32::MIN_POSITIVE);
    for row in margin..height - margin {
        let values = &response.values[row * width..(row + 1) * width];
        for column in margin..width - margin {
            let value = values[column];
            // Neighbours in the row are looked at first: they reject most pixels at once.
            if value < floor || value < values[column - 1] || value <= values[column + 1] {
                continue;
            }
            let is_peak = (row - margin + 1..row + margin).all(|y| {
                response.values[y * width + column + 1 - margin..y * width + column + margin]
                    .iter()
                    .all(|other| *other <= value)
            });
            if is_peak {
                peaks.push((column, row, value));
            }
        }
    }
    peaks.sort_by(|a, b| b.2.total_cmp(&a.2));
    peaks
}

/// Refines a peak to the saddle point and looks around it: two edges have to cross there.
fn judge(smoothed: &GrayPlane, column: usize, row: usize, response: f32) -> Option<Saddle> {
    let (x, y) = (column.cast_signed(), row.cast_signed());
    let at = |dx: isize, dy: isize| f64::from(smoothed.at(x + dx, y + dy));
    let gradient = Vector2::new(0.5 * (at(1, 0) - at(-1, 0)), 0.5 * (at(0, 1) - at(0, -1)));
    let xy = 0.25 * (at(-1, -1) - at(1, -1) - at(-1, 1) + at(1, 1));
    let xx = at(-1, 0) - 2.0 * at(0, 0) + at(1, 0);
    let yy = at(0, -1) - 2.0 * at(0, 0) + at(0, 1);
    let shift = -(Matrix2::new(xx, xy, xy, yy).try_inverse()? * gradient);
    if shift.amax() > 1.5 {
        return None;
    }
    let point = Vector2::new(index_to_f64(column), index_to_f64(row)) + shift;
    RING_RADII_PX.into_iter().find_map(|radius| ring(smoothed, point, radius)).map(|(axes, contrast)| Saddle {
        point,
        axes,
        contrast,
        response,
    })
}

/// The two edges that cross at a point, from a ring about it: brightness changes side exactly four times, and opposite
/// changes lie on a straight line.
fn ring(smoothed: &GrayPlane, centre: Vector2<f64>, radius: f64) -> Option<([Vector2<f64>; 2], f32)> {
    if !smoothed.holds(centre.x, centre.y, radius) {
        return None;
    }
    let step = TAU / index_to_f64(RING_SAMPLES);
    let values: [f32; RING_SAMPLES] = std::array::from_fn(|index| {
        let (sin, cos) = (step * index_to_f64(index)).sin_cos();
        smoothed.sample(centre.x + radius * cos, centre.y + radius * sin)
    });
    let low = values.iter().copied().fold(f32::INFINITY, f32::min);
    let high = values.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    if high - low < MIN_CONTRAST {
        return None;
    }
    let half = RING_SAMPLES / 2;
    let asymmetry: f32 = (0..half).map(|index| (values[index] - values[index + half]).abs()).sum();
    if asymmetry > ASYMMETRY_RATIO * (high - low) * 16.0 {
        return None;
    }
    let middle = 0.5 * (low + high);
    let mut crossings = [0.0_f64; 4];
    let mut count = 0;
    for index in 0..RING_SAMPLES {
        let (a, b) = (values[index] - middle, values[(index + 1) % RING_SAMPLES] - middle);
        if (a < 0.0) != (b < 0.0) {
            if count == 4 {
                return None;
            }
            crossings[count] = step * (index_to_f64(index) + f64::from(a / (a - b)));
            count += 1;
        }
    }
    if count != 4 {
        return None;
    }
    let mut axes = [Vector2::zeros(); 2];
    for (pair, axis) in axes.iter_mut().enumerate() {
        let (here, opposite) = (crossings[pair], crossings[pair + 2]);
        let bend = opposite - here - PI;
        if bend.abs() > STRAIGHT_TOL_RAD {
            return None;
        }
        let (sin, cos) = (here + 0.5 * bend).sin_cos();
        *axis = Vector2::new(cos, sin);
    }
    Some((axes, high - low))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A corner at (20.3, 17.6) between edges at 20 and 100 deg, softened over a pixel.
    fn corner_plane() -> GrayPlane {
        let (width, height) = (41, 37);
        let normal = |deg: f64| Vector2::new(-deg.to_radians().sin(), deg.to_radians().cos());
        let (a, b) = (normal(20.0), normal(100.0));
        let values = (0..width * height)
            .map(|i| {
                let p = Vector2::new(index_to_f64(i % width) - 20.3, index_to_f64(i / width) - 17.6);
                let side = a.dot(&p).clamp(-0.5, 0.5) * b.dot(&p).clamp(-0.5, 0.5) * 4.0;
                120.0 + 80.0 * side_to_f32(side)
            })
            .collect();
        GrayPlane { width, height, values }
    }

    fn side_to_f32(side: f64) -> f32 {
        #[allow(clippy::cast_possible_truncation, reason = "a test picture")]
        let value = side as f32;
        value
    }

    #[test]
    fn a_corner_is_found_with_its_two_edges() {
        let saddles = find_saddles(&corner_plane().blurred(SMOOTHING_PX));
        let saddle = saddles[0];
        assert!((saddle.point - Vector2::new(20.3, 17.6)).norm() < 0.3, "{:?}", saddle.point);
        let mut angles: Vec<f64> =
            saddle.axes.iter().map(|axis| axis.y.atan2(axis.x).to_degrees().rem_euclid(180.0)).collect();
        angles.sort_by(f64::total_cmp);
        assert!((angles[0] - 20.0).abs() < 5.0 && (angles[1] - 100.0).abs() < 5.0, "{angles:?}");
    }

    #[test]
    fn a_flat_picture_and_a_tiny_one_hold_no_corner() {
        for (width, height) in [(40, 40), (2, 2), (1, 1), (11, 3)] {
            let plane = GrayPlane { width, height, values: vec![77.0; width * height] };
            assert!(find_saddles(&plane.blurred(SMOOTHING_PX)).is_empty());
        }
    }
}
