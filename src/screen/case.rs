//! The case file: one visit, as `tworeach/case/1` in TOML.

use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::geometry::Side;
use crate::pose::{Rotation, View};

use super::document::{Node, Value, parse_toml};
use super::error::ScreenError;
use super::fields::{Fields, Limits};
use super::limits::CheckLimits;
use super::problem::{Fault, Problem, Problems};
use super::result::{Occasion, ResultSide};
use super::text_file::{read_text, write_text};

/// The name of the format.
pub const CASE_SCHEMA: &str = "tworeach/case/1";

/// The margin of the call, deg. Common practice, no source.
pub const MARGIN_DEG_DEFAULT: f64 = 3.0;

/// Standard deviation of a mark placed by hand, px, on a picture whose long side is [`SD_PX_AT`]. Common practice, no source.
pub const SD_PX_DEFAULT: f64 = 1.5;

/// The long side, px, at which the spread of marks is stated. On a larger picture it is scaled up.
pub const SD_PX_AT: f64 = 1280.0;

/// Standing heights that are accepted, mm.
pub const STATURE_MM: [f64; 2] = [500.0, 2500.0];

/// Lengths from shoulder to wrist that are accepted, mm.
pub const ARM_LENGTH_MM: [f64; 2] = [150.0, 1000.0];

/// Lengths of the bar that are accepted, mm.
pub const BAR_LENGTH_MM: [f64; 2] = [200.0, 3000.0];

/// The largest margin that is accepted, deg; the least is above zero.
pub const MARGIN_DEG_MAX: f64 = 45.0;

/// The longest code of a client, characters.
pub const CODE_LENGTH_MAX: usize = 64;

/// A case file is refused beyond this size; ten reaches take two kilobytes.
const CASE_BYTES_MAX: u64 = 1 << 20;

/// No visit has more reaches: two occasions, two rotations, three views.
const REACHES_MAX: usize = 12;

/// One visit, as its case file states it. Paths are relative to that file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CaseFile {
    /// [`CASE_SCHEMA`].
    pub schema: String,
    /// The person.
    pub client: ClientFacts,
    /// The bar.
    pub bar: BarEntry,
    /// The camera.
    #[serde(skip_serializing_if = "CameraEntry::is_default")]
    pub camera: CameraEntry,
    /// How the call is made.
    pub call: CallOptions,
    /// How well marks are placed.
    pub marking: MarkingEntry,
    /// The limits of the checks.
    #[serde(skip_serializing_if = "CheckLimits::is_default")]
    pub limits: CheckLimits,
    /// The reaches.
    #[serde(rename = "reach")]
    pub reaches: Vec<ReachEntry>,
}

/// The person.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClientFacts {
    /// A code, never a name.
    pub code: String,
    /// The side or sides with the complaint.
    pub affected_side: ResultSide,
    /// Standing height, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stature_mm: Option<f64>,
    /// Shoulder to wrist with the elbow straight, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub arm_length_mm: Option<f64>,
}

/// The bar.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct BarEntry {
    /// End to end, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub length_mm: Option<f64>,
    /// The hands are on tape marks in every reach.
    pub taped_grips: bool,
}

/// The camera.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct CameraEntry {
    /// The lens profile of all reaches that name none of their own.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub profile: Option<PathBuf>,
}

impl CameraEntry {
    fn is_default(&self) -> bool {
        *self == Self::default()
    }
}

/// How the raises of a reach become one number.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Raises {
    /// Their mean.
    #[default]
    Mean,
    /// The highest.
    Best,
}

/// How the call is made.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CallOptions {
    /// The margin of the call, deg.
    pub margin_deg: f64,
    /// A margin of bar height in place of the one that follows from `margin_deg`, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin_mm: Option<f64>,
    /// How several raises become one number.
    pub raises: Raises,
}

impl Default for CallOptions {
    fn default() -> Self {
        Self { margin_deg: MARGIN_DEG_DEFAULT, margin_mm: None, raises: Raises::Mean }
    }
}

/// How well marks are placed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarkingEntry {
    /// Standard deviation of a mark, px at a long side of [`SD_PX_AT`].
    pub sd_px: f64,
    /// A rater's own spread, from repeated marking.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spread_file: Option<PathBuf>,
}

