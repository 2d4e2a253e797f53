//! The bar in drawn scenes: found, refused, and carried from picture to picture.

use image::{GrayImage, Luma};
use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};

use super::super::carry::{ArmTurn, carry_marks};
use super::*;
use crate::geometry::{Landmark, Side};

/// Scenes a test draws.
const SCENES: u64 = 100;
/// Width and height of a scene, px.
const SIZE: [u32; 2] = [520, 200];
/// A grey value is the mean of so many places in a pixel, squared.
const PARTS: u32 = 2;
/// Chi-square with two degrees of freedom, and with one, below which 95 % lie.
const CHI2_95: [f64; 2] = [3.841, 5.991];

fn normal(rng: &mut impl Rng, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).unwrap().sample(rng)
}

/// A bar before a busy ground, with hands on it.
struct Scene {
    ends: [Vector2<f64>; 2],
    half_width: f64,
    taper: f64,
    bend: f64,
    /// By how much its flat ends hang over, px.
    overhang: f64,
    bar: f64,
    shade: f64,
    tips: f64,
    hands: Vec<(f64, f64, f64)>,
    blots: Vec<([f64; 4], f64, f64)>,
    blur: f64,
    noise: f64,
}

impl Scene {
    fn draw(rng: &mut impl Rng, has_hands: bool) -> Self {
        let middle = Vector2::new(normal(rng, 260.0, 5.0), rng.random_range(70.0..100.0));
        let (sin, cos) = normal(rng, 0.0, 4.0).to_radians().sin_cos();
        let half_length = rng.random_range(150.0..220.0);
        let half_width = rng.random_range(2.0..5.0);
        let along = Vector2::new(cos, sin) * half_length;
        let bar: f64 = rng.random_range(40.0..220.0);
        // A ground of boxes, some as grey as the bar; the wall behind differs from it by 25 codes at least, as any bar does
        // from some wall that a person would film it before.
        let blots = (0..18)
            .map(|_| {
                let corner = [rng.random_range(-40.0..520.0), rng.random_range(-40.0..200.0)];
                let size = [rng.random_range(10.0..160.0), rng.random_range(10.0..120.0)];
                ([corner[0], corner[1], size[0], size[1]], rng.random_range(-0.6..0.6), rng.random_range(-30.0..30.0))
            })
            .collect();
        let tilt: f64 = normal(rng, 0.0, 8.0);
        Self {
            ends: [middle - along, middle + along],
            half_width,
            taper: normal(rng, 0.0, 0.05),
            bend: normal(rng, 0.0, 0.4),
            overhang: half_width * tilt.to_radians().sin().abs(),
            bar,
            shade: rng.random_range(-25.0..25.0),
            tips: if rng.random_bool(0.5) { rng.random_range(-40.0..40.0) } else { 0.0 },
            hands: if has_hands {
                vec![
                    (-0.55, rng.random_range(8.0..14.0), rng.random_range(60.0..200.0)),
                    (0.5, rng.random_range(8.0..14.0), rng.random_range(60.0..200.0)),
                ]
            } else {
                Vec::new()
            },
            blots,
            blur: rng.random_range(0.5..1.2),
            noise: rng.random_range(1.0..4.0),
        }
    }

    fn axis(&self, place: f64) -> Vector2<f64> {
        let along = (self.ends[1] - self.ends[0]).normalize();
        let across = Vector2::new(-along.y, along.x);
        0.5 * (self.ends[0] + self.ends[1])
            + 0.5 * (self.ends[1] - self.ends[0]) * place
            // the bend leaves the ends where they are
            + across * (self.bend * (place * place - 1.0))
    }

    fn ground(&self, at: Vector2<f64>) -> f64 {
        let wall = if self.bar > 130.0 { self.bar - 45.0 } else { self.bar + 45.0 };
        self.blots.iter().fold(wall, |grey, ([x, y, width, height], lean, change)| {
            let (right, down) = (at.x - x - lean * (at.y - y), at.y - y);
            if (0.0..*width).contains(&right) && (0.0..*height).contains(&down) { grey + 0.6 * change } else { grey }
        })
    }

