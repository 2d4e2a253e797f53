//! Pictures of the calibration board, as an invented camera sees it.

use std::path::Path;

use image::{Rgb, RgbImage};

/// Focal length of the invented camera, px.
pub const FOCAL_PX: f64 = 610.0;

/// Size of its pictures, px.
pub const SIZE: [u32; 2] = [640, 480];

/// Where the board is in an invented view: turns about x, y and z in deg (x first), and the place of its middle, mm.
#[derive(Clone, Copy)]
pub struct Pose {
    pub turn_deg: [f64; 3],
    pub middle_mm: [f64; 3],
}

/// The board 9 x 6 of 25 mm as a pinhole camera without distortion sees it; every pixel is the mean of 9 points of it. Written
/// for this test out of plain arithmetic, and shares nothing with the tool's own projection.
pub fn picture(pose: Pose) -> RgbImage {
    let [a, b, c] = pose.turn_deg.map(f64::to_radians);
    let turn = |[x, y, z]: [f64; 3]| {
        let (y, z) = (y * a.cos() - z * a.sin(), y * a.sin() + z * a.cos());
        let (x, z) = (x * b.cos() + z * b.sin(), z * b.cos() - x * b.sin());
        [x * c.cos() - y * c.sin(), x * c.sin() + y * c.cos(), z]
    };
    let (u, v, n) = (turn([1.0, 0.0, 0.0]), turn([0.0, 1.0, 0.0]), turn([0.0, 0.0, 1.0]));
    let dot = |p: [f64; 3], q: [f64; 3]| p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
    RgbImage::from_fn(SIZE[0], SIZE[1], |x, y| {
        let mut sum = 0.0;
        for step in 0..9_u32 {
            let px = f64::from(x) + f64::from(step % 3) / 3.0 - 1.0 / 3.0;
            let py = f64::from(y) + f64::from(step / 3) / 3.0 - 1.0 / 3.0;
            let ray = [(px - 319.5) / FOCAL_PX, (py - 239.5) / FOCAL_PX, 1.0];
            let depth = dot(pose.middle_mm, n) / dot(ray, n);
            let from_middle: [f64; 3] = std::array::from_fn(|axis| depth * ray[axis] - pose.middle_mm[axis]);
            sum += brightness(dot(from_middle, u) / 25.0 + 5.0, dot(from_middle, v) / 25.0 + 3.5);
        }
        let value = (sum / 9.0_f64).round() as u8;
        Rgb([value; 3])
    })
}

/// Squares counted from the board's outer corner, 10 across and 7 down.
fn brightness(across: f64, down: f64) -> f64 {
    let is_board = (0.0..10.0).contains(&across) && (0.0..7.0).contains(&down);
    let is_paper = (-0.8..10.8).contains(&across) && (-0.8..7.8).contains(&down);
    match (is_board, is_paper) {
        (true, _) if (across.floor() + down.floor()).rem_euclid(2.0) < 0.5 => 35.0,
        (_, true) => 215.0,
        _ => 110.0,
    }
}

pub fn poses() -> Vec<Pose> {
    [
        ([0.0, 0.0, 0.0], [0.0, 0.0, 330.0]),
        ([30.0, 0.0, 0.0], [-40.0, -30.0, 380.0]),
        ([-30.0, 5.0, 0.0], [40.0, 30.0, 380.0]),
        ([0.0, 35.0, 0.0], [-50.0, 40.0, 370.0]),
        ([5.0, -35.0, 0.0], [60.0, -40.0, 370.0]),
        ([25.0, 25.0, 20.0], [-60.0, 0.0, 420.0]),
        ([-25.0, 25.0, -25.0], [60.0, 0.0, 420.0]),
        ([25.0, -25.0, 90.0], [0.0, 0.0, 450.0]),
        ([-20.0, -30.0, 10.0], [-80.0, -60.0, 480.0]),
        ([-35.0, 10.0, 5.0], [90.0, 60.0, 480.0]),
        ([20.0, 30.0, -10.0], [80.0, -60.0, 460.0]),
        ([30.0, -20.0, 15.0], [-80.0, 60.0, 460.0]),
    ]
    .into_iter()
    .map(|(turn_deg, middle_mm)| Pose { turn_deg, middle_mm })
    .collect()
}

/// Writes a picture of each pose; gives their paths.
pub fn write_stills(folder: &Path, poses: &[Pose]) -> Vec<String> {
    poses
        .iter()
        .enumerate()
        .map(|(index, pose)| {
            let path = folder.join(format!("view-{index:02}.png"));
            picture(*pose).save(&path).unwrap();
            path.to_str().unwrap().to_owned()
        })
        .collect()
}
