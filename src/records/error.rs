//! What can keep the records from doing what was asked.

use std::path::PathBuf;

use crate::pose::Rotation;
use crate::screen::Occasion;
use crate::screen::words::reach_name;

/// Why something could not be recorded or found.
#[derive(Debug, thiserror::Error)]
pub enum RecordsError {
    /// The folder cannot be made or used.
    #[error("cannot use the data folder {}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// Another program has the folder.
    #[error(
        "another tworeach serves the data folder {} already: use its page, stop it, or give another folder with --data",
        path.display()
    )]
    InUse {
        /// The folder.
        path: PathBuf,
    },
    /// The database could not do it.
    #[error("the database cannot {step}")]
    Database {
        /// What was being done.
        step: &'static str,
        /// What the database said.
        #[source]
        source: rusqlite::Error,
    },
    /// The database is damaged.
    #[error("the database {} is damaged: {found}; put back a copy of the data folder", path.display())]
    Damaged {
        /// The database.
        path: PathBuf,
        /// What the integrity check found first.
        found: String,
    },
    /// The database was written by a later version of the program.
    #[error("the database is at version {found}, this program knows versions up to {known}: use a newer program")]
    TooNew {
        /// Its version.
        found: i64,
        /// The latest version known.
        known: i64,
    },
    /// A result in the records cannot be read, or one cannot be written as JSON.
    #[error("a result in the records has no form that can be read")]
    Document {
        /// What is wrong with it.
        #[source]
        source: serde_json::Error,
    },
    /// There is no such thing in the records.
    #[error("there is no such {what}")]
    NotFound {
        /// What was looked for.
        what: &'static str,
    },
    /// Another client has the code.
    #[error("another client has the code {code}")]
    CodeTaken {
        /// The code.
        code: String,
    },
    /// The visit has such a reach already.
    #[error("the visit has such a reach already: delete it first")]
    ReachTaken,
    /// Another reach of the visit is the same file.
    #[error("this file is the clip of the {} already: choose this reach's own", reach_name(*rotation, *occasion))]
    ClipTaken {
        /// How the shoulders are turned in the other reach.
        rotation: Rotation,
        /// When the other reach was filmed.
        occasion: Occasion,
    },
    /// A media file cannot be read or written.
    #[error("cannot {step} a clip or still in the data folder")]
    Media {
        /// What was being done.
        step: &'static str,
        /// What the system said.
        #[source]
        source: std::io::Error,
    },
    /// The case of a visit has no form as a file.
    #[error("the visit cannot be written as a case")]
    Case {
        /// What is wrong.
        #[source]
        source: crate::screen::ScreenError,
    },
    /// An export cannot be written.
    #[error("cannot write the export")]
    Export {
        /// What the archive's writer said.
        #[source]
        source: zip::result::ZipError,
    },
}

/// Names the step that a database error stopped.
pub(crate) fn database(step: &'static str) -> impl FnOnce(rusqlite::Error) -> RecordsError {
    move |source| RecordsError::Database { step, source }
}
