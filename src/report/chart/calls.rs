//! Which calls are made at which true difference: one panel for each way of screening.

use crate::report::chart::canvas::{
    Anchor, Area, DrawError, Marker, TextSet, draw_line, draw_marker, render, stroke, ticks, write_text,
};
use crate::report::error::ReportError;
use crate::report::font::Weight;
use crate::report::input::Chart;
use crate::report::palette::{BLUE, Color, INK, MUTED, RULE, VERMILION};
use crate::report::wording::fixed;

const WIDTH: f64 = 620.0;
const HEADER: f64 = 76.0;
/// A panel with its title and axis, and the place of its plot in it.
const PANEL: [f64; 2] = [310.0, 240.0];
const PLOT_LEFT: f64 = 40.0;
const PLOT_RIGHT: f64 = 292.0;
const PLOT_TOP: f64 = 30.0;
const PLOT_BOTTOM: f64 = 190.0;

/// The shares of all calls at one true difference; they add to one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CallShares {
    /// External minus internal, deg.
    pub true_difference_deg: f64,
    /// Called positive.
    pub positive: f64,
    /// Called negative.
    pub negative: f64,
    /// Not called for want of certainty.
    pub inconclusive: f64,
    /// Refused because a check broke the pair.
    pub not_comparable: f64,
}

/// One way of screening.
#[derive(Debug, Clone, PartialEq)]
pub struct CallCurve {
    /// What the panel is called, such as "Side view".
    pub title: String,
    /// In the order of true differences.
    pub points: Vec<CallShares>,
}

/// How one call is drawn.
struct Line {
    name: &'static str,
    share: fn(&CallShares) -> f64,
    color: Color,
    marker: Marker,
    dash: Option<[f64; 2]>,
}

const LINES: [Line; 4] = [
    Line { name: "positive", share: |at| at.positive, color: VERMILION, marker: Marker::Diamond, dash: None },
    Line { name: "negative", share: |at| at.negative, color: BLUE, marker: Marker::Ring, dash: None },
    Line {
        name: "inconclusive",
        share: |at| at.inconclusive,
        color: MUTED,
        marker: Marker::Square,
        dash: Some([4.0, 3.0]),
    },
    Line {
        name: "not comparable",
        share: |at| at.not_comparable,
        color: INK,
        marker: Marker::Triangle,
        dash: Some([1.5, 2.5]),
    },
];

/// Draws the shares of calls over the true difference. `margin_deg` is the margin of the call.
///
/// # Errors
/// [`ReportError`] when plotters fails.
pub fn render_call_curves(curves: &[CallCurve], margin_deg: f64) -> Result<Chart, ReportError> {
    let rows = curves.len().div_ceil(2);
    let height = HEADER + PANEL[1] * rows as f64;
    let caption = "Upright dashes: no difference, and the margin of the call.".to_owned();
    let drawing = render("calls", [WIDTH, height], alt_text(curves), caption, |area| {
        let start = [Anchor::Start, Anchor::Start];
        write_text(area, [0.0, 2.0], "Calls by the true difference", set(15.0, Weight::SemiBold, INK, start))?;
        let subtitle = "share of screenings, %; upright dashes at no difference and at the margin of the call";
        write_text(area, [0.0, 24.0], subtitle, set(12.0, Weight::Regular, MUTED, start))?;
        draw_legend(area)?;
        for (index, curve) in curves.iter().enumerate() {
            let origin = [(index % 2) as f64 * PANEL[0], HEADER + (index / 2) as f64 * PANEL[1]];
            draw_panel(area, curve, origin, margin_deg)?;
        }
        Ok(())
    })?;
    Ok(drawing.to_file())
}

/// Every curve's ends and its middle in words.
fn alt_text(curves: &[CallCurve]) -> String {
    let percent = |share: f64| fixed(100.0 * share, 0);
    let words = curves.iter().map(|curve| {
        let points = curve.points.iter().map(|at| {
            format!(
                "{}: {}, {}, {}, {}",
                fixed(at.true_difference_deg, 0),
                percent(at.positive),
                percent(at.negative),
                percent(at.inconclusive),
                percent(at.not_comparable)
            )
        });
        format!("{}: {}", curve.title, points.collect::<Vec<_>>().join("; "))
    });
    format!(
        "Share of calls in percent by the true difference in degrees, each as positive, negative, inconclusive, not \
         comparable. {}.",
        words.collect::<Vec<_>>().join(". ")
    )
}

