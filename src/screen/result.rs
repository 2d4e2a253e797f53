//! The result file: what `measure` found, as `tworeach/result/1`.

use serde::{Deserialize, Serialize};

use crate::geometry::Side;
use crate::pose::{FILM_FROM_SIDE, Rotation, View};
use crate::uncertainty::Measured;

use super::checks::filming_order;
use super::compared_pictures::ComparedMarks;
use super::sentences::{ANOTHER_RAISE, PAIN_TO_GO_ON_MOST};

/// The name of the format.
pub const RESULT_SCHEMA: &str = "tworeach/result/1";

/// Before or after the stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Occasion {
    /// Before the stretch.
    Before,
    /// After the stretch.
    After,
}

/// The side or sides that a result speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ResultSide {
    /// The client's left.
    Left,
    /// The client's right.
    Right,
    /// The mean of both.
    Both,
}

impl From<Side> for ResultSide {
    fn from(side: Side) -> Self {
        match side {
            Side::Left => Self::Left,
            Side::Right => Self::Right,
        }
    }
}

/// The verdict of a pair of reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Call {
    /// External lower than internal: the screen is failed.
    Positive,
    /// Not lower by the margin or more: the screen is passed.
    Negative,
    /// The measurement cannot tell.
    Inconclusive,
    /// A failed check breaks the pair.
    NotComparable,
}

/// What became of the external reach after the stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RetestOutcome {
    /// Higher by the margin or more.
    Improved,
    /// Within the margin.
    Unchanged,
    /// Lower by the margin or more.
    Worse,
    /// The measurement cannot tell.
    Inconclusive,
    /// A failed check breaks the comparison.
    NotComparable,
}

/// How a check came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CheckStatus {
    /// Within the limit.
    Ok,
    /// Near or astride the limit.
    Warn,
    /// The interval lies wholly beyond the limit.
    Fail,
    /// Not determined by these marks.
    Unknown,
}

/// A condition that makes a reach or a pair trustworthy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// The check's name, such as `elbow_straight`.
    pub name: String,
    /// How it came out.
    pub status: CheckStatus,
    /// What was measured, in the unit of `limit`.
    pub value: Option<f64>,
    /// Standard uncertainty of `value`.
    pub u: Option<f64>,
    /// The limit.
    pub limit: Option<f64>,
    /// The check in a sentence.
    pub text: String,
}

impl Check {
    /// The check in a sentence without the order to film again that may end it: for where nothing may be filmed.
    #[must_use]
    pub fn finding(&self) -> String {
        let reason_order = format!("{FILM_FROM_SIDE}.");
        let orders = [filming_order(&self.name), &reason_order];
        let found =
            orders.into_iter().filter(|order| !order.is_empty()).find_map(|order| self.text.strip_suffix(order));
        found.map_or_else(|| self.text.clone(), |found| format!("{found}."))
    }
}

/// One reach, measured. Quantities that the marks do not determine are null.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs, reason = "the fields are the quantities of the format, defined one by one in DEVELOPERS.md")]
pub struct ReachResult {
    pub occasion: Occasion,
    pub rotation: Rotation,
    pub view: View,
    pub side: ResultSide,
    pub file: String,
    pub end_range_time_s: Option<f64>,
    pub raises: usize,
    pub basis: Vec<String>,
    pub reference: Option<String>,
    pub elevation_deg: Option<Measured>,
    pub elevation_left_deg: Option<Measured>,
    pub elevation_right_deg: Option<Measured>,
    pub elevation_from_vertical_deg: Option<Measured>,
    pub elbow_flexion_deg: Option<Measured>,
    pub trunk_lean_deg: Option<Measured>,
    pub bar_height_mm: Option<Measured>,
    pub bar_height_arm: Option<Measured>,
    pub bar_tilt_deg: Option<Measured>,
    pub grip_width_mm: Option<Measured>,
    pub image_angle_deg: Option<f64>,
    pub checks: Vec<Check>,
}

/// External against internal on one occasion and side.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs, reason = "the fields are those of the format, defined one by one in DEVELOPERS.md")]
pub struct Comparison {
    pub occasion: Occasion,
    pub side: ResultSide,
    pub basis: Vec<String>,
    pub difference_elevation_deg: Option<Measured>,
    pub difference_bar_height_mm: Option<Measured>,
    pub difference_bar_height_arm: Option<Measured>,
    pub checks: Vec<Check>,
    pub call: Call,
    pub bar_height_says: Option<Call>,
    pub reason: String,
    pub next_step: String,
}

/// After against before.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs, reason = "the fields are those of the format, defined one by one in DEVELOPERS.md")]
pub struct Retest {
    pub change_elevation_deg: Option<Measured>,
    pub change_bar_height_mm: Option<Measured>,
    pub change_difference_deg: Option<Measured>,
    pub checks: Vec<Check>,
    pub outcome: RetestOutcome,
    pub cleared: Option<bool>,
    pub reason: String,
}

/// What repeating the measurement with drawn errors gave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MonteCarlo {
    /// How many draws were asked for.
    pub draws: usize,
    /// The seed of the draws.
    pub seed: u64,
    /// How many of the draws did not settle and are left out.
    pub unsettled: usize,
    /// Why no interval is by simulation, where none is.
    pub note: Option<String>,
    /// Every quantity of the result with both its intervals.
    pub intervals: Vec<SimulatedInterval>,
}

/// A quantity by both ways.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SimulatedInterval {
    /// Where the quantity stands in the result, as a JSON Pointer (RFC 6901) such as `/reaches/0/elevation_deg`.
    pub quantity: String,
    /// By propagation of uncertainty.
    pub first_order: Measured,
    /// By simulation.
    pub simulated: Measured,
    /// Which of the two the result states.
    pub used: UsedInterval,
    /// Why, where they differ by more than a tenth.
    pub reason: Option<String>,
}

