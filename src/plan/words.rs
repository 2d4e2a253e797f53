//! What the client reads of the plan: cautions, decisions, reasons, doses. All of it is here or in the plan's own texts, so that
//! it can be translated. A log is told without blame.

use super::danger::DangerSign;
use super::day::Day;
use super::decision::{BeforePause, Cause, Decision, Soreness};
use super::facts::Alarm;
use super::load::Load;
use super::log::LogEntry;
use super::model::{ExitAt, Mode, Phase, Plan, Rung, Stage};
use super::pain::{PainLimits, SEVERE_FROM, SEVERE_MORNING_FROM, Severe};
use super::stage_state::TooSoon;

/// What heads every proposal.
pub const CAUTIONS: &str = "Not a diagnosis. Stop on pain. See a licensed clinician for numbness, weakness, a pop, swelling, \
fever, night pain, or a recent injury or surgery.";

/// What follows a danger sign that may be an emergency.
pub const EMERGENCY: &str = "Chest pain or trouble getting your breath: call the emergency number now.";

/// The months, January first.
pub(crate) const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// A day as `5 November`.
#[must_use]
pub fn day_words(day: Day) -> String {
    let [_, month, date] = day.ymd();
    let month = usize::try_from(month - 1).ok().and_then(|month| MONTHS.get(month)).unwrap_or(&"");
    format!("{date} {month}")
}

/// Days as `3, 5 and 7 November`.
#[must_use]
pub fn days_words(days: &[Day]) -> String {
    let words: Vec<String> = days
        .iter()
        .enumerate()
        .map(|(at, day)| {
            let [_, month, date] = day.ymd();
            // the month is said once, at the end of its days
            let is_same_next = days.get(at + 1).is_some_and(|next| next.ymd()[1] == month);
            if is_same_next { date.to_string() } else { day_words(*day) }
        })
        .collect();
    match words.split_last() {
        None => String::new(),
        Some((last, [])) => last.clone(),
        Some((last, others)) => format!("{} and {last}", others.join(", ")),
    }
}

/// The decision in words.
#[must_use]
pub const fn decision_words(decision: Decision) -> &'static str {
    match decision {
        Decision::Start => "start",
        Decision::Up => "one step up",
        Decision::Hold => "the same again",
        Decision::Stay => "this dose for now",
        Decision::Down => "less",
        Decision::ChangeOfMode => "another way of doing it",
        Decision::StageDone => "stage done",
        Decision::Finished => "finished",
        Decision::SeeClinician => "see a clinician",
        Decision::Waiting => "not yet",
        Decision::NotNeeded => "not needed",
    }
}

/// How a dose is done, in words.
#[must_use]
pub const fn mode_words(mode: Mode) -> &'static str {
    match mode {
        Mode::Press => "pressing",
        Mode::Stretch => "stretching",
        Mode::Hold => "holding",
        Mode::LoweringOnly => "lowering only",
        Mode::LiftAndLower => "lifting and lowering",
        Mode::Move => "moving through",
    }
}

/// A dose such as `3 sets of 10, 2.5 kg, lowering over 5 s`.
#[must_use]
pub fn dose_words(rung: &Rung, phase: &Phase, bands: &[String]) -> String {
    let sets = if rung.sets == 1 { "1 set".to_owned() } else { format!("{} sets", rung.sets) };
    // once for so long needs no counting
    let is_single = rung.sets == 1 && rung.repetitions == 1 && rung.hold_s > 0;
    let mut words = if is_single { format!("{} s", rung.hold_s) } else { format!("{sets} of {}", rung.repetitions) };
    let load = rung.load.words(bands);
    match rung.load {
        Load::None => {}
        Load::Weight(_) => words.push_str(&format!(", {load}")),
        Load::Band(_) => words.push_str(&format!(", {load} band")),
        Load::Share(_) => words.push_str(&format!(", {load} of the usual")),
    }
    if rung.hold_s > 0 && !is_single {
        words.push_str(&format!(", {} s each", rung.hold_s));
    }
    if let Some(lowering_s) = phase.lowering_s {
        words.push_str(&format!(", lowering over {lowering_s} s"));
    }
    words
}

/// When a stage begins, as a sentence.
#[must_use]
pub fn entry_of_stage_words(stage: &Stage, plan: &Plan) -> String {
    let mut parts = Vec::new();
    let names: Vec<&str> =
        stage.entry.after.iter().filter_map(|id| plan.stage_at(id)).map(|at| plan.stages()[at].name.as_str()).collect();
    if let Some((last, others)) = names.split_last() {
        let list = if others.is_empty() { (*last).to_owned() } else { format!("{} and {last}", others.join(", ")) };
        parts.push(format!("what ends \"{list}\" is done"));
    }
    if stage.entry.screen_positive {
        parts.push("the overhead screen is positive".to_owned());
    }
    if let Some(pain) = stage.entry.pain_in_use_at_most {
        parts.push(format!("pain in use at a visit is {pain} or less"));
    }
    if parts.is_empty() { "Begins at once.".to_owned() } else { format!("Begins when {}.", parts.join(", and ")) }
}

