//! `tworeach accuracy`: how far angles and calls are from the truth, by simulation.

use std::io::{self, Write as _};
use std::ops::RangeInclusive;
use std::path::PathBuf;

use anyhow::Context as _;
use clap::builder::RangedU64ValueParser;

use super::outputs::OutputFolder;
use super::progress::Progress;
use crate::demo::accuracy::{Accuracy, AccuracyOptions, study};

/// How many scenes are drawn: fewer than one for each view and true difference leave gaps, more take days.
const SCENES: RangeInclusive<u64> = 39..=10_000_000;

/// Seeds that any reader of JSON keeps whole: up to 2^53 - 1.
const SEEDS: RangeInclusive<u64> = 0..=9_007_199_254_740_991;

/// The files that are written.
const FILES: [&str; 5] = ["accuracy.json", "accuracy.csv", "calls.csv", "calls.svg", "accuracy.md"];

/// Says how far angles and calls are from the truth, over people, rooms, cameras and raters drawn at random.
///
/// Each scene is one internal and one external reach with one marked frame each; a third of them is seen from the side,
/// obliquely and from the front. Fit, checks and call are those of `measure`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach accuracy --out accuracy
  tworeach accuracy --scenes 2000 --seed 7 --out accuracy --force
  tworeach accuracy --scenes 500 --json > accuracy.json

Writes accuracy.json, accuracy.csv, calls.csv, the chart calls.svg, and accuracy.md with the tables that are printed.")]
pub(super) struct Args {
    /// How many scenes are drawn.
    #[arg(long, value_name = "N", default_value_t = 10_000, value_parser = RangedU64ValueParser::<usize>::new().range(SCENES))]
    scenes: usize,
    /// Seed of the scenes: the same seed gives the same digits, with any number of threads.
    #[arg(long, value_name = "S", default_value_t = 1, value_parser = clap::value_parser!(u64).range(SEEDS))]
    seed: u64,
    /// Directory for the results; made if it is not there.
    #[arg(long, value_name = "DIR", required_unless_present = "json")]
    out: Option<PathBuf>,
    /// Print the result as JSON in place of the tables; without --out nothing is written.
    #[arg(long)]
    json: bool,
    /// Overwrite existing results.
    #[arg(long)]
    force: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let outputs = args.out.as_deref().map(|out| OutputFolder::open(out, &FILES, args.force)).transpose()?;
    let progress = Progress::start("simulating", false);
    let options = AccuracyOptions { scenes: args.scenes, seed: args.seed };
    let found = study(options, |done| progress.step(format!("simulating, {done} of {} scenes", args.scenes)));
    drop(progress);
    if let Some(outputs) = outputs {
        write_outputs(&found, outputs)?;
    }
    let text = if args.json { found.to_json() } else { found.to_markdown() };
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

fn write_outputs(found: &Accuracy, mut outputs: OutputFolder) -> anyhow::Result<()> {
    let chart = found.chart().context("the chart cannot be drawn")?;
    let texts = [found.to_json(), found.rows_csv(), found.calls_csv(), chart.svg, found.to_markdown()];
    for (name, text) in FILES.into_iter().zip(texts) {
        outputs.write(name, text.as_bytes())?;
    }
    outputs.finish(&[])?;
    Ok(())
}
