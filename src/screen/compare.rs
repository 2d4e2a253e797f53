//! External against internal on one occasion: the difference, the call and its second opinion.

use crate::geometry::Angle;
use crate::pose::{Quantity, Rotation, Undetermined, View};
use crate::uncertainty::Measured;

use super::call::{BAR_HEIGHT_BLIND_DEG, bar_height_margin_arm, call};
use super::checks::is_breaking;
use super::evaluation::{Evaluation, VERTICAL, elevation_from_vertical};
use super::pooled::{Combine, Part, Pooled, term};
use super::result::{Call, Check, CheckStatus, Comparison, Occasion, ResultSide};
use super::sentences::{self, Broken};
use super::words::reach_name;

/// The basis of a bar height above the hips, where the reaches themselves are reported above the datum.
const BAR_HEIGHT_MID_HIP: &str = "bar_height_mid_hip";

/// The basis of a comparison on the side without complaint: the one that the camera saw.
const OTHER_SIDE: &str = "other_side";

/// Views in the order in which they are preferred for a comparison: the sagittal plane is seen best from the side.
pub(crate) const COMPARED_VIEWS: [View; 3] = [View::Side, View::Oblique, View::Front];

/// What the bar's height says, and why it may say nothing.
pub(crate) struct SecondOpinion {
    pub(crate) says: Option<Call>,
    /// It says nothing because the arms are too near the vertical.
    pub(crate) is_blind: bool,
}

