//! The marks file: the marks of one reach, as `tworeach/marks/1` in JSON.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use nalgebra::Matrix2;
use serde::ser::SerializeMap as _;
use serde::{Serialize, Serializer};

use crate::geometry::{ImagePoint, Landmark};

use super::case::require_schema;
use super::document::{Node, Value, parse_json};
use super::error::ScreenError;
use super::fields::{Fields, Limits, known_landmark};
use super::problem::{Fault, Problem, Problems};
use super::text_file::{read_text, write_text};

/// The name of the format.
pub const MARKS_SCHEMA: &str = "tworeach/marks/1";

/// A marks file is refused beyond this size. A clip of a minute followed at 240 frames a second stays within it, and what
/// a hostile file of that size costs to read stays below 0.5 GB.
const MARKS_BYTES_MAX: u64 = 8 << 20;

/// The longest side of a picture, px.
const SIDE_PX_MAX: u32 = 65_535;

/// The latest time in a clip, s: a day.
const TIME_S_MAX: f64 = 86_400.0;

/// The largest number in a covariance, px²: no picture is that large.
const COVARIANCE_PX2_MAX: f64 = 1e8;

/// Two times of one clip closer than this are one frame, s. Half a frame at 500 frames a second, and more than a time
/// written to the millisecond is off.
pub(crate) const SAME_TIME_S: f64 = 0.001;

/// The marks of one reach.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarksFile {
    /// [`MARKS_SCHEMA`].
    pub schema: String,
    /// Width and height of the upright picture, px.
    pub image_size: [u32; 2],
    /// The marked frames.
    pub frames: Vec<MarkedFrame>,
}

/// How the marks of a frame came about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// A person placed them.
    Hand,
    /// They were followed through the clip.
    Track,
    /// They were brought over from another reach by image matching.
    Carried,
}

impl Source {
    const WORDS: [(&'static str, Self); 3] = [("hand", Self::Hand), ("track", Self::Track), ("carried", Self::Carried)];

    const fn word(self) -> &'static str {
        match self {
            Self::Hand => "hand",
            Self::Track => "track",
            Self::Carried => "carried",
        }
    }
}

/// What a marked frame is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FrameUse {
    /// It is measured: the highest held position.
    EndRange,
    /// The marks are followed from it.
    Start,
}

/// The frame from which marks were followed or carried.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarksOrigin {
    /// The marks file, relative to the one that names it.
    pub marks: PathBuf,
    /// Time of the frame, s.
    pub time_s: f64,
}

/// The marks of one frame by one rater.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MarkedFrame {
    /// Presentation time, s.
    pub time_s: f64,
    /// How the marks came about.
    pub source: Source,
    /// What the frame is for.
    #[serde(rename = "use")]
    pub used_as: FrameUse,
    /// Who placed them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rater: Option<String>,
    /// Which time this rater placed them, from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repeat: Option<u32>,
    /// Whence they were followed or carried; `None` when placed by hand.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<MarksOrigin>,
    /// The marks.
    #[serde(serialize_with = "points_by_name")]
    pub points: BTreeMap<Landmark, MarkedPoint>,
}

/// One mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkedPoint {
    /// Where, px.
    pub point: ImagePoint,
    /// How well.
    pub spread: PointSpread,
}

/// How well a mark is placed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PointSpread {
    /// As marks of this visit are.
    Usual,
    /// With a standard deviation along each axis, px.
    Sd(f64),
    /// With a covariance: cxx, cxy, cyy in px².
    Covariance([f64; 3]),
}

impl PointSpread {
    /// The covariance, px², with `usual_sd_px` for a mark that states none.
    #[must_use]
    pub fn covariance_px2(self, usual_sd_px: f64) -> Matrix2<f64> {
        match self {
            Self::Usual => Matrix2::identity() * usual_sd_px.powi(2),
            Self::Sd(sd) => Matrix2::identity() * sd.powi(2),
            Self::Covariance([cxx, cxy, cyy]) => Matrix2::new(cxx, cxy, cxy, cyy),
        }
    }
}

