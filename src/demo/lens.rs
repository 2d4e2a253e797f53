//! The scene's camera: where it stands, where it looks, and what its lens does. World mm in, image px out, and back.
//!
//! This is the demo's own projection. It shares nothing with the rooms that measure, so that a fault in one cannot hide
//! in the other.

use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};
use serde::Serialize;

use crate::geometry::ImagePoint;

/// Newton steps allowed for undoing the distortion; four suffice for a phone's lens.
const UNDISTORT_MAX_STEPS: usize = 20;

/// The undistortion ends when a step is below this, in units of the plane z = 1 (about a millionth of a pixel).
const UNDISTORT_STEP_TOL: f64 = 1e-9;

/// Intrinsics and Brown-Conrady distortion of the scene's camera.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SceneLens {
    /// Width and height of the picture, px.
    pub image_size: [u32; 2],
    /// Focal length along x, px.
    pub fx: f64,
    /// Focal length along y, px.
    pub fy: f64,
    /// Principal point along x, px from the centre of the top-left pixel.
    pub cx: f64,
    /// Principal point along y, px from the centre of the top-left pixel.
    pub cy: f64,
    /// k1, k2, p1, p2, k3.
    pub distortion: [f64; 5],
}

impl SceneLens {
    /// The image point of a direction given on the plane z = 1, x right and y down.
    #[must_use]
    pub fn image_point(&self, plane: Vector2<f64>) -> ImagePoint {
        let distorted = self.distort(plane);
        ImagePoint::new(self.fx * distorted.x + self.cx, self.fy * distorted.y + self.cy)
    }

    /// The direction on the plane z = 1 that is seen at an image point.
    #[must_use]
    pub fn plane_point(&self, image: ImagePoint) -> Vector2<f64> {
        let distorted = Vector2::new((image.x - self.cx) / self.fx, (image.y - self.cy) / self.fy);
        let mut plane = distorted;
        for _ in 0..UNDISTORT_MAX_STEPS {
            let excess = self.distort(plane) - distorted;
            let Some(step) = self.distortion_slope(plane).try_inverse().map(|inverse| inverse * excess) else { break };
            plane -= step;
            if step.norm() < UNDISTORT_STEP_TOL {
                break;
            }
        }
        plane
    }

    /// The same lens at another picture size of the same aspect.
    #[must_use]
    pub fn scaled_to(&self, width_px: u32) -> Self {
        let scale = f64::from(width_px) / f64::from(self.image_size[0]);
        let height = self.image_size[1] * width_px / self.image_size[0];
        Self {
            image_size: [width_px, height],
            fx: self.fx * scale,
            fy: self.fy * scale,
            cx: (self.cx + 0.5) * scale - 0.5,
            cy: (self.cy + 0.5) * scale - 0.5,
            distortion: self.distortion,
        }
    }

    /// # Source
    /// Brown (1966), Decentering distortion of lenses, Photogrammetric Engineering 32(3), 444-462, in the order of terms
    /// that general vision libraries use.
    fn distort(&self, plane: Vector2<f64>) -> Vector2<f64> {
        let [k1, k2, p1, p2, k3] = self.distortion;
        let (x, y) = (plane.x, plane.y);
        let r2 = x * x + y * y;
        let radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        Vector2::new(
            x * radial + 2.0 * p1 * x * y + p2 * (r2 + 2.0 * x * x),
            y * radial + p1 * (r2 + 2.0 * y * y) + 2.0 * p2 * x * y,
        )
    }

    /// Derivative of [`Self::distort`].
    fn distortion_slope(&self, plane: Vector2<f64>) -> Matrix2<f64> {
        let [k1, k2, p1, p2, k3] = self.distortion;
        let (x, y) = (plane.x, plane.y);
        let r2 = x * x + y * y;
        let radial = 1.0 + r2 * (k1 + r2 * (k2 + r2 * k3));
        let radial_slope = 2.0 * (k1 + r2 * (2.0 * k2 + r2 * 3.0 * k3)); // d radial / d x, divided by x
        let mixed = radial_slope * x * y + 2.0 * p1 * x + 2.0 * p2 * y;
        Matrix2::new(
            radial + radial_slope * x * x + 2.0 * p1 * y + 6.0 * p2 * x,
            mixed,
            mixed,
            radial + radial_slope * y * y + 6.0 * p1 * y + 2.0 * p2 * x,
        )
    }
}

