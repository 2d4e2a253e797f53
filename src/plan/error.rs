//! What can be wrong with plans, intakes and logs.

use crate::screen::Problem;

use super::day::Day;
use super::load::Weight;
use super::pain::{SEVERE_FROM, SEVERE_MORNING_FROM};

/// Why the work asked for could not be done.
#[derive(Debug, thiserror::Error)]
pub enum PlanError {
    /// A file has faults. All that were found are listed, and nothing was changed.
    #[error("{}", problems.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n"))]
    Invalid {
        /// Every problem found, in the order of the file.
        problems: Vec<Problem>,
    },
    /// A log entry that cannot be.
    #[error(transparent)]
    Entry(#[from] EntryFault),
    /// A plan, intake or log that cannot be written in its format.
    #[error("cannot be written as {format}")]
    Format {
        /// `TOML` or `CSV`.
        format: &'static str,
        /// The cause.
        #[source]
        source: Box<dyn std::error::Error + Send + Sync>,
    },
}

/// What is wrong with a plan as a whole, beyond its single fields.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PlanFault {
    /// Two things of one name.
    #[error("{kind} \"{id}\" occurs twice, expected each name once")]
    SameName {
        /// `stage`, `phase`, `rule` or `band`.
        kind: &'static str,
        /// The name.
        id: String,
    },
    /// A name that nothing has.
    #[error("\"{field}\" in {place} names \"{}\", expected one of {}", found.escape_debug(), accepted.join(", "))]
    NoSuchName {
        /// The field.
        field: &'static str,
        /// The table.
        place: String,
        /// The name found.
        found: String,
        /// The names that exist.
        accepted: Vec<String>,
    },
    /// Stages that wait for each other.
    #[error("stage \"{stage}\" can never be reached: it waits for {}", chain.join(", which waits for "))]
    NeverReached {
        /// The stage.
        stage: String,
        /// What it waits for, until it comes back to itself or to another circle.
        chain: Vec<String>,
    },
    /// A rule that no situation leads to.
    #[error("rule \"{rule}\" can never fire: its own conditions or the rules before it leave it no case")]
    NeverFires {
        /// The rule.
        rule: String,
    },
    /// A rule that raises the dose where it must not.
    #[error(
        "rule \"{rule}\" would raise the dose after pain or before the morning after is known: let an earlier rule hold or lower it there"
    )]
    RaisesAfterPain {
        /// The rule.
        rule: String,
    },
    /// A stage that ends at a dose that it never comes to.
    #[error(
        "stage \"{stage}\" ends at its last dose, but no rule raises its dose there{}: let a rule with then = \"up\" be for it too",
        if behind.is_empty() { String::new() } else { format!(", so that {} can never be reached", behind.join(" and ")) }
    )]
    NeverRises {
        /// The stage.
        stage: String,
        /// The stages that wait for it.
        behind: Vec<String>,
    },
    /// Rises and falls without end.
    #[error(
        "in stage \"{stage}\" the dose could rise and fall for ever: let a rule with setbacks_at_least of {most} or less end it with see_clinician, before all others"
    )]
    NoEnd {
        /// The stage.
        stage: String,
        /// The most falls that may go by.
        most: u16,
    },
    /// A share that is kept where nothing falls.
    #[error("\"keep_percent\" in {place} goes with then = \"down\" alone: remove it, or let the rule lower the dose")]
    KeepsWithoutFall {
        /// The rule.
        place: String,
    },
    /// Loads of a phase that do not exist.
    #[error("phase \"{phase}\" of stage \"{stage}\" has no dose: nothing in [equipment] lies from {from} to {to}")]
    NothingToLift {
        /// The stage.
        stage: String,
        /// Its phase.
        phase: String,
        /// Lower end.
        from: String,
        /// Upper end.
        to: String,
    },
    /// More doses than anyone climbs.
    #[error("phase \"{phase}\" of stage \"{stage}\" has more than {most} doses: take larger steps")]
    TooManyDoses {
        /// The stage.
        stage: String,
        /// Its phase.
        phase: String,
        /// The most that are taken.
        most: usize,
    },
    /// A range that begins above its end.
    #[error("\"{field}\" in {place} goes from {from} to {to}, expected the lower number first")]
    Reversed {
        /// The field.
        field: &'static str,
        /// The table.
        place: String,
        /// The first number.
        from: String,
        /// The second.
        to: String,
    },
    /// Weights or bands out of order.
    #[error("\"weights\" in [equipment] has {found} after {before}, expected each heavier than the one before")]
    NotRising {
        /// The weight.
        found: String,
        /// The one before it.
        before: String,
    },
    /// A phase with two kinds of load.
    #[error("{place} has {found}, expected one of weight_kg, band and share_percent at most")]
    TwoLoads {
        /// The phase.
        place: String,
        /// The fields found.
        found: String,
    },
    /// Phases of one stage with different kinds of load, which do not compare.
    #[error(
        "the phases of stage \"{stage}\" are loaded in different ways, expected weights, bands or shares in all of them"
    )]
    LoadsDiffer {
        /// The stage.
        stage: String,
    },
    /// A heavy phase every day.
    #[error(
        "stage \"{stage}\" has a heavy phase and days_between = 1, expected 2 or more: heavy work is never done on consecutive days"
    )]
    HeavyEveryDay {
        /// The stage.
        stage: String,
    },
    /// Limits of pain beside a rule that has its own.
    #[error(
        "\"{field}\" in {place} contradicts the rule, which brings its own limits: remove it, or set rule = \"own\""
    )]
    LimitBesideRule {
        /// The field.
        field: &'static str,
        /// The table.
        place: String,
    },
    /// Own limits of pain that leave a zone no place.
    #[error(
        "in {} acceptable_at_most is {acceptable} and safe_at_most {safe}, expected safe_at_most <= acceptable_at_most < {SEVERE_FROM}, where pain is severe",
        pain_place(stage.as_deref())
    )]
    PainLimits {
        /// The stage whose own they are; `None` for those of the plan.
        stage: Option<String>,
        /// As found.
        safe: u8,
        /// As found.
        acceptable: u8,
    },
    /// A limit of the next morning that lies where everything stops.
    #[error(
        "in {} morning_at_most is {found}, expected less than {SEVERE_MORNING_FROM}, where pain on the next morning stops the plan",
        pain_place(stage.as_deref())
    )]
    MorningLimit {
        /// The stage whose own it is; `None` for that of the plan.
        stage: Option<String>,
        /// As found.
        found: u8,
    },
    /// Pain that leads to a phase that is not lighter.
    #[error("\"if_it_hurts\" in {place} names phase \"{found}\", expected an earlier phase of the stage")]
    NotEarlier {
        /// The phase.
        place: String,
        /// The phase named.
        found: String,
    },
}

