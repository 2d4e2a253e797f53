//! `tworeach inspect`: tells what a clip or still is, in words or as JSON.

use std::io::{self, Write};
use std::path::{Path, PathBuf};

use serde::Serialize;

use super::progress::Progress;
use crate::video::{ColorInfo, Media, MediaInfo, MediaKind, Transfer};

/// Tells what a clip or still is: its picture, colours, frames, times and damage. Decodes the whole clip for that.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach inspect raise.mp4
  tworeach inspect raise.mp4 --json

With --json the times of all frames are listed.
Exit code 0 done, 1 failed, 2 wrong usage.")]
pub(super) struct Args {
    /// The clip or still.
    file: PathBuf,
    /// Print JSON instead of words.
    #[arg(long)]
    json: bool,
}

#[derive(Serialize)]
struct Output<'a> {
    file: &'a Path,
    #[serde(flatten)]
    info: &'a MediaInfo,
    frame_times_s: Option<&'a [f64]>,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let mut media = Media::open(&args.file)?;
    let progress = Progress::start("decoding the clip", false);
    let frame_times_s = match &mut media {
        Media::Clip(clip) => Some(clip.survey()?.frame_times_s.clone()),
        Media::Still(_) => None,
    };
    drop(progress);
    let info = media.info();
    let mut out = io::stdout().lock();
    if args.json {
        let output = Output { file: &args.file, info, frame_times_s: frame_times_s.as_deref() };
        serde_json::to_writer_pretty(&mut out, &output)?;
        writeln!(out)?;
    } else {
        writeln!(out, "{}", args.file.display())?;
        for (name, words) in rows(info) {
            writeln!(out, "  {name:<10} {words}")?;
        }
    }
    out.flush()?;
    Ok(())
}

fn rows(info: &MediaInfo) -> Vec<(&'static str, String)> {
    let mut rows = vec![("kind", kind_words(info)), ("picture", picture_words(info))];
    if let Some(color) = &info.color {
        rows.push(("colours", color_words(color, info.bit_depth)));
    }
    if info.kind == MediaKind::Clip {
        rows.push(("frames", frame_words(info)));
        rows.push(("times", format!("count from the first frame, which the file stamps {:.3} s", info.start_s)));
        let damage = info.damage.map_or_else(
            || "none found".to_owned(),
            |damage| format!("usable up to {:.3} s; what follows is damaged or cut off", damage.time_s),
        );
        rows.push(("damage", damage));
    }
    rows
}

fn kind_words(info: &MediaInfo) -> String {
    match info.kind {
        MediaKind::Still => format!("still, {}", info.container),
        MediaKind::Clip => {
            let streams = if info.streams == 1 { "1 stream".to_owned() } else { format!("{} streams", info.streams) };
            format!("clip, {} in {}, {streams}", info.codec, info.container)
        }
    }
}

fn picture_words(info: &MediaInfo) -> String {
    let ([width, height], [coded_width, coded_height]) = (info.upright_size, info.coded_size);
    let mut changes = Vec::new();
    if (info.pixel_aspect - 1.0).abs() > f64::EPSILON {
        changes.push(format!("pixels {:.3} times as wide as high made square", info.pixel_aspect));
    }
    if info.orientation.is_mirrored {
        changes.push("mirrored left to right".to_owned());
    }
    if info.orientation.clockwise_deg != 0 {
        changes.push(format!("turned {} deg clockwise", info.orientation.clockwise_deg));
    }
    if changes.is_empty() {
        return format!("{width} x {height} px, stored upright");
    }
    format!("{width} x {height} px upright; stored as {coded_width} x {coded_height}, {}", changes.join(", "))
}

fn color_words(color: &ColorInfo, bit_depth: u32) -> String {
    let stated = if color.is_matrix_stated { "" } else { " (not stated, taken by size)" };
    let range = if color.is_full_range { "full" } else { "limited" };
    let transfer = match color.transfer {
        Transfer::Standard => "standard dynamic range",
        Transfer::HybridLogGamma => "high dynamic range (HLG), shown as it is: a little pale",
        Transfer::PerceptualQuantizer => "high dynamic range (PQ), mapped so that diffuse white is white",
    };
    format!("{bit_depth} bit, {}{stated}, {range} range, {transfer}", color.matrix)
}

fn frame_words(info: &MediaInfo) -> String {
    let frames = info.frames.map_or_else(|| "unknown number".to_owned(), |frames| frames.to_string());
    let mut words = frames;
    if let Some(duration_s) = info.duration_s {
        words += &format!(" in {duration_s:.3} s");
    }
    if let Some(rate) = info.average_rate {
        words += &format!(", {rate:.2} per second on average");
    }
    if let Some(gap_s) = info.longest_gap_s {
        words += &format!(", longest gap {:.1} ms", gap_s * 1000.0);
    }
    if let (Some(captured), Some(played)) = (info.capture_rate, info.average_rate)
        && captured > 1.5 * played
    {
        words += &format!("; slow motion recorded at {captured:.0} per second, times are those of the slowed clip");
    }
    words
}
