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
/// The elevation stays this far from the picture's edge.
const CORNER: f64 = 6.0;

/// What the lines of the stills mean.
pub(crate) const LEGEND: &str = "Solid: arm axis. Dashes: trunk. Dash and dot: plumb line. Double line: bar. Rings: marks on the skin; lines run \
     through the joints. Arc: elevation.";
/// What a crossed mark means, where there is one.
pub(crate) const LEGEND_OF_DISAGREEING: &str =
    "Crossed ring: a mark that disagrees with the others; its dots lead to where they put it.";
/// Half the length of a cross's strokes.
const CROSS: f64 = 15.0;

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
    for (_, marked, expected) in &overlay.disagreeing {
        let ends = placed(&[*marked, *expected]);
        let [[x, y], _] = ends[..] else { continue };
        cased(&mut svg, &ends, &Line { color: &ink, width: 2.5, dash: "3 6" });
        for way in [1.0, -1.0] {
            let stroke = [[x - CROSS, y - way * CROSS], [x + CROSS, y + way * CROSS]];
            cased(&mut svg, &stroke, &Line { color: &ink, width: 3.5, dash: "" });
        }
    }
    let shoulder =
        overlay.trunk.map(|[top, _]| place(top)).or_else(|| overlay.arms.first().map(|(_, arm)| place(arm[0])));
    match (figure, shoulder) {
        (Some(figure), Some(center)) if !arc.is_empty() && center.iter().all(|number| number.is_finite()) => {
            figure_beside_arc(&mut svg, figure, &arc, center, height);
        }
        // From the front there is no arc to stand beside.
        (Some(figure), _) => {
            write_figure(&mut svg, figure, emptiest_corner(&placed(&drawn_points(overlay)), height), height)
        }
        (None, _) => {}
    }
    svg.push_str("</svg>");
    svg
}

/// The elevation just outside the middle of its arc.
fn figure_beside_arc(svg: &mut String, figure: &str, arc: &[[f64; 2]], center: [f64; 2], height: f64) {
    let [width, box_height] = figure_size(figure);
    let middle = arc[arc.len() / 2];
    let out = [middle[0] - center[0], middle[1] - center[1]];
    let radius = out[0].hypot(out[1]).max(1.0);
    let reach = radius + 0.5 * width * (out[0] / radius).abs() + 0.5 * box_height * (out[1] / radius).abs() + 12.0;
    write_figure(svg, figure, [0, 1].map(|axis| center[axis] + out[axis] / radius * reach), height);
}

/// Marks, and the arms and the bar as their ends.
fn drawn_points(overlay: &Overlay) -> Vec<ImagePoint> {
    let marks = overlay.marks.iter().map(|(_, point)| *point);
    let arms = overlay.arms.iter().flat_map(|(_, points)| *points);
    marks.chain(arms).chain(overlay.bar.into_iter().flatten()).collect()
}

/// The corner of the picture that is farthest from everything drawn.
fn emptiest_corner(points: &[[f64; 2]], height: f64) -> [f64; 2] {
    let room = |corner: &[f64; 2]| {
        points.iter().map(|[x, y]| (x - corner[0]).hypot(y - corner[1])).fold(f64::INFINITY, f64::min)
    };
    let corners = [[0.0, 0.0], [WIDTH, 0.0], [0.0, height], [WIDTH, height]];
    // The last of equals is taken, so that a picture without marks has its elevation in the first corner.
    corners.into_iter().rev().max_by(|a, b| room(a).total_cmp(&room(b))).unwrap_or(corners[0])
}

/// The elevation on a white ground, its middle as near to a point as the picture allows.
fn write_figure(svg: &mut String, figure: &str, wanted: [f64; 2], height: f64) {
    let [width, box_height] = figure_size(figure);
    let within = |wanted: f64, length: f64, limit: f64| {
        let least = length / 2.0 + CORNER;
        if limit > 2.0 * least { wanted.clamp(least, limit - least) } else { limit / 2.0 }
    };
    let (x, y) = (within(wanted[0], width, WIDTH), within(wanted[1], box_height, height));
    let (ink, white) = (INK.hex(), WHITE.hex());
    let _ = write!(
        svg,
        "<rect x=\"{:.1}\" y=\"{:.1}\" width=\"{width:.1}\" height=\"{box_height:.1}\" rx=\"6\" fill=\"{white}\" \
         fill-opacity=\"0.92\"/><text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\" font-family=\"{FAMILY}, sans-serif\" \
         font-weight=\"600\" font-size=\"{FIGURE_SIZE}\" fill=\"{ink}\">{}</text>",
        x - width / 2.0,
        y - box_height / 2.0,
        y + FIGURE_SIZE * 0.36,
        escape(figure)
    );
}

