//! Marks that are known not to be all on one spot: what that takes from the evidence of a set that leaves them good, and the sets that
//! settle it.

use super::{Candidate, Judge, log_odds, with_one_more};

/// In how many contradictions of a hundred the pictures mislead, and the marks are right. Common practice, no source.
const MISLED_RATIO: f64 = 0.03;
/// Ways to settle all contradictions that the search begins with.
const SETTLED_MAX: usize = 16;

impl Judge<'_> {
    /// What contradictions among the marks that a set leaves good take from its evidence: one spot of each is right at the most, unless
    /// the pictures mislead.
    pub(super) fn unsettled(&self, bad: &[usize]) -> f64 {
        let is_bad = |number: &usize| bad.binary_search(number).is_ok();
        let is_good = |mark: &usize| !is_bad(mark) && !self.origin_of_mark[*mark].as_ref().is_some_and(is_bad);
        let is_open = |spots: &&Vec<Vec<usize>>| spots.iter().filter(|spot| spot.iter().any(is_good)).count() > 1;
        self.contradictions.iter().filter(is_open).count() as f64 * log_odds(MISLED_RATIO)
    }

    /// A set and those that settle contradictions in it, each in every way, with one spot right. Marks of one spot are found bad together or
    /// not at all, so that no search that adds one after the other would come upon them.
    pub(super) fn settled(&self, none: Candidate) -> Vec<Candidate> {
        let mut sets = vec![none];
        for spots in self.contradictions {
            for place in 0..sets.len() {
                for right in 0..spots.len() {
                    let wrong =
                        spots.iter().enumerate().filter(|(spot, _)| *spot != right).flat_map(|(_, marks)| marks);
                    let without = |set: Option<Candidate>, mark: &usize| {
                        let (set, number) = (set?, self.error_of(*mark));
                        let bad = with_one_more(&set.bad, number);
                        if bad == set.bad { Some(set) } else { self.extended(&set, number, bad) }
                    };
                    sets.extend(wrong.fold(Some(sets[place].clone()), without));
                }
            }
            sets.sort_by(|a, b| b.evidence.total_cmp(&a.evidence));
            sets.truncate(SETTLED_MAX);
        }
        sets
    }

    /// The suspect that is bad where a mark is on a wrong spot: where others come from the mark, their common error.
    fn error_of(&self, mark: usize) -> usize {
        self.origin_of_mark[mark].unwrap_or(mark)
    }
}
