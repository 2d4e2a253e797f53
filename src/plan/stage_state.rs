//! Where a client stands in one stage: the dose, the latest session, and how the run of sessions went. A day is one session,
//! however many entries it has: whatever of them was worst decides.

use super::ceiling::Ceiling;
use super::day::Day;
use super::load::Load;
use super::log::LogEntry;
use super::model::{ExitAt, Mode, Rung, Stage};
use super::pain::{Morning, PainLimits, Zone};
use super::rules::{SETBACKS_MAX, Situation};

/// Of a pause between two sessions, no more days than this count as training.
const TRAINING_GAP_DAYS: u16 = 7;

/// Pain of the last week is compared with that of the one before.
pub(super) const WEEK_DAYS: i32 = 7;

/// Days that are looked back on: the last week and the one before.
const RECENT_DAYS: usize = 14;

/// Days of falls that are kept: after so many, every plan ends with a clinician.
const FALLS_KEPT: usize = SETBACKS_MAX as usize;

/// Where a client stands in one stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct StageState {
    /// Its entry was met.
    pub(super) is_open: bool,
    /// Its exit was met on that day.
    pub(super) done_on: Option<Day>,
    /// Place of the dose that the latest session was to be done with.
    pub(super) rung: usize,
    /// What its doses may not exceed since a session that hurt.
    pub(super) ceiling: Option<Ceiling>,
    /// Falls to a lighter phase because it hurt, since a place was reached that is the highest so far of the phase that was left, or
    /// since a clinician looked.
    mode_falls: u16,
    /// The session that led to the latest of them.
    mode_fell_on: Option<Day>,
    /// Falls since a place was reached that is the highest so far of its phase, or since a clinician looked.
    pub(super) setbacks: u16,
    /// The day from which on the session that led to the latest fall could be known.
    pub(super) setback_on: Option<Day>,
    /// The sessions that led to these falls, as far as they are kept.
    falls: [Option<Day>; FALLS_KEPT],
    /// Days of training since the latest gain, or since a clinician looked.
    pub(super) training_days: u16,
    /// Good sessions in a row at this dose, up to the latest.
    pub(super) run_here: u16,
    /// Good sessions in a row at any dose, up to the latest.
    pub(super) run: u16,
    /// The latest session that the time to the next one counts from.
    counted_on: Option<Day>,
    /// Since that session the ones that end the stage are done, whatever else it waits for.
    ripe_on: Option<Day>,
    /// Both runs as they were before the latest session, which each entry of its day judges anew.
    runs_before: [u16; 2],
    /// The latest session.
    pub(super) last: Option<LastSession>,
    /// The load that was done last.
    done: Option<Load>,
    /// The load that was done last other than by lowering only.
    lifted: Option<Load>,
    /// Pain of the sessions of the last two weeks, each day at its place in the fortnight.
    recent: [DayOfPain; RECENT_DAYS],
}

/// The most pain during the session of one day.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct DayOfPain {
    day: Option<Day>,
    pain: u8,
}

/// Where a session is to be done.
#[derive(Debug, Clone, Copy)]
pub(super) struct Move {
    /// Place of the dose.
    pub(super) rung: usize,
    /// What it is cut down to.
    pub(super) ceiling: Option<Ceiling>,
    /// It counts as a fall.
    pub(super) is_fall: bool,
    /// A fall to a lighter phase because it hurt.
    pub(super) is_mode_fall: bool,
    /// It is of a phase that is left for a lighter one when it hurts.
    pub(super) has_lighter_mode: bool,
    /// It is more than what was done before.
    pub(super) is_rise: bool,
}

/// The latest session of a stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LastSession {
    pub(super) day: Day,
    /// The day from which on all of it could be known.
    told_on: Day,
    /// The load that was used, never more than what is known: as proposed where nothing was stated.
    pub(super) load: Load,
    /// All that was done.
    pub(super) done: Ceiling,
    /// Sets of the day's entries that were whole but for these.
    sets: u16,
    pub(super) during: Zone,
    pub(super) morning: Morning,
    pub(super) is_short: bool,
    /// It hurt, and less was done than proposed.
    pub(super) is_cut: bool,
    /// It came too soon to count towards a rise.
    pub(super) too_soon: Option<TooSoon>,
}

/// Why a session counts for nothing but pain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TooSoon {
    /// It was done sooner than the plan's days after the one before.
    Between(u16),
    /// It was heavy work of the wrist flexors, and so was the day before.
    Heavy,
}

