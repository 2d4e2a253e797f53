//! The checks of two reaches that are compared.

use std::collections::BTreeMap;

use nalgebra::Vector2;

use crate::geometry::{Landmark, Side};
use crate::pose::{Quantity, ReachObservations, View, VisitObservations};
use crate::screen::case::ReachEntry;
use crate::screen::limits::CheckLimits;
use crate::screen::pooled::{Combine, Part, Raising};
use crate::screen::result::{Check, CheckStatus};
use crate::screen::seen::{SeenPoint, is_marked, length_px, seen_points};
use crate::screen::spread::scale;
use crate::screen::words::{PERCENT_MAX, decimal, deg, reach_words};
use crate::uncertainty::Measured;

use super::{against, deg_limit, filming_order, limit_words, magnitude, not_determined, plain, status_below, unknown};

/// All checks of a pair of reaches, in the order of the format. `reaches` are two indices: the later minus the earlier,
/// the external minus the internal.
pub(crate) fn pair_checks<F: Combine>(
    reaches: [usize; 2],
    observations: &VisitObservations,
    raising: &Raising<'_, F>,
    limits: &CheckLimits,
) -> Vec<Check> {
    let [first, second] = reaches.map(|reach| &observations.reaches[reach]);
    vec![
        same_grip(reaches, observations, raising, limits.same_grip),
        trunk_still(reaches, raising, limits.trunk_still),
        camera_unmoved(first, second, limits.camera_unmoved),
        same_person_and_bar(first, second, limits.same_person_and_bar),
    ]
}

/// The check of two reaches whose pictures show one moment; there is none of others, for two takes that look different need no proof.
pub(crate) fn two_takes(reaches: [&ReachEntry; 2]) -> Check {
    const NAME: &str = "two_takes";
    let [first, second] = reaches.map(reach_words);
    let found = format!(
        "The {first} and the {second} seem to be one recording, encoded twice: their pictures are alike everywhere, closer than \
         two takes ever are"
    );
    plain(NAME, CheckStatus::Fail, found + filming_order(NAME))
}

const fn difference(reaches: [usize; 2]) -> [Part; 2] {
    [Part { factor: -1.0, reach: reaches[0] }, Part { factor: 1.0, reach: reaches[1] }]
}

fn same_grip<F: Combine>(
    reaches: [usize; 2],
    observations: &VisitObservations,
    raising: &Raising<'_, F>,
    limit: f64,
) -> Check {
    const NAME: &str = "same_grip";
    if observations.bar.has_taped_grips {
        let text = "The hands were on tape marks in every reach.";
        return Check { limit: Some(limit), ..plain(NAME, CheckStatus::Ok, text) };
    }
    let sees_both =
        |reach: usize| Side::BOTH.iter().all(|side| is_marked(&observations.reaches[reach], Landmark::Wrist(*side)));
    if !reaches.into_iter().all(sees_both) {
        let text = "The two wrists are not both marked, so the grip width is not known: put tape marks on the bar, keep the \
                    hands on them, and say so (in a case file: taped_grips = true).";
        return unknown(NAME, Some(limit), text);
    }
    let mean = [Part { factor: 0.5, reach: reaches[0] }, Part { factor: 0.5, reach: reaches[1] }];
    let width = raising.combine(&mean, Quantity::GripWidth);
    let change = raising.combine(&difference(reaches), Quantity::GripWidth);
    match (width, change) {
        (Ok(width), Ok(change)) if width.value > 0.0 => {
            // the width in the denominator is known far better than the change, and is taken as known
            let change = magnitude(&change.scaled(100.0 / width.value).measured());
            let found = format!(
                "The grip differs by {}{}",
                share_words(change.value, "of its width", "its whole width"),
                limit_words(&change, limit, percent_words, " %")
            );
            let text = match status_below(&change, limit) {
                CheckStatus::Fail => found + "; another grip is another reach" + filming_order(NAME),
                CheckStatus::Warn => found + ". Put tape marks on the bar.",
                CheckStatus::Ok | CheckStatus::Unknown => found + ".",
            };
            against(NAME, &change, limit, text)
        }
        (Err(undetermined), _) | (_, Err(undetermined)) => {
            unknown(NAME, Some(limit), not_determined("Grip width", &undetermined.reason))
        }
        _ => unknown(NAME, Some(limit), "Grip width not determined by these marks."),
    }
}

