//! An entry as it was typed, in a form or a row of a file, and what it cannot be.

use super::danger::DangerSign;
use super::day::Day;
use super::error::EntryFault;
use super::load::{Load, LoadKind, WEIGHT_MAX, Weight};
use super::log::{COLUMNS, LogBounds, LogEntry, NOTE_MAX};
use super::model::Plan;
use super::pain::PAIN_MAX;

/// The most that an entry takes: whatever lies beyond is a slip of the finger.
const SETS_MAX: u16 = 50;
const REPETITIONS_MAX: u16 = 500;
const SECONDS_MAX: u16 = 7200;

/// So many times the heaviest weight of a stage, or the heaviest that exists, is the most that an entry takes. Common practice,
/// no source.
const WEIGHT_TIMES: f64 = 2.0;

/// An entry as it was typed, each cell as text; empty where nothing was stated.
#[derive(Debug, Clone, Copy, Default)]
#[allow(missing_docs, reason = "each is the column of its name")]
pub struct TypedEntry<'a> {
    pub day: &'a str,
    pub stage: &'a str,
    pub done: &'a str,
    pub load: &'a str,
    pub sets: &'a str,
    pub repetitions: &'a str,
    pub seconds: &'a str,
    pub pain_during: &'a str,
    pub pain_next_morning: &'a str,
    pub danger_sign: &'a str,
    pub entered: &'a str,
    pub note: &'a str,
}

impl<'a> TypedEntry<'a> {
    /// The entry of cells in the order of [`COLUMNS`]; those that are not there are empty.
    #[must_use]
    pub fn of_cells(cells: &'a [String]) -> Self {
        let cell = |column: &str| {
            let at = COLUMNS.iter().position(|known| *known == column);
            at.and_then(|at| cells.get(at)).map_or("", String::as_str)
        };
        Self::of(cell)
    }

    /// The entry whose cells a function gives by column.
    pub(super) fn of(cell: impl Fn(&str) -> &'a str) -> Self {
        Self {
            day: cell("day"),
            stage: cell("stage"),
            done: cell("done"),
            load: cell("load"),
            sets: cell("sets"),
            repetitions: cell("repetitions"),
            seconds: cell("seconds"),
            pain_during: cell("pain_during"),
            pain_next_morning: cell("pain_next_morning"),
            danger_sign: cell("danger_sign"),
            entered: cell("entered"),
            note: cell("note"),
        }
    }

    /// The cell of a column.
    pub(super) fn cell(&self, column: &str) -> &str {
        match column {
            "day" => self.day,
            "stage" => self.stage,
            "done" => self.done,
            "load" => self.load,
            "sets" => self.sets,
            "repetitions" => self.repetitions,
            "seconds" => self.seconds,
            "pain_during" => self.pain_during,
            "pain_next_morning" => self.pain_next_morning,
            "danger_sign" => self.danger_sign,
            "entered" => self.entered,
            "note" => self.note,
            _ => "",
        }
    }

