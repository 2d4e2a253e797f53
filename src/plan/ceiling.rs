//! What was done of a dose; what no dose of a stage may exceed after a session that hurt, and how that is left behind again: one
//! step at a time.

use std::cmp::Ordering;

use super::load::Load;
use super::log::LogEntry;
use super::model::{Phase, Rung};

/// Load, sets, repetitions and hold of a session that hurt. With none of them exceeded, the volume is not either.
///
/// Doses of more load are passed over, since weights and bands cannot be cut to size; all else can.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Ceiling {
    /// By [`Load::amount`].
    pub(super) load: u64,
    sets: u16,
    repetitions: u16,
    /// s; 0 where nothing was held.
    hold_s: u16,
}

impl Ceiling {
    /// What was done of a dose, as proposed where not stated, and never more than proposed.
    pub(super) fn of(entry: &LogEntry, proposed: &Rung) -> Self {
        let load = if entry.load == Load::None { proposed.load } else { entry.load };
        let least = |done: Option<u16>, proposed: u16| done.map_or(proposed, |done| done.min(proposed));
        Self {
            load: load.amount().min(proposed.load.amount()),
            sets: least(entry.sets, proposed.sets),
            repetitions: least(entry.repetitions, proposed.repetitions),
            hold_s: least(entry.seconds, proposed.hold_s),
        }
    }

    /// What was done of a dose, as proposed where not stated, be it more than proposed.
    pub(super) fn of_done(entry: &LogEntry, proposed: &Rung) -> Self {
        let load = if entry.load == Load::None { proposed.load } else { entry.load };
        Self {
            load: load.amount(),
            sets: entry.sets.unwrap_or(proposed.sets),
            repetitions: entry.repetitions.unwrap_or(proposed.repetitions),
            hold_s: if proposed.hold_s == 0 { 0 } else { entry.seconds.unwrap_or(proposed.hold_s) },
        }
    }

    /// The lower of two ceilings in each.
    pub(super) fn and(&self, other: &Self) -> Self {
        Self {
            load: self.load.min(other.load),
            sets: self.sets.min(other.sets),
            repetitions: self.repetitions.min(other.repetitions),
            hold_s: self.hold_s.min(other.hold_s),
        }
    }

    /// The dose, with whatever exceeds the ceiling cut down to it.
    pub(super) fn cut(&self, rung: &Rung) -> Rung {
        Rung {
            sets: rung.sets.min(self.sets),
            repetitions: rung.repetitions.min(self.repetitions),
            hold_s: rung.hold_s.min(self.hold_s),
            ..*rung
        }
    }

    /// The dose stays below the ceiling as it is.
    pub(super) fn holds(&self, rung: &Rung) -> bool {
        rung.load.amount() <= self.load && self.cut(rung) == *rung
    }

    /// The dose can be cut down to the ceiling: a load cannot, and a hold is not cut down to none.
    pub(super) const fn can_cut(&self, rung: &Rung) -> bool {
        rung.load.amount() <= self.load && (rung.hold_s == 0 || self.hold_s > 0)
    }

    /// How a dose compares with what was done: the load decides; with the same load, `None` where one thing is more and another less.
    pub(super) fn compared(&self, dose: &Rung) -> Option<Ordering> {
        let pairs = [(dose.sets, self.sets), (dose.repetitions, self.repetitions), (dose.hold_s, self.hold_s)];
        let has = |wanted: Ordering| pairs.iter().any(|(dose, done)| dose.cmp(done) == wanted);
        match (dose.load.amount().cmp(&self.load), has(Ordering::Less), has(Ordering::Greater)) {
            (Ordering::Equal, true, true) => None,
            (Ordering::Equal, true, false) => Some(Ordering::Less),
            (Ordering::Equal, false, true) => Some(Ordering::Greater),
            (by_load, ..) => Some(by_load),
        }
    }

    /// The ceiling with one thing a step higher on the way to a dose: repetitions, then hold, then sets.
    pub(super) fn stepped(&self, rung: &Rung, phase: &Phase) -> Self {
        let mut next = Self::of_dose(&self.cut(rung));
        if next.repetitions < rung.repetitions {
            next.repetitions = next.repetitions.saturating_add(phase.repetitions_step.max(1)).min(rung.repetitions);
        } else if next.hold_s < rung.hold_s {
            next.hold_s = next.hold_s.saturating_add(phase.hold_step_s.unwrap_or(1).max(1)).min(rung.hold_s);
        } else {
            next.sets = next.sets.saturating_add(1).min(rung.sets);
        }
        next
    }

    /// What a dose comes to.
    pub(super) const fn of_dose(rung: &Rung) -> Self {
        Self { load: rung.load.amount(), sets: rung.sets, repetitions: rung.repetitions, hold_s: rung.hold_s }
    }
}
