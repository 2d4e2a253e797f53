//! Two reaches as rays from one shoulder, each with its interval as a wedge: what the eye would see if both were filmed at
//! once and the camera stood exactly side on.

use std::fmt::Write;

use crate::geometry::Angle;
use crate::pose::Rotation;
use crate::report::chart::escape;
use crate::report::font::FAMILY;
use crate::report::gauge;
use crate::report::palette::{BLUE, Color, INK, MUTED, RULE, VERMILION};
use crate::report::wording::{Sign, Unit, interval, occasion_word, palms, rotation_word, value};
use crate::screen::words::capitalized;
use crate::screen::{
    COMPARED_VIEWS, Call, Comparison, Occasion, ReachResult, ResultSide, Retest, RetestOutcome, VisitResult,
};
use crate::uncertainty::Measured;

/// Size in the SVG's own units.
const WIDTH: f64 = 420.0;
const HEIGHT: f64 = 400.0;
/// The shoulder's place.
const SHOULDER: [f64; 2] = [130.0, 290.0];
/// Length of a ray, and of the protractor's radius.
const RAY: f64 = 190.0;
const PROTRACTOR: f64 = 212.0;
/// The protractor shows these elevations, deg.
const SCALE_DEG: std::ops::RangeInclusive<u16> = 60..=200;
/// Labels of two rays stand at least this far apart along the circle, deg, whatever the rays do.
const LABEL_GAP_DEG: f64 = 20.0;
/// A number of the scale nearer to a ray than this is left out, deg.
const NUMBER_GAP_DEG: f64 = 10.0;
/// Radius on which the labels start.
const LABEL: f64 = 250.0;

/// What the angles are from.
const TRUNK: &str = "trunk";
const PLUMB_LINE: &str = "plumb line";

/// A ray to draw.
#[derive(Debug, Clone)]
struct Ray {
    name: String,
    measured: Measured,
    color: Color,
    is_dashed: bool,
}

/// The drawings of a comparison or retest for a page: rays and gauge as SVG without font. `None` where there is no number.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CallDrawings {
    /// Two reaches as rays from one shoulder, with their intervals as wedges.
    pub rays: Option<String>,
    /// The difference or change against the margin.
    pub gauge: Option<String>,
}

/// Draws the comparison of `result` at `index`; nothing where the pair is not comparable or its angles are not there.
#[must_use]
pub fn draw_comparison(result: &VisitResult, index: usize, margin_deg: f64) -> CallDrawings {
    let Some(comparison) = result.comparisons.get(index) else { return CallDrawings::default() };
    let gauge = comparison
        .difference_elevation_deg
        .filter(|_| comparison.call != Call::NotComparable)
        .and_then(|difference| gauge::of_difference(difference, margin_deg));
    CallDrawings { rays: comparison_rays(result, comparison), gauge: gauge.map(|gauge| gauge.svg) }
}

/// Draws what became of the external reach.
#[must_use]
pub fn draw_retest(result: &VisitResult, retest: &Retest, margin_deg: f64) -> CallDrawings {
    let gauge = retest
        .change_elevation_deg
        .filter(|_| retest.outcome != RetestOutcome::NotComparable)
        .and_then(|change| gauge::of_change(change, margin_deg));
    let rays = pair(result, [(Occasion::Before, Rotation::External), (Occasion::After, Rotation::External)])
        .and_then(|pair| Some((pair, both(pair, None)?)))
        .map(|(pair, (from, measured))| {
            let rays = pair.into_iter().zip(measured).map(|(reach, measured)| Ray {
                name: occasion_word(reach.occasion).to_owned(),
                measured,
                color: VERMILION,
                is_dashed: reach.occasion == Occasion::Before,
            });
            draw(from, &rays.collect::<Vec<_>>())
        });
    CallDrawings { rays, gauge: gauge.map(|gauge| gauge.svg) }
}

