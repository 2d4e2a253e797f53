//! The checks of one reach.

use std::collections::BTreeSet;

use crate::geometry::{Landmark, Side};
use crate::pose::{MarkResidual, Quantity, ReachObservations};
use crate::screen::case::{LimitedBy, ReachEntry};
use crate::screen::limits::CheckLimits;
use crate::screen::pooled::{Combine, Raising, number};
use crate::screen::result::{Check, CheckStatus};
use crate::screen::seen::{angle_through_front, facing, seen_points};
use crate::screen::sentences::PAIN_TO_GO_ON_MOST;
use crate::screen::words::{decimal, deg};
use crate::uncertainty::Measured;

use super::view::view_as_stated;
use super::{against, deg_limit, filming_order, limit_words, magnitude, not_determined, plain, status_below, unknown};

/// The shortest hold that marks can show, s. Common practice, no source.
const HOLD_S: f64 = 0.3;

/// At most so many marks are named in one sentence.
const NAMED_MAX: usize = 3;

/// A mark that may be bad, but is nearer to where the others put it than this share of what the worst one is off, is bad only if that
/// one is not.
const INSTEAD_RATIO: f64 = 0.3;
/// A mark within so many of its standard uncertainties lies where the others put it: it is doubted for what other reaches say.
const NEAR_US: f64 = 1.0;

/// What the checks of a reach look at.
pub(crate) struct ReachEvidence<'a> {
    pub(crate) index: usize,
    pub(crate) entry: &'a ReachEntry,
    pub(crate) observed: &'a ReachObservations,
    /// The elbow flexion that counts, or why there is none.
    pub(crate) elbow_flexion: Result<Measured, String>,
    pub(crate) limits: &'a CheckLimits,
}

/// All checks of a reach, in the order of the format.
pub(crate) fn reach_checks<F: Combine>(evidence: &ReachEvidence<'_>, raising: &Raising<'_, F>) -> Vec<Check> {
    vec![
        elbow_straight(evidence, raising.fit.residuals()),
        bar_level(evidence, raising),
        view_as_stated(evidence.observed),
        marks_agree(evidence, raising.fit.residuals()),
        pain_free(evidence),
        back_flat(evidence.entry),
        held(evidence),
    ]
}

fn elbow_straight(evidence: &ReachEvidence<'_>, residuals: &[MarkResidual]) -> Check {
    let limit = evidence.limits.elbow_straight;
    match &evidence.elbow_flexion {
        Err(reason) => unknown("elbow_straight", Some(limit), not_determined("Elbow", reason)),
        Ok(flexion) => {
            let found = format!("The elbow is bent by {}{}", deg(flexion.value), deg_limit(flexion, limit));
            let text = match status_below(flexion, limit) {
                CheckStatus::Fail if is_elbow_named(evidence, residuals) => {
                    let mark = ". Its mark may be on the wrong spot: look at that first. A bent elbow lowers the bar";
                    found + mark + filming_order("elbow_straight")
                }
                CheckStatus::Fail => found + "; a bent elbow lowers the bar" + filming_order("elbow_straight"),
                CheckStatus::Warn => found + ". Watch the elbow, or mark shoulder, elbow and wrist again.",
                CheckStatus::Ok | CheckStatus::Unknown => found + ".",
            };
            against("elbow_straight", flexion, limit, text)
        }
    }
}

/// Whether an elbow's mark may be on the wrong spot: a bend is measured with it all the same.
fn is_elbow_named(evidence: &ReachEvidence<'_>, residuals: &[MarkResidual]) -> bool {
    let of_reach = residuals.iter().filter(|residual| residual.reach == evidence.index);
    of_reach.filter(|residual| residual.is_disagreeing).any(|residual| matches!(residual.landmark, Landmark::Elbow(_)))
}

fn bar_level<F: Combine>(evidence: &ReachEvidence<'_>, raising: &Raising<'_, F>) -> Check {
    let limit = evidence.limits.bar_level;
    match raising.of_reach(evidence.index, Quantity::BarTilt) {
        Err(undetermined) => unknown("bar_level", Some(limit), not_determined("Tilt", &undetermined.reason)),
        Ok(tilt) => {
            let signed = tilt.measured();
            let tilt = magnitude(&signed);
            let higher = if signed.value > 0.0 { Side::Right } else { Side::Left };
            let found = format!("The bar's {higher} end is higher by {}{}", deg(tilt.value), deg_limit(&tilt, limit));
            let advice = match status_below(&tilt, limit) {
                CheckStatus::Fail | CheckStatus::Warn => {
                    ". One arm reaches higher than the other, or the bar slips: look at both sides."
                }
                CheckStatus::Ok | CheckStatus::Unknown => ".",
            };
            against("bar_level", &tilt, limit, found + advice)
        }
    }
}