impl<F: Combine> Evaluation<'_, F> {
    /// One comparison for every occasion and side; of an occasion with one rotation only, one that says so.
    pub(crate) fn comparisons(&self) -> Vec<Comparison> {
        [Occasion::Before, Occasion::After].into_iter().flat_map(|occasion| self.comparisons_of(occasion)).collect()
    }

    /// The internal and the external reach of an occasion, of the best view that has both.
    pub(crate) fn pair(&self, occasion: Occasion) -> Option<[usize; 2]> {
        COMPARED_VIEWS.into_iter().find_map(|view| {
            let internal = self.find(occasion, Rotation::Internal, view)?;
            let external = self.find(occasion, Rotation::External, view)?;
            Some([internal, external])
        })
    }

    /// The external reaches before and after the stretch, of the best view that has both.
    pub(crate) fn external_pair(&self) -> Option<[usize; 2]> {
        COMPARED_VIEWS.into_iter().find_map(|view| {
            let before = self.find(Occasion::Before, Rotation::External, view)?;
            let after = self.find(Occasion::After, Rotation::External, view)?;
            Some([before, after])
        })
    }

    fn find(&self, occasion: Occasion, rotation: Rotation, view: View) -> Option<usize> {
        self.case
            .reaches
            .iter()
            .position(|reach| reach.occasion == occasion && reach.rotation == rotation && reach.view == view)
    }

    fn comparisons_of(&self, occasion: Occasion) -> Vec<Comparison> {
        let Some(pair) = self.pair(occasion) else {
            let of_occasion = self.case.reaches.iter().enumerate().filter(|(_, reach)| reach.occasion == occasion);
            let present: Vec<usize> = of_occasion.map(|(index, _)| index).collect();
            return present.first().map(|first| self.lacking(occasion, *first, &present)).into_iter().collect();
        };
        let sides = match self.side(pair[0]) {
            ResultSide::Both => vec![ResultSide::Both, ResultSide::Left, ResultSide::Right],
            one => vec![one],
        };
        sides.into_iter().map(|side| self.compare(occasion, pair, side)).collect()
    }

    /// An occasion in which one rotation was not filmed, or each from another view.
    fn lacking(&self, occasion: Occasion, first: usize, present: &[usize]) -> Comparison {
        let has = |rotation: Rotation| present.iter().any(|reach| self.case.reaches[*reach].rotation == rotation);
        let missing = match (has(Rotation::Internal), has(Rotation::External)) {
            (true, false) => Some(Rotation::External),
            (false, true) => Some(Rotation::Internal),
            _ => None,
        };
        Comparison {
            occasion,
            side: self.side(first),
            basis: Vec::new(),
            difference_elevation_deg: None,
            difference_bar_height_mm: None,
            difference_bar_height_arm: None,
            checks: Vec::new(),
            call: Call::Inconclusive,
            bar_height_says: None,
            reason: sentences::lacking_reason(missing, occasion),
            next_step: sentences::lacking_next_step(
                missing,
                self.case.reaches[first].view,
                sentences::Pain::of(self.case.reaches.iter()),
            ),
        }
    }

    fn compare(&self, occasion: Occasion, pair: [usize; 2], side: ResultSide) -> Comparison {
        let checks = self.pair_checks(pair);
        let difference = self.difference_elevation(&[pair], side);
        let mut basis = self.raise_basis(&pair);
        if matches!(difference, Ok((_, true))) {
            basis.push(VERTICAL.to_owned());
        }
        if !covers(self.case.client.affected_side, side) {
            basis.push(OTHER_SIDE.to_owned());
        }
        let heights = self.difference_bar_height(pair, &checks, &mut basis);
        let broken = self.broken_by(&pair, &checks);
        let margin_deg = self.case.call.margin_deg;
        let measured = difference.as_ref().ok().map(|(pooled, _)| pooled.measured());
        let verdict = match (&measured, broken.is_empty()) {
            (_, false) => Call::NotComparable,
            (Some(difference), true) => call(difference, margin_deg),
            (None, true) => Call::Inconclusive,
        };
        let opinion = if broken.is_empty() {
            self.bar_height_says(pair, side, &heights)
        } else {
            SecondOpinion { says: None, is_blind: false }
        };
        let undetermined = difference.err().map(|undetermined| undetermined.reason);
        let facts = sentences::CallFacts {
            occasion,
            side,
            affected: self.case.client.affected_side,
            call: verdict,
            difference: measured,
            undetermined,
            broken: &broken,
            margin_deg,
            opinion: &opinion,
            view: self.case.reaches[pair[0]].view,
            pain: sentences::Pain::of(self.case.reaches.iter()),
            has_other_occasion: self.case.reaches.iter().any(|reach| reach.occasion != occasion),
            has_doubtful_marks: self.has_doubtful_marks(&pair),
            is_unmarked: pair.iter().any(|reach| self.observations.reaches[*reach].frames.is_empty()),
            is_single_raise: self.raise_basis(&pair).iter().any(|word| word == super::evaluation::SINGLE_RAISE),
        };
        Comparison {
            occasion,
            side,
            difference_elevation_deg: measured,
            difference_bar_height_mm: heights.mm,
            difference_bar_height_arm: heights.arm,
            call: verdict,
            bar_height_says: opinion.says,
            reason: sentences::call_reason(&facts),
            next_step: sentences::call_next_step(&facts),
            basis,
            checks,
        }
    }

    /// External minus internal; of two pairs, the second difference minus the first.
    pub(crate) fn difference_elevation(
        &self,
        pairs: &[[usize; 2]],
        side: ResultSide,
    ) -> Result<(Pooled, bool), Undetermined> {
        let last = pairs.len().saturating_sub(1);
        let parts: Vec<Part> = pairs
            .iter()
            .enumerate()
            .flat_map(|(index, [internal, external])| {
                let sign = if index == last { 1.0 } else { -1.0 };
                [Part { factor: -sign, reach: *internal }, Part { factor: sign, reach: *external }]
            })
            .collect();
        self.combine_elevation(&parts, side, pairs.len())
    }

    /// The second reach's bar height minus the first's, above the datum unless the camera moved or one has none.
    pub(crate) fn difference_bar_height(
        &self,
        pair: [usize; 2],
        checks: &[Check],
        basis: &mut Vec<String>,
    ) -> HeightDifference {
        let parts = [Part { factor: -1.0, reach: pair[0] }, Part { factor: 1.0, reach: pair[1] }];
        let of = |quantity: Quantity| self.raising.combine(&parts, quantity).ok().map(|pooled| pooled.measured());
        let has_moved = checks.iter().any(|check| check.name == "camera_unmoved" && check.status == CheckStatus::Fail);
        let have_datum = pair.iter().all(|reach| self.has_datum(*reach));
        if have_datum && !has_moved {
            let heights =
                HeightDifference { mm: of(Quantity::BarHeightAboveDatum), arm: of(Quantity::BarHeightAboveDatumArm) };
            if heights.mm.is_some() || heights.arm.is_some() {
                return heights;
            }
        }
        let heights = HeightDifference { mm: of(Quantity::BarHeightAboveHip), arm: of(Quantity::BarHeightAboveHipArm) };
        if have_datum && (heights.mm.is_some() || heights.arm.is_some()) {
            basis.push(BAR_HEIGHT_MID_HIP.to_owned());
        }
        heights
    }

    /// Whether some reach has a mark that is far from where the others put it.
    fn has_doubtful_marks(&self, reaches: &[usize]) -> bool {
        let checks = reaches.iter().flat_map(|reach| &self.reaches[*reach].checks);
        checks.filter(|check| check.name == "marks_agree").any(|check| check.status == CheckStatus::Fail)
    }

    /// The failed checks that break a comparison of these reaches.
    pub(crate) fn broken_by(&self, reaches: &[usize], pair_checks: &[Check]) -> Vec<Broken> {
        let of_reaches = reaches.iter().flat_map(|reach| {
            let entry = &self.case.reaches[*reach];
            let on = reach_name(entry.rotation, entry.occasion);
            let broken = self.reaches[*reach].checks.iter().filter(|check| is_breaking(check));
            broken.map(move |check| Broken { on: Some(on.clone()), text: check.finding() })
        });
        let of_pair = pair_checks.iter().filter(|check| is_breaking(check));
        of_reaches.chain(of_pair.map(|check| Broken { on: None, text: check.finding() })).collect()
    }

    fn bar_height_says(&self, pair: [usize; 2], side: ResultSide, heights: &HeightDifference) -> SecondOpinion {
        let nothing = SecondOpinion { says: None, is_blind: false };
        let from_vertical =
            |reach: usize| self.raising.of_reach(reach, elevation_from_vertical(side)).ok().map(|pooled| pooled.value);
        let (Some(internal_deg), Some(external_deg)) = (from_vertical(pair[0]), from_vertical(pair[1])) else {
            return nothing;
        };
        if internal_deg > BAR_HEIGHT_BLIND_DEG || external_deg > BAR_HEIGHT_BLIND_DEG {
            return SecondOpinion { says: None, is_blind: true };
        }
        let margin_arm =
            bar_height_margin_arm(Angle::from_deg(internal_deg), Angle::from_deg(self.case.call.margin_deg));
        let arm_mm = self.raising.fit.combine(&[term(1.0, 0, 0, Quantity::ArmLength)]).ok().map(|arm| arm.value);
        let by_mm = heights.mm.as_ref().and_then(|difference| {
            let margin_mm = self.case.call.margin_mm.or_else(|| arm_mm.map(|arm_mm| margin_arm * arm_mm))?;
            Some(call(difference, margin_mm))
        });
        let by_arm = || match self.case.call.margin_mm {
            // a margin in mm says nothing where there is no scale
            Some(_) => None,
            None => heights.arm.as_ref().map(|difference| call(difference, margin_arm)),
        };
        SecondOpinion { says: by_mm.or_else(by_arm), is_blind: false }
    }
}

/// A difference of bar heights.
pub(crate) struct HeightDifference {
    pub(crate) mm: Option<Measured>,
    pub(crate) arm: Option<Measured>,
}

/// Whether a comparison of `side` speaks of an affected side.
fn covers(affected: ResultSide, side: ResultSide) -> bool {
    affected == side || affected == ResultSide::Both || side == ResultSide::Both
}
