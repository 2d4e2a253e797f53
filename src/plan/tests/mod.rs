//! The engine at work: what it proposes in single cases, and what no sequence of logs can bring about.

mod cases;
mod clients;
mod days;
mod laws;

use std::path::Path;

use super::load::{Load, Unit};
use super::proposal::StageProposal;
use super::{Day, Facts, Log, LogEntry, Plan, Proposal, ScreenState, VisitPain, propose};

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn plan() -> Plan {
    Plan::default_plan(Unit::Kg)
}

/// The default plan with texts replaced, which must be in it.
fn plan_with(changes: &[(&str, &str)]) -> Plan {
    let mut text = Plan::default_text(Unit::Kg);
    for (from, to) in changes {
        assert!(text.contains(from), "no {from}");
        text = text.replacen(from, to, 1);
    }
    Plan::parse(&text, Path::new("p.toml")).unwrap()
}

/// A visit with little pain and a positive screen that a stretch improved.
fn facts() -> Facts {
    let on = day("2026-10-01");
    Facts {
        visits: vec![VisitPain { on, in_use: 2, on_pressing: 2 }],
        screens: vec![(on, ScreenState::Improved)],
        ..Facts::default()
    }
}

/// A session with pain during and on the next morning; `load` as in a log, empty for as proposed.
fn session(plan: &Plan, on: &str, stage: &str, load: &str, pain: u8, morning: Option<u8>) -> LogEntry {
    LogEntry {
        day: day(on),
        entered: None,
        stage: plan.stage_at(stage).unwrap(),
        is_done: true,
        load: Load::parse(load, &plan.equipment().bands).unwrap(),
        sets: None,
        repetitions: None,
        seconds: None,
        pain_during: Some(pain),
        pain_next_morning: morning,
        sign: None,
        note: String::new(),
    }
}

fn next(plan: &Plan, facts: &Facts, entries: &[LogEntry], on: &str) -> Proposal {
    propose(plan, facts, &Log::from_entries(entries.to_vec()), day(on))
}

fn of<'a>(proposal: &'a Proposal, stage: &str) -> &'a StageProposal {
    proposal.stages.iter().find(|one| one.stage == stage).unwrap()
}

fn words(proposal: &Proposal, stage: &str) -> String {
    of(proposal, stage).dose.as_ref().map(|dose| dose.words.clone()).unwrap_or_default()
}

/// Good sessions of the flexors every second day from 2 October on, each as proposed.
fn good(plan: &Plan, count: i32) -> Vec<LogEntry> {
    (0..count).map(|at| session(plan, &day("2026-10-02").plus(2 * at).to_string(), "flexors", "", 0, Some(0))).collect()
}

/// A session of the flexors with 1 kg, as many sets and repetitions as given.
fn counted(plan: &Plan, on: &str, [sets, repetitions]: [u16; 2], pain: u8, morning: Option<u8>) -> LogEntry {
    LogEntry { sets: Some(sets), repetitions: Some(repetitions), ..session(plan, on, "flexors", "1 kg", pain, morning) }
}
