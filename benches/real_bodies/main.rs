//! How far the fit is from the truth on people: motion capture seen by virtual cameras.
//! `cargo bench --bench real_bodies -- [VISITS A PERSON] [SEED] [ONLY]`, where ONLY is a word of a table's title
//!
//! Four poses of one person's trials stand for the four reaches of a visit. There is no internal and external pair in these data:
//! a difference is that between two poses of one person. The people stand or squat, and hold the bar wider than in the
//! screen and with bent elbows; the single arm has no bar.

#![allow(clippy::print_stdout, missing_docs, reason = "a program that prints tables")]

mod evidence;
mod flexion;
mod people;
mod score;
mod visit;

use std::collections::BTreeMap;

use flexion::{FLEXION_PERSON, read_flexion};
use people::{OVERHEAD_BAR, Trial, folder, read_trials};
use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;
use score::{Score, Subject, raised_side};
use tworeach::geometry::Side;
use tworeach::pose::View;
use visit::VisitOptions;

/// The trials of one arm raised sideways to overhead, standing, without a bar.
const ONE_ARM: &str = "uiprmd_abduction_m07.csv";
/// Height of the seventh cervical vertebra over standing height (from memory of ANSUR II, NATICK/TR-15/007).
const CERVICAL_RATIO: f64 = 0.863;

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|argument| !argument.starts_with("--"));
    let visits: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(50);
    let seed: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(1);
    let only = arguments.next().unwrap_or_default();
    let Some(folder) = folder() else {
        println!("skipped: TWOREACH_REFERENCE is not set");
        return;
    };
    let bar = read_trials(&folder, OVERHEAD_BAR);
    let arm = read_trials(&folder, ONE_ARM);
    let of = |trials: &[Trial], person: u32| -> Vec<Trial> {
        trials.iter().filter(|trial| trial.person == person).cloned().collect()
    };
    let people: Vec<u32> = bar.iter().map(|trial| trial.person).collect();
    let statures: BTreeMap<u32, f64> = people
        .iter()
        .map(|person| {
            (*person, stature_mm(&bar.iter().chain(&arm).filter(|trial| trial.person == *person).collect::<Vec<_>>()))
        })
        .collect();
    evidence::print(&bar, &statures);
    let flexion = read_flexion(&folder);
    for (subject, trials) in
        [(Subject::BarStanding, &bar), (Subject::BarSquat, &bar), (Subject::OneArm, &arm), (Subject::Flexion, &flexion)]
    {
        for view in [View::Side, View::Oblique, View::Front] {
            let title = format!("{}, {view:?} view", subject.words());
            if (view == View::Front && !subject.has_bar()) || !title.contains(&only) {
                continue;
            }
            let mut all = Score::default();
            let mut by_person = Vec::new();
            let flexed = [FLEXION_PERSON];
            for person in if subject == Subject::Flexion { &flexed } else { people.as_slice() } {
                let trials = of(trials, *person);
                let mut score = Score::default();
                for index in 0..visits {
                    let mut rng = ChaCha8Rng::seed_from_u64(seed);
                    rng.set_stream(u64::from(*person) * 1_000_000 + index);
                    let near_side = match subject {
                        Subject::OneArm => raised_side(&trials[0]),
                        Subject::Flexion => Side::Right,
                        _ if index % 2 == 0 => Side::Right,
                        _ => Side::Left,
                    };
                    let options = VisitOptions {
                        view,
                        near_side,
                        has_bar: subject.has_bar(),
                        mark_sd_px: 1.5,
                        stature_mm: statures.get(person).copied(),
                    };
                    match visit::film(&options, subject.draw_poses(&trials, &mut rng), &mut rng) {
                        Some(filmed) => score.add(&options, &filmed),
                        None => score.unfilmed += 1,
                    }
                }
                all.merge(&score);
                by_person.push((*person, score));
            }
            println!("\n{title}, {visits} visits a person");
            all.print();
            for (person, score) in by_person {
                score.print_line(person);
            }
        }
    }
}

/// Standing height of a person, mm, from the highest that the seventh cervical vertebra was in any of the trials.
fn stature_mm(trials: &[&Trial]) -> f64 {
    trials.iter().flat_map(|trial| &trial.poses).map(|pose| pose.cervical.y).fold(0.0, f64::max) / CERVICAL_RATIO
}
