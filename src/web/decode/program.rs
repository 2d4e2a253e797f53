//! What runs in a child process: looks at a clip from end to end, shows its frames one by one, or carries marks from one clip to
//! another.
//!
//! All bound their own memory and processor time before they open the file.

use std::collections::BTreeMap;
use std::io::{self, BufRead as _, Read as _, Write};
use std::path::Path;
use std::thread;

use image::{DynamicImage, RgbImage};
use serde::{Deserialize, Serialize};

use super::previews::PreviewWriter;
use crate::geometry::{ImagePoint, Landmark};
use crate::records::MediaFacts;
use crate::screen::{MarkedPoint, PointSpread, carry_pictures};
use crate::track::ArmTurn;
use crate::video::{Clip, Media, VideoError, YccPicture, encode_jpeg};

/// Address space of a child, bytes. A 4K clip decoded with eight threads takes under 1 GB.
const MEMORY_BYTES_MAX: u64 = 3 << 30;

/// Processor time of the look at a whole clip, s; the parent's clock runs out first unless many cores are at work.
const CHECK_CPU_S_MAX: u64 = 1200;

/// Processor time for carrying marks between two pictures, s; the parent's clock runs out first unless many cores are at work.
const CARRY_CPU_S_MAX: u64 = 240;

/// By how much a child that nobody waits for is nicer than the server.
#[cfg(unix)]
const NICENESS: i32 = 10;

/// The most frames of a clip: over five minutes at 60 frames a second. A reach takes ten seconds.
pub const FRAMES_MAX: usize = 20_000;

/// The long side of a small picture, px.
const PREVIEW_SIDE_PX: u32 = 480;

/// JPEG qualities of small and full pictures. At 90 an edge that is marked stays where it is to a fraction of a pixel.
const PREVIEW_QUALITY: u8 = 70;
const FULL_QUALITY: u8 = 90;

/// In place of a length: the frame cannot be shown.
pub const NO_FRAME: u32 = u32::MAX;

/// What the look at a clip or still found.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Report {
    /// It can be used.
    Accepted(MediaFacts),
    /// It cannot, for this reason: no full stop, and "this file" for the file.
    Refused(String),
}

/// Looks at the clip or still at `path`, writes small pictures of its frames to `previews`, and a [`Report`] as JSON to `out`.
///
/// # Errors
/// When `previews` or `out` cannot be written.
pub fn check(path: &Path, previews: &Path, out: &mut impl Write) -> io::Result<()> {
    limit_resources(Some(CHECK_CPU_S_MAX))?;
    let report = match look(path, previews) {
        Ok(facts) => Report::Accepted(facts),
        Err(CheckError::Video(error)) => Report::Refused(without_path(&error, path)),
        Err(CheckError::TooManyFrames) => {
            Report::Refused(format!("this file has more than {FRAMES_MAX} frames, cut it to the raises"))
        }
        Err(CheckError::Io(error)) => return Err(error),
    };
    serde_json::to_writer(&mut *out, &report)?;
    out.flush()
}

/// Shows frames of the clip or still at `path`: for each time (s) on a line of standard input, the length of a JPEG (u32,
/// little-endian) and the JPEG on standard output, or [`NO_FRAME`]. Ends with its input.
///
/// # Errors
/// When the file cannot be opened at all, or `out` is closed.
pub fn show_frames(path: &Path, out: &mut impl Write) -> io::Result<()> {
    limit_resources(None)?;
    let mut media = Media::open_to_show(path).map_err(io::Error::other)?;
    for line in io::stdin().lock().lines() {
        let time_s: f64 = line?.trim().parse().map_err(io::Error::other)?;
        let jpeg = media.ycc_at(time_s).ok().and_then(|picture| encode_jpeg(&picture, FULL_QUALITY));
        match jpeg {
            Some(jpeg) => {
                out.write_all(&u32::try_from(jpeg.len()).map_err(io::Error::other)?.to_le_bytes())?;
                out.write_all(&jpeg)?;
            }
            None => out.write_all(&NO_FRAME.to_le_bytes())?,
        }
        out.flush()?;
    }
    Ok(())
}

