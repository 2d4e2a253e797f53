//! The elevation of both rotations, before and after the stretch, with intervals.

use std::ops::Range;

use crate::pose::Rotation;
use crate::report::chart::canvas::{
    Anchor, Area, DrawError, Drawing, Marker, TextSet, draw_line, draw_marker, render, stroke, ticks, write_text,
};
use crate::report::error::ReportError;
use crate::report::font::{Weight, width_em};
use crate::report::palette::{BLUE, Color, INK, MUTED, RULE, VERMILION};
use crate::report::tables::reaches_by_view;
use crate::report::wording::{Sign, Unit, fixed, interval, occasion_heading, palms, rotation_word, value, view_word};
use crate::screen::{Occasion, ReachResult, VisitResult};
use crate::uncertainty::Measured;

const WIDTH: f64 = 400.0;
const HEIGHT: f64 = 254.0;
const PLOT: Plot = Plot { left: 34.0, right: 392.0, top: 70.0, bottom: 228.0 };
/// The axis spans at least this much, so that a trifle does not look like a change.
const SPAN_MIN_DEG: f64 = 20.0;
/// The two rotations stand this far to either side of their occasion, px, so that their intervals do not cover each other.
const OFFSET: f64 = 16.0;

struct Plot {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

/// An elevation to draw.
#[derive(Debug, Clone, Copy)]
struct Point {
    occasion: Occasion,
    rotation: Rotation,
    measured: Measured,
}

/// Draws the chart of elevations for the first view that has any, or nothing when none has.
///
/// # Errors
/// [`ReportError`] when plotters fails.
pub(crate) fn rotations(result: &VisitResult) -> Result<Option<Drawing>, ReportError> {
    let views = reaches_by_view(result);
    let has_many_views = views.len() > 1;
    for (view, indices) in views {
        let reaches: Vec<&ReachResult> = indices.iter().map(|&index| &result.reaches[index]).collect();
        let (points, from) = points(&reaches);
        if points.is_empty() {
            continue;
        }
        let mut subtitle = format!("elevation at end range, degrees from the {from}");
        if has_many_views {
            subtitle = format!("{subtitle}, {} view", view_word(view));
        }
        let alt = alt_text(&points, from);
        let caption = "Ring and dashes: internal reach, palms down. Diamond and solid line: external reach, palms up. \
                       Upright bars: 95\u{a0}% intervals."
            .to_owned();
        return render("rotations", [WIDTH, HEIGHT], alt, caption, |area| draw(area, &points, &subtitle)).map(Some);
    }
    Ok(None)
}

/// Elevations from the trunk where every reach that has one has that, else from the plumb line: the two are never mixed.
fn points(reaches: &[&ReachResult]) -> (Vec<Point>, &'static str) {
    let collect = |of: fn(&ReachResult) -> Option<Measured>| -> Vec<Point> {
        reaches
            .iter()
            .filter_map(|reach| {
                let measured = of(reach)?;
                Some(Point { occasion: reach.occasion, rotation: reach.rotation, measured })
            })
            .collect()
    };
    let from_trunk = collect(|reach| reach.elevation_deg);
    let from_vertical = collect(|reach| reach.elevation_from_vertical_deg);
    if from_vertical.len() > from_trunk.len() { (from_vertical, "plumb line") } else { (from_trunk, "trunk") }
}

fn alt_text(points: &[Point], from: &str) -> String {
    let reaches = points.iter().map(|point| {
        format!(
            "{}, {}: {}, interval {}",
            occasion_heading(point.occasion).to_lowercase(),
            rotation_word(point.rotation),
            value(point.measured, Unit::Degree, Sign::Minus),
            interval(point.measured, Unit::Degree, Sign::Minus)
        )
    });
    format!("Chart of elevations from the {from}. {}.", reaches.collect::<Vec<_>>().join("; "))
}

fn axis_range(points: &[Point]) -> Range<f64> {
    let low = points.iter().map(|point| point.measured.lo).fold(f64::INFINITY, f64::min);
    let high = points.iter().map(|point| point.measured.hi).fold(f64::NEG_INFINITY, f64::max);
    // Room above and below for the numbers.
    let half = ((high - low) * 0.72).max(SPAN_MIN_DEG / 2.0);
    let middle = (low + high) / 2.0;
    middle - half..middle + half
}

const fn color(rotation: Rotation) -> Color {
    match rotation {
        Rotation::Internal => BLUE,
        Rotation::External => VERMILION,
    }
}

const fn marker(rotation: Rotation) -> Marker {
    match rotation {
        Rotation::Internal => Marker::Ring,
        Rotation::External => Marker::Diamond,
    }
}

const fn dash(rotation: Rotation) -> Option<[f64; 2]> {
    match rotation {
        Rotation::Internal => Some([5.0, 4.0]),
        Rotation::External => None,
    }
}

fn draw(area: &Area, points: &[Point], subtitle: &str) -> Result<(), DrawError> {
    let start = [Anchor::Start, Anchor::Start];
    write_text(area, [0.0, 2.0], "Both rotations", set(15.0, Weight::SemiBold, INK, start))?;
    write_text(area, [0.0, 24.0], subtitle, set(12.0, Weight::Regular, MUTED, start))?;
    draw_legend(area)?;
    let range = axis_range(points);
    let y = |deg: f64| PLOT.bottom - (deg - range.start) / (range.end - range.start) * (PLOT.bottom - PLOT.top);
    let has_after = points.iter().any(|point| point.occasion == Occasion::After);
    let has_before = points.iter().any(|point| point.occasion == Occasion::Before);
    let x = |occasion: Occasion, rotation: Rotation| {
        let share = match (occasion, has_before && has_after) {
            (_, false) => 0.5,
            (Occasion::Before, true) => 0.25,
            (Occasion::After, true) => 0.75,
        };
        let middle = PLOT.left + share * (PLOT.right - PLOT.left);
        match rotation {
            Rotation::Internal => middle - OFFSET,
            Rotation::External => middle + OFFSET,
        }
    };
    let numbers: Vec<Number> = points
        .iter()
        .map(|point| {
            let other = points.iter().find(|p| p.occasion == point.occasion && p.rotation != point.rotation);
            Number::beside(point, other, x(point.occasion, point.rotation), &y)
        })
        .collect();
    for tick in ticks(&range, 6) {
        for [from, to] in clear_of(&numbers, y(tick)) {
            draw_line(area, [[from, y(tick)], [to, y(tick)]], stroke(RULE, 0.5), None)?;
        }
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::End, Anchor::Middle]);
        write_text(area, [PLOT.left - 7.0, y(tick)], &fixed(tick, 0), style)?;
    }
    draw_line(area, [[PLOT.left, PLOT.bottom], [PLOT.right, PLOT.bottom]], stroke(MUTED, 0.75), None)?;
    for occasion in [Occasion::Before, Occasion::After] {
        if points.iter().any(|point| point.occasion == occasion) {
            let middle = x(occasion, Rotation::Internal) + OFFSET;
            let style = set(12.0, Weight::Regular, INK, [Anchor::Middle, Anchor::Start]);
            write_text(area, [middle, PLOT.bottom + 9.0], occasion_heading(occasion), style)?;
        }
    }
    for rotation in [Rotation::Internal, Rotation::External] {
        let of_rotation = |occasion| points.iter().find(|p| p.occasion == occasion && p.rotation == rotation);
        if let (Some(before), Some(after)) = (of_rotation(Occasion::Before), of_rotation(Occasion::After)) {
            let end = |point: &Point| [x(point.occasion, rotation), y(point.measured.value)];
            draw_line(area, [end(before), end(after)], stroke(color(rotation), 1.25), dash(rotation))?;
        }
    }
    for (point, number) in points.iter().zip(&numbers) {
        draw_point(area, point, number, &y)?;
    }
    Ok(())
}

