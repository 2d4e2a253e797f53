//! The data folder: the database and the media beside it.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use rusqlite::Connection;
use sha2::{Digest as _, Sha256};

use super::error::{RecordsError, database};
use super::migrations::migrate;

/// The database in the data folder.
const DATABASE: &str = "tworeach.sqlite3";

/// The file in the data folder that whoever uses the folder holds locked. The system frees it however the program ends.
const LOCK: &str = "in-use.lock";

/// How long to wait for another program that has the database, such as one that makes a copy.
const BUSY: Duration = Duration::from_secs(5);

/// Clients, visits, marks, results and media of one data folder.
pub struct Records {
    pub(super) folder: PathBuf,
    connection: Mutex<Connection>,
    /// Held as long as the records are.
    _lock: File,
}

impl Records {
    /// Opens the records in `folder`, which is made if it is not there, brings the database up to date and checks that it
    /// is whole. Uploads that were cut off are removed. Only one program at a time has a folder.
    ///
    /// # Errors
    /// [`RecordsError::InUse`] when another program has the folder,
    /// [`RecordsError::Damaged`] when the integrity check finds something, [`RecordsError::TooNew`] for the database of a
    /// later version, [`RecordsError::Folder`] and [`RecordsError::Database`] when they cannot be used.
    pub fn open(folder: &Path) -> Result<Self, RecordsError> {
        let lock = locked_folder(folder)?;
        let connection = Mutex::new(open_database(folder)?);
        let records = Self { folder: folder.to_owned(), connection, _lock: lock };
        records.prepare_media()?;
        Ok(records)
    }

    /// The folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folder
    }

    /// The connection. A thread that panicked while it held it has left no transaction open: dropping one rolls it back.
    pub(super) fn connection(&self) -> MutexGuard<'_, Connection> {
        self.connection.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Makes the folder if it is not there, and locks it against other programs.
fn locked_folder(folder: &Path) -> Result<File, RecordsError> {
    let unusable = |source| RecordsError::Folder { path: folder.to_owned(), source };
    let mut builder = fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt as _;
        // what is known of clients is nobody else's business on a shared machine
        builder.mode(0o700);
    }
    builder.create(folder).map_err(unusable)?;
    let lock = File::options().create(true).truncate(false).write(true).open(folder.join(LOCK)).map_err(unusable)?;
    match lock.try_lock() {
        Ok(()) => Ok(lock),
        Err(TryLockError::WouldBlock) => Err(RecordsError::InUse { path: folder.to_owned() }),
        Err(TryLockError::Error(source)) => Err(unusable(source)),
    }
}

fn open_database(folder: &Path) -> Result<Connection, RecordsError> {
    let path = folder.join(DATABASE);
    let mut connection = Connection::open(&path).map_err(database("be opened"))?;
    let failed = "be set up";
    connection.busy_timeout(BUSY).map_err(database(failed))?;
    connection.pragma_update(None, "journal_mode", "wal").map_err(database(failed))?;
    // a confirmed mark is on the disk before it is confirmed, also when the power goes
    connection.pragma_update(None, "synchronous", "full").map_err(database(failed))?;
    connection.pragma_update(None, "foreign_keys", true).map_err(database(failed))?;
    connection.pragma_update(None, "secure_delete", true).map_err(database(failed))?;
    check_integrity(&connection, &path)?;
    migrate(&mut connection)?;
    Ok(connection)
}

fn check_integrity(connection: &Connection, path: &Path) -> Result<(), RecordsError> {
    let damaged = |found: String| RecordsError::Damaged { path: path.to_owned(), found };
    let found: String = connection
        .pragma_query_value(None, "integrity_check", |row| row.get(0))
        .map_err(|error| damaged(error.to_string()))?;
    if found != "ok" {
        return Err(damaged(found));
    }
    let mut orphans = connection.prepare("PRAGMA foreign_key_check").map_err(database("be checked"))?;
    match orphans.exists([]) {
        Ok(false) => Ok(()),
        Ok(true) => Err(damaged("a row refers to one that is not there".to_owned())),
        Err(source) => Err(RecordsError::Database { step: "be checked", source }),
    }
}

/// The SHA-256 of `bytes` in hexadecimal.
#[must_use]
pub fn hash_words(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// Bytes in hexadecimal.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
