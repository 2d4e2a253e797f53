//! `/clients/new` and `/clients/{code}/screening`.

pub const TITLE_NEW: &str = "New client";
pub const TITLE_AGAIN: &str = "Danger signs";
pub const LEAD: &str =
    "Danger signs first. If any answer is yes, reaching overhead is not the right thing to do today.";
pub const SIGNS: &str = "Does the client have any of these?";
pub const EMERGENCY: &str = "Chest pain or trouble breathing is an emergency: call for emergency care now.";
pub const WHO: &str = "Who answers?";
pub const WHO_ANSWERED: &str = "Answered by";
pub const CLIENT: &str = "The client, or a coach with them";
pub const CLINICIAN: &str = "A licensed clinician";
pub const REASON: &str = "A clinician's reason to go on";
pub const REASON_HINT: &str = "Only if an answer is yes and you, as a licensed clinician, decide to go on. It is kept with \
                               the client and printed in the report, with the date.";
pub const PERSON: &str = "The client";
pub const CODE: &str = "Code";
pub const CODE_HINT: &str = "Letters, digits, hyphens. Never a real name.";
pub const SIDE: &str = "Which side is affected?";
pub const LEFT: &str = "Left";
pub const RIGHT: &str = "Right";
pub const BOTH: &str = "Both";
pub const STATURE: &str = "Standing height, mm (optional)";
pub const ARM: &str = "Arm length, shoulder to wrist, mm (optional)";
pub const LENGTHS_HINT: &str = "Makes the answer sharper.";
pub const TITLE_FACTS: &str = "Correct the client";
pub const LEAD_FACTS: &str = "All visits are measured anew with what you save here.";
pub const SAVE_FACTS: &str = "Save";
pub const SAVE_NEW: &str = "Save the client";
pub const SAVE_AGAIN: &str = "Save the answers";
