//! Reads a plan strictly: every field with its kind and range, every fault with its line.

use std::path::Path;

use crate::screen::document::{Node, Value, parse_toml};
use crate::screen::fields::{Fields, Limits};
use crate::screen::problem::{Fault, Problem, Problems};
use crate::screen::text_file::read_text;

use super::check::check_whole;
use super::error::{PlanError, PlanFault, pain_place};
use super::load::{Unit, WEIGHT_MAX, Weight};
use super::model::{Equipment, ExitAt, Mode, PLAN_SCHEMA, PainEntry, Phase, Plan, Stage, StageEntry, StageExit};
use super::pain::{Morning, PAIN_MAX, PainLimits, PainRule, SEVERE_FROM, SEVERE_MORNING_FROM, Zone};
use super::ranges;
use super::rules::{Action, Rule};

/// A plan file is refused beyond this size; the default takes some ten kilobytes.
const PLAN_BYTES_MAX: u64 = 1 << 20;

/// Longest text and name, characters.
const TEXT_MAX: usize = 2000;
const NAME_MAX: usize = 100;

/// A fall that keeps more than this is none.
const KEEP_PERCENT_MAX: u16 = 95;

/// The default plan, in kg. Its doses, rules and limits are common practice, no source.
const DEFAULT_PLAN: &str = include_str!("default-plan.toml");

/// The default plan's `[equipment]` in kg, and in lb.
const EQUIPMENT_KG: &str = include_str!("equipment-kg.toml");
const EQUIPMENT_LB: &str = include_str!("equipment-lb.toml");

/// Lines of the tables, for faults of the whole.
#[derive(Debug, Default)]
pub(super) struct PlanLines {
    pub(super) rules: Vec<usize>,
    pub(super) stages: Vec<usize>,
    pub(super) phases: Vec<Vec<usize>>,
}

impl Plan {
    /// The text of the default plan with weights in this unit.
    #[must_use]
    pub fn default_text(unit: Unit) -> String {
        let equipment = match unit {
            Unit::Kg => EQUIPMENT_KG,
            Unit::Lb => EQUIPMENT_LB,
        };
        DEFAULT_PLAN.replace("# [equipment]\n", equipment)
    }

    /// The default plan with weights in this unit.
    ///
    /// # Panics
    /// Never: the tests read both.
    #[must_use]
    pub fn default_plan(unit: Unit) -> Self {
        Self::parse(&Self::default_text(unit), Path::new("default plan")).expect("the tests read the default plan")
    }

    /// Reads a plan file.
    ///
    /// # Errors
    /// [`PlanError::Invalid`] with every fault.
    pub fn read(path: &Path) -> Result<Self, PlanError> {
        let mut problems = Problems::new(path);
        match read_text(path, PLAN_BYTES_MAX, &mut problems) {
            Some(text) => Self::parse(&text, path),
            None => Err(PlanError::Invalid { problems: problems.into_list() }),
        }
    }

    /// Reads the text of a plan file; `path` names it in faults.
    ///
    /// # Errors
    /// As [`Plan::read`].
    pub fn parse(text: &str, path: &Path) -> Result<Self, PlanError> {
        let mut problems = Problems::new(path);
        let parsed = parse_plan(text, &mut problems);
        let found = problems.into_list();
        let Some((mut plan, lines)) = parsed.filter(|_| found.is_empty()) else {
            return Err(PlanError::Invalid { problems: found });
        };
        // the whole is looked at once its parts are sound: else one slip would be told several times
        let mut problems = Problems::new(path);
        check_whole(&mut plan, &lines, &mut problems);
        let found = problems.into_list();
        if found.is_empty() { Ok(plan) } else { Err(PlanError::Invalid { problems: found }) }
    }

