//! The staged plan: stages with entry, doses, what is felt, stop rule and exit, and the rules that move the dose.

use serde::Serialize;

use super::load::{Load, LoadKind, Unit, Weight};
use super::pain::PainLimits;
use super::rules::Rule;

/// The name of the format.
pub const PLAN_SCHEMA: &str = "tworeach/plan/1";

/// A plan whose parts fit together: every stage can be reached, every rule can fire.
///
/// Made by [`Plan::parse`] alone, so that whoever holds one need not check it again; and by [`Plan::parse_kept`], which says beside
/// it what is to be mended.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// [`PLAN_SCHEMA`].
    pub(super) schema: &'static str,
    /// Its name.
    pub(super) name: String,
    /// What there is to lift.
    pub(super) equipment: Equipment,
    /// What pain is taken.
    pub(super) pain: PainEntry,
    /// The rules, the first that holds first.
    #[serde(rename = "rule")]
    pub(super) rules: Vec<Rule>,
    /// The stages.
    #[serde(rename = "stage")]
    pub(super) stages: Vec<Stage>,
    /// The stages' places, each after all that it waits for.
    #[serde(skip)]
    pub(super) order: Vec<usize>,
}

/// What there is to lift.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Equipment {
    /// Unit of the weights.
    pub unit: Unit,
    /// The weights that exist, the lightest first.
    #[serde(serialize_with = "amounts")]
    pub weights: Vec<Weight>,
    /// The bands that exist, the lightest first.
    pub bands: Vec<String>,
}

/// The `[pain]` table: a rule, with limits only when they are the clinician's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PainEntry(pub(super) PainLimits);

/// One stage.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stage {
    /// Its name in logs.
    pub id: String,
    /// Its name in words.
    pub name: String,
    /// How it is done, in every phase that does not say so itself: see [`Stage::how_of`].
    pub how: String,
    /// What is felt, and where.
    pub felt: String,
    /// When to stop.
    pub stop: String,
    /// Days from one session to the next: 1 is daily.
    pub days_between: u16,
    /// Sessions in a row at one dose before it rises.
    pub sessions_to_rise: u16,
    /// The stage goes on at its dose when it is done.
    pub keep: bool,
    /// The phase that it begins with; those before it are fallen back to.
    pub start: String,
    /// Its own limits of pain, where those of the plan do not suit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) pain: Option<PainEntry>,
    /// When it begins.
    pub entry: StageEntry,
    /// When it is done.
    pub exit: StageExit,
    /// Its phases, the lightest first.
    #[serde(rename = "phase")]
    pub phases: Vec<Phase>,
    /// All doses of all phases in the order of the climb.
    #[serde(skip)]
    pub(super) rungs: Vec<Rung>,
    /// The place of the first dose in `rungs`.
    #[serde(skip)]
    pub(super) first_rung: usize,
    /// Places of the stages that it waits for.
    #[serde(skip)]
    pub(super) after_at: Vec<usize>,
    /// The lightest load of its heavy phases, where they have a load.
    #[serde(skip)]
    pub(super) lightest_heavy: Option<u64>,
}

/// When a stage begins.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct StageEntry {
    /// These stages are done, or not needed.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub after: Vec<String>,
    /// Only if the screen was positive; otherwise the stage is not needed.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub screen_positive: bool,
    /// Pain in use at the latest visit is at most this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pain_in_use_at_most: Option<u8>,
}

/// When a stage is done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StageExit {
    /// At which dose.
    pub at: ExitAt,
    /// Sessions in a row there, whole, without pain above the safe limit.
    pub sessions: u16,
    /// Pain on pressing the spot at the latest visit is at most this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pain_on_pressing_at_most: Option<u8>,
}

/// The dose at which a stage can be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ExitAt {
    /// At the last dose of its last phase.
    Top,
    /// At any dose.
    Any,
}

/// How a dose is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Mode {
    /// Pressing on soft tissue.
    Press,
    /// A stretch.
    Stretch,
    /// Held in place.
    Hold,
    /// Lowered only: something else lifts.
    LoweringOnly,
    /// Lifted and lowered.
    LiftAndLower,
    /// Pulled or moved through, without a weight in the hand.
    Move,
}

