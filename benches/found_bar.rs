//! How far tilt and height of the bar are from the truth when the bar is found in the picture, and when its marks count as placed.
//! Views are rendered and measured as files: `cargo bench --bench found_bar -- [VISITS] [SEED] [TURN]`, seen from the front, or turned
//! from there towards the person's right by so many deg.
//!
//! A visit has an internal and an external reach of one picture each; every mark has its own error of [`MARK_SD_PX`].

#![allow(clippy::print_stdout, missing_docs, reason = "a program that prints a table")]

mod column;

use std::collections::BTreeMap;
use std::path::Path;

use nalgebra::{Vector2, Vector3};
use rand::{Rng, RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal};
use tworeach::demo::body::{BAR_LENGTH_MM, Skeleton};
use tworeach::demo::film::profile_text;
use tworeach::demo::lens::SceneCamera;
use tworeach::demo::motion::Course;
use tworeach::demo::render::Renderer;
use tworeach::demo::scenario::SHUTTER_S;
use tworeach::demo::sensor::Sensor;
use tworeach::demo::studio::Studio;
use tworeach::demo::{DemoCase, Scenario};
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::pose::Rotation;
use tworeach::screen::{
    FrameUse, MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarksFile, MeasureOptions, MeasuredVisit, PointSpread, Source,
    measure_case, with_marks_as_placed,
};
use tworeach::uncertainty::Measured;

use column::Column;

/// Spread of a mark placed by hand, px in each direction.
const MARK_SD_PX: f64 = 1.5;

const REACHES: [(&str, Rotation); 2] = [("internal", Rotation::Internal), ("external", Rotation::External)];

/// What is true of a reach.
struct Truth {
    tilt_deg: f64,
    height_mm: f64,
    ends: BTreeMap<Landmark, ImagePoint>,
}

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|argument| !argument.starts_with("--"));
    let visits: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(50);
    let seed: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(1);
    let turn_deg: f64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(0.0);
    let mut columns: BTreeMap<(&str, &str), Column> = BTreeMap::new();
    let mut found = 0;
    for visit in 0..visits {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(visit);
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let truths = film(&mut rng, folder.path(), turn_deg);
        for name in ["found", "placed"] {
            if name == "placed" {
                for (reach, _) in REACHES {
                    let path = folder.path().join(format!("{reach}.marks.json"));
                    let marks = MarksFile::read(&path).expect("they were written here");
                    with_marks_as_placed(&marks, MARK_SD_PX).write(&path).expect("they can be written");
                }
            }
            let measured = measure_case(&folder.path().join("case.toml"), MeasureOptions::default());
            let measured = measured.expect("the case was written here");
            if name == "found" {
                found += measured.found_bars.len();
                measured.warnings.iter().for_each(|warning| println!("  visit {visit}: {warning}"));
            }
            add(&mut columns, name, &measured, &truths);
        }
    }
    println!("{visits} visits, {} pictures, marks good to {MARK_SD_PX} px, bar found in {found}", 2 * visits);
    for ((what, name), column) in &columns {
        column.print(&format!("{what}, {name}"));
    }
}

fn add(
    columns: &mut BTreeMap<(&'static str, &'static str), Column>,
    name: &'static str,
    measured: &MeasuredVisit,
    truths: &[Truth],
) {
    let mut add = |what: &'static str, found: Option<Measured>, truth: f64| {
        columns.entry((what, name)).or_default().add(found, truth);
    };
    for (reach, truth) in measured.result.reaches.iter().zip(truths) {
        add("tilt, deg", reach.bar_tilt_deg, truth.tilt_deg);
        // the true height is that above the datum
        if reach.reference.as_deref() == Some("datum") {
            add("height, mm", reach.bar_height_mm, truth.height_mm);
        }
    }
    let [internal, external] = truths else { return };
    let comparison = &measured.result.comparisons[0];
    add("height difference, mm", comparison.difference_bar_height_mm, external.height_mm - internal.height_mm);
    for (observed, truth) in measured.observations.reaches.iter().zip(truths) {
        let [Some(left), Some(right)] = Side::BOTH.map(|side| truth.ends.get(&Landmark::BarEnd(side))) else {
            continue;
        };
        let along = (right.to_vector() - left.to_vector()).normalize();
        let mut middle = (0.0, 0.0);
        for mark in &observed.frames[0].marks {
            let Some(at) = truth.ends.get(&mark.landmark) else { continue };
            let error = |way: Vector2<f64>| {
                let u = way.dot(&(mark.covariance_px2 * way)).sqrt();
                (way.dot(&(mark.point.to_vector() - at.to_vector())), u)
            };
            let across = error(Vector2::new(-along.y, along.x));
            add("end along, px", Some(interval(error(along))), 0.0);
            add("end across, px", Some(interval(across)), 0.0);
            middle = (middle.0 + 0.5 * across.0, middle.1 + (0.5 * across.1).powi(2));
        }
        add("middle across, px", Some(interval((middle.0, middle.1.sqrt()))), 0.0);
    }
}

fn interval((value, u): (f64, f64)) -> Measured {
    Measured { value, u, lo: value - 1.96 * u, hi: value + 1.96 * u }
}