impl PlanFault {
    /// Whether a plan with this fault was taken by an earlier version, and holds together all the same: the engine can read it, and
    /// whoever looks after the plan can mend it.
    #[must_use]
    pub const fn can_be_mended(&self) -> bool {
        matches!(self, Self::MorningLimit { .. } | Self::NeverRises { .. })
    }
}

/// The table of limits of pain, for a sentence.
pub(super) fn pain_place(stage: Option<&str>) -> String {
    stage.map_or_else(|| "[pain]".to_owned(), |stage| format!("[stage.pain] of stage \"{stage}\""))
}

/// What is wrong with an intake, beyond its single fields.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum IntakeFault {
    /// Not a day.
    #[error("\"{field}\" in {place} is \"{}\", expected a day of the calendar such as \"2026-11-05\"", found.escape_debug())]
    NotADay {
        /// The field.
        field: &'static str,
        /// The table.
        place: String,
        /// The text found.
        found: String,
    },
    /// A spot on a side that is not affected.
    #[error("pain spot \"{spot}\" contradicts affected_side = \"{side}\": change the side to both, or remove the spot")]
    SpotOnOtherSide {
        /// The spot.
        spot: String,
        /// The affected side.
        side: &'static str,
    },
    /// Pain that is nowhere.
    #[error(
        "the visit of {on} has pain up to {pain}, but pain_spots is empty: say where it hurts, or set the pain to 0"
    )]
    PainNowhere {
        /// Day of the visit.
        on: Day,
        /// The most of the three.
        pain: u8,
    },
    /// A rating of an activity that was not chosen.
    #[error("the visit of {on} rates \"{}\", expected one of the activities {}", found.escape_debug(), accepted.join(", "))]
    OtherActivity {
        /// Day of the visit.
        on: Day,
        /// The activity found.
        found: String,
        /// The chosen ones.
        accepted: Vec<String>,
    },
    /// Days in the wrong order.
    #[error("the {what} of {found} is before {limit}, the day of the {limit_what}")]
    TooEarly {
        /// What was on that day.
        what: &'static str,
        /// The day found.
        found: Day,
        /// The earliest that is accepted.
        limit: Day,
        /// What was on that day.
        limit_what: &'static str,
    },
    /// A day that has not come.
    #[error("the {what} of {found} is in the future: today is {today}")]
    InFuture {
        /// What is on that day.
        what: &'static str,
        /// The day found.
        found: Day,
        /// Today.
        today: Day,
    },
    /// A visit that was too long ago to be one of this course.
    #[error("the visit of {found} is before {limit}, twenty years ago: a course runs over weeks, so look at the year")]
    LongAgo {
        /// The day found.
        found: Day,
        /// The earliest that is accepted.
        limit: Day,
    },
    /// Two visits on one day.
    #[error("two {what}s on {on}, expected one a day")]
    SameDay {
        /// `visit` or `screen`.
        what: &'static str,
        /// The day.
        on: Day,
    },
    /// A retest of a pair that was not positive.
    #[error("the screen of {on} has a retest, but its call is not positive: a stretch follows a positive call alone")]
    RetestWithoutPositive {
        /// The day.
        on: Day,
    },
}

