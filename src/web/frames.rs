//! Full frames of clips, decoded a little ahead of where somebody steps, and kept in bounded memory.
//!
//! Stepping must not wait for the decoder: a jump in a clip decodes from the key frame before, while the frame after the
//! last one costs a few milliseconds. So each clip that is looked at has a child that walks along it, and fills the
//! neighbourhood of the frame that was asked for last, the way the person steps first. Frames that somebody waits for, of
//! any clip, come before all of that.

mod cache;
mod walk;

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::body::Bytes;
use tokio::sync::{Notify, oneshot};
use tokio::time::timeout;

use self::cache::FrameCache;
use self::walk::{Pace, Walk};
use super::decode::parent::FrameChild;
use super::error::WebError;

/// All frames that are kept, bytes: some 300 of a clip in 1080p.
const CACHE_BYTES_MAX: usize = 48 << 20;

/// Clips that are walked along at once. A child takes some 40 MB for a clip in 1080p.
const WALKERS_MAX: usize = 6;

/// A child that nobody has asked for so long is ended.
const IDLE: Duration = Duration::from_secs(20);

/// Walkers that are asked for a frame one after the other, where each has ended meanwhile.
const TRIES: usize = 3;

/// How long filling waits while somebody waits for a frame of another clip.
const GIVE_WAY: Duration = Duration::from_millis(5);

/// A frame as JPEG; `None` where it cannot be shown.
type Frame = Result<Option<Bytes>, WebError>;

/// A clip, as the walkers need it.
#[derive(Clone)]
pub(super) struct ClipFrames {
    /// Hash of its content.
    pub(super) hash: String,
    /// Its file.
    pub(super) path: PathBuf,
    /// The times of its frames, s.
    pub(super) times_s: Arc<[f64]>,
}

/// The frames of all clips that are looked at.
pub(super) struct FrameStore {
    program: PathBuf,
    walkers: Mutex<HashMap<String, Arc<Walker>>>,
    shared: Arc<Shared>,
}

/// What the walkers share.
struct Shared {
    cache: Mutex<FrameCache>,
    /// Requests that wait for a frame, of any clip.
    waiting: AtomicUsize,
}

/// Walks along one clip.
struct Walker {
    state: Mutex<State>,
    woken: Notify,
}

struct State {
    last_asked: Instant,
    /// The frame asked for last, and how the person came there.
    centre: usize,
    pace: Pace,
    urgent: Vec<(usize, oneshot::Sender<Frame>)>,
    /// It takes no more requests.
    is_ended: bool,
}

impl FrameStore {
    /// No frames yet. `program` is the one that has the hidden commands.
    pub(super) fn new(program: PathBuf) -> Self {
        let shared = Shared { cache: Mutex::new(FrameCache::new(CACHE_BYTES_MAX)), waiting: AtomicUsize::new(0) };
        Self { program, walkers: Mutex::new(HashMap::new()), shared: Arc::new(shared) }
    }

    /// The frame `index` of a clip as JPEG; `None` where it cannot be shown.
    pub(super) async fn frame(&self, clip: &ClipFrames, index: usize) -> Result<Option<Bytes>, WebError> {
        if index >= clip.times_s.len() {
            return Ok(None);
        }
        let kept = lock(&self.shared.cache).get(&clip.hash, index);
        if let Some(jpeg) = kept {
            self.walker(clip).centre_on(index);
            return Ok(Some(jpeg));
        }
        let _waits = Waits::new(&self.shared.waiting);
        for _ in 0..TRIES {
            // a walker may end, to make room or for want of requests, just when it is asked
            if let Ok(frame) = self.walker(clip).ask(index).await {
                return frame;
            }
        }
        Err(WebError::Busy { what: "clips are being looked at", most: WALKERS_MAX })
    }

    /// Forgets the frames of a clip that was deleted, and ends its child.
    pub(super) fn forget(&self, hash: &str) {
        if let Some(walker) = lock(&self.walkers).remove(hash) {
            walker.end();
        }
        lock(&self.shared.cache).forget(hash);
    }

    /// The walker of a clip, started if there is none; the one that was asked longest ago makes room for it.
    fn walker(&self, clip: &ClipFrames) -> Arc<Walker> {
        let mut walkers = lock(&self.walkers);
        if let Some(walker) = walkers.get(&clip.hash)
            && !lock(&walker.state).is_ended
        {
            return walker.clone();
        }
        walkers.retain(|_, walker| !lock(&walker.state).is_ended);
        while walkers.len() >= WALKERS_MAX {
            let oldest = walkers.iter().min_by_key(|(_, walker)| lock(&walker.state).last_asked);
            let Some(hash) = oldest.map(|(hash, _)| hash.clone()) else { break };
            if let Some(walker) = walkers.remove(&hash) {
                walker.end();
            }
        }
        let state =
            State { last_asked: Instant::now(), centre: 0, pace: Pace::default(), urgent: Vec::new(), is_ended: false };
        let walker = Arc::new(Walker { state: Mutex::new(state), woken: Notify::new() });
        walkers.insert(clip.hash.clone(), walker.clone());
        tokio::spawn(walker.clone().run(self.program.clone(), clip.clone(), self.shared.clone()));
        walker
    }
}

impl Walker {
    fn centre_on(&self, index: usize) {
        lock(&self.state).centre_on(index);
        self.woken.notify_one();
    }

