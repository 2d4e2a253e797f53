//! `/alone` and `/visits/{id}/alone`: the screen by oneself at home, in plain words. How to do it, and when to see someone, is
//! common practice, no source.

pub const TITLE_START: &str = "Screen yourself, step by step";
pub const LEAD_START: &str = "A quarter of an hour with a phone, a light bar, a stool and the edge of a wall. First some questions: if one \
                              answer is yes, this is not the right thing to do today.";
pub const SIGNS: &str = "Do you have any of these?";
pub const YOU: &str = "You";
pub const CODE_HINT: &str = "A short code of your own, such as R07. Not your name.";
pub const START: &str = "Go on";
pub const TITLE: &str = "Step by step";
pub const OFFER: &str = "On your own at home?";
pub const OFFER_TEXT: &str =
    "A shorter way with more help: two clips, a few points to mark, and the answer in plain words.";
pub const OFFER_BUTTON: &str = "Screen yourself, step by step";
pub const VISIT_BUTTON: &str = "A screen alone, step by step";
pub const TO_SHEET: &str = "The whole sheet of this visit";
pub const DONE: &str = "done";
pub const NOW: &str = "now";
pub const LATER: &str = "later";
pub const STEP_SIGNS: &str = "Danger signs";
pub const STEP_SIGNS_DONE: &str = "Asked, and nothing speaks against it. Stop all the same at the first pain.";
pub const STRETCH_NEXT: &str =
    "Stretch as a clinician or coach has shown you, then film the same two reaches again from the same place.";
pub const TO_AFTER: &str = "Bring in the clips after the stretch";
pub const STEP_FILM: &str = "Film two clips";
pub const FILM: [&str; 5] = [
    "Stand the phone side on, about 3 m away, at shoulder height, and don't touch it again.",
    "Sit with your spine along the edge of a wall. The whole bar, your hip and the edge must be in the picture.",
    "Take the bar palms down, elbows straight. Raise it as high as it goes, hold still for a second, lower it. Three times.",
    "The same with the palms up and the hands just as far apart. Tape on the bar helps.",
    "Low back and ribs stay down. If anything hurts, stop: a reach that ends in pain says nothing.",
];
pub const FILM_MORE: &str = "The same with drawings";
pub const STEP_DOWN: &str = "Bring in the clip with the palms down";
pub const STEP_UP: &str = "Bring in the clip with the palms up";
pub const STEP_MARK_DOWN: &str = "Mark the clip with the palms down";
pub const STEP_MARK_UP: &str = "Mark the clip with the palms up";
pub const MARK_HOW: &str = "Go to the moment where the bar is highest and still. Then press on each point that is asked for. The drawing shows \
                            where it is; zoom in, and take your time: a point that is off by a finger's breadth turns the answer.";
pub const MARK_HELP: &str = "How to find each point";
pub const MARK: &str = "Mark the points";
pub const PALMS: &str = "Look at the palms";
pub const STEP_RESULT: &str = "See the answer";
pub const RESULT: &str = "See the answer";
pub const TITLE_RESULT: &str = "The answer";
pub const MEASURED: &str = "What was measured";
pub const MEANS: &str = "What it means";
pub const MEANS_NOT: &str = "What it doesn't mean";
pub const SEE: &str = "When to see someone";
pub const NOTHING_YET: &str = "There is no answer yet: both clips must be marked first.";
pub const BACK: &str = "Back to the steps";
pub const REPORT: &str = "All numbers and the report";
pub const DECIDED: &str = "How this was decided";
pub const NEXT: &str = "Next";

pub const POSITIVE: &str = "With the palms up you reach less far";
pub const NEGATIVE: &str = "Both ways reach about as far";
pub const INCONCLUSIVE: &str = "These clips can't tell";
pub const NOT_COMPARABLE: &str = "These two clips can't be compared";

pub const POSITIVE_MEANS: &str = "The muscle that runs from the side of the back to the arm (latissimus dorsi) is likely to be short, and to \
                                  hold the turned-out arm back. Somebody with a sore elbow can then stretch it and film again: that shows \
                                  whether stretching helps.";
pub const NEGATIVE_MEANS: &str = "That muscle is not what holds the arm back. If the elbow is sore, look for the reason elsewhere; stretching \
                                  the back muscle is not likely to change it.";
pub const OPEN_MEANS: &str = "Neither yes nor no. Guessing would be no help, so no answer is given.";
pub const MEANS_NOT_TEXT: [&str; 3] = [
    "It is not a diagnosis: it doesn't say why anything hurts, nor that anything is torn, worn or out of place.",
    "It doesn't say that you may load the arm. Pain decides that, and what a clinician says.",
    "One screen is one day. The clips, your marks and how you sat are in it.",
];
pub const SEE_TEXT: [&str; 4] = [
    "Chest pain or trouble getting your breath: call the emergency number now.",
    "Soon: numbness or weakness in arm or hand, a pop you felt, swelling, a joint that is hot or locks, fever, pain that wakes you, a fall.",
    "In the next days: pain that gets worse from day to day, or that stays although you do less.",
    "In any case before you train on if six weeks have brought no change.",
];

/// The difference in a sentence.
#[must_use]
pub fn difference(value: &str, interval: &str) -> String {
    format!(
        "Palms up against palms down: {value}. With 95 % confidence it lies between {}.",
        interval.replacen(" to ", " and ", 1)
    )
}

/// What the margin is.
#[must_use]
pub fn margin(margin: &str) -> String {
    format!("Differences smaller than {margin} are taken for none. A minus means that the palms-up reach ends lower.")
}

/// A code that is there already: at home it is mostly the own one of the time before.
#[must_use]
pub fn code_taken(code: &str) -> String {
    format!(
        "{code} is there already. If it is you, open it under Clients and choose \"{VISIT_BUTTON}\"; if not, choose another code."
    )
}

/// Points that are still missing.
#[must_use]
pub fn missing(names: &str) -> String {
    format!("Still missing: {names}.")
}
