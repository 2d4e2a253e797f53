//! Clients by chance: what they do and feel, what a clinician changes of their plan, and the entries that come of it.

use proptest::prelude::*;

use super::super::danger::DangerSign;
use super::super::decision::Choice;
use super::super::load::{LoadKind, Weight};
use super::super::model::Rung;
use super::*;

/// What happens on one day: which stage is done, how, and what is felt.
#[derive(Debug, Clone)]
pub(super) struct Event {
    pub(super) gap_days: u8,
    pub(super) stage: usize,
    pub(super) is_done: bool,
    /// Tenths of the proposed load, and of sets, repetitions and hold.
    pub(super) load_tenths: u16,
    pub(super) dose_tenths: u16,
    pub(super) pain: u8,
    pub(super) morning: Option<u8>,
    pub(super) sign: bool,
    pub(super) cleared: bool,
    /// Entered so many days later.
    pub(super) late_days: u8,
}

pub(super) fn event() -> impl Strategy<Value = Event> {
    let gap = prop_oneof![6 => 0_u8..4, 1 => 4_u8..30];
    let pain = prop_oneof![5 => Just(0_u8), 2 => 1_u8..4, 1 => 4_u8..=10];
    let morning = prop_oneof![5 => Just(Some(0_u8)), 1 => Just(None), 1 => (1_u8..=10).prop_map(Some)];
    let tenths = prop_oneof![6 => Just(10_u16), 1 => 1_u16..20];
    (
        gap,
        0..6_usize,
        prop::bool::weighted(0.9),
        tenths.clone(),
        tenths,
        pain,
        morning,
        prop::bool::weighted(0.02),
        (prop::bool::weighted(0.05), prop_oneof![6 => Just(0_u8), 1 => 1_u8..20]),
    )
        .prop_map(
            |(gap_days, stage, is_done, load_tenths, dose_tenths, pain, morning, sign, (cleared, late_days))| Event {
                gap_days,
                stage,
                is_done,
                load_tenths,
                dose_tenths,
                pain,
                morning,
                sign,
                cleared,
                late_days,
            },
        )
}

/// What a clinician changes of the flexors.
#[derive(Debug, Clone)]
pub(super) struct Edit {
    pub(super) weights: Vec<f64>,
    pub(super) light_kg: [f64; 2],
    pub(super) heavy_kg: [f64; 2],
    pub(super) sessions_to_rise: u16,
    pub(super) repetitions: [u16; 2],
}

pub(super) fn edit() -> impl Strategy<Value = Edit> {
    let weights = prop::sample::select(vec![
        vec![0.5, 1.0, 2.0, 4.0, 5.0, 8.0],
        vec![0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0],
        vec![1.0, 5.0],
        vec![3.0, 4.0, 5.0, 6.0],
    ]);
    let light = prop::sample::select(vec![[1.0, 4.5], [1.0, 1.0], [2.0, 5.0], [0.5, 2.0], [4.0, 4.5]]);
    let heavy = prop::sample::select(vec![[5.0, 8.0], [5.0, 5.0], [2.0, 8.0], [3.0, 6.0]]);
    let repetitions = prop::sample::select(vec![[10, 15], [5, 6], [15, 30]]);
    (weights, light, heavy, 1_u16..4, repetitions).prop_map(
        |(weights, light_kg, heavy_kg, sessions_to_rise, repetitions)| Edit {
            weights,
            light_kg,
            heavy_kg,
            sessions_to_rise,
            repetitions,
        },
    )
}

/// The plan with an edit, if it is one that is taken.
pub(super) fn edited(plan: &Plan, edit: &Edit) -> Option<Plan> {
    let mut draft = plan.draft();
    draft.equipment.weights = edit.weights.iter().map(|weight| Weight::new(*weight, Unit::Kg).unwrap()).collect();
    let stage = &mut draft.stages[plan.stage_at("flexors").unwrap()];
    stage.sessions_to_rise = edit.sessions_to_rise;
    for (phase, range) in stage.phases.iter_mut().zip([edit.light_kg, edit.light_kg, edit.heavy_kg]) {
        (phase.weight_kg, phase.repetitions) = (Some(range), edit.repetitions);
    }
    plan.with(draft).ok()
}

pub(super) fn rule_name() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec!["pain_free", "thomee_1997", "silbernagel_2007"])
}

