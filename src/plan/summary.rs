//! How much of the plan was done, without blame: what was logged, beside what there was room for.

use serde::Serialize;

use super::day::Day;
use super::engine::Progress;
use super::facts::Facts;
use super::log::{Log, LogEntry};
use super::model::Plan;
use super::words::adherence_words;

/// What was done of the plan in the last days.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Adherence {
    /// The first of the days looked at.
    pub from: Day,
    /// The last.
    pub until: Day,
    /// All in one sentence or two.
    pub words: String,
    /// Each stage with an entry, in the order of the plan.
    pub stages: Vec<StageAdherence>,
}

/// What was done of one stage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StageAdherence {
    /// The stage's name in logs.
    pub stage: String,
    /// Its name in words.
    pub name: String,
    /// Sessions done.
    pub done: usize,
    /// Sessions that there was room for, by the stage's days between sessions, from its first entry to the last day looked at, or
    /// to its last entry where the stage is done and does not go on.
    pub room: usize,
}

impl Adherence {
    /// What was done in the `days` days up to `until`.
    #[must_use]
    pub fn of(plan: &Plan, facts: &Facts, log: &Log, until: Day, days: i32) -> Self {
        let from = until.plus(1 - days.max(1));
        let within = |entry: &&LogEntry| entry.day >= from && entry.day <= until;
        let entries: Vec<&LogEntry> = log.entries().iter().filter(within).collect();
        let progress = Progress::after(plan, facts, log, until);
        let stages: Vec<StageAdherence> = (0..plan.stages().len())
            .filter_map(|stage| {
                let mut days = log.entries().iter().map(|entry| (entry.stage, entry.day));
                let is_own = |(of, day): &(usize, Day)| *of == stage && *day <= until;
                let first = days.find(is_own)?.1;
                let last = days.rfind(is_own).map_or(first, |(_, day)| day);
                let is_over = progress.done_on(stage, until).is_some() && !plan.stages()[stage].keep;
                let until = if is_over { last } else { until };
                // what was over before these days is no part of them
                (until >= from).then(|| stage_adherence(plan, &entries, stage, first.max(from), until))
            })
            .collect();
        let done = stages.iter().map(|stage| stage.done).sum();
        let room = stages.iter().map(|stage| stage.room).sum();
        let catch_ups = entries.iter().filter(|entry| entry.entered.is_some()).count();
        Self { from, until, words: adherence_words(done, room, days.max(1), catch_ups), stages }
    }
}

fn stage_adherence(plan: &Plan, entries: &[&LogEntry], at: usize, from: Day, until: Day) -> StageAdherence {
    let stage = &plan.stages()[at];
    let mut done: Vec<Day> =
        entries.iter().filter(|entry| entry.stage == at && entry.is_done).map(|entry| entry.day).collect();
    // a day is one session
    done.dedup();
    let days = usize::try_from(until.days_since(from) + 1).unwrap_or(0);
    StageAdherence {
        stage: stage.id.clone(),
        name: stage.name.clone(),
        done: done.len(),
        room: days.div_ceil(usize::from(stage.days_between)),
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::super::facts::VisitPain;
    use super::super::load::Unit;
    use super::super::log::LogBounds;
    use super::*;

    #[test]
    fn sessions_are_counted_beside_what_there_was_room_for() {
        let plan = Plan::default_plan(Unit::Kg);
        let text = "day,stage,done,pain_during,entered\n2026-11-01,flexors,yes,0,\n2026-11-03,flexors,yes,0,2026-11-06\n\
                    2026-11-05,flexors,no,,\n2026-11-02,soft_tissue,yes,0,\n2026-11-04,soft_tissue,yes,0,\n2026-09-01,cuff,yes,0,\n";
        let until = "2026-11-10".parse().unwrap();
        let log = Log::parse(text, Path::new("l.csv"), &plan, LogBounds { today: until, first_visit: None }).unwrap();
        let found = Adherence::of(&plan, &Facts::default(), &log, until, 28);
        let counts: Vec<(&str, usize, usize)> =
            found.stages.iter().map(|stage| (stage.stage.as_str(), stage.done, stage.room)).collect();
        // flexors: 1 to 10 November, every second day, 5; soft tissue: 2 to 10 November, daily, 9; cuff: all 28 days, every second
        assert_eq!(counts, [("soft_tissue", 2, 9), ("flexors", 2, 5), ("cuff", 0, 14)]);
        assert!(
            found.words.starts_with("4 sessions in the last 28 days; the plan had room for about 28."),
            "{}",
            found.words
        );
        assert!(found.words.ends_with("1 was entered on a later day."), "{}", found.words);
    }
    #[test]
    fn a_stage_that_is_over_leaves_no_room() {
        let plan = Plan::default_plan(Unit::Kg);
        let head = "day,stage,done,pain_during,pain_next_morning\n";
        // six sessions end the ball's stage, once pressing hurts 2 or less at a visit; one row of the last day is there twice
        let days = ["01", "02", "03", "04", "05", "06", "06"];
        let rows: String = days.iter().map(|day| format!("2026-09-{day},soft_tissue,yes,0,0\n")).collect();
        let day = |text: &str| text.parse::<Day>().unwrap();
        let visit = VisitPain { on: day("2026-09-01"), in_use: 2, on_pressing: 2 };
        let facts = Facts { visits: vec![visit], ..Facts::default() };
        let bounds = LogBounds { today: day("2026-12-31"), first_visit: None };
        let log = Log::parse(&format!("{head}{rows}"), Path::new("l.csv"), &plan, bounds).unwrap();
        let of = |until: &str| Adherence::of(&plan, &facts, &log, day(until), 28);
        assert_eq!((of("2026-09-10").stages[0].done, of("2026-09-10").stages[0].room), (6, 6));
        let later = of("2026-12-01");
        assert!(later.stages.is_empty() && !later.words.contains("room"), "{later:?}");
        // without the visit it goes on
        let open = Adherence::of(&plan, &Facts::default(), &log, day("2026-12-01"), 28);
        assert_eq!((open.stages[0].done, open.stages[0].room), (0, 28));
    }
}