impl LastSession {
    /// Pain, during or on the morning after, that the dose must not rise after.
    pub(super) fn is_sore(&self) -> bool {
        self.during != Zone::Safe || self.morning == Morning::NotSettled
    }

    /// Whole, and without more pain than is safe, then and on the morning after.
    pub(super) fn is_good(&self) -> bool {
        !self.is_short && self.during == Zone::Safe && self.morning == Morning::Settled
    }

    /// Short of sets in each entry of its day, and not in all of them together.
    pub(super) const fn is_in_parts(&self, dose: &Rung) -> bool {
        self.is_short && self.sets >= dose.sets
    }

    /// The session with another entry of its day in it: the worst of both in each.
    fn and(&self, other: &Self) -> Self {
        let load = if other.load.amount() < self.load.amount() { other.load } else { self.load };
        Self {
            day: self.day,
            told_on: self.told_on.max(other.told_on),
            load,
            done: self.done.and(&other.done),
            sets: self.sets.saturating_add(other.sets),
            during: self.during.max(other.during),
            morning: self.morning.max(other.morning),
            is_short: self.is_short || other.is_short,
            is_cut: self.is_cut || other.is_cut,
            too_soon: self.too_soon,
        }
    }
}

impl StageState {
    pub(super) fn new(stage: &Stage) -> Self {
        Self {
            is_open: false,
            done_on: None,
            rung: stage.first_rung,
            ceiling: None,
            mode_falls: 0,
            mode_fell_on: None,
            setbacks: 0,
            setback_on: None,
            falls: [None; FALLS_KEPT],
            training_days: 0,
            run_here: 0,
            run: 0,
            counted_on: None,
            ripe_on: None,
            runs_before: [0, 0],
            last: None,
            done: None,
            lifted: None,
            recent: [DayOfPain::default(); RECENT_DAYS],
        }
    }

    /// Forgets falls and days that a clinician has looked at since.
    pub(super) fn forget_before(&mut self, cleared: Option<Day>) {
        if let Some(cleared) = cleared {
            if self.setback_on.is_some_and(|on| cleared > on) {
                self.setbacks = 0;
                self.mode_falls = 0;
                self.setback_on = None;
            }
            if self.last.is_some_and(|last| cleared > last.told_on) {
                self.training_days = 0;
            }
        }
    }

    /// Moves to the dose that a session was to be done with; `best` is the highest place so far of its phase. A fall is one even
    /// where there is no lower dose.
    ///
    /// A step up is a gain when it leads to a new best of its phase: lowering only that gets somewhere is no standstill, though it
    /// lies below what was lifted before. What one fall took back is a gain as well when it is reached again. After a second fall
    /// only a new best is one, since then the same is climbed for the third time.
    pub(super) fn move_to(&mut self, to: &Move, best: &mut usize) {
        if to.rung != self.rung || to.ceiling != self.ceiling {
            self.run_here = 0;
        }
        let is_fall = to.is_fall || to.rung < self.rung;
        let is_best = to.rung > *best;
        *best = to.rung.max(*best);
        if is_fall {
            let last = self.last.map(|last| last.day);
            if let Some(fall) = self.falls.get_mut(usize::from(self.setbacks)) {
                *fall = last;
            }
            self.setbacks = self.setbacks.saturating_add(1);
            if to.is_mode_fall {
                self.mode_falls = self.mode_falls.saturating_add(1);
                self.mode_fell_on = last;
            }
            self.setback_on = self.setback_on.max(self.last.map(|last| last.told_on));
        } else if to.is_rise {
            if is_best {
                self.setbacks = 0;
            }
            if is_best && to.has_lighter_mode {
                self.mode_falls = 0;
            }
            if self.setbacks < 2 {
                self.training_days = 0;
            }
        }
        (self.rung, self.ceiling) = (to.rung, to.ceiling);
    }

    /// A place is of the phase that the present one is left for when it hurts.
    pub(super) fn leads_to_lighter_mode(&self, stage: &Stage, rung: usize) -> bool {
        let phase = stage.rungs[rung].phase;
        phase != stage.rungs[self.rung].phase && stage.lighter_phase(self.rung) == Some(phase)
    }

    /// The present dose, cut down to the ceiling.
    pub(super) fn dose(&self, stage: &Stage) -> Rung {
        let rung = &stage.rungs[self.rung];
        self.ceiling.map_or(*rung, |ceiling| ceiling.cut(rung))
    }

