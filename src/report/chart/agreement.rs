//! Agreement of two judges: differences over means, with bias and limits.
//!
//! # Source
//! Bland and Altman (1986), Lancet 327(8476), 307-310, figure 2.

use std::ops::Range;

use crate::report::chart::canvas::{
    Anchor, Area, DrawError, Drawing, Marker, TextSet, draw_line, draw_marker, render, stroke, ticks, write_text,
};
use crate::report::error::ReportError;
use crate::report::font::Weight;
use crate::report::input::Chart;
use crate::report::palette::{BLUE, Color, INK, MUTED, RULE};
use crate::report::wording::fixed;
use crate::screen::AngleComparison;
use crate::uncertainty::{CoverageInterval, LimitsOfAgreement};

const SIZE: [f64; 2] = [520.0, 340.0];
const LEFT: f64 = 44.0;
const RIGHT: f64 = 404.0;
/// The points end here, and leave room for the intervals of the three lines.
const DATA_RIGHT: f64 = 368.0;
const TOP: f64 = 64.0;
const BOTTOM: f64 = 290.0;

/// The axes span at least this much, so that a trifle does not look like a disagreement.
const SPAN_MIN_DEG: f64 = 4.0;

/// Draws the chart of a comparison, or nothing where it has no limits of agreement.
///
/// # Errors
/// [`ReportError`] when plotters fails.
pub fn render_agreement_chart(comparison: &AngleComparison) -> Result<Option<Chart>, ReportError> {
    let Some(limits) = &comparison.agreement else { return Ok(None) };
    let [first, second] = [&comparison.judges[0], &comparison.judges[1]];
    let alt = format!(
        "Differences of the angle between arm and trunk, {first} minus {second}, over {} pictures: mean {} degrees, limits \
         of agreement {} and {}.",
        limits.pairs,
        fixed(limits.mean_difference, 1),
        fixed(limits.lower, 1),
        fixed(limits.upper, 1)
    );
    let caption =
        "Solid line: mean difference. Dashes: limits of agreement. Upright bars: their 95\u{a0}% intervals.".to_owned();
    let drawing: Drawing =
        render("agreement", SIZE, alt, caption, |area| draw(area, comparison, limits, [first, second]))?;
    Ok(Some(drawing.to_file()))
}

fn draw(
    area: &Area,
    comparison: &AngleComparison,
    limits: &LimitsOfAgreement,
    judges: [&String; 2],
) -> Result<(), DrawError> {
    let points: Vec<[f64; 2]> =
        comparison.table_deg.iter().map(|row| [0.5 * (row[0] + row[1]), row[0] - row[1]]).collect();
    let across = range_of(points.iter().map(|point| point[0]));
    let ends =
        [limits.lower_interval, limits.upper_interval].into_iter().flat_map(|interval| [interval.lo, interval.hi]);
    let down = range_of(points.iter().map(|point| point[1]).chain(ends));
    let x = |deg: f64| LEFT + (deg - across.start) / (across.end - across.start) * (DATA_RIGHT - LEFT);
    let y = |deg: f64| BOTTOM - (deg - down.start) / (down.end - down.start) * (BOTTOM - TOP);
    let start = [Anchor::Start, Anchor::Start];
    let title = format!("Agreement, {}", comparison.between);
    write_text(area, [0.0, 2.0], &title, set(15.0, Weight::SemiBold, INK, start))?;
    let subtitle = format!("angle between arm and trunk on the picture, degrees: {} minus {}", judges[0], judges[1]);
    write_text(area, [0.0, 24.0], &subtitle, set(12.0, Weight::Regular, MUTED, start))?;
    for tick in ticks(&down, 7) {
        draw_line(area, [[LEFT, y(tick)], [RIGHT, y(tick)]], stroke(RULE, 0.5), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::End, Anchor::Middle]);
        write_text(area, [LEFT - 7.0, y(tick)], &fixed(tick, 1), style)?;
    }
    for tick in ticks(&across, 7) {
        draw_line(area, [[x(tick), BOTTOM], [x(tick), BOTTOM + 4.0]], stroke(MUTED, 0.75), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::Middle, Anchor::Start]);
        write_text(area, [x(tick), BOTTOM + 7.0], &fixed(tick, 0), style)?;
    }
    draw_line(area, [[LEFT, BOTTOM], [RIGHT, BOTTOM]], stroke(MUTED, 0.75), None)?;
    let style = set(12.0, Weight::Regular, INK, [Anchor::Middle, Anchor::Start]);
    write_text(area, [0.5 * (LEFT + DATA_RIGHT), BOTTOM + 26.0], "mean of the two, degrees", style)?;
    for (deg, interval, dash, bar, words) in [
        (limits.lower, limits.lower_interval, Some([5.0, 4.0]), 26.0, "lower limit"),
        (limits.mean_difference, limits.mean_interval, None, 16.0, "mean"),
        (limits.upper, limits.upper_interval, Some([5.0, 4.0]), 6.0, "upper limit"),
    ] {
        draw_line(area, [[LEFT, y(deg)], [RIGHT, y(deg)]], stroke(INK, 1.25), dash)?;
        draw_interval(area, RIGHT - bar, y(deg), interval, &y)?;
        let label = format!("{words} {}", fixed(deg, 1));
        let style = set(12.0, Weight::SemiBold, INK, [Anchor::Start, Anchor::Middle]);
        write_text(area, [RIGHT + 6.0, y(deg)], &label, style)?;
    }
    for [mean, difference] in points {
        draw_marker(area, [x(mean), y(difference)], 4.0, Marker::Ring, BLUE)?;
    }
    Ok(())
}