    /// The entry, if all of it can be.
    ///
    /// # Errors
    /// The first [`EntryFault`] in the order of the columns.
    pub fn check(&self, plan: &Plan, bounds: LogBounds) -> Result<LogEntry, EntryFault> {
        let day = self.day(bounds)?;
        let stage = self.stage(plan)?;
        let is_done = match self.done.trim() {
            "yes" => true,
            "no" => false,
            _ => return Err(self.unlike("done", "yes or no".to_owned())),
        };
        let load = self.load(plan, stage)?;
        let [sets, repetitions, seconds] =
            [("sets", SETS_MAX), ("repetitions", REPETITIONS_MAX), ("seconds", SECONDS_MAX)]
                .map(|(column, most)| self.count(column, [1, most]));
        let (sets, repetitions, seconds) = (sets?, repetitions?, seconds?);
        if !is_done {
            let dosed = ["load", "sets", "repetitions", "seconds"].into_iter().find(|column| !self.is_empty(column));
            if let Some(column) = dosed {
                return Err(EntryFault::DoseOfNothing { column, found: self.cell(column).to_owned() });
            }
        }
        let pain_during = self.pain("pain_during")?;
        if is_done && pain_during.is_none() {
            return Err(EntryFault::Empty { column: "pain_during", accepted: pain_words() });
        }
        let pain_next_morning = self.pain("pain_next_morning")?;
        if pain_next_morning.is_some() && day >= bounds.today {
            return Err(EntryFault::MorningToCome { found: self.pain_next_morning.trim().to_owned(), day });
        }
        let sign = match self.danger_sign.trim() {
            "" => None,
            name => Some(name.parse::<DangerSign>().map_err(|_| {
                let names = DangerSign::ALL.map(DangerSign::name).join(", ");
                self.unlike("danger_sign", format!("nothing or one of {names}"))
            })?),
        };
        let entered = self.entered(day, bounds)?;
        if self.note.chars().count() > NOTE_MAX {
            let found = format!("{} characters long", self.note.chars().count());
            return Err(EntryFault::Cell { column: "note", found, accepted: format!("at most {NOTE_MAX} characters") });
        }
        let note = self.note.trim().to_owned();
        Ok(LogEntry {
            day,
            entered,
            stage,
            is_done,
            load,
            sets,
            repetitions,
            seconds,
            pain_during,
            pain_next_morning,
            sign,
            note,
        })
    }

    fn day(&self, bounds: LogBounds) -> Result<Day, EntryFault> {
        let day = self.a_day("day")?;
        if day > bounds.today {
            return Err(EntryFault::InFuture { column: "day", found: day, today: bounds.today });
        }
        match bounds.first_visit {
            Some(limit) if day < limit => Err(EntryFault::BeforeVisit { found: day, limit }),
            _ => Ok(day),
        }
    }

    fn entered(&self, day: Day, bounds: LogBounds) -> Result<Option<Day>, EntryFault> {
        if self.is_empty("entered") {
            return Ok(None);
        }
        let entered = self.a_day("entered")?;
        if entered < day {
            return Err(EntryFault::EnteredBefore { entered, day });
        }
        if entered > bounds.today {
            return Err(EntryFault::InFuture { column: "entered", found: entered, today: bounds.today });
        }
        Ok((entered > day).then_some(entered))
    }

    fn a_day(&self, column: &'static str) -> Result<Day, EntryFault> {
        let accepted = || "a day such as 2026-11-05".to_owned();
        if self.is_empty(column) {
            return Err(EntryFault::Empty { column, accepted: accepted() });
        }
        self.cell(column).trim().parse().map_err(|_| self.unlike(column, accepted()))
    }

    fn stage(&self, plan: &Plan) -> Result<usize, EntryFault> {
        plan.stage_at(self.stage.trim()).ok_or_else(|| {
            let ids: Vec<&str> = plan.stages().iter().map(|stage| stage.id.as_str()).collect();
            self.unlike("stage", format!("one of {}", ids.join(", ")))
        })
    }

    fn load(&self, plan: &Plan, stage: usize) -> Result<Load, EntryFault> {
        let load = Load::parse(self.load, &plan.equipment().bands)
            .map_err(|_| self.unlike("load", load_words(plan.stages()[stage].load_kind()).to_owned()))?;
        let kind = plan.stages()[stage].load_kind();
        if load.kind() != LoadKind::None && load.kind() != kind {
            let (found, stage) = (self.load.to_owned(), plan.stages()[stage].id.clone());
            return Err(EntryFault::OtherLoad { found, stage, accepted: load_words(kind) });
        }
        if let Some(most) = most_weight(plan, stage).filter(|most| load.amount() > Load::Weight(*most).amount()) {
            let (found, stage) = (self.load.to_owned(), plan.stages()[stage].id.clone());
            return Err(EntryFault::TooHeavy { found, stage, most });
        }
        Ok(load)
    }

