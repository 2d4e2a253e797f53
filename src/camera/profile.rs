//! Lens profiles: `*.camera.json`, and which lens a picture has by them.
//!
//! A profile is stored in the orientation of the sensor's picture, before any display rotation; [`LensProfile::lens_for`]
//! turns it with the picture. Reading is strict: an unknown field, a missing one or a number out of range is an error.

use std::fs;
use std::io::Write as _;
use std::path::Path;

use nalgebra::SMatrix;
use serde::{Deserialize, Serialize};

use crate::camera::lens::has_same_aspect;
use crate::camera::{CameraError, LENS_PARAMETERS, Lens};
use crate::video::growing_beside;

/// The name of the format.
pub const PROFILE_SCHEMA: &str = "tworeach/camera/1";

/// JSON Schema of the format.
pub const PROFILE_JSON_SCHEMA: &str = include_str!("profile.schema.json");

/// Relative size of a negative eigenvalue that rounding can leave in a covariance written with few digits.
const NEGATIVE_EIGENVALUE_TOL: f64 = 1e-6;

/// Relative difference of two entries that should be the same, left by rounding.
const ASYMMETRY_TOL: f64 = 1e-9;

/// Names near enough to be offered for a misspelt field: at most this many edits.
const NEAREST_MAX_EDITS: usize = 3;

const PROFILE_FIELDS: [&str; 11] =
    ["schema", "name", "image_size", "fx", "fy", "cx", "cy", "distortion", "rms_px", "u", "covariance"];

