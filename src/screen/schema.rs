//! The JSON Schemas (2020-12) of all file formats.

use crate::camera::PROFILE_JSON_SCHEMA;

/// JSON Schema of the case file, once its TOML is read as JSON.
pub const CASE_JSON_SCHEMA: &str = include_str!("schemas/case.schema.json");

/// JSON Schema of the marks file.
pub const MARKS_JSON_SCHEMA: &str = include_str!("schemas/marks.schema.json");

/// JSON Schema of the result file.
pub const RESULT_JSON_SCHEMA: &str = include_str!("schemas/result.schema.json");

/// JSON Schema of the spread file.
pub const SPREAD_JSON_SCHEMA: &str = include_str!("schemas/spread.schema.json");

/// JSON Schema of what `repeatability` finds.
pub const REPEATABILITY_JSON_SCHEMA: &str = include_str!("schemas/repeatability.schema.json");

/// Every format's name and JSON Schema.
pub const SCHEMAS: [(&str, &str); 6] = [
    ("case", CASE_JSON_SCHEMA),
    ("marks", MARKS_JSON_SCHEMA),
    ("camera", PROFILE_JSON_SCHEMA),
    ("result", RESULT_JSON_SCHEMA),
    ("spread", SPREAD_JSON_SCHEMA),
    ("repeatability", REPEATABILITY_JSON_SCHEMA),
];