    /// Reads the text of a plan that was kept, perhaps by a version that took more: with what is to be mended in it beside it, so
    /// that somebody can. Nothing should be proposed by a plan that has any.
    ///
    /// # Errors
    /// As [`Plan::read`], where a fault is such that the plan does not hold together: see [`PlanFault::can_be_mended`].
    pub fn parse_kept(text: &str, path: &Path) -> Result<(Self, Vec<Problem>), PlanError> {
        let mut problems = Problems::new(path);
        let parsed = parse_plan(text, &mut problems);
        let mut found = problems.into_list();
        let Some((mut plan, lines)) = parsed.filter(|_| found.iter().all(can_be_mended)) else {
            return Err(PlanError::Invalid { problems: found });
        };
        let mut problems = Problems::new(path);
        check_whole(&mut plan, &lines, &mut problems);
        found.extend(problems.into_list());
        if found.iter().all(can_be_mended) { Ok((plan, found)) } else { Err(PlanError::Invalid { problems: found }) }
    }

    /// The text of the plan file.
    ///
    /// # Errors
    /// [`PlanError::Format`], which no plan is known to lead to.
    pub fn to_toml(&self) -> Result<String, PlanError> {
        toml::to_string(self).map_err(|source| PlanError::Format { format: "TOML", source: Box::new(source) })
    }
}

fn can_be_mended(problem: &Problem) -> bool {
    problem.plan_fault().is_some_and(PlanFault::can_be_mended)
}

impl Problem {
    /// The fault, where it is one of a plan as a whole.
    #[must_use]
    pub fn plan_fault(&self) -> Option<&PlanFault> {
        match &self.fault {
            Fault::Other { cause } => cause.downcast_ref(),
            _ => None,
        }
    }
}

/// A table's place with the name that the table gives itself, such as `[[stage]] "flexors"`.
fn named(node: &Node, place: &str) -> String {
    let Value::Table(entries) = &node.value else { return place.to_owned() };
    match entries.iter().find(|entry| entry.name == "id").map(|entry| &entry.node.value) {
        Some(Value::Text(id)) if !id.is_empty() => {
            format!("{place} \"{}\"", id.chars().take(NAME_MAX).collect::<String>().escape_debug())
        }
        _ => place.to_owned(),
    }
}

/// Notes a fault that this room alone knows.
pub(super) fn note(problems: &mut Problems, line: usize, fault: impl std::error::Error + Send + Sync + 'static) {
    problems.at(line, Fault::Other { cause: Box::new(fault) });
}

/// Reads TOML. `None` for what is none, or is empty, with that as the one fault: all else would follow from it.
pub(super) fn parse_root(text: &str, problems: &mut Problems) -> Option<Node> {
    let mut own = problems.anew();
    let root = parse_toml(text, &mut own);
    let is_empty = root.as_ref().is_some_and(|root| matches!(&root.value, Value::Table(fields) if fields.is_empty()));
    match own.into_list().into_iter().next() {
        Some(first) => problems.push(first.line, first.fault),
        None if is_empty => {
            problems.at(1, Fault::Syntax { language: "TOML", message: "the file is empty".to_owned() });
        }
        None => return root,
    }
    None
}

fn parse_plan(text: &str, problems: &mut Problems) -> Option<(Plan, PlanLines)> {
    let root = parse_root(text, problems)?;
    let fields = Fields::of(&root, "the plan", &["schema", "name", "equipment", "pain", "rule", "stage"], problems);
    for field in ["schema", "name", "equipment", "pain", "rule", "stage"] {
        fields.required(field, problems);
    }
    fields.choice("schema", &[(PLAN_SCHEMA, ())], problems);
    let mut lines = PlanLines::default();
    // with faults noted a plan is only looked through for more of them: what stands in does not matter
    let equipment = fields.node("equipment").and_then(|node| equipment(node, problems));
    let pain = fields.node("pain").and_then(|node| pain(node, None, problems));
    let rules = fields.list("rule", problems).unwrap_or_default();
    lines.rules = rules.iter().map(|node| node.line).collect();
    let rules = rules.iter().filter_map(|node| rule(node, problems)).collect();
    let stages = fields.list("stage", problems).unwrap_or_default();
    lines.stages = stages.iter().map(|node| node.line).collect();
    let stages: Vec<Stage> = stages
        .iter()
        .filter_map(|node| {
            let (stage, phases) = stage(node, problems)?;
            lines.phases.push(phases);
            Some(stage)
        })
        .collect();
    let plan = Plan {
        schema: PLAN_SCHEMA,
        name: fields.text("name", NAME_MAX, problems).unwrap_or_default(),
        equipment: equipment.unwrap_or(Equipment { unit: Unit::Kg, weights: Vec::new(), bands: Vec::new() }),
        pain: pain.unwrap_or(PainEntry(PainLimits::of(PainRule::PainFree))),
        rules,
        stages,
        order: Vec::new(),
    };
    Some((plan, lines))
}

