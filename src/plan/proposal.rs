//! The proposal of the next session: each stage's decision, dose and reason, in words and as data.

use serde::Serialize;

use super::danger::DangerSign;
use super::day::Day;
use super::engine::{Cause, Choice, Decision, Progress};
use super::facts::{Alarm, Facts};
use super::load::{Load, LoadKind};
use super::log::{Log, LogEntry};
use super::model::{Mode, Plan, Rung, Stage};
use super::pain::Zone;
use super::words::{CAUTIONS, EMERGENCY, cause_words, days_words, decision_words, dose_words, entry_words};

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
}

/// Proposes the next session from all entries up to a day.
#[must_use]
pub fn propose(plan: &Plan, facts: &Facts, log: &Log, on: Day) -> Proposal {
    let progress = Progress::after(plan, facts, log, on);
    let choices = progress.choices(on);
    let stages =
        choices.iter().enumerate().map(|(stage, choice)| stage_proposal(plan, log, on, stage, choice)).collect();
    let is_emergency = progress
        .alarm(on)
        .is_some_and(|(_, alarm)| matches!(alarm, Alarm::Sign(sign) if DangerSign::is_emergency(sign)));
    let cautions = if is_emergency { format!("{EMERGENCY} {CAUTIONS}") } else { CAUTIONS.to_owned() };
    Proposal { schema: PROPOSAL_SCHEMA, plan: plan.name().to_owned(), on, cautions, stages }
}

fn stage_proposal(plan: &Plan, log: &Log, on: Day, at: usize, choice: &Choice) -> StageProposal {
    let stage = &plan.stages()[at];
    let evidence = evidence(plan, log, on, at, choice);
    let rule = match choice.cause {
        Cause::Rule(Some(rule))
        | Cause::FirstDose(Some(rule))
        | Cause::Lightest(Some(rule))
        | Cause::LightestTooHeavy(Some(rule)) => plan.rules().get(rule).map(|rule| rule.id.clone()),
        _ => None,
    };
    StageProposal {
        stage: stage.id.clone(),
        name: stage.name.clone(),
        decision: choice.decision,
        reason: reason(plan, choice, rule.as_deref(), &evidence),
        rule,
        entries: evidence.iter().map(|entry| entry.day).collect(),
        due_on: choice.due_on,
        step: choice.rung.map(|rung| Step { at: rung + 1, of: stage.rungs().len() }),
        dose: choice.dose(stage).map(|rung| dose(plan, stage, &rung)),
    }
}

fn reason(plan: &Plan, choice: &Choice, rule: Option<&str>, evidence: &[&LogEntry]) -> String {
    let mut words = decision_words(choice.decision).to_owned();
    if let Some(first) = words.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    words.push_str(", because ");
    words.push_str(&cause_words(choice.cause, plan));
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
fn evidence<'a>(plan: &Plan, log: &'a Log, on: Day, stage: usize, choice: &Choice) -> Vec<&'a LogEntry> {
    let own = |entry: &&LogEntry| {
        entry.stage == stage
            && entry.day <= on
            && (entry.is_done || entry.pain_during.is_some() || entry.pain_next_morning.is_some())
    };
    let of_stage = &plan.stages()[stage];
    let limits = plan.pain_limits(stage);
    let is_sore = |entry: &&LogEntry| {
        entry.pain_during.is_some_and(|pain| limits.zone(pain) != Zone::Safe)
            || entry.pain_next_morning.is_some_and(|pain| pain > limits.morning_at_most)
    };
    // a day is one session: of several entries the one that hurt most stands for it
    let mut latest_first: Vec<&LogEntry> = Vec::new();
    for entry in log.entries().iter().rev().filter(own) {
        match latest_first.last_mut().filter(|other| other.day == entry.day) {
            Some(other) => *other = worse(other, entry),
            None => latest_first.push(entry),
        }
    }
    let latest_first = latest_first.into_iter();
    let mut found: Vec<&LogEntry> = match choice.cause {
        Cause::Exit | Cause::Earlier => latest_first.take(usize::from(of_stage.exit.sessions)).collect(),
        Cause::Rule(Some(rule)) => {
            let rule = &plan.rules()[rule];
            match (rule.is_ready, rule.setbacks_at_least) {
                (Some(true), _) => latest_first.take(usize::from(of_stage.sessions_to_rise)).collect(),
                (_, Some(setbacks)) => latest_first.filter(is_sore).take(usize::from(setbacks)).collect(),
                _ => latest_first.take(1).collect(),
            }
        }
        Cause::Rule(None)
        | Cause::Top
        | Cause::FirstDose(_)
        | Cause::Lightest(_)
        | Cause::LightestTooHeavy(_)
        | Cause::DoneLess
        | Cause::NothingNear
        | Cause::SoreElsewhere => latest_first.take(1).collect(),
        _ => Vec::new(),
    };
    found.reverse();
    found
}

fn worse<'a>(one: &'a LogEntry, other: &'a LogEntry) -> &'a LogEntry {
    let pain = |entry: &LogEntry| entry.pain_during.max(entry.pain_next_morning);
    if pain(other) > pain(one) { other } else { one }
}

fn dose(plan: &Plan, stage: &Stage, rung: &Rung) -> Dose {
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
    }
}
