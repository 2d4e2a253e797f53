//! `tworeach track`: follows marks of one frame or several through a clip.

use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::path::PathBuf;
use std::time::Instant;

use anyhow::{Context as _, bail};

use super::outputs::OutputFolder;
use super::progress::{Progress, pace};
use crate::report::{FilmInput, render_course_chart, write_film};
use crate::screen::{ClipCurve, TrackedClip, track_marks};
use crate::track::MarkState;

/// The film's name.
const FILM: &str = "film.mp4";

/// Follows marks through a clip: where each is in every frame, when the arm is held, and marks on the holds to measure with.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach track before-internal.mp4 --marks before-internal.marks.json --out tracked

Writes tracks.csv (every mark in every frame: placed, followed, unsure where it may have slid by more than 5 px at 1280 px wide, \
hidden, lost or out_of_picture), course.svg (the arm's angle, or the bar's height, over time) and marks.json: \
the followed marks on the holds, which a case can name in place of the marks that they came from. With --film also film.mp4: \
the clip with the followed marks and the arm's angle drawn over it.

Exit code 0 done, 1 failed, 2 wrong usage.")]
pub(super) struct Args {
    /// The clip.
    clip: PathBuf,
    /// The marks, placed by hand on one frame or several: on more of them less is left to following.
    #[arg(long, value_name = "JSON")]
    marks: PathBuf,
    /// Directory for the tracks; made if it is not there.
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
    /// Also write the clip as a film with what was followed drawn over it.
    #[arg(long)]
    film: bool,
    /// Overwrite existing files.
    #[arg(long)]
    force: bool,
    /// Print nothing but errors.
    #[arg(long, short)]
    quiet: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let names = ["tracks.csv", "course.svg", "marks.json", FILM];
    // a film that is not asked for is not refused either
    let certain = if args.film { &names[..] } else { &names[..3] };
    let mut outputs = OutputFolder::open(&args.out, certain, args.force)?;
    let progress = Progress::start("following marks", args.quiet);
    let begun = Instant::now();
    let (clip, marks) = track_marks(&args.clip, &args.marks, |done, all| {
        progress.step(format!("following marks, {}", pace(done, all, begun.elapsed())));
    })?;
    if clip.track.times_s.len() < 2 {
        bail!("{} is a single picture: there is nothing to follow", args.clip.display());
    }
    outputs.write("tracks.csv", csv(&clip).as_bytes())?;
    if let Some(chart) = render_course_chart(&clip)? {
        outputs.write("course.svg", chart.svg.as_bytes())?;
    }
    if !marks.frames.is_empty() {
        outputs.write("marks.json", marks.to_json().as_bytes())?;
    }
    if args.film {
        let begun = Instant::now();
        let input = FilmInput { clip: &args.clip, track: &clip, held: None };
        outputs.write_by(FILM, |path| {
            Ok(write_film(&input, path, |done, all| {
                progress.step(format!("drawing the film, {}", pace(done, all, begun.elapsed())));
            })?)
        })?;
    }
    drop(progress);
    let written = outputs.finish(&names)?;
    if args.quiet {
        return Ok(());
    }
    let mut out = io::stdout().lock();
    print_course(&mut out, &clip)?;
    writeln!(out, "\nWritten:")?;
    for path in written {
        writeln!(out, "  {}", path.display())?;
    }
    out.flush().context("cannot write to standard output")
}

/// Every mark in every frame.
fn csv(clip: &TrackedClip) -> String {
    let mut text = "time_s,mark,state,x_px,y_px,sd_px\n".to_owned();
    for (frame, (time_s, states)) in clip.track.times_s.iter().zip(&clip.track.states).enumerate() {
        for (place, (landmark, state)) in clip.track.landmarks.iter().zip(states).enumerate() {
            // Writing to a String cannot fail.
            let _ = match state {
                MarkState::Followed { point, sd_px } => {
                    let word = match (clip.track.is_placed(frame, *landmark), clip.track.is_sure(frame, place)) {
                        (true, _) => "placed",
                        (false, true) => "followed",
                        (false, false) => "unsure",
                    };
                    writeln!(text, "{time_s:.4},{landmark},{word},{:.2},{:.2},{sd_px:.2}", point.x, point.y)
                }
                MarkState::Hidden { point, sd_px } => {
                    writeln!(text, "{time_s:.4},{landmark},hidden,{:.2},{:.2},{sd_px:.2}", point.x, point.y)
                }
                MarkState::Lost => writeln!(text, "{time_s:.4},{landmark},lost,,,"),
                MarkState::OutOfPicture => writeln!(text, "{time_s:.4},{landmark},out_of_picture,,,"),
            };
        }
    }
    text
}

/// A span of times, s; one frame has one time.
fn span_words(from_s: f64, to_s: f64) -> String {
    let [from, to] = [from_s, to_s].map(|time_s| format!("{time_s:.2}"));
    if from == to { format!("{from} s") } else { format!("{from} to {to} s") }
}

fn print_course(out: &mut impl io::Write, clip: &TrackedClip) -> io::Result<()> {
    let starts: Vec<String> = clip.starts_s.iter().map(|time_s| format!("{time_s:.2}")).collect();
    writeln!(out, "{} frames, marks from {} s", clip.track.times_s.len(), starts.join(", "))?;
    match (clip.shows, clip.course.raises.len()) {
        (None, _) => writeln!(
            out,
            "no curve: the arm's angle takes shoulder, wrist and hip of one side, the bar's height both shoulders and both ends of the bar"
        )?,
        (Some(_), 0) => writeln!(out, "no raise was found")?,
        _ => {}
    }
    for (number, raise) in clip.course.raises.iter().enumerate() {
        write!(out, "raise {}: {:.2} to {:.2} s", number + 1, raise.start_s, raise.end_s)?;
        // more decimals where the unit is greater
        let (decimals, unit) = match clip.shows {
            Some(ClipCurve::BarHeight) => (3, "lengths of the bar above the shoulders"),
            _ => (1, "deg"),
        };
        match raise.hold {
            Some(hold) => writeln!(
                out,
                ", held from {:.2} to {:.2} s at {:.decimals$} {unit} on the picture (spread {:.decimals$})",
                hold.start_s, hold.end_s, hold.mean, hold.sd
            )?,
            None => {
                writeln!(out, ", a swing up to {:.decimals$} {unit} on the picture: no hold at end range", raise.peak)?
            }
        }
    }
    let track = &clip.track;
    for anchor in &track.anchors {
        for (landmark, strayed) in &anchor.strayed_px {
            let (time_s, strayed_px) = (track.times_s[anchor.frame], strayed.norm());
            writeln!(
                out,
                "{landmark} had strayed by {strayed_px:.1} px at {time_s:.2} s: spread over the frames before"
            )?;
        }
    }
    for landmark in &track.landmarks {
        for (word, spans) in
            [("hidden, its place by the arm", track.hidden_spans_s(*landmark)), ("lost", track.lost_spans_s(*landmark))]
        {
            let spans: Vec<String> = spans.iter().map(|(from_s, to_s)| span_words(*from_s, *to_s)).collect();
            if !spans.is_empty() {
                writeln!(out, "{landmark} {word}: {}", spans.join(", "))?;
            }
        }
    }
    Ok(())
}
