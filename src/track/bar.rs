//! A straight bar found between two rough points: its axis and its ends, to a fraction of a px and with their covariance.
//!
//! Across the rough axis the picture is read on some hundred lines. Where a bar lies, these have two edges at the same distance from
//! one straight line; hands, and a background that has edges of its own, do not. The pair of lines with most such edges is taken,
//! and the axis laid through all of them, with what does not fit left out. An end is where both edges stop and the picture changes
//! along the axis.
//!
//! It assumes a bar of one width that is seen from the side, and two points within [`SEARCH_PX`] of its axis. It refuses where the
//! edges do not surely make a bar. That another straight thing lies alike beside the bar is seen only if it has as good edges.

use nalgebra::{Matrix2, SMatrix, Vector2};

use crate::geometry::ImagePoint;

use super::carry::SCALE_AT_PX;
use super::plane::Plane;
use super::pyramid::Pyramid;
use super::strip::{
    PITCH_PX, Strip, UNKNOWNS, center, edges_near, half_width, number, peak, read, row, strengths, support, weigh,
    whole,
};

/// The axis is looked for within this of the rough one at each end, px at a long side of [`SCALE_AT_PX`].
const SEARCH_PX: f64 = 8.0;
/// A bar that is seen shorter than this is seen end on, px at the same size.
const LENGTH_MIN_PX: f64 = 120.0;
/// Half the width of a bar, px at the same size: 10 to 50 mm thick at 2 to 5 m (common practice).
const HALF_WIDTH_PX: [f64; 2] = [1.5, 11.0];
/// Lines across the axis at the most.
const LINES_MAX: f64 = 240.0;
/// An edge changes the grey value by this for each px.
const EDGE_MIN: f64 = 2.5;
/// An edge counts no more than one that changes it by so much: one bright stripe is no bar.
const EDGE_MAX: f64 = 12.0;
/// Both edges are seen on this share of the lines at least: hands and head may cover the rest.
const SUPPORT_MIN: f64 = 0.4;
/// Another pair of lines has no more than this share of the best one's edges.
const RIVAL_MAX: f64 = 0.85;
/// A wider pair that shares an edge with the strongest has this share of its edges at least.
const NESTED_MIN: f64 = 0.6;
/// Steps of the fit, each with lines read anew across the axis that was found.
const FIT_STEPS: usize = 5;
/// Bend of the axis between its middle and its ends by the lens, px at the same size: what a phone's lens does (common practice).
const BEND_SD_PX: f64 = 1.5;
/// One end may look wider than the other by this share: it is nearer.
const TAPER_SD_RATIO: f64 = 0.1;
/// What light and shade move the axis by, px: common to all of its length. In drawn scenes whose bars are lighter on one side by up
/// to their whole contrast with the ground it is off by so much at a blur of some px.
const SHADE_SD_PX: f64 = 0.25;
/// An end is looked for within this of the rough one, px at the same size.
const END_SEARCH_PX: f64 = 12.0;
/// At an end the grey value changes along the axis by this for each px.
const END_EDGE_MIN: f64 = 3.0;
/// Length before an end that must show edges, and after it that must not, px at the same size.
const END_INSIDE_PX: f64 = 14.0;
const END_OUTSIDE_PX: f64 = 9.0;
/// Shares of them with edges.
const END_SHARES: [f64; 2] = [0.55, 0.35];
/// A flat end that is turned towards or away from the camera hangs over its middle by the half width times the sine of the turn: on
/// the mean by this share of the half width, and its spread, for turns up to some 15 deg and round ends.
const OVERHANG_RATIO: f64 = 0.1;
const OVERHANG_SD_RATIO: f64 = 0.1;
/// Spread of the place of an edge along the axis by reading it alone, px.
const END_SD_PX: f64 = 0.2;

/// A bar in a picture.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BarFound {
    /// Two points of its axis beside the rough ones, px, with their covariance, px²: certain across the axis alone.
    pub(crate) axis: [BarPoint; 2],
    /// Its ends in the order of the rough points, each where it was found.
    pub(crate) ends: [Option<BarPoint>; 2],
    /// Half its width in the middle, px.
    pub(crate) half_width_px: f64,
    /// Share of the lines across it with both edges.
    pub(crate) support: f64,
}

/// A point of a bar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct BarPoint {
    /// px.
    pub(crate) point: ImagePoint,
    /// Covariance, px².
    pub(crate) covariance_px2: Matrix2<f64>,
}