    /// Takes in an entry of a session that was to be done with the present dose, or with one of those that were `proposed` in the
    /// course of its day.
    ///
    /// A session that comes too soon is good for nothing, since the days between are part of the dose; what hurts in it counts as in
    /// any other.
    pub(super) fn take(
        &mut self,
        entry: &LogEntry,
        stage: &Stage,
        limits: &PainLimits,
        proposed: [Option<Rung>; 2],
        is_after_heavy: bool,
    ) {
        let dose = self.dose(stage);
        let same_day = self.last.filter(|last| last.day == entry.day);
        let mut session = session_of(entry, &dose, limits);
        // a dose from further up is no less than this one, though it may have fewer repetitions: a plan with more doses than the one
        // that was followed would else wait for this one for ever
        session.is_short = session.is_short && !is_higher_dose(entry, stage, self.rung, &dose);
        if session.is_sore() {
            let ceilings = proposed.iter().flatten().map(|proposed| Ceiling::of(entry, proposed));
            let mut ceiling = ceilings.fold(Ceiling::of(entry, &dose), |least, other| least.and(&other));
            ceiling.load = self.ceiling.map_or(ceiling.load, |before| before.load.min(ceiling.load));
            if let Some(before) = self.ceiling.filter(|_| same_day.is_some_and(|last| last.is_sore())) {
                ceiling = ceiling.and(&before);
            }
            session.is_cut = !ceiling.holds(&dose);
            self.ceiling = Some(ceiling);
        }
        if let Some(same_day) = same_day {
            session = same_day.and(&session);
        } else {
            self.runs_before = [self.run_here, self.run];
            let is_rested = self.counted_on.is_none_or(|on| entry.day.days_since(on) >= i32::from(stage.days_between));
            session.too_soon = match (is_after_heavy, is_rested) {
                (true, _) => Some(TooSoon::Heavy),
                (false, false) => Some(TooSoon::Between(stage.days_between)),
                (false, true) => None,
            };
            // what brought nothing because the mornings after are not known is no training without gain
            if let Some(last) = self.last.filter(|last| last.morning != Morning::Unknown) {
                let gap = u16::try_from(entry.day.days_since(last.day)).unwrap_or(0);
                self.training_days = self.training_days.saturating_add(gap.min(TRAINING_GAP_DAYS));
            }
        }
        if entry.is_done {
            self.done = Some(session.load);
            if stage.phases[dose.phase].mode != Mode::LoweringOnly {
                self.lifted = Some(session.load);
            }
        }
        let grown = |run: u16| match (session.is_good(), session.too_soon) {
            (true, None) => run.saturating_add(1),
            (true, Some(_)) => run,
            (false, _) => 0,
        };
        [self.run_here, self.run] = self.runs_before.map(grown);
        if session.too_soon.is_none() || !session.is_good() {
            self.counted_on = Some(entry.day);
        }
        self.ripe_on = self.ripe_on.or(Some(entry.day)).filter(|_| self.has_exit_sessions(stage));
        if let Some(pain) = entry.pain_during {
            let at = &mut self.recent[entry.day.place_in(RECENT_DAYS)];
            let before = if at.day == Some(entry.day) { at.pain } else { 0 };
            *at = DayOfPain { day: Some(entry.day), pain: pain.max(before) };
        }
        self.last = Some(session);
    }

    /// Takes note of a load that was done without having been proposed: it counts for nothing, but no leap leads away from it.
    pub(super) const fn note_done(&mut self, load: Load) {
        self.done = Some(load);
    }

    /// What the next load in a mode is measured by: the load that was done last, and last in that mode, whichever is less. What was
    /// lifted can be lowered; what was lowered may be more than can be lifted.
    pub(super) fn done(&self, mode: Mode) -> Option<Load> {
        let lifted = self.lifted.filter(|_| mode != Mode::LoweringOnly);
        [self.done, lifted].into_iter().flatten().min_by_key(|load| load.amount())
    }

    /// The sessions that led to the falls that count, the earliest first.
    pub(super) fn falls(&self) -> impl Iterator<Item = Day> {
        self.falls.into_iter().take(usize::from(self.setbacks)).flatten()
    }

    /// The session that led to the latest fall to a lighter phase.
    pub(super) const fn mode_fell_on(&self) -> Option<Day> {
        self.mode_fell_on
    }

