//! What becomes of a stage's dose, and why.

use super::ceiling::Ceiling;
use super::danger::DangerSign;
use super::day::Day;
use super::facts::Alarm;
use super::model::{Rung, Stage};
use super::stage_state::TooSoon;

/// What becomes of a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Decision {
    /// The first session.
    Start,
    /// One step up.
    Up,
    /// The same again as was done last.
    Hold,
    /// The dose stays; less of it, or another one, was done last.
    Stay,
    /// A lower dose.
    Down,
    /// Another phase, up or down.
    ChangeOfMode,
    /// Its exit is met.
    StageDone,
    /// Done on an earlier day.
    Finished,
    /// No more of it until a clinician has looked.
    SeeClinician,
    /// Its entry is not met yet.
    Waiting,
    /// It is not needed.
    NotNeeded,
}

/// Why, apart from the plan's rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// A rule of the plan, by its place; none is the rule that holds when no other does.
    Rule(Option<usize>),
    /// The entry was met.
    Entry,
    /// The exit was met.
    Exit,
    /// The exit was met before.
    Earlier,
    /// The top was reached; the exit asks for more.
    Top,
    /// The sessions of the exit are done; it asks for no more pain than this on pressing the spot, at a visit.
    Pressing(u8),
    /// The exit was met before, and the stage goes on at its last dose.
    Kept,
    /// The latest session came too soon to count.
    TooSoon(TooSoon),
    /// A rule lowers the dose after a pause, but it is the first one.
    FirstDose(Option<usize>),
    /// A rule lowers the dose, but it is the lightest there is.
    Lightest(Option<usize>),
    /// A rule lowers or keeps the dose, but even the lightest is more than what hurt.
    LightestTooHeavy(Option<usize>),
    /// More than one step above what was done last is never proposed, whatever the plan says by now.
    DoneLess,
    /// What was done last is more than where the plan stands.
    DoneMore,
    /// The plan rises to what was done last.
    CaughtUp,
    /// A rule keeps the dose because it was not done in full; entries of one day would be it together.
    InParts(Option<usize>),
    /// Even the lightest dose is more than a step above what was done last.
    NothingNear,
    /// Pain, or a danger sign, on the day of the latest session or since.
    SoreSince(Day, Soreness),
    /// Pain beyond what the plan takes on that day, of any stage.
    PainBefore(Day),
    /// A clinician should look at another stage first.
    OtherStage(usize),
    /// A danger sign or finding.
    Alarm(Day, Alarm),
    /// It waits for another stage.
    After(usize),
    /// It waits for less pain in use at a visit.
    PainInUse,
    /// It waits for a screen.
    NoScreen,
    /// It waits for a screen that can make the call.
    UnsettledScreen,
    /// The screen was negative.
    NegativeScreen,
    /// The stretch changed nothing.
    UnchangedScreen,
}

/// What else there was before a pause, when a rule for pauses decided.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum BeforePause {
    /// The latest session hurt, which lowers the dose as well.
    Pain,
    /// The exit was met.
    Done,
}

/// What nothing rises after.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Soreness {
    /// Pain of a stage above the safe limit, in a session or on the morning after.
    Pain(usize),
    /// A danger sign that was logged with a stage.
    Sign(usize, DangerSign),
    /// A danger sign or finding of a visit.
    Visit(Alarm),
}

/// What becomes of a stage, on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Choice {
    /// What.
    pub decision: Decision,
    /// Why.
    pub cause: Cause,
    /// Place of the dose; `None` where nothing is to be done.
    pub rung: Option<usize>,
    /// The earliest day of the next session.
    pub due_on: Option<Day>,
    /// It counts as a fall.
    pub(super) is_fall: bool,
    /// What the dose is cut down to.
    pub(super) ceiling: Option<Ceiling>,
}

impl Choice {
    /// The dose, of the stage that the choice is for; `None` where nothing is to be done. After pain it may be less than what
    /// stands at its place of the plan.
    #[must_use]
    pub fn dose(&self, stage: &Stage) -> Option<Rung> {
        let rung = &stage.rungs[self.rung?];
        Some(self.ceiling.map_or(*rung, |ceiling| ceiling.cut(rung)))
    }
}
