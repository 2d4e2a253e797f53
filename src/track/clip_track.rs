//! Marks followed through a whole clip, forward and backward from the frame they were placed on.
//!
//! A thread decodes, this one follows; a few frames wait between them. Memory is bounded whatever the clip's length: forward, frames
//! come one by one; of those before the marked one the last are kept, and what lies before them is decoded again, a stretch at a
//! time, and gone through from its end.

use std::collections::VecDeque;
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, SyncSender, channel, sync_channel};
use std::thread;

use image::GrayImage;
use nalgebra::Vector2;

use crate::geometry::{ImagePoint, Landmark};
use crate::video::{Clip, LumaFrame, LumaFrames, TIME_TOLERANCE_S, VideoError};

use super::carry::SCALE_AT_PX;
use super::follow::Follower;
use super::mark_state::MarkState;

/// Bytes of frames kept at a time for the way back.
const STRETCH_BYTES_MAX: usize = 40 << 20;
/// Frames kept at a time for the way back at the most: a clip's group of pictures or so.
const STRETCH_FRAMES_MAX: usize = 64;
/// Frames that wait to be followed.
const WAITING_FRAMES: usize = 3;
/// A frame in which a mark stands counts as so long a way, px at a long side of [`SCALE_AT_PX`]: the light changes all the same.
const STANDING_PX: f64 = 0.05;
/// Spread of a mark placed by hand, px at the same size (common practice, the default of a case).
const MARK_SD_PX: f64 = 1.5;

/// Marks through a clip.
#[derive(Debug, Clone, PartialEq)]
pub struct ClipTrack {
    /// The marks that were followed.
    pub landmarks: Vec<Landmark>,
    /// Times of the clip's frames, s.
    pub times_s: Vec<f64>,
    /// For each frame, how it stands with each mark.
    pub states: Vec<Vec<MarkState>>,
    /// The frames that marks were placed on, in the order of time.
    pub anchors: Vec<Anchor>,
    /// 1 where the picture's long side is [`SCALE_AT_PX`].
    scale: f64,
}

/// Marks that a person placed on one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct PlacedMarks {
    /// Time of the frame, s.
    pub time_s: f64,
    /// The marks, px.
    pub marks: Vec<(Landmark, ImagePoint)>,
}

/// A frame that marks were placed on.
#[derive(Debug, Clone, PartialEq)]
pub struct Anchor {
    /// Its index.
    pub frame: usize,
    /// The marks placed on it.
    pub placed: Vec<Landmark>,
    /// By how much marks that were followed from an earlier anchor had strayed when they came here, px. It is spread over the
    /// frames between.
    pub strayed_px: Vec<(Landmark, Vector2<f64>)>,
}

