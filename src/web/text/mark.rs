//! `/reaches/{id}/mark`.

use std::time::Duration;

use crate::geometry::Landmark;

pub const TITLE: &str = "Place the marks";
pub const TITLE_BLIND: &str = "Mark again, blind";
pub const BLIND: &str = "Your earlier marks and the numbers are hidden, so that they don't lead your hand.";
pub const BACK: &str = "Back to the visit";
pub const PICTURE: &str = "Picture of the reach. Arrow keys move the mark.";
pub const STAGE: &str = "Picture";
pub const TIME: &str = "Moment in the clip";
pub const FRAME_BEFORE: &str = "One frame back";
pub const FRAME_AFTER: &str = "One frame on";
pub const ZOOM_IN: &str = "Closer";
pub const ZOOM_OUT: &str = "Further away";
pub const ZOOM_FIT: &str = "Whole picture";
pub const UNDO: &str = "Undo";
pub const REDO: &str = "Redo";
pub const UP: &str = "Move up a quarter pixel";
pub const DOWN: &str = "Move down a quarter pixel";
pub const LEFT: &str = "Move left a quarter pixel";
pub const RIGHT: &str = "Move right a quarter pixel";
pub const MARK_HERE: &str = "Mark this moment";
pub const OTHER_MOMENT: &str = "You are looking at another moment. The marks are not on it.";
pub const BACK_TO_MOMENT: &str = "Back to the marks";
pub const MARK_HERE_INSTEAD: &str = "Mark this one instead";
pub const ASK: &str = "What to mark now";
pub const SKIP: &str = "Can't see it";
pub const NEXT: &str = "Next mark";
pub const BEFORE: &str = "Previous";
pub const REMOVE: &str = "Remove";
pub const CONFIRM: &str = "It is right";
pub const BRING: &str = "Bring marks over";
pub const CONFIRM_ALL: &str = "All are right";
pub const DROP: &str = "Leave them out";
pub const CARRY_LEFT: &str = "Not found, to be marked by hand:";
pub const BEHIND: &str = "Marks that came from here";
pub const BEHIND_TEXT: &str =
    "Other reaches have marks that came from this one, and their marks here were moved since. Bring them over anew:";
pub const TO_QUESTIONS: &str = "To the questions";
pub const DONE: &str = "Done";
pub const LIVE: &str = "Elevation";
pub const DIFFERENCE: &str = "external minus internal";
pub const MARKS: &str = "Marks";
pub const NEEDED: &str = "Needed";
pub const SHARPENS: &str = "Sharpens the answer";
pub const CHECKS: &str = "Checks";
pub const QUESTIONS: &str = "How the reach went";
pub const PAIN: &str = "Pain at the top, 0 to 10";
pub const PAIN_HINT: &str = "0 is none, 10 the worst you can imagine. Stop if it hurts.";
pub const LIMIT: &str = "What stopped the reach?";
pub const BACK_FLAT: &str = "Did the low back and ribs stay flat?";
pub const AGAIN: &str = "How steady is your hand?";
pub const AGAIN_TEXT: &str =
    "Mark the same reach again without seeing these marks. It shows how far your marks spread.";
pub const AGAIN_LINK: &str = "Mark again, blind";
pub const RAISE_TEXT: &str =
    "Does the clip hold several raises? Marking another one tells how much the reach itself varies.";
pub const RAISE_LINK: &str = "Mark another raise";
pub const KEYS: &str = "All keys and gestures";
pub const KEYS_NOTE: &str = "They work while the picture has the focus.";
/// Key and what it does.
pub const KEY_LIST: [(&str, &str); 12] = [
    ("Arrows", "move the mark by a quarter pixel; with Shift by 5"),
    ("Enter", "place it or confirm it, or go to the next; with Shift to the previous"),
    ("B", "bring marks over from another reach"),
    ("N", "can't see it: skip"),
    ("Delete", "remove the mark"),
    ("U, R", "undo, redo; also Ctrl Z, Ctrl Y"),
    ("Page Up, Page Down", "one frame back or on; with Shift ten"),
    ("M", "mark the moment shown"),
    ("+, -, 0", "closer, further away, whole picture"),
    ("W, A, S, D", "move the picture"),
    ("Wheel", "closer or further away; drag with Space or the right button to move the picture"),
    ("Two fingers", "closer, further away, and move the picture"),
];
pub const CONFLICT: &str = "These marks were changed in another window";
pub const CONFLICT_TEXT: &str = "Keep what you see here, or take the marks from the other window?";
pub const KEEP_MINE: &str = "Keep what I see here";
pub const TAKE_THEIRS: &str = "Take the others";
pub const NEEDS_SCRIPTS: &str = "Marking needs JavaScript, which is switched off in this browser.";

/// Which raise of the clip.
#[must_use]
pub fn raise(raise: u32) -> String {
    format!("raise {raise}")
}

pub const FOLLOW: &str = "The arm through the clip";
pub const FOLLOW_START: &str = "Follow the clip";
pub const FOLLOW_ANEW: &str = "Follow anew";
pub const FOLLOW_STOP: &str = "Stop";
pub const FOLLOW_NEVER: &str = "a still, or a view without a side towards the camera, has nothing to follow";
pub const FOLLOW_FAILED: &str = "Following came to an end by itself. The terminal in which tworeach runs says more.";
pub const CURVE: &str = "Moment in the clip, along the arm's angle";
pub const CURVE_NOTE: &str = "Drag along the curve, or use the arrow keys. It is the angle between trunk and arm on the picture, degrees: a cross-check, not the elevation. Shaded: held. \
     Dashed: a mark is hidden. Hatched: a mark is not followed.";

/// Why a clip cannot be followed yet.
#[must_use]
pub fn follow_lacks(missing: &[Landmark]) -> String {
    let names: Vec<&str> = missing.iter().map(|landmark| landmark.words()).collect();
    format!("one frame must have all marks that the arm is followed from, and none has the {}", names.join(" and the "))
}

/// Why a clip could not be followed.
#[must_use]
pub fn follow_refused(reason: &str) -> String {
    format!("The clip could not be followed: {reason}.")
}

/// How far the following has come, how fast it goes and how long it will take.
#[must_use]
pub fn pace(done: usize, all: usize, taken: Duration) -> String {
    if done == 0 {
        return "Opening the clip…".to_owned();
    }
    let per_s = done as f64 / taken.as_secs_f64();
    if !per_s.is_finite() {
        return format!("Frame {done} of {all}");
    }
    let left_s = all.saturating_sub(done) as f64 / per_s;
    format!("Frame {done} of {all}, {per_s:.0} a second, {left_s:.0} s left")
}

/// What is said of frames in which marks are not seen.
#[must_use]
pub fn unseen(marks: &[Landmark], is_lost: bool) -> String {
    let names: Vec<&str> = marks.iter().map(|landmark| landmark.words()).collect();
    match (is_lost, names.is_empty()) {
        (true, true) => "not followed here".to_owned(),
        (true, false) => format!("{} lost here", names.join(" and ")),
        (false, _) => format!("{} hidden", names.join(" and ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pace_tells_speed_and_what_is_left() {
        assert_eq!(pace(0, 0, Duration::from_secs(1)), "Opening the clip…");
        // 30 frames in 2 s are 15 a second; 270 more take 18 s
        assert_eq!(pace(30, 300, Duration::from_secs(2)), "Frame 30 of 300, 15 a second, 18 s left");
        assert_eq!(pace(30, 300, Duration::ZERO), "Frame 30 of 300");
    }
}
