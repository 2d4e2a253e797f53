//! How it stands with the pictures of a visit: the marks of one reach looked for in the others.

use crate::screen::ComparedMarks;

pub const COMPARED: &str = "Pictures compared";
pub const COMPARING: &str = "Comparing the pictures…";
pub const NO_MATCH: &str = "From the marks alone: no match found";
pub const NOT_COMPARED: &str = "From the marks alone: not compared";
pub const STILL_COMPARING: &str =
    "The pictures are still being compared: load this page again in a moment, and the numbers will be sharper.";
pub const MARKS_ALONE: &str = "The pictures were not compared, so the marks count alone.";

/// What the pictures did for the numbers: marks that were looked for and found in other reaches, and bars that were found.
#[must_use]
pub fn compared(marks: ComparedMarks, bars: usize) -> String {
    let mut words = marks.words();
    if bars > 0 {
        let pictures = if bars == 1 { "one picture".to_owned() } else { format!("{bars} pictures") };
        words.push_str(&format!(" The bar was found in {pictures} and counts in place of the marks on its ends."));
    }
    words
}
