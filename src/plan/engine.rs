//! The progression engine: from plan, visits and log to what becomes of each stage's dose. Deterministic, without a clock.
//!
//! What no plan can change: nothing rises after pain above the safe limit, before the next morning is known, or after a danger
//! sign; a rise is one step; after pain neither load nor sets, repetitions or hold are more than those that hurt; severe pain
//! ends the plan until a clinician has looked; heavy work of the wrist flexors is never done on consecutive days; no stage
//! begins before those that it waits for are done, nor on the day of, or the day after, pain beyond what the plan takes; a day is
//! one session, and one that came too soon earns nothing; no load is more than one step above the one that was done last, and
//! none, nor sets, repetitions or hold, is more after a pause than before it.

use std::cmp::Ordering;

use super::ceiling::Ceiling;
use super::danger::DangerSign;
use super::day::Day;
use super::decision::{Cause, Choice, Decision, Soreness};
use super::error::EntryFault;
use super::facts::{Alarm, Facts, ScreenState};
use super::load::Load;
use super::log::{Log, LogEntry};
use super::model::{Plan, Rung};
use super::pain::{Severe, Zone};
use super::rules::{Action, first_holding};
use super::stage_state::{LastSession, Move, StageState};
use super::step::one_step_above;
use super::told::Told;

/// Days between heavy sessions of the wrist flexors.
const HEAVY_GAP_DAYS: i32 = 2;

/// Days after pain beyond what the plan takes on which nothing new begins.
const QUIET_DAYS: i32 = 1;

/// Where a client stands in a plan.
#[derive(Debug, Clone)]
pub struct Progress<'a> {
    pub(super) plan: &'a Plan,
    facts: &'a Facts,
    pub(super) states: Vec<StageState>,
    /// The highest place so far of each phase, the phases of one stage after those of the one before.
    bests: Vec<usize>,
    /// The latest session, of any stage, that nothing rises after.
    sore: Option<(Day, Soreness)>,
    /// The latest day of pain beyond what the plan takes, of any stage.
    pained_on: Option<Day>,
    /// Of the log's pain that is too strong to go on with, that which was told last.
    severe: Option<Told<Severe>>,
    /// The latest day of heavy work of the wrist flexors.
    heavy_on: Option<Day>,
    /// Of the log's danger signs, the one that was told last.
    sign: Option<Told<DangerSign>>,
    latest: Option<Day>,
    /// What was proposed at the beginning of the latest day, before any of its entries.
    proposed: Vec<Choice>,
}

impl<'a> Progress<'a> {
    /// A client who has not begun.
    #[must_use]
    pub fn new(plan: &'a Plan, facts: &'a Facts) -> Self {
        let states = plan.stages.iter().map(StageState::new).collect();
        let bests = plan.stages.iter().flat_map(|stage| {
            let first = stage.rungs[stage.first_rung].phase;
            (0..stage.phases.len()).map(move |phase| if phase == first { stage.first_rung } else { 0 })
        });
        Self {
            plan,
            facts,
            states,
            bests: bests.collect(),
            sore: None,
            pained_on: None,
            severe: None,
            heavy_on: None,
            sign: None,
            latest: None,
            proposed: Vec::new(),
        }
    }

    /// A client after all entries of a log up to a day.
    #[must_use]
    pub fn after(plan: &'a Plan, facts: &'a Facts, log: &Log, on: Day) -> Self {
        let mut progress = Self::new(plan, facts);
        for entry in log.entries().iter().take_while(|entry| entry.day <= on) {
            progress.record(entry).expect("the entries of a log are in the order of their days");
        }
        progress
    }

