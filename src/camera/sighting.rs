//! Finds the board in files: stills one by one, clips by their sharp, still and varied frames.

use std::path::Path;

use image::{DynamicImage, GrayImage};
use rayon::iter::{IntoParallelRefIterator, ParallelIterator};

use crate::camera::gray::index_to_f64;
use crate::camera::select::select_varied;
use crate::camera::{Board, BoardAbsence, CameraError, DetectedBoard, detect_board};
use crate::video::{Clip, Media, Orientation};

/// Frames of a clip that are looked at, at most; more would only repeat each other.
const MAX_CANDIDATES: usize = 240;

/// Least time between frames that are looked at, s.
const LEAST_STEP_S: f64 = 0.1;

/// Frames searched at once.
const BATCH: usize = 8;

/// A board in a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Sighting {
    /// The file's name, with the time for a frame of a clip.
    pub label: String,
    /// Time in the clip, s; 0 in a still.
    pub time_s: f64,
    /// The board.
    pub board: DetectedBoard,
}

/// A picture without a whole board.
#[derive(Debug, Clone, PartialEq)]
pub struct Miss {
    /// The file's name, with the time for a frame of a clip.
    pub label: String,
    /// What was seen instead.
    pub absence: BoardAbsence,
}

/// What was found in all files.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sightings {
    /// Size of the upright pictures, px; the same for all.
    pub image_size: [u32; 2],
    /// How the coded pictures are turned to stand upright; the same for all.
    pub orientation: Orientation,
    /// Views to calibrate from.
    pub found: Vec<Sighting>,
    /// Stills in which no whole board was found. Frames of clips are passed over in silence.
    pub missed: Vec<Miss>,
    /// Frames of clips that were looked at.
    pub frames_searched: usize,
    /// Frames of clips in which the board was found.
    pub frames_found: usize,
}

/// Searches stills and clips for the board. `progress` is called with a file's name before the file is searched.
///
/// From each clip at most `max_views` frames are taken: sharp ones in which the board stood still, as different from each other
/// as the clip offers.
///
/// # Errors
/// [`CameraError::Video`] for a file that cannot be read; [`CameraError::PictureDiffers`] unless all pictures have one size and
/// are turned alike, since one lens is sought.
pub fn find_boards(
    paths: &[&Path],
    board: &Board,
    max_views: usize,
    progress: &mut dyn FnMut(&str),
) -> Result<Sightings, CameraError> {
    let mut all = Sightings::default();
    for (index, path) in paths.iter().enumerate() {
        let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
        progress(&name);
        let media = Media::open(path)?;
        let (size, orientation) = (media.upright_size(), media.info().orientation);
        if index == 0 {
            (all.image_size, all.orientation) = (size, orientation);
        } else if size != all.image_size || orientation != all.orientation {
            return Err(CameraError::PictureDiffers {
                name,
                size,
                clockwise_deg: orientation.clockwise_deg,
                first_size: all.image_size,
                first_clockwise_deg: all.orientation.clockwise_deg,
            });
        }
        match media {
            Media::Still(still) => {
                let picture = DynamicImage::ImageRgb8(still.image().clone()).into_luma8();
                match detect_board(&picture, board) {
                    Ok(board) => all.found.push(Sighting { label: name, time_s: 0.0, board }),
                    Err(absence) => all.missed.push(Miss { label: name, absence }),
                }
            }
            Media::Clip(clip) => search_clip(&clip, &name, board, max_views, &mut all)?,
        }
    }
    Ok(all)
}

fn search_clip(
    clip: &Clip,
    name: &str,
    board: &Board,
    max_views: usize,
    all: &mut Sightings,
) -> Result<(), CameraError> {
    let duration_s = clip.info().duration_s.unwrap_or(0.0);
    let step_s = (duration_s / index_to_f64(MAX_CANDIDATES)).max(LEAST_STEP_S);
    let mut sightings = Vec::new();
    let mut batch: Vec<(f64, GrayImage)> = Vec::with_capacity(BATCH);
    let mut next_s = 0.0;
    for frame in clip.luma_frames()? {
        let frame = frame?;
        if frame.time_s + 1e-9 < next_s {
            continue;
        }
        next_s = frame.time_s + step_s;
        batch.push((frame.time_s, frame.image));
        all.frames_searched += 1;
        if batch.len() == BATCH {
            search_batch(&mut batch, name, board, &mut sightings);
        }
    }
    search_batch(&mut batch, name, board, &mut sightings);
    all.frames_found += sightings.len();
    let long_side_px = f64::from(all.image_size[0].max(all.image_size[1]));
    all.found.extend(select_varied(sightings, board, long_side_px, max_views));
    Ok(())
}

/// Searches frames on all threads, and keeps their order.
fn search_batch(batch: &mut Vec<(f64, GrayImage)>, name: &str, board: &Board, sightings: &mut Vec<Sighting>) {
    let found: Vec<Option<DetectedBoard>> =
        batch.par_iter().map(|(_, picture)| detect_board(picture, board).ok()).collect();
    for ((time_s, _), board) in batch.drain(..).zip(found) {
        if let Some(board) = board {
            sightings.push(Sighting { label: format!("{name} at {time_s:.2} s"), time_s, board });
        }
    }
}
