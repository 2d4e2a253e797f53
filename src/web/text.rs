//! Every English text of the pages, in one place, so that another language means another copy of this file and of the
//! folder beside it.
//!
//! Facts of the trade (danger signs, how to find a landmark by touch, how to film) are common practice, no source.

#![allow(missing_docs, reason = "a text is its own description")]

use serde_json::{Value, json};

use crate::geometry::Landmark;
use crate::pose::{Rotation, View};
use crate::records::DangerSign;
use crate::screen::{Call, LimitedBy, Occasion, ResultSide, RetestOutcome};

/// The product.
pub const NAME: &str = "Tworeach";
/// Stands at the foot of every page.
pub const FOOT: &str = "A measuring aid, not a diagnosis. Clips and marks stay on this computer.";
/// First link of every page.
pub const SKIP_TO_CONTENT: &str = "Skip to content";
/// The link to the list of clients.
pub const CLIENTS: &str = "Clients";
/// The link to the filming guide.
pub const GUIDE: &str = "How to film";
/// The link to the lens profiles.
pub const LENSES: &str = "Lenses";
/// Names the links at the head of the page.
pub const MAIN_LINKS: &str = "Main";
/// Names the links to where a page belongs.
pub const WHERE: &str = "You are here";
/// Heads the list of what was wrong with a form.
pub const ERRORS: &str = "Please check this";
/// How often a fault is there, after it.
#[must_use]
pub fn times(count: usize) -> String {
    format!("({count} times)")
}
/// Heads the cautions of a result.
pub const CAUTION: &str = "Caution";
/// Marks what was invented for trying things out.
pub const DEMO: &str = "demo";
/// What kind of client it is.
pub const KIND: &str = "Kind";
/// An answer.
pub const YES: &str = "Yes";
/// An answer.
pub const NO: &str = "No";
/// Goes back without saving.
pub const BACK: &str = "Back, change nothing";
/// Goes back without doing it.
pub const CANCEL: &str = "Cancel, keep everything";

/// The question about a danger sign. Common practice, no source.
#[must_use]
pub const fn danger_sign(sign: DangerSign) -> &'static str {
    match sign {
        DangerSign::ChestPainBreathless => "Chest pain, or trouble getting your breath?",
        DangerSign::NumbRingLittleFinger => "Numbness or pins and needles in the ring finger and little finger?",
        DangerSign::WeakGrip => "A grip that has become weak?",
        DangerSign::PopOrBruise => "A pop that you felt or heard, or a bruise that came up since?",
        DangerSign::JointLocked => "A shoulder or elbow that locks?",
        DangerSign::JointHotRedSwollen => "A joint that is hot, red or swollen?",
        DangerSign::Fever => "A fever now?",
        DangerSign::NightPain => "Pain that wakes you at night?",
        DangerSign::RecentInjury => "A recent fall, broken bone, dislocated joint or operation?",
        DangerSign::ArmSwollenBlueHeavy => "An arm that is swollen, looks blue or feels heavy?",
        DangerSign::InnerElbowThrowing => "Pain or a loose feeling at the inner elbow when you throw hard?",
        DangerSign::ShoulderSlips => "A shoulder that slips out of place, or feels as if it could?",
        DangerSign::BothArmsNumb => "Both arms numb or clumsy?",
        DangerSign::NeckSigns => "Neck pain that runs down an arm, or that comes on when you move your neck?",
        DangerSign::CancerOrWeightLoss => "A cancer that you know of, or weight loss without a reason?",
    }
}

/// The side or sides in a sentence.
#[must_use]
pub const fn side(side: ResultSide) -> &'static str {
    match side {
        ResultSide::Left => "left side",
        ResultSide::Right => "right side",
        ResultSide::Both => "both sides",
    }
}

/// The occasion as a heading.
#[must_use]
pub const fn occasion(occasion: Occasion) -> &'static str {
    match occasion {
        Occasion::Before => "Before the stretch",
        Occasion::After => "After the stretch",
    }
}

/// The rotation as a heading.
#[must_use]
pub const fn rotation(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => "Internal",
        Rotation::External => "External",
    }
}