fn comparison_rays(result: &VisitResult, comparison: &Comparison) -> Option<String> {
    let Comparison { occasion, side, .. } = *comparison;
    let pair = pair(result, [(occasion, Rotation::Internal), (occasion, Rotation::External)])?;
    let (from, measured) = both(pair, Some(side))?;
    let rays = pair.into_iter().zip(measured).map(|(reach, measured)| Ray {
        name: format!("{}, {}", capitalized(rotation_word(reach.rotation)), palms(reach.rotation)),
        measured,
        color: if reach.rotation == Rotation::Internal { BLUE } else { VERMILION },
        is_dashed: reach.rotation == Rotation::Internal,
    });
    Some(draw(from, &rays.collect::<Vec<_>>()))
}

/// The two reaches that the comparison is of: both from the view that is compared.
fn pair(result: &VisitResult, parts: [(Occasion, Rotation); 2]) -> Option<[&ReachResult; 2]> {
    COMPARED_VIEWS.into_iter().find_map(|view| {
        let find = |(occasion, rotation): (Occasion, Rotation)| {
            let is_it =
                |reach: &&ReachResult| (reach.occasion, reach.rotation, reach.view) == (occasion, rotation, view);
            result.reaches.iter().find(is_it)
        };
        Some([find(parts[0])?, find(parts[1])?])
    })
}

fn of_side(reach: &ReachResult, side: Option<ResultSide>) -> Option<Measured> {
    match side {
        Some(side) if side == reach.side => reach.elevation_deg,
        Some(ResultSide::Left) => reach.elevation_left_deg,
        Some(ResultSide::Right) => reach.elevation_right_deg,
        Some(ResultSide::Both) | None => reach.elevation_deg,
    }
}

/// Both elevations from the trunk, else both from the plumb line, and which: the two are never mixed.
fn both([first, second]: [&ReachResult; 2], side: Option<ResultSide>) -> Option<(&'static str, [Measured; 2])> {
    let pair = |of: &dyn Fn(&ReachResult) -> Option<Measured>| Some([of(first)?, of(second)?]);
    let from_trunk = pair(&|reach| of_side(reach, side)).map(|pair| (TRUNK, pair));
    // the angle from the plumb line is of the reach's own side: it says nothing of one arm of two
    let is_whole = side.is_none_or(|side| [first, second].iter().all(|reach| reach.side == side));
    let from_vertical = || pair(&|reach| reach.elevation_from_vertical_deg.filter(|_| is_whole));
    from_trunk.or_else(|| Some((PLUMB_LINE, from_vertical()?))).filter(|(_, pair)| pair.iter().all(is_drawable))
}

fn is_drawable(measured: &Measured) -> bool {
    [measured.value, measured.lo, measured.hi].iter().all(|number| number.is_finite())
}

/// A point at a distance from the shoulder in the direction of an elevation: 0 hangs down, 90 is straight ahead.
fn at(deg: f64, radius: f64) -> [f64; 2] {
    let angle = Angle::from_deg(deg);
    [SHOULDER[0] + radius * angle.rad().sin(), SHOULDER[1] + radius * angle.rad().cos()]
}

/// Rays from the shoulder, whose angles are `from` the line that hangs down from it.
fn draw(from: &str, rays: &[Ray]) -> String {
    let mut svg = String::new();
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" width=\"{WIDTH}\" height=\"{HEIGHT}\" \
         role=\"img\" aria-label=\"{}\" font-family=\"{FAMILY}\">",
        escape(&alt(from, rays))
    );
    protractor(&mut svg, from, rays);
    for ray in rays {
        wedge(&mut svg, ray);
    }
    for ray in rays {
        line(&mut svg, SHOULDER, at(ray.measured.value, RAY), ray.color, 3.0, ray.is_dashed);
        marker(&mut svg, at(ray.measured.value, RAY), ray);
    }
    let _ = write!(svg, "<circle cx=\"{}\" cy=\"{}\" r=\"6\" fill=\"{}\"/>", SHOULDER[0], SHOULDER[1], INK.hex());
    labels(&mut svg, rays);
    svg.push_str("</svg>");
    svg
}

