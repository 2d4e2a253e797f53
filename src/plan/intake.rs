//! What is asked and found: where it hurts, what provokes it, pain and ratings at every visit, the clinician's findings.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::screen::{Call, ResultSide, RetestOutcome};

use super::danger::DangerSign;
use super::day::Day;

/// The name of the format.
pub const INTAKE_SCHEMA: &str = "tworeach/intake/1";

/// Pain at rest that is above pain in use by so much is asked about. Common practice, no source.
pub const REST_ABOVE_USE: u8 = 3;

/// What a client and a clinician tell, at the first visit and at every later one.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Intake {
    /// [`INTAKE_SCHEMA`].
    pub(super) schema: &'static str,
    /// The client's code.
    pub client: String,
    /// The side, or both.
    pub affected_side: ResultSide,
    /// Where it hurts.
    pub pain_spots: Vec<PainSpot>,
    /// What brings it on.
    pub provoked_by: Vec<Provocation>,
    /// Weeks from the onset to the first visit.
    pub weeks_since_onset: u16,
    /// In the client's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub work: Option<String>,
    /// In the client's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sport: Option<String>,
    /// What was done for it before.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub earlier_care: Vec<String>,
    /// What the client wants to do again, in their words.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub goals: Vec<String>,
    /// The activities that are rated at every visit.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub activities: Vec<String>,
    /// The visits, the earliest first.
    #[serde(rename = "visit")]
    pub visits: Vec<IntakeVisit>,
    /// Screens, the earliest first.
    #[serde(rename = "screen", skip_serializing_if = "Vec::is_empty")]
    pub screens: Vec<ScreenOutcome>,
    /// Days on which a clinician looked and let the plan go on, the earliest first.
    #[serde(rename = "clearance", skip_serializing_if = "Vec::is_empty")]
    pub clearances: Vec<Clearance>,
}

/// What is asked at every visit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IntakeVisit {
    /// The day.
    pub on: Day,
    /// Pain at rest, 0 to 10.
    pub pain_at_rest: u8,
    /// Pain in use, 0 to 10.
    pub pain_in_use: u8,
    /// Pain on pressing the spot, 0 to 10.
    pub pain_on_pressing: u8,
    /// Danger signs that were answered with yes.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub danger_signs: Vec<DangerSign>,
    /// Each activity from 0, cannot do it, to 10, as before.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub ratings: BTreeMap<String, u8>,
    /// What a clinician found.
    #[serde(skip_serializing_if = "Findings::is_empty")]
    pub findings: Findings,
}

/// What a clinician found at a visit. What was not looked for is left out.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Findings {
    /// Wrist flexion against resistance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resisted_wrist_flexion: Option<Resisted>,
    /// Pronation against resistance.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub resisted_pronation: Option<Resisted>,
    /// Stress of the elbow's inner side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub valgus_stress: Option<Valgus>,
    /// The ulnar nerve at the elbow.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ulnar_nerve: Option<UlnarNerve>,
    /// Grip force that does not hurt, kg, one number a try.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub grip_left_kg: Vec<f64>,
    /// Grip force that does not hurt, kg, one number a try.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub grip_right_kg: Vec<f64>,
}

/// A place that hurts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PainSpot {
    /// Where.
    pub place: PainPlace,
    /// The arm is the left one.
    pub is_left: bool,
}

/// Where it can hurt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PainPlace {
    /// The bony tip of the inner elbow.
    InnerElbowTip,
    /// The muscle of the inner forearm below it.
    FlexorMass,
    /// The shoulder.
    Shoulder,
}

/// What brings the pain on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs, reason = "each is named by what is done")]
pub enum Provocation {
    WideBarOnBack,
    PullingUp,
    Gripping,
    Throwing,
    Pressing,
    Rowing,
    Other,
}

/// A movement against resistance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Resisted {
    /// Strong and without pain.
    Clear,
    /// Strong, with pain.
    Painful,
    /// Weak, without pain.
    Weak,
    /// Weak, with pain.
    PainfulAndWeak,
}

/// Stress of the inner side of the elbow.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Valgus {
    /// Firm and without pain.
    Clear,
    /// Firm, with pain.
    Painful,
    /// The joint opens.
    Gaps,
}

/// Signs of the ulnar nerve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum UlnarNerve {
    /// None.
    Clear,
    /// Tingling in ring and little finger.
    Tingling,
    /// Weakness or wasting of the hand.
    Weak,
}