/// Width and height of the elevation's ground.
fn figure_size(figure: &str) -> [f64; 2] {
    [f64::from(width_em(figure, Weight::SemiBold)) * FIGURE_SIZE + 22.0, FIGURE_SIZE * 1.16]
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Landmark, Side};

    const CROP: Crop = Crop { left: 100, top: 50, width: 300, height: 400 };

    fn drawn(overlay: &Overlay) -> String {
        render(&[], CROP, overlay, Rotation::Internal, Some("150.0°"), "")
    }

    /// The crop is 300 px wide and drawn 600 wide, so one px is two units; its first pixel's centre, 100 px from the
    /// picture's first, is half a px from the edge: (250 + 0.5 - 100) x 2 = 301 and (70 + 0.5 - 50) x 2 = 41.
    #[test]
    fn a_mark_is_drawn_where_it_lies_in_the_crop() {
        let overlay =
            Overlay { marks: vec![(Landmark::Elbow(Side::Right), ImagePoint::new(250.0, 70.0))], ..Overlay::default() };
        assert!(drawn(&overlay).contains("cx=\"301.0\" cy=\"41.0\""));
    }

    #[test]
    fn the_elevation_stays_within_the_picture() {
        for shoulder in [[100.0, 50.0], [399.0, 449.0], [0.0, 0.0], [900.0, 900.0]] {
            let [x, y] = shoulder;
            let arc = (0..9).map(|step| ImagePoint::new(x + 40.0, y + f64::from(step))).collect();
            let trunk = Some([ImagePoint::new(x, y), ImagePoint::new(x, y + 90.0)]);
            let svg = drawn(&Overlay { trunk, arc, ..Overlay::default() });
            let number = |name: &str| -> f64 {
                let rest = svg.split_once("<rect").unwrap().1.split_once(&format!(" {name}=\"")).unwrap().1;
                rest.split_once('"').unwrap().0.parse().unwrap()
            };
            assert!(number("x") >= 0.0 && number("x") + number("width") <= WIDTH, "{shoulder:?}");
            assert!(number("y") >= 0.0 && number("y") + number("height") <= 800.0, "{shoulder:?}");
        }
    }

    #[test]
    fn without_an_arc_the_elevation_keeps_off_the_marks() {
        let corner = |x: f64, y: f64| (Landmark::Wrist(Side::Left), ImagePoint::new(x, y));
        // All corners of the crop but the lower right.
        let marks = vec![corner(105.0, 55.0), corner(395.0, 55.0), corner(105.0, 445.0)];
        let svg = drawn(&Overlay { marks, ..Overlay::default() });
        let x: f64 = svg.split_once("<text x=\"").unwrap().1.split_once('"').unwrap().0.parse().unwrap();
        let y: f64 = svg
            .split_once("<rect")
            .unwrap()
            .1
            .split_once(" y=\"")
            .unwrap()
            .1
            .split_once('"')
            .unwrap()
            .0
            .parse()
            .unwrap();
        assert!(x > 300.0 && y > 700.0, "{x} {y}");
    }

    #[test]
    fn points_that_are_not_finite_are_left_out() {
        let bad = ImagePoint::new(f64::NAN, f64::INFINITY);
        let overlay = Overlay {
            marks: vec![(Landmark::Nose, bad)],
            disagreeing: vec![(Landmark::Chin, bad, bad)],
            trunk: Some([bad, bad]),
            arms: vec![(Side::Left, [bad, bad, bad])],
            plumb: vec![bad, bad],
            arc: vec![bad, ImagePoint::new(200.0, 200.0)],
            bar: Some([bad, bad]),
        };
        let svg = drawn(&overlay);
        assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    }
}
