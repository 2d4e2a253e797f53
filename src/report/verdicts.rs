//! The calls and the retest in words: what stands at the head of the page.

use crate::pose::Rotation;
use crate::report::gauge::{self, Gauge};
use crate::report::input::CaseFacts;
use crate::report::wording::{
    Sign, Unit, call_in_sentence, call_trade_words, call_word, interval, occasion_heading, outcome_word, rotation_word,
    side_word, typeset, value,
};
use crate::screen::words::capitalized;
use crate::screen::{Call, Comparison, Occasion, ResultSide, Retest, RetestOutcome, VisitResult};
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
    /// A failed check breaks the comparison, so the number should not stand out.
    pub is_broken: bool,
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
        let is_filmed = result.reaches.iter().any(|reach| reach.occasion == occasion);
        return Verdict {
            heading,
            word: if is_filmed { "No pair" } else { "Not filmed" },
            trade_words: "no call",
            figure: None,
            gauge: None,
            lines: vec![missing_pair(result, occasion)],
            next_step: None,
        };
    };
    let mut lines = vec![typeset(&comparison.reason)];
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
        figure: comparison
            .difference_elevation_deg
            .map(|d| figure(d, "external minus internal", comparison.call == Call::NotComparable)),
        gauge: comparison
            .difference_elevation_deg
            .filter(|_| comparison.call != Call::NotComparable)
            .and_then(|d| gauge::of_difference(d, case.margin_deg)),
        lines: lines.into_iter().filter(|line| !line.is_empty()).collect(),
        next_step: Some(typeset(&comparison.next_step)).filter(|step| !step.is_empty()),
    }
}

fn of_retest(retest: &Retest, case: &CaseFacts) -> Verdict {
    let mut lines = vec![typeset(&retest.reason)];
    let is_broken = retest.outcome == RetestOutcome::NotComparable;
    if let Some(change) = retest.change_difference_deg.filter(|_| !is_broken) {
        lines.push(format!(
            "The difference changed by {} ({}).",
            value(change, Unit::Degree, Sign::Always),
            interval(change, Unit::Degree, Sign::Always)
        ));
    }
    Verdict {
        heading: "Retest".to_owned(),
        word: outcome_word(retest.outcome),
        trade_words: match retest.cleared {
            Some(true) => "external reach; screen cleared",
            Some(false) => "external reach; screen not cleared",
            None => "external reach",
        },
        figure: retest
            .change_elevation_deg
            .map(|change| figure(change, "after minus before", retest.outcome == RetestOutcome::NotComparable)),
        gauge: retest
            .change_elevation_deg
            .filter(|_| retest.outcome != RetestOutcome::NotComparable)
            .and_then(|change| gauge::of_change(change, case.margin_deg)),
        lines: lines.into_iter().filter(|line| !line.is_empty()).collect(),
        next_step: None,
    }
}

fn figure(measured: Measured, what: &'static str, is_broken: bool) -> Figure {
    Figure {
        value: value(measured, Unit::Degree, Sign::Always),
        interval: if is_broken {
            "not to be relied on".to_owned()
        } else {
            format!("95\u{a0}% interval {}", interval(measured, Unit::Degree, Sign::Always))
        },
        what,
        is_broken,
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
