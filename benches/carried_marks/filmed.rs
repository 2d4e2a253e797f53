//! A visit of four reaches with its own camera and course, drawn at random and rendered, with what is true of it.

use image::{DynamicImage, GrayImage};
use nalgebra::Vector3;
use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};
use tworeach::demo::body::Skeleton;
use tworeach::demo::lens::SceneCamera;
use tworeach::demo::motion::Course;
use tworeach::demo::render::Renderer;
use tworeach::demo::scenario::SHUTTER_S;
use tworeach::demo::sensor::Sensor;
use tworeach::demo::studio::Studio;
use tworeach::demo::{DemoCase, Scenario};
use tworeach::geometry::{ImagePoint, Landmark};
use tworeach::pose::Rotation;

use crate::kept::KeptFrames;

/// With `--moving`: by how much the shoulder girdle lies elsewhere on the trunk from reach to reach, mm forward and up. The acromion
/// against the thorax, at the same elevation in two raises of one arm: ten people, 2.2 and 2.4 mm (UI-PRMD, Vakanski et al. 2018,
/// Data 3(1), 2).
const GIRDLE_SD_MM: [f64; 2] = [2.2, 2.4];
/// With `--moving`: by how much one arm is raised otherwise than the other from reach to reach, deg: the same people with a bar, 1.2 to 1.7.
const UNEVEN_SD_DEG: f64 = 1.2;

/// What visits are drawn.
pub struct Filming {
    pub case: DemoCase,
    pub seed: u64,
    /// External minus internal, before and after the stretch, deg; drawn where `None`.
    pub difference_deg: Option<f64>,
    /// Persons are less stiff.
    pub is_moving: bool,
    /// Where pictures are kept.
    pub kept: Option<KeptFrames>,
}

/// One reach: its picture, where its landmarks truly are, and its true elevation.
pub struct Shot {
    pub rotation: Rotation,
    pub image: GrayImage,
    pub truth: Vec<(Landmark, ImagePoint)>,
    pub elevation_deg: f64,
}

/// A reach before its picture is rendered.
struct Plan {
    course: Course,
    time_s: f64,
    sensor_seed: u64,
}

impl Filming {
    /// The visit of a number: internal and external before the stretch, and the same after it.
    pub fn visit(&self, index: u64, rng: &mut ChaCha8Rng) -> (Scenario, Vec<Shot>) {
        let mut scenario = Scenario::of(self.case, 1280);
        let [sideways_mm, height_mm, away_mm] = [
            normal(rng, 250.0, 250.0),
            normal(rng, 1150.0, 300.0).clamp(700.0, 1700.0),
            normal(rng, 3050.0, 120.0).clamp(2850.0, 3400.0),
        ];
        let position = match self.case {
            DemoCase::Side => Vector3::new(sideways_mm, height_mm, away_mm),
            DemoCase::Front => Vector3::new(away_mm + 200.0, height_mm, sideways_mm - 250.0),
        };
        let target = Vector3::new(110.0 + normal(rng, 0.0, 30.0), 972.0, 0.0);
        scenario.camera = SceneCamera::looking_at(scenario.camera.lens, position, target, normal(rng, 0.0, 0.8));
        let plans = self.plans(index, rng);
        let studio = Studio::new(&scenario.room);
        let renderer = Renderer::new(scenario.camera, &studio);
        let body = |plan: &Plan, time_s| Skeleton::posed(&scenario.build, &plan.course.stance_at(time_s));
        let render = || {
            let sensor = Sensor::new();
            let picture = |plan: &Plan| {
                let light = renderer.expose(|time_s| body(plan, time_s), plan.time_s, SHUTTER_S);
                let picture = sensor.develop(&light, renderer.size_px(), plan.sensor_seed);
                DynamicImage::ImageRgb8(picture).into_luma8()
            };
            plans.iter().map(picture).collect()
        };
        let images = match &self.kept {
            Some(kept) => kept.frames(&self.name(), self.seed, index, render),
            None => render(),
        };
        let shot = |(plan, image): (&Plan, GrayImage)| {
            let body = body(plan, plan.time_s);
            let seen = |landmark: &Landmark| {
                let world_mm = scenario.landmark_mm(&body, *landmark);
                let is_fitted = !landmark.is_of_head();
                let at = scenario.camera.project(&world_mm)?;
                (is_fitted && renderer.sees(&body, &world_mm, 75.0)).then_some((*landmark, at))
            };
            let truth = scenario.truth(&body);
            Shot {
                rotation: plan.course.rotation,
                image,
                truth: scenario.marked.iter().filter_map(seen).collect(),
                elevation_deg: match self.case {
                    DemoCase::Side => truth.elevation_right_deg,
                    DemoCase::Front => truth.elevation_from_vertical_right_deg,
                },
            }
        };
        let shots = plans.iter().zip(images).map(shot).collect();
        (scenario, shots)
    }

    fn plans(&self, index: u64, rng: &mut ChaCha8Rng) -> Vec<Plan> {
        let internal_deg = rng.random_range(138.0..170.0);
        let grip_mm = 620.0;
        let mut held = [
            (Rotation::Internal, internal_deg),
            (Rotation::External, internal_deg + rng.random_range(-10.0..4.0)),
            (Rotation::Internal, internal_deg + normal(rng, 1.0, 1.5)),
            (Rotation::External, internal_deg + rng.random_range(-4.0..4.0)),
        ];
        if let Some(difference_deg) = self.difference_deg {
            for pair in held.chunks_exact_mut(2) {
                pair[1].1 = pair[0].1 + difference_deg;
            }
        }
        let left_higher_deg = normal(rng, 0.0, 0.7);
        // numbers of its own, so that the visit is the same otherwise
        let mut moves = self.is_moving.then(|| {
            let mut moves = ChaCha8Rng::seed_from_u64(!self.seed);
            moves.set_stream(index);
            moves
        });
        let plan = |(rotation, held_deg)| {
            let raises = Course::raises_to(&[held_deg]);
            let time_s = f64::midpoint(raises[0].hold_start_s, raises[0].hold_end_s);
            let course = Course {
                rotation,
                raises,
                left_higher_deg: left_higher_deg + moves.as_mut().map_or(0.0, |rng| normal(rng, 0.0, UNEVEN_SD_DEG)),
                girdle_mm: moves.as_mut().map_or([0.0; 2], |rng| GIRDLE_SD_MM.map(|sd_mm| normal(rng, 0.0, sd_mm))),
                bend_deg: 1.0,
                grip_mm: grip_mm + normal(rng, 0.0, 4.0),
                shift_mm: [normal(rng, 0.0, 20.0), normal(rng, 0.0, 20.0)],
                yaw_deg: normal(rng, 0.0, 1.2),
                lean_deg: normal(rng, 1.0, 1.0),
                phase_rad: rng.random_range(0.0..std::f64::consts::TAU),
            };
            Plan { course, time_s, sensor_seed: rng.next_u64() }
        };
        held.into_iter().map(plan).collect()
    }

    /// What makes its visits other ones, in a word.
    fn name(&self) -> String {
        let difference = self.difference_deg.map_or_else(String::new, |deg| format!("{deg}"));
        let moving = if self.is_moving { "moving" } else { "" };
        format!("{}{difference}{moving}", self.case.name())
    }
}

pub fn normal(rng: &mut impl Rng, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).expect("every spread in this file is finite and not negative").sample(rng)
}
