//! How far the difference is from the truth when marks are carried from reach to reach by image matching, and when every reach
//! is marked on its own. Pictures are rendered; `cargo bench --bench carried_marks -- [VISITS] [SEED] [DIFFERENCE] [VIEW] [--moving]`.
//! With a true difference (deg) given, before and after the stretch, calls are counted too; the view is `side` or `front`. With
//! `--moving` the persons are less stiff: shoulder girdle and evenness of the arms differ from reach to reach as people's do.
//!
//! A visit has four reaches of one frame at end range. By hand, every mark of every reach has its own error of
//! [`MARK_SD_PX`]. Carried, only before internal is marked whole; the other rotation takes what matches and gets its wrists
//! and its elbow by hand; after the stretch everything is taken from before that matches. Beside: every reach is marked by hand, and what can be carried counts beside the hand's marks.

#![allow(clippy::print_stdout, missing_docs, reason = "a program that prints a table")]

mod column;

use std::collections::BTreeMap;

use image::{DynamicImage, GrayImage};
use nalgebra::{Matrix2, Vector3};
use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};
use tworeach::camera::Lens;
use tworeach::demo::body::{BAR_LENGTH_MM, Skeleton};
use tworeach::demo::lens::SceneCamera;
use tworeach::demo::motion::Course;
use tworeach::demo::render::Renderer;
use tworeach::demo::scenario::{LENS_U, SHUTTER_S};
use tworeach::demo::sensor::Sensor;
use tworeach::demo::studio::Studio;
use tworeach::demo::{DemoCase, Scenario};
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::pose::{
    BarFacts, FrameObservations, Mark, PersonFacts, Quantity, ReachObservations, Rotation, SharedError, Term, View,
    VisitObservations, fit_visit,
};
use tworeach::screen::case::MARGIN_DEG_DEFAULT;
use tworeach::track::{ArmTurn, carry_marks};
use tworeach::uncertainty::Measured;

use column::Column;

/// Spread of a mark placed by hand, px in each direction.
const MARK_SD_PX: f64 = 1.5;
/// With `--moving`: by how much the shoulder girdle lies elsewhere on the trunk from reach to reach, mm forward and up. The acromion
/// against the thorax, at the same elevation in two raises of one arm: ten people, 2.2 and 2.4 mm (UI-PRMD, Vakanski et al. 2018,
/// Data 3(1), 2).
const GIRDLE_SD_MM: [f64; 2] = [2.2, 2.4];
/// With `--moving`: by how much one arm is raised otherwise than the other from reach to reach, deg: the same people with a bar, 1.2 to 1.7.
const UNEVEN_SD_DEG: f64 = 1.2;
/// What remains of a mark's own error where it is shared with those carried from it, px: as `screen` has it.
const ORIGIN_OWN_SD_PX: f64 = 0.05;