fn alt(from: &str, rays: &[Ray]) -> String {
    let parts = rays.iter().map(|ray| {
        format!(
            "{} {}, interval {}",
            ray.name,
            value(ray.measured, Unit::Degree, Sign::Minus),
            interval(ray.measured, Unit::Degree, Sign::Minus)
        )
    });
    format!("Two reaches drawn from one shoulder, angles from the {from}. {}.", parts.collect::<Vec<_>>().join("; "))
}

/// Trunk or plumb line as a line down from the shoulder, and a scale of elevations around it.
fn protractor(svg: &mut String, from: &str, rays: &[Ray]) {
    line(svg, SHOULDER, [SHOULDER[0], HEIGHT - 12.0], MUTED, 1.5, false);
    text(svg, [SHOULDER[0] + 8.0, HEIGHT - 14.0], from, (12.0, MUTED, "start", false));
    let (start, end) = (f64::from(*SCALE_DEG.start()), f64::from(*SCALE_DEG.end()));
    let ([x1, y1], [x2, y2]) = (at(start, PROTRACTOR), at(end, PROTRACTOR));
    let _ = write!(
        svg,
        "<path d=\"M{x1:.1} {y1:.1}A{PROTRACTOR} {PROTRACTOR} 0 0 0 {x2:.1} {y2:.1}\" fill=\"none\" stroke=\"{}\" stroke-width=\"1\"/>",
        RULE.hex()
    );
    for deg in SCALE_DEG.step_by(10) {
        let is_major = deg % 30 == 0;
        let deg = f64::from(deg);
        let inner = PROTRACTOR - if is_major { 9.0 } else { 5.0 };
        line(svg, at(deg, inner), at(deg, PROTRACTOR), MUTED, 1.0, false);
        let is_free = rays.iter().all(|ray| (ray.measured.value - deg).abs() > NUMBER_GAP_DEG);
        if is_major && is_free {
            let [x, y] = at(deg, PROTRACTOR - 20.0);
            text(svg, [x, y + 4.0], &format!("{deg:.0}°"), (11.0, MUTED, "middle", false));
        }
    }
}

/// The interval between its ends, as a sector of the circle.
fn wedge(svg: &mut String, ray: &Ray) {
    // Beyond half a turn the interval says nothing, and a sector could not be told from its complement.
    let [lo, hi] = [ray.measured.lo, ray.measured.hi.min(ray.measured.lo + 180.0)];
    let ([x1, y1], [x2, y2]) = (at(lo, RAY), at(hi, RAY));
    let _ = write!(
        svg,
        "<path d=\"M{} {}L{x1:.1} {y1:.1}A{RAY} {RAY} 0 0 0 {x2:.1} {y2:.1}Z\" fill=\"{}\" fill-opacity=\"0.22\"/>",
        SHOULDER[0],
        SHOULDER[1],
        ray.color.hex()
    );
}

/// A ring for the dashed ray, a diamond for the other, so that they differ without colour.
fn marker(svg: &mut String, [x, y]: [f64; 2], ray: &Ray) {
    let color = ray.color.hex();
    let _ = if ray.is_dashed {
        write!(
            svg,
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"6\" fill=\"#FFFFFF\" stroke=\"{color}\" stroke-width=\"3\"/>"
        )
    } else {
        write!(
            svg,
            "<path d=\"M{:.1} {y:.1}L{x:.1} {:.1}L{:.1} {y:.1}L{x:.1} {:.1}Z\" fill=\"{color}\"/>",
            x - 8.0,
            y - 8.0,
            x + 8.0,
            y + 8.0
        )
    };
}

