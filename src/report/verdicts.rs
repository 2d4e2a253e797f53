//! The calls and the retest in words: what stands at the head of the page.

use crate::pose::Rotation;
use crate::report::gauge::{self, Gauge};
use crate::report::input::CaseFacts;
use crate::report::wording::{
    Sign, Unit, call_in_sentence, call_trade_words, call_word, capitalized, interval, occasion_heading, outcome_word,
    rotation_word, side_word, value,
};
use crate::screen::{Call, Comparison, Occasion, ResultSide, Retest, VisitResult};
use crate::uncertainty::Measured;

/// One verdict: a call, or what became of the reach after the stretch.
#[derive(Debug, Clone)]
pub(crate) struct Verdict {
    /// What it speaks of, such as "Before the stretch".
    pub heading: String,
    /// The verdict in a word that a client understands.
    pub word: &'static str,
    /// The trade's words beside it.
    pub trade_words: &'static str,
    /// The number that it rests on.
    pub figure: Option<Figure>,
    /// The number against the margin.
    pub gauge: Option<Gauge>,
    /// Reason and further facts, a sentence or two each.
    pub lines: Vec<String>,
    /// What would settle or mend it.
    pub next_step: Option<String>,
}

/// A large number.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Figure {
    /// The estimate with unit.
    pub value: String,
    /// Its interval.
    pub interval: String,
    /// What it is.
    pub what: &'static str,
}

/// The verdicts of a visit: before, after, retest. An occasion without a pair says so.
pub(crate) fn of_visit(result: &VisitResult, case: &CaseFacts) -> Vec<Verdict> {
    let mut verdicts: Vec<Verdict> =
        [Occasion::Before, Occasion::After].into_iter().map(|occasion| of_occasion(result, case, occasion)).collect();
    if let Some(retest) = &result.retest {
        verdicts.push(of_retest(retest, case));
    }
    verdicts
}

/// The comparison that speaks for an occasion: that of the screened side, else the first.
pub(crate) fn leading(result: &VisitResult, occasion: Occasion, side: ResultSide) -> Option<&Comparison> {
    let mut of_occasion = result.comparisons.iter().filter(|comparison| comparison.occasion == occasion);
    of_occasion.clone().find(|comparison| comparison.side == side).or_else(|| of_occasion.next())
}

fn of_occasion(result: &VisitResult, case: &CaseFacts, occasion: Occasion) -> Verdict {
    let heading = occasion_heading(occasion).to_owned();
    let Some(comparison) = leading(result, occasion, case.affected_side) else {
        return Verdict {
            heading,
            word: "No pair",
            trade_words: "no call",
            figure: None,
            gauge: None,
            lines: vec![missing_pair(result, occasion)],
            next_step: None,
        };
    };
    let mut lines = vec![comparison.reason.clone()];
    lines.extend(second_opinion(comparison));
    let others: Vec<&Comparison> = result
        .comparisons
        .iter()
        .filter(|other| other.occasion == occasion && !std::ptr::eq(*other, comparison))
        .collect();
    lines.extend(others.iter().map(|other| other_side(other)));
    Verdict {
        heading: if others.is_empty() { heading } else { format!("{heading}, {}", sides(comparison.side)) },
        word: call_word(comparison.call),
        trade_words: call_trade_words(comparison.call),
        figure: comparison.difference_elevation_deg.map(|d| figure(d, "external minus internal")),
        gauge: comparison.difference_elevation_deg.and_then(|d| gauge::of_difference(d, case.margin_deg)),
        lines: lines.into_iter().filter(|line| !line.is_empty()).collect(),
        next_step: Some(comparison.next_step.clone()).filter(|step| !step.is_empty()),
    }
}

fn of_retest(retest: &Retest, case: &CaseFacts) -> Verdict {
    let mut lines = vec![retest.reason.clone()];
    match retest.cleared {
        Some(true) => lines.push("Cleared: positive before the stretch, negative after it.".to_owned()),
        Some(false) => lines.push("Not cleared.".to_owned()),
        None => {}
    }
    if let Some(change) = retest.change_difference_deg {
        lines.push(format!(
            "The difference changed by {} ({}).",
            value(change, Unit::Degree, Sign::Always),
            interval(change, Unit::Degree, Sign::Always)
        ));
    }
    Verdict {
        heading: "Retest".to_owned(),
        word: outcome_word(retest.outcome),
        trade_words: "external reach, after against before",
        figure: retest.change_elevation_deg.map(|change| figure(change, "after minus before")),
        gauge: retest.change_elevation_deg.and_then(|change| gauge::of_change(change, case.margin_deg)),
        lines: lines.into_iter().filter(|line| !line.is_empty()).collect(),
        next_step: None,
    }
}

fn figure(measured: Measured, what: &'static str) -> Figure {
    Figure {
        value: value(measured, Unit::Degree, Sign::Always),
        interval: format!("95\u{a0}% interval {}", interval(measured, Unit::Degree, Sign::Always)),
        what,
    }
}

fn missing_pair(result: &VisitResult, occasion: Occasion) -> String {
    let has = |rotation| result.reaches.iter().any(|reach| reach.occasion == occasion && reach.rotation == rotation);
    let missing = match (has(Rotation::Internal), has(Rotation::External)) {
        (true, true) => return "The two reaches of this occasion were not compared.".to_owned(),
        (false, false) => {
            return match occasion {
                Occasion::Before => "No reach before the stretch was given.".to_owned(),
                Occasion::After => "No reach after the stretch was given, so there is no retest.".to_owned(),
            };
        }
        (true, false) => Rotation::External,
        (false, true) => Rotation::Internal,
    };
    format!("The {} reach is missing, and a call needs both rotations.", rotation_word(missing))
}

fn second_opinion(comparison: &Comparison) -> Option<String> {
    let says = comparison.bar_height_says?;
    Some(if says == comparison.call {
        "Bar height, the second opinion, agrees.".to_owned()
    } else if matches!(says, Call::Inconclusive | Call::NotComparable) {
        "Bar height, the second opinion, cannot tell.".to_owned()
    } else if matches!(comparison.call, Call::Positive | Call::Negative) {
        format!("Bar height disagrees: it says {}. The angle makes the call.", call_in_sentence(says))
    } else {
        format!("Bar height alone says {}; it never makes the call.", call_in_sentence(says))
    })
}

fn other_side(comparison: &Comparison) -> String {
    let side = capitalized(sides(comparison.side));
    let call = call_in_sentence(comparison.call);
    match comparison.difference_elevation_deg {
        Some(d) => format!(
            "{side}: {call}, {} ({}).",
            value(d, Unit::Degree, Sign::Always),
            interval(d, Unit::Degree, Sign::Always)
        ),
        None => format!("{side}: {call}."),
    }
}

const fn sides(side: ResultSide) -> &'static str {
    match side {
        ResultSide::Both => "mean of both sides",
        ResultSide::Left | ResultSide::Right => side_word(side),
    }
}