/// The number of a point: above its interval or, for the lower of a pair, below.
struct Number {
    text: String,
    x: f64,
    y: f64,
    anchor: Anchor,
}

impl Number {
    const SIZE: f64 = 13.0;
    /// A gridline keeps off by this much.
    const CLEARANCE: f64 = 3.0;

    fn beside(point: &Point, other: Option<&Point>, x: f64, y: &dyn Fn(f64) -> f64) -> Self {
        let Measured { value: deg, lo, hi, .. } = point.measured;
        let is_lower = other.is_some_and(|other| other.measured.value > deg);
        let (y, anchor) = if is_lower { (y(lo) + 6.0, Anchor::Start) } else { (y(hi) - 6.0, Anchor::End) };
        Self { text: value(point.measured, Unit::Degree, Sign::Minus), x, y, anchor }
    }

    /// From left to right, where a line at this height would meet the number.
    fn across(&self, height: f64) -> Option<[f64; 2]> {
        let top = if matches!(self.anchor, Anchor::Start) { self.y } else { self.y - Self::SIZE };
        let is_met = (top - Self::CLEARANCE..top + Self::SIZE + Self::CLEARANCE).contains(&height);
        let half = 0.5 * f64::from(width_em(&self.text, Weight::SemiBold)) * Self::SIZE + Self::CLEARANCE;
        is_met.then_some([self.x - half, self.x + half])
    }
}

