//! The result page and the live numbers.

use serde::Serialize;

use crate::geometry::Side;
use crate::pose::{Rotation, View};
use crate::screen::{Call, CheckStatus, Occasion, ResultSide, RetestOutcome};

/// `/visits/{id}/result`: the call. The report is at `report.html`, `report.pdf`, `report.pdf?paper=letter` beside it, the
/// case at `export.zip`.
#[derive(Debug, Clone)]
pub struct ResultView {
    /// The visit.
    pub visit: i64,
    /// Whose visit.
    pub client_code: String,
    /// Invented for trying things out.
    pub is_demo: bool,
    /// Such as `25 November 2026`.
    pub date: String,
    /// The affected side.
    pub affected_side: ResultSide,
    /// Why nothing goes on, where a danger sign stands open; there is no next step then.
    pub stopped: Option<String>,
    /// External against internal, one for each occasion and side.
    pub comparisons: Vec<ComparisonView>,
    /// After against before.
    pub retest: Option<RetestView>,
    /// The measured reaches.
    pub reaches: Vec<ReachFiguresView>,
    /// Charts, each at `url` as SVG.
    pub charts: Vec<ChartView>,
    /// What the pictures did for the numbers, as sentences; empty where there is nothing to compare.
    pub pictures: String,
    /// Sentences on damaged clips and the like.
    pub warnings: Vec<String>,
    /// Why reaches of the visit are not in the result, a sentence each.
    pub left_out: Vec<String>,
    /// Pain says that nobody reaches again today.
    pub is_painful: bool,
    /// Letters of the report that the PDF's typeface lacks, if any.
    pub not_in_print: Option<String>,
}

/// A quantity as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FigureView {
    /// Such as `148.2°`.
    pub value: String,
    /// The 95 % interval, such as `146.3° to 150.1°`.
    pub interval: String,
}

/// A check as it is shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CheckView {
    /// Such as `elbow_straight`.
    pub name: String,
    /// How it came out.
    pub status: CheckStatus,
    /// The check in a sentence.
    pub text: String,
}

/// External against internal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ComparisonView {
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// The side.
    pub side: ResultSide,
    /// The call.
    pub call: Call,
    /// The call in the trade's words and plainly, such as `positive (fail)`.
    pub call_words: String,
    /// External minus internal.
    pub difference: Option<FigureView>,
    /// The margin, such as `3.0°`.
    pub margin: String,
    /// The bar height's difference, such as `−52 mm`.
    pub bar_height_difference: Option<FigureView>,
    /// What bar height alone says.
    pub bar_height_says: Option<Call>,
    /// What the numbers rest on, such as `single_raise`.
    pub basis: Vec<String>,
    /// Why the call is as it is.
    pub reason: String,
    /// What to do next.
    pub next_step: String,
    /// The pair's checks.
    pub checks: Vec<CheckView>,
    /// The two reaches as rays from one shoulder, with their intervals, as SVG; for the result page.
    #[serde(skip)]
    pub rays_svg: Option<String>,
    /// The difference against the margin, as SVG; for the result page.
    #[serde(skip)]
    pub gauge_svg: Option<String>,
}

/// After against before.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RetestView {
    /// The outcome.
    pub outcome: RetestOutcome,
    /// In words, such as `improved`.
    pub outcome_words: String,
    /// Positive before, improved, negative after; `None` without an after pair.
    pub cleared: Option<bool>,
    /// Change of the external reach.
    pub change: Option<FigureView>,
    /// Change of the difference.
    pub change_difference: Option<FigureView>,
    /// Change of the bar's height.
    pub change_bar_height: Option<FigureView>,
    /// Why.
    pub reason: String,
    /// Its checks.
    pub checks: Vec<CheckView>,
    /// The external reach before and after as rays from one shoulder, as SVG; for the result page.
    #[serde(skip)]
    pub rays_svg: Option<String>,
    /// The change against the margin, as SVG; for the result page.
    #[serde(skip)]
    pub gauge_svg: Option<String>,
}

/// The figures of one reach.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReachFiguresView {
    /// The reach's number.
    pub id: i64,
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// From where it was filmed.
    pub view: View,
    /// The side.
    pub side: ResultSide,
    /// Number of raises marked.
    pub raises: usize,
    /// The elevation as `148.2°`, or null.
    pub elevation: Option<String>,
    /// Its interval as `146.3° to 150.1°`, or null.
    pub interval: Option<String>,
    /// Other quantities: name in words, value and interval.
    pub figures: Vec<(String, FigureView)>,
    /// Why there is no elevation.
    pub reason: Option<String>,
    /// Its checks.
    pub checks: Vec<CheckView>,
    /// The picture at end range, a JPEG; empty where nothing is marked.
    pub still_url: String,
    /// The same with what was measured drawn over it, SVG; `/visits/{id}/stills/{reach}.svg`.
    pub overlay_url: String,
}

/// A chart of the report.
#[derive(Debug, Clone)]
pub struct ChartView {
    /// Such as `rotations` or `retest-delta`.
    pub name: String,
    /// SVG.
    pub url: String,
}

/// The numbers while marks move: `LIVE` of the JSON interface.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LiveView {
    /// The reach that is being marked; null where it is not measured.
    pub reach: Option<ReachFiguresView>,
    /// External minus internal on the reach's occasion, or null.
    pub difference: Option<FigureView>,
    /// The call, or null without a pair.
    pub call: Option<Call>,
    /// The call in words.
    pub call_words: Option<String>,
    /// Why the call is as it is, or why there is none.
    pub reason: String,
    /// Checks of the pair.
    pub pair_checks: Vec<CheckView>,
    /// The retest, where there is one.
    pub retest: Option<RetestView>,
    /// What to draw over the frame that is marked.
    pub overlay: Option<OverlayView>,
    /// How it stands with the pictures of the visit.
    pub pictures: PicturesView,
    /// What they say against marks of the reach, in sentences.
    pub notes: Vec<String>,
}

/// How it stands with the pictures of a visit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PicturesView {
    /// In a word.
    pub state: PicturesState,
    /// In a line; empty where there is nothing to compare.
    pub words: String,
}

/// How it stands with the pictures of a visit, in a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PicturesState {
    /// There is nothing to compare.
    None,
    /// They are being compared: the numbers will be sharper.
    Comparing,
    /// They count in the numbers.
    Compared,
    /// The numbers come from the marks alone.
    Alone,
}

/// Lines over a frame, px of the upright picture.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct OverlayView {
    /// The frame's time, s.
    pub time_s: f64,
    /// Middle of the shoulders to middle of the hips.
    pub trunk: Option<[[f64; 2]; 2]>,
    /// Shoulder, elbow, wrist of each marked arm.
    pub arms: Vec<ArmView>,
    /// The plumb line through the shoulder.
    pub plumb: Vec<[f64; 2]>,
    /// The arc of the elevation.
    pub arc: Vec<[f64; 2]>,
    /// The bar, left end to right end.
    pub bar: Option<[[f64; 2]; 2]>,
    /// Marks that disagree with the others: the landmark, where it was placed and where the others put it.
    pub disagreeing: Vec<(String, [f64; 2], [f64; 2])>,
}

/// One arm of an overlay.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ArmView {
    /// The person's own side.
    pub side: Side,
    /// Shoulder, elbow, wrist.
    pub points: [[f64; 2]; 3],
}
