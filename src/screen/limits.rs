//! The limits of the checks, each by its check's name. All are common practice without source.

use serde::Serialize;

use super::document::{Node, Value};
use super::fields::{Fields, Limits};
use super::problem::{Fault, Problems, nearest};

/// The names of all checks.
pub(crate) const CHECK_NAMES: [&str; 12] = [
    "elbow_straight",
    "bar_level",
    "view_as_stated",
    "marks_agree",
    "pain_free",
    "back_flat",
    "held",
    "same_grip",
    "trunk_still",
    "camera_unmoved",
    "same_person_and_bar",
    "two_takes",
];

/// The checks whose limit is a number, with its accepted range.
const SETTABLE: [(&str, Limits); 9] = [
    ("elbow_straight", Limits::above_zero_to(90.0, "deg")),
    ("bar_level", Limits::above_zero_to(45.0, "deg")),
    ("marks_agree", Limits::above_zero_to(1000.0, "px")),
    ("pain_free", Limits::between(0.0, 10.0, "")),
    ("held", Limits::above_zero_to(45.0, "deg")),
    ("same_grip", Limits::above_zero_to(100.0, "%")),
    ("trunk_still", Limits::above_zero_to(45.0, "deg")),
    ("camera_unmoved", Limits::above_zero_to(1000.0, "px")),
    ("same_person_and_bar", Limits::above_zero_to(100.0, "%")),
];

/// The limit of every check that has one.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CheckLimits {
    /// Elbow flexion, deg.
    pub elbow_straight: f64,
    /// Tilt of the bar either way, deg.
    pub bar_level: f64,
    /// Distance of a mark from where the others put it, px; without one, the fit's own measure of what marking can explain.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub marks_agree: Option<f64>,
    /// Pain at end range, 0 to 10; without one, only a reach that pain ended fails.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pain_free: Option<f64>,
    /// Movement of the arm while it holds at end range, deg.
    pub held: f64,
    /// Difference of the grip widths, % of the grip width.
    pub same_grip: f64,
    /// Movement of the trunk between the reaches, deg.
    pub trunk_still: f64,
    /// Movement of datum and plumb line, px at a long side of [`super::case::SD_PX_AT`].
    pub camera_unmoved: f64,
    /// Disagreement of the proportions of arm, trunk and bar, %.
    pub same_person_and_bar: f64,
}

impl Default for CheckLimits {
    fn default() -> Self {
        Self {
            elbow_straight: 15.0,
            bar_level: 5.0,
            marks_agree: None,
            pain_free: None,
            held: 3.0,
            same_grip: 8.0,
            trunk_still: 8.0,
            camera_unmoved: 8.0,
            same_person_and_bar: 12.0,
        }
    }
}

impl CheckLimits {
    pub(crate) fn is_default(&self) -> bool {
        *self == Self::default()
    }

    /// The limits that are not the usual ones: name of the check, and limit in the check's unit.
    #[must_use]
    pub fn changed(&self) -> Vec<(String, f64)> {
        let usual = Self::default();
        SETTABLE
            .iter()
            .map(|(name, _)| (*name, self.get(name), usual.get(name)))
            .filter(|(_, limit, usual)| limit != usual)
            .filter_map(|(name, limit, _)| Some((name.to_owned(), limit?)))
            .collect()
    }

    fn get(&self, name: &str) -> Option<f64> {
        match name {
            "elbow_straight" => Some(self.elbow_straight),
            "bar_level" => Some(self.bar_level),
            "marks_agree" => self.marks_agree,
            "pain_free" => self.pain_free,
            "held" => Some(self.held),
            "same_grip" => Some(self.same_grip),
            "trunk_still" => Some(self.trunk_still),
            "camera_unmoved" => Some(self.camera_unmoved),
            "same_person_and_bar" => Some(self.same_person_and_bar),
            _ => None,
        }
    }

    /// Takes the `[limits]` table.
    pub(crate) fn take(node: &Node, problems: &mut Problems) -> Self {
        let mut limits = Self::default();
        let names = SETTABLE.map(|(name, _)| name);
        if let Value::Table(entries) = &node.value {
            for entry in entries.iter().filter(|entry| !names.contains(&entry.name.as_str())) {
                let kind = if CHECK_NAMES.contains(&entry.name.as_str()) { "limit" } else { "check" };
                let fault = Fault::UnknownName {
                    kind,
                    found: entry.name.clone(),
                    place: "[limits]".to_owned(),
                    accepted: names.to_vec(),
                    nearest: nearest(&entry.name, &names),
                };
                problems.at(entry.line, fault);
            }
        }
        // the faults of the names are noted above, in the words of checks
        let fields = Fields::of(node, "[limits]", &names, &mut Problems::new(std::path::Path::new("")));
        if !matches!(node.value, Value::Table(_)) {
            fields.wrong_kind("limits", node, "a table of checks and their limits".to_owned(), problems);
        }
        for (name, range) in SETTABLE {
            if let Some(limit) = fields.number(name, range, problems) {
                limits.set(name, limit);
            }
        }
        limits
    }

    fn set(&mut self, name: &str, limit: f64) {
        match name {
            "elbow_straight" => self.elbow_straight = limit,
            "bar_level" => self.bar_level = limit,
            "marks_agree" => self.marks_agree = Some(limit),
            "pain_free" => self.pain_free = Some(limit),
            "held" => self.held = limit,
            "same_grip" => self.same_grip = limit,
            "trunk_still" => self.trunk_still = limit,
            "camera_unmoved" => self.camera_unmoved = limit,
            "same_person_and_bar" => self.same_person_and_bar = limit,
            _ => {}
        }
    }
}
