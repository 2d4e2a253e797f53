//! `/clients/{code}/intake` and its visits. What is asked is common practice, no source.

use crate::plan::{IntakeVisit, PainPlace, PainSpot, Provocation, Resisted, UlnarNerve, Valgus};

pub const TITLE: &str = "Intake";
pub const TITLE_NEW: &str = "First questions";
pub const TITLE_PERSON: &str = "Correct the intake";
pub const TITLE_VISIT: &str = "Questions of a visit";
pub const LEAD_NEW: &str =
    "What hurts, what sets it off and what it should lead back to. The plan begins with these answers.";
pub const LEAD_VISIT: &str = "The same few questions each time show where things are going.";
pub const WHERE: &str = "Where does it hurt?";
pub const SIDE: &str = "Which side is sore?";
pub const SPOTS: &str = "Spots";
pub const SPOTS_HINT: &str = "Press a spot on the drawing, or tick it in the list.";
pub const DRAWING_RIGHT: &str = "right";
pub const DRAWING_LEFT: &str = "left";
pub const PROVOKED: &str = "What brings it on?";
pub const WEEKS: &str = "For how many weeks?";
pub const WEEKS_HINT: &str = "Whole weeks from when it began to the first visit.";
pub const LIFE: &str = "Work, sport and goals";
pub const WORK: &str = "Work (optional)";
pub const SPORT: &str = "Sport (optional)";
pub const CARE: &str = "What was done for it so far? (optional)";
pub const GOALS: &str = "What should be possible again? (optional)";
pub const ONE_A_LINE: &str = "In the client's own words, one thing a line.";
pub const ACTIVITIES: &str = "Activities to rate";
pub const ACTIVITIES_HINT: &str = "Up to three that matter most. Each is rated from 0 to 10 at every visit.";
pub const NOW: &str = "Today";
pub const THAT_DAY: &str = "The visit";
pub const ON: &str = "Day of the visit";
pub const ON_HINT: &str = "An earlier day, if this is entered afterwards.";
pub const PAIN_HINT: &str = "0 is none, 10 the worst there could be.";
pub const AT_REST: &str = "Pain at rest";
pub const IN_USE: &str = "Pain in use";
pub const ON_PRESSING: &str = "Pain on pressing the spot";
pub const RATING_HINT: &str = "0 is cannot do it, 10 is as before.";
pub const FINDINGS: &str = "What the clinician found";
pub const FINDINGS_HINT: &str = "For a licensed clinician. Leave out what was not looked at.";
pub const FLEXION: &str = "Wrist flexion against resistance";
pub const PRONATION: &str = "Pronation against resistance";
pub const VALGUS: &str = "Stress of the elbow's inner side";
pub const ULNAR: &str = "Ulnar nerve at the elbow";
pub const GRIP_LEFT: &str = "Grip without pain, left, kg";
pub const GRIP_RIGHT: &str = "Grip without pain, right, kg";
pub const GRIP_HINT: &str = "One number a try, such as 31 33 32.";
pub const NOT_LOOKED_AT: &str = "not looked at";
pub const SAVE: &str = "Save";
pub const VISITS: &str = "Visits";
pub const ASK: &str = "Ask again today";
pub const CORRECT: &str = "Correct";
pub const CORRECT_PERSON: &str = "Correct these answers";
pub const TO_PLAN: &str = "Go to the plan";
pub const REPEATED: &str = "Told at the first visit";
pub const BY_CLINICIAN: &str = "Found by a clinician";
pub const ALARM: &str = "A clinician should look at this before anything is loaded:";
pub const OTHER_SIDE: &str =
    "The side of these answers is not the side of the client any more. Correct one of the two.";
pub const NO_VISIT_BEFORE: &str = "no visit of this client is on that day";

/// One of the activities that are rated.
#[must_use]
pub fn activity(number: usize) -> String {
    format!("Activity {number} (optional)")
}

#[must_use]
pub fn alarm(finding: &str) -> String {
    format!("{ALARM} {finding}.")
}

