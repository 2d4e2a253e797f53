//! Danger signs, asked before a client's first visit, and what the answers mean. Common practice, no source.

use crate::plan::DangerSign;

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
