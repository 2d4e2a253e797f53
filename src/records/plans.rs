//! A client's plan, intake and log.

use std::collections::BTreeMap;
use std::error::Error;
use std::path::Path;

use rusqlite::types::Type;
use rusqlite::{Connection, OptionalExtension as _, Row, params, params_from_iter};

use super::error::{RecordsError, database};
use super::store::Records;
use crate::plan::log::COLUMNS;
use crate::plan::{Day, Intake, Log, LogBounds, LogEntry, Plan, TypedEntry};
use crate::screen::Problem;

/// A log entry with its number in the records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LoggedEntry {
    /// Its number.
    pub id: i64,
    /// The entry.
    pub entry: LogEntry,
    /// The day on which a clinician let the plan go on with the entry in the log.
    pub looked_on: Option<Day>,
}

impl LoggedEntry {
    /// The entry as a plan takes it: what was entered on the day on which a clinician looked, and before that, counts as told the
    /// day before. By days alone it could have been told afterwards.
    #[must_use]
    pub fn as_looked_at(&self) -> LogEntry {
        let entry = self.entry.clone();
        let before = self.looked_on.filter(|looked_on| entry.told_on() == *looked_on);
        let entered = before.map_or(entry.entered, |looked_on| Some(looked_on.plus(-1)).filter(|on| *on > entry.day));
        LogEntry { entered, ..entry }
    }
}

impl Records {
    /// The client's plan as it was last kept, with what is to be mended in it; `None` if none was kept.
    ///
    /// # Errors
    /// [`RecordsError::Database`], also for a plan that this version cannot read.
    pub fn plan(&self, client: i64) -> Result<Option<(Plan, Vec<Problem>)>, RecordsError> {
        let text = self.latest_text("plans", client, "find a plan")?;
        text.map(|text| Plan::parse_kept(&text, Path::new("plan")).map_err(|error| unreadable("read a plan", error)))
            .transpose()
    }

