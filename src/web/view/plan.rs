//! The plan, its form, the log and its entries.

use crate::plan::{DangerSign, Decision};

use super::form::{FieldError, FormView};

/// `/clients/{code}/plan`: the stages, and what is proposed for the next session.
#[derive(Debug, Clone)]
pub struct PlanView {
    /// The client's code.
    pub code: String,
    /// The plan's name.
    pub name: String,
    /// Why nothing goes on, where a danger sign stands open.
    pub stopped: Option<String>,
    /// There is no intake yet: nothing is proposed.
    pub needs_intake: bool,
    /// What is to be mended before anything is proposed, by field of the form.
    pub to_mend: Vec<FieldError>,
    /// What heads every proposal.
    pub cautions: String,
    /// Why a clinician should look before anything goes on, in sentences.
    pub see_clinician: Vec<String>,
    /// The latest decision of a clinician, as day and reason.
    pub cleared: Option<(String, String)>,
    /// The clinician's decision that was refused.
    pub clearing: FormView,
    /// In the order of the plan.
    pub stages: Vec<StageView>,
    /// What each rule does, and why.
    pub rules: Vec<(&'static str, String)>,
    /// Weights are in pounds.
    pub is_in_pounds: bool,
    /// The file that was refused.
    pub upload: FormView,
}

/// One stage and what is proposed of it.
#[derive(Debug, Clone)]
pub struct StageView {
    /// Its name in logs.
    pub id: String,
    /// Its name in words.
    pub name: String,
    /// What becomes of it; `None` where nothing is proposed.
    pub proposed: Option<ProposedView>,
    /// How it is done.
    pub how: String,
    /// What is felt, and where.
    pub felt: String,
    /// When to stop.
    pub stop: String,
    /// What pain it takes.
    pub pain: String,
    /// When it begins.
    pub entry: String,
    /// What ends it.
    pub exit: String,
    /// Each phase with its doses.
    pub phases: Vec<(String, String)>,
}

/// What is proposed of a stage.
#[derive(Debug, Clone)]
pub struct ProposedView {
    /// What becomes of it.
    pub decision: Decision,
    /// Why, as a sentence.
    pub reason: String,
    /// Phase and dose in words.
    pub dose: Option<(String, String)>,
    /// When, such as `now` or `from 27 November`.
    pub due: Option<String>,
    /// Where the dose stands, such as `dose 3 of 37`.
    pub step: Option<String>,
}

/// `/clients/{code}/plan/edit`: doses and limits. Fields `pain_rule`, `safe_at_most`, `acceptable_at_most`, `morning_at_most`, and
/// for every stage and phase the names that are given here.
#[derive(Debug, Clone)]
pub struct PlanFormView {
    /// The client's code.
    pub code: String,
    /// The stages.
    pub stages: Vec<StageFormView>,
    /// The bands that exist, the lightest first.
    pub bands: Vec<String>,
    /// What is in the plan, or what was typed.
    pub form: FormView,
}

/// The fields of a stage. Its own limits of pain have the fields of the plan's limits, with a dot and its name in logs behind.
#[derive(Debug, Clone)]
pub struct StageFormView {
    /// Its name in logs.
    pub id: String,
    /// Its name in words.
    pub name: String,
    /// Field and label of each number.
    pub fields: Vec<(String, &'static str)>,
    /// The same of numbers that may be empty.
    pub optional: Vec<(String, &'static str)>,
    /// Name and fields of each phase.
    pub phases: Vec<PhaseFormView>,
}

/// The fields of a phase.
#[derive(Debug, Clone)]
pub struct PhaseFormView {
    /// Its name in words.
    pub name: String,
    /// Each quantity with one field, or with two for its range.
    pub fields: Vec<(&'static str, Vec<String>)>,
    /// The fields of the lightest and the firmest band; none without bands.
    pub bands: Vec<String>,
}

/// `/clients/{code}/log`: what is due, what was done.
#[derive(Debug, Clone)]
pub struct LogView {
    /// The client's code.
    pub code: String,
    /// Today, as in `2026-11-05`.
    pub today: String,
    /// Why nothing goes on, where a danger sign stands open.
    pub stopped: Option<String>,
    /// There is no intake yet.
    pub needs_intake: bool,
    /// The plan is to be mended before anything is proposed.
    pub is_to_mend: bool,
    /// Why a clinician should look before anything goes on, in sentences.
    pub see_clinician: Vec<String>,
    /// Mornings after that are not known yet, the latest first.
    pub mornings: Vec<MorningView>,
    /// What is due today.
    pub due: Vec<DueView>,
    /// What is not due: name, when or what becomes of it, and why.
    pub not_due: Vec<(String, String, String)>,
    /// The entries, the latest first.
    pub entries: Vec<EntryView>,
    /// There are entries that are not shown.
    pub has_more: bool,
    /// How much was done, without blame.
    pub adherence: String,
    /// An entry or a file that was refused.
    pub form: FormView,
}

/// A morning after that is asked for.
#[derive(Debug, Clone)]
pub struct MorningView {
    /// The day of the sessions, as in `2026-11-05`.
    pub day: String,
    /// The same as `5 November`.
    pub date: String,
    /// What was done on it.
    pub stages: String,
}

/// A session that is due.
#[derive(Debug, Clone)]
pub struct DueView {
    /// The stage's name in logs.
    pub stage: String,
    /// Its name in words.
    pub name: String,
    /// What becomes of it.
    pub decision: Decision,
    /// Why, as a sentence.
    pub reason: String,
    /// Phase and dose in words.
    pub dose: (String, String),
    /// How it is done, what is felt, when to stop.
    pub how: [String; 3],
    /// What pain it takes.
    pub pain: String,
    /// The dose as an entry holds it: `load`, `sets`, `repetitions`, `seconds`.
    pub cells: [String; 4],
    /// What a load may be; `None` where there is none.
    pub load_hint: Option<String>,
    /// A hold is counted in seconds.
    pub has_seconds: bool,
}

/// An entry of the log.
#[derive(Debug, Clone)]
pub struct EntryView {
    /// Its number.
    pub id: i64,
    /// The stage's name in words.
    pub stage: String,
    /// Day and what was done.
    pub words: String,
    /// The danger sign that came up.
    pub sign: Option<DangerSign>,
    /// In the client's words.
    pub note: String,
}

/// A form of one entry. Fields as the columns of a log.
#[derive(Debug, Clone)]
pub struct EntryFormView {
    /// The client's code.
    pub code: String,
    /// The entry's number; `None` for a new one.
    pub id: Option<i64>,
    /// Today, as in `2026-11-05`.
    pub today: String,
    /// Name in logs and in words of each stage.
    pub stages: Vec<(String, String)>,
    /// Why nothing goes on, where a danger sign stands open.
    pub stopped: Option<String>,
    /// What is recorded, or what was typed.
    pub form: FormView,
}