/// What is wrong with a log entry.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum EntryFault {
    /// A column that is missing.
    #[error("no column \"{column}\", expected {}", accepted.join(", "))]
    NoColumn {
        /// The column.
        column: &'static str,
        /// All columns.
        accepted: Vec<&'static str>,
    },
    /// A column that is not known.
    #[error("unknown column \"{}\", expected {}", found.escape_debug(), accepted.join(", "))]
    UnknownColumn {
        /// The name found.
        found: String,
        /// All columns.
        accepted: Vec<&'static str>,
    },
    /// A column that is there twice.
    #[error("column \"{column}\" is there twice, expected each column once")]
    SameColumn {
        /// The column.
        column: &'static str,
    },
    /// A row that the format does not allow.
    #[error("not valid CSV: {message}")]
    Row {
        /// What the reader says.
        message: String,
    },
    /// A cell that is not what it should be.
    #[error("\"{column}\" is \"{}\", expected {accepted}", found.escape_debug())]
    Cell {
        /// The column.
        column: &'static str,
        /// What is in it.
        found: String,
        /// What is accepted.
        accepted: String,
    },
    /// A cell that is empty and must not be.
    #[error("\"{column}\" is empty, expected {accepted}")]
    Empty {
        /// The column.
        column: &'static str,
        /// What is accepted.
        accepted: String,
    },
    /// A day that has not come.
    #[error("\"{column}\" is {found}, which is in the future: today is {today}")]
    InFuture {
        /// The column.
        column: &'static str,
        /// The day.
        found: Day,
        /// Today.
        today: Day,
    },
    /// A morning that has not come.
    #[error("\"pain_next_morning\" is \"{}\", but the morning after {day} has not come: leave it empty", found.escape_debug())]
    MorningToCome {
        /// The pain found.
        found: String,
        /// The day of the session.
        day: Day,
    },
    /// A day before the plan began.
    #[error("\"day\" is {found}, before {limit}, the day of the first visit")]
    BeforeVisit {
        /// The day.
        found: Day,
        /// The first visit.
        limit: Day,
    },
    /// Entered before it was done.
    #[error("\"entered\" is {entered}, before \"day\", which is {day}")]
    EnteredBefore {
        /// The day of entry.
        entered: Day,
        /// The day of the session.
        day: Day,
    },
    /// A load of the wrong kind.
    #[error("\"load\" is \"{}\", but stage \"{stage}\" is loaded with {accepted}", found.escape_debug())]
    OtherLoad {
        /// The load found.
        found: String,
        /// The stage.
        stage: String,
        /// What it is loaded with.
        accepted: &'static str,
    },
    /// A weight far above what the stage is done with.
    #[error("\"load\" is \"{}\", but stage \"{stage}\" takes at most {most}: twice its heaviest dose, or the heaviest weight of the plan", found.escape_debug())]
    TooHeavy {
        /// The load found.
        found: String,
        /// The stage.
        stage: String,
        /// The most that is accepted.
        most: Weight,
    },
    /// An entry that comes after a later one.
    #[error("the entry of {found} comes after one of {before}, expected them by day")]
    OutOfOrder {
        /// Its day.
        found: Day,
        /// Day of the one before it.
        before: Day,
    },
    /// A dose of a session that was not done.
    #[error("\"{column}\" is \"{}\", but \"done\" is no: leave it empty, or set done to yes", found.escape_debug())]
    DoseOfNothing {
        /// The column.
        column: &'static str,
        /// What is in it.
        found: String,
    },
}

impl EntryFault {
    /// The column at fault; the day where it is the whole entry.
    #[must_use]
    pub const fn column(&self) -> &'static str {
        match self {
            Self::Cell { column, .. }
            | Self::Empty { column, .. }
            | Self::InFuture { column, .. }
            | Self::NoColumn { column, .. }
            | Self::SameColumn { column }
            | Self::DoseOfNothing { column, .. } => column,
            Self::OtherLoad { .. } | Self::TooHeavy { .. } => "load",
            Self::MorningToCome { .. } => "pain_next_morning",
            Self::EnteredBefore { .. } => "entered",
            Self::UnknownColumn { .. } | Self::Row { .. } | Self::BeforeVisit { .. } | Self::OutOfOrder { .. } => "day",
        }
    }
}
