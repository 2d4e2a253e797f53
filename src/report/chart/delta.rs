//! The retest delta chart: each change with its interval against the margin.

use std::ops::Range;

use plotters::prelude::Rectangle;

use crate::report::chart::canvas::{
    Anchor, Area, DrawError, Drawing, Marker, TextSet, draw_line, draw_marker, filled, px, render, stroke, ticks,
    write_text,
};
use crate::report::error::ReportError;
use crate::report::font::Weight;
use crate::report::input::CaseFacts;
use crate::report::palette::{BAND, BLUE, Color, INK, MUTED, RULE, VERMILION};
use crate::report::wording::{Sign, Unit, fixed, interval, signed, value};
use crate::screen::{Retest, RetestOutcome, VisitResult};
use crate::uncertainty::Measured;

const WIDTH: f64 = 400.0;
/// Where the plot begins, right of the row heads.
const PLOT_LEFT: f64 = 168.0;
const PLOT_RIGHT: f64 = 388.0;
const HEADER: f64 = 62.0;
const ROW: f64 = 42.0;
const AXIS: f64 = 26.0;
const GAP: f64 = 14.0;
/// The axis reaches at least this many margins to either side of zero.
const SPAN_MARGINS: f64 = 1.6;

/// A row: one change.
struct Change {
    head: &'static str,
    measured: Measured,
    marker: Marker,
    color: Color,
}

/// Rows that share an axis.
struct Panel {
    rows: Vec<Change>,
    unit: Unit,
    margin: Option<f64>,
}

/// Draws the retest delta chart, or nothing when there is no change to draw.
///
/// # Errors
/// [`ReportError`] when plotters fails.
pub(crate) fn retest_delta(result: &VisitResult, case: &CaseFacts) -> Result<Option<Drawing>, ReportError> {
    let Some(retest) = &result.retest else { return Ok(None) };
    let panels = panels(retest, case);
    if panels.is_empty() {
        return Ok(None);
    }
    let height = panels.iter().fold(HEADER - GAP, |height, panel| height + GAP + panel_height(panel));
    let alt = alt_text(&panels);
    let caption = format!(
        "Marker: estimate. Bar: 95\u{a0}% interval. Grey band: changes smaller than the margin of {}°. Right of the zero line \
         is higher than before. The outcome rests on the first row.",
        fixed(case.margin_deg, 1)
    );
    let subtitle = if retest.outcome == RetestOutcome::NotComparable {
        "after minus before; not comparable, see the checks"
    } else {
        "after the stretch minus before it"
    };
    render("retest-delta", [WIDTH, height], alt, caption, |area| {
        write_text(area, [0.0, 2.0], "Retest: what the stretch changed", set(15.0, Weight::SemiBold, INK, START))?;
        write_text(area, [0.0, 24.0], subtitle, set(12.0, Weight::Regular, MUTED, START))?;
        let mut top = HEADER;
        for panel in &panels {
            draw_panel(area, panel, top)?;
            top += panel_height(panel) + GAP;
        }
        Ok(())
    })
    .map(Some)
}

fn panels(retest: &Retest, case: &CaseFacts) -> Vec<Panel> {
    let row = |head, measured: Option<Measured>, marker, color| {
        measured.map(|measured| Change { head, measured, marker, color })
    };
    let angles = Panel {
        rows: [
            row("External reach", retest.change_elevation_deg, Marker::Diamond, VERMILION),
            row("Difference", retest.change_difference_deg, Marker::Square, BLUE),
        ]
        .into_iter()
        .flatten()
        .collect(),
        unit: Unit::Degree,
        margin: Some(case.margin_deg),
    };
    let heights = Panel {
        rows: row("Bar height, external", retest.change_bar_height_mm, Marker::Triangle, INK).into_iter().collect(),
        unit: Unit::Millimetre,
        margin: case.margin_mm,
    };
    [angles, heights].into_iter().filter(|panel| !panel.rows.is_empty()).collect()
}

fn panel_height(panel: &Panel) -> f64 {
    panel.rows.iter().fold(AXIS, |height, _| height + ROW)
}

fn alt_text(panels: &[Panel]) -> String {
    let rows = panels.iter().flat_map(|panel| {
        panel.rows.iter().map(move |row| {
            format!(
                "{} {}, interval {}",
                row.head.to_lowercase(),
                value(row.measured, panel.unit, Sign::Always),
                interval(row.measured, panel.unit, Sign::Always)
            )
        })
    });
    format!("Chart of what the stretch changed, after minus before: {}.", rows.collect::<Vec<_>>().join("; "))
}

