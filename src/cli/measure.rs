//! `tworeach measure`: from a case file to angles, call, retest and report.

use std::io::{self, IsTerminal as _, Write};
use std::ops::RangeInclusive;
use std::path::PathBuf;
use std::time::Instant;

use anyhow::Context as _;
use clap::builder::RangedU64ValueParser;

use super::outputs::OutputFolder;
use super::progress::{Progress, pace};
use super::table::{print_result, print_warnings};
use crate::pose::{Rotation, View};
use crate::report::{
    CaseFacts, CourseInput, FilmInput, HeldReach, PageSize, ReportInput, ReportOptions, StillInput, course_chart_name,
    film_name, render_report, write_film,
};
use crate::screen::{FollowProgress, MeasureOptions, MeasuredVisit, Occasion, measure_case};
use crate::uncertainty::MonteCarloOptions;

/// The charts and films that there may be; which ones there are depends on the result.
fn chart_names() -> Vec<String> {
    let mut names = vec!["rotations.svg".to_owned(), "retest-delta.svg".to_owned()];
    for occasion in [Occasion::Before, Occasion::After] {
        for rotation in [Rotation::Internal, Rotation::External] {
            for view in [View::Side, View::Front, View::Oblique] {
                names.push(format!("{}.svg", course_chart_name(occasion, rotation, view)));
                names.push(film_name(occasion, rotation, view));
            }
        }
    }
    names
}

/// How many draws are taken: fewer place the ends of an interval badly, more fill the memory.
const DRAWS: RangeInclusive<u64> = 200..=100_000;

/// Seeds that any reader of JSON keeps whole: up to 2^53 - 1.
const SEEDS: RangeInclusive<u64> = 0..=9_007_199_254_740_991;

/// Measures the reaches of a case, makes the call, and writes result and report.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach measure case.toml --out results
  tworeach measure case.toml --out results --force --letter
  tworeach measure case.toml --json > result.json
  tworeach measure case.toml --out results --monte-carlo 5000 --seed 7