impl Serialize for MarkedPoint {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let ImagePoint { x, y } = self.point;
        match self.spread {
            PointSpread::Usual => (x, y).serialize(serializer),
            PointSpread::Sd(sd) => (x, y, sd).serialize(serializer),
            PointSpread::Covariance(covariance) => (x, y, covariance).serialize(serializer),
        }
    }
}

fn points_by_name<S: Serializer>(points: &BTreeMap<Landmark, MarkedPoint>, serializer: S) -> Result<S::Ok, S::Error> {
    let mut map = serializer.serialize_map(Some(points.len()))?;
    for (landmark, point) in points {
        map.serialize_entry(landmark.name(), point)?;
    }
    map.end()
}

/// Where the frames of a marks file stand in it, for faults found later.
#[derive(Debug, Clone, Default)]
pub(crate) struct MarksLines {
    pub(crate) image_size: usize,
    pub(crate) frames: Vec<FrameLines>,
}

/// Lines of a frame's fields.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct FrameLines {
    pub(crate) frame: usize,
    pub(crate) time_s: usize,
    pub(crate) from: usize,
}

impl MarksFile {
    /// Reads a marks file.
    ///
    /// # Errors
    /// [`ScreenError::Invalid`] with every fault of the file; the picture that it belongs to is not opened.
    pub fn read(path: &Path) -> Result<Self, ScreenError> {
        match read_marks(path) {
            (Some((marks, _)), problems) if problems.is_empty() => Ok(marks),
            (_, problems) => Err(ScreenError::Invalid { problems }),
        }
    }

    /// Reads the text of a marks file; `path` names it in faults.
    ///
    /// # Errors
    /// As [`MarksFile::read`].
    pub fn parse(text: &str, path: &Path) -> Result<Self, ScreenError> {
        let mut problems = Problems::new(path);
        let marks = parse_marks(text, &mut problems);
        let problems = problems.into_list();
        match marks {
            Some((marks, _)) if problems.is_empty() => Ok(marks),
            _ => Err(ScreenError::Invalid { problems }),
        }
    }

    /// Writes the marks file. It appears whole or not at all, in the place of one that is there.
    ///
    /// # Errors
    /// [`ScreenError::Write`] when the file cannot be written.
    pub fn write(&self, path: &Path) -> Result<(), ScreenError> {
        write_text(path, &self.to_json())
    }

    /// The marks placed by hand at end range at a time, s, each the mean over raters and repeats, px.
    #[must_use]
    pub fn by_hand(&self, time_s: f64) -> BTreeMap<Landmark, ImagePoint> {
        self.at_end_range(Source::Hand, time_s)
    }

    /// The marks that its reach is known by at end range at a time, s: see [`Self::known_by`].
    pub(crate) fn known_at(&self, time_s: f64) -> BTreeMap<Landmark, ImagePoint> {
        self.at_end_range(self.known_by(), time_s)
    }

    /// What its reach is known by: marks placed by hand at end range, and where there are none, those that were followed there.
    pub(crate) fn known_by(&self) -> Source {
        let is_marked = |frame: &MarkedFrame| frame.source == Source::Hand && frame.used_as == FrameUse::EndRange;
        if self.frames.iter().any(is_marked) { Source::Hand } else { Source::Track }
    }

    fn at_end_range(&self, source: Source, time_s: f64) -> BTreeMap<Landmark, ImagePoint> {
        let mut sums: BTreeMap<Landmark, (f64, f64, f64)> = BTreeMap::new();
        let frames = self.frames.iter().filter(|frame| {
            frame.source == source && frame.used_as == FrameUse::EndRange && (frame.time_s - time_s).abs() < SAME_TIME_S
        });
        for (landmark, mark) in frames.flat_map(|frame| &frame.points) {
            let sum = sums.entry(*landmark).or_default();
            *sum = (sum.0 + mark.point.x, sum.1 + mark.point.y, sum.2 + 1.0);
        }
        sums.into_iter().map(|(landmark, (x, y, count))| (landmark, ImagePoint::new(x / count, y / count))).collect()
    }