    /// Keeps a plan as the client's.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn keep_plan(&self, client: i64, plan: &Plan) -> Result<(), RecordsError> {
        let text = plan.to_toml().map_err(|error| unreadable("write a plan", error))?;
        self.add_text("plans", client, &text, "keep a plan")
    }

    /// The client's intake as it was last kept; `None` if none was. No day in it may be later than `today`.
    ///
    /// # Errors
    /// [`RecordsError::Database`], also for an intake that this version cannot read.
    pub fn intake(&self, client: i64, today: Day) -> Result<Option<Intake>, RecordsError> {
        let text = self.latest_text("intakes", client, "find an intake")?;
        let parse = |text: String| Intake::parse(&text, Path::new("intake"), today);
        text.map(|text| parse(text).map_err(|error| unreadable("read an intake", error))).transpose()
    }

    /// Keeps an intake as the client's.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn keep_intake(&self, client: i64, intake: &Intake) -> Result<(), RecordsError> {
        let text = intake.to_toml().map_err(|error| unreadable("write an intake", error))?;
        self.add_text("intakes", client, &text, "keep an intake")
    }

    /// The client's log, the earliest day first, each entry with its number. The entries are checked against the plan as if they
    /// were typed now.
    ///
    /// # Errors
    /// [`RecordsError::Database`], also for an entry that does not fit the plan or the bounds.
    pub fn log_entries(&self, client: i64, plan: &Plan, bounds: LogBounds) -> Result<Vec<LoggedEntry>, RecordsError> {
        let step = "list the log";
        let connection = self.connection();
        let sql =
            format!("SELECT id, {}, looked_on FROM log_entries WHERE client = ?1 ORDER BY day, id", COLUMNS.join(", "));
        let mut statement = connection.prepare(&sql).map_err(database(step))?;
        let rows = statement.query_map([client], |row| logged_entry(row, plan, bounds)).map_err(database(step))?;
        rows.collect::<Result<_, _>>().map_err(database(step))
    }

    /// Adds an entry to the client's log, and gives its number.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn add_log_entry(&self, client: i64, plan: &Plan, entry: &LogEntry) -> Result<i64, RecordsError> {
        let connection = self.connection();
        insert_entry(&connection, client, plan, entry).map_err(database("add to the log"))?;
        Ok(connection.last_insert_rowid())
    }

    /// Takes entries of a file into the client's log, all or none: those of a stage on a day take the place of what the log has of
    /// that stage on that day, and what the file does not speak of stays.
    ///
    /// # Errors
    /// [`RecordsError::Database`], and then nothing is changed.
    pub fn take_in_log(&self, client: i64, plan: &Plan, log: &Log) -> Result<(), RecordsError> {
        let failed = database("take in a log");
        let mut connection = self.connection();
        let replaced = (|| {
            let transaction = connection.transaction()?;
            let mut sessions: BTreeMap<[String; 2], Vec<Vec<String>>> = BTreeMap::new();
            for entry in log.entries() {
                let cells = entry.cells(plan);
                sessions.entry([cells[0].clone(), cells[1].clone()]).or_default().push(cells.to_vec());
            }
            // what is there already stays as it is, with what a clinician has looked at
            let mut changed = Vec::new();
            for (session, rows) in &sessions {
                if *rows != cells_of(&transaction, client, session)? {
                    changed.push(session.clone());
                }
            }
            for [day, stage] in &changed {
                transaction.execute(
                    "DELETE FROM log_entries WHERE client = ?1 AND day = ?2 AND stage = ?3",
                    params![client, day, stage],
                )?;
            }
            for entry in log.entries() {
                let [day, stage, ..] = entry.cells(plan);
                if changed.contains(&[day, stage]) {
                    insert_entry(&transaction, client, plan, entry)?;
                }
            }
            transaction.commit()
        })();
        replaced.map_err(failed)
    }

    /// Days on which a clinician went on in spite of a danger sign, the earliest first.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn days_gone_on(&self, client: i64) -> Result<Vec<Day>, RecordsError> {
        let step = "list answers";
        let connection = self.connection();
        let mut statement = connection
            .prepare(
                "SELECT made_on FROM screenings WHERE client = ?1 AND answered_by = 'clinician' AND signs != ''
                     AND trim(coalesce(reason, '')) != '' ORDER BY made_on",
            )
            .map_err(database(step))?;
        let rows = statement.query_map([client], |row| row.get::<_, String>(0)).map_err(database(step))?;
        let days = rows.collect::<Result<Vec<_>, _>>().map_err(database(step))?;
        Ok(days.iter().filter_map(|day| day.parse().ok()).collect())
    }

    /// Notes that a clinician let the plan go on today, with all that is in the client's log by now.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn look_at_log(&self, client: i64) -> Result<(), RecordsError> {
        let today = self.today()?.to_string();
        let sql = "UPDATE log_entries SET looked_on = ?2 WHERE client = ?1";
        self.connection().execute(sql, params![client, today]).map(drop).map_err(database("note a decision on the log"))
    }

    /// Puts an entry in the place of one of the client's log, as when the next morning is known. If it tells of more pain or of
    /// another sign, no clinician has looked at it.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if the client's log has no such entry.
    pub fn change_log_entry(&self, client: i64, id: i64, plan: &Plan, entry: &LogEntry) -> Result<(), RecordsError> {
        let cells = (3..).zip(COLUMNS).map(|(at, column)| format!("{column} = ?{at}")).collect::<Vec<_>>().join(", ");
        let of = |column: &str| 3 + COLUMNS.iter().position(|known| *known == column).unwrap_or(0);
        let [day, stage, sign] = ["day", "stage", "danger_sign"].map(of);
        let [during, morning] = ["pain_during", "pain_next_morning"].map(of);
        let sql = format!(
            "UPDATE log_entries SET made_at = datetime('now'), {cells}, looked_on = CASE
                 WHEN day = ?{day} AND stage = ?{stage} AND ?{sign} IN ('', danger_sign)
                     AND CAST(?{during} AS INTEGER) <= CAST(pain_during AS INTEGER)
                     AND CAST(?{morning} AS INTEGER) <= CAST(pain_next_morning AS INTEGER)
                 THEN looked_on ELSE '' END
             WHERE client = ?1 AND id = ?2"
        );
        let values = [client.to_string(), id.to_string()].into_iter().chain(entry.cells(plan));
        let changed = self.connection().execute(&sql, params_from_iter(values)).map_err(database("change the log"))?;
        if changed == 0 { Err(RecordsError::NotFound { what: "log entry" }) } else { Ok(()) }
    }

    /// Takes an entry out of the client's log.
    ///
    /// # Errors
    /// [`RecordsError::NotFound`] if the client's log has no such entry.
    pub fn delete_log_entry(&self, client: i64, id: i64) -> Result<(), RecordsError> {
        let sql = "DELETE FROM log_entries WHERE client = ?1 AND id = ?2";
        let deleted = self.connection().execute(sql, [client, id]).map_err(database("change the log"))?;
        if deleted == 0 { Err(RecordsError::NotFound { what: "log entry" }) } else { Ok(()) }
    }

    /// `table` is a name from this file.
    fn latest_text(&self, table: &str, client: i64, step: &'static str) -> Result<Option<String>, RecordsError> {
        let sql = format!("SELECT text FROM {table} WHERE client = ?1 ORDER BY id DESC LIMIT 1");
        self.connection().query_row(&sql, [client], |row| row.get(0)).optional().map_err(database(step))
    }

    fn add_text(&self, table: &str, client: i64, text: &str, step: &'static str) -> Result<(), RecordsError> {
        let sql = format!("INSERT INTO {table} (client, text, made_at) VALUES (?1, ?2, datetime('now'))");
        self.connection().execute(&sql, params![client, text]).map(drop).map_err(database(step))
    }
}

