//! Propagation of distributions by simulation, where a quantity is not near linear.
//!
//! Each draw has its own random stream, numbered by the draw, so that the number of threads changes no digit.
//!
//! # Source
//! JCGM 101:2008 (Supplement 1 to the Guide), clauses 7.3 to 7.7 and 7.9.2.

use nalgebra::{DMatrix, DVector};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::iter::{IntoParallelIterator, ParallelIterator};
use serde::Serialize;

use crate::uncertainty::propagation::count_to_f64;
use crate::uncertainty::{Measured, UncertaintyError, measured::COVERAGE};

/// A negative eigenvalue of a covariance, over the largest, that rounding can explain.
const NEGATIVE_EIGENVALUE_TOL: f64 = 1e-9;

/// How many draws, from which seed. The seed belongs into every result that rests on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MonteCarloOptions {
    /// Number of draws.
    pub draws: usize,
    /// Seed of the streams.
    pub seed: u64,
}

impl Default for MonteCarloOptions {
    /// 20 000 draws: the ends of a 95 % interval are then good to some 2 % of u (common practice, no source).
    fn default() -> Self {
        Self { draws: 20_000, seed: 1 }
    }
}

/// The values of a model over random draws, in the order of the draws.
///
/// `model` draws its inputs from the stream it is given and returns a value of any kind. Draws run on all threads; draw
/// number i always has stream i of the seed.
pub fn monte_carlo<T, Model>(options: MonteCarloOptions, model: Model) -> Vec<T>
where
    T: Send,
    Model: Fn(&mut ChaCha8Rng) -> T + Sync,
{
    (0..options.draws).into_par_iter().map(|draw| model(&mut draw_stream(options.seed, 0, draw))).collect()
}

/// The random stream of one draw. What a draw needs later, for another `purpose`, has a stream of its own; purpose 0 is that of
/// [`monte_carlo`].
pub fn draw_stream(seed: u64, purpose: u8, draw: usize) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let draw = u64::try_from(draw).expect("usize is at most 64 bits wide");
    rng.set_stream(draw ^ (u64::from(purpose) << PURPOSE_BIT));
    rng
}

/// Streams are numbered by the draw below this bit and by the purpose above it: no count of draws reaches it.
const PURPOSE_BIT: u32 = 56;

/// An interval of a simulated quantity, in its unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CoverageInterval {
    /// Lower end.
    pub lo: f64,
    /// Upper end.
    pub hi: f64,
}

/// The distribution of a simulated quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatedDistribution {
    sorted: Vec<f64>,
    mean: f64,
    u: f64,
}

impl SimulatedDistribution {
    /// The distribution of a quantity's simulated values.
    ///
    /// # Errors
    /// [`UncertaintyError::TooFew`] below 40 values, from which no 95 % interval can be read;
    /// [`UncertaintyError::NotFinite`] if a draw failed.
    pub fn from_values(mut values: Vec<f64>) -> Result<Self, UncertaintyError> {
        if values.len() < 40 {
            let found = values.len();
            return Err(UncertaintyError::TooFew { what: "a simulated 95 % interval", found, needed: 40 });
        }
        if let Some(found) = values.iter().find(|value| !value.is_finite()) {
            return Err(UncertaintyError::NotFinite { what: "a simulated quantity", found: *found });
        }
        values.sort_by(f64::total_cmp);
        let n = count_to_f64(values.len());
        let mean = values.iter().sum::<f64>() / n;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        Ok(Self { sorted: values, mean, u: (squares / (n - 1.0)).sqrt() })
    }

    /// The mean: the estimate by simulation.
    #[must_use]
    pub const fn mean(&self) -> f64 {
        self.mean
    }

    /// The standard deviation: the standard uncertainty by simulation.
    #[must_use]
    pub const fn u(&self) -> f64 {
        self.u
    }

    /// The value below which a fraction `probability` of the draws lies, between neighbouring draws by straight line.
    #[must_use]
    pub fn quantile(&self, probability: f64) -> f64 {
        let last = self.sorted.len() - 1;
        let place = probability.clamp(0.0, 1.0) * count_to_f64(last);
        let below = floor_to_index(place).min(last);
        let above = (below + 1).min(last);
        let part = place - count_to_f64(below);
        self.sorted[below] + part * (self.sorted[above] - self.sorted[below])
    }

    /// How many values lie between two numbers, in either order.
    #[must_use]
    pub fn count_between(&self, first: f64, second: f64) -> usize {
        let below = |end: f64| self.sorted.partition_point(|value| *value < end);
        below(first).abs_diff(below(second))
    }