    /// Takes in an entry.
    ///
    /// # Errors
    /// [`EntryFault::OutOfOrder`] if a later day was taken in before it: replay the whole log instead.
    ///
    /// # Panics
    /// If the entry's stage is not one of the plan's.
    pub fn record(&mut self, entry: &LogEntry) -> Result<(), EntryFault> {
        if let Some(before) = self.latest.filter(|before| entry.day < *before) {
            return Err(EntryFault::OutOfOrder { found: entry.day, before });
        }
        self.settle(entry.day);
        if self.latest != Some(entry.day) {
            self.proposed = self.settled_choices(entry.day);
        }
        self.latest = Some(entry.day);
        let (stage, limits) = (&self.plan.stages[entry.stage], self.plan.pain_limits(entry.stage));
        let is_open = self.states[entry.stage].is_open;
        let is_silent = !entry.is_done && entry.pain_during.is_none() && entry.pain_next_morning.is_none();
        let during = entry.pain_during.is_some_and(|pain| pain > limits.safe_at_most);
        let morning = entry.pain_next_morning.is_some_and(|pain| pain > limits.morning_at_most);
        let choice = self.settled_choice(entry.stage, entry.day);
        // what is begun without having been proposed counts only if it hurts; what the day's own entries lead to was not proposed
        let is_begun = self.states[entry.stage].last.is_some() || self.proposed[entry.stage].rung.is_some();
        if !is_silent && (is_open && is_begun || during || morning) {
            let cleared = self.facts.cleared_on(entry.day);
            let is_rise = self.is_new_or_higher(entry.stage, &choice);
            let state = &mut self.states[entry.stage];
            state.forget_before(cleared);
            // a further entry of a day belongs to the session that the first one began
            if state.last.is_some_and(|last| last.day != entry.day) {
                let (rung, ceiling) = choice.rung.map_or((state.rung, state.ceiling), |rung| (rung, choice.ceiling));
                let before: usize = self.plan.stages[..entry.stage].iter().map(|stage| stage.phases.len()).sum();
                let best = &mut self.bests[before + stage.rungs[rung].phase];
                let has_lighter_mode = stage.phase_of(rung).if_it_hurts.is_some();
                let is_mode_fall = choice.is_fall && state.leads_to_lighter_mode(stage, rung);
                let is_fall = choice.is_fall;
                state.move_to(&Move { rung, ceiling, is_fall, is_mode_fall, has_lighter_mode, is_rise }, best);
            }
            let proposed = [self.proposed[entry.stage].dose(stage), choice.dose(stage)];
            let is_after_heavy = self.is_heavy(entry)
                && self.heavy_on.is_some_and(|heavy| heavy < entry.day && entry.day < heavy.plus(HEAVY_GAP_DAYS));
            self.states[entry.stage].take(entry, stage, &limits, proposed, is_after_heavy);
        } else if entry.is_done && entry.load != Load::None {
            self.states[entry.stage].note_done(entry.load);
        }
        if let Some(sign) = entry.sign {
            self.sore = Some((entry.day, Soreness::Sign(entry.stage, sign)));
        } else if during || morning {
            self.sore = Some((entry.day, Soreness::Pain(entry.stage)));
        }
        let is_too_much = entry.pain_during.is_some_and(|pain| limits.zone(pain) == Zone::TooMuch);
        // pain of a morning is felt on the day after its session
        let pained_on = if morning { Some(entry.day.plus(1)) } else { is_too_much.then_some(entry.day) };
        self.pained_on = self.pained_on.max(pained_on);
        if let Some(severe) = Severe::of(entry.pain_during, entry.pain_next_morning) {
            let on = if severe == Severe::NextMorning { entry.day.plus(1) } else { entry.day };
            let told_on = on.max(entry.told_on());
            self.severe = Told::later(self.severe, Told { on, told_on, what: severe });
        }
        if let Some(sign) = entry.sign {
            self.sign = Told::later(self.sign, Told { on: entry.day, told_on: entry.told_on(), what: sign });
        }
        let is_heavy = self.is_heavy(entry);
        if entry.is_done && is_heavy {
            self.heavy_on = Some(entry.day);
        }
        Ok(())
    }

