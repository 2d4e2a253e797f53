//! A patch that is followed from frame to frame: where it is, with shift, turn or stretch free, found in little time.
//!
//! It does what [`super::affine`] does for a pair of pictures, for pictures that differ by one frame: the derivatives are those of
//! the patch itself, worked out once, and a large patch is read at some hundred points. Gain and offset of the light are free. The
//! processor's widest vectors are used, which changes no digit ([`super::window`]).
//!
//! # Source
//! Baker and Matthews (2004), Lucas-Kanade 20 years on: a unifying framework, International Journal of Computer Vision 56(3),
//! 221-255: derivatives of the template in place of the picture's (there by composition, here by addition).

use std::cell::RefCell;

use fearless_simd::{Level, dispatch};
use nalgebra::{Matrix2, SMatrix, SVector, Vector2};

use crate::geometry::ImagePoint;

use super::affine::{Warp, scale_of};
use super::pyramid::Pyramid;

/// Points of a disc, some.
const DISC_SAMPLES: f64 = 300.0;
/// Points of a band, some.
const BAND_SAMPLES: f64 = 500.0;
/// Fewer points than this hold nothing.
const SAMPLES_MIN: usize = 32;
/// Steps at the most.
const MAX_STEPS: usize = 20;
/// Steps that move no part of the patch by more end it, px.
const STEP_TOL_PX: f64 = 0.02;
/// Weight at the rim of a disc over that in its middle (common practice: a bell of half the radius).
const RIM_WEIGHT: f64 = 0.135;
/// Differences beyond this many spreads count less: Huber's constant.
const HUBER: f32 = 1.345;
/// Spread of normal noise over its mean absolute value.
const SPREAD_OF_MEAN: f32 = 1.253;
/// The turn may change by this in all at the most, as a share: beyond it another surface is meant.
const STRETCH_MAX: f64 = 0.6;

/// Discs whose points are kept at the most: those of one follower are of two sizes.
const DISCS_MAX: usize = 4;

/// A point from the middle of a patch, px of its level, and its weight.
type WeightedStep = (Vector2<f64>, f64);

thread_local! {
    /// Radius (px of the level) and points of the discs used last: their weights cost as much as reading the picture there.
    static DISCS: RefCell<Vec<(f64, Vec<WeightedStep>)>> = const { RefCell::new(Vec::new()) };
}

/// What of a patch may change beside its place and its light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Freedom {
    /// Nothing: what a patch with little texture can bear.
    Shift,
    /// It turns and grows, as a stiff body does that stays nearly at its distance.
    Similar,
    /// It turns, stretches and shears.
    Affine,
}

/// A patch that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Found {
    /// Where it is.
    pub(crate) warp: Warp,
    /// How alike it is, without gain and offset of the light: 1 the same, 0 nothing in common.
    pub(crate) likeness: f64,
}

/// One point of a patch, in px of its level.
#[derive(Clone)]
struct Sample {
    /// From the middle.
    step: Vector2<f32>,
    weight: f32,
    /// Grey value less the patch's mean.
    value: f32,
    /// Derivative of the grey value.
    slope: Vector2<f32>,
}

/// A patch of a picture, ready to be looked for.
pub(crate) struct Template {
    samples: Vec<Sample>,
    /// Distance of the furthest point from the middle, px of the level.
    reach_px: f64,
    level: usize,
}

impl Template {
    /// The disc of `radius_px` (px of the picture) around `middle` on a level of the pyramid. `None` where too little of it lies on
    /// the picture.
    pub(crate) fn disc(pyramid: &Pyramid, level: usize, middle: ImagePoint, radius_px: f64) -> Option<Self> {
        let radius_px = radius_px * scale_of(level);
        DISCS.with_borrow_mut(|discs| {
            let known = discs.iter().position(|(known_px, _)| known_px.to_bits() == radius_px.to_bits());
            let place = known.unwrap_or_else(|| {
                discs.truncate(DISCS_MAX - 1);
                discs.push((radius_px, disc_steps(radius_px)));
                discs.len() - 1
            });
            Self::of_steps(pyramid, level, middle, &discs[place].1)
        })
    }

