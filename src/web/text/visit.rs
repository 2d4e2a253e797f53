//! `/visits/{id}`.

pub const TITLE: &str = "Visit";
pub const SHEET: &str = "The two reaches, before and after";
pub const NEXT: &str = "Next";
pub const RESULT: &str = "See the result";
pub const EXPORT_HEADING: &str = "Keep a copy";
pub const STILL: &str = "Picture from the clip";
pub const NONE: &str = "none";
pub const EXPORT: &str = "Take the visit with you (.zip)";
pub const EXPORT_TEXT: &str = "Case, marks and clips in one file, for the archive or another computer.";
pub const EMPTY: &str = "No clip yet";
pub const FILMED: &str = "Filmed, not marked";
pub const MARKED: &str = "Marks not complete";
pub const MEASURED: &str = "Measured";
pub const CONTRARY: &str = "Not measured: the palms face the other way";
pub const FILM: &str = "Add the clip";
pub const ANOTHER_VIEW: &str = "Add another view";
pub const CONFIRM_PALMS: &str = "Check the palms";
pub const FILM_AGAIN: &str = "Palms face the other way";
pub const MARK: &str = "Place the marks";
pub const FINISH_MARKS: &str = "Finish the marks";
pub const ANSWER: &str = "Answer three questions";
pub const MARK_AGAIN: &str = "Mark again, blind";
pub const CORRECT: &str = "Correct the marks";
pub const REMOVE: &str = "Remove";
pub const FACTS: &str = "Not this reach?";
pub const DELETE: &str = "Delete this visit";
pub const PALMS_UNCLEAR: &str = "The palms could not be seen: the call takes this place for right.";
pub const PALMS_AGAIN: &str = "Look at the palms again";
pub const FILE: &str = "Clip or picture";
pub const FILE_HINT: &str = "MP4 or MOV from a phone, or a JPEG or PNG picture, up to 2 GB.";
pub const VIEW: &str = "Filmed";
pub const NEAR: &str = "Side of the body that faces the camera";
pub const NEAR_LEFT: &str = "Left";
pub const NEAR_RIGHT: &str = "Right";
pub const NEAR_NONE: &str = "Front view: neither";
pub const MIRRORED: &str = "Selfie camera: the picture is mirrored";
pub const UPLOAD: &str = "Bring it in";
pub const UPLOADING: &str = "Copying the clip, {percent} %";
pub const CHECKING: &str = "Looking through the clip…";
pub const TOO_LARGE: &str = "This file is larger than 2 GB. Cut it to the raises first, on the phone.";
pub const UPLOAD_FAILED: &str = "The clip did not get through. Is Tworeach still running? Try again.";
pub const SETTINGS: &str = "Bar, margin and camera";
pub const BAR: &str = "Length of the bar, mm";
pub const BAR_HINT: &str = "End to end. Helps most in a front view.";
pub const TAPED: &str = "The hands were on the same tape marks in every reach";
pub const MARGIN: &str = "Margin, degrees";
pub const MARGIN_HINT: &str = "The smallest difference that counts. 3 is common practice, without a published source.";
pub const PROFILE: &str = "Lens profile";
pub const PROFILE_HINT: &str =
    "Contents of the phone's .camera.json file, from calibration. Leave it empty if you have none.";
pub const PROFILE_KEPT: &str = "Choose one of the lens profiles on this computer";
pub const PROFILE_MAKE: &str = "Make a lens profile";
pub const PROFILE_FILE: &str = "Choose a lens profile";
pub const PROFILE_NOW: &str = "In use:";
pub const PROFILE_NONE: &str = "None: a usual phone lens is assumed, and the answer is less sharp.";
pub const REMOVE_PROFILE: &str = "Stop using this profile";
pub const SAVE: &str = "Save";
pub const ALL_DONE: &str = "All four reaches are measured.";
pub const NOT_ALL_MEASURED: &str =
    "Nothing is left to mark, but not every reach could be measured: the reason stands beside it.";
pub const PAIN_STOPS: &str =
    "It hurt too much: stop here and do not reach again today. See a licensed clinician if it does not settle.";

pub const STEADY: &str = "How steady your hand is";

/// How far marks spread.
#[must_use]
pub fn steady(spread: &str, interval: &str) -> String {
    format!(
        "Placed again without a sight of the first, your marks spread by {spread} px in each direction (standard deviation \
         at 1280 px across, 95 % interval {interval})."
    )
}

/// What that does to an angle.
#[must_use]
pub fn steady_angle(sem: &str, least: &str) -> String {
    format!(
        "That moves the angle between arm and trunk on the picture by {sem}° (standard error of measurement): between two \
         markings, less than {least}° may be the hand alone."
    )
}

/// The measurement's own assumption holds.
#[must_use]
pub fn as_assumed(assumed: &str) -> String {
    format!("The measurement takes {assumed} px for granted, which these repeats do not speak against.")
}

/// It does not.
#[must_use]
pub fn worse_than_assumed(assumed: &str) -> String {
    format!(
        "The measurement takes {assumed} px for granted, and your marks spread more: its intervals are too narrow. Go closer up \
         to each mark, and mark again."
    )
}

/// Landmarks that are still wanted.
#[must_use]
pub fn missing(names: &str) -> String {
    format!("Still to mark: {names}.")
}
