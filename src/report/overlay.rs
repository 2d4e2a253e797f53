//! Draws over a still what was marked and measured: marks, arm and trunk rays, plumb line, bar, angle arc and elevation.
//!
//! Every line has a white casing, so that it shows on any ground, and its own dash, so that it reads without colour.

use std::fmt::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use crate::geometry::ImagePoint;
use crate::pose::{Overlay, Rotation};
use crate::report::chart::escape;
use crate::report::font::{FAMILY, Weight, width_em};
use crate::report::palette::{BLUE, INK, VERMILION, WHITE};
use crate::report::picture::Crop;

/// Width of every still in the SVG's own units, so that strokes are alike in all.
const WIDTH: f64 = 600.0;
/// The arm's ray goes on past the wrist by this share of its length.
const RAY_BEYOND_RATIO: f64 = 0.22;
const FIGURE_SIZE: f64 = 46.0;

/// A dash pattern and its meaning in the legend.
pub(crate) const LEGEND: &str =
    "Solid: arm axis. Dashes: trunk. Dash and dot: plumb line. Double line: bar. Rings: marks. Arc: elevation.";

/// How a line is drawn.
struct Line<'a> {
    color: &'a str,
    width: f64,
    dash: &'a str,
}

/// The still as SVG: the JPEG of the crop, and over it what belongs there, with the elevation in words beside its arc.
pub(crate) fn render(
    jpeg: &[u8],
    crop: Crop,
    overlay: &Overlay,
    rotation: Rotation,
    figure: Option<&str>,
    alt: &str,
) -> String {
    let height = WIDTH / crop.aspect();
    let place = |point: ImagePoint| {
        // The first pixel's centre is the origin of the image frame, but the SVG starts at its edge.
        let scale = WIDTH / f64::from(crop.width);
        [(point.x + 0.5 - f64::from(crop.left)) * scale, (point.y + 0.5 - f64::from(crop.top)) * scale]
    };
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height:.2}\" width=\"{WIDTH}\" \
         height=\"{height:.2}\" role=\"img\" aria-label=\"{}\"><image x=\"0\" y=\"0\" width=\"{WIDTH}\" \
         height=\"{height:.2}\" preserveAspectRatio=\"none\" href=\"data:image/jpeg;base64,{}\"/>",
        escape(alt),
        STANDARD.encode(jpeg)
    );
    let (ink, white) = (INK.hex(), WHITE.hex());
    let arm_color = match rotation {
        Rotation::Internal => BLUE.hex(),
        Rotation::External => VERMILION.hex(),
    };
    let placed = |points: &[ImagePoint]| -> Vec<[f64; 2]> {
        points.iter().copied().map(place).filter(|[x, y]| x.is_finite() && y.is_finite()).collect()
    };
    cased(&mut svg, &placed(&overlay.plumb), &Line { color: &ink, width: 2.5, dash: "22 7 3 7" });
    if let Some(bar) = overlay.bar {
        let bar = placed(&bar);
        line(&mut svg, &bar, &Line { color: &ink, width: 11.0, dash: "" });
        line(&mut svg, &bar, &Line { color: &white, width: 5.0, dash: "" });
    }
    if let Some(trunk) = overlay.trunk {
        cased(&mut svg, &placed(&trunk), &Line { color: &ink, width: 5.0, dash: "18 9" });
    }
    for (_, [shoulder, elbow, wrist]) in &overlay.arms {
        let (from, to) = (place(*shoulder), place(*wrist));
        let beyond = [0, 1].map(|axis| to[axis] + RAY_BEYOND_RATIO * (to[axis] - from[axis]));
        if beyond.iter().all(|number| number.is_finite()) {
            cased(&mut svg, &[from, beyond], &Line { color: &arm_color, width: 2.5, dash: "" });
        }
        cased(&mut svg, &placed(&[*shoulder, *elbow, *wrist]), &Line { color: &arm_color, width: 6.0, dash: "" });
    }
    let arc = placed(&overlay.arc);
    cased(&mut svg, &arc, &Line { color: &ink, width: 3.5, dash: "" });
    for [x, y] in overlay.marks.iter().map(|(_, point)| place(*point)).filter(|p| p.iter().all(|n| n.is_finite())) {
        let _ = write!(
            svg,
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"8\" fill=\"{white}\" fill-opacity=\"0.55\" stroke=\"{white}\" \
             stroke-width=\"6\"/><circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"8\" fill=\"none\" stroke=\"{ink}\" \
             stroke-width=\"2.5\"/>"
        );
    }
    let shoulder =
        overlay.trunk.map(|[top, _]| place(top)).or_else(|| overlay.arms.first().map(|(_, arm)| place(arm[0])));
    if let (Some(figure), Some(center)) = (figure, shoulder)
        && !arc.is_empty()
    {
        figure_beside_arc(&mut svg, figure, &arc, center, height);
    }
    svg.push_str("</svg>");
    svg
}

