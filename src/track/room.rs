//! How the camera moved between two pictures of one room: a similarity of the picture, from points that stand still.
//!
//! It assumes that more of the picture's texture belongs to the room than to the person, and a camera that turned, rolled or
//! moved a little: parallax of the room is not modelled and shows as fewer points that agree.

use nalgebra::{Matrix4, Vector4};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use crate::geometry::ImagePoint;

use super::flow::{FlowOptions, flow_both_ways};
use super::plane::Plane;
use super::pyramid::Pyramid;

/// Cells across and down, of which each gives its best point.
const CELLS: [usize; 2] = [20, 12];
/// Half the side of the window over which texture is summed, px of the level.
const TEXTURE_HALF_PX: usize = 3;
/// The way back may miss by so much, px at [`super::carry::SCALE_AT_PX`].
const BACK_MAX_PX: f64 = 0.3;
/// A point agrees with a movement within this, px at [`super::carry::SCALE_AT_PX`].
const AGREE_PX: f64 = 0.6;
/// Pairs of points tried.
const TRIES: usize = 400;
/// Fewer points that agree than this tell nothing.
const AGREE_MIN: usize = 12;

/// A movement of the picture: turn, scale and shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PictureMotion {
    /// Scale times cosine and sine of the turn, less the identity: `x' = x + a x - b y + shift`.
    a: f64,
    b: f64,
    shift: [f64; 2],
    /// Points of the room that agree.
    pub points: usize,
    /// Root mean square of their distances from it, px.
    pub rms_px: f64,
}

impl PictureMotion {
    /// Where a point of the first picture's room is in the second, px.
    #[must_use]
    pub fn apply(&self, point: ImagePoint) -> ImagePoint {
        ImagePoint::new(
            point.x + self.a * point.x - self.b * point.y + self.shift[0],
            point.y + self.b * point.x + self.a * point.y + self.shift[1],
        )
    }

    /// The same of pictures so many times as large.
    pub(crate) fn enlarged(self, by: f64) -> Self {
        Self { shift: self.shift.map(|px| by * px), rms_px: by * self.rms_px, ..self }
    }

    /// How far it turns the picture, deg, clockwise as seen.
    #[must_use]
    pub fn turn_deg(&self) -> f64 {
        self.b.atan2(1.0 + self.a).to_degrees()
    }

    /// The farthest that a corner of a picture of this size moves, px.
    #[must_use]
    pub fn largest_px(&self, size: [u32; 2]) -> f64 {
        let [width, height] = size.map(f64::from);
        [(0.0, 0.0), (width, 0.0), (0.0, height), (width, height)]
            .into_iter()
            .map(|(x, y)| {
                let moved = self.apply(ImagePoint::new(x, y));
                (moved.x - x).hypot(moved.y - y)
            })
            .fold(0.0, f64::max)
    }
}

/// How the room moved from one picture to the other. `None` where too few points agree: another room, or too little in it.
pub(crate) fn picture_motion(from: &Pyramid, to: &Pyramid, scale: f64) -> Option<PictureMotion> {
    let options = FlowOptions::default();
    let pairs: Vec<(ImagePoint, ImagePoint)> = textured_points(from)
        .into_iter()
        .filter_map(|point| {
            let (found, back_px) = flow_both_ways(from, to, point, point, &options).ok()?;
            (back_px <= BACK_MAX_PX * scale).then_some((point, found.point))
        })
        .collect();
    consensus(&pairs, AGREE_PX * scale, AGREE_MIN)
}

/// The movement on which most of the pairs (from, to; px) agree within `agree_px`; `None` if fewer than `agree_min` do.
pub(crate) fn consensus(pairs: &[(ImagePoint, ImagePoint)], agree_px: f64, agree_min: usize) -> Option<PictureMotion> {
    if pairs.len() < agree_min {
        return None;
    }
    // Drawn by a seed of its own: the same pictures give the same digits.
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut best: Vec<usize> = Vec::new();
    for _ in 0..TRIES {
        let pair = [rng.random_range(0..pairs.len()), rng.random_range(0..pairs.len())];
        let Some(motion) = fitted(pairs, &pair) else { continue };
        let agreeing = agreeing(pairs, &motion, agree_px);
        if agreeing.len() > best.len() {
            best = agreeing;
        }
    }
    for _ in 0..3 {
        let motion = fitted(pairs, &best)?;
        best = agreeing(pairs, &motion, agree_px);
    }
    let motion = fitted(pairs, &best)?;
    (motion.points >= agree_min).then_some(motion)
}

fn agreeing(pairs: &[(ImagePoint, ImagePoint)], motion: &PictureMotion, agree_px: f64) -> Vec<usize> {
    (0..pairs.len()).filter(|index| distance_px(&pairs[*index], motion) <= agree_px).collect()
}

fn distance_px((from, to): &(ImagePoint, ImagePoint), motion: &PictureMotion) -> f64 {
    let moved = motion.apply(*from);
    (moved.x - to.x).hypot(moved.y - to.y)
}

