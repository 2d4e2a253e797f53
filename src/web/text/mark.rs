//! `/reaches/{id}/mark`.

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
