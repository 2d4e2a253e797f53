//! What can go wrong when a clip or still is opened, read or written.

use std::io;
use std::path::PathBuf;

/// Why a clip or still could not be opened, read or written.
#[derive(Debug, thiserror::Error)]
pub enum VideoError {
    /// The file can't be opened or read: missing, no permission, a cycle of links.
    #[error("cannot read {}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The path names something else than a file.
    #[error("{} is not a file but a {found}, expected a clip or a still", path.display())]
    NotAFile {
        /// The path.
        path: PathBuf,
        /// What it is, such as `directory`.
        found: &'static str,
    },
    /// The file has no content.
    #[error("{} is empty: 0 bytes", path.display())]
    Empty {
        /// The file.
        path: PathBuf,
    },
    /// The content is neither a clip nor a still that can be read.
    #[error(
        "{} is neither a clip nor a still that can be read, expected MP4, MOV, 3GP, MKV, WebM, AVI, JPEG, PNG, WebP or TIFF", path.display()
    )]
    NotMedia {
        /// The file.
        path: PathBuf,
    },
    /// The index of the clip is missing or broken, as happens when a recording or a copy was cut off.
    #[error("{} is a clip whose index is missing or broken: recording or copying was cut off, copy it from the phone again", path.display())]
    BrokenClip {
        /// The file.
        path: PathBuf,
    },
    /// A picture format that is recognized but not read.
    #[error("{} is a {found} picture, which is not read: {advice}", path.display())]
    PictureFormat {
        /// The file.
        path: PathBuf,
        /// The format's name.
        found: &'static str,
        /// How to get a picture that is read.
        advice: &'static str,
    },
    /// There is no moving picture in the file.
    #[error("{} has no video: {streams} stream(s), {audio_streams} of them sound", path.display())]
    NoVideo {
        /// The file.
        path: PathBuf,
        /// Number of streams of any kind.
        streams: usize,
        /// Number of audio streams.
        audio_streams: usize,
    },
    /// The video is encrypted.
    #[error("{} is encrypted, expected an unprotected recording", path.display())]
    Encrypted {
        /// The file.
        path: PathBuf,
    },
    /// The system's FFmpeg libraries can't decode this codec.
    #[error("{} is coded as {codec}, for which the FFmpeg library of this system has no decoder", path.display())]
    NoDecoder {
        /// The file.
        path: PathBuf,
        /// The codec's name.
        codec: String,
    },
    /// The picture claims more pixels than are accepted.
    #[error(
        "{} claims {width} x {height} pixels, at most {max_pixels} pixels and {max_side} a side are read", path.display()
    )]
    TooLarge {
        /// The file.
        path: PathBuf,
        /// Width claimed, px.
        width: u64,
        /// Height claimed, px.
        height: u64,
        /// The most pixels accepted.
        max_pixels: u64,
        /// The longest side accepted, px.
        max_side: u64,
    },
    /// The shape of a pixel is not credible.
    #[error("{} claims pixels {found} times as wide as high, expected {min} to {max}", path.display())]
    PixelAspect {
        /// The file.
        path: PathBuf,
        /// Width of a pixel over its height.
        found: f64,
        /// The least accepted.
        min: f64,
        /// The most accepted.
        max: f64,
    },
    /// No frame of the clip could be decoded.
    #[error("{} is a {codec} clip, but not one frame of it can be decoded", path.display())]
    NoFrame {
        /// The file.
        path: PathBuf,
        /// The codec's name.
        codec: String,
    },
    /// The FFmpeg library failed in a way that is none of the above.
    #[error("cannot {step} {}", path.display())]
    Library {
        /// The file.
        path: PathBuf,
        /// What was being done.
        step: &'static str,
        /// What the library said.
        source: ffmpeg_next::Error,
    },
    /// The picture file is damaged or of a kind that is not read.
    #[error("cannot read the picture {}", path.display())]
    Picture {
        /// The file.
        path: PathBuf,
        /// What the decoder said.
        source: image::ImageError,
    },
    /// A picture whose end is missing.
    #[error("the picture {} is cut off: its end is missing, copy it again", path.display())]
    CutOff {
        /// The file.
        path: PathBuf,
    },
    /// A time that no clip can have.
    #[error("time {found_s} s is not a time in a clip, expected 0 or more")]
    NotATime {
        /// The time asked for, s.
        found_s: f64,
    },
    /// The time lies past the end of the clip.
    #[error("time {found_s:.3} s is past the end of {}, whose last frame is at {last_s:.3} s", path.display())]
    PastEnd {
        /// The file.
        path: PathBuf,
        /// The time asked for, s.
        found_s: f64,
        /// Time of the last frame, s.
        last_s: f64,
    },
    /// A time other than 0 in a single picture.
    #[error("time {found_s:.3} s is not in {}: a single picture has time 0 alone", path.display())]
    NotInStill {
        /// The file.
        path: PathBuf,
        /// The time asked for, s.
        found_s: f64,
    },
    /// The time lies past the place where the clip is damaged.
    #[error(
        "time {found_s:.3} s is past the damage in {}, which can be used up to {last_s:.3} s", path.display()
    )]
    PastDamage {
        /// The file.
        path: PathBuf,
        /// The time asked for, s.
        found_s: f64,
        /// Time of the last usable frame, s.
        last_s: f64,
    },
    /// The output exists and may not be overwritten.
    #[error("{} exists already", path.display())]
    Exists {
        /// The output file.
        path: PathBuf,
    },
    /// The output can't be written.
    #[error("cannot write {}", path.display())]
    Write {
        /// The output file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The encoder can't take pictures of this size.
    #[error("cannot encode {width} x {height} pixels, expected even sides from {min} to {max}")]
    EncodeSize {
        /// Width asked for, px.
        width: u32,
        /// Height asked for, px.
        height: u32,
        /// The shortest side accepted, px.
        min: u32,
        /// The longest side accepted, px.
        max: u32,
    },
    /// The frame rate is not one that can be encoded.
    #[error("cannot encode {numerator}/{denominator} frames per second, expected a rate from 1 to 1000")]
    EncodeRate {
        /// Frames.
        numerator: u32,
        /// Per so many seconds.
        denominator: u32,
    },
    /// A frame handed to the encoder has another size than the clip.
    #[error("frame of {found_width} x {found_height} pixels in a clip of {width} x {height}")]
    FrameSize {
        /// Width of the frame, px.
        found_width: u32,
        /// Height of the frame, px.
        found_height: u32,
        /// Width of the clip, px.
        width: u32,
        /// Height of the clip, px.
        height: u32,
    },
    /// A frame handed to the encoder is not later than the one before.
    #[error("frame at {found_s} s is not later than the one before it at {previous_s} s")]
    FrameOrder {
        /// Time of the frame, s.
        found_s: f64,
        /// Time of the frame before, s.
        previous_s: f64,
    },
    /// The system's FFmpeg libraries lack the H.264 encoder.
    #[error("the FFmpeg library of this system has no H.264 encoder, expected libx264")]
    NoEncoder,
}
