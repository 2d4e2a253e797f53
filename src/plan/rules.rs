//! The progression rules as data: the first rule whose conditions all hold says what becomes of the dose.

use serde::Serialize;

use super::pain::{Morning, Zone};

/// A count that stands for "any number of them": setbacks beyond it must always end with a clinician.
pub const SETBACKS_MAX: u16 = 10;

/// What the rules look at, of one stage, after its latest session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Situation {
    /// Pain during the latest session.
    pub during: Zone,
    /// Pain on the morning after it.
    pub morning: Morning,
    /// Pain during sessions was higher in the last seven days than in the seven before.
    pub week_rises: bool,
    /// The session was shorter, lighter or fewer than proposed.
    pub is_short: bool,
    /// As many sessions in a row as the stage asks for were done at this dose, without pain above the safe limit.
    pub is_ready: bool,
    /// Falls since the dose was last raised to a new height of its phase.
    pub setbacks: u16,
    /// Falls to a lighter phase because it hurt, since a new height of the phase that was left.
    pub mode_falls: u16,
    /// Days of training since the latest gain: a new height of a phase, or a step of the way back after a single fall. Of a longer
    /// pause only a week counts.
    pub days_without_gain: u16,
    /// Days since the latest session.
    pub days_since_session: u16,
}

/// What a rule does to the dose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Action {
    /// One step up.
    Up,
    /// The same again.
    Hold,
    /// One step down.
    Down,
    /// No more of this stage until a clinician has looked.
    SeeClinician,
}

/// One rule. Conditions that are not given hold always.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Rule {
    /// Its name.
    pub id: String,
    /// Only in these stages; everywhere when empty.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub stages: Vec<String>,
    /// Pain during the session lay here.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub during: Option<Zone>,
    /// Pain on the morning after was so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub morning: Option<Morning>,
    /// Pain rises from week to week.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub week_rises: Option<bool>,
    /// Less was done than proposed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub is_short: Option<bool>,
    /// The stage's sessions at this dose are done.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub is_ready: Option<bool>,
    /// So many falls and more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub setbacks_at_least: Option<u16>,
    /// So many falls to a lighter phase, and more.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mode_falls_at_least: Option<u16>,
    /// More days of training without a gain than this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub days_without_gain_above: Option<u16>,
    /// More days since the latest session than this.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub days_since_session_above: Option<u16>,
    /// How much of the latest load a fall keeps at most, %, and how much of the climb where there is no load; 0 leads back to the
    /// first dose. Without it a fall is one step.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub keep_percent: Option<u16>,
    /// What becomes of the dose.
    pub then: Action,
    /// Why, as a clause for the client to read.
    pub because: String,
}

impl Rule {
    /// Whether the rule is for a stage.
    #[must_use]
    pub fn is_for(&self, stage: &str) -> bool {
        self.stages.is_empty() || self.stages.iter().any(|id| id == stage)
    }

    /// Whether all conditions hold.
    #[must_use]
    pub fn holds(&self, at: &Situation) -> bool {
        self.during.is_none_or(|zone| zone == at.during)
            && self.morning.is_none_or(|morning| morning == at.morning)
            && self.week_rises.is_none_or(|rises| rises == at.week_rises)
            && self.is_short.is_none_or(|short| short == at.is_short)
            && self.is_ready.is_none_or(|ready| ready == at.is_ready)
            && self.setbacks_at_least.is_none_or(|count| at.setbacks >= count)
            && self.mode_falls_at_least.is_none_or(|count| at.mode_falls >= count)
            && self.days_without_gain_above.is_none_or(|days| at.days_without_gain > days)
            && self.days_since_session_above.is_none_or(|days| at.days_since_session > days)
    }
}

/// The place of the first rule of a stage that holds; `None` is a hold: the same again.
#[must_use]
pub fn first_holding(rules: &[Rule], stage: &str, at: &Situation) -> Option<usize> {
    rules.iter().position(|rule| rule.is_for(stage) && rule.holds(at))
}

