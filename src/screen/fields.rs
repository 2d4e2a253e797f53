//! Takes the fields of one table with their kinds and ranges, and notes every fault with its line.

use crate::geometry::Landmark;

use super::document::{Entry, Node, Value};
use super::problem::{Fault, Problems, nearest};

/// The landmark that an entry of `place` is named for; an unknown name is noted with the nearest accepted one.
pub(crate) fn known_landmark(entry: &Entry, place: &str, problems: &mut Problems) -> Option<Landmark> {
    let landmark = entry.name.parse::<Landmark>().ok();
    if landmark.is_none() {
        let names = Landmark::ALL.map(Landmark::name);
        let fault = Fault::UnknownName {
            kind: "mark",
            found: entry.name.clone(),
            place: place.to_owned(),
            accepted: names.to_vec(),
            nearest: nearest(&entry.name, &names),
        };
        problems.at(entry.line, fault);
    }
    landmark
}

/// The accepted range of a number.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Limits {
    pub(crate) low: f64,
    pub(crate) high: f64,
    /// `low` itself is not accepted.
    pub(crate) is_low_excluded: bool,
    pub(crate) unit: &'static str,
}

impl Limits {
    pub(crate) const fn between(low: f64, high: f64, unit: &'static str) -> Self {
        Self { low, high, is_low_excluded: false, unit }
    }

    pub(crate) const fn above_zero_to(high: f64, unit: &'static str) -> Self {
        Self { low: 0.0, high, is_low_excluded: true, unit }
    }

    /// Whether `value` is finite and accepted.
    pub(crate) fn holds(&self, value: f64) -> bool {
        value.is_finite() && value <= self.high && (value > self.low || (!self.is_low_excluded && value >= self.low))
    }

    /// The range in words.
    pub(crate) fn words(&self) -> String {
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        if self.is_low_excluded {
            format!("a number above {} and up to {}{unit}", self.low, self.high)
        } else {
            format!("a number from {} to {}{unit}", self.low, self.high)
        }
    }
}

/// The fields of a table, by name. Unknown and repeated ones are noted when it is made.
pub(crate) struct Fields<'a> {
    /// The table, for a sentence.
    pub(crate) place: String,
    /// Its first line.
    pub(crate) line: usize,
    entries: Vec<&'a Entry>,
}

impl<'a> Fields<'a> {
    /// No fields: only to note faults of values that stand in `place`.
    pub(crate) fn none(place: &str, line: usize) -> Self {
        Self { place: place.to_owned(), line, entries: Vec::new() }
    }

