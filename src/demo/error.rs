//! What can keep the demo from being written.

use std::path::{Path, PathBuf};

use crate::screen::ScreenError;
use crate::video::VideoError;

/// Why the demo was not written.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// A folder or file could not be written.
    #[error("cannot write {}", path.display())]
    Write {
        /// The folder or file.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// Something stands where the demo is to be written.
    #[error("{} exists already: give another directory, or --force to overwrite it", path.display())]
    Exists {
        /// What would be overwritten.
        path: PathBuf,
    },
    /// The width asked for does not give a picture that can be encoded.
    #[error("a width of {found} px, expected a multiple of 32 from 160 to 3840")]
    Width {
        /// The width asked for, px.
        found: u32,
    },
    /// A clip could not be encoded.
    #[error(transparent)]
    Video(#[from] VideoError),
    /// The case file could not be worded.
    #[error(transparent)]
    Case(#[from] ScreenError),
}

impl DemoError {
    /// The same error, of a file in the folder `of` in place of the temporary one.
    pub(crate) fn in_folder(self, temporary: &Path, of: &Path) -> Self {
        let named = |path: PathBuf| path.strip_prefix(temporary).map_or_else(|_| path.clone(), |name| of.join(name));
        match self {
            Self::Write { path, source } => Self::Write { path: named(path), source },
            Self::Video(VideoError::Write { path, source }) => {
                Self::Video(VideoError::Write { path: named(path), source })
            }
            other => other,
        }
    }
}