fn trunk_still<F: Combine>(reaches: [usize; 2], raising: &Raising<'_, F>, limit: f64) -> Check {
    const NAME: &str = "trunk_still";
    match raising.combine(&difference(reaches), Quantity::TrunkLean) {
        Err(undetermined) => unknown(NAME, Some(limit), not_determined("Trunk", &undetermined.reason)),
        Ok(change) => {
            let signed = change.measured();
            let change = magnitude(&signed);
            let way = if signed.value > 0.0 { "backward" } else { "forward" };
            let found = format!(
                "The trunk leans {} further {way} in the second reach{}",
                deg(change.value),
                deg_limit(&change, limit)
            );
            let advice = match status_below(&change, limit) {
                CheckStatus::Fail => filming_order(NAME),
                CheckStatus::Warn => ". Keep the back against the wall.",
                CheckStatus::Ok | CheckStatus::Unknown => ".",
            };
            against(NAME, &change, limit, found + advice)
        }
    }
}

fn camera_unmoved(first: &ReachObservations, second: &ReachObservations, limit: f64) -> Check {
    const NAME: &str = "camera_unmoved";
    if first.image_size != second.image_size || first.is_mirrored != second.is_mirrored {
        let text =
            "The pictures differ in size or mirroring, so the camera was changed between the reaches: heights above \
                    the datum do not compare"
                .to_owned()
                + filming_order(NAME);
        return Check { limit: Some(limit), ..plain(NAME, CheckStatus::Fail, text) };
    }
    let seen = [first, second].map(|reach| seen_points(reach.frames.iter()));
    let moved =
        [datum_movement(&seen), plumb_movement(&seen)].into_iter().flatten().max_by(|a, b| a.value.total_cmp(&b.value));
    let Some(moved) = moved else {
        return unknown(NAME, Some(limit), "Neither datum nor plumb line is marked in both reaches.");
    };
    let per_px = 1.0 / scale(first.image_size);
    let moved =
        Measured { value: moved.value * per_px, u: moved.u * per_px, lo: moved.lo * per_px, hi: moved.hi * per_px };
    let found = format!(
        "Datum and plumb line moved by {} px between the reaches (at 1280 px of the picture's long side){}",
        decimal(moved.value, 1),
        limit_words(&moved, limit, |px| decimal(px, 1), " px")
    );
    let advice = match status_below(&moved, limit) {
        CheckStatus::Fail => "; the camera moved: heights above the datum do not compare. Put the phone on a stand.",
        CheckStatus::Warn => ". Put the phone on a stand.",
        CheckStatus::Ok | CheckStatus::Unknown => ".",
    };
    against(NAME, &moved, limit, found + advice)
}

type Seen = BTreeMap<Landmark, SeenPoint>;

fn datum_movement(seen: &[Seen; 2]) -> Option<Measured> {
    let [before, after] = seen.each_ref().map(|seen| seen.get(&Landmark::Datum));
    let (before, after) = (before?, after?);
    let way = after.place - before.place;
    let covariance = before.separation_covariance_px2(after);
    let variance = match way.try_normalize(1e-9) {
        Some(direction) => direction.dot(&(covariance * direction)),
        None => 0.5 * covariance.trace(),
    };
    Some(magnitude(&Measured::from_u(way.norm(), variance.max(0.0).sqrt(), f64::INFINITY)))
}

/// How far the second plumb line lies beside the first, at its farther end. Along the line its marks may be anywhere.
fn plumb_movement(seen: &[Seen; 2]) -> Option<Measured> {
    let ends = |seen: &Seen| -> Option<[SeenPoint; 2]> {
        Some([*seen.get(&Landmark::PlumbTop)?, *seen.get(&Landmark::PlumbBottom)?])
    };
    let (first, second) = (ends(&seen[0])?, ends(&seen[1])?);
    let along = first[1].place - first[0].place;
    let length = along.norm();
    let along = along.try_normalize(1e-9)?;
    let across = Vector2::new(-along.y, along.x);
    let beside = |index: usize| {
        let end = &second[index];
        let from_top = end.place - first[0].place;
        let share = from_top.dot(&along) / length;
        let across_variance = |covariance: nalgebra::Matrix2<f64>| across.dot(&(covariance * across));
        // a line through two marks is the surer the nearer to them; its own error and the other line's are independent,
        // but for what a carried mark shares with its origin
        let line_variance = (1.0 - share).powi(2) * across_variance(first[0].covariance_px2())
            + share.powi(2) * across_variance(first[1].covariance_px2());
        let variance = if first[index].shared.map(|shared| shared.origin) == end.shared.map(|shared| shared.origin)
            && end.shared.is_some()
        {
            across_variance(first[index].separation_covariance_px2(end))
        } else {
            line_variance + across_variance(end.covariance_px2())
        };
        magnitude(&Measured::from_u(from_top.dot(&across), variance.max(0.0).sqrt(), f64::INFINITY))
    };
    [beside(0), beside(1)].into_iter().max_by(|a, b| a.value.total_cmp(&b.value))
}