    fn grey(&self, at: Vector2<f64>) -> f64 {
        let half = 0.5 * (self.ends[1] - self.ends[0]);
        let along = half.normalize();
        let across = Vector2::new(-along.y, along.x);
        let from_middle = at - 0.5 * (self.ends[0] + self.ends[1]);
        let place = from_middle.dot(&along) / half.norm();
        for (hand, radius, grey) in &self.hands {
            if (at - self.axis(*hand)).norm() < *radius {
                return *grey;
            }
        }
        let off = from_middle.dot(&across) - self.bend * (place * place - 1.0);
        let ratio = off / (self.half_width * (1.0 + self.taper * place));
        // half an ellipse hangs over each end
        let overhang = self.overhang * (1.0 - ratio * ratio).max(0.0).sqrt();
        if ratio.abs() > 1.0 || (place.abs() - 1.0) * half.norm() > overhang {
            return self.ground(at);
        }
        let tip = if (1.0 - place.abs()) * half.norm() < 9.0 { self.tips } else { 0.0 };
        self.bar + self.shade * ratio + tip + 3.0 * (place * 40.0).sin()
    }

    fn picture(&self, rng: &mut impl Rng) -> GrayImage {
        let [width, height] = SIZE;
        let part = 1.0 / f64::from(PARTS);
        let sharp: Vec<f64> = (0..width * height)
            .map(|index| {
                let corner =
                    Vector2::new(f64::from(index % width), f64::from(index / width)).add_scalar(0.5 * part - 0.5);
                let places = (0..PARTS * PARTS).map(|part_index| {
                    corner + Vector2::new(f64::from(part_index % PARTS), f64::from(part_index / PARTS)) * part
                });
                places.map(|at| self.grey(at)).sum::<f64>() * part * part
            })
            .collect();
        let kernel: Vec<f64> = (-4..=4).map(|step| (-0.5 * (f64::from(step) / self.blur).powi(2)).exp()).collect();
        let sum: f64 = kernel.iter().sum();
        let blurred = |values: &[f64], step_x: i32, step_y: i32| -> Vec<f64> {
            let clamped = |at: i32, length: u32| at.clamp(0, i32::try_from(length).unwrap() - 1);
            (0..i32::try_from(height).unwrap())
                .flat_map(|y| (0..i32::try_from(width).unwrap()).map(move |x| (x, y)))
                .map(|(x, y)| {
                    let part = |(weight, step): (&f64, i32)| {
                        let [x, y] = [clamped(x + step * step_x, width), clamped(y + step * step_y, height)];
                        weight * values[usize::try_from(y * i32::try_from(width).unwrap() + x).unwrap()]
                    };
                    kernel.iter().zip(-4..=4).map(part).sum::<f64>() / sum
                })
                .collect()
        };
        let soft = blurred(&blurred(&sharp, 1, 0), 0, 1);
        GrayImage::from_fn(width, height, |x, y| {
            let grey = soft[usize::try_from(y * width + x).unwrap()] + normal(rng, 0.0, self.noise);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
            Luma([grey.round().clamp(0.0, 255.0) as u8])
        })
    }

    fn rough(&self, rng: &mut impl Rng, sd_px: f64) -> [ImagePoint; 2] {
        self.ends.map(|end| ImagePoint::new(end.x + normal(rng, 0.0, sd_px), end.y + normal(rng, 0.0, sd_px)))
    }
}

/// The share that holds is within three binomial standard errors of 95 %.
fn is_covered(held: usize, all: usize) -> bool {
    let (held, all) = (number(held), number(all));
    (held / all - 0.95).abs() <= 3.0 * (0.95 * 0.05 / all).sqrt()
}

#[test]
fn ends_and_axis_are_found_with_their_covariance_behind_hands_and_before_clutter() {
    let (mut found, mut ends, mut squares, mut held, mut held_across) = (0, 0, 0.0, 0, 0);
    let (mut across_squares, mut wrong) = (0.0, 0);
    for index in 0..SCENES {
        let rng = &mut ChaCha8Rng::seed_from_u64(31);
        rng.set_stream(index);
        let scene = Scene::draw(rng, true);
        let picture = Pyramid::of(&scene.picture(rng), 1);
        // as rough as a mark placed by hand
        let Ok(bar) = find_bar(&picture, scene.rough(rng, 1.5)) else { continue };
        found += 1;
        let along = (scene.ends[1] - scene.ends[0]).normalize();
        let across = Vector2::new(-along.y, along.x);
        for (end, truth) in bar.ends.iter().zip(scene.ends) {
            let Some(end) = end else { continue };
            let off = Vector2::new(end.point.x, end.point.y) - truth;
            ends += 1;
            squares += off.norm_squared();
            across_squares += off.dot(&across).powi(2);
            wrong += usize::from(off.norm() > 3.0);
            let ratio = (off.transpose() * end.covariance_px2.try_inverse().unwrap() * off)[(0, 0)];
            held += usize::from(ratio <= CHI2_95[1]);
            let across_px2 = across.dot(&(end.covariance_px2 * across));
            held_across += usize::from(off.dot(&across).powi(2) / across_px2 <= CHI2_95[0]);
        }
    }
    let rms = |squares: f64| (squares / number(ends)).sqrt();
    eprintln!(
        "{found} of {SCENES} bars, {ends} ends: rms {:.3} px, across {:.3} px; 95 % holds {:.1} %, across {:.1} %; {wrong} wrong",
        rms(squares),
        rms(across_squares),
        100.0 * number(held) / number(ends),
        100.0 * number(held_across) / number(ends)
    );
    assert!(number(found) >= 0.8 * number(usize::try_from(SCENES).unwrap()), "{found} found");
    assert!(rms(across_squares) < 0.5 && rms(squares) < 0.8, "half a px across, sub-pixel in all");
    assert!(100 * wrong <= ends, "{wrong} of {ends} ends are others");
    assert!(is_covered(held, ends) && is_covered(held_across, ends));
}