fn marks_agree(evidence: &ReachEvidence<'_>, residuals: &[MarkResidual]) -> Check {
    let limit = evidence.limits.marks_agree;
    if evidence.observed.frames.iter().all(|frame| frame.marks.is_empty()) {
        return unknown("marks_agree", limit, "Nothing is marked at end range.");
    }
    let of_reach = residuals.iter().filter(|residual| residual.reach == evidence.index);
    let measured =
        |residual: &MarkResidual| magnitude(&Measured::from_u(residual.distance_px, residual.u_px, f64::INFINITY));
    let is_off = |residual: &MarkResidual| match limit {
        None => residual.is_disagreeing,
        Some(limit) => status_below(&measured(residual), limit) != CheckStatus::Ok,
    };
    let mut off: Vec<&MarkResidual> =
        of_reach.filter(|residual| is_off(residual) && !is_said_of_another(residual, residuals, is_off)).collect();
    off.sort_by(|a, b| b.distance_px.total_cmp(&a.distance_px));
    // a landmark that is off on several frames is named by the worst of them
    let mut landmarks = BTreeSet::new();
    off.retain(|residual| landmarks.insert((residual.landmark, residual.is_placed)));
    let Some(worst) = off.first().copied() else {
        return Check { limit, ..plain("marks_agree", CheckStatus::Ok, "The marks agree with each other.") };
    };
    let (split, off): (Vec<&MarkResidual>, Vec<&MarkResidual>) =
        off.into_iter().partition(|residual| residual.is_contradicted && limit.is_none());
    if !split.is_empty() {
        return Check { limit, ..plain("marks_agree", CheckStatus::Fail, contradicted_words(&split, &off)) };
    }
    if limit.is_none() && worst.distance_px < NEAR_US * worst.u_px {
        return Check { limit, ..plain("marks_agree", CheckStatus::Warn, doubted_words(&off)) };
    }
    // With the likeliest bad marks out, one that may be bad in their place lies where the others put it.
    let (off, instead): (Vec<&MarkResidual>, Vec<&MarkResidual>) =
        off.into_iter().partition(|residual| residual.distance_px >= INSTEAD_RATIO * worst.distance_px);
    let instead: Vec<&str> = instead.iter().take(NAMED_MAX).map(|residual| residual.landmark.words()).collect();
    let instead = match instead[..] {
        [] => String::new(),
        _ => format!("; or else the {} is the wrong one", instead.join(" or the ")),
    };
    let named: Vec<String> = off
        .iter()
        .take(NAMED_MAX)
        .map(|residual| {
            let is_beside = !residual.is_placed && placed_beside(residual, residuals).is_some();
            let found = if is_beside { " as found again in this picture" } else { "" };
            format!("{}{found} is {} px", residual.landmark.words(), decimal(residual.distance_px, 0))
        })
        .collect();
    let more = if off.len() > NAMED_MAX { format!(", and {} more", off.len() - NAMED_MAX) } else { String::new() };
    // What was set aside is what the fit took for bad; a limit of the visit's own names marks that count all the same.
    let is_set_aside = off.iter().all(|residual| residual.is_disagreeing);
    let advice = match (off.len(), is_set_aside) {
        _ if off.iter().all(|residual| !residual.is_placed && placed_beside(residual, residuals).is_some()) => {
            "What is found so and lies elsewhere is weighed down: clothes may lie otherwise there, or something hides the spot."
        }
        (1, true) => {
            "It is weighed down, and what the numbers may owe to it is in their intervals: look at it and mark it again."
        }
        (_, true) => {
            "They are weighed down, and what the numbers may owe to them is in their intervals: look at them and mark them again."
        }
        (1, false) => "Look at it and mark it again.",
        (_, false) => "Look at them and mark them again.",
    };
    let limit_said = limit.map_or_else(String::new, |limit| match off.len() {
        1 => limit_words(&measured(worst), limit, |px| decimal(px, 0), " px"),
        _ => format!("; limit {} px", decimal(limit, 0)),
    });
    let text =
        format!("The {} from where the other marks put it{more}{limit_said}{instead}. {advice}", named.join(", the "));
    // what a person placed can be mended
    let named = if off.iter().any(|residual| residual.is_placed || placed_beside(residual, residuals).is_none()) {
        CheckStatus::Fail
    } else {
        CheckStatus::Warn
    };
    let status = limit.map_or(named, |limit| status_below(&measured(worst), limit));
    let (value, u) = (Some(worst.distance_px), Some(worst.u_px));
    Check { name: "marks_agree".to_owned(), status, value, u, limit, text }
}

