//! Danger signs, asked before a client's first visit, and what the answers mean. Common practice, no source.

use std::str::FromStr;

/// A sign that a shoulder or arm should be seen by a licensed clinician before anybody stretches it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs, reason = "each is named by what is asked")]
pub enum DangerSign {
    NumbRingLittleFinger,
    WeakGrip,
    PopOrBruise,
    JointLocked,
    JointHotRedSwollen,
    Fever,
    NightPain,
    RecentInjury,
    ArmSwollenBlueHeavy,
    InnerElbowThrowing,
    ShoulderSlips,
    BothArmsNumb,
    NeckSigns,
    CancerOrWeightLoss,
    ChestPainBreathless,
}

impl DangerSign {
    /// All, in the order in which they are asked.
    pub const ALL: [Self; 15] = [
        Self::ChestPainBreathless,
        Self::NumbRingLittleFinger,
        Self::WeakGrip,
        Self::PopOrBruise,
        Self::JointLocked,
        Self::JointHotRedSwollen,
        Self::Fever,
        Self::NightPain,
        Self::RecentInjury,
        Self::ArmSwollenBlueHeavy,
        Self::InnerElbowThrowing,
        Self::ShoulderSlips,
        Self::BothArmsNumb,
        Self::NeckSigns,
        Self::CancerOrWeightLoss,
    ];

    /// The sign's name in the records; a form's field is `sign_` and this.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::NumbRingLittleFinger => "numb_ring_little_finger",
            Self::WeakGrip => "weak_grip",
            Self::PopOrBruise => "pop_or_bruise",
            Self::JointLocked => "joint_locked",
            Self::JointHotRedSwollen => "joint_hot_red_swollen",
            Self::Fever => "fever",
            Self::NightPain => "night_pain",
            Self::RecentInjury => "recent_injury",
            Self::ArmSwollenBlueHeavy => "arm_swollen_blue_heavy",
            Self::InnerElbowThrowing => "inner_elbow_throwing",
            Self::ShoulderSlips => "shoulder_slips",
            Self::BothArmsNumb => "both_arms_numb",
            Self::NeckSigns => "neck_signs",
            Self::CancerOrWeightLoss => "cancer_or_weight_loss",
            Self::ChestPainBreathless => "chest_pain_breathless",
        }
    }

    /// The sign calls for emergency care at once.
    #[must_use]
    pub const fn is_emergency(self) -> bool {
        matches!(self, Self::ChestPainBreathless)
    }
}

impl FromStr for DangerSign {
    type Err = UnknownWord;

    fn from_str(name: &str) -> Result<Self, Self::Err> {
        Self::ALL.into_iter().find(|sign| sign.name() == name).ok_or_else(|| UnknownWord { found: name.to_owned() })
    }
}

/// A word in the records that this version does not know.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("unknown word \"{found}\"")]
pub struct UnknownWord {
    /// The word found.
    pub found: String,
}

/// Who answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AnsweredBy {
    /// The client alone, or a coach with them.
    Client,
    /// A licensed clinician.
    Clinician,
}

/// What follows from the answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScreeningOutcome {
    /// No sign: go on.
    Clear,
    /// See a licensed clinician first.
    SeeClinician,
    /// Emergency care, now.
    Emergency,
    /// A clinician goes on, for a written reason.
    ClinicianGoesOn,
}

/// The answers on one day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answers {
    /// Who answered.
    pub answered_by: AnsweredBy,
    /// The signs that were answered with yes; all others were answered with no.
    pub signs: Vec<DangerSign>,
    /// Why a clinician goes on all the same.
    pub reason: Option<String>,
}

impl Answers {
    /// What follows. Only a clinician with a written reason may go on with a sign, and nobody with an emergency.
    #[must_use]
    pub fn outcome(&self) -> ScreeningOutcome {
        let has_reason = self.reason.as_deref().is_some_and(|reason| !reason.trim().is_empty());
        if self.signs.is_empty() {
            ScreeningOutcome::Clear
        } else if self.signs.iter().any(|sign| sign.is_emergency()) {
            ScreeningOutcome::Emergency
        } else if self.answered_by == AnsweredBy::Clinician && has_reason {
            ScreeningOutcome::ClinicianGoesOn
        } else {
            ScreeningOutcome::SeeClinician
        }
    }

    /// Whether a visit may be started.
    #[must_use]
    pub fn may_visit(&self) -> bool {
        matches!(self.outcome(), ScreeningOutcome::Clear | ScreeningOutcome::ClinicianGoesOn)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answers(answered_by: AnsweredBy, signs: &[DangerSign], reason: Option<&str>) -> Answers {
        Answers { answered_by, signs: signs.to_vec(), reason: reason.map(str::to_owned) }
    }

    #[test]
    fn every_name_parses_back_to_its_sign() {
        for sign in DangerSign::ALL {
            assert_eq!(sign.name().parse(), Ok(sign));
        }
        assert!("toothache".parse::<DangerSign>().is_err());
    }

    #[test]
    fn a_client_alone_may_not_go_on_with_any_sign() {
        for sign in DangerSign::ALL {
            assert!(!answers(AnsweredBy::Client, &[sign], Some("I feel fine")).may_visit(), "{sign:?}");
        }
        assert!(answers(AnsweredBy::Client, &[], None).may_visit());
    }

    #[test]
    fn a_clinician_needs_a_written_reason_and_cannot_overrule_an_emergency() {
        let night = [DangerSign::NightPain];
        assert!(answers(AnsweredBy::Clinician, &night, Some("imaged last week, nothing found")).may_visit());
        assert!(!answers(AnsweredBy::Clinician, &night, Some("  ")).may_visit());
        assert!(!answers(AnsweredBy::Clinician, &night, None).may_visit());
        let chest = [DangerSign::ChestPainBreathless];
        let outcome = answers(AnsweredBy::Clinician, &chest, Some("no reason is enough")).outcome();
        assert_eq!(outcome, ScreeningOutcome::Emergency);
    }
}
