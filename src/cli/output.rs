//! Output files that are there whole or not at all.

use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use tempfile::NamedTempFile;

use super::unfinished::{Unfinished, finishing};

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
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut builder = tempfile::Builder::new();
        builder.prefix(".writing-");
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            builder.permissions(std::fs::Permissions::from_mode(0o666)); // narrowed by the user's mask
        }
        let file = builder.tempfile_in(folder).with_context(|| format!("cannot write {}", path.display()))?;
        let unfinished = Unfinished::file(file.path());
        Ok(Self { path: path.to_owned(), force, file, unfinished })
    }

    /// Puts the finished file at its path.
    pub(super) fn finish(mut self) -> anyhow::Result<()> {
        self.file.flush().with_context(|| format!("cannot write {}", self.path.display()))?;
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
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}