fn draw_legend(area: &Area) -> Result<(), DrawError> {
    let mut left = 0.0;
    for line in &LINES {
        draw_line(area, [[left, 56.0], [left + 28.0, 56.0]], stroke(line.color, 1.75), line.dash)?;
        draw_marker(area, [left + 14.0, 56.0], 4.0, line.marker, line.color)?;
        let style = set(12.0, Weight::Regular, INK, [Anchor::Start, Anchor::Middle]);
        write_text(area, [left + 35.0, 56.0], line.name, style)?;
        left += 130.0;
    }
    Ok(())
}

fn draw_panel(area: &Area, curve: &CallCurve, origin: [f64; 2], margin_deg: f64) -> Result<(), DrawError> {
    let (Some(first), Some(last)) = (curve.points.first(), curve.points.last()) else { return Ok(()) };
    let range = first.true_difference_deg - 0.5..last.true_difference_deg + 0.5;
    let [left, right] = [PLOT_LEFT, PLOT_RIGHT].map(|x| origin[0] + x);
    let [top, bottom] = [PLOT_TOP, PLOT_BOTTOM].map(|y| origin[1] + y);
    let x = |deg: f64| left + (deg - range.start) / (range.end - range.start) * (right - left);
    let y = |share: f64| bottom - share * (bottom - top);
    let start = [Anchor::Start, Anchor::Start];
    write_text(area, [left, origin[1] + 4.0], &curve.title, set(13.0, Weight::SemiBold, INK, start))?;
    for share in [0.0, 0.25, 0.5, 0.75, 1.0] {
        draw_line(area, [[left, y(share)], [right, y(share)]], stroke(RULE, 0.5), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::End, Anchor::Middle]);
        write_text(area, [left - 7.0, y(share)], &fixed(100.0 * share, 0), style)?;
    }
    for tick in ticks(&range, 7) {
        draw_line(area, [[x(tick), bottom], [x(tick), bottom + 4.0]], stroke(MUTED, 0.75), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::Middle, Anchor::Start]);
        write_text(area, [x(tick), bottom + 7.0], &fixed(tick, 0), style)?;
    }
    for deg in [-margin_deg, 0.0].into_iter().filter(|deg| range.contains(deg)) {
        draw_line(area, [[x(deg), top], [x(deg), bottom]], stroke(MUTED, 0.75), Some([4.0, 3.0]))?;
    }
    let style = set(12.0, Weight::Regular, INK, [Anchor::Middle, Anchor::Start]);
    write_text(area, [0.5 * (left + right), bottom + 24.0], "true difference, degrees", style)?;
    // what matters most is drawn last, on top
    for line in LINES.iter().rev() {
        for pair in curve.points.windows(2) {
            let ends = [&pair[0], &pair[1]].map(|at| [x(at.true_difference_deg), y((line.share)(at))]);
            draw_line(area, ends, stroke(line.color, 1.75), line.dash)?;
        }
        for at in &curve.points {
            draw_marker(area, [x(at.true_difference_deg), y((line.share)(at))], 3.5, line.marker, line.color)?;
        }
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
    fn the_chart_tells_its_numbers_in_words_too() {
        let at = |true_difference_deg: f64, positive: f64| CallShares {
            true_difference_deg,
            positive,
            negative: 0.75 - positive,
            inconclusive: 0.25,
            not_comparable: 0.0,
        };
        let curve = CallCurve { title: "Side view".to_owned(), points: vec![at(-6.0, 0.75), at(0.0, 0.25)] };
        let chart = render_call_curves(&[curve.clone(), curve], 3.0).unwrap();
        assert_eq!(chart.name, "calls");
        assert!(chart.svg.contains("Side view: \u{2212}6: 75, 0, 25, 0; 0: 25, 50, 25, 0"), "{}", chart.svg);
        assert!(chart.svg.contains("not comparable"));
        usvg::Tree::from_str(&chart.svg, &usvg::Options::default()).unwrap();
    }

    #[test]
    fn a_curve_without_points_is_left_blank() {
        let chart =
            render_call_curves(&[CallCurve { title: "Side view".to_owned(), points: Vec::new() }], 3.0).unwrap();
        usvg::Tree::from_str(&chart.svg, &usvg::Options::default()).unwrap();
    }
}
