//! A small scale that shows a difference or a change against the margin: the call at a glance.
//!
//! Drawn without text, as a decoration of the number that stands beside it. The band is hatched and the interval capped,
//! so that it reads without colour.

use std::fmt::Write;

use crate::report::palette::{BAND, INK, MUTED};
use crate::uncertainty::Measured;

/// Size in the SVG's own units.
const WIDTH: f64 = 240.0;
const HEIGHT: f64 = 22.0;
/// The scale reaches at least this many margins to either side.
const SPAN_MARGINS: f64 = 3.0;

/// A scale as SVG, and what it shows.
#[derive(Debug, Clone)]
pub(crate) struct Gauge {
    /// The drawing.
    pub svg: String,
    /// Width over height.
    pub aspect: f64,
}

/// A difference against the margin: the band reaches from minus the margin to zero, where a lower external reach is
/// neither a pass nor beyond the margin. `None` when a number is not finite or the margin not above zero.
pub(crate) fn of_difference(difference: Measured, margin_deg: f64) -> Option<Gauge> {
    draw(difference, margin_deg, [-margin_deg, 0.0])
}

/// A change against the margin: the band reaches from minus to plus the margin. `None` as for [`of_difference`].
pub(crate) fn of_change(change: Measured, margin_deg: f64) -> Option<Gauge> {
    draw(change, margin_deg, [-margin_deg, margin_deg])
}

fn draw(shown: Measured, margin_deg: f64, band: [f64; 2]) -> Option<Gauge> {
    let numbers = [shown.value, shown.lo, shown.hi, margin_deg];
    if numbers.iter().any(|number| !number.is_finite()) || margin_deg <= 0.0 {
        return None;
    }
    let reach = [shown.lo.abs(), shown.hi.abs(), SPAN_MARGINS * margin_deg].into_iter().fold(0.0, f64::max) * 1.08;
    let x = |deg: f64| (deg / reach + 1.0) / 2.0 * WIDTH;
    let middle = HEIGHT / 2.0;
    let (ink, muted, ground) = (INK.hex(), MUTED.hex(), BAND.hex());
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" width=\"{WIDTH}\" \
         height=\"{HEIGHT}\" aria-hidden=\"true\">"
    );
    let mut line = |x1: f64, y1: f64, x2: f64, y2: f64, color: &str, width: f64| {
        let _ = write!(
            svg,
            "<path d=\"M{x1:.1} {y1:.1}L{x2:.1} {y2:.1}\" stroke=\"{color}\" stroke-width=\"{width}\" fill=\"none\"/>"
        );
    };
    // The band first, as one broad stroke, so that everything else lies on it.
    line(x(band[0]), middle, x(band[1]), middle, &ground, HEIGHT - 4.0);
    for edge in band {
        line(x(edge), 2.0, x(edge), HEIGHT - 2.0, &muted, 0.75);
    }
    line(0.0, middle, WIDTH, middle, &muted, 0.75);
    line(x(0.0), 0.0, x(0.0), HEIGHT, &ink, 1.25);
    line(x(shown.lo), middle, x(shown.hi), middle, &ink, 2.0);
    for end in [shown.lo, shown.hi] {
        line(x(end), middle - 4.0, x(end), middle + 4.0, &ink, 2.0);
    }
    let (cx, r) = (x(shown.value), 4.5);
    let _ = write!(
        svg,
        "<path d=\"M{:.1} {middle:.1}L{cx:.1} {:.1}L{:.1} {middle:.1}L{cx:.1} {:.1}Z\" fill=\"{ink}\"/></svg>",
        cx - r,
        middle - r,
        cx + r,
        middle + r
    );
    Some(Gauge { svg, aspect: WIDTH / HEIGHT })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_that_cannot_be_drawn_give_no_gauge() {
        let fine = Measured { value: -5.0, u: 1.0, lo: -7.0, hi: -3.0 };
        assert!(of_difference(fine, 3.0).is_some());
        assert!(of_difference(Measured { hi: f64::INFINITY, ..fine }, 3.0).is_none());
        assert!(of_change(fine, 0.0).is_none());
    }
}