    /// The interval of 95 % that leaves as much on either side.
    #[must_use]
    pub fn symmetric_interval(&self) -> CoverageInterval {
        let tail = 0.5 * (1.0 - COVERAGE);
        CoverageInterval { lo: self.quantile(tail), hi: self.quantile(1.0 - tail) }
    }

    /// The shortest interval of 95 %: the one for a quantity that has an end, such as an angle of flexion at 0.
    #[must_use]
    pub fn shortest_interval(&self) -> CoverageInterval {
        let count = self.sorted.len();
        let covered = floor_to_index((COVERAGE * count_to_f64(count)).round()).clamp(1, count - 1);
        let mut best = CoverageInterval { lo: self.sorted[0], hi: self.sorted[covered] };
        for start in 1..count - covered {
            let (lo, hi) = (self.sorted[start], self.sorted[start + covered]);
            if hi - lo < best.hi - best.lo {
                best = CoverageInterval { lo, hi };
            }
        }
        best
    }

    /// The quantity as it is reported, with the symmetric interval and `value` as the estimate.
    #[must_use]
    pub fn measured_symmetric(&self, value: f64) -> Measured {
        let CoverageInterval { lo, hi } = self.symmetric_interval();
        Measured { value, u: self.u, lo, hi }
    }

    /// The quantity as it is reported, with the shortest interval and `value` as the estimate.
    #[must_use]
    pub fn measured_shortest(&self, value: f64) -> Measured {
        let CoverageInterval { lo, hi } = self.shortest_interval();
        Measured { value, u: self.u, lo, hi }
    }
}

/// Draws vectors from a multivariate normal distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct NormalSampler {
    mean: DVector<f64>,
    root: DMatrix<f64>,
}

impl NormalSampler {
    /// A sampler of a mean and a covariance, which may be singular: fixed inputs and wholly correlated ones are allowed.
    ///
    /// # Errors
    /// [`UncertaintyError::SizeDiffers`], or [`UncertaintyError::NotACovariance`] if an eigenvalue is negative beyond rounding.
    ///
    /// # Source
    /// JCGM 101:2008, C.5, with an eigendecomposition in place of Cholesky's so that singular matrices work.
    pub fn new(mean: DVector<f64>, covariance: &DMatrix<f64>) -> Result<Self, UncertaintyError> {
        for (what, found) in [("covariance's rows", covariance.nrows()), ("covariance's columns", covariance.ncols())] {
            if found != mean.len() {
                return Err(UncertaintyError::SizeDiffers { what, found, expected: mean.len() });
            }
        }
        let symmetric = 0.5 * (covariance + covariance.transpose());
        let eigen = symmetric.symmetric_eigen();
        let largest = eigen.eigenvalues.iter().copied().fold(0.0, f64::max);
        let smallest = eigen.eigenvalues.iter().copied().fold(f64::INFINITY, f64::min);
        if smallest < -NEGATIVE_EIGENVALUE_TOL * largest {
            return Err(UncertaintyError::NotACovariance { smallest: smallest / largest });
        }
        let root = eigen.eigenvectors * DMatrix::from_diagonal(&eigen.eigenvalues.map(|value| value.max(0.0).sqrt()));
        Ok(Self { mean, root })
    }

    /// One draw.
    pub fn draw(&self, rng: &mut impl Rng) -> DVector<f64> {
        let standard = DVector::from_fn(self.mean.len(), |_, _| StandardNormal.sample(rng));
        &self.mean + &self.root * standard
    }
}

