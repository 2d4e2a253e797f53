//! Looks at a plan as a whole: names, ladders of doses, stages that can be reached, rules that can fire.

use std::collections::BTreeSet;

use crate::screen::problem::Problems;

use super::error::PlanFault;
use super::ladder::{RUNGS_MAX, rungs_of};
use super::model::{Equipment, ExitAt, Plan, Stage};
use super::read::{PlanLines, note};
use super::rules::{RulesFault, SETBACKS_MAX, faults};

/// Fills in the ladders and the order of the stages, and notes what does not fit together.
pub(super) fn check_whole(plan: &mut Plan, lines: &PlanLines, problems: &mut Problems) {
    let ids: Vec<String> = plan.stages.iter().map(|stage| stage.id.clone()).collect();
    twice("stage", ids.iter().zip(&lines.stages), problems);
    twice("rule", plan.rules.iter().map(|rule| &rule.id).zip(&lines.rules), problems);
    twice("band", plan.equipment.bands.iter().map(|band| (band, &1)), problems);
    for (rule, &line) in plan.rules.iter().zip(&lines.rules) {
        names("stages", &format!("[[rule]] \"{}\"", rule.id), &rule.stages, &ids, line, problems);
    }
    for ((stage, &line), phase_lines) in plan.stages.iter_mut().zip(&lines.stages).zip(&lines.phases) {
        let place = format!("[stage.entry] of stage \"{}\"", stage.id);
        names("after", &place, &stage.entry.after, &ids, line, problems);
        stage.after_at = stage.entry.after.iter().filter_map(|after| ids.iter().position(|id| id == after)).collect();
        check_phases(stage, &plan.equipment, line, phase_lines, problems);
    }
    plan.order = order(&plan.stages);
    for (at, &line) in (0..plan.stages.len()).zip(&lines.stages).filter(|(at, _)| !plan.order.contains(at)) {
        let stage = plan.stages[at].id.clone();
        if let Some(chain) = chain(&plan.stages, at) {
            note(problems, line, PlanFault::NeverReached { stage, chain });
        }
    }
    for fault in faults(&plan.rules, &ids) {
        let id = |rule: usize| plan.rules[rule].id.clone();
        match fault {
            RulesFault::NeverFires { rule } => {
                note(problems, lines.rules[rule], PlanFault::NeverFires { rule: id(rule) })
            }
            RulesFault::RaisesAfterPain { rule } => {
                note(problems, lines.rules[rule], PlanFault::RaisesAfterPain { rule: id(rule) });
            }
            RulesFault::NeverRises { stage } => {
                let of_plan = &plan.stages[stage];
                // what ends at any dose, or has but one, needs no rise
                if of_plan.exit.at == ExitAt::Top && of_plan.first_rung + 1 < of_plan.rungs.len() {
                    let behind = plan.stages.iter().filter(|other| other.after_at.contains(&stage));
                    let behind = behind.map(|other| format!("\"{}\"", other.id)).collect();
                    note(problems, lines.stages[stage], PlanFault::NeverRises { stage: ids[stage].clone(), behind });
                }
            }
            RulesFault::NoEnd { stage } => {
                note(problems, lines.stages[stage], PlanFault::NoEnd { stage: ids[stage].clone(), most: SETBACKS_MAX });
            }
        }
    }
}

fn twice<'a>(kind: &'static str, named: impl Iterator<Item = (&'a String, &'a usize)>, problems: &mut Problems) {
    let mut seen = BTreeSet::new();
    for (id, line) in named {
        if !seen.insert(id) {
            note(problems, *line, PlanFault::SameName { kind, id: id.clone() });
        }
    }
}

fn names(
    field: &'static str,
    place: &str,
    found: &[String],
    accepted: &[String],
    line: usize,
    problems: &mut Problems,
) {
    for found in found.iter().filter(|found| !accepted.contains(found)) {
        let (place, found, accepted) = (place.to_owned(), found.clone(), accepted.to_vec());
        note(problems, line, PlanFault::NoSuchName { field, place, found, accepted });
    }
}

