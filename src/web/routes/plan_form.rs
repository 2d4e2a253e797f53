//! The form of a plan's doses and limits: what it is filled with, what it holds, and what is wrong with it in its own words.

use crate::plan::load::WEIGHT_MAX;
use crate::plan::pain::{PAIN_MAX, SEVERE_FROM, SEVERE_MORNING_FROM};
use crate::plan::{Draft, PainLimits, PainRule, Phase, Plan, PlanFault, Stage, ranges};
use crate::records::Word as _;
use crate::screen::Problem;
use crate::web::casework::Casework;
use crate::web::request::Form;
use crate::web::text::plan as words;
use crate::web::view::{FieldError, FormView, PhaseFormView, PlanFormView, StageFormView};

/// The limits of pain, by field; those of a stage have its name behind a dot.
const LIMITS: [&str; 3] = ["safe_at_most", "acceptable_at_most", "morning_at_most"];

/// Pain as a count.
const PAIN: [u16; 2] = [0, PAIN_MAX as u16];

/// The form, for the page.
pub(super) fn form_view(case: &Casework, form: FormView) -> PlanFormView {
    let stages = case.plan.stages().iter().map(|stage| {
        let id = &stage.id;
        StageFormView {
            id: id.clone(),
            name: stage.name.clone(),
            fields: vec![
                (format!("days_between.{id}"), words::DAYS_BETWEEN),
                (format!("sessions_to_rise.{id}"), words::TO_RISE),
                (format!("exit_sessions.{id}"), words::EXIT_SESSIONS),
            ],
            optional: vec![
                (format!("entry_pain.{id}"), words::ENTRY_PAIN),
                (format!("exit_pressing.{id}"), words::EXIT_PRESSING),
            ],
            phases: stage.phases.iter().map(|phase| phase_view(id, phase)).collect(),
        }
    });
    PlanFormView {
        code: case.code().to_owned(),
        stages: stages.collect(),
        bands: case.plan.equipment().bands.clone(),
        form,
    }
}

fn phase_view(stage: &str, phase: &Phase) -> PhaseFormView {
    let both = |name: &str| {
        vec![of_phase(&format!("{name}_from"), stage, phase), of_phase(&format!("{name}_to"), stage, phase)]
    };
    let mut fields = vec![(words::SETS, both("sets")), (words::REPETITIONS, both("repetitions"))];
    if phase.hold_s.is_some() {
        fields.push((words::HOLD, both("hold")));
    }
    if phase.lowering_s.is_some() {
        fields.push((words::LOWERING, vec![of_phase("lowering", stage, phase)]));
    }
    if phase.weight_kg.is_some() {
        fields.push((words::WEIGHT, both("weight")));
    }
    if phase.share_percent.is_some() {
        fields.push((words::SHARE, both("share")));
    }
    let bands = phase.band.as_ref().map(|_| both("band")).unwrap_or_default();
    PhaseFormView { name: phase.name.clone(), fields, bands }
}

fn of_phase(name: &str, stage: &str, phase: &Phase) -> String {
    format!("{name}.{stage}.{}", phase.id)
}

/// The form as a plan fills it.
pub(super) fn filled(plan: &Plan) -> FormView {
    let mut form = FormView::default();
    let mut set = |name: String, value: String| form.values.insert(name, value);
    let Draft { pain, stages, .. } = plan.draft();
    let limits = |limits: PainLimits, of: &str| {
        let numbers = [limits.safe_at_most, limits.acceptable_at_most, limits.morning_at_most];
        LIMITS.map(|name| format!("{name}{of}")).into_iter().zip(numbers.map(|number| number.to_string()))
    };
    set("pain_rule".to_owned(), pain.rule.word().to_owned());
    limits(pain, "").for_each(|(name, value)| {
        set(name, value);
    });
    for stage in &stages {
        let id = &stage.id;
        let own = stage.own_pain();
        set(format!("pain_rule.{id}"), own.map_or(words::AS_PLAN, |own| own.rule.word()).to_owned());
        if let Some(own) = own {
            limits(own, &format!(".{id}")).for_each(|(name, value)| {
                set(name, value);
            });
        }
        let number = |pain: Option<u8>| pain.map(|pain| pain.to_string()).unwrap_or_default();
        set(format!("days_between.{id}"), stage.days_between.to_string());
        set(format!("sessions_to_rise.{id}"), stage.sessions_to_rise.to_string());
        set(format!("exit_sessions.{id}"), stage.exit.sessions.to_string());
        set(format!("entry_pain.{id}"), number(stage.entry.pain_in_use_at_most));
        set(format!("exit_pressing.{id}"), number(stage.exit.pain_on_pressing_at_most));
        for phase in &stage.phases {
            let mut range = |name: &str, ends: Option<[String; 2]>| {
                for (end, value) in ["from", "to"].iter().zip(ends.into_iter().flatten()) {
                    set(of_phase(&format!("{name}_{end}"), id, phase), value);
                }
            };
            range("sets", Some(phase.sets.map(|count| count.to_string())));
            range("repetitions", Some(phase.repetitions.map(|count| count.to_string())));
            range("hold", phase.hold_s.map(|hold_s| hold_s.map(|seconds| seconds.to_string())));
            range("weight", phase.weight_kg.map(|weight_kg| weight_kg.map(|kg| kg.to_string())));
            range("share", phase.share_percent.map(|share| share.map(|percent| percent.to_string())));
            range("band", phase.band.clone());
            if let Some(lowering_s) = phase.lowering_s {
                set(of_phase("lowering", id, phase), lowering_s.to_string());
            }
        }
    }
    form
}