/// What is said of marks that lie where the others put them, and may yet be the wrong ones: other reaches have them elsewhere.
fn doubted_words(off: &[&MarkResidual]) -> String {
    let named = listed(off);
    format!(
        "The {named} may be on another spot than in other reaches: the marks contradict each other, and do not tell which are wrong. Look at the \
         {named} in every reach, and mark what is wrong again."
    )
}

fn listed(residuals: &[&MarkResidual]) -> String {
    let words: Vec<&str> = residuals.iter().take(NAMED_MAX).map(|residual| residual.landmark.words()).collect();
    words.join(" and the ")
}

/// What is said of marks that are not all on one spot, beside others that are off. Either side may be the wrong one, so that no distance says
/// anything.
fn contradicted_words(split: &[&MarkResidual], off: &[&MarkResidual]) -> String {
    let others = if off.is_empty() { String::new() } else { format!(" Look at the {}, too.", listed(off)) };
    let (is, it, one) = if split.len() == 1 { ("is", "it", "one") } else { ("are", "them", "ones") };
    format!(
        "The pictures show that the {} {is} marked on another spot than in other reaches, and not which {is} the wrong {one}. What the \
         numbers may owe to that is in their intervals: look at {it} in each reach, and mark the wrong {one} again.{others}",
        listed(split)
    )
}

/// The mark that a person placed where this one was brought to.
fn placed_beside<'a>(brought: &MarkResidual, residuals: &'a [MarkResidual]) -> Option<&'a MarkResidual> {
    residuals.iter().find(|other| {
        other.is_placed
            && (other.reach, other.frame, other.landmark) == (brought.reach, brought.frame, brought.landmark)
    })
}

/// Whether a mark that was followed or carried is off because the one beside it is, or the one that it comes from: whoever reads of it
/// twice would look for a second fault.
fn is_said_of_another(
    residual: &MarkResidual,
    residuals: &[MarkResidual],
    is_off: impl Fn(&MarkResidual) -> bool,
) -> bool {
    if residual.is_placed {
        return false;
    }
    if residual.is_carried_on {
        let is_here = |other: &MarkResidual| (other.reach, other.frame) == (residual.reach, residual.frame);
        let mut followed = residuals.iter().filter(|other| other.landmark == residual.landmark && !other.is_carried_on);
        return followed.any(|other| (is_here(other) || other.origin == residual.origin) && is_off(other));
    }
    let is_source =
        |other: &&MarkResidual| other.is_placed && other.origin.is_some() && other.origin == residual.origin;
    placed_beside(residual, residuals).is_some_and(&is_off) || residuals.iter().filter(is_source).any(is_off)
}

fn pain_free(evidence: &ReachEvidence<'_>) -> Check {
    let ReachEntry { pain, limited_by, .. } = evidence.entry;
    let limit = evidence.limits.pain_free;
    let is_beyond = matches!((pain, limit), (Some(pain), Some(limit)) if *pain > limit);
    let of_ten = pain.map(|pain| format!("{} of 10", decimal(pain, 0)));
    let (status, text) = match (limited_by, of_ten) {
        (Some(LimitedBy::Pain), _) => (
            CheckStatus::Fail,
            "Pain ended this reach, so it says nothing of length. Stop, and do not repeat it into pain.".to_owned(),
        ),
        (_, Some(pain)) if is_beyond => {
            (CheckStatus::Fail, format!("Pain of {pain} at end range is beyond the limit set for this visit. Stop."))
        }
        (_, Some(of_ten)) if pain.is_some_and(|pain| pain > 0.0) => {
            let ended = match limited_by {
                Some(_) => "though something else ended the reach",
                None => "and what ended the reach was not noted",
            };
            let advice =
                if pain.is_some_and(|pain| pain > PAIN_TO_GO_ON_MOST) { "stop here" } else { "read it with care" };
            (CheckStatus::Warn, format!("Pain of {of_ten} at end range, {ended}: {advice}."))
        }
        (None, None) => {
            (CheckStatus::Unknown, "Neither pain nor what ended the reach was noted: ask, and note it.".to_owned())
        }
        _ => (CheckStatus::Ok, "Pain did not end this reach.".to_owned()),
    };
    Check { value: *pain, limit, ..plain("pain_free", status, text) }
}