fn check_phases(stage: &mut Stage, equipment: &Equipment, line: usize, lines: &[usize], problems: &mut Problems) {
    let ids: Vec<String> = stage.phases.iter().map(|phase| phase.id.clone()).collect();
    twice("phase", ids.iter().zip(lines), problems);
    names("start", &format!("[[stage]] \"{}\"", stage.id), std::slice::from_ref(&stage.start), &ids, line, problems);
    for (at, (phase, &line)) in stage.phases.iter().zip(lines).enumerate() {
        let (of, own) = (stage.id.clone(), phase.id.clone());
        let rungs = rungs_of(phase, at, equipment);
        if rungs.is_empty() {
            let [from, to] = match (&phase.weight_kg, &phase.band) {
                (Some(range), _) => range.map(|kg| format!("{kg} kg")),
                (_, Some(range)) => range.clone(),
                _ => [String::new(), String::new()],
            };
            note(problems, line, PlanFault::NothingToLift { stage: of.clone(), phase: own.clone(), from, to });
        }
        if rungs.len() > RUNGS_MAX {
            note(problems, line, PlanFault::TooManyDoses { stage: of.clone(), phase: own.clone(), most: RUNGS_MAX });
        }
        if stage.rungs.first().zip(rungs.first()).is_some_and(|(first, own)| first.load.kind() != own.load.kind()) {
            note(problems, line, PlanFault::LoadsDiffer { stage: stage.id.clone() });
        }
        if let Some(found) = phase.if_it_hurts.as_ref().filter(|earlier| !ids[..at].contains(earlier)) {
            let place = format!("phase \"{own}\" of stage \"{of}\"");
            note(problems, line, PlanFault::NotEarlier { place, found: found.clone() });
        }
        if phase.is_heavy && stage.days_between < 2 {
            note(problems, line, PlanFault::HeavyEveryDay { stage: stage.id.clone() });
        }
        stage.rungs.extend(rungs);
    }
    let heavy = stage.rungs.iter().filter(|rung| stage.phases[rung.phase].is_heavy);
    stage.lightest_heavy = heavy.map(|rung| rung.load.amount()).filter(|amount| *amount > 0).min();
    let start = ids.iter().position(|id| *id == stage.start).unwrap_or(0);
    stage.first_rung = stage.rungs.iter().position(|rung| rung.phase == start).unwrap_or(0);
}

/// The stages' places, each after all that it waits for. A stage that waits in a circle, or for one that does, is left out.
fn order(stages: &[Stage]) -> Vec<usize> {
    let mut order: Vec<usize> = Vec::new();
    while let Some(next) = (0..stages.len()).find(|at| {
        !order.contains(at)
            && stages[*at].after_at.len() == stages[*at].entry.after.len()
            && stages[*at].after_at.iter().all(|before| order.contains(before))
    }) {
        order.push(next);
    }
    order
}

