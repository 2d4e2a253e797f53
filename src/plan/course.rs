//! The course over weeks: each quantity by day, its changes against what can be told from error, and its trend.
//!
//! Errors of different days are taken as independent. Those that days share, such as where a person's marks sit on the skin,
//! cancel in a change, so that the change is surer than stated, not less sure.

use serde::Serialize;

use crate::geometry::Side;
use crate::uncertainty::{Measured, coverage_factor, fit_line, fit_weighted_line, pooled_spread};

use super::day::Day;
use super::intake::{Intake, IntakeVisit};
use super::load::Load;
use super::log::Log;
use super::model::Plan;
use super::screened::SideScreens;

/// A change of pain from this on counts, points of 10.
///
/// # Source
/// Farrar et al. (2001), Pain 94(2), 149-158: a fall of about 2 points is clinically important. It says what matters, and stands
/// in for what can be told from error, which is not known for one person's ratings.
pub const PAIN_CHANGE: f64 = 2.0;

/// A change of an activity's rating from this on counts, points of 10. Common practice, no source.
pub const RATING_CHANGE: f64 = 2.0;

/// A change of grip force from this on counts where tries were not repeated, kg. Common practice, no source.
pub const GRIP_CHANGE_KG: f64 = 6.0;

/// A quantity by day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// Its name in words.
    pub name: String,
    /// What it is about.
    #[serde(skip)]
    pub kind: SeriesKind,
    /// Unit; empty for points of 10.
    pub unit: &'static str,
    /// From what change on one is told from error.
    pub detectable: Detectable,
    /// Degrees of freedom of the values' uncertainties: where these rest on one spread, those of it; infinite where they are
    /// known.
    #[serde(skip)]
    pub dof: f64,
    /// The values, the earliest first, one a day.
    pub points: Vec<CoursePoint>,
}

/// What a series is about: series of a kind share an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SeriesKind {
    /// The difference of a screen, deg.
    Difference,
    /// Pain, 0 to 10.
    Pain,
    /// An activity's rating, 0 to 10.
    Rating,
    /// Grip force without pain, kg.
    Grip,
    /// The load of a stage, kg.
    Load,
}

impl SeriesKind {
    /// Standard uncertainty that rounding gives each value: a whole point of 10 wide, evenly spread over it.
    ///
    /// # Source
    /// JCGM 100 (2008), 4.3.7: half the width over the root of 3.
    fn rounding_u(self) -> f64 {
        match self {
            Self::Pain | Self::Rating => 0.5 / 3.0_f64.sqrt(),
            Self::Difference | Self::Grip | Self::Load => 0.0,
        }
    }
}

/// Everything that is known of a client over time.
#[derive(Debug, Clone, PartialEq)]
pub struct CaseCourse {
    /// The screens of each side, the affected one first.
    pub screens: Vec<SideScreens>,
    /// The margin of the call, deg.
    pub margin_deg: f64,
    /// Pain, ratings, grip and load.
    pub series: Vec<Series>,
}

impl CaseCourse {
    /// Nothing is known yet.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.screens.is_empty() && self.series.is_empty()
    }
}

/// One value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CoursePoint {
    /// The day.
    pub on: Day,
    /// The value, in the unit of the series.
    pub value: f64,
    /// Its standard uncertainty, where there is one.
    pub u: Option<f64>,
}

/// From what change on one is told from error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Detectable {
    /// By the values' own uncertainties, or this much where one of them has none.
    ByUncertainty(f64),
    /// From this much on.
    From(f64),
    /// Any change: the values are set, not measured.
    Any,
}

/// A change between two days.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Change {
    /// The earlier day.
    pub from: Day,
    /// The later day.
    pub to: Day,
    /// Later minus earlier.
    pub value: f64,
    /// The least change that is told from error.
    pub detectable: f64,
    /// Whether this one is.
    pub is_detected: bool,
}

/// A trend.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trend {
    /// Change a week, with its 95 % interval.
    pub per_week: Measured,
    /// The interval leaves out zero.
    pub is_detected: bool,
}

impl Series {
    /// Changes from each value to the next.
    #[must_use]
    pub fn changes(&self) -> Vec<Change> {
        self.points.windows(2).map(|pair| self.change(&pair[0], &pair[1])).collect()
    }

    /// The change from the first value to the last.
    #[must_use]
    pub fn overall(&self) -> Option<Change> {
        match self.points.as_slice() {
            [first, .., last] => Some(self.change(first, last)),
            _ => None,
        }
    }