fn equipment(node: &Node, problems: &mut Problems) -> Option<Equipment> {
    let fields = Fields::of(node, "[equipment]", &["unit", "weights", "bands"], problems);
    for field in ["unit", "weights", "bands"] {
        fields.required(field, problems);
    }
    let unit = fields.choice("unit", &[("kg", Unit::Kg), ("lb", Unit::Lb)], problems)?;
    let range = Limits::above_zero_to(WEIGHT_MAX, unit.symbol());
    let mut weights: Vec<Weight> = Vec::new();
    for node in fields.list("weights", problems)? {
        let Some(amount) = fields.number_of("weights", node, range, problems) else { continue };
        let Some(weight) = Weight::new(amount, unit) else {
            let (field, place, found) = ("weights".to_owned(), "[equipment]".to_owned(), amount.to_string());
            problems.at(
                node.line,
                Fault::OutOfRange { field, place, found, accepted: "hundredths at the finest".to_owned() },
            );
            continue;
        };
        if let Some(before) = weights.last().filter(|before| before.amount() >= amount) {
            note(problems, node.line, PlanFault::NotRising { found: weight.to_string(), before: before.to_string() });
        }
        weights.push(weight);
    }
    let bands = texts(&fields, "bands", NAME_MAX, problems)?;
    Some(Equipment { unit, weights, bands })
}

/// A list of texts.
pub(super) fn texts(
    fields: &Fields<'_>,
    field: &'static str,
    length_max: usize,
    problems: &mut Problems,
) -> Option<Vec<String>> {
    let mut texts = Vec::new();
    for node in fields.list(field, problems)? {
        match &node.value {
            Value::Text(text) if !text.trim().is_empty() && text.chars().count() <= length_max => {
                texts.push(text.clone());
            }
            _ => fields.wrong_kind(field, node, format!("a list of texts of 1 to {length_max} characters"), problems),
        }
    }
    Some(texts)
}

/// Pain from 0 to 10.
pub(super) fn pain_of(fields: &Fields<'_>, field: &str, problems: &mut Problems) -> Option<u8> {
    let value = fields.whole(field, fields.node(field)?, [0, u32::from(PAIN_MAX)], problems)?;
    u8::try_from(value).ok()
}

fn count(fields: &Fields<'_>, field: &str, range: [u16; 2], problems: &mut Problems) -> Option<u16> {
    let value = fields.whole(field, fields.node(field)?, range.map(u32::from), problems)?;
    u16::try_from(value).ok()
}

/// Two whole numbers, the lower one first.
fn counts(fields: &Fields<'_>, field: &'static str, range: [u16; 2], problems: &mut Problems) -> Option<[u16; 2]> {
    let nodes = two(fields, field, problems)?;
    let [low, high] = nodes.each_ref().map(|node| fields.whole(field, node, range.map(u32::from), problems));
    let pair = [u16::try_from(low?).ok()?, u16::try_from(high?).ok()?];
    if pair[0] > pair[1] {
        reversed(fields, field, pair.map(|number| number.to_string()), problems);
        return None;
    }
    Some(pair)
}

fn reversed(fields: &Fields<'_>, field: &'static str, [from, to]: [String; 2], problems: &mut Problems) {
    note(problems, fields.line_of(field), PlanFault::Reversed { field, place: fields.place.clone(), from, to });
}

