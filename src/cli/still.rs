//! `tworeach still`: saves the frame shown at a time as a PNG picture.

use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use anyhow::Context;
use image::codecs::png::PngEncoder;

use super::output::OutputFile;
use crate::video::Media;

/// Saves the frame of a clip shown at a time, upright and with square pixels, as a PNG picture.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach still raise.mp4 --at 2.4 --out raise.png
  tworeach still raise.mp4 --at 0 --out - > first.png

Exit code 0 done, 1 failed, 2 wrong usage.")]
pub(super) struct Args {
    /// The clip; a still is taken too, at time 0.
    clip: PathBuf,
    /// Time of the frame, s from the clip's first frame.
    #[arg(long, value_name = "S", allow_negative_numbers = true)]
    at: f64,
    /// The picture to write; "-" is standard output.
    #[arg(long, value_name = "PNG")]
    out: PathBuf,
    /// Overwrite an existing picture.
    #[arg(long)]
    force: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    if args.out == Path::new("-") {
        let mut bytes = Vec::new();
        write_frame(args, &mut bytes)?;
        return io::stdout().write_all(&bytes).context("cannot write to standard output");
    }
    // Opened before decoding, so that a name that can't be written is refused at once.
    let mut output = OutputFile::create(&args.out, args.force)?;
    let mut buffered = BufWriter::new(output.file());
    write_frame(args, &mut buffered)?;
    buffered.flush().with_context(|| format!("cannot write {}", args.out.display()))?;
    drop(buffered);
    output.finish()
}

fn write_frame(args: &Args, out: &mut impl Write) -> anyhow::Result<()> {
    let frame = Media::open(&args.clip)?.frame_at(args.at)?;
    frame.image.write_with_encoder(PngEncoder::new(out)).with_context(|| format!("cannot write {}", args.out.display()))
}