/// What is wrong with a list of rules as a whole.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum RulesFault {
    /// The rule never fires in any stage: earlier ones, or its own conditions, leave it nothing.
    NeverFires { rule: usize },
    /// The rule raises the dose after pain, or before the morning after is known.
    RaisesAfterPain { rule: usize },
    /// Nothing raises the dose of a stage on an ordinary day: no pause before it, no falls, no pain.
    NeverRises { stage: usize },
    /// After [`SETBACKS_MAX`] falls the dose can still rise and fall in a stage.
    NoEnd { stage: usize },
}

/// Looks through every situation that the rules can tell apart, in every stage.
///
/// Thresholds cut each number into ranges; one value of each range stands for all of it, so that nothing is left out and no
/// reasoning about overlapping conditions is needed.
pub(super) fn faults(rules: &[Rule], stages: &[String]) -> Vec<RulesFault> {
    let situations = situations(rules);
    let mut fires = vec![false; rules.len()];
    let mut found = Vec::new();
    for (stage_at, stage) in stages.iter().enumerate() {
        let (mut has_end, mut rises) = (true, false);
        for at in &situations {
            let rule = first_holding(rules, stage, at);
            let action = rule.map_or(Action::Hold, |rule| rules[rule].then);
            if let Some(rule) = rule {
                fires[rule] = true;
                let is_sore = at.during != Zone::Safe || at.morning != Morning::Settled;
                let fault = RulesFault::RaisesAfterPain { rule };
                if action == Action::Up && is_sore && !found.contains(&fault) {
                    found.push(fault);
                }
            }
            let is_ordinary =
                at.setbacks + at.mode_falls + at.days_without_gain + at.days_since_session == 0 && !at.week_rises;
            rises |= action == Action::Up && is_ordinary && !at.is_short;
            has_end &= at.setbacks < SETBACKS_MAX || action == Action::SeeClinician;
        }
        if !rises {
            found.push(RulesFault::NeverRises { stage: stage_at });
        }
        if !has_end {
            found.push(RulesFault::NoEnd { stage: stage_at });
        }
    }
    let silent = fires.iter().enumerate().filter(|(_, fires)| !**fires);
    found.extend(silent.map(|(rule, _)| RulesFault::NeverFires { rule }));
    found
}

