//! The database's tables, as numbered steps. A step that was ever released is never changed; a new one follows it.

use rusqlite::Connection;

use super::error::{RecordsError, database};

/// The steps in order; the database's `user_version` says how many it has taken.
const STEPS: [&str; 9] = [
    // Revisions are only ever added: each confirmed edit of marks is a row of its own, and the latest of each raise and
    // repeat counts. Numbers of rows are never given out twice, so that an address never shows another client's reach.
    "CREATE TABLE clients (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        code TEXT NOT NULL UNIQUE COLLATE NOCASE,
        affected_side TEXT NOT NULL,
        stature_mm REAL,
        arm_length_mm REAL,
        is_demo INTEGER NOT NULL,
        made_on TEXT NOT NULL
    ) STRICT;
    CREATE TABLE screenings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        client INTEGER NOT NULL REFERENCES clients ON DELETE CASCADE,
        answered_by TEXT NOT NULL,
        signs TEXT NOT NULL,
        reason TEXT,
        made_on TEXT NOT NULL
    ) STRICT;
    CREATE INDEX screenings_client ON screenings (client);
    CREATE TABLE visits (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        client INTEGER NOT NULL REFERENCES clients ON DELETE CASCADE,
        made_on TEXT NOT NULL,
        bar_length_mm REAL,
        taped_grips INTEGER NOT NULL,
        margin_deg REAL NOT NULL,
        profile TEXT,
        changes INTEGER NOT NULL
    ) STRICT;
    CREATE INDEX visits_client ON visits (client);
    CREATE TABLE media (
        hash TEXT PRIMARY KEY,
        bytes INTEGER NOT NULL,
        facts TEXT NOT NULL
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE reaches (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        visit INTEGER NOT NULL REFERENCES visits ON DELETE CASCADE,
        occasion TEXT NOT NULL,
        rotation TEXT NOT NULL,
        view TEXT NOT NULL,
        near_side TEXT,
        mirrored INTEGER NOT NULL,
        palms TEXT,
        media TEXT NOT NULL REFERENCES media,
        UNIQUE (visit, occasion, rotation, view)
    ) STRICT;
    CREATE INDEX reaches_media ON reaches (media);
    CREATE TABLE revisions (
        reach INTEGER NOT NULL REFERENCES reaches ON DELETE CASCADE,
        revision INTEGER NOT NULL,
        raise_number INTEGER NOT NULL,
        repeat_number INTEGER NOT NULL,
        time_s REAL NOT NULL,
        points TEXT NOT NULL,
        pain REAL,
        limited_by TEXT,
        back_flat INTEGER,
        made_at TEXT NOT NULL,
        PRIMARY KEY (reach, revision)
    ) STRICT, WITHOUT ROWID;
    CREATE TABLE results (
        visit INTEGER PRIMARY KEY REFERENCES visits ON DELETE CASCADE,
        changes INTEGER NOT NULL,
        result TEXT NOT NULL,
        made_at TEXT NOT NULL
    ) STRICT;",
    // Plans and intakes are kept as the files that they can be exported as, each change a row of its own, of which the latest
    // counts. Log entries hold the cells of a log file, so that one check takes in what was typed, read or kept.
    "CREATE TABLE plans (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        client INTEGER NOT NULL REFERENCES clients ON DELETE CASCADE,
        text TEXT NOT NULL,
        made_at TEXT NOT NULL
    ) STRICT;
    CREATE INDEX plans_client ON plans (client);
    CREATE TABLE intakes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        client INTEGER NOT NULL REFERENCES clients ON DELETE CASCADE,
        text TEXT NOT NULL,
        made_at TEXT NOT NULL
    ) STRICT;
    CREATE INDEX intakes_client ON intakes (client);
    CREATE TABLE log_entries (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        client INTEGER NOT NULL REFERENCES clients ON DELETE CASCADE,
        day TEXT NOT NULL,
        stage TEXT NOT NULL,
        done TEXT NOT NULL,
        load TEXT NOT NULL,
        sets TEXT NOT NULL,
        repetitions TEXT NOT NULL,
        seconds TEXT NOT NULL,
        pain_during TEXT NOT NULL,
        pain_next_morning TEXT NOT NULL,
        danger_sign TEXT NOT NULL,
        entered TEXT NOT NULL,
        note TEXT NOT NULL,
        made_at TEXT NOT NULL
    ) STRICT;
    CREATE INDEX log_entries_client ON log_entries (client, day);",
    // Where those of the marks come from that were carried from another reach; NULL where all were placed by hand.
    "ALTER TABLE revisions ADD COLUMN carried TEXT;",
    // Lens profiles made on the page.
    "CREATE TABLE lenses (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        facts TEXT NOT NULL,
        profile TEXT NOT NULL,
        sheet TEXT NOT NULL,
        made_on TEXT NOT NULL
    ) STRICT;",
    // Results of before contrary palms were left out hold reaches that are not measured any more. They are measured anew.
    "DELETE FROM results WHERE visit IN (
        SELECT visit FROM reaches
        WHERE (palms = 'up' AND rotation = 'internal') OR (palms = 'down' AND rotation = 'external')
    );",
    // A visit that one person does alone, step by step.
    "ALTER TABLE visits ADD COLUMN alone INTEGER NOT NULL DEFAULT 0;",
    // Arms followed through clips, each with the hash of what it was followed from.
    "CREATE TABLE followed (
        reach INTEGER PRIMARY KEY REFERENCES reaches ON DELETE CASCADE,
        origin TEXT NOT NULL,
        arm TEXT NOT NULL,
        made_at TEXT NOT NULL
    ) STRICT;",
    // The day on which a clinician let the plan go on with an entry in the log; empty where none did since it was told.
    "ALTER TABLE log_entries ADD COLUMN looked_on TEXT NOT NULL DEFAULT '';",
    // What pictures say of marks, each answer with the hash of what it rests on.
    "CREATE TABLE looks (
        reach INTEGER NOT NULL REFERENCES reaches ON DELETE CASCADE,
        origin TEXT NOT NULL,
        answer TEXT NOT NULL,
        made_at TEXT NOT NULL,
        PRIMARY KEY (reach, origin)
    ) STRICT, WITHOUT ROWID;",
];

/// Takes the steps that a database has not taken yet, each in a transaction of its own.
pub(super) fn migrate(connection: &mut Connection) -> Result<(), RecordsError> {
    let taken: i64 =
        connection.pragma_query_value(None, "user_version", |row| row.get(0)).map_err(database("tell its version"))?;
    let known = i64::try_from(STEPS.len()).unwrap_or(i64::MAX);
    if taken > known || taken < 0 {
        return Err(RecordsError::TooNew { found: taken, known });
    }
    for (version, step) in (1_i64..).zip(STEPS).filter(|(version, _)| *version > taken) {
        let failed = "be brought up to date";
        let transaction = connection.transaction().map_err(database(failed))?;
        transaction.execute_batch(step).map_err(database(failed))?;
        transaction.pragma_update(None, "user_version", version).map_err(database(failed))?;
        transaction.commit().map_err(database(failed))?;
    }
    Ok(())
}
