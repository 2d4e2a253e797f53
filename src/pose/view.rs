//! From the body frame through the room into the picture.
//!
//! The room frame has its origin in the camera: X to the camera's right, Y up along the plumb line, Z back towards the
//! photographer, and the camera's axis in the plane X = 0. At heading 0 the body frame is parallel to it: the person faces
//! the picture's right and shows the right side.

use super::body::Parameters;
use super::dual::Scalar;
use super::layout::{frame, lens as lens_block, local, reach, setup};
use super::vector::Vector3;
use crate::camera::Lens;

/// Standard deviation factors of a lens: `intrinsics = mean + factor · z` with standard normal `z`.
#[derive(Debug, Clone)]
pub(super) struct LensModel {
    mean: [f64; lens_block::COUNT],
    factor: [[f64; lens_block::COUNT]; lens_block::COUNT],
}

impl LensModel {
    /// The lens with its covariance factored by eigenvalues, so that a semi-definite covariance will do.
    pub(super) fn new(lens: &Lens) -> Self {
        let [k1, k2, p1, p2, k3] = lens.distortion;
        let eigen = lens.covariance.symmetric_eigen();
        let mut factor = [[0.0; lens_block::COUNT]; lens_block::COUNT];
        for (i, row) in factor.iter_mut().enumerate() {
            for (j, value) in row.iter_mut().enumerate() {
                *value = eigen.eigenvectors[(i, j)] * eigen.eigenvalues[j].max(0.0).sqrt();
            }
        }
        Self { mean: [lens.fx, lens.fy, lens.cx, lens.cy, k1, k2, p1, p2, k3], factor }
    }

    /// The nine intrinsics for these deviates.
    fn intrinsics<S: Scalar>(&self, p: &Parameters<S>) -> [S; lens_block::COUNT] {
        std::array::from_fn(|i| {
            (0..lens_block::COUNT).fold(S::constant(self.mean[i]), |sum, j| {
                if self.factor[i][j] == 0.0 { sum } else { sum + p[local::LENS + j] * self.factor[i][j] }
            })
        })
    }
}

/// How one frame's body frame is seen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sight<S> {
    hip: Vector3<S>,
    distance_mm: S,
    heading: [S; 2],
    roll: [S; 2],
    pitch: [S; 2],
    plumb_azimuth: [S; 2],
    plumb_tilt: S,
    datum: Vector3<S>,
    intrinsics: [S; lens_block::COUNT],
}

impl<S: Scalar> Sight<S> {
    /// The sight for these parameters.
    pub(super) fn from_parameters(p: &Parameters<S>, lens: &LensModel) -> Self {
        let of_setup = |index: usize| p[local::SETUP + index];
        let of_reach = |index: usize| p[local::REACH + index];
        let of_frame = |index: usize| p[local::FRAME + index];
        let sin_cos = |angle: S| [angle.sin(), angle.cos()];
        let distance_mm = of_setup(setup::LOG_DISTANCE).exp();
        let towards = |azimuth: S, elevation: S| {
            let ([sin_a, cos_a], [sin_e, cos_e]) = (sin_cos(azimuth), sin_cos(elevation));
            Vector3::new(sin_a * cos_e, sin_e, -(cos_a * cos_e))
        };
        let shift = |axis: usize| of_reach(reach::SHIFT_MM[axis]) + of_frame(frame::SHIFT_MM[axis]);
        let hip = towards(of_setup(setup::AZIMUTH), of_setup(setup::ELEVATION)).scaled(distance_mm)
            + Vector3::new(shift(0), shift(1), shift(2));
        let datum_mm = distance_mm * of_setup(setup::DATUM_LOG_DEPTH).exp();
        Self {
            hip,
            distance_mm,
            heading: sin_cos(of_setup(setup::HEADING) + of_reach(reach::TURN)),
            roll: sin_cos(of_setup(setup::ROLL)),
            pitch: sin_cos(of_setup(setup::PITCH)),
            plumb_azimuth: sin_cos(of_setup(setup::PLUMB_AZIMUTH)),
            plumb_tilt: of_setup(setup::PLUMB_TILT),
            datum: towards(of_setup(setup::DATUM_AZIMUTH), of_setup(setup::DATUM_ELEVATION)).scaled(datum_mm),
            intrinsics: lens.intrinsics(p),
        }
    }

    /// A point of the body frame in the room frame, mm.
    pub(super) fn room_from_body(&self, point: Vector3<S>) -> Vector3<S> {
        self.hip + point.turned_about_y(self.heading[0], self.heading[1])
    }

    /// The datum in the room frame, mm.
    pub(super) const fn datum(&self) -> Vector3<S> {
        self.datum
    }

    /// The point of the plumb line that is `slope` times as high as it is far, in the room frame, mm.
    pub(super) fn plumb_point(&self, slope: f64) -> Vector3<S> {
        let [sin_a, cos_a] = self.plumb_azimuth;
        let across = self.plumb_tilt * slope;
        let direction = Vector3::new(sin_a + cos_a * across, S::constant(slope), sin_a * across - cos_a);
        direction.scaled(self.distance_mm)
    }

    /// A point of the room frame in the picture, px. Not finite for a point beside or behind the camera.
    pub(super) fn image_from_room(&self, point: Vector3<S>) -> [S; 2] {
        let ([sin_p, cos_p], [sin_r, cos_r]) = (self.pitch, self.roll);
        let (level_x, level_y, level_z) = (point.x, -point.y, -point.z);
        let pitched_y = cos_p * level_y - sin_p * level_z;
        let z = sin_p * level_y + cos_p * level_z;
        if z.value() <= NEAREST_MM {
            return [S::constant(f64::NAN), S::constant(f64::NAN)];
        }
        let depth = z.recip();
        let x = (cos_r * level_x - sin_r * pitched_y) * depth;
        let y = (sin_r * level_x + cos_r * pitched_y) * depth;
        distort(&self.intrinsics, x, y)
    }
}

/// A point nearer to the camera than this, mm, has no projection.
const NEAREST_MM: f64 = 1.0;

/// The picture's point for a normalized one, by the Brown-Conrady model with intrinsics fx fy cx cy k1 k2 p1 p2 k3.
fn distort<S: Scalar>(intrinsics: &[S; lens_block::COUNT], x: S, y: S) -> [S; 2] {
    let [fx, fy, cx, cy, k1, k2, p1, p2, k3] = *intrinsics;
    let (xx, yy, xy) = (x * x, y * y, x * y);
    let r2 = xx + yy;
    let radial = ((k3 * r2 + k2) * r2 + k1) * r2 + 1.0;
    let distorted_x = x * radial + p1 * xy * 2.0 + p2 * (r2 + xx * 2.0);
    let distorted_y = y * radial + p2 * xy * 2.0 + p1 * (r2 + yy * 2.0);
    [fx * distorted_x + cx, fy * distorted_y + cy]
}
