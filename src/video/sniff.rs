//! What kind of file a path names, by its first bytes and never by its name.

use std::fs::{self, File};
use std::io::Read;
use std::path::Path;

use image::ImageFormat;

use super::error::VideoError;

/// As many bytes as the longest signature and an ISO brand list need.
const HEAD_BYTES: u64 = 64;
/// Brands of still pictures in ISO media files (ISO/IEC 23008-12 and the AVIF specification).
const HEIC_BRANDS: [&[u8; 4]; 8] = [b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"];
const AVIF_BRANDS: [&[u8; 4]; 2] = [b"avif", b"avis"];
const EXPORT_AS_JPEG: &str = "export it as JPEG or PNG, or set the camera to its most compatible format";

/// What to try a file as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// A still picture in this format.
    Still(ImageFormat),
    /// A clip, or nothing known.
    Clip,
}

/// The first bytes of a file.
pub(crate) fn head(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?.take(HEAD_BYTES).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Looks at the file behind `path` and says what to try it as.
///
/// # Errors
/// [`VideoError::Read`], [`VideoError::NotAFile`], [`VideoError::Empty`], and [`VideoError::PictureFormat`] for pictures
/// that are recognized but not read.
pub(crate) fn kind_of(path: &Path) -> Result<Kind, VideoError> {
    let read_error = |source| VideoError::Read { path: path.to_owned(), source };
    let metadata = fs::metadata(path).map_err(read_error)?;
    if !metadata.is_file() {
        // Pipes and devices could make the reader wait for ever.
        let found = if metadata.is_dir() { "directory" } else { "device or pipe" };
        return Err(VideoError::NotAFile { path: path.to_owned(), found });
    }
    if metadata.len() == 0 {
        return Err(VideoError::Empty { path: path.to_owned() });
    }
    let head = head(path).map_err(read_error)?;
    if let Some(found) = unread_picture(&head) {
        return Err(VideoError::PictureFormat { path: path.to_owned(), found, advice: EXPORT_AS_JPEG });
    }
    Ok(still_format(&head).map_or(Kind::Clip, Kind::Still))
}

fn still_format(head: &[u8]) -> Option<ImageFormat> {
    match head {
        [0xff, 0xd8, 0xff, ..] => Some(ImageFormat::Jpeg),
        [0x89, b'P', b'N', b'G', ..] => Some(ImageFormat::Png),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => Some(ImageFormat::Tiff),
        [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Some(ImageFormat::WebP),
        _ => None,
    }
}

fn unread_picture(head: &[u8]) -> Option<&'static str> {
    if head.get(4..8) == Some(b"ftyp") {
        let brand: &[u8; 4] = head.get(8..12)?.try_into().ok()?;
        return match brand {
            brand if HEIC_BRANDS.contains(&brand) => Some("HEIC"),
            brand if AVIF_BRANDS.contains(&brand) => Some("AVIF"),
            _ => None,
        };
    }
    match head {
        [b'G', b'I', b'F', b'8', ..] => Some("GIF"),
        [b'B', b'M', ..] if head.len() > 26 && head[6..10] == [0; 4] => Some("BMP"),
        [0xff, 0x0a, ..] | [0, 0, 0, 12, b'J', b'X', b'L', b' ', ..] => Some("JPEG XL"),
        [0, 0, 0, 12, b'j', b'P', b' ', b' ', ..] => Some("JPEG 2000"),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pictures_are_known_by_their_first_bytes() {
        assert_eq!(still_format(b"\xff\xd8\xff\xe1rest"), Some(ImageFormat::Jpeg));
        assert_eq!(still_format(b"RIFF\0\0\0\0WEBPVP8 "), Some(ImageFormat::WebP));
        assert_eq!(still_format(b"RIFF\0\0\0\0AVI LIST"), None);
        assert_eq!(unread_picture(b"\0\0\0\x18ftypheic\0\0\0\0"), Some("HEIC"));
        assert_eq!(unread_picture(b"\0\0\0\x18ftypmp42\0\0\0\0"), None);
        assert_eq!(unread_picture(b"\0\0\0\x1cftypavif"), Some("AVIF"));
    }

    #[test]
    fn no_prefix_of_a_signature_panics() {
        for signature in [&b"\0\0\0\x18ftypheic"[..], b"RIFF\0\0\0\0WEBP", b"BM\0\0\0\0\0\0\0\0\0"] {
            for length in 0..signature.len() {
                let _ = (still_format(&signature[..length]), unread_picture(&signature[..length]));
            }
        }
    }
}
