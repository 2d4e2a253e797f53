//! Numbers and names in sentences.

use crate::geometry::Side;
use crate::pose::{Rotation, View};

use crate::uncertainty::Measured;

use super::case::ReachEntry;
use super::result::{Occasion, ResultSide};

/// Shares beyond this are said in words, %: a mark is astray then, and digits would say nothing.
pub(crate) const PERCENT_MAX: f64 = 100.0;

/// The text with its first letter made a capital.
pub(crate) fn capitalized(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// A number with `digits` decimals and a real minus sign, never "−0.0".
pub(crate) fn decimal(value: f64, digits: usize) -> String {
    let text = format!("{:.*}", digits, value.abs());
    let is_zero = text.bytes().all(|byte| matches!(byte, b'0' | b'.'));
    if value < 0.0 && !is_zero { format!("−{text}") } else { text }
}

/// An angle, to a tenth.
pub(crate) fn deg(value: f64) -> String {
    format!("{}\u{a0}deg", decimal(value, 1))
}

/// An interval of angles.
pub(crate) fn deg_interval(lo: f64, hi: f64) -> String {
    format!("{} to {}\u{a0}deg", decimal(lo, 1), decimal(hi, 1))
}

/// An angle with its interval.
pub(crate) fn deg_with_interval(measured: &Measured) -> String {
    let interval = deg_interval(measured.lo, measured.hi);
    format!("{}, 95\u{a0}% interval {interval}", deg(measured.value))
}

/// Which reach, such as `internally rotated reach before the stretch`.
pub(crate) fn reach_name(rotation: Rotation, occasion: Occasion) -> String {
    format!("{} reach {}", rotated(rotation), occasion_words(occasion))
}

/// Which reach a sentence is about, at its start, such as `Internally rotated reach before the stretch`. The side view is the usual one.
pub(crate) fn reach_head(entry: &ReachEntry) -> String {
    capitalized(&reach_words(entry))
}

/// Which reach, within a sentence.
pub(crate) fn reach_words(entry: &ReachEntry) -> String {
    format!("{}{}", reach_name(entry.rotation, entry.occasion), seen_from(entry))
}

fn seen_from(entry: &ReachEntry) -> String {
    if entry.view == View::Side { String::new() } else { format!(", seen {}", view_words(entry.view)) }
}

/// How the shoulders are turned.
pub(crate) const fn rotated(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => "internally rotated",
        Rotation::External => "externally rotated",
    }
}

/// When.
pub(crate) const fn occasion_words(occasion: Occasion) -> &'static str {
    match occasion {
        Occasion::Before => "before the stretch",
        Occasion::After => "after the stretch",
    }
}

/// From where.
pub(crate) const fn view_words(view: View) -> &'static str {
    match view {
        View::Side => "from the side",
        View::Front => "from the front",
        View::Oblique => "obliquely",
    }
}

/// The one side of a result, unless it is of both.
pub(crate) const fn single_side(side: ResultSide) -> Option<Side> {
    match side {
        ResultSide::Left => Some(Side::Left),
        ResultSide::Right => Some(Side::Right),
        ResultSide::Both => None,
    }
}
