//! A clip: its facts, the frame shown at a time, and its frames in order.

use std::mem;
use std::path::{Path, PathBuf};

use ffmpeg_next::frame;
use image::{GrayImage, RgbImage};

use super::color::{self, ColorInfo};
use super::convert::{Converter, square_size};
use super::error::VideoError;
use super::ffi;
use super::info::{MediaInfo, MediaKind, codec_words, container_words};
use super::planes::YccPicture;
use super::reader::{Damage, Reader, ReaderOptions};
use super::stream::check_size;

/// A frame counts as shown this long before its time, s: times are written to the millisecond, and one that was rounded down
/// must still find its frame.
pub const TIME_TOLERANCE_S: f64 = 0.000_5;
/// Shapes of a pixel that are credible, width over height.
const PIXEL_ASPECTS: (f64, f64) = (0.25, 4.0);

/// An upright frame in colour.
#[derive(Debug, Clone)]
pub struct UprightFrame {
    /// When it is shown first, s from the first frame of the clip.
    pub time_s: f64,
    /// The picture, upright with square pixels, RGB.
    pub image: RgbImage,
}

/// An upright frame's luma.
#[derive(Debug, Clone)]
pub struct LumaFrame {
    /// When it is shown first, s from the first frame of the clip.
    pub time_s: f64,
    /// Luma in the full range: 0 black, 255 nominal white.
    pub image: GrayImage,
}

/// All that decoding a whole clip tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Survey {
    /// The times of all usable frames, s, increasing.
    pub frame_times_s: Vec<f64>,
    /// Where the clip stops being usable; `None` if it is whole.
    pub damage: Option<Damage>,
    /// When the last usable frame ends, s.
    pub end_s: f64,
}

impl Survey {
    /// Frames per second over all intervals, where there is one.
    fn average_rate(&self) -> Option<f64> {
        let intervals = u32::try_from(self.frame_times_s.len().checked_sub(1)?).ok()?;
        let length_s = self.frame_times_s.last()? - self.frame_times_s.first()?;
        (length_s > 0.0).then(|| f64::from(intervals) / length_s)
    }
}

/// A clip on disk.
pub struct Clip {
    path: PathBuf,
    info: MediaInfo,
    color: ColorInfo,
    cursor: Cursor,
    survey: Option<Survey>,
    is_whole: Option<bool>,
    keeps_codes: bool,
}

/// The frame shown and the one after it, moved along the clip as times are asked for.
struct Cursor {
    reader: Reader,
    converter: Converter,
    shown: Timed,
    ahead: Option<Timed>,
}

struct Timed {
    time_s: f64,
    frame: frame::Video,
}

impl Clip {
    /// Opens a clip and decodes its first frame.
    ///
    /// # Errors
    /// [`VideoError`] says in one sentence why the file can't be used.
    pub fn open(path: &Path) -> Result<Self, VideoError> {
        Self::open_with(path, ReaderOptions::default())
    }