    /// The band along a chain of points, `half_width_px` to each side of it, on a level of the pyramid. Its middle is the first of
    /// them. `None` where too little of it lies on the picture.
    pub(crate) fn band(pyramid: &Pyramid, level: usize, chain: &[ImagePoint], half_width_px: f64) -> Option<Self> {
        let scale = scale_of(level);
        let half_width = half_width_px * scale;
        let pivot = *chain.first()?;
        let places: Vec<Vector2<f64>> =
            chain.iter().map(|point| Vector2::new(point.x - pivot.x, point.y - pivot.y) * scale).collect();
        let length: f64 = places.windows(2).map(|pair| (pair[1] - pair[0]).norm()).sum();
        let spacing = (2.0 * half_width * length / BAND_SAMPLES).sqrt().max(1.0);
        let mut steps = Vec::new();
        for pair in places.windows(2) {
            let along = pair[1] - pair[0];
            let Some(direction) = along.try_normalize(1e-9) else { continue };
            let across = Vector2::new(-direction.y, direction.x);
            let mut at = 0.0;
            while at < along.norm() {
                let mut beside = -half_width;
                while beside <= half_width {
                    steps.push((pair[0] + direction * at + across * beside, 1.0));
                    beside += spacing;
                }
                at += spacing;
            }
        }
        Self::of_steps(pyramid, level, pivot, &steps)
    }

    /// A band without a stretch of it: from which share of its points to which. `None` where too little is left.
    pub(crate) fn without(&self, [from, to]: [f64; 2]) -> Option<Self> {
        let count = self.samples.len() as f64;
        let is_left = |index: usize| !(from * count..to * count).contains(&(index as f64));
        let left = self.samples.iter().enumerate().filter(|(index, _)| is_left(*index));
        Self::of_samples(left.map(|(_, sample)| sample.clone()).collect(), self.level)
    }

    /// Values become those less their mean. `None` where there are too few.
    fn of_samples(mut samples: Vec<Sample>, level: usize) -> Option<Self> {
        if samples.len() < SAMPLES_MIN {
            return None;
        }
        let (mut sum, mut weights, mut reach_px) = (0.0, 0.0, 0.0_f32);
        for Sample { step, weight, value, .. } in &samples {
            sum += weight * value;
            weights += weight;
            reach_px = reach_px.max(step.norm());
        }
        samples.iter_mut().for_each(|sample| sample.value -= sum / weights);
        Some(Self { samples, reach_px: f64::from(reach_px), level })
    }

    fn of_steps(pyramid: &Pyramid, level: usize, middle: ImagePoint, steps: &[WeightedStep]) -> Option<Self> {
        let plane = pyramid.level(level);
        let middle = Vector2::new(middle.x, middle.y) * scale_of(level);
        if !(middle.x.is_finite() && middle.y.is_finite()) {
            return None;
        }
        let mut samples = Vec::with_capacity(steps.len());
        for (step, weight) in steps {
            let (x, y) = single(middle + step);
            let at = |right: f32, down: f32| plane.at_inside(x + right, y + down);
            let (Some(value), Some(left), Some(right), Some(up), Some(down)) =
                (at(0.0, 0.0), at(-1.0, 0.0), at(1.0, 0.0), at(0.0, -1.0), at(0.0, 1.0))
            else {
                continue;
            };
            let (step_x, step_y) = single(*step);
            let (weight, _) = single(Vector2::new(*weight, 0.0));
            samples.push(Sample {
                step: Vector2::new(step_x, step_y),
                weight,
                value,
                slope: Vector2::new(0.5 * (right - left), 0.5 * (down - up)),
            });
        }
        // what hangs over the edge by more than half is no patch
        if 2 * samples.len() < steps.len() { None } else { Self::of_samples(samples, level) }
    }