/// The whole part of a number that is not negative and far below 2^53, as an index.
fn floor_to_index(number: f64) -> usize {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "callers pass 0 to the number of draws; the fraction is meant to go"
    )]
    let index = number as usize;
    index
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::propagate;
    use rand::RngExt;

    /// Draws for the comparisons with the published examples, which used a million.
    const DRAWS: usize = 400_000;

    fn options(seed: u64) -> MonteCarloOptions {
        MonteCarloOptions { draws: DRAWS, seed }
    }

    fn rectangular(rng: &mut ChaCha8Rng, sd: f64) -> f64 {
        // A rectangle of half-width a has the standard deviation a / sqrt 3 (JCGM 100, 4.3.7).
        (2.0 * rng.random::<f64>() - 1.0) * sd * 3.0_f64.sqrt()
    }

    fn simulate(seed: u64, model: impl Fn(&mut ChaCha8Rng) -> f64 + Sync) -> SimulatedDistribution {
        SimulatedDistribution::from_values(monte_carlo(options(seed), model)).unwrap()
    }

    /// JCGM 101:2008, 9.2 and 9.4: inputs, published results and closed forms, tests/reference/jcgm101.json.
    fn published() -> serde_json::Value {
        let text = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/reference/jcgm101.json"));
        serde_json::from_str(text).unwrap()
    }

    /// By the law of propagation: the standard uncertainty of inputs' combination, and the interval around `y`.
    fn first_order(y: f64, slopes: &[f64], sds: &[f64]) -> Measured {
        let jacobian = DMatrix::from_row_slice(1, slopes.len(), slopes);
        let variances = DVector::from_iterator(sds.len(), sds.iter().map(|sd| sd * sd));
        let u = propagate(&jacobian, &DMatrix::from_diagonal(&variances)).unwrap()[(0, 0)].sqrt();
        Measured::from_u(y, u, f64::INFINITY)
    }

    /// A printed number agrees when it is nearer than half a unit of its last digit.
    fn agrees(found: f64, printed: &serde_json::Value, half_digit: f64) {
        let printed = printed.as_f64().unwrap();
        assert!((found - printed).abs() <= half_digit + 1e-9, "{found} against {printed}");
    }

    #[test]
    fn additive_model_has_the_published_uncertainties_and_intervals() {
        let published = published();
        let normal = |rng: &mut ChaCha8Rng| -> f64 { StandardNormal.sample(rng) };
        let rectangle = |rng: &mut ChaCha8Rng| rectangular(rng, 1.0);
        let sums = [
            simulate(11, |rng| (0..4).map(|_| normal(rng)).sum()),
            simulate(12, |rng| (0..4).map(|_| rectangle(rng)).sum()),
            simulate(13, |rng| rectangular(rng, 10.0) + (0..3).map(|_| rectangle(rng)).sum::<f64>()),
        ];
        let sds = [[1.0; 4], [1.0; 4], [1.0, 1.0, 1.0, 10.0]];
        // 1.96 times 2 for the normal sum; closed form and quadrature, as the file has them, for the others
        let exact = [
            3.919_928,
            published["cases"][1]["closed_form_half_width"].as_f64().unwrap(),
            published["cases"][2]["exact_half_width_by_quadrature"].as_f64().unwrap(),
        ];
        // Half a unit of the last printed digit. An end's sd over n draws is sqrt(0.025 * 0.975 / n) / density: 0.0085 for the
        // normal sum, less for the denser ends of rectangles; 4.5 of them.
        for (index, (half_digit, end_tolerance)) in
            [(0.005, 0.038), (0.005, 0.025), (0.05, 0.06)].into_iter().enumerate()
        {
            let case = &published["cases"][index];
            let framework = first_order(0.0, &[1.0; 4], &sds[index]);
            agrees(framework.u, &case["gum_framework"]["u"], half_digit);
            agrees(framework.hi, &case["gum_framework"]["ci95"][1], half_digit);
            agrees(framework.lo, &case["gum_framework"]["ci95"][0], half_digit);
            // The relative sd of a standard deviation over 400 000 normal draws is 0.0011, of other draws here less; 3.5 of them.
            assert!((sums[index].u() / framework.u - 1.0).abs() < 0.0039, "{}", sums[index].u());
            let interval = sums[index].symmetric_interval();
            assert!((interval.hi - exact[index]).abs() < end_tolerance, "{interval:?}");
            assert!((interval.lo + exact[index]).abs() < end_tolerance, "{interval:?}");
            agrees(exact[index], &case["monte_carlo"]["ci95"][1], half_digit);
        }
    }

    #[test]
    fn comparison_loss_near_zero_has_the_published_mean_u_and_shortest_interval() {
        // 9.4.2, in units of 1e-6: Y = X1² + X2² with u = 0.005 for both, x2 = 0.
        let published = published();
        for (row, seed) in published["comparison_loss"]["rows_e6"].as_array().unwrap().iter().zip(14..) {
            let x1 = row["x1"].as_f64().unwrap();
            // To first order the slopes are 2 x1 and 0: at zero nothing is left, which is what is wrong with it there.
            let framework = first_order(x1 * x1 * 1e6, &[2e6 * x1, 0.0], &[0.005; 2]);
            agrees(framework.value, &row["gum"]["y"], 0.5);
            agrees(framework.u, &row["gum"]["u"], 0.5);
            agrees(framework.lo, &row["gum"]["ci95"][0], 0.5);
            agrees(framework.hi, &row["gum"]["ci95"][1], 0.5);
            let loss = simulate(seed, |rng| {
                let a: f64 = StandardNormal.sample(rng);
                let b: f64 = StandardNormal.sample(rng);
                ((x1 + 0.005 * a).powi(2) + (0.005 * b).powi(2)) * 1e6
            });
            let (mean, u) = (row["exact"]["y"].as_f64().unwrap(), row["exact"]["u"].as_f64().unwrap());
            assert!((loss.mean() - mean).abs() < 5.0 * u / f64::from(u32::try_from(DRAWS).unwrap()).sqrt());
            assert!((loss.u() / u - 1.0).abs() < 0.01);
            // The place of the shortest interval is loose where the density is flat; its length is not.
            let [lo, hi] = [0, 1].map(|end| row["monte_carlo"]["ci95"][end].as_f64().unwrap());
            let shortest = loss.shortest_interval();
            assert!((shortest.lo - lo).abs() < 0.06 * u + 1.0, "{shortest:?}");
            assert!((shortest.hi - shortest.lo - (hi - lo)).abs() < 0.02 * u + 1.0, "{shortest:?}");
        }
    }

    #[test]
    fn thread_count_changes_no_digit() {
        let model = |rng: &mut ChaCha8Rng| rng.random::<f64>();
        let run = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| monte_carlo(MonteCarloOptions { draws: 1000, seed: 7 }, model))
        };
        let one = run(1);
        assert_eq!(one, run(3));
        assert_ne!(one, monte_carlo(MonteCarloOptions { draws: 1000, seed: 8 }, model));
        assert_eq!(one[..10], monte_carlo(MonteCarloOptions { draws: 10, seed: 7 }, model)[..]);
    }

    #[test]
    fn quantiles_of_whole_numbers_are_exact() {
        let values = (0..=100).rev().map(f64::from).collect();
        let distribution = SimulatedDistribution::from_values(values).unwrap();
        assert!((distribution.quantile(0.25) - 25.0).abs() < 1e-12);
        assert!((distribution.quantile(0.5) - distribution.mean()).abs() < 1e-12);
        let interval = distribution.symmetric_interval();
        assert!((interval.lo - 2.5).abs() < 1e-9 && (interval.hi - 97.5).abs() < 1e-9);
        // 95 % of 101 values is 96 steps.
        let shortest = distribution.shortest_interval();
        assert!((shortest.hi - shortest.lo - 96.0).abs() < 1e-12);
    }

    #[test]
    fn failed_draws_and_too_few_are_refused() {
        assert!(SimulatedDistribution::from_values(vec![0.0; 39]).is_err());
        let mut values = vec![0.0; 50];
        values[3] = f64::NAN;
        assert!(matches!(SimulatedDistribution::from_values(values), Err(UncertaintyError::NotFinite { .. })));
    }

    #[test]
    fn normal_sampler_reproduces_its_covariance_and_takes_singular_ones() {
        // Second input twice the first, third independent: rank 2.
        let covariance = DMatrix::from_row_slice(3, 3, &[1.0, 2.0, 0.0, 2.0, 4.0, 0.0, 0.0, 0.0, 9.0]);
        let sampler = NormalSampler::new(DVector::from_vec(vec![10.0, 0.0, -1.0]), &covariance).unwrap();
        let draws = monte_carlo(MonteCarloOptions { draws: 100_000, seed: 3 }, |rng| sampler.draw(rng));
        let n = 100_000.0;
        let mean: DVector<f64> = draws.iter().sum::<DVector<f64>>() / n;
        let mut found = DMatrix::<f64>::zeros(3, 3);
        for draw in &draws {
            let deviation = draw - &mean;
            found += &deviation * deviation.transpose() / n;
            assert!((deviation[1] - 2.0 * deviation[0]).abs() < 1e-9);
        }
        // sd of a variance is variance * sqrt(2/n): 0.04 for 9; 4.5 of them.
        assert!((found - covariance).abs().max() < 0.18);
        let indefinite = DMatrix::from_row_slice(2, 2, &[1.0, 2.0, 2.0, 1.0]);
        assert!(matches!(
            NormalSampler::new(DVector::zeros(2), &indefinite),
            Err(UncertaintyError::NotACovariance { .. })
        ));
    }
}
