//! A whole calibration: from files to a lens profile, with what its user should know about it.

use std::path::Path;

use crate::camera::coverage::{coverage_of, covered_share, warnings_of};
use crate::camera::{
    Board, BoardCorner, BoardView, Calibration, CalibrationWarning, CameraError, Coverage, Lens, LensProfile, Miss,
    Sighting, calibrate, find_boards,
};
use crate::geometry::ImagePoint;
use crate::video::Orientation;

/// Most views taken from a clip (common practice, no source).
pub const DEFAULT_CLIP_VIEWS: usize = 24;

/// A finished calibration.
#[derive(Debug, Clone, PartialEq)]
pub struct CalibrationRun {
    /// The profile, in the orientation of the sensor's picture.
    pub profile: LensProfile,
    /// Lens, poses and residuals, in the orientation of the upright pictures.
    pub calibration: Calibration,
    /// The views it rests on, in the order of [`Calibration::views`].
    pub sightings: Vec<Sighting>,
    /// Stills in which no whole board was found.
    pub missed: Vec<Miss>,
    /// How the board covered the picture.
    pub coverage: Coverage,
    /// Share of the picture that held a corner in some view, 0 to 1.
    pub covered_share: f64,
    /// What its user should know.
    pub warnings: Vec<CalibrationWarning>,
}

/// Calibrates from stills and clips of a board. `name` goes into the profile; `progress` is called with each file's name.
///
/// # Errors
/// As [`find_boards`] and [`calibrate()`]; [`CameraError::NoViews`] names what was wrong with the stills if too few hold the
/// board.
pub fn calibrate_files(
    paths: &[&Path],
    board: &Board,
    max_views: usize,
    name: &str,
    progress: &mut dyn FnMut(&str),
) -> Result<CalibrationRun, CameraError> {
    let seen = find_boards(paths, board, max_views, progress)?;
    let views: Vec<BoardView> = seen.found.iter().map(|sighting| view_of(sighting, board)).collect();
    let calibration = match calibrate(&views, seen.image_size) {
        Err(CameraError::TooFewViews { found, needed }) => {
            return Err(CameraError::NoViews {
                found,
                needed,
                missed: seen.missed.iter().map(|miss| format!("{}: {}", miss.label, miss.absence)).collect(),
                frames: seen.frames_searched,
                frames_found: seen.frames_found,
            });
        }
        other => other?,
    };
    let corners: Vec<ImagePoint> =
        seen.found.iter().flat_map(|sighting| sighting.board.corners.iter().copied()).collect();
    let coverage = coverage_of(&calibration.lens, &corners);
    let warnings = warnings_of(&calibration, &seen.found, &coverage);
    let lens = lens_of_coded_picture(&calibration.lens, seen.orientation);
    Ok(CalibrationRun {
        profile: LensProfile { name: name.to_owned(), lens, rms_px: Some(calibration.rms_px) },
        covered_share: covered_share(&calibration.lens, &corners),
        coverage,
        warnings,
        sightings: seen.found,
        missed: seen.missed,
        calibration,
    })
}

fn view_of(sighting: &Sighting, board: &Board) -> BoardView {
    let corners = sighting
        .board
        .corners
        .iter()
        .enumerate()
        .map(|(index, corner)| BoardCorner { board_mm: board.corner_mm(index), image: *corner })
        .collect();
    BoardView { corners }
}

/// Undoes what made the picture upright: the profile is kept for the picture as the sensor gave it, so that it serves
/// whichever way the phone is held.
fn lens_of_coded_picture(upright: &Lens, orientation: Orientation) -> Lens {
    let turns_back = match orientation.clockwise_deg {
        90 => 3,
        180 => 2,
        270 => 1,
        _ => 0,
    };
    let turned = upright.quarter_turned(turns_back);
    if orientation.is_mirrored { turned.mirrored() } else { turned }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_profile_of_turned_pictures_serves_them_again() {
        let mut upright = Lens::pinhole([1080, 1920], 1500.0);
        upright.cx = 530.0;
        upright.cy = 970.0;
        upright.distortion = [0.1, -0.2, 0.001, -0.002, 0.05];
        for (clockwise_deg, turns) in [(0, 0), (90, 1), (180, 2), (270, 3)] {
            let lens = lens_of_coded_picture(&upright, Orientation { clockwise_deg, is_mirrored: false });
            let profile = LensProfile { name: String::new(), lens, rms_px: None };
            let again = profile.lens_for([1080, 1920], turns).unwrap();
            for (ours, theirs) in again.parameters().iter().zip(upright.parameters()) {
                assert!((ours - theirs).abs() < 1e-9, "{clockwise_deg}");
            }
        }
    }
}
