//! The reasons and next steps of calls and retests, in plain words.

use crate::geometry::Side;
use crate::pose::{Rotation, View};
use crate::uncertainty::Measured;

use super::case::{LimitedBy, ReachEntry};
use super::compare::SecondOpinion;
use super::result::{Call, Occasion, ResultSide, RetestOutcome};
use super::words::{deg, deg_with_interval, occasion_words, rotated, view_words};

/// A failed check that breaks a comparison.
pub(crate) struct Broken {
    /// The reach that it is on; `None` for the pair.
    pub(crate) on: Option<String>,
    /// What the check found; what to do about it is the next step's to say.
    pub(crate) text: String,
}

/// What a call's sentences are made from.
pub(crate) struct CallFacts<'a> {
    pub(crate) occasion: Occasion,
    pub(crate) side: ResultSide,
    pub(crate) affected: ResultSide,
    pub(crate) call: Call,
    pub(crate) difference: Option<Measured>,
    pub(crate) undetermined: Option<String>,
    pub(crate) broken: &'a [Broken],
    pub(crate) margin_deg: f64,
    pub(crate) opinion: &'a SecondOpinion,
    pub(crate) view: View,
    pub(crate) is_single_raise: bool,
    /// Some reach has no mark at end range.
    pub(crate) is_unmarked: bool,
    /// Some reach has a mark that is far from where the others put it.
    pub(crate) has_doubtful_marks: bool,
    pub(crate) pain: Pain,
    /// The other occasion was filmed too.
    pub(crate) has_other_occasion: bool,
}

/// What pain at end range says about going on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Pain {
    /// None, or little that did not end the reach.
    Little,
    /// It ended a reach, or it is above [`PAIN_TO_GO_ON_MOST`].
    StopToday,
}

/// With more pain than this at end range nobody reaches again the same day, of 10. Common practice, no source.
pub(crate) const PAIN_TO_GO_ON_MOST: f64 = 3.0;

/// What would settle an open retest, at the end of its sentence; left out where nothing may be filmed.
pub(crate) const ANOTHER_RAISE: &str = ": another raise or another marking would tell";

/// Whether pain at end range, 0 to 10, and what ended the reach say that nobody reaches again the same day.
#[must_use]
pub fn pain_stops(pain: Option<f64>, limited_by: Option<LimitedBy>) -> bool {
    limited_by == Some(LimitedBy::Pain) || pain.is_some_and(|pain| pain > PAIN_TO_GO_ON_MOST)
}

impl Pain {
    /// Of reaches with what was noted of them.
    pub(crate) fn of<'a>(reaches: impl Iterator<Item = &'a ReachEntry>) -> Self {
        let is_too_much = |entry: &ReachEntry| pain_stops(entry.pain, entry.limited_by);
        if reaches.into_iter().any(is_too_much) { Self::StopToday } else { Self::Little }
    }
}

/// What a retest's sentence is made from.
pub(crate) struct RetestFacts<'a> {
    pub(crate) side: ResultSide,
    pub(crate) affected: ResultSide,
    pub(crate) outcome: RetestOutcome,
    pub(crate) change: Option<Measured>,
    pub(crate) undetermined: Option<String>,
    pub(crate) broken: &'a [Broken],
    pub(crate) margin_deg: f64,
    pub(crate) cleared: Option<bool>,
}

