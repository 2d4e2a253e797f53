//! The course of a reach: the arm's angle or the bar's height over time, holds shaded, times without a value hatched.

use std::ops::Range;

use crate::pose::{Rotation, View};
use crate::report::chart::canvas::{
    Anchor, Area, DrawError, Drawing, TextSet, draw_line, filled, px, render, stroke, ticks, write_text,
};
use crate::report::error::ReportError;
use crate::report::font::Weight;
use crate::report::input::Chart;
use crate::report::palette::{BAND, BLUE, Color, INK, MUTED, RULE};
use crate::report::wording::{fixed, occasion_word, rotation_word, view_word};
use crate::screen::{ClipCurve, Occasion, ReachResult, TrackedClip};
use crate::track::{Hold, Raise};

use plotters::prelude::{PathElement, Rectangle};

const SIZE: [f64; 2] = [720.0, 320.0];
const LEFT: f64 = 48.0;
const RIGHT: f64 = 704.0;
const TOP: f64 = 64.0;
const BOTTOM: f64 = 268.0;
/// Distance of the hatching's lines, px.
const HATCH: f64 = 7.0;

/// How a curve is drawn and named.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct CurveWords {
    /// Its axis spans at least this much, so that a tremor does not look like a raise.
    span_min: f64,
    /// Above and below the curve.
    margin: f64,
    /// Decimals of a value, and of a tick.
    decimals: [usize; 2],
    /// The sign behind a value.
    sign: &'static str,
    /// The same as a word, with a space before it.
    unit: &'static str,
    /// What it is, as a sentence without its end.
    name: &'static str,
    /// What it is not.
    subtitle: &'static str,
    /// Why it may be missing.
    missing: &'static str,
}

impl CurveWords {
    /// Of an arm's angle, deg.
    pub(crate) const ARM_ANGLE: Self = Self {
        span_min: 30.0,
        margin: 4.0,
        decimals: [1, 0],
        sign: "°",
        unit: " degrees",
        name: "Angle between trunk and arm on the picture",
        subtitle: "angle between trunk and arm on the picture, degrees: a cross-check, not the elevation",
        missing: "a mark of the arm or trunk is not followed",
    };
    /// Of a bar's height, in lengths of the bar.
    const BAR_HEIGHT: Self = Self {
        span_min: 0.2,
        margin: 0.03,
        decimals: [2, 2],
        sign: "",
        unit: " lengths of the bar",
        name: "Height of the bar above the shoulders on the picture",
        subtitle: "height of the bar above the shoulders on the picture, in lengths of the bar: not the elevation",
        missing: "an end of the bar is not followed",
    };

    /// Of what a clip shows.
    pub(crate) const fn of(curve: ClipCurve) -> Self {
        match curve {
            ClipCurve::ArmAngle { .. } => Self::ARM_ANGLE,
            ClipCurve::BarHeight => Self::BAR_HEIGHT,
        }
    }

    /// A value with its sign.
    pub(crate) fn figure(&self, value: f64) -> String {
        fixed(value, self.decimals[0]) + self.sign
    }
}

/// Draws the course of a followed clip, or nothing where no value was found in it.
///
/// # Errors
/// [`ReportError`] when plotters fails.
pub fn render_course_chart(clip: &TrackedClip) -> Result<Option<Chart>, ReportError> {
    Ok(course(clip, "course".to_owned(), "Course of the reach")?.map(|drawing| drawing.to_file()))
}

/// File name, without extension, of the chart of a reach's course.
#[must_use]
pub fn course_chart_name(occasion: Occasion, rotation: Rotation, view: View) -> String {
    format!("course-{}-{}-{}", occasion_word(occasion), rotation_word(rotation), view_word(view)).to_lowercase()
}