    fn count(&self, column: &'static str, range: [u16; 2]) -> Result<Option<u16>, EntryFault> {
        if self.is_empty(column) {
            return Ok(None);
        }
        let accepted = || format!("a whole number from {} to {}", range[0], range[1]);
        match self.cell(column).trim().parse::<u16>() {
            Ok(number) if (range[0]..=range[1]).contains(&number) => Ok(Some(number)),
            _ => Err(self.unlike(column, accepted())),
        }
    }

    fn pain(&self, column: &'static str) -> Result<Option<u8>, EntryFault> {
        if self.is_empty(column) {
            return Ok(None);
        }
        match self.cell(column).trim().parse::<u8>() {
            Ok(pain) if pain <= PAIN_MAX => Ok(Some(pain)),
            _ => Err(self.unlike(column, pain_words())),
        }
    }

    fn is_empty(&self, column: &str) -> bool {
        self.cell(column).trim().is_empty()
    }

    fn unlike(&self, column: &'static str, accepted: String) -> EntryFault {
        EntryFault::Cell { column, found: self.cell(column).chars().take(60).collect(), accepted }
    }
}

/// The heaviest weight that an entry of a stage takes; `None` where the stage is not loaded with weights.
fn most_weight(plan: &Plan, stage: usize) -> Option<Weight> {
    let by_amount = |weight: &Weight| Load::Weight(*weight).amount();
    let of_stage = plan.stages()[stage].rungs().iter().filter_map(|rung| match rung.load {
        Load::Weight(weight) => Some(weight),
        _ => None,
    });
    let heaviest = of_stage.max_by_key(by_amount)?;
    let times = Weight::new((heaviest.amount() * WEIGHT_TIMES).min(WEIGHT_MAX), heaviest.unit());
    plan.equipment().weights.iter().copied().chain(times).max_by_key(by_amount)
}

fn pain_words() -> String {
    format!("a whole number from 0 to {PAIN_MAX}")
}

/// What a load may be, in words.
#[must_use]
pub const fn load_words(kind: LoadKind) -> &'static str {
    match kind {
        LoadKind::None => "nothing: leave it empty",
        LoadKind::Weight => "a weight above 0 with its unit, such as 2.5 kg or 5 lb",
        LoadKind::Band => "a band, by its name in the plan",
        LoadKind::Share => "a share of the usual load, such as 60 %",
    }
}

#[cfg(test)]
mod tests {
    use super::super::engine::Progress;
    use super::super::facts::Facts;
    use super::super::load::Unit;
    use super::super::log::Log;
    use super::*;

