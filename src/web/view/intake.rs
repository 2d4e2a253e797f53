//! The intake and its visits.

use super::form::FormView;

/// `/clients/{code}/intake`: the first questions, or what was told.
#[derive(Debug, Clone)]
pub struct IntakeView {
    /// The client's code.
    pub code: String,
    /// What was told once, as label and text.
    pub facts: Vec<(&'static str, String)>,
    /// What is asked at every visit, the latest first.
    pub visits: Vec<IntakeVisitView>,
    /// The intake's side is not the client's any more.
    pub has_other_side: bool,
}

/// What was told and found at one visit.
#[derive(Debug, Clone)]
pub struct IntakeVisitView {
    /// As in the address, such as `2026-11-05`.
    pub on: String,
    /// Such as `5 November 2026`.
    pub date: String,
    /// The three pains and the ratings, as label and number.
    pub numbers: Vec<(String, String)>,
    /// What a clinician found, as label and text.
    pub findings: Vec<(&'static str, String)>,
    /// What a clinician should think about before anything is loaded.
    pub alarm: Option<&'static str>,
    /// Pain at rest was well above pain in use.
    pub is_worse_at_rest: bool,
}

/// A form of the intake. Fields of the person: `affected_side`, `spot_NAME` and `provoked_NAME` (on), `weeks_since_onset`,
/// `work`, `sport`, `earlier_care` and `goals` (one a line), `activity_1` to `activity_3`. Fields of a visit: `on`,
/// `pain_at_rest`, `pain_in_use`, `pain_on_pressing`, `rating_1` to `rating_3`, the findings by their names in files,
/// `grip_left_kg` and `grip_right_kg` (tries, apart by spaces).
#[derive(Debug, Clone)]
pub struct IntakeFormView {
    /// The client's code.
    pub code: String,
    /// Which parts are asked for.
    pub parts: IntakeParts,
    /// Activities that were chosen before; empty where they are chosen here.
    pub activities: Vec<String>,
    /// Today, as in `2026-11-05`: no visit is later.
    pub today: String,
    /// The visit that is corrected, as in the address.
    pub was: Option<String>,
    /// Why nothing goes on, where a danger sign stands open.
    pub stopped: Option<String>,
    /// What was typed.
    pub form: FormView,
}

/// Which parts of an intake a form asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IntakeParts {
    /// The first time: the person and the first visit.
    All,
    /// The person alone.
    Person,
    /// A visit alone.
    Visit,
}