fn axis_range(panel: &Panel) -> Range<f64> {
    let span = panel.margin.unwrap_or(0.0) * SPAN_MARGINS;
    let low = panel.rows.iter().map(|row| row.measured.lo).fold(-span, f64::min);
    let high = panel.rows.iter().map(|row| row.measured.hi).fold(span, f64::max);
    let padding = ((high - low) * 0.06).max(0.5);
    low - padding..high + padding
}

fn draw_panel(area: &Area, panel: &Panel, top: f64) -> Result<(), DrawError> {
    let range = axis_range(panel);
    let x = |number: f64| PLOT_LEFT + (number - range.start) / (range.end - range.start) * (PLOT_RIGHT - PLOT_LEFT);
    let bottom = top + panel_height(panel) - AXIS;
    if let Some(margin) = panel.margin {
        let corners = [(px(x(-margin)), px(top)), (px(x(margin)), px(bottom))];
        area.draw(&Rectangle::new(corners, filled(BAND)))?;
        for edge in [-margin, margin] {
            draw_line(area, [[x(edge), top], [x(edge), bottom]], stroke(MUTED, 0.75), Some([3.0, 2.5]))?;
        }
        let label = format!("margin ±{}{}", fixed(margin, panel.unit.decimals(None)), panel.unit.suffix());
        write_text(
            area,
            [x(0.0), top - 5.0],
            &label,
            set(10.5, Weight::Regular, MUTED, [Anchor::Middle, Anchor::End]),
        )?;
    }
    draw_line(area, [[PLOT_LEFT, bottom], [PLOT_RIGHT, bottom]], stroke(MUTED, 0.75), None)?;
    for tick in ticks(&range, 6) {
        draw_line(area, [[x(tick), bottom], [x(tick), bottom + 4.0]], stroke(MUTED, 0.75), None)?;
        let label = signed(tick, usize::from((tick - tick.round()).abs() > 1e-9));
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::Middle, Anchor::Start]);
        write_text(area, [x(tick), bottom + 7.0], &label, style)?;
    }
    let unit_word = if panel.unit == Unit::Degree { "degrees" } else { "mm" };
    let unit_style = set(11.0, Weight::Regular, MUTED, [Anchor::End, Anchor::Start]);
    write_text(area, [PLOT_LEFT - 12.0, bottom + 7.0], unit_word, unit_style)?;
    if range.contains(&0.0) {
        draw_line(area, [[x(0.0), top], [x(0.0), bottom]], stroke(INK, 1.25), None)?;
    }
    let mut row_top = top;
    for row in &panel.rows {
        if row_top > top {
            draw_line(area, [[0.0, row_top], [PLOT_LEFT - 12.0, row_top]], stroke(RULE, 0.5), None)?;
        }
        draw_row(area, row, panel.unit, row_top, &x)?;
        row_top += ROW;
    }
    Ok(())
}

fn draw_row(area: &Area, row: &Change, unit: Unit, top: f64, x: &dyn Fn(f64) -> f64) -> Result<(), DrawError> {
    let measured = row.measured;
    write_text(area, [0.0, top + 4.0], row.head, set(12.0, Weight::Regular, INK, START))?;
    let number = value(measured, unit, Sign::Always);
    write_text(area, [0.0, top + 20.0], &number, set(14.0, Weight::SemiBold, INK, START))?;
    let range_text = interval(measured, unit, Sign::Always);
    let right = [Anchor::End, Anchor::Start];
    write_text(area, [PLOT_LEFT - 12.0, top + 22.0], &range_text, set(11.0, Weight::Regular, MUTED, right))?;
    let middle = top + ROW / 2.0;
    let line = stroke(row.color, 2.5);
    draw_line(area, [[x(measured.lo), middle], [x(measured.hi), middle]], line, None)?;
    for end in [measured.lo, measured.hi] {
        draw_line(area, [[x(end), middle - 5.0], [x(end), middle + 5.0]], line, None)?;
    }
    draw_marker(area, [x(measured.value), middle], 6.0, row.marker, row.color)
}

const START: [Anchor; 2] = [Anchor::Start, Anchor::Start];

const fn set(size: f64, weight: Weight, color: Color, anchor: [Anchor; 2]) -> TextSet {
    TextSet { size, weight, color, anchor }
}