fn two<'a>(fields: &Fields<'a>, field: &'static str, problems: &mut Problems) -> Option<[&'a Node; 2]> {
    let nodes = fields.list(field, problems)?;
    let [low, high] = nodes else {
        let (place, found) = (fields.place.clone(), format!("a list of {}", nodes.len()));
        let fault =
            Fault::OutOfRange { field: field.to_owned(), place, found, accepted: "two: lowest and highest".to_owned() };
        problems.at(fields.line_of(field), fault);
        return None;
    };
    Some([low, high])
}

/// Limits of pain: those of a stage, or of the plan.
fn pain(node: &Node, stage: Option<&str>, problems: &mut Problems) -> Option<PainEntry> {
    const LIMITS: [&str; 3] = ["safe_at_most", "acceptable_at_most", "morning_at_most"];
    let place = &pain_place(stage);
    let fields = Fields::of(node, place, &["rule", "safe_at_most", "acceptable_at_most", "morning_at_most"], problems);
    fields.required("rule", problems);
    let rules = [
        ("pain_free", PainRule::PainFree),
        ("thomee_1997", PainRule::Thomee1997),
        ("silbernagel_2007", PainRule::Silbernagel2007),
        ("own", PainRule::Own),
    ];
    let rule = fields.choice("rule", &rules, problems)?;
    if rule != PainRule::Own {
        for field in LIMITS.into_iter().filter(|field| fields.node(field).is_some()) {
            note(problems, fields.line_of(field), PlanFault::LimitBesideRule { field, place: place.clone() });
        }
        return Some(PainEntry(PainLimits::of(rule)));
    }
    let [safe, acceptable, morning] = LIMITS.map(|field| {
        fields.required(field, problems);
        pain_of(&fields, field, problems)
    });
    let (safe_at_most, acceptable_at_most) = (safe?, acceptable?);
    if safe_at_most > acceptable_at_most || acceptable_at_most >= SEVERE_FROM {
        let (safe, acceptable) = (safe_at_most, acceptable_at_most);
        note(problems, node.line, PlanFault::PainLimits { stage: stage.map(str::to_owned), safe, acceptable });
    }
    if let Some(found) = morning.filter(|morning| *morning >= SEVERE_MORNING_FROM) {
        let stage = stage.map(str::to_owned);
        note(problems, fields.line_of("morning_at_most"), PlanFault::MorningLimit { stage, found });
    }
    Some(PainEntry(PainLimits { rule, safe_at_most, acceptable_at_most, morning_at_most: morning? }))
}

fn rule(node: &Node, problems: &mut Problems) -> Option<Rule> {
    let accepted = [
        "id",
        "stages",
        "during",
        "morning",
        "week_rises",
        "is_short",
        "is_ready",
        "setbacks_at_least",
        "mode_falls_at_least",
        "days_without_gain_above",
        "days_since_session_above",
        "keep_percent",
        "then",
        "because",
    ];
    let fields = Fields::of(node, &named(node, "[[rule]]"), &accepted, problems);
    for field in ["id", "then", "because"] {
        fields.required(field, problems);
    }
    let stages = texts(&fields, "stages", NAME_MAX, problems).unwrap_or_default();
    let zones = [("safe", Zone::Safe), ("acceptable", Zone::Acceptable), ("too_much", Zone::TooMuch)];
    let mornings = [("settled", Morning::Settled), ("not_settled", Morning::NotSettled), ("unknown", Morning::Unknown)];
    let actions =
        [("up", Action::Up), ("hold", Action::Hold), ("down", Action::Down), ("see_clinician", Action::SeeClinician)];
    let during = fields.choice("during", &zones, problems);
    let morning = fields.choice("morning", &mornings, problems);
    let [week_rises, is_short, is_ready] =
        ["week_rises", "is_short", "is_ready"].map(|field| fields.flag(field, problems));
    let setbacks_at_least = count(&fields, "setbacks_at_least", [1, super::rules::SETBACKS_MAX], problems);
    let mode_falls_at_least = count(&fields, "mode_falls_at_least", [1, super::rules::SETBACKS_MAX], problems);
    let [days_without_gain_above, days_since_session_above] =
        ["days_without_gain_above", "days_since_session_above"].map(|field| count(&fields, field, [1, 365], problems));
    let keep_percent = count(&fields, "keep_percent", [0, KEEP_PERCENT_MAX], problems);
    let then = fields.choice("then", &actions, problems);
    if keep_percent.is_some() && then.is_some_and(|then| then != Action::Down) {
        let place = fields.place.clone();
        note(problems, fields.line_of("keep_percent"), PlanFault::KeepsWithoutFall { place });
    }
    let because = fields.text("because", TEXT_MAX, problems);
    Some(Rule {
        id: fields.text("id", NAME_MAX, problems)?,
        stages,
        during,
        morning,
        week_rises,
        is_short,
        is_ready,
        setbacks_at_least,
        mode_falls_at_least,
        days_without_gain_above,
        days_since_session_above,
        keep_percent,
        then: then?,
        because: because?,
    })
}

