//! A calibration as a page to look at: the lens with its uncertainty, where the board was, and how well each view fits.

use std::fmt::Write as _;

use crate::camera::{CalibrationRun, LENS_PARAMETER_NAMES, PictureCorner};
use crate::report::chart::escape;
use crate::report::font::{self, FAMILY};
use crate::report::palette::{BAND, BLUE, INK, MUTED, RULE, VERMILION};

/// Width of the map of the picture, px of the page.
const MAP_WIDTH: f64 = 720.0;

/// Residuals are drawn so that their root mean square is this long, px of the page.
const RESIDUAL_LENGTH: f64 = 10.0;

/// Height of a bar with its gap, px of the page.
const BAR_PITCH: f64 = 18.0;

/// Renders the page, in one file.
#[must_use]
pub fn render_calibration_sheet(run: &CalibrationRun) -> String {
    let name = escape(&run.profile.name);
    let calibration = &run.calibration;
    let [width, height] = calibration.lens.image_size;
    let mut html = format!(
        "<!DOCTYPE html>\n<html lang=\"en-GB\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>Lens calibration: {name}</title>\n\
         <style>{}\nbody{{font-family:{FAMILY},sans-serif;color:{ink};max-width:46rem;margin:2rem auto;padding:0 1rem;\
         line-height:1.45}}h1{{font-size:1.5rem}}h2{{font-size:1.1rem;margin-top:2rem}}table{{border-collapse:collapse}}\
         th,td{{text-align:right;padding:.2rem .8rem;border-bottom:1px solid {rule}}}th:first-child,td:first-child\
         {{text-align:left}}svg{{width:100%;height:auto}}.small{{color:{muted};font-size:.9rem}}</style>\n</head>\n<body>\n\
         <h1>Lens calibration: {name}</h1>\n",
        font::css(),
        ink = INK.hex(),
        rule = RULE.hex(),
        muted = MUTED.hex(),
    );
    // Writing to a String cannot fail.
    let _ = writeln!(
        html,
        "<p>{} views of {width} x {height} px, {} corners; they lie {:.3} px (root mean square) from where the lens puts \
         them. The board was tilted by up to {:.0}° between the views and covered {:.0} % of the picture.</p>",
        run.sightings.len(),
        calibration.views.iter().map(|view| view.residuals_px.len()).sum::<usize>(),
        calibration.rms_px,
        calibration.widest_tilt_deg,
        100.0 * run.covered_share,
    );
    write_warnings(&mut html, run);
    html.push_str("<h2>Where the board was</h2>\n");
    html.push_str(&picture_map(run));
    let _ = writeln!(
        html,
        "<p class=\"small\">Dots are corners, strokes their residuals, {:.0} times as long as they are. Strokes of one \
         direction in one part of the picture tell of a bent board or a lens that the model does not describe. At the \
         picture's corners: standard uncertainty of where the lens puts a direction.</p>",
        residual_scale(run) / map_scale(run),
    );
    html.push_str("<h2>The views</h2>\n");
    html.push_str(&view_bars(run));
    write_parameters(&mut html, run);
    html.push_str("</body>\n</html>\n");
    html
}

fn write_warnings(html: &mut String, run: &CalibrationRun) {
    if run.warnings.is_empty() && run.missed.is_empty() {
        html.push_str("<p>Nothing to warn of.</p>\n");
        return;
    }
    html.push_str("<h2>What to know</h2>\n<ul>\n");
    for warning in &run.warnings {
        let _ = writeln!(html, "<li>{}</li>", escape(&warning.to_string()));
    }
    for miss in &run.missed {
        let _ = writeln!(html, "<li>{} was left out: {}</li>", escape(&miss.label), escape(&miss.absence.to_string()));
    }
    html.push_str("</ul>\n");
}

fn write_parameters(html: &mut String, run: &CalibrationRun) {
    html.push_str(
        "<h2>The lens</h2>\n<table>\n<thead><tr><th>parameter</th><th>value</th><th>standard uncertainty</th></tr></thead>\n<tbody>\n",
    );
    let lens = &run.calibration.lens;
    for ((name, value), u) in LENS_PARAMETER_NAMES.iter().zip(lens.parameters()).zip(lens.parameter_u()) {
        let is_length = matches!(*name, "fx" | "fy" | "cx" | "cy");
        let _ = if is_length {
            writeln!(html, "<tr><td>{name}</td><td>{value:.2} px</td><td>{u:.2} px</td></tr>")
        } else {
            writeln!(html, "<tr><td>{name}</td><td>{value:.5}</td><td>{u:.5}</td></tr>")
        };
    }
    html.push_str(
        "</tbody>\n</table>\n<p class=\"small\">For the pictures as they stand upright; px from the centre of the top-left \
         pixel; distortion after Brown, in the order k1, k2, p1, p2, k3.",
    );
    let _ = writeln!(
        html,
        " The uncertainties rest on the residuals. The views disagree {:.1} times as much as independent errors of their corners \
         would make them, from a board that is not quite flat or moved; the uncertainties are widened by it. They say nothing \
         of zoom, refocusing or stabilization.</p>",
        run.calibration.view_factor
    );
}