    /// The text of the file, one mark a line.
    #[must_use]
    pub fn to_json(&self) -> String {
        let mut text = format!(
            "{{\n  \"schema\": {},\n  \"image_size\": {},\n  \"frames\": [",
            one_line(&self.schema),
            one_line(&self.image_size)
        );
        for (index, frame) in self.frames.iter().enumerate() {
            text.push_str(if index == 0 { "\n    { " } else { ",\n    { " });
            text.push_str(&format!(
                "\"time_s\": {}, \"source\": {}, \"use\": {}",
                one_line(&frame.time_s),
                one_line(&frame.source),
                one_line(&frame.used_as)
            ));
            if let Some(rater) = &frame.rater {
                text.push_str(&format!(", \"rater\": {}", one_line(rater)));
            }
            if let Some(repeat) = &frame.repeat {
                text.push_str(&format!(", \"repeat\": {}", one_line(repeat)));
            }
            if let Some(from) = &frame.from {
                text.push_str(&format!(",\n      \"from\": {}", one_line(from)));
            }
            text.push_str(",\n      \"points\": {");
            for (index, (landmark, point)) in frame.points.iter().enumerate() {
                text.push_str(if index == 0 { "\n" } else { ",\n" });
                text.push_str(&format!("        \"{landmark}\": {}", one_line(point)));
            }
            text.push_str("\n      } }");
        }
        text.push_str("\n  ]\n}\n");
        text
    }
}

/// A value as one line of JSON.
fn one_line<T: Serialize>(value: &T) -> String {
    // these types hold no map with other keys than text, which is all that can fail
    serde_json::to_string(value).unwrap_or_else(|_| "null".to_owned())
}

/// Reads a marks file and says where its frames stand.
pub(crate) fn read_marks(path: &Path) -> (Option<(MarksFile, MarksLines)>, Vec<Problem>) {
    let mut problems = Problems::new(path);
    let marks = read_text(path, MARKS_BYTES_MAX, &mut problems).and_then(|text| parse_marks(&text, &mut problems));
    (marks, problems.into_list())
}

fn parse_marks(text: &str, problems: &mut Problems) -> Option<(MarksFile, MarksLines)> {
    let root = parse_json(text, problems)?;
    let fields = Fields::of(&root, "the marks file", &["schema", "image_size", "frames"], problems);
    if !matches!(root.value, Value::Table(_)) {
        return None;
    }
    require_schema(&fields, MARKS_SCHEMA, problems);
    fields.required("image_size", problems);
    fields.required("frames", problems);
    let image_size = fields.node("image_size").and_then(|node| image_size(&fields, node, problems));
    let (frames, frame_lines): (Vec<_>, Vec<_>) = fields
        .list("frames", problems)
        .unwrap_or_default()
        .iter()
        .filter_map(|node| frame(node, image_size, problems))
        .unzip();
    note_same_frames(&frames, &frame_lines, problems);
    let lines = MarksLines { image_size: fields.line_of("image_size"), frames: frame_lines };
    Some((MarksFile { schema: MARKS_SCHEMA.to_owned(), image_size: image_size?, frames }, lines))
}

fn image_size(fields: &Fields<'_>, node: &Node, problems: &mut Problems) -> Option<[u32; 2]> {
    let Value::List(sides) = &node.value else {
        fields.wrong_kind("image_size", node, "a list of width and height in px".to_owned(), problems);
        return None;
    };
    let [width, height] = sides.as_slice() else {
        let (field, place) = ("image_size".to_owned(), fields.place.clone());
        let found = format!("a list of {}", sides.len());
        let accepted = "a list of width and height in px".to_owned();
        problems.at(node.line, Fault::OutOfRange { field, place, found, accepted });
        return None;
    };
    let mut side = |node: &Node| fields.whole("image_size", node, [2, SIDE_PX_MAX], problems);
    let (width, height) = (side(width), side(height));
    Some([width?, height?])
}

