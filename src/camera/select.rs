//! Chooses the frames of a clip to calibrate from: sharp, still, and as different from each other as the clip offers.

use crate::camera::gray::index_to_f64;
use crate::camera::{Board, Sighting};
use crate::geometry::ImagePoint;

/// Two views closer than this in the space of [`features`] say the same (common practice, no source).
const LEAST_DIFFERENCE: f64 = 0.06;

/// Part of the views, the best by blur and motion, from which is chosen (common practice, no source).
const KEPT_PART: f64 = 0.6;

/// Motion that weighs as much as the blur of an average view: this part of the picture's long side in a second. A rolling
/// shutter of some 20 ms then skews the board by a thousandth of the picture (common practice, no source).
const SPEED_UNIT_PER_S: f64 = 0.05;

/// Chooses at most `count` views, in the order of their times.
pub(crate) fn select_varied(sightings: Vec<Sighting>, board: &Board, long_side_px: f64, count: usize) -> Vec<Sighting> {
    let costs = costs(&sightings, long_side_px);
    let mut order: Vec<usize> = (0..sightings.len()).collect();
    order.sort_by(|a, b| costs[*a].total_cmp(&costs[*b]));
    let kept = (KEPT_PART * index_to_f64(order.len())).ceil().max(index_to_f64(count.min(order.len())));
    order.truncate(crate::camera::gray::floor_to_index(kept));
    let places: Vec<[f64; 7]> =
        sightings.iter().map(|sighting| features(&sighting.board.corners, board, long_side_px)).collect();
    let mut chosen: Vec<usize> = order.first().copied().into_iter().collect();
    while chosen.len() < count {
        let farthest = order
            .iter()
            .map(|candidate| {
                let nearest =
                    chosen.iter().map(|other| distance(&places[*candidate], &places[*other])).fold(f64::MAX, f64::min);
                (nearest, *candidate)
            })
            .max_by(|a, b| a.0.total_cmp(&b.0));
        match farthest {
            Some((difference, candidate)) if difference > LEAST_DIFFERENCE => chosen.push(candidate),
            _ => break,
        }
    }
    chosen.sort_unstable();
    let mut is_chosen = vec![false; sightings.len()];
    chosen.into_iter().for_each(|index| is_chosen[index] = true);
    sightings.into_iter().zip(is_chosen).filter_map(|(sighting, chosen)| chosen.then_some(sighting)).collect()
}

/// Blur over its middle value, plus motion over its unit.
fn costs(sightings: &[Sighting], long_side_px: f64) -> Vec<f64> {
    let mut blurs: Vec<f64> = sightings.iter().map(|sighting| sighting.board.edge_width_px).collect();
    blurs.sort_by(f64::total_cmp);
    let usual_blur = blurs.get(blurs.len() / 2).copied().unwrap_or(1.0).max(0.1);
    (0..sightings.len())
        .map(|index| {
            let neighbours = [index.checked_sub(1), Some(index + 1).filter(|next| *next < sightings.len())];
            let speed = neighbours
                .into_iter()
                .flatten()
                .map(|other| speed_px_per_s(&sightings[index], &sightings[other]))
                .fold(0.0, f64::max);
            sightings[index].board.edge_width_px / usual_blur + speed / (SPEED_UNIT_PER_S * long_side_px)
        })
        .collect()
}

/// Mean way of the corners between two frames over the time between them.
fn speed_px_per_s(a: &Sighting, b: &Sighting) -> f64 {
    let pairs = a.board.corners.iter().zip(&b.board.corners);
    let way: f64 = pairs.map(|(here, there)| here.distance_px(*there)).sum();
    way / index_to_f64(a.board.corners.len()) / (a.time_s - b.time_s).abs().max(1e-3)
}

/// Where the board is, how large, how it is tilted and turned, in units that count about alike.
fn features(corners: &[ImagePoint], board: &Board, long_side_px: f64) -> [f64; 7] {
    let last = board.corner_count() - 1;
    let [a, b, c, d] = [0, board.cols - 1, last, last + 1 - board.cols].map(|index| corners[index]);
    let [top, right, bottom, left] = [a.distance_px(b), b.distance_px(c), c.distance_px(d), d.distance_px(a)];
    let across = (a.x + b.x + c.x + d.x) / 4.0 / long_side_px;
    let down = (a.y + b.y + c.y + d.y) / 4.0 / long_side_px;
    let size = ((top + bottom) * (left + right)).sqrt();
    let (sin, cos) = (b.y - a.y).atan2(b.x - a.x).sin_cos();
    [
        across,
        down,
        0.3 * (size / long_side_px).max(1e-6).ln(),
        (top / bottom).ln(),
        (left / right).ln(),
        0.1 * cos,
        0.1 * sin,
    ]
}

fn distance(a: &[f64; 7], b: &[f64; 7]) -> f64 {
    a.iter().zip(b).map(|(a, b)| (a - b) * (a - b)).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::camera::DetectedBoard;

    fn board() -> Board {
        Board::new(4, 3, 10.0).unwrap()
    }

    /// A board seen straight on at `left` px, blurred by `blur`.
    fn sighting(time_s: f64, left: f64, blur: f64) -> Sighting {
        let corners =
            (0..12).map(|i| ImagePoint::new(left + 20.0 * f64::from(i % 4), 100.0 + 20.0 * f64::from(i / 4))).collect();
        let board = DetectedBoard { corners, edge_width_px: blur, least_spacing_px: 20.0 };
        Sighting { label: format!("{time_s}"), time_s, board }
    }

    #[test]
    fn repeats_of_one_view_are_taken_once() {
        let still: Vec<Sighting> = (0..20).map(|i| sighting(0.1 * f64::from(i), 200.0, 1.0)).collect();
        assert_eq!(select_varied(still, &board(), 640.0, 10).len(), 1);
    }

    #[test]
    fn distant_views_are_taken_and_blurred_ones_left() {
        let mut views = Vec::new();
        for place in 0..5_u8 {
            for repeat in 0..4_u8 {
                let time_s = 10.0 * f64::from(place) + f64::from(repeat);
                let blur = if repeat == 2 { 1.0 } else { 3.0 };
                views.push(sighting(time_s, 50.0 + 100.0 * f64::from(place), blur));
            }
        }
        let chosen = select_varied(views, &board(), 640.0, 5);
        assert_eq!(chosen.len(), 5);
        let sharp = chosen.iter().filter(|view| view.board.edge_width_px < 2.0).count();
        assert!(sharp >= 1);
        let mut lefts: Vec<f64> = chosen.iter().map(|view| view.board.corners[0].x).collect();
        lefts.dedup();
        assert_eq!(lefts.len(), 5, "every place once: {lefts:?}");
    }

    #[test]
    fn a_moving_board_costs_more_than_a_still_one() {
        let views = vec![sighting(0.0, 100.0, 1.0), sighting(1.0, 100.0, 1.0), sighting(1.1, 130.0, 1.0)];
        let costs = costs(&views, 640.0);
        assert!(costs[0] < costs[1] && costs[0] < costs[2]);
    }

    #[test]
    fn no_views_give_none() {
        assert!(select_varied(Vec::new(), &board(), 640.0, 5).is_empty());
    }
}