/// Where the palms face in that rotation.
#[must_use]
pub const fn palms(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => "palms down",
        Rotation::External => "palms up",
    }
}

/// From where a reach is filmed.
#[must_use]
pub const fn view(view: View) -> &'static str {
    match view {
        View::Side => "from the side",
        View::Front => "from the front",
        View::Oblique => "at an angle",
    }
}

/// The call in a word that a client understands.
#[must_use]
pub const fn call(call: Call) -> &'static str {
    match call {
        Call::Positive => "Fail",
        Call::Negative => "Pass",
        Call::Inconclusive => "Inconclusive",
        Call::NotComparable => "Not comparable",
    }
}

/// The trade's words beside it.
#[must_use]
pub const fn call_trade(call: Call) -> &'static str {
    match call {
        Call::Positive => "positive screen",
        Call::Negative => "negative screen",
        Call::Inconclusive | Call::NotComparable => "no call",
    }
}

/// What became of the external reach.
#[must_use]
pub const fn outcome(outcome: RetestOutcome) -> &'static str {
    match outcome {
        RetestOutcome::Improved => "Improved",
        RetestOutcome::Unchanged => "Unchanged",
        RetestOutcome::Worse => "Worse",
        RetestOutcome::Inconclusive => "Inconclusive",
        RetestOutcome::NotComparable => "Not comparable",
    }
}

/// What ended a reach.
#[must_use]
pub const fn limited_by(limit: LimitedBy) -> &'static str {
    match limit {
        LimitedBy::Stretch => "A stretch",
        LimitedBy::Pain => "Pain",
        LimitedBy::Other => "Something else",
    }
}

/// How to find a landmark. Common practice, no source.
#[must_use]
pub const fn find_landmark(landmark: Landmark) -> &'static str {
    match landmark {
        Landmark::Shoulder(_) => {
            "On the skin over the middle of the joint, the point that the raised arm turns about. To find it, let the arm \
             hang, feel the bony tip on top of the shoulder (acromion) and go a thumb's breadth down."
        }
        Landmark::Elbow(_) => {
            "The bony knob on the outer side (lateral epicondyle). Bend the elbow to feel it at the end of the crease, and \
             keep a finger on it while the arm straightens."
        }
        Landmark::Wrist(_) => {
            "Midway between the two bony bumps of the wrist (styloid processes), one on the thumb side and one on the \
             little-finger side."
        }
        Landmark::Hip(_) => {
            "The bony lump on the outer side of the hip (greater trochanter). Lay a palm there and turn the knee in and \
             out: it rolls under the hand."
        }
        Landmark::Eye(_) => "The outer corner of the eye. Skip it where the arm hides it.",
        Landmark::Nose => "The tip of the nose. Skip it where the arm hides it.",
        Landmark::Chin => "The lowest point of the chin, in the middle. Skip it where the arm hides it.",
        Landmark::BarEnd(_) => "The very end of the bar, in the middle of its thickness.",
        Landmark::PlumbTop => "On the edge of the wall, as high up as you see it clearly.",
        Landmark::PlumbBottom => "On the same edge of the wall, as low down as you see it clearly.",
        Landmark::Datum => "The middle of the tape mark on the wall. Take the same mark in every reach.",
    }
}

/// What a clip's damage means.
#[must_use]
pub fn damaged(time_s: f64) -> String {
    format!("The clip is damaged after {time_s:.2}\u{a0}s: only what is before that can be used.")
}

/// Landmarks in a sentence.
#[must_use]
pub fn landmarks(landmarks: &[Landmark]) -> String {
    landmarks.iter().map(|landmark| landmark.words()).collect::<Vec<_>>().join(", ")
}