/// Why no bar was found.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub(crate) enum NoBar {
    /// The points are too near each other: the bar is seen end on.
    #[error("the two points are {length_px:.0} px apart, and a bar that is seen so short has no axis")]
    Short {
        /// Their distance, px.
        length_px: f64,
    },
    /// Too few lines across the axis show both edges.
    #[error("two edges were seen on {percent:.0} % of its length, too little to be sure of a bar")]
    FewEdges {
        /// Share, percent.
        percent: f64,
    },
    /// Something else beside it could be the bar as well.
    #[error("two straight things lie there, and either could be the bar")]
    Rival,
    /// What looked like two edges is one.
    #[error("there is one edge, not two")]
    OneEdge,
    /// The edges do not lie on straight lines.
    #[error("its edges do not lie on straight lines")]
    NotStraight,
}

/// Looks for a bar between two rough points (px).
///
/// # Errors
/// [`NoBar`] where there is not surely one.
pub(crate) fn find_bar(picture: &Pyramid, rough: [ImagePoint; 2]) -> Result<BarFound, NoBar> {
    find_bar_near(picture, rough, &BarNear::ANY)
}

/// What is known of a bar that is looked for; all px at a long side of [`SCALE_AT_PX`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct BarNear {
    /// How far from the rough axis it may lie at each end, px.
    pub(super) search_px: f64,
    /// Half its width from and to, px.
    pub(super) half_width_px: [f64; 2],
    /// How far along the axis an end may lie from the rough one, px.
    pub(super) end_search_px: f64,
}

impl BarNear {
    /// Nothing but that it is a bar.
    pub(super) const ANY: Self =
        Self { search_px: SEARCH_PX, half_width_px: HALF_WIDTH_PX, end_search_px: END_SEARCH_PX };
}

/// As [`find_bar`], of a bar of which more is known.
pub(super) fn find_bar_near(picture: &Pyramid, rough: [ImagePoint; 2], near: &BarNear) -> Result<BarFound, NoBar> {
    let plane = picture.picture();
    let (width, height) = plane.size();
    let scale = width.max(height) as f64 / SCALE_AT_PX;
    let ends = rough.map(|point| Vector2::new(point.x, point.y));
    let length_px = (ends[1] - ends[0]).norm();
    if !length_px.is_finite() || length_px < LENGTH_MIN_PX * scale {
        return Err(NoBar::Short { length_px });
    }
    let mut frame =
        Frame { middle: 0.5 * (ends[0] + ends[1]), along: (ends[1] - ends[0]) / length_px, half_px: 0.5 * length_px };
    let reach_px = (near.search_px + near.half_width_px[1]) * scale + 4.0;
    let lines = Lines::read(plane, frame, reach_px);
    let mut model = lines.voted(near, scale)?;
    let mut fit = None;
    for _ in 0..FIT_STEPS {
        frame = frame.moved(&model);
        model[0] = 0.0;
        model[1] = 0.0;
        let lines = Lines::read(plane, frame, (near.half_width_px[1] + 1.0) * scale + 4.0);
        let fitted = lines.fitted(&model, scale).ok_or(NoBar::NotStraight)?;
        model = fitted.model;
        fit = Some(fitted);
    }
    let Some(fit) = fit else { return Err(NoBar::NotStraight) };
    // two lines that came together are one edge
    if model[3] < (HALF_WIDTH_PX[0] * scale).max(1.0) {
        return Err(NoBar::OneEdge);
    }
    if fit.support < SUPPORT_MIN {
        return Err(NoBar::FewEdges { percent: 100.0 * fit.support });
    }
    let axis = [-1.0, 1.0].map(|place| fit.point(&frame, place, 0.0, (0.25 * length_px).powi(2)));
    let ends = [-1.0, 1.0].map(|way| fit.end(plane, &frame, way, near.end_search_px * scale, scale));
    Ok(BarFound { axis, ends, half_width_px: model[3], support: fit.support })
}

/// A straight line in the picture, and what lies across it.
#[derive(Clone, Copy)]
struct Frame {
    middle: Vector2<f64>,
    along: Vector2<f64>,
    /// Half the length, px: the place 1 along it.
    half_px: f64,
}

impl Frame {
    fn across(&self) -> Vector2<f64> {
        Vector2::new(-self.along.y, self.along.x)
    }