    /// Heavy work of the wrist flexors. Pain in one stage holds another from that hour on, but what was proposed in the morning may
    /// have been done before it.
    fn is_heavy(&self, entry: &LogEntry) -> bool {
        let (stage, rung) = (&self.plan.stages[entry.stage], self.states[entry.stage].rung);
        let load = if entry.load == Load::None { stage.rungs[rung].load } else { entry.load };
        let rungs = [Some(rung), self.proposed[entry.stage].rung];
        rungs.into_iter().flatten().any(|rung| stage.phase_of(rung).is_heavy)
            || stage.lightest_heavy.is_some_and(|lightest| load != Load::None && load.amount() >= lightest)
    }

    /// What becomes of every stage on a day, in the order of the plan. Entries after that day must not have been taken in.
    #[must_use]
    pub fn choices(&self, on: Day) -> Vec<Choice> {
        // looking ahead leaves no trace: what is recorded later meets the same state as if nobody had looked
        let mut ahead = Self { states: self.states.clone(), bests: Vec::new(), proposed: Vec::new(), ..*self };
        ahead.settle(on);
        ahead.settled_choices(on)
    }

    fn settled_choices(&self, on: Day) -> Vec<Choice> {
        if let Some((day, alarm)) = self.alarm(on) {
            return self.states.iter().map(|_| nothing(Decision::SeeClinician, Cause::Alarm(day, alarm))).collect();
        }
        let choices: Vec<Choice> = (0..self.states.len()).map(|stage| self.choose(stage, on)).collect();
        match choices.iter().position(stops_others) {
            Some(stopped) => {
                (0..).zip(choices).map(|(stage, choice)| self.held_back(stage, on, choice, stopped)).collect()
            }
            None => choices,
        }
    }

    /// The same for one stage.
    fn settled_choice(&self, stage: usize, on: Day) -> Choice {
        if let Some((day, alarm)) = self.alarm(on) {
            return nothing(Decision::SeeClinician, Cause::Alarm(day, alarm));
        }
        let choice = self.choose(stage, on);
        if !self.is_new_or_higher(stage, &choice) {
            return choice;
        }
        let stopped = (0..self.states.len()).find(|other| stops_others(&self.choose(*other, on)));
        stopped.map_or(choice, |stopped| self.held_back(stage, on, choice, stopped))
    }

    fn is_new_or_higher(&self, stage: usize, choice: &Choice) -> bool {
        let (state, of_plan) = (&self.states[stage], &self.plan.stages[stage]);
        let is_more = choice.rung == Some(state.rung)
            && choice.dose(of_plan).is_some_and(|dose| !Ceiling::of_dose(&state.dose(of_plan)).holds(&dose));
        choice.decision == Decision::Start || is_more || choice.rung.is_some_and(|rung| rung > state.rung)
    }

    /// Nothing new and nothing higher until a clinician has looked at the stage that stopped.
    fn held_back(&self, stage: usize, on: Day, choice: Choice, stopped: usize) -> Choice {
        let cause = Cause::OtherStage(stopped);
        match choice.decision {
            Decision::Start => nothing(Decision::Waiting, cause),
            _ if self.is_new_or_higher(stage, &choice) => {
                let held = self.with_dose(stage, on, Decision::Hold, cause, self.states[stage].rung, false);
                self.states[stage].last.map_or(held, |last| self.as_told(stage, &last, held))
            }
            _ => choice,
        }
    }

    /// The danger sign or finding that stops everything on a day, until a clinician has let the plan go on.
    ///
    /// A clearance answers what came up, and was entered, before its day. It also answers what was found at a visit of the same
    /// day.
    #[must_use]
    pub fn alarm(&self, on: Day) -> Option<(Day, Alarm)> {
        let cleared = self.facts.cleared_on(on);
        let stands = |told_on: Day| cleared.is_none_or(|cleared| cleared <= told_on);
        let logged = self.sign.filter(|sign| stands(sign.told_on)).map(|sign| (sign.on, Alarm::Sign(sign.what)));
        let severe = self.severe.filter(|pain| stands(pain.told_on)).map(|pain| (pain.on, Alarm::Pain(pain.what)));
        let seen = self.facts.alarm_on(on).filter(|(day, _)| cleared.is_none_or(|cleared| cleared < *day));
        logged.or(seen).or(severe)
    }

