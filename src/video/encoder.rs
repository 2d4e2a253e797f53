//! Pictures to an H.264 clip that any phone plays: MP4 with the index in front, YUV 4:2:0, BT.709 in the limited range.

use std::path::{Path, PathBuf};

use ffmpeg_next as ffmpeg;
use ffmpeg_next::codec::{self, encoder};
use ffmpeg_next::format::Pixel;
use ffmpeg_next::format::context::Output;
use ffmpeg_next::{Dictionary, Packet, Rational, color, frame};
use image::RgbImage;
use tempfile::NamedTempFile;

use super::color::MATRIX_BT709;
use super::error::VideoError;
use super::ffi::{self, Conversion, Scaler};
use super::growing::growing_beside;

/// Ticks per second of the clip's clock: a multiple of every usual frame rate.
const TICKS_PER_S: i32 = 90_000;
/// Sides that H.264 encodes at 4:2:0, px; both must be even.
const SIDES: (u32, u32) = (16, 8192);
/// The highest frame rate accepted, 1/s.
const MAX_RATE: u32 = 1000;

/// How a clip is encoded.
#[derive(Debug, Clone)]
pub struct EncodeOptions {
    /// Width of every frame, px, even.
    pub width: u32,
    /// Height of every frame, px, even.
    pub height: u32,
    /// Frames per second as numerator and denominator, such as 30 and 1, or 30000 and 1001.
    pub frame_rate: (u32, u32),
    /// Constant rate factor of x264: 0 lossless, 18 hardly visible loss, 23 usual, 51 worst.
    pub crf: u8,
    /// x264's preset, such as `medium`: slower makes smaller files.
    pub preset: &'static str,
    /// At most so many frames from one key frame to the next.
    pub key_interval: u32,
    /// Whether an existing file is replaced.
    pub overwrite: bool,
}

impl EncodeOptions {
    /// 30 frames per second in good quality, with a key frame each second; refuses to overwrite.
    #[must_use]
    pub const fn new(width: u32, height: u32) -> Self {
        Self { width, height, frame_rate: (30, 1), crf: 18, preset: "medium", key_interval: 30, overwrite: false }
    }
}

/// Writes one clip. Until [`Encoder::finish`] succeeds nothing is at the path: the clip grows under a temporary name beside it,
/// and is removed if the encoder is dropped.
pub struct Encoder {
    path: PathBuf,
    options: EncodeOptions,
    file: NamedTempFile,
    output: Output,
    encoder: encoder::video::Encoder,
    scaler: Scaler,
    rgb: frame::Video,
    pushed: u32,
    last_ticks: Option<i64>,
}

impl Encoder {
    /// Starts a clip at `path`.
    ///
    /// # Errors
    /// [`VideoError::Exists`] unless overwriting, [`VideoError::EncodeSize`], [`VideoError::EncodeRate`],
    /// [`VideoError::NoEncoder`], [`VideoError::Write`] if the folder can't be written.
    pub fn create(path: &Path, options: EncodeOptions) -> Result<Self, VideoError> {
        check(&options)?;
        if !options.overwrite && path.exists() {
            return Err(VideoError::Exists { path: path.to_owned() });
        }
        ffi::prepare();
        let file =
            growing_beside(path, ".mp4").map_err(|source| VideoError::Write { path: path.to_owned(), source })?;
        let failed = |source| write_error(path, source);
        let codec = encoder::find_by_name("libx264").ok_or(VideoError::NoEncoder)?;
        let mut output = ffi::create_mp4(file.path()).map_err(failed)?;
        let encoder = open_encoder(codec, &options).map_err(failed)?;
        let mut stream = output.add_stream(codec).map_err(failed)?;
        stream.set_time_base(Rational(1, TICKS_PER_S));
        stream.set_avg_frame_rate(rate(&options));
        stream.set_parameters(&encoder);
        let mut settings = Dictionary::new();
        settings.set("movflags", "+faststart");
        settings.set("fflags", "+bitexact"); // no version of the library in the file: the same input gives the same bytes
        output.write_header_with(settings).map_err(failed)?;
        let conversion = Conversion {
            source_format: rgb_format(),
            source_size: (options.width, options.height),
            target_format: Pixel::YUV420P,
            target_size: (options.width, options.height),
            matrix: MATRIX_BT709,
            is_source_full_range: true,
            is_target_full_range: false,
        };
        let scaler = Scaler::new(conversion).ok_or(VideoError::NoEncoder)?;
        let rgb = frame::Video::new(Pixel::RGB24, options.width, options.height);
        Ok(Self { path: path.to_owned(), options, file, output, encoder, scaler, rgb, pushed: 0, last_ticks: None })
    }

    /// Adds a frame one frame interval after the one before; the first is at 0.
    ///
    /// # Errors
    /// [`VideoError::FrameSize`] if it is not of the clip's size, [`VideoError::Write`] if writing fails.
    pub fn push(&mut self, image: &RgbImage) -> Result<(), VideoError> {
        let (frames, seconds) = self.options.frame_rate;
        let time_s = f64::from(self.pushed) * f64::from(seconds) / f64::from(frames);
        self.push_at(image, time_s)
    }