    fn ask(&self, index: usize) -> oneshot::Receiver<Frame> {
        let (answer, answered) = oneshot::channel();
        let mut state = lock(&self.state);
        state.centre_on(index);
        if !state.is_ended {
            state.urgent.push((index, answer));
        }
        drop(state);
        self.woken.notify_one();
        answered
    }

    /// Takes no more requests; those that wait are told so.
    fn end(&self) {
        let mut state = lock(&self.state);
        state.is_ended = true;
        state.urgent.clear();
        drop(state);
        self.woken.notify_one();
    }

    async fn run(self: Arc<Self>, program: PathBuf, clip: ClipFrames, shared: Arc<Shared>) {
        let mut child = None;
        let mut walk = Walk::default();
        loop {
            let (index, is_urgent) = match self.next(&clip, &shared, &mut walk) {
                Next::End => return,
                Next::Frame { index, is_urgent } => (index, is_urgent),
                Next::Wait => {
                    if timeout(IDLE, self.woken.notified()).await.is_err() && self.is_idle() {
                        self.end();
                    }
                    continue;
                }
            };
            if !is_urgent && shared.waiting.load(Ordering::Relaxed) > 0 {
                // somebody waits for a frame of this or another clip
                let _ = timeout(GIVE_WAY, self.woken.notified()).await;
                if self.has_urgent() {
                    walk.give_back(index);
                    continue;
                }
            }
            let frame = frame_of(&mut child, &program, &clip, index).await;
            match &frame {
                Ok(Some(jpeg)) => lock(&shared.cache).put(&clip.hash, index, jpeg.clone()),
                // what cannot be shown is not tried again without being asked for
                Ok(None) | Err(_) => walk.note_lost(index),
            }
            self.answer(index, frame);
        }
    }

    /// What to do next.
    fn next(&self, clip: &ClipFrames, shared: &Shared, walk: &mut Walk) -> Next {
        let mut state = lock(&self.state);
        if state.is_ended {
            return Next::End;
        }
        let cache = lock(&shared.cache);
        // requests for frames that came in meanwhile
        let (kept, missing) = std::mem::take(&mut state.urgent)
            .into_iter()
            .partition::<Vec<_>, _>(|(index, _)| cache.has(&clip.hash, *index));
        state.urgent = missing;
        let kept: Vec<_> = kept.into_iter().map(|(index, answer)| (answer, cache.peek(&clip.hash, index))).collect();
        let urgent = state.urgent.first().map(|(index, _)| *index);
        let (centre, pace) = (state.centre, state.pace);
        drop(state);
        let next = match urgent {
            Some(index) => {
                let index = walk.next_on_the_way(index, pace, |index| cache.has(&clip.hash, index));
                Next::Frame { index, is_urgent: true }
            }
            None => {
                let has = |index: usize| cache.has(&clip.hash, index);
                match walk.next(centre, pace, clip.times_s.len(), has) {
                    Some(index) => Next::Frame { index, is_urgent: false },
                    None => Next::Wait,
                }
            }
        };
        drop(cache);
        for (answer, jpeg) in kept {
            // who asked may have gone
            let _ = answer.send(Ok(jpeg));
        }
        next
    }

    fn has_urgent(&self) -> bool {
        let state = lock(&self.state);
        state.is_ended || !state.urgent.is_empty()
    }

    fn is_idle(&self) -> bool {
        let state = lock(&self.state);
        state.urgent.is_empty() && state.last_asked.elapsed() >= IDLE
    }

    fn answer(&self, index: usize, frame: Frame) {
        let mut state = lock(&self.state);
        let (answered, waiting): (Vec<_>, Vec<_>) =
            std::mem::take(&mut state.urgent).into_iter().partition(|(asked, _)| *asked == index);
        state.urgent = waiting;
        drop(state);
        let mut answers = answered.into_iter().map(|(_, answer)| answer);
        match frame {
            Ok(frame) => answers.for_each(|answer| drop(answer.send(Ok(frame.clone())))),
            // the error goes to the first; the others see that their request was dropped
            Err(error) => drop(answers.next().map(|answer| answer.send(Err(error)))),
        }
    }
}

impl State {
    fn centre_on(&mut self, index: usize) {
        self.last_asked = Instant::now();
        self.pace = self.pace.after(self.centre, index);
        self.centre = index;
    }
}

enum Next {
    Frame { index: usize, is_urgent: bool },
    Wait,
    End,
}

/// A frame by the child, which is started if there is none.
async fn frame_of(child: &mut Option<FrameChild>, program: &std::path::Path, clip: &ClipFrames, index: usize) -> Frame {
    let Some(time_s) = clip.times_s.get(index) else { return Ok(None) };
    let running = match child {
        Some(running) => running,
        None => child.insert(FrameChild::start(program, clip.path.clone())?),
    };
    match running.frame(*time_s).await {
        Ok(frame) => Ok(frame),
        // brought down by this frame, or too slow: the next one gets a new child
        Err(_) => {
            *child = None;
            Ok(None)
        }
    }
}

/// Counts a request that waits.
struct Waits<'a>(&'a AtomicUsize);

impl<'a> Waits<'a> {
    fn new(waiting: &'a AtomicUsize) -> Self {
        waiting.fetch_add(1, Ordering::Relaxed);
        Self(waiting)
    }
}

impl Drop for Waits<'_> {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// What a thread that panicked left is whole: no invariant spans two changes.
fn lock<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
