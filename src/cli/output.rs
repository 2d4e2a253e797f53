//! Output files that are there whole or not at all.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use tempfile::NamedTempFile;

use super::unfinished::{Unfinished, finishing};
use crate::video::growing_beside;

/// A file being written under a temporary name beside its path, put there by [`OutputFile::finish`] and removed if dropped.
pub(super) struct OutputFile {
    path: PathBuf,
    force: bool,
    file: NamedTempFile,
    unfinished: Unfinished,
}

impl OutputFile {
    /// Opens an output before the work for it begins; an existing file is refused unless `force` is set.
    pub(super) fn create(path: &Path, force: bool) -> anyhow::Result<Self> {
        if !force && path.exists() {
            bail!("{} exists already: give another name, or --force to overwrite it", path.display());
        }
        if path.is_dir() {
            bail!("{} is a directory, expected a file name", path.display());
        }
        let file = growing_beside(path, "").with_context(|| format!("cannot write {}", path.display()))?;
        let unfinished = Unfinished::file(file.path());
        Ok(Self { path: path.to_owned(), force, file, unfinished })
    }

    /// Puts the finished file at its path.
    pub(super) fn finish(mut self) -> anyhow::Result<()> {
        self.file.as_file_mut().flush().with_context(|| format!("cannot write {}", self.path.display()))?;
        let Self { path, force, file, unfinished: _unfinished } = self;
        let _finishing = finishing();
        let done = if force { file.persist(&path) } else { file.persist_noclobber(&path) };
        done.map(drop).map_err(|error| error.error).with_context(|| format!("cannot write {}", path.display()))
    }

    /// The open file.
    pub(super) fn file(&mut self) -> &mut File {
        self.file.as_file_mut()
    }
}

impl Write for OutputFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        // the plain file: its errors don't speak of the temporary name
        self.file.as_file_mut().write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.as_file_mut().flush()
    }
}
