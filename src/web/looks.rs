//! Pictures of visits that are being compared: one visit at a time, and always for the marks that it has by then.
//!
//! What they say is in the records before the work ends here, so that whoever asks sees one or the other.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::Semaphore;
use tokio::task::AbortHandle;
use tokio::time::{sleep, timeout};

use super::danger;
use super::decode::look::LookTask;
use super::decode::parent;
use super::error::{WebError, chain_words};
use super::measured;
use super::state::{App, blocking};
use crate::records::{OpenLook, VisitCase};

/// How long marks must have been left alone before their pictures are compared.
const PAUSE: Duration = Duration::from_millis(400);

/// How often it is looked whether a comparison has ended, by whoever waits for it.
const LOOK_AGAIN: Duration = Duration::from_millis(50);

/// How long a look that failed is left alone for the same marks: what was in its way may be gone by then.
const TRY_AGAIN_AFTER: Duration = Duration::from_secs(60);

/// The visits whose pictures are being compared.
pub(super) struct Looks {
    one_at_a_time: Semaphore,
    works: Mutex<HashMap<i64, Work>>,
    numbers: AtomicU64,
}

struct Work {
    number: u64,
    /// What the looks rest on.
    origins: Vec<String>,
    /// When it came to nothing, where it did.
    failed_at: Option<Instant>,
    task: AbortHandle,
}

impl Work {
    /// Whether it is what looks for these origins would be: under way, or failed a moment ago.
    fn stands_for(&self, origins: &[String], now: Instant) -> bool {
        let is_left_alone = |failed_at: Instant| now.duration_since(failed_at) < TRY_AGAIN_AFTER;
        self.origins == origins && self.failed_at.is_none_or(is_left_alone)
    }
}

impl Looks {
    pub(super) fn new() -> Self {
        Self { one_at_a_time: Semaphore::new(1), works: Mutex::new(HashMap::new()), numbers: AtomicU64::new(0) }
    }

    /// Whether a visit's pictures are being compared, or wait for it.
    pub(super) fn is_under_way(&self, visit: i64) -> bool {
        self.works().get(&visit).is_some_and(|work| work.failed_at.is_none())
    }

    /// Has the pictures of a visit compared as far as its case asks for it. Nothing happens where that is being done for the same marks,
    /// or failed less than [`TRY_AGAIN_AFTER`] ago, where there is nothing to look for, or under a danger sign.
    pub(super) fn see_to(app: &Arc<App>, visit: i64, case: &VisitCase) -> Result<(), WebError> {
        let open = &case.seen.open;
        if open.is_empty() || danger::refusal_of_visit(&app.records, visit)?.is_some() {
            app.looks.stop(visit);
            return Ok(());
        }
        let origins: Vec<String> = open.iter().map(|look| look.origin.clone()).collect();
        let mut works = app.looks.works();
        if let Some(work) = works.get(&visit) {
            if work.stands_for(&origins, Instant::now()) {
                return Ok(());
            }
            work.task.abort();
        }
        let number = app.looks.numbers.fetch_add(1, Ordering::Relaxed);
        // it waits for the lock before it changes anything
        let task = tokio::spawn(work(app.clone(), number, visit)).abort_handle();
        works.insert(visit, Work { number, origins, failed_at: None, task });
        Ok(())
    }

    /// Has the pictures of a visit compared, and waits for that, but no longer than `most`.
    pub(super) async fn settle(app: &Arc<App>, visit: i64, most: Duration) -> Result<(), WebError> {
        let known = app.clone();
        blocking(move || Self::see_to(&known, visit, &known.records.case_of(visit)?)).await?;
        let ended = async {
            while app.looks.is_under_way(visit) {
                sleep(LOOK_AGAIN).await;
            }
        };
        // what is not known by then is not measured
        let _ = timeout(most, ended).await;
        Ok(())
    }

    /// Stops comparing a visit's pictures; the child is killed.
    pub(super) fn stop(&self, visit: i64) {
        if let Some(work) = self.works().remove(&visit) {
            work.task.abort();
        }
    }

    fn works(&self) -> MutexGuard<'_, HashMap<i64, Work>> {
        // what a thread that panicked left is whole: no invariant spans two changes
        self.works.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Ends a piece of work, unless another has taken its place.
    fn end(&self, visit: i64, number: u64, has_failed: bool) {
        let mut works = self.works();
        match works.get_mut(&visit).filter(|work| work.number == number) {
            Some(work) if has_failed => work.failed_at = Some(Instant::now()),
            Some(_) => drop(works.remove(&visit)),
            None => {}
        }
    }
}

async fn work(app: Arc<App>, number: u64, visit: i64) {
    let done = look_and_keep(&app, visit).await;
    if let Err(error) = &done {
        app.log(&chain_words(error));
    }
    app.looks.end(visit, number, done.is_err());
}

async fn look_and_keep(app: &Arc<App>, visit: i64) -> Result<(), WebError> {
    sleep(PAUSE).await;
    let turn = app.looks.one_at_a_time.acquire().await;
    let _turn = turn.map_err(|_| WebError::Stopped { task: "comparing pictures" })?;
    let known = app.clone();
    let open = blocking(move || Ok(known.records.case_of(visit)?.seen.open)).await?;
    if open.is_empty() {
        return Ok(());
    }
    let (files, tasks) = tasks(app, &open);
    let answers = parent::look(&app.decoder, &files, &tasks).await?;
    let keeper = app.clone();
    blocking(move || {
        let answered: Vec<_> = open.into_iter().zip(answers).collect();
        keeper.records.keep_answers(visit, &answered)?;
        // so that whoever shows the result of the visit has one
        let case = keeper.records.case_of(visit)?;
        measured::measure(&keeper.records, visit, &case).map(|_| ())
    })
    .await
}

/// The files to look at, each once, and what to look for in them.
fn tasks(app: &App, open: &[OpenLook]) -> (Vec<PathBuf>, Vec<LookTask>) {
    let mut files: Vec<PathBuf> = Vec::new();
    let mut place = |media| {
        let path = app.records.media_path(media);
        files.iter().position(|known| *known == path).unwrap_or_else(|| {
            files.push(path);
            files.len() - 1
        })
    };
    let tasks = open.iter().map(|look| LookTask {
        file: place(&look.media),
        from_file: look.from_media.as_ref().map(&mut place),
        question: look.question.clone(),
    });
    let tasks = tasks.collect();
    (files, tasks)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_look_is_tried_again_after_a_minute_and_for_other_marks_at_once() {
        let runtime = tokio::runtime::Runtime::new().unwrap();
        let failed_at = Instant::now();
        let marks = |text: &str| vec![text.to_owned()];
        let task = runtime.spawn(async {}).abort_handle();
        let mut work = Work { number: 1, origins: marks("as they are"), failed_at: Some(failed_at), task };
        let later = |seconds| failed_at + Duration::from_secs(seconds);
        assert!(work.stands_for(&marks("as they are"), later(59)));
        assert!(!work.stands_for(&marks("as they are"), later(60)));
        assert!(!work.stands_for(&marks("moved"), later(1)));
        // one under way is waited for, however long it takes
        work.failed_at = None;
        assert!(work.stands_for(&marks("as they are"), later(3600)));
    }
}