/// What a stage waits for, from one to the next, until a stage comes twice; `None` where the chain ends at an unknown name.
fn chain(stages: &[Stage], from: usize) -> Option<Vec<String>> {
    let ordered = order(stages);
    let mut chain = Vec::new();
    let mut at = from;
    loop {
        let blocked = stages[at].after_at.iter().copied().find(|before| !ordered.contains(before))?;
        let id = format!("\"{}\"", stages[blocked].id);
        if chain.contains(&id) {
            return Some(chain);
        }
        chain.push(id);
        if blocked == from {
            return Some(chain);
        }
        at = blocked;
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::super::load::Unit;
    use super::super::model::Plan;

    fn problems(text: &str) -> Vec<String> {
        match Plan::parse(text, Path::new("p.toml")) {
            Ok(_) => Vec::new(),
            Err(error) => error.to_string().lines().map(str::to_owned).collect(),
        }
    }

    /// The default plan with one text replaced, which must be in it.
    fn changed(from: &str, to: &str) -> String {
        let text = Plan::default_text(Unit::Kg);
        assert!(text.contains(from), "no {from}");
        text.replacen(from, to, 1)
    }

    #[test]
    fn the_default_plan_fits_together_in_both_units() {
        for unit in [Unit::Kg, Unit::Lb] {
            assert_eq!(problems(&Plan::default_text(unit)), [] as [String; 0]);
            let plan = Plan::default_plan(unit);
            assert_eq!(plan.equipment().unit, unit);
            // light begins above all of lowering, which pain leads back to
            let flexors = &plan.stages()[plan.stage_at("flexors").unwrap()];
            assert_eq!(flexors.phase_of(flexors.first_rung).id, "light");
            assert!(flexors.first_rung > 0);
        }
    }

    #[test]
    fn a_plan_comes_back_as_it_was_written() {
        let plan = Plan::default_plan(Unit::Lb);
        assert_eq!(Plan::parse(&plan.to_toml().unwrap(), Path::new("p.toml")).unwrap(), plan);
    }

    #[test]
    fn stages_that_wait_for_each_other_are_named_with_their_circle() {
        let found = problems(&changed("after = [\"flexors\", \"cuff\"]", "after = [\"flexors\", \"back_to_it\"]"));
        assert_eq!(found.len(), 2, "{found:?}");
        assert!(
            found[0].ends_with(
                "stage \"pull\" can never be reached: it waits for \"back_to_it\", which waits for \"pull\""
            ),
            "{found:?}"
        );
        assert!(found[1].contains("stage \"back_to_it\" can never be reached"), "{found:?}");
        let itself = problems(&changed("after = [\"pull\"]", "after = [\"back_to_it\"]"));
        assert!(itself.len() == 1 && itself[0].ends_with("it waits for \"back_to_it\""), "{itself:?}");
        let unknown = problems(&changed("after = [\"pull\"]", "after = [\"pul\"]"));
        assert!(unknown[0].contains("names \"pul\", expected one of soft_tissue, flexors"), "{unknown:?}");
    }

    #[test]
    fn a_stage_that_nothing_raises_and_those_behind_it_are_named() {
        let text = Plan::default_text(Unit::Kg);
        let (start, end) = (text.find("[[rule]]\nid = \"ready\"").unwrap(), text.find("[[stage]]").unwrap());
        let found = problems(&format!("{}{}", &text[..start], &text[end..]));
        // all but the ball's, which ends at any dose
        assert_eq!(found.len(), 5, "{found:?}");
        let sentence = "stage \"flexors\" ends at its last dose, but no rule raises its dose there, so that \"pull\" can never be \
                        reached: let a rule with then = \"up\" be for it too";
        assert!(found[0].ends_with(sentence), "{found:?}");
        let cuff = problems(&changed("is_ready = true\n", "is_ready = true\nstages = [\"cuff\"]\n"));
        assert!(cuff.len() == 4 && cuff.iter().all(|line| !line.contains("stage \"cuff\"")), "{cuff:?}");
    }

    #[test]
    fn pain_of_a_morning_that_always_stops_is_no_limit() {
        let own = |morning: u8| {
            let limits =
                format!("rule = \"own\"\nsafe_at_most = 1\nacceptable_at_most = 3\nmorning_at_most = {morning}");
            problems(&changed("rule = \"pain_free\"", &limits))
        };
        assert_eq!(own(4), [] as [String; 0]);
        // 5 on the next morning always stops
        let found = own(5);
        assert!(found.len() == 1 && found[0].ends_with("in [pain] morning_at_most is 5, expected less than 5, where pain on the next morning stops the plan"), "{found:?}");
    }

    #[test]
    fn a_fault_names_its_stage_and_phase() {
        for (from, to, words) in [
            (
                "sets = [3, 3]\nrepetitions = [6, 8]",
                "sets = [0, 3]\nrepetitions = [6, 8]",
                "\"sets\" in [[stage.phase]] \"heavy\" of stage \"flexors\" is 0, expected a whole number from 1 to 20",
            ),
            ("acceptable_at_most = 5", "acceptable_at_most = 9", "in [stage.pain] of stage \"soft_tissue\" acceptable"),
            (
                "sessions = 6\npain_on",
                "sessions = 0\npain_on",
                "\"sessions\" in [stage.exit] of stage \"soft_tissue\" is 0",
            ),
            ("after = [\"pull\"]", "after = [\"x\"]", "\"after\" in [stage.entry] of stage \"back_to_it\" names"),
            ("days_between = 1", "days_between = 0", "\"days_between\" in [[stage]] \"soft_tissue\" is 0"),
            ("setbacks_at_least = 3", "setbacks_at_least = 0", "in [[rule]] \"setbacks\" is 0"),
            ("keep_percent = 0\n", "keep_percent = 99\n", "\"keep_percent\" in [[rule]] \"pause_of_months\" is 99"),
        ] {
            let found = problems(&changed(from, to));
            assert!(found.len() == 1 && found[0].contains(words), "{words}: {found:?}");
        }
    }

    #[test]
    fn a_kept_plan_that_is_refused_by_now_can_be_mended_and_no_other() {
        let kept = |text: &str| Plan::parse_kept(text, Path::new("plan"));
        let own = "rule = \"own\"\nsafe_at_most = 1\nacceptable_at_most = 3\nmorning_at_most = ";
        let (plan, faults) = kept(&changed("rule = \"pain_free\"", &format!("{own}6"))).unwrap();
        assert_eq!((plan.pain_limits(1).morning_at_most, faults.len()), (6, 1), "{faults:?}");
        assert!(plan.with(plan.draft()).is_err(), "it is no plan until it is mended");
        let mut draft = plan.draft();
        draft.pain.morning_at_most = 4;
        assert_eq!(plan.with(draft).unwrap().stages(), plan.stages());
        let (_, faults) = kept(&changed("is_ready = true\n", "is_ready = true\nstages = [\"cuff\"]\n")).unwrap();
        assert_eq!(faults.len(), 4, "{faults:?}");
        assert!(kept(&Plan::default_text(Unit::Kg)).unwrap().1.is_empty());
        // what does not hold together is no plan at all
        assert!(kept(&changed("after = [\"pull\"]", "after = [\"back_to_it\"]")).is_err());
        assert!(kept(&changed("sets = [3, 4]", "sets = [0, 4]")).is_err());
    }

    #[test]
    fn what_is_no_toml_or_empty_is_told_in_one_sentence() {
        for (text, words) in [
            ("", "line 1: not valid TOML: the file is empty"),
            (" \n\n", "line 1: not valid TOML: the file is empty"),
            ("# nothing but a comment\n", "line 1: not valid TOML: the file is empty"),
            ("hello = = 3", "line 1: not valid TOML: "),
            ("schema = \"tworeach/plan/1\"\nPK\u{3}\u{4} and so on\n= [\n", "line 2: not valid TOML: "),
        ] {
            let found = problems(text);
            assert!(found.len() == 1 && found[0].contains(words), "{text:?}: {found:?}");
        }
    }

    #[test]
    fn a_rule_that_never_fires_is_named_with_its_line() {
        let text = changed(
            "[[rule]]\nid = \"setbacks\"",
            "[[rule]]\nid = \"all\"\nthen = \"see_clinician\"\nbecause = \"x\"\n[[rule]]\nid = \"setbacks\"",
        );
        let found = problems(&text);
        // all thirteen rules of the default plan stand behind it
        assert_eq!(found.iter().filter(|line| line.contains("can never fire")).count(), 13, "{found:?}");
        let line = text.lines().position(|line| line == "id = \"setbacks\"").unwrap();
        assert!(found[0].starts_with(&format!("p.toml: line {line}: rule \"setbacks\" can never fire")), "{found:?}");
    }

    #[test]
    fn a_plan_that_raises_after_pain_or_never_ends_is_refused() {
        let eager =
            problems(&changed("then = \"hold\"\nbecause = \"how it felt", "then = \"up\"\nbecause = \"how it felt"));
        assert!(
            eager.len() == 1 && eager[0].contains("\"morning_unknown\" would raise the dose after pain"),
            "{eager:?}"
        );
        let endless = problems(&changed(
            "then = \"see_clinician\"\nbecause = \"three times the dose",
            "then = \"hold\"\nbecause = \"three times the dose",
        ));
        assert_eq!(endless.iter().filter(|line| line.contains("rise and fall for ever")).count(), 6, "{endless:?}");
    }

    #[test]
    fn contradictions_of_a_stage_are_refused_in_a_sentence_each() {
        for (from, to, words) in [
            ("weight_kg = [5.0, 8.0]", "weight_kg = [20.0, 30.0]", "nothing in [equipment] lies from 20 kg to 30 kg"),
            ("weight_kg = [5.0, 8.0]", "band = [\"light\", \"firm\"]", "loaded in different ways"),
            ("weight_kg = [5.0, 8.0]", "weight_kg = [8.0, 5.0]", "goes from 8 to 5, expected the lower number first"),
            ("weight_kg = [5.0, 8.0]", "weight_kg = [5.0]", "a list of 1, expected two"),
            (
                "weight_kg = [5.0, 8.0]",
                "weight_kg = [5.0, 8.0]\nshare_percent = [1, 2]",
                "expected one of weight_kg, band",
            ),
            ("weight_kg = [5.0, 8.0]", "weight_kg = [-5.0, 8.0]", "is -5, expected a number above 0"),
            (
                "days_between = 2\nsessions_to_rise = 2\nkeep = true\nstart",
                "days_between = 1\nsessions_to_rise = 2\nkeep = true\nstart",
                "never done on consecutive days",
            ),
            ("if_it_hurts = \"lowering\"", "if_it_hurts = \"heavy\"", "expected an earlier phase"),
            ("start = \"light\"", "start = \"none\"", "names \"none\", expected one of lowering, light, heavy"),
            ("rule = \"pain_free\"", "rule = \"pain_free\"\nsafe_at_most = 2", "contradicts the rule"),
            (
                "safe_at_most = 3\nacceptable_at_most = 5",
                "safe_at_most = 6\nacceptable_at_most = 5",
                "safe_at_most <= acceptable_at_most",
            ),
            ("acceptable_at_most = 5", "acceptable_at_most = 10", "acceptable_at_most < 7, where pain is severe"),
            ("acceptable_at_most = 5", "acceptable_at_most = 11", "is 11, expected a whole number from 0 to 10"),
            ("[0.5, 1, 1.5,", "[0.5, 1, 1,", "has 1 kg after 1 kg, expected each heavier"),
            ("[0.5, 1, 1.5,", "[0.505, 1, 1.5,", "0.505, expected hundredths"),
            ("id = \"full\"", "id = \"blades\"", "phase \"blades\" occurs twice"),
            ("hold_s = [60, 120]\nhold_step_s = 30", "hold_s = [1, 3600]", "more than 200 doses"),
            ("sessions_to_rise = 2", "sessions_to_raise = 2", "unknown field \"sessions_to_raise\""),
            ("mode = \"press\"", "mode = \"presses\"", "the nearest is \"press\""),
        ] {
            let found = problems(&changed(from, to));
            assert!(found.iter().any(|line| line.contains(words)), "{to}: {found:?}");
        }
    }
}
