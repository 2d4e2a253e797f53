//! The proposal of the next session: each stage's decision, dose and reason, in words and as data.

use serde::Serialize;

use super::danger::DangerSign;
use super::day::Day;
use super::decision::{BeforePause, Cause, Choice, Decision, Soreness};
use super::engine::Progress;
use super::facts::{Alarm, Facts};
use super::load::{Load, LoadKind};
use super::log::{Log, LogEntry};
use super::model::{Mode, Plan, Rung};
use super::stage_state::WEEK_DAYS;
use super::words::{
    CAUTIONS, EMERGENCY, before_pause_words, cause_words, days_words, decision_words, dose_words, entry_words,
    pain_limits_words,
};

/// The name of the format.
pub const PROPOSAL_SCHEMA: &str = "tworeach/proposal/1";

/// The proposal of the next session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Proposal {
    /// [`PROPOSAL_SCHEMA`].
    pub schema: &'static str,
    /// The plan's name.
    pub plan: String,
    /// The day for which it is made.
    pub on: Day,
    /// What comes before all else.
    pub cautions: String,
    /// The stages, in the order of the plan.
    pub stages: Vec<StageProposal>,
}

/// What becomes of one stage.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StageProposal {
    /// The stage's name in logs.
    pub stage: String,
    /// Its name in words.
    pub name: String,
    /// What becomes of it.
    pub decision: Decision,
    /// The rule of the plan that decided, where one did.
    pub rule: Option<String>,
    /// Days of the entries that it rests on.
    pub entries: Vec<Day>,
    /// Why, in one sentence.
    pub reason: String,
    /// The earliest day of the next session.
    pub due_on: Option<Day>,
    /// Where the dose stands in the stage's climb.
    pub step: Option<Step>,
    /// What to do.
    pub dose: Option<Dose>,
}

/// A place among the doses of a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Step {
    /// Its number, from 1, the lightest first.
    pub at: usize,
    /// How many doses the stage has.
    pub of: usize,
}

/// A dose with all that is needed to do it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dose {
    /// The phase's name in words.
    pub phase: String,
    /// How it is done.
    pub mode: Mode,
    /// The dose in words.
    pub words: String,
    /// Sets.
    pub sets: u16,
    /// Repetitions of a set.
    pub repetitions: u16,
    /// Hold of a repetition, s.
    pub hold_s: Option<u16>,
    /// Time of the lowering, s.
    pub lowering_s: Option<u16>,
    /// What is lifted, in words.
    pub load: Option<String>,
    /// How to do it.
    pub how: String,
    /// What is felt, and where.
    pub felt: String,
    /// When to stop.
    pub stop: String,
    /// What pain it takes.
    pub pain: String,
}

/// Proposes the next session from all entries up to a day.
#[must_use]
pub fn propose(plan: &Plan, facts: &Facts, log: &Log, on: Day) -> Proposal {
    let progress = Progress::after(plan, facts, log, on);
    let choices = progress.choices(on);
    let stages = choices
        .iter()
        .enumerate()
        .map(|(stage, choice)| stage_proposal(&progress, plan, log, on, stage, choice))
        .collect();
    let is_emergency = progress
        .alarm(on)
        .is_some_and(|(_, alarm)| matches!(alarm, Alarm::Sign(sign) if DangerSign::is_emergency(sign)));
    let cautions = if is_emergency { format!("{EMERGENCY} {CAUTIONS}") } else { CAUTIONS.to_owned() };
    Proposal { schema: PROPOSAL_SCHEMA, plan: plan.name().to_owned(), on, cautions, stages }
}

fn stage_proposal(
    progress: &Progress<'_>,
    plan: &Plan,
    log: &Log,
    on: Day,
    at: usize,
    choice: &Choice,
) -> StageProposal {
    let stage = &plan.stages()[at];
    let evidence = evidence(progress, plan, log, on, at, choice);
    let rule = match choice.cause {
        Cause::Rule(Some(rule))
        | Cause::FirstDose(Some(rule))
        | Cause::Lightest(Some(rule))
        | Cause::LightestTooHeavy(Some(rule))
        | Cause::InParts(Some(rule)) => plan.rules().get(rule).map(|rule| rule.id.clone()),
        _ => None,
    };
    StageProposal {
        stage: stage.id.clone(),
        name: stage.name.clone(),
        decision: choice.decision,
        reason: reason(plan, choice, progress.before_pause(at, choice), rule.as_deref(), &evidence),
        rule,
        entries: evidence.iter().map(|entry| entry.day).collect(),
        due_on: choice.due_on,
        step: choice.rung.map(|rung| Step { at: rung + 1, of: stage.rungs().len() }),
        dose: choice.dose(stage).map(|rung| dose(plan, at, &rung)),
    }
}

fn reason(
    plan: &Plan,
    choice: &Choice,
    before_pause: Option<BeforePause>,
    rule: Option<&str>,
    evidence: &[&LogEntry],
) -> String {
    let mut words = decision_words(choice.decision).to_owned();
    if let Some(first) = words.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    words.push_str(", because ");
    words.push_str(&cause_words(choice.cause, plan));
    words.push_str(before_pause.map_or("", before_pause_words));
    let mut grounds = Vec::new();
    if let Some(rule) = rule {
        grounds.push(format!("rule {rule}"));
    }
    match evidence {
        [] => {}
        [entry] => grounds.push(entry_words(entry, &plan.equipment().bands)),
        entries => grounds.push(days_words(&entries.iter().map(|entry| entry.day).collect::<Vec<_>>())),
    }
    if !grounds.is_empty() {
        words.push_str(&format!(" ({})", grounds.join("; ")));
    }
    words.push('.');
    words
}

