//! `tworeach board`: makes the calibration board to print.

use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};

use super::output::OutputFile;
use crate::camera::Board;
use crate::report::{BoardSheet, PageSize};

/// Makes the calibration board as a page to print, in exact millimetres: PDF, or SVG by the name's ending.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: tworeach board --out board.pdf")]
pub(super) struct Args {
    /// The page to write, ending in .pdf or .svg; "-" is a PDF on standard output.
    #[arg(long, value_name = "FILE")]
    out: PathBuf,
    /// Inner corners along a row.
    #[arg(long, value_name = "N", default_value_t = 9)]
    cols: usize,
    /// Inner corners along a column.
    #[arg(long, value_name = "N", default_value_t = 6)]
    rows: usize,
    /// Side of a square, mm.
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
    let sheet = BoardSheet::new(&board, if args.letter { PageSize::Letter } else { PageSize::A4 })?;
    if args.out == Path::new("-") {
        return io::stdout().write_all(&sheet.to_pdf()?).context("cannot write to standard output");
    }
    let ending = args.out.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    let mut output = OutputFile::create(&args.out, args.force)?;
    let bytes = match ending.as_str() {
        "pdf" => sheet.to_pdf()?,
        "svg" => sheet.to_svg().into_bytes(),
        _ => bail!("{} ends in neither .pdf nor .svg", args.out.display()),
    };
    output.write_all(&bytes).with_context(|| format!("cannot write {}", args.out.display()))?;
    output.finish()
}
