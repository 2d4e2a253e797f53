//! The JSON Schemas (2020-12) of plan, intake and proposal.

/// JSON Schema of the plan file, once its TOML is read as JSON.
pub const PLAN_JSON_SCHEMA: &str = include_str!("schemas/plan.schema.json");

/// JSON Schema of the intake file, once its TOML is read as JSON.
pub const INTAKE_JSON_SCHEMA: &str = include_str!("schemas/intake.schema.json");

/// JSON Schema of the proposal.
pub const PROPOSAL_JSON_SCHEMA: &str = include_str!("schemas/proposal.schema.json");

/// Every format's name and JSON Schema.
pub const SCHEMAS: [(&str, &str); 3] =
    [("plan", PLAN_JSON_SCHEMA), ("intake", INTAKE_JSON_SCHEMA), ("proposal", PROPOSAL_JSON_SCHEMA)];