    /// How alike the patch is to what lies under `warp` (px of the picture) in another picture: their weighted correlation.
    pub(crate) fn likeness(&self, to: &Pyramid, warp: &Warp) -> f64 {
        dispatch!(Level::new(), _ => self.correlation(to, warp))
    }

    #[inline(always)]
    fn correlation(&self, to: &Pyramid, warp: &Warp) -> f64 {
        let plane = to.level(self.level);
        let (middle, turn) = self.on_level(warp);
        let mut sums = [0.0_f32; 6];
        let mut all = 0.0;
        for sample in &self.samples {
            let place = middle + turn * sample.step;
            all += sample.weight;
            if let Some(value) = plane.at_inside(place.x, place.y) {
                // from mid grey, so that single precision holds the sums
                let (weight, first, second) = (sample.weight, sample.value, value - 128.0);
                for (sum, part) in
                    sums.iter_mut().zip([1.0, first, second, first * first, second * second, first * second])
                {
                    *sum += weight * part;
                }
            }
        }
        let [weight, first, second, first_square, second_square, product] = sums;
        if weight < 0.5 * all {
            return 0.0;
        }
        let first_square = first_square - first * first / weight;
        let second_square = second_square - second * second / weight;
        // Grey values are whole numbers: a patch that varies by less is one tone.
        if first_square <= weight || second_square <= weight {
            return 0.0;
        }
        f64::from((product - first * second / weight) / (first_square * second_square).sqrt())
    }

    /// Aligns the patch with another picture, starting at `start` (px of the picture).
    ///
    /// `None` when the texture does not hold the answer, or when it runs off.
    pub(crate) fn align(&self, to: &Pyramid, start: &Warp, freedom: Freedom) -> Option<Found> {
        dispatch!(Level::new(), _ => match freedom {
            Freedom::Shift => self.aligned::<4>(to, start, |_, _, _| [0.0; 4], |_| Matrix2::zeros()),
            Freedom::Similar => self.aligned::<6>(
                to,
                start,
                |slope, _, arm| [slope.dot(&arm), slope.y * arm.x - slope.x * arm.y, 0.0, 0.0],
                |change| Matrix2::new(change[0], -change[1], change[1], change[0]),
            ),
            Freedom::Affine => self.aligned::<8>(
                to,
                start,
                |slope, _, arm| [slope.x * arm.x, slope.x * arm.y, slope.y * arm.x, slope.y * arm.y],
                |change| Matrix2::new(change[0], change[1], change[2], change[3]),
            ),
        })
    }

