//! Reads a text file of bounded size, with the faults a user can meet, and writes one whole or not at all.

use std::fs::File;
use std::io::{Read as _, Write as _};
use std::path::Path;

use super::error::ScreenError;
use crate::video::growing_beside;

use super::problem::{Fault, Problems};

/// The text of a file of at most `bytes_max` bytes, or `None` with the fault in `problems`.
pub(crate) fn read_text(path: &Path, bytes_max: u64, problems: &mut Problems) -> Option<String> {
    match read(path, bytes_max) {
        Ok(text) => Some(text),
        Err(fault) => {
            problems.push(None, fault);
            None
        }
    }
}

fn read(path: &Path, bytes_max: u64) -> Result<String, Fault> {
    let unreadable = |cause| Fault::Unreadable { cause };
    // opening a pipe would wait for somebody to write to it
    let kind = std::fs::metadata(path).map_err(unreadable)?;
    if !kind.is_file() && !kind.is_dir() {
        return Err(unreadable(std::io::Error::other("neither a file nor a folder")));
    }
    let file = File::open(path).map_err(unreadable)?;
    let metadata = file.metadata().map_err(unreadable)?;
    if metadata.is_dir() {
        return Err(unreadable(std::io::ErrorKind::IsADirectory.into()));
    }
    if metadata.len() > bytes_max {
        return Err(Fault::TooLarge { found_bytes: metadata.len(), accepted_bytes: bytes_max });
    }
    let mut bytes = Vec::new();
    // a file that grows meanwhile: reading stops at the bound all the same
    file.take(bytes_max.saturating_add(1)).read_to_end(&mut bytes).map_err(unreadable)?;
    let found_bytes = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
    if found_bytes > bytes_max {
        return Err(Fault::TooLarge { found_bytes, accepted_bytes: bytes_max });
    }
    let text = String::from_utf8(bytes).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        unreadable(std::io::Error::other(format!("not UTF-8 text at byte {at}")))
    })?;
    // some editors put a byte order mark first, which is no part of the text
    Ok(text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text))
}

/// Writes a text under a temporary name and gives it its own when it is complete.
pub(crate) fn write_text(path: &Path, text: &str) -> Result<(), ScreenError> {
    let failed = |source| ScreenError::Write { path: path.to_owned(), source };
    let mut file = growing_beside(path, "").map_err(failed)?;
    file.as_file_mut().write_all(text.as_bytes()).and_then(|()| file.as_file().sync_all()).map_err(failed)?;
    file.persist(path).map_err(|error| failed(error.error))?;
    Ok(())
}
