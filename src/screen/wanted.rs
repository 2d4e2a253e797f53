//! Which landmarks a view needs, and which sharpen its answer.

use crate::geometry::{Landmark, Side};
use crate::pose::View;

/// The landmarks to mark in a view, those that it needs first, in the order in which they are best asked for: along the arm
/// and down the trunk, then the wall's edge. `near_side` is the side towards the camera; without one the right side counts.
#[must_use]
pub fn needed_landmarks(view: View, near_side: Option<Side>) -> Vec<Landmark> {
    let near = near_side.unwrap_or(Side::Right);
    let mut needed = match view {
        View::Side | View::Oblique => {
            vec![Landmark::Shoulder(near), Landmark::Elbow(near), Landmark::Wrist(near), Landmark::Hip(near)]
        }
        View::Front => [Side::Right, Side::Left]
            .into_iter()
            .flat_map(|side| [Landmark::Shoulder(side), Landmark::Wrist(side), Landmark::BarEnd(side)])
            .collect(),
    };
    needed.extend([Landmark::PlumbTop, Landmark::PlumbBottom]);
    needed
}

/// The landmarks that sharpen the answer where they are seen.
#[must_use]
pub fn further_landmarks(view: View, near_side: Option<Side>) -> Vec<Landmark> {
    let near = near_side.unwrap_or(Side::Right);
    let far = near.other();
    let needed = needed_landmarks(view, near_side);
    let further = [
        Landmark::BarEnd(near),
        Landmark::BarEnd(far),
        Landmark::Datum,
        Landmark::Wrist(far),
        Landmark::Elbow(near),
        Landmark::Elbow(far),
        Landmark::Hip(near),
        Landmark::Hip(far),
        Landmark::Shoulder(far),
        Landmark::Nose,
        Landmark::Chin,
        Landmark::Eye(near),
        Landmark::Eye(far),
    ];
    further.into_iter().filter(|landmark| !needed.contains(landmark)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_landmark_is_asked_for_once() {
        for view in [View::Side, View::Front, View::Oblique] {
            for near in [Some(Side::Left), Some(Side::Right), None] {
                let mut all = needed_landmarks(view, near);
                all.extend(further_landmarks(view, near));
                all.sort_unstable();
                let mut expected = Landmark::ALL.to_vec();
                expected.sort_unstable();
                assert_eq!(all, expected, "{view:?} {near:?}");
            }
        }
    }
}