/// The least-squares movement of some of the pairs; `None` where they do not determine one.
fn fitted(pairs: &[(ImagePoint, ImagePoint)], chosen: &[usize]) -> Option<PictureMotion> {
    let mut normal = Matrix4::zeros();
    let mut right = Vector4::zeros();
    for (from, to) in chosen.iter().map(|index| pairs[*index]) {
        // In thousands of px, so that turn and shift weigh alike in the factorization.
        let (x, y) = (from.x / 1000.0, from.y / 1000.0);
        for (row, moved) in
            [(Vector4::new(x, -y, 1.0, 0.0), to.x - from.x), (Vector4::new(y, x, 0.0, 1.0), to.y - from.y)]
        {
            normal += row * row.transpose();
            right += row * moved;
        }
    }
    let solution = normal.cholesky()?.solve(&right);
    let mut motion = PictureMotion {
        a: solution[0] / 1000.0,
        b: solution[1] / 1000.0,
        shift: [solution[2], solution[3]],
        points: chosen.len(),
        rms_px: 0.0,
    };
    let square: f64 = chosen.iter().map(|index| distance_px(&pairs[*index], &motion).powi(2)).sum();
    motion.rms_px = (square / chosen.len() as f64).sqrt();
    (motion.a.abs() < 0.2 && motion.b.abs() < 0.2).then_some(motion)
}

/// The point with the strongest texture of every cell, px of the picture, found on half size.
fn textured_points(pyramid: &Pyramid) -> Vec<ImagePoint> {
    let level = 1.min(pyramid.count() - 1);
    let plane = pyramid.level(level);
    let scale = super::affine::scale_of(level);
    let (width, height) = plane.size();
    let border = 2 * TEXTURE_HALF_PX + 2;
    let [columns, rows] = CELLS;
    let mut points = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let xs = (column * width / columns).max(border)
                ..((column + 1) * width / columns).min(width.saturating_sub(border));
            let ys = (row * height / rows).max(border)..((row + 1) * height / rows).min(height.saturating_sub(border));
            let mut best = (super::flow::TEXTURE_MIN * 10.0, None);
            for y in ys.step_by(2) {
                for x in xs.clone().step_by(2) {
                    let strength = texture(plane, x, y);
                    if strength > best.0 {
                        best = (strength, Some((x, y)));
                    }
                }
            }
            if let Some((x, y)) = best.1 {
                points.push(ImagePoint::new(x as f64 / scale, y as f64 / scale));
            }
        }
    }
    points
}

/// The smaller eigenvalue of the mean outer product of derivatives around a pixel.
fn texture(plane: &Plane, x: usize, y: usize) -> f64 {
    let (mut xx, mut xy, mut yy) = (0, 0, 0);
    for row in y - TEXTURE_HALF_PX..=y + TEXTURE_HALF_PX {
        let [above, here, below] = [row - 1, row, row + 1].map(|row| plane.row(row));
        for column in x - TEXTURE_HALF_PX..=x + TEXTURE_HALF_PX {
            let across = i32::from(here[column + 1]) - i32::from(here[column - 1]);
            let down = i32::from(below[column]) - i32::from(above[column]);
            xx += across * across;
            xy += across * down;
            yy += down * down;
        }
    }
    let side = 2 * TEXTURE_HALF_PX + 1;
    // derivatives over two px: a quarter of the product
    let mean = |sum: i32| f64::from(sum) / (4.0 * (side * side) as f64);
    let (xx, xy, yy) = (mean(xx), mean(xy), mean(yy));
    f64::midpoint(xx, yy) - (0.5 * (xx - yy)).hypot(xy)
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;

    fn room(turn_rad: f64, shift: [f64; 2], person: Option<f64>) -> Pyramid {
        let (sin, cos) = turn_rad.sin_cos();
        let image = GrayImage::from_fn(480, 300, |x, y| {
            let (x, y) = (f64::from(x), f64::from(y));
            // back from the picture to the room: the inverse of a turn and a shift
            let (x0, y0) = (x - shift[0], y - shift[1]);
            let (mut u, mut v) = (cos * x0 + sin * y0, -sin * x0 + cos * y0);
            if let Some(person) = person
                && (180.0..300.0).contains(&x)
                && (60.0..260.0).contains(&y)
            {
                (u, v) = (u + 500.0 + person, v + 77.0 - person);
            }
            let waves = (u / 3.7).sin() * (v / 4.9).cos() + (u / 13.0 + v / 9.0).sin() + (v / 19.0 - u / 23.0).cos();
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
            Luma([(110.0 + 25.0 * waves).round() as u8])
        });
        Pyramid::of(&image, 4)
    }

    #[test]
    fn camera_that_stood_still_is_found_still_though_the_person_moved() {
        let motion = picture_motion(&room(0.0, [0.0, 0.0], Some(0.0)), &room(0.0, [0.0, 0.0], Some(5.0)), 1.0).unwrap();
        assert!(motion.largest_px([480, 300]) < 0.05, "{motion:?}");
    }

    #[test]
    fn turned_and_shifted_camera_is_found() {
        let motion = picture_motion(&room(0.0, [0.0, 0.0], None), &room(0.006, [3.0, -2.0], None), 1.0).unwrap();
        let moved = motion.apply(ImagePoint::new(240.0, 150.0));
        let (sin, cos) = 0.006_f64.sin_cos();
        let truth = (cos * 240.0 - sin * 150.0 + 3.0, sin * 240.0 + cos * 150.0 - 2.0);
        assert!((moved.x - truth.0).hypot(moved.y - truth.1) < 0.05, "{motion:?}");
    }

    #[test]
    fn blank_room_tells_nothing() {
        let blank = Pyramid::of(&GrayImage::from_pixel(320, 200, Luma([128])), 4);
        assert_eq!(picture_motion(&blank, &blank, 1.0), None);
    }
}
