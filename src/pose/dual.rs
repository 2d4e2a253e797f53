//! Numbers that carry their derivatives, so that the model is written once and differentiated exactly.
//!
//! A [`Dual`] is a value with its gradient over [`LOCAL`] parameters (forward-mode automatic differentiation). The model is
//! generic over [`Scalar`]: with `f64` it gives values alone, with [`Dual`] values and derivatives.

use std::ops::{Add, Mul, Neg, Sub};

/// How many parameters one frame's marks can depend on.
pub(super) const LOCAL: usize = 72;

/// What the model computes with.
pub(super) trait Scalar:
    Copy
    + Add<Output = Self>
    + Sub<Output = Self>
    + Mul<Output = Self>
    + Neg<Output = Self>
    + Add<f64, Output = Self>
    + Mul<f64, Output = Self>
{
    /// A number that depends on no parameter.
    fn constant(value: f64) -> Self;
    /// The value alone.
    fn value(&self) -> f64;
    /// A function of one variable: its value and derivative at `self.value()`.
    fn chain(self, value: f64, derivative: f64) -> Self;

    fn sin(self) -> Self {
        let (sin, cos) = self.value().sin_cos();
        self.chain(sin, cos)
    }

    fn cos(self) -> Self {
        let (sin, cos) = self.value().sin_cos();
        self.chain(cos, -sin)
    }

    fn exp(self) -> Self {
        let exp = self.value().exp();
        self.chain(exp, exp)
    }

    fn sqrt(self) -> Self {
        let root = self.value().sqrt();
        self.chain(root, 0.5 / root)
    }

    fn recip(self) -> Self {
        let inverse = self.value().recip();
        self.chain(inverse, -inverse * inverse)
    }

    /// `atan2(self, x)`, differentiable away from the origin.
    fn atan2(self, x: Self) -> Self {
        let (y, x_value) = (self.value(), x.value());
        let square = y * y + x_value * x_value;
        let angle = self * (x_value / square) - x * (y / square);
        // The products above give the right gradient but not the value of the angle.
        angle + (y.atan2(x_value) - angle.value())
    }

    /// `sin(sqrt(q)) / sqrt(q)` as a smooth function of `q >= 0`.
    fn sinc_of_square(self) -> Self {
        let q = self.value();
        if q < SERIES_BELOW {
            self.chain(1.0 - q / 6.0 + q * q / 120.0, -1.0 / 6.0 + q / 60.0)
        } else {
            let x = q.sqrt();
            let (sin, cos) = x.sin_cos();
            self.chain(sin / x, (x * cos - sin) / (2.0 * q * x))
        }
    }

    /// `cos(sqrt(q))` as a smooth function of `q >= 0`.
    fn cos_of_square(self) -> Self {
        let q = self.value();
        if q < SERIES_BELOW {
            self.chain(1.0 - q / 2.0 + q * q / 24.0, -0.5 + q / 12.0)
        } else {
            let x = q.sqrt();
            self.chain(x.cos(), -x.sin() / (2.0 * x))
        }
    }
}

/// Below this square of an angle the power series is exact to double precision (next term under 1e-17).
const SERIES_BELOW: f64 = 1e-5;

impl Scalar for f64 {
    fn constant(value: f64) -> Self {
        value
    }

    fn value(&self) -> f64 {
        *self
    }

    fn chain(self, value: f64, _derivative: f64) -> Self {
        value
    }
}

/// A value with its gradient over the local parameters.
#[derive(Debug, Clone, Copy)]
pub(super) struct Dual {
    value: f64,
    gradient: [f64; LOCAL],
}

impl Dual {
    /// The parameter with local index `index`, at `value`.
    pub(super) const fn parameter(value: f64, index: usize) -> Self {
        let mut gradient = [0.0; LOCAL];
        gradient[index] = 1.0;
        Self { value, gradient }
    }

    /// The derivatives by the local parameters.
    pub(super) const fn gradient(&self) -> &[f64; LOCAL] {
        &self.gradient
    }