/// What ends a stage, as a sentence.
#[must_use]
pub fn exit_of_stage_words(stage: &Stage) -> String {
    let sessions = stage.exit.sessions;
    let at = match stage.exit.at {
        ExitAt::Top => "its last dose",
        ExitAt::Any => "any dose",
    };
    let mut words = format!("Done after {sessions} whole sessions in a row at {at} without more pain than is safe");
    if let Some(pain) = stage.exit.pain_on_pressing_at_most {
        words.push_str(&format!(", once pressing the spot hurts {pain} or less at a visit"));
    }
    words.push_str(if stage.keep { ". It goes on at that dose." } else { "." });
    words
}

/// What pain a stage takes, and what it does to the dose.
#[must_use]
pub fn pain_limits_words(limits: PainLimits) -> String {
    let PainLimits { safe_at_most, acceptable_at_most, morning_at_most, .. } = limits;
    let during = match (safe_at_most, acceptable_at_most) {
        (0, 0) => "None during it: stop when it hurts, and the next dose is no higher.".to_owned(),
        (safe, most) if safe == most => {
            format!("At most {most} of 10 during it: stop when it is more, and the next dose is no higher.")
        }
        (safe, most) => format!(
            "At most {safe} of 10 during it for the dose to rise, and at most {most}: stop when it is more, and the next dose is no higher."
        ),
    };
    let morning = match morning_at_most {
        0 => "None the next morning.".to_owned(),
        most => format!("At most {most} the next morning."),
    };
    format!(
        "{during} {morning} From {SEVERE_FROM} on during it, or {SEVERE_MORNING_FROM} the next morning, a clinician looks first."
    )
}

/// The doses of a phase, from the first to the last.
#[must_use]
pub fn phase_words(stage: &Stage, phase: usize, plan: &Plan) -> String {
    let mut rungs = stage.rungs().iter().filter(|rung| rung.phase == phase);
    let bands = &plan.equipment().bands;
    let of = |rung: &Rung| dose_words(rung, &stage.phases[phase], bands);
    match (rungs.next(), rungs.next_back()) {
        (Some(first), Some(last)) => format!("from {} to {}", of(first), of(last)),
        (Some(only), None) => of(only),
        (None, _) => String::new(),
    }
}

/// An entry such as `5 November: 2.5 kg, 3 sets of 10, pain 0, 1 the next morning`.
#[must_use]
pub fn entry_words(entry: &LogEntry, bands: &[String]) -> String {
    let mut parts = Vec::new();
    if !entry.is_done {
        parts.push("not done".to_owned());
    }
    if entry.load != Load::None {
        parts.push(entry.load.words(bands));
    }
    match (entry.sets, entry.repetitions) {
        (Some(sets), Some(repetitions)) => parts.push(format!("{sets} x {repetitions}")),
        (Some(1), None) => parts.push("1 set".to_owned()),
        (Some(sets), None) => parts.push(format!("{sets} sets")),
        (None, Some(1)) => parts.push("1 repetition".to_owned()),
        (None, Some(repetitions)) => parts.push(format!("{repetitions} repetitions")),
        (None, None) => {}
    }
    if let Some(seconds) = entry.seconds {
        parts.push(format!("{seconds} s"));
    }
    if let Some(pain) = entry.pain_during {
        parts.push(format!("pain {pain}"));
    }
    match entry.pain_next_morning {
        Some(pain) => parts.push(format!("{pain} the next morning")),
        None if entry.is_done => parts.push("the next morning not recorded".to_owned()),
        None => {}
    }
    format!("{}: {}", day_words(entry.day), parts.join(", "))
}

