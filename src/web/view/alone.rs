//! Screening alone: a shorter path through one pair of reaches.

use crate::records::DangerSign;
use crate::screen::Call;

use super::form::FormView;
use super::mark::LandmarkView;
use super::result::FigureView;
use super::visit::VisitView;

/// `/alone`: danger signs and a code. Fields as in [`super::NewClientView`], without lengths.
#[derive(Debug, Clone)]
pub struct AloneStartView {
    /// The signs to ask for, in order.
    pub signs: Vec<DangerSign>,
    /// What was typed.
    pub form: FormView,
}

/// `/visits/{id}/alone`: the steps.
#[derive(Debug, Clone)]
pub struct AloneView {
    /// The visit as its sheet has it.
    pub visit: VisitView,
    /// That a clinician goes on in spite of a danger sign, as a sentence.
    pub goes_on: Option<String>,
    /// The points that are marked, each with how to find it.
    pub landmarks: Vec<LandmarkView>,
}

/// `/visits/{id}/alone/result`: the answer in plain words.
#[derive(Debug, Clone)]
pub struct AloneResultView {
    /// The visit.
    pub visit: i64,
    /// Whose visit.
    pub client_code: String,
    /// Such as `25 November 2026`.
    pub date: String,
    /// Why nothing goes on, where a danger sign stands open.
    pub stopped: Option<String>,
    /// The answer; `None` where there is none yet.
    pub answer: Option<AnswerView>,
}

/// An answer.
#[derive(Debug, Clone)]
pub struct AnswerView {
    /// The call before the stretch.
    pub call: Call,
    /// The difference.
    pub difference: Option<FigureView>,
    /// The margin, such as `3.0°`.
    pub margin: String,
    /// Why the call is so, or none was made.
    pub reason: String,
    /// What would settle it; empty where nothing goes on.
    pub next_step: String,
    /// The next step is to stretch, and to film the same two reaches again.
    pub is_to_stretch: bool,
}