/// One reach: its picture, where its landmarks truly are, and its true elevation.
struct Shot {
    rotation: Rotation,
    image: GrayImage,
    truth: Vec<(Landmark, ImagePoint)>,
    elevation_deg: f64,
}

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|argument| !argument.starts_with("--"));
    let visits: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(100);
    let seed: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(1);
    let difference_deg: Option<f64> = arguments.next().and_then(|text| text.parse().ok());
    let is_moving = std::env::args().any(|argument| argument == "--moving");
    let case = match arguments.next().as_deref() {
        Some("front") => DemoCase::Front,
        _ => DemoCase::Side,
    };
    let mut table: BTreeMap<(&str, &str), Column> = BTreeMap::new();
    let mut landings: BTreeMap<(&str, Landmark), Landing> = BTreeMap::new();
    let mut calls: BTreeMap<&str, Calls> = BTreeMap::new();
    let mut carry_s = 0.0;
    let mut carries = 0.0;
    for index in 0..visits {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(index);
        let (scenario, shots) = film(&mut rng, case, difference_deg, is_moving.then_some((seed, index)));
        let own = |rng: &mut ChaCha8Rng| -> Vec<Vec<Mark>> {
            shots
                .iter()
                .map(|shot| shot.truth.iter().map(|(landmark, at)| by_hand(*landmark, *at, rng)).collect())
                .collect()
        };
        let hand = own(&mut rng);
        let (mut carried, mut beside) = (hand.clone(), hand.clone());
        // from, to: before internal to the others, then the arms of before external to after external
        for (from, to) in [(0, 1), (0, 2), (0, 3), (1, 3)] {
            let arms = if shots[from].rotation == shots[to].rotation { ArmTurn::Same } else { ArmTurn::Other };
            let given: Vec<(Landmark, ImagePoint)> =
                carried[from].iter().map(|mark| (mark.landmark, mark.point)).collect();
            let started = std::time::Instant::now();
            let found = carry_marks(&shots[from].image, &shots[to].image, arms, &given);
            carry_s += started.elapsed().as_secs_f64();
            carries += 1.0;
            for (place, (landmark, result)) in found.marks.iter().enumerate() {
                let kind = if arms == ArmTurn::Same { "same rotation" } else { "other rotation" };
                let landing = landings.entry((kind, *landmark)).or_default();
                landing.tried += 1;
                let Ok(spot) = result else { continue };
                let at = |shot: &Shot| shot.truth.iter().find(|(other, _)| other == landmark).map(|(_, at)| *at);
                let (Some(there), Some(here)) = (at(&shots[to]), at(&shots[from])) else { continue };
                // The mark's own error goes along: what counts is how far it lands from it.
                let error = [
                    spot.point.x - there.x - (given[place].1.x - here.x),
                    spot.point.y - there.y - (given[place].1.y - here.y),
                ];
                landing.distances_px.push(error[0].hypot(error[1]));
                if to == 3 && from == 0 && arm(*landmark) {
                    continue;
                }
                let origin = carried[from][place].shared.map_or(from * 100 + place, |shared| shared.origin);
                let shared = SharedError { origin, covariance_px2: Matrix2::identity() * MARK_SD_PX.powi(2) };
                if carried[from][place].shared.is_none() {
                    carried[from][place].shared = Some(shared);
                    carried[from][place].covariance_px2 = Matrix2::identity() * ORIGIN_OWN_SD_PX.powi(2);
                }
                let brought = Mark {
                    landmark: *landmark,
                    point: spot.point,
                    covariance_px2: spot.covariance_px2,
                    shared: Some(shared),
                    drift_px2: None,
                    is_placed: false,
                };
                if from == 0 || arm(*landmark) {
                    beside[from][place] = carried[from][place];
                    beside[to].push(brought);
                }
                if let Some(mark) = carried[to].iter_mut().find(|mark| mark.landmark == *landmark)
                    && mark.shared.is_none()
                {
                    *mark = brought;
                }
            }
        }
        for (name, marks) in [("by hand", &hand), ("carried", &carried), ("beside", &beside)] {
            let fit = fit_visit(&observed(&scenario, &shots, marks));
            let quantity = match case {
                DemoCase::Side => Quantity::Elevation(Side::Right),
                DemoCase::Front => Quantity::ElevationFromVertical(Side::Right),
            };
            let term = |factor: f64, reach: usize| Term { factor, reach, raise: 0, quantity };
            let truth = |reach: usize| shots[reach].elevation_deg;
            for (what, to, from) in [("difference", 1, 0), ("difference", 3, 2), ("change, external", 3, 1)] {
                let found = fit
                    .combine(&[term(1.0, to), term(-1.0, from)])
                    .ok()
                    .map(|e| Measured::from_u(e.value, e.u, f64::INFINITY));
                table.entry((what, name)).or_default().add(found, truth(to) - truth(from));
                if what == "difference"
                    && let (Some(found), Some(_)) = (found, difference_deg)
                {
                    calls.entry(name).or_default().add(found);
                }
            }
            let found = fit.combine(&[term(1.0, 0)]).ok().map(|e| Measured::from_u(e.value, e.u, f64::INFINITY));
            table.entry(("elevation", name)).or_default().add(found, truth(0));
        }
    }
    println!(
        "{visits} visits, marks good to {MARK_SD_PX} px; carrying takes {:.0} ms a pair of pictures",
        1e3 * carry_s / carries
    );
    for ((what, name), column) in &table {
        column.print(&format!("{what}, {name}"));
    }
    for (name, calls) in &calls {
        let share = |count: usize| 100.0 * count as f64 / calls.all.max(1) as f64;
        println!(
            "  calls {name:<11} n {:>4}  positive {:.1} %  negative {:.1} %",
            calls.all,
            share(calls.positive),
            share(calls.negative)
        );
    }
    println!("where carried marks land, px from the spot they came from");
    for ((kind, landmark), landing) in &mut landings {
        landing.print(kind, *landmark);
    }
}