    /// Least squares in `N` unknowns: gain and offset of the light, shift, and `N - 4` of the turn. `row` gives the derivatives by
    /// these from slope, step and turned step; `change` makes of them what is multiplied to the turn.
    #[inline(always)]
    fn aligned<const N: usize>(
        &self,
        to: &Pyramid,
        start: &Warp,
        row: impl Fn(Vector2<f32>, Vector2<f32>, Vector2<f32>) -> [f32; 4],
        change: impl Fn([f64; 4]) -> Matrix2<f64>,
    ) -> Option<Found> {
        let plane = to.level(self.level);
        let scale = scale_of(self.level);
        let mut middle = Vector2::new(start.middle.x, start.middle.y) * scale;
        let mut turn = start.turn;
        let first = (middle, turn);
        let (mut gain, mut offset) = (1.0_f32, 128.0_f32);
        let mut spread = f32::INFINITY;
        for step_number in 0..MAX_STEPS {
            let (turn_single, middle_single) = (turn_of(&turn), vector_of(middle));
            // the picture's derivative where the patch's own is turned along
            let slope_turn = turn_of(&turn.try_inverse()?.transpose()) * gain;
            let mut normal = [[0.0_f32; N]; N];
            let mut gradient = [0.0_f32; N];
            let (mut absolute, mut count) = (0.0, 0_u16);
            for sample in &self.samples {
                let arm = turn_single * sample.step;
                let place = middle_single + arm;
                let Some(value) = plane.at_inside(place.x, place.y) else { continue };
                let residual = value - gain * sample.value - offset;
                absolute += residual.abs();
                count += 1;
                let weight = if residual.abs() > HUBER * spread {
                    sample.weight * HUBER * spread / residual.abs()
                } else {
                    sample.weight
                };
                let slope = slope_turn * sample.slope;
                let of_turn = row(slope, sample.step, arm);
                let mut derivative = [0.0_f32; N];
                derivative[0] = -sample.value;
                derivative[1] = -1.0;
                derivative[2] = slope.x;
                derivative[3] = slope.y;
                for (place, value) in derivative.iter_mut().skip(4).zip(of_turn) {
                    *place = value;
                }
                // all of the symmetric matrix, whose rows are worked through side by side
                for ((row, sum), part) in normal.iter_mut().zip(&mut gradient).zip(derivative) {
                    let weighted = weight * part;
                    *sum += weighted * residual;
                    row.iter_mut().zip(derivative).for_each(|(sum, part)| *sum += weighted * part);
                }
            }
            if usize::from(count) < SAMPLES_MIN || 2 * usize::from(count) < self.samples.len() {
                return None;
            }
            if step_number > 0 {
                spread = (SPREAD_OF_MEAN * absolute / f32::from(count)).max(0.5);
            }
            let normal = SMatrix::<f64, N, N>::from_fn(|i, j| f64::from(normal[i.max(j)][i.min(j)]));
            let gradient = SVector::<f64, N>::from_fn(|i, _| f64::from(gradient[i]));
            let step = -normal.cholesky()?.solve(&gradient);
            if step.iter().any(|part| !part.is_finite()) {
                return None;
            }
            let mut of_turn = [0.0; 4];
            for (place, value) in of_turn.iter_mut().zip(step.iter().skip(4)) {
                *place = *value;
            }
            let change = change(of_turn);
            middle += Vector2::new(step[2], step[3]);
            turn += change * turn;
            gain += single(Vector2::new(step[0], 0.0)).0;
            offset += single(Vector2::new(step[1], 0.0)).0;
            let is_far = (turn - first.1).norm() > STRETCH_MAX || (middle - first.0).norm() > 2.0 * self.reach_px;
            if is_far || gain <= 0.0 {
                return None;
            }
            if step_number > 0 && step[2].hypot(step[3]) + self.reach_px * change.norm() < STEP_TOL_PX {
                let warp = Warp { middle: ImagePoint::new(middle.x / scale, middle.y / scale), turn };
                return Some(Found { warp, likeness: self.likeness(to, &warp) });
            }
        }
        None
    }

    fn on_level(&self, warp: &Warp) -> (Vector2<f32>, Matrix2<f32>) {
        let scale = scale_of(self.level);
        (vector_of(Vector2::new(warp.middle.x, warp.middle.y) * scale), turn_of(&warp.turn))
    }
}

/// The points of a disc from its middle, with their weights.
fn disc_steps(radius_px: f64) -> Vec<WeightedStep> {
    let spacing = (radius_px * (std::f64::consts::PI / DISC_SAMPLES).sqrt()).max(1.0);
    let mut steps = Vec::new();
    let mut y = -radius_px;
    while y <= radius_px {
        let mut x = -radius_px;
        while x <= radius_px {
            let ratio = (x * x + y * y) / (radius_px * radius_px);
            if ratio <= 1.0 {
                steps.push((Vector2::new(x, y), RIM_WEIGHT.powf(ratio)));
            }
            x += spacing;
        }
        y += spacing;
    }
    steps
}

fn vector_of(vector: Vector2<f64>) -> Vector2<f32> {
    let (x, y) = single(vector);
    Vector2::new(x, y)
}

fn turn_of(turn: &Matrix2<f64>) -> Matrix2<f32> {
    let (first, second) = (vector_of(turn.column(0).into_owned()), vector_of(turn.column(1).into_owned()));
    Matrix2::from_columns(&[first, second])
}

