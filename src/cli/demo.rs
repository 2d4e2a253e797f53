//! `tworeach demo`: sample cases to try everything on, rendered with known truth.

use std::io::{self, IsTerminal as _, Write as _};
use std::path::PathBuf;

use super::unfinished::Unfinished;
use crate::demo::{DemoCase, DemoOptions, write_demo};

/// Renders sample cases with known truth: clips of an invented rower, with case, marks and lens profile.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach demo --out samples
  tworeach demo --out samples --case front --width 640

Each case gets a directory of its own with case.toml, which measure takes, and truth.json. Rendering both takes some minutes.")]
pub(super) struct Args {
    /// Directory that gets one directory for each case.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Which case: side (positive before the stretch, cleared after), front (negative), or both.
    #[arg(long, value_enum, default_value_t = Which::Both)]
    case: Which,
    /// Width of the clips, px, a multiple of 32.
    #[arg(long, value_name = "PX", default_value_t = DemoOptions::default().width_px)]
    width: u32,
    /// Overwrite existing files.
    #[arg(long)]
    force: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// The cases asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
enum Which {
    /// Filmed from the right side.
    Side,
    /// Filmed from the front.
    Front,
    /// Both.
    Both,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let cases: &[DemoCase] = match args.case {
        Which::Side => &[DemoCase::Side],
        Which::Front => &[DemoCase::Front],
        Which::Both => &DemoCase::ALL,
    };
    let options = DemoOptions { width_px: args.width, overwrite: args.force };
    let shows_progress = !args.quiet && io::stderr().is_terminal();
    for &case in cases {
        let mut unfinished = None;
        let folder = write_demo(case, &args.out, options, |progress| {
            unfinished.get_or_insert_with(|| Unfinished::folder(progress.growing));
            if shows_progress {
                let name = case.name();
                // A terminal that cannot be written to is no reason to stop rendering.
                let _ = write!(
                    io::stderr(),
                    "\r\u{1b}[2K{name}: frame {} of {}, {}",
                    progress.done,
                    progress.all,
                    progress.clip
                );
            }
        })?;
        if shows_progress {
            let _ = write!(io::stderr(), "\r\u{1b}[2K");
        }
        if !args.quiet {
            writeln!(io::stdout(), "{}", folder.join("case.toml").display())?;
        }
    }
    Ok(())
}
