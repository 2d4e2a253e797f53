//! `/visits/{id}/result`.

pub const TITLE: &str = "Result";
/// Cautions head every result. Common practice, no source.
pub const CAUTIONS: [&str; 3] = [
    "This measures a movement. It is not a diagnosis and does not replace an examination.",
    "Stop at once if the reach or the stretch hurts.",
    "See a licensed clinician first for numbness, weakness, a pop, swelling, fever, pain at night, or a recent injury or \
     operation.",
];
pub const WARNINGS: &str = "About the clips";
pub const NOTHING: &str = "Nothing to compare yet";
pub const NOTHING_TEXT: &str =
    "A call needs both reaches of one occasion, palms down and palms up, each with its marks.";
pub const DIFFERENCE: &str = "external minus internal";
pub const INTERVAL: &str = "95 % interval";
pub const MARGIN: &str = "margin";
pub const NEXT: &str = "Next:";
pub const RETEST: &str = "Retest";
pub const CLEARED: &str = "external reach; screen cleared";
pub const NOT_CLEARED: &str = "external reach; screen not cleared";
pub const EXTERNAL_REACH: &str = "external reach";
pub const CHANGE: &str = "external reach, after minus before";
pub const CHANGE_DIFFERENCE: &str = "The difference changed by";
pub const REACHES: &str = "Each reach";
pub const ELEVATION: &str = "Elevation at the top";
pub const NO_ANGLE: &str = "No angle yet";
/// Why an angle is not from the trunk.
pub const FROM_PLUMB_LINE: &str =
    "Measured from the plumb line: from the front these marks do not tell how the trunk leans.";
pub const CHECKS: &str = "Checks";
pub const ALL_OK: &str = "Every check is in order.";
pub const NOT_RELIABLE: &str = "not to be relied on";
pub const CORRECT: &str = "Correct the marks";
pub const REPORT: &str = "Report";
pub const PDF: &str = "Report as PDF, A4";
pub const PDF_LETTER: &str = "PDF, US Letter";
pub const HTML: &str = "Report as a web page";
pub const EXPORT: &str = "Case, marks and clips (.zip)";
pub const FIGURES: &str = "More numbers";
pub const PAIR: &str = "the pair";
pub const STILL: &str = "The reach at its highest, with the fitted lines";

/// Why there is no call, where the other clip is there.
#[must_use]
pub fn not_measured_yet(reach: &str) -> String {
    format!("The {reach} is not measured yet, and the call needs both rotations.")
}

/// What to do about a clip without all its marks.
#[must_use]
pub fn finish_marks(reach: &str) -> String {
    format!("Place the marks of the {reach}, or see beside it what keeps it from being measured.")
}

/// What to do about a clip whose palms face the other way.
#[must_use]
pub fn exchange(reach: &str) -> String {
    format!(
        "Say again which way the palms face in the {reach}, and exchange the clips if they are in each other's place."
    )
}

/// Why a call is not to be leaned on yet.
#[must_use]
pub fn palms_open(reaches: &str) -> String {
    format!(
        "Nobody has said yet which way the palms face in the {reaches}: if clips were exchanged, the call is wrong."
    )
}

/// What to do about it.
#[must_use]
pub fn look_at_palms(reaches: &str) -> String {
    format!("First say on the visit's sheet which way the palms face in the {reaches}.")
}

/// Why a call is not to be leaned on, where somebody looked and could not tell.
#[must_use]
pub fn palms_unclear(reaches: &str) -> String {
    format!(
        "The picture does not show which way the palms face in the {reaches}: the call takes the word of whoever brought the \
         clip in, and is wrong if clips were exchanged."
    )
}

/// What to do about that.
#[must_use]
pub fn settle_palms(reaches: &str) -> String {
    format!(
        "First settle with whoever filmed which way the palms face in the {reaches}, and say it on the visit's sheet."
    )
}

/// What the PDF cannot print.
#[must_use]
pub fn boxes(letters: &str) -> String {
    format!(
        "The PDF's typeface has no sign for {letters}, as in the client's code or a clinician's reason: the PDF shows boxes \
         there. The web page shows them."
    )
}

/// How many checks are in order.
#[must_use]
pub fn in_order(count: usize) -> String {
    if count == 1 { "1 check is in order".to_owned() } else { format!("{count} checks are in order") }
}
