//! What all charts share: the drawing as SVG, text styles, markers and number ranges.

use std::error::Error;
use std::fmt::Write;
use std::ops::Range;

use plotters::coord::Shift;
use plotters::prelude::{
    DrawingArea, IntoDrawingArea, IntoFont, PathElement, Polygon, RGBColor, SVGBackend, Text, TextStyle,
};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color as _, FontStyle, ShapeStyle};

use crate::report::error::ReportError;
use crate::report::font::{self, FAMILY, Weight};
use crate::report::input::Chart;
use crate::report::palette::{Color, WHITE};

/// Plotters places everything on whole units: a chart is drawn this many times larger and scaled back by its view box.
const SCALE: f64 = 8.0;
/// Plotters writes a font size divided by this into SVG.
const FONT_SIZE_RATIO: f64 = 1.24;

/// A chart before it is put on a page or into a file.
#[derive(Debug, Clone)]
pub(crate) struct Drawing {
    /// File name without extension.
    pub name: String,
    /// The chart without its font.
    pub svg: String,
    /// Size in the SVG's own units, which are px of a page at its natural size.
    pub size: [f64; 2],
    /// What it shows, with its numbers, for those who cannot see it.
    pub alt: String,
    /// How to read it.
    pub caption: String,
}

/// The error that plotters gives while a chart is drawn, whatever it is.
pub(super) type DrawError = Box<dyn Error + Send + Sync>;
/// The area that a chart is drawn on.
pub(super) type Area<'a> = DrawingArea<SVGBackend<'a>, Shift>;

impl Drawing {
    /// The chart as a file of its own, with its font and its text alternative within it.
    pub fn to_file(&self) -> Chart {
        let style = format!("<style>{}</style>", font::css());
        let svg = match self.svg.split_once('>') {
            Some((open, rest)) => format!("{open}>{style}{rest}"),
            None => self.svg.clone(),
        };
        Chart { name: self.name.clone(), svg }
    }
}

/// Draws a chart of `size` and gives it a text alternative.
pub(super) fn render(
    name: impl Into<String>,
    size: [f64; 2],
    alt: String,
    caption: String,
    draw: impl FnOnce(&Area) -> Result<(), DrawError>,
) -> Result<Drawing, ReportError> {
    font::register_for_charts()?;
    let name = name.into();
    let mut body = String::new();
    {
        let area = SVGBackend::with_string(&mut body, (whole(size[0]), whole(size[1]))).into_drawing_area();
        let drawn = area.fill(&rgb(WHITE)).map_err(DrawError::from).and_then(|()| draw(&area));
        drawn
            .and_then(|()| area.present().map_err(DrawError::from))
            .map_err(|source| ReportError::Chart { name: name.clone(), source })?;
    }
    let inner = body.split_once('>').map_or("", |(_, rest)| rest);
    let [width, height] = size;
    let mut svg = String::new();
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" width=\"{width}\" height=\"{height}\" \
         role=\"img\" aria-label=\"{}\">",
        width * SCALE,
        height * SCALE,
        escape(&alt)
    );
    // A text element ends in a line break, which would become a space after the text.
    svg.push_str(&inner.trim_start().replace("\n</text>", "</text>"));
    Ok(Drawing { name, svg, size, alt, caption })
}

/// Text for an attribute or element of SVG or HTML.
pub(crate) fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A length of the chart in plotters' units.
#[allow(clippy::cast_possible_truncation, reason = "rounded, and a chart's lengths are far below the range of i32")]
pub(super) fn px(length: f64) -> i32 {
    (length * SCALE).round() as i32
}

fn whole(length: f64) -> u32 {
    u32::try_from(px(length)).unwrap_or(0)
}

/// A colour as plotters wants it.
pub(super) const fn rgb(color: Color) -> RGBColor {
    let [red, green, blue] = color.rgb;
    RGBColor(red, green, blue)
}

/// A line of a width in px of the chart.
pub(super) fn stroke(color: Color, width: f64) -> ShapeStyle {
    ShapeStyle { color: rgb(color).to_rgba(), filled: false, stroke_width: u32::try_from(px(width)).unwrap_or(1) }
}

/// A filled shape.
pub(super) fn filled(color: Color) -> ShapeStyle {
    rgb(color).filled()
}

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct TextSet {
    /// Font size in px of the chart.
    pub size: f64,
    /// Weight.
    pub weight: Weight,
    /// Colour.
    pub color: Color,
    /// Which point of the text lies on the given point.
    pub anchor: [Anchor; 2],
}

/// The start, middle or end of a text, across or down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Anchor {
    Start,
    Middle,
    End,
}

