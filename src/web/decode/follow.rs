//! What runs in a child process to follow an arm through a clip.
//!
//! It takes minutes for long clips: it gives way to whatever else runs, says how far it has come, and ends with its input, so that it
//! does not outlive a server that was killed.

use std::io::{self, BufRead as _, Write};
use std::path::Path;
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};

use super::program::{end_with_input, give_way, limit_resources};
use crate::screen::{ArmToFollow, FollowedArm, ScreenError};

/// Processor time, s: the longest clip that is accepted takes about as long, in 4K.
const FOLLOW_CPU_S_MAX: u64 = 3600;

/// How often it is said how far it has come.
const TELL_EVERY: Duration = Duration::from_millis(100);

/// A line of what the child says.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FollowLine {
    /// So far it has come.
    Progress {
        /// Frames that are done.
        done: usize,
        /// Frames in all, as far as is known.
        all: usize,
    },
    /// The end: the arm.
    Followed(FollowedArm),
    /// The end: it cannot be followed, for this reason, without a full stop.
    Refused(String),
}

/// Follows an arm through the clip at `path`: takes an [`ArmToFollow`] as one line of JSON from standard input, and writes
/// [`FollowLine`]s as JSON to `out`. Ends early when its input ends.
///
/// # Errors
/// When the request cannot be read or `out` is closed.
pub fn follow(path: &Path, out: &mut impl Write) -> io::Result<()> {
    limit_resources(Some(FOLLOW_CPU_S_MAX))?;
    give_way();
    let mut line = String::new();
    io::stdin().lock().read_line(&mut line)?;
    let arm: ArmToFollow = serde_json::from_str(&line)?;
    end_with_input();
    let mut told = Instant::now();
    let mut said = Ok(());
    let followed = arm.follow(path, |done, all| {
        if said.is_ok() && (done == all || told.elapsed() >= TELL_EVERY) {
            told = Instant::now();
            said = say(out, &FollowLine::Progress { done, all });
        }
    });
    said?;
    let end = match followed {
        Ok(arm) => FollowLine::Followed(arm),
        Err(error) => FollowLine::Refused(reason(&error, path)),
    };
    say(out, &end)
}

fn say(out: &mut impl Write, line: &FollowLine) -> io::Result<()> {
    serde_json::to_writer(&mut *out, line)?;
    out.write_all(b"\n")?;
    out.flush()
}

fn reason(error: &ScreenError, path: &Path) -> String {
    crate::web::error::chain_words(error).replace(&path.display().to_string(), "this file")
}
