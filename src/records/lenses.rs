//! Lens profiles that were made on this machine. A visit keeps a copy of the profile that it is measured with, so that
//! deleting one here changes no result.

use rusqlite::{OptionalExtension as _, Row, params};
use serde::{Deserialize, Serialize};

use super::error::{RecordsError, database};
use super::store::Records;

/// What is told of a lens profile.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LensFacts {
    /// What the profile is of.
    pub name: String,
    /// Width and height of the upright pictures that it was made from, px.
    pub image_size: [u32; 2],
    /// Pictures that it rests on.
    pub views: usize,
    /// Root mean square distance of the board's corners from where the lens puts them, px.
    pub rms_px: f64,
    /// How much of the picture the board covered, %.
    pub covered_percent: f64,
    /// The widest angle between two positions of the board, deg.
    pub widest_tilt_deg: f64,
    /// What its user should know.
    pub warnings: Vec<String>,
    /// Pictures without a whole board.
    pub left_out: Vec<String>,
}

/// A lens profile with its page.
#[derive(Debug, Clone, PartialEq)]
pub struct MadeLens {
    /// Its number.
    pub id: i64,
    /// What is told of it.
    pub facts: LensFacts,
    /// The profile's text, `tworeach/camera/1`.
    pub profile: String,
    /// The day on which it was made, as `2026-11-25`.
    pub made_on: String,
}

impl Records {
    /// Records a lens profile and the page to look at; gives its number.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn add_lens(&self, facts: &LensFacts, profile: &str, sheet: &str) -> Result<i64, RecordsError> {
        let facts = serde_json::to_string(facts).map_err(|source| RecordsError::Document { source })?;
        let connection = self.connection();
        connection
            .execute(
                "INSERT INTO lenses (facts, profile, sheet, made_on) VALUES (?1, ?2, ?3, date('now', 'localtime'))",
                params![facts, profile, sheet],
            )
            .map_err(database("record a lens profile"))?;
        Ok(connection.last_insert_rowid())
    }

    /// All lens profiles, latest first.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn lenses(&self) -> Result<Vec<MadeLens>, RecordsError> {
        let step = "list lens profiles";
        let connection = self.connection();
        let mut statement = connection
            .prepare("SELECT id, facts, profile, made_on FROM lenses ORDER BY id DESC")
            .map_err(database(step))?;
        let rows = statement.query_map([], lens_of).map_err(database(step))?;
        rows.collect::<Result<_, _>>().map_err(database(step))
    }

    /// The lens profile with a number.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is none.
    pub fn lens(&self, id: i64) -> Result<MadeLens, RecordsError> {
        let sql = "SELECT id, facts, profile, made_on FROM lenses WHERE id = ?1";
        let found = self.connection().query_row(sql, [id], lens_of).optional();
        found.map_err(database("find a lens profile"))?.ok_or(NO_LENS)
    }

    /// The page of a lens profile.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is none.
    pub fn lens_sheet(&self, id: i64) -> Result<String, RecordsError> {
        let found = self.connection().query_row("SELECT sheet FROM lenses WHERE id = ?1", [id], |row| row.get(0));
        found.optional().map_err(database("find a lens profile"))?.ok_or(NO_LENS)
    }

    /// Deletes a lens profile.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if there is none.
    pub fn delete_lens(&self, id: i64) -> Result<(), RecordsError> {
        let deleted = self.connection().execute("DELETE FROM lenses WHERE id = ?1", [id]);
        if deleted.map_err(database("delete a lens profile"))? == 0 { Err(NO_LENS) } else { Ok(()) }
    }
}

const NO_LENS: RecordsError = RecordsError::NotFound { what: "lens profile" };

fn lens_of(row: &Row<'_>) -> rusqlite::Result<MadeLens> {
    let facts: String = row.get(1)?;
    let unreadable = |error| rusqlite::Error::FromSqlConversionFailure(1, rusqlite::types::Type::Text, Box::new(error));
    let facts = serde_json::from_str(&facts).map_err(unreadable)?;
    Ok(MadeLens { id: row.get(0)?, facts, profile: row.get(2)?, made_on: row.get(3)? })
}
