//! `tworeach still`: saves the frame shown at a time as a picture, PNG or JPEG.

use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use anyhow::Context;
use clap::builder::{PathBufValueParser, TypedValueParser as _};
use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::PngEncoder;

use super::output::OutputFile;
use super::progress::Progress;
use crate::video::Media;

/// Quality of a JPEG, of 100: an edge that is marked stays where it is. PNG loses nothing at all.
const JPEG_QUALITY: u8 = 95;

/// Saves the frame of a clip shown at a time, upright and with square pixels, as a PNG or JPEG picture.
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
    /// The picture to write: a name that ends in .png or .jpg, or "-" for a PNG on standard output.
    #[arg(long, value_name = "PICTURE", value_parser = PathBufValueParser::new().try_map(Picture::named))]
    out: Picture,
    /// Overwrite an existing picture.
    #[arg(long)]
    force: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// A picture to be written: what its name says is what is in it.
#[derive(Debug, Clone)]
struct Picture {
    path: PathBuf,
    format: Format,
}

#[derive(Debug, Clone, Copy)]
enum Format {
    Png,
    Jpeg,
}

impl Picture {
    fn named(path: PathBuf) -> Result<Self, &'static str> {
        let extension = path.extension().and_then(|extension| extension.to_str()).map(str::to_ascii_lowercase);
        let format = match extension.as_deref() {
            Some("png") => Format::Png,
            Some("jpg" | "jpeg") => Format::Jpeg,
            None if path == Path::new("-") => Format::Png,
            _ => return Err("expected a name that ends in .png or .jpg"),
        };
        Ok(Self { path, format })
    }
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let path = &args.out.path;
    if path == Path::new("-") {
        let mut bytes = Vec::new();
        write_frame(args, &mut bytes)?;
        return io::stdout().write_all(&bytes).context("cannot write to standard output");
    }
    // Opened before decoding, so that a name that can't be written is refused at once.
    let mut output = OutputFile::create(path, args.force)?;
    let mut buffered = BufWriter::new(output.file());
    write_frame(args, &mut buffered)?;
    buffered.flush().with_context(|| format!("cannot write {}", path.display()))?;
    drop(buffered);
    output.finish()
}

fn write_frame(args: &Args, out: &mut impl Write) -> anyhow::Result<()> {
    let Picture { path, format } = &args.out;
    // far into a clip, decoding takes a while
    let progress = Progress::start("decoding", args.quiet);
    let image = Media::open(&args.clip)?.frame_at(args.at)?.image;
    drop(progress);
    let written = match format {
        Format::Png => image.write_with_encoder(PngEncoder::new(out)),
        Format::Jpeg => image.write_with_encoder(JpegEncoder::new_with_quality(out, JPEG_QUALITY)),
    };
    written.with_context(|| format!("cannot write {}", path.display()))
}