/// `/`.
pub mod clients {
    pub const TITLE: &str = "Clients";
    pub const NEW: &str = "New client";
    pub const LIST: &str = "All clients";
    pub const WELCOME: &str = "Measure the two-reach overhead screen";
    pub const LEAD: &str = "Two reaches with a light bar, palms down and palms up. Film them, mark a few points, and see \
                            whether the second one ends lower, and how sure that is.";
    pub const DEMO_HEADING: &str = "Look around first";
    pub const DEMO_TEXT: &str = "Opens a made-up client, a masters rower called R07, with four clips that are already \
                                 marked. You can delete it at any time.";
    pub const DEMO_BUTTON: &str = "Open the demo case";
    pub const NEW_HEADING: &str = "Start with a client";
    pub const NEW_TEXT: &str = "A short list of danger signs comes first. Clients go by a code, never by a name.";
    pub const GUIDE_HEADING: &str = "See how to film";
    pub const GUIDE_TEXT: &str = "Where the phone stands, what must be in the picture, and how the hands hold the bar.";
    pub const NO_VISIT: &str = "no visit yet";

    /// How many visits, and the latest.
    #[must_use]
    pub fn visits(count: usize) -> String {
        if count == 1 { "1 visit".to_owned() } else { format!("{count} visits") }
    }
}

pub mod screening;

/// What an open danger sign stops. Common practice, no source.
pub mod danger {
    pub const STOP: &str = "Do not go on";
    pub const SIGN: &str = "danger sign";
    pub const SIGNS: &str = "See the danger signs";
    pub const NOT_ASKED: &str = "Answer the danger signs first.";
    pub const EMERGENCY: &str = "Chest pain or breathlessness: call the emergency services now. Nothing is filmed, marked or \
                                 stretched.";
    pub const NO_REASON: &str = "There is a danger sign: nothing is filmed, marked or stretched until a licensed clinician has \
                                 written down the reason to go on, in the danger signs.";
    pub const SEE_CLINICIAN: &str = "There is a danger sign: see a licensed clinician first. Nothing is filmed, marked or \
                                     stretched; only a clinician may go on, with a written reason, or answer the questions anew.";

    /// A clinician's reason to go on, for the report.
    #[must_use]
    pub fn goes_on(date: &str, asked: &str, reason: &str) -> String {
        format!("Danger signs, answered yes on {date}: {asked} A licensed clinician goes on, for this reason: {reason}")
    }
}

/// `/clients/{code}`.
pub mod client {
    pub const SIDE: &str = "Screened";
    pub const STATURE: &str = "Height";
    pub const ARM: &str = "Arm, shoulder to wrist";
    pub const SIGNS: &str = "Danger signs";
    pub const NOT_ASKED: &str = "Not asked yet. They come before the first visit.";
    pub const ASK: &str = "Ask now";
    pub const ASK_AGAIN: &str = "Ask again";
    pub const CLEAR: &str = "No danger sign.";
    pub const SEE_CLINICIAN: &str =
        "Please see a licensed clinician first. No visit is started until one has looked at this.";
    pub const EMERGENCY: &str = "This needs emergency care now. Do not film or stretch.";
    pub const REASON_LIFTS_NOTHING: &str = "A clinician's reason to go on was given. It does not lift an emergency:";
    pub const GOES_ON: &str = "A licensed clinician goes on, for this reason:";
    pub const ANSWERED_CLIENT: &str = "answered by the client or a coach";
    pub const ANSWERED_CLINICIAN: &str = "answered by a licensed clinician";
    pub const YES_TO: &str = "Answered yes:";
    pub const CASE: &str = "The case";
    pub const NO_INTAKE: &str = "not begun: what hurts, since when, and what for";
    pub const AFTER_INTAKE: &str = "begins with the intake";
    pub const STOPPED: &str = "stopped by a danger sign";
    pub const TO_MEND: &str = "to be mended first";
    pub const CLINICIAN: &str = "see a clinician first";
    pub const NO_ENTRY: &str = "no entry yet";
    pub const NOTHING_DUE: &str = "nothing due today";
    pub const VISITS: &str = "Visits";
    pub const NO_VISITS: &str = "No visit yet.";
    pub const START: &str = "Start a visit";
    pub const NOT_MEASURED: &str = "not measured yet";
    pub const CORRECT: &str = "Correct these";
    pub const REMOVE: &str = "Delete this client";

