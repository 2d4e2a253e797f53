//! Writes a film: frame after frame from the clip, drawn over, to the encoder.

use std::path::Path;

use image::{RgbImage, imageops};

use super::held::HeldReach;
use super::scene::Scene;
use crate::pose::{Rotation, View};
use crate::report::chart::course_chart_name;
use crate::report::error::ReportError;
use crate::screen::{Occasion, TrackedClip};
use crate::video::{Clip, EncodeOptions, Encoder, VideoError};

/// Long side of a film at the most, px: what any phone plays.
const LONG_SIDE_MAX_PX: u32 = 1920;
/// x264's preset: most of its gain for a fifth of its time.
const PRESET: &str = "veryfast";
/// Hardly visible loss.
const CRF: u8 = 21;
/// Parts of a frame in which a rate is stated.
const RATE_PARTS: f64 = 1000.0;

/// What a film is made from.
pub struct FilmInput<'a> {
    /// The clip.
    pub clip: &'a Path,
    /// Its followed marks.
    pub track: &'a TrackedClip,
    /// What was measured of it; `None` where the marks were followed alone.
    pub held: Option<HeldReach>,
}

/// File name of the film of a reach.
#[must_use]
pub fn film_name(occasion: Occasion, rotation: Rotation, view: View) -> String {
    format!("{}.mp4", course_chart_name(occasion, rotation, view).replacen("course", "film", 1))
}

/// Writes the film to a path where nothing is yet. `progress` is told how many frames of how many are done.
///
/// # Errors
/// [`ReportError::Film`] where the clip cannot be decoded or the film cannot be written.
pub fn write_film(input: &FilmInput<'_>, to: &Path, mut progress: impl FnMut(usize, usize)) -> Result<(), ReportError> {
    let failed = |source: VideoError| ReportError::Film { source };
    let clip = Clip::open(input.clip).map_err(failed)?;
    let picture_width = clip.info().upright_size[0];
    let times_s = &input.track.track.times_s;
    let mut frames = clip.small_frames(LONG_SIDE_MAX_PX).map_err(failed)?;
    let rate = rate(times_s);
    drop(clip);
    let Some(first) = frames.next().transpose().map_err(failed)? else { return Ok(()) };
    let size = first.image.dimensions();
    let scene = Scene::new(input.track, input.held.as_ref(), size, picture_width);
    let film_size = (size.0 & !1, size.1 & !1);
    let options =
        EncodeOptions { preset: PRESET, crf: CRF, frame_rate: rate, ..EncodeOptions::new(film_size.0, film_size.1) };
    let mut encoder = Encoder::create(to, options).map_err(failed)?;
    let mut next = Some(first);
    let mut index = 0;
    while let Some(frame) = next {
        let mut image = frame.image;
        scene.draw(&mut image, index);
        encoder.push_at(&even(image), frame.time_s).map_err(failed)?;
        index += 1;
        progress(index, times_s.len().max(index));
        next = frames.next().transpose().map_err(failed)?;
    }
    encoder.finish().map_err(failed)
}

/// The picture without its last row or column where these are odd: H.264 halves the chroma.
fn even(image: RgbImage) -> RgbImage {
    let (width, height) = image.dimensions();
    if width % 2 == 0 && height % 2 == 0 {
        return image;
    }
    imageops::crop_imm(&image, 0, 0, width & !1, height & !1).to_image()
}

/// Frames per second on the mean, as the encoder takes it; every frame keeps its own time whatever this is.
fn rate(times_s: &[f64]) -> (u32, u32) {
    let length_s = times_s.last().copied().unwrap_or(0.0);
    let rate = if length_s > 0.0 { times_s.len().saturating_sub(1) as f64 / length_s } else { 1.0 };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped and rounded")]
    let parts = (rate.clamp(1.0, 1000.0) * RATE_PARTS).round() as u32;
    (parts, 1000)
}
