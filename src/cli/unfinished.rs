//! What is not finished when the user stops the program: it goes, so that nothing half-written is taken for whole.
//!
//! A list of temporary files and new folders, and a thread that waits for Ctrl-C or a request to end, removes them and ends
//! the program. Whoever finishes or gives up an output takes it off the list.

use std::fs;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, Once, PoisonError};
use std::thread;

/// How often a folder is emptied while the work that fills it has not noticed yet.
const TRIES: usize = 20;

/// What to remove.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Leftover {
    File(PathBuf),
    /// A folder with all that is in it.
    Folder(PathBuf),
    /// A folder that goes only if nothing is in it.
    EmptyFolder(PathBuf),
}

static UNFINISHED: Mutex<Vec<Leftover>> = Mutex::new(Vec::new());
static WAITER: Once = Once::new();

/// An output that is not finished; off the list when this is dropped.
#[derive(Debug)]
pub(super) struct Unfinished(Leftover);

impl Unfinished {
    /// A temporary file.
    pub(super) fn file(path: &Path) -> Self {
        Self::note(Leftover::File(path.to_owned()))
    }

    /// A temporary folder and all that is in it.
    pub(super) fn folder(path: &Path) -> Self {
        Self::note(Leftover::Folder(path.to_owned()))
    }

    /// A new folder for finished files.
    pub(super) fn empty_folder(path: &Path) -> Self {
        Self::note(Leftover::EmptyFolder(path.to_owned()))
    }

    fn note(leftover: Leftover) -> Self {
        WAITER.call_once(remove_when_stopped);
        list().push(leftover.clone());
        Self(leftover)
    }
}

impl Drop for Unfinished {
    fn drop(&mut self) {
        list().retain(|other| *other != self.0);
    }
}

/// Holds off the end of the program while finished files get their names. Nothing can be put on the list or taken off it
/// meanwhile.
pub(super) fn finishing() -> MutexGuard<'static, impl Sized> {
    list()
}

fn list() -> MutexGuard<'static, Vec<Leftover>> {
    // a list is whole whatever its holder met with
    UNFINISHED.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Waits for Ctrl-C and for a request to end, in a thread of its own. Without that thread the program ends as any other does,
/// at once.
fn remove_when_stopped() {
    let waiter = || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_io().build();
        let Ok(code) = runtime.and_then(|runtime| runtime.block_on(stopped())) else { return };
        // kept locked: nothing gets a name from here on
        let unfinished = list();
        unfinished.iter().rev().for_each(remove);
        let _ = writeln!(io::stderr(), "\ntworeach: stopped; nothing unfinished was kept");
        std::process::exit(code);
    };
    let _ = thread::Builder::new().name("stop".to_owned()).spawn(waiter);
}

/// The exit code of a program that was stopped: 128 and the signal's number, as shells have it.
async fn stopped() -> io::Result<i32> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let mut end = signal(SignalKind::terminate())?;
        tokio::select! {
            interrupted = tokio::signal::ctrl_c() => interrupted.map(|()| 130),
            _ = end.recv() => Ok(143),
        }
    }
    #[cfg(not(unix))]
    tokio::signal::ctrl_c().await.map(|()| 130)
}

/// Removes what can be removed: a program that is stopped has nobody to tell of the rest.
fn remove(leftover: &Leftover) {
    match leftover {
        Leftover::File(path) => drop(fs::remove_file(path)),
        Leftover::EmptyFolder(path) => drop(fs::remove_dir(path)),
        Leftover::Folder(path) => {
            for _ in 0..TRIES {
                if fs::remove_dir_all(path).is_ok() || !path.exists() {
                    break;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_finished_is_off_the_list_and_what_is_not_goes() {
        let folder = tempfile::tempdir().unwrap();
        let (kept, gone, full) = (folder.path().join("kept"), folder.path().join("gone"), folder.path().join("full"));
        fs::write(&kept, "").unwrap();
        fs::write(&gone, "").unwrap();
        fs::create_dir(&full).unwrap();
        fs::write(full.join("result"), "").unwrap();
        let finished = Unfinished::file(&kept);
        let unfinished = [Unfinished::file(&gone), Unfinished::empty_folder(&full)];
        drop(finished);
        let is_listed = |path: &Path| list().contains(&Leftover::File(path.to_owned()));
        assert!(!is_listed(&kept) && is_listed(&gone));
        unfinished.iter().for_each(|Unfinished(leftover)| remove(leftover));
        assert!(kept.exists() && !gone.exists() && full.join("result").exists());
        remove(&Leftover::Folder(full.clone()));
        assert!(!full.exists());
    }
}
