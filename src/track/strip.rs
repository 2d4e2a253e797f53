//! A strip between two edges, as a bar and a forearm are: read on lines across it, and laid through the edges that are seen there.

use nalgebra::{SVector, Vector2};

use super::plane::Plane;

/// From one place on a line to the next, px.
pub(super) const PITCH_PX: f64 = 0.5;
/// Edges further from their line than this are other things, px.
const EDGE_OFF_PX: f64 = 1.6;
/// Tukey's constant for residuals, in spreads.
const TUKEY: f64 = 4.685;
/// Spread of normal noise over its median absolute value.
const SPREAD_OF_MEDIAN: f64 = 1.4826;

/// Unknowns of a strip: the middle, its slant, its bend, half the width and its growth; places along run from -1 to 1.
pub(super) const UNKNOWNS: usize = 5;
pub(super) type Strip = SVector<f64, UNKNOWNS>;

/// How the distance across of an edge follows from the unknowns, on the side of `sign`.
pub(super) fn row(place: f64, sign: f64) -> Strip {
    SVector::from([1.0, place, place * place - 1.0 / 3.0, sign, sign * place])
}

/// The middle at a place, px across.
pub(super) fn center(strip: &Strip, place: f64) -> f64 {
    strip[0] + strip[1] * place + strip[2] * (place * place - 1.0 / 3.0)
}

/// Half the width at a place, px.
pub(super) fn half_width(strip: &Strip, place: f64) -> f64 {
    strip[3] + strip[4] * place
}

/// An edge that is seen on a line across.
pub(super) struct SeenEdge {
    pub(super) line: usize,
    /// Of the line, along.
    pub(super) place: f64,
    /// Side of the strip: -1 or 1.
    pub(super) sign: f64,
    /// px.
    pub(super) across_px: f64,
}

impl SeenEdge {
    /// By how much it is off a strip, px.
    pub(super) fn off_px(&self, strip: &Strip) -> f64 {
        self.across_px - center(strip, self.place) - self.sign * half_width(strip, self.place)
    }
}

/// The edges near those of a strip. `slopes` are the changes of the grey value by line, at places [`PITCH_PX`] apart from -`reach_px` on.
pub(super) fn edges_near(
    strip: &Strip,
    places: &[f64],
    slopes: &[Vec<f64>],
    reach_px: f64,
    change_min: f64,
) -> Vec<SeenEdge> {
    let mut edges = Vec::new();
    for (line, (place, slopes)) in places.iter().zip(slopes).enumerate() {
        for sign in [-1.0, 1.0] {
            let expected_px = center(strip, *place) + sign * half_width(strip, *place);
            let seen = edge_near(slopes, reach_px, expected_px, change_min);
            edges.extend(seen.map(|across_px| SeenEdge { line, place: *place, sign, across_px }));
        }
    }
    edges
}

/// The strongest edge near a distance across, px.
fn edge_near(slopes: &[f64], reach_px: f64, expected_px: f64, change_min: f64) -> Option<f64> {
    let at = |px: f64| (px + reach_px) / PITCH_PX;
    let (from, to) = (at(expected_px - EDGE_OFF_PX).ceil(), at(expected_px + EDGE_OFF_PX).floor());
    if from < 1.0 || to + 2.0 > number(slopes.len()) {
        return None;
    }
    let strongest = (whole(from)..=whole(to))
        .filter(|index| is_edge(slopes, *index, change_min))
        .max_by(|a, b| slopes[*a].abs().total_cmp(&slopes[*b].abs()))?;
    Some(PITCH_PX * (number(strongest) + peak(slopes, strongest)) - reach_px)
}

/// Whether the change inside a line is the strongest around, so that one edge is not two, and an edge.
fn is_edge(slopes: &[f64], index: usize, change_min: f64) -> bool {
    let [before, here, after] = [index - 1, index, index + 1].map(|index| slopes[index].abs());
    here >= change_min && here >= before && here > after
}

/// How strong an edge is at each place of a line: from the least change that is one up to the most that counts.
pub(super) fn strengths(slopes: &[f64], [change_min, change_max]: [f64; 2]) -> Vec<f64> {
    let mut strengths = vec![0.0_f64; slopes.len()];
    for index in (1..slopes.len().saturating_sub(1)).filter(|index| is_edge(slopes, *index, change_min)) {
        // as good half a px beside its line
        for strength in &mut strengths[index - 1..=index + 1] {
            *strength = strength.max(slopes[index].abs().min(change_max));
        }
    }
    strengths
}

/// Where between its neighbours the largest of three changes lies, by a parabola, in steps.
pub(super) fn peak(slopes: &[f64], index: usize) -> f64 {
    let [before, here, after] = [index - 1, index, index + 1].map(|index| slopes[index].abs());
    let bend = before - 2.0 * here + after;
    if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

/// Weighs edges by how far they are off a strip, px, so that what does not fit counts nothing; the spread of the others, px, which is
/// `spread_min_px` at the least. `None` without edges.
pub(super) fn weigh(edges: &[SeenEdge], weights: &mut [f64], strip: &Strip, spread_min_px: f64) -> Option<f64> {
    let mut sizes: Vec<f64> = edges.iter().map(|edge| edge.off_px(strip).abs()).collect();
    let spread_px = (SPREAD_OF_MEDIAN * median(&mut sizes)?).max(spread_min_px);
    for (edge, weight) in edges.iter().zip(weights) {
        let ratio = edge.off_px(strip) / (TUKEY * spread_px);
        *weight = if ratio.abs() < 1.0 { (1.0 - ratio * ratio).powi(2) } else { 0.0 };
    }
    Some(spread_px)
}

/// Share of so many lines on which both edges count.
pub(super) fn support(edges: &[SeenEdge], weights: &[f64], lines: usize) -> f64 {
    let mut sides = vec![0_u8; lines];
    for (edge, _) in edges.iter().zip(weights).filter(|(_, weight)| **weight > 0.0) {
        sides[edge.line] += 1;
    }
    number(sides.iter().filter(|sides| **sides == 2).count()) / number(lines)
}

/// The middle one of some values.
pub(super) fn median(values: &mut [f64]) -> Option<f64> {
    let half = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(half, f64::total_cmp).1)
}

/// The value at a place of a picture, where it has one.
#[expect(clippy::cast_possible_truncation, reason = "single precision holds a thousandth of a px at 8192")]
pub(super) fn read(plane: &Plane, place: Vector2<f64>) -> Option<f64> {
    plane.at_inside(place.x as f32, place.y as f32).map(f64::from)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of places on a picture")]
pub(super) const fn whole(value: f64) -> usize {
    value.max(0.0) as usize
}

pub(super) const fn number(count: usize) -> f64 {
    count as f64
}
