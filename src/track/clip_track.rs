//! Marks followed through a whole clip, forward and backward from the frame they were placed on.
//!
//! A thread decodes, this one follows; a few frames wait between them. Memory is bounded whatever the clip's length: forward, frames
//! come one by one; of those before the marked one the last are kept, and what lies before them is decoded again, a stretch at a
//! time, and gone through from its end.

use std::collections::VecDeque;
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::thread;

use image::GrayImage;

use crate::geometry::{ImagePoint, Landmark};
use crate::video::{Clip, LumaFrame, LumaFrames, TIME_TOLERANCE_S, VideoError};

use super::follow::{Follower, MarkState};

/// Bytes of frames kept at a time for the way back.
const STRETCH_BYTES_MAX: usize = 40 << 20;
/// Frames kept at a time for the way back at the most: a clip's group of pictures or so.
const STRETCH_FRAMES_MAX: usize = 64;
/// Frames that wait to be followed.
const WAITING_FRAMES: usize = 3;

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

/// Follows marks (px) that stand on the frame shown at `start_s` (s). `progress` is told how many frames of how many are done, as far
/// as the clip's header knows how many there are.
///
/// # Errors
/// [`VideoError`] where the clip cannot be opened or holds no frame at that time.
pub fn follow_clip(
    path: &Path,
    start_s: f64,
    marks: &[(Landmark, ImagePoint)],
    mut progress: impl FnMut(usize, usize),
) -> Result<ClipTrack, VideoError> {
    let clip = Clip::open_to_follow(path)?;
    let stated = clip.info().frames.and_then(|frames| usize::try_from(frames).ok()).unwrap_or(0);
    let [width, height] = clip.info().upright_size.map(|side| usize::try_from(side).unwrap_or(usize::MAX));
    let stretch = (STRETCH_BYTES_MAX / width.saturating_mul(height).max(1)).clamp(1, STRETCH_FRAMES_MAX);
    let mut on_frame = |done: usize| progress(done, stated.max(done));

    let (frames, received) = sync_channel(WAITING_FRAMES);
    let codec = clip.info().codec.clone();
    let decoded = clip.luma_frames()?;
    // a decoder holds many frames: one at a time
    drop(clip);
    let forward = thread::scope(|scope| {
        scope.spawn(move || send_frames(decoded, &frames));
        Forward::follow(received, start_s, marks, stretch, &mut on_frame)
    })?;
    let Forward { times_s, mut kept, start, picture, states: after } = forward;
    let is_last = start + 1 >= times_s.len();
    let mut clip = (is_last || start > kept.len()).then(|| Clip::open_to_follow(path)).transpose()?;
    if let (true, Some(clip)) = (is_last, &mut clip) {
        // the last frame is shown until it ends: past that, or past damage, this says what is wrong with the time
        clip.luma_at(start_s)?;
    }
    let Some(picture) = picture else { return Err(VideoError::NoFrame { path: path.to_owned(), codec }) };

    let mut follower = Follower::start(picture, marks);
    let mut before = Vec::with_capacity(start);
    while before.len() < start {
        if let (true, Some(clip)) = (kept.is_empty(), &mut clip) {
            let end = start - before.len();
            for time_s in &times_s[end.saturating_sub(stretch)..end] {
                kept.push_back(clip.luma_at(*time_s)?.image);
            }
        }
        while let Some(image) = kept.pop_back() {
            before.push(advance(&mut follower, image));
            on_frame(after.len() + 1 + before.len());
        }
    }
    before.reverse();
    let placed = marks.iter().map(|(_, point)| MarkState::Followed { point: *point, sd_px: 0.0 }).collect();
    let states = before.into_iter().chain([placed]).chain(after).collect();
    Ok(ClipTrack { landmarks: marks.iter().map(|(landmark, _)| *landmark).collect(), times_s, states, start })
}

/// Decodes frames until nobody takes them any more.
fn send_frames(decoded: LumaFrames, frames: &SyncSender<Result<LumaFrame, VideoError>>) {
    for frame in decoded {
        if frames.send(frame).is_err() {
            break;
        }
    }
}

/// The way through a clip from its start: past the frames before the marked one, and from there on following.
struct Forward {
    /// Times of all frames, s.
    times_s: Vec<f64>,
    /// The last frames before the marked one.
    kept: VecDeque<GrayImage>,
    /// Index of the marked frame.
    start: usize,
    /// The marked frame; `None` in a clip without frames.
    picture: Option<GrayImage>,
    /// How it stands with the marks in the frames after it.
    states: Vec<Vec<MarkState>>,
}

impl Forward {
    /// Takes `frames` for itself: where one is an error, the decoder must not wait for the next to be taken.
    fn follow(
        frames: Receiver<Result<LumaFrame, VideoError>>,
        start_s: f64,
        marks: &[(Landmark, ImagePoint)],
        keep: usize,
        on_frame: &mut impl FnMut(usize),
    ) -> Result<Self, VideoError> {
        let mut way = Self { times_s: Vec::new(), kept: VecDeque::new(), start: 0, picture: None, states: Vec::new() };
        let mut follower: Option<Follower> = None;
        for frame in frames {
            let LumaFrame { time_s, image } = frame?;
            way.times_s.push(time_s);
            if follower.is_none() && time_s > start_s + TIME_TOLERANCE_S && way.times_s.len() > 1 {
                follower = way.start_here(marks);
            }
            if let Some(follower) = &mut follower {
                way.states.push(advance(follower, image));
                on_frame(way.states.len() + 1);
            } else {
                way.kept.push_back(image);
                // the marked one may be the next
                if way.kept.len() > keep + 1 {
                    way.kept.pop_front();
                }
            }
        }
        if follower.is_none() && !way.times_s.is_empty() {
            way.times_s.push(f64::INFINITY);
            way.start_here(marks);
            way.times_s.pop();
        }
        Ok(way)
    }

    /// Takes the frame before the last time for the marked one.
    fn start_here(&mut self, marks: &[(Landmark, ImagePoint)]) -> Option<Follower> {
        let picture = self.kept.pop_back()?;
        self.start = self.times_s.len() - 2;
        self.picture = Some(picture.clone());
        Some(Follower::start(picture, marks))
    }
}

fn advance(follower: &mut Follower, image: GrayImage) -> Vec<MarkState> {
    follower.advance(image).into_iter().map(|(_, state)| state).collect()
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