    const GOOD: TypedEntry<'static> = TypedEntry {
        day: "2026-11-05",
        stage: "flexors",
        done: "yes",
        load: "2.5 kg",
        sets: "3",
        repetitions: "10",
        seconds: "",
        pain_during: "0",
        pain_next_morning: "",
        danger_sign: "",
        entered: "",
        note: "",
    };

    fn check(entry: TypedEntry<'_>) -> Result<LogEntry, String> {
        let day = |text: &str| text.parse::<Day>().unwrap();
        let bounds = LogBounds { today: day("2026-11-20"), first_visit: Some(day("2026-11-02")) };
        entry.check(&Plan::default_plan(Unit::Kg), bounds).map_err(|fault| fault.to_string())
    }

    #[test]
    fn what_takes_back_severe_pain_is_told() {
        let entry = |during: &'static str, morning: &'static str| {
            check(TypedEntry { pain_during: during, pain_next_morning: morning, ..GOOD }).unwrap()
        };
        // 7 of 10 during a session and 5 on the morning after stop the plan: common practice, no source
        for (before, after, taken_back) in [
            (entry("7", ""), entry("6", ""), [Some(7), None]),
            (entry("9", "8"), entry("0", "0"), [Some(9), Some(8)]),
            (entry("9", "8"), entry("9", ""), [None, Some(8)]),
            (entry("9", "5"), entry("7", "6"), [None, None]),
            (entry("6", "4"), entry("0", "0"), [None, None]),
        ] {
            assert_eq!(after.takes_back(&before), taken_back);
        }
        let long = LogEntry { note: "n".repeat(NOTE_MAX), ..entry("0", "0") }.with_note("(9 first.)");
        assert_eq!((long.note.chars().count(), long.note.ends_with("n (9 first.)")), (NOTE_MAX, true));
        assert_eq!(entry("0", "0").with_note("(9 first.)").note, "(9 first.)");
    }

    #[test]
    fn a_quick_entry_needs_no_more_than_day_stage_done_and_pain() {
        let quick =
            TypedEntry { day: "2026-11-05", stage: "cuff", done: "yes", pain_during: "0", ..TypedEntry::default() };
        let entry = check(quick).unwrap();
        assert_eq!((entry.load, entry.sets, entry.pain_during), (Load::None, None, Some(0)));
        assert!(check(TypedEntry { load: "16 kg", ..GOOD }).is_ok());
        let missed = TypedEntry { day: "2026-11-05", stage: "cuff", done: "no", ..TypedEntry::default() };
        assert!(!check(missed).unwrap().is_done);
    }

    #[test]
    fn the_morning_after_is_told_once_it_has_come() {
        assert!(check(TypedEntry { day: "2026-11-19", pain_next_morning: "0", ..GOOD }).is_ok());
        assert!(check(TypedEntry { day: "2026-11-20", ..GOOD }).is_ok());
    }

    #[test]
    fn a_catch_up_keeps_the_day_of_entry() {
        let late = check(TypedEntry { entered: "2026-11-08", ..GOOD }).unwrap();
        assert_eq!(late.entered.unwrap().to_string(), "2026-11-08");
        assert_eq!(check(TypedEntry { entered: "2026-11-05", ..GOOD }).unwrap().entered, None);
    }

    #[test]
    fn a_correction_that_tells_of_more_was_entered_when_it_was_made() {
        let (plan, today) = (Plan::default_plan(Unit::Kg), "2026-11-20".parse().unwrap());
        let limits = plan.pain_limits(plan.stage_at("flexors").unwrap());
        let before = check(GOOD).unwrap();
        let corrected = |typed| check(typed).unwrap().correcting(&before, &limits, today).entered;
        assert_eq!(corrected(TypedEntry { sets: "2", pain_next_morning: "0", ..GOOD }), None);
        for worse in [
            TypedEntry { pain_during: "9", ..GOOD },
            TypedEntry { pain_next_morning: "8", ..GOOD },
            TypedEntry { danger_sign: "fever", ..GOOD },
        ] {
            assert_eq!(corrected(worse), Some(today));
        }
        // a file that comes today says nothing of when: what is kept already stays as it was
        let log = |entries: &[TypedEntry<'_>]| {
            Log::from_entries(entries.iter().map(|entry| check(*entry).unwrap()).collect())
        };
        let file = log(&[GOOD, TypedEntry { day: "2026-11-07", ..GOOD }, TypedEntry { day: "2026-11-20", ..GOOD }]);
        let taken = file.told_today(&log(&[GOOD]), &plan, &Facts::default(), today);
        let entered: Vec<Option<Day>> = taken.entries().iter().map(|entry| entry.entered).collect();
        assert_eq!(entered, [None, Some(today), None]);
    }

    #[test]
    fn a_file_puts_nothing_before_a_clearance_that_did_not_know_of_it() {
        let (plan, today) = (Plan::default_plan(Unit::Kg), "2026-11-20".parse::<Day>().unwrap());
        let severe = check(TypedEntry { pain_during: "9", entered: "2026-11-07", ..GOOD }).unwrap();
        let cleared =
            |on: &[&str]| Facts { clearances: on.iter().map(|on| on.parse().unwrap()).collect(), ..Facts::default() };
        let taken = |kept: &[LogEntry], cleared: &Facts| {
            let file = Log::from_entries(vec![severe.clone()]);
            file.told_today(&Log::from_entries(kept.to_vec()), &plan, cleared, today).entries()[0].entered
        };
        // what the file states stands while no clinician has looked since
        assert_eq!(taken(&[], &cleared(&[])), severe.entered);
        assert_eq!(taken(&[], &cleared(&["2026-11-07"])), severe.entered);
        // a clearance of the day after would answer it, and so it was entered today
        let facts = cleared(&["2026-11-06", "2026-11-08"]);
        assert_eq!(taken(&[], &facts), Some(today));
        let stops = |log: Log| Progress::after(&plan, &facts, &log, today).alarm(today).is_some();
        let file = || Log::from_entries(vec![severe.clone()]);
        assert!(!stops(file()) && stops(file().told_today(&Log::default(), &plan, &facts, today)));
        // what is kept already stays as the clinician knew it; kept with less pain, it is news
        assert_eq!(taken(std::slice::from_ref(&severe), &facts), severe.entered);
        let milder = LogEntry { pain_during: Some(2), ..severe.clone() };
        assert_eq!(taken(&[milder], &facts), Some(today));
    }

    #[test]
    fn what_cannot_be_is_refused_in_one_sentence() {
        for (entry, words) in [
            (
                TypedEntry { pain_during: "11", ..GOOD },
                "\"pain_during\" is \"11\", expected a whole number from 0 to 10",
            ),
            (TypedEntry { pain_during: "-1", ..GOOD }, "\"pain_during\" is \"-1\""),
            (TypedEntry { pain_during: "", ..GOOD }, "\"pain_during\" is empty"),
            (TypedEntry { pain_next_morning: "none", ..GOOD }, "\"pain_next_morning\" is \"none\""),
            (
                TypedEntry { day: "2026-11-20", pain_next_morning: "0", ..GOOD },
                "\"pain_next_morning\" is \"0\", but the morning after 2026-11-20 has not come",
            ),
            (TypedEntry { load: "-5 kg", ..GOOD }, "\"load\" is \"-5 kg\", expected a weight above 0"),
            // the heaviest dose of the default plan's flexors is 8 kg, and 10 kg the heaviest weight: 16 kg are taken
            (
                TypedEntry { load: "500 kg", ..GOOD },
                "\"load\" is \"500 kg\", but stage \"flexors\" takes at most 16 kg",
            ),
            (TypedEntry { load: "16.01 kg", ..GOOD }, "\"load\" is \"16.01 kg\""),
            (TypedEntry { load: "light", ..GOOD }, "stage \"flexors\" is loaded with a weight"),
            (TypedEntry { load: "5", ..GOOD }, "\"load\" is \"5\""),
            (TypedEntry { stage: "pull", load: "5 kg", ..GOOD }, "loaded with nothing"),
            (TypedEntry { day: "2026-11-21", ..GOOD }, "in the future: today is 2026-11-20"),
            (TypedEntry { day: "2026-11-01", ..GOOD }, "before 2026-11-02, the day of the first visit"),
            (TypedEntry { day: "2026-02-30", ..GOOD }, "\"day\" is \"2026-02-30\""),
            (TypedEntry { day: "", ..GOOD }, "\"day\" is empty"),
            (TypedEntry { stage: "flexor", ..GOOD }, "expected one of soft_tissue, flexors"),
            (TypedEntry { done: "maybe", ..GOOD }, "expected yes or no"),
            (TypedEntry { done: "no", ..GOOD }, "\"load\" is \"2.5 kg\", but \"done\" is no"),
            (TypedEntry { sets: "0", ..GOOD }, "\"sets\" is \"0\", expected a whole number from 1 to 50"),
            (TypedEntry { repetitions: "2.5", ..GOOD }, "\"repetitions\" is \"2.5\""),
            (TypedEntry { seconds: "7201", ..GOOD }, "\"seconds\" is \"7201\""),
            (TypedEntry { danger_sign: "toothache", ..GOOD }, "expected nothing or one of chest_pain_breathless"),
            (TypedEntry { entered: "2026-11-04", ..GOOD }, "before \"day\""),
            (TypedEntry { entered: "2026-11-21", ..GOOD }, "\"entered\" is 2026-11-21, which is in the future"),
        ] {
            let fault = check(entry).unwrap_err();
            assert!(fault.contains(words) && !fault.contains('\n'), "{fault}");
        }
    }
}
