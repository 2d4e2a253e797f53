//! `tworeach plan`: the staged plan on the command line, its files checked, the next session proposed, the course summed up.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use clap::Subcommand;
use serde_json::json;

use super::table::wrapped;
use crate::plan::words::{CAUTIONS, day_words, decision_words};
use crate::plan::{
    Adherence, Day, Detectable, Facts, Intake, Log, LogBounds, Plan, Proposal, Series, Unit, course_of, propose,
};
use crate::screen::words::decimal;

/// Checks a staged loading plan, proposes the next session from what was logged, and sums up the course.
///
/// The plan is a TOML file that the clinician edits, the log a CSV file, the intake a TOML file with visits, screens and the days
/// on which a clinician let the plan go on.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach plan default > plan.toml
  tworeach plan check plan.toml --log log.csv --intake intake.toml --on 2026-11-20
  tworeach plan next --plan plan.toml --log log.csv --intake intake.toml --on 2026-11-20
  tworeach plan summary --log log.csv --intake intake.toml --on 2026-11-20")]
pub(super) struct Args {
    #[command(subcommand)]
    command: PlanCommand,
}

#[derive(Debug, Subcommand)]
enum PlanCommand {
    /// Prints the default plan, to be edited.
    #[command(after_help = "Example: tworeach plan default --unit lb > plan.toml")]
    Default(DefaultArgs),
    /// Reads a plan, and a log and an intake if given, and names every problem with file, line and field.
    #[command(after_help = "Examples:
  tworeach plan check plan.toml
  tworeach plan check plan.toml --log log.csv --on 2026-11-20

Exit code 0 without a problem, 1 with problems, 2 wrong usage.")]
    Check(CheckArgs),
    /// Proposes the next session and says why.
    ///
    /// A log has the columns day, stage, done (yes or no) and pain_during, and may have load, sets, repetitions, seconds,
    /// pain_next_morning, danger_sign, entered and note. Empty cells of load, sets, repetitions and seconds mean as proposed: see
    /// `tworeach plan fill` before the plan is changed.
    #[command(after_help = "Examples:
  tworeach plan next --log log.csv --on 2026-11-20
  tworeach plan next --plan plan.toml --log log.csv --intake intake.toml --on 2026-11-20 --json")]
    Next(NextArgs),
    /// Prints the log with what was proposed in the cells of load, sets, repetitions and seconds that are empty.
    ///
    /// An empty cell means as proposed by the plan that is given. Fill a log before the plan is changed, so that the new plan does not
    /// change what was done.
    #[command(
        after_help = "Example: tworeach plan fill --plan plan.toml --log log.csv --intake intake.toml --on 2026-11-20 > filled.csv"
    )]
    Fill(FillArgs),
    /// Sums up what was done and how pain, grip, ratings and load went.
    #[command(after_help = "Example: tworeach plan summary --log log.csv --intake intake.toml --on 2026-11-20")]
    Summary(SummaryArgs),
}

#[derive(Debug, clap::Args)]
struct DefaultArgs {
    /// Unit of the weights that exist: kg or lb.
    #[arg(long, default_value = "kg", value_parser = ["kg", "lb"])]
    unit: String,
}

#[derive(Debug, clap::Args)]
struct CheckArgs {
    /// The plan file.
    plan: PathBuf,
    /// A log to check against the plan.
    #[arg(long, value_name = "CSV", requires = "on")]
    log: Option<PathBuf>,
    /// An intake.
    #[arg(long, value_name = "TOML", requires = "on")]
    intake: Option<PathBuf>,
    /// Today, such as 2026-11-20: nothing in log and intake may be later.
    #[arg(long, value_name = "DAY")]
    on: Option<Day>,
    /// Print nothing when all is well.
    #[arg(long, short)]
    quiet: bool,
}