pub(super) fn plan_of(rule: &str) -> Plan {
    // short ladders and early openings, so that sequences of some hundred sessions come far
    plan_with(&[
        ("rule = \"pain_free\"", &format!("rule = \"{rule}\"")),
        ("weights = [0.5, 1, 1.5, 2, 2.5, 3, 4, 4.5, 5, 6, 7, 8, 9, 10]", "weights = [0.5, 1, 2, 4, 5, 8]"),
        ("after = [\"flexors\", \"cuff\"]", "after = [\"soft_tissue\"]"),
        ("sessions_to_rise = 2\nkeep = true\nstart", "sessions_to_rise = 1\nkeep = true\nstart"),
    ])
}

/// The entry of an event, with a dose taken from the proposal where there is one.
pub(super) fn entry_of(plan: &Plan, event: &Event, on: Day, choice: &Choice) -> LogEntry {
    let stage = &plan.stages()[event.stage];
    let rung = choice.dose(stage).unwrap_or(stage.rungs()[0]);
    // a quick entry states nothing where all was done as proposed
    let is_quick = choice.rung.is_some() && event.load_tenths == 10 && event.dose_tenths == 10;
    let is_stated = event.is_done && !is_quick;
    let scaled = |value: u16, tenths: u16| (value * tenths).div_ceil(10).max(1);
    let load = match (stage.load_kind(), rung.load) {
        (LoadKind::Weight, Load::Weight(weight)) => {
            let hundredths = (weight.amount() * 10.0 * f64::from(event.load_tenths)).round();
            Load::Weight(Weight::new(hundredths.max(1.0) / 100.0, Unit::Kg).unwrap())
        }
        (_, load) => load,
    };
    LogEntry {
        day: on,
        entered: (event.late_days > 0).then(|| on.plus(i32::from(event.late_days))),
        stage: event.stage,
        is_done: event.is_done,
        load: if is_stated { load } else { Load::None },
        sets: is_stated.then(|| scaled(rung.sets, event.dose_tenths)),
        repetitions: is_stated.then(|| scaled(rung.repetitions, event.dose_tenths)),
        seconds: (is_stated && rung.hold_s > 0).then(|| scaled(rung.hold_s, event.dose_tenths)),
        pain_during: event.is_done.then_some(event.pain),
        pain_next_morning: event.morning,
        sign: event.sign.then_some(DangerSign::NightPain),
        note: String::new(),
    }
}

/// Facts with all clearances of the events, and the days on which they happen.
pub(super) fn days_and_facts(events: &[Event]) -> (Vec<Day>, Facts) {
    let mut facts = facts();
    let mut on = day("2026-10-02");
    let mut days = Vec::new();
    for event in events {
        on = on.plus(i32::from(event.gap_days));
        days.push(on);
        if event.cleared {
            facts.clearances.push(on);
        }
    }
    (days, facts)
}

pub(super) fn amount(plan: &Plan, stage: usize, choice: &Choice) -> Option<u64> {
    choice.rung.map(|rung| plan.stages()[stage].rungs()[rung].load.amount())
}

pub(super) fn is_sore(plan: &Plan, entry: &LogEntry) -> bool {
    let limits = plan.pain_limits(entry.stage);
    entry.pain_during.is_some_and(|pain| pain > limits.safe_at_most)
        || entry.pain_next_morning.is_some_and(|pain| pain > limits.morning_at_most)
}

/// Load, sets, repetitions, hold in s, and the volume: sets times repetitions, times the hold where there is one.
pub(super) fn sizes(load: Load, [sets, repetitions, hold_s]: [u16; 3]) -> [u64; 5] {
    let [sets, repetitions, hold_s] = [sets, repetitions, hold_s].map(u64::from);
    [load.amount(), sets, repetitions, hold_s, sets * repetitions * hold_s.max(1)]
}

/// What was done: as stated, and as proposed where it was not.
pub(super) fn done(entry: &LogEntry, proposed: &Rung) -> [u64; 5] {
    let load = if entry.load == Load::None { proposed.load } else { entry.load };
    let hold_s = if proposed.hold_s == 0 { 0 } else { entry.seconds.unwrap_or(proposed.hold_s) };
    let counts = [entry.sets.unwrap_or(proposed.sets), entry.repetitions.unwrap_or(proposed.repetitions), hold_s];
    sizes(load, counts)
}

pub(super) fn exceeds(dose: &[u64; 5], done: &[u64; 5]) -> bool {
    dose.iter().zip(done).any(|(dose, done)| dose > done)
}

/// The dose of a choice is higher on the ladder than the one before it.
pub(super) fn rises(choice: &Choice, before: Option<usize>) -> bool {
    choice.rung.zip(before).is_some_and(|(rung, before)| rung > before)
}