    /// Opens the stages whose entry is met on a day, and closes those whose exit is.
    fn settle(&mut self, on: Day) {
        for at in 0..self.plan.order.len() {
            let stage = self.plan.order[at];
            let is_quiet = self.alarm(on).is_some() || self.pain_before(on).is_some();
            if !self.states[stage].is_open && !is_quiet && self.blocked(stage, on).is_none() {
                self.states[stage].is_open = true;
            }
            if self.states[stage].is_open && self.states[stage].done_on.is_none() && self.is_exit_met(stage, on) {
                self.states[stage].done_on = Some(on);
            }
        }
    }

    /// The day of pain that nothing new begins after yet.
    fn pain_before(&self, on: Day) -> Option<Day> {
        self.pained_on.filter(|pained| on <= pained.plus(QUIET_DAYS))
    }

    /// What keeps a stage from being begun or gone on with.
    fn blocked(&self, stage: usize, on: Day) -> Option<(Decision, Cause)> {
        let entry = &self.plan.stages[stage].entry;
        if entry.screen_positive {
            match self.facts.screen_on(on) {
                ScreenState::Positive | ScreenState::Improved => {}
                ScreenState::None => return Some((Decision::Waiting, Cause::NoScreen)),
                ScreenState::Unsettled => return Some((Decision::Waiting, Cause::UnsettledScreen)),
                ScreenState::Negative => return Some((Decision::NotNeeded, Cause::NegativeScreen)),
                ScreenState::Unchanged => return Some((Decision::SeeClinician, Cause::UnchangedScreen)),
            }
        }
        if self.states[stage].is_open {
            return None;
        }
        let unmet = self.plan.stages[stage].after_at.iter().find(|before| {
            let before = **before;
            let is_passed_by = self.plan.stages[before].entry.screen_positive
                && matches!(self.facts.screen_on(on), ScreenState::Negative | ScreenState::Unchanged);
            self.states[before].done_on.is_none() && !is_passed_by
        });
        if let Some(&before) = unmet {
            return Some((Decision::Waiting, Cause::After(before)));
        }
        let is_met = entry
            .pain_in_use_at_most
            .is_none_or(|limit| self.facts.pain_on(on).is_some_and(|pain| pain.in_use <= limit));
        if !is_met {
            return Some((Decision::Waiting, Cause::PainInUse));
        }
        self.pain_before(on).map(|day| (Decision::Waiting, Cause::PainBefore(day)))
    }

    fn is_exit_met(&self, stage: usize, on: Day) -> bool {
        let (state, exit) = (&self.states[stage], &self.plan.stages[stage].exit);
        let is_pressing_met = exit
            .pain_on_pressing_at_most
            .is_none_or(|limit| self.facts.pain_on(on).is_some_and(|pain| pain.on_pressing <= limit));
        // sessions count as good only once their day is over and their morning is known; soreness elsewhere on that day or since
        // takes that back
        state.has_exit_sessions(&self.plan.stages[stage])
            && is_pressing_met
            && state.last.is_some_and(|last| last.day < on && self.sore_since(last.day, on).is_none())
    }

    fn sore_since(&self, day: Day, on: Day) -> Option<(Day, Soreness)> {
        let seen = || self.facts.alarm_on(on).map(|(seen_on, alarm)| (seen_on, Soreness::Visit(alarm)));
        self.sore.filter(|(sore_on, _)| *sore_on >= day).or_else(|| seen().filter(|(seen_on, _)| *seen_on >= day))
    }