/// The course of the clip of a reach of a visit.
pub(crate) fn course_of_reach(clip: &TrackedClip, reach: &ReachResult) -> Result<Option<Drawing>, ReportError> {
    let ReachResult { occasion, rotation, view, .. } = reach;
    let (occasion_name, rotation_name) = (occasion_word(*occasion).to_lowercase(), rotation_word(*rotation));
    let title = format!("Course of {occasion_name} {rotation_name} ({})", view_word(*view));
    course(clip, course_chart_name(*occasion, *rotation, *view), &title)
}

/// What a drawing of a course shows, in seconds and the curve's unit; the chart and the page have it from here.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CoursePlan {
    /// The time's axis, s.
    pub times_s: Range<f64>,
    /// The value's axis.
    pub values: Range<f64>,
    /// The holds, to be shaded.
    pub holds: Vec<Hold>,
    /// Times from and to (s) without a value, to be hatched.
    pub unknown_s: Vec<(f64, f64)>,
}

impl CoursePlan {
    /// The plan for a curve at times (s) with its raises; `None` where there is nothing to draw.
    pub fn of(times_s: &[f64], values: &[Option<f64>], raises: &[Raise], words: &CurveWords) -> Option<Self> {
        let (from_s, to_s) = (*times_s.first()?, *times_s.last()?);
        let known = values.iter().flatten();
        let (low, high) =
            known.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(*value), high.max(*value)));
        if low > high || to_s <= from_s {
            return None;
        }
        let missing = (words.span_min - (high - low)).max(0.0) / 2.0;
        Some(Self {
            times_s: from_s..to_s,
            values: (low - missing - words.margin)..(high + missing + words.margin),
            holds: raises.iter().filter_map(|raise| raise.hold).collect(),
            unknown_s: unknown_spans(times_s, values),
        })
    }
}

fn course(clip: &TrackedClip, name: String, title: &str) -> Result<Option<Drawing>, ReportError> {
    let Some(shows) = clip.shows else { return Ok(None) };
    let words = CurveWords::of(shows);
    let Some(plan) = CoursePlan::of(&clip.track.times_s, &clip.values, &clip.course.raises, &words) else {
        return Ok(None);
    };
    let holds: Vec<String> = plan
        .holds
        .iter()
        .map(|hold| {
            let value = fixed(hold.mean, words.decimals[0]) + words.unit;
            format!("{value} from {} to {} s", fixed(hold.start_s, 2), fixed(hold.end_s, 2))
        })
        .collect();
    let alt = match holds.len() {
        0 => format!("{} over time; no hold was found.", words.name),
        _ => format!("{} over time. Holds: {}.", words.name, holds.join("; ")),
    };
    let line = match shows {
        ClipCurve::ArmAngle { .. } => "smoothed angle",
        ClipCurve::BarHeight => "smoothed height",
    };
    let caption = format!("Line: {line}. Dots: each frame. Shaded: holds. Hatched: {}.", words.missing);
    let alt = format!("{title}. {alt}");
    render(name, SIZE, alt, caption, |area| draw(area, clip, title, &plan, &words)).map(Some)
}

