//! The engine at work: what it proposes in single cases, and what no sequence of logs can bring about.

mod cases;
mod laws;

use std::path::Path;

use super::load::{Load, Unit};
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
