//! Points, angles, landmarks and the body frame. No I/O.
//!
//! Frames: image px (origin at the centre of the top-left pixel, y down), camera mm (x right, y down, z forward), body mm
//! (X anterior, Y up, Z to the person's right).

pub mod angle;
pub mod elevation;
pub mod landmark;
pub mod space;

pub use angle::Angle;
pub use landmark::{Landmark, Side};
pub use space::{BodyPoint, CameraPoint, ImagePoint, NormalizedPoint};