Where a frame is marked to start from (\"use\": \"start\"), its marks are followed to end range first.

With --film every reach whose marks were followed also becomes a film with its rays and intervals drawn over it.

Writes result.json, report.html, report.pdf and the charts as SVG. A verdict never sets the exit code: 0 is done, 1 failed, \
2 wrong usage.")]
pub(super) struct Args {
    /// The case file, one visit.
    case: PathBuf,
    /// Directory for result and report; made if it is not there.
    #[arg(long, value_name = "DIR", required_unless_present = "json")]
    out: Option<PathBuf>,
    /// Print the result as JSON in place of the table; without --out nothing is written.
    #[arg(long)]
    json: bool,
    /// Also write the clip of every reach whose marks were followed as a film, with rays and intervals drawn over it.
    #[arg(long, requires = "out")]
    film: bool,
    /// Measure the marks as placed: look for no bar in the pictures, and compare none.
    #[arg(long)]
    marks_alone: bool,
    /// Overwrite existing results.
    #[arg(long)]
    force: bool,
    /// Lay the PDF out for Letter paper in place of A4.
    #[arg(long)]
    letter: bool,
    /// Repeat the whole measurement with so many draws of marks, lens and priors, and state its intervals beside the others.
    #[arg(long, value_name = "N", value_parser = RangedU64ValueParser::<usize>::new().range(DRAWS))]
    monte_carlo: Option<usize>,
    /// Seed of the draws: the same seed gives the same digits, with any number of threads.
    #[arg(long, value_name = "S", requires = "monte_carlo", default_value_t = 1, value_parser = clap::value_parser!(u64).range(SEEDS))]
    seed: u64,
    /// Date of the visit as the report is to print it, such as "24 November 2026".
    #[arg(long, value_name = "TEXT")]
    date: Option<String>,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let certain = ["result.json", "report.html", "report.pdf"];
    let outputs = args.out.as_deref().map(|out| OutputFolder::open(out, &certain, args.force)).transpose()?;
    let progress = Progress::start("measuring", args.quiet);
    let monte_carlo = args.monte_carlo.map(|draws| MonteCarloOptions { draws, seed: args.seed });
    let follow = |step: FollowProgress| {
        let FollowProgress { reach, done, all, begun } = step;
        progress.step(format!("following the marks of reach {}, {}", reach + 1, pace(done, all, begun.elapsed())));
    };
    let visit = measure_case(
        &args.case,
        MeasureOptions {
            with_stills: outputs.is_some(),
            marks_alone: args.marks_alone,
            monte_carlo,
            on_frame: Some(&follow),
            on_draw: Some(&|done| {
                progress.step(format!("simulating, {done} of {} draws", args.monte_carlo.unwrap_or(0)))
            }),
        },
    )?;
    progress.step("rendering the report");
    let json = serde_json::to_string_pretty(&visit.result).context("the result has no JSON")? + "\n";
    let written =
        outputs.map(|outputs| write_outputs(args, &visit, &json, outputs, &progress)).transpose()?.unwrap_or_default();
    drop(progress);
    if args.json {
        let mut out = io::stdout().lock();
        out.write_all(json.as_bytes())?;
        out.flush()?;
    }
    if args.quiet {
        return Ok(());
    }
    print_warnings(&mut io::stderr().lock(), &visit.warnings)?;
    if args.film && visit.followed.is_empty() {
        let said = "No film: the marks of no reach were followed, as they are from a frame with \"use\": \"start\".";
        print_warnings(&mut io::stderr().lock(), &[said.to_owned()])?;
    }
    if !args.json {
        let stdout = io::stdout();
        let is_styled = stdout.is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
        let mut out = stdout.lock();
        print_result(&mut out, &visit, is_styled)?;
        if !written.is_empty() {
            writeln!(out, "\nWritten:")?;
            for path in &written {
                writeln!(out, "  {}", path.display())?;
            }
        }
        out.flush()?;
    }
    Ok(())
}

fn write_outputs(
    args: &Args,
    visit: &MeasuredVisit,
    json: &str,
    mut outputs: OutputFolder,
    progress: &Progress,
) -> anyhow::Result<Vec<PathBuf>> {
    let stills = visit.stills.iter();
    let stills = stills.map(|still| StillInput {
        reach: still.reach,
        image: still.image.clone(),
        overlay: still.overlay.clone(),
    });
    let input = ReportInput {
        result: &visit.result,
        case: CaseFacts::of(&visit.case, args.date.clone()),
        danger: None,
        stills: stills.collect(),
        courses: visit.followed.iter().map(|of| CourseInput { reach: of.reach, clip: &of.clip }).collect(),
        case_course: None,
        found_bars: visit.found_bars.iter().filter(|bar| bar.has_seen_end()).count(),
        carried_marks: visit.carried_marks,
        warnings: visit.warnings.clone(),
    };
    let page = if args.letter { PageSize::Letter } else { PageSize::A4 };
    let report = render_report(&input, &ReportOptions { page }).context("the report cannot be rendered")?;
    outputs.write("result.json", json.as_bytes())?;
    outputs.write("report.html", report.html.as_bytes())?;
    outputs.write("report.pdf", &report.pdf)?;
    for chart in &report.charts {
        outputs.write(&format!("{}.svg", chart.name), chart.svg.as_bytes())?;
    }
    if args.film {
        write_films(visit, &mut outputs, progress)?;
    }
    let charts = chart_names();
    outputs.finish(&charts.iter().map(String::as_str).collect::<Vec<_>>())
}

fn write_films(visit: &MeasuredVisit, outputs: &mut OutputFolder, progress: &Progress) -> anyhow::Result<()> {
    for followed in &visit.followed {
        let reach = &visit.result.reaches[followed.reach];
        let begun = Instant::now();
        let input =
            FilmInput { clip: &followed.path, track: &followed.clip, held: HeldReach::of(visit, followed.reach) };
        outputs.write_by(&film_name(reach.occasion, reach.rotation, reach.view), |path| {
            Ok(write_film(&input, path, |done, all| {
                let pace = pace(done, all, begun.elapsed());
                progress.step(format!("drawing the film of reach {}, {pace}", followed.reach + 1));
            })?)
        })?;
    }
    Ok(())
}