    fn change(&self, from: &CoursePoint, to: &CoursePoint) -> Change {
        let value = to.value - from.value;
        let detectable = match (self.detectable, from.u, to.u) {
            (Detectable::ByUncertainty(_), Some(from), Some(to)) => {
                // independent by the room's contract: the variances add; 1.96 times root 2 times u where both are known and
                // the same
                coverage_factor(self.dof) * from.hypot(to)
            }
            (Detectable::ByUncertainty(otherwise) | Detectable::From(otherwise), ..) => otherwise,
            (Detectable::Any, ..) => 0.0,
        };
        let is_detected = match self.detectable {
            Detectable::Any => value.abs() > 0.0,
            Detectable::From(_) => value.abs() >= detectable,
            Detectable::ByUncertainty(_) => value.abs() > detectable,
        };
        Change { from: from.on, to: to.on, value, detectable, is_detected }
    }

    /// The trend over all values; `None` below three different days.
    ///
    /// Where every value has its uncertainty, values are weighted by it and the interval rests on it, unless they scatter more
    /// than it allows; then, and without uncertainties, it rests on the scatter. Whole numbers are taken to scatter by no less than
    /// their rounding does: that a few of them lie on a line is no proof that they are exact.
    #[must_use]
    pub fn trend(&self) -> Option<Trend> {
        let first = self.points.first()?.on;
        let points: Vec<[f64; 2]> =
            self.points.iter().map(|point| [f64::from(point.on.days_since(first)) / 7.0, point.value]).collect();
        let known: Option<Vec<f64>> =
            self.points.iter().map(|point| point.u.filter(|u| *u > 0.0).map(|u| 1.0 / (u * u))).collect();
        let per_week = match known {
            Some(weights) => {
                let fit = fit_weighted_line(&points, &weights).ok()?;
                if fit.line.residual_sd > 1.0 {
                    Measured::from_u(fit.line.slope, fit.line.slope_se, fit.line.dof)
                } else {
                    Measured::from_u(fit.line.slope, fit.slope_u, self.dof)
                }
            }
            None => {
                let line = fit_line(&points).ok()?;
                // the standard error grows with the scatter, so that a larger one brings it up in proportion
                let unit_weights = vec![1.0; points.len()];
                let per_scatter = fit_weighted_line(&points, &unit_weights).ok()?.slope_u;
                let scatter = line.residual_sd.max(self.kind.rounding_u());
                Measured::from_u(line.slope, scatter * per_scatter, line.dof)
            }
        };
        Some(Trend { per_week, is_detected: per_week.lo > 0.0 || per_week.hi < 0.0 })
    }
}

/// The series that an intake and a log hold. Screens' differences come with their uncertainty from whoever measured them; see
/// [`difference_series`].
#[must_use]
pub fn course_of(plan: &Plan, intake: &Intake, log: &Log, until: Day) -> Vec<Series> {
    let visits: Vec<&IntakeVisit> = intake.visits.iter().filter(|visit| visit.on <= until).collect();
    let asked = |name: &str, kind, value: &dyn Fn(&IntakeVisit) -> Option<u8>, change: f64| Series {
        name: name.to_owned(),
        kind,
        unit: "",
        detectable: Detectable::From(change),
        dof: f64::INFINITY,
        points: visits
            .iter()
            .filter_map(|visit| Some(CoursePoint { on: visit.on, value: f64::from(value(visit)?), u: None }))
            .collect(),
    };
    let mut course = vec![
        asked("pain at rest", SeriesKind::Pain, &|visit| Some(visit.pain_at_rest), PAIN_CHANGE),
        asked("pain in use", SeriesKind::Pain, &|visit| Some(visit.pain_in_use), PAIN_CHANGE),
        asked("pain on pressing", SeriesKind::Pain, &|visit| Some(visit.pain_on_pressing), PAIN_CHANGE),
    ];
    for activity in &intake.activities {
        course.push(asked(activity, SeriesKind::Rating, &|visit| visit.ratings.get(activity).copied(), RATING_CHANGE));
    }
    course.extend([Side::Left, Side::Right].map(|side| grip(&visits, side)));
    course.extend(loads(plan, log, until));
    course.retain(|series| !series.points.is_empty());
    course
}

/// The differences external minus internal of a client's screens, deg, one a day, each with its uncertainty.
#[must_use]
pub fn difference_series(name: &str, differences: &[(Day, Measured)]) -> Series {
    Series {
        name: name.to_owned(),
        kind: SeriesKind::Difference,
        unit: "deg",
        detectable: Detectable::ByUncertainty(f64::INFINITY),
        dof: f64::INFINITY,
        points: differences
            .iter()
            .map(|(on, measured)| CoursePoint { on: *on, value: measured.value, u: Some(measured.u) })
            .collect(),
    }
}