/// The cells of what the log has of a stage on a day.
fn cells_of(connection: &Connection, client: i64, [day, stage]: &[String; 2]) -> rusqlite::Result<Vec<Vec<String>>> {
    let columns = COLUMNS.join(", ");
    let sql = format!("SELECT {columns} FROM log_entries WHERE client = ?1 AND day = ?2 AND stage = ?3 ORDER BY id");
    let mut statement = connection.prepare(&sql)?;
    let cells = |row: &Row<'_>| (0..COLUMNS.len()).map(|at| row.get(at)).collect::<rusqlite::Result<Vec<String>>>();
    statement.query_map(params![client, day, stage], cells)?.collect()
}

fn insert_entry(connection: &Connection, client: i64, plan: &Plan, entry: &LogEntry) -> rusqlite::Result<()> {
    let sql = format!(
        "INSERT INTO log_entries (made_at, client, {}) VALUES (datetime('now'), ?1, {})",
        COLUMNS.join(", "),
        (2..COLUMNS.len() + 2).map(|at| format!("?{at}")).collect::<Vec<_>>().join(", ")
    );
    let values = std::iter::once(client.to_string()).chain(entry.cells(plan));
    connection.execute(&sql, params_from_iter(values)).map(drop)
}

fn logged_entry(row: &Row<'_>, plan: &Plan, bounds: LogBounds) -> rusqlite::Result<LoggedEntry> {
    let id = row.get(0)?;
    let cells = (1..=COLUMNS.len()).map(|at| row.get(at)).collect::<rusqlite::Result<Vec<String>>>()?;
    let entry = TypedEntry::of_cells(&cells).check(plan, bounds).map_err(not_text)?;
    let looked_on: String = row.get(COLUMNS.len() + 1)?;
    Ok(LoggedEntry { id, entry, looked_on: looked_on.parse().ok() })
}

fn unreadable(step: &'static str, error: impl Error + Send + Sync + 'static) -> RecordsError {
    RecordsError::Database { step, source: not_text(error) }
}

