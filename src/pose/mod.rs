//! The least-squares fit of body, bar and camera to the marks of a visit, with its covariance.

pub mod fit;
pub mod observation;

pub use fit::{Estimate, MarkResidual, Outcome, Overlay, Quantity, Term, Undetermined, VisitFit, fit_visit};
pub use observation::{
    BarFacts, FrameObservations, Mark, PersonFacts, ReachObservations, Rotation, SharedError, View, VisitObservations,
};
