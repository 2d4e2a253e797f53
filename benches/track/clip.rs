//! The clips that the tracker is tried on: drawn at random, rendered with known truth.
//!
//! These conditions were fixed before anything was measured with them, and are never tuned to the tracker.

use image::{DynamicImage, GrayImage};
use nalgebra::Vector3;
use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};
use tworeach::demo::body::{Build, Skeleton};
use tworeach::demo::lens::SceneCamera;
use tworeach::demo::motion::{Course, Raise};
use tworeach::demo::render::Renderer;
use tworeach::demo::sensor::Sensor;
use tworeach::demo::studio::Studio;
use tworeach::demo::{DemoCase, Scenario};
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::pose::Rotation;

use crate::kept::KeptFrames;

/// Width of the pictures, px, at 16:9.
pub const WIDTH_PX: u32 = 640;
/// Frames per second.
pub const FRAME_RATE: f64 = 30.0;
/// Spread of a mark placed by hand, px at a width of 1280, as everywhere.
const MARK_SD_PX: f64 = 1.5;
/// Frames for which a mark is hidden.
pub const HIDDEN_FRAMES: usize = 10;
/// Radius of what hides it, mm on the body, some: a passing hand.
const HIDING_MM: f64 = 70.0;

/// A clip with its truth.
pub struct TrialClip {
    pub frames: Vec<GrayImage>,
    pub times_s: Vec<f64>,
    pub raises: Vec<Raise>,
    /// Index of the marked frame.
    pub start: usize,
    /// The marks as placed on that frame.
    pub marks: Vec<(Landmark, ImagePoint)>,
    /// By frame, in the order of the marks, where they truly are.
    pub truth: Vec<Vec<ImagePoint>>,
    /// Place among the marks of the one that is hidden, and from which frame on.
    pub hidden: Option<(usize, usize)>,
    /// Radius of what hides it, px.
    hiding_px: f64,
}

