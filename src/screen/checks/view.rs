//! `view_as_stated`: whether the marks lie as the stated side and direction would have them.

use std::collections::BTreeMap;

use crate::geometry::{Landmark, Side};
use crate::pose::{ReachObservations, View};
use crate::screen::result::{Check, CheckStatus};
use crate::screen::seen::{SeenPoint, angle_through_front, facing, seen_points};

use super::plain;

const NAME: &str = "view_as_stated";

/// Times the standard uncertainty that a difference of places must exceed to be evidence: 95 % of a normal error.
const EVIDENCE: f64 = 1.96;

/// No arm turns further back than this past the hanging position, deg. Common practice, no source.
const ELEVATION_MAX_DEG: f64 = 200.0;

/// Holds the marks of a reach against its stated side and direction.
pub(crate) fn view_as_stated(reach: &ReachObservations) -> Check {
    let seen = seen_points(reach.frames.iter());
    match (reach.view, facing(reach), reach.near_side) {
        (View::Front, _, _) => from_front(reach, &seen),
        (_, Some(facing), Some(side)) => from_side(&seen, facing, side),
        _ => plain(NAME, CheckStatus::Unknown, "The side towards the camera is not stated."),
    }
}

fn from_side(seen: &BTreeMap<Landmark, SeenPoint>, facing: f64, side: Side) -> Check {
    let way = if facing > 0.0 { "right" } else { "left" };
    let contradicted = format!(
        "With the {side} side towards the camera the person should face the picture's {way}, but the marks show the \
         other way: the picture is mirrored, or its side is stated wrongly. Correct that."
    );
    let eye = [side, side.other()].iter().find_map(|side| seen.get(&Landmark::Eye(*side)));
    if let (Some(nose), Some(eye)) = (seen.get(&Landmark::Nose), eye) {
        let ahead = (nose.place.x - eye.place.x) * facing;
        let u = nose.separation_covariance_px2(eye)[(0, 0)].sqrt();
        if ahead < -EVIDENCE * u {
            return plain(NAME, CheckStatus::Fail, contradicted);
        }
        if ahead > EVIDENCE * u {
            return plain(NAME, CheckStatus::Ok, format!("The person faces the picture's {way}, as stated."));
        }
    }
    let arm = arm_against_trunk(seen, facing, side);
    match arm {
        Some(elevation_deg) if elevation_deg > ELEVATION_MAX_DEG => plain(NAME, CheckStatus::Fail, contradicted),
        Some(_) => {
            plain(NAME, CheckStatus::Ok, format!("The arm points as in a person who faces the picture's {way}."))
        }
        None => {
            plain(NAME, CheckStatus::Unknown, "Too few marks to tell which way the person faces: mark eye and nose.")
        }
    }
}

fn arm_against_trunk(seen: &BTreeMap<Landmark, SeenPoint>, facing: f64, side: Side) -> Option<f64> {
    let place = |landmark: Landmark| seen.get(&landmark).map(|point| point.place);
    let shoulder = place(Landmark::Shoulder(side))?;
    let down = match place(Landmark::Hip(side)) {
        Some(hip) => hip - shoulder,
        None => place(Landmark::PlumbBottom)? - place(Landmark::PlumbTop)?,
    };
    let elevation_deg = angle_through_front(&down, &(place(Landmark::Wrist(side))? - shoulder), facing)?.deg();
    // a raised arm read just past the lower end of the range is one far past the vertical
    Some(if elevation_deg < -45.0 { elevation_deg + 360.0 } else { elevation_deg })
}

fn from_front(reach: &ReachObservations, seen: &BTreeMap<Landmark, SeenPoint>) -> Check {
    let pairs: [fn(Side) -> Landmark; 6] =
        [Landmark::Shoulder, Landmark::Elbow, Landmark::Wrist, Landmark::Hip, Landmark::Eye, Landmark::BarEnd];
    // seen from the front, the person's right is on the picture's left, unless the picture is mirrored
    let sign = if reach.is_mirrored { -1.0 } else { 1.0 };
    let (mut right_way, mut wrong_way) = (0_usize, Vec::new());
    for pair in pairs {
        let (Some(left), Some(right)) = (seen.get(&pair(Side::Left)), seen.get(&pair(Side::Right))) else { continue };
        let apart = (left.place.x - right.place.x) * sign;
        let u = left.separation_covariance_px2(right)[(0, 0)].sqrt();
        if apart < -EVIDENCE * u {
            wrong_way.push(pair(Side::Left).words().trim_start_matches("left ").to_owned());
        } else if apart > EVIDENCE * u {
            right_way += 1;
        }
    }
    match (right_way, wrong_way.is_empty()) {
        (0, true) => plain(NAME, CheckStatus::Unknown, "Too few marks on both sides to tell left from right."),
        (_, true) => plain(NAME, CheckStatus::Ok, "Left and right lie as in a picture from the front, as stated."),
        (0, false) => plain(
            NAME,
            CheckStatus::Fail,
            "Left and right lie the wrong way round for a picture from the front: the picture is mirrored (set \
             mirrored = true), was taken from behind, or left and right were exchanged in marking.",
        ),
        (_, false) => plain(
            NAME,
            CheckStatus::Fail,
            format!("Left and right are exchanged in some marks ({}): mark these again.", wrong_way.join(", ")),
        ),
    }
}
