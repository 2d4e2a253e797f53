//! A still picture: JPEG, PNG, WebP or TIFF, made upright by its EXIF orientation.

use std::fs::File;
use std::io::{self, BufReader, Read as _, Seek as _};
use std::path::{Path, PathBuf};

use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits, RgbImage};

use super::error::VideoError;
use super::info::{MediaInfo, MediaKind};
use super::orientation::Orientation;

/// The most pixels of a still: phones make up to 108 million and, rarely, 200 million, whose decoding would need over 1 GB.
const MAX_STILL_PIXELS: u64 = 120_000_000;
/// The longest side of a still, px.
const MAX_STILL_SIDE: u64 = 32_768;
/// The most memory a picture decoder may take, bytes.
const MAX_DECODER_BYTES: u64 = 900 << 20;

/// The most of a JPEG that is looked through for its end, bytes: larger than any of [`MAX_STILL_PIXELS`].
const MAX_JPEG_BYTES: u64 = 512 << 20;

/// Extensions of the stills that can be read.
const EXTENSIONS: [&str; 6] = ["png", "jpg", "jpeg", "webp", "tif", "tiff"];

/// Whether a file is a single picture by its name, so that a time in it means nothing.
#[must_use]
pub fn is_still_by_name(file: &Path) -> bool {
    let extension = file.extension().and_then(|extension| extension.to_str()).unwrap_or("");
    EXTENSIONS.iter().any(|known| known.eq_ignore_ascii_case(extension))
}

/// A still on disk, decoded.
#[derive(Debug, Clone)]
pub struct Still {
    path: PathBuf,
    info: MediaInfo,
    image: RgbImage,
}

impl Still {
    /// Reads and decodes a still. Transparency and colour profiles are ignored; of several pictures in a file the first counts.
    ///
    /// # Errors
    /// [`VideoError::TooLarge`] before anything is allocated for the picture, [`VideoError::Picture`] if it is damaged.
    pub(crate) fn open(path: &Path, format: ImageFormat) -> Result<Self, VideoError> {
        let picture_error = |source| VideoError::Picture { path: path.to_owned(), source };
        let read_error = |source| VideoError::Read { path: path.to_owned(), source };
        let mut file = File::open(path).map_err(read_error)?;
        if format == ImageFormat::Jpeg && is_cut_off_jpeg(&mut file).map_err(read_error)? {
            return Err(VideoError::CutOff { path: path.to_owned() });
        }
        let mut reader = ImageReader::with_format(BufReader::new(file), format);
        let mut limits = Limits::default();
        limits.max_alloc = Some(MAX_DECODER_BYTES);
        reader.limits(limits);
        let mut decoder = reader.into_decoder().map_err(picture_error)?;
        let coded_size = decoder.dimensions();
        check_size(path, coded_size)?;
        let exif = decoder.orientation().map_err(picture_error)?;
        let bit_depth = u32::from(decoder.color_type().bytes_per_pixel() / decoder.color_type().channel_count()) * 8;
        let mut image = DynamicImage::from_decoder(decoder).map_err(picture_error)?;
        image.apply_orientation(exif);
        let image = image.into_rgb8();
        let orientation = Orientation::from_exif(exif);
        let name = format_words(format).to_owned();
        let info = MediaInfo {
            kind: MediaKind::Still,
            container: name.clone(),
            codec: name,
            coded_size: coded_size.into(),
            upright_size: image.dimensions().into(),
            orientation,
            pixel_aspect: 1.0,
            bit_depth,
            color: None,
            duration_s: None,
            frames: Some(1),
            start_s: 0.0,
            average_rate: None,
            capture_rate: None,
            longest_gap_s: None,
            streams: 1,
            damage: None,
        };
        Ok(Self { path: path.to_owned(), info, image })
    }

    /// What the still is.
    #[must_use]
    pub const fn info(&self) -> &MediaInfo {
        &self.info
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The upright picture.
    #[must_use]
    pub const fn image(&self) -> &RgbImage {
        &self.image
    }
}

fn check_size(path: &Path, (width, height): (u32, u32)) -> Result<(), VideoError> {
    let (width, height) = (u64::from(width), u64::from(height));
    if width > MAX_STILL_SIDE || height > MAX_STILL_SIDE || width * height > MAX_STILL_PIXELS {
        let path = path.to_owned();
        let (max_pixels, max_side) = (MAX_STILL_PIXELS, MAX_STILL_SIDE);
        return Err(VideoError::TooLarge { path, width, height, max_pixels, max_side });
    }
    Ok(())
}

const fn format_words(format: ImageFormat) -> &'static str {
    match format {
        ImageFormat::Jpeg => "JPEG",
        ImageFormat::Png => "PNG",
        ImageFormat::WebP => "WebP",
        ImageFormat::Tiff => "TIFF",
        _ => "picture",
    }
}
/// Whether a JPEG ends before its end-of-image marker: its decoder would fill the rest with grey. Segments before the picture, which
/// may hold a small picture with such a marker of its own, are stepped over (ITU-T T.81, annex B). The file is rewound.
fn is_cut_off_jpeg(file: &mut File) -> io::Result<bool> {
    const START_OF_SCAN: u8 = 0xda;
    const END: [u8; 2] = [0xff, 0xd9];
    let mut bytes = Vec::new();
    file.rewind()?;
    file.by_ref().take(MAX_JPEG_BYTES).read_to_end(&mut bytes)?;
    file.rewind()?;
    let mut at = 2;
    // a segment is a marker of two bytes and a length, which counts itself
    while let Some([0xff, marker, high, low]) = bytes.get(at..at + 4) {
        let length = usize::from(u16::from_be_bytes([*high, *low]));
        at += 2 + length;
        if *marker == START_OF_SCAN {
            let scan = bytes.get(at..).unwrap_or_default();
            return Ok(!scan.windows(2).any(|pair| pair == END));
        }
    }
    // what is built otherwise is for the decoder to judge
    Ok(false)
}