    /// When the first visit was, and how many there were.
    #[must_use]
    pub fn intake(visits: usize, latest: &str) -> String {
        format!("{}, the latest on {latest}", super::clients::visits(visits))
    }

    /// How many sessions are due.
    #[must_use]
    pub fn due(count: usize) -> String {
        if count == 1 { "1 session due today".to_owned() } else { format!("{count} sessions due today") }
    }

    /// When the latest entry was made.
    #[must_use]
    pub fn latest_entry(date: &str) -> String {
        format!("latest entry {date}")
    }

    /// How many of the reaches are filmed.
    #[must_use]
    pub fn reaches(count: usize) -> String {
        format!("{count} of 4 reaches filmed")
    }
}

pub mod alone;

pub mod course;

pub mod intake;

pub mod lens;

pub mod log;

pub mod pictures;

pub mod plan;

pub mod visit;

/// `/reaches/{id}/facts`.
pub mod reach_facts {
    pub const TITLE: &str = "What is this clip?";
    pub const LEAD: &str = "Correct where it belongs and how it was filmed. Its marks stay.";
    pub const OCCASION: &str = "Filmed before or after the stretch?";
    pub const ROTATION: &str = "Which reach is it?";
    pub const INTERNAL: &str = "Palms down (internal)";
    pub const EXTERNAL: &str = "Palms up (external)";
    pub const VIEW: &str = "Filmed";
    pub const NEAR_HINT: &str =
        "Changes it for all clips of this visit that were filmed from there: they show one side.";
    pub const TAKEN: &str = "the visit has such a clip already: remove that one first, or exchange the two where the palms \
                             are checked";
    pub const STILL: &str = "A picture from the clip";
    pub const SAVE: &str = "Save";
}

/// `/reaches/{id}/palms`.
pub mod palms {
    pub const TITLE: &str = "Which way do the palms face?";
    pub const LEAD: &str = "Look at the hands in this picture. It keeps clips from landing in the wrong place.";
    pub const STILL: &str = "A picture from the clip, with the hands on the bar";
    pub const DOWN: &str = "Palms down";
    pub const DOWN_HOW: &str = "Thumbs point at each other. From the side, the little finger is towards the camera.";
    pub const UP: &str = "Palms up";
    pub const UP_HOW: &str = "Thumbs point outwards. From the side, the thumb is towards the camera.";
    pub const UNCLEAR: &str = "I can't tell";
    pub const CONFIRM: &str = "Confirm";
    pub const LARGER: &str = "Open the picture on its own";
    pub const CONTRARY: &str = "That does not fit the place of this clip";
    pub const TO_EXCHANGE: &str = "If it belongs to the other one, exchange them.";
    pub const TO_MOVE: &str = "If it is the other one, move it there.";
    pub const SWAP: &str = "Yes, exchange the two clips";
    pub const MOVE: &str = "Yes, move this clip to the other reach";
    pub const FILM_AGAIN: &str = "Remove this clip and add another";

    /// Where the clip was put, against what was seen.
    #[must_use]
    pub fn contrary(rotation: &str, palms: &str) -> String {
        format!("It was added as the {rotation} reach, {palms}.")
    }
}

pub mod mark;