/// Compares proportions, which do not change with the distance to the camera.
fn same_person_and_bar(first: &ReachObservations, second: &ReachObservations, limit: f64) -> Check {
    const NAME: &str = "same_person_and_bar";
    let seen = [first, second].map(|reach| seen_points(reach.frames.iter()));
    let segments = segments(first);
    let mut logs = Vec::new();
    for (name, ends) in segments {
        let length = |seen: &Seen| length_px(seen.get(&ends[0])?, seen.get(&ends[1])?).filter(|(px, _)| *px > 0.0);
        if let (Some((a, u_a)), Some((b, u_b))) = (length(&seen[0]), length(&seen[1])) {
            // the two reaches' marks err independently, or share an error that would make this smaller
            logs.push((name, (b / a).ln(), (u_a / a).hypot(u_b / b)));
        }
    }
    if logs.len() < 2 || first.view != second.view {
        return unknown(NAME, Some(limit), "Too few segments are marked in both reaches to compare proportions.");
    }
    let most = logs.iter().max_by(|a, b| a.1.total_cmp(&b.1));
    let least = logs.iter().min_by(|a, b| a.1.total_cmp(&b.1));
    let (Some(most), Some(least)) = (most, least) else {
        return unknown(NAME, Some(limit), "Too few segments are marked in both reaches to compare proportions.");
    };
    let apart = Measured::from_u(100.0 * (most.1 - least.1), 100.0 * most.2.hypot(least.2), f64::INFINITY);
    let apart = magnitude(&apart);
    let found = format!(
        "Against the {}, the {} differs by {}{}",
        least.0,
        most.0,
        share_words(apart.value, "between the reaches", "its whole length between the reaches"),
        limit_words(&apart, limit, percent_words, " %")
    );
    let advice = match status_below(&apart, limit) {
        CheckStatus::Fail => "; this is another person, another bar or a mark on the wrong place.",
        CheckStatus::Warn => ". Look at these marks again.",
        CheckStatus::Ok | CheckStatus::Unknown => ".",
    };
    against(NAME, &apart, limit, found + advice)
}

/// A share of a length, percent, in words where it is beyond all of it: then a mark is astray, and digits would say nothing.
fn share_words(percent: f64, of: &str, whole: &str) -> String {
    if percent > PERCENT_MAX { format!("more than {whole}") } else { format!("{} % {of}", decimal(percent, 1)) }
}

fn percent_words(percent: f64) -> String {
    if percent > PERCENT_MAX { format!("more than {PERCENT_MAX}") } else { decimal(percent, 1) }
}

/// The segments whose length on the picture hardly changes between two raised reaches of one view.
fn segments(reach: &ReachObservations) -> Vec<(&'static str, [Landmark; 2])> {
    let pair = |landmark: fn(Side) -> Landmark| [landmark(Side::Left), landmark(Side::Right)];
    match (reach.view, reach.near_side) {
        (View::Side | View::Oblique, Some(side)) => vec![
            ("upper arm", [Landmark::Shoulder(side), Landmark::Elbow(side)]),
            ("forearm", [Landmark::Elbow(side), Landmark::Wrist(side)]),
            ("trunk", [Landmark::Shoulder(side), Landmark::Hip(side)]),
        ],
        _ => vec![
            ("shoulder breadth", pair(Landmark::Shoulder)),
            ("hip breadth", pair(Landmark::Hip)),
            ("bar", pair(Landmark::BarEnd)),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_beyond_the_whole_is_said_in_words() {
        let grip = |percent| share_words(percent, "of its width", "its whole width");
        assert_eq!(grip(9.44), "9.4 % of its width");
        assert_eq!(grip(494.8), "more than its whole width");
        let wide = Measured { value: 60.0, u: 120.0, lo: 0.0, hi: 494.8 };
        let said = limit_words(&wide, 8.0, percent_words, " %");
        assert!(said.contains("(0.0 to more than 100 %)"), "{said}");
        // a limit of all of it is told from what is beyond
        assert_eq!(percent_words(100.0), "100.0");
    }
}