impl TrialClip {
    /// The clip of a number, from a seed, filmed as a case is. Its frames are read from `kept`, where they are there, and left there
    /// else.
    pub fn draw(case: DemoCase, seed: u64, number: u64, kept: Option<&KeptFrames>) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(number);
        let rng = &mut rng;
        let mut scenario = Scenario::of(case, WIDTH_PX);
        scenario.build = Build::from_stature(rng.random_range(1600.0..1950.0), normal(rng, 0.0, 1.0));
        let [aside_mm, height_mm, away_mm] = [
            normal(rng, 250.0, 250.0),
            normal(rng, 1150.0, 300.0).clamp(700.0, 1700.0),
            normal(rng, 3050.0, 120.0).clamp(2850.0, 3400.0),
        ];
        let position = match case {
            DemoCase::Side => Vector3::new(aside_mm, height_mm, away_mm),
            // the raised bar comes nearer, and has to stay in the picture
            DemoCase::Front => Vector3::new(away_mm + 200.0, height_mm, aside_mm - 250.0),
        };
        let target = Vector3::new(110.0 + normal(rng, 0.0, 30.0), 972.0, 0.0);
        scenario.camera = SceneCamera::looking_at(scenario.camera.lens, position, target, normal(rng, 0.0, 0.8));
        let raises = draw_raises(rng);
        let course = Course {
            rotation: if rng.random_bool(0.5) { Rotation::Internal } else { Rotation::External },
            raises: raises.clone(),
            left_higher_deg: normal(rng, 0.0, 1.0),
            girdle_mm: [0.0; 2],
            bend_deg: rng.random_range(0.5..4.0),
            grip_mm: rng.random_range(560.0..700.0),
            shift_mm: [normal(rng, 0.0, 15.0), normal(rng, 0.0, 15.0)],
            yaw_deg: normal(rng, 0.0, 1.2),
            lean_deg: normal(rng, 1.0, 1.5),
            phase_rad: rng.random_range(0.0..std::f64::consts::TAU),
        };
        let shutter_s = rng.random_range(0.004..0.020);
        let picture = PictureFaults {
            contrast: rng.random_range(0.5..1.0),
            flicker: rng.random_range(0.0..0.04),
            noise_sd: rng.random_range(0.0..4.0),
        };
        let studio = Studio::new(&scenario.room);
        let renderer = Renderer::new(scenario.camera, &studio);
        let sensor = Sensor::new();
        let body_at = |time_s: f64| Skeleton::posed(&scenario.build, &course.stance_at(time_s));
        let count = frame_count(course.duration_s());
        let times_s: Vec<f64> = (0..count).map(|frame| f64::from(frame) / FRAME_RATE).collect();
        let landmarks = marked(case);
        let place = |time_s: f64, landmark: Landmark| {
            let world_mm = scenario.landmark_mm(&body_at(time_s), landmark);
            scenario.camera.project(&world_mm).expect("a seated person is in front of the camera")
        };
        let truth: Vec<Vec<ImagePoint>> =
            times_s.iter().map(|time_s| landmarks.iter().map(|landmark| place(*time_s, *landmark)).collect()).collect();
        // arms down, or held
        let start = if rng.random_bool(0.5) {
            0
        } else {
            let middle_s = f64::midpoint(raises[0].hold_start_s, raises[0].hold_end_s);
            times_s.partition_point(|time_s| *time_s <= middle_s) - 1
        };
        let hidden = rng.random_bool(0.5).then(|| draw_hidden(rng, times_s.len(), start)).flatten();
        let scale = f64::from(WIDTH_PX) / 1280.0;
        let marks = landmarks
            .iter()
            .zip(&truth[start])
            .map(|(landmark, at)| {
                let off = [normal(rng, 0.0, MARK_SD_PX * scale), normal(rng, 0.0, MARK_SD_PX * scale)];
                (*landmark, ImagePoint::new(at.x + off[0], at.y + off[1]))
            })
            .collect();
        let hiding_px = HIDING_MM * (scenario.camera.lens.fx / away_mm);
        let mut render = || {
            let frames = times_s.iter().enumerate().map(|(frame, time_s)| {
                let light = renderer.expose(body_at, *time_s, shutter_s);
                let rendered = sensor.develop(&light, renderer.size_px(), rng.next_u64());
                let mut image = picture.apply(&DynamicImage::ImageRgb8(rendered).into_luma8(), rng);
                if let Some((mark, from)) = hidden
                    && (from..from + HIDDEN_FRAMES).contains(&frame)
                {
                    hide(&mut image, truth[frame][mark], hiding_px);
                }
                image
            });
            frames.collect()
        };
        let frames = match kept {
            Some(kept) => kept.frames(case.name(), seed, number, &mut render),
            None => render(),
        };
        Self { frames, times_s, raises, start, marks, truth, hidden, hiding_px }
    }

    /// The same clip with another mark hidden at another time, by the same rule; `None` where that falls on the marked frame. For clips
    /// in which nothing is hidden.
    pub fn hiding_another(&self, seed: u64, number: u64, draw: u64) -> Option<Self> {
        // streams that no clip draws from
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream((draw + 1) << 32 | number);
        let (mark, from) = draw_hidden(&mut rng, self.frames.len(), self.start)?;
        let mut frames = self.frames.clone();
        for (image, truth) in frames.iter_mut().zip(&self.truth).skip(from).take(HIDDEN_FRAMES) {
            hide(image, truth[mark], self.hiding_px);
        }
        Some(Self {
            frames,
            times_s: self.times_s.clone(),
            raises: self.raises.clone(),
            marks: self.marks.clone(),
            truth: self.truth.clone(),
            hidden: Some((mark, from)),
            ..*self
        })
    }

    /// Scale of the pictures: 1 at a width of 1280 px.
    pub fn scale() -> f64 {
        f64::from(WIDTH_PX) / 1280.0
    }
}

