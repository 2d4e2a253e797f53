//! Arms that are being followed through their clips: one at a time, the others wait for their turn.
//!
//! What was followed is in the records before its work ends here, so that whoever asks sees one or the other.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use tokio::sync::Semaphore;
use tokio::task::AbortHandle;

use super::decode::parent;
use super::error::{WebError, chain_words};
use super::state::{App, blocking};
use super::text;
use crate::records::KeptArm;
use crate::screen::ArmToFollow;

/// How it stands with the following of a clip.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum FollowState {
    /// Another clip is being followed.
    Waiting,
    /// Under way.
    Running {
        /// Frames that are done.
        done: usize,
        /// Frames in all.
        all: usize,
        /// When the first was done.
        begun: Instant,
    },
    /// It came to nothing, for this reason.
    Failed(String),
}

/// The clips that are being followed, by their reaches.
pub(super) struct Follows {
    one_at_a_time: Semaphore,
    works: Mutex<HashMap<i64, Work>>,
    numbers: AtomicU64,
}

struct Work {
    number: u64,
    origin: String,
    state: FollowState,
    task: AbortHandle,
}

/// What is to be followed.
pub(super) struct Wanted {
    pub(super) reach: i64,
    /// The clip.
    pub(super) clip: PathBuf,
    pub(super) arm: ArmToFollow,
    /// A hash of all that it rests on.
    pub(super) origin: String,
}

impl Follows {
    pub(super) fn new() -> Self {
        Self { one_at_a_time: Semaphore::new(1), works: Mutex::new(HashMap::new()), numbers: AtomicU64::new(0) }
    }

    /// How it stands with a reach; `None` where nothing is under way.
    pub(super) fn state(&self, reach: i64) -> Option<FollowState> {
        self.works().get(&reach).map(|work| work.state.clone())
    }

    /// Follows an arm. Where it is being followed from the same marks that goes on, from others it is begun anew.
    pub(super) fn start(app: &Arc<App>, wanted: Wanted) {
        let mut works = app.follows.works();
        if let Some(work) = works.get(&wanted.reach) {
            if work.origin == wanted.origin && !matches!(work.state, FollowState::Failed(_)) {
                return;
            }
            work.task.abort();
        }
        let number = app.follows.numbers.fetch_add(1, Ordering::Relaxed);
        let (reach, origin) = (wanted.reach, wanted.origin.clone());
        // it waits for the lock before it changes anything
        let task = tokio::spawn(work(app.clone(), number, wanted)).abort_handle();
        works.insert(reach, Work { number, origin, state: FollowState::Waiting, task });
    }

    /// Stops following a reach's clip, whose child is killed.
    pub(super) fn stop(&self, reach: i64) {
        if let Some(work) = self.works().remove(&reach) {
            work.task.abort();
        }
    }

    fn works(&self) -> MutexGuard<'_, HashMap<i64, Work>> {
        // what a thread that panicked left is whole: no invariant spans two changes
        self.works.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Changes a piece of work, unless another has taken its place.
    fn change(&self, reach: i64, number: u64, state: Option<FollowState>) {
        let mut works = self.works();
        let Some(work) = works.get_mut(&reach).filter(|work| work.number == number) else { return };
        match state {
            Some(state) => work.state = state,
            None => drop(works.remove(&reach)),
        }
    }

    fn note_progress(&self, reach: i64, number: u64, done: usize, all: usize) {
        let begun = match self.state(reach) {
            Some(FollowState::Running { begun, .. }) => begun,
            _ => Instant::now(),
        };
        self.change(reach, number, Some(FollowState::Running { done, all, begun }));
    }
}

async fn work(app: Arc<App>, number: u64, wanted: Wanted) {
    let reach = wanted.reach;
    let failed = match follow_and_keep(&app, number, wanted).await {
        Ok(None) => None,
        Ok(Some(reason)) => Some(text::mark::follow_refused(&reason)),
        Err(error) => {
            app.log(&chain_words(&error));
            Some(text::mark::FOLLOW_FAILED.to_owned())
        }
    };
    app.follows.change(reach, number, failed.map(FollowState::Failed));
}

/// The reason why it cannot be followed, if so.
async fn follow_and_keep(app: &Arc<App>, number: u64, wanted: Wanted) -> Result<Option<String>, WebError> {
    let Wanted { reach, clip, arm, origin } = wanted;
    let turn = app.follows.one_at_a_time.acquire().await;
    let _turn = turn.map_err(|_| WebError::Stopped { task: "following a clip" })?;
    app.follows.note_progress(reach, number, 0, 0);
    let on_frame = |done, all| app.follows.note_progress(reach, number, done, all);
    match parent::follow(&app.decoder, &clip, &arm, on_frame).await? {
        Err(reason) => Ok(Some(reason)),
        Ok(arm) => {
            let keeper = app.clone();
            blocking(move || Ok(keeper.records.keep_followed(reach, &KeptArm { origin, arm })?)).await?;
            Ok(None)
        }
    }
}