/// The draft that a form holds. What cannot be is noted in the form, by field.
pub(super) fn take_draft(plan: &Plan, form: &mut Form) -> Draft {
    let mut draft = plan.draft();
    if let Some(rule) = form.word("pain_rule")
        && let Some(limits) = take_limits(form, rule, "", words::PAIN)
    {
        draft.pain = limits;
    }
    for stage in &mut draft.stages {
        take_stage(form, stage, &plan.equipment().bands);
    }
    draft
}

fn take_stage(form: &mut Form, stage: &mut Stage, bands: &[String]) {
    let (id, name) = (stage.id.clone(), stage.name.clone());
    let own_rule = format!("pain_rule.{id}");
    match form.view.values.get(&own_rule).map(String::as_str) {
        None => {}
        Some(words::AS_PLAN) => stage.set_own_pain(None),
        Some(_) => {
            if let Some(rule) = form.word::<PainRule>(&own_rule)
                && let Some(limits) = take_limits(form, rule, &format!(".{id}"), &words::pain_of(&name))
            {
                stage.set_own_pain(Some(limits));
            }
        }
    }
    let mut count = |field: String, into: &mut u16, range: [u16; 2]| {
        if let Some(number) = counted(form, &field, &name, range) {
            *into = number;
        }
    };
    count(format!("days_between.{id}"), &mut stage.days_between, ranges::DAYS_BETWEEN);
    count(format!("sessions_to_rise.{id}"), &mut stage.sessions_to_rise, ranges::SESSIONS_TO_RISE);
    count(format!("exit_sessions.{id}"), &mut stage.exit.sessions, ranges::EXIT_SESSIONS);
    let mut pain = |field: String, into: &mut Option<u8>| {
        if !form.view.values.contains_key(&field) {
            return;
        }
        *into = match form.text(&field) {
            None => None,
            Some(_) => counted(form, &field, &name, PAIN).and_then(|pain| u8::try_from(pain).ok()),
        };
    };
    pain(format!("entry_pain.{id}"), &mut stage.entry.pain_in_use_at_most);
    pain(format!("exit_pressing.{id}"), &mut stage.exit.pain_on_pressing_at_most);
    for phase in &mut stage.phases {
        take_phase(form, [&id, &name], phase, bands);
    }
}

fn take_phase(form: &mut Form, [stage, stage_name]: [&str; 2], phase: &mut Phase, bands: &[String]) {
    let place = words::place(stage_name, &phase.name);
    let name = |quantity: &str| format!("{quantity}.{stage}.{}", phase.id);
    let mut range = |quantity: &str, into: &mut [u16; 2], accepted: [u16; 2]| {
        let ends = ["from", "to"].map(|end| counted(form, &name(&format!("{quantity}_{end}")), &place, accepted));
        let [Some(from), Some(to)] = ends else { return };
        if from > to {
            let field = name(&format!("{quantity}_to"));
            form.fault(&field, words::runs_backward(&place, words::field(&field), [from, to].map(f64::from)));
        }
        *into = [from, to];
    };
    range("sets", &mut phase.sets, ranges::SETS);
    range("repetitions", &mut phase.repetitions, ranges::REPETITIONS);
    if let Some(hold_s) = &mut phase.hold_s {
        range("hold", hold_s, ranges::HOLD_S);
    }
    if let Some(share_percent) = &mut phase.share_percent {
        range("share", share_percent, ranges::SHARE_PERCENT);
    }
    if let Some(lowering_s) = &mut phase.lowering_s
        && let Some(number) = counted(form, &name("lowering"), &place, ranges::LOWERING_S)
    {
        *lowering_s = number;
    }
    if let Some(weight_kg) = &mut phase.weight_kg {
        let ends = ["from", "to"].map(|end| weighed(form, &name(&format!("weight_{end}")), &place));
        if let [Some(from), Some(to)] = ends {
            if from > to {
                let field = name("weight_to");
                form.fault(&field, words::runs_backward(&place, words::field(&field), [from, to]));
            }
            *weight_kg = [from, to];
        }
    }
    if let Some(band) = &mut phase.band {
        let at = |band: &String| bands.iter().position(|known| known == band);
        let ends = ["from", "to"].map(|end| (name(&format!("band_{end}")), end));
        for ((field, _), into) in ends.iter().zip(band.iter_mut()) {
            match form.view.values.get(field).cloned() {
                None => {}
                Some(found) if at(&found).is_some() => *into = found,
                Some(found) => form.fault(field, words::not_a_band(&place, &found, bands)),
            }
        }
        if at(&band[0]) > at(&band[1]) {
            form.fault(&ends[1].0, words::bands_backward(&place, band));
        }
    }
}