fn map_scale(run: &CalibrationRun) -> f64 {
    MAP_WIDTH / f64::from(run.calibration.lens.image_size[0])
}

fn residual_scale(run: &CalibrationRun) -> f64 {
    RESIDUAL_LENGTH / run.calibration.rms_px.max(1e-6)
}

fn picture_map(run: &CalibrationRun) -> String {
    let [width, height] = run.calibration.lens.image_size;
    let scale = map_scale(run);
    let map_height = f64::from(height) * scale;
    let mut svg = format!(
        "<svg viewBox=\"-1 -1 {:.1} {:.1}\" role=\"img\" aria-label=\"corners found, with residuals\">\n\
         <rect width=\"{MAP_WIDTH}\" height=\"{map_height:.1}\" fill=\"none\" stroke=\"{}\"/>\n",
        MAP_WIDTH + 2.0,
        map_height + 2.0,
        INK.hex()
    );
    for (sighting, view) in run.sightings.iter().zip(&run.calibration.views) {
        for (corner, residual) in sighting.board.corners.iter().zip(&view.residuals_px) {
            let (x, y) = ((corner.x + 0.5) * scale, (corner.y + 0.5) * scale);
            let end = residual * residual_scale(run);
            let _ = writeln!(
                svg,
                "<path d=\"M{x:.1} {y:.1}l{:.1} {:.1}\" stroke=\"{}\" stroke-width=\"1\"/><circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"1.3\" fill=\"{}\"/>",
                end.x,
                end.y,
                VERMILION.hex(),
                BLUE.hex()
            );
        }
    }
    for (corner, u_px) in PictureCorner::ALL.into_iter().zip(run.coverage.corner_u_px) {
        let pixel = corner.pixel([width, height]);
        let x = if pixel.x > 0.0 { MAP_WIDTH - 6.0 } else { 6.0 };
        let y = if pixel.y > 0.0 { map_height - 7.0 } else { 17.0 };
        let anchor = if pixel.x > 0.0 { "end" } else { "start" };
        let words = u_px.map_or_else(|| "not reached".to_owned(), |u_px| format!("u {u_px:.1} px"));
        let never = if run.coverage.unvisited.contains(&corner) { ", never visited" } else { "" };
        let _ = writeln!(
            svg,
            "<text x=\"{x:.0}\" y=\"{y:.0}\" text-anchor=\"{anchor}\" font-size=\"13\" fill=\"{}\">{words}{never}</text>",
            INK.hex()
        );
    }
    svg.push_str("</svg>\n");
    svg
}

fn view_bars(run: &CalibrationRun) -> String {
    let views = &run.calibration.views;
    let most = views.iter().map(|view| view.rms_px).fold(1e-6, f64::max);
    let height = views.iter().fold(4.0, |height, _| height + BAR_PITCH);
    let mut svg = format!(
        "<svg viewBox=\"0 0 {MAP_WIDTH} {height}\" role=\"img\" aria-label=\"root mean square residual of each view\">\n"
    );
    let mut y = 2.0;
    for (sighting, view) in run.sightings.iter().zip(views) {
        let length = 330.0 * view.rms_px / most;
        let _ = writeln!(
            svg,
            "<text x=\"300\" y=\"{:.0}\" text-anchor=\"end\" font-size=\"12\" fill=\"{ink}\">{}</text>\
             <rect x=\"308\" y=\"{y:.0}\" width=\"330\" height=\"13\" fill=\"{}\"/>\
             <rect x=\"308\" y=\"{y:.0}\" width=\"{length:.1}\" height=\"13\" fill=\"{}\"/>\
             <text x=\"646\" y=\"{:.0}\" font-size=\"12\" fill=\"{ink}\">{:.3} px</text>",
            y + 11.0,
            escape(&sighting.label),
            BAND.hex(),
            BLUE.hex(),
            y + 11.0,
            view.rms_px,
            ink = INK.hex(),
        );
        y += BAR_PITCH;
    }
    svg.push_str("</svg>\n");
    svg
}