impl Default for MarkingEntry {
    fn default() -> Self {
        Self { sd_px: SD_PX_DEFAULT, spread_file: None }
    }
}

/// What ended a reach.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LimitedBy {
    /// A stretch was felt.
    Stretch,
    /// It hurt.
    Pain,
    /// Something else.
    Other,
}

/// One recorded reach.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReachEntry {
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// From where it was filmed.
    pub view: View,
    /// The side towards the camera, in side and oblique views.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub near_side: Option<Side>,
    /// The picture is a mirror picture.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub mirrored: bool,
    /// Pain at end range, 0 to 10.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pain: Option<f64>,
    /// What ended the reach.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limited_by: Option<LimitedBy>,
    /// Low back and ribs were seen to stay flat.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub back_flat: Option<bool>,
    /// The lens profile of this reach.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub profile: Option<PathBuf>,
    /// The clip or still.
    pub file: PathBuf,
    /// The marks.
    pub marks: PathBuf,
}

/// Where the fields of a case stand in its file, for faults found later.
#[derive(Debug, Clone, Default)]
pub(crate) struct CaseLines {
    pub(crate) camera_profile: usize,
    pub(crate) spread_file: usize,
    pub(crate) reaches: Vec<ReachLines>,
}

/// Lines of a reach's fields.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct ReachLines {
    pub(crate) table: usize,
    pub(crate) near_side: usize,
    pub(crate) profile: usize,
    pub(crate) file: usize,
    pub(crate) marks: usize,
}

impl CaseFile {
    /// Reads a case file.
    ///
    /// # Errors
    /// [`ScreenError::Invalid`] with every fault of the file itself; the files that it names are not opened.
    pub fn read(path: &Path) -> Result<Self, ScreenError> {
        match read_case(path) {
            (Some((case, _)), problems) if problems.is_empty() => Ok(case),
            (_, problems) => Err(ScreenError::Invalid { problems }),
        }
    }

    /// Reads the text of a case file; `path` names it in faults.
    ///
    /// # Errors
    /// As [`CaseFile::read`].
    pub fn parse(text: &str, path: &Path) -> Result<Self, ScreenError> {
        let mut problems = Problems::new(path);
        let case = parse_case(text, &mut problems);
        match (case, problems.into_list()) {
            (Some((case, _)), problems) if problems.is_empty() => Ok(case),
            (_, problems) => Err(ScreenError::Invalid { problems }),
        }
    }

    /// The text of the file.
    ///
    /// # Errors
    /// [`ScreenError::Format`] when a path is not UTF-8, which TOML needs.
    pub fn to_toml(&self) -> Result<String, ScreenError> {
        toml::to_string(self).map_err(|source| ScreenError::Format { source })
    }

    /// Writes the case file. It appears whole or not at all, in the place of one that is there.
    ///
    /// # Errors
    /// [`ScreenError::Format`] as [`CaseFile::to_toml`], [`ScreenError::Write`] when the file cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), ScreenError> {
        write_text(path, &self.to_toml()?)
    }
}

/// Reads a case file and says where its fields stand.
pub(crate) fn read_case(path: &Path) -> (Option<(CaseFile, CaseLines)>, Vec<Problem>) {
    let mut problems = Problems::new(path);
    let case = read_text(path, CASE_BYTES_MAX, &mut problems).and_then(|text| parse_case(&text, &mut problems));
    (case, problems.into_list())
}

fn parse_case(text: &str, problems: &mut Problems) -> Option<(CaseFile, CaseLines)> {
    let root = parse_toml(text, problems)?;
    let fields = Fields::of(
        &root,
        "the case",
        &["schema", "client", "bar", "camera", "call", "marking", "limits", "reach"],
        problems,
    );
    require_schema(&fields, CASE_SCHEMA, problems);
    // with faults noted a case is looked through for more of them, and never measured: what stands in does not matter
    let client = fields.required("client", problems).and_then(|node| client(node, problems)).unwrap_or(ClientFacts {
        code: String::new(),
        affected_side: ResultSide::Both,
        stature_mm: None,
        arm_length_mm: None,
    });
    let bar = fields.node("bar").map_or_else(BarEntry::default, |node| bar(node, problems));
    let (camera, camera_profile) =
        fields.node("camera").map_or_else(|| (CameraEntry::default(), 0), |node| camera(node, problems));
    let call = fields.node("call").map_or_else(CallOptions::default, |node| call(node, problems));
    let (marking, spread_file) =
        fields.node("marking").map_or_else(|| (MarkingEntry::default(), 0), |node| marking(node, problems));
    let limits = fields.node("limits").map_or_else(CheckLimits::default, |node| CheckLimits::take(node, problems));
    fields.required("reach", problems);
    let (reaches, lines) = fields.list("reach", problems).map(|nodes| reaches(nodes, problems)).unwrap_or_default();
    contradictions(&reaches, &lines, problems);
    let case = CaseFile { schema: CASE_SCHEMA.to_owned(), client, bar, camera, call, marking, limits, reaches };
    Some((case, CaseLines { camera_profile, spread_file, reaches: lines }))
}