/// Mean of the tries of each visit. Their spread, pooled over all visits, gives the uncertainty of a mean.
fn grip(visits: &[&IntakeVisit], side: Side) -> Series {
    let tries = |visit: &IntakeVisit| match side {
        Side::Left => visit.findings.grip_left_kg.clone(),
        Side::Right => visit.findings.grip_right_kg.clone(),
    };
    let all: Vec<Vec<f64>> = visits.iter().map(|visit| tries(visit)).collect();
    let spread = pooled_spread(&all).ok();
    let points = visits.iter().zip(&all).filter(|(_, tries)| !tries.is_empty()).map(|(visit, tries)| {
        let count = tries.iter().map(|_| 1.0).sum::<f64>();
        let u = spread.map(|spread| spread.sd / f64::sqrt(count));
        CoursePoint { on: visit.on, value: tries.iter().sum::<f64>() / count, u }
    });
    let name = match side {
        Side::Left => "grip without pain, left",
        Side::Right => "grip without pain, right",
    };
    let detectable = Detectable::ByUncertainty(GRIP_CHANGE_KG);
    let dof = spread.map_or(f64::INFINITY, |spread| spread.dof);
    let (name, kind) = (name.to_owned(), SeriesKind::Grip);
    Series { name, kind, unit: "kg", detectable, dof, points: points.collect() }
}

