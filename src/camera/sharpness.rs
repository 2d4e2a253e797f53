//! How sharp a board is seen: the width of the edges between its squares.

use nalgebra::Vector2;

use crate::camera::Board;
use crate::camera::gray::{GrayPlane, floor_to_index, index_to_f64};

/// Samples per pixel across an edge.
const SAMPLES_PER_PX: f64 = 4.0;

/// Longest way looked at to either side of an edge, px.
const MAX_REACH_PX: f64 = 16.0;

/// The part of the way to the next edge that is looked at.
const REACH_RATIO: f64 = 0.4;

/// Standard deviation of a Gaussian whose integral rises from 25 to 75 % over a width of 1.
const SIGMA_OF_QUARTILES: f64 = 0.741_301_1;

/// Standard deviation of the blur across the squares' edges, px: the larger of that across rows and across columns, since a
/// shake blurs one of them. The edges' middles are averaged, each about its own place.
pub(crate) fn edge_width_px(plane: &GrayPlane, board: &Board, corners: &[Vector2<f64>]) -> f64 {
    let along = |step: usize, across: usize, is_link: &dyn Fn(usize) -> bool| {
        let widths: Vec<f64> = (0..corners.len())
            .filter(|index| is_link(*index))
            .filter_map(|index| {
                let (a, b) = (corners[index], corners[index + step]);
                let beside = if index + across < corners.len() { index + across } else { index - across };
                width_of_edge(plane, a, b, (corners[beside] - a).norm())
            })
            .collect();
        median(widths)
    };
    let rows = along(1, board.cols, &|index| index % board.cols + 1 < board.cols);
    let columns =
        along(board.cols, 1, &|index| index + board.cols < corners.len() && index % board.cols + 1 < board.cols);
    rows.max(columns)
}

/// Width of the edge between two corners at its middle: the way between a quarter and three quarters of the step.
fn width_of_edge(plane: &GrayPlane, a: Vector2<f64>, b: Vector2<f64>, other_spacing: f64) -> Option<f64> {
    let way = b - a;
    let length = way.norm();
    let across = Vector2::new(-way.y, way.x) / length;
    let reach = (REACH_RATIO * other_spacing.min(length)).min(MAX_REACH_PX);
    let steps = floor_to_index((2.0 * reach * SAMPLES_PER_PX).round());
    if steps < 4 {
        return None;
    }
    // Three lines close to the middle of the edge, averaged against noise.
    let profile: Vec<f64> = (0..=steps)
        .map(|step| {
            let offset = across * (index_to_f64(step) / SAMPLES_PER_PX - reach);
            [0.4, 0.5, 0.6]
                .into_iter()
                .map(|part| {
                    let point = a + way * part + offset;
                    f64::from(plane.sample(point.x, point.y))
                })
                .sum::<f64>()
                / 3.0
        })
        .collect();
    let end = profile.len() - 1;
    let quarter = (profile.len() / 6).max(1);
    let level = |part: &[f64]| part.iter().sum::<f64>() / index_to_f64(part.len());
    let (low, high) = (level(&profile[..quarter]), level(&profile[end + 1 - quarter..]));
    let crossing = |fraction: f64| {
        let wanted = low + fraction * (high - low);
        profile
            .windows(2)
            .position(|pair| (pair[0] - wanted) * (pair[1] - wanted) <= 0.0 && (pair[1] - pair[0]).abs() > 0.0)
            .map(|index| index_to_f64(index) + (wanted - profile[index]) / (profile[index + 1] - profile[index]))
    };
    let width = (crossing(0.75)? - crossing(0.25)?).abs() / SAMPLES_PER_PX;
    Some(width * SIGMA_OF_QUARTILES)
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    if values.is_empty() { f64::INFINITY } else { values[values.len() / 2] }
}
