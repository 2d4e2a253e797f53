//! What the server holds while it runs.

use std::path::PathBuf;

use tokio::sync::{Mutex, Semaphore};

use super::error::WebError;
use super::follow::Follows;
use super::frames::FrameStore;
use super::guard::Guard;
use super::looks::Looks;
use crate::records::Records;

/// How the server is set up.
pub struct Options {
    /// The data folder.
    pub data: PathBuf,
    /// This program, which has the hidden commands that decode.
    pub decoder: PathBuf,
    /// Bounds on uploads.
    pub limits: UploadLimits,
    /// Takes a line for each fault of the server's own.
    pub log: Box<dyn Fn(&str) + Send + Sync>,
}

/// Bounds on uploads.
#[derive(Debug, Clone, Copy)]
pub struct UploadLimits {
    /// The largest file, bytes.
    pub upload_bytes: u64,
    /// Uploads at once.
    pub uploads: usize,
    /// Clips that are looked at from end to end at once.
    pub checks: usize,
}

impl Default for UploadLimits {
    /// 2 GB a file, as a phone's longest 4K clips have; four uploads at once, of which one is looked at.
    fn default() -> Self {
        Self { upload_bytes: 2_000_000_000, uploads: 4, checks: 1 }
    }
}

/// The server's state.
pub struct App {
    /// Secrets and names.
    pub guard: Guard,
    /// Clients, visits, marks and media.
    pub records: Records,
    pub(super) decoder: PathBuf,
    pub(super) limits: UploadLimits,
    pub(super) uploads: Semaphore,
    pub(super) checks: Semaphore,
    /// Taken while marks are carried, which keeps a core busy: one at a time.
    pub(super) carrying: Semaphore,
    pub(super) frames: FrameStore,
    pub(super) follows: Follows,
    pub(super) looks: Looks,
    /// Held while the demo case is made, so that two clicks make one.
    pub(super) demo: Mutex<()>,
    log: Box<dyn Fn(&str) + Send + Sync>,
}

impl App {
    /// Opens the records for a server on `port`.
    ///
    /// # Errors
    /// [`WebError::Records`] when they cannot be opened.
    pub fn open(port: u16, options: Options) -> Result<Self, WebError> {
        Ok(Self::with(Records::open(&options.data)?, port, options))
    }

    /// The same for records that are open.
    pub(super) fn with(records: Records, port: u16, options: Options) -> Self {
        let Options { decoder, limits, log, .. } = options;
        Self {
            guard: Guard::new(port),
            records,
            frames: FrameStore::new(decoder.clone()),
            decoder,
            limits,
            uploads: Semaphore::new(limits.uploads),
            checks: Semaphore::new(limits.checks),
            carrying: Semaphore::new(1),
            follows: Follows::new(),
            looks: Looks::new(),
            demo: Mutex::new(()),
            log,
        }
    }

    pub(super) fn log(&self, text: &str) {
        (self.log)(text);
    }
}

/// Runs what waits for the disk or computes for long where it holds up no other request.
pub(super) async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, WebError> + Send + 'static,
) -> Result<T, WebError> {
    tokio::task::spawn_blocking(work).await.map_err(|_| WebError::Stopped { task: "a request" })?
}
