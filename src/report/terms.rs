//! Every term explained once in plain words, and the paragraphs on method and limits.

use crate::report::checks;
use crate::report::content::{Table, Term};
use crate::report::input::{CaseFacts, ReportInput};
use crate::report::wording::{Unit, fixed, listed};
use crate::screen::{Call, VisitResult};

/// The terms that this report uses, in the order in which a reader meets them.
pub(crate) fn used(result: &VisitResult, case: &CaseFacts, tables: &[Table]) -> Vec<Term> {
    let margin = degrees(case.margin_deg);
    let has_row = |start: &str| tables.iter().flat_map(|table| &table.rows).any(|row| row.head.starts_with(start));
    let has_call = |call| result.comparisons.iter().any(|comparison| comparison.call == call);
    let mut terms = Vec::new();
    let mut push = |term, meaning: String| terms.push(Term { term, meaning });
    push("Reach", "the bar raised overhead as high as it goes, elbows straight.".to_owned());
    push("Internal, external", "shoulders turned inward, palms down; outward, palms up.".to_owned());
    push("Elevation", "angle from trunk to arm, seen from the side: 0° hanging, 180° overhead.".to_owned());
    push("Difference", "external minus internal; below zero, palms up is lower.".to_owned());
    if result.retest.is_some() {
        push("Change", "after the stretch minus before it.".to_owned());
    }
    push("95\u{a0}% interval", "holds the true value in 95 of 100 such measurements.".to_owned());
    if result.monte_carlo.is_some() {
        push(
            "First order",
            "the interval that follows from the fit by straight-line propagation of all errors.".to_owned(),
        );
        push("Simulated", "the interval of many repeats of the measurement with errors drawn at random.".to_owned());
    }
    push("Margin", format!("the smallest difference that counts, here {margin}."));
    push(
        "Fail, positive",
        "palms up is lower by the margin or more, and the whole interval lies below zero. Points to a short \
         latissimus dorsi, the broad muscle from the back to the upper arm."
            .to_owned(),
    );
    push("Pass, negative", "no part of the interval has palms up lower by more than the margin.".to_owned());
    if has_call(Call::Inconclusive) {
        push("Inconclusive", "neither of both can be said.".to_owned());
    }
    if has_call(Call::NotComparable) {
        push("Not comparable", "a failed check breaks the pair, so no call is made.".to_owned());
    }
    if has_row("Elevation from vertical") {
        push("From vertical", "the same angle from the plumb line instead of the trunk.".to_owned());
    }
    if has_row("Trunk lean") {
        push("Trunk lean", "angle of the trunk from the plumb line.".to_owned());
    }
    if has_row("Elbow flexion") {
        push("Elbow flexion", "bend of the elbow; straight arms show 5 to 15°, the carrying angle.".to_owned());
    }
    if has_row("Bar height") {
        push("Bar height", "height of the bar's middle. A second opinion, never the call.".to_owned());
        push("Arm length", "from shoulder to wrist.".to_owned());
    }
    if has_row("Grip width") {
        push("Grip width", "distance between the wrists along the bar.".to_owned());
    }
    if has_row("Image angle") {
        push("Image angle", "the angle as it lies in the picture, uncorrected.".to_owned());
    }
    push("End range", "the highest position that is held.".to_owned());
    push(
        "In doubt, unknown",
        "of a check: too near to its limit to be told, or to be read with care; not determined by these marks."
            .to_owned(),
    );
    terms
}

/// Method and limits, a paragraph each.
pub(crate) fn method(case: &CaseFacts, input: &ReportInput<'_>) -> Vec<String> {
    let ReportInput { found_bars, carried_marks, .. } = *input;
    let compared_marks = input.result.compared_pictures.map_or(0, |compared| compared.found);
    let mut paragraphs = vec![
        "Method. Marks were placed on the pictures at end range. One model of body, bar and camera is fitted to all marks \
         of the visit by least squares, and the uncertainty of every number follows from that fit. Errors that two \
         reaches share are carried into their difference, which can therefore be sharper than the reaches themselves."
            .to_owned(),
        "Limits. No published value exists for the difference between the two reaches of one person, nor for its error: \
         the tool rests on its own repeats. The margin and the limits of the checks are common practice without a \
         published source. Marks sit on skin that slides over the joint; that cancels in the difference of two like \
         reaches, not in a single angle. Near the top of the reach, bar height hardly moves with the angle."
            .to_owned(),
    ];
    if found_bars > 0 {
        let frames = if found_bars == 1 { "one frame".to_owned() } else { format!("{found_bars} frames") };
        paragraphs[0].push_str(&format!(
            " In {frames} the bar was found in the picture between the marks on its ends, to a fraction of a pixel, and counts in \
             their place."
        ));
    }
    if compared_marks > 0 {
        let times = if compared_marks == 1 { "Once".to_owned() } else { format!("{compared_marks} times") };
        paragraphs[0].push_str(&format!(
            " {times} the spot of a mark in one reach was found again in the picture of another, and counts there beside the mark. Clothes \
             that lie otherwise in the next reach move such spots: film in tight ones."
        ));
    }
    if carried_marks > 0 {
        let marks = if carried_marks == 1 { "One mark was" } else { &format!("{carried_marks} marks were") };
        paragraphs[0].push_str(&format!(
            " {marks} not placed by hand but carried from another reach, by finding the same spot in its picture again."
        ));
    }
    if !case.changed_limits.is_empty() {
        let limits: Vec<String> =
            case.changed_limits.iter().map(|(name, limit)| checks::limit_words(name, *limit)).collect();
        paragraphs.push(format!("Limits changed for this case: {}.", listed(&limits)));
    }
    paragraphs
}

fn degrees(deg: f64) -> String {
    format!("{}{}", fixed(deg, 1), Unit::Degree.suffix())
}
