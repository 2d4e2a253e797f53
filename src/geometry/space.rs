//! A type for a point in each space, so that a point in the wrong space does not compile.

use nalgebra::{Vector2, Vector3};

/// A point of the upright picture, px: origin at the centre of the top-left pixel, x right, y down, distorted by the lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ImagePoint {
    /// To the right, px.
    pub x: f64,
    /// Down, px.
    pub y: f64,
}

impl ImagePoint {
    /// The point at `x` px right and `y` px down.
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }

    /// Distance to another point, px.
    #[must_use]
    pub fn distance_px(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }

    /// The point that lies from this one by a step, px.
    #[must_use]
    pub fn moved(self, step: Vector2<f64>) -> Self {
        Self { x: self.x + step.x, y: self.y + step.y }
    }

    /// The same numbers as a vector.
    #[must_use]
    pub const fn to_vector(self) -> Vector2<f64> {
        Vector2::new(self.x, self.y)
    }
}

/// A point on the plane z = 1 of the camera frame, lens distortion removed, without unit: x right, y down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NormalizedPoint {
    /// To the right.
    pub x: f64,
    /// Down.
    pub y: f64,
}

impl NormalizedPoint {
    /// The point `x` right and `y` down on the plane z = 1.
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y }
    }
}

/// A point in the camera frame, mm: x right, y down, z forward.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CameraPoint(pub Vector3<f64>);

/// A point in the body frame, mm: X anterior, Y up along the plumb line, Z to the person's right.
///
/// # Source
/// Wu et al. (2005), ISB recommendation on definitions of joint coordinate systems, Journal of Biomechanics 38, 981-992.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BodyPoint(pub Vector3<f64>);