    /// The fields of `node`, of which only the `accepted` ones may occur. A node that is no table counts as an empty one.
    pub(crate) fn of(node: &'a Node, place: &str, accepted: &[&'static str], problems: &mut Problems) -> Self {
        let mut fields = Self { place: place.to_owned(), line: node.line, entries: Vec::new() };
        let Value::Table(entries) = &node.value else {
            let found = node.value.kind();
            let (field, accepted) = (place.to_owned(), "a table of fields".to_owned());
            problems.at(node.line, Fault::WrongKind { field, place: "the file".to_owned(), found, accepted });
            return fields;
        };
        for entry in entries {
            if !accepted.contains(&entry.name.as_str()) {
                problems.at(
                    entry.line,
                    Fault::UnknownName {
                        kind: "field",
                        found: entry.name.clone(),
                        place: place.to_owned(),
                        accepted: accepted.to_vec(),
                        nearest: nearest(&entry.name, accepted),
                    },
                );
            } else if fields.entries.iter().any(|known| known.name == entry.name) {
                let (field, place) = (entry.name.clone(), place.to_owned());
                problems.at(entry.line, Fault::RepeatedField { field, place });
            } else {
                fields.entries.push(entry);
            }
        }
        fields
    }

    /// The value of a field and the line it is on.
    pub(crate) fn node(&self, field: &str) -> Option<&'a Node> {
        self.entries.iter().find(|entry| entry.name == field).map(|entry| &entry.node)
    }

    /// The line of a field, or of the table when it has none.
    pub(crate) fn line_of(&self, field: &str) -> usize {
        self.node(field).map_or(self.line, |node| node.line)
    }

    /// The value of a field that must be there.
    pub(crate) fn required(&self, field: &'static str, problems: &mut Problems) -> Option<&'a Node> {
        let node = self.node(field);
        if node.is_none() {
            problems.at(self.line, Fault::MissingField { field, place: self.place.clone() });
        }
        node
    }

    /// A number in range.
    pub(crate) fn number(&self, field: &'static str, limits: Limits, problems: &mut Problems) -> Option<f64> {
        self.number_of(field, self.node(field)?, limits, problems)
    }

    /// `node` as a number in range, named `field` in faults.
    pub(crate) fn number_of(&self, field: &str, node: &Node, limits: Limits, problems: &mut Problems) -> Option<f64> {
        match node.value {
            Value::Number(number) if limits.holds(number) => Some(number),
            Value::Number(number) => {
                let (field, found, accepted) = (field.to_owned(), number.to_string(), limits.words());
                problems.at(node.line, Fault::OutOfRange { field, place: self.place.clone(), found, accepted });
                None
            }
            _ => {
                self.wrong_kind(field, node, limits.words(), problems);
                None
            }
        }
    }

    /// A whole number in range.
    pub(crate) fn whole(&self, field: &str, node: &Node, limits: [u32; 2], problems: &mut Problems) -> Option<u32> {
        let accepted = format!("a whole number from {} to {}", limits[0], limits[1]);
        let Value::Number(number) = node.value else {
            self.wrong_kind(field, node, accepted, problems);
            return None;
        };
        // printed without a fraction, so that a whole number parses exactly and nothing is rounded
        match number.to_string().parse::<u32>() {
            Ok(whole) if (limits[0]..=limits[1]).contains(&whole) => Some(whole),
            _ => {
                let (field, found) = (field.to_owned(), number.to_string());
                problems.at(node.line, Fault::OutOfRange { field, place: self.place.clone(), found, accepted });
                None
            }
        }
    }

    /// True or false.
    pub(crate) fn flag(&self, field: &'static str, problems: &mut Problems) -> Option<bool> {
        let node = self.node(field)?;
        match node.value {
            Value::Bool(is_true) => Some(is_true),
            _ => {
                self.wrong_kind(field, node, "true or false".to_owned(), problems);
                None
            }
        }
    }

    /// A text that is not empty and at most `length_max` characters long.
    pub(crate) fn text(&self, field: &'static str, length_max: usize, problems: &mut Problems) -> Option<String> {
        let node = self.node(field)?;
        let accepted = || format!("a text of 1 to {length_max} characters");
        match &node.value {
            Value::Text(text) if !text.trim().is_empty() && text.chars().count() <= length_max => Some(text.clone()),
            Value::Text(text) => {
                let found = format!("{} characters long", text.trim().chars().count());
                let (field, place) = (field.to_owned(), self.place.clone());
                problems.at(node.line, Fault::OutOfRange { field, place, found, accepted: accepted() });
                None
            }
            _ => {
                self.wrong_kind(field, node, accepted(), problems);
                None
            }
        }
    }

    /// One of several words, and what it stands for.
    pub(crate) fn choice<T: Copy>(
        &self,
        field: &'static str,
        choices: &[(&'static str, T)],
        problems: &mut Problems,
    ) -> Option<T> {
        let node = self.node(field)?;
        let accepted: Vec<&'static str> = choices.iter().map(|(word, _)| *word).collect();
        let Value::Text(found) = &node.value else {
            self.wrong_kind(field, node, format!("one of {}", accepted.join(", ")), problems);
            return None;
        };
        let choice = choices.iter().find(|(word, _)| word == found).map(|(_, value)| *value);
        if choice.is_none() {
            let nearest = nearest(found, &accepted);
            let (place, found) = (self.place.clone(), found.clone());
            problems.at(node.line, Fault::UnknownWord { field, place, found, accepted, nearest });
        }
        choice
    }

    /// The elements of a list.
    pub(crate) fn list(&self, field: &'static str, problems: &mut Problems) -> Option<&'a [Node]> {
        let node = self.node(field)?;
        match &node.value {
            Value::List(elements) => Some(elements),
            _ => {
                self.wrong_kind(field, node, "a list".to_owned(), problems);
                None
            }
        }
    }

    /// Notes a value of the wrong kind.
    pub(crate) fn wrong_kind(&self, field: &str, node: &Node, accepted: String, problems: &mut Problems) {
        let (field, place, found) = (field.to_owned(), self.place.clone(), node.value.kind());
        problems.at(node.line, Fault::WrongKind { field, place, found, accepted });
    }
}
