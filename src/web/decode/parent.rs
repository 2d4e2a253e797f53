//! Starts a child, waits for it no longer than it may take, and believes nothing it says without a look.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use axum::body::Bytes;
use serde::Serialize;
use serde::de::DeserializeOwned;
use tokio::io::{AsyncBufReadExt as _, AsyncReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::process::{Child, ChildStdin, ChildStdout, Command};
use tokio::time::timeout;

use super::calibrate::{CalibrateOutcome, CalibrateRequest};
use super::follow::FollowLine;
use super::look::LookTask;
use super::program::{CarryOutcome, CarryRequest, NO_FRAME, Report};
use crate::screen::{Answer, ArmToFollow, FollowedArm};
use crate::web::error::WebError;

/// The hidden command that looks at a clip.
pub const CHECK_COMMAND: &str = "decode-check";

/// The hidden command that shows frames of a clip.
pub const SHOW_COMMAND: &str = "decode-show";

/// How long a look at a whole clip may take.
const CHECK_TIME: Duration = Duration::from_secs(300);

/// The hidden command that carries marks from one clip to another.
pub const CARRY_COMMAND: &str = "decode-carry";

/// How long carrying may take.
const CARRY_TIME: Duration = Duration::from_secs(60);

/// The hidden command that makes a lens profile.
pub const CALIBRATE_COMMAND: &str = "decode-calibrate";

/// The longest answer with a lens profile and its page, which carries its typeface, bytes.
const SHEET_BYTES_MAX: u64 = 4 << 20;

/// The hidden command that follows an arm through a clip.
pub const FOLLOW_COMMAND: &str = "decode-follow";

/// All that the child that follows may say, bytes: numbers for each of the most frames, and how far it has come for as long as it may
/// take.
const FOLLOWED_BYTES_MAX: u64 = 16 << 20;

/// The hidden command that looks at the pictures of a visit.
pub const LOOK_COMMAND: &str = "decode-look";

/// How long a frame may take.
const FRAME_TIME: Duration = Duration::from_secs(10);

/// The longest report, bytes: a time for each of the most frames, and room.
const REPORT_BYTES_MAX: u64 = 1 << 20;

/// The largest picture that is taken from a child, bytes.
const PICTURE_BYTES_MAX: u32 = 64 << 20;

/// Has a child look at the file at `path`, which also writes small pictures of its frames to `previews`.
pub(in crate::web) async fn check(program: &Path, path: &Path, previews: &Path) -> Result<Report, WebError> {
    let failed = |source| WebError::Io { step: "start the decoder", source };
    let mut child = command(program)
        .args([CHECK_COMMAND.as_ref(), path.as_os_str(), previews.as_os_str()])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(failed)?;
    let out = child.stdout.take().ok_or(WebError::Stopped { task: "the decoder" })?;
    let looked = timeout(CHECK_TIME, async {
        let mut said = Vec::new();
        out.take(REPORT_BYTES_MAX).read_to_end(&mut said).await?;
        child.wait().await.map(|status| (status, said))
    });
    let refused = |reason: String| Ok(Report::Refused(reason));
    match looked.await {
        Err(_) => refused(format!("this file could not be decoded within {} s", CHECK_TIME.as_secs())),
        Ok(Err(source)) => Err(failed(source)),
        // the decoder gave up, ran out of memory or time, or was brought down
        Ok(Ok((status, _))) if !status.success() => {
            refused("this file brought the decoder down: it is damaged, or larger than can be decoded".to_owned())
        }
        Ok(Ok((_, said))) => serde_json::from_slice(&said).map_err(|_| WebError::Stopped { task: "the decoder" }),
    }
}

/// Has a child carry marks from the clip or still at `from` to that at `to`; gives what became of each, by its name.
pub(in crate::web) async fn carry(
    program: &Path,
    from: &Path,
    to: &Path,
    request: &CarryRequest,
) -> Result<BTreeMap<String, CarryOutcome>, WebError> {
    let arguments = [CARRY_COMMAND.as_ref(), from.as_os_str(), to.as_os_str()];
    let task = Task { name: "carrying marks", time: CARRY_TIME, answer_bytes: REPORT_BYTES_MAX, ends_early: false };
    answer(program, &arguments, request, &task).await?.ok_or(WebError::Stopped { task: task.name })
}

/// Has a child make a lens profile. A child that gave up, or ran out of memory or time, refuses the files.
pub(in crate::web) async fn calibrate(
    program: &Path,
    request: &CalibrateRequest,
) -> Result<CalibrateOutcome, WebError> {
    let task =
        Task { name: "making a lens profile", time: CHECK_TIME, answer_bytes: SHEET_BYTES_MAX, ends_early: false };
    let made = answer(program, &[CALIBRATE_COMMAND.as_ref()], request, &task).await?;
    Ok(made.unwrap_or_else(|| {
        CalibrateOutcome::Refused(format!(
            "these files brought the decoder down, or took longer than {} s: they are damaged, or larger than can be looked \
             through",
            CHECK_TIME.as_secs()
        ))
    }))
}

/// Has a child follow an arm through the clip at `path`; `on_frame` is told how many frames of how many are done. The inner error is
/// why it cannot be followed, without a full stop. The child is killed when this is dropped.
pub(in crate::web) async fn follow(
    program: &Path,
    path: &Path,
    arm: &ArmToFollow,
    on_frame: impl Fn(usize, usize),
) -> Result<Result<FollowedArm, String>, WebError> {
    let failed = |source| WebError::Io { step: "start the decoder", source };
    let stopped = || WebError::Stopped { task: "following a clip" };
    let mut child = command(program)
        .args([FOLLOW_COMMAND.as_ref(), path.as_os_str()])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .map_err(failed)?;
    // kept to the end: the child ends with it
    let (mut input, out) = (child.stdin.take().ok_or_else(stopped)?, child.stdout.take().ok_or_else(stopped)?);
    let mut asked = serde_json::to_vec(arm).map_err(|_| stopped())?;
    asked.push(b'\n');
    // a child that ended at once is told of below
    let _ = input.write_all(&asked).await;
    let mut lines = BufReader::new(out.take(FOLLOWED_BYTES_MAX)).lines();
    loop {
        // the whole clip was decoded within that time when it was brought in: no two frames are further apart
        let Ok(line) = timeout(CHECK_TIME, lines.next_line()).await else { return Err(stopped()) };
        let Some(line) = line.map_err(failed)? else { return Err(stopped()) };
        match serde_json::from_str(&line).map_err(|_| stopped())? {
            FollowLine::Progress { done, all } => on_frame(done, all),
            FollowLine::Followed(arm) => return Ok(Ok(arm)),
            FollowLine::Refused(reason) => return Ok(Err(reason)),
        }
    }
}

/// Has a child look at the clips and stills `files`; gives an answer to each task. The child is killed when this is dropped.
pub(in crate::web) async fn look(
    program: &Path,
    files: &[PathBuf],
    tasks: &[LookTask],
) -> Result<Vec<Answer>, WebError> {
    let arguments: Vec<&OsStr> =
        std::iter::once(LOOK_COMMAND.as_ref()).chain(files.iter().map(|file| file.as_os_str())).collect();
    let task = Task { name: "comparing pictures", time: CHECK_TIME, answer_bytes: REPORT_BYTES_MAX, ends_early: true };
    let answers: Option<Vec<Answer>> = answer(program, &arguments, &tasks, &task).await?;
    answers.filter(|answers| answers.len() == tasks.len()).ok_or(WebError::Stopped { task: task.name })
}

/// What a child is asked to do, and the bounds on it.
struct Task {
    name: &'static str,
    time: Duration,
    answer_bytes: u64,
    /// The request is a line, and the child ends when its input does.
    ends_early: bool,
}

/// Sends a child a request and takes its answer; `None` where it failed or took too long.
async fn answer<Answer: DeserializeOwned>(
    program: &Path,
    arguments: &[&OsStr],
    request: &(impl Serialize + ?Sized),
    task: &Task,
) -> Result<Option<Answer>, WebError> {
    let failed = |source| WebError::Io { step: "start the decoder", source };
    let stopped = || WebError::Stopped { task: task.name };
    let mut child =
        command(program).args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().map_err(failed)?;
    let (mut input, out) = (child.stdin.take().ok_or_else(stopped)?, child.stdout.take().ok_or_else(stopped)?);
    let mut asked = serde_json::to_vec(request).map_err(|_| stopped())?;
    asked.push(b'\n');
    let answered = timeout(task.time, async {
        input.write_all(&asked).await?;
        // otherwise the request ends with its input
        let _kept = task.ends_early.then_some(input);
        let mut said = Vec::new();
        out.take(task.answer_bytes).read_to_end(&mut said).await?;
        child.wait().await.map(|status| (status, said))
    });
    match answered.await {
        Ok(Ok((status, said))) if status.success() => serde_json::from_slice(&said).map(Some).map_err(|_| stopped()),
        Ok(Err(source)) => Err(failed(source)),
        Ok(Ok(_)) | Err(_) => Ok(None),
    }
}

/// A child that shows frames of one clip.
pub(in crate::web) struct FrameChild {
    // killed when dropped
    _child: Child,
    input: ChildStdin,
    output: ChildStdout,
}

impl FrameChild {
    /// Starts it.
    pub(in crate::web) fn start(program: &Path, path: PathBuf) -> Result<Self, WebError> {
        let failed = |source| WebError::Io { step: "start the decoder", source };
        let mut child = command(program)
            .args([SHOW_COMMAND.as_ref(), path.as_os_str()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(failed)?;
        let stopped = || WebError::Stopped { task: "the decoder" };
        let (input, output) = (child.stdin.take().ok_or_else(stopped)?, child.stdout.take().ok_or_else(stopped)?);
        Ok(Self { _child: child, input, output })
    }

    /// The frame shown at a time, s, as JPEG; `None` where the clip has none that can be shown. After an error the child is
    /// of no use any more.
    pub(in crate::web) async fn frame(&mut self, time_s: f64) -> Result<Option<Bytes>, WebError> {
        let asked = async {
            self.input.write_all(format!("{time_s}\n").as_bytes()).await?;
            self.input.flush().await?;
            let length = self.output.read_u32_le().await?;
            if length == NO_FRAME {
                return Ok(None);
            }
            if length > PICTURE_BYTES_MAX {
                return Err(std::io::Error::other("a picture that is too large"));
            }
            let mut jpeg = vec![0; usize::try_from(length).map_err(std::io::Error::other)?];
            self.output.read_exact(&mut jpeg).await?;
            Ok(Some(Bytes::from(jpeg)))
        };
        match timeout(FRAME_TIME, asked).await {
            Ok(Ok(frame)) => Ok(frame),
            Ok(Err(source)) => Err(WebError::Io { step: "take a frame from the decoder", source }),
            Err(_) => Err(WebError::Stopped { task: "the decoder" }),
        }
    }
}

fn command(program: &Path) -> Command {
    let mut command = Command::new(program);
    // an arena for each thread would count against the bound on memory without being used
    command.env("MALLOC_ARENA_MAX", "1").stderr(Stdio::null()).kill_on_drop(true);
    command
}