fn draw(area: &Area, clip: &TrackedClip, title: &str, plan: &CoursePlan, words: &CurveWords) -> Result<(), DrawError> {
    let (times_s, span) = (&clip.track.times_s, &plan.values);
    let (from_s, to_s) = (plan.times_s.start, plan.times_s.end);
    let x = |time_s: f64| LEFT + (time_s - from_s) / (to_s - from_s) * (RIGHT - LEFT);
    let y = |value: f64| BOTTOM - (value - span.start) / (span.end - span.start) * (BOTTOM - TOP);
    let start = [Anchor::Start, Anchor::Start];
    write_text(area, [0.0, 2.0], title, set(15.0, Weight::SemiBold, INK, start))?;
    write_text(area, [0.0, 24.0], words.subtitle, set(12.0, Weight::Regular, MUTED, start))?;
    for hold in &plan.holds {
        let corners = [(px(x(hold.start_s)), px(TOP)), (px(x(hold.end_s)), px(BOTTOM))];
        area.draw(&Rectangle::new(corners, filled(BAND)))?;
        let label = words.figure(hold.mean);
        let style = set(12.0, Weight::SemiBold, INK, [Anchor::Middle, Anchor::End]);
        write_text(area, [x(0.5 * (hold.start_s + hold.end_s)), TOP - 4.0], &label, style)?;
    }
    for (from_s, to_s) in &plan.unknown_s {
        hatch(area, x(*from_s), x(*to_s).max(x(*from_s) + 1.0))?;
    }
    for tick in ticks(span, 7) {
        draw_line(area, [[LEFT, y(tick)], [RIGHT, y(tick)]], stroke(RULE, 0.5), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::End, Anchor::Middle]);
        write_text(area, [LEFT - 7.0, y(tick)], &fixed(tick, words.decimals[1]), style)?;
    }
    for tick in ticks(&(from_s..to_s), 10) {
        draw_line(area, [[x(tick), BOTTOM], [x(tick), BOTTOM + 4.0]], stroke(MUTED, 0.75), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::Middle, Anchor::Start]);
        let digits = if to_s - from_s < 5.0 { 1 } else { 0 };
        write_text(area, [x(tick), BOTTOM + 7.0], &fixed(tick, digits), style)?;
    }
    draw_line(area, [[LEFT, BOTTOM], [RIGHT, BOTTOM]], stroke(MUTED, 0.75), None)?;
    write_text(area, [RIGHT, BOTTOM + 26.0], "time, s", set(12.0, Weight::Regular, INK, [Anchor::End, Anchor::Start]))?;
    for (time_s, value) in times_s.iter().zip(&clip.values) {
        if let Some(value) = value {
            let (left, top) = (x(*time_s), y(*value));
            let dot = [(px(left - 0.8), px(top - 0.8)), (px(left + 0.8), px(top + 0.8))];
            area.draw(&Rectangle::new(dot, filled(MUTED)))?;
        }
    }
    let mut line: Vec<(i32, i32)> = Vec::new();
    for (time_s, smoothed) in times_s.iter().zip(&clip.course.smoothed) {
        if let Some(value) = smoothed {
            line.push((px(x(*time_s)), px(y(*value))));
        } else if line.len() > 1 {
            area.draw(&PathElement::new(std::mem::take(&mut line), stroke(BLUE, 1.75)))?;
        } else {
            line.clear();
        }
    }
    if line.len() > 1 {
        area.draw(&PathElement::new(line, stroke(BLUE, 1.75)))?;
    }
    Ok(())
}

/// Times from and to (s) without a value.
fn unknown_spans(times_s: &[f64], values: &[Option<f64>]) -> Vec<(f64, f64)> {
    let mut spans: Vec<(f64, f64)> = Vec::new();
    for (frame, value) in values.iter().enumerate() {
        if value.is_some() {
            continue;
        }
        let before_s = times_s[frame.saturating_sub(1)];
        match spans.last_mut() {
            Some(last) if (last.1 - before_s).abs() < 1e-9 => last.1 = times_s[frame],
            _ => spans.push((times_s[frame], times_s[frame])),
        }
    }
    spans
}

/// Slanted lines between two places.
fn hatch(area: &Area, left: f64, right: f64) -> Result<(), DrawError> {
    let height = BOTTOM - TOP;
    let mut at = left - height;
    while at < right {
        let (from, to) = (at.max(left), (at + height).min(right));
        if to > from {
            draw_line(area, [[from, BOTTOM - (from - at)], [to, BOTTOM - (to - at)]], stroke(RULE, 0.75), None)?;
        }
        at += HATCH;
    }
    Ok(())
}

const fn set(size: f64, weight: Weight, color: Color, anchor: [Anchor; 2]) -> TextSet {
    TextSet { size, weight, color, anchor }
}