    /// As [`Self::open`], for showing frames to a person, with one thread: it takes the least memory, and a jump has no other
    /// threads to fill with frames first.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_to_show(path: &Path) -> Result<Self, VideoError> {
        Self::open_with(path, ReaderOptions { has_one_thread: true, ..ReaderOptions::default() })
    }

    /// As [`Self::open`], for following marks: 8-bit luma comes with its codes as they are stored, whatever their range. Following
    /// does not see a change of the light, and a copy alone takes less time.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_to_follow(path: &Path) -> Result<Self, VideoError> {
        let mut clip = Self::open(path)?;
        clip.keeps_codes = true;
        clip.cursor.converter = clip.converter();
        Ok(clip)
    }

    fn open_with(path: &Path, options: ReaderOptions) -> Result<Self, VideoError> {
        let mut reader = Reader::open(path, options)?;
        let mut frame = frame::Video::empty();
        let Some(time_s) = reader.next(&mut frame)? else {
            return Err(VideoError::NoFrame { path: path.to_owned(), codec: codec_words(&reader.facts().codec) });
        };
        let (info, color) = describe(path, &mut reader, &mut frame)?;
        let converter = converter(&info, &color);
        let shown = Timed { time_s, frame };
        let ahead = read_ahead(&mut reader)?;
        let cursor = Cursor { reader, converter, shown, ahead };
        Ok(Self { path: path.to_owned(), info, color, cursor, survey: None, is_whole: None, keeps_codes: false })
    }

    /// What the clip is. Counted frames, gaps and damage are there after [`Self::survey`].
    #[must_use]
    pub const fn info(&self) -> &MediaInfo {
        &self.info
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The frame shown at `time_s` (s from the first frame): the last one whose time is at most `time_s`, give or take
    /// [`TIME_TOLERANCE_S`]. The last frame is shown until it ends.
    ///
    /// # Errors
    /// [`VideoError::PastEnd`] past the end of the last frame, [`VideoError::PastDamage`] past the damage of a damaged clip,
    /// [`VideoError::NotATime`] for a negative or non-finite time, others if the clip can't be decoded.
    pub fn frame_at(&mut self, time_s: f64) -> Result<UprightFrame, VideoError> {
        self.show(time_s)?;
        let Cursor { converter, shown, .. } = &mut self.cursor;
        let image = converter.rgb(&shown.frame).ok_or_else(|| unknown_pixels(&self.path))?;
        Ok(UprightFrame { time_s: shown.time_s, image })
    }

    /// The frame shown at `time_s`, as [`Self::frame_at`], as a JPEG file holds it. Colours are good to a few codes; brightness
    /// stands where it stood. This is the way to show a frame: what is measured never comes from here.
    ///
    /// # Errors
    /// As [`Self::frame_at`].
    pub fn ycc_at(&mut self, time_s: f64) -> Result<YccPicture, VideoError> {
        self.show(time_s)?;
        let Cursor { converter, shown, .. } = &mut self.cursor;
        converter.ycc(&shown.frame).ok_or_else(|| unknown_pixels(&self.path))
    }

    /// The luma of the frame shown at `time_s`, as [`Self::frame_at`].
    ///
    /// # Errors
    /// As [`Self::frame_at`].
    pub fn luma_at(&mut self, time_s: f64) -> Result<LumaFrame, VideoError> {
        self.show(time_s)?;
        let Cursor { converter, shown, .. } = &mut self.cursor;
        let image = converter.luma(&shown.frame).ok_or_else(|| unknown_pixels(&self.path))?;
        Ok(LumaFrame { time_s: shown.time_s, image })
    }

    /// All frames in colour, from the start.
    ///
    /// # Errors
    /// If the clip can't be opened again.
    pub fn frames(&self) -> Result<Frames, VideoError> {
        self.pass().map(Frames)
    }

    /// All frames in colour, from the start, made small: the long side has `side_px` px, or its own length where that is less.
    ///
    /// # Errors
    /// If the clip can't be opened again.
    pub fn small_frames(&self, side_px: u32) -> Result<Frames, VideoError> {
        let mut pass = self.pass()?;
        let square_size = square_size(self.info.coded_size.into(), self.info.pixel_aspect);
        pass.converter = Converter::new(self.info.orientation, self.color.clone(), within(square_size, side_px));
        Ok(Frames(pass))
    }

    /// The luma of all frames, from the start.
    ///
    /// # Errors
    /// If the clip can't be opened again.
    pub fn luma_frames(&self) -> Result<LumaFrames, VideoError> {
        self.pass().map(LumaFrames)
    }

    /// Decodes the whole clip once for the times of its frames and its damage. Kept: a second call costs nothing.
    ///
    /// # Errors
    /// If the clip can't be opened again.
    pub fn survey(&mut self) -> Result<&Survey, VideoError> {
        if self.survey.is_none() {
            let survey = take_survey(&self.path)?;
            self.info.frames = u64::try_from(survey.frame_times_s.len()).ok();
            self.info.duration_s = Some(survey.end_s);
            self.info.average_rate = survey.average_rate().or(self.info.average_rate);
            self.info.longest_gap_s =
                survey.frame_times_s.windows(2).map(|pair| pair[1] - pair[0]).max_by(f64::total_cmp);
            self.info.damage = survey.damage;
            self.survey = Some(survey);
        }
        Ok(self.survey.as_ref().expect("set just above"))
    }

    /// Where the clip stops being usable, as far as can be told without decoding it all: whether it was cut off, which its
    /// packets tell, and damage to pictures that were decoded so far. [`Self::survey`] tells of all damage.
    ///
    /// # Errors
    /// If the clip can't be opened again.
    pub fn known_damage(&mut self) -> Result<Option<Damage>, VideoError> {
        if self.survey.is_none() {
            let is_whole = match self.is_whole {
                Some(is_whole) => is_whole,
                None => *self.is_whole.insert(Reader::is_whole(&self.path)?),
            };
            if is_whole {
                return Ok(self.cursor.reader.damage());
            }
        }
        self.survey().map(|survey| survey.damage)
    }

    /// The times of all usable frames, s, by [`Self::survey`].
    ///
    /// # Errors
    /// As [`Self::survey`].
    pub fn frame_times_s(&mut self) -> Result<&[f64], VideoError> {
        self.survey().map(|survey| survey.frame_times_s.as_slice())
    }

    fn converter(&self) -> Converter {
        let converter = converter(&self.info, &self.color);
        if self.keeps_codes { converter.with_codes() } else { converter }
    }

    fn pass(&self) -> Result<Pass, VideoError> {
        Ok(Pass {
            path: self.path.clone(),
            reader: Reader::open(&self.path, ReaderOptions::default())?,
            converter: self.converter(),
            frame: frame::Video::empty(),
        })
    }

    /// Moves the cursor so that the frame shown is the one at `time_s`.
    fn show(&mut self, time_s: f64) -> Result<(), VideoError> {
        if !time_s.is_finite() || time_s < -TIME_TOLERANCE_S {
            return Err(VideoError::NotATime { found_s: time_s });
        }
        if let Some(Survey { damage: Some(damage), end_s, .. }) = &self.survey
            && time_s > end_s + TIME_TOLERANCE_S
        {
            return Err(VideoError::PastDamage { path: self.path.clone(), found_s: time_s, last_s: damage.time_s });
        }
        let limit_s = time_s + TIME_TOLERANCE_S;
        if !self.cursor.move_to(limit_s)? {
            return Err(VideoError::NoFrame { path: self.path.clone(), codec: self.info.codec.clone() });
        }
        let Cursor { reader, shown: Timed { time_s: last_s, .. }, ahead, .. } = &self.cursor;
        if ahead.is_some() || time_s <= last_s + reader.last_duration_s() + TIME_TOLERANCE_S {
            return Ok(());
        }
        let (path, last_s) = (self.path.clone(), *last_s);
        Err(match reader.damage() {
            Some(_) => VideoError::PastDamage { path, found_s: time_s, last_s },
            None => VideoError::PastEnd { path, found_s: time_s, last_s },
        })
    }
}

