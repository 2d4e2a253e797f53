//! A TOML or JSON text as one tree in which every value knows its line, so that each fault can name it.
//!
//! JSON is read strictly: no comments, no trailing commas, no single quotes.

use std::ops::Range;

use jsonc_parser::ast;
use jsonc_parser::common::Ranged;
use jsonc_parser::{CollectOptions, ParseOptions};
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::problem::{Fault, Problems};

/// What the TOML parser says of text that is nested too deeply.
const TOO_DEEP: [&str; 2] = ["max recursion depth met", "recursion limit"];

/// A value and the line on which it starts, from 1.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Node {
    pub(crate) line: usize,
    pub(crate) value: Value,
}

/// A value of a file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Value {
    Null,
    Bool(bool),
    Number(f64),
    Text(String),
    List(Vec<Node>),
    Table(Vec<Entry>),
    /// A date or time, which no field takes.
    Date,
}

/// One field of a table, on the line of its name.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Entry {
    pub(crate) name: String,
    pub(crate) line: usize,
    pub(crate) node: Node,
}

impl Value {
    /// The kind of value, for a sentence.
    pub(crate) const fn kind(&self) -> &'static str {
        match self {
            Self::Null => "null",
            Self::Bool(_) => "true or false",
            Self::Number(_) => "a number",
            Self::Text(_) => "a text",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
            Self::Date => "a date",
        }
    }
}

/// Reads TOML. Faults of the language go to `problems`; what could be read is returned, and `None` where values are nested
/// deeper than the parser goes: what it makes of the rest says nothing of the file.
pub(crate) fn parse_toml(text: &str, problems: &mut Problems) -> Option<Node> {
    let lines = Lines::of(text);
    let (table, errors) = DeTable::parse_recoverable(text);
    let place = |error: &toml::de::Error| error.span().map(|span| lines.number(span.start));
    if let Some(error) = errors.iter().find(|error| TOO_DEEP.iter().any(|words| error.message().contains(words))) {
        let message = "tables or lists are nested too deeply".to_owned();
        problems.push(place(error), Fault::Syntax { language: "TOML", message });
        return None;
    }
    for error in errors {
        problems
            .push(place(&error), Fault::Syntax { language: "TOML", message: error.message().trim().to_lowercase() });
    }
    Some(Node { line: 1, value: toml_table(table.get_ref(), &lines) })
}

/// Reads JSON. `None` when it is not JSON, with the fault in `problems`.
pub(crate) fn parse_json(text: &str, problems: &mut Problems) -> Option<Node> {
    let lines = Lines::of(text);
    let strict = ParseOptions {
        allow_comments: false,
        allow_loose_object_property_names: false,
        allow_trailing_commas: false,
        allow_missing_commas: false,
        allow_single_quoted_strings: false,
        allow_hexadecimal_numbers: false,
        allow_unary_plus_numbers: false,
        allow_bare_decimal_point_numbers: false,
        allow_non_finite_numbers: false,
        allow_extended_string_escapes: false,
    };
    match jsonc_parser::parse_to_ast(text, &CollectOptions::default(), &strict) {
        Ok(result) => match result.value {
            Some(value) => Some(json_node(&value, &lines)),
            None => {
                problems.at(1, Fault::Syntax { language: "JSON", message: "the file is empty".to_owned() });
                None
            }
        },
        Err(error) => {
            let message = error.kind().to_string().to_lowercase();
            problems.at(lines.number(error.range().start), Fault::Syntax { language: "JSON", message });
            None
        }
    }
}

fn toml_table(table: &DeTable<'_>, lines: &Lines) -> Value {
    let mut entries: Vec<(usize, Entry)> = table
        .iter()
        .map(|(name, value)| {
            let start = name.span().start;
            let entry =
                Entry { name: name.get_ref().to_string(), line: lines.number(start), node: toml_node(value, lines) };
            (start, entry)
        })
        .collect();
    // the parser sorts by name; faults are listed in the order of the file
    entries.sort_by_key(|(start, _)| *start);
    Value::Table(entries.into_iter().map(|(_, entry)| entry).collect())
}

