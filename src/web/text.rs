//! Every English text of the pages, in one place.

use crate::records::DangerSign;

/// The product.
pub const NAME: &str = "Tworeach";

/// The question about a danger sign.
#[must_use]
pub const fn danger_sign(sign: DangerSign) -> &'static str {
    match sign {
        DangerSign::NumbRingLittleFinger => "Numbness or tingling in the ring and little finger?",
        DangerSign::WeakGrip => "A grip that has become weak?",
        DangerSign::PopOrBruise => "A pop that was felt or heard, or a bruise since?",
        DangerSign::JointLocked => "A joint that locks?",
        DangerSign::JointHotRedSwollen => "A joint that is hot, red or swollen?",
        DangerSign::Fever => "Fever?",
        DangerSign::NightPain => "Pain that wakes at night?",
        DangerSign::RecentInjury => "A recent fall, fracture, dislocation or operation?",
        DangerSign::ArmSwollenBlueHeavy => "An arm that is swollen, blue or heavy?",
        DangerSign::InnerElbowThrowing => "Pain or looseness at the inner elbow when throwing fast?",
        DangerSign::ShoulderSlips => "A shoulder that slips out, or feels as if it might?",
        DangerSign::BothArmsNumb => "Both arms numb or clumsy?",
        DangerSign::NeckSigns => "Neck pain that runs into the arm, or comes on when the neck moves?",
        DangerSign::CancerOrWeightLoss => "A known cancer, or weight lost without a reason?",
        DangerSign::ChestPainBreathless => "Chest pain or shortness of breath?",
    }
}
