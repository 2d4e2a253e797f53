//! `tworeach calibrate`: makes a lens profile from views of the board.

use std::io::{self, IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use serde_json::json;

use super::output::OutputFile;
use crate::camera::profile::render_profile;
use crate::camera::session::DEFAULT_CLIP_VIEWS;
use crate::camera::{Board, CalibrationRun, LENS_PARAMETER_NAMES, calibrate_files};
use crate::report::render_calibration_sheet;

/// The ending of profiles.
const PROFILE_ENDING: &str = ".camera.json";

/// Makes a lens profile from stills or clips of the calibration board, and a page that shows how good it is.
///
/// Film or photograph the board in the mode you will film reaches in, with focus and zoom locked and stabilization off: from
/// all sides, tilted about both axes, and in every corner of the picture.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: tworeach calibrate board.mp4 --out phone.camera.json")]
pub(super) struct Args {
    /// Stills or clips of the board, all of one size.
    #[arg(required = true, value_name = "IMAGES_OR_CLIP")]
    files: Vec<PathBuf>,
    /// Inner corners along a row of the board.
    #[arg(long, value_name = "N", default_value_t = 9)]
    cols: usize,
    /// Inner corners along a column of the board.
    #[arg(long, value_name = "N", default_value_t = 6)]
    rows: usize,
    /// Side of a square, mm.
    #[arg(long, value_name = "MM", default_value_t = 25.0)]
    square_mm: f64,
    /// The profile to write; the page to look at is written beside it, with the ending .html.
    #[arg(long, value_name = "NAME.camera.json")]
    out: PathBuf,
    /// What the profile is of [default: the output's name].
    #[arg(long, value_name = "TEXT")]
    name: Option<String>,
    /// Most views taken from a clip.
    #[arg(long, value_name = "N", default_value_t = DEFAULT_CLIP_VIEWS)]
    views: usize,
    /// Print the result as JSON on standard output.
    #[arg(long)]
    json: bool,
    /// Overwrite existing files.
    #[arg(long)]
    force: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let board = Board::new(args.cols, args.rows, args.square_mm)?;
    let stem = stem_of(&args.out);
    // Opened before the work, so that names that cannot be written are refused at once.
    let mut profile_file = OutputFile::create(&args.out, args.force)?;
    let mut sheet_file = OutputFile::create(&args.out.with_file_name(format!("{stem}.html")), args.force)?;
    let paths: Vec<&Path> = args.files.iter().map(PathBuf::as_path).collect();
    let is_terminal = io::stderr().is_terminal();
    let mut progress = |name: &str| {
        if is_terminal {
            eprintln!("searching {name}");
        }
    };
    let name = args.name.clone().unwrap_or_else(|| stem.clone());
    let run = calibrate_files(&paths, &board, args.views, &name, &mut progress)?;
    let context = || format!("cannot write {}", args.out.display());
    profile_file.write_all(render_profile(&run.profile).as_bytes()).with_context(context)?;
    sheet_file.write_all(render_calibration_sheet(&run).as_bytes()).with_context(context)?;
    profile_file.finish()?;
    sheet_file.finish()?;
    for miss in &run.missed {
        eprintln!("left out {}: {}", miss.label, miss.absence);
    }
    for warning in &run.warnings {
        eprintln!("warning: {warning}");
    }
    let mut out = io::stdout().lock();
    let text = if args.json { json_of(&run) } else { table_of(&run) };
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

/// The output's name without the profile's ending.
fn stem_of(out: &Path) -> String {
    let name = out.file_name().unwrap_or(out.as_os_str()).to_string_lossy().into_owned();
    let stem = name.strip_suffix(PROFILE_ENDING).or_else(|| name.strip_suffix(".json")).unwrap_or(&name);
    stem.to_owned()
}

fn table_of(run: &CalibrationRun) -> String {
    let lens = &run.calibration.lens;
    let mut text = format!(
        "{} views, {} x {} px, rms {:.3} px, board over {:.0} % of the picture, tilted by up to {:.0} deg\n",
        run.sightings.len(),
        lens.image_size[0],
        lens.image_size[1],
        run.calibration.rms_px,
        100.0 * run.covered_share,
        run.calibration.widest_tilt_deg,
    );
    for ((name, value), u) in LENS_PARAMETER_NAMES.iter().zip(lens.parameters()).zip(lens.parameter_u()) {
        let places = if matches!(*name, "fx" | "fy" | "cx" | "cy") { 2 } else { 5 };
        text.push_str(&format!("  {name}  {value:>11.places$}  u {u:.places$}\n"));
    }
    text
}

fn json_of(run: &CalibrationRun) -> String {
    let views: Vec<_> = run
        .sightings
        .iter()
        .zip(&run.calibration.views)
        .map(|(sighting, view)| {
            json!({ "view": sighting.label, "rms_px": view.rms_px, "edge_width_px": sighting.board.edge_width_px })
        })
        .collect();
    let missed: Vec<_> =
        run.missed.iter().map(|miss| json!({ "view": miss.label, "reason": miss.absence.to_string() })).collect();
    let warnings: Vec<String> = run.warnings.iter().map(ToString::to_string).collect();
    let unvisited: Vec<&str> = run.coverage.unvisited.iter().map(|corner| corner.words()).collect();
    let value = json!({
        "rms_px": run.calibration.rms_px,
        "corner_sd_px": run.calibration.corner_sd_px,
        "view_factor": run.calibration.view_factor,
        "iterations": run.calibration.iterations,
        "widest_tilt_deg": run.calibration.widest_tilt_deg,
        "covered_share": run.covered_share,
        "corners_unvisited": unvisited,
        "corner_u_px": run.coverage.corner_u_px,
        "views": views,
        "left_out": missed,
        "warnings": warnings,
    });
    format!("{value:#}\n")
}
