//! `/clients/{code}/log`. Nothing in it blames anybody for what was not done.

pub const TITLE: &str = "Log";
pub const TITLE_NEW: &str = "Add a session of another day";
pub const TITLE_ENTRY: &str = "Correct an entry";
pub const DUE: &str = "Due today";
pub const NOTHING_DUE: &str = "Nothing is due today. Rest is part of the plan.";
pub const NOTHING_BEFORE_CLINICIAN: &str = "Nothing is due today. A clinician should look first, as is said above: rest what hurts until then. Once a \
                                            licensed clinician has looked, that is noted under \"Plan and next session\". What was done \
                                            before can be entered below.";
pub const AS_PROPOSED: &str = "Done as proposed, without pain";
pub const DIFFERENT: &str = "It hurt, or it was different";
pub const NOT_TODAY: &str = "Not today";
pub const HOW: &str = "How to do it";
pub const SAVE: &str = "Save";
pub const MORNINGS: &str = "The morning after";
pub const MORNING_HINT: &str = "0 is none, 10 the worst there could be. What comes next rests on it.";
pub const LATEST: &str = "Latest entries";
pub const ALL: &str = "All entries";
pub const NO_ENTRY: &str = "No entry yet.";
pub const CATCH_UP: &str = "Add a session of another day";
pub const CORRECT: &str = "Correct";
pub const DELETE: &str = "Delete this entry";
pub const DELETE_HOW: &str = "The plan goes on as if it had never been there.";
pub const DELETE_DO: &str = "Delete for good";
pub const ADHERENCE: &str = "The last four weeks";
pub const FILES: &str = "As a table";
pub const FILES_TEXT: &str = "For a spreadsheet: one row a session. In a file that comes in, rows of a day and stage take the place of \
                              what is here for that day and stage; all else stays.";
pub const DOWNLOAD: &str = "Download the log (CSV)";
pub const UPLOAD: &str = "Bring a log in";
pub const FILE: &str = "Log as CSV";
pub const FILE_HINT: &str = "With the columns of the download, at most 1 MB.";
pub const INTAKE_FIRST: &str = "The log begins with the intake: it says when the first visit was.";
pub const TO_INTAKE: &str = "Begin with the intake";
pub const NOT_DUE: &str = "What is due later, and why";
pub const ENTERED_TODAY: &str = "entered today";
pub const DAY: &str = "Day";
pub const STAGE: &str = "What was done";
pub const DONE: &str = "Was it done?";
pub const LOAD: &str = "Load";
pub const SETS: &str = "Sets";
pub const REPETITIONS: &str = "Repetitions a set";
pub const SECONDS: &str = "Seconds held";
pub const PAIN: &str = "Most pain during it";
pub const PAIN_HINT: &str = "0 is none, 10 the worst there could be.";
pub const MORNING: &str = "Pain the next morning";
pub const SIGN: &str = "Did one of these come up?";
pub const SIGN_NONE: &str = "none of them";
pub const NOTE: &str = "Note (optional)";
pub const NOT_KNOWN: &str = "not known";
pub const EMPTY_HINT: &str = "Empty means as proposed.";
pub const NO_DAY: &str = "choose the day";
pub const CHANGED_MEANWHILE: &str = "this entry was corrected since this form was opened: look at it in another tab, then save again to put this in its place";
pub const MISTAKEN: &str = "Was that a mistake?";
pub const MISTAKEN_AGREED: &str = "It was typed wrong: there was no such pain";
pub const STOPS_THE_PLAN: &str = "this entry tells of pain that stops the plan until a licensed clinician has looked: if it was typed wrong, correct \
                                  the pain first, then delete the entry";
pub const MORNING_WORSE: &str =
    "more pain is noted for that morning already: correct its entry if that was typed wrong";
pub const NOT_YET_MORNING: &str = "the morning after that day has not come yet";
pub const STOPPED: &str =
    "while a danger sign stands open nothing is done today; a session of an earlier day can be added";

/// The hint of a load by what it is.
#[must_use]
pub fn load_hint(accepted: &str) -> String {
    format!("{accepted}. {EMPTY_HINT}")
}

#[must_use]
pub fn morning_after(date: &str, stages: &str) -> String {
    format!("Pain on the morning after {date} ({stages})")
}

