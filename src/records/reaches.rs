//! Reaches and the marks on them.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension as _, Row, TransactionBehavior, params};

use super::clients::removal;
use super::error::{RecordsError, database};
use super::model::{CarriedFrom, Feel, Marking, Media, Palms, Reach, ReachFacts, ReachMarks, Removal};
use super::store::Records;
use super::visits::note_change;
use super::words::Stored;
use crate::geometry::Landmark;
use crate::pose::Rotation;

const REACHES: &str =
    "SELECT reaches.id, visit, occasion, rotation, view, near_side, mirrored, palms, hash, bytes, facts
    FROM reaches JOIN media ON media.hash = reaches.media";

/// What became of an edit of marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confirmed {
    /// It is on the disk, under this number.
    Revision(i64),
    /// It was made from a revision that is not the latest, which is this: nothing was changed.
    Stale(i64),
}

impl Records {
    /// The reach with a number.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is none.
    pub fn reach(&self, id: i64) -> Result<Reach, RecordsError> {
        let sql = format!("{REACHES} WHERE reaches.id = ?1");
        let found = self.connection().query_row(&sql, [id], reach_of).optional();
        found.map_err(database("find a reach"))?.ok_or(RecordsError::NotFound { what: "reach" })
    }

    /// The reaches of a visit, in the order before and after, internal and external, as they were brought in.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn reaches(&self, visit: i64) -> Result<Vec<Reach>, RecordsError> {
        let step = "list reaches";
        let connection = self.connection();
        let sql = format!("{REACHES} WHERE visit = ?1 ORDER BY occasion = 'after', rotation = 'external', reaches.id");
        let mut statement = connection.prepare(&sql).map_err(database(step))?;
        let rows = statement.query_map([visit], reach_of).map_err(database(step))?;
        rows.collect::<Result<_, _>>().map_err(database(step))
    }

    /// Records a reach whose clip or still is in the data folder already. Called by [`Records::add_reach`].
    pub(super) fn insert_reach(
        connection: &mut Connection,
        visit: i64,
        facts: &ReachFacts,
        media: &Media,
    ) -> Result<i64, RecordsError> {
        let step = "record a reach";
        let transaction = connection.transaction().map_err(database(step))?;
        let exists = |sql: &str, parameters: &[&dyn rusqlite::ToSql]| {
            transaction.query_row(sql, parameters, |_| Ok(())).optional().map(|found| found.is_some())
        };
        if !exists("SELECT 1 FROM visits WHERE id = ?1", &[&visit]).map_err(database(step))? {
            return Err(RecordsError::NotFound { what: "visit" });
        }
        let same = "SELECT 1 FROM reaches WHERE visit = ?1 AND occasion = ?2 AND rotation = ?3 AND view = ?4";
        let (occasion, rotation, view) = (Stored(facts.occasion), Stored(facts.rotation), Stored(facts.view));
        if exists(same, &[&visit, &occasion, &rotation, &view]).map_err(database(step))? {
            return Err(RecordsError::ReachTaken);
        }
        let same_clip = transaction
            .query_row(
                "SELECT rotation, occasion FROM reaches WHERE visit = ?1 AND media = ?2",
                params![visit, media.hash],
                |row| Ok((row.get(0)?, row.get(1)?)),
            )
            .optional()
            .map_err(database(step))?;
        if let Some((Stored(rotation), Stored(occasion))) = same_clip {
            return Err(RecordsError::ClipTaken { rotation, occasion });
        }
        let bytes = i64::try_from(media.bytes).unwrap_or(i64::MAX);
        let about = serde_json::to_string(&media.facts).map_err(|source| RecordsError::Document { source })?;
        transaction
            .execute(
                "INSERT INTO media (hash, bytes, facts) VALUES (?1, ?2, ?3) ON CONFLICT (hash) DO NOTHING",
                params![media.hash, bytes, about],
            )
            .map_err(database(step))?;
        transaction
            .execute(
                "INSERT INTO reaches (visit, occasion, rotation, view, near_side, mirrored, media)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                params![visit, occasion, rotation, view, facts.near_side.map(Stored), facts.mirrored, media.hash],
            )
            .map_err(database(step))?;
        let id = transaction.last_insert_rowid();
        note_change(&transaction, visit)?;
        transaction.commit().map_err(database(step))?;
        Ok(id)
    }

    /// Corrects which reach it is and how it was filmed. The side towards the camera is one for all reaches of a view, so it is
    /// corrected in all of them.
    ///
    /// # Errors
    /// [`RecordsError::ReachTaken`] if the visit has another such reach, [`RecordsError::NotFound`] if there is no such reach.
    pub fn correct_reach(&self, reach: i64, facts: &ReachFacts) -> Result<(), RecordsError> {
        let step = "correct a reach";
        let visit = self.reach(reach)?.visit;
        let mut connection = self.connection();
        let transaction = connection.transaction().map_err(database(step))?;
        let (occasion, rotation, view) = (Stored(facts.occasion), Stored(facts.rotation), Stored(facts.view));
        let is_taken = transaction
            .query_row(
                "SELECT 1 FROM reaches WHERE visit = ?1 AND occasion = ?2 AND rotation = ?3 AND view = ?4 AND id != ?5",
                params![visit, occasion, rotation, view, reach],
                |_| Ok(()),
            )
            .optional()
            .map_err(database(step))?
            .is_some();
        if is_taken {
            return Err(RecordsError::ReachTaken);
        }
        transaction
            .execute(
                "UPDATE reaches SET occasion = ?2, rotation = ?3, view = ?4, mirrored = ?5 WHERE id = ?1",
                params![reach, occasion, rotation, view, facts.mirrored],
            )
            .map_err(database(step))?;
        transaction
            .execute(
                "UPDATE reaches SET near_side = ?3 WHERE visit = ?1 AND view = ?2",
                params![visit, view, facts.near_side.map(Stored)],
            )
            .map_err(database(step))?;
        note_change(&transaction, visit)?;
        transaction.commit().map_err(database(step))
    }

    /// Records which way the palms face, which decides whether the reach is measured.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is no such reach.
    pub fn set_palms(&self, reach: i64, palms: Palms) -> Result<(), RecordsError> {
        let step = "record the palms";
        let mut connection = self.connection();
        let transaction = connection.transaction().map_err(database(step))?;
        let visit = transaction
            .query_row(
                "UPDATE reaches SET palms = ?2 WHERE id = ?1 RETURNING visit",
                params![reach, Stored(palms)],
                |row| row.get(0),
            )
            .optional()
            .map_err(database(step))?
            .ok_or(RecordsError::NotFound { what: "reach" })?;
        note_change(&transaction, visit)?;
        transaction.commit().map_err(database(step))
    }

    /// Gives a reach whose palms are contrary the other rotation, and the reach that has that one, if any, this one's: their
    /// clips were swapped. Its palms stay as they were seen; the other reach's must be looked at again. A reach whose palms fit
    /// stays where it is, so that asking twice does not undo it; whether anything changed.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is no such reach.
    pub fn swap_contrary(&self, reach: i64) -> Result<bool, RecordsError> {
        let step = "exchange two reaches";
        let found = self.reach(reach)?;
        if !found.is_contrary() {
            return Ok(false);
        }
        let Reach { visit, facts, .. } = found;
        let other = match facts.rotation {
            Rotation::Internal => Rotation::External,
            Rotation::External => Rotation::Internal,
        };
        let mut connection = self.connection();
        let transaction = connection.transaction().map_err(database(step))?;
        let set = "UPDATE reaches SET rotation = ?1 WHERE id = ?2";
        // no two reaches may have one rotation, not even for a moment
        let taken = "UPDATE reaches SET rotation = '' WHERE id = ?1 AND rotation = ?2";
        // another request may have exchanged them since they were read
        if transaction.execute(taken, params![reach, Stored(facts.rotation)]).map_err(database(step))? == 0 {
            return Ok(false);
        }
        transaction
            .execute(
                "UPDATE reaches SET rotation = ?1, palms = NULL WHERE visit = ?2 AND occasion = ?3 AND view = ?4 AND rotation = ?5",
                params![Stored(facts.rotation), visit, Stored(facts.occasion), Stored(facts.view), Stored(other)],
            )
            .map_err(database(step))?;
        transaction.execute(set, params![Stored(other), reach]).map_err(database(step))?;
        note_change(&transaction, visit)?;
        transaction.commit().map_err(database(step))?;
        Ok(true)
    }

    /// What deleting a reach would remove.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn removal_of_reach(&self, reach: i64) -> Result<Removal, RecordsError> {
        removal(&self.connection(), "reaches.id = ?1", reach)
    }

    /// Removes a reach with its marks, and its clip where no other reach is the same file.
    ///
    /// # Errors
    /// As [`Records::delete_client`]; [`RecordsError::NotFound`] if there is no such reach.
    pub fn delete_reach(&self, reach: i64) -> Result<(), RecordsError> {
        let visit = self.reach(reach)?.visit;
        note_change(&self.connection(), visit)?;
        // what was found from its clip in those of the other reaches goes with it, and is looked for anew from what is left
        self.connection()
            .execute("DELETE FROM looks WHERE reach IN (SELECT id FROM reaches WHERE visit = ?1)", [visit])
            .map_err(database("delete a reach"))?;
        self.delete("DELETE FROM reaches WHERE id = ?1", reach)
    }

    /// Records an edit of marks, made from revision `from`. When this returns, the edit is on the disk.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is no such reach.
    pub fn confirm_marks(
        &self,
        reach: i64,
        from: i64,
        marking: &Marking,
        feel: &Feel,
    ) -> Result<Confirmed, RecordsError> {
        let step = "record marks";
        let points: BTreeMap<&str, [f64; 2]> =
            marking.points.iter().map(|(landmark, point)| (landmark.name(), *point)).collect();
        let points = serde_json::to_string(&points).map_err(|source| RecordsError::Document { source })?;
        let carried: BTreeMap<&str, CarriedFrom> =
            marking.carried.iter().map(|(landmark, from)| (landmark.name(), *from)).collect();
        let carried = (!carried.is_empty()).then(|| serde_json::to_string(&carried)).transpose();
        let carried = carried.map_err(|source| RecordsError::Document { source })?;
        let mut connection = self.connection();
        // the write lock is taken before the revision is looked at, so that no other edit comes in between
        let transaction =
            connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(database(step))?;
        let visit: i64 = transaction
            .query_row("SELECT visit FROM reaches WHERE id = ?1", [reach], |row| row.get(0))
            .optional()
            .map_err(database(step))?
            .ok_or(RecordsError::NotFound { what: "reach" })?;
        let current = latest_revision(&transaction, reach)?;
        if current != from {
            return Ok(Confirmed::Stale(current));
        }
        transaction
            .execute(
                "INSERT INTO revisions
                     (reach, revision, raise_number, repeat_number, time_s, points, pain, limited_by, back_flat, carried, made_at)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, strftime('%Y-%m-%dT%H:%M:%fZ', 'now'))",
                params![
                    reach,
                    current + 1,
                    marking.raise,
                    marking.repeat,
                    marking.time_s,
                    points,
                    feel.pain,
                    feel.limited_by.map(Stored),
                    feel.back_flat,
                    carried
                ],
            )
            .map_err(database(step))?;
        note_change(&transaction, visit)?;
        transaction.commit().map_err(database(step))?;
        Ok(Confirmed::Revision(current + 1))
    }

    /// Everything marked in a reach, as it stands now.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn marks(&self, reach: i64) -> Result<ReachMarks, RecordsError> {
        let step = "read marks";
        let connection = self.connection();
        let revision = latest_revision(&connection, reach)?;
        let mut statement = connection
            .prepare_cached(
                "SELECT raise_number, repeat_number, time_s, points, carried FROM revisions JOIN
                     (SELECT max(revision) AS latest FROM revisions WHERE reach = ?1 GROUP BY raise_number, repeat_number)
                     ON reach = ?1 AND revision = latest ORDER BY raise_number, repeat_number",
            )
            .map_err(database(step))?;
        let rows = statement.query_map([reach], marking_of).map_err(database(step))?;
        let markings = rows.collect::<Result<Vec<_>, _>>().map_err(database(step))?;
        let feel = connection
            .query_row(
                "SELECT pain, limited_by, back_flat FROM revisions WHERE reach = ?1 AND revision = ?2",
                [reach, revision],
                |row| {
                    let limited_by: Option<Stored<_>> = row.get(1)?;
                    let limited_by = limited_by.map(|Stored(limited_by)| limited_by);
                    Ok(Feel { pain: row.get(0)?, limited_by, back_flat: row.get(2)? })
                },
            )
            .optional()
            .map_err(database(step))?
            .unwrap_or_default();
        Ok(ReachMarks { revision, markings, feel })
    }
}