/// Follows marks that were placed on some frames, in the order of time: backward from the first, forward from it, and on from what was
/// placed on each further one. What a mark had strayed by on the way to a further one is spread over that way. `progress` is told how
/// many frames of how many are done, as far as the clip's header knows how many there are.
///
/// # Errors
/// [`VideoError`] where the clip cannot be opened or holds no frame at one of the times.
pub fn follow_clip(
    path: &Path,
    placed: &[PlacedMarks],
    mut progress: impl FnMut(usize, usize),
) -> Result<ClipTrack, VideoError> {
    let (start_s, marks) = placed.first().map_or((0.0, &[][..]), |first| (first.time_s, &first.marks));
    let clip = Clip::open_to_follow(path)?;
    let stated = clip.info().frames.and_then(|frames| usize::try_from(frames).ok()).unwrap_or(0);
    let [width, height] = clip.info().upright_size.map(|side| usize::try_from(side).unwrap_or(usize::MAX));
    let stretch = (STRETCH_BYTES_MAX / width.saturating_mul(height).max(1)).clamp(1, STRETCH_FRAMES_MAX);
    let mut on_frame = |done: usize| progress(done, stated.max(done));

    let (frames, received) = sync_channel(WAITING_FRAMES);
    let codec = clip.info().codec.clone();
    let (used, back) = channel();
    let decoded = clip.luma_frames()?;
    // a decoder holds many frames: one at a time
    drop(clip);
    let forward = thread::scope(|scope| {
        scope.spawn(move || send_frames(decoded, &frames, &back));
        Forward::follow(received, &used, placed, stretch, &mut on_frame)
    })?;
    let Forward { times_s, mut kept, start, picture, states: after, landmarks, anchors, .. } = forward;
    let last_s = placed.last().map_or(start_s, |last| last.time_s);
    let is_last = last_s >= times_s.last().copied().unwrap_or(0.0);
    let mut clip = (is_last || start > kept.len()).then(|| Clip::open_to_follow(path)).transpose()?;
    if let (true, Some(clip)) = (is_last, &mut clip) {
        // the last frame is shown until it ends: past that, or past damage, this says what is wrong with the time
        clip.luma_at(last_s)?;
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
    let on_start = marks.iter().map(|(_, point)| MarkState::Followed { point: *point, sd_px: 0.0 }).collect();
    let mut states: Vec<Vec<MarkState>> = before.into_iter().chain([on_start]).chain(after).collect();
    // marks that were placed later are not known before
    states.iter_mut().for_each(|states| states.resize(landmarks.len(), MarkState::Lost));
    let scale = number(width.max(height)) / SCALE_AT_PX;
    let mut track = ClipTrack { landmarks, times_s, states, anchors, scale };
    track.spread_drift(scale);
    Ok(track)
}

/// Decodes frames until nobody takes them any more, into the memory of those that come back.
fn send_frames(
    mut decoded: LumaFrames,
    frames: &SyncSender<Result<LumaFrame, VideoError>>,
    back: &Receiver<GrayImage>,
) {
    while let Some(frame) = decoded.next() {
        if frames.send(frame).is_err() {
            break;
        }
        back.try_iter().for_each(|image| decoded.take_back(image));
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
    landmarks: Vec<Landmark>,
    anchors: Vec<Anchor>,
    follower: Option<Follower>,
}

impl Forward {
    /// Takes `frames` for itself: where one is an error, the decoder must not wait for the next to be taken.
    fn follow(
        frames: Receiver<Result<LumaFrame, VideoError>>,
        used: &Sender<GrayImage>,
        placed: &[PlacedMarks],
        keep: usize,
        on_frame: &mut impl FnMut(usize),
    ) -> Result<Self, VideoError> {
        let mut way = Self {
            times_s: Vec::new(),
            kept: VecDeque::new(),
            start: 0,
            picture: None,
            states: Vec::new(),
            landmarks: Vec::new(),
            anchors: Vec::new(),
            follower: None,
        };
        let mut next = 0;
        for frame in frames {
            let LumaFrame { time_s, image } = frame?;
            // the frame before was the last one shown at that time
            while next < placed.len() && !way.times_s.is_empty() && time_s > placed[next].time_s + TIME_TOLERANCE_S {
                way.take(&placed[next].marks);
                next += 1;
            }
            way.times_s.push(time_s);
            if let Some(follower) = &mut way.follower {
                let (states, before) = follower.advance_from(image);
                way.states.push(states.into_iter().map(|(_, state)| state).collect());
                // once all are decoded, nobody takes them back
                before.into_iter().for_each(|before| drop(used.send(before)));
                on_frame(way.states.len() + 1);
            } else {
                way.kept.push_back(image);
                // the marked one may be the next
                if way.kept.len() > keep + 1 {
                    way.kept.pop_front();
                }
            }
        }
        if !way.times_s.is_empty() {
            placed[next..].iter().for_each(|placed| way.take(&placed.marks));
        }
        Ok(way)
    }

    /// Takes the last frame for one that marks were placed on.
    fn take(&mut self, marks: &[(Landmark, ImagePoint)]) {
        let frame = self.times_s.len() - 1;
        let mut strayed_px = Vec::new();
        // a bar that is found by itself does not stray: what its marks differ by there is the hand's error
        let finds_bar = self.follower.as_ref().is_some_and(Follower::finds_bar);
        let strays = |landmark: &Landmark| !(finds_bar && matches!(landmark, Landmark::BarEnd(_)));
        if let Some(follower) = &mut self.follower {
            follower.place(marks);
        } else if let Some(picture) = self.kept.pop_back() {
            self.start = frame;
            self.picture = Some(picture.clone());
            self.follower = Some(Follower::start(picture, marks));
        }
        for (landmark, point) in marks {
            let place = self.landmarks.iter().position(|known| known == landmark).unwrap_or_else(|| {
                self.landmarks.push(*landmark);
                self.landmarks.len() - 1
            });
            let Some(states) = self.states.last_mut() else { continue };
            states.resize(states.len().max(place + 1), MarkState::Lost);
            if let MarkState::Followed { point: came, .. } | MarkState::Hidden { point: came, .. } = states[place]
                && strays(landmark)
            {
                strayed_px.push((*landmark, Vector2::new(came.x - point.x, came.y - point.y)));
            }
            states[place] = MarkState::Followed { point: *point, sd_px: 0.0 };
        }
        // a second time within one frame, its marks come together
        match self.anchors.last_mut().filter(|anchor| anchor.frame == frame) {
            Some(anchor) => anchor.placed.extend(marks.iter().map(|(landmark, _)| *landmark)),
            None => {
                let placed = marks.iter().map(|(landmark, _)| *landmark).collect();
                self.anchors.push(Anchor { frame, placed, strayed_px });
            }
        }
    }
}

fn advance(follower: &mut Follower, image: GrayImage) -> Vec<MarkState> {
    follower.advance(image).into_iter().map(|(_, state)| state).collect()
}

impl ClipTrack {
    /// Spreads what marks strayed by between two anchors over the frames between them, by the way that each went: where it stood, it
    /// did not stray.
    fn spread_drift(&mut self, scale: f64) {
        for later in 1..self.anchors.len() {
            let Anchor { frame: to, strayed_px, .. } = self.anchors[later].clone();
            for (landmark, strayed) in strayed_px {
                let is_placed = |anchor: &&Anchor| anchor.placed.contains(&landmark);
                let Some(from) = self.anchors[..later].iter().rev().find(is_placed).map(|anchor| anchor.frame) else {
                    continue;
                };
                let Some(place) = self.landmarks.iter().position(|other| *other == landmark) else { continue };
                self.spread_between([from, to], place, strayed, scale);
            }
        }
    }

    fn spread_between(&mut self, [from, to]: [usize; 2], place: usize, strayed: Vector2<f64>, scale: f64) {
        let mut ways_px = vec![0.0];
        let mut last = self.point_at(from, place);
        for frame in from + 1..=to {
            let here = self.point_at(frame, place);
            let step_px = match (last, here) {
                // the last step is that of the frame before: what is placed there is not where it was followed to
                (Some(last), Some(here)) if frame < to => last.distance_px(here),
                _ => 0.0,
            };
            ways_px.push(ways_px[ways_px.len() - 1] + step_px + STANDING_PX * scale);
            last = here.or(last);
        }
        let whole_px = ways_px[ways_px.len() - 1];
        for (frame, way_px) in (from..to).zip(ways_px).skip(1) {
            let share = way_px / whole_px;
            if let MarkState::Followed { point, sd_px } | MarkState::Hidden { point, sd_px } =
                &mut self.states[frame][place]
            {
                *point = ImagePoint::new(point.x - share * strayed.x, point.y - share * strayed.y);
                // A walk between two known places strays by the root of the product of both shares; how far in all, its stated
                // spread and what it did stray by tell. The marks at both ends err on their own: of the error that is not the one
                // shared with the nearer, there is that share of both.
                let walk_px =
                    sd_px.max(strayed.norm() * std::f64::consts::FRAC_1_SQRT_2) * (share * (1.0 - share)).sqrt();
                let marks_px = share.min(1.0 - share) * std::f64::consts::SQRT_2 * MARK_SD_PX * scale;
                *sd_px = walk_px.hypot(marks_px).max(0.25 * scale);
            }
        }
    }

    fn point_at(&self, frame: usize, place: usize) -> Option<ImagePoint> {
        match self.states[frame].get(place)? {
            MarkState::Followed { point, .. } | MarkState::Hidden { point, .. } => Some(*point),
            MarkState::Lost | MarkState::OutOfPicture => None,
        }
    }

    /// Whether a mark is seen in a frame, and surely on the spot that was marked: see [`MarkState::is_sure`].
    #[must_use]
    pub fn is_sure(&self, frame: usize, place: usize) -> bool {
        self.states[frame][place].is_sure(self.scale)
    }

    /// Whether a person placed a mark on a frame.
    #[must_use]
    pub fn is_placed(&self, frame: usize, landmark: Landmark) -> bool {
        self.anchors.iter().any(|anchor| anchor.frame == frame && anchor.placed.contains(&landmark))
    }

    /// The anchor nearest in time to a frame of those on which a mark was placed.
    #[must_use]
    pub fn nearest_anchor(&self, frame: usize, landmark: Landmark) -> Option<usize> {
        let off = |index: &usize| self.anchors[*index].frame.abs_diff(frame);
        let placed = (0..self.anchors.len()).filter(|index| self.anchors[*index].placed.contains(&landmark));
        placed.min_by_key(off)
    }

    /// Where a mark is in a frame, px, as it is seen or, where it is hidden, as the arm tells; `None` where it is lost.
    #[must_use]
    pub fn point(&self, frame: usize, landmark: Landmark) -> Option<ImagePoint> {
        let place = self.landmarks.iter().position(|other| *other == landmark)?;
        (frame < self.states.len()).then(|| self.point_at(frame, place)).flatten()
    }

    /// Times from and to (s) for which a mark is lost or out of the picture.
    #[must_use]
    pub fn lost_spans_s(&self, landmark: Landmark) -> Vec<(f64, f64)> {
        self.spans_s(landmark, |state| matches!(state, MarkState::Lost | MarkState::OutOfPicture))
    }

    /// Times from and to (s) for which a mark is hidden.
    #[must_use]
    pub fn hidden_spans_s(&self, landmark: Landmark) -> Vec<(f64, f64)> {
        self.spans_s(landmark, |state| matches!(state, MarkState::Hidden { .. }))
    }

    fn spans_s(&self, landmark: Landmark, is_it: impl Fn(&MarkState) -> bool) -> Vec<(f64, f64)> {
        let mut spans: Vec<(f64, f64)> = Vec::new();
        let Some(place) = self.landmarks.iter().position(|other| *other == landmark) else { return spans };
        let mut was_it = false;
        for (time_s, states) in self.times_s.iter().zip(&self.states) {
            let is_now = is_it(&states[place]);
            match spans.last_mut() {
                Some(last) if is_now && was_it => last.1 = *time_s,
                _ if is_now => spans.push((*time_s, *time_s)),
                _ => {}
            }
            was_it = is_now;
        }
        spans
    }
}

const fn number(count: usize) -> f64 {
    count as f64
}