/// A calibrated lens with its name and how well it fitted.
#[derive(Debug, Clone, PartialEq)]
pub struct LensProfile {
    /// What was calibrated, such as "phone main camera, 1080p".
    pub name: String,
    /// The lens, for the size of the calibration pictures, in the orientation of the sensor's picture.
    pub lens: Lens,
    /// Root mean square of the distances between marked and projected corners, px, if known.
    pub rms_px: Option<f64>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct ProfileFile {
    schema: String,
    name: String,
    image_size: [u32; 2],
    fx: f64,
    fy: f64,
    cx: f64,
    cy: f64,
    distortion: [f64; 5],
    #[serde(default, skip_serializing_if = "Option::is_none")]
    rms_px: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    u: Option<StandardUncertainties>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    covariance: Option<Vec<Vec<f64>>>,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
#[derive(Default)]
struct StandardUncertainties {
    fx: f64,
    fy: f64,
    cx: f64,
    cy: f64,
    k1: f64,
    k2: f64,
    p1: f64,
    p2: f64,
    k3: f64,
}

impl StandardUncertainties {
    const fn values(&self) -> [f64; LENS_PARAMETERS] {
        [self.fx, self.fy, self.cx, self.cy, self.k1, self.k2, self.p1, self.p2, self.k3]
    }
}

impl LensProfile {
    /// The lens for an upright picture of `upright_size` px whose stored picture is shown after `clockwise` quarter turns.
    ///
    /// The profile is turned with the picture and scaled to its size. A profile made on upright pictures, whose aspect is
    /// already that of the picture, is taken as it stands. Where the picture is upright but its file does not say which way
    /// it was turned, both ways are averaged and their difference is added to the covariance.
    ///
    /// # Errors
    /// [`CameraError::AspectDiffers`] if the picture has another aspect, turned or not.
    pub fn lens_for(&self, upright_size: [u32; 2], clockwise: u8) -> Result<Lens, CameraError> {
        let [width, height] = self.lens.image_size;
        let fits_as_it_stands = has_same_aspect([width, height], upright_size);
        let fits_turned = has_same_aspect([height, width], upright_size);
        match (clockwise % 2 == 1, fits_as_it_stands, fits_turned) {
            (true, _, true) | (false, true, _) => self.lens.quarter_turned(clockwise).scaled_to(upright_size),
            (true, true, false) => self.lens.scaled_to(upright_size),
            (false, false, true) => Ok(mean_of(
                &self.lens.quarter_turned(1).scaled_to(upright_size)?,
                &self.lens.quarter_turned(3).scaled_to(upright_size)?,
            )),
            (_, false, false) => {
                Err(CameraError::AspectDiffers { profile: self.lens.image_size, picture: upright_size })
            }
        }
    }
}

/// The middle of two lenses of one size, its covariance widened by half their difference.
fn mean_of(a: &Lens, b: &Lens) -> Lens {
    let half = SMatrix::<f64, LENS_PARAMETERS, 1>::from_fn(|i, _| 0.5 * (a.parameters()[i] - b.parameters()[i]));
    let middle = std::array::from_fn(|i| 0.5 * (a.parameters()[i] + b.parameters()[i]));
    let mut lens = a.clone().with_parameters(middle);
    // The two ways are equally likely: the spread between them is independent of the calibration's own error.
    lens.covariance = 0.5 * (a.covariance + b.covariance) + half * half.transpose();
    lens
}

/// Reads a lens profile.
///
/// # Errors
/// [`CameraError::Read`] if the file cannot be read; otherwise as [`parse_profile`].
pub fn read_profile(path: &Path) -> Result<LensProfile, CameraError> {
    let text = fs::read_to_string(path).map_err(|source| CameraError::Read { path: path.to_owned(), source })?;
    parse_profile(&text)
}

/// Parses a lens profile.
///
/// `u` stands in for the diagonal of the covariance; a parameter it does not name is taken as known.
///
/// # Errors
/// [`CameraError::UnknownField`] with line and nearest name, [`CameraError::Parse`] for text that is not JSON or lacks a
/// field, [`CameraError::BadValue`] for a value out of range or a covariance that is not symmetric and positive
/// semi-definite.
pub fn parse_profile(text: &str) -> Result<LensProfile, CameraError> {
    let file: ProfileFile = serde_json::from_str(text).map_err(parse_error)?;
    if file.schema != PROFILE_SCHEMA {
        return Err(bad("schema", format!("\"{}\"", file.schema), "\"tworeach/camera/1\""));
    }
    for (field, value) in [("fx", file.fx), ("fy", file.fy)] {
        if !(value.is_finite() && value > 0.0) {
            return Err(bad(field, value, "a positive number of px"));
        }
    }
    let [width, height] = file.image_size;
    if width == 0 || height == 0 || width > 65_535 || height > 65_535 {
        return Err(bad("image_size", format!("{width}x{height}"), "width and height from 1 to 65535 px"));
    }
    for (field, value, side) in [("cx", file.cx, width), ("cy", file.cy, height)] {
        if !value.is_finite() || value < -0.5 || value > f64::from(side) - 0.5 {
            return Err(bad(field, value, "a point within the picture, px"));
        }
    }
    if let Some(value) = file.distortion.into_iter().find(|value| !value.is_finite()) {
        return Err(bad("distortion", value, "five finite numbers"));
    }
    if let Some(value) = file.rms_px.filter(|value| !(value.is_finite() && *value >= 0.0)) {
        return Err(bad("rms_px", value, "a number of px that is not negative"));
    }
    let covariance = match (&file.u, &file.covariance) {
        (Some(_), Some(_)) => return Err(bad("covariance", "given beside u", "either u or covariance")),
        (None, None) => SMatrix::zeros(),
        (Some(u), None) => covariance_from_u(u)?,
        (None, Some(rows)) => covariance_from_rows(rows)?,
    };
    let lens = Lens {
        image_size: file.image_size,
        fx: file.fx,
        fy: file.fy,
        cx: file.cx,
        cy: file.cy,
        distortion: file.distortion,
        covariance,
    };
    Ok(LensProfile { name: file.name, lens, rms_px: file.rms_px })
}

/// Writes a lens profile with its full covariance. The file appears whole or not at all.
///
/// # Errors
/// [`CameraError::Write`] if the file cannot be written.
pub fn write_profile(path: &Path, profile: &LensProfile) -> Result<(), CameraError> {
    let write_error = |source| CameraError::Write { path: path.to_owned(), source };
    let mut file = growing_beside(path, "").map_err(write_error)?;
    file.as_file_mut().write_all(render_profile(profile).as_bytes()).map_err(write_error)?;
    file.persist(path).map_err(|fault| write_error(fault.error))?;
    Ok(())
}

/// A lens profile as the text of its file.
#[must_use]
pub fn render_profile(profile: &LensProfile) -> String {
    use std::fmt::Write as _;
    let Lens { image_size, fx, fy, cx, cy, distortion, covariance } = &profile.lens;
    let mut text = format!(
        "{{ \"schema\": \"{PROFILE_SCHEMA}\",\n  \"name\": {},\n  \"image_size\": {image_size:?},\n  \"fx\": {fx:?}, \"fy\": {fy:?}, \"cx\": {cx:?}, \"cy\": {cy:?},\n  \"distortion\": {distortion:?}",
        serde_json::Value::from(profile.name.as_str())
    );
    // Writing to a String cannot fail.
    if let Some(rms_px) = profile.rms_px {
        let _ = write!(text, ",\n  \"rms_px\": {rms_px:?}");
    }
    if covariance.iter().any(|value| *value != 0.0) {
        let rows: Vec<String> =
            covariance.row_iter().map(|row| format!("    {:?}", row.iter().copied().collect::<Vec<f64>>())).collect();
        let _ = write!(text, ",\n  \"covariance\": [\n{}\n  ]", rows.join(",\n"));
    }
    text.push_str(" }\n");
    text
}

fn covariance_from_u(u: &StandardUncertainties) -> Result<SMatrix<f64, 9, 9>, CameraError> {
    if let Some(value) = u.values().into_iter().find(|value| !(value.is_finite() && *value >= 0.0)) {
        return Err(bad("u", value, "standard uncertainties that are not negative"));
    }
    let mut covariance = SMatrix::zeros();
    for (index, value) in u.values().into_iter().enumerate() {
        covariance[(index, index)] = value * value;
    }
    Ok(covariance)
}

fn covariance_from_rows(rows: &[Vec<f64>]) -> Result<SMatrix<f64, 9, 9>, CameraError> {
    if rows.len() != LENS_PARAMETERS || rows.iter().any(|row| row.len() != LENS_PARAMETERS) {
        let columns = rows.first().map_or(0, Vec::len);
        return Err(bad("covariance", format!("{} rows of {columns}", rows.len()), "9 rows of 9 numbers"));
    }
    let covariance = SMatrix::<f64, 9, 9>::from_fn(|row, col| rows[row][col]);
    if let Some(value) = covariance.iter().find(|value| !value.is_finite()) {
        return Err(bad("covariance", value, "finite numbers"));
    }
    if let Some(value) = covariance.diagonal().iter().find(|value| **value < 0.0) {
        return Err(bad("covariance", format!("a variance of {value}"), "variances that are not negative"));
    }
    let sd = covariance.diagonal().map(f64::sqrt);
    let scale = SMatrix::<f64, 9, 9>::from_fn(|row, col| sd[row] * sd[col]);
    for row in 0..LENS_PARAMETERS {
        for col in 0..row {
            if (covariance[(row, col)] - covariance[(col, row)]).abs() > ASYMMETRY_TOL * scale[(row, col)] {
                return Err(bad("covariance", "not symmetric", "a symmetric matrix"));
            }
        }
    }
    // Judged on correlations, since the parameters' units differ by many orders of magnitude.
    let correlation = SMatrix::<f64, 9, 9>::from_fn(|row, col| {
        if scale[(row, col)] > 0.0 { covariance[(row, col)] / scale[(row, col)] } else { covariance[(row, col)] }
    });
    let smallest = correlation.symmetric_eigenvalues().min();
    if smallest < -NEGATIVE_EIGENVALUE_TOL {
        return Err(bad(
            "covariance",
            format!("a matrix with an eigenvalue of {smallest:.3} (as correlations)"),
            "a positive semi-definite matrix",
        ));
    }
    Ok(0.5 * (covariance + covariance.transpose()))
}

fn bad(field: &'static str, found: impl ToString, allowed: &'static str) -> CameraError {
    CameraError::BadValue { field, found: found.to_string(), allowed }
}

/// Tells an unknown field from other faults of the text. The JSON reader gives the field only within its message.
fn parse_error(source: serde_json::Error) -> CameraError {
    let message = source.to_string();
    let unknown = message.strip_prefix("unknown field `").and_then(|rest| rest.split_once('`'));
    let Some((found, rest)) = unknown else { return CameraError::Parse { source } };
    let allowed: Vec<&str> = rest.split('`').skip(1).step_by(2).collect();
    let allowed = if allowed.is_empty() { PROFILE_FIELDS.to_vec() } else { allowed };
    let nearest = allowed
        .iter()
        .map(|name| (strsim::damerau_levenshtein(found, name), *name))
        .min()
        .filter(|(edits, name)| *edits <= NEAREST_MAX_EDITS && *edits < name.len())
        .map(|(_, name)| name.to_owned());
    CameraError::UnknownField { line: source.line(), found: found.to_owned(), nearest, allowed: allowed.join(", ") }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of the format's description.
    const EXAMPLE: &str = r#"{ "schema": "tworeach/camera/1", "name": "phone main camera, 1080p",
  "image_size": [1920, 1080], "fx": 1580.1, "fy": 1579.6, "cx": 961.2, "cy": 540.9,
  "distortion": [0.11, -0.23, 0.0004, -0.0007, 0.10], "rms_px": 0.31,
  "u": { "fx": 2.1, "fy": 2.1, "cx": 3.0, "cy": 2.2 } }"#;

    fn message(text: &str) -> String {
        let fault = parse_profile(text).unwrap_err();
        match std::error::Error::source(&fault) {
            Some(cause) => format!("{fault}: {cause}"),
            None => fault.to_string(),
        }
    }

    #[test]
    fn the_example_of_the_format_is_read() {
        let profile = parse_profile(EXAMPLE).unwrap();
        assert!((profile.lens.fx - 1580.1).abs() < 1e-12);
        assert!((profile.lens.covariance[(2, 2)] - 9.0).abs() < 1e-12);
        assert!(profile.lens.covariance[(4, 4)].abs() < 1e-12);
        assert_eq!(profile.rms_px, Some(0.31));
    }

    #[test]
    fn what_is_written_is_read_back_and_fits_the_schema() {
        let mut profile = parse_profile(EXAMPLE).unwrap();
        let a = SMatrix::<f64, 9, 9>::from_fn(|row, col| 1.0 / (1.0 + f64::from(u8::try_from(row * 9 + col).unwrap())));
        profile.lens.covariance = a * a.transpose();
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.camera.json");
        write_profile(&path, &profile).unwrap();
        let back = read_profile(&path).unwrap();
        assert!((back.lens.covariance - profile.lens.covariance).norm() < 1e-15);
        assert_eq!(back.name, profile.name);
        let schema: serde_json::Value = serde_json::from_str(PROFILE_JSON_SCHEMA).unwrap();
        let validator = jsonschema::validator_for(&schema).unwrap();
        for text in [render_profile(&profile), EXAMPLE.to_owned()] {
            let instance: serde_json::Value = serde_json::from_str(&text).unwrap();
            assert!(validator.is_valid(&instance), "{text}");
        }
        let misspelt: serde_json::Value = serde_json::from_str(&EXAMPLE.replace("rms_px", "rms")).unwrap();
        assert!(!validator.is_valid(&misspelt));
    }

    #[test]
    fn an_unknown_field_is_named_with_line_and_nearest_name() {
        let text = EXAMPLE.replace("\"distortion\"", "\"distorsion\"");
        let found = message(&text);
        assert!(found.starts_with("line 3: unknown field \"distorsion\", did you mean \"distortion\"?"), "{found}");
        let nested = message(&EXAMPLE.replace("\"cx\": 3.0", "\"cxx\": 3.0"));
        assert!(nested.starts_with("line 4: unknown field \"cxx\", did you mean \"cx\"?"), "{nested}");
    }

    #[test]
    fn values_out_of_range_are_refused() {
        for (from, to, part) in [
            ("1580.1", "-1", "field \"fx\" is -1"),
            ("1580.1", "1e999", "number out of range"),
            ("961.2", "2000", "field \"cx\" is 2000"),
            ("[1920, 1080]", "[0, 1080]", "field \"image_size\" is 0x1080"),
            ("0.31", "-0.31", "field \"rms_px\""),
            ("\"fx\": 2.1", "\"fx\": -2.1", "field \"u\" is -2.1"),
            ("camera/1", "camera/2", "field \"schema\""),
            ("\"fy\": 1579.6, ", "", "missing field `fy`"),
            ("0.10]", "0.10, 0.2]", "not a lens profile"),
        ] {
            let found = message(&EXAMPLE.replace(from, to));
            assert!(found.contains(part), "{from} -> {to}: {found}");
        }
    }

    #[test]
    fn a_covariance_that_cannot_be_one_is_refused() {
        let with = |rows: Vec<Vec<f64>>| {
            EXAMPLE
                .replace(r#""u": { "fx": 2.1, "fy": 2.1, "cx": 3.0, "cy": 2.2 }"#, &format!("\"covariance\": {rows:?}"))
        };
        let identity = |n: usize| (0..n).map(|i| (0..n).map(|j| if i == j { 1.0 } else { 0.0 }).collect()).collect();
        let good: Vec<Vec<f64>> = identity(9);
        assert!(parse_profile(&with(good.clone())).is_ok());
        assert!(message(&with(identity(8))).contains("8 rows of 8"));
        let mut asymmetric = good.clone();
        asymmetric[0][1] = 0.5;
        assert!(message(&with(asymmetric)).contains("not symmetric"));
        let mut indefinite = good.clone();
        indefinite[0][1] = 1.5;
        indefinite[1][0] = 1.5;
        assert!(message(&with(indefinite)).contains("eigenvalue of -0.5"));
        let mut negative = good;
        negative[3][3] = -1.0;
        assert!(message(&with(negative)).contains("variance of -1"));
    }

    #[test]
    fn a_profile_turns_with_the_picture() {
        let profile = parse_profile(EXAMPLE).unwrap();
        let upright = profile.lens_for([1080, 1920], 1).unwrap();
        // (x, y) goes to (1079 - y, x).
        assert!((upright.cx - (1079.0 - 540.9)).abs() < 1e-9);
        assert!((upright.cy - 961.2).abs() < 1e-9);
        assert!((upright.fx - 1579.6).abs() < 1e-9);
        let half = profile.lens_for([540, 960], 3).unwrap();
        assert!((half.cx - ((540.9 + 0.5) / 2.0 - 0.5)).abs() < 1e-9);
        assert!(matches!(profile.lens_for([640, 480], 0), Err(CameraError::AspectDiffers { .. })));
        assert!(matches!(profile.lens_for([480, 640], 1), Err(CameraError::AspectDiffers { .. })));
    }

    #[test]
    fn an_upright_picture_without_its_turn_gets_both_turns_spread() {
        let profile = parse_profile(EXAMPLE).unwrap();
        let lens = profile.lens_for([1080, 1920], 0).unwrap();
        // The two turns put cx at 1079 - 540.9 = 538.1 and at 540.9: their middle, and half their distance added to 2.2.
        assert!((lens.cx - 539.5).abs() < 1e-9);
        assert!((lens.covariance[(2, 2)] - (2.2 * 2.2 + 1.4 * 1.4)).abs() < 1e-9);
    }

    #[test]
    fn a_profile_of_upright_pictures_is_taken_as_it_stands() {
        let mut profile = parse_profile(EXAMPLE).unwrap();
        profile.lens = profile.lens.quarter_turned(1);
        assert_eq!(profile.lens_for([1080, 1920], 1).unwrap(), profile.lens);
        assert_eq!(profile.lens_for([1080, 1920], 0).unwrap(), profile.lens);
    }

    #[test]
    fn a_missing_file_is_named() {
        let fault = read_profile(Path::new("nowhere.camera.json")).unwrap_err();
        assert_eq!(fault.to_string(), "nowhere.camera.json could not be read");
    }
}
