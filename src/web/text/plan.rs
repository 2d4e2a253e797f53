//! `/clients/{code}/plan`. What the plan itself says comes from the plan's file.

use crate::plan::PainRule;

pub const PAIN_TAKEN: &str = "Pain limit";
pub const CHANGED_MEANWHILE: &str = "the plan was changed since this form was opened: look at it in another tab, then save again to put this in its place";
pub const TITLE: &str = "Plan and next session";
pub const TITLE_EDIT: &str = "Doses and limits";
pub const LEAD_EDIT: &str = "What you save is checked as a whole: if a part contradicts another, nothing is changed.";
pub const NEXT: &str = "Next session";
pub const STAGES: &str = "Stages";
pub const TO_LOG: &str = "Enter what was done";
pub const CLINICIAN: &str = "See a clinician";
pub const CLINICIAN_TEXT: &str = "The plan stands still until a licensed clinician has looked.";
pub const CLEAR: &str = "A clinician has looked";
pub const CLEAR_TEXT: &str = "Only for a licensed clinician. A decision answers what came up before its day: what was entered today \
                              is answered from tomorrow on.";
pub const CLEAR_REASON: &str = "Why the plan may go on";
pub const CLEAR_TICK: &str = "I am a licensed clinician and have looked at this client.";
pub const CLEAR_DO: &str = "Let the plan go on";
pub const CLEAR_NOT_CLINICIAN: &str = "only a licensed clinician may do this: tick the box if you are one";
pub const CLEAR_NO_REASON: &str = "write down why the plan may go on";
pub const CLEAR_STOPPED: &str = "nothing was noted, since this alone would not let the plan go on: a danger sign stands open, and a \
                                 licensed clinician answers that first, in the danger signs";
pub const CLEAR_TO_MEND: &str =
    "nothing was noted, since the plan proposes nothing until it is mended: mend it first, then decide";
pub const TO_MEND: &str = "This plan has to be mended";
pub const TO_MEND_TEXT: &str = "It was kept by an earlier version. Until it is mended nothing is proposed; what was done can be entered \
                                all the same.";
pub const MEND: &str = "Mend it in the form";
pub const CLEARED: &str = "A clinician last let the plan go on:";
pub const INTAKE_FIRST: &str = "The plan begins with the intake. Until then it proposes nothing; its stages are below.";
pub const TO_INTAKE: &str = "Begin with the intake";
pub const HOW: &str = "How";
pub const ALL_OF_IT: &str = "How, from when and until when";
pub const SHOW_RULES: &str = "Show the rules";
pub const FELT: &str = "What you feel";
pub const STOP: &str = "When to stop";
pub const ENTRY: &str = "When it begins";
pub const EXIT: &str = "What ends it";
pub const DOSES: &str = "Doses";
pub const DUE: &str = "Due";
pub const NOW: &str = "now";
pub const STANDING: &str = "Where it stands";
pub const RULES: &str = "What moves the dose";
pub const RULES_TEXT: &str = "The first of these that holds decides; if none does, the dose stays. Danger signs and severe pain come \
                              before all of them.";
pub const CHANGE: &str = "Change the plan";
pub const CHANGE_TEXT: &str = "For the clinician. Every dose, rule and limit here is common practice without a published source, but for \
                               the two pain rules that name one.";
pub const EDIT: &str = "Change doses and limits";
pub const DOWNLOAD: &str = "Download the plan (TOML)";
pub const UPLOAD: &str = "Bring a plan in";
pub const FILE: &str = "Plan as TOML";
pub const FILE_HINT: &str =
    "A changed download, for example: stages, rules and texts as well. It is checked before it is taken.";
pub const UNIT: &str = "Weights";
pub const IN_KG: &str = "Take weights in kg";
pub const IN_LB: &str = "Take weights in lb";
pub const UNIT_TEXT: &str = "The usual weights of that unit take the place of those in the plan.";
pub const PAIN: &str = "What pain is taken";
pub const PAIN_RULE: &str = "Rule";
/// The choice of a stage that has no limits of its own.
pub const AS_PLAN: &str = "as_plan";
pub const AS_PLAN_LABEL: &str = "As the plan";
pub const PAIN_STAGE: &str = "Pain limit of this stage";
pub const PAIN_OWN_HINT: &str = "These three count with your own limits alone.";
pub const SAFE: &str = "Safe up to";
pub const ACCEPTABLE: &str = "Acceptable up to";
pub const MORNING: &str = "The next morning up to";
pub const DAYS_BETWEEN: &str = "Days from session to session";
pub const TO_RISE: &str = "Sessions before a rise";
pub const EXIT_SESSIONS: &str = "Sessions that end it";
pub const ENTRY_PAIN: &str = "Begins with pain in use up to";
pub const EXIT_PRESSING: &str = "Ends with pressing pain up to";
pub const EMPTY_HINT: &str = "Empty: not asked for.";
pub const SETS: &str = "Sets";
pub const REPETITIONS: &str = "Repetitions";
pub const HOLD: &str = "Hold, s";
pub const LOWERING: &str = "Lowering, s";
pub const WEIGHT: &str = "Weight, kg";
pub const SHARE: &str = "Share of the usual, %";
pub const BAND: &str = "Band";
pub const IN_FILE: &str = "Rules, texts, names, the weights and bands that exist, the steps of a rise and which stages come first are \
                           changed in the plan's file: download the plan, change it, and bring it in.";