impl Cursor {
    /// Makes the frame shown the last one at or before `limit_s`, or the first of the clip; `false` if there is none at all.
    fn move_to(&mut self, limit_s: f64) -> Result<bool, VideoError> {
        let can_walk = self.shown.time_s <= limit_s
            && self
                .ahead
                .as_ref()
                .is_none_or(|ahead| limit_s < ahead.time_s || self.reader.is_jump_useless(ahead.time_s, limit_s));
        // While the frames change hands no time is right: an error on the way makes the next call jump.
        let shown_s = mem::replace(&mut self.shown.time_s, f64::INFINITY);
        self.shown.time_s = if can_walk {
            shown_s
        } else {
            self.ahead = None;
            let Some(first_s) = self.reader.jump(limit_s, &mut self.shown.frame)? else { return Ok(false) };
            self.ahead = read_ahead(&mut self.reader)?;
            first_s
        };
        while let Some(mut next) = self.ahead.take_if(|ahead| ahead.time_s <= limit_s) {
            mem::swap(&mut self.shown, &mut next);
            let shown_s = mem::replace(&mut self.shown.time_s, f64::INFINITY);
            self.ahead = self.reader.next(&mut next.frame)?.map(|time_s| Timed { time_s, frame: next.frame });
            self.shown.time_s = shown_s;
        }
        Ok(true)
    }
}

/// The frames of a clip in colour, in the order in which they are shown. Ends at damage.
pub struct Frames(Pass);

/// The luma of a clip's frames, in the order in which they are shown. Ends at damage.
pub struct LumaFrames(Pass);

/// One pass with conversion.
struct Pass {
    path: PathBuf,
    reader: Reader,
    converter: Converter,
    frame: frame::Video,
}

impl Pass {
    fn next<T>(
        &mut self,
        convert: impl FnOnce(&mut Converter, &frame::Video, f64) -> Option<T>,
    ) -> Option<Result<T, VideoError>> {
        let time_s = match self.reader.next(&mut self.frame) {
            Ok(time_s) => time_s?,
            Err(error) => return Some(Err(error)),
        };
        Some(convert(&mut self.converter, &self.frame, time_s).ok_or_else(|| unknown_pixels(&self.path)))
    }
}

impl Frames {
    /// Where the pass met damage: known once the iterator has ended.
    #[must_use]
    pub fn damage(&self) -> Option<Damage> {
        self.0.reader.damage()
    }
}

impl LumaFrames {
    /// Where the pass met damage: known once the iterator has ended.
    #[must_use]
    pub fn damage(&self) -> Option<Damage> {
        self.0.reader.damage()
    }

