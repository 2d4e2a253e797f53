//! How far the calls and angles of the screen are from the truth, over people, rooms, cameras and raters drawn at random.
//!
//! A drawn screening goes the way of a measured one: fit, checks, difference and call are those of [`crate::pose`] and
//! [`crate::screen`], and only where the marks lie is simulated. The distributions are those of [`screening`] and of
//! [`super::scenes`]; none is read from the fit's priors. What simulation cannot show: a rater who has another place in mind
//! than the landmark, and bodies softer than those drawn here.

pub mod document;
pub mod screening;
pub mod study;
mod tally;

pub use document::ACCURACY_SCHEMA;
pub use screening::Screening;
pub use study::{Accuracy, AccuracyOptions, AccuracyRow, CallPoint, Calls, MarksBy, study};
