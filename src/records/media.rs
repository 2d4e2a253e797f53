//! Clips and stills on the disk, each under the hash of its content, with small pictures of its frames beside it.
//!
//! Names of files come from hashes and numbers alone, never from what a browser sent.

use std::collections::HashSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};
use tempfile::NamedTempFile;

use super::error::{RecordsError, database};
use super::model::{Media, ReachFacts};
use super::store::{Records, hexadecimal};

/// Where media are kept, in the data folder.
const MEDIA: &str = "media";

/// Where uploads grow until they are accepted, in the data folder.
const INCOMING: &str = "incoming";

/// How the names of uploads begin.
const UPLOAD: &str = "upload-";

/// Letters of a hash.
const HASH_LETTERS: usize = 64;

/// The extension of the small pictures of a clip's frames.
const PREVIEWS: &str = "previews";

/// The hash of a file that is written piece by piece.
#[derive(Default, Clone)]
pub struct MediaHash(Sha256);

impl MediaHash {
    /// Takes the next piece.
    pub fn update(&mut self, bytes: &[u8]) {
        self.0.update(bytes);
    }

    /// The hash in hexadecimal.
    #[must_use]
    pub fn finish(self) -> String {
        hexadecimal(&self.0.finalize())
    }
}

/// An upload that was accepted, under temporary names in [`Records::incoming`].
#[derive(Debug)]
pub struct Accepted<'a> {
    /// What it is.
    pub media: Media,
    /// The file.
    pub file: &'a Path,
    /// The small pictures of its frames.
    pub previews: &'a Path,
}

impl Records {
    /// Makes the folders of media, and removes uploads that were cut off and media that no reach is. Only files with names
    /// that the records give are touched: the folder may have been somebody's own before.
    pub(super) fn prepare_media(&self) -> Result<(), RecordsError> {
        let failed = |source| RecordsError::Media { step: "prepare the place of", source };
        let known = self.known_hashes()?;
        let is_media = |name: &str| {
            let hash = name.strip_suffix(".previews").unwrap_or(name);
            hash.len() == HASH_LETTERS && hash.bytes().all(|letter| letter.is_ascii_hexdigit()) && !known.contains(hash)
        };
        let is_upload = |name: &str| name.starts_with(UPLOAD);
        prepare_folder(&self.folder.join(MEDIA), is_media).map_err(failed)?;
        prepare_folder(&self.folder.join(INCOMING), is_upload).map_err(failed)
    }

    fn known_hashes(&self) -> Result<HashSet<String>, RecordsError> {
        let step = "list media";
        let connection = self.connection();
        let mut statement = connection.prepare("SELECT hash FROM media").map_err(database(step))?;
        let rows = statement.query_map([], |row| row.get(0)).map_err(database(step))?;
        rows.collect::<Result<_, _>>().map_err(database(step))
    }

    /// A file in which an upload grows, gone when it is dropped; on the same disk as the media, so that an accepted one is
    /// moved, not copied.
    ///
    /// # Errors
    /// [`RecordsError::Media`] when it cannot be made.
    pub fn incoming(&self) -> Result<NamedTempFile, RecordsError> {
        let made = tempfile::Builder::new().prefix(UPLOAD).tempfile_in(self.folder.join(INCOMING));
        made.map_err(|source| RecordsError::Media { step: "begin", source })
    }

    /// The file of a clip or still.
    #[must_use]
    pub fn media_path(&self, media: &Media) -> PathBuf {
        self.folder.join(MEDIA).join(&media.hash)
    }

    /// The small pictures of its frames.
    #[must_use]
    pub fn previews_path(&self, media: &Media) -> PathBuf {
        self.media_path(media).with_extension(PREVIEWS)
    }

    /// Takes an accepted upload into the records as a reach of a visit. The temporary files are moved; where the same clip
    /// is there already they are left.
    ///
    /// # Errors
    /// [`RecordsError::ReachTaken`] if the visit has such a reach, [`RecordsError::ClipTaken`] if another of its reaches is
    /// the same file, [`RecordsError::NotFound`] if there is no such visit,
    /// [`RecordsError::Media`] when a file cannot be moved. Nothing is recorded then.
    pub fn add_reach(&self, visit: i64, facts: &ReachFacts, accepted: &Accepted<'_>) -> Result<i64, RecordsError> {
        let failed = |source| RecordsError::Media { step: "keep", source };
        let Accepted { media, file, previews } = accepted;
        // before the lock: a large file takes seconds, and marks must not wait for it
        for path in [file, previews] {
            File::open(path).and_then(|file| file.sync_all()).map_err(failed)?;
        }
        // under one lock, so that a deletion elsewhere cannot take the file away between the move and the row
        let mut connection = self.connection();
        let is_known = connection
            .prepare_cached("SELECT 1 FROM media WHERE hash = ?1")
            .and_then(|mut statement| statement.exists([&media.hash]))
            .map_err(database("look for a clip"))?;
        if !is_known {
            for (from, to) in [(previews, self.previews_path(media)), (file, self.media_path(media))] {
                fs::rename(from, to).map_err(failed)?;
            }
            sync_folder(&self.folder.join(MEDIA)).map_err(failed)?;
        }
        let added = Self::insert_reach(&mut connection, visit, facts, media);
        if added.is_err() && !is_known {
            self.remove_media_files(&media.hash)?;
        }
        added
    }

    pub(super) fn remove_media_files(&self, hash: &str) -> Result<(), RecordsError> {
        let path = self.folder.join(MEDIA).join(hash);
        for path in [path.with_extension(PREVIEWS), path] {
            match fs::remove_file(path) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => {
                    return Err(RecordsError::Media { step: "remove", source: error });
                }
                _ => {}
            }
        }
        Ok(())
    }
}

/// Makes a folder, and removes the files in it whose name says that they are left over.
fn prepare_folder(folder: &Path, is_left_over: impl Fn(&str) -> bool) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_file() && path.file_name().and_then(|name| name.to_str()).is_some_and(&is_left_over) {
            fs::remove_file(&path)?;
        }
    }
    Ok(())
}

/// Makes the names in a folder last through a loss of power.
fn sync_folder(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    File::open(folder)?.sync_all()?;
    #[cfg(not(unix))]
    let _ = folder;
    Ok(())
}
