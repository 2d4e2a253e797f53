//! Several output files in one directory: all are there whole, or none is.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use tempfile::{NamedTempFile, TempDir, TempPath};

use super::unfinished::{Unfinished, finishing};
use crate::video::growing_file;

/// A directory that results are written to. Dropped before [`OutputFolder::finish`], it leaves nothing behind.
pub(super) struct OutputFolder {
    folder: PathBuf,
    may_overwrite: bool,
    /// The directory was not there before and goes again if nothing is written.
    is_new: bool,
    /// Written files under temporary names, with the names that they get.
    written: Vec<(TempPath, PathBuf)>,
    /// Folders in which files grow whose writers take a path.
    growing: Vec<TempDir>,
    unfinished: Vec<Unfinished>,
}

impl OutputFolder {
    /// Opens the directory before the work for it begins. `names` are the files that are certain to be written: existing
    /// ones are refused unless `may_overwrite` is set.
    pub(super) fn open(folder: &Path, names: &[&str], may_overwrite: bool) -> anyhow::Result<Self> {
        let is_new = !folder.exists();
        if is_new {
            fs::create_dir_all(folder).with_context(|| format!("cannot make directory {}", folder.display()))?;
        } else if !folder.is_dir() {
            bail!("{} is a file, expected a directory", folder.display());
        }
        let unfinished = if is_new { vec![Unfinished::empty_folder(folder)] } else { Vec::new() };
        let opened = Self {
            folder: folder.to_owned(),
            may_overwrite,
            is_new,
            written: Vec::new(),
            growing: Vec::new(),
            unfinished,
        };
        for name in names {
            opened.refuse_existing(name)?;
        }
        // a directory that cannot be written to is found out now, not after the work
        drop(opened.temporary()?);
        Ok(opened)
    }

    /// Writes one file, still under a temporary name.
    pub(super) fn write(&mut self, name: &str, bytes: &[u8]) -> anyhow::Result<()> {
        self.refuse_existing(name)?;
        let path = self.folder.join(name);
        let context = || format!("cannot write {}", path.display());
        let mut file = self.temporary()?;
        self.unfinished.push(Unfinished::file(file.path()));
        // the plain file: its errors don't speak of the temporary name
        file.as_file_mut().write_all(bytes).and_then(|()| file.as_file().sync_all()).with_context(context)?;
        self.written.push((file.into_temp_path(), path));
        Ok(())
    }

    /// Has one file written by `write`, which is given a path of that name in a temporary folder.
    pub(super) fn write_by(
        &mut self,
        name: &str,
        write: impl FnOnce(&Path) -> anyhow::Result<()>,
    ) -> anyhow::Result<()> {
        self.refuse_existing(name)?;
        let path = self.folder.join(name);
        let context = || format!("cannot write {}", path.display());
        let folder = tempfile::Builder::new().prefix(".writing-").tempdir_in(&self.folder).with_context(context)?;
        self.unfinished.push(Unfinished::folder(folder.path()));
        let temporary = folder.path().join(name);
        self.growing.push(folder);
        write(&temporary).with_context(context)?;
        self.written.push((TempPath::try_from_path(temporary)?, path));
        Ok(())
    }

    /// Gives all files their names, and returns these. Of `may_be_left`, files that an earlier run wrote and this one did
    /// not, none stays beside the new results, where it would be taken for one of them.
    pub(super) fn finish(mut self, may_be_left: &[&str]) -> anyhow::Result<Vec<PathBuf>> {
        let mut paths = Vec::new();
        // taken off the list after the lock on it is gone
        let _unfinished = std::mem::take(&mut self.unfinished);
        let _finishing = finishing();
        for (temporary, path) in self.written.drain(..) {
            let done = if self.may_overwrite { temporary.persist(&path) } else { temporary.persist_noclobber(&path) };
            done.map_err(|error| error.error).with_context(|| format!("cannot write {}", path.display()))?;
            paths.push(path);
        }
        self.growing.clear();
        self.is_new = false;
        if self.may_overwrite {
            for name in may_be_left {
                let left = self.folder.join(name);
                if !paths.contains(&left) && left.is_file() {
                    fs::remove_file(&left).with_context(|| format!("cannot remove the older {}", left.display()))?;
                }
            }
        }
        Ok(paths)
    }

    fn refuse_existing(&self, name: &str) -> anyhow::Result<()> {
        let path = self.folder.join(name);
        if path.is_dir() {
            bail!("{} is a directory, expected a file or nothing", path.display());
        }
        if !self.may_overwrite && path.exists() {
            bail!("{} exists already: give another directory, or --force to overwrite it", path.display());
        }
        Ok(())
    }

    fn temporary(&self) -> anyhow::Result<NamedTempFile> {
        growing_file(&self.folder, "").with_context(|| format!("cannot write to {}", self.folder.display()))
    }
}

impl Drop for OutputFolder {
    fn drop(&mut self) {
        self.written.clear();
        self.growing.clear();
        if self.is_new {
            // only an empty directory goes; whatever else is in it stays
            let _ = fs::remove_dir(&self.folder);
        }
    }
}