/// The heaviest weight of each day, of each stage that is loaded with weights.
fn loads(plan: &Plan, log: &Log, until: Day) -> Vec<Series> {
    let stages = plan.stages().iter().enumerate();
    stages
        .map(|(at, stage)| {
            let mut points: Vec<CoursePoint> = Vec::new();
            for entry in log.entries().iter().filter(|entry| entry.stage == at && entry.is_done && entry.day <= until) {
                let Load::Weight(weight) = entry.load else { continue };
                match points.last_mut().filter(|point| point.on == entry.day) {
                    Some(point) => point.value = point.value.max(weight.kg()),
                    None => points.push(CoursePoint { on: entry.day, value: weight.kg(), u: None }),
                }
            }
            Series {
                name: format!("load, {}", stage.name),
                kind: SeriesKind::Load,
                unit: "kg",
                detectable: Detectable::Any,
                dof: f64::INFINITY,
                points,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use rand::{RngExt as _, SeedableRng as _};
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution as _, Normal};

    use super::*;

    fn first() -> Day {
        "2026-10-05".parse().unwrap()
    }

    fn series(detectable: Detectable, values: &[(i32, f64, Option<f64>)]) -> Series {
        let point =
            |(days, value, u): &(i32, f64, Option<f64>)| CoursePoint { on: first().plus(*days), value: *value, u: *u };
        let points = values.iter().map(point).collect();
        Series { name: "s".to_owned(), kind: SeriesKind::Pain, unit: "", detectable, dof: f64::INFINITY, points }
    }

    #[test]
    fn a_change_counts_beyond_what_two_errors_can_make() {
        // MDC95 = 1.96 x root 2 x SEM = 2.7719 SEM (Weir 2005): with u = 1.5 deg it is 4.158 deg.
        let at = |value| {
            series(Detectable::ByUncertainty(f64::INFINITY), &[(0, -8.0, Some(1.5)), (21, value, Some(1.5))])
                .overall()
                .unwrap()
        };
        assert!((at(0.0).detectable - 2.7719 * 1.5).abs() < 1e-3, "{:?}", at(0.0));
        assert!(at(-3.83).is_detected && !at(-3.85).is_detected);
    }

    #[test]
    fn few_repeats_ask_for_more() {
        // Three tries at each of two visits, each 2 kg around its mean: pooled sd 2 (sums of squares 8 and 8 over 2 + 2 degrees
        // of freedom), u of a mean 2 / root 3, of the change 2 root(2/3) = 1.633. Both rest on the one spread with its 4 degrees
        // of freedom, t(4) = 2.776: 4.533 kg.
        let visit = |on: Day, tries: [f64; 3]| IntakeVisit {
            on,
            pain_at_rest: 0,
            pain_in_use: 0,
            pain_on_pressing: 0,
            danger_signs: Vec::new(),
            ratings: std::collections::BTreeMap::new(),
            findings: super::super::intake::Findings { grip_left_kg: tries.to_vec(), ..Default::default() },
        };
        let (before, after) = (visit(first(), [30.0, 32.0, 34.0]), visit(first().plus(14), [36.0, 38.0, 40.0]));
        let change = grip(&[&before, &after], Side::Left).overall().unwrap();
        assert!((change.value - 6.0).abs() < 1e-12);
        assert!((change.detectable - 2.776 * (8.0_f64 / 3.0).sqrt()).abs() < 2e-3, "{change:?}");
        assert!(change.is_detected);
        // single tries tell no spread: the fixed change stands in
        let mut single = [before, after];
        single.iter_mut().for_each(|visit| visit.findings.grip_left_kg.truncate(1));
        assert!(
            (grip(&[&single[0], &single[1]], Side::Left).overall().unwrap().detectable - GRIP_CHANGE_KG).abs() < 1e-12
        );
    }

    #[test]
    fn pain_counts_from_two_points_on_and_load_at_once() {
        let pain =
            |value| series(Detectable::From(PAIN_CHANGE), &[(0, 5.0, None), (7, value, None)]).overall().unwrap();
        assert!(pain(3.0).is_detected && !pain(4.0).is_detected && pain(7.0).is_detected);
        let load = series(Detectable::Any, &[(0, 1.0, None), (2, 1.0, None), (4, 1.5, None)]);
        assert_eq!(load.changes().iter().map(|change| change.is_detected).collect::<Vec<_>>(), [false, true]);
    }

    #[test]
    fn a_trend_is_a_change_a_week_with_its_interval() {
        // 1, 2 and 4 at 0, 1 and 2 weeks: slope 1.5, residuals -1/6, 1/3, -1/6, so s² = 1/6 over one degree of freedom, and the
        // slope's standard error root(1/6 / 2) = 0.2887; t(1) = 12.706.
        let plain = series(Detectable::Any, &[(0, 1.0, None), (7, 2.0, None), (14, 4.0, None)]).trend().unwrap();
        assert!((plain.per_week.value - 1.5).abs() < 1e-12);
        assert!((plain.per_week.u - (1.0_f64 / 12.0).sqrt()).abs() < 1e-12);
        assert!((plain.per_week.hi - 1.5 - 12.706 * (1.0_f64 / 12.0).sqrt()).abs() < 1e-3 && !plain.is_detected);
        // with u = 0.5 each the weighted squares are 4/6, a Birge ratio of 0.816: the stated u holds, 0.5 / root 2
        let known = Some(0.5);
        let trend = series(Detectable::Any, &[(0, 1.0, known), (7, 2.0, known), (14, 4.0, known)]).trend().unwrap();
        assert!((trend.per_week.u - 0.125_f64.sqrt()).abs() < 1e-12 && trend.is_detected);
        assert!(series(Detectable::Any, &[(0, 1.0, None), (7, 2.0, None)]).trend().is_none());
    }

    #[test]
    fn whole_numbers_on_a_line_are_not_taken_for_exact() {
        // 5, 4, 3, 1 after 0, 1, 2 and 4 weeks lie on a line of slope -1. Sum of squares of the weeks around their mean 1.75:
        // 3.0625 + 0.5625 + 0.0625 + 5.0625 = 8.75. Rounding: 0.5 / root 3 = 0.28868, over root 8.75: 0.09759; t(2) = 4.3027.
        let values = [(0, 5.0, None), (7, 4.0, None), (14, 3.0, None), (28, 1.0, None)];
        let trend = series(Detectable::From(2.0), &values).trend().unwrap();
        assert!((trend.per_week.value + 1.0).abs() < 1e-12 && trend.is_detected);
        assert!((trend.per_week.u - 0.09759).abs() < 1e-5, "{}", trend.per_week.u);
        assert!((trend.per_week.hi + 1.0 - 4.3027 * 0.09759).abs() < 1e-4, "{}", trend.per_week.hi);
        // three of them tell no trend: t(1) = 12.706, 0.28868 over root 2
        let few = series(Detectable::From(2.0), &values[..3]).trend().unwrap();
        assert!((few.per_week.hi + 1.0 - 12.706 * 0.28868 / 2.0_f64.sqrt()).abs() < 1e-3 && !few.is_detected);
    }

    #[test]
    fn the_interval_of_a_trend_holds_the_truth() {
        // 2000 seeded clients with five to nine visits, u between 0.5 and 2 and the truth 0.7 a week: 95 % within three binomial
        // standard errors (1.5 %) or more, since scatter beyond the stated u widens the interval and less never narrows it.
        let mut rng = ChaCha8Rng::seed_from_u64(7);
        let mut held = 0;
        for _ in 0..2000 {
            let values: Vec<(i32, f64, Option<f64>)> = (0..rng.random_range(5..10))
                .map(|visit| {
                    let (days, u) = (visit * 14, rng.random_range(0.5..2.0));
                    let error = Normal::new(0.0, u).unwrap().sample(&mut rng);
                    (days, 0.7 * f64::from(days) / 7.0 + error, Some(u))
                })
                .collect();
            let trend = series(Detectable::Any, &values).trend().unwrap().per_week;
            held += i32::from(trend.lo <= 0.7 && 0.7 <= trend.hi);
        }
        let share = f64::from(held) / 2000.0;
        assert!(share > 0.935 && share < 0.999, "{share}");
    }
}
