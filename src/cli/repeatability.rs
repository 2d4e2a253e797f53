//! `tworeach repeatability`: how well marks are repeated.

use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::outputs::OutputFolder;
use crate::report::render_agreement_chart;
use crate::screen::{AngleComparison, Repeatability, SpreadFile, repeatability_of};
use crate::uncertainty::{Coefficient, CoverageInterval};

/// Says how well marks are repeated, by one rater or several, and writes each rater's spread for cases to name.
///
/// Mark the same pictures again, at best on another day and without seeing the first marks, with another "repeat" or "rater".
/// Files whose names agree up to the first full stop are marks of one clip or still.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example: tworeach repeatability before-internal.marks.json before-external.marks.json --out repeats"
)]
pub(super) struct Args {
    /// Marks files.
    #[arg(required = true, value_name = "MARKS")]
    marks: Vec<PathBuf>,
    /// Directory for repeatability.json, the chart, and a spread file for each rater.
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Print the result as JSON on standard output.
    #[arg(long)]
    json: bool,
    /// Overwrite existing files.
    #[arg(long)]
    force: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let mut folder = match &args.out {
        Some(out) => Some(OutputFolder::open(out, &["repeatability.json"], args.force)?),
        None => None,
    };
    let paths: Vec<&Path> = args.marks.iter().map(PathBuf::as_path).collect();
    let found = repeatability_of(&paths)?;
    let value = json_of(&found);
    let text = format!("{value:#}\n");
    if let Some(mut folder) = folder.take() {
        folder.write("repeatability.json", text.as_bytes())?;
        for file in found.spread_files() {
            folder.write(&spread_name(&file), file.to_json().as_bytes())?;
        }
        // The comparison between raters comes last, and says most.
        if let Some(chart) = found.comparisons.iter().rev().find_map(|one| render_agreement_chart(one).transpose()) {
            let chart = chart?;
            folder.write(&format!("{}.svg", chart.name), chart.svg.as_bytes())?;
        }
        folder.finish(&["agreement.svg"])?;
    }
    for note in &found.notes {
        eprintln!("note: {note}");
    }
    let mut out = io::stdout().lock();
    out.write_all(if args.json { text } else { table_of(&found) }.as_bytes())?;
    out.flush()?;
    Ok(())
}

/// The result with its schema, as JSON.
fn json_of(found: &Repeatability) -> Value {
    json!({ "schema": "tworeach/repeatability/1", "long_side_px": 1280, "repeatability": found })
}

/// A file name of the rater's name.
fn spread_name(file: &SpreadFile) -> String {
    let safe = |rater: &String| -> String {
        rater.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' || c == '_' { c } else { '-' }).collect()
    };
    file.rater
        .as_ref()
        .map_or_else(|| "marks.spread.json".to_owned(), |rater| format!("rater-{}.spread.json", safe(rater)))
}

fn table_of(found: &Repeatability) -> String {
    let mut text = format!("{} pictures, px at a long side of 1280\n\n", found.pictures);
    // Writing to a String cannot fail.
    let _ = writeln!(
        text,
        "{:<20}{:>6}{:>12}{:>18}{:>16}",
        "landmark", "marks", "spread px", "95 % interval", "between raters"
    );
    for landmark in &found.landmarks {
        let within = landmark.within_raters.as_ref();
        let _ = writeln!(
            text,
            "{:<20}{:>6}{:>12}{:>18}{:>16}",
            landmark.landmark.name(),
            landmark.marks,
            within.map_or_else(|| "-".to_owned(), |spread| format!("{:.2}", spread.sd)),
            within.map_or_else(|| "-".to_owned(), |spread| interval(&spread.interval, 2)),
            landmark.between_raters_sd_px.map_or_else(|| "-".to_owned(), |sd| format!("{sd:.2}")),
        );
    }
    for angle in &found.angles {
        let _ = writeln!(
            text,
            "\nangle between arm and trunk, rater {}: SEM {:.2} deg ({}), MDC95 {:.2} deg ({})",
            angle.rater,
            angle.sem.sd,
            interval(&angle.sem.interval, 2),
            angle.mdc95,
            interval(&angle.mdc95_interval, 2),
        );
    }
    for comparison in &found.comparisons {
        write_comparison(&mut text, comparison);
    }
    text
}

fn write_comparison(text: &mut String, comparison: &AngleComparison) {
    let _ = writeln!(text, "\n{}, {} pictures", comparison.between, comparison.table_deg.len());
    let Some(reliability) = &comparison.reliability else {
        let _ = writeln!(text, "  no coefficients: they need two pictures or more, marked by all");
        return;
    };
    let coefficient =
        |name: &str, found: &Coefficient| format!("  ICC{name} {:.3} ({})", found.value, interval(&found.interval, 3));
    for line in [
        coefficient("(1,1)", &reliability.icc_1_1) + &coefficient("(1,k)", &reliability.icc_1_k),
        coefficient("(2,1)", &reliability.icc_2_1) + &coefficient("(2,k)", &reliability.icc_2_k),
        coefficient("(3,1)", &reliability.icc_3_1) + &coefficient("(3,k)", &reliability.icc_3_k),
    ] {
        let _ = writeln!(text, "{line}");
    }
    let _ = writeln!(
        text,
        "  SEM {:.2} deg ({}), with differences between judges {:.2} deg, MDC95 {:.2} deg ({})",
        reliability.sem.sd,
        interval(&reliability.sem.interval, 2),
        reliability.sem_agreement.sd,
        reliability.mdc95,
        interval(&reliability.mdc95_interval, 2),
    );
    if let Some(limits) = &comparison.agreement {
        let _ = writeln!(
            text,
            "  {} minus {}: mean {:.2} deg ({}), limits of agreement {:.2} ({}) and {:.2} ({})",
            comparison.judges[0],
            comparison.judges[1],
            limits.mean_difference,
            interval(&limits.mean_interval, 2),
            limits.lower,
            interval(&limits.lower_interval, 2),
            limits.upper,
            interval(&limits.upper_interval, 2),
        );
    }
}

fn interval(interval: &CoverageInterval, places: usize) -> String {
    format!("{:.places$} to {:.places$}", interval.lo, interval.hi)
}