fn latest_revision(connection: &Connection, reach: i64) -> Result<i64, RecordsError> {
    connection
        .query_row("SELECT coalesce(max(revision), 0) FROM revisions WHERE reach = ?1", [reach], |row| row.get(0))
        .map_err(database("read marks"))
}

fn marking_of(row: &Row<'_>) -> rusqlite::Result<Marking> {
    let points: String = row.get(3)?;
    let carried: Option<String> = row.get(4)?;
    let carried = carried.map(|text| by_landmark(&text, 4)).transpose()?.unwrap_or_default();
    let (raise, repeat, time_s) = (row.get(0)?, row.get(1)?, row.get(2)?);
    Ok(Marking { raise, repeat, time_s, points: by_landmark(&points, 3)?, carried })
}

/// A JSON object by landmarks, of a column.
fn by_landmark<T: serde::de::DeserializeOwned>(text: &str, column: usize) -> rusqlite::Result<BTreeMap<Landmark, T>> {
    let unreadable = |error: Box<dyn std::error::Error + Send + Sync>| {
        rusqlite::Error::FromSqlConversionFailure(column, rusqlite::types::Type::Text, error)
    };
    let named: BTreeMap<String, T> = serde_json::from_str(text).map_err(|error| unreadable(error.into()))?;
    let landmark = |name: String| name.parse::<Landmark>().map_err(|error| unreadable(error.into()));
    named.into_iter().map(|(name, value)| Ok((landmark(name)?, value))).collect()
}

fn reach_of(row: &Row<'_>) -> rusqlite::Result<Reach> {
    let (Stored(occasion), Stored(rotation), Stored(view)) = (row.get(2)?, row.get(3)?, row.get(4)?);
    let near_side: Option<Stored<_>> = row.get(5)?;
    let near_side = near_side.map(|Stored(side)| side);
    let palms: Option<Stored<_>> = row.get(7)?;
    let facts: String = row.get(10)?;
    let facts = serde_json::from_str(&facts)
        .map_err(|error| rusqlite::Error::FromSqlConversionFailure(10, rusqlite::types::Type::Text, Box::new(error)))?;
    let bytes: i64 = row.get(9)?;
    Ok(Reach {
        id: row.get(0)?,
        visit: row.get(1)?,
        facts: ReachFacts { occasion, rotation, view, near_side, mirrored: row.get(6)? },
        palms: palms.map(|Stored(palms)| palms),
        media: Media { hash: row.get(8)?, bytes: u64::try_from(bytes).unwrap_or(0), facts },
    })
}