fn back_flat(entry: &ReachEntry) -> Check {
    match entry.back_flat {
        Some(true) => plain("back_flat", CheckStatus::Ok, "Low back and ribs stayed flat, as was seen."),
        Some(false) => plain(
            "back_flat",
            CheckStatus::Fail,
            format!("Low back or ribs lifted, which raises the bar without length{}", filming_order("back_flat")),
        ),
        None => plain(
            "back_flat",
            CheckStatus::Unknown,
            "Nobody confirmed that low back and ribs stayed flat: watch for it, and note back_flat in the case.",
        ),
    }
}

fn held(evidence: &ReachEvidence<'_>) -> Check {
    let limit = evidence.limits.held;
    let observed = evidence.observed;
    let raises = observed.frames.iter().map(|frame| frame.raise).max().map_or(0, |last| last + 1);
    if let Some(check) = held_as_followed(observed, limit) {
        return check;
    }
    let movement = (0..raises)
        .flat_map(|raise| Side::BOTH.map(|side| (raise, side)))
        .filter_map(|(raise, side)| movement_of_raise(observed, raise, side))
        .max_by(|a, b| a.value.total_cmp(&b.value));
    match movement {
        None => unknown("held", Some(limit), "One marked frame does not show whether the reach was held."),
        Some(movement) => {
            let found =
                format!("The arm moves by {} while at end range{}", deg(movement.value), deg_limit(&movement, limit));
            let advice = match status_below(&movement, limit) {
                CheckStatus::Fail | CheckStatus::Warn => ". A swing goes past the end range: hold for a second.",
                CheckStatus::Ok | CheckStatus::Unknown => ".",
            };
            against("held", &movement, limit, found + advice)
        }
    }
}

/// What following showed; `None` where nothing was followed.
fn held_as_followed(observed: &ReachObservations, limit: f64) -> Option<Check> {
    let motions = || observed.frames.iter().filter_map(|frame| frame.motion);
    let turned_deg = motions().map(|motion| motion.turned_deg).max_by(f64::total_cmp)?;
    let is_held = motions().all(|motion| motion.is_held);
    let (status, text) = if is_held {
        let held = format!("The arm was held at end range, turning by {} meanwhile", deg(turned_deg));
        if turned_deg > limit {
            (CheckStatus::Warn, format!("{held}, more than the limit of {}: hold it stiller.", deg(limit)))
        } else {
            (CheckStatus::Ok, format!("{held}; limit {}.", deg(limit)))
        }
    } else {
        let text = format!(
            "A swing: the arm was not held at end range, and turned by {} about its highest place. A swing goes past the end range: \
             hold for a second.",
            deg(turned_deg)
        );
        (CheckStatus::Fail, text)
    };
    Some(Check { value: Some(turned_deg), limit: Some(limit), ..plain("held", status, text) })
}

/// How far an arm turns on the picture over the marked frames of one raise.
fn movement_of_raise(observed: &ReachObservations, raise: usize, side: Side) -> Option<Measured> {
    let frames: Vec<_> = observed.frames.iter().filter(|frame| frame.raise == raise).collect();
    let (first, last) = (frames.first()?, frames.last()?);
    if last.time_s - first.time_s < HOLD_S {
        return None;
    }
    let down = nalgebra::Vector2::new(0.0, 1.0);
    let mut angles = Vec::new();
    let mut variances = Vec::new();
    for frame in &frames {
        let seen = seen_points(std::iter::once(*frame));
        let (Some(shoulder), Some(wrist)) = (seen.get(&Landmark::Shoulder(side)), seen.get(&Landmark::Wrist(side)))
        else {
            continue;
        };
        let arm = wrist.place - shoulder.place;
        angles.push(angle_through_front(&down, &arm, facing(observed).unwrap_or(1.0))?.deg());
        // only each frame's own error moves the arm from frame to frame; what frames share cancels
        let across = 0.5 * (shoulder.own_px2 + wrist.own_px2).trace();
        variances.push(across / arm.norm_squared());
    }
    if angles.len() < 2 {
        return None;
    }
    let high = angles.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let low = angles.iter().copied().fold(f64::INFINITY, f64::min);
    // two ends of a range, each with its own error
    let u_deg = (2.0 * variances.iter().sum::<f64>() / number(variances.len())).sqrt().to_degrees();
    Some(magnitude(&Measured::from_u(high - low, u_deg, f64::INFINITY)))
}
