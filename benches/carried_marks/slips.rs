//! Marks that are displaced, and what that does to the differences of the same visits.

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use tworeach::demo::scenes::SceneOptions;
use tworeach::geometry::{ImagePoint, Landmark};
use tworeach::pose::{View, VisitFit};

use crate::HandMarks;

/// Share of the visit's marks that are displaced.
const DISPLACED_RATIO: f64 = 0.1;

/// The marks of a visit, some of them displaced, and which ones: reach and landmark. Seed and number draw numbers of their own, so that
/// the visit is the same otherwise.
pub fn displaced(hand: &HandMarks, view: View, (seed, index): (u64, u64)) -> (HandMarks, Vec<(usize, Landmark)>) {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    // visits have the first streams
    rng.set_stream(u64::MAX - index);
    let options = SceneOptions { displaced_ratio: DISPLACED_RATIO, ..SceneOptions::exact(view) };
    let places: Vec<(usize, usize)> =
        hand.iter().enumerate().flat_map(|(reach, marks)| (0..marks.len()).map(move |mark| (reach, mark))).collect();
    let landmarks: Vec<Landmark> = places.iter().map(|(reach, mark)| hand[*reach][*mark].0).collect();
    let mut moved = hand.clone();
    let mut which = Vec::new();
    for (place, by_px) in options.displacements(&landmarks, &mut rng) {
        let (reach, mark) = places[place];
        let (landmark, at) = &mut moved[reach][mark];
        *at = ImagePoint::new(at.x + by_px.x, at.y + by_px.y);
        which.push((reach, *landmark));
    }
    (moved, which)
}

/// Which marks placed by hand are named.
#[derive(Default)]
pub struct Naming {
    displaced: usize,
    named: usize,
    good: usize,
    falsely: usize,
}

impl Naming {
    pub fn add(&mut self, fit: &VisitFit, places: &[(usize, Landmark)]) {
        for residual in fit.residuals().iter().filter(|residual| residual.is_placed) {
            let is_named = usize::from(residual.is_disagreeing);
            if places.contains(&(residual.reach, residual.landmark)) {
                self.displaced += 1;
                self.named += is_named;
            } else {
                self.good += 1;
                self.falsely += is_named;
            }
        }
    }

    pub fn print(&self, name: &str) {
        let share = |of: usize, all: usize| 100.0 * of as f64 / all.max(1) as f64;
        println!(
            "  {name:<8} displaced marks named {:.1} % of {}, good marks {:.1} % of {}",
            share(self.named, self.displaced),
            self.displaced,
            share(self.falsely, self.good),
            self.good
        );
    }
}

/// Differences of the same visits with marks as they are and displaced.
#[derive(Default)]
pub struct Paired {
    /// Sums of squared errors of each visit, deg², as they are and displaced.
    squares: Vec<[f64; 2]>,
    /// Visits without a number on one of the sides.
    missing: usize,
}

impl Paired {
    /// Adds the errors of a visit's differences, deg, as they are and displaced.
    pub fn add(&mut self, errors: [[Option<f64>; 2]; 2]) {
        match errors {
            [[Some(a), Some(b)], [Some(c), Some(d)]] => self.squares.push([a * a + b * b, c * c + d * d]),
            _ => self.missing += 1,
        }
    }

    /// Prints the ratio of the two rms with its standard error: the jackknife over visits (Efron and Tibshirani 1993, An Introduction to
    /// the Bootstrap, eq. 11.5).
    pub fn print(&self, name: &str) {
        let all = self.squares.iter().fold([0.0; 2], |sum, squares| [sum[0] + squares[0], sum[1] + squares[1]]);
        let n = self.squares.len() as f64;
        let without: Vec<f64> =
            self.squares.iter().map(|[clean, moved]| ((all[1] - moved) / (all[0] - clean)).sqrt()).collect();
        let mean = without.iter().sum::<f64>() / n;
        let se = ((n - 1.0) / n * without.iter().map(|ratio| (ratio - mean).powi(2)).sum::<f64>()).sqrt();
        println!(
            "  {name:<8} rms of the difference displaced over clean {:.2} (standard error {se:.2}; {} visits, {} without a number)",
            (all[1] / all[0]).sqrt(),
            self.squares.len(),
            self.missing
        );
    }
}