    /// Takes back a picture that is not needed any more: the next is made in its memory, which saves asking the system for it.
    pub fn take_back(&mut self, image: GrayImage) {
        self.0.converter.take_back(image);
    }
}

impl Iterator for Frames {
    type Item = Result<UprightFrame, VideoError>;

    fn next(&mut self) -> Option<Self::Item> {
        self.0.next(|converter, frame, time_s| Some(UprightFrame { time_s, image: converter.rgb(frame)? }))
    }
}

impl Iterator for LumaFrames {
    type Item = Result<LumaFrame, VideoError>;

    fn next(&mut self) -> Option<Self::Item> {
        self.0.next(|converter, frame, time_s| Some(LumaFrame { time_s, image: converter.luma(frame)? }))
    }
}

fn read_ahead(reader: &mut Reader) -> Result<Option<Timed>, VideoError> {
    let mut frame = frame::Video::empty();
    Ok(reader.next(&mut frame)?.map(|time_s| Timed { time_s, frame }))
}

fn take_survey(path: &Path) -> Result<Survey, VideoError> {
    let mut reader = Reader::open(path, ReaderOptions { times_only: true, ..ReaderOptions::default() })?;
    let mut frame = frame::Video::empty();
    let mut frame_times_s = Vec::new();
    while let Some(time_s) = reader.next(&mut frame)? {
        frame_times_s.push(time_s);
    }
    let end_s = frame_times_s.last().map_or(0.0, |last_s| last_s + reader.last_duration_s());
    Ok(Survey { frame_times_s, damage: reader.damage(), end_s })
}

fn describe(path: &Path, reader: &mut Reader, frame: &mut frame::Video) -> Result<(MediaInfo, ColorInfo), VideoError> {
    let frame_numbers = ffi::frame_numbers(frame);
    let coded_size = (frame_numbers.width, frame_numbers.height);
    let (aspect_width, aspect_height) = reader.pixel_aspect(frame);
    let pixel_aspect = f64::from(aspect_width) / f64::from(aspect_height);
    let (min, max) = PIXEL_ASPECTS;
    if !(min..=max).contains(&pixel_aspect) {
        return Err(VideoError::PixelAspect { path: path.to_owned(), found: pixel_aspect, min, max });
    }
    let square_size = square_size(coded_size, pixel_aspect);
    check_size(path, square_size.0.into(), square_size.1.into())?;
    let facts = reader.facts();
    let numbers = facts.numbers;
    let range = if color::is_range_stated(frame_numbers.range) { frame_numbers.range } else { numbers.range };
    let mut color = ColorInfo::from_numbers(frame_numbers.matrix, numbers.matrix, numbers.transfer, range, coded_size);
    color.is_full_range |= ffi::is_full_range_format(frame_numbers.pixel_format);
    let (width, height) = facts.orientation.upright_size(square_size);
    let info = MediaInfo {
        kind: MediaKind::Clip,
        container: container_words(&facts.container, facts.brand.as_deref()),
        capture_rate: facts.capture_rate,
        codec: codec_words(&facts.codec),
        coded_size: coded_size.into(),
        upright_size: [width, height],
        orientation: facts.orientation,
        pixel_aspect,
        bit_depth: ffi::pixel_layout(frame_numbers.pixel_format).map_or(8, |(depth, _)| depth),
        color: Some(color.clone()),
        duration_s: facts.stated_duration_s,
        frames: facts.stated_frames,
        start_s: numbers.start_ticks.unwrap_or(0) as f64 * facts.tick_s,
        average_rate: facts.average_rate,
        longest_gap_s: None,
        streams: facts.streams,
        damage: None,
    };
    Ok((info, color))
}

fn converter(info: &MediaInfo, color: &ColorInfo) -> Converter {
    let square_size = square_size(info.coded_size.into(), info.pixel_aspect);
    Converter::new(info.orientation, color.clone(), square_size)
}

/// A size of the same shape whose long side is at most `side_px` px, and no side less than one.
fn within((width, height): (u32, u32), side_px: u32) -> (u32, u32) {
    let long = width.max(height).max(1);
    if long <= side_px {
        return (width, height);
    }
    let small = |side: u32| {
        let side = (u64::from(side) * u64::from(side_px) + u64::from(long) / 2) / u64::from(long);
        u32::try_from(side.max(1)).unwrap_or(side_px)
    };
    (small(width), small(height))
}

fn unknown_pixels(path: &Path) -> VideoError {
    VideoError::Library {
        path: path.to_owned(),
        step: "convert the pixels of",
        source: ffmpeg_next::Error::PatchWelcome,
    }
}