    fn choose(&self, stage: usize, on: Day) -> Choice {
        if let Some((decision, cause)) = self.blocked(stage, on) {
            return nothing(decision, cause);
        }
        let state = &self.states[stage];
        match state.done_on {
            Some(done) if done == on => {
                let done = nothing(Decision::StageDone, Cause::Exit);
                let goes_on = self.plan.stages[stage].keep.then(|| self.choose_open(stage, on));
                match goes_on {
                    // after a pause it goes on with less, and why is more to know than that it is done
                    Some(dose) if dose.is_fall || dose.decision == Decision::SeeClinician => dose,
                    Some(dose) => Choice { decision: done.decision, cause: done.cause, ..dose },
                    None => done,
                }
            }
            Some(_) if !self.plan.stages[stage].keep => nothing(Decision::Finished, Cause::Earlier),
            _ => self.choose_open(stage, on),
        }
    }

    /// What the rules say of a stage that is open.
    fn choose_open(&self, stage: usize, on: Day) -> Choice {
        let (state, of_plan) = (&self.states[stage], &self.plan.stages[stage]);
        let Some(last) = &state.last else {
            if let Some(day) = self.pain_before(on) {
                return nothing(Decision::Waiting, Cause::PainBefore(day));
            }
            let start = self.with_dose(stage, on, Decision::Start, Cause::Entry, state.rung, false);
            // what was done before it was proposed is measured by as well
            let is_near = self.within_reach(stage, on, start) == start;
            return if is_near { start } else { nothing(Decision::SeeClinician, Cause::NothingNear) };
        };
        let visited = self.facts.pain_on(on).map(|visit| visit.on);
        let mut situation = state.situation(last, of_plan, on, self.facts.cleared_on(on), visited);
        let act = |situation| {
            let rule = first_holding(&self.plan.rules, &of_plan.id, &situation);
            (rule, rule.map_or(Action::Hold, |rule| self.plan.rules[rule].then))
        };
        let (mut rule, mut action) = act(situation);
        if action == Action::Down {
            // the fall that this one would be counts, so that the last of them is not waited for
            situation.setbacks = situation.setbacks.saturating_add(1);
            if last.is_sore() && of_plan.phase_of(state.rung).if_it_hurts.is_some() {
                situation.mode_falls = situation.mode_falls.saturating_add(1);
            }
            let counted = act(situation);
            if counted.1 == Action::SeeClinician {
                (rule, action) = counted;
            }
        }
        let choice = match action {
            Action::SeeClinician => nothing(Decision::SeeClinician, Cause::Rule(rule)),
            Action::Up => self.up(stage, on, last, rule),
            Action::Down if last.is_sore() && !self.is_of_pause(rule) => self.down(stage, on, last, rule),
            Action::Down => self.ease(stage, on, last, rule),
            Action::Hold => {
                let held = self.keep_or_lower(stage, on, last, rule);
                let too_soon = last.too_soon.filter(|_| held.cause == Cause::Rule(None));
                Choice { cause: too_soon.map_or(held.cause, Cause::TooSoon), ..held }
            }
        };
        self.as_told(stage, last, self.within_reach(stage, on, choice))
    }

