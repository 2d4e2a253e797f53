//! How far the fit is from the truth over seeded scenes, and whether its stated uncertainty is right.
//! `cargo bench --bench fit_accuracy -- [SCENES] [SEED]`

#![allow(clippy::print_stdout, missing_docs, reason = "a program that prints a table")]

mod column;

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use tworeach::demo::scenes::{Scene, SceneOptions};
use tworeach::geometry::Side;
use tworeach::pose::{Quantity, Term, View, fit_visit};
use tworeach::uncertainty::Measured;

use column::Column;

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|argument| !argument.starts_with("--"));
    let scenes: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(500);
    let seed: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(1);
    for view in [View::Side, View::Oblique, View::Front] {
        let exact = SceneOptions::exact(view);
        let noisy = SceneOptions { mark_sd_px: 1.5, ..exact };
        let soft = SceneOptions { has_soft_bodies: true, ..noisy };
        let displaced = SceneOptions { displaced_ratio: 0.1, ..soft };
        let shifted = SceneOptions { only_shifts: true, ..exact };
        run(&format!("{view:?}, no marking error, persons that only shift"), &shifted, scenes, seed);
        run(&format!("{view:?}, no marking error"), &exact, scenes, seed);
        run(&format!("{view:?}, 1.5 px"), &noisy, scenes, seed);
        run(&format!("{view:?}, 1.5 px and soft bodies"), &soft, scenes, seed);
        run(&format!("{view:?}, one mark in ten displaced by 15 px"), &displaced, scenes, seed);
        let far = SceneOptions { displaced_px: 60.0, ..displaced };
        run(&format!("{view:?}, one mark in ten displaced by 60 px"), &far, scenes, seed);
    }
}

fn run(name: &str, options: &SceneOptions, scenes: u64, seed: u64) {
    let mut reach_column = Column::default();
    let mut difference_column = Column::default();
    let (mut displaced, mut named, mut falsely, mut marks) = (0, 0, 0, 0);
    let mut by_landmark = std::collections::BTreeMap::new();
    let mut failed = 0;
    let started = std::time::Instant::now();
    let mut steps = 0;
    for index in 0..scenes {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(index);
        let scene = Scene::draw(options, &mut rng);
        let fit = fit_visit(&scene.observations);
        failed += usize::from(!fit.outcome().is_converged);
        steps += fit.outcome().iterations;
        let is_front = options.view == View::Front;
        let quantity =
            if is_front { Quantity::ElevationFromVertical(Side::Right) } else { Quantity::Elevation(Side::Right) };
        let truth = |reach: usize| {
            let truth = &scene.truth[reach];
            if is_front { truth.elevation_from_vertical_right_deg } else { truth.elevation_right_deg }
        };
        let term = |factor: f64, reach: usize| Term { factor, reach, raise: 0, quantity };
        for reach in 0..4 {
            let found = fit.combine(&[term(1.0, reach)]).ok().map(|e| Measured::from_u(e.value, e.u, f64::INFINITY));
            reach_column.add(found, truth(reach));
        }
        for pair in [0, 2] {
            let found = fit
                .combine(&[term(1.0, pair + 1), term(-1.0, pair)])
                .ok()
                .map(|e| Measured::from_u(e.value, e.u, f64::INFINITY));
            difference_column.add(found, truth(pair + 1) - truth(pair));
        }
        for residual in fit.residuals() {
            marks += 1;
            let is_displaced = scene.displaced.contains(&(residual.reach, residual.landmark));
            displaced += usize::from(is_displaced);
            named += usize::from(is_displaced && residual.is_disagreeing);
            falsely += usize::from(!is_displaced && residual.is_disagreeing);
            if is_displaced {
                let entry = by_landmark.entry(residual.landmark).or_insert((0, 0));
                entry.0 += 1;
                entry.1 += usize::from(residual.is_disagreeing);
            }
        }
    }
    let each_ms = started.elapsed().as_secs_f64() * 1e3 / scenes as f64;
    println!("{name}: {each_ms:.1} ms and {:.1} steps a scene, {failed} not converged", steps as f64 / scenes as f64);
    reach_column.print("elevation, deg");
    difference_column.print("difference, deg");
    if displaced > 0 {
        println!("  displaced marks named {:.1} % of {displaced}", 100.0 * named as f64 / displaced as f64);
        for (landmark, (of, got)) in by_landmark {
            println!("    {landmark:<16} {got} of {of}");
        }
    }
    println!("  good marks named {falsely} of {}", marks - displaced);
}
