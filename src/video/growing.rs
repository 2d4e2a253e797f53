//! A file that grows under a temporary name in the folder where it is to be, so that it is there whole or not at all.

use std::fs;
use std::io;
use std::path::Path;

use tempfile::{Builder, NamedTempFile};

/// A new file in `folder`, readable like any other file of the user, gone again when it is dropped. Its name ends on `suffix`.
///
/// # Errors
/// What the system says, without the temporary name, which tells a reader nothing.
pub(crate) fn growing_file(folder: &Path, suffix: &str) -> io::Result<NamedTempFile> {
    let mut builder = Builder::new();
    builder.prefix(".writing-").suffix(suffix);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // a temporary file is private; this one is as readable as any other, by the user's mask
        builder.permissions(fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder).map_err(|error| without_temporary_name(&error))
}

/// [`growing_file`] in the folder of the file that it becomes.
///
/// # Errors
/// As [`growing_file`].
pub(crate) fn growing_beside(path: &Path, suffix: &str) -> io::Result<NamedTempFile> {
    growing_file(path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new(".")), suffix)
}

/// The system's own words: whatever makes temporary files adds `at path "…"` to them.
pub(crate) fn without_temporary_name(error: &io::Error) -> io::Error {
    let words = error.to_string();
    io::Error::new(error.kind(), words.split(" at path \"").next().unwrap_or_default().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_error_does_not_speak_of_the_temporary_name() {
        let folder = tempfile::tempdir().unwrap();
        let error = growing_beside(&folder.path().join("absent").join("x.png"), "").unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::NotFound);
        let words = error.to_string();
        assert!(!words.contains("writing") && !words.contains("path"), "{words}");
    }
}
