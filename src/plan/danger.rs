//! Danger signs: what a licensed clinician should see before anybody stretches or loads the arm. Common practice, no source.

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_parses_back_to_its_sign() {
        for sign in DangerSign::ALL {
            assert_eq!(sign.name().parse(), Ok(sign));
        }
        assert!("toothache".parse::<DangerSign>().is_err());
    }
}