/// An interval as an upright bar with caps, and a square where it belongs.
fn draw_interval(
    area: &Area,
    x: f64,
    at: f64,
    interval: CoverageInterval,
    y: &dyn Fn(f64) -> f64,
) -> Result<(), DrawError> {
    draw_line(area, [[x, y(interval.lo)], [x, y(interval.hi)]], stroke(BLUE, 2.0), None)?;
    for end in [interval.lo, interval.hi] {
        draw_line(area, [[x - 3.5, y(end)], [x + 3.5, y(end)]], stroke(BLUE, 2.0), None)?;
    }
    draw_marker(area, [x, at], 3.5, Marker::Square, BLUE)
}

fn range_of(values: impl Iterator<Item = f64> + Clone) -> Range<f64> {
    let low = values.clone().fold(f64::INFINITY, f64::min);
    let high = values.fold(f64::NEG_INFINITY, f64::max);
    let half = (0.58 * (high - low)).max(0.5 * SPAN_MIN_DEG);
    let middle = 0.5 * (low + high);
    middle - half..middle + half
}

const fn set(size: f64, weight: Weight, color: Color, anchor: [Anchor; 2]) -> TextSet {
    TextSet { size, weight, color, anchor }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::limits_of_agreement;

    fn comparison(pairs: &[[f64; 2]]) -> AngleComparison {
        AngleComparison {
            between: "raters a, b".to_owned(),
            judges: vec!["a".to_owned(), "b".to_owned()],
            table_deg: pairs.iter().map(|pair| pair.to_vec()).collect(),
            reliability: None,
            agreement: limits_of_agreement(pairs, 1.96).ok(),
        }
    }

    #[test]
    fn the_chart_tells_its_numbers_in_words_too() {
        // Differences 1, 2, 3: mean 2, standard deviation 1, limits 0.04 and 3.96.
        let chart =
            render_agreement_chart(&comparison(&[[121.0, 120.0], [142.0, 140.0], [163.0, 160.0]])).unwrap().unwrap();
        assert_eq!(chart.name, "agreement");
        assert!(chart.svg.contains("a minus b, over 3 pictures: mean 2.0 degrees, limits of agreement 0.0 and 4.0"));
        assert!(chart.svg.contains("upper limit 4.0"));
        usvg::Tree::from_str(&chart.svg, &usvg::Options::default()).unwrap();
    }

    #[test]
    fn one_picture_gives_no_chart() {
        assert!(render_agreement_chart(&comparison(&[[121.0, 120.0]])).unwrap().is_none());
    }
}