/// Why a call is as it is.
pub(crate) fn call_reason(facts: &CallFacts<'_>) -> String {
    let mut sentences = vec![match (facts.call, &facts.difference) {
        (Call::NotComparable, _) => format!("The two reaches do not compare. {}", broken_words(facts.broken)),
        (_, None) => format!(
            "The difference is not determined: {}.",
            facts.undetermined.as_deref().unwrap_or("the marks do not tell it")
        ),
        (Call::Inconclusive, Some(difference)) => format!(
            "{} The interval leaves open whether that is beyond the margin of {}.",
            difference_words(difference),
            deg(facts.margin_deg)
        ),
        (Call::Positive, Some(difference)) => {
            format!("{} That is beyond the margin of {}.", difference_words(difference), deg(facts.margin_deg))
        }
        (Call::Negative, Some(difference)) => format!(
            "{} It is not lower by more than the margin of {}.",
            difference_words(difference),
            deg(facts.margin_deg)
        ),
    }];
    sentences.extend(opinion_words(facts));
    sentences.extend(other_arm_words(facts.side, facts.affected));
    if facts.has_doubtful_marks && facts.call != Call::NotComparable {
        sentences.push(
            "Some marks are far from where the others put them: look at them before you rely on this.".to_owned(),
        );
    }
    sentences.join(" ")
}

/// A smaller difference is printed as none, deg.
const LEAST_SAID_DEG: f64 = 0.05;

fn difference_words(difference: &Measured) -> String {
    if difference.value.abs() < LEAST_SAID_DEG {
        let interval = deg_with_interval(difference);
        return format!(
            "The externally rotated reach is as high as the internally rotated one (difference {interval})."
        );
    }
    let way = if difference.value < 0.0 { "lower" } else { "higher" };
    format!(
        "The externally rotated reach is {} {way} than the internally rotated one (difference {}).",
        deg(difference.value.abs()),
        deg_with_interval(difference)
    )
}

fn opinion_words(facts: &CallFacts<'_>) -> Option<String> {
    if facts.opinion.is_blind {
        return Some(
            "Bar height has no say here: with the arms this near the vertical it hardly changes with the angle."
                .to_owned(),
        );
    }
    let says = facts.opinion.says?;
    let verdict = match says {
        Call::Positive => "positive",
        Call::Negative => "negative",
        Call::Inconclusive | Call::NotComparable => "inconclusive",
    };
    let is_contrary = matches!((facts.call, says), (Call::Positive, Call::Negative) | (Call::Negative, Call::Positive));
    Some(match (is_contrary, facts.call == says) {
        (true, _) => format!(
            "Bar height alone says {verdict}, against the angles: look at the trunk, the elbows and the datum in both reaches."
        ),
        (false, true) => format!("Bar height says the same ({verdict})."),
        (false, false) => format!("Bar height alone says {verdict}."),
    })
}

/// What to do after too much pain, before anything else.
const STOP_TODAY: &str = "It hurt too much: stop here and do not reach again today. See a licensed clinician if it does not settle, \
                          and film again only once the reach does not hurt.";

/// What to do about a call.
pub(crate) fn call_next_step(facts: &CallFacts<'_>) -> String {
    if facts.pain == Pain::StopToday {
        return STOP_TODAY.to_owned();
    }
    match (facts.call, facts.occasion) {
        (Call::NotComparable, _) => {
            "Put right what the failed checks name, then film both reaches again in one sitting.".to_owned()
        }
        (Call::Positive, Occasion::Before) if facts.has_other_occasion => {
            "The screen was failed before the stretch: the retest says what the stretch changed.".to_owned()
        }
        (Call::Positive, Occasion::Before) => {
            "The screen is failed: after the stretch, film the same two reaches again from the same place.".to_owned()
        }
        (Call::Positive, Occasion::After) if !facts.has_other_occasion => {
            "The screen is failed: screen again at the next visit, and see a clinician if that does not change."
                .to_owned()
        }
        (Call::Positive, Occasion::After) => {
            "The screen is still failed: screen again at the next visit, and see a clinician if that does not change."
                .to_owned()
        }
        (Call::Negative, occasion) if occasion == Occasion::Before || !facts.has_other_occasion => {
            "The screen is passed: keep it to compare later visits with.".to_owned()
        }
        (Call::Negative, _) => "The screen is passed now: see at the next visit whether that lasts.".to_owned(),
        (Call::Inconclusive, _) => settle(facts),
    }
}

