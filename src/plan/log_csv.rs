//! A log as CSV, in and out. Commas or semicolons part the cells, as spreadsheets of different countries write them.

use std::path::Path;

use crate::screen::problem::{Fault, Problems};
use crate::screen::text_file::read_text;

use super::day::Day;
use super::error::{EntryFault, PlanError};
use super::log::{COLUMNS, Log, LogBounds, LogEntry};
use super::model::Plan;
use super::read::note;
use super::typed_entry::TypedEntry;

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
    let header = text.split(['\r', '\n']).find(|line| !line.trim().is_empty()).unwrap_or_default();
    let delimiter = if header.contains(';') && !header.contains(',') { b';' } else { b',' };
    let mut reader = csv::ReaderBuilder::new().delimiter(delimiter).trim(csv::Trim::All).from_reader(text.as_bytes());
    // a quote that is not closed takes in rows that then would be missing: nothing of such a file is read
    if let Err(fault) = check_quotes(text, header, delimiter) {
        problems.push(
            Some(fault.line),
            Fault::Other { cause: Box::new(EntryFault::Row { message: fault.message.to_owned() }) },
        );
        return Vec::new();
    }
    let mut lines = RecordLines { text, byte: 0, line: 1 };
    let Some(columns) = columns(&mut reader, problems) else { return Vec::new() };
    let mut entries = Vec::new();
    for record in reader.records() {
        match record {
            Ok(record) => {
                let line = record.position().map_or(1, |at| lines.of(at));
                match typed(&record, &columns).check(plan, bounds) {
                    Ok(entry) => entries.push(entry),
                    Err(fault) => note(problems, line, fault),
                }
            }
            Err(error) => {
                let line = error.position().map(|at| lines.of(at));
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

/// Counts lines up to records, in the order of the text.
struct RecordLines<'a> {
    text: &'a str,
    byte: usize,
    line: usize,
}

impl RecordLines<'_> {
    /// The line that a record begins in. Its position is where the one before it ends, with blank lines still to come.
    fn of(&mut self, at: &csv::Position) -> usize {
        let from = usize::try_from(at.byte()).unwrap_or(usize::MAX);
        let bytes = self.text.as_bytes();
        let begins = bytes.iter().enumerate().skip(from).find(|(_, byte)| !matches!(byte, b'\r' | b'\n'));
        let until = begins.map_or(bytes.len(), |(at, _)| at);
        let passed = bytes.get(self.byte..until).unwrap_or_default();
        self.line += passed.iter().filter(|byte| **byte == b'\n').count();
        self.byte = self.byte.max(until);
        self.line
    }
}

/// What is wrong with the quotes of a file, and the line that it begins in.
#[derive(Debug, PartialEq, Eq)]
struct QuoteFault {
    line: usize,
    message: &'static str,
}

/// Reads the quotes as the CSV reader does, and refuses what that lets pass: a quote that nothing closes, text behind a closed
/// one, and a quoted cell with a line in it that is a row of this log: as many cells as the first line has, and a day where that has
/// it.
fn check_quotes(text: &str, header: &str, delimiter: u8) -> Result<(), QuoteFault> {
    #[derive(Clone, Copy, PartialEq)]
    enum At {
        Start,
        Plain,
        Quoted,
        Closed,
        Behind,
    }
    let cells = |row: &str| row.split(char::from(delimiter)).map(|cell| cell.trim().to_owned()).collect::<Vec<_>>();
    let names = cells(header.trim_start_matches('\u{feff}'));
    let day_at = names.iter().position(|name| name.trim_matches('"').eq_ignore_ascii_case("day"));
    let is_row = |following: &str| {
        let cells = cells(following.split(['\r', '\n']).next().unwrap_or_default());
        let day = day_at.and_then(|day_at| cells.get(day_at));
        cells.len() >= names.len() && day.is_some_and(|day| day.trim_matches('"').parse::<Day>().is_ok())
    };
    let (mut at, mut line, mut opened) = (At::Start, 1, 1);
    for (place, byte) in text.bytes().enumerate() {
        at = match (at, byte) {
            (At::Quoted, b'"') => At::Closed,
            (At::Quoted, b'\n' | b'\r') => {
                if is_row(text.get(place + 1..).unwrap_or_default()) {
                    return Err(QuoteFault { line: opened, message: "a quote is not closed before the next row" });
                }
                At::Quoted
            }
            (At::Quoted, _) | (At::Closed, b'"') => At::Quoted,
            (_, byte) if byte == delimiter || byte == b'\n' || byte == b'\r' => At::Start,
            // blanks behind a closed quote show nothing, and are trimmed as all blanks around a cell are
            (At::Closed | At::Behind, b' ' | b'\t') => At::Behind,
            (At::Closed | At::Behind, _) => {
                return Err(QuoteFault { line: opened, message: "there is text behind a closed quote" });
            }
            (At::Start, b'"') => {
                opened = line;
                At::Quoted
            }
            (At::Start | At::Plain, _) => At::Plain,
        };
        line += usize::from(byte == b'\n');
    }
    if at == At::Quoted {
        return Err(QuoteFault { line: opened, message: "a quote is not closed" });
    }
    Ok(())
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
    for column in COLUMNS.into_iter().filter(|column| columns.iter().filter(|one| **one == Some(column)).count() > 1) {
        note(problems, 1, EntryFault::SameColumn { column });
        is_whole = false;
    }
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
    fn a_quote_that_is_not_closed_is_named_and_nothing_is_taken() {
        let of = |text: &str| parse(text).unwrap_err();
        let head = "day,stage,done,pain_during,note\n";
        let rows = "2026-11-05,flexors,yes,9,fever\n2026-11-06,flexors,yes,0,fine\n";
        let open = of(&format!("{head}2026-11-04,flexors,yes,0,\"slow\n{rows}"));
        assert_eq!(open, ["log.csv: line 2: not valid CSV: a quote is not closed before the next row"]);
        let last = of(&format!("{head}{rows}2026-11-07,flexors,yes,0,\"slow\n"));
        assert_eq!(last, ["log.csv: line 4: not valid CSV: a quote is not closed"]);
        // wherever the day stands, and with whatever ends a line
        let swallowed = "stage,day,done,pain_during,pain_next_morning,note\nflexors,2026-11-04,yes,0,0,\"felt 5\n\
            flexors,2026-11-05,yes,9,8,ok\nflexors,2026-11-06,yes,0,0,fine\"\n";
        for text in [swallowed.to_owned(), swallowed.replace('\n', "\r"), swallowed.replace('\n', "\r\n")] {
            assert!(parse(&text).unwrap_err()[0].contains("a quote is not closed before the next row"), "{text:?}");
        }
        // a note may begin a line with a day
        let note = "day,stage,done,pain_during,note\n2026-11-04,cuff,no,,\"better\n2026-11-05, it was worse\"\n";
        assert_eq!(parse(note).unwrap().entries()[0].note, "better\n2026-11-05, it was worse");
        // the quote of a later row would close it, and the rows between would be gone
        let closed = of(&format!("{head}2026-11-04,flexors,yes,0,\"slow\n and on\n2026 was,\"quick\"\n"));
        assert_eq!(closed, ["log.csv: line 2: not valid CSV: there is text behind a closed quote"]);
        // a note of several lines, with quotes in it, is none of that
        let whole = parse(&format!("{head}2026-11-04,flexors,yes,0,\"slow,\n\"\"very\"\" slow\"\n{rows}")).unwrap();
        assert_eq!((whole.entries().len(), whole.entries()[0].note.as_str()), (3, "slow,\n\"very\" slow"));
        // blanks behind it are no text
        let blanks =
            parse(&format!("{head}2026-11-04,flexors,yes,\"0\" ,\"slow, \"\"very\"\"\"\t \r\n{rows}")).unwrap();
        assert_eq!((blanks.entries().len(), blanks.entries()[0].note.as_str()), (3, "slow, \"very\""));
        let more = of(&format!("{head}2026-11-04,flexors,yes,0,\"slow\" \"quick\"\n"));
        assert_eq!(more, ["log.csv: line 2: not valid CSV: there is text behind a closed quote"]);
        let inches = parse(&format!("{head}2026-11-04,flexors,yes,0,a 2\" ball\n")).unwrap();
        assert_eq!(inches.entries()[0].note, "a 2\" ball");
    }

    #[test]
    fn lines_are_counted_over_blank_ones_and_notes_of_several_lines() {
        let text = "\nday,stage,done,pain_during,note\r\n\r\n\n2026-11-04,cuff,yes,0,\"a\nb\"\n\n2026-11-05,cuff,yes,11,\n\n2026-11-06,cuff,yes\n";
        let found = parse(text).unwrap_err();
        assert!(found.len() == 2, "{found:?}");
        // 1 blank, 2 header, 3 and 4 blank, 5 and 6 one row, 7 blank, 8 the bad pain, 9 blank, 10 the short row
        assert!(found[0].starts_with("log.csv: line 8: \"pain_during\" is \"11\""), "{found:?}");
        assert!(found[1].starts_with("log.csv: line 10: not valid CSV: 3 cells"), "{found:?}");
    }

    #[test]
    fn a_column_that_is_there_twice_is_refused() {
        let found = parse("day,Day,stage,done,pain_during\n2026-11-04,2026-11-05,cuff,yes,0\n").unwrap_err();
        assert_eq!(found, ["log.csv: line 1: column \"day\" is there twice, expected each column once"]);
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
