//! The least-squares fit of body, bar and camera to the marks of a visit, with its covariance.
//!
//! One model serves every view. It assumes stiff segments, arms that hold one straight bar, a trunk that bends little, and
//! a wall's edge that is plumb within [`priors::PLUMB_DEG`]. It cannot detect an error that all marks share and that looks
//! like another pose: skin that slides over the joint in the direction of the reach, or a person who turns as the camera
//! is moved around them.

mod belief;
mod body;
mod disagree;
mod dual;
mod layout;
mod loss;
mod problem;
mod setups;
mod solve;
mod start;
mod suspect;
mod vector;
mod view;
#[cfg(test)]
mod tests;

pub mod fit;
pub mod observation;
pub mod overlay;
pub mod priors;
pub mod quantity;
pub mod simulate;

pub use fit::{Estimate, FILM_FROM_SIDE, MarkResidual, Outcome, Term, Undetermined, VisitFit, fit_visit};
pub use observation::{
    BarFacts, Contradiction, FrameObservations, Mark, MarkPlace, Motion, PersonFacts, ReachObservations, Rotation,
    SharedError, Strayed, View, VisitObservations,
};
pub use overlay::{Overlay, Zero};
pub use quantity::Quantity;
pub use simulate::VisitDraws;
