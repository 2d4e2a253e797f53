//! The course of a case over weeks: screens with their intervals and the margin's band, pain, ratings, grip and load.

use std::ops::Range;

use plotters::prelude::{PathElement, Rectangle};

use crate::plan::words::{MONTHS, day_words};
use crate::plan::{CaseCourse, Day, Series, SeriesKind, SideScreens};
use crate::report::chart::canvas::{
    Anchor, Area, DrawError, Drawing, Marker, TextSet, draw_line, draw_marker, filled, px, render, stroke, ticks,
    write_text,
};
use crate::report::error::ReportError;
use crate::report::font::Weight;
use crate::report::palette::{BAND, BLUE, Color, INK, MUTED, RULE, VERMILION};
use crate::report::wording::fixed;
use crate::screen::{Call, ResultSide};
use crate::uncertainty::Measured;

const WIDTH: f64 = 400.0;
const LEFT: f64 = 34.0;
const RIGHT: f64 = 388.0;
/// Where the legend begins.
const LEGEND: f64 = 46.0;
const LEGEND_ROW: f64 = 17.0;
const PLOT: f64 = 150.0;
/// Room for dates below the plot.
const FOOT: f64 = 26.0;
/// The axis of differences reaches at least this many margins to either side of zero.
const SPAN_MARGINS: f64 = 1.6;
/// From this many points on markers are small.
const MANY: usize = 30;
/// Days from which dates are told by month and year.
const LONG_DAYS: i32 = 300;
/// Dates below the plot at most.
const DATES: i32 = 4;
/// How lines are told apart beside colour.
const LOOKS: [(Color, Marker, Option<[f64; 2]>); 4] = [
    (BLUE, Marker::Square, None),
    (VERMILION, Marker::Diamond, Some([5.0, 3.0])),
    (INK, Marker::Triangle, Some([1.5, 2.5])),
    (MUTED, Marker::Ring, None),
];

/// A line of a chart.
struct Line {
    name: String,
    points: Vec<Dot>,
}

/// A value by day, with its interval where it has one.
struct Dot {
    on: Day,
    value: f64,
    interval: Option<[f64; 2]>,
}

/// What one chart shows.
struct Chart {
    name: &'static str,
    title: &'static str,
    subtitle: String,
    lines: Vec<Line>,
    range: Range<f64>,
    decimals: usize,
    /// Half the width of the band around zero.
    band: Option<f64>,
    /// A value holds until the next one.
    is_stepped: bool,
    caption: String,
}

/// The charts of a course, those that have something to show.
///
/// # Errors
/// [`ReportError`] when plotters fails.
pub(crate) fn case_charts(course: &CaseCourse) -> Result<Vec<Drawing>, ReportError> {
    let charts = [
        screens(course),
        rated(course, SeriesKind::Pain, ["course-pain", "Pain", "told at visits, 0 is none, 10 the worst"]),
        rated(course, SeriesKind::Rating, ["course-ratings", "What can be done", "rated at visits, 10 is as before"]),
        weighed(course, SeriesKind::Grip, ["course-grip", "Grip without pain", "mean of the tries, kg"]),
        weighed(course, SeriesKind::Load, ["course-load", "Load", "heaviest weight of each day, kg"]),
    ];
    charts.into_iter().flatten().map(|chart| drawn(&chart)).collect()
}

/// The name of a side's screens.
pub(crate) fn side_name(side: &SideScreens) -> String {
    let name = match side.side {
        ResultSide::Left => "left side",
        ResultSide::Right => "right side",
        ResultSide::Both => "mean of both sides",
    };
    if side.is_affected { format!("{name}, affected") } else { name.to_owned() }
}

fn screens(course: &CaseCourse) -> Option<Chart> {
    let lines: Vec<Line> = course
        .screens
        .iter()
        .map(|side| Line {
            name: side_name(side),
            points: side
                .points
                .iter()
                .filter(|point| point.call != Call::NotComparable)
                .filter_map(|point| {
                    let Measured { value, lo, hi, .. } = point.difference_deg?;
                    Some(Dot { on: point.on, value, interval: Some([lo, hi]) })
                })
                .collect(),
        })
        .filter(|line| !line.points.is_empty())
        .collect();
    let span = course.margin_deg * SPAN_MARGINS;
    let ends = lines.iter().flat_map(|line| &line.points).filter_map(|dot| dot.interval);
    let (low, high) = ends.fold((-span, span), |(low, high), [lo, hi]| (low.min(lo), high.max(hi)));
    let heading =
        ["course-screens", "Every screen", "difference, external minus internal, before the stretch, degrees"];
    Some(Chart {
        band: Some(course.margin_deg),
        caption: format!(
            "Marker: estimate. Bar: 95\u{a0}% interval. Grey band: differences smaller than the margin of {}°. Below it the \
             outward reach is lower. Pairs that are not comparable are left out.",
            fixed(course.margin_deg, 1)
        ),
        ..plain(heading, lines, low - 1.0..high + 1.0)?
    })
}

