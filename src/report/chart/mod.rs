//! The charts, drawn with plotters as SVG.
//!
//! A chart tells everything twice: by colour and by shape, dash or label. It carries its numbers as text, so that it can
//! be read without measuring it.

mod agreement;
mod calls;
mod canvas;
mod case;
mod course;
mod curve;
mod delta;
mod rays;
mod rotations;

pub use agreement::render_agreement_chart;
pub use calls::{CallCurve, CallShares, render_call_curves};
pub(crate) use canvas::{Drawing, escape};
pub(crate) use case::{case_charts, side_name};
pub(crate) use course::{CurveWords, course_of_reach};
pub use course::{course_chart_name, render_course_chart};
pub(crate) use curve::Curve;
pub(crate) use delta::retest_delta;
pub use rays::{CallDrawings, draw_comparison, draw_retest};
pub(crate) use rotations::rotations;
