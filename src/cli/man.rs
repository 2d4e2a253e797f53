//! `tworeach man`: the manual pages, made from the same text as `--help`.

use std::io::{self, Write as _};
use std::path::PathBuf;

use clap::CommandFactory as _;

use super::outputs::OutputFolder;

/// Prints the manual page, or writes one page for every command.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach man | man -l -
  tworeach man --out ~/.local/share/man/man1")]
pub(super) struct Args {
    /// Directory for the pages of all commands, in place of printing the first.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Overwrite existing pages.
    #[arg(long, requires = "out")]
    force: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let mut command = super::Cli::command().disable_help_subcommand(true);
    command.build();
    let Some(folder) = &args.out else {
        let mut page = Vec::new();
        clap_mangen::Man::new(command).render(&mut page)?;
        let mut out = io::stdout().lock();
        out.write_all(&page)?;
        out.flush()?;
        return Ok(());
    };
    let mut outputs = OutputFolder::open(folder, &[], args.force)?;
    for command in with_subcommands(command) {
        let man = clap_mangen::Man::new(command);
        let mut page = Vec::new();
        man.render(&mut page)?;
        outputs.write(&man.get_filename(), &page)?;
    }
    outputs.finish(&[])?;
    Ok(())
}

/// A command, its subcommands, and theirs.
fn with_subcommands(command: clap::Command) -> Vec<clap::Command> {
    let visible = command.get_subcommands().filter(|command| !command.is_hide_set() && command.get_name() != "help");
    let below: Vec<clap::Command> = visible.cloned().flat_map(with_subcommands).collect();
    std::iter::once(command).chain(below).collect()
}
