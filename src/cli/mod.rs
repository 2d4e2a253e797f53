//! The command line: reads input, calls one library function, shows what it returns. One file per command.

use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Measures a two-reach overhead screen from phone video, says how sure it is, and makes the call.
#[derive(Debug, Parser)]
#[command(version, about)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {}

/// Runs the command line. Exit code 0 done, 1 failed, 2 wrong usage; a verdict never sets it.
#[must_use]
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    match cli.command {}
}
