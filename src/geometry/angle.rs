//! Plane angles as a type, and the one place where they are wrapped.

use std::f64::consts::{PI, TAU};
use std::ops::{Add, Neg, Sub};

use nalgebra::Vector3;

/// A plane angle. Made from degrees or radians by name, because degrees in `sin` compile silently.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd)]
pub struct Angle {
    rad: f64,
}

impl Angle {
    /// The angle of `deg` degrees.
    #[must_use]
    pub const fn from_deg(deg: f64) -> Self {
        Self { rad: deg.to_radians() }
    }

    /// The angle of `rad` radians.
    #[must_use]
    pub const fn from_rad(rad: f64) -> Self {
        Self { rad }
    }

    /// The unsigned angle between two vectors, 0 to 180 deg, by `atan2` of cross and dot product.
    #[must_use]
    pub fn between(a: &Vector3<f64>, b: &Vector3<f64>) -> Self {
        Self::from_rad(a.cross(b).norm().atan2(a.dot(b)))
    }

    /// In degrees.
    #[must_use]
    pub const fn deg(self) -> f64 {
        self.rad.to_degrees()
    }

    /// In radians.
    #[must_use]
    pub const fn rad(self) -> f64 {
        self.rad
    }

    /// The same direction within [-180, 180) deg.
    #[must_use]
    pub fn wrapped(self) -> Self {
        Self::from_rad((self.rad + PI).rem_euclid(TAU) - PI)
    }

    /// The same direction within [-90, 270) deg, the range of an elevation.
    #[must_use]
    pub fn wrapped_as_elevation(self) -> Self {
        Self::from_rad((self.rad + PI / 2.0).rem_euclid(TAU) - PI / 2.0)
    }
}

impl Add for Angle {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self::from_rad(self.rad + other.rad)
    }
}

impl Sub for Angle {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self::from_rad(self.rad - other.rad)
    }
}

impl Neg for Angle {
    type Output = Self;

    fn neg(self) -> Self {
        Self::from_rad(-self.rad)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOLERANCE_DEG: f64 = 1e-12; // a few units in the last place of 360

    #[test]
    fn wrapping_keeps_the_direction_and_the_range() {
        for turn in -3..=3 {
            for deg in [-179.0, -90.0, -1.0, 0.0, 45.0, 179.0] {
                let turned = Angle::from_deg(deg + 360.0 * f64::from(turn));
                assert!((turned.wrapped().deg() - deg).abs() < 1e-10);
            }
        }
        assert!((Angle::from_deg(200.0).wrapped_as_elevation().deg() - 200.0).abs() < TOLERANCE_DEG);
        assert!((Angle::from_deg(-100.0).wrapped_as_elevation().deg() - 260.0).abs() < 1e-10);
    }

    #[test]
    fn angle_between_is_exact_where_acos_is_not() {
        let a = Vector3::new(1.0, 0.0, 0.0);
        let tiny = 1e-9;
        assert!((Angle::between(&a, &Vector3::new(1.0, tiny, 0.0)).rad() - tiny).abs() < 1e-18);
        assert!((Angle::between(&a, &-a).deg() - 180.0).abs() < TOLERANCE_DEG);
        assert!(Angle::between(&a, &a).rad().abs() < TOLERANCE_DEG);
    }
}