/// What a chart is called: the name of its file, its title and what stands below that.
type Heading = [&'static str; 3];

/// A chart of what was told or measured at visits or in the log; `None` where there is none.
fn plain([name, title, subtitle]: Heading, lines: Vec<Line>, range: Range<f64>) -> Option<Chart> {
    (!lines.is_empty()).then(|| Chart {
        name,
        title,
        subtitle: subtitle.to_owned(),
        lines,
        range,
        decimals: 0,
        band: None,
        is_stepped: false,
        caption: String::new(),
    })
}

fn rated(course: &CaseCourse, kind: SeriesKind, heading: Heading) -> Option<Chart> {
    plain(heading, lines_of(course, kind), 0.0..10.0)
}

fn weighed(course: &CaseCourse, kind: SeriesKind, heading: Heading) -> Option<Chart> {
    let lines = lines_of(course, kind);
    let tops = lines.iter().flat_map(|line| &line.points).map(|dot| dot.interval.map_or(dot.value, |[_, hi]| hi));
    let top = tops.fold(1.0, f64::max);
    let has_intervals = lines.iter().flat_map(|line| &line.points).any(|dot| dot.interval.is_some());
    let caption = if has_intervals { "Bar: 95\u{a0}% interval, from the spread of tries." } else { "" };
    Some(Chart {
        decimals: usize::from(top < 4.0),
        is_stepped: kind == SeriesKind::Load,
        caption: caption.to_owned(),
        ..plain(heading, lines, 0.0..top * 1.08)?
    })
}

fn lines_of(course: &CaseCourse, kind: SeriesKind) -> Vec<Line> {
    let line = |series: &Series| {
        let dots = series.points.iter().map(|point| {
            let interval = point.u.map(|u| Measured::from_u(point.value, u, series.dof));
            Dot { on: point.on, value: point.value, interval: interval.map(|measured| [measured.lo, measured.hi]) }
        });
        Line { name: series.name.clone(), points: dots.collect() }
    };
    course.series.iter().filter(|series| series.kind == kind).map(line).collect()
}

fn drawn(chart: &Chart) -> Result<Drawing, ReportError> {
    let rows = chart.lines.iter().fold(0.0, |height, _| height + LEGEND_ROW);
    let top = LEGEND + rows + 8.0;
    let size = [WIDTH, top + PLOT + FOOT];
    render(chart.name, size, alt(chart), chart.caption.clone(), |area| draw(area, chart, top))
}

fn alt(chart: &Chart) -> String {
    let lines = chart.lines.iter().filter_map(|line| {
        let (first, last) = (line.points.first()?, line.points.last()?);
        let told = |dot: &Dot| format!("{} on {}", fixed(dot.value, 1), day_words(dot.on));
        Some(match line.points.len() {
            1 => format!("{} {}", line.name, told(first)),
            count => format!("{} {}, then {}, {count} values", line.name, told(first), told(last)),
        })
    });
    format!("{}, {}. {}.", chart.title, chart.subtitle, lines.collect::<Vec<_>>().join("; "))
}

fn draw(area: &Area, chart: &Chart, top: f64) -> Result<(), DrawError> {
    let bottom = top + PLOT;
    let days = || chart.lines.iter().flat_map(|line| &line.points).map(|dot| dot.on);
    let (Some(first), Some(last)) = (days().min(), days().max()) else { return Ok(()) };
    let length = last.days_since(first).max(1);
    let x = |on: Day| match last.days_since(first) {
        0 => f64::midpoint(LEFT, RIGHT),
        _ => LEFT + 8.0 + f64::from(on.days_since(first)) / f64::from(length) * (RIGHT - LEFT - 16.0),
    };
    let (low, high) = (chart.range.start, chart.range.end);
    let y = |value: f64| bottom - (value - low) / (high - low) * PLOT;
    write_text(area, [0.0, 2.0], chart.title, set(15.0, Weight::SemiBold, INK, START))?;
    write_text(area, [0.0, 24.0], &chart.subtitle, set(11.5, Weight::Regular, MUTED, START))?;
    if let Some(margin) = chart.band {
        area.draw(&Rectangle::new([(px(LEFT), px(y(margin))), (px(RIGHT), px(y(-margin)))], filled(BAND)))?;
        for edge in [margin, -margin] {
            draw_line(area, [[LEFT, y(edge)], [RIGHT, y(edge)]], stroke(MUTED, 0.75), Some([3.0, 2.5]))?;
        }
    }
    for tick in ticks(&chart.range, 6) {
        draw_line(area, [[LEFT, y(tick)], [RIGHT, y(tick)]], stroke(RULE, 0.5), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::End, Anchor::Middle]);
        write_text(area, [LEFT - 6.0, y(tick)], &fixed(tick, chart.decimals), style)?;
    }
    if chart.band.is_some() {
        draw_line(area, [[LEFT, y(0.0)], [RIGHT, y(0.0)]], stroke(INK, 1.0), None)?;
    }
    draw_line(area, [[LEFT, bottom], [RIGHT, bottom]], stroke(MUTED, 0.75), None)?;
    dates(area, first, last, bottom, &x)?;
    let mut legend = LEGEND;
    // the first line, of the affected side, lies on top
    for (index, line) in chart.lines.iter().enumerate().rev() {
        draw_values(area, chart, line, LOOKS[index % LOOKS.len()], &x, &y)?;
    }
    for (line, (color, marker, dash)) in chart.lines.iter().zip(LOOKS.into_iter().cycle()) {
        draw_line(area, [[2.0, legend + 6.0], [26.0, legend + 6.0]], stroke(color, 1.5), dash)?;
        draw_marker(area, [14.0, legend + 6.0], 4.0, marker, color)?;
        write_text(area, [34.0, legend], &line.name, set(12.0, Weight::Regular, INK, START))?;
        legend += LEGEND_ROW;
    }
    Ok(())
}