/// A part of a stage, done in one mode.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Phase {
    /// Its name within the stage.
    pub id: String,
    /// Its name in words.
    pub name: String,
    /// How its doses are done.
    pub mode: Mode,
    /// How it is done, in full, where the stage's own `how` is not it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub how: Option<String>,
    /// Fewest and most sets.
    pub sets: [u16; 2],
    /// Fewest and most repetitions of a set.
    pub repetitions: [u16; 2],
    /// By how many the repetitions rise.
    pub repetitions_step: u16,
    /// Shortest and longest hold of a repetition, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hold_s: Option<[u16; 2]>,
    /// By how much the hold rises, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hold_step_s: Option<u16>,
    /// Time of the lowering, s.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lowering_s: Option<u16>,
    /// Lightest and heaviest weight, kg, as far as weights exist.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weight_kg: Option<[f64; 2]>,
    /// Lightest and firmest band.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub band: Option<[String; 2]>,
    /// Least and largest share of the usual load, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share_percent: Option<[u16; 2]>,
    /// By how much the share rises, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub share_step_percent: Option<u16>,
    /// It loads the wrist flexors heavily: never on consecutive days.
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub is_heavy: bool,
    /// The earlier phase that pain leads back to; without one, pain leads one step down.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub if_it_hurts: Option<String>,
}

/// One dose of a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rung {
    /// Place of its phase in the stage.
    pub phase: usize,
    /// What is lifted.
    pub load: Load,
    /// Sets.
    pub sets: u16,
    /// Repetitions of a set.
    pub repetitions: u16,
    /// Hold of a repetition, s; 0 without one.
    pub hold_s: u16,
}

impl Plan {
    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What there is to lift.
    #[must_use]
    pub const fn equipment(&self) -> &Equipment {
        &self.equipment
    }

    /// The rules, in the order in which they are asked.
    #[must_use]
    pub fn rules(&self) -> &[Rule] {
        &self.rules
    }

    /// The stages, in the order of the file.
    #[must_use]
    pub fn stages(&self) -> &[Stage] {
        &self.stages
    }

    /// What pain is taken in a stage.
    #[must_use]
    pub fn pain_limits(&self, stage: usize) -> PainLimits {
        self.stages.get(stage).and_then(|stage| stage.pain).unwrap_or(self.pain).0
    }

    /// The place of a stage by its name in logs.
    #[must_use]
    pub fn stage_at(&self, id: &str) -> Option<usize> {
        self.stages.iter().position(|stage| stage.id == id)
    }
}

impl Stage {
    /// All doses in the order of the climb.
    #[must_use]
    pub fn rungs(&self) -> &[Rung] {
        &self.rungs
    }

    /// What its doses are loaded with.
    #[must_use]
    pub fn load_kind(&self) -> LoadKind {
        self.rungs.first().map_or(LoadKind::None, |rung| rung.load.kind())
    }

    /// How the doses of a phase are done: what the phase says itself, or else what the stage says, never both, since one may ask
    /// for what the other leaves out.
    ///
    /// # Panics
    /// If the stage has no such phase.
    #[must_use]
    pub fn how_of(&self, phase: usize) -> &str {
        self.phases[phase].how.as_ref().unwrap_or(&self.how)
    }

    /// Its own limits of pain, where those of the plan do not suit.
    #[must_use]
    pub fn own_pain(&self) -> Option<PainLimits> {
        self.pain.map(|own| own.0)
    }

    /// Gives it limits of pain of its own, or those of the plan. Limits beside a published rule are that rule's own.
    pub fn set_own_pain(&mut self, limits: Option<PainLimits>) {
        self.pain = limits.map(PainEntry);
    }

    /// The phase of a dose.
    #[must_use]
    pub fn phase_of(&self, rung: usize) -> &Phase {
        &self.phases[self.rungs[rung].phase]
    }

    /// The phase that a dose is left for when it hurts.
    pub(super) fn lighter_phase(&self, rung: usize) -> Option<usize> {
        let id = self.phase_of(rung).if_it_hurts.as_ref()?;
        self.phases.iter().position(|phase| phase.id == *id)
    }
}

fn amounts<S: serde::Serializer>(weights: &[Weight], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(weights.iter().map(|weight| weight.amount()))
}

impl Serialize for PainEntry {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        use serde::ser::SerializeStruct as _;
        if self.0.rule == super::pain::PainRule::Own {
            return self.0.serialize(serializer);
        }
        // a rule's limits are its own: written beside it they could contradict it
        let mut table = serializer.serialize_struct("pain", 1)?;
        table.serialize_field("rule", &self.0.rule)?;
        table.end()
    }
}
