//! How far the difference is from the truth when marks are carried from reach to reach by image matching, and when every reach
//! is marked on its own. Pictures are rendered; `cargo bench --bench carried_marks -- [VISITS] [SEED] [DIFFERENCE] [VIEW] [--moving]
//! [--displaced] [--keep]`. With a true difference (deg) given, before and after the stretch, calls are counted too; the view is `side`
//! or `front`. With `--moving` the persons are less stiff: shoulder girdle and evenness of the arms differ from reach to reach as people's
//! do. With `--keep` pictures are kept in the target's folder (1.5 MB a visit), and read from there the next time.
//!
//! A visit has four reaches of one frame at end range. By hand, every mark of every reach has its own error of
//! [`MARK_SD_PX`]. Carried, only before internal is marked whole; the other rotation takes what matches and gets its wrists
//! and its elbow by hand; after the stretch everything is taken from before that matches. Beside: every reach is marked by hand, and what
//! the pictures say counts beside the hand's marks, as `measure` has it.
//!
//! With `--displaced` the same visits with the same marks are measured once more, one mark in ten displaced as in `fit_accuracy`.

#![allow(clippy::print_stdout, missing_docs, reason = "a program that prints a table")]

#[path = "../column/mod.rs"]
mod column;
mod filmed;
#[path = "../kept/mod.rs"]
mod kept;
mod product;
mod slips;

use std::collections::BTreeMap;

use nalgebra::Matrix2;
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use tworeach::camera::Lens;
use tworeach::demo::body::BAR_LENGTH_MM;
use tworeach::demo::scenario::LENS_U;
use tworeach::demo::{DemoCase, Scenario};
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::pose::{
    BarFacts, FrameObservations, Mark, PersonFacts, Quantity, ReachObservations, SharedError, Term, View, VisitFit,
    VisitObservations, fit_visit,
};
use tworeach::screen::case::MARGIN_DEG_DEFAULT;
use tworeach::track::{ArmTurn, Carried, Forearm, carry_marks, wrist_beside_forearm};
use tworeach::uncertainty::Measured;

use column::Column;
use filmed::{Filming, Shot, normal};
use kept::KeptFrames;
use product::Product;
use slips::{Naming, Paired, displaced};

/// Spread of a mark placed by hand, px in each direction.
const MARK_SD_PX: f64 = 1.5;
/// As the case states it, mm.
const STATURE_MM: f64 = 1790.0;
/// What remains of a mark's own error where it is shared with those carried from it, px: as `screen` has it.
const ORIGIN_OWN_SD_PX: f64 = 0.05;
/// Reaches whose difference is asked for: what it is, and which from which.
const DIFFERENCES: [(&str, usize, usize); 3] = [("difference", 1, 0), ("difference", 3, 2), ("change, external", 3, 1)];

/// Marks by hand of each reach.
type HandMarks = Vec<Vec<(Landmark, ImagePoint)>>;

fn main() {
    let is_asked = |option: &str| std::env::args().any(|argument| argument == option);
    let mut arguments = std::env::args().skip(1).filter(|argument| !argument.starts_with("--"));
    let visits: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(100);
    let seed: u64 = arguments.next().and_then(|text| text.parse().ok()).unwrap_or(1);
    let difference_deg: Option<f64> = arguments.next().and_then(|text| text.parse().ok());
    let case = match arguments.next().as_deref() {
        Some("front") => DemoCase::Front,
        _ => DemoCase::Side,
    };
    let kept = is_asked("--keep").then(|| KeptFrames::open("carried-marks", "benches/carried_marks/filmed.rs"));
    let filming = Filming { case, seed, difference_deg, is_moving: is_asked("--moving"), kept };
    let mut tables = Tables::default();
    for index in 0..visits {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(index);
        let (scenario, shots) = filming.visit(index, &mut rng);
        let hand: HandMarks = shots
            .iter()
            .map(|shot| shot.truth.iter().map(|(landmark, at)| (*landmark, by_hand(*at, &mut rng))).collect())
            .collect();
        let product = Product::new(&scenario, &shots);
        let (alone, compared) = (product.by_hand(&hand), product.compared(&hand));
        let carried = carry(&shots, &hand, &mut tables);
        let carried = fit_visit(&observed(&scenario, &shots, &carried));
        tables.doubted[0] += compared.doubted;
        let clean = [("by hand", &alone.fit), ("carried", &carried), ("beside", &compared.visit.fit)];
        for (name, fit) in clean {
            tables.add(&filming, name, fit, &shots);
        }
        if !is_asked("--displaced") {
            continue;
        }
        let (moved, places) = displaced(&hand, scenario.view, (seed, index));
        let (alone_moved, compared_moved) = (product.by_hand(&moved), product.compared(&moved));
        tables.doubted[1] += compared_moved.doubted;
        let pairs = [
            ("by hand", "by hand, displaced", [&alone.fit, &alone_moved.fit]),
            ("beside", "beside, displaced", [&compared.visit.fit, &compared_moved.visit.fit]),
        ];
        for (name, displaced_name, fits) in pairs {
            tables.add(&filming, displaced_name, fits[1], &shots);
            tables.namings.entry(name).or_default().add(fits[1], &places);
            tables.paired.entry(name).or_default().add(fits.map(|fit| errors(fit, &filming, &shots)));
        }
    }
    tables.print(visits);
}

