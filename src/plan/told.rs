//! What stops a plan, with the day of it and the day on which it could be known.

use super::day::Day;

/// Something that stops the plan.
#[derive(Debug, Clone, Copy)]
pub(super) struct Told<T> {
    /// The day of it.
    pub(super) on: Day,
    /// The day from which on a clinician could know of it.
    pub(super) told_on: Day,
    pub(super) what: T,
}

impl<T: Copy> Told<T> {
    /// That which was told later; of two of one day the new one. A clearance that answers it answers the other too.
    pub(super) fn later(before: Option<Self>, new: Self) -> Option<Self> {
        Some(before.filter(|before| before.told_on > new.told_on).unwrap_or(new))
    }
}