    /// The choice in words that hold beside what was done last, whatever the plan proposed: more or less than that was done, or the
    /// plan is another one by now.
    fn as_told(&self, stage: usize, last: &LastSession, choice: Choice) -> Choice {
        let (state, of_plan) = (&self.states[stage], &self.plan.stages[stage]);
        let Some(dose) = choice.dose(of_plan) else { return choice };
        let is_sore = last.is_sore() || matches!(choice.cause, Cause::SoreSince(..));
        let (decision, cause) = match (choice.decision, last.done.compared(&dose), choice.cause) {
            (Decision::Hold, Some(Ordering::Greater) | None, cause) => (Decision::Stay, cause),
            (Decision::Hold | Decision::Up, Some(Ordering::Less), cause) if is_sore => (Decision::Down, cause),
            (Decision::Hold | Decision::Up, Some(Ordering::Less), _) => (Decision::Down, Cause::DoneMore),
            (Decision::Up, Some(Ordering::Equal), _) => (Decision::Hold, Cause::CaughtUp),
            (Decision::Down, Some(Ordering::Equal), cause) => (Decision::Hold, cause),
            (Decision::Down, Some(Ordering::Greater), cause @ Cause::DoneLess) => (Decision::Up, cause),
            (Decision::Down, Some(Ordering::Greater), cause) => (Decision::Stay, cause),
            (decision, _, cause) => (decision, cause),
        };
        let is_in_parts = last.is_in_parts(&state.dose(of_plan));
        let cause = match cause {
            Cause::Rule(Some(rule)) if is_in_parts && self.plan.rules[rule].is_short == Some(true) => {
                Cause::InParts(Some(rule))
            }
            cause => cause,
        };
        Choice { decision, cause, ..choice }
    }

    /// The choice, or a lower one where its load is more than one step above what was done last in its mode: less was done than
    /// proposed, or the plan was changed since.
    fn within_reach(&self, stage: usize, on: Day, choice: Choice) -> Choice {
        let (state, of_plan) = (&self.states[stage], &self.plan.stages[stage]);
        let Some(rung) = choice.rung else { return choice };
        let is_near = |rung: &Rung| {
            let done = state.done(of_plan.phases[rung.phase].mode);
            done.is_none_or(|done| {
                rung.load.amount() <= done.amount()
                    || rung.load.amount() <= one_step_above(done, of_plan, &self.plan.equipment)
            })
        };
        if is_near(&of_plan.rungs[rung]) {
            return choice;
        }
        let Some(nearest) = of_plan.rungs[..rung].iter().rfind(|rung| is_near(rung)) else {
            return nothing(Decision::SeeClinician, Cause::NothingNear);
        };
        // the first dose with that load: one thing rises at a time
        let is_alike = |rung: &Rung| rung.phase == nearest.phase && rung.load == nearest.load;
        let lower = of_plan.rungs.iter().position(is_alike).unwrap_or(0);
        let decision = if lower == state.rung { Decision::Hold } else { self.moved(stage, lower, Decision::Down) };
        self.with_dose(stage, on, decision, Cause::DoneLess, lower, lower < state.rung)
    }

    /// The day on which a stage's exit was met, as far as is known on a day.
    #[must_use]
    pub fn done_on(&self, stage: usize, on: Day) -> Option<Day> {
        let mut ahead = Self { states: self.states.clone(), bests: Vec::new(), proposed: Vec::new(), ..*self };
        ahead.settle(on);
        ahead.states[stage].done_on
    }

    /// The entry with what it does not state filled in as it was proposed, so that a plan that is changed later does not change
    /// what was done. All entries before it must have been taken in, and none of a later day.
    #[must_use]
    pub fn stated(&self, entry: LogEntry) -> LogEntry {
        let mut ahead = Self { states: self.states.clone(), bests: Vec::new(), proposed: Vec::new(), ..*self };
        ahead.settle(entry.day);
        let (state, of_plan) = (&ahead.states[entry.stage], &self.plan.stages[entry.stage]);
        let is_begun = state.last.is_some_and(|last| last.day == entry.day);
        let dose = if is_begun {
            Some(state.dose(of_plan))
        } else {
            ahead.settled_choice(entry.stage, entry.day).dose(of_plan)
        };
        let Some(dose) = dose.filter(|_| entry.is_done) else { return entry };
        LogEntry {
            load: if entry.load == Load::None { dose.load } else { entry.load },
            sets: entry.sets.or(Some(dose.sets)),
            repetitions: entry.repetitions.or(Some(dose.repetitions)),
            seconds: entry.seconds.or((dose.hold_s > 0).then_some(dose.hold_s)),
            ..entry
        }
    }