/// A camera standing in the room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SceneCamera {
    /// The lens.
    pub lens: SceneLens,
    /// Where the camera is, world mm.
    pub position_mm: Vector3<f64>,
    /// Rows are the camera's x (right), y (down) and z (forward) axes in the world.
    pub camera_from_world: Matrix3<f64>,
}

impl SceneCamera {
    /// A camera at `position_mm` looking at `target_mm`, both world mm, turned about its own axis by `roll_deg`: positive
    /// turns the camera clockwise as seen from behind it, the picture counter-clockwise.
    #[must_use]
    pub fn looking_at(lens: SceneLens, position_mm: Vector3<f64>, target_mm: Vector3<f64>, roll_deg: f64) -> Self {
        let forward = (target_mm - position_mm).normalize();
        let level_right = forward.cross(&Vector3::y()).normalize();
        let level_down = forward.cross(&level_right);
        let (sin, cos) = roll_deg.to_radians().sin_cos();
        let right = level_right * cos + level_down * sin;
        let down = level_down * cos - level_right * sin;
        let camera_from_world = Matrix3::from_rows(&[right.transpose(), down.transpose(), forward.transpose()]);
        Self { lens, position_mm, camera_from_world }
    }

    /// Where a world point is seen; `None` behind the camera.
    #[must_use]
    pub fn project(&self, world_mm: &Vector3<f64>) -> Option<ImagePoint> {
        let camera = self.camera_from_world * (world_mm - self.position_mm);
        (camera.z > 0.0).then(|| self.lens.image_point(Vector2::new(camera.x / camera.z, camera.y / camera.z)))
    }