/// Limits of pain by a rule; with the person's own rule they must be typed. `of` is what stands behind their fields' names.
fn take_limits(form: &mut Form, rule: PainRule, of: &str, place: &str) -> Option<PainLimits> {
    let numbers = LIMITS.map(|name| {
        let field = format!("{name}{of}");
        let is_needed = rule == PainRule::Own || !form.view.value(&field).trim().is_empty();
        is_needed.then(|| counted(form, &field, place, PAIN)).flatten().and_then(|limit| u8::try_from(limit).ok())
    });
    match (rule, numbers) {
        (PainRule::Own, [Some(safe_at_most), Some(acceptable_at_most), Some(morning_at_most)]) => {
            Some(PainLimits { rule, safe_at_most, acceptable_at_most, morning_at_most })
        }
        (PainRule::Own, _) => None,
        (rule, _) => Some(PainLimits::of(rule)),
    }
}

/// A whole number of a plan's field, which must be there; `place` says whose it is.
fn counted(form: &mut Form, name: &str, place: &str, [least, most]: [u16; 2]) -> Option<u16> {
    let text = form.text(name);
    let number = text.as_deref().and_then(|text| text.parse::<u16>().ok());
    let number = number.filter(|number| (least..=most).contains(number));
    if number.is_none() && form.view.error(name).is_none() {
        let label = words::field(name);
        form.fault(
            name,
            match text {
                Some(found) => words::not_a_count(place, label, &found, [least, most]),
                None => words::nothing_typed(place, label),
            },
        );
    }
    number
}

/// A weight of a plan's field, kg, which must be there; a decimal comma is taken.
fn weighed(form: &mut Form, name: &str, place: &str) -> Option<f64> {
    let text = form.text(name);
    let number = text.as_deref().and_then(|text| text.replace(',', ".").parse::<f64>().ok());
    let number = number.filter(|kg| *kg > 0.0 && *kg <= WEIGHT_MAX);
    if number.is_none() && form.view.error(name).is_none() {
        let label = words::field(name);
        form.fault(
            name,
            match text {
                Some(found) => words::not_a_weight(place, label, &found, WEIGHT_MAX),
                None => words::nothing_typed(place, label),
            },
        );
    }
    number
}

/// What is wrong with a plan, by field of the form and in the form's words; what the form has no field for, as the plan says it.
pub(super) fn form_faults(plan: &Plan, problems: &[Problem]) -> Vec<FieldError> {
    problems.iter().map(|problem| form_fault(plan, problem)).collect()
}

fn form_fault(plan: &Plan, problem: &Problem) -> FieldError {
    let stage = |id: &str| plan.stage_at(id).map(|at| &plan.stages()[at]);
    let name = |id: &str| stage(id).map_or_else(String::new, |stage| stage.name.clone());
    let phase_place = |id: &str, phase: &str| {
        let of = stage(id).and_then(|stage| stage.phases.iter().find(|known| known.id == phase));
        words::place(&name(id), of.map_or(phase, |phase| &phase.name))
    };
    let of_pain = |field: &str, stage: Option<&String>| match stage {
        Some(id) => (format!("{field}.{id}"), words::pain_of(&name(id))),
        None => (field.to_owned(), words::PAIN.to_owned()),
    };
    let (field, message) = match problem.plan_fault() {
        Some(PlanFault::PainLimits { stage, safe, acceptable }) => {
            let (field, place) = of_pain("acceptable_at_most", stage.as_ref());
            (field, words::limits_contradict(&place, [*safe, *acceptable], SEVERE_FROM))
        }
        Some(PlanFault::MorningLimit { stage, found }) => {
            let (field, place) = of_pain("morning_at_most", stage.as_ref());
            (field, words::morning_too_high(&place, *found, SEVERE_MORNING_FROM))
        }
        Some(PlanFault::NothingToLift { stage, phase, from, to }) => {
            (format!("weight_from.{stage}.{phase}"), words::nothing_to_lift(&phase_place(stage, phase), from, to))
        }
        Some(PlanFault::TooManyDoses { stage, phase, most }) => {
            (format!("repetitions_to.{stage}.{phase}"), words::too_many_doses(&phase_place(stage, phase), *most))
        }
        Some(PlanFault::HeavyEveryDay { stage }) => {
            (format!("days_between.{stage}"), words::heavy_every_day(&name(stage)))
        }
        Some(PlanFault::NeverRises { stage, .. }) => ("plan".to_owned(), words::never_rises(&name(stage))),
        _ => ("plan".to_owned(), problem.fault.to_string()),
    };
    FieldError { field, message }
}