/// Notes a missing or other schema.
pub(crate) fn require_schema(fields: &Fields<'_>, schema: &'static str, problems: &mut Problems) {
    if fields.required("schema", problems).is_some() {
        fields.choice("schema", &[(schema, ())], problems);
    }
}

fn client(node: &Node, problems: &mut Problems) -> Option<ClientFacts> {
    let fields = Fields::of(node, "[client]", &["code", "affected_side", "stature_mm", "arm_length_mm"], problems);
    fields.required("code", problems);
    fields.required("affected_side", problems);
    let code = fields.text("code", CODE_LENGTH_MAX, problems);
    let sides = [("left", ResultSide::Left), ("right", ResultSide::Right), ("both", ResultSide::Both)];
    let affected_side = fields.choice("affected_side", &sides, problems);
    let stature_mm = fields.number("stature_mm", Limits::between(STATURE_MM[0], STATURE_MM[1], "mm"), problems);
    let arm_length_mm =
        fields.number("arm_length_mm", Limits::between(ARM_LENGTH_MM[0], ARM_LENGTH_MM[1], "mm"), problems);
    Some(ClientFacts { code: code?, affected_side: affected_side?, stature_mm, arm_length_mm })
}

fn bar(node: &Node, problems: &mut Problems) -> BarEntry {
    let fields = Fields::of(node, "[bar]", &["length_mm", "taped_grips"], problems);
    BarEntry {
        length_mm: fields.number("length_mm", Limits::between(BAR_LENGTH_MM[0], BAR_LENGTH_MM[1], "mm"), problems),
        taped_grips: fields.flag("taped_grips", problems).unwrap_or(false),
    }
}

fn camera(node: &Node, problems: &mut Problems) -> (CameraEntry, usize) {
    let fields = Fields::of(node, "[camera]", &["profile"], problems);
    let entry = CameraEntry { profile: fields.text("profile", 4096, problems).map(PathBuf::from) };
    (entry, fields.line_of("profile"))
}

fn call(node: &Node, problems: &mut Problems) -> CallOptions {
    let fields = Fields::of(node, "[call]", &["margin_deg", "margin_mm", "raises"], problems);
    CallOptions {
        margin_deg: fields
            .number("margin_deg", Limits::above_zero_to(MARGIN_DEG_MAX, "deg"), problems)
            .unwrap_or(MARGIN_DEG_DEFAULT),
        margin_mm: fields.number("margin_mm", Limits::above_zero_to(500.0, "mm"), problems),
        raises: fields
            .choice("raises", &[("mean", Raises::Mean), ("best", Raises::Best)], problems)
            .unwrap_or_default(),
    }
}

fn marking(node: &Node, problems: &mut Problems) -> (MarkingEntry, usize) {
    let fields = Fields::of(node, "[marking]", &["sd_px", "spread_file"], problems);
    let entry = MarkingEntry {
        sd_px: fields.number("sd_px", Limits::above_zero_to(100.0, "px"), problems).unwrap_or(SD_PX_DEFAULT),
        spread_file: fields.text("spread_file", 4096, problems).map(PathBuf::from),
    };
    (entry, fields.line_of("spread_file"))
}

