//! What a clip or still is, in numbers and words.

use serde::Serialize;

use super::color::ColorInfo;
use super::orientation::Orientation;
use super::reader::Damage;

/// Whether a file moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MediaKind {
    /// Frames with times.
    Clip,
    /// One picture.
    Still,
}

/// What a clip or still is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MediaInfo {
    /// Clip or still.
    pub kind: MediaKind,
    /// The container or picture format in words, such as `MP4`.
    pub container: String,
    /// The codec in words, such as `HEVC (H.265)`; for a still the same as the format.
    pub codec: String,
    /// Width and height of the coded picture, px.
    pub coded_size: [u32; 2],
    /// Width and height of the upright picture with square pixels, px: the space of marks and tracks.
    pub upright_size: [u32; 2],
    /// How the coded picture is turned and mirrored to stand upright.
    #[serde(flatten)]
    pub orientation: Orientation,
    /// Width of a coded pixel over its height.
    pub pixel_aspect: f64,
    /// Bits of a colour sample.
    pub bit_depth: u32,
    /// How colours are coded; null for a still, whose decoder settles it.
    pub color: Option<ColorInfo>,
    /// Time from the first frame to the end of the last as the container states it, s; null for a still or where unknown.
    pub duration_s: Option<f64>,
    /// Number of frames: counted once the clip was surveyed, else as the container states it.
    pub frames: Option<u64>,
    /// Time stamp of the first frame in the container's own clock, s. All other times count from it.
    pub start_s: f64,
    /// Mean number of frames per second: counted once the clip was surveyed, else as the container states it.
    pub average_rate: Option<f64>,
    /// Frames per second at which slow motion was recorded, where the file says: times here are those of the slowed clip.
    pub capture_rate: Option<f64>,
    /// The longest time between two frames, s; null before a survey.
    pub longest_gap_s: Option<f64>,
    /// Number of streams in the file, sound and data included.
    pub streams: usize,
    /// Where the clip stops being usable; null if it is whole, or before a survey.
    pub damage: Option<Damage>,
}

/// The codec in words, from the library's name.
pub(crate) fn codec_words(name: &str) -> String {
    let words = match name {
        "h264" => "H.264 (AVC)",
        "hevc" => "HEVC (H.265)",
        "h263" => "H.263",
        "mpeg4" => "MPEG-4 Part 2",
        "mpeg1video" => "MPEG-1",
        "mpeg2video" => "MPEG-2",
        "mjpeg" => "Motion JPEG",
        "vp8" => "VP8",
        "vp9" => "VP9",
        "av1" => "AV1",
        "prores" => "ProRes",
        "rawvideo" => "uncompressed",
        name => return name.to_uppercase(),
    };
    words.to_owned()
}

/// The container in words, from the demuxer's first name and, for ISO media, the major brand.
pub(crate) fn container_words(name: &str, brand: Option<&str>) -> String {
    let words = match (name, brand) {
        ("mov", Some("qt  ")) => "MOV",
        ("mov", Some(brand)) if brand.starts_with("3g") => "3GP",
        ("mov", _) => "MP4",
        ("matroska", _) => "MKV or WebM",
        ("avi", _) => "AVI",
        ("mpegts", _) => "MPEG transport stream",
        ("mpeg", _) => "MPEG program stream",
        (name, _) => return name.to_uppercase(),
    };
    words.to_owned()
}