    fn place(&self, place: f64, across_px: f64) -> Vector2<f64> {
        self.middle + self.along * (place * self.half_px) + self.across() * across_px
    }

    /// Laid along the straight part of an axis, with its ends where they were: so that distances across it are those of a total
    /// least squares fit.
    fn moved(&self, model: &Strip) -> Self {
        let [from, to] = [-1.0, 1.0].map(|place| self.place(place, model[0] + model[1] * place));
        let along = (to - from).normalize();
        Self { middle: 0.5 * (from + to), along, half_px: self.half_px }
    }
}

/// How the grey value changes across an axis, on lines along it.
struct Lines {
    /// Places of the lines along the axis, from -1 to 1.
    places: Vec<f64>,
    /// By line, the change for each px at places [`PITCH_PX`] apart, from -`reach_px` on.
    slopes: Vec<Vec<f64>>,
    reach_px: f64,
}

impl Lines {
    fn read(plane: &Plane, frame: Frame, reach_px: f64) -> Self {
        let count = (2.0 * frame.half_px).min(LINES_MAX).floor();
        let half_count = whole(reach_px / PITCH_PX);
        let mut lines = Self { places: Vec::new(), slopes: Vec::new(), reach_px: PITCH_PX * number(half_count) };
        let mut values = Vec::new();
        let step_px = 2.0 * frame.half_px / count;
        let mut at = 0.5;
        while at < count {
            let place = (2.0 * at - count) / count;
            values.clear();
            // two more at each end, for the change
            for index in 0..2 * half_count + 5 {
                let across_px = PITCH_PX * (number(index) - 2.0) - lines.reach_px;
                // over a step along the axis, so that noise averages
                let mean = [-1.0, 0.0, 1.0].map(|part| {
                    let here = frame.place(place, across_px) + frame.along * (part * (step_px / 3.0).max(0.8));
                    read(plane, here)
                });
                values.push(mean.iter().copied().sum::<Option<f64>>().map(|sum| sum / 3.0));
            }
            let change = |around: &[Option<f64>]| match (around[0], around[4]) {
                (Some(before), Some(after)) => (after - before) / (4.0 * PITCH_PX),
                _ => 0.0,
            };
            lines.places.push(place);
            lines.slopes.push(values.windows(5).map(change).collect());
            at += 1.0;
        }
        lines
    }

    /// The pair of straight lines with the most edges.
    fn voted(&self, near: &BarNear, scale: f64) -> Result<Strip, NoBar> {
        let search = whole(near.search_px * scale / PITCH_PX);
        let widths = near.half_width_px.map(|half| whole((half * scale).max(1.0) / PITCH_PX).max(2));
        let strengths: Vec<Vec<f64>> =
            self.slopes.iter().map(|slopes| strengths(slopes, [EDGE_MIN, EDGE_MAX])).collect();
        let middle = whole(self.reach_px / PITCH_PX);
        let last = self.places.len().saturating_sub(1).max(1);
        let mut votes: Vec<(f64, [usize; 3])> = Vec::new();
        for from in (middle - search..=middle + search).step_by(2) {
            for to in (middle - search..=middle + search).step_by(2) {
                for half in widths[0]..=widths[1] {
                    let vote: f64 = strengths
                        .iter()
                        .enumerate()
                        .map(|(line, strengths)| {
                            let center = (from * (last - line) + to * line + last / 2) / last;
                            let lower = center.checked_sub(half).and_then(|index| strengths.get(index));
                            lower.zip(strengths.get(center + half)).map_or(0.0, |(lower, upper)| lower.min(*upper))
                        })
                        .sum();
                    votes.push((vote, [from, to, half]));
                }
            }
        }
        votes.sort_by(|a, b| b.0.total_cmp(&a.0));
        let percent_of = |vote: f64| 100.0 * vote / (EDGE_MIN * self.places.len() as f64);
        let Some((best, strongest)) = votes.first().copied() else { return Err(NoBar::FewEdges { percent: 0.0 }) };
        if best <= 0.0 {
            return Err(NoBar::FewEdges { percent: percent_of(best) });
        }
        let lines_of = |[from, to, half]: [usize; 3]| [[from - half, to - half], [from + half, to + half]];
        let apart = |a: [usize; 2], b: [usize; 2]| a[0].abs_diff(b[0]).max(a[1].abs_diff(b[1]));
        // light and shade draw lines along a bar, within its edges: of pairs that share an edge the widest is the bar
        let shares_edge = |a: [usize; 3], b: [usize; 3]| {
            lines_of(a).into_iter().zip(lines_of(b)).any(|(line, other)| apart(line, other) <= 2)
        };
        let [from, to, half] = votes
            .iter()
            .take_while(|(vote, _)| *vote > NESTED_MIN * best)
            .map(|(_, pair)| *pair)
            .filter(|pair| pair[2] > strongest[2] + 1 && shares_edge(*pair, strongest))
            // the first of the widest has the most votes of them
            .fold(strongest, |widest, pair| if pair[2] > widest[2] { pair } else { widest });
        // an own edge with another thing's is no rival: both its edges must be others, as far as a px goes
        let is_apart = |a: [usize; 2], b: [usize; 2]| apart(a, b) > 6;
        let own = lines_of([from, to, half]);
        let is_other = |votes: &[usize; 3]| {
            lines_of(*votes).into_iter().all(|line| {
                let within = line[0] >= own[0][0] && line[0] <= own[1][0];
                !within && own.into_iter().all(|other| is_apart(line, other))
            })
        };
        if votes.iter().take_while(|(vote, _)| *vote > RIVAL_MAX * best).any(|(_, other)| is_other(other)) {
            return Err(NoBar::Rival);
        }
        let [from_px, to_px] = [from, to].map(|index| PITCH_PX * number(index) - self.reach_px);
        let (offset, slope) = (0.5 * (from_px + to_px), 0.5 * (to_px - from_px));
        Ok(Strip::from([offset, slope, 0.0, PITCH_PX * number(half), 0.0]))
    }