/// What is printed.
#[derive(Default)]
struct Tables {
    columns: BTreeMap<(&'static str, &'static str), Column>,
    calls: BTreeMap<&'static str, Calls>,
    landings: BTreeMap<(&'static str, Landmark), Landing>,
    namings: BTreeMap<&'static str, Naming>,
    paired: BTreeMap<&'static str, Paired>,
    /// Spots left out, with the marks as they are and displaced.
    doubted: [usize; 2],
    carry_s: f64,
    carries: f64,
}

impl Tables {
    /// Adds what a fit says of a visit.
    fn add(&mut self, filming: &Filming, name: &'static str, fit: &VisitFit, shots: &[Shot]) {
        for (what, to, from) in DIFFERENCES {
            let (found, truth) = (difference(fit, filming.case, [to, from]), true_difference_deg(shots, [to, from]));
            self.columns.entry((what, name)).or_default().add(found, truth);
            if what == "difference"
                && let (Some(found), Some(_)) = (found, filming.difference_deg)
            {
                self.calls.entry(name).or_default().add(found);
            }
        }
        let found = combined(fit, &[term(filming.case, 1.0, 0)]);
        self.columns.entry(("elevation", name)).or_default().add(found, shots[0].elevation_deg);
    }

    fn print(&mut self, visits: u64) {
        println!(
            "{visits} visits, marks good to {MARK_SD_PX} px; carrying takes {:.0} ms a pair of pictures",
            1e3 * self.carry_s / self.carries
        );
        for ((what, name), column) in &self.columns {
            column.print(&format!("{what}, {name}"));
        }
        for (name, calls) in &self.calls {
            let share = |count: usize| 100.0 * count as f64 / calls.all.max(1) as f64;
            println!(
                "  calls {name:<11} n {:>4}  positive {:.1} %  negative {:.1} %",
                calls.all,
                share(calls.positive),
                share(calls.negative)
            );
        }
        for (name, paired) in &self.paired {
            paired.print(name);
            self.namings[name].print(name);
        }
        println!("spots left out as contradicted: {}, with marks displaced {}", self.doubted[0], self.doubted[1]);
        println!("where carried marks land, px from the spot they came from");
        for ((kind, landmark), landing) in &mut self.landings {
            landing.print(kind, *landmark);
        }
    }
}

const fn term(case: DemoCase, factor: f64, reach: usize) -> Term {
    let quantity = match case {
        DemoCase::Side => Quantity::Elevation(Side::Right),
        DemoCase::Front => Quantity::ElevationFromVertical(Side::Right),
    };
    Term { factor, reach, raise: 0, quantity }
}

fn combined(fit: &VisitFit, terms: &[Term]) -> Option<Measured> {
    fit.combine(terms).ok().map(|e| Measured::from_u(e.value, e.u, f64::INFINITY))
}

fn difference(fit: &VisitFit, case: DemoCase, [to, from]: [usize; 2]) -> Option<Measured> {
    combined(fit, &[term(case, 1.0, to), term(case, -1.0, from)])
}

fn true_difference_deg(shots: &[Shot], [to, from]: [usize; 2]) -> f64 {
    shots[to].elevation_deg - shots[from].elevation_deg
}

/// Errors of the differences external minus internal, deg.
fn errors(fit: &VisitFit, filming: &Filming, shots: &[Shot]) -> [Option<f64>; 2] {
    [[1, 0], [3, 2]].map(|pair| Some(difference(fit, filming.case, pair)?.value - true_difference_deg(shots, pair)))
}

/// The marks of a visit of which only before internal was marked whole: the others' are carried as far as they match.
fn carry(shots: &[Shot], hand: &HandMarks, tables: &mut Tables) -> Vec<Vec<Mark>> {
    let placed = |(landmark, at): &(Landmark, ImagePoint)| {
        Mark::placed(*landmark, *at, Matrix2::identity() * MARK_SD_PX.powi(2))
    };
    let mut carried: Vec<Vec<Mark>> = hand.iter().map(|marks| marks.iter().map(placed).collect()).collect();
    // from, to: before internal to the others, then the arms of before external to after external
    for (from, to) in [(0, 1), (0, 2), (0, 3), (1, 3)] {
        let arms = if shots[from].rotation == shots[to].rotation { ArmTurn::Same } else { ArmTurn::Other };
        let given: Vec<(Landmark, ImagePoint)> =
            carried[from].iter().take(hand[from].len()).map(|mark| (mark.landmark, mark.point)).collect();
        let started = std::time::Instant::now();
        let found = carry_marks(&shots[from].image, &shots[to].image, arms, &given);
        tables.carry_s += started.elapsed().as_secs_f64();
        tables.carries += 1.0;
        for (place, (landmark, result)) in found.marks.iter().enumerate() {
            let tied = match landmark {
                Landmark::Wrist(Side::Right) if arms == ArmTurn::Other => tied(shots, [from, to], [&given, &hand[to]]),
                _ => None,
            };
            let result = &tied.map_or(*result, Ok);
            let kind = if arms == ArmTurn::Same { "same rotation" } else { "other rotation" };
            let landing = tables.landings.entry((kind, *landmark)).or_default();
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
                strayed: None,
                is_placed: false,
            };
            if tied.is_some() {
                // the outlines tie the mark by hand across the arm alone
                carried[to].push(brought);
            } else if let Some(mark) = carried[to].iter_mut().find(|mark| mark.landmark == *landmark)
                && mark.shared.is_none()
            {
                *mark = brought;
            }
        }
    }
    carried
}