fn frame(node: &Node, picture: Option<[u32; 2]>, problems: &mut Problems) -> Option<(MarkedFrame, FrameLines)> {
    let accepted = ["time_s", "source", "use", "rater", "repeat", "from", "points"];
    let fields = Fields::of(node, "frames", &accepted, problems);
    if !matches!(node.value, Value::Table(_)) {
        return None;
    }
    fields.required("time_s", problems);
    let points_node = fields.required("points", problems);
    let time_s = fields.number("time_s", Limits::between(0.0, TIME_S_MAX, "s"), problems);
    let source = match fields.node("source") {
        None => Some(Source::Hand),
        Some(_) => fields.choice("source", &Source::WORDS, problems),
    };
    let used_as = match fields.node("use") {
        None => Some(FrameUse::EndRange),
        Some(_) => fields.choice("use", &[("end_range", FrameUse::EndRange), ("start", FrameUse::Start)], problems),
    };
    let rater = fields.text("rater", 64, problems);
    let repeat = fields.node("repeat").and_then(|node| fields.whole("repeat", node, [1, 1_000_000], problems));
    let from = fields.node("from").and_then(|node| origin(node, problems));
    match source {
        Some(Source::Hand) if fields.node("from").is_some() => {
            problems.at(fields.line_of("from"), Fault::FromOnHand);
        }
        Some(source @ (Source::Track | Source::Carried)) if fields.node("from").is_none() => {
            problems.at(fields.line, Fault::FromMissing { from_source: source.word() });
        }
        _ => {}
    }
    let points = points_node.map(|node| points(node, picture, problems)).unwrap_or_default();
    let lines = FrameLines { frame: fields.line, time_s: fields.line_of("time_s"), from: fields.line_of("from") };
    let frame = MarkedFrame { time_s: time_s?, source: source?, used_as: used_as?, rater, repeat, from, points };
    Some((frame, lines))
}

fn origin(node: &Node, problems: &mut Problems) -> Option<MarksOrigin> {
    let fields = Fields::of(node, "from", &["marks", "time_s"], problems);
    fields.required("marks", problems);
    fields.required("time_s", problems);
    let marks = fields.text("marks", 4096, problems).map(PathBuf::from);
    let time_s = fields.number("time_s", Limits::between(0.0, TIME_S_MAX, "s"), problems);
    Some(MarksOrigin { marks: marks?, time_s: time_s? })
}

fn points(node: &Node, picture: Option<[u32; 2]>, problems: &mut Problems) -> BTreeMap<Landmark, MarkedPoint> {
    let mut found = BTreeMap::new();
    let names = Landmark::ALL.map(Landmark::name);
    let Value::Table(entries) = &node.value else {
        Fields::of(node, "points", &names, problems);
        return found;
    };
    for entry in entries {
        let Some(landmark) = known_landmark(entry, "points", problems) else { continue };
        if found.contains_key(&landmark) {
            let (field, place) = (entry.name.clone(), "points".to_owned());
            problems.at(entry.line, Fault::RepeatedField { field, place });
            continue;
        }
        if let Some(point) = point(landmark, &entry.node, picture, problems) {
            found.insert(landmark, point);
        }
    }
    found
}

fn point(landmark: Landmark, node: &Node, picture: Option<[u32; 2]>, problems: &mut Problems) -> Option<MarkedPoint> {
    const ACCEPTED: &str = "[x, y], [x, y, sd] or [x, y, [cxx, cxy, cyy]] in px and px²";
    let fields = Fields::none("points", node.line);
    let elements = match &node.value {
        Value::List(elements) if (2..=3).contains(&elements.len()) => elements,
        Value::List(elements) => {
            let (field, place) = (landmark.name().to_owned(), "points".to_owned());
            let found = format!("a list of {}", elements.len());
            problems.at(node.line, Fault::OutOfRange { field, place, found, accepted: ACCEPTED.to_owned() });
            return None;
        }
        _ => {
            fields.wrong_kind(landmark.name(), node, ACCEPTED.to_owned(), problems);
            return None;
        }
    };
    // a first sieve for what is no coordinate at all; the picture's own bounds follow
    let coordinate = Limits::between(-1e6, 1e6, "px");
    let x = fields.number_of(landmark.name(), &elements[0], coordinate, problems);
    let y = fields.number_of(landmark.name(), &elements[1], coordinate, problems);
    let spread = match elements.get(2) {
        None => Some(PointSpread::Usual),
        Some(Node { value: Value::List(parts), line }) => covariance(landmark, parts, *line, &fields, problems),
        Some(sd) => {
            fields.number_of(landmark.name(), sd, Limits::above_zero_to(1e4, "px"), problems).map(PointSpread::Sd)
        }
    };
    let (x, y) = (x?, y?);
    if let Some(picture) = picture
        && !is_inside(x, y, picture)
    {
        problems.at(node.line, Fault::OutsidePicture { mark: landmark, x, y, picture });
        return None;
    }
    Some(MarkedPoint { point: ImagePoint::new(x, y), spread: spread? })
}