/// A visit with its own camera and course, filmed. `moving` seeds how a person differs from reach to reach: numbers of its own, so that
/// the visit is the same otherwise.
fn film(
    rng: &mut ChaCha8Rng,
    case: DemoCase,
    difference_deg: Option<f64>,
    moving: Option<(u64, u64)>,
) -> (Scenario, Vec<Shot>) {
    let mut scenario = Scenario::of(case, 1280);
    let [sideways_mm, height_mm, away_mm] = [
        normal(rng, 250.0, 250.0),
        normal(rng, 1150.0, 300.0).clamp(700.0, 1700.0),
        normal(rng, 3050.0, 120.0).clamp(2850.0, 3400.0),
    ];
    let position = match case {
        DemoCase::Side => Vector3::new(sideways_mm, height_mm, away_mm),
        DemoCase::Front => Vector3::new(away_mm + 200.0, height_mm, sideways_mm - 250.0),
    };
    let target = Vector3::new(110.0 + normal(rng, 0.0, 30.0), 972.0, 0.0);
    scenario.camera = SceneCamera::looking_at(scenario.camera.lens, position, target, normal(rng, 0.0, 0.8));
    let studio = Studio::new(&scenario.room);
    let renderer = Renderer::new(scenario.camera, &studio);
    let sensor = Sensor::new();
    let internal_deg = rng.random_range(138.0..170.0);
    let grip_mm = 620.0;
    let mut held = [
        (Rotation::Internal, internal_deg),
        (Rotation::External, internal_deg + rng.random_range(-10.0..4.0)),
        (Rotation::Internal, internal_deg + normal(rng, 1.0, 1.5)),
        (Rotation::External, internal_deg + rng.random_range(-4.0..4.0)),
    ];
    if let Some(difference_deg) = difference_deg {
        for pair in held.chunks_exact_mut(2) {
            pair[1].1 = pair[0].1 + difference_deg;
        }
    }
    let left_higher_deg = normal(rng, 0.0, 0.7);
    let mut moves = moving.map(|(seed, index)| {
        let mut moves = ChaCha8Rng::seed_from_u64(!seed);
        moves.set_stream(index);
        moves
    });
    let mut shots = Vec::new();
    for (rotation, held_deg) in held {
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
        let body_at = |time_s| Skeleton::posed(&scenario.build, &course.stance_at(time_s));
        let light = renderer.expose(body_at, time_s, SHUTTER_S);
        let picture = sensor.develop(&light, renderer.size_px(), rng.next_u64());
        let body = body_at(time_s);
        let truth = scenario
            .marked
            .iter()
            .filter_map(|landmark| {
                let world_mm = scenario.landmark_mm(&body, *landmark);
                let is_fitted = !matches!(landmark, Landmark::Eye(_) | Landmark::Nose | Landmark::Chin);
                let at = scenario.camera.project(&world_mm)?;
                (is_fitted && renderer.sees(&body, &world_mm, 75.0)).then_some((*landmark, at))
            })
            .collect();
        shots.push(Shot {
            rotation,
            image: DynamicImage::ImageRgb8(picture).into_luma8(),
            truth,
            elevation_deg: match case {
                DemoCase::Side => scenario.truth(&body).elevation_right_deg,
                DemoCase::Front => scenario.truth(&body).elevation_from_vertical_right_deg,
            },
        });
    }
    (scenario, shots)
}

const fn arm(landmark: Landmark) -> bool {
    matches!(landmark, Landmark::Elbow(_) | Landmark::Wrist(_))
}

fn by_hand(landmark: Landmark, at: ImagePoint, rng: &mut ChaCha8Rng) -> Mark {
    let point = ImagePoint::new(at.x + normal(rng, 0.0, MARK_SD_PX), at.y + normal(rng, 0.0, MARK_SD_PX));
    Mark::placed(landmark, point, Matrix2::identity() * MARK_SD_PX.powi(2))
}

fn observed(scenario: &Scenario, shots: &[Shot], marks: &[Vec<Mark>]) -> VisitObservations {
    let known = scenario.camera.lens;
    let mut lens = Lens {
        image_size: known.image_size,
        fx: known.fx,
        fy: known.fy,
        cx: known.cx,
        cy: known.cy,
        distortion: known.distortion,
        covariance: nalgebra::SMatrix::zeros(),
    };
    for (index, u) in LENS_U.into_iter().enumerate() {
        lens.covariance[(index, index)] = u * u;
    }
    VisitObservations {
        contradictions: Vec::new(),
        person: PersonFacts { stature_mm: Some(1790.0), arm_length_mm: None },
        bar: BarFacts { length_mm: Some(BAR_LENGTH_MM), has_taped_grips: false },
        reaches: shots
            .iter()
            .zip(marks)
            .map(|(shot, marks)| ReachObservations {
                view: scenario.view,
                near_side: (scenario.view != View::Front).then_some(Side::Right),
                rotation: shot.rotation,
                is_mirrored: false,
                image_size: known.image_size,
                lens: Some(lens.clone()),
                frames: vec![FrameObservations { time_s: 0.0, raise: 0, motion: None, marks: marks.clone() }],
            })
            .collect(),
    }
}

fn normal(rng: &mut impl Rng, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).expect("every spread in this file is finite and not negative").sample(rng)
}

/// Calls by the rules of the screen, all of its checks taken for passed.
#[derive(Default)]
struct Calls {
    all: usize,
    positive: usize,
    negative: usize,
}

impl Calls {
    fn add(&mut self, difference: Measured) {
        let Measured { value, lo, hi, .. } = difference;
        self.all += 1;
        self.positive += usize::from(hi < 0.0 && value <= -MARGIN_DEG_DEFAULT);
        self.negative += usize::from(lo >= -MARGIN_DEG_DEFAULT);
    }
}

#[derive(Default)]
struct Landing {
    tried: usize,
    distances_px: Vec<f64>,
}

impl Landing {
    fn print(&mut self, kind: &str, landmark: Landmark) {
        self.distances_px.sort_by(f64::total_cmp);
        let count = self.distances_px.len();
        let at = |share: f64| {
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a share of a count")]
            let place = (share * count as f64) as usize;
            self.distances_px.get(place.min(count.saturating_sub(1))).copied().unwrap_or(f64::NAN)
        };
        println!(
            "  {kind:<15} {:<15} {count:>4} of {:>4}  median {:.2}  nine in ten {:.2}  worst {:.2}",
            landmark.name(),
            self.tried,
            at(0.5),
            at(0.9),
            at(1.0)
        );
    }
}
