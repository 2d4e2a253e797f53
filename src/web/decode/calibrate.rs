//! What runs in a child process to make a lens profile from what a browser sent.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::program::limit_resources;
use crate::camera::profile::render_profile;
use crate::camera::session::DEFAULT_CLIP_VIEWS;
use crate::camera::{Board, CalibrationRun, CameraError, calibrate_files};
use crate::records::LensFacts;
use crate::report::render_calibration_sheet;

/// Processor time, s; the parent's clock runs out first unless many cores are at work.
const CALIBRATE_CPU_S_MAX: u64 = 1200;

/// What to make a profile from.
#[derive(Debug, Serialize, Deserialize)]
pub struct CalibrateRequest {
    /// Stills or clips, each with what it is called: its temporary name is nobody's business.
    pub files: Vec<(PathBuf, String)>,
    /// Inner corners along a row.
    pub cols: usize,
    /// Inner corners along a column.
    pub rows: usize,
    /// Side of a square, mm.
    pub square_mm: f64,
    /// What the profile is of.
    pub name: String,
}

/// What became of it.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CalibrateOutcome {
    /// A lens.
    Made {
        /// What is told of it.
        facts: LensFacts,
        /// The profile's text.
        profile: String,
        /// The page to look at.
        sheet: String,
    },
    /// None, for this reason: no full stop.
    Refused(String),
}

/// Makes a lens profile: takes a [`CalibrateRequest`] as JSON from standard input and writes a [`CalibrateOutcome`] as JSON to `out`.
///
/// # Errors
/// When the request cannot be read or `out` is closed.
pub fn calibrate(out: &mut impl Write) -> io::Result<()> {
    limit_resources(Some(CALIBRATE_CPU_S_MAX))?;
    let request: CalibrateRequest = serde_json::from_reader(io::stdin().lock())?;
    let outcome = match run(&request) {
        Ok(run) => CalibrateOutcome::Made {
            facts: facts_of(&run),
            profile: render_profile(&run.profile),
            sheet: render_calibration_sheet(&run),
        },
        Err(error) => CalibrateOutcome::Refused(named(&crate::web::error::chain_words(&error), &request.files)),
    };
    serde_json::to_writer(&mut *out, &outcome)?;
    out.flush()
}

fn run(request: &CalibrateRequest) -> Result<CalibrationRun, CameraError> {
    let board = Board::new(request.cols, request.rows, request.square_mm)?;
    let files: Vec<&Path> = request.files.iter().map(|(path, _)| path.as_path()).collect();
    let mut run = calibrate_files(&files, &board, DEFAULT_CLIP_VIEWS, &request.name, &mut |_| {})?;
    run.sightings.iter_mut().for_each(|sighting| sighting.label = named(&sighting.label, &request.files));
    run.missed.iter_mut().for_each(|miss| miss.label = named(&miss.label, &request.files));
    Ok(run)
}

fn facts_of(run: &CalibrationRun) -> LensFacts {
    LensFacts {
        name: run.profile.name.clone(),
        image_size: run.calibration.lens.image_size,
        views: run.sightings.len(),
        rms_px: run.calibration.rms_px,
        covered_percent: 100.0 * run.covered_share,
        widest_tilt_deg: run.calibration.widest_tilt_deg,
        warnings: run.warnings.iter().map(ToString::to_string).collect(),
        left_out: run.missed.iter().map(|miss| format!("{}: {}", miss.label, miss.absence)).collect(),
    }
}

/// A text that calls the files as they are called.
fn named(text: &str, files: &[(PathBuf, String)]) -> String {
    files.iter().fold(text.to_owned(), |text, (path, name)| {
        let text = text.replace(&path.display().to_string(), name);
        path.file_name().map_or(text.clone(), |file| text.replace(&*file.to_string_lossy(), name))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_has_a_temporary_name() {
        let files = [(PathBuf::from("/data/incoming/upload-a1"), "picture 1".to_owned())];
        for (text, told) in [
            ("/data/incoming/upload-a1: not a video or still", "picture 1: not a video or still"),
            ("upload-a1 at 2.30 s: no board", "picture 1 at 2.30 s: no board"),
        ] {
            assert_eq!(named(text, &files), told);
        }
    }
}