    /// Unit direction, in the world, of the ray that is seen at an image point.
    #[must_use]
    pub fn ray(&self, image: ImagePoint) -> Vector3<f64> {
        let plane = self.lens.plane_point(image);
        self.camera_from_world.tr_mul(&Vector3::new(plane.x, plane.y, 1.0)).normalize()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plain_lens() -> SceneLens {
        SceneLens { image_size: [1280, 720], fx: 1000.0, fy: 1000.0, cx: 640.0, cy: 360.0, distortion: [0.0; 5] }
    }

    const TOLERANCE_PX: f64 = 1e-9; // rounding of a dozen operations on numbers of some thousand

    fn assert_at(found: ImagePoint, x: f64, y: f64) {
        assert!(found.distance_px(ImagePoint::new(x, y)) < TOLERANCE_PX, "{found:?}, expected {x}, {y}");
    }

    #[test]
    fn pinhole_from_the_persons_right_agrees_with_similar_triangles() {
        // The camera stands 3000 mm to the person's right, 1000 mm up, and looks along -Z: the person's front (+X) is to
        // the right of the picture. A point 300 mm in front and 600 mm above the axis, 2500 mm away:
        // x = 640 + 1000*300/2500 = 760, y = 360 - 1000*600/2500 = 120.
        let camera = SceneCamera::looking_at(
            plain_lens(),
            Vector3::new(0.0, 1000.0, 3000.0),
            Vector3::new(0.0, 1000.0, 0.0),
            0.0,
        );
        let seen = camera.project(&Vector3::new(300.0, 1600.0, 500.0)).expect("it is in front");
        assert_at(seen, 760.0, 120.0);
        assert!(camera.project(&Vector3::new(0.0, 1000.0, 3001.0)).is_none());
    }

    #[test]
    fn pinhole_from_the_front_has_the_persons_left_on_the_right() {
        // From 2000 mm in front, 500 mm to the person's left (-Z) is on the right: x = 640 + 1000*500/2000 = 890.
        let camera = SceneCamera::looking_at(
            plain_lens(),
            Vector3::new(2000.0, 1200.0, 0.0),
            Vector3::new(0.0, 1200.0, 0.0),
            0.0,
        );
        assert_at(camera.project(&Vector3::new(0.0, 1200.0, -500.0)).expect("it is in front"), 890.0, 360.0);
    }

    #[test]
    fn camera_looking_down_by_a_3_4_5_triangle() {
        // From (0, 400, 300) towards the origin: forward = (0, -0.8, -0.6), right = (1, 0, 0), down = forward x right =
        // (0, -0.6, 0.8). The point (100, 0, 250) is (100, -400, -50) from the camera: z = 320 + 30 = 350,
        // y = 240 - 40 = 200, x = 100. So u = 640 + 1000*100/350 and v = 360 + 1000*200/350.
        let camera = SceneCamera::looking_at(plain_lens(), Vector3::new(0.0, 400.0, 300.0), Vector3::zeros(), 0.0);
        let seen = camera.project(&Vector3::new(100.0, 0.0, 250.0)).expect("it is in front");
        assert_at(seen, 640.0 + 2000.0 / 7.0, 360.0 + 4000.0 / 7.0);
    }

    #[test]
    fn a_camera_rolled_clockwise_turns_the_picture_the_other_way() {
        // A quarter turn clockwise: what was up (y = 160) is now to the left, 200 px from the middle.
        let camera = SceneCamera::looking_at(plain_lens(), Vector3::new(0.0, 0.0, 1000.0), Vector3::zeros(), 90.0);
        assert_at(camera.project(&Vector3::new(0.0, 200.0, 0.0)).expect("it is in front"), 440.0, 360.0);
    }

    #[test]
    fn distortion_agrees_with_numbers_worked_out_by_hand() {
        // (x, y) = (0.3, 0.4): r2 = 0.25. With k1 = 0.08, k2 = -0.16, k3 = 0.064 the radial factor is
        // 1 + 0.02 - 0.01 + 0.001 = 1.011. With p1 = 0.01, p2 = -0.02:
        // dx = 2*0.01*0.12 - 0.02*(0.25 + 0.18) = 0.0024 - 0.0086 = -0.0062
        // dy = 0.01*(0.25 + 0.32) - 2*0.02*0.12 = 0.0057 - 0.0048 = 0.0009
        // x' = 0.3033 - 0.0062 = 0.2971, y' = 0.4044 + 0.0009 = 0.4053; u = 640 + 297.1, v = 360 + 405.3.
        let lens = SceneLens { distortion: [0.08, -0.16, 0.01, -0.02, 0.064], ..plain_lens() };
        assert_at(lens.image_point(Vector2::new(0.3, 0.4)), 937.1, 765.3);
    }

    #[test]
    fn agrees_with_the_projections_of_the_left_intrinsics_sample() {
        // Values of OpenCV's sample file left_intrinsics.yml; its projections were recomputed from the model's formula.
        let lens = SceneLens {
            image_size: [640, 480],
            fx: 535.915733961632,
            fy: 535.915733961632,
            cx: 342.28315473308373,
            cy: 235.57082909788173,
            distortion: [
                -0.2663726090966068,
                -0.03858889892230465,
                0.0017831947042852964,
                -0.0002812210044111547,
                0.23839153080878486,
            ],
        };
        for (plane, px) in [
            ([0.1, 0.05], [395.700646681583, 262.29246254062184]),
            ([-0.3, 0.2], [186.9350592476302, 339.2473979617355]),
            ([0.5, -0.4], [583.1216065077598, 43.24244780902285]),
        ] {
            assert_at(lens.image_point(Vector2::new(plane[0], plane[1])), px[0], px[1]);
        }
    }

    #[test]
    fn a_ray_goes_through_the_point_that_is_seen_there() {
        let lens = SceneLens { distortion: [0.1, -0.22, 0.0004, -0.0006, 0.11], ..plain_lens() };
        let camera =
            SceneCamera::looking_at(lens, Vector3::new(200.0, 1300.0, 2900.0), Vector3::new(100.0, 1000.0, 0.0), 1.5);
        for point in
            [Vector3::new(0.0, 300.0, 0.0), Vector3::new(900.0, 1700.0, 400.0), Vector3::new(-1200.0, 900.0, -800.0)]
        {
            let ray = camera.ray(camera.project(&point).expect("it is in front"));
            let away = point - camera.position_mm;
            assert!(ray.cross(&away).norm() < 1e-5, "the ray misses by {} mm", ray.cross(&away).norm());
        }
    }

    #[test]
    fn another_size_sees_the_same_direction_at_the_scaled_place() {
        let lens = SceneLens { distortion: [0.1, -0.22, 0.0004, -0.0006, 0.11], ..plain_lens() };
        let half = lens.scaled_to(640);
        let (full_px, half_px) = (lens.image_point(Vector2::new(0.2, -0.1)), half.image_point(Vector2::new(0.2, -0.1)));
        assert_eq!(half.image_size, [640, 360]);
        assert_at(half_px, (full_px.x + 0.5) / 2.0 - 0.5, (full_px.y + 0.5) / 2.0 - 0.5);
    }
}
