//! `tworeach check`: reads a case and all that it names, measures nothing, and names every problem at once.

use std::io::{self, Write as _};
use std::path::PathBuf;

use anyhow::bail;

use super::table::print_warnings;
use crate::screen::{CaseCheck, check_case};

/// Reads a case and everything that it names, measures nothing, and names every problem with file, line and field.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach check case.toml
  tworeach check case.toml --json

Exit code 0 without a problem, 1 with problems, 2 wrong usage.")]
pub(super) struct Args {
    /// The case file.
    case: PathBuf,
    /// Print problems (file, line and text) and warnings as JSON.
    #[arg(long)]
    json: bool,
    /// Print nothing when all is well.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let CaseCheck { problems, warnings } = check_case(&args.case);
    let mut out = io::stdout().lock();
    if args.json {
        let list: Vec<serde_json::Value> = problems
            .iter()
            .map(|problem| {
                serde_json::json!({
                    "file": problem.file.to_string_lossy(),
                    "line": problem.line,
                    "text": problem.fault.to_string(),
                })
            })
            .collect();
        serde_json::to_writer_pretty(&mut out, &serde_json::json!({ "problems": list, "warnings": warnings }))?;
        writeln!(out)?;
    } else {
        for problem in &problems {
            writeln!(out, "{problem}")?;
        }
        print_warnings(&mut out, &warnings)?;
        if problems.is_empty() && !args.quiet {
            writeln!(out, "{}: no problem found", args.case.display())?;
        }
    }
    out.flush()?;
    match problems.len() {
        0 => Ok(()),
        1 => bail!("1 problem in {}", args.case.display()),
        count => bail!("{count} problems in {}", args.case.display()),
    }
}