fn stage(node: &Node, problems: &mut Problems) -> Option<(Stage, Vec<usize>)> {
    let accepted = [
        "id",
        "name",
        "how",
        "felt",
        "stop",
        "days_between",
        "sessions_to_rise",
        "keep",
        "start",
        "pain",
        "entry",
        "exit",
        "phase",
    ];
    let fields = Fields::of(node, &named(node, "[[stage]]"), &accepted, problems);
    for field in ["id", "name", "how", "felt", "stop", "days_between", "sessions_to_rise", "exit", "phase"] {
        fields.required(field, problems);
    }
    let id = fields.text("id", NAME_MAX, problems);
    let name = fields.text("name", NAME_MAX, problems);
    let [how, felt, stop] = ["how", "felt", "stop"].map(|field| fields.text(field, TEXT_MAX, problems));
    let days_between = count(&fields, "days_between", ranges::DAYS_BETWEEN, problems);
    let sessions_to_rise = count(&fields, "sessions_to_rise", ranges::SESSIONS_TO_RISE, problems);
    let keep = fields.flag("keep", problems).unwrap_or(false);
    let start = fields.text("start", NAME_MAX, problems);
    let of = id.as_deref().unwrap_or_default();
    let pain = fields.node("pain").and_then(|node| pain(node, Some(of), problems));
    let entry = fields.node("entry").map_or_else(StageEntry::default, |node| entry(node, of, problems));
    let exit = fields.node("exit").and_then(|node| exit(node, of, problems));
    let nodes = fields.list("phase", problems).unwrap_or_default();
    if nodes.is_empty() {
        let (field, place, found) = ("phase".to_owned(), fields.place.clone(), "empty".to_owned());
        let accepted = "one [[stage.phase]] or more".to_owned();
        problems.at(fields.line, Fault::OutOfRange { field, place, found, accepted });
    }
    let phases: Vec<Phase> = nodes.iter().filter_map(|node| phase(node, of, problems)).collect();
    let start = start.or_else(|| phases.first().map(|phase| phase.id.clone()));
    let stage = Stage {
        id: id?,
        name: name?,
        how: how?,
        felt: felt?,
        stop: stop?,
        days_between: days_between?,
        sessions_to_rise: sessions_to_rise?,
        keep,
        start: start?,
        pain,
        entry,
        exit: exit?,
        phases,
        rungs: Vec::new(),
        first_rung: 0,
        after_at: Vec::new(),
        lightest_heavy: None,
    };
    Some((stage, nodes.iter().map(|node| node.line).collect()))
}

fn entry(node: &Node, stage: &str, problems: &mut Problems) -> StageEntry {
    let place = format!("[stage.entry] of stage \"{stage}\"");
    let fields = Fields::of(node, &place, &["after", "screen_positive", "pain_in_use_at_most"], problems);
    StageEntry {
        after: texts(&fields, "after", NAME_MAX, problems).unwrap_or_default(),
        screen_positive: fields.flag("screen_positive", problems).unwrap_or(false),
        pain_in_use_at_most: pain_of(&fields, "pain_in_use_at_most", problems),
    }
}

