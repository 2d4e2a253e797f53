//! After against before: what became of the external reach, and whether the screen is cleared.

use crate::uncertainty::Measured;

use super::call::retest_outcome;
use super::evaluation::Evaluation;
use super::pooled::{Combine, Part, Pooled};
use super::result::{Call, Comparison, Occasion, ResultSide, Retest, RetestOutcome};
use super::sentences;

/// Where the bar's change is not that of the heights above the datum that stand beside it.
const BAR_ABOVE_HIPS: &str = " Camera or datum moved: the change of bar height is taken above the hips.";

impl<F: Combine> Evaluation<'_, F> {
    /// The retest, where there is an external reach both before and after the stretch.
    pub(crate) fn retest(&self, comparisons: &[Comparison]) -> Option<Retest> {
        let external = self.external_pair()?;
        let side = self.side(external[0]);
        let checks = self.pair_checks(external);
        let broken = self.broken_by(&external, &checks);
        let parts = [Part { factor: -1.0, reach: external[0] }, Part { factor: 1.0, reach: external[1] }];
        let change = self.combine_elevation(&parts, side, 1);
        let measured = change.as_ref().ok().map(|(pooled, _)| pooled.measured());
        let margin_deg = self.case.call.margin_deg;
        let outcome = match (&measured, broken.is_empty()) {
            (_, false) => RetestOutcome::NotComparable,
            (Some(change), true) => retest_outcome(change, margin_deg),
            (None, true) => RetestOutcome::Inconclusive,
        };
        let mut basis = Vec::new();
        let heights = self.difference_bar_height(external, &checks, &mut basis);
        let cleared = cleared(comparisons, side, outcome);
        let facts = sentences::RetestFacts {
            side,
            affected: self.case.client.affected_side,
            outcome,
            change: measured,
            undetermined: change.err().map(|undetermined| undetermined.reason),
            broken: &broken,
            margin_deg,
            cleared,
        };
        let mut reason = sentences::retest_reason(&facts);
        if !basis.is_empty() && heights.mm.is_some() {
            reason.push_str(BAR_ABOVE_HIPS);
        }
        Some(Retest {
            change_elevation_deg: measured,
            change_bar_height_mm: heights.mm,
            change_difference_deg: self.change_of_difference(side).filter(|_| are_comparable(comparisons, side)),
            reason,
            outcome,
            cleared,
            checks,
        })
    }

    fn change_of_difference(&self, side: ResultSide) -> Option<Measured> {
        let pairs = [self.pair(Occasion::Before)?, self.pair(Occasion::After)?];
        // of one view, so that what a view gets wrong is in both
        let [before, after] = pairs.map(|[internal, _]| self.case.reaches[internal].view);
        if before != after {
            return None;
        }
        self.difference_elevation(&pairs, side).ok().map(|(pooled, _): (Pooled, bool)| pooled.measured())
    }
}

/// Whether both differences can be relied on: a change rests on no pair that a check broke.
fn are_comparable(comparisons: &[Comparison], side: ResultSide) -> bool {
    comparisons
        .iter()
        .filter(|comparison| comparison.side == side)
        .all(|comparison| comparison.call != Call::NotComparable)
}

/// Whether the call was positive before and is negative now, with the external reach improved. `None` without both pairs.
fn cleared(comparisons: &[Comparison], side: ResultSide, outcome: RetestOutcome) -> Option<bool> {
    let call = |occasion: Occasion| {
        comparisons
            .iter()
            .find(|comparison| {
                // a comparison of a lacking rotation is no pair
                let is_pair = !comparison.checks.is_empty();
                comparison.occasion == occasion && comparison.side == side && is_pair
            })
            .map(|comparison| comparison.call)
    };
    let (before, after) = (call(Occasion::Before)?, call(Occasion::After)?);
    // of both sides together the mean may pass while one of them does not
    let is_one_left = comparisons
        .iter()
        .any(|comparison| comparison.occasion == Occasion::After && comparison.call == Call::Positive);
    Some(before == Call::Positive && outcome == RetestOutcome::Improved && after == Call::Negative && !is_one_left)
}
