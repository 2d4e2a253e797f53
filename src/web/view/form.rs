//! A form as it was sent, with what was wrong with it, so that the same page can be shown again.

use std::collections::BTreeMap;

/// What was wrong with one field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FieldError {
    /// The name of the field in the form.
    pub field: String,
    /// What was found and what is accepted.
    pub message: String,
}

/// The values of a form's fields and their errors.
#[derive(Debug, Clone, Default)]
pub struct FormView {
    /// By field name, as typed.
    pub values: BTreeMap<String, String>,
    /// In the order of the form.
    pub errors: Vec<FieldError>,
}

impl FormView {
    /// The value of a field as typed; empty where there is none.
    #[must_use]
    pub fn value(&self, field: &str) -> &str {
        self.values.get(field).map_or("", String::as_str)
    }

    /// What is wrong with a field.
    #[must_use]
    pub fn error(&self, field: &str) -> Option<&str> {
        self.errors.iter().find(|error| error.field == field).map(|error| error.message.as_str())
    }
}