fn toml_node(value: &Spanned<DeValue<'_>>, lines: &Lines) -> Node {
    let Range { start, .. } = value.span();
    let content = match value.get_ref() {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(integer) => i64::from_str_radix(integer.as_str(), integer.radix())
            .ok()
            .and_then(|number| number.to_string().parse().ok())
            .map_or(Value::Number(f64::NAN), Value::Number),
        DeValue::Float(float) => Value::Number(float.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(is_true) => Value::Bool(*is_true),
        DeValue::Datetime(_) => Value::Date,
        DeValue::Array(elements) => Value::List(elements.iter().map(|element| toml_node(element, lines)).collect()),
        DeValue::Table(table) => toml_table(table, lines),
    };
    Node { line: lines.number(start), value: content }
}

fn json_node(value: &ast::Value<'_>, lines: &Lines) -> Node {
    let line = lines.number(value.range().start);
    let content = match value {
        ast::Value::NullKeyword(_) => Value::Null,
        ast::Value::BooleanLit(literal) => Value::Bool(literal.value),
        ast::Value::NumberLit(literal) => Value::Number(literal.value.parse().unwrap_or(f64::NAN)),
        ast::Value::StringLit(literal) => Value::Text(literal.value.to_string()),
        ast::Value::Array(array) => {
            Value::List(array.elements.iter().map(|element| json_node(element, lines)).collect())
        }
        ast::Value::Object(object) => Value::Table(
            object
                .properties
                .iter()
                .map(|property| Entry {
                    name: property.name.as_str().to_owned(),
                    line: lines.number(property.range.start),
                    node: json_node(&property.value, lines),
                })
                .collect(),
        ),
    };
    Node { line, value: content }
}

/// Where the lines of a text begin.
struct Lines {
    breaks: Vec<usize>,
}

impl Lines {
    fn of(text: &str) -> Self {
        Self { breaks: text.bytes().enumerate().filter(|(_, byte)| *byte == b'\n').map(|(at, _)| at).collect() }
    }

    /// The number, from 1, of the line that holds a byte.
    fn number(&self, byte: usize) -> usize {
        self.breaks.partition_point(|line_break| *line_break < byte) + 1
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    fn fields(node: &Node) -> Vec<(&str, usize)> {
        match &node.value {
            Value::Table(entries) => entries.iter().map(|entry| (entry.name.as_str(), entry.line)).collect(),
            _ => Vec::new(),
        }
    }

    #[test]
    fn fields_know_their_lines_in_both_languages() {
        let mut problems = Problems::new(Path::new("x"));
        let node = parse_toml("b = 1\n\n# a comment\na = 'x'\n", &mut problems).unwrap();
        assert_eq!(fields(&node), [("b", 1), ("a", 4)]);
        let node = parse_json("{\n \"b\": 1,\n\n \"a\": [1, 2]}", &mut problems).unwrap();
        assert_eq!(fields(&node), [("b", 2), ("a", 4)]);
        assert!(problems.into_list().is_empty());
    }

    #[test]
    fn integers_of_every_base_are_numbers() {
        let mut problems = Problems::new(Path::new("x"));
        let node = parse_toml("a = 0x1F\nb = 1_000", &mut problems).unwrap();
        let Value::Table(entries) = node.value else { panic!("a document is a table") };
        assert_eq!(entries[0].node.value, Value::Number(31.0));
        assert_eq!(entries[1].node.value, Value::Number(1000.0));
    }

    #[test]
    fn loose_json_is_refused_with_its_line() {
        for text in ["{\n\"a\": 1,\n}", "{\n\"a\": NaN}", "{\n'a': 1}", "{\n\"a\": 1} // note", "", "{\n\"a\": +1}"] {
            let mut problems = Problems::new(Path::new("x"));
            assert!(parse_json(text, &mut problems).is_none(), "{text}");
            assert_eq!(problems.into_list().len(), 1, "{text}");
        }
    }

    #[test]
    fn deep_nesting_is_refused_and_does_not_overflow_the_stack() {
        let mut problems = Problems::new(Path::new("x"));
        assert!(parse_json(&"[".repeat(100_000), &mut problems).is_none());
        assert_eq!(problems.into_list().len(), 1);
        // one sentence, whatever the parser makes of the rest
        let tables = || (1..300).map(|depth| format!("[a{}]\n", ".a".repeat(depth))).collect::<String>();
        for text in [format!("a = {}", "[".repeat(100_000)), format!("a = {}1", "{a=".repeat(300)), tables()] {
            let mut problems = Problems::new(Path::new("x"));
            assert!(parse_toml(&text, &mut problems).is_none());
            let found = problems.into_list();
            assert!(found.len() == 1 && found[0].to_string().ends_with("nested too deeply"), "{found:?}");
        }
    }
}
