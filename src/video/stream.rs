//! Which stream of a clip is the picture, and what the container says about it.

use std::ffi::CStr;
use std::path::Path;

use ffmpeg_next as ffmpeg;
use ffmpeg_next::codec;
use ffmpeg_next::codec::packet::side_data::Type as SideData;
use ffmpeg_next::format::context::Input;

use super::error::VideoError;
use super::ffi::{self, StreamNumbers};
use super::orientation::Orientation;

/// The most pixels of a clip's frame: 8K has 33 million.
pub(crate) const MAX_CLIP_PIXELS: u64 = 40_000_000;
/// The longest side of a clip's frame, px.
pub(crate) const MAX_CLIP_SIDE: u64 = 16_384;
/// Codes of protected tracks in ISO media files.
const PROTECTED_TAGS: [[u8; 4]; 3] = [*b"encv", *b"drmi", *b"drmv"];

/// Where one phone system notes the rate at which slow motion was recorded.
const CAPTURE_RATE_KEY: &CStr = c"com.android.capture.fps";

/// What the container says about the clip, judged.
#[derive(Debug, Clone)]
pub(crate) struct StreamFacts {
    /// The picture's stream in the file.
    pub index: usize,
    /// Number of streams of any kind.
    pub streams: usize,
    /// The demuxer's first name, such as `mov` or `matroska`.
    pub container: String,
    /// The major brand of ISO media, such as `isom`.
    pub brand: Option<String>,
    /// Frames per second at which slow motion was recorded, where the file says.
    pub capture_rate: Option<f64>,
    /// The codec's name in the library, such as `hevc`.
    pub codec: String,
    pub numbers: StreamNumbers,
    /// Length of a tick of this stream's clock, s.
    pub tick_s: f64,
    pub orientation: Orientation,
    /// Mean number of frames per second, where known.
    pub average_rate: Option<f64>,
    /// Number of frames by the container's header, where it says.
    pub stated_frames: Option<u64>,
    /// Duration by the container's header, s, where it says.
    pub stated_duration_s: Option<f64>,
}

impl StreamFacts {
    /// Finds the moving picture in an opened file: the first default video stream, else the first.
    pub(crate) fn read(path: &Path, input: &Input) -> Result<Self, VideoError> {
        let all: Vec<StreamNumbers> =
            (0..input.streams().len()).filter_map(|index| ffi::stream_numbers(input, index)).collect();
        let is_moving = |numbers: &StreamNumbers| numbers.is_video && !numbers.is_attached_picture;
        let Some(index) = all
            .iter()
            .position(|numbers| is_moving(numbers) && numbers.is_default)
            .or_else(|| all.iter().position(is_moving))
        else {
            let audio_streams = all.iter().filter(|numbers| numbers.is_audio).count();
            return Err(VideoError::NoVideo { path: path.to_owned(), streams: all.len(), audio_streams });
        };
        let numbers = all[index];
        let stream = input.stream(index).expect("the index was found in this file");
        let is_protected = PROTECTED_TAGS.contains(&numbers.codec_tag.to_le_bytes())
            || stream.side_data().any(|data| data.kind() == SideData::EncryptionInitInfo);
        if is_protected {
            return Err(VideoError::Encrypted { path: path.to_owned() });
        }
        check_size(path, numbers.width, numbers.height)?;
        let codec_id = stream.parameters().id();
        let codec = ffi::codec_name(codec_id);
        if codec_id == codec::Id::None || codec::decoder::find(codec_id).is_none() {
            return Err(VideoError::NoDecoder { path: path.to_owned(), codec });
        }
        let rate = stream.avg_frame_rate();
        Ok(Self {
            index,
            streams: all.len(),
            container: input.format().name().split(',').next().unwrap_or_default().to_owned(),
            brand: ffi::file_tag(input, c"major_brand"),
            capture_rate: ffi::file_tag(input, CAPTURE_RATE_KEY).and_then(|rate| rate.parse().ok()),
            codec,
            numbers,
            tick_s: f64::from(stream.time_base()),
            orientation: stream
                .side_data()
                .find(|data| data.kind() == SideData::DisplayMatrix)
                .and_then(|data| display_matrix(data.data()))
                .map_or_else(Orientation::default, |matrix| Orientation::from_display_matrix(&matrix)),
            average_rate: (rate.numerator() > 0 && rate.denominator() > 0).then(|| f64::from(rate)),
            stated_frames: u64::try_from(stream.frames()).ok().filter(|&frames| frames > 0),
            stated_duration_s: ffi::stated_duration_s(input),
        })
    }
}

/// Refuses a clip whose header claims too large a picture, before any decoder sees it.
pub(crate) fn check_claims(path: &Path, input: &Input) -> Result<(), VideoError> {
    (0..input.streams().len())
        .filter_map(|index| ffi::stream_numbers(input, index))
        .try_for_each(|numbers| check_size(path, numbers.width, numbers.height))
}

/// Refuses a picture of more pixels than are accepted, before anything is allocated for it.
pub(crate) fn check_size(path: &Path, width: i64, height: i64) -> Result<(), VideoError> {
    let (width, height) = (width.unsigned_abs(), height.unsigned_abs());
    if width > MAX_CLIP_SIDE || height > MAX_CLIP_SIDE || width.saturating_mul(height) > MAX_CLIP_PIXELS {
        let path = path.to_owned();
        return Err(VideoError::TooLarge { path, width, height, max_pixels: MAX_CLIP_PIXELS, max_side: MAX_CLIP_SIDE });
    }
    Ok(())
}

/// Says in our words why the library could not open the clip at `path`.
pub(crate) fn open_error(path: &Path, source: ffmpeg::Error) -> VideoError {
    let path = path.to_owned();
    match source {
        ffmpeg::Error::InvalidData | ffmpeg::Error::Eof => {
            if looks_like_a_clip(&path) {
                VideoError::BrokenClip { path }
            } else {
                VideoError::NotMedia { path }
            }
        }
        // The library's answer for a container outside the list of those that are opened.
        ffmpeg::Error::Other { errno: ffmpeg::error::EINVAL } => VideoError::NotMedia { path },
        ffmpeg::Error::DemuxerNotFound => VideoError::NotMedia { path },
        ffmpeg::Error::Other { errno } if errno > 0 => {
            VideoError::Read { path, source: std::io::Error::from_raw_os_error(errno) }
        }
        source => VideoError::Library { path, step: "open the clip", source },
    }
}

/// Whether the first bytes are those of a container that is read: ISO media, Matroska or AVI.
fn looks_like_a_clip(path: &Path) -> bool {
    let head = super::sniff::head(path).unwrap_or_default();
    head.get(4..8)
        .is_some_and(|kind| [b"ftyp", b"moov", b"mdat", b"wide", b"free"].contains(&kind.try_into().expect("4 bytes")))
        || head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3])
        || (head.starts_with(b"RIFF") && head.get(8..12) == Some(b"AVI "))
}

fn display_matrix(bytes: &[u8]) -> Option<[i32; 9]> {
    let mut matrix = [0; 9];
    for (value, chunk) in matrix.iter_mut().zip(bytes.get(..36)?.chunks_exact(4)) {
        *value = i32::from_ne_bytes(chunk.try_into().ok()?);
    }
    Some(matrix)
}
