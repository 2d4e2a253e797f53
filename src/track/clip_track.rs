//! Marks followed through a whole clip, forward and backward from the frame they were placed on.
//!
//! Memory is bounded whatever the clip's length: forward, frames come one by one; backward, a stretch of frames at a time is decoded
//! and gone through from its end.

use std::path::Path;

use image::GrayImage;

use crate::geometry::{ImagePoint, Landmark};
use crate::video::{Clip, VideoError};

use super::follow::{FOLLOW_LEVELS, Follower, MarkState};
use super::pyramid::Pyramid;

/// Bytes of frames kept at a time on the way back.
const STRETCH_BYTES_MAX: usize = 64 << 20;
/// Frames kept at a time on the way back at the most: a clip's group of pictures or so.
const STRETCH_FRAMES_MAX: usize = 64;

/// Marks through a clip.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipTrack {
    /// The marks that were followed.
    pub landmarks: Vec<Landmark>,
    /// Times of the clip's frames, s.
    pub times_s: Vec<f64>,
    /// For each frame, how it stands with each mark.
    pub states: Vec<Vec<MarkState>>,
    /// The frame that the marks were placed on.
    pub start: usize,
}

/// Follows marks (px) that stand on the frame shown at `start_s` (s). `progress` is told how many frames of how many are done.
///
/// # Errors
/// [`VideoError`] where the clip cannot be opened or holds no frame at that time.
///
/// # Panics
/// Never: a clip that was opened has a frame.
pub fn follow_clip(
    path: &Path,
    start_s: f64,
    marks: &[(Landmark, ImagePoint)],
    mut progress: impl FnMut(usize, usize),
) -> Result<ClipTrack, VideoError> {
    let mut clip = Clip::open(path)?;
    let first = clip.luma_at(start_s)?;
    let times_s = clip.frame_times_s()?.to_vec();
    let start = times_s.partition_point(|time_s| *time_s <= first.time_s).saturating_sub(1);
    let placed = marks.iter().map(|(_, point)| MarkState::Followed { point: *point, sd_px: 0.0 }).collect();
    let mut states = vec![Vec::new(); times_s.len()];
    states[start] = placed;
    let pyramid = |image: &GrayImage| Pyramid::of(image, FOLLOW_LEVELS);
    let mut done = 1;

    let mut follower = Follower::start(pyramid(&first.image), marks);
    let bytes = first.image.as_raw().len().max(1);
    let stretch = (STRETCH_BYTES_MAX / bytes).clamp(1, STRETCH_FRAMES_MAX);
    let mut end = start;
    while end > 0 {
        let begin = end.saturating_sub(stretch);
        let mut frames = Vec::with_capacity(end - begin);
        for time_s in &times_s[begin..end] {
            frames.push(clip.luma_at(*time_s)?.image);
        }
        for index in (begin..end).rev() {
            let Some(image) = frames.pop() else { break };
            states[index] = advance(&mut follower, pyramid(&image));
            done += 1;
            progress(done, times_s.len());
        }
        end = begin;
    }

    let mut follower = Follower::start(pyramid(&first.image), marks);
    for index in start + 1..times_s.len() {
        let image = clip.luma_at(times_s[index])?.image;
        states[index] = advance(&mut follower, pyramid(&image));
        done += 1;
        progress(done, times_s.len());
    }
    Ok(ClipTrack { landmarks: marks.iter().map(|(landmark, _)| *landmark).collect(), times_s, states, start })
}

fn advance(follower: &mut Follower, picture: Pyramid) -> Vec<MarkState> {
    follower.advance(picture).into_iter().map(|(_, state)| state).collect()
}

impl ClipTrack {
    /// Where a mark is in a frame, px; `None` where it is not followed.
    #[must_use]
    pub fn point(&self, frame: usize, landmark: Landmark) -> Option<ImagePoint> {
        let place = self.landmarks.iter().position(|other| *other == landmark)?;
        match self.states.get(frame)?.get(place)? {
            MarkState::Followed { point, .. } => Some(*point),
            MarkState::Lost | MarkState::OutOfPicture => None,
        }
    }

    /// Times from and to (s) for which a mark is not followed.
    #[must_use]
    pub fn lost_spans_s(&self, landmark: Landmark) -> Vec<(f64, f64)> {
        let mut spans: Vec<(f64, f64)> = Vec::new();
        let mut was_lost = false;
        for (frame, time_s) in self.times_s.iter().enumerate() {
            let is_lost = self.point(frame, landmark).is_none();
            match spans.last_mut() {
                Some(last) if is_lost && was_lost => last.1 = *time_s,
                _ if is_lost => spans.push((*time_s, *time_s)),
                _ => {}
            }
            was_lost = is_lost;
        }
        spans
    }
}