/// Names and numbers around the circle, the higher reach further round, never on top of each other.
fn labels(svg: &mut String, rays: &[Ray]) {
    let mut order: Vec<&Ray> = rays.iter().collect();
    order.sort_by(|a, b| a.measured.value.total_cmp(&b.measured.value));
    let mut places: Vec<f64> = order.iter().map(|ray| ray.measured.value).collect();
    if let [low, high] = places.as_mut_slice() {
        let missing = LABEL_GAP_DEG - (*high - *low);
        if missing > 0.0 {
            *low -= missing / 2.0;
            *high += missing / 2.0;
        }
    }
    for (ray, deg) in order.into_iter().zip(places) {
        let [x, y] = at(deg, LABEL);
        let x = x.clamp(4.0, WIDTH - 160.0);
        let y = y.max(24.0);
        marker(svg, [x + 8.0, y - 7.0], ray);
        text(svg, [x + 22.0, y], &value(ray.measured, Unit::Degree, Sign::Minus), (22.0, INK, "start", true));
        text(svg, [x + 22.0, y + 16.0], &ray.name, (12.0, MUTED, "start", false));
    }
}

fn line(svg: &mut String, [x1, y1]: [f64; 2], [x2, y2]: [f64; 2], color: Color, width: f64, is_dashed: bool) {
    let dash = if is_dashed { " stroke-dasharray=\"9 6\"" } else { "" };
    let _ = write!(
        svg,
        "<path d=\"M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}\" stroke=\"{}\" stroke-width=\"{width}\" fill=\"none\"{dash}/>",
        color.hex()
    );
}

/// Writes a text at its baseline: size, colour, anchor, and whether it is set apart.
fn text(svg: &mut String, [x, y]: [f64; 2], words: &str, (size, color, anchor, is_strong): (f64, Color, &str, bool)) {
    let weight = if is_strong { " font-weight=\"600\"" } else { "" };
    let _ = write!(
        svg,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\" fill=\"{}\" text-anchor=\"{anchor}\"{weight}>{}</text>",
        color.hex(),
        escape(words)
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ray(name: &str, value: f64, half: f64) -> Ray {
        let measured = Measured { value, u: half / 2.0, lo: value - half, hi: value + half };
        Ray { name: name.to_owned(), measured, color: BLUE, is_dashed: false }
    }

    /// The y of the first text that begins with `words`.
    fn height_of(svg: &str, words: &str) -> f64 {
        let end = svg.find(&format!(">{words}")).expect("the text is there");
        let start = svg[..end].rfind("y=\"").expect("a text has a place") + 3;
        svg[start..].split('"').next().and_then(|y| y.parse().ok()).expect("a number")
    }

    #[test]
    fn straight_ahead_points_right_and_overhead_up() {
        const ROUNDING: f64 = 1e-9;
        let ([ahead_x, ahead_y], [over_x, over_y]) = (at(90.0, 10.0), at(180.0, 10.0));
        assert!((ahead_x - SHOULDER[0] - 10.0).abs() < ROUNDING && (ahead_y - SHOULDER[1]).abs() < ROUNDING);
        assert!((over_x - SHOULDER[0]).abs() < ROUNDING && (over_y - SHOULDER[1] + 10.0).abs() < ROUNDING);
    }

    #[test]
    fn labels_of_near_rays_do_not_touch() {
        const LINES: f64 = 38.0; // a number and a name, set below each other
        let svg = draw(TRUNK, &[ray("low", 150.0, 1.0), ray("high", 150.4, 1.0)]);
        assert!(height_of(&svg, "150.0°") - height_of(&svg, "150.4°") >= LINES, "{svg}");
    }

    #[test]
    fn the_line_that_angles_are_from_is_named() {
        let svg = draw(PLUMB_LINE, &[ray("one", 150.0, 1.0)]);
        assert!(svg.contains(">plumb line<") && svg.contains("angles from the plumb line") && !svg.contains("trunk"));
    }
}