/// The elevation on a white ground just outside the middle of its arc, kept within the picture.
fn figure_beside_arc(svg: &mut String, figure: &str, arc: &[[f64; 2]], center: [f64; 2], height: f64) {
    let width = f64::from(width_em(figure, Weight::SemiBold)) * FIGURE_SIZE + 22.0;
    let box_height = FIGURE_SIZE * 1.16;
    let middle = arc[arc.len() / 2];
    let out = [middle[0] - center[0], middle[1] - center[1]];
    let radius = out[0].hypot(out[1]).max(1.0);
    let reach = radius + 0.5 * width * (out[0] / radius).abs() + 0.5 * box_height * (out[1] / radius).abs() + 12.0;
    let at = |axis: usize, half: f64, limit: f64| {
        let wanted = center[axis] + out[axis] / radius * reach;
        if limit > 2.0 * half + 12.0 { wanted.clamp(half + 6.0, limit - half - 6.0) } else { limit / 2.0 }
    };
    let (x, y) = (at(0, width / 2.0, WIDTH), at(1, box_height / 2.0, height));
    let (ink, white) = (INK.hex(), WHITE.hex());
    let _ = write!(
        svg,
        "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{width:.1}\" height=\"{box_height:.1}\" rx=\"6\" fill=\"{white}\" \
         fill-opacity=\"0.92\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-family=\"{FAMILY}\" \
         font-weight=\"600\" font-size=\"{FIGURE_SIZE}\" fill=\"{ink}\">{}</text>",
        x - width / 2.0,
        y - box_height / 2.0,
        y + FIGURE_SIZE * 0.36,
        escape(figure)
    );
}

/// A polyline over a white casing.
fn cased(svg: &mut String, points: &[[f64; 2]], style: &Line) {
    let casing = Line { color: &WHITE.hex(), width: style.width + 5.0, dash: "" };
    line_with_opacity(svg, points, &casing, 0.6);
    line(svg, points, style);
}

fn line(svg: &mut String, points: &[[f64; 2]], style: &Line) {
    line_with_opacity(svg, points, style, 1.0);
}

fn line_with_opacity(svg: &mut String, points: &[[f64; 2]], style: &Line, opacity: f64) {
    if points.len() < 2 {
        return;
    }
    svg.push_str("<polyline points=\"");
    for [x, y] in points {
        let _ = write!(svg, "{x:.1},{y:.1} ");
    }
    let _ = write!(
        svg,
        "\" fill=\"none\" stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\" stroke-linecap=\"{}\"",
        style.color,
        style.width,
        if style.dash.is_empty() { "round" } else { "butt" }
    );
    if !style.dash.is_empty() {
        let _ = write!(svg, " stroke-dasharray=\"{}\"", style.dash);
    }
    if opacity < 1.0 {
        let _ = write!(svg, " stroke-opacity=\"{opacity}\"");
    }
    svg.push_str("/>");
}