    /// Lays axis and width through the edges near those of a model. `None` where they do not hold it.
    fn fitted(&self, start: &Strip, scale: f64) -> Option<Fit> {
        let edges = edges_near(start, &self.places, &self.slopes, self.reach_px, EDGE_MIN);
        if edges.len() < 4 * UNKNOWNS {
            return None;
        }
        let mut model = *start;
        let mut spread_px = f64::INFINITY;
        let priors = [f64::INFINITY, f64::INFINITY, BEND_SD_PX * scale, f64::INFINITY, TAPER_SD_RATIO * start[3]];
        let mut normal = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
        let mut weights = vec![1.0; edges.len()];
        for step in 0..12 {
            normal.fill(0.0);
            let mut right = Strip::zeros();
            for (edge, weight) in edges.iter().zip(&weights) {
                let row = row(edge.place, edge.sign);
                normal += row * row.transpose() * *weight;
                right += row * (edge.across_px * *weight);
            }
            for (index, sd) in priors.iter().enumerate().filter(|(_, sd)| sd.is_finite()) {
                let spread_px = if spread_px.is_finite() { spread_px } else { 0.5 };
                normal[(index, index)] += (spread_px / sd).powi(2);
            }
            let next = normal.cholesky()?.solve(&right);
            let moved = (next - model).amax();
            model = next;
            spread_px = weigh(&edges, &mut weights, &model, 0.05)?;
            if step > 2 && moved < 1e-4 {
                break;
            }
        }
        let residuals: Vec<f64> = edges.iter().map(|edge| edge.off_px(&model)).collect();
        let kept: Vec<usize> = (0..edges.len()).filter(|index| weights[*index] > 0.0).collect();
        let freedom = number(kept.len()) - number(UNKNOWNS);
        if freedom < 1.0 {
            return None;
        }
        let square: f64 = kept.iter().map(|index| residuals[*index].powi(2)).sum();
        let variance = square / freedom;
        // neighbours along an edge err alike: what that costs is read off the residuals themselves
        let alike = |lag: usize| {
            let (mut product, mut count) = (0.0, 0.0);
            for pair in 0..kept.len() {
                let here = &edges[kept[pair]];
                let is_later =
                    |other: &&usize| edges[**other].line == here.line + lag && edges[**other].sign * here.sign > 0.0;
                let later = kept[pair..].iter().find(is_later);
                if let Some(other) = later {
                    product += residuals[kept[pair]] * residuals[*other];
                    count += 1.0;
                }
            }
            if count > 0.0 { product / count / variance.max(1e-9) } else { 0.0 }
        };
        let mut inflation = 1.0;
        for lag in 1..=12 {
            let likeness = alike(lag);
            if likeness <= 0.05 {
                break;
            }
            inflation += 2.0 * likeness.min(1.0);
        }
        let covariance = normal.cholesky()?.inverse() * (variance * inflation);
        let support = support(&edges, &weights, self.places.len());
        Some(Fit { model, covariance, support })
    }
}

