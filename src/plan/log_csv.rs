//! A log as CSV, in and out. Commas or semicolons part the cells, as spreadsheets of different countries write them.

use std::path::Path;

use crate::screen::problem::{Fault, Problems};
use crate::screen::text_file::read_text;

use super::error::{EntryFault, PlanError};
use super::log::{COLUMNS, Log, LogBounds, LogEntry, TypedEntry};
use super::model::Plan;
use super::read::note;

/// A log is refused beyond this size; a year of sessions takes some tens of kilobytes.
const LOG_BYTES_MAX: u64 = 8 << 20;

/// The columns that must be there.
const NEEDED: [&str; 4] = ["day", "stage", "done", "pain_during"];

/// Characters that spreadsheets take for the start of a formula.
const FORMULA_STARTS: [char; 4] = ['=', '+', '-', '@'];

impl Log {
    /// Reads a log.
    ///
    /// # Errors
    /// [`PlanError::Invalid`] with every line that cannot be, and then nothing of it is taken.
    pub fn read(path: &Path, plan: &Plan, bounds: LogBounds) -> Result<Self, PlanError> {
        let mut problems = Problems::new(path);
        match read_text(path, LOG_BYTES_MAX, &mut problems) {
            Some(text) => Self::parse(&text, path, plan, bounds),
            None => Err(PlanError::Invalid { problems: problems.into_list() }),
        }
    }

    /// Reads the text of a log; `path` names it in faults.
    ///
    /// # Errors
    /// As [`Log::read`].
    pub fn parse(text: &str, path: &Path, plan: &Plan, bounds: LogBounds) -> Result<Self, PlanError> {
        let mut problems = Problems::new(path);
        let entries = entries(text, plan, bounds, &mut problems);
        let problems = problems.into_list();
        if problems.is_empty() { Ok(Self::from_entries(entries)) } else { Err(PlanError::Invalid { problems }) }
    }

    /// The log as CSV with commas, the earliest entry first.
    ///
    /// # Errors
    /// [`PlanError::Format`], which no log is known to lead to.
    pub fn to_csv(&self, plan: &Plan) -> Result<String, PlanError> {
        let failed = |source: Box<dyn std::error::Error + Send + Sync>| PlanError::Format { format: "CSV", source };
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(COLUMNS).map_err(|error| failed(error.into()))?;
        for entry in self.entries() {
            let mut cells = entry.cells(plan);
            if let Some(note) = cells.last_mut() {
                *note = with_guard(note);
            }
            writer.write_record(cells).map_err(|error| failed(error.into()))?;
        }
        let bytes = writer.into_inner().map_err(|error| failed(error.to_string().into()))?;
        String::from_utf8(bytes).map_err(|error| failed(error.into()))
    }
}

fn entries(text: &str, plan: &Plan, bounds: LogBounds, problems: &mut Problems) -> Vec<LogEntry> {
    let header = text.lines().next().unwrap_or_default();
    let delimiter = if header.contains(';') && !header.contains(',') { b';' } else { b',' };
    let mut reader = csv::ReaderBuilder::new().delimiter(delimiter).trim(csv::Trim::All).from_reader(text.as_bytes());
    let Some(columns) = columns(&mut reader, problems) else { return Vec::new() };
    let mut entries = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let line = record.position().map_or(1, |at| usize::try_from(at.line()).unwrap_or(usize::MAX));
                match typed(&record, &columns).check(plan, bounds) {
                    Ok(entry) => entries.push(entry),
                    Err(fault) => note(problems, line, fault),
                }
            }
            Err(error) => {
                let line = error.position().map(|at| usize::try_from(at.line()).unwrap_or(usize::MAX));
                let message = match error.kind() {
                    csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
                        format!("{len} cells, expected {expected_len} as in the first line")
                    }
                    _ => error.to_string(),
                };
                problems.push(line, Fault::Other { cause: Box::new(EntryFault::Row { message }) });
            }
        }
    }
    entries
}

/// The place of each column in a row.
fn columns(reader: &mut csv::Reader<&[u8]>, problems: &mut Problems) -> Option<Vec<Option<&'static str>>> {
    let header = match reader.headers() {
        Ok(header) => header.clone(),
        Err(error) => {
            note(problems, 1, EntryFault::Row { message: error.to_string() });
            return None;
        }
    };
    let accepted = COLUMNS.to_vec();
    let columns: Vec<Option<&'static str>> = header
        .iter()
        .map(|name| {
            let known = COLUMNS.into_iter().find(|column| column.eq_ignore_ascii_case(name));
            if known.is_none() {
                let found = name.chars().take(60).collect();
                note(problems, 1, EntryFault::UnknownColumn { found, accepted: accepted.clone() });
            }
            known
        })
        .collect();
    let mut is_whole = columns.iter().all(Option::is_some);
    for column in NEEDED.into_iter().filter(|column| !columns.contains(&Some(column))) {
        note(problems, 1, EntryFault::NoColumn { column, accepted: accepted.clone() });
        is_whole = false;
    }
    is_whole.then_some(columns)
}

