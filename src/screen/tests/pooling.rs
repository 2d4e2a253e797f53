//! Raises pooled into one number: by hand, and by how often the interval holds the truth.

use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution as _, Normal, StandardNormal};

use super::MadeUpFit;
use crate::geometry::Side;
use crate::pose::Quantity;
use crate::screen::case::Raises;
use crate::screen::pooled::{Part, Raising};

const ELEVATION: Quantity = Quantity::Elevation(Side::Right);

/// Internal and external reach: external minus internal.
const DIFFERENCE: [Part; 2] = [Part { factor: -1.0, reach: 0 }, Part { factor: 1.0, reach: 1 }];

fn fit(raises: &[&[f64]], own_u: f64, shared_u: f64) -> MadeUpFit {
    let mut fit = MadeUpFit { own_u, shared_u, ..MadeUpFit::default() };
    for (reach, values) in raises.iter().enumerate() {
        for (raise, value) in values.iter().enumerate() {
            fit.set(reach, raise, ELEVATION, *value);
        }
    }
    fit
}

fn raising<'a>(fit: &'a MadeUpFit, raises: Raises, counts: &[usize]) -> Raising<'a, MadeUpFit> {
    Raising::new(fit, raises, counts.to_vec(), &vec![vec![ELEVATION]; counts.len()])
}

#[test]
fn spread_between_raises_enters_once_with_its_degrees_of_freedom() {
    // By hand. Reach 0: 150 152 154, mean 152, squares 8; reach 1: 140 143 146, mean 143, squares 18.
    // s² = 26 / 4 = 6.5 with 4 degrees of freedom. Own error 1 a raise, shared error 2: the mean of three measures with
    // variance 1/3 + 4. Covariance between raises 4, so u² = 4 + 6.5 / 3.
    let fit = fit(&[&[150.0, 152.0, 154.0], &[140.0, 143.0, 146.0]], 1.0, 2.0);
    let raising = raising(&fit, Raises::Mean, &[3, 3]);
    let pooled = raising.of_reach(0, ELEVATION).unwrap();
    assert!((pooled.value - 152.0).abs() < 1e-12);
    assert!((pooled.u.powi(2) - (4.0 + 6.5 / 3.0)).abs() < 1e-12);
    // Welch-Satterthwaite: 4 · (u² / (6.5 / 3))²
    let ratio: f64 = (4.0 + 6.5 / 3.0) / (6.5 / 3.0);
    assert!((pooled.dof - 4.0 * ratio * ratio).abs() < 1e-6);
    // In the difference the shared error cancels: u² = 2 · 6.5 / 3, dof 4.
    let difference = raising.combine(&DIFFERENCE, ELEVATION).unwrap();
    assert!((difference.value + 9.0).abs() < 1e-12);
    assert!((difference.u.powi(2) - 2.0 * 6.5 / 3.0).abs() < 1e-12);
    assert!((difference.dof - 4.0).abs() < 1e-6);
}

#[test]
fn raises_that_agree_better_than_they_are_measured_do_not_make_it_surer() {
    let fit = fit(&[&[150.0, 150.0, 150.0]], 1.0, 2.0);
    let pooled = raising(&fit, Raises::Mean, &[3]).of_reach(0, ELEVATION).unwrap();
    assert!((pooled.u.powi(2) - (4.0 + 1.0 / 3.0)).abs() < 1e-12);
    assert!(pooled.dof.is_infinite());
}

#[test]
fn a_single_raise_has_the_measurement_alone() {
    let fit = fit(&[&[150.0], &[143.0]], 1.0, 2.0);
    let raising = raising(&fit, Raises::Mean, &[1, 1]);
    let pooled = raising.of_reach(0, ELEVATION).unwrap();
    assert!((pooled.u.powi(2) - 5.0).abs() < 1e-12 && pooled.dof.is_infinite());
    assert!(!raising.has_spread());
}

#[test]
fn best_takes_the_highest_raise() {
    let fit = fit(&[&[150.0, 154.0, 152.0]], 1.0, 0.0);
    let raising = raising(&fit, Raises::Best, &[3]);
    assert!((raising.of_reach(0, ELEVATION).unwrap().value - 154.0).abs() < 1e-12);
    assert_eq!(raising.shown(0), 1);
}

#[test]
fn variance_of_the_largest_is_that_of_order_statistics() {
    // E[max^k] = ∫ x^k n φ(x) Φ(x)^(n-1) dx, by the trapezoid rule on a grid fine enough for six digits
    let normal = |x: f64| (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let step = 0.001;
    for (index, expected) in super::super::pooled::VARIANCE_OF_LARGEST.iter().enumerate() {
        let n = f64::from(u8::try_from(index + 1).unwrap());
        let (mut below, mut mean, mut square) = (0.0, 0.0, 0.0);
        let mut x = -9.0;
        while x < 9.0 {
            let density = n * normal(x) * f64::powf(below, n - 1.0);
            mean += x * density * step;
            square += x * x * density * step;
            below += 0.5 * (normal(x) + normal(x + step)) * step;
            x += step;
        }
        assert!((square - mean * mean - expected).abs() < 2e-4, "{n}: {}", square - mean * mean);
    }
}

/// How often the interval of the difference holds the truth, in %.
fn coverage(person_sd: f64, own_u: f64, visits: u32) -> f64 {
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let person = Normal::new(0.0, person_sd).unwrap();
    let truth = [152.0, 145.0];
    let mut held = 0_u32;
    for _ in 0..visits {
        let shared: f64 = 2.0 * rng_normal(&mut rng);
        let reaches: Vec<Vec<f64>> = truth
            .iter()
            .map(|truth| {
                (0..3).map(|_| truth + person.sample(&mut rng) + own_u * rng_normal(&mut rng) + shared).collect()
            })
            .collect();
        let fit = fit(&[&reaches[0], &reaches[1]], own_u, 2.0);
        let interval = raising(&fit, Raises::Mean, &[3, 3]).combine(&DIFFERENCE, ELEVATION).unwrap().measured();
        if (interval.lo..=interval.hi).contains(&(truth[1] - truth[0])) {
            held += 1;
        }
    }
    100.0 * f64::from(held) / f64::from(visits)
}

fn rng_normal(rng: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(rng)
}

#[test]
fn interval_holds_the_truth_as_often_as_it_says() {
    // three binomial standard errors of 95 % over 4000 visits: 1.03 %
    const VISITS: u32 = 4000;
    let tolerance = 3.0 * (0.95 * 0.05 / f64::from(VISITS)).sqrt() * 100.0;
    // the person's own spread outweighs the measurement: as stated
    let found = coverage(2.5, 0.8, VISITS);
    assert!((found - 95.0).abs() < tolerance, "{found}");
    // no spread of the person: never below, though the floor of the measurement makes it wider at times
    let found = coverage(0.0, 0.8, VISITS);
    assert!(found > 95.0 - tolerance, "{found}");
    // both alike
    let found = coverage(0.8, 0.8, VISITS);
    assert!(found > 95.0 - tolerance, "{found}");
}