impl TextSet {
    /// The style as plotters wants it.
    pub fn style(self) -> TextStyle<'static> {
        let weight = match self.weight {
            Weight::Regular => FontStyle::Normal,
            Weight::SemiBold => FontStyle::Bold,
        };
        let across = match self.anchor[0] {
            Anchor::Start => HPos::Left,
            Anchor::Middle => HPos::Center,
            Anchor::End => HPos::Right,
        };
        let down = match self.anchor[1] {
            Anchor::Start => VPos::Top,
            Anchor::Middle => VPos::Center,
            Anchor::End => VPos::Bottom,
        };
        (FAMILY, self.size * SCALE * FONT_SIZE_RATIO, weight)
            .into_font()
            .color(&rgb(self.color))
            .pos(Pos::new(across, down))
    }
}

/// Writes a text at a point in px of the chart.
pub(super) fn write_text(area: &Area, at: [f64; 2], text: &str, set: TextSet) -> Result<(), DrawError> {
    Ok(area.draw(&Text::new(text.to_owned(), (px(at[0]), px(at[1])), set.style()))?)
}

/// Draws a line between two points in px of the chart; `dash` and gap in px where it is dashed.
pub(super) fn draw_line(
    area: &Area,
    ends: [[f64; 2]; 2],
    style: ShapeStyle,
    dash: Option<[f64; 2]>,
) -> Result<(), DrawError> {
    let [from, to] = ends;
    let length = (to[0] - from[0]).hypot(to[1] - from[1]);
    let at = |along: f64| {
        let share = if length > 0.0 { along / length } else { 0.0 };
        (px(from[0] + share * (to[0] - from[0])), px(from[1] + share * (to[1] - from[1])))
    };
    let Some([on, off]) = dash else {
        area.draw(&PathElement::new(vec![at(0.0), at(length)], style))?;
        return Ok(());
    };
    let mut start = 0.0;
    while start < length {
        area.draw(&PathElement::new(vec![at(start), at((start + on).min(length))], style))?;
        start += on + off;
    }
    Ok(())
}

/// The shape of a marker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Marker {
    /// A ring: the internally rotated reach.
    Ring,
    /// A filled diamond: the externally rotated reach.
    Diamond,
    /// A filled square: a difference.
    Square,
    /// A filled triangle: the bar's height.
    Triangle,
}

/// Draws a marker of a radius in px around a point in px of the chart.
pub(super) fn draw_marker(
    area: &Area,
    center: [f64; 2],
    radius: f64,
    marker: Marker,
    color: Color,
) -> Result<(), DrawError> {
    let corners = |offsets: &[[f64; 2]]| -> Vec<(i32, i32)> {
        offsets.iter().map(|[dx, dy]| (px(center[0] + dx * radius), px(center[1] + dy * radius))).collect()
    };
    let outline: Vec<(i32, i32)> = match marker {
        Marker::Ring => {
            let steps = (0..32).map(|step| f64::from(step) / 32.0 * std::f64::consts::TAU);
            corners(&steps.map(|turn| [turn.cos(), turn.sin()]).collect::<Vec<_>>())
        }
        Marker::Diamond => corners(&[[-1.2, 0.0], [0.0, -1.2], [1.2, 0.0], [0.0, 1.2]]),
        Marker::Square => corners(&[[-0.9, -0.9], [0.9, -0.9], [0.9, 0.9], [-0.9, 0.9]]),
        Marker::Triangle => corners(&[[-1.1, 0.9], [0.0, -1.1], [1.1, 0.9]]),
    };
    if marker == Marker::Ring {
        area.draw(&Polygon::new(outline.clone(), filled(WHITE)))?;
        let closed: Vec<(i32, i32)> = outline.iter().chain(outline.first()).copied().collect();
        area.draw(&PathElement::new(closed, stroke(color, 2.0)))?;
    } else {
        area.draw(&Polygon::new(outline, filled(color)))?;
    }
    Ok(())
}

/// Tick positions of a range: multiples of 1, 2 or 5 times a power of ten, at most `most` of them.
pub(super) fn ticks(range: &Range<f64>, most: usize) -> Vec<f64> {
    let span = range.end - range.start;
    if !(span.is_finite() && span > 0.0) {
        return Vec::new();
    }
    let rough = 10_f64.powf((span / 10.0).log10().floor() - 1.0);
    let steps = (0..4_i32).flat_map(|power| [1.0, 2.0, 5.0].map(|digit| digit * 10_f64.powi(power) * rough));
    for step in steps {
        let first = (range.start / step).ceil();
        let count = (range.end / step).floor() - first + 1.0;
        if count <= f64::from(u16::try_from(most).unwrap_or(u16::MAX)) {
            let mut found = Vec::new();
            let mut index = 0.0;
            while index < count {
                found.push((first + index) * step);
                index += 1.0;
            }
            return found;
        }
    }
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few() {
        let close = |a: &[f64], b: &[f64]| a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9);
        assert!(close(&ticks(&(-4.0..11.0), 5), &[0.0, 5.0, 10.0]));
        assert!(close(&ticks(&(141.0..163.0), 6), &[145.0, 150.0, 155.0, 160.0]));
        assert!(close(&ticks(&(-30.0..95.0), 6), &[-20.0, 0.0, 20.0, 40.0, 60.0, 80.0]));
        assert!(ticks(&(1.0..1.0), 5).is_empty());
    }
}