/// Whether a point lies on the picture: the outer edges of its outer pixels are half a pixel beyond their centres.
pub(super) fn is_inside(x: f64, y: f64, picture: [u32; 2]) -> bool {
    let last = picture.map(|side| f64::from(side) - 0.5);
    (-0.5..=last[0]).contains(&x) && (-0.5..=last[1]).contains(&y)
}

/// Whether cxx, cxy, cyy (px²) are the covariance of a mark: positive definite, with room to invert it, because a correlation of 1
/// is a mark known without error across some line.
#[must_use]
pub fn is_covariance([cxx, cxy, cyy]: [f64; 3]) -> bool {
    let is_bounded = [cxx, cxy, cyy].into_iter().all(|part| part.abs() <= COVARIANCE_PX2_MAX);
    is_bounded && cxx > 0.0 && cyy > 0.0 && cxx * cyy * (1.0 - 1e-9) > cxy * cxy
}

fn covariance(
    landmark: Landmark,
    parts: &[Node],
    line: usize,
    fields: &Fields<'_>,
    problems: &mut Problems,
) -> Option<PointSpread> {
    let [cxx, cxy, cyy] = parts else {
        let (field, place) = (landmark.name().to_owned(), "points".to_owned());
        let found = format!("a covariance of {} numbers", parts.len());
        problems.at(line, Fault::OutOfRange { field, place, found, accepted: "[cxx, cxy, cyy] in px²".to_owned() });
        return None;
    };
    let mut number = |node: &Node| {
        fields.number_of(
            landmark.name(),
            node,
            Limits::between(-COVARIANCE_PX2_MAX, COVARIANCE_PX2_MAX, "px²"),
            problems,
        )
    };
    let (cxx, cxy, cyy) = (number(cxx), number(cxy), number(cyy));
    let (cxx, cxy, cyy) = (cxx?, cxy?, cyy?);
    if is_covariance([cxx, cxy, cyy]) {
        Some(PointSpread::Covariance([cxx, cxy, cyy]))
    } else {
        problems.at(line, Fault::NotPositiveDefinite { mark: landmark, found: [cxx, cxy, cyy] });
        None
    }
}

fn note_same_frames(frames: &[MarkedFrame], lines: &[FrameLines], problems: &mut Problems) {
    let mut order: Vec<usize> = (0..frames.len()).collect();
    order.sort_by(|a, b| {
        let key = |index: &usize| (&frames[*index].rater, frames[*index].repeat);
        key(a).cmp(&key(b)).then(frames[*a].time_s.total_cmp(&frames[*b].time_s)).then(a.cmp(b))
    });
    for pair in order.windows(2) {
        let (first, second) = (&frames[pair[0]], &frames[pair[1]]);
        let is_same = first.rater == second.rater
            && first.repeat == second.repeat
            && first.used_as == second.used_as
            && first.source == second.source
            && (first.time_s - second.time_s).abs() < SAME_TIME_S
            // one frame may be marked in two goes, each with other marks
            && first.points.keys().any(|landmark| second.points.contains_key(landmark));
        if is_same {
            let fault = Fault::SameFrameTwice { time_s: second.time_s, first_line: lines[pair[0]].frame };
            problems.at(lines[pair[1]].frame, fault);
        }
    }
}