pub const FROM: &str = "from";
pub const TO: &str = "to";
pub const SAVE: &str = "Check and save";

#[must_use]
pub const fn pain_rule(rule: PainRule) -> &'static str {
    match rule {
        PainRule::PainFree => "Work without pain",
        PainRule::Thomee1997 => "Up to 2 safe, up to 5 acceptable (Thomeé 1997)",
        PainRule::Silbernagel2007 => "Up to 3 safe, up to 5 acceptable (Silbernagel 2007)",
        PainRule::Own => "Limits of your own",
    }
}

#[must_use]
pub fn step(at: usize, of: usize) -> String {
    format!("dose {at} of {of}")
}

#[must_use]
pub fn due(date: &str) -> String {
    format!("from {date}")
}

/// What a plan that does not take the client's log is refused with.
#[must_use]
pub fn not_of_log(fault: &str) -> String {
    format!("the log has an entry that this plan does not take: {fault}")
}

/// The quantity that a field of the form is about.
#[must_use]
pub fn field(name: &str) -> &'static str {
    let quantity = name.split('.').next().unwrap_or_default();
    match quantity.trim_end_matches("_from").trim_end_matches("_to") {
        "days_between" => DAYS_BETWEEN,
        "sessions_to_rise" => TO_RISE,
        "exit_sessions" => EXIT_SESSIONS,
        "sets" => SETS,
        "repetitions" => REPETITIONS,
        "hold" => HOLD,
        "lowering" => LOWERING,
        "weight" => WEIGHT,
        "share" => SHARE,
        "band" => BAND,
        "entry_pain" => ENTRY_PAIN,
        "exit_pressing" => EXIT_PRESSING,
        "safe_at_most" => SAFE,
        "acceptable_at_most" => ACCEPTABLE,
        "morning_at_most" => MORNING,
        _ => "",
    }
}

#[must_use]
pub fn not_a_count(place: &str, label: &str, found: &str, [least, most]: [u16; 2]) -> String {
    format!("{place}: {label} is \"{found}\", expected a whole number from {least} to {most}")
}

#[must_use]
pub fn not_a_weight(place: &str, label: &str, found: &str, most: f64) -> String {
    format!("{place}: {label} is \"{found}\", expected a number above 0 and up to {most}")
}

#[must_use]
pub fn not_a_band(place: &str, found: &str, bands: &[String]) -> String {
    format!("{place}: {BAND} is \"{found}\", expected one of {}", bands.join(", "))
}

#[must_use]
pub fn bands_backward(place: &str, [from, to]: &[String; 2]) -> String {
    format!("{place}: {BAND} goes from {from} to {to}, expected the lighter one first")
}

/// A phase of a stage.
#[must_use]
pub fn place(stage: &str, phase: &str) -> String {
    format!("{stage}, {phase}")
}

/// The limits of pain of a stage.
#[must_use]
pub fn pain_of(stage: &str) -> String {
    format!("{stage}, pain limit of this stage")
}

#[must_use]
pub fn limits_contradict(place: &str, [safe, acceptable]: [u8; 2], severe_from: u8) -> String {
    format!(
        "{place}: \"{SAFE}\" is {safe} and \"{ACCEPTABLE}\" {acceptable}, expected the first to be no more than the second, and both less \
         than {severe_from}, from where on a clinician looks first"
    )
}

#[must_use]
pub fn morning_too_high(place: &str, found: u8, severe_from: u8) -> String {
    format!(
        "{place}: \"{MORNING}\" is {found}, expected less than {severe_from}: from there on pain on the next morning stops the plan"
    )
}

#[must_use]
pub fn nothing_to_lift(place: &str, from: &str, to: &str) -> String {
    format!("{place}: no weight of this plan lies from {from} to {to}, expected a range with one at least")
}

#[must_use]
pub fn too_many_doses(place: &str, most: usize) -> String {
    format!("{place}: the ranges hold more than {most} doses, expected narrower ones")
}

#[must_use]
pub fn heavy_every_day(stage: &str) -> String {
    format!(
        "{stage}: \"{DAYS_BETWEEN}\" is 1, expected 2 or more: it has heavy work, which is never done on consecutive days"
    )
}

#[must_use]
pub fn never_rises(stage: &str) -> String {
    format!(
        "{stage}: it ends at its last dose, but no rule raises the dose there. Rules are changed in the plan's file: download the plan, \
         let a rule with then = \"up\" be for this stage too, and bring it in"
    )
}

/// A range that ends below where it begins.
#[must_use]
pub fn runs_backward(place: &str, label: &str, [from, to]: [f64; 2]) -> String {
    format!("{place}: {label} goes from {from} to {to}, expected the smaller number first")
}

#[must_use]
pub fn nothing_typed(place: &str, label: &str) -> String {
    format!("{place}: {label} is empty, expected a number")
}