/// The near wrist beside its forearm, where the outlines show it.
fn tied(shots: &[Shot], reaches: [usize; 2], marks: [&[(Landmark, ImagePoint)]; 2]) -> Option<Carried> {
    let forearms = [Forearm::among(marks[0], Side::Right)?, Forearm::among(marks[1], Side::Right)?];
    wrist_beside_forearm(reaches.map(|reach| &shots[reach].image), forearms)
}

const fn arm(landmark: Landmark) -> bool {
    matches!(landmark, Landmark::Elbow(_) | Landmark::Wrist(_))
}

fn by_hand(at: ImagePoint, rng: &mut ChaCha8Rng) -> ImagePoint {
    ImagePoint::new(at.x + normal(rng, 0.0, MARK_SD_PX), at.y + normal(rng, 0.0, MARK_SD_PX))
}

/// The lens, as well known as a calibration knows it.
fn known_lens(scenario: &Scenario) -> Lens {
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
    lens
}

fn observed(scenario: &Scenario, shots: &[Shot], marks: &[Vec<Mark>]) -> VisitObservations {
    let lens = known_lens(scenario);
    VisitObservations {
        contradictions: Vec::new(),
        person: PersonFacts { stature_mm: Some(STATURE_MM), arm_length_mm: None },
        bar: BarFacts { length_mm: Some(BAR_LENGTH_MM), has_taped_grips: false },
        reaches: shots
            .iter()
            .zip(marks)
            .map(|(shot, marks)| ReachObservations {
                view: scenario.view,
                near_side: (scenario.view != View::Front).then_some(Side::Right),
                rotation: shot.rotation,
                is_mirrored: false,
                image_size: lens.image_size,
                lens: Some(lens.clone()),
                frames: vec![FrameObservations { time_s: 0.0, raise: 0, motion: None, marks: marks.clone() }],
            })
            .collect(),
    }
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