fn situations(rules: &[Rule]) -> Vec<Situation> {
    let ranges = |beyond: &dyn Fn(&Rule) -> Option<u16>, further: &[u16]| {
        let mut values: Vec<u16> = rules.iter().filter_map(beyond).chain(further.iter().copied()).collect();
        values.sort_unstable();
        values.dedup();
        values
    };
    let above = |days: Option<u16>| days.map(|days| days.saturating_add(1));
    let setbacks = ranges(&|rule| rule.setbacks_at_least, &[0, SETBACKS_MAX]);
    let mode_falls = ranges(&|rule| rule.mode_falls_at_least, &[0]);
    let without_gain = ranges(&|rule| above(rule.days_without_gain_above), &[0]);
    let since_session = ranges(&|rule| above(rule.days_since_session_above), &[0]);
    let mut situations = Vec::new();
    for during in [Zone::Safe, Zone::Acceptable, Zone::TooMuch] {
        for morning in [Morning::Settled, Morning::NotSettled, Morning::Unknown] {
            for flags in 0..8_u8 {
                let (week_rises, is_short, is_ready) = (flags & 1 != 0, flags & 2 != 0, flags & 4 != 0);
                // who is ready has just done a whole session without trouble
                if is_ready && (is_short || during != Zone::Safe || morning != Morning::Settled) {
                    continue;
                }
                // a new best of a lighter phase ends the count of falls alone, so that either may be the larger
                let falls = setbacks.iter().flat_map(|all| mode_falls.iter().map(move |of_mode| (*all, *of_mode)));
                for (setbacks, mode_falls) in falls {
                    for &days_without_gain in &without_gain {
                        for &days_since_session in &since_session {
                            situations.push(Situation {
                                during,
                                morning,
                                week_rises,
                                is_short,
                                is_ready,
                                setbacks,
                                mode_falls,
                                days_without_gain,
                                days_since_session,
                            });
                        }
                    }
                }
            }
        }
    }
    situations
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rule(id: &str, then: Action) -> Rule {
        Rule {
            id: id.to_owned(),
            stages: Vec::new(),
            during: None,
            morning: None,
            week_rises: None,
            is_short: None,
            is_ready: None,
            setbacks_at_least: None,
            mode_falls_at_least: None,
            days_without_gain_above: None,
            days_since_session_above: None,
            keep_percent: None,
            then,
            because: "it is so".to_owned(),
        }
    }

    fn sound() -> Vec<Rule> {
        vec![
            Rule { setbacks_at_least: Some(3), ..rule("falls", Action::SeeClinician) },
            Rule { during: Some(Zone::TooMuch), ..rule("pain", Action::Down) },
            Rule { is_ready: Some(true), ..rule("ready", Action::Up) },
        ]
    }

    fn stages() -> Vec<String> {
        vec!["one".to_owned(), "two".to_owned()]
    }

    #[test]
    fn a_sound_list_has_no_fault() {
        assert_eq!(faults(&sound(), &stages()), []);
    }

    #[test]
    fn a_rule_behind_a_wider_one_never_fires() {
        let mut rules = sound();
        rules.push(Rule { setbacks_at_least: Some(5), ..rule("late", Action::SeeClinician) });
        assert_eq!(faults(&rules, &stages()), [RulesFault::NeverFires { rule: 3 }]);
    }

    #[test]
    fn a_rule_that_two_others_cover_together_never_fires() {
        let mut rules = sound();
        rules.push(Rule { is_short: Some(true), ..rule("short", Action::Hold) });
        rules.push(Rule { is_short: Some(false), ..rule("whole", Action::Hold) });
        rules.push(Rule { days_since_session_above: Some(14), ..rule("pause", Action::Down) });
        assert_eq!(faults(&rules, &stages()), [RulesFault::NeverFires { rule: 5 }]);
    }

    #[test]
    fn a_rule_that_contradicts_itself_never_fires() {
        let mut rules = sound();
        rules.push(Rule { is_ready: Some(true), during: Some(Zone::Acceptable), ..rule("odd", Action::Hold) });
        assert_eq!(faults(&rules, &stages()), [RulesFault::NeverFires { rule: 3 }]);
    }

    #[test]
    fn a_stage_that_nothing_raises_is_found() {
        let mut rules = sound();
        rules[2].stages = vec!["one".to_owned()];
        assert_eq!(faults(&rules, &stages()), [RulesFault::NeverRises { stage: 1 }]);
        // raised after a pause alone is not raised
        rules[2] = Rule { days_since_session_above: Some(100), ..rule("late", Action::Up) };
        rules.insert(2, Rule { morning: Some(Morning::Unknown), ..rule("unknown", Action::Hold) });
        rules.insert(2, Rule { morning: Some(Morning::NotSettled), ..rule("morning", Action::Down) });
        rules.insert(2, Rule { during: Some(Zone::Acceptable), ..rule("some", Action::Hold) });
        assert_eq!(
            faults(&rules, &stages()),
            [RulesFault::NeverRises { stage: 0 }, RulesFault::NeverRises { stage: 1 }]
        );
    }

    #[test]
    fn a_rule_that_raises_after_pain_is_found() {
        let mut rules = sound();
        rules.push(Rule { morning: Some(Morning::Unknown), ..rule("eager", Action::Up) });
        assert_eq!(faults(&rules, &stages()), [RulesFault::RaisesAfterPain { rule: 3 }]);
    }

    #[test]
    fn without_an_end_to_setbacks_the_list_is_refused() {
        let rules = sound().split_off(1);
        assert_eq!(faults(&rules, &stages()), [RulesFault::NoEnd { stage: 0 }, RulesFault::NoEnd { stage: 1 }]);
        // an end in one stage alone leaves the other without
        let mut rules = sound();
        rules[0].stages = vec!["one".to_owned()];
        assert_eq!(faults(&rules, &stages()), [RulesFault::NoEnd { stage: 1 }]);
    }
}