/// An axis and its width, laid through edges.
struct Fit {
    model: Strip,
    covariance: SMatrix<f64, UNKNOWNS, UNKNOWNS>,
    support: f64,
}

impl Fit {
    /// The axis at a place, with the variance along it (px²).
    fn point(&self, frame: &Frame, place: f64, beyond_px: f64, along_px2: f64) -> BarPoint {
        let place = place + beyond_px / frame.half_px;
        let at = frame.place(place, center(&self.model, place));
        let row = row(place, 0.0);
        // shade errs on its own, whatever the noise of the edges does
        let across_px2 = (row.transpose() * self.covariance * row)[(0, 0)] + SHADE_SD_PX.powi(2);
        let (along, across) = (frame.along, frame.across());
        BarPoint {
            point: ImagePoint::new(at.x, at.y),
            covariance_px2: along * along.transpose() * along_px2 + across * across.transpose() * across_px2,
        }
    }

    /// The end on one side: where both edges stop and the grey value changes along the axis.
    fn end(&self, plane: &Plane, frame: &Frame, way: f64, search_px: f64, scale: f64) -> Option<BarPoint> {
        let [inside_px, outside_px] = [END_INSIDE_PX, END_OUTSIDE_PX].map(|px| (px * scale).max(5.0));
        let half_count = whole((search_px + inside_px.max(outside_px)) / PITCH_PX) + 2;
        let from_px = -PITCH_PX * number(half_count);
        let (mut values, mut has_edges) = (Vec::new(), Vec::new());
        for index in 0..2 * half_count + 1 {
            let place = way + way * (from_px + PITCH_PX * number(index)) / frame.half_px;
            let half = half_width(&self.model, place);
            let middle = center(&self.model, place);
            let at = |across_px: f64| read(plane, frame.place(place, middle + across_px));
            let mean = [-0.5, -0.25, 0.0, 0.25, 0.5].map(|part| at(part * half)).iter().copied().sum::<Option<f64>>();
            values.push(mean.map(|sum| sum / 5.0));
            has_edges.push([-1.0, 1.0].iter().all(|sign| {
                let change = |off: f64| {
                    at(sign * half + off + 1.0)
                        .zip(at(sign * half + off - 1.0))
                        .map_or(0.0, |(after, before)| 0.5 * (after - before))
                };
                [-0.7, 0.0, 0.7].iter().any(|off| change(*off).abs() >= EDGE_MIN)
            }));
        }
        let slopes: Vec<f64> = values
            .windows(5)
            .map(|around| around[0].zip(around[4]).map_or(0.0, |(before, after)| (after - before) / (4.0 * PITCH_PX)))
            .collect();
        let share = |from: usize, to: usize| {
            let part = &has_edges[from.min(has_edges.len())..to.min(has_edges.len())];
            number(part.iter().filter(|has| **has).count()) / number(part.len().max(1))
        };
        let margin = whole(inside_px.max(outside_px) / PITCH_PX);
        let candidate = |index: usize| {
            let [before, here, after] = [index - 1, index, index + 1].map(|index| slopes[index].abs());
            // two of the values lie before the first change
            let at = index + 2;
            let inside = share(at - whole(inside_px / PITCH_PX), at - 2);
            let outside = share(at + 4, at + 4 + whole(outside_px / PITCH_PX));
            let is_end = here >= END_EDGE_MIN
                && here >= before
                && here > after
                && inside >= END_SHARES[0]
                && outside <= END_SHARES[1];
            is_end.then_some((index, inside - outside, here))
        };
        let (index, ..) = (margin..slopes.len().saturating_sub(margin))
            .filter_map(candidate)
            .max_by(|a, b| (a.1 * a.2.min(4.0 * EDGE_MAX)).total_cmp(&(b.1 * b.2.min(4.0 * EDGE_MAX))))?;
        let end_px = from_px + PITCH_PX * (number(index) + 2.0 + peak(&slopes, index));
        let half = half_width(&self.model, way).max(0.0);
        let along_px2 = END_SD_PX.powi(2) + (OVERHANG_SD_RATIO * half).powi(2);
        Some(self.point(frame, way, way * (end_px - OVERHANG_RATIO * half), along_px2))
    }
}

#[cfg(test)]
mod tests;
