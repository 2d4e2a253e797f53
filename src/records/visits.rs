//! Visits, their settings and their results.

use rusqlite::{Connection, OptionalExtension as _, Row, params};

use super::clients::removal;
use super::error::{RecordsError, database};
use super::model::{Removal, Visit, VisitSettings};
use super::store::Records;
use crate::screen::VisitResult;

const VISIT_COLUMNS: &str = "id, client, made_on, bar_length_mm, taped_grips, margin_deg, profile, changes, alone";

impl Records {
    /// Starts a visit, with the settings of the client's latest one, if any.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn add_visit(&self, client: i64) -> Result<Visit, RecordsError> {
        let settings = self.visits(client)?.into_iter().next().map(|visit| visit.settings).unwrap_or_default();
        let connection = self.connection();
        connection
            .execute(
                "INSERT INTO visits (client, made_on, bar_length_mm, taped_grips, margin_deg, profile, changes)
                 VALUES (?1, date('now', 'localtime'), ?2, ?3, ?4, ?5, 0)",
                params![client, settings.bar_length_mm, settings.taped_grips, settings.margin_deg, settings.profile],
            )
            .map_err(database("record a visit"))?;
        let id = connection.last_insert_rowid();
        drop(connection);
        self.visit(id)
    }

    /// The visit with a number.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is none.
    pub fn visit(&self, id: i64) -> Result<Visit, RecordsError> {
        let sql = format!("SELECT {VISIT_COLUMNS} FROM visits WHERE id = ?1");
        let found = self.connection().query_row(&sql, [id], visit_of).optional();
        found.map_err(database("find a visit"))?.ok_or(RecordsError::NotFound { what: "visit" })
    }

    /// A client's visits, latest first.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn visits(&self, client: i64) -> Result<Vec<Visit>, RecordsError> {
        let step = "list visits";
        let connection = self.connection();
        let sql = format!("SELECT {VISIT_COLUMNS} FROM visits WHERE client = ?1 ORDER BY id DESC");
        let mut statement = connection.prepare(&sql).map_err(database(step))?;
        let rows = statement.query_map([client], visit_of).map_err(database(step))?;
        rows.collect::<Result<_, _>>().map_err(database(step))
    }

    /// Sets bar, margin and profile of a visit.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is no such visit.
    pub fn set_visit(&self, id: i64, settings: &VisitSettings) -> Result<(), RecordsError> {
        let VisitSettings { bar_length_mm, taped_grips, margin_deg, profile } = settings;
        let changed = self
            .connection()
            .execute(
                "UPDATE visits SET bar_length_mm = ?2, taped_grips = ?3, margin_deg = ?4, profile = ?5,
                     changes = changes + 1 WHERE id = ?1",
                params![id, bar_length_mm, taped_grips, margin_deg, profile],
            )
            .map_err(database("set a visit"))?;
        if changed == 1 { Ok(()) } else { Err(RecordsError::NotFound { what: "visit" }) }
    }

    /// Notes that a visit is done alone, step by step.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is no such visit.
    pub fn set_alone(&self, id: i64) -> Result<(), RecordsError> {
        let changed = self
            .connection()
            .execute("UPDATE visits SET alone = 1 WHERE id = ?1", [id])
            .map_err(database("set a visit"))?;
        if changed == 1 { Ok(()) } else { Err(RecordsError::NotFound { what: "visit" }) }
    }

    /// What deleting a visit would remove.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn removal_of_visit(&self, visit: i64) -> Result<Removal, RecordsError> {
        removal(&self.connection(), "reaches.visit = ?1", visit)
    }

    /// Removes a visit with its reaches, marks and result, and the media that no other reach is.
    ///
    /// # Errors
    /// As [`Records::delete_client`].
    pub fn delete_visit(&self, visit: i64) -> Result<(), RecordsError> {
        self.delete("DELETE FROM visits WHERE id = ?1", visit)
    }

    /// Keeps the result of a visit as it was at a number of changes.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn keep_result(&self, visit: i64, changes: i64, result: &VisitResult) -> Result<(), RecordsError> {
        let json = serde_json::to_string(result).map_err(|source| RecordsError::Document { source })?;
        // the visit may have been deleted while its marks were fitted
        self.connection()
            .execute(
                "INSERT INTO results (visit, changes, result, made_at)
                 SELECT ?1, ?2, ?3, strftime('%Y-%m-%dT%H:%M:%SZ', 'now') WHERE EXISTS (SELECT 1 FROM visits WHERE id = ?1)
                 ON CONFLICT (visit) DO UPDATE SET changes = excluded.changes, result = excluded.result,
                     made_at = excluded.made_at
                     WHERE excluded.changes > results.changes
                        OR excluded.changes = results.changes AND excluded.result <> results.result",
                params![visit, changes, json],
            )
            .map(|_| ())
            .map_err(database("keep a result"))
    }

    /// The kept result of a visit, if nothing has changed since.
    ///
    /// # Errors
    /// [`RecordsError::Document`] when it cannot be read.
    pub fn result(&self, visit: i64) -> Result<Option<VisitResult>, RecordsError> {
        let found: Option<String> = self
            .connection()
            .query_row(
                "SELECT result FROM results JOIN visits ON visits.id = results.visit AND visits.changes = results.changes
                 WHERE visit = ?1",
                [visit],
                |row| row.get(0),
            )
            .optional()
            .map_err(database("find a result"))?;
        found.map(|json| serde_json::from_str(&json).map_err(|source| RecordsError::Document { source })).transpose()
    }
}

/// Notes that something changed that the visit's result rests on.
pub(super) fn note_change(connection: &Connection, visit: i64) -> Result<(), RecordsError> {
    connection
        .execute("UPDATE visits SET changes = changes + 1 WHERE id = ?1", [visit])
        .map(|_| ())
        .map_err(database("note a change"))
}

fn visit_of(row: &Row<'_>) -> rusqlite::Result<Visit> {
    let settings = VisitSettings {
        bar_length_mm: row.get(3)?,
        taped_grips: row.get(4)?,
        margin_deg: row.get(5)?,
        profile: row.get(6)?,
    };
    Ok(Visit {
        id: row.get(0)?,
        client: row.get(1)?,
        made_on: row.get(2)?,
        settings,
        changes: row.get(7)?,
        is_alone: row.get(8)?,
    })
}
