//! Pain from 0 to 10, and what the plan takes of it: none, or one of the published pain-monitoring rules.

use serde::Serialize;

/// The most that the scale has.
pub const PAIN_MAX: u8 = 10;

/// From this on, pain during a session ends the plan until a clinician has looked, whatever the plan takes. Common practice, no
/// source.
pub const SEVERE_FROM: u8 = 7;

/// The same for pain on the morning after. Common practice, no source.
pub const SEVERE_MORNING_FROM: u8 = 5;

/// Which rule says what pain is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PainRule {
    /// Work without pain. Common practice, no source.
    PainFree,
    /// Up to 2 is safe, up to 5 acceptable.
    ///
    /// # Source
    /// Thomeé (1997), Physical Therapy 77, 1690-1703; limits from memory, high.
    #[serde(rename = "thomee_1997")]
    Thomee1997,
    /// Up to 3 is safe, up to 5 acceptable.
    ///
    /// # Source
    /// Handouts that cite Silbernagel et al. (2007), American Journal of Sports Medicine 35(6), 897-906; limits seen, secondary.
    #[serde(rename = "silbernagel_2007")]
    Silbernagel2007,
    /// The clinician's own limits.
    Own,
}

/// What pain is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct PainLimits {
    /// The rule that the limits come from.
    pub rule: PainRule,
    /// Up to this during a session the dose may rise.
    pub safe_at_most: u8,
    /// Up to this during a session the dose may stay; above, it is too much.
    pub acceptable_at_most: u8,
    /// Up to this on the morning after a session the pain has settled.
    pub morning_at_most: u8,
}

/// Where the pain during a session lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Zone {
    /// The dose may rise.
    Safe,
    /// The dose may stay.
    Acceptable,
    /// Too much.
    TooMuch,
}

/// How the pain is on the morning after, the best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Morning {
    /// As it should be.
    Settled,
    /// Not recorded.
    Unknown,
    /// Not settled overnight.
    NotSettled,
}

/// Pain that ends the plan at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Severe {
    /// [`SEVERE_FROM`] or more during a session.
    During,
    /// [`SEVERE_MORNING_FROM`] or more on the morning after.
    NextMorning,
}

impl Severe {
    /// What pain during a session and on the morning after is of it.
    #[must_use]
    pub fn of(during: Option<u8>, morning: Option<u8>) -> Option<Self> {
        if morning.is_some_and(|pain| pain >= SEVERE_MORNING_FROM) {
            return Some(Self::NextMorning);
        }
        during.is_some_and(|pain| pain >= SEVERE_FROM).then_some(Self::During)
    }
}

impl PainLimits {
    /// The limits of a rule. [`PainRule::Own`] has none of its own: those of pain-free work stand in.
    ///
    /// Both published versions let pain after a session reach the acceptable limit, and want it gone by the next morning.
    #[must_use]
    pub const fn of(rule: PainRule) -> Self {
        let (safe_at_most, acceptable_at_most) = match rule {
            PainRule::PainFree | PainRule::Own => (0, 0),
            PainRule::Thomee1997 => (2, 5),
            PainRule::Silbernagel2007 => (3, 5),
        };
        Self { rule, safe_at_most, acceptable_at_most, morning_at_most: 0 }
    }

    /// Where pain during a session lies.
    #[must_use]
    pub const fn zone(&self, pain: u8) -> Zone {
        if pain <= self.safe_at_most {
            Zone::Safe
        } else if pain <= self.acceptable_at_most {
            Zone::Acceptable
        } else {
            Zone::TooMuch
        }
    }

    /// How pain on the morning after is.
    #[must_use]
    pub const fn morning(&self, pain: Option<u8>) -> Morning {
        match pain {
            None => Morning::Unknown,
            Some(pain) if pain <= self.morning_at_most => Morning::Settled,
            Some(_) => Morning::NotSettled,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_versions_part_at_three() {
        // Thomeé (1997): 0-2 safe, up to 5 acceptable, above 5 too much. Handouts after Silbernagel (2007): 0-3, 4-5, above 5.
        let zones = |rule| (0..=PAIN_MAX).map(|pain| PainLimits::of(rule).zone(pain)).collect::<Vec<_>>();
        let count = |rule, wanted| zones(rule).into_iter().filter(|zone| *zone == wanted).count();
        assert_eq!((count(PainRule::Thomee1997, Zone::Safe), count(PainRule::Thomee1997, Zone::Acceptable)), (3, 3));
        assert_eq!(
            (count(PainRule::Silbernagel2007, Zone::Safe), count(PainRule::Silbernagel2007, Zone::Acceptable)),
            (4, 2)
        );
        for rule in [PainRule::Thomee1997, PainRule::Silbernagel2007] {
            assert_eq!(count(rule, Zone::TooMuch), 5);
        }
    }

    #[test]
    fn severe_pain_begins_at_its_limits() {
        // 7 of 10 during, 5 of 10 on the next morning: common practice, no source
        assert_eq!((Severe::of(Some(6), Some(4)), Severe::of(None, None)), (None, None));
        assert_eq!(Severe::of(Some(7), None), Some(Severe::During));
        assert_eq!(Severe::of(Some(10), Some(5)), Some(Severe::NextMorning));
    }

    #[test]
    fn work_without_pain_takes_none() {
        let limits = PainLimits::of(PainRule::PainFree);
        assert_eq!((limits.zone(0), limits.zone(1)), (Zone::Safe, Zone::TooMuch));
        assert_eq!((limits.morning(Some(0)), limits.morning(Some(1))), (Morning::Settled, Morning::NotSettled));
        assert_eq!(limits.morning(None), Morning::Unknown);
    }
}