/// In single precision, which holds a thousandth of a px at 8192.
#[expect(clippy::cast_possible_truncation, reason = "see above")]
fn single(vector: Vector2<f64>) -> (f32, f32) {
    (vector.x as f32, vector.y as f32)
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;

    /// A texture seen through an affine view: the picture's point is `turn` times the texture's, plus `shift`.
    fn seen(turn: &Matrix2<f64>, shift: Vector2<f64>, gain: f64, offset: f64) -> Pyramid {
        let inverse = turn.try_inverse().unwrap();
        let image = GrayImage::from_fn(200, 160, |x, y| {
            let at = inverse * (Vector2::new(f64::from(x), f64::from(y)) - shift);
            let waves = (at.x / 3.1).sin() * (at.y / 4.3).cos()
                + (at.x / 11.0 + at.y / 7.0).sin()
                + (at.y / 23.0 - at.x / 17.0).cos();
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
            Luma([(gain * (110.0 + 25.0 * waves) + offset).round().clamp(0.0, 255.0) as u8])
        });
        Pyramid::of(&image, 2)
    }

    #[test]
    fn known_view_is_found_with_each_freedom() {
        let from = seen(&Matrix2::identity(), Vector2::zeros(), 1.0, 0.0);
        let middle = Vector2::new(95.4, 81.2);
        let there = Vector2::new(98.7, 79.9);
        let point = ImagePoint::new(middle.x, middle.y);
        let turned = Warp::turned(point, 0.1).turn;
        for (freedom, turn) in [
            (Freedom::Shift, Matrix2::identity()),
            (Freedom::Similar, turned * 1.04),
            (Freedom::Affine, turned * Matrix2::new(1.05, 0.03, 0.0, 0.96)),
        ] {
            let to = seen(&turn, there - turn * middle, 0.8, 20.0);
            let template = Template::disc(&from, 0, point, 16.0).unwrap();
            let start = ImagePoint::new(there.x + 1.0, there.y - 1.0);
            let found = template.align(&to, &Warp::shift_to(start), freedom).unwrap();
            // grey values are rounded, and slopes over two px are a little too low on waves of 20 px
            let off = (found.warp.middle.x - there.x).hypot(found.warp.middle.y - there.y);
            assert!(off < 0.06 && (found.warp.turn - turn).norm() < 0.02, "{freedom:?} {found:?}");
            assert!(found.likeness > 0.99, "{found:?}");
        }
    }

    #[test]
    fn band_tells_a_turn_about_its_end() {
        let from = seen(&Matrix2::identity(), Vector2::zeros(), 1.0, 0.0);
        let chain = [ImagePoint::new(60.0, 60.0), ImagePoint::new(100.0, 70.0), ImagePoint::new(130.0, 90.0)];
        let band = Template::band(&from, 0, &chain, 8.0).unwrap();
        let turn = Warp::turned(chain[0], 0.05).turn;
        let pivot = Vector2::new(60.0, 60.0);
        let to = seen(&turn, pivot - turn * pivot, 1.0, 0.0);
        let found = band.align(&to, &Warp::turned(chain[0], 0.03), Freedom::Similar).unwrap();
        assert!((found.warp.turn[(1, 0)].atan2(found.warp.turn[(0, 0)]) - 0.05).abs() < 0.001, "{found:?}");
        assert!(band.likeness(&to, &Warp::turned(chain[0], 0.05)) > 0.98);
        assert!(band.likeness(&to, &Warp::turned(chain[0], 0.5)) < 0.6);
    }

    #[test]
    fn flat_or_hanging_over_the_edge_is_no_patch() {
        let flat = Pyramid::of(&GrayImage::from_pixel(80, 80, Luma([90])), 1);
        let template = Template::disc(&flat, 0, ImagePoint::new(40.0, 40.0), 12.0).unwrap();
        let start = Warp::shift_to(ImagePoint::new(40.0, 40.0));
        assert_eq!(template.align(&flat, &start, Freedom::Shift), None);
        assert!(template.likeness(&flat, &start).abs() < 1e-9);
        assert!(Template::disc(&flat, 0, ImagePoint::new(-5.0, 40.0), 12.0).is_none());
    }
}