    fn up(&self, stage: usize, on: Day, last: &LastSession, rule: Option<usize>) -> Choice {
        let (state, of_plan) = (&self.states[stage], &self.plan.stages[stage]);
        let (rung, phase) = (&of_plan.rungs[state.rung], of_plan.phase_of(state.rung));
        // the plan's rules were read to hold this; whoever holds a plan need not trust them
        if last.is_sore() || state.ceiling.is_some_and(|ceiling| !ceiling.can_cut(rung)) {
            return self.keep_or_lower(stage, on, last, rule);
        }
        if let Some((sore_on, soreness)) = self.sore_since(last.day, on) {
            return self.with_dose(stage, on, Decision::Hold, Cause::SoreSince(sore_on, soreness), state.rung, false);
        }
        if !last.is_good() {
            return self.keep_or_lower(stage, on, last, None);
        }
        if let Some(ceiling) = state.ceiling.filter(|ceiling| !ceiling.holds(rung)) {
            let ceiling = Some(ceiling.stepped(rung, phase));
            let choice = self.with_dose(stage, on, Decision::Up, Cause::Rule(rule), state.rung, false);
            return self.under(stage, choice, ceiling);
        }
        let next = state.rung + 1;
        if next >= of_plan.rungs.len() {
            let cause = match of_plan.exit.pain_on_pressing_at_most {
                _ if state.done_on.is_some() => Cause::Kept,
                Some(limit) if state.has_exit_sessions(of_plan) => Cause::Pressing(limit),
                _ => Cause::Top,
            };
            return self.with_dose(stage, on, Decision::Hold, cause, state.rung, false);
        }
        let decision = self.moved(stage, next, Decision::Up);
        self.with_dose(stage, on, decision, Cause::Rule(rule), next, false)
    }

    /// `otherwise`, or a change of mode where the phase is another.
    pub(super) fn moved(&self, stage: usize, rung: usize, otherwise: Decision) -> Decision {
        let rungs = &self.plan.stages[stage].rungs;
        if rungs[rung].phase == rungs[self.states[stage].rung].phase { otherwise } else { Decision::ChangeOfMode }
    }

    pub(super) fn with_dose(
        &self,
        stage: usize,
        on: Day,
        decision: Decision,
        cause: Cause,
        rung: usize,
        is_fall: bool,
    ) -> Choice {
        let of_plan = &self.plan.stages[stage];
        let after_last = self.states[stage].last.map(|last| last.day.plus(i32::from(of_plan.days_between)));
        let after_heavy =
            self.heavy_on.filter(|_| of_plan.phase_of(rung).is_heavy).map(|heavy| heavy.plus(HEAVY_GAP_DAYS));
        let due_on = [Some(on), after_last, after_heavy].into_iter().flatten().max();
        let choice = Choice { decision, cause, rung: Some(rung), due_on, is_fall, ceiling: None };
        // the next place is reached from below the ceiling alone
        let ceiling = self.states[stage].ceiling.filter(|_| rung <= self.states[stage].rung);
        self.under(stage, choice, ceiling)
    }

    /// The choice under a ceiling, if that cuts its dose down.
    pub(super) fn under(&self, stage: usize, choice: Choice, ceiling: Option<Ceiling>) -> Choice {
        let rungs = &self.plan.stages[stage].rungs;
        let ceiling = ceiling.filter(|ceiling| choice.rung.is_some_and(|rung| !ceiling.holds(&rungs[rung])));
        Choice { ceiling, ..choice }
    }
}

/// A stage that a clinician should look at, unless only its stretch is without effect.
fn stops_others(choice: &Choice) -> bool {
    choice.decision == Decision::SeeClinician && choice.cause != Cause::UnchangedScreen
}

pub(super) const fn nothing(decision: Decision, cause: Cause) -> Choice {
    Choice { decision, cause, rung: None, due_on: None, is_fall: false, ceiling: None }
}
