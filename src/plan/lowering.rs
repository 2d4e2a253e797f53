//! Less: after pain, after a pause, or because a rule says so; and no more than what hurt.

use std::cmp::Ordering;

use super::ceiling::Ceiling;
use super::day::Day;
use super::decision::{BeforePause, Cause, Choice, Decision};
use super::engine::{Progress, nothing};
use super::model::Rung;
use super::stage_state::LastSession;

impl Progress<'_> {
    pub(super) fn down(&self, stage: usize, on: Day, last: &LastSession, rule: Option<usize>) -> Choice {
        let (state, of_plan) = (&self.states[stage], &self.plan.stages[stage]);
        let lighter_phase = of_plan.lighter_phase(state.rung).filter(|_| last.is_sore());
        let below = match lighter_phase {
            Some(phase) => of_plan.rungs.iter().rposition(|rung| rung.phase == phase),
            None => state.rung.checked_sub(1),
        };
        let lowest_is_light = of_plan.rungs[0].load.amount() <= self.cap(stage, last)
            && state.ceiling.is_none_or(|ceiling| ceiling.can_cut(&of_plan.rungs[0]));
        let mut next = below.and_then(|below| self.highest_within(stage, below, last));
        // less was done than proposed, and that hurt: the same is not less
        let is_less = |rung: &usize| {
            let dose = state.ceiling.map_or(of_plan.rungs[*rung], |ceiling| ceiling.cut(&of_plan.rungs[*rung]));
            of_plan.rungs[*rung].phase != of_plan.rungs[state.rung].phase
                || last.done.compared(&dose) != Some(Ordering::Equal)
        };
        let lightest = next;
        while let Some(rung) = next.filter(|rung| !is_less(rung)) {
            next = rung.checked_sub(1).and_then(|below| self.highest_within(stage, below, last));
        }
        match (next, lightest) {
            (Some(rung), _) => {
                let decision = self.moved(stage, rung, Decision::Down);
                self.with_dose(stage, on, decision, Cause::Rule(rule), rung, true)
            }
            (None, Some(rung)) => self.with_dose(stage, on, Decision::Hold, Cause::Lightest(rule), rung, true),
            (None, None) if state.rung == 0 && lowest_is_light => {
                self.with_dose(stage, on, Decision::Hold, Cause::Lightest(rule), 0, true)
            }
            (None, None) => Choice { is_fall: true, ..nothing(Decision::SeeClinician, Cause::LightestTooHeavy(rule)) },
        }
    }

    /// A rule that looks at how long ago the latest session was.
    pub(super) fn is_of_pause(&self, rule: Option<usize>) -> bool {
        rule.is_some_and(|rule| self.plan.rules[rule].days_since_session_above.is_some())
    }

    /// What else there is to say of a choice that a rule for pauses made.
    pub(super) fn before_pause(&self, stage: usize, choice: &Choice) -> Option<BeforePause> {
        let (Cause::Rule(rule) | Cause::FirstDose(rule) | Cause::Lightest(rule) | Cause::LightestTooHeavy(rule)) =
            choice.cause
        else {
            return None;
        };
        let state = &self.states[stage];
        match state.last.filter(|_| self.is_of_pause(rule))? {
            last if last.is_sore() => Some(BeforePause::Pain),
            // a stage that waits for a visit as well is not done by its sessions
            _ => {
                let of_plan = &self.plan.stages[stage];
                let is_done = state.done_on.is_some()
                    || of_plan.exit.pain_on_pressing_at_most.is_none() && state.has_exit_sessions(of_plan);
                is_done.then_some(BeforePause::Done)
            }
        }
    }

    /// Less after a pause, or for another reason than pain: no more of load, sets, repetitions or hold than the latest dose.
    ///
    /// A pause leads back no further than to where one begins, and after pain to where that leads first.
    pub(super) fn ease(&self, stage: usize, on: Day, last: &LastSession, rule: Option<usize>) -> Choice {
        let (state, of_plan) = (&self.states[stage], &self.plan.stages[stage]);
        let rungs = &of_plan.rungs;
        let is_of_pause = self.is_of_pause(rule);
        let from = if last.is_sore() {
            self.down(stage, on, last, rule)
        } else {
            self.with_dose(stage, on, Decision::Hold, Cause::FirstDose(rule), state.rung, false)
        };
        let Some((place, latest)) = from.rung.zip(from.dose(of_plan)) else { return from };
        let latest = Ceiling::of_dose(&latest).and(&last.done);
        let floor = match (is_of_pause, place.checked_sub(of_plan.first_rung)) {
            (false, _) => 0,
            (true, Some(_)) if rungs[of_plan.first_rung].load.amount() <= latest.load => of_plan.first_rung,
            _ => rungs.iter().position(|rung| rung.phase == rungs[place].phase).unwrap_or(0),
        };
        let keep_percent = rule.and_then(|rule| self.plan.rules[rule].keep_percent);
        let is_low = |at: usize| {
            let kept = keep_percent.unwrap_or(100);
            let of = |whole: u64| whole.saturating_mul(u64::from(kept)) / 100;
            let climbed = |at: usize| u64::try_from(at - floor).unwrap_or(u64::MAX);
            let is_light = rungs[at].load.amount() <= of(latest.load);
            if latest.load > 0 { is_light } else { is_light && climbed(at) <= of(climbed(place)) }
        };
        let lower = (floor..place).rev().filter(|at| is_low(*at));
        let held = lower.clone().find(|at| latest.holds(&rungs[*at]));
        // where none is as small, the first one of the highest load is cut to size
        let first_of_load = |at: usize| {
            let is_alike = |rung: &Rung| rung.phase == rungs[at].phase && rung.load == rungs[at].load;
            (floor..=at).find(|first| is_alike(&rungs[*first])).unwrap_or(at)
        };
        let cut = || lower.clone().find(|at| latest.can_cut(&rungs[*at])).map(first_of_load);
        let floor_to_cut = || Some(floor).filter(|floor| *floor < place && latest.can_cut(&rungs[*floor]));
        let Some(rung) = held.or_else(cut).or_else(floor_to_cut) else {
            // less than the lightest was done: back to that, which is as near as the plan comes
            if is_of_pause && floor < place && rungs[place].load.amount() > latest.load {
                let lightest = self.with_dose(stage, on, Decision::Hold, Cause::FirstDose(rule), floor, true);
                return self.under(stage, lightest, Some(latest));
            }
            return match (is_of_pause, last.is_sore()) {
                // cut down to what was done is a fall, too
                (true, _) | (_, true) => {
                    let eased = self.under(stage, from, Some(latest));
                    Choice { is_fall: from.is_fall || eased.ceiling != from.ceiling, ..eased }
                }
                // a rule that is not of a pause lowers what is the lightest
                (false, false) => Choice { cause: Cause::Lightest(rule), is_fall: true, ..from },
            };
        };
        let decision = self.moved(stage, rung, Decision::Down);
        let choice = self.with_dose(stage, on, decision, Cause::Rule(rule), rung, true);
        self.under(stage, choice, Some(latest))
    }

    /// The same again, but no more than what hurt.
    pub(super) fn keep_or_lower(&self, stage: usize, on: Day, last: &LastSession, rule: Option<usize>) -> Choice {
        let state = &self.states[stage];
        let rung = &self.plan.stages[stage].rungs[state.rung];
        if state.ceiling.is_none_or(|ceiling| ceiling.can_cut(rung)) {
            let decision = if last.is_cut { Decision::Down } else { Decision::Hold };
            return self.with_dose(stage, on, decision, Cause::Rule(rule), state.rung, last.is_cut);
        }
        match self.highest_within(stage, state.rung, last) {
            Some(rung) => {
                let decision = self.moved(stage, rung, Decision::Down);
                self.with_dose(stage, on, decision, Cause::Rule(rule), rung, true)
            }
            None => Choice { is_fall: true, ..nothing(Decision::SeeClinician, Cause::LightestTooHeavy(rule)) },
        }
    }

    /// The highest dose up to a place that is within what hurt; where none is, the first of the highest load that is, to be cut
    /// down to the ceiling.
    fn highest_within(&self, stage: usize, limit: usize, last: &LastSession) -> Option<usize> {
        let (cap, ceiling) = (self.cap(stage, last), self.states[stage].ceiling);
        let rungs = &self.plan.stages[stage].rungs[..=limit];
        let is_light = |rung: &Rung| rung.load.amount() <= cap && ceiling.is_none_or(|ceiling| ceiling.can_cut(rung));
        rungs.iter().rposition(|rung| is_light(rung) && ceiling.is_none_or(|ceiling| ceiling.holds(rung))).or_else(
            || {
                let highest = rungs.iter().rfind(|rung| is_light(rung))?;
                rungs.iter().position(|rung| rung.phase == highest.phase && rung.load == highest.load && is_light(rung))
            },
        )
    }

    fn cap(&self, stage: usize, last: &LastSession) -> u64 {
        last.load.amount().min(self.plan.stages[stage].rungs[self.states[stage].rung].load.amount())
    }
}