#[derive(Debug, clap::Args)]
struct NextArgs {
    #[command(flatten)]
    files: Files,
    /// Print the proposal as JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, clap::Args)]
struct FillArgs {
    #[command(flatten)]
    files: Files,
}

#[derive(Debug, clap::Args)]
struct SummaryArgs {
    #[command(flatten)]
    files: Files,
    /// Days to look back on for what was done.
    #[arg(long, default_value_t = 28, value_parser = clap::value_parser!(i32).range(1..=366))]
    days: i32,
    /// Print the summary as JSON.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, clap::Args)]
struct Files {
    /// The plan file; the default plan in kg without one.
    #[arg(long, value_name = "TOML")]
    plan: Option<PathBuf>,
    /// The log.
    #[arg(long, value_name = "CSV")]
    log: PathBuf,
    /// The intake; without one, stages that wait for a visit or a screen stay closed.
    #[arg(long, value_name = "TOML")]
    intake: Option<PathBuf>,
    /// The day to propose for, such as 2026-11-20: nothing in log and intake may be later.
    #[arg(long, value_name = "DAY")]
    on: Day,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    match &args.command {
        PlanCommand::Default(args) => {
            let unit = if args.unit == "lb" { Unit::Lb } else { Unit::Kg };
            print(&Plan::default_text(unit))
        }
        PlanCommand::Check(args) => check(args),
        PlanCommand::Next(args) => {
            let (plan, log, intake) = args.files.read()?;
            let facts = intake.as_ref().map(Facts::of).unwrap_or_default();
            let proposal = propose(&plan, &facts, &log, args.files.on);
            if args.json { print(&format!("{:#}\n", json!(proposal))) } else { print_proposal(&proposal) }
        }
        PlanCommand::Fill(args) => {
            let (plan, log, intake) = args.files.read()?;
            let facts = intake.as_ref().map(Facts::of).unwrap_or_default();
            print(&log.stated(&plan, &facts).to_csv(&plan)?)
        }
        PlanCommand::Summary(args) => {
            let (plan, log, intake) = args.files.read()?;
            let facts = intake.as_ref().map(Facts::of).unwrap_or_default();
            let adherence = Adherence::of(&plan, &facts, &log, args.files.on, args.days);
            let course = intake.map(|intake| course_of(&plan, &intake, &log, args.files.on)).unwrap_or_default();
            if args.json {
                print(&format!("{:#}\n", summary_json(&adherence, &course)))
            } else {
                print_summary(&adherence, &course)
            }
        }
    }
}

fn check(args: &CheckArgs) -> anyhow::Result<()> {
    let plan = Plan::read(&args.plan)?;
    if let Some(today) = args.on {
        let intake = args.intake.as_ref().map(|path| Intake::read(path, today)).transpose()?;
        let first_visit = intake.as_ref().and_then(Intake::first_visit);
        if let Some(path) = &args.log {
            Log::read(path, &plan, LogBounds { today, first_visit })?;
        }
    }
    if args.quiet { Ok(()) } else { print(&format!("{}: no problem found\n", args.plan.display())) }
}

impl Files {
    fn read(&self) -> anyhow::Result<(Plan, Log, Option<Intake>)> {
        let plan = match &self.plan {
            Some(path) => Plan::read(path)?,
            None => Plan::default_plan(Unit::Kg),
        };
        let intake = self.intake.as_deref().map(|path: &Path| Intake::read(path, self.on)).transpose()?;
        let first_visit = intake.as_ref().and_then(Intake::first_visit);
        let log = Log::read(&self.log, &plan, LogBounds { today: self.on, first_visit })?;
        Ok((plan, log, intake))
    }
}

fn print(text: &str) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    out.write_all(text.as_bytes())?;
    out.flush()?;
    Ok(())
}

fn print_proposal(proposal: &Proposal) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    wrapped(&mut out, "", &proposal.cautions)?;
    writeln!(out, "\n{}, next session from {}", proposal.plan, day_words(proposal.on))?;
    for stage in &proposal.stages {
        writeln!(out, "\n{} ({}): {}", stage.name, stage.stage, decision_words(stage.decision))?;
        wrapped(&mut out, "  ", &stage.reason)?;
        if let Some(dose) = &stage.dose {
            let due = stage.due_on.map(|due| format!(", on {} or later", day_words(due))).unwrap_or_default();
            wrapped(&mut out, "  ", &format!("{}: {}{due}.", dose.phase, dose.words))?;
            let (felt, pain) = (format!("What you feel: {}", dose.felt), format!("Pain limit: {}", dose.pain));
            for text in [&dose.how, &felt, &dose.stop, &pain] {
                wrapped(&mut out, "    ", text)?;
            }
        }
    }
    out.flush()?;
    Ok(())
}

fn summary_json(adherence: &Adherence, course: &[Series]) -> serde_json::Value {
    let course: Vec<serde_json::Value> = course
        .iter()
        .map(|series| {
            json!({ "series": series, "changes": series.changes(), "overall": series.overall(), "trend": series.trend() })
        })
        .collect();
    json!({ "schema": "tworeach/summary/1", "cautions": CAUTIONS, "adherence": adherence, "course": course })
}

fn print_summary(adherence: &Adherence, course: &[Series]) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    wrapped(&mut out, "", CAUTIONS)?;
    writeln!(out)?;
    wrapped(&mut out, "", &adherence.words)?;
    for stage in &adherence.stages {
        writeln!(out, "  {}: {} done, room for about {}", stage.name, stage.done, stage.room)?;
    }
    for series in course {
        writeln!(out)?;
        wrapped(&mut out, "", &series_words(series))?;
    }
    out.flush()?;
    Ok(())
}

/// First and last value, the change between them, and the trend.
fn series_words(series: &Series) -> String {
    let (Some(first), Some(last)) = (series.points.first(), series.points.last()) else { return series.name.clone() };
    let unit = if series.unit.is_empty() { String::new() } else { format!(" {}", series.unit) };
    let mut text = format!("{}: {}", series.name, decimal(first.value, 1));
    if let Some(overall) = series.overall() {
        let counts_from = decimal(overall.detectable, 1);
        let verdict = match (series.detectable, overall.is_detected) {
            (Detectable::Any, true) => "set by the plan, not measured".to_owned(),
            (Detectable::Any, false) => "no change".to_owned(),
            (_, true) => format!("a change; counts from {counts_from} on"),
            (_, false) => format!("not told from error; counts from {counts_from} on"),
        };
        text += &format!(" to {}{unit}, {} to {}: ", decimal(last.value, 1), day_words(first.on), day_words(last.on));
        text += &format!("{} ({verdict})", decimal(overall.value, 1));
    } else {
        text += &format!("{unit}, {}", day_words(first.on));
    }
    // what is set has no error that an interval could tell of
    if let Some(trend) = series.trend().filter(|_| series.detectable != Detectable::Any) {
        let per_week = trend.per_week;
        let (lo, hi) = (decimal(per_week.lo, 2), decimal(per_week.hi, 2));
        text += &format!("; {}{unit} a week, 95 % interval {lo} to {hi}", decimal(per_week.value, 2));
    }
    text + "."
}
