//! Solids as distance fields: how far a point is from a surface, negative inside. World mm, single precision.
//!
//! Distances are exact or a little too small, so that a ray that steps by them never passes through a surface.

use nalgebra::{Isometry3, Matrix3, Vector3};

use crate::demo::paint::Paint;

/// A point or direction, mm.
pub type V3 = Vector3<f32>;

/// A solid about the origin of its own frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Solid {
    /// A ball of radius `from` at the origin and one of radius `to` at y = `length`, with the cone that touches both.
    RoundCone {
        /// Distance between the centres.
        length: f32,
        /// Radius at the origin.
        from: f32,
        /// Radius at the far end.
        to: f32,
        /// Factors that x and z are multiplied by before measuring, at most 1: below 1 makes the solid wider there.
        narrow: [f32; 2],
        /// Sine and cosine of the cone's half angle.
        slope: [f32; 2],
    },
    /// An ellipsoid.
    Ellipsoid {
        /// Half axes.
        half: V3,
        /// One over each.
        inverse: V3,
    },
    /// A box with these half sides, its edges rounded.
    RoundBox {
        /// Half sides, edges included.
        half: V3,
        /// Radius of the edges.
        edge: f32,
    },
}

impl Solid {
    /// A round cone whose extent along x and z is `wide` times that of a round one, each at least 1.
    #[must_use]
    pub fn round_cone(length: f32, from: f32, to: f32, wide: [f32; 2]) -> Self {
        let sin = (from - to) / length;
        Self::RoundCone {
            length,
            from,
            to,
            narrow: wide.map(f32::recip),
            slope: [sin, (1.0 - sin * sin).max(0.0).sqrt()],
        }
    }

    /// An ellipsoid with these half axes.
    #[must_use]
    pub fn ellipsoid(half: V3) -> Self {
        Self::Ellipsoid { half, inverse: half.map(f32::recip) }
    }

    /// Distance of a point in the solid's frame.
    #[inline(always)]
    pub fn distance(&self, p: &V3) -> f32 {
        match self {
            Self::RoundCone { length, from, to, narrow, slope: [sin, cos] } => {
                let side = (p.x * narrow[0]).hypot_fast(p.z * narrow[1]);
                let along = cos * p.y - sin * side;
                if along < 0.0 {
                    side.hypot_fast(p.y) - from
                } else if along > cos * length {
                    side.hypot_fast(p.y - length) - to
                } else {
                    side * cos + p.y * sin - from
                }
            }
            Self::Ellipsoid { inverse, .. } => {
                let scaled = p.component_mul(inverse);
                let twice = scaled.component_mul(inverse);
                let k0 = scaled.norm();
                k0 * (k0 - 1.0) / twice.norm().max(1e-9)
            }
            Self::RoundBox { half, edge } => {
                let q = p.abs() - half + V3::repeat(*edge);
                q.map(|v| v.max(0.0)).norm() + q.max().min(0.0) - edge
            }
        }
    }

    /// A chain of balls that holds the solid, in its frame: centre and radius.
    fn balls(&self) -> Vec<(V3, f32)> {
        match self {
            Self::RoundCone { length, from, to, narrow, .. } => {
                let wide = 1.0 / narrow[0].min(narrow[1]);
                let steps = ((length / (from.max(*to) * wide)).ceil()).clamp(1.0, 12.0);
                let mut balls = Vec::new();
                let mut step = 0.0;
                while step < steps {
                    let (low, high) = (step / steps, (step + 1.0) / steps);
                    let radius = (from + (to - from) * low).max(from + (to - from) * high) * wide;
                    let half = (high - low) * length / 2.0;
                    balls.push((V3::new(0.0, (low + high) / 2.0 * length, 0.0), radius + half));
                    step += 1.0;
                }
                balls
            }
            Self::Ellipsoid { half, .. } => vec![(V3::zeros(), half.max())],
            Self::RoundBox { half, .. } => vec![(V3::zeros(), half.norm())],
        }
    }
}

trait Hypot {
    fn hypot_fast(self, other: Self) -> Self;
}

impl Hypot for f32 {
    /// Without the guard against overflow, which lengths in a room do not need.
    #[inline]
    fn hypot_fast(self, other: Self) -> Self {
        (self * self + other * other).sqrt()
    }
}