/// What the database held is a text, but not one of the kind that was asked for.
fn not_text(error: impl Error + Send + Sync + 'static) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(0, Type::Text, Box::new(error))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Unit;
    use crate::records::{AnsweredBy, Answers, ClientFacts};
    use crate::screen::ResultSide;

    const INTAKE: &str = "schema = \"tworeach/intake/1\"\nclient = \"R07\"\naffected_side = \"right\"\n\
        pain_spots = [\"right_flexor_mass\"]\nprovoked_by = [\"rowing\"]\nweeks_since_onset = 9\n\
        [[visit]]\non = \"2026-10-05\"\npain_at_rest = 1\npain_in_use = 5\npain_on_pressing = 5\n";

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn bounds() -> LogBounds {
        LogBounds { today: day("2026-11-20"), first_visit: Some(day("2026-10-05")) }
    }

    fn entry(plan: &Plan, on: &str, morning: &str) -> LogEntry {
        let typed = TypedEntry {
            day: on,
            stage: "flexors",
            done: "yes",
            load: "2.5 kg",
            pain_during: "0",
            pain_next_morning: morning,
            note: "=slow",
            ..TypedEntry::default()
        };
        typed.check(plan, bounds()).unwrap()
    }

    fn new_client(records: &Records) -> i64 {
        let facts = ClientFacts {
            code: "R07".to_owned(),
            affected_side: ResultSide::Right,
            stature_mm: None,
            arm_length_mm: None,
            is_demo: false,
        };
        let answers = Answers { answered_by: AnsweredBy::Client, signs: Vec::new(), reason: None };
        records.add_client(&facts, &answers).unwrap().id
    }

    #[test]
    fn plan_intake_and_log_are_there_after_the_next_start() {
        let folder = tempfile::tempdir().unwrap();
        let plan = Plan::default_plan(Unit::Lb);
        let intake = Intake::parse(INTAKE, Path::new("i"), day("2026-11-20")).unwrap();
        let (client, first) = {
            let records = Records::open(folder.path()).unwrap();
            let client = new_client(&records);
            assert!(records.plan(client).unwrap().is_none());
            assert_eq!(records.intake(client, day("2026-11-20")).unwrap(), None);
            records.keep_plan(client, &Plan::default_plan(Unit::Kg)).unwrap();
            records.keep_plan(client, &plan).unwrap();
            records.keep_intake(client, &intake).unwrap();
            let first = records.add_log_entry(client, &plan, &entry(&plan, "2026-11-05", "")).unwrap();
            records.add_log_entry(client, &plan, &entry(&plan, "2026-11-03", "0")).unwrap();
            records.change_log_entry(client, first, &plan, &entry(&plan, "2026-11-05", "1")).unwrap();
            (client, first)
        };
        let records = Records::open(folder.path()).unwrap();
        assert_eq!(records.plan(client).unwrap().unwrap().0, plan);
        assert_eq!(records.intake(client, day("2026-11-20")).unwrap(), Some(intake));
        let log = records.log_entries(client, &plan, bounds()).unwrap();
        let entries: Vec<LogEntry> = log.iter().map(|logged| logged.entry.clone()).collect();
        assert_eq!(entries, [entry(&plan, "2026-11-03", "0"), entry(&plan, "2026-11-05", "1")]);
        records.delete_log_entry(client, first).unwrap();
        assert_eq!(records.log_entries(client, &plan, bounds()).unwrap().len(), 1);
    }

    #[test]
    fn a_file_takes_the_place_of_its_days_and_stages_alone() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path()).unwrap();
        let (client, plan) = (new_client(&records), Plan::default_plan(Unit::Kg));
        for on in ["2026-11-03", "2026-11-05"] {
            records.add_log_entry(client, &plan, &entry(&plan, on, "")).unwrap();
        }
        let file = Log::from_entries(vec![entry(&plan, "2026-11-05", "1"), entry(&plan, "2026-11-07", "0")]);
        for _ in 0..2 {
            records.take_in_log(client, &plan, &file).unwrap();
            let log = records.log_entries(client, &plan, bounds()).unwrap();
            let days: Vec<(String, Option<u8>)> =
                log.iter().map(|logged| (logged.entry.day.to_string(), logged.entry.pain_next_morning)).collect();
            let expected = [("2026-11-03", None), ("2026-11-05", Some(1)), ("2026-11-07", Some(0))];
            assert_eq!(days, expected.map(|(day, morning)| (day.to_owned(), morning)));
        }
        // rows that are there already are not written anew: what a clinician has looked at stays so
        let ids =
            || records.log_entries(client, &plan, bounds()).unwrap().iter().map(|logged| logged.id).collect::<Vec<_>>();
        let before = ids();
        records.take_in_log(client, &plan, &file).unwrap();
        assert_eq!(ids(), before);
    }

    #[test]
    fn what_a_clinician_looked_at_counts_as_told_before() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path()).unwrap();
        let (client, plan) = (new_client(&records), Plan::default_plan(Unit::Kg));
        let today = records.today().unwrap();
        let told = |morning| LogEntry { entered: Some(today), ..entry(&plan, "2026-11-05", morning) };
        let bounds = LogBounds { today, ..bounds() };
        let id = records.add_log_entry(client, &plan, &told("8")).unwrap();
        let entered = || records.log_entries(client, &plan, bounds).unwrap()[0].as_looked_at().told_on();
        assert_eq!(entered(), today);
        records.look_at_log(client).unwrap();
        assert_eq!(entered(), today.plus(-1));
        records.change_log_entry(client, id, &plan, &told("8")).unwrap();
        assert_eq!(entered(), today.plus(-1));
        // what is told after that, on the same day, is not looked at
        records.change_log_entry(client, id, &plan, &told("9")).unwrap();
        assert_eq!(entered(), today);
        records.look_at_log(client + 1).unwrap();
        assert_eq!(entered(), today);
    }

    #[test]
    fn days_of_going_on_are_those_of_a_clinician_with_a_reason() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path()).unwrap();
        let client = new_client(&records);
        let signs = vec![crate::plan::DangerSign::NightPain];
        let answer = |answered_by, reason: Option<&str>| {
            let answers = Answers { answered_by, signs: signs.clone(), reason: reason.map(str::to_owned) };
            records.add_screening(client, &answers).unwrap();
        };
        answer(AnsweredBy::Client, Some("I feel fine"));
        answer(AnsweredBy::Clinician, None);
        assert!(records.days_gone_on(client).unwrap().is_empty());
        answer(AnsweredBy::Clinician, Some("looked at"));
        assert_eq!(records.days_gone_on(client).unwrap(), [records.today().unwrap()]);
    }

    #[test]
    fn nobody_changes_the_log_of_another() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path()).unwrap();
        let (client, plan) = (new_client(&records), Plan::default_plan(Unit::Kg));
        let id = records.add_log_entry(client, &plan, &entry(&plan, "2026-11-05", "")).unwrap();
        let stranger = client + 1;
        let changed = records.change_log_entry(stranger, id, &plan, &entry(&plan, "2026-11-05", "9"));
        assert!(matches!(changed, Err(RecordsError::NotFound { .. })));
        assert!(matches!(records.delete_log_entry(stranger, id), Err(RecordsError::NotFound { .. })));
        assert!(records.add_log_entry(stranger, &plan, &entry(&plan, "2026-11-05", "")).is_err());
        assert_eq!(records.log_entries(client, &plan, bounds()).unwrap()[0].entry.pain_next_morning, None);
    }

    #[test]
    fn an_entry_that_the_plan_no_longer_has_is_told_not_dropped() {
        let folder = tempfile::tempdir().unwrap();
        let records = Records::open(folder.path()).unwrap();
        let (client, plan) = (new_client(&records), Plan::default_plan(Unit::Kg));
        records.add_log_entry(client, &plan, &entry(&plan, "2026-11-05", "")).unwrap();
        let text = Plan::default_text(Unit::Kg).replace("\"flexors\"", "\"wrists\"");
        let renamed = Plan::parse(&text, Path::new("p")).unwrap();
        let error = records.log_entries(client, &renamed, bounds()).unwrap_err();
        let cause = std::error::Error::source(&error).unwrap().to_string();
        assert!(cause.contains("\"stage\" is \"flexors\", expected one of soft_tissue, wrists"), "{cause}");
    }

    #[test]
    fn a_database_of_the_version_before_is_brought_up_to_date() {
        let folder = tempfile::tempdir().unwrap();
        let client = new_client(&Records::open(folder.path()).unwrap());
        {
            // what later steps made away, as the first version left it
            let connection = rusqlite::Connection::open(folder.path().join("tworeach.sqlite3")).unwrap();
            let back = "DROP TABLE plans; DROP TABLE intakes; DROP TABLE log_entries; DROP TABLE lenses;
                DROP TABLE followed; DROP TABLE looks;
                ALTER TABLE revisions DROP COLUMN carried; ALTER TABLE visits DROP COLUMN alone;";
            connection.execute_batch(back).unwrap();
            connection.pragma_update(None, "user_version", 1).unwrap();
        }
        let (records, plan) = (Records::open(folder.path()).unwrap(), Plan::default_plan(Unit::Kg));
        records.keep_plan(client, &plan).unwrap();
        assert_eq!(records.plan(client).unwrap().unwrap().0, plan);
    }
}
