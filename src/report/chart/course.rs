//! The course of a reach: the arm's angle over time, holds shaded, times without an angle hatched.

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
use crate::screen::{Occasion, ReachResult, TrackedClip};
use crate::track::{Hold, Raise};

use plotters::prelude::{PathElement, Rectangle};

const SIZE: [f64; 2] = [720.0, 320.0];
const LEFT: f64 = 48.0;
const RIGHT: f64 = 704.0;
const TOP: f64 = 64.0;
const BOTTOM: f64 = 268.0;
/// The angle's axis spans at least this much, so that a tremor does not look like a raise.
const SPAN_MIN_DEG: f64 = 30.0;
/// Above and below the curve, deg.
const MARGIN_DEG: f64 = 4.0;
/// Distance of the hatching's lines, px.
const HATCH: f64 = 7.0;

/// Draws the course of a followed clip, or nothing where no angle was found in it.
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

/// What a drawing of a course shows, in seconds and degrees; the chart and the page have it from here.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CoursePlan {
    /// The time's axis, s.
    pub times_s: Range<f64>,
    /// The angle's axis, deg.
    pub angles_deg: Range<f64>,
    /// The holds, to be shaded.
    pub holds: Vec<Hold>,
    /// Times from and to (s) without an angle, to be hatched.
    pub unknown_s: Vec<(f64, f64)>,
}

impl CoursePlan {
    /// The plan for an angle (deg) at times (s) with its raises; `None` where there is nothing to draw.
    pub fn of(times_s: &[f64], angles_deg: &[Option<f64>], raises: &[Raise]) -> Option<Self> {
        let (from_s, to_s) = (*times_s.first()?, *times_s.last()?);
        let known = angles_deg.iter().flatten();
        let (low, high) =
            known.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), deg| (low.min(*deg), high.max(*deg)));
        if low > high || to_s <= from_s {
            return None;
        }
        let missing = (SPAN_MIN_DEG - (high - low)).max(0.0) / 2.0;
        Some(Self {
            times_s: from_s..to_s,
            angles_deg: (low - missing - MARGIN_DEG)..(high + missing + MARGIN_DEG),
            holds: raises.iter().filter_map(|raise| raise.hold).collect(),
            unknown_s: unknown_spans(times_s, angles_deg),
        })
    }
}

fn course(clip: &TrackedClip, name: String, title: &str) -> Result<Option<Drawing>, ReportError> {
    let Some(plan) = CoursePlan::of(&clip.track.times_s, &clip.image_angles_deg, &clip.course.raises) else {
        return Ok(None);
    };
    let holds: Vec<String> = plan
        .holds
        .iter()
        .map(|hold| {
            format!("{} degrees from {} to {} s", fixed(hold.mean_deg, 1), fixed(hold.start_s, 2), fixed(hold.end_s, 2))
        })
        .collect();
    let alt = match holds.len() {
        0 => "Angle between trunk and arm on the picture over time; no hold was found.".to_owned(),
        _ => format!("Angle between trunk and arm on the picture over time. Holds: {}.", holds.join("; ")),
    };
    let caption =
        "Line: smoothed angle. Dots: each frame. Shaded: holds. Hatched: a mark of the arm or trunk is not followed.";
    let alt = format!("{title}. {alt}");
    render(name, SIZE, alt, caption.to_owned(), |area| draw(area, clip, title, &plan)).map(Some)
}

fn draw(area: &Area, clip: &TrackedClip, title: &str, plan: &CoursePlan) -> Result<(), DrawError> {
    let (times_s, span) = (&clip.track.times_s, &plan.angles_deg);
    let (from_s, to_s) = (plan.times_s.start, plan.times_s.end);
    let x = |time_s: f64| LEFT + (time_s - from_s) / (to_s - from_s) * (RIGHT - LEFT);
    let y = |deg: f64| BOTTOM - (deg - span.start) / (span.end - span.start) * (BOTTOM - TOP);
    let start = [Anchor::Start, Anchor::Start];
    write_text(area, [0.0, 2.0], title, set(15.0, Weight::SemiBold, INK, start))?;
    let subtitle = "angle between trunk and arm on the picture, degrees: a cross-check, not the elevation";
    write_text(area, [0.0, 24.0], subtitle, set(12.0, Weight::Regular, MUTED, start))?;
    for hold in &plan.holds {
        let corners = [(px(x(hold.start_s)), px(TOP)), (px(x(hold.end_s)), px(BOTTOM))];
        area.draw(&Rectangle::new(corners, filled(BAND)))?;
        let label = format!("{}°", fixed(hold.mean_deg, 1));
        let style = set(12.0, Weight::SemiBold, INK, [Anchor::Middle, Anchor::End]);
        write_text(area, [x(0.5 * (hold.start_s + hold.end_s)), TOP - 4.0], &label, style)?;
    }
    for (from_s, to_s) in &plan.unknown_s {
        hatch(area, x(*from_s), x(*to_s).max(x(*from_s) + 1.0))?;
    }
    for tick in ticks(span, 7) {
        draw_line(area, [[LEFT, y(tick)], [RIGHT, y(tick)]], stroke(RULE, 0.5), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::End, Anchor::Middle]);
        write_text(area, [LEFT - 7.0, y(tick)], &fixed(tick, 0), style)?;
    }
    for tick in ticks(&(from_s..to_s), 10) {
        draw_line(area, [[x(tick), BOTTOM], [x(tick), BOTTOM + 4.0]], stroke(MUTED, 0.75), None)?;
        let style = set(11.0, Weight::Regular, MUTED, [Anchor::Middle, Anchor::Start]);
        let digits = if to_s - from_s < 5.0 { 1 } else { 0 };
        write_text(area, [x(tick), BOTTOM + 7.0], &fixed(tick, digits), style)?;
    }
    draw_line(area, [[LEFT, BOTTOM], [RIGHT, BOTTOM]], stroke(MUTED, 0.75), None)?;
    write_text(area, [RIGHT, BOTTOM + 26.0], "time, s", set(12.0, Weight::Regular, INK, [Anchor::End, Anchor::Start]))?;
    for (time_s, angle) in times_s.iter().zip(&clip.image_angles_deg) {
        if let Some(deg) = angle {
            let (left, top) = (x(*time_s), y(*deg));
            let dot = [(px(left - 0.8), px(top - 0.8)), (px(left + 0.8), px(top + 0.8))];
            area.draw(&Rectangle::new(dot, filled(MUTED)))?;
        }
    }
    let mut line: Vec<(i32, i32)> = Vec::new();
    for (time_s, smoothed) in times_s.iter().zip(&clip.course.smoothed_deg) {
        if let Some(deg) = smoothed {
            line.push((px(x(*time_s)), px(y(*deg))));
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

/// Times from and to (s) without an angle.
fn unknown_spans(times_s: &[f64], angles_deg: &[Option<f64>]) -> Vec<(f64, f64)> {
    let mut spans: Vec<(f64, f64)> = Vec::new();
    for (frame, angle) in angles_deg.iter().enumerate() {
        if angle.is_some() {
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
