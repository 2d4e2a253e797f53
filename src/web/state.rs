//! What the server holds while it runs.

use std::path::PathBuf;

use super::error::WebError;
use super::guard::Guard;
use crate::records::Records;

/// How the server is set up.
pub struct Options {
    /// The data folder.
    pub data: PathBuf,
    /// Takes a line for each fault of the server's own.
    pub log: Box<dyn Fn(&str) + Send + Sync>,
}

/// The server's state.
pub struct App {
    /// Secrets and names.
    pub guard: Guard,
    /// Clients, visits, marks and media.
    pub records: Records,
    log: Box<dyn Fn(&str) + Send + Sync>,
}

impl App {
    /// Opens the records for a server on `port`.
    ///
    /// # Errors
    /// [`WebError::Records`] when they cannot be opened.
    pub fn open(port: u16, options: Options) -> Result<Self, WebError> {
        Ok(Self { guard: Guard::new(port), records: Records::open(&options.data)?, log: options.log })
    }

    pub(super) fn log(&self, text: &str) {
        (self.log)(text);
    }
}
