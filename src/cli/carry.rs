//! `tworeach carry`: brings the marks of one reach to the others by image matching.

use std::collections::BTreeMap;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};

use super::outputs::OutputFolder;
use super::progress::Progress;
use crate::geometry::Landmark;
use crate::screen::{CarriedVisit, FrameUse, MarksFile, carry_case};

/// Carries marks from reach to reach by image matching, so that their error cancels in the difference.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach carry case.toml --out carried
  tworeach measure carried/case.toml --out results

Mark one reach whole. In each other reach mark at least one point at end range, which tells the frame; elbow and wrist \
are best marked by hand in the first reach of each rotation, because another side of the arm is seen. There the near \
wrist is tied to that of the other rotation, across the arm, by the outline of the forearm. Writes a case and marks \
of its own; the clips stay where they are, and what was marked by hand stays as it is.

Exit code 0 done, 1 failed, 2 wrong usage.")]
pub(super) struct Args {
    /// The case file, one visit.
    case: PathBuf,
    /// Directory for the case with carried marks; made if it is not there.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Overwrite existing files.
    #[arg(long)]
    force: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    // not even with --force: the marks placed by hand would be named by no case any more
    let is_there = |path: &Path| path.canonicalize().ok();
    if is_there(&args.case).is_some() && is_there(&args.case) == is_there(&args.out.join("case.toml")) {
        bail!(
            "{} would be overwritten by the case with carried marks: name another directory for --out",
            args.case.display()
        );
    }
    let mut outputs = OutputFolder::open(&args.out, &["case.toml"], args.force)?;
    let progress = Progress::start("carrying marks", args.quiet);
    let visit = carry_case(&args.case)?;
    drop(progress);
    let text = visit.case.to_toml().context("the case cannot be written")?;
    outputs.write("case.toml", text.as_bytes())?;
    for (entry, marks) in visit.case.reaches.iter().zip(&visit.marks) {
        outputs.write(&entry.marks.to_string_lossy(), marks.to_json().as_bytes())?;
    }
    outputs.finish(&[])?;
    if args.quiet {
        return Ok(());
    }
    let mut out = io::stdout().lock();
    print_attempts(&mut out, &visit)?;
    writeln!(out, "\nWritten: {}", args.out.join("case.toml").display())?;
    out.flush()?;
    Ok(())
}

/// The marks of one pair of reaches.
#[derive(Default)]
struct Lists {
    carried: Vec<String>,
    left: Vec<String>,
}

/// One line a pair of reaches: what was carried, and what is left to the person and why.
fn print_attempts(out: &mut impl io::Write, visit: &CarriedVisit) -> io::Result<()> {
    let mut pairs: BTreeMap<(usize, usize), Lists> = BTreeMap::new();
    for attempt in &visit.attempts {
        let lists = pairs.entry((attempt.to_reach, attempt.from_reach)).or_default();
        match attempt.refusal {
            None => {
                let [to, from] = [attempt.to_reach, attempt.from_reach].map(|reach| visit.case.reaches[reach].rotation);
                // the outline of the forearm says nothing along it
                let is_tied = to != from && matches!(attempt.landmark, Landmark::Wrist(_));
                let how = if is_tied { " (across the forearm alone)" } else { "" };
                lists.carried.push(format!("{}{how}", attempt.landmark.name()));
            }
            Some(why) => lists.left.push(format!("{} ({why})", attempt.landmark.name())),
        }
    }
    if pairs.is_empty() {
        let is_at_end = |marks: &MarksFile| marks.frames.iter().any(|frame| frame.used_as == FrameUse::EndRange);
        let why = if visit.marks.iter().any(is_at_end) {
            "no other reach of the same view and picture size"
        } else {
            "no frame at end range is marked. From frames to start from, measure finds end range and compares the reaches by itself"
        };
        return writeln!(out, "nothing to carry: {why}");
    }
    for ((to, from), lists) in pairs {
        let name = |reach: usize| visit.case.reaches[reach].marks.to_string_lossy().replace(".marks.json", "");
        writeln!(out, "{} from {}", name(to), name(from))?;
        let list = |names: &[String]| if names.is_empty() { "none".to_owned() } else { names.join(", ") };
        writeln!(out, "  carried  {}", list(&lists.carried))?;
        writeln!(out, "  left     {}", list(&lists.left))?;
    }
    Ok(())
}
