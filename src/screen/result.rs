//! The result file: what `measure` found, as `tworeach/result/1`.

use serde::{Deserialize, Serialize};

use crate::geometry::Side;
use crate::pose::{Rotation, View};
use crate::uncertainty::Measured;

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
}