fn reaches(nodes: &[Node], problems: &mut Problems) -> (Vec<ReachEntry>, Vec<ReachLines>) {
    if nodes.is_empty() || nodes.len() > REACHES_MAX {
        let line = nodes.get(REACHES_MAX).map(|node| node.line);
        let (field, place) = ("reach".to_owned(), "the case".to_owned());
        let found = format!("{} reaches", nodes.len());
        let accepted = format!("1 to {REACHES_MAX} [[reach]] tables");
        problems.push(line, Fault::OutOfRange { field, place, found, accepted });
    }
    nodes.iter().take(REACHES_MAX).filter_map(|node| reach(node, problems)).unzip()
}

fn reach(node: &Node, problems: &mut Problems) -> Option<(ReachEntry, ReachLines)> {
    let accepted = [
        "occasion",
        "rotation",
        "view",
        "near_side",
        "mirrored",
        "pain",
        "limited_by",
        "back_flat",
        "profile",
        "file",
        "marks",
    ];
    let fields = Fields::of(node, "[[reach]]", &accepted, problems);
    if !matches!(node.value, Value::Table(_)) {
        return None;
    }
    for field in ["occasion", "rotation", "view", "file", "marks"] {
        fields.required(field, problems);
    }
    let occasion = fields.choice("occasion", &[("before", Occasion::Before), ("after", Occasion::After)], problems);
    let rotations = [("internal", Rotation::Internal), ("external", Rotation::External)];
    let rotation = fields.choice("rotation", &rotations, problems);
    let view =
        fields.choice("view", &[("side", View::Side), ("front", View::Front), ("oblique", View::Oblique)], problems);
    let near_side = fields.choice("near_side", &[("left", Side::Left), ("right", Side::Right)], problems);
    let limits = [("stretch", LimitedBy::Stretch), ("pain", LimitedBy::Pain), ("other", LimitedBy::Other)];
    let limited_by = fields.choice("limited_by", &limits, problems);
    let mirrored = fields.flag("mirrored", problems).unwrap_or(false);
    let pain = fields.number("pain", Limits::between(0.0, 10.0, ""), problems);
    let back_flat = fields.flag("back_flat", problems);
    let profile = fields.text("profile", 4096, problems).map(PathBuf::from);
    let file = fields.text("file", 4096, problems).map(PathBuf::from);
    let marks = fields.text("marks", 4096, problems).map(PathBuf::from);
    let lines = ReachLines {
        table: fields.line,
        near_side: fields.line_of("near_side"),
        profile: fields.line_of("profile"),
        file: fields.line_of("file"),
        marks: fields.line_of("marks"),
    };
    let entry = ReachEntry {
        occasion: occasion?,
        rotation: rotation?,
        view: view?,
        near_side,
        mirrored,
        pain,
        limited_by,
        back_flat,
        profile,
        file: file?,
        marks: marks?,
    };
    Some((entry, lines))
}

/// Notes what two fields, or two reaches, cannot both say.
fn contradictions(reaches: &[ReachEntry], lines: &[ReachLines], problems: &mut Problems) {
    for (index, (reach, at)) in reaches.iter().zip(lines).enumerate() {
        let earlier = || reaches.iter().zip(lines).take(index);
        let key = |entry: &ReachEntry| (entry.occasion, entry.rotation, entry.view);
        if let Some((_, first)) = earlier().find(|(other, _)| key(other) == key(reach)) {
            let (occasion, rotation, view) = key(reach);
            problems.at(at.table, Fault::SameReachTwice { occasion, rotation, view, first_line: first.table });
        }
        if let Some((_, first)) = earlier().find(|(other, _)| other.marks == reach.marks) {
            let marks = reach.marks.clone();
            problems.at(at.marks, Fault::SameMarksTwice { marks, first_line: first.table });
        }
        match (reach.view, reach.near_side) {
            (View::Front, Some(_)) => problems.at(at.near_side, Fault::NearSideInFront),
            (View::Side | View::Oblique, None) => {
                problems.at(at.table, Fault::NearSideMissing { view: reach.view });
            }
            (View::Side | View::Oblique, Some(side)) => {
                let first = earlier().find(|(other, _)| other.view == reach.view && other.near_side.is_some());
                if let Some((other, first_at)) = first
                    && let Some(first_side) = other.near_side
                    && first_side != side
                {
                    let fault = Fault::NearSidesDiffer {
                        found: side.word(),
                        first: first_side.word(),
                        first_line: first_at.near_side,
                    };
                    problems.at(at.near_side, fault);
                }
            }
            (View::Front, None) => {}
        }
    }
}
