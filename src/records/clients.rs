//! Clients and their answers on danger signs.

use rusqlite::{Connection, OptionalExtension as _, Row, params};

use super::error::{RecordsError, database};
use super::model::{Client, ClientFacts, Removal, Screening};
use super::screening::{AnsweredBy, Answers};
use super::store::Records;
use super::words::Stored;
use crate::plan::DangerSign;

/// A client in the list of all.
#[derive(Debug, Clone, PartialEq)]
pub struct ClientSummary {
    /// The client.
    pub client: Client,
    /// Number of visits.
    pub visits: usize,
    /// The day of the latest visit.
    pub last_visit: Option<String>,
}

const CLIENT_COLUMNS: &str = "id, code, affected_side, stature_mm, arm_length_mm, is_demo, made_on";

impl Records {
    /// All clients, by code.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn clients(&self) -> Result<Vec<ClientSummary>, RecordsError> {
        let step = "list the clients";
        let connection = self.connection();
        let mut statement = connection
            .prepare(&format!(
                "SELECT {CLIENT_COLUMNS}, (SELECT count(*) FROM visits WHERE client = clients.id),
                    (SELECT max(made_on) FROM visits WHERE client = clients.id)
                 FROM clients ORDER BY code COLLATE NOCASE"
            ))
            .map_err(database(step))?;
        let rows = statement
            .query_map([], |row| {
                Ok(ClientSummary { client: client_of(row)?, visits: row.get(7)?, last_visit: row.get(8)? })
            })
            .map_err(database(step))?;
        rows.collect::<Result<_, _>>().map_err(database(step))
    }

    /// The client with a code.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is none.
    pub fn client(&self, code: &str) -> Result<Client, RecordsError> {
        self.one_client("code", &code)
    }

    /// The client with a number.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is none.
    pub fn client_by_id(&self, id: i64) -> Result<Client, RecordsError> {
        self.one_client("id", &id)
    }

    fn one_client(&self, column: &'static str, value: &dyn rusqlite::ToSql) -> Result<Client, RecordsError> {
        let sql = format!("SELECT {CLIENT_COLUMNS} FROM clients WHERE {column} = ?1");
        let found = self.connection().query_row(&sql, [value], client_of).optional();
        found.map_err(database("find a client"))?.ok_or(RecordsError::NotFound { what: "client" })
    }

    /// Records a client with the answers on danger signs that were asked first.
    ///
    /// # Errors
    /// [`RecordsError::CodeTaken`] if another client has the code.
    pub fn add_client(&self, facts: &ClientFacts, answers: &Answers) -> Result<Client, RecordsError> {
        let step = "record a client";
        let mut connection = self.connection();
        let transaction = connection.transaction().map_err(database(step))?;
        let is_taken = transaction
            .query_row("SELECT 1 FROM clients WHERE code = ?1", [&facts.code], |_| Ok(()))
            .optional()
            .map_err(database(step))?
            .is_some();
        if is_taken {
            return Err(RecordsError::CodeTaken { code: facts.code.clone() });
        }
        transaction
            .execute(
                "INSERT INTO clients (code, affected_side, stature_mm, arm_length_mm, is_demo, made_on)
                 VALUES (?1, ?2, ?3, ?4, ?5, date('now', 'localtime'))",
                params![facts.code, Stored(facts.affected_side), facts.stature_mm, facts.arm_length_mm, facts.is_demo],
            )
            .map_err(database(step))?;
        let id = transaction.last_insert_rowid();
        insert_screening(&transaction, id, answers).map_err(database(step))?;
        transaction.commit().map_err(database(step))?;
        drop(connection);
        self.client_by_id(id)
    }

    /// Corrects what is known of a client. The results of all visits are measured anew.
    ///
    /// # Errors
    /// [`RecordsError::CodeTaken`] if another client has the code, [`RecordsError::NotFound`] if there is no such client.
    pub fn correct_client(&self, id: i64, facts: &ClientFacts) -> Result<(), RecordsError> {
        let step = "correct a client";
        let mut connection = self.connection();
        let transaction = connection.transaction().map_err(database(step))?;
        let is_taken = transaction
            .query_row("SELECT 1 FROM clients WHERE code = ?1 AND id != ?2", params![facts.code, id], |_| Ok(()))
            .optional()
            .map_err(database(step))?
            .is_some();
        if is_taken {
            return Err(RecordsError::CodeTaken { code: facts.code.clone() });
        }
        let changed = transaction
            .execute(
                "UPDATE clients SET code = ?2, affected_side = ?3, stature_mm = ?4, arm_length_mm = ?5 WHERE id = ?1",
                params![id, facts.code, Stored(facts.affected_side), facts.stature_mm, facts.arm_length_mm],
            )
            .map_err(database(step))?;
        if changed == 0 {
            return Err(RecordsError::NotFound { what: "client" });
        }
        transaction
            .execute("UPDATE visits SET changes = changes + 1 WHERE client = ?1", [id])
            .map_err(database(step))?;
        transaction.commit().map_err(database(step))
    }

    /// Records new answers on danger signs. A clinician's reason to go on is one that knows the log.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn add_screening(&self, client: i64, answers: &Answers) -> Result<(), RecordsError> {
        insert_screening(&self.connection(), client, answers).map_err(database("record answers"))?;
        let has_reason = answers.reason.as_ref().is_some_and(|reason| !reason.trim().is_empty());
        if answers.answered_by == AnsweredBy::Clinician && !answers.signs.is_empty() && has_reason {
            self.look_at_log(client)?;
        }
        Ok(())
    }

    /// The answers on danger signs that count: the latest, but that a client who answers no to everything later on does not lift
    /// a sign by that. A clinician's answers do.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn screening(&self, client: i64) -> Result<Option<Screening>, RecordsError> {
        let step = "find answers";
        let connection = self.connection();
        let mut statement = connection
            .prepare("SELECT answered_by, signs, reason, made_on FROM screenings WHERE client = ?1 ORDER BY id")
            .map_err(database(step))?;
        let rows = statement.query_map([client], screening_of).map_err(database(step))?;
        let mut counts: Option<Screening> = None;
        for row in rows {
            let later = row.map_err(database(step))?;
            let is_no_by_client = later.answers.signs.is_empty() && later.answers.answered_by == AnsweredBy::Client;
            let stands = counts.as_ref().is_some_and(|screening| !screening.answers.signs.is_empty());
            if !(stands && is_no_by_client) {
                counts = Some(later);
            }
        }
        Ok(counts)
    }

    /// What deleting a client would remove.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn removal_of_client(&self, client: i64) -> Result<Removal, RecordsError> {
        let of_client = "reaches.visit IN (SELECT id FROM visits WHERE client = ?1)";
        let connection = self.connection();
        let visits = connection
            .query_row("SELECT count(*) FROM visits WHERE client = ?1", [client], |row| row.get(0))
            .map_err(database("count visits"))?;
        let log_entries = connection
            .query_row("SELECT count(*) FROM log_entries WHERE client = ?1", [client], |row| row.get(0))
            .map_err(database("count log entries"))?;
        Ok(Removal { visits, log_entries, ..removal(&connection, of_client, client)? })
    }

    /// Removes a client with all visits, reaches, marks and results, and the media that no other client's reach is.
    ///
    /// # Errors
    /// [`RecordsError::Media`] when a file cannot be removed; the rows are gone then, and the file goes at the next start.
    pub fn delete_client(&self, client: i64) -> Result<(), RecordsError> {
        self.delete("DELETE FROM clients WHERE id = ?1", client)
    }

    /// Runs a deletion, with what it leaves without use.
    pub(super) fn delete(&self, sql: &str, id: i64) -> Result<(), RecordsError> {
        let step = "delete";
        let mut connection = self.connection();
        let transaction = connection.transaction().map_err(database(step))?;
        transaction.execute(sql, [id]).map_err(database(step))?;
        let unused = {
            let mut statement = transaction
                .prepare("DELETE FROM media WHERE hash NOT IN (SELECT media FROM reaches) RETURNING hash")
                .map_err(database(step))?;
            let rows = statement.query_map([], |row| row.get::<_, String>(0)).map_err(database(step))?;
            rows.collect::<Result<Vec<_>, _>>().map_err(database(step))?
        };
        transaction.commit().map_err(database(step))?;
        // the log of recent writes still holds what was deleted, until it is emptied
        connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(())).map_err(database(step))?;
        // still under the lock: a file that is brought in again meanwhile must not be taken away
        unused.iter().try_for_each(|hash| self.remove_media_files(hash))
    }
}

