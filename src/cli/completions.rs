//! `tworeach completions`: a script that lets a shell complete commands, options and file names.

use std::io::{self, Write as _};

use clap::CommandFactory as _;
use clap_complete::Shell;

/// Prints the completions for a shell.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach completions bash > ~/.local/share/bash-completion/completions/tworeach
  tworeach completions fish > ~/.config/fish/completions/tworeach.fish
  tworeach completions zsh > a directory of $fpath, as _tworeach")]
pub(super) struct Args {
    /// The shell.
    shell: Shell,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    // the generator panics when its output is closed: it gets memory, and the text goes out by itself
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut super::Cli::command(), "tworeach", &mut script);
    let mut out = io::stdout().lock();
    out.write_all(&script)?;
    out.flush()?;
    Ok(())
}
