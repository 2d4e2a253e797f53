//! What can be wrong with the files of a visit, and what can keep a visit from being measured.

use std::path::PathBuf;

use super::problem::Problem;
use crate::video::VideoError;

/// Why the work asked for could not be done.
#[derive(Debug, thiserror::Error)]
pub enum ScreenError {
    /// The case, or a file that it names, has faults. All that were found are listed.
    #[error("{}", problem_lines(problems))]
    Invalid {
        /// Every problem found, in the order of the files.
        problems: Vec<Problem>,
    },
    /// A marks file has no mark placed by hand.
    #[error("{} has no mark placed by hand to follow", path.display())]
    NothingToFollow {
        /// The marks file.
        path: PathBuf,
    },
    /// A file could not be written.
    #[error("{} could not be written", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// The cause.
        #[source]
        source: std::io::Error,
    },
    /// A case holds what TOML cannot, such as a path that is not UTF-8.
    #[error("the case cannot be written as TOML")]
    Format {
        /// The cause.
        #[source]
        source: toml::ser::Error,
    },
    /// A picture could not be decoded.
    #[error("a picture could not be decoded")]
    Video {
        /// The cause.
        #[source]
        source: VideoError,
    },
}

fn problem_lines(problems: &[Problem]) -> String {
    problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n")
}