/// What would settle an open call.
fn settle(facts: &CallFacts<'_>) -> String {
    if facts.is_unmarked {
        return "To settle it: mark each reach on a frame in which the bar is held at its highest.".to_owned();
    }
    let mut steps = Vec::new();
    if facts.view != View::Side {
        steps.push("film both reaches again from the side");
    }
    if facts.is_single_raise {
        steps.push("film three raises of each rotation");
    }
    if facts.difference.is_some() {
        steps.push("mark the same frames again, or carry the marks from one reach to the other");
    } else {
        steps.push("mark shoulder, elbow, wrist and hip of the near side and two points of the wall's edge");
    }
    format!("To settle it: {}.", steps.join("; "))
}

/// Why an occasion has no pair.
pub(crate) fn lacking_reason(missing: Option<Rotation>, occasion: Occasion) -> String {
    match missing {
        Some(rotation) => format!(
            "There is no {} reach {}, and the call needs both rotations.",
            rotated(rotation),
            occasion_words(occasion)
        ),
        None => format!("The two rotations {} were filmed from different views.", occasion_words(occasion)),
    }
}

/// What to do about an occasion without a pair.
pub(crate) fn lacking_next_step(missing: Option<Rotation>, view: View, pain: Pain) -> String {
    if pain == Pain::StopToday {
        return STOP_TODAY.to_owned();
    }
    match missing {
        Some(rotation) => {
            format!("Film the {} reach {} in the same sitting.", rotated(rotation), view_words(view))
        }
        None => "Film both rotations from the same place.".to_owned(),
    }
}

/// Why a retest came out as it did.
pub(crate) fn retest_reason(facts: &RetestFacts<'_>) -> String {
    let margin = deg(facts.margin_deg);
    let outcome = match (facts.outcome, &facts.change) {
        (RetestOutcome::NotComparable, _) => {
            format!("The externally rotated reaches do not compare. {}", broken_words(facts.broken))
        }
        (_, None) => format!(
            "The change is not determined: {}.",
            facts.undetermined.as_deref().unwrap_or("the marks do not tell it")
        ),
        (RetestOutcome::Improved, Some(change)) => {
            format!("{} That is the margin of {margin} or more.", change_words(change))
        }
        (RetestOutcome::Worse, Some(change)) => {
            format!("{} That is the margin of {margin} or more, the wrong way.", change_words(change))
        }
        (RetestOutcome::Unchanged, Some(change)) => {
            format!("{} That lies within the margin of {margin}.", change_words(change))
        }
        (RetestOutcome::Inconclusive, Some(change)) => format!(
            "{} The interval leaves open whether that is a change beyond the margin of {margin}{ANOTHER_RAISE}.",
            change_words(change)
        ),
    };
    let mut sentences = vec![outcome];
    if facts.cleared == Some(true) {
        sentences.push("The screen was positive before and is negative now: cleared.".to_owned());
    }
    sentences.extend(other_arm_words(facts.side, facts.affected));
    sentences.join(" ")
}

/// A sentence where the arm that was seen is not the affected one.
fn other_arm_words(side: ResultSide, affected: ResultSide) -> Option<String> {
    let seen = match side {
        ResultSide::Left => Side::Left,
        ResultSide::Right => Side::Right,
        ResultSide::Both => return None,
    };
    let (seen, other) = (seen.word(), seen.other().word());
    match affected {
        ResultSide::Both => Some(format!("This is the {seen} arm alone; the {other} side is affected too.")),
        one if one != side => Some(format!("The camera saw the {seen} arm; the affected side is the {other}.")),
        _ => None,
    }
}

fn change_words(change: &Measured) -> String {
    let way = if change.value < 0.0 { "lower" } else { "higher" };
    format!(
        "After the stretch the externally rotated reach is {} {way} (change {}).",
        deg(change.value.abs()),
        deg_with_interval(change)
    )
}

fn broken_words(broken: &[Broken]) -> String {
    let texts: Vec<String> = broken
        .iter()
        .map(|check| match &check.on {
            Some(on) => format!("On the {on}: {}", check.text),
            None => check.text.clone(),
        })
        .collect();
    texts.join(" ")
}