/// Which marks to carry.
#[derive(Debug, Serialize, Deserialize)]
pub struct CarryRequest {
    /// Time of the frame that they are on, s.
    pub from_time_s: f64,
    /// Time of the frame that they are carried to, s.
    pub to_time_s: f64,
    /// Whether the shoulders are turned alike.
    pub is_turned_alike: bool,
    /// The marks by their names, px.
    pub given: BTreeMap<String, [f64; 2]>,
}

/// What became of a mark.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CarryOutcome {
    /// It was carried.
    Carried {
        /// Where it is, px.
        point: [f64; 2],
        /// Covariance of the carrying alone: cxx, cxy, cyy in px².
        covariance_px2: [f64; 3],
    },
    /// It is left to the person, for this reason.
    Left(String),
}

/// Carries marks from a frame of the clip or still at `from` to one of that at `to`: takes a [`CarryRequest`] as JSON from
/// standard input and writes what became of each mark, by its name, as JSON to `out`.
///
/// # Errors
/// When the request cannot be read, a picture cannot be decoded, the two differ in size, or `out` is closed.
pub fn carry(from: &Path, to: &Path, out: &mut impl Write) -> io::Result<()> {
    limit_resources(Some(CARRY_CPU_S_MAX))?;
    let request: CarryRequest = serde_json::from_reader(io::stdin().lock())?;
    let picture = |path: &Path, time_s| {
        let shown = Media::open(path).and_then(|mut media| media.luma_at(time_s));
        shown.map(|frame| frame.image).map_err(io::Error::other)
    };
    let (source, target) = (picture(from, request.from_time_s)?, picture(to, request.to_time_s)?);
    if source.dimensions() != target.dimensions() {
        return Err(io::Error::other("the pictures differ in size"));
    }
    let mark = |(name, [x, y]): (&String, &[f64; 2])| {
        let landmark = name.parse::<Landmark>().map_err(io::Error::other)?;
        Ok::<_, io::Error>((landmark, ImagePoint::new(*x, *y)))
    };
    let given = request.given.iter().map(mark).collect::<io::Result<Vec<_>>>()?;
    let arms = if request.is_turned_alike { ArmTurn::Same } else { ArmTurn::Other };
    let outcomes: BTreeMap<&str, CarryOutcome> = carry_pictures(&source, &target, arms, &given, &[])
        .into_iter()
        .map(|(landmark, result)| {
            let outcome = match result {
                Ok(MarkedPoint { point, spread: PointSpread::Covariance(covariance_px2) }) => {
                    CarryOutcome::Carried { point: [point.x, point.y], covariance_px2 }
                }
                Ok(_) => CarryOutcome::Left("nothing tells how well it was carried".to_owned()),
                Err(why) => CarryOutcome::Left(why.to_string()),
            };
            (landmark.name(), outcome)
        })
        .collect();
    serde_json::to_writer(&mut *out, &outcomes)?;
    out.flush()
}

enum CheckError {
    Video(VideoError),
    TooManyFrames,
    Io(io::Error),
}

impl From<VideoError> for CheckError {
    fn from(error: VideoError) -> Self {
        Self::Video(error)
    }
}

impl From<io::Error> for CheckError {
    fn from(error: io::Error) -> Self {
        Self::Io(error)
    }
}

fn look(path: &Path, previews: &Path) -> Result<MediaFacts, CheckError> {
    let mut previews = PreviewWriter::create(previews)?;
    let (info, frame_times_s, end_s, damage) = match Media::open(path)? {
        Media::Still(still) => {
            previews.push(&small_jpeg(still.image())?)?;
            (still.info().clone(), vec![0.0], 0.0, None)
        }
        Media::Clip(mut clip) => {
            let survey = clip.survey()?.clone();
            if survey.frame_times_s.len() > FRAMES_MAX {
                return Err(CheckError::TooManyFrames);
            }
            write_previews(&clip, survey.frame_times_s.len(), &mut previews)?;
            (clip.info().clone(), survey.frame_times_s, survey.end_s, survey.damage)
        }
    };
    previews.finish()?;
    Ok(MediaFacts {
        extension: extension(&info.container).to_owned(),
        words: if info.codec == info.container {
            info.container
        } else {
            format!("{}, {}", info.container, info.codec)
        },
        upright_size: info.upright_size,
        quarter_turns: info.orientation.quarter_turns(),
        frame_times_s,
        end_s,
        damage,
    })
}