/// What a correction takes back: pain during a session, and on the morning after.
#[must_use]
pub fn takes_back(pain: [Option<u8>; 2]) -> Option<String> {
    let told = match pain {
        [None, None] => return None,
        [Some(during), None] => format!("Pain {during} of 10 during the session"),
        [None, Some(morning)] => format!("Pain {morning} of 10 on the next morning"),
        [Some(during), Some(morning)] => {
            format!("Pain {during} of 10 during the session, and {morning} on the next morning,")
        }
    };
    Some(format!("{told} was entered, which stops the plan until a licensed clinician has looked."))
}

/// What stays in the note of an entry whose pain was taken back.
#[must_use]
pub fn entered_first(pain: [Option<u8>; 2]) -> String {
    let parts: Vec<String> = [(pain[0], "during"), (pain[1], "the next morning")]
        .into_iter()
        .filter_map(|(pain, when)| pain.map(|pain| format!("{pain} {when}")))
        .collect();
    format!("(First entered by mistake: pain {}.)", parts.join(", "))
}

/// A row that takes back pain which stops the plan.
#[must_use]
pub fn row_takes_back(stage: &str, date: &str) -> String {
    format!(
        "\"{stage}\" of {date} was entered with pain that stops the plan, and the file has less: if that was typed wrong, correct it \
         in its entry"
    )
}

#[must_use]
pub fn due_on(date: &str) -> String {
    format!("from {date}")
}

#[must_use]
pub fn not_a_day(found: &str) -> String {
    format!("\"{found}\" is no day, expected one such as 2026-11-05")
}

#[must_use]
pub fn is_there(stage: &str, date: &str) -> String {
    format!("\"{stage}\" of {date} is in the log already: correct that entry where something was different")
}

#[must_use]
pub fn in_future(found: &str, today: &str) -> String {
    format!("{found} is in the future: today is {today}")
}

#[must_use]
pub fn before_first(first: &str, logged: &str) -> String {
    format!(
        "the first visit would be on {first}, but the log has an entry of {logged}: nothing is done before the first visit"
    )
}

#[must_use]
pub fn not_whole(label: &str, found: Option<&str>, most: u16) -> String {
    match found {
        Some(found) => format!("{label} is \"{found}\", expected a whole number from 0 to {most}"),
        None => format!("{label}: choose or type a whole number from 0 to {most}"),
    }
}

#[must_use]
pub fn not_grip(label: &str, found: &str, most: f64) -> String {
    format!("{label} has \"{found}\", expected numbers from 0 to {most} kg")
}

/// The label of a field, for a fault that names it.
#[must_use]
pub fn field(name: &str) -> String {
    use super::intake;
    let label = match name {
        "day" => DAY,
        "stage" => STAGE,
        "done" => DONE,
        "load" => LOAD,
        "sets" => SETS,
        "repetitions" => REPETITIONS,
        "seconds" => SECONDS,
        "pain_during" => PAIN,
        "pain_next_morning" | "pain" => MORNING,
        "danger_sign" => SIGN,
        "note" => "Note",
        "weeks_since_onset" => intake::WEEKS,
        "pain_at_rest" => intake::AT_REST,
        "pain_in_use" => intake::IN_USE,
        "pain_on_pressing" => intake::ON_PRESSING,
        "affected_side" => intake::SIDE,
        "spots" => intake::SPOTS,
        "work" => intake::WORK,
        "sport" => intake::SPORT,
        "goals" => intake::GOALS,
        "earlier_care" => intake::CARE,
        "activity_1" => "Activity 1",
        "activity_2" => "Activity 2",
        "activity_3" => "Activity 3",
        "on" => intake::ON,
        "resisted_wrist_flexion" => intake::FLEXION,
        "resisted_pronation" => intake::PRONATION,
        "valgus_stress" => intake::VALGUS,
        "ulnar_nerve" => intake::ULNAR,
        "grip_left_kg" => intake::GRIP_LEFT,
        "grip_right_kg" => intake::GRIP_RIGHT,
        "rating_1" => "Rating of activity 1",
        "rating_2" => "Rating of activity 2",
        "rating_3" => "Rating of activity 3",
        other => other,
    };
    label.trim_end_matches(" (optional)").trim_end_matches('?').to_owned()
}
