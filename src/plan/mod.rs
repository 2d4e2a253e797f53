//! Cautions, intake, the staged loading plan, its progression rules, the log and the course over weeks.
//!
//! A plan is data that the clinician edits; the code reads it strictly, refuses one that contradicts itself, and proposes the
//! next session from what was logged. Doses, rules and limits are common practice without source unless a source is named.
//! It cannot see whether a log tells what was done, nor whether an exercise was done as described: it knows pain and doses as
//! they were entered, and stops where these say so.

pub mod course;
pub mod danger;
pub mod day;
mod decision;
pub mod draft;
pub mod engine;
pub mod error;
pub mod facts;
pub mod intake;
pub mod ladder;
pub mod load;
pub mod log;
pub mod model;
pub mod pain;
pub mod proposal;
pub mod ranges;
pub mod rules;
pub mod schema;
pub mod screened;
pub mod summary;
pub mod words;
mod ceiling;
mod check;
mod intake_read;
mod log_csv;
mod lowering;
mod read;
mod stage_state;
mod step;
mod told;
mod typed_entry;
#[cfg(test)]
mod tests;

pub use course::{
    CaseCourse, Change, CoursePoint, Detectable, Series, SeriesKind, Trend, course_of, difference_series,
};
pub use danger::{DangerSign, UnknownWord};
pub use day::Day;
pub use decision::{Cause, Choice, Decision, Soreness};
pub use draft::Draft;
pub use engine::Progress;
pub use error::{EntryFault, IntakeFault, PlanError, PlanFault};
pub use facts::{Alarm, Facts, ScreenState, VisitPain};
pub use intake::{
    Clearance, Findings, Intake, IntakeVisit, PainPlace, PainSpot, Provocation, Resisted, ScreenOutcome, UlnarNerve,
    Valgus,
};
pub use intake_read::{GRIP_MAX_KG, TEXT_MAX, VISITS_BACK_DAYS, WEEKS_MAX};
pub use load::{Load, LoadKind, Unit, Weight};
pub use log::{Log, LogBounds, LogEntry};
pub use model::{Mode, Phase, Plan, Rung, Stage};
pub use pain::{Morning, PainLimits, PainRule, Zone};
pub use proposal::{Dose, Proposal, StageProposal, Step, propose};
pub use rules::{Action, Rule, Situation};
pub use screened::{ScreenPoint, SideScreens, call_of, screen_outcome, side_screens};
pub use stage_state::TooSoon;
pub use summary::{Adherence, StageAdherence};
pub use typed_entry::{TypedEntry, load_words};