/// The parts of a gridline at this height that run through no number.
fn clear_of(numbers: &[Number], height: f64) -> Vec<[f64; 2]> {
    let mut met: Vec<[f64; 2]> = numbers.iter().filter_map(|number| number.across(height)).collect();
    met.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut parts = Vec::new();
    let mut from = PLOT.left;
    for [left, right] in met {
        if left > from {
            parts.push([from, left]);
        }
        from = from.max(right);
    }
    if from < PLOT.right {
        parts.push([from, PLOT.right]);
    }
    parts
}

/// An estimate with its interval and its number.
fn draw_point(area: &Area, point: &Point, number: &Number, y: &dyn Fn(f64) -> f64) -> Result<(), DrawError> {
    let Measured { value: deg, lo, hi, .. } = point.measured;
    let x = number.x;
    let line = stroke(color(point.rotation), 2.0);
    draw_line(area, [[x, y(lo)], [x, y(hi)]], line, None)?;
    for end in [lo, hi] {
        draw_line(area, [[x - 5.0, y(end)], [x + 5.0, y(end)]], line, None)?;
    }
    draw_marker(area, [x, y(deg)], 5.5, marker(point.rotation), color(point.rotation))?;
    let style = set(Number::SIZE, Weight::SemiBold, INK, [Anchor::Middle, number.anchor]);
    write_text(area, [x, number.y], &number.text, style)
}

fn draw_legend(area: &Area) -> Result<(), DrawError> {
    let y = 54.0;
    for (left, rotation) in [(0.0, Rotation::Internal), (190.0, Rotation::External)] {
        draw_line(area, [[left, y], [left + 32.0, y]], stroke(color(rotation), 1.25), dash(rotation))?;
        draw_marker(area, [left + 16.0, y], 5.0, marker(rotation), color(rotation))?;
        let label = format!("{}, {}", rotation_word(rotation), palms(rotation));
        let style = set(12.0, Weight::Regular, INK, [Anchor::Start, Anchor::Middle]);
        write_text(area, [left + 40.0, y], &label, style)?;
    }
    Ok(())
}

const fn set(size: f64, weight: Weight, color: Color, anchor: [Anchor; 2]) -> TextSet {
    TextSet { size, weight, color, anchor }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gridline_runs_through_no_number() {
        let number = |x: f64, y: f64, anchor| Number { text: "152.1°".to_owned(), x, y, anchor };
        let numbers = [number(100.0, 120.0, Anchor::Start), number(300.0, 120.0, Anchor::End)];
        // the first number lies below 120, the second above it
        for (height, met) in [(126.0, 100.0), (114.0, 300.0)] {
            let parts = clear_of(&numbers, height);
            assert_eq!(parts.len(), 2);
            assert!(parts[0][1] < met - 15.0 && parts[1][0] > met + 15.0, "{parts:?}");
            assert!(parts[0][0] == PLOT.left && parts[1][1] == PLOT.right, "{parts:?}");
        }
        assert_eq!(clear_of(&numbers, 180.0), [[PLOT.left, PLOT.right]]);
    }
}