#[test]
fn where_there_is_no_bar_none_is_found() {
    let mut claimed = 0;
    for index in 0..SCENES {
        let rng = &mut ChaCha8Rng::seed_from_u64(32);
        rng.set_stream(index);
        let mut scene = Scene::draw(rng, true);
        let rough = scene.rough(rng, 3.0);
        // the bar is somewhere else
        scene.ends = scene.ends.map(|end| end + Vector2::new(0.0, 70.0));
        claimed += usize::from(find_bar(&Pyramid::of(&scene.picture(rng), 1), rough).is_ok());
    }
    eprintln!("{claimed} of {SCENES} claimed");
    assert!(claimed <= 1);
}

#[test]
fn ends_go_with_the_bar_to_another_picture_without_an_arm_that_leads_there() {
    let (mut carried, mut squares, mut ratios, mut wrong) = (0, 0.0, 0.0, 0);
    let scenes = SCENES / 2;
    for index in 0..scenes {
        let rng = &mut ChaCha8Rng::seed_from_u64(33);
        rng.set_stream(index);
        let mut scene = Scene::draw(rng, true);
        let (from, before) = (scene.picture(rng), scene.ends);
        let marked = scene.rough(rng, 1.5);
        // raised or lowered by up to 20 px of a picture 520 px wide, and shifted and tilted a little
        let [along, down] = [rng.random_range(-3.0..3.0), rng.random_range(-20.0..20.0)];
        let tilt = normal(rng, 0.0, 1.0);
        scene.ends = [before[0] + Vector2::new(along, down - tilt), before[1] + Vector2::new(along, down + tilt)];
        let to = scene.picture(rng);
        let ends = [Side::Left, Side::Right].map(Landmark::BarEnd);
        let given: Vec<_> = ends.into_iter().zip(marked).collect();
        let found = carry_marks(&from, &to, ArmTurn::Other, &given);
        for (index, (_, result)) in found.marks.iter().enumerate() {
            let Ok(end) = result else { continue };
            // the mark's own error goes along
            let own = Vector2::new(marked[index].x, marked[index].y) - before[index];
            let off = Vector2::new(end.point.x, end.point.y) - scene.ends[index] - own;
            carried += 1;
            squares += off.norm_squared();
            ratios += (off.transpose() * end.covariance_px2.try_inverse().unwrap() * off)[(0, 0)];
            wrong += usize::from(off.norm() > 3.0);
        }
    }
    let count = number(carried);
    let (rms_px, over_stated) = ((squares / count).sqrt(), (ratios / (2.0 * count)).sqrt());
    eprintln!("{carried} of {} ends, rms {rms_px:.3} px, {over_stated:.2} of stated, {wrong} wrong", 2 * scenes);
    assert!(2 * carried >= usize::try_from(scenes).unwrap(), "{carried} carried");
    assert!(rms_px < 0.8 && wrong == 0, "{rms_px} px, {wrong} wrong");
    // what both pictures have in common is counted twice: on the safe side
    assert!(over_stated < 1.1, "{over_stated}");
}

#[test]
fn a_bar_seen_end_on_is_refused() {
    let rng = &mut ChaCha8Rng::seed_from_u64(7);
    let picture = Pyramid::of(&Scene::draw(rng, false).picture(rng), 1);
    let short = find_bar(&picture, [ImagePoint::new(300.0, 200.0), ImagePoint::new(330.0, 180.0)]);
    assert!(matches!(short, Err(NoBar::Short { .. })), "{short:?}");
}