/// Renders a visit with its own camera and course into a folder, with marks by hand, and gives what is true of it.
fn film(rng: &mut ChaCha8Rng, folder: &Path, turn_deg: f64) -> Vec<Truth> {
    let mut scenario = Scenario::of(DemoCase::Front, 1280);
    let [sideways_mm, height_mm, away_mm] = [
        normal(rng, 0.0, 250.0),
        normal(rng, 1150.0, 300.0).clamp(700.0, 1700.0),
        normal(rng, 3250.0, 120.0).clamp(3050.0, 3600.0),
    ];
    let target = Vector3::new(110.0 + normal(rng, 0.0, 30.0), 972.0, 0.0);
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    let position = Vector3::new(cos * away_mm - sin * sideways_mm, height_mm, sin * away_mm + cos * sideways_mm);
    let view = if turn_deg > 0.0 { "view = \"oblique\"\nnear_side = \"right\"" } else { "view = \"front\"" };
    scenario.camera = SceneCamera::looking_at(scenario.camera.lens, position, target, normal(rng, 0.0, 0.8));
    let studio = Studio::new(&scenario.room);
    let renderer = Renderer::new(scenario.camera, &studio);
    let sensor = Sensor::new();
    let internal_deg = rng.random_range(138.0..170.0);
    let held_deg = [internal_deg, internal_deg + rng.random_range(-10.0..4.0)];
    let left_higher_deg = normal(rng, 0.0, 0.7);
    let mut case = format!(
        "schema = \"tworeach/case/1\"\n[client]\ncode = \"R07\"\naffected_side = \"right\"\nstature_mm = 1790\n[bar]\nlength_mm = \
         {BAR_LENGTH_MM}\n[camera]\nprofile = \"phone.camera.json\"\n"
    );
    let mut truths = Vec::new();
    for ((name, rotation), held_deg) in REACHES.into_iter().zip(held_deg) {
        let raises = Course::raises_to(&[held_deg]);
        let time_s = f64::midpoint(raises[0].hold_start_s, raises[0].hold_end_s);
        let course = Course {
            rotation,
            raises,
            left_higher_deg,
            girdle_mm: [0.0; 2],
            bend_deg: 1.0,
            grip_mm: 620.0 + normal(rng, 0.0, 4.0),
            shift_mm: [normal(rng, 0.0, 20.0), normal(rng, 0.0, 20.0)],
            yaw_deg: normal(rng, 0.0, 1.2),
            lean_deg: normal(rng, 1.0, 1.0),
            phase_rad: rng.random_range(0.0..std::f64::consts::TAU),
        };
        let body_at = |time_s| Skeleton::posed(&scenario.build, &course.stance_at(time_s));
        let light = renderer.expose(body_at, time_s, SHUTTER_S);
        let picture = sensor.develop(&light, renderer.size_px(), rng.next_u64());
        picture.save(folder.join(format!("{name}.png"))).expect("a picture can be written");
        let body = body_at(time_s);
        let seen = scenario.marked.iter().filter_map(|landmark| {
            let world_mm = scenario.landmark_mm(&body, *landmark);
            let at = scenario.camera.project(&world_mm)?;
            renderer.sees(&body, &world_mm, 160.0).then_some((*landmark, at))
        });
        let seen: BTreeMap<Landmark, ImagePoint> = seen.collect();
        let mut hand = |at: ImagePoint| MarkedPoint {
            point: ImagePoint::new(at.x + normal(rng, 0.0, MARK_SD_PX), at.y + normal(rng, 0.0, MARK_SD_PX)),
            spread: PointSpread::Usual,
        };
        let frame = MarkedFrame {
            time_s: 0.0,
            source: Source::Hand,
            used_as: FrameUse::EndRange,
            rater: None,
            repeat: None,
            from: None,
            points: seen.iter().map(|(landmark, at)| (*landmark, hand(*at))).collect(),
        };
        let image_size = scenario.camera.lens.image_size;
        let marks = MarksFile { schema: MARKS_SCHEMA.to_owned(), image_size, frames: vec![frame] };
        marks.write(&folder.join(format!("{name}.marks.json"))).expect("marks can be written");
        case += &format!(
            "[[reach]]\noccasion = \"before\"\nrotation = \"{name}\"\n{view}\npain = 0\nlimited_by = \"stretch\"\nback_flat \
             = true\nfile = \"{name}.png\"\nmarks = \"{name}.marks.json\"\n"
        );
        let truth = scenario.truth(&body);
        truths.push(Truth {
            tilt_deg: truth.bar_tilt_deg,
            height_mm: truth.bar_height_mm,
            ends: seen.into_iter().filter(|(landmark, _)| matches!(landmark, Landmark::BarEnd(_))).collect(),
        });
    }
    std::fs::write(folder.join("case.toml"), case).expect("the case can be written");
    std::fs::write(folder.join("phone.camera.json"), profile_text(&scenario)).expect("the profile can be written");
    truths
}

fn normal(rng: &mut impl Rng, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).expect("every spread in this file is finite and not negative").sample(rng)
}
