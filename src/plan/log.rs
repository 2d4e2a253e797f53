//! What the client did of the plan: one entry a session of a stage.

use std::collections::BTreeSet;

use super::danger::DangerSign;
use super::day::Day;
use super::engine::Progress;
use super::facts::Facts;
use super::load::Load;
use super::model::Plan;
use super::pain::{PainLimits, Severe};

/// Characters of a note at the most.
pub(super) const NOTE_MAX: usize = 1000;

/// The columns of a log, in the order in which they are written. The first three and `pain_during` are needed.
pub const COLUMNS: [&str; 12] = [
    "day",
    "stage",
    "done",
    "load",
    "sets",
    "repetitions",
    "seconds",
    "pain_during",
    "pain_next_morning",
    "danger_sign",
    "entered",
    "note",
];

/// One session of one stage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogEntry {
    /// The day it was done.
    pub day: Day,
    /// The day it was entered, where that was another: a catch-up, or a correction that tells of more pain or a danger sign.
    pub entered: Option<Day>,
    /// Place of the stage in the plan.
    pub stage: usize,
    /// It was done, or begun.
    pub is_done: bool,
    /// What was lifted; [`Load::None`] where nothing was stated, which counts as what was proposed.
    pub load: Load,
    /// Sets; as proposed where not stated.
    pub sets: Option<u16>,
    /// Repetitions of a set; as proposed where not stated.
    pub repetitions: Option<u16>,
    /// Hold of a repetition, s; as proposed where not stated.
    pub seconds: Option<u16>,
    /// The most pain during it, 0 to 10.
    pub pain_during: Option<u8>,
    /// Pain on the next morning, 0 to 10.
    pub pain_next_morning: Option<u8>,
    /// A danger sign that came up.
    pub sign: Option<DangerSign>,
    /// In the client's words.
    pub note: String,
}

/// What an entry is checked against.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LogBounds {
    /// No entry is later.
    pub today: Day,
    /// No entry is earlier.
    pub first_visit: Option<Day>,
}

/// Entries by day, each day's in the order in which they were given.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Log {
    entries: Vec<LogEntry>,
}

impl LogEntry {
    /// The day from which on anybody could know of it: a catch-up that was entered after a clinician looked is no part of what was
    /// looked at.
    #[must_use]
    pub fn told_on(&self) -> Day {
        self.entered.unwrap_or(self.day).max(self.day)
    }

    /// The entry with a sentence after its note. Of a note that leaves no room for it the end goes.
    #[must_use]
    pub fn with_note(self, sentence: &str) -> Self {
        let room = NOTE_MAX.saturating_sub(sentence.chars().count() + 1);
        let kept: String = self.note.chars().take(room).collect();
        Self { note: format!("{kept} {sentence}").trim().to_owned(), ..self }
    }

    /// Pain that stops the plan was told, and by this entry it was not: the pain of a session and of the morning after.
    #[must_use]
    pub fn takes_back(&self, before: &Self) -> [Option<u8>; 2] {
        let severe = |during, morning| Severe::of(during, morning).is_some();
        [
            before.pain_during.filter(|_| severe(before.pain_during, None) && !severe(self.pain_during, None)),
            before
                .pain_next_morning
                .filter(|_| severe(None, before.pain_next_morning) && !severe(None, self.pain_next_morning)),
        ]
    }

    /// The entry in the place of another of the same day, corrected `today`: entered when that one was, unless it tells of a danger
    /// sign, or of pain above `limits`, that the other did not tell of.
    #[must_use]
    pub fn correcting(self, before: &Self, limits: &PainLimits, today: Day) -> Self {
        let is_worse =
            |now: Option<u8>, before: Option<u8>, safe: u8| now > before && now.is_some_and(|pain| pain > safe);
        let tells_anew = self.sign.is_some() && self.sign != before.sign
            || is_worse(self.pain_during, before.pain_during, limits.safe_at_most)
            || is_worse(self.pain_next_morning, before.pain_next_morning, limits.morning_at_most);
        let entered = if tells_anew { (self.day < today).then_some(today) } else { before.entered };
        Self { entered, ..self }
    }

    /// The entry's cells, in the order of [`COLUMNS`], as [`super::TypedEntry::check`] takes them. `plan` is the one that it was checked
    /// against.
    #[must_use]
    pub fn cells(&self, plan: &Plan) -> [String; COLUMNS.len()] {
        fn number<T: ToString>(value: Option<T>) -> String {
            value.map(|value| value.to_string()).unwrap_or_default()
        }
        [
            self.day.to_string(),
            plan.stages()[self.stage].id.clone(),
            if self.is_done { "yes" } else { "no" }.to_owned(),
            self.load.words(&plan.equipment().bands),
            number(self.sets),
            number(self.repetitions),
            number(self.seconds),
            number(self.pain_during),
            number(self.pain_next_morning),
            self.sign.map(|sign| sign.name().to_owned()).unwrap_or_default(),
            number(self.entered),
            self.note.clone(),
        ]
    }
}

impl Log {
    /// Orders entries by day.
    #[must_use]
    pub fn from_entries(mut entries: Vec<LogEntry>) -> Self {
        entries.sort_by_key(|entry| entry.day);
        Self { entries }
    }

    /// The log of a file that comes to a `kept` one `today`: what does not say when it was entered, and is not kept, was today.
    ///
    /// A file may say anything. The day of entry that it states stands where no clinician let the plan go on after it; else it would
    /// be answered by somebody who could not know of it, and what is not kept counts as entered today.
    #[must_use]
    pub fn told_today(self, kept: &Self, plan: &Plan, facts: &Facts, today: Day) -> Self {
        let cleared = facts.clearances.iter().max();
        let dated = |entry: LogEntry| {
            let is_same = |before: &&LogEntry| (before.day, before.stage) == (entry.day, entry.stage);
            match kept.entries.iter().rfind(is_same) {
                _ if entry.entered.is_some() && cleared.is_none_or(|cleared| *cleared <= entry.told_on()) => entry,
                Some(before) => {
                    let limits = plan.pain_limits(entry.stage);
                    entry.correcting(before, &limits, today)
                }
                None => LogEntry { entered: (entry.day < today).then_some(today), ..entry },
            }
        };
        Self { entries: self.entries.into_iter().map(dated).collect() }
    }

    /// The log of a file with every dose stated, in the place of what a `kept` log has of its stages and days.
    #[must_use]
    pub fn stated_beside(&self, kept: &Self, plan: &Plan, facts: &Facts) -> Self {
        let own: BTreeSet<(Day, usize)> = self.entries.iter().map(|entry| (entry.day, entry.stage)).collect();
        let is_own = |entry: &&LogEntry| own.contains(&(entry.day, entry.stage));
        let others = kept.entries.iter().filter(|entry| !is_own(entry));
        let all = Self::from_entries(others.chain(&self.entries).cloned().collect()).stated(plan, facts);
        Self { entries: all.entries.into_iter().filter(|entry| is_own(&entry)).collect() }
    }

    /// The log with every entry's dose stated: see [`Progress::stated`].
    #[must_use]
    pub fn stated(&self, plan: &Plan, facts: &Facts) -> Self {
        let mut progress = Progress::new(plan, facts);
        let stated = self.entries.iter().map(|entry| {
            let stated = progress.stated(entry.clone());
            progress.record(&stated).expect("the entries of a log are in the order of their days");
            stated
        });
        Self { entries: stated.collect() }
    }

    /// The entries, the earliest first.
    #[must_use]
    pub fn entries(&self) -> &[LogEntry] {
        &self.entries
    }
}