    /// The sessions that end the stage are done, and since then no visit has asked for the pain that its exit asks for.
    fn waits_for_visit(&self, stage: &Stage, visited: Option<Day>) -> bool {
        stage.exit.pain_on_pressing_at_most.is_some()
            && self.ripe_on.is_some_and(|ripe| visited.is_none_or(|visited| visited < ripe))
    }

    /// What the rules look at, on a day after the latest session, with the days of the latest clearance and visit.
    pub(super) fn situation(
        &self,
        last: &LastSession,
        stage: &Stage,
        on: Day,
        cleared: Option<Day>,
        visited: Option<Day>,
    ) -> Situation {
        let is_seen_since = |day: Option<Day>| day.zip(cleared).is_some_and(|(day, cleared)| cleared > day);
        Situation {
            during: last.during,
            morning: last.morning,
            week_rises: self.week_rises(last.day),
            is_short: last.is_short,
            is_ready: self.run_here >= stage.sessions_to_rise,
            setbacks: if is_seen_since(self.setback_on) { 0 } else { self.setbacks },
            mode_falls: if is_seen_since(self.setback_on) { 0 } else { self.mode_falls },
            // a stage that is done has nothing left to gain, nor one that waits for a visit
            days_without_gain: if self.waits_for_visit(stage, visited)
                || is_seen_since(Some(last.told_on))
                || self.done_on.is_some()
            {
                0
            } else {
                self.training_days
            },
            days_since_session: u16::try_from(on.days_since(last.day)).unwrap_or(0),
        }
    }

    /// Whether the sessions that the exit asks for were done.
    pub(super) fn has_exit_sessions(&self, stage: &Stage) -> bool {
        let is_top = self.rung + 1 == stage.rungs().len() && self.ceiling.is_none();
        match stage.exit.at {
            ExitAt::Top => is_top && self.run_here >= stage.exit.sessions,
            ExitAt::Any => self.run >= stage.exit.sessions,
        }
    }

    /// Mean pain during sessions of the week up to a day is above that of the week before.
    fn week_rises(&self, until: Day) -> bool {
        let mut sums = [(0_u32, 0_u32); 2];
        for DayOfPain { day, pain } in self.recent {
            let Some(ago) = day.map(|day| until.days_since(day)).filter(|ago| *ago < 2 * WEEK_DAYS) else { continue };
            let week = usize::from(ago >= WEEK_DAYS);
            sums[week].0 += u32::from(pain);
            sums[week].1 += 1;
        }
        let [(now, now_count), (before, before_count)] = sums;
        // cross-multiplied means; a week without sessions compares with nothing
        before_count > 0 && now * before_count > before * now_count
    }
}

/// With more load than the dose has, all of a dose that stands above it was done.
fn is_higher_dose(entry: &LogEntry, stage: &Stage, rung: usize, dose: &Rung) -> bool {
    let is_done = |higher: &Rung| {
        higher.load.amount() > dose.load.amount()
            && entry.load.is_at_least(higher.load)
            && entry.sets.is_some_and(|sets| sets >= higher.sets)
            && entry.repetitions.is_some_and(|repetitions| repetitions >= higher.repetitions)
            && (higher.hold_s == 0 || entry.seconds.is_some_and(|seconds| seconds >= higher.hold_s))
    };
    entry.is_done && entry.load.amount() > dose.load.amount() && stage.rungs[rung..].iter().any(is_done)
}

fn session_of(entry: &LogEntry, rung: &Rung, limits: &PainLimits) -> LastSession {
    let load = if entry.load == Load::None { rung.load } else { entry.load };
    let reaches = |done: Option<u16>, proposed: u16| done.is_none_or(|done| done >= proposed);
    let is_whole_but_sets = entry.is_done
        && load.is_at_least(rung.load)
        && reaches(entry.repetitions, rung.repetitions)
        && (rung.hold_s == 0 || reaches(entry.seconds, rung.hold_s));
    let is_whole = is_whole_but_sets && reaches(entry.sets, rung.sets);
    LastSession {
        day: entry.day,
        told_on: entry.told_on(),
        load,
        done: Ceiling::of_done(entry, rung),
        sets: entry.sets.filter(|_| is_whole_but_sets && !is_whole).unwrap_or(0),
        // a session that was not done says nothing of pain unless some is stated
        during: entry.pain_during.map_or(Zone::Safe, |pain| limits.zone(pain)),
        morning: limits.morning(entry.pain_next_morning),
        is_short: !is_whole,
        is_cut: false,
        too_soon: None,
    }
}
