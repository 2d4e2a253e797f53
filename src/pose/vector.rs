//! Three-vectors of [`Scalar`]s: only what the model needs.

use std::ops::{Add, Sub};

use super::dual::Scalar;

/// A vector x, y, z.
#[derive(Debug, Clone, Copy)]
pub(super) struct Vector3<S> {
    pub x: S,
    pub y: S,
    pub z: S,
}

impl<S: Scalar> Vector3<S> {
    pub(super) const fn new(x: S, y: S, z: S) -> Self {
        Self { x, y, z }
    }

    pub(super) fn scaled(self, factor: S) -> Self {
        Self::new(self.x * factor, self.y * factor, self.z * factor)
    }

    pub(super) fn dot(self, other: Self) -> S {
        self.x * other.x + self.y * other.y + self.z * other.z
    }

    pub(super) fn cross(self, other: Self) -> Self {
        Self::new(
            self.y * other.z - self.z * other.y,
            self.z * other.x - self.x * other.z,
            self.x * other.y - self.y * other.x,
        )
    }

    pub(super) fn norm(self) -> S {
        self.dot(self).sqrt()
    }

    pub(super) fn unit(self) -> Self {
        self.scaled(self.norm().recip())
    }

    /// Turned about the Y axis by the angle with this sine and cosine: Z towards X.
    pub(super) fn turned_about_y(self, sin: S, cos: S) -> Self {
        Self::new(cos * self.x + sin * self.z, self.y, cos * self.z - sin * self.x)
    }
}

impl<S: Scalar> Add for Vector3<S> {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self::new(self.x + other.x, self.y + other.y, self.z + other.z)
    }
}

impl<S: Scalar> Sub for Vector3<S> {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self::new(self.x - other.x, self.y - other.y, self.z - other.z)
    }
}
