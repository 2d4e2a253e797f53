//! The command line: reads input, calls one library function, shows what it returns. One file per command.

mod accuracy;
mod board;
mod calibrate;
mod carry;
mod check;
mod completions;
mod decode;
mod demo;
mod inspect;
mod man;
mod measure;
mod output;
mod outputs;
mod plan;
mod progress;
mod repeatability;
mod schema;
mod serve;
mod still;
mod table;
mod track;
mod unfinished;

use std::io::{self, Write as _};
use std::process::ExitCode;

use clap::{Parser, Subcommand};

/// Measures a two-reach overhead screen from phone video, says how sure it is, and makes the call.
#[derive(Debug, Parser)]
#[command(
    version,
    about,
    after_help = "Examples:
  tworeach inspect raise.mp4                    what a clip is
  tworeach check case.toml                      every problem of a case at once
  tworeach measure case.toml --out results      angles, call, retest and report

Colours are off when the output is no terminal or NO_COLOR is set. Exit code 0 is done, 1 failed, 2 wrong usage; a verdict \
never sets it."
)]
pub struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Accuracy(accuracy::Args),
    Board(board::Args),
    Calibrate(calibrate::Args),
    Carry(carry::Args),
    Check(check::Args),
    Completions(completions::Args),
    /// Makes a lens profile as standard input asks.
    #[command(hide = true)]
    DecodeCalibrate,
    #[command(hide = true)]
    DecodeCarry(decode::CarryArgs),
    #[command(hide = true)]
    DecodeCheck(decode::CheckArgs),
    #[command(hide = true)]
    DecodeFollow(decode::FollowArgs),
    #[command(hide = true)]
    DecodeLook(decode::LookArgs),
    #[command(hide = true)]
    DecodeShow(decode::ShowArgs),
    Demo(demo::Args),
    Inspect(inspect::Args),
    Man(man::Args),
    Measure(measure::Args),
    Plan(plan::Args),
    Repeatability(repeatability::Args),
    Schema(schema::Args),
    Serve(serve::Args),
    Still(still::Args),
    Track(track::Args),
}

/// Runs the command line. Exit code 0 done, 1 failed, 2 wrong usage; a verdict never sets it.
#[must_use]
pub fn run() -> ExitCode {
    let done = match Cli::parse().command {
        Command::Accuracy(args) => accuracy::run(&args),
        Command::Board(args) => board::run(&args),
        Command::Calibrate(args) => calibrate::run(&args),
        Command::Carry(args) => carry::run(&args),
        Command::Check(args) => check::run(&args),
        Command::Completions(args) => completions::run(&args),
        Command::DecodeCalibrate => decode::calibrate(),
        Command::DecodeCarry(args) => decode::carry(&args),
        Command::DecodeCheck(args) => decode::check(&args),
        Command::DecodeFollow(args) => decode::follow(&args),
        Command::DecodeLook(args) => decode::look(&args),
        Command::DecodeShow(args) => decode::show(&args),
        Command::Demo(args) => demo::run(&args),
        Command::Inspect(args) => inspect::run(&args),
        Command::Man(args) => man::run(&args),
        Command::Measure(args) => measure::run(&args),
        Command::Plan(args) => plan::run(&args),
        Command::Repeatability(args) => repeatability::run(&args),
        Command::Schema(args) => schema::run(&args),
        Command::Serve(args) => serve::run(&args),
        Command::Still(args) => still::run(&args),
        Command::Track(args) => track::run(&args),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        // Whoever read our output has had enough of it: not a failure.
        Err(error) if is_closed_pipe(&error) => ExitCode::SUCCESS,
        Err(error) => {
            // whoever closed standard error hears nothing, and gets the exit code all the same
            let _ = writeln!(io::stderr(), "tworeach: {error:#}");
            ExitCode::FAILURE
        }
    }
}

fn is_closed_pipe(error: &anyhow::Error) -> bool {
    error
        .chain()
        .filter_map(|cause| cause.downcast_ref::<io::Error>())
        .any(|cause| cause.kind() == io::ErrorKind::BrokenPipe)
}
