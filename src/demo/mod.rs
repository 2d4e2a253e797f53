//! Synthetic clips with known truth: a masters rower, code R07, filmed before and after a stretch.
//!
//! A seated figure is sculpted on a body of published proportions, moved through its reaches and seen through a camera
//! with a real lens's faults. Nothing here is shared with the rooms that measure: own projection, own proportions, own
//! definitions of the true quantities. World frame: X where the person faces, Y up from the floor, Z to their right, mm.

pub mod accuracy;
pub mod body;
pub mod error;
pub mod field;
pub mod figure;
pub mod film;
pub mod lens;
pub mod light;
pub mod motion;
pub mod paint;
pub mod render;
pub mod scenario;
pub mod scenes;
pub mod schema;
pub mod sensor;
pub mod shape;
pub mod studio;
pub mod truth;

pub use error::DemoError;
pub use film::{DemoOptions, DemoProgress, write_demo};
pub use scenario::{DemoCase, Scenario};
