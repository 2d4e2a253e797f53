//! The lens model, its profiles, calibration and board detection.

pub mod lens;

pub use lens::Lens;