/// Which interval is stated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum UsedInterval {
    /// That by propagation of uncertainty.
    FirstOrder,
    /// That by simulation.
    Simulated,
}

/// The whole result of a visit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(missing_docs, reason = "the fields are those of the format, defined one by one in DEVELOPERS.md")]
pub struct VisitResult {
    pub schema: String,
    pub tool_version: String,
    pub reaches: Vec<ReachResult>,
    pub comparisons: Vec<Comparison>,
    pub retest: Option<Retest>,
    /// What the pictures added; `None` where the marks count alone, as placed or carried by somebody.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub compared_pictures: Option<ComparedMarks>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub monte_carlo: Option<MonteCarlo>,
}

/// What a quantity of the result is of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Subject<'a> {
    /// One reach.
    Reach(&'a ReachResult),
    /// External against internal.
    Comparison(&'a Comparison),
    /// After against before.
    Retest,
}

impl MonteCarlo {
    /// The quantities to show: elevations that the call rests on, and all that are stated by simulation.
    pub(crate) fn notable(&self) -> impl Iterator<Item = &SimulatedInterval> {
        self.intervals.iter().filter(|interval| {
            let name = interval.name();
            let is_of_call = ["elevation_deg", "difference_elevation_deg", "change_elevation_deg"].contains(&name);
            is_of_call || interval.used == UsedInterval::Simulated
        })
    }
}

impl SimulatedInterval {
    /// The quantity's name, such as `elevation_deg`.
    pub(crate) fn name(&self) -> &str {
        self.quantity.rsplit('/').next().unwrap_or_default()
    }
}

impl VisitResult {
    /// Whether pain at end range says that nobody reaches again today: no order to film again may stand anywhere then.
    #[must_use]
    pub fn pain_stops_today(&self) -> bool {
        let is_too_much = |check: &Check| {
            let is_beyond = check.value.is_some_and(|pain| pain > PAIN_TO_GO_ON_MOST);
            check.name == "pain_free" && (check.status == CheckStatus::Fail || is_beyond)
        };
        self.reaches.iter().flat_map(|reach| &reach.checks).any(is_too_much)
    }

    /// Leaves the orders to film again out of checks and reasons: for where nothing may be filmed.
    pub fn leave_out_filming(&mut self) {
        let of_pairs = self.comparisons.iter_mut().flat_map(|comparison| &mut comparison.checks);
        let of_reaches = self.reaches.iter_mut().flat_map(|reach| &mut reach.checks);
        let of_retest = self.retest.iter_mut().flat_map(|retest| &mut retest.checks);
        of_pairs.chain(of_reaches).chain(of_retest).for_each(|check| check.text = check.finding());
        let of_pairs = self.comparisons.iter_mut().map(|comparison| &mut comparison.reason);
        let reasons = of_pairs.chain(self.retest.iter_mut().map(|retest| &mut retest.reason));
        reasons.for_each(|reason| *reason = reason.replace(FILM_FROM_SIDE, "").replace(ANOTHER_RAISE, ""));
    }

    /// What a simulated quantity of this result is of.
    pub(crate) fn subject(&self, interval: &SimulatedInterval) -> Option<Subject<'_>> {
        let mut steps = interval.quantity.split('/').skip(1);
        let (list, index) = (steps.next()?, steps.next().and_then(|step| step.parse::<usize>().ok()));
        match (list, index) {
            ("reaches", Some(index)) => self.reaches.get(index).map(Subject::Reach),
            ("comparisons", Some(index)) => self.comparisons.get(index).map(Subject::Comparison),
            ("retest", _) => Some(Subject::Retest),
            _ => None,
        }
    }

    /// Every quantity that is not null, with its JSON Pointer.
    pub(crate) fn quantities(&self) -> Vec<(String, Measured)> {
        let of_reaches = self.reaches.iter().enumerate().flat_map(|(index, reach)| {
            let fields = [
                ("elevation_deg", reach.elevation_deg),
                ("elevation_left_deg", reach.elevation_left_deg),
                ("elevation_right_deg", reach.elevation_right_deg),
                ("elevation_from_vertical_deg", reach.elevation_from_vertical_deg),
                ("elbow_flexion_deg", reach.elbow_flexion_deg),
                ("trunk_lean_deg", reach.trunk_lean_deg),
                ("bar_height_mm", reach.bar_height_mm),
                ("bar_height_arm", reach.bar_height_arm),
                ("bar_tilt_deg", reach.bar_tilt_deg),
                ("grip_width_mm", reach.grip_width_mm),
            ];
            fields.map(|(name, measured)| (format!("/reaches/{index}/{name}"), measured))
        });
        let of_comparisons = self.comparisons.iter().enumerate().flat_map(|(index, comparison)| {
            let fields = [
                ("difference_elevation_deg", comparison.difference_elevation_deg),
                ("difference_bar_height_mm", comparison.difference_bar_height_mm),
                ("difference_bar_height_arm", comparison.difference_bar_height_arm),
            ];
            fields.map(|(name, measured)| (format!("/comparisons/{index}/{name}"), measured))
        });
        let of_retest = self.retest.iter().flat_map(|retest| {
            let fields = [
                ("change_elevation_deg", retest.change_elevation_deg),
                ("change_bar_height_mm", retest.change_bar_height_mm),
                ("change_difference_deg", retest.change_difference_deg),
            ];
            fields.map(|(name, measured)| (format!("/retest/{name}"), measured))
        });
        let all = of_reaches.chain(of_comparisons).chain(of_retest);
        all.filter_map(|(pointer, measured)| Some((pointer, measured?))).collect()
    }
}
