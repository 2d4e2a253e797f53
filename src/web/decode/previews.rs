//! Small pictures of all frames of a clip in one file, so that any frame can be shown at once.
//!
//! JPEG after JPEG, then the places where each begins and the last one ends (u64, little-endian), then the number of
//! pictures.

use std::fs::File;
use std::io::{self, BufWriter, Read as _, Seek as _, SeekFrom, Write as _};
use std::path::Path;

/// Bytes of a number in the file.
const NUMBER_BYTES: u64 = 8;

/// The largest picture that is read back, bytes: more than any picture of this size takes.
const PICTURE_BYTES_MAX: u64 = 4 << 20;

/// Writes the pictures of a clip.
pub struct PreviewWriter {
    out: BufWriter<File>,
    ends: Vec<u64>,
}

impl PreviewWriter {
    /// Starts the file at `path`.
    ///
    /// # Errors
    /// When it cannot be made.
    pub fn create(path: &Path) -> io::Result<Self> {
        Ok(Self { out: BufWriter::new(File::create(path)?), ends: vec![0] })
    }

    /// Adds the next picture.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn push(&mut self, jpeg: &[u8]) -> io::Result<()> {
        self.out.write_all(jpeg)?;
        let length = u64::try_from(jpeg.len()).map_err(io::Error::other)?;
        self.ends.push(self.ends.last().copied().unwrap_or(0) + length);
        Ok(())
    }

    /// Writes the places.
    ///
    /// # Errors
    /// When they cannot be written.
    pub fn finish(mut self) -> io::Result<()> {
        for end in &self.ends {
            self.out.write_all(&end.to_le_bytes())?;
        }
        let count = u64::try_from(self.ends.len() - 1).map_err(io::Error::other)?;
        self.out.write_all(&count.to_le_bytes())?;
        self.out.flush()
    }
}

/// The picture of frame `index`; `None` past the last one.
///
/// # Errors
/// When the file cannot be read, or was not written by [`PreviewWriter`].
pub fn read_preview(path: &Path, index: u64) -> io::Result<Option<Vec<u8>>> {
    let broken = || io::Error::new(io::ErrorKind::InvalidData, "places that are out of order");
    let mut file = File::open(path)?;
    let length = file.metadata()?.len();
    let count_at = length.checked_sub(NUMBER_BYTES).ok_or_else(broken)?;
    let count = number_at(&mut file, count_at)?;
    if index >= count {
        return Ok(None);
    }
    let places_bytes = count.checked_add(1).and_then(|places| places.checked_mul(NUMBER_BYTES)).ok_or_else(broken)?;
    let places_at = count_at.checked_sub(places_bytes).ok_or_else(broken)?;
    let begin = number_at(&mut file, places_at + index * NUMBER_BYTES)?;
    let end = number_at(&mut file, places_at + (index + 1) * NUMBER_BYTES)?;
    if end < begin || end > places_at || end - begin > PICTURE_BYTES_MAX {
        return Err(broken());
    }
    file.seek(SeekFrom::Start(begin))?;
    let mut jpeg = Vec::new();
    file.take(end - begin).read_to_end(&mut jpeg)?;
    Ok(Some(jpeg))
}

fn number_at(file: &mut File, place: u64) -> io::Result<u64> {
    let mut bytes = [0; 8];
    file.seek(SeekFrom::Start(place))?;
    file.read_exact(&mut bytes)?;
    Ok(u64::from_le_bytes(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_picture_comes_back_and_none_past_the_last() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("p");
        let mut writer = PreviewWriter::create(&path).unwrap();
        for picture in [&b"first"[..], b"", b"the third"] {
            writer.push(picture).unwrap();
        }
        writer.finish().unwrap();
        assert_eq!(read_preview(&path, 0).unwrap().unwrap(), b"first");
        assert_eq!(read_preview(&path, 1).unwrap().unwrap(), b"");
        assert_eq!(read_preview(&path, 2).unwrap().unwrap(), b"the third");
        assert_eq!(read_preview(&path, 3).unwrap(), None);
        assert_eq!(read_preview(&path, u64::MAX).unwrap(), None);
    }

    #[test]
    fn a_file_of_anything_else_is_an_error_and_no_panic() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("p");
        for bytes in [&b""[..], b"short", &[0xff; 64], &[1; 16]] {
            std::fs::write(&path, bytes).unwrap();
            assert!(read_preview(&path, 0).is_err(), "{bytes:?}");
        }
    }
}