fn draw_values(
    area: &Area,
    chart: &Chart,
    line: &Line,
    (color, marker, dash): (Color, Marker, Option<[f64; 2]>),
    x: &dyn Fn(Day) -> f64,
    y: &dyn Fn(f64) -> f64,
) -> Result<(), DrawError> {
    for pair in line.points.windows(2) {
        let (from, to) = ([x(pair[0].on), y(pair[0].value)], [x(pair[1].on), y(pair[1].value)]);
        if chart.is_stepped {
            let corners = [from, [to[0], from[1]], to].map(|[x, y]| (px(x), px(y)));
            area.draw(&PathElement::new(corners.to_vec(), stroke(color, 1.5)))?;
        } else {
            draw_line(area, [from, to], stroke(color, 1.25), dash)?;
        }
    }
    let radius = if line.points.len() > MANY { 2.0 } else { 4.5 };
    for dot in &line.points {
        let at = x(dot.on);
        if let Some([lo, hi]) = dot.interval {
            draw_line(area, [[at, y(lo)], [at, y(hi)]], stroke(color, 1.5), None)?;
            if line.points.len() <= MANY {
                for end in [lo, hi] {
                    draw_line(area, [[at - 3.0, y(end)], [at + 3.0, y(end)]], stroke(color, 1.5), None)?;
                }
            }
        }
        draw_marker(area, [at, y(dot.value)], radius, marker, color)?;
    }
    Ok(())
}

/// Dates below the plot, from the first day to the last.
fn dates(area: &Area, first: Day, last: Day, bottom: f64, x: &dyn Fn(Day) -> f64) -> Result<(), DrawError> {
    let length = last.days_since(first);
    let steps = length.clamp(0, DATES - 1);
    for step in 0..=steps {
        let day = if steps == 0 { first } else { first.plus(length * step / steps) };
        let anchor = match step {
            _ if steps == 0 => Anchor::Middle,
            0 => Anchor::Start,
            step if step == steps => Anchor::End,
            _ => Anchor::Middle,
        };
        let at = match anchor {
            Anchor::Start => LEFT,
            Anchor::End => RIGHT,
            Anchor::Middle => x(day),
        };
        draw_line(area, [[x(day), bottom], [x(day), bottom + 4.0]], stroke(MUTED, 0.75), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [anchor, Anchor::Start]);
        write_text(area, [at, bottom + 7.0], &date_words(day, length > LONG_DAYS), style)?;
    }
    Ok(())
}

fn date_words(day: Day, is_long: bool) -> String {
    let [year, month, date] = day.ymd();
    let month = usize::try_from(month - 1).ok().and_then(|month| MONTHS.get(month)).map_or("", |name| &name[..3]);
    if is_long { format!("{month} {year}") } else { format!("{date} {month}") }
}

const START: [Anchor; 2] = [Anchor::Start, Anchor::Start];

const fn set(size: f64, weight: Weight, color: Color, anchor: [Anchor; 2]) -> TextSet {
    TextSet { size, weight, color, anchor }
}