    fn combined(&self, other: &Self, value: f64, a: f64, b: f64) -> Self {
        let mut gradient = [0.0; LOCAL];
        for ((out, x), y) in gradient.iter_mut().zip(&self.gradient).zip(&other.gradient) {
            *out = a * x + b * y;
        }
        Self { value, gradient }
    }
}

impl Scalar for Dual {
    fn constant(value: f64) -> Self {
        Self { value, gradient: [0.0; LOCAL] }
    }

    fn value(&self) -> f64 {
        self.value
    }

    fn chain(mut self, value: f64, derivative: f64) -> Self {
        self.value = value;
        for slope in &mut self.gradient {
            *slope *= derivative;
        }
        self
    }
}

impl Add for Dual {
    type Output = Self;

    fn add(mut self, other: Self) -> Self {
        self.value += other.value;
        for (a, b) in self.gradient.iter_mut().zip(&other.gradient) {
            *a += b;
        }
        self
    }
}

impl Sub for Dual {
    type Output = Self;

    fn sub(mut self, other: Self) -> Self {
        self.value -= other.value;
        for (a, b) in self.gradient.iter_mut().zip(&other.gradient) {
            *a -= b;
        }
        self
    }
}

impl Mul for Dual {
    type Output = Self;

    fn mul(self, other: Self) -> Self {
        self.combined(&other, self.value * other.value, other.value, self.value)
    }
}

impl Neg for Dual {
    type Output = Self;

    fn neg(self) -> Self {
        let value = -self.value;
        self.chain(value, -1.0)
    }
}

impl Add<f64> for Dual {
    type Output = Self;

    fn add(mut self, other: f64) -> Self {
        self.value += other;
        self
    }
}

impl Mul<f64> for Dual {
    type Output = Self;

    fn mul(self, factor: f64) -> Self {
        let value = self.value * factor;
        self.chain(value, factor)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Step of the central differences: near the cube root of the machine's precision.
    const STEP: f64 = 6e-6;
    /// Their error: step squared times a third derivative of order one, and rounding.
    const TOLERANCE: f64 = 1e-9;

    fn check(name: &str, at: f64, on_f64: impl Fn(f64) -> f64, on_dual: impl Fn(Dual) -> Dual) {
        let dual = on_dual(Dual::parameter(at, 3));
        let slope = (on_f64(at + STEP) - on_f64(at - STEP)) / (2.0 * STEP);
        assert!((dual.value() - on_f64(at)).abs() < 1e-15, "{name} at {at}: value");
        assert!((dual.gradient()[3] - slope).abs() < TOLERANCE, "{name} at {at}: slope");
        assert!(dual.gradient()[4].abs() < f64::EPSILON, "{name}: foreign slope");
    }

    #[test]
    fn functions_agree_with_central_differences() {
        for at in [0.8, 1.1, 2.1] {
            check("sin", at, f64::sin, Scalar::sin);
            check("cos", at, f64::cos, Scalar::cos);
            check("exp", at, f64::exp, Scalar::exp);
            check("sqrt", at, f64::sqrt, Scalar::sqrt);
            check("recip", at, f64::recip, Scalar::recip);
            check("atan2", at, |x| x.atan2(x * x + 0.3), |x| x.atan2(x * x + 0.3));
            check("sinc", at, |q| q.sqrt().sin() / q.sqrt(), Scalar::sinc_of_square);
            check("cos of root", at, |q| q.sqrt().cos(), Scalar::cos_of_square);
            check("product", at, |x| x * (x + 2.0) - x * 3.0, |x| x * (x + 2.0) - x * 3.0);
        }
    }

    #[test]
    fn series_meet_the_closed_forms() {
        for q in [SERIES_BELOW * 0.999, SERIES_BELOW * 1.001] {
            let x: f64 = q.sqrt();
            assert!((Scalar::sinc_of_square(q) - x.sin() / x).abs() < 1e-15);
            assert!((Scalar::cos_of_square(q) - x.cos()).abs() < 1e-15);
        }
    }
}
