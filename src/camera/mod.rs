//! The lens model, its profiles, calibration and board detection.
//!
//! A lens profile belongs to one camera in one mode: video modes crop and stabilize, zoom and focus change the focal length.
//! None of that can be seen from a profile; only its aspect is checked.

pub mod board;
pub mod calibrate;
pub mod coverage;
pub mod detect;
pub mod error;
pub mod homography;
pub mod lens;
pub mod profile;
pub mod session;
pub mod sighting;

mod gray;
mod grid;
mod saddle;
mod select;
mod sharpness;
mod subpixel;

pub use board::Board;
pub use calibrate::{BoardCorner, BoardPose, BoardView, Calibration, ViewFit, calibrate};
pub use coverage::{CalibrationWarning, Coverage, PictureCorner};
pub use detect::{BoardAbsence, DetectedBoard, detect_board};
pub use error::CameraError;
pub use lens::{Distorted, LENS_PARAMETER_NAMES, LENS_PARAMETERS, Lens};
pub use profile::{LensProfile, PROFILE_JSON_SCHEMA, parse_profile, read_profile, write_profile};
pub use session::{CalibrationRun, calibrate_files};
pub use sighting::{Miss, Sighting, Sightings, find_boards};