    /// Adds a frame at `time_s` (s), later than the one before.
    ///
    /// # Errors
    /// As [`Self::push`], and [`VideoError::FrameOrder`] if it is not later.
    pub fn push_at(&mut self, image: &RgbImage, time_s: f64) -> Result<(), VideoError> {
        let EncodeOptions { width, height, .. } = self.options;
        if image.dimensions() != (width, height) {
            let (found_width, found_height) = image.dimensions();
            return Err(VideoError::FrameSize { found_width, found_height, width, height });
        }
        let ticks = ticks(time_s)?;
        if let Some(last) = self.last_ticks.filter(|&last| ticks <= last) {
            let previous_s = last as f64 / f64::from(TICKS_PER_S);
            return Err(VideoError::FrameOrder { found_s: time_s, previous_s });
        }
        let stride = self.rgb.stride(0);
        let row_bytes = 3 * usize::try_from(width).expect("a width fits usize");
        for (target, source) in self.rgb.data_mut(0).chunks_mut(stride).zip(image.as_raw().chunks_exact(row_bytes)) {
            target[..row_bytes].copy_from_slice(source);
        }
        let yuv = self.scaler.convert(&self.rgb).expect("the scaler was made for frames of this size and format");
        yuv.set_pts(Some(ticks));
        self.encoder.send_frame(yuv).map_err(|source| write_error(&self.path, source))?;
        self.last_ticks = Some(ticks);
        self.pushed += 1;
        self.write_packets()
    }

    /// Ends the clip and puts it at its path.
    ///
    /// # Errors
    /// [`VideoError::Write`] if the clip could not be written whole, [`VideoError::Exists`] if a file of that name has appeared
    /// in the meantime; then nothing new is left behind.
    pub fn finish(mut self) -> Result<(), VideoError> {
        self.encoder.send_eof().map_err(|source| write_error(&self.path, source))?;
        self.write_packets()?;
        let Self { path, options, file, mut output, .. } = self;
        output.write_trailer().map_err(|source| write_error(&path, source))?;
        ffi::flush_output(&mut output).map_err(|source| write_error(&path, source))?;
        drop(output);
        let persisted = if options.overwrite { file.persist(&path) } else { file.persist_noclobber(&path) };
        persisted.map(drop).map_err(|error| match error.error.kind() {
            std::io::ErrorKind::AlreadyExists => VideoError::Exists { path },
            _ => VideoError::Write { path, source: error.error },
        })
    }

    fn write_packets(&mut self) -> Result<(), VideoError> {
        let mut packet = Packet::empty();
        while self.encoder.receive_packet(&mut packet).is_ok() {
            packet.set_stream(0);
            let stream = self.output.stream(0).expect("the stream was added");
            packet.rescale_ts(Rational(1, TICKS_PER_S), stream.time_base());
            packet.write_interleaved(&mut self.output).map_err(|source| write_error(&self.path, source))?;
        }
        Ok(())
    }
}

fn check(options: &EncodeOptions) -> Result<(), VideoError> {
    let EncodeOptions { width, height, frame_rate: (numerator, denominator), .. } = *options;
    let (min, max) = SIDES;
    if [width, height].iter().any(|side| side % 2 != 0 || !(min..=max).contains(side)) {
        return Err(VideoError::EncodeSize { width, height, min, max });
    }
    let is_rate = denominator > 0 && numerator >= denominator && numerator <= MAX_RATE.saturating_mul(denominator);
    if is_rate && i32::try_from(numerator).is_ok() {
        Ok(())
    } else {
        Err(VideoError::EncodeRate { numerator, denominator })
    }
}

fn open_encoder(codec: ffmpeg::Codec, options: &EncodeOptions) -> Result<encoder::video::Encoder, ffmpeg::Error> {
    let mut video = codec::Context::new_with_codec(codec).encoder().video()?;
    video.set_width(options.width);
    video.set_height(options.height);
    video.set_format(Pixel::YUV420P);
    video.set_time_base(Rational(1, TICKS_PER_S));
    video.set_frame_rate(Some(rate(options)));
    video.set_gop(options.key_interval);
    video.set_aspect_ratio(Rational(1, 1));
    video.set_colorspace(color::Space::BT709);
    video.set_color_range(color::Range::MPEG);
    video.set_color_primaries(color::Primaries::BT709);
    video.set_color_transfer_characteristic(color::TransferCharacteristic::BT709);
    video.set_flags(codec::Flags::GLOBAL_HEADER);
    let mut settings = Dictionary::new();
    settings.set("preset", options.preset);
    settings.set("crf", &options.crf.to_string());
    video.open_with(settings)
}

fn rate(options: &EncodeOptions) -> Rational {
    let part = |value: u32| i32::try_from(value).expect("rates were checked");
    Rational(part(options.frame_rate.0), part(options.frame_rate.1))
}