/// Why, as a clause after "because".
#[must_use]
pub fn cause_words(cause: Cause, plan: &Plan) -> String {
    let name = |stage: usize| plan.stages().get(stage).map_or_else(String::new, |stage| format!("\"{}\"", stage.name));
    match cause {
        Cause::Rule(rule) => rule_words(rule, plan),
        Cause::Entry => "all that comes before it is in place".to_owned(),
        Cause::Exit => "the sessions that end this stage are done".to_owned(),
        Cause::Earlier => "the sessions that end this stage were done before".to_owned(),
        Cause::Top => "this is the last dose of the stage and what ends it is not complete".to_owned(),
        Cause::FirstDose(rule) => format!("{}, and this is the first dose", rule_words(rule, plan)),
        Cause::Lightest(rule) => format!("{}, and the plan has no lighter dose than this one", rule_words(rule, plan)),
        Cause::LightestTooHeavy(rule) => {
            format!("{}, and even the lightest dose of the plan is more than that", rule_words(rule, plan))
        }
        Cause::DoneLess => "no more is proposed than one step above what was done last".to_owned(),
        Cause::DoneMore => "more was done last than the plan has come to, and it goes one step at a time".to_owned(),
        Cause::CaughtUp => "the plan's next step is what was done last".to_owned(),
        Cause::InParts(rule) => format!(
            "{}: sets of one session that are entered apart are not added up, so enter them together",
            rule_words(rule, plan)
        ),
        Cause::NothingNear => {
            "even the lightest dose of the plan is more than one step above what was done last: the plan needs a lighter one"
                .to_owned()
        }
        Cause::SoreSince(day, soreness) => {
            let what = match soreness {
                Soreness::Pain(stage) => format!("{} hurt", name(stage)),
                Soreness::Sign(_, sign) => format!("a danger sign came up, {},", alarm_words(Alarm::Sign(sign))),
                Soreness::Visit(alarm) => format!("{} was noted at a visit", alarm_words(alarm)),
            };
            format!("{what} on {}, and nothing rises on what was done until then", day_words(day))
        }
        Cause::TooSoon(TooSoon::Between(days)) => {
            format!("a session sooner than {days} days after the one before does not count towards a rise")
        }
        Cause::TooSoon(TooSoon::Heavy) => {
            "heavy work of the forearm on consecutive days does not count towards a rise: leave a day between".to_owned()
        }
        Cause::Pressing(pain) => format!(
            "the sessions that end this stage are done, and what is missing is a visit at which pressing the spot hurts {pain} or less"
        ),
        Cause::Kept => "what ends this stage is done, and it goes on at its last dose".to_owned(),
        Cause::PainBefore(day) => {
            format!(
                "something hurt more than the plan takes on {}, and nothing new begins then or the day after",
                day_words(day)
            )
        }
        Cause::OtherStage(stage) => format!("a clinician should look at {} first", name(stage)),
        Cause::Alarm(day, alarm) => format!("{} was noted on {}", alarm_words(alarm), day_words(day)),
        Cause::After(stage) => format!("{} comes first", name(stage)),
        Cause::PainInUse => "it begins when pain in use, asked at a visit, is low enough".to_owned(),
        Cause::NoScreen => "it depends on the overhead screen, which has not been made".to_owned(),
        Cause::UnsettledScreen => "the overhead screen could not make the call: film the two reaches again".to_owned(),
        Cause::NegativeScreen => "the outward reach was not lower in the overhead screen".to_owned(),
        Cause::UnchangedScreen => {
            "stretching did not bring the outward reach up, so another cause should be looked for".to_owned()
        }
    }
}

/// What a rule for pauses does not tell, as the end of its clause.
pub(super) const fn before_pause_words(before: BeforePause) -> &'static str {
    match before {
        BeforePause::Pain => ", and because it hurt before that",
        BeforePause::Done => "; what ends this stage had been done before, and it goes on",
    }
}

fn rule_words(rule: Option<usize>, plan: &Plan) -> String {
    let rule = rule.and_then(|rule| plan.rules().get(rule));
    rule.map_or_else(|| "nothing speaks for a change yet".to_owned(), |rule| rule.because.clone())
}

/// An alarm as the subject of a clause.
#[must_use]
pub const fn alarm_words(alarm: Alarm) -> &'static str {
    match alarm {
        Alarm::Finding(finding) => finding,
        Alarm::Pain(Severe::During) => "severe pain during a session",
        Alarm::Pain(Severe::NextMorning) => "strong pain on the morning after a session",
        Alarm::Sign(sign) => match sign {
            DangerSign::NumbRingLittleFinger => "numbness in ring and little finger",
            DangerSign::WeakGrip => "a grip that has become weak",
            DangerSign::PopOrBruise => "a pop or a bruise",
            DangerSign::JointLocked => "a joint that locks",
            DangerSign::JointHotRedSwollen => "a hot, red or swollen joint",
            DangerSign::Fever => "a fever",
            DangerSign::NightPain => "pain that wakes at night",
            DangerSign::RecentInjury => "a recent injury or operation",
            DangerSign::ArmSwollenBlueHeavy => "an arm that is swollen, blue or heavy",
            DangerSign::InnerElbowThrowing => "pain of the inner elbow on throwing",
            DangerSign::ShoulderSlips => "a shoulder that slips",
            DangerSign::BothArmsNumb => "numbness in both arms",
            DangerSign::NeckSigns => "a sign from the neck",
            DangerSign::CancerOrWeightLoss => "a past cancer or weight loss",
            DangerSign::ChestPainBreathless => "chest pain or breathlessness",
        },
    }
}

/// From this share of the sessions that there was room for, what was done is about what was planned, %. Common practice, no source.
pub const ABOUT_PLANNED_FROM_PERCENT: usize = 80;

