//! Reaches, checks, the call and the retest: from a case file to a result.
//!
//! Reads the case and its marks, gathers what the fit needs, turns the fit into quantities with intervals, and decides. A
//! mark far from the others, a bent elbow or a trunk that is not seen are results, not errors. It cannot detect a landmark
//! that was placed wrongly in the same way in every reach, nor a person who did not reach as high as they could.

pub mod call;
pub mod carry;
pub mod case;
pub mod error;
pub mod followed;
pub mod in_memory;
pub mod limits;
pub mod looks;
pub mod marks;
pub mod measure;
pub mod problem;
pub mod repeatability;
pub mod result;
pub mod schema;
pub mod spread;
pub mod track_marks;
pub mod visit;
mod checks;
mod compare;
mod compared_pictures;
mod contradictions;
pub(crate) mod document;
mod evaluation;
pub(crate) mod fields;
mod flexion;
mod follow_starts;
mod found_bar;
mod front_holds;
mod media;
mod observe;
mod origins;
mod pooled;
mod repeat_angles;
mod retest;
mod seen;
mod sentences;
mod simulation;
pub(crate) mod text_file;
mod wanted;
pub(crate) mod words;
#[cfg(test)]
mod tests;

pub use carry::{CarriedVisit, CarryAttempt, CarryLink, carry_case, carry_links, carry_pictures};
pub use case::{
    BarEntry, CASE_SCHEMA, CallOptions, CameraEntry, CaseFile, ClientFacts, LimitedBy, MarkingEntry, Raises, ReachEntry,
};
pub(crate) use compare::COMPARED_VIEWS;
pub use compared_pictures::ComparedMarks;
pub use error::ScreenError;
pub(crate) use evaluation::Evidence;
pub use follow_starts::FollowProgress;
pub use followed::{ArmMarks, ArmToFollow, FollowedArm, UnseenSpan};
pub use found_bar::{FoundBar, FoundEnd, with_marks_as_placed};
pub use in_memory::{MarkedReach, Picture, measure_marks};
pub use limits::CheckLimits;
pub use looks::{Answer, AnsweredMarks, Look, Question, looks, one_recordings, with_answers};
pub use marks::{FrameUse, MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarksFile, MarksOrigin, PointSpread, Source};
pub(crate) use measure::evaluate;
pub use measure::{FollowedReach, MeasureOptions, MeasuredVisit, Still, measure_case};
pub(crate) use observe::{RAISE_GAP_S, skin_shift_px2};
pub use problem::{Fault, Problem};
pub use repeat_angles::{AngleComparison, AngleSpread};
pub use repeatability::{LandmarkSpread, RaterSpread, Repeatability, repeatability_of, repeatability_of_marks};
pub(crate) use result::Subject;
pub use result::{
    Call, Check, CheckStatus, Comparison, MonteCarlo, Occasion, RESULT_SCHEMA, ReachResult, ResultSide, Retest,
    RetestOutcome, SimulatedInterval, UsedInterval, VisitResult,
};
pub use sentences::pain_stops;
pub use spread::{LandmarkSd, SPREAD_SCHEMA, SpreadFile};
pub use track_marks::{ClipCurve, TrackedClip, track_marks};
pub use visit::{CaseCheck, check_case};
pub use wanted::{further_landmarks, needed_landmarks};
