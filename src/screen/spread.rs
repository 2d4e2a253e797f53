//! How well marks are placed: one usual spread, or a rater's own from repeated marking (`tworeach/spread/1`).

use std::collections::BTreeMap;
use std::error::Error;
use std::fmt::Write as _;
use std::path::Path;

use crate::geometry::Landmark;
use crate::uncertainty::PooledSpread;

use super::case::{SD_PX_AT, require_schema};
use super::document::{Node, Value, parse_json};
use super::error::ScreenError;
use super::fields::{Fields, Limits, known_landmark};
use super::problem::{Fault, Problems};
use super::text_file::read_text;

/// The name of the format.
pub const SPREAD_SCHEMA: &str = "tworeach/spread/1";

/// A spread file is refused beyond this size.
const SPREAD_BYTES_MAX: u64 = 1 << 20;

/// The largest standard deviation of a mark that makes sense, px at [`SD_PX_AT`].
const SD_PX_MAX: f64 = 200.0;

/// Fewest degrees of freedom of a spread that is used: with fewer, its own uncertainty has no bound (JCGM 101, 6.4.9.4).
pub const SPREAD_DOF_MIN: f64 = 3.0;

/// A rater's own spread of marks, landmark by landmark.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadFile {
    /// Who placed the marks; `None` if the marks do not say.
    pub rater: Option<String>,
    /// The spread of each landmark along each axis.
    pub landmarks: BTreeMap<Landmark, LandmarkSd>,
}

/// The spread of one landmark's marks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LandmarkSd {
    /// Standard deviation along each axis, px at a long side of [`SD_PX_AT`].
    pub sd_px: f64,
    /// Degrees of freedom of that standard deviation.
    pub dof: f64,
}

impl LandmarkSd {
    /// A pooled spread in px at a long side of [`SD_PX_AT`].
    #[must_use]
    pub const fn of(spread: &PooledSpread) -> Self {
        Self { sd_px: spread.sd, dof: spread.dof }
    }

    /// The standard uncertainty of a mark: the standard deviation, made larger because few repeats know it badly.
    ///
    /// # Source
    /// JCGM 101:2008, 6.4.9.4: standard deviation of the scaled and shifted t distribution.
    #[must_use]
    pub fn u_px(&self) -> f64 {
        self.sd_px * (self.dof / (self.dof - 2.0)).sqrt()
    }
}

impl SpreadFile {
    /// Reads a spread file.
    ///
    /// # Errors
    /// [`ScreenError::Invalid`] with every fault of the file.
    pub fn read(path: &Path) -> Result<Self, ScreenError> {
        let mut problems = Problems::new(path);
        let spread = read_text(path, SPREAD_BYTES_MAX, &mut problems).and_then(|text| parse(&text, &mut problems));
        match (spread, problems.into_list()) {
            (Some(spread), problems) if problems.is_empty() => Ok(spread),
            (_, problems) => Err(ScreenError::Invalid { problems }),
        }
    }

    /// The text of the file.
    #[must_use]
    pub fn to_json(&self) -> String {
        let mut text = format!("{{\n  \"schema\": \"{SPREAD_SCHEMA}\",\n");
        // Writing to a String cannot fail.
        if let Some(rater) = &self.rater {
            let _ = writeln!(text, "  \"rater\": {},", serde_json::Value::from(rater.as_str()));
        }
        let _ = write!(text, "  \"long_side_px\": {SD_PX_AT},\n  \"landmarks\": {{");
        for (index, (landmark, LandmarkSd { sd_px, dof })) in self.landmarks.iter().enumerate() {
            let comma = if index == 0 { "" } else { "," };
            let _ = write!(text, "{comma}\n    \"{landmark}\": {{ \"sd_px\": {sd_px:?}, \"dof\": {dof} }}");
        }
        text.push_str("\n  }\n}\n");
        text
    }
}

fn parse(text: &str, problems: &mut Problems) -> Option<SpreadFile> {
    let root = parse_json(text, problems)?;
    let fields = Fields::of(&root, "the spread file", &["schema", "rater", "long_side_px", "landmarks"], problems);
    require_schema(&fields, SPREAD_SCHEMA, problems);
    let rater = fields.text("rater", 64, problems);
    let long_side_px = match fields.node("long_side_px") {
        None => Some(SD_PX_AT),
        Some(_) => fields.number("long_side_px", Limits::between(2.0, 65_535.0, "px"), problems),
    };
    let node = fields.required("landmarks", problems)?;
    let landmarks = landmarks(node, SD_PX_AT / long_side_px?, problems);
    Some(SpreadFile { rater, landmarks })
}

fn landmarks(node: &Node, scale: f64, problems: &mut Problems) -> BTreeMap<Landmark, LandmarkSd> {
    let names = Landmark::ALL.map(Landmark::name);
    let mut found = BTreeMap::new();
    let Value::Table(entries) = &node.value else {
        Fields::of(node, "landmarks", &names, problems);
        return found;
    };
    for entry in entries {
        let Some(landmark) = known_landmark(entry, "landmarks", problems) else { continue };
        let fields = Fields::of(&entry.node, landmark.name(), &["sd_px", "dof"], problems);
        fields.required("sd_px", problems);
        fields.required("dof", problems);
        let sd_px = fields.number("sd_px", Limits::above_zero_to(SD_PX_MAX, "px"), problems);
        let dof = fields.number("dof", Limits::between(SPREAD_DOF_MIN, 1e9, ""), problems);
        if let (Some(sd_px), Some(dof)) = (sd_px, dof)
            && found.insert(landmark, LandmarkSd { sd_px: sd_px * scale, dof }).is_some()
        {
            let (field, place) = (entry.name.clone(), "landmarks".to_owned());
            problems.at(entry.line, Fault::RepeatedField { field, place });
        }
    }
    found
}