/// The entries that a choice rests on, the earliest first.
fn evidence<'a>(
    progress: &Progress<'_>,
    plan: &Plan,
    log: &'a Log,
    on: Day,
    at: usize,
    choice: &Choice,
) -> Vec<&'a LogEntry> {
    let of_stage = &plan.stages()[at];
    let latest_first = sessions(log, at, on);
    let latest = latest_first.first().map(|entry| entry.day);
    let count = |wanted: u16| latest_first.iter().copied().take(usize::from(wanted)).collect();
    let mut found: Vec<&LogEntry> = match choice.cause {
        Cause::Exit | Cause::Earlier => count(of_stage.exit.sessions),
        Cause::Rule(Some(rule)) => {
            let rule = &plan.rules()[rule];
            if rule.is_ready == Some(true) {
                let rested = rested(&latest_first, i32::from(of_stage.days_between));
                rested.into_iter().take(usize::from(of_stage.sessions_to_rise)).collect()
            } else if let Some(setbacks) = rule.setbacks_at_least {
                // the latest session leads to the last of the falls, which is still to come
                let days: Vec<Day> = progress.states[at].falls().chain(latest).collect();
                let fell = latest_first.iter().copied().filter(|entry| days.contains(&entry.day));
                fell.take(usize::from(setbacks)).collect()
            } else if rule.mode_falls_at_least.is_some() {
                let days: Vec<Day> = progress.states[at].mode_fell_on().into_iter().chain(latest).collect();
                latest_first.iter().copied().filter(|entry| days.contains(&entry.day)).collect()
            } else if rule.week_rises == Some(true) {
                let week = latest_first
                    .iter()
                    .copied()
                    .filter(|entry| latest.is_some_and(|latest| latest.days_since(entry.day) < WEEK_DAYS));
                week.rev().max_by_key(|entry| entry.pain_during).into_iter().collect()
            } else {
                count(1)
            }
        }
        Cause::SoreSince(day, Soreness::Pain(stage) | Soreness::Sign(stage, _)) => {
            sessions(log, stage, on).into_iter().filter(|entry| entry.day == day).collect()
        }
        Cause::Rule(None)
        | Cause::Top
        | Cause::Pressing(_)
        | Cause::Kept
        | Cause::TooSoon(_)
        | Cause::FirstDose(_)
        | Cause::Lightest(_)
        | Cause::LightestTooHeavy(_)
        | Cause::DoneLess
        | Cause::DoneMore
        | Cause::CaughtUp
        | Cause::InParts(_)
        | Cause::NothingNear => count(1),
        _ => Vec::new(),
    };
    found.reverse();
    found
}

/// The sessions of a stage, the latest first. A day is one: of several entries the one that hurt most stands for it.
fn sessions(log: &Log, stage: usize, on: Day) -> Vec<&LogEntry> {
    let own = |entry: &&LogEntry| {
        entry.stage == stage
            && entry.day <= on
            && (entry.is_done
                || entry.pain_during.is_some()
                || entry.pain_next_morning.is_some()
                || entry.sign.is_some())
    };
    let mut sessions: Vec<&LogEntry> = Vec::new();
    for entry in log.entries().iter().rev().filter(own) {
        match sessions.last_mut().filter(|other| other.day == entry.day) {
            Some(other) => *other = worse(other, entry),
            None => sessions.push(entry),
        }
    }
    sessions
}

/// Of sessions, the latest first, those that did not come too soon.
fn rested<'a>(latest_first: &[&'a LogEntry], days_between: i32) -> Vec<&'a LogEntry> {
    let mut rested: Vec<&LogEntry> = Vec::new();
    for &entry in latest_first {
        if rested.last().is_none_or(|later| later.day.days_since(entry.day) >= days_between) {
            rested.push(entry);
        }
    }
    rested
}

fn worse<'a>(one: &'a LogEntry, other: &'a LogEntry) -> &'a LogEntry {
    let pain = |entry: &LogEntry| (entry.sign.is_some(), entry.pain_during.max(entry.pain_next_morning));
    if pain(other) > pain(one) { other } else { one }
}

fn dose(plan: &Plan, at: usize, rung: &Rung) -> Dose {
    let stage = &plan.stages()[at];
    let phase = &stage.phases[rung.phase];
    let bands = &plan.equipment().bands;
    Dose {
        phase: phase.name.clone(),
        mode: phase.mode,
        words: dose_words(rung, phase, bands),
        sets: rung.sets,
        repetitions: rung.repetitions,
        hold_s: (rung.hold_s > 0).then_some(rung.hold_s),
        lowering_s: phase.lowering_s,
        load: (Load::kind(rung.load) != LoadKind::None).then(|| rung.load.words(bands)),
        how: stage.how_of(rung.phase).to_owned(),
        felt: stage.felt.clone(),
        stop: stage.stop.clone(),
        pain: pain_limits_words(plan.pain_limits(at)),
    }
}
