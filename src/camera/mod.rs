//! The lens model, its profiles, calibration and board detection.
//!
//! A lens profile belongs to one camera in one mode: video modes crop and stabilize, zoom and focus change the focal length.
//! None of that can be seen from a profile; only its aspect is checked.

pub mod calibrate;
pub mod error;
pub mod homography;
pub mod lens;
pub mod profile;

pub use calibrate::{BoardCorner, BoardPose, BoardView, Calibration, ViewFit, calibrate};
pub use error::CameraError;
pub use lens::{Distorted, LENS_PARAMETER_NAMES, LENS_PARAMETERS, Lens};
pub use profile::{LensProfile, PROFILE_JSON_SCHEMA, read_profile, write_profile};
