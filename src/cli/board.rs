//! `tworeach board`: makes the calibration board to print, or to show on a flat screen.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};

use super::output::OutputFile;
use crate::camera::Board;
use crate::report::{BoardSheet, PageSize, render_board_page};

/// Makes the calibration board: by the name's ending as PDF or SVG to print, in exact millimetres, or as an HTML page that fills a
/// tablet's screen.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples: tworeach board --out board.pdf\n          tworeach board --out board.html    (copy it to a tablet and open it there)"
)]
pub(super) struct Args {
    /// The page to write, ending in .pdf, .svg or .html; "-" is a PDF on standard output.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Inner corners along a row.
    #[arg(long, value_name = "N", default_value_t = 9)]
    cols: usize,
    /// Inner corners along a column.
    #[arg(long, value_name = "N", default_value_t = 6)]
    rows: usize,
    /// Side of a square, mm; on a screen squares are as large as it allows.
    #[arg(long, value_name = "MM", default_value_t = 25.0)]
    square_mm: f64,
    /// Letter paper instead of A4.
    #[arg(long)]
    letter: bool,
    /// Overwrite an existing file.
    #[arg(long)]
    force: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let board = Board::new(args.cols, args.rows, args.square_mm)?;
    let sheet = || BoardSheet::new(&board, if args.letter { PageSize::Letter } else { PageSize::A4 });
    if args.out == Path::new("-") {
        return io::stdout().write_all(&sheet()?.to_pdf()?).context("cannot write to standard output");
    }
    let ending = args.out.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    let bytes = match ending.as_str() {
        "pdf" => sheet()?.to_pdf()?,
        "svg" => sheet()?.to_svg().into_bytes(),
        "html" => render_board_page(&board).into_bytes(),
        _ => bail!("{} ends in none of .pdf, .svg and .html", args.out.display()),
    };
    let mut output = OutputFile::create(&args.out, args.force)?;
    output.write_all(&bytes).with_context(|| format!("cannot write {}", args.out.display()))?;
    output.finish()
}