fn write_previews(clip: &Clip, count: usize, previews: &mut PreviewWriter) -> Result<(), CheckError> {
    for frame in clip.small_frames(PREVIEW_SIDE_PX)?.take(count) {
        previews.push(&jpeg(&frame?.image, PREVIEW_QUALITY)?)?;
    }
    Ok(())
}

fn small_jpeg(image: &RgbImage) -> io::Result<Vec<u8>> {
    let (width, height) = image.dimensions();
    if width.max(height) <= PREVIEW_SIDE_PX {
        return jpeg(image, PREVIEW_QUALITY);
    }
    let image = DynamicImage::ImageRgb8(image.clone()).thumbnail(PREVIEW_SIDE_PX, PREVIEW_SIDE_PX);
    jpeg(&image.into_rgb8(), PREVIEW_QUALITY)
}

fn jpeg(image: &RgbImage, quality: u8) -> io::Result<Vec<u8>> {
    encode_jpeg(&YccPicture::from_rgb(image), quality).ok_or_else(|| io::Error::other("a picture without pixels"))
}

/// The usual extension, by the container in words.
fn extension(container: &str) -> &'static str {
    match container {
        "MP4" => "mp4",
        "MOV" => "mov",
        "3GP" => "3gp",
        "MKV or WebM" => "mkv",
        "AVI" => "avi",
        "MPEG transport stream" => "ts",
        "MPEG program stream" => "mpg",
        "JPEG" => "jpg",
        "PNG" => "png",
        "WebP" => "webp",
        "TIFF" => "tif",
        _ => "clip",
    }
}

/// An error in one line, with "this file" where it names the path.
fn without_path(error: &VideoError, path: &Path) -> String {
    let words = crate::web::error::chain_words(error);
    words.replace(&path.display().to_string(), "this file")
}

/// Makes this process nicer than the server, whose frames somebody waits for.
pub(super) fn give_way() {
    #[cfg(unix)]
    let _ = rustix::process::nice(NICENESS);
}

/// Ends this process when its standard input ends: whoever asked has gone.
pub(super) fn end_with_input() {
    thread::spawn(|| {
        let mut byte = [0];
        while matches!(io::stdin().read(&mut byte), Ok(read) if read > 0) {}
        std::process::exit(1);
    });
}

/// Bounds what this process may take. Where the system has no such bounds, the parent's clock alone remains.
pub(super) fn limit_resources(cpu_s: Option<u64>) -> io::Result<()> {
    #[cfg(unix)]
    {
        use rustix::process::Resource;
        bound(Resource::As, MEMORY_BYTES_MAX)?;
        bound(Resource::Core, 0)?;
        if let Some(cpu_s) = cpu_s {
            bound(Resource::Cpu, cpu_s)?;
        }
    }
    #[cfg(not(unix))]
    let _ = cpu_s;
    Ok(())
}

#[cfg(unix)]
fn bound(resource: rustix::process::Resource, most: u64) -> io::Result<()> {
    use rustix::process::{Rlimit, getrlimit, setrlimit};
    // a bound that is lower already stays: raising it is not allowed, nor wanted
    let most = getrlimit(resource).maximum.map_or(most, |known| known.min(most));
    match setrlimit(resource, Rlimit { current: Some(most), maximum: Some(most) }) {
        // some systems know the bound on memory by name only
        Err(_) if cfg!(not(target_os = "linux")) => Ok(()),
        done => done.map_err(io::Error::from),
    }
}