/// What is marked: the four first that are hidden in some clips.
fn marked(case: DemoCase) -> Vec<Landmark> {
    let (left, right) = (Side::Left, Side::Right);
    match case {
        DemoCase::Side => vec![
            Landmark::Shoulder(right),
            Landmark::Elbow(right),
            Landmark::Wrist(right),
            Landmark::Hip(right),
            Landmark::BarEnd(right),
            Landmark::Datum,
        ],
        DemoCase::Front => vec![
            Landmark::BarEnd(left),
            Landmark::BarEnd(right),
            Landmark::Shoulder(left),
            Landmark::Shoulder(right),
            Landmark::Elbow(left),
            Landmark::Elbow(right),
            Landmark::Wrist(left),
            Landmark::Wrist(right),
            Landmark::PlumbTop,
            Landmark::PlumbBottom,
            Landmark::Datum,
        ],
    }
}

/// Which mark is hidden, and from which frame on; `None` where that falls on the marked frame.
fn draw_hidden(rng: &mut impl Rng, frames: usize, start: usize) -> Option<(usize, usize)> {
    let hidden = (rng.random_range(0..4), rng.random_range(0..frames - HIDDEN_FRAMES));
    Some(hidden).filter(|(_, from)| !(*from..from + HIDDEN_FRAMES).contains(&start))
}

/// One to three raises of 85 to 110 deg in 1.0 to 1.5 s; one in ten is a swing.
fn draw_raises(rng: &mut ChaCha8Rng) -> Vec<Raise> {
    let count = rng.random_range(1..=3);
    let mut start_s = 0.3;
    let held_deg = rng.random_range(142.0..167.0);
    (0..count)
        .map(|_| {
            let hold_start_s = start_s + rng.random_range(1.0..1.5);
            let is_swing = rng.random_bool(0.1);
            let hold_end_s = hold_start_s + if is_swing { 0.0 } else { rng.random_range(0.6..1.5) };
            let end_s = hold_end_s + rng.random_range(0.7..1.2);
            let raise = Raise { start_s, hold_start_s, hold_end_s, end_s, held_deg: held_deg + normal(rng, 0.0, 1.5) };
            start_s = end_s + rng.random_range(0.2..0.6);
            raise
        })
        .collect()
}

/// What a phone's picture lacks beside the sensor's noise.
struct PictureFaults {
    contrast: f64,
    /// Spread of the brightness from frame to frame.
    flicker: f64,
    /// Grey values.
    noise_sd: f64,
}

impl PictureFaults {
    fn apply(&self, image: &GrayImage, rng: &mut impl Rng) -> GrayImage {
        let gain = self.contrast * (1.0 + normal(rng, 0.0, self.flicker));
        let noise = Normal::new(0.0, self.noise_sd).expect("a spread is not negative");
        let mut out = image.clone();
        for value in out.iter_mut() {
            let level = 110.0 + gain * (f64::from(*value) - 110.0) + noise.sample(rng);
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to a byte")]
            let level = level.round().clamp(0.0, 255.0) as u8;
            *value = level;
        }
        out
    }
}

/// Covers a disc with a shaded, structured surface.
fn hide(image: &mut GrayImage, at: ImagePoint, radius_px: f64) {
    let (width, height) = image.dimensions();
    for y in 0..height {
        for x in 0..width {
            let (right, down) = (f64::from(x) - at.x, f64::from(y) - at.y);
            if right.hypot(down) <= radius_px {
                let level = 120.0 + 40.0 * (right / radius_px) + 12.0 * (right / 3.0).sin() * (down / 4.0).cos();
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within a byte")]
                let level = level.round() as u8;
                image.put_pixel(x, y, image::Luma([level]));
            }
        }
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a clip of some seconds")]
fn frame_count(duration_s: f64) -> u32 {
    (duration_s * FRAME_RATE).round() as u32
}

fn normal(rng: &mut impl Rng, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).expect("every spread in this file is finite and not negative").sample(rng)
}