/// A solid placed in the world, with what it is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The solid.
    pub solid: Solid,
    /// Rows are the solid's axes in the world.
    pub solid_from_world: Matrix3<f32>,
    /// The solid's origin in the world.
    pub origin: V3,
    /// Cut away everything of the solid's frame with `normal · p > at`.
    pub cut: Option<(V3, f32)>,
    /// Distance over which the part melts into those before it, mm.
    pub melt: f32,
    /// Parts of different groups do not melt into each other.
    pub group: u8,
    /// What it is made of.
    pub paint: Paint,
    /// Index of the bone whose frame carries the paint.
    pub bone: usize,
    /// Balls that hold the part, in the world.
    pub balls: Vec<(V3, f32)>,
}

/// What a part is like, before it is placed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PartKind {
    /// As in [`Part::melt`].
    pub melt: f32,
    /// As in [`Part::group`].
    pub group: u8,
    /// As in [`Part::paint`].
    pub paint: Paint,
    /// As in [`Part::bone`].
    pub bone: usize,
}

impl Part {
    /// Places a solid whose frame is `world_from_solid`.
    #[must_use]
    pub fn placed(solid: Solid, world_from_solid: &Isometry3<f64>, kind: PartKind) -> Self {
        let world_from_solid: Isometry3<f32> = world_from_solid.cast();
        let rotation = world_from_solid.rotation.to_rotation_matrix();
        let balls = solid
            .balls()
            .into_iter()
            .map(|(center, radius)| ((world_from_solid * nalgebra::Point3::from(center)).coords, radius + kind.melt))
            .collect();
        Self {
            solid,
            solid_from_world: rotation.matrix().transpose(),
            origin: world_from_solid.translation.vector,
            cut: None,
            melt: kind.melt,
            group: kind.group,
            paint: kind.paint,
            bone: kind.bone,
            balls,
        }
    }

    /// The same part without everything beyond a plane of its own frame.
    #[must_use]
    pub fn cut_at(mut self, normal: V3, at: f32) -> Self {
        self.cut = Some((normal, at));
        self
    }

    /// Distance of a world point.
    #[inline(always)]
    pub fn distance(&self, world: &V3) -> f32 {
        let p = self.solid_from_world * (world - self.origin);
        let distance = self.solid.distance(&p);
        self.cut.map_or(distance, |(normal, at)| distance.max(normal.dot(&p) - at))
    }
}

/// Union of two distances that melts where both are within `melt` of each other.
#[inline]
#[must_use]
pub fn melted(a: f32, b: f32, melt: f32) -> f32 {
    let nearness = (melt - (a - b).abs()).max(0.0);
    if nearness > 0.0 { a.min(b) - nearness * nearness / (4.0 * melt) } else { a.min(b) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_on_the_axes_are_those_of_the_balls() {
        let cone = Solid::round_cone(100.0, 30.0, 10.0, [1.0, 1.0]);
        assert!((cone.distance(&V3::new(0.0, -50.0, 0.0)) - 20.0).abs() < 1e-4);
        assert!((cone.distance(&V3::new(0.0, 130.0, 0.0)) - 20.0).abs() < 1e-4);
        let ball = Solid::ellipsoid(V3::new(20.0, 20.0, 20.0));
        assert!((ball.distance(&V3::new(0.0, 0.0, 50.0)) - 30.0).abs() < 1e-4);
        let cube = Solid::RoundBox { half: V3::new(10.0, 20.0, 30.0), edge: 2.0 };
        assert!((cube.distance(&V3::new(15.0, 0.0, 0.0)) - 5.0).abs() < 1e-4);
    }

    #[test]
    fn a_cone_is_measured_at_right_angles_to_its_side() {
        // Radii 30 and 10 over 100: the side leans by sin = 0.2, cos = sqrt(0.96). At (x, y) = (50, 40) the distance is
        // 50 sqrt(0.96) + 40 * 0.2 - 30 = 26.98979.
        let cone = Solid::round_cone(100.0, 30.0, 10.0, [1.0, 1.0]);
        assert!((cone.distance(&V3::new(50.0, 40.0, 0.0)) - 26.989_79).abs() < 1e-3);
    }

    #[test]
    fn widened_cone_reaches_further_along_that_axis_only() {
        let cone = Solid::round_cone(100.0, 30.0, 30.0, [1.0, 2.0]);
        assert!(cone.distance(&V3::new(0.0, 50.0, 60.0)).abs() < 1e-4);
        assert!(cone.distance(&V3::new(30.0, 50.0, 0.0)).abs() < 1e-4);
    }

    #[test]
    fn melting_never_leaves_less_than_the_union() {
        for (a, b) in [(5.0_f32, 7.0_f32), (7.0, 5.0), (-3.0, 20.0), (0.0, 0.0)] {
            assert!(melted(a, b, 10.0) <= a.min(b));
            assert!(melted(a, b, 10.0) >= a.min(b) - 2.5); // a quarter of the width at most
        }
    }
}