fn ticks(time_s: f64) -> Result<i64, VideoError> {
    let ticks = (time_s * f64::from(TICKS_PER_S)).round();
    if !(0.0..1e15).contains(&ticks) {
        return Err(VideoError::NotATime { found_s: time_s });
    }
    #[allow(clippy::cast_possible_truncation, reason = "rounded and bounded")]
    let ticks = ticks as i64;
    Ok(ticks)
}

fn write_error(path: &Path, source: ffmpeg::Error) -> VideoError {
    let path = path.to_owned();
    match source {
        ffmpeg::Error::Other { errno } if errno > 0 => {
            VideoError::Write { path, source: std::io::Error::from_raw_os_error(errno) }
        }
        source => VideoError::Library { path, step: "write", source },
    }
}

fn rgb_format() -> i32 {
    ffi::format_number(Pixel::RGB24)
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::video::Clip;

    fn options(folder: &tempfile::TempDir) -> (PathBuf, EncodeOptions) {
        (folder.path().join("out.mp4"), EncodeOptions::new(64, 48))
    }

    /// Smooth pictures whose level tells the frame.
    fn picture(level: u8) -> RgbImage {
        RgbImage::from_fn(64, 48, |x, _| image::Rgb([level, level / 2 + 40, u8::try_from(2 * x).unwrap()]))
    }

    #[test]
    fn frames_come_back_at_their_times_in_their_colours() {
        let folder = tempfile::tempdir().unwrap();
        let (path, options) = options(&folder);
        let mut encoder = Encoder::create(&path, EncodeOptions { crf: 1, ..options }).unwrap();
        let times_s = [0.0, 0.04, 0.1, 0.5];
        for (&time_s, level) in times_s.iter().zip([20, 80, 140, 200]) {
            encoder.push_at(&picture(level), time_s).unwrap();
        }
        encoder.finish().unwrap();
        let clip = Clip::open(&path).unwrap();
        assert_eq!(clip.info().color.as_ref().unwrap().matrix, "BT.709");
        let frames: Vec<_> = clip.frames().unwrap().map(Result::unwrap).collect();
        assert_eq!(frames.len(), 4);
        for ((frame, time_s), level) in frames.iter().zip(times_s).zip([20, 80, 140, 200]) {
            assert!((frame.time_s - time_s).abs() < 1e-5, "{} {time_s}", frame.time_s);
            for (found, expected) in frame.image.pixels().zip(picture(level).pixels()) {
                for (found, expected) in found.0.iter().zip(expected.0) {
                    // 8-bit YUV with chroma halved: a few codes.
                    assert!(found.abs_diff(expected) <= 6, "level {level}: {found} for {expected}");
                }
            }
        }
    }

    #[test]
    fn an_existing_file_is_kept() {
        let folder = tempfile::tempdir().unwrap();
        let (path, options) = options(&folder);
        fs::write(&path, b"precious").unwrap();
        assert!(matches!(Encoder::create(&path, options.clone()), Err(VideoError::Exists { .. })));
        let mut encoder = Encoder::create(&path, EncodeOptions { overwrite: true, ..options }).unwrap();
        encoder.push(&picture(90)).unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"precious");
        encoder.finish().unwrap();
        assert!(fs::metadata(&path).unwrap().len() > 100);
    }

    #[test]
    fn a_dropped_encoder_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let (path, options) = options(&folder);
        let mut encoder = Encoder::create(&path, options).unwrap();
        encoder.push(&picture(90)).unwrap();
        drop(encoder);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }

    #[test]
    fn the_same_pictures_give_the_same_bytes() {
        let folder = tempfile::tempdir().unwrap();
        let bytes = ["a.mp4", "b.mp4"].map(|name| {
            let path = folder.path().join(name);
            let mut encoder = Encoder::create(&path, EncodeOptions::new(64, 48)).unwrap();
            (0..20).for_each(|level| encoder.push(&picture(level * 10)).unwrap());
            encoder.finish().unwrap();
            fs::read(&path).unwrap()
        });
        assert!(bytes[0] == bytes[1]);
    }

    #[test]
    fn odd_sizes_wrong_frames_and_times_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let (path, options) = options(&folder);
        let odd = EncodeOptions { width: 65, ..options.clone() };
        assert!(matches!(Encoder::create(&path, odd), Err(VideoError::EncodeSize { .. })));
        let rate = EncodeOptions { frame_rate: (0, 1), ..options.clone() };
        assert!(matches!(Encoder::create(&path, rate), Err(VideoError::EncodeRate { .. })));
        let mut encoder = Encoder::create(&path, options).unwrap();
        assert!(matches!(encoder.push(&RgbImage::new(64, 50)), Err(VideoError::FrameSize { .. })));
        encoder.push_at(&picture(0), 1.0).unwrap();
        assert!(matches!(encoder.push_at(&picture(0), 1.0), Err(VideoError::FrameOrder { .. })));
        assert!(matches!(encoder.push_at(&picture(0), f64::NAN), Err(VideoError::NotATime { .. })));
    }
}