/// Above this share it is more than was planned, %. Common practice, no source.
pub const ABOUT_PLANNED_TO_PERCENT: usize = 120;

/// How much was done, without blame.
#[must_use]
pub fn adherence_words(done: usize, due: usize, days: i32, catch_ups: usize) -> String {
    let sessions = |count: usize| if count == 1 { "1 session".to_owned() } else { format!("{count} sessions") };
    let mut words = format!("{} in the last {days} days", sessions(done));
    if due > 0 {
        words.push_str(&format!("; the plan had room for about {due}"));
    }
    words.push('.');
    if done == 0 {
        words.push_str(" The plan waits.");
    } else if due > 0 {
        let share = done * 100;
        words.push_str(if share < due * ABOUT_PLANNED_FROM_PERCENT {
            " That is fewer than planned; what was done counts."
        } else if share <= due * ABOUT_PLANNED_TO_PERCENT {
            " That is about as planned."
        } else {
            " That is more than planned: what comes sooner than the plan's days between does not count towards a rise."
        });
    }
    if catch_ups > 0 {
        words.push_str(&format!(
            " {} entered on a later day.",
            if catch_ups == 1 { "1 was".to_owned() } else { format!("{catch_ups} were") }
        ));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_listed_with_each_month_once() {
        let days: Vec<Day> =
            ["2026-10-30", "2026-11-02", "2026-11-05"].iter().map(|day| day.parse().unwrap()).collect();
        assert_eq!(days_words(&days), "30 October, 2 and 5 November");
        assert_eq!(days_words(&days[..1]), "30 October");
        assert_eq!(days_words(&[]), "");
    }

    #[test]
    fn adherence_is_told_without_blame() {
        for (done, due) in [(0, 12), (5, 12), (12, 12), (1, 0), (20, 12)] {
            let words = adherence_words(done, due, 28, 1).to_lowercase();
            for blame in ["only", "miss", "fail", "should", "must", "behind", "poor", "lazy"] {
                assert!(!words.contains(blame), "{words}");
            }
        }
        assert!(
            adherence_words(5, 12, 28, 0)
                .starts_with("5 sessions in the last 28 days; the plan had room for about 12.")
        );
    }

    #[test]
    fn what_is_near_the_plan_is_about_as_planned() {
        // 66 of 70 is 94 %, 55 of 70 is 79 %, 56 is 80 %, 84 is 120 %, 85 is 121 %; from 80 to 120 % is about as planned
        let says = |done, words: &str| adherence_words(done, 70, 28, 0).contains(words);
        for done in [56, 66, 70, 84] {
            assert!(says(done, "That is about as planned.") && !says(done, "fewer than planned"), "{done}");
        }
        assert!(says(1, "fewer than planned") && says(55, "fewer than planned") && !says(55, "about as planned"));
        assert!(says(85, "more than planned") && !says(85, "about as planned"));
        assert!(!adherence_words(3, 0, 28, 0).contains("planned"));
    }

    #[test]
    fn no_text_of_the_default_plan_contradicts_the_limit_of_pain() {
        use super::super::load::Unit;
        use super::super::pain::PainRule;
        let plan = Plan::default_plan(Unit::Kg);
        for stage in plan.stages() {
            // what is said of pain leaves how much to the limit, which stands beside it
            for text in [&stage.how, &stage.felt, &stage.stop] {
                for sentence in text.split(['.', ';']).filter(|sentence| sentence.contains("hurts")) {
                    assert!(sentence.contains("beyond the pain limit"), "{}: {sentence}", stage.id);
                }
                assert!(!text.contains("no pain"), "{}: {text}", stage.id);
            }
        }
        let says = |rule| pain_limits_words(PainLimits::of(rule));
        assert!(says(PainRule::PainFree).starts_with("None during it: stop when it hurts"));
        assert!(
            says(PainRule::Thomee1997)
                .starts_with("At most 2 of 10 during it for the dose to rise, and at most 5: stop when")
        );
    }

    #[test]
    fn an_alarm_goes_with_was_noted() {
        // each is the subject of "was noted": its first noun is one thing
        let findings = ["a weak or wasted hand", "a sign of the ulnar nerve", "weak wrist flexion"].map(Alarm::Finding);
        let alarms = DangerSign::ALL.map(Alarm::Sign).into_iter().chain(findings);
        for words in alarms.map(alarm_words) {
            let first = words.split(' ').next().unwrap_or_default();
            assert!(first == "numbness" || !first.ends_with('s'), "{words}");
        }
        let tingling = super::super::intake::Findings {
            ulnar_nerve: Some(super::super::intake::UlnarNerve::Tingling),
            ..Default::default()
        };
        assert_eq!(tingling.alarm(), Some("a sign of the ulnar nerve"));
    }
}