#[must_use]
pub const fn place(place: PainPlace) -> &'static str {
    match place {
        PainPlace::InnerElbowTip => "tip of the inner elbow",
        PainPlace::FlexorMass => "muscle of the inner forearm",
        PainPlace::Shoulder => "shoulder",
    }
}

#[must_use]
pub fn spot(spot: PainSpot) -> String {
    format!("{}, {}", if spot.is_left { "Left" } else { "Right" }, place(spot.place))
}

#[must_use]
pub const fn provocation(provocation: Provocation) -> &'static str {
    match provocation {
        Provocation::WideBarOnBack => "A bar on the back, hands wide",
        Provocation::PullingUp => "Pulling up",
        Provocation::Gripping => "Gripping",
        Provocation::Throwing => "Throwing",
        Provocation::Pressing => "Pressing",
        Provocation::Rowing => "Rowing",
        Provocation::Other => "Something else",
    }
}

#[must_use]
pub const fn resisted(found: Resisted) -> &'static str {
    match found {
        Resisted::Clear => "strong, no pain",
        Resisted::Painful => "strong, painful",
        Resisted::Weak => "weak, no pain",
        Resisted::PainfulAndWeak => "weak and painful",
    }
}

#[must_use]
pub const fn valgus(found: Valgus) -> &'static str {
    match found {
        Valgus::Clear => "firm, no pain",
        Valgus::Painful => "firm, painful",
        Valgus::Gaps => "opens up",
    }
}

#[must_use]
pub const fn ulnar(found: UlnarNerve) -> &'static str {
    match found {
        UlnarNerve::Clear => "no sign",
        UlnarNerve::Tingling => "tingling in ring and little finger",
        UlnarNerve::Weak => "weak or wasted hand",
    }
}

/// What contradicts the affected side.
#[must_use]
pub fn other_side(spot: &str, side: &str) -> String {
    format!("\"{spot}\" does not go with the {side}: untick it, or choose both sides")
}

/// Where the answers name another side than the client.
#[must_use]
pub fn not_the_clients(side: &str) -> String {
    format!("the client is recorded with the {side}: choose that, or correct the client first")
}

pub const PAIN_NOWHERE: &str = "there is pain, but no spot: say where it hurts, or set all three pains to 0";
pub const SAME_ACTIVITY: &str = "is there twice: name each activity once";
pub const REST_ABOVE: &str = "Pain at rest and in use";
pub const REST_ABOVE_AGREED: &str = "Yes, so it is";
pub const WORSE_AT_REST: &str = "Pain at rest was well above pain in use: tell a licensed clinician.";

/// What is asked where resting hurts much more than using.
#[must_use]
pub fn rest_above(visit: &IntakeVisit) -> String {
    format!(
        "Pain at rest is {} and pain in use {}. If one of them is a slip, correct it. If it is so, tell a licensed clinician: pain that is \
         worse at rest than in use is not what this plan is made for.",
        visit.pain_at_rest, visit.pain_in_use
    )
}

/// A visit too far back to be one of this course.
#[must_use]
pub fn long_ago(on: &str, earliest: &str) -> String {
    format!("{on} is before {earliest}, twenty years ago: a course runs over weeks, so look at the year")
}
pub const CHANGED_MEANWHILE: &str = "this visit was corrected since this form was opened: look at it in another tab, then save again to put this in its place";
pub const RATINGS: &str = "What happens to ratings of earlier visits";
pub const RATINGS_AGREED: &str = "Yes, so it is";
pub const RATING_OF_NOTHING: &str = "rates an activity that has no name: name it, or take the rating back";

/// What becomes of the ratings of an activity that is named no more.
#[must_use]
pub fn moved(before: &str, name: Option<&str>) -> String {
    match name {
        Some(name) => format!("\"{before}\" is called \"{name}\" now, and its ratings stay with it."),
        None => format!("\"{before}\" is given up, and its ratings of all visits are deleted."),
    }
}
