//! The hidden commands in which the server decodes clips, each a child process with bounds of its own.

use std::io;
use std::path::PathBuf;

use crate::web::decode::{calibrate as calibration, follow as following, look as looking, program};

/// Looks at a clip or still from end to end.
#[derive(Debug, clap::Args)]
pub(super) struct CheckArgs {
    /// The clip or still.
    file: PathBuf,
    /// Where small pictures of its frames go.
    previews: PathBuf,
}

/// Shows frames at the times that standard input names.
#[derive(Debug, clap::Args)]
pub(super) struct ShowArgs {
    /// The clip or still.
    file: PathBuf,
}

/// Carries the marks that standard input names from one clip or still to another.
#[derive(Debug, clap::Args)]
pub(super) struct CarryArgs {
    /// The clip or still that they are on.
    from: PathBuf,
    /// The one that they are carried to.
    to: PathBuf,
}

/// Follows the arm that standard input names through a clip.
#[derive(Debug, clap::Args)]
pub(super) struct FollowArgs {
    /// The clip.
    file: PathBuf,
}

/// Looks at clips and stills as standard input asks.
#[derive(Debug, clap::Args)]
pub(super) struct LookArgs {
    /// The clips and stills.
    files: Vec<PathBuf>,
}

/// Runs the check.
pub(super) fn check(args: &CheckArgs) -> anyhow::Result<()> {
    Ok(program::check(&args.file, &args.previews, &mut io::stdout().lock())?)
}

/// Shows frames.
pub(super) fn show(args: &ShowArgs) -> anyhow::Result<()> {
    Ok(program::show_frames(&args.file, &mut io::stdout().lock())?)
}

/// Carries marks.
pub(super) fn carry(args: &CarryArgs) -> anyhow::Result<()> {
    Ok(program::carry(&args.from, &args.to, &mut io::stdout().lock())?)
}

/// Makes a lens profile as standard input asks.
pub(super) fn calibrate() -> anyhow::Result<()> {
    Ok(calibration::calibrate(&mut io::stdout().lock())?)
}

/// Follows an arm.
pub(super) fn follow(args: &FollowArgs) -> anyhow::Result<()> {
    Ok(following::follow(&args.file, &mut io::stdout().lock())?)
}

/// Looks at pictures.
pub(super) fn look(args: &LookArgs) -> anyhow::Result<()> {
    Ok(looking::look(&args.files, &mut io::stdout().lock())?)
}