fn exit(node: &Node, stage: &str, problems: &mut Problems) -> Option<StageExit> {
    let place = format!("[stage.exit] of stage \"{stage}\"");
    let fields = Fields::of(node, &place, &["at", "sessions", "pain_on_pressing_at_most"], problems);
    for field in ["at", "sessions"] {
        fields.required(field, problems);
    }
    let at = fields.choice("at", &[("top", ExitAt::Top), ("any", ExitAt::Any)], problems);
    let sessions = count(&fields, "sessions", ranges::EXIT_SESSIONS, problems);
    let pain_on_pressing_at_most = pain_of(&fields, "pain_on_pressing_at_most", problems);
    Some(StageExit { at: at?, sessions: sessions?, pain_on_pressing_at_most })
}

fn phase(node: &Node, stage: &str, problems: &mut Problems) -> Option<Phase> {
    let accepted = [
        "id",
        "name",
        "mode",
        "how",
        "sets",
        "repetitions",
        "repetitions_step",
        "hold_s",
        "hold_step_s",
        "lowering_s",
        "weight_kg",
        "band",
        "share_percent",
        "share_step_percent",
        "is_heavy",
        "if_it_hurts",
    ];
    let place = format!("{} of stage \"{stage}\"", named(node, "[[stage.phase]]"));
    let fields = Fields::of(node, &place, &accepted, problems);
    for field in ["id", "name", "mode", "sets", "repetitions"] {
        fields.required(field, problems);
    }
    let modes = [
        ("press", Mode::Press),
        ("stretch", Mode::Stretch),
        ("hold", Mode::Hold),
        ("lowering_only", Mode::LoweringOnly),
        ("lift_and_lower", Mode::LiftAndLower),
        ("move", Mode::Move),
    ];
    let id = fields.text("id", NAME_MAX, problems);
    let name = fields.text("name", NAME_MAX, problems);
    let mode = fields.choice("mode", &modes, problems);
    let sets = counts(&fields, "sets", ranges::SETS, problems);
    let repetitions = counts(&fields, "repetitions", ranges::REPETITIONS, problems);
    let phase = Phase {
        how: fields.text("how", TEXT_MAX, problems),
        repetitions_step: count(&fields, "repetitions_step", ranges::REPETITIONS, problems).unwrap_or(1),
        hold_s: counts(&fields, "hold_s", ranges::HOLD_S, problems),
        hold_step_s: count(&fields, "hold_step_s", ranges::HOLD_S, problems),
        lowering_s: count(&fields, "lowering_s", ranges::LOWERING_S, problems),
        weight_kg: weights(&fields, problems),
        band: bands(&fields, problems),
        share_percent: counts(&fields, "share_percent", ranges::SHARE_PERCENT, problems),
        share_step_percent: count(&fields, "share_step_percent", ranges::SHARE_STEP_PERCENT, problems),
        is_heavy: fields.flag("is_heavy", problems).unwrap_or(false),
        if_it_hurts: fields.text("if_it_hurts", NAME_MAX, problems),
        id: id?,
        name: name?,
        mode: mode?,
        sets: sets?,
        repetitions: repetitions?,
    };
    let loads: Vec<&str> =
        ["weight_kg", "band", "share_percent"].into_iter().filter(|field| fields.node(field).is_some()).collect();
    if loads.len() > 1 {
        note(problems, node.line, PlanFault::TwoLoads { place: fields.place.clone(), found: loads.join(" and ") });
    }
    Some(phase)
}

fn weights(fields: &Fields<'_>, problems: &mut Problems) -> Option<[f64; 2]> {
    let range = Limits::above_zero_to(WEIGHT_MAX, "kg");
    let nodes = two(fields, "weight_kg", problems)?;
    let [low, high] = nodes.map(|node| fields.number_of("weight_kg", node, range, problems));
    let pair = [low?, high?];
    if pair[0] > pair[1] {
        reversed(fields, "weight_kg", pair.map(|number| number.to_string()), problems);
        return None;
    }
    Some(pair)
}

fn bands(fields: &Fields<'_>, problems: &mut Problems) -> Option<[String; 2]> {
    two(fields, "band", problems)?;
    <[String; 2]>::try_from(texts(fields, "band", NAME_MAX, problems)?).ok()
}