/// What the marking page says while it runs; the modules get it as JSON.
#[must_use]
pub fn mark_words() -> Value {
    let landmarks: serde_json::Map<String, Value> = Landmark::ALL
        .into_iter()
        .map(|landmark| {
            let words = json!({ "name": landmark.words(), "how": find_landmark(landmark) });
            (landmark.name().to_owned(), words)
        })
        .collect();
    json!({
        "landmarks": landmarks,
        "states": { "proposed": "brought over, to be confirmed", "carried": "brought over", "placed": "marked", "skipped": "skipped", "open": "not marked" },
        "statuses": { "fail": "✗ fail", "warn": "△ in doubt", "unknown": "? unknown" },
        "save": save_words(),
        "elevation": "Elevation",
        "no_number": "No angle yet",
        "not_yet": "Comes with the first complete set of marks.",
        "hidden": "hidden",
        "hidden_why": "The numbers come back when you leave blind marking.",
        "no_checks": "No checks yet.",
        "checks_ok": "{n} of {all} checks are in order.",
        "frame_of": "{time} s, frame {n} of {all}",
        "frame_failed": "This frame could not be shown. Try the next one.",
        "find_moment": "Find the highest moment",
        "find_moment_how": "Move through the clip to where the bar is highest and held still. Then mark that moment.",
        "moment_chosen": "Marking this moment. First: {name}.",
        "moment_moved": "Marking this moment. The marks of the wall are kept, the body is to be marked anew.",
        "choose_moment_first": "Go to the moment that is marked, or mark this one.",
        "nothing_asked": "Choose a mark from the list first.",
        "placed_how": "It is placed. Drag it or use the arrow keys to move it, or go on.",
        "carry": carry_words(),
        "follow": follow_words(),
        "curve": curve_words(),
        "still_missing": "Not complete yet",
        "still_missing_how": "Needed for an angle: {names}. Choose one from the list to place it.",
        "answer_now": "All marks are placed",
        "answer_now_how": "Three short questions are left: pain, what stopped the reach, and the back.",
        "all_done": "This reach is complete",
        "all_done_how": "You can still move any mark. What comes next is on the visit's sheet.",
        "placed_next": "{name} placed. Next: {next}.",
        "placed_last": "{name} placed. No more marks are asked for.",
        "now_asked": "{name}.",
        "moved": "{name} moved. {value}.",
        "undone": "Undone.",
        "redone": "Done again.",
        "nothing_to_undo": "There is nothing to undo.",
        "nothing_to_redo": "There is nothing to redo.",
        "load_failed": "The reach could not be opened",
        "load_failed_how": "Is Tworeach still running? Load this page again.",
    })
}

/// What the marking page says of saving, by its states.
fn save_words() -> Value {
    json!({
        "saved": "Saved",
        "saving": "Saving…",
        "failed": "Not saved. Is Tworeach still running? Keep this page open, it tries again.",
        "locked": "Not saved: Tworeach was started anew. Open its new address in another window, then come back here: this page saves by itself.",
        "conflict": "Not saved: changed in another window",
        "refused": "Not saved: {message}",
    })
}

/// What the marking page says of marks from another reach.
fn carry_words() -> Value {
    json!({
        "bring": mark::BRING,
        "proposed_how": "Found by its looks in another reach. Is it on the spot? Confirm it, or move it.",
        "carried_how": "Brought over from another reach and confirmed. Moved, it becomes a mark of your own.",
        "bring_anew": "Bring them over anew",
        "and": " and the ",
        "what": "The {from} has marks by hand. The same spots can be looked for here: what errs alike in two reaches \
                 cancels in their difference.",
        "older": "The marks that these came from were moved or removed since: {names}. Until they are brought over anew they \
                  count as marks of their own.",
        "busy": "Looking for the same spots…",
        "found": "{n} found. Look at each before you confirm it.",
        "none": "None of the spots was found here.",
        "confirmed": "Confirmed.",
        "failed": "The marks could not be brought over. Try again, or mark by hand.",
        "left_one": "{name}: {why}",
        "behind_one": "{n} of the {reach}",
    })
}

/// What the marking page says of following a clip.
fn follow_words() -> Value {
    json!({
        "start": mark::FOLLOW_START,
        "anew": mark::FOLLOW_ANEW,
        "can": "The arm can be followed through the clip from these marks. Its curve then takes you to any moment.",
        "lacks": "Once all of these are marked on one frame, the arm can be followed through the clip: {names}.",
        "waiting": "Another clip is being followed. This one comes next.",
        "older": "Marks were moved since this was followed.",
        "nothing": "Nothing could be followed from these marks. Mark another moment, or go on without.",
        "done": "The clip is followed. The curve takes you to any moment.",
        "stopped": "Following was stopped.",
        "trouble": "The clip could not be followed. Is Tworeach still running? Try again.",
    })
}

