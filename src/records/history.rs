//! A client's visits at a glance, in a handful of queries however many there are.

use std::collections::HashMap;

use rusqlite::OptionalExtension as _;

use super::error::{RecordsError, database};
use super::model::Visit;
use super::store::Records;
use crate::plan::Day;
use crate::screen::VisitResult;

/// A visit with what was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitSummary {
    /// The visit.
    pub visit: Visit,
    /// Number of reaches filmed.
    pub reaches: usize,
    /// The kept result, if nothing has changed since.
    pub result: Option<VisitResult>,
}

impl VisitSummary {
    /// The day of the visit.
    #[must_use]
    pub fn day(&self) -> Option<Day> {
        self.visit.made_on.parse().ok()
    }
}

impl Records {
    /// A client's visits with what was measured in them, latest first.
    ///
    /// # Errors
    /// [`RecordsError::Document`] when a kept result cannot be read.
    pub fn history(&self, client: i64) -> Result<Vec<VisitSummary>, RecordsError> {
        let visits = self.visits(client)?;
        let connection = self.connection();
        let step = "list results";
        let mut statement = connection
            .prepare(
                "SELECT visits.id, (SELECT count(*) FROM reaches WHERE visit = visits.id), result FROM visits
                 LEFT JOIN results ON results.visit = visits.id AND results.changes = visits.changes WHERE client = ?1",
            )
            .map_err(database(step))?;
        let rows = statement
            .query_map([client], |row| Ok((row.get(0)?, (row.get(1)?, row.get(2)?))))
            .map_err(database(step))?;
        let mut found: HashMap<i64, (usize, Option<String>)> =
            rows.collect::<Result<_, _>>().map_err(database(step))?;
        let summary = |visit: Visit| {
            let (reaches, json) = found.remove(&visit.id).unwrap_or_default();
            let result = json.map(|json| serde_json::from_str(&json)).transpose();
            Ok(VisitSummary { visit, reaches, result: result.map_err(|source| RecordsError::Document { source })? })
        };
        visits.into_iter().map(summary).collect()
    }

    /// Today, by this machine's clock and time zone.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn today(&self) -> Result<Day, RecordsError> {
        let step = "tell today's date";
        let day: Option<String> = self
            .connection()
            .query_row("SELECT date('now', 'localtime')", [], |row| row.get(0))
            .optional()
            .map_err(database(step))?;
        let day = day.and_then(|day| day.parse().ok());
        day.ok_or(RecordsError::Database { step, source: rusqlite::Error::QueryReturnedNoRows })
    }
}
