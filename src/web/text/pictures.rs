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
pub fn compared(ComparedMarks { tried, found }: ComparedMarks, bars: usize) -> String {
    let mut words = COMPARED.to_owned();
    if tried > 0 {
        words.push_str(&match found {
            0 => format!(": none of {tried} marks was found again in another reach, so the marks count alone."),
            1 => format!(": 1 of {tried} marks was found again in another reach, and counts there beside the mark."),
            _ => format!(
                ": {found} of {tried} marks were found again in another reach, and count there beside the marks."
            ),
        });
    } else {
        words.push('.');
    }
    if bars > 0 {
        let pictures = if bars == 1 { "one picture".to_owned() } else { format!("{bars} pictures") };
        words.push_str(&format!(" The bar was found in {pictures} and counts in place of the marks on its ends."));
    }
    words
}
