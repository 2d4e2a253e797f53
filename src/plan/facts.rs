//! What the engine takes from visits: pain, screens, alarms, and the days on which a clinician let the plan go on.

use crate::screen::{Call, RetestOutcome};

use super::danger::DangerSign;
use super::day::Day;
use super::intake::{Intake, ScreenOutcome};
use super::pain::Severe;

/// What a client's screens say, taken together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScreenState {
    /// None was made.
    None,
    /// None could make the call: film again.
    Unsettled,
    /// The external reach is not lower.
    Negative,
    /// The external reach is lower; no retest settled whether a stretch helps.
    Positive,
    /// It was lower, and a stretch brought it up.
    Improved,
    /// It was lower, and a stretch changed nothing, or made it worse.
    Unchanged,
}

/// Why a clinician should look before anything goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Alarm {
    /// A danger sign.
    Sign(DangerSign),
    /// A clinician's finding, in words.
    Finding(&'static str),
    /// Pain of the log that is too strong to go on with.
    Pain(Severe),
}

/// Pain at a visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VisitPain {
    /// The day.
    pub on: Day,
    /// In use.
    pub in_use: u8,
    /// On pressing the spot.
    pub on_pressing: u8,
}

/// What visits say, each list by day.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Facts {
    /// Pain.
    pub visits: Vec<VisitPain>,
    /// Screens.
    pub screens: Vec<(Day, ScreenState)>,
    /// Danger signs and findings.
    pub alarms: Vec<(Day, Alarm)>,
    /// Days on which a clinician let the plan go on.
    pub clearances: Vec<Day>,
}

impl Facts {
    /// What an intake says.
    #[must_use]
    pub fn of(intake: &Intake) -> Self {
        let mut facts = Self::default();
        for visit in &intake.visits {
            facts.visits.push(VisitPain {
                on: visit.on,
                in_use: visit.pain_in_use,
                on_pressing: visit.pain_on_pressing,
            });
            let signs = visit.danger_signs.iter().map(|sign| Alarm::Sign(*sign));
            facts.alarms.extend(signs.chain(visit.findings.alarm().map(Alarm::Finding)).map(|alarm| (visit.on, alarm)));
        }
        facts.screens = intake.screens.iter().map(|screen| (screen.on, ScreenState::of(screen))).collect();
        facts.clearances = intake.clearances.iter().map(|clearance| clearance.on).collect();
        facts
    }

    /// Pain at the latest visit up to a day.
    #[must_use]
    pub fn pain_on(&self, day: Day) -> Option<VisitPain> {
        self.visits.iter().rev().find(|visit| visit.on <= day).copied()
    }

    /// What the screens up to a day say: the latest that settled something, since one that did not takes nothing back.
    #[must_use]
    pub fn screen_on(&self, day: Day) -> ScreenState {
        let mut until = self.screens.iter().rev().filter(|(on, _)| *on <= day).map(|(_, state)| *state).peekable();
        if until.peek().is_none() {
            return ScreenState::None;
        }
        until.find(|state| *state != ScreenState::Unsettled).unwrap_or(ScreenState::Unsettled)
    }

    /// The latest day up to `day` on which a clinician let the plan go on.
    #[must_use]
    pub fn cleared_on(&self, day: Day) -> Option<Day> {
        self.clearances.iter().rev().find(|on| **on <= day).copied()
    }

    /// The latest alarm up to a day.
    #[must_use]
    pub fn alarm_on(&self, day: Day) -> Option<(Day, Alarm)> {
        self.alarms.iter().rev().find(|(on, _)| *on <= day).copied()
    }
}

impl ScreenState {
    /// What one screen says. A retest that is inconclusive or not comparable settles nothing of the stretch.
    #[must_use]
    pub const fn of(screen: &ScreenOutcome) -> Self {
        match (screen.call, screen.retest) {
            (Call::Negative, _) => Self::Negative,
            (Call::Inconclusive | Call::NotComparable, _) => Self::Unsettled,
            (Call::Positive, Some(RetestOutcome::Improved)) => Self::Improved,
            (Call::Positive, Some(RetestOutcome::Unchanged | RetestOutcome::Worse)) => Self::Unchanged,
            (Call::Positive, None | Some(RetestOutcome::Inconclusive | RetestOutcome::NotComparable)) => Self::Positive,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_screen_that_settles_nothing_takes_nothing_back() {
        let day = |text: &str| text.parse::<Day>().unwrap();
        let (first, second) = (day("2026-10-05"), day("2026-10-26"));
        let facts = Facts {
            screens: vec![(first, ScreenState::Improved), (second, ScreenState::Unsettled)],
            ..Facts::default()
        };
        assert_eq!(facts.screen_on(first.plus(-1)), ScreenState::None);
        assert_eq!(facts.screen_on(second.plus(9)), ScreenState::Improved);
        let facts = Facts { screens: vec![(second, ScreenState::Unsettled)], ..Facts::default() };
        assert_eq!(facts.screen_on(second), ScreenState::Unsettled);
    }

    #[test]
    fn calls_and_retests_become_what_the_plan_needs() {
        let of = |call, retest| ScreenState::of(&ScreenOutcome { on: "2026-10-05".parse().unwrap(), call, retest });
        assert_eq!(of(Call::Positive, Some(RetestOutcome::Worse)), ScreenState::Unchanged);
        assert_eq!(of(Call::Positive, Some(RetestOutcome::NotComparable)), ScreenState::Positive);
        assert_eq!(of(Call::NotComparable, None), ScreenState::Unsettled);
        assert_eq!(of(Call::Negative, None), ScreenState::Negative);
    }
}