fn typed<'a>(record: &'a csv::StringRecord, columns: &[Option<&'static str>]) -> TypedEntry<'a> {
    let cell = |column: &str| {
        let at = columns.iter().position(|known| *known == Some(column));
        at.and_then(|at| record.get(at)).unwrap_or_default()
    };
    let typed = TypedEntry::of(cell);
    TypedEntry { note: without_guard(typed.note), ..typed }
}

/// A note that a spreadsheet would run as a formula gets an apostrophe in front, which spreadsheets take as "text".
fn with_guard(note: &str) -> String {
    if note.trim_start_matches('\'').starts_with(FORMULA_STARTS) { format!("'{note}") } else { note.to_owned() }
}

fn without_guard(note: &str) -> &str {
    match note.strip_prefix('\'') {
        Some(text) if text.trim_start_matches('\'').starts_with(FORMULA_STARTS) => text,
        _ => note,
    }
}

#[cfg(test)]
mod tests {
    use super::super::load::Unit;
    use super::*;

    fn bounds() -> LogBounds {
        LogBounds { today: "2026-11-20".parse().unwrap(), first_visit: None }
    }

    fn parse(text: &str) -> Result<Log, Vec<String>> {
        Log::parse(text, Path::new("log.csv"), &Plan::default_plan(Unit::Kg), bounds())
            .map_err(|error| error.to_string().lines().map(str::to_owned).collect())
    }

    const ROWS: &str =
        "day,stage,done,load,sets,repetitions,seconds,pain_during,pain_next_morning,danger_sign,entered,note
2026-11-05,flexors,yes,2.5 kg,3,10,,0,1,,2026-11-07,\"slow, then slower\"
2026-11-04,cuff,yes,light,,,5,2,,night_pain,,'=1+1
2026-11-06,flexors,no,,,,,,,,,'quoted' and away
";

    #[test]
    fn a_log_comes_back_by_day() {
        let log = parse(ROWS).unwrap();
        let days: Vec<String> = log.entries().iter().map(|entry| entry.day.to_string()).collect();
        assert_eq!(days, ["2026-11-04", "2026-11-05", "2026-11-06"]);
        assert_eq!(log.entries()[0].note, "=1+1");
        assert_eq!(log.entries()[2].note, "'quoted' and away");
        let written = log.to_csv(&Plan::default_plan(Unit::Kg)).unwrap();
        assert_eq!(parse(&written).unwrap(), log);
        assert!(written.contains(",'=1+1"), "{written}");
    }

    #[test]
    fn semicolons_and_the_needed_columns_alone_will_do() {
        let log = parse("pain_during;Stage;day;done\n0;cuff;2026-11-04;yes\r\n").unwrap();
        assert_eq!(log.entries().len(), 1);
        assert!(parse("day,stage,done,pain_during\n").unwrap().entries().is_empty());
    }

    #[test]
    fn every_bad_line_is_named_and_nothing_is_taken() {
        let text = ROWS.replace("2026-11-05,", "2026-11-25,").replace(",2,,night_pain", ",12,,night_pain");
        let found = parse(&text).unwrap_err();
        assert!(found.len() == 2, "{found:?}");
        assert!(found[0].starts_with("log.csv: line 2: \"day\" is 2026-11-25, which is in the future"), "{found:?}");
        assert!(found[1].starts_with("log.csv: line 3: \"pain_during\" is \"12\""), "{found:?}");
        let short = parse("day,stage,done,pain_during\n2026-11-04,cuff,yes\n").unwrap_err();
        assert_eq!(short, ["log.csv: line 2: not valid CSV: 3 cells, expected 4 as in the first line"]);
    }

    #[test]
    fn columns_that_are_missing_or_unknown_are_named() {
        let found = parse("day,stage,done,pain\n").unwrap_err();
        assert_eq!(found.len(), 2, "{found:?}");
        assert!(
            found[0].contains("unknown column \"pain\"") && found[1].contains("no column \"pain_during\""),
            "{found:?}"
        );
        assert!(!parse("").unwrap_err().is_empty());
    }
}
