//! The JSON Schemas (2020-12) of what simulation finds.

/// JSON Schema of `accuracy.json`.
pub const ACCURACY_JSON_SCHEMA: &str = include_str!("schemas/accuracy.schema.json");

/// Every format's name and JSON Schema.
pub const SCHEMAS: [(&str, &str); 1] = [("accuracy", ACCURACY_JSON_SCHEMA)];