/// What the marking page says along the curve of a followed clip.
fn curve_words() -> Value {
    json!({
        "angle": "{angle}° on the picture",
        "held": "{angle}° on the picture, held",
        "unknown": mark::unseen(&[], true),
        "start": "start",
        "end_range": "end range",
        "second": "{s} s",
    })
}

pub mod result;

/// What to do about a check that is not in order, by the check's name. Common practice, no source.
#[must_use]
pub fn check(name: &str) -> (&'static str, &'static str) {
    match name {
        "elbow_straight" => ("Elbow straight", "Film again with the elbow straight, or look at the elbow's mark."),
        "bar_level" => ("Bar level", "Film again with the bar level, both hands at the same height."),
        "view_as_stated" => {
            ("Side as stated", "Check which side faces the camera and whether the picture is mirrored.")
        }
        "marks_agree" => ("Marks agree", "Look at the named mark again, closer up, and move it if it is off."),
        "pain_free" => ("Free of pain", "Stop here. A reach that ends with pain says nothing about length."),
        "back_flat" => {
            ("Back and ribs flat", "Film again with the low back and ribs kept down, and answer the question.")
        }
        "held" => ("Held at the top", "Film again and hold the bar still at the top for a second."),
        "same_grip" => ("Same grip", "Put tape on the bar and keep the hands on it, then film the reach again."),
        "trunk_still" => ("Trunk still", "Film again with the back against the edge of the wall in both reaches."),
        "camera_unmoved" => ("Camera unmoved", "Leave the phone where it is between the reaches."),
        "same_person_and_bar" => ("Same person and bar", "Check that the clips belong to this client and this bar."),
        "two_takes" => {
            ("Two takes", "Check that each reach has its own clip, and exchange the one that is there twice.")
        }
        _ => ("Check", ""),
    }
}

/// What a check says where its question on the marking page is not answered.
#[must_use]
pub fn not_answered(name: &str) -> Option<&'static str> {
    match name {
        "back_flat" => Some("Nobody said yet whether the low back and ribs stayed flat."),
        "pain_free" => Some("Nobody said yet whether it hurt, and what stopped the reach."),
        _ => None,
    }
}

/// What would tell how a check comes out that these marks leave open. Common practice, no source.
#[must_use]
pub fn open_check(name: &str) -> &'static str {
    match name {
        "back_flat" | "pain_free" => "Answer the question on the marking page.",
        "same_grip" => "Mark both wrists in both reaches, or tape the bar and say so on the visit's sheet.",
        _ => "",
    }
}

/// Deleting.
pub mod delete {
    pub const WHAT_GOES: &str = "What goes";
    pub const FOREVER: &str = "This cannot be undone. Nothing is kept in a bin.";
    pub const CODE: &str = "Type the client's code to confirm";
    pub const CASE: &str = "intake and plan";
    pub const DO_CLIENT: &str = "Delete for good";
    pub const TITLE_REACH: &str = "Remove this clip and its marks?";
    pub const TITLE_VISIT: &str = "Delete this visit?";
    pub const DO_VISIT: &str = "Delete for good";
    pub const DO_REACH: &str = "Remove for good";
    pub const CLIP: &str = "The clip";
    pub const KEPT: &str = "The clip itself stays, because another reach uses the same file.";

    /// The page's heading.
    #[must_use]
    pub fn title(code: &str) -> String {
        format!("Delete client {code}?")
    }

    /// A count with its word.
    #[must_use]
    pub fn count(count: usize, one: &str, many: &str) -> String {
        format!("{count} {}", if count == 1 { one } else { many })
    }
}

pub mod guide;

/// What is shown in place of a page.
pub mod error {
    pub const BACK: &str = "Go to the clients";

    /// The status code, for whoever is asked for help.
    #[must_use]
    pub fn code(status: u16) -> String {
        format!("Code {status}")
    }

    /// The heading for a status code.
    #[must_use]
    pub const fn title(status: u16) -> &'static str {
        match status {
            401 | 403 => "This window may not do that",
            404 => "There is nothing here",
            409 => "Not yet",
            413 => "That file is too large",
            400..=499 => "That did not work",
            _ => "Something went wrong here",
        }
    }
}