/// The standard deviation of a mark that states none.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct MarkingSpread {
    /// px at a long side of [`SD_PX_AT`].
    usual_sd_px: f64,
    /// The rater's own, px at a long side of [`SD_PX_AT`].
    own_u_px: BTreeMap<Landmark, f64>,
}

impl MarkingSpread {
    /// The same spread for every landmark, px at a long side of [`SD_PX_AT`].
    pub(crate) const fn usual(sd_px: f64) -> Self {
        Self { usual_sd_px: sd_px, own_u_px: BTreeMap::new() }
    }

    /// A rater's own spread, with `sd_px` for the landmarks it does not name.
    pub(crate) fn read(path: &Path, sd_px: f64) -> Result<Self, Box<dyn Error + Send + Sync>> {
        let file = SpreadFile::read(path)?;
        let own_u_px = file.landmarks.iter().map(|(landmark, own)| (*landmark, own.u_px())).collect();
        Ok(Self { usual_sd_px: sd_px, own_u_px })
    }

    /// The standard deviation of a landmark's mark along each axis on a picture of `image_size`, px.
    pub(crate) fn sd_px(&self, landmark: Landmark, image_size: [u32; 2]) -> f64 {
        self.own_u_px.get(&landmark).copied().unwrap_or(self.usual_sd_px) * scale(image_size)
    }
}

/// How much larger a picture is than the one for which spreads are stated.
pub(crate) fn scale(image_size: [u32; 2]) -> f64 {
    f64::from(image_size[0].max(image_size[1])) / SD_PX_AT
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Side;

    const SHOULDER: Landmark = Landmark::Shoulder(Side::Right);

    fn read(text: &str) -> Result<SpreadFile, String> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.spread.json");
        std::fs::write(&path, text).unwrap();
        SpreadFile::read(&path).map_err(|fault| match fault {
            ScreenError::Invalid { problems } => problems.iter().map(|problem| format!("{problem}\n")).collect(),
            other => other.to_string(),
        })
    }

    #[test]
    fn what_is_written_is_read_back_and_fits_the_schema() {
        let landmarks = BTreeMap::from([(SHOULDER, LandmarkSd { sd_px: 2.5, dof: 8.0 })]);
        let file = SpreadFile { rater: Some("a".to_owned()), landmarks };
        assert_eq!(read(&file.to_json()).unwrap(), file);
        let schema = serde_json::from_str(super::super::schema::SPREAD_JSON_SCHEMA).unwrap();
        let instance = serde_json::from_str(&file.to_json()).unwrap();
        assert!(jsonschema::validator_for(&schema).unwrap().is_valid(&instance));
    }

    #[test]
    fn a_spread_for_another_size_is_scaled_and_few_repeats_widen_it() {
        let text = r#"{ "schema": "tworeach/spread/1", "long_side_px": 640,
            "landmarks": { "right_shoulder": { "sd_px": 1.0, "dof": 4 } } }"#;
        let file = read(text).unwrap();
        let own = file.landmarks[&SHOULDER];
        assert!((own.sd_px - 2.0).abs() < 1e-12);
        // sqrt(4 / 2) larger.
        assert!((own.u_px() - 2.0 * 2.0_f64.sqrt()).abs() < 1e-12);
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.spread.json");
        std::fs::write(&path, text).unwrap();
        let spread = MarkingSpread::read(&path, 1.5).unwrap();
        assert!((spread.sd_px(SHOULDER, [1920, 1080]) - 1.5 * own.u_px()).abs() < 1e-12);
        assert!((spread.sd_px(Landmark::Nose, [1280, 720]) - 1.5).abs() < 1e-12, "not named: the usual one");
    }

    #[test]
    fn faults_name_line_field_and_what_is_accepted() {
        let good = "{ \"schema\": \"tworeach/spread/1\",\n\"landmarks\": {\n\"right_shoulder\": { \"sd_px\": 1.0, \"dof\": 4 } } }";
        assert!(read(good).is_ok());
        for (from, to, part) in [
            ("right_shoulder", "right_sholder", "line 3: unknown mark \"right_sholder\""),
            ("1.0", "-1.0", "line 3: \"sd_px\" in right_shoulder is -1"),
            ("\"dof\": 4", "\"dof\": 2", "\"dof\" in right_shoulder is 2, expected a number from 3"),
            (", \"dof\": 4", "", "missing field \"dof\" in right_shoulder"),
            ("landmarks", "landmark", "unknown field \"landmark\""),
            ("spread/1", "spread/2", "\"schema\" in the spread file"),
        ] {
            let said = read(&good.replace(from, to)).unwrap_err();
            assert!(said.contains(part), "{from} -> {to}: {said}");
        }
    }
}