/// What a screen gave.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ScreenOutcome {
    /// The day.
    pub on: Day,
    /// The call before the stretch.
    pub call: Call,
    /// The external reach after the stretch, against before.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub retest: Option<RetestOutcome>,
}

/// A clinician looked, and lets the plan go on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Clearance {
    /// The day.
    pub on: Day,
    /// Why the plan may go on.
    pub reason: String,
}

impl PainSpot {
    /// All, with their names in files.
    pub const ALL: [(&'static str, Self); 6] = [
        ("left_inner_elbow_tip", Self { place: PainPlace::InnerElbowTip, is_left: true }),
        ("left_flexor_mass", Self { place: PainPlace::FlexorMass, is_left: true }),
        ("left_shoulder", Self { place: PainPlace::Shoulder, is_left: true }),
        ("right_inner_elbow_tip", Self { place: PainPlace::InnerElbowTip, is_left: false }),
        ("right_flexor_mass", Self { place: PainPlace::FlexorMass, is_left: false }),
        ("right_shoulder", Self { place: PainPlace::Shoulder, is_left: false }),
    ];

    /// Its name in files.
    #[must_use]
    pub fn name(self) -> &'static str {
        Self::ALL.iter().find(|(_, spot)| *spot == self).map_or("", |(name, _)| name)
    }
}

impl Provocation {
    /// All, with their names in files.
    pub const ALL: [(&'static str, Self); 7] = [
        ("wide_bar_on_back", Self::WideBarOnBack),
        ("pulling_up", Self::PullingUp),
        ("gripping", Self::Gripping),
        ("throwing", Self::Throwing),
        ("pressing", Self::Pressing),
        ("rowing", Self::Rowing),
        ("other", Self::Other),
    ];
}

impl Intake {
    /// An intake in which nothing is told yet: it has no visit, and is none until it has one.
    #[must_use]
    pub fn blank(client: &str, affected_side: ResultSide) -> Self {
        Self {
            schema: INTAKE_SCHEMA,
            client: client.to_owned(),
            affected_side,
            pain_spots: Vec::new(),
            provoked_by: Vec::new(),
            weeks_since_onset: 0,
            work: None,
            sport: None,
            earlier_care: Vec::new(),
            goals: Vec::new(),
            activities: Vec::new(),
            visits: Vec::new(),
            screens: Vec::new(),
            clearances: Vec::new(),
        }
    }

    /// Puts a visit in the place of that of a day, or of none, and keeps the visits in the order of their days.
    pub fn put_visit(&mut self, instead_of: Option<Day>, visit: IntakeVisit) {
        self.visits.retain(|kept| Some(kept.on) != instead_of);
        self.visits.push(visit);
        self.visits.sort_by_key(|visit| visit.on);
    }

    /// Notes that a clinician looked and lets the plan go on; of two reasons on one day the later counts.
    pub fn put_clearance(&mut self, clearance: Clearance) {
        self.clearances.retain(|kept| kept.on != clearance.on);
        self.clearances.push(clearance);
        self.clearances.sort_by_key(|clearance| clearance.on);
    }
}

impl IntakeVisit {
    /// Pain at rest is well above pain in use: a slip, or not what loading is for.
    #[must_use]
    pub const fn is_worse_at_rest(&self) -> bool {
        self.pain_at_rest >= self.pain_in_use.saturating_add(REST_ABOVE_USE)
    }
}

impl Findings {
    /// Nothing was looked for.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// The first finding that a clinician should think about before anything is loaded.
    #[must_use]
    pub fn alarm(&self) -> Option<&'static str> {
        let is_weak = |found: Option<Resisted>| matches!(found, Some(Resisted::Weak | Resisted::PainfulAndWeak));
        match (self.ulnar_nerve, self.valgus_stress) {
            (Some(UlnarNerve::Weak), _) => Some("a weak or wasted hand"),
            (Some(UlnarNerve::Tingling), _) => Some("a sign of the ulnar nerve"),
            (_, Some(Valgus::Gaps)) => Some("an elbow whose inner side opens under stress"),
            _ if is_weak(self.resisted_wrist_flexion) => Some("weak wrist flexion"),
            _ if is_weak(self.resisted_pronation) => Some("weak pronation"),
            _ => None,
        }
    }
}

impl Serialize for PainSpot {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}

impl Serialize for DangerSign {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}