/// What deleting the reaches that `condition` selects would remove.
pub(super) fn removal(connection: &Connection, condition: &str, id: i64) -> Result<Removal, RecordsError> {
    let step = "count what would be deleted";
    let (reaches, marks) = connection
        .query_row(
            &format!(
                "SELECT count(*), coalesce(sum((SELECT count(*) FROM revisions WHERE reach = reaches.id)), 0)
                 FROM reaches WHERE {condition}"
            ),
            [id],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .map_err(database(step))?;
    let (media, media_bytes, media_kept) = connection
        .query_row(
            &format!(
                "SELECT coalesce(sum(others = 0), 0), coalesce(sum(iif(others = 0, bytes, 0)), 0), coalesce(sum(others > 0), 0)
                 FROM (SELECT bytes, (SELECT count(*) FROM reaches WHERE media = hash AND NOT ({condition})) AS others
                       FROM media WHERE hash IN (SELECT media FROM reaches WHERE {condition}))"
            ),
            [id],
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
        .map_err(database(step))?;
    Ok(Removal { visits: 0, log_entries: 0, reaches, marks, media, media_bytes, media_kept })
}

fn insert_screening(connection: &Connection, client: i64, answers: &Answers) -> rusqlite::Result<()> {
    let signs: Vec<&str> = answers.signs.iter().map(|sign| sign.name()).collect();
    connection
        .execute(
            "INSERT INTO screenings (client, answered_by, signs, reason, made_on)
             VALUES (?1, ?2, ?3, ?4, date('now', 'localtime'))",
            params![client, Stored(answers.answered_by), signs.join(" "), answers.reason],
        )
        .map(|_| ())
}

fn screening_of(row: &Row<'_>) -> rusqlite::Result<Screening> {
    let Stored(answered_by) = row.get(0)?;
    let signs: String = row.get(1)?;
    // a sign that a later version asked for is still a sign: it must not read as none
    let signs = signs.split_whitespace().map(str::parse::<DangerSign>).collect::<Result<_, _>>();
    let signs = signs
        .map_err(|error| rusqlite::Error::FromSqlConversionFailure(1, rusqlite::types::Type::Text, Box::new(error)))?;
    let answers = Answers { answered_by, signs, reason: row.get(2)? };
    Ok(Screening { answers, made_on: row.get(3)? })
}

fn client_of(row: &Row<'_>) -> rusqlite::Result<Client> {
    let Stored(affected_side) = row.get(2)?;
    let facts = ClientFacts {
        code: row.get(1)?,
        affected_side,
        stature_mm: row.get(3)?,
        arm_length_mm: row.get(4)?,
        is_demo: row.get(5)?,
    };
    Ok(Client { id: row.get(0)?, facts, made_on: row.get(6)? })
}
