//! Reaches as they are reported: every quantity with its interval, and the checks.

use crate::geometry::{Landmark, Side};
use crate::pose::priors::TRUNK_MOVEMENT_SD_DEG;
use crate::pose::{Quantity, Undetermined, VisitObservations};
use crate::uncertainty::Measured;

use super::case::CaseFile;
use super::checks::pair::{pair_checks, two_takes};
use super::checks::reach::{ReachEvidence, reach_checks};
use super::flexion::elbow_flexion;
use super::pooled::{Combine, Part, Pooled, Raising, number};
use super::result::{Check, ReachResult, ResultSide};
use super::seen::{image_angle, is_arm_seen, is_marked};
use super::simulation::Purpose;
use super::words::single_side;

/// The basis of a number that covers the measurement alone, not the person's variation from raise to raise.
pub(crate) const SINGLE_RAISE: &str = "single_raise";

/// The basis of a number whose spread from raise to raise was seen in other reaches of the visit.
pub(crate) const SPREAD_FROM_OTHER_REACHES: &str = "spread_from_other_reaches";

/// The basis of a comparison by elevation from the plumb line, for want of a trunk.
pub(crate) const VERTICAL: &str = "vertical";

/// What a result is made from, beside the fit.
#[derive(Clone, Copy)]
pub(crate) struct Evidence<'a> {
    pub(crate) case: &'a CaseFile,
    pub(crate) observations: &'a VisitObservations,
    /// Pairs of reaches whose pictures show that they are one recording.
    pub(crate) one_recordings: &'a [[usize; 2]],
}

/// A visit with its fit, being turned into a result.
pub(crate) struct Evaluation<'a, F: Combine> {
    pub(crate) case: &'a CaseFile,
    pub(crate) observations: &'a VisitObservations,
    one_recordings: &'a [[usize; 2]],
    pub(crate) raising: Raising<'a, F>,
    /// Per reach, its result; filled in order.
    pub(crate) reaches: Vec<ReachResult>,
}

impl<'a, F: Combine> Evaluation<'a, F> {
    pub(crate) fn new(Evidence { case, observations, one_recordings }: Evidence<'a>, fit: &'a F) -> Self {
        let reaches = case.reaches.iter().zip(&observations.reaches);
        let counts = reaches.clone().map(|(_, observed)| observed.frames.iter().map(|frame| frame.raise + 1).max());
        let counts = counts.map(Option::unwrap_or_default).collect();
        let elevations: Vec<Vec<Quantity>> = reaches
            .map(|(entry, _)| {
                let side = reach_side(entry.near_side, entry.view, case.client.affected_side);
                vec![elevation(side), elevation_from_vertical(side)]
            })
            .collect();
        let raising = Raising::new(fit, case.call.raises, counts, &elevations);
        let mut evaluation = Self { case, observations, one_recordings, raising, reaches: Vec::new() };
        for reach in 0..case.reaches.len() {
            let result = evaluation.reach(reach);
            evaluation.reaches.push(result);
        }
        evaluation
    }

    /// The side of a reach.
    pub(crate) fn side(&self, reach: usize) -> ResultSide {
        let entry = &self.case.reaches[reach];
        reach_side(entry.near_side, entry.view, self.case.client.affected_side)
    }

    /// The reference of a reach's bar height, where it has one.
    pub(crate) fn has_datum(&self, reach: usize) -> bool {
        is_marked(&self.observations.reaches[reach], Landmark::Datum)
    }

    /// The checks of a pair of reaches.
    pub(crate) fn pair_checks(&self, pair: [usize; 2]) -> Vec<Check> {
        let mut checks = pair_checks(pair, self.observations, &self.raising, &self.case.limits);
        // which of the two a recording shows cannot be told, so that nothing compares with either
        if let Some(twice) = self.one_recordings.iter().find(|twice| twice.iter().any(|reach| pair.contains(reach))) {
            checks.push(two_takes(twice.map(|reach| &self.case.reaches[reach])));
        }
        checks
    }

    /// What a number over these reaches rests on.
    pub(crate) fn raise_basis(&self, reaches: &[usize]) -> Vec<String> {
        let mut basis = Vec::new();
        if reaches.iter().any(|reach| self.raising.counts[*reach] <= 1) {
            basis.push(SINGLE_RAISE.to_owned());
            if self.raising.has_spread() {
                basis.push(SPREAD_FROM_OTHER_REACHES.to_owned());
            }
        }
        basis
    }

    /// A combination of elevations: from the trunk, or from the plumb line where the trunk is not determined. The flag says
    /// which; `pairs` is the number of pairs of reaches between which the trunk may have moved.
    pub(crate) fn combine_elevation(
        &self,
        parts: &[Part],
        side: ResultSide,
        pairs: usize,
    ) -> Result<(Pooled, bool), Undetermined> {
        match self.against_trunk(parts, elevation(side)) {
            Ok(pooled) => Ok((pooled, false)),
            Err(undetermined) => match self.raising.combine(parts, elevation_from_vertical(side)) {
                // the trunk moves between the reaches independently of the marks
                Ok(pooled) => Ok((pooled.widened(TRUNK_MOVEMENT_SD_DEG * number(pairs).sqrt(), Purpose::Trunk), true)),
                Err(_) => Err(undetermined),
            },
        }
    }

    /// A combination of elevations from the trunk, where the marks tell how the trunk lies in every reach.
    fn against_trunk(&self, parts: &[Part], quantity: Quantity) -> Result<Pooled, Undetermined> {
        for part in parts {
            self.raising.of_reach(part.reach, Quantity::TrunkLean)?;
        }
        self.raising.combine(parts, quantity)
    }

    fn reach(&self, reach: usize) -> ReachResult {
        let entry = &self.case.reaches[reach];
        let observed = &self.observations.reaches[reach];
        let side = self.side(reach);
        let measured = |quantity: Quantity| self.raising.of_reach(reach, quantity).ok().map(|pooled| pooled.measured());
        let against_trunk = |quantity: Quantity| {
            self.against_trunk(&[Part { factor: 1.0, reach }], quantity).ok().map(|pooled| pooled.measured())
        };
        let of_arm =
            |side: Side| is_arm_seen(observed, side).then(|| against_trunk(Quantity::Elevation(side))).flatten();
        let elbow_flexion = self.elbow_flexion(reach, side);
        let (reference, bar_height_mm, bar_height_arm) = self.bar_height(reach);
        let shown = self.raising.shown(reach);
        let shown_frames: Vec<_> = observed.frames.iter().filter(|frame| frame.raise == shown).collect();
        let angles: Vec<f64> =
            observed.frames.iter().filter_map(|frame| image_angle(observed, frame)).map(|angle| angle.deg()).collect();
        ReachResult {
            occasion: entry.occasion,
            rotation: entry.rotation,
            view: entry.view,
            side,
            file: entry.file.to_string_lossy().into_owned(),
            end_range_time_s: shown_frames.get(shown_frames.len() / 2).map(|frame| frame.time_s),
            raises: self.raising.counts[reach],
            basis: self.raise_basis(&[reach]),
            reference,
            elevation_deg: against_trunk(elevation(side)),
            elevation_left_deg: of_arm(Side::Left),
            elevation_right_deg: of_arm(Side::Right),
            elevation_from_vertical_deg: measured(elevation_from_vertical(side)),
            elbow_flexion_deg: elbow_flexion.as_ref().ok().copied(),
            trunk_lean_deg: measured(Quantity::TrunkLean),
            bar_height_mm,
            bar_height_arm,
            bar_tilt_deg: measured(Quantity::BarTilt),
            grip_width_mm: measured(Quantity::GripWidth),
            image_angle_deg: (!angles.is_empty()).then(|| angles.iter().sum::<f64>() / number(angles.len())),
            checks: self.checks(reach, elbow_flexion),
        }
    }

    fn checks(&self, reach: usize, elbow_flexion: Result<Measured, String>) -> Vec<Check> {
        let evidence = ReachEvidence {
            index: reach,
            entry: &self.case.reaches[reach],
            observed: &self.observations.reaches[reach],
            elbow_flexion,
            limits: &self.case.limits,
        };
        reach_checks(&evidence, &self.raising)
    }

    /// Elbow flexion of the reach's arm; of both arms, the more bent one.
    fn elbow_flexion(&self, reach: usize, side: ResultSide) -> Result<Measured, String> {
        let of = |side: Side| elbow_flexion(&self.raising, reach, side);
        let flexion = match single_side(side) {
            Some(side) => of(side),
            None => match (of(Side::Left), of(Side::Right)) {
                (Ok(left), Ok(right)) => Ok(if left.value > right.value { left } else { right }),
                (Ok(one), Err(_)) | (Err(_), Ok(one)) => Ok(one),
                (Err(undetermined), Err(_)) => Err(undetermined),
            },
        };
        flexion.map_err(|undetermined| undetermined.reason)
    }

    fn bar_height(&self, reach: usize) -> (Option<String>, Option<Measured>, Option<Measured>) {
        let heights = |mm: Quantity, arm: Quantity| {
            let of = |quantity: Quantity| self.raising.of_reach(reach, quantity).ok().map(|pooled| pooled.measured());
            (of(mm), of(arm))
        };
        let above_datum = self
            .has_datum(reach)
            .then(|| heights(Quantity::BarHeightAboveDatum, Quantity::BarHeightAboveDatumArm))
            .filter(|(mm, arm)| mm.is_some() || arm.is_some());
        if let Some((mm, arm)) = above_datum {
            return (Some("datum".to_owned()), mm, arm);
        }
        match heights(Quantity::BarHeightAboveHip, Quantity::BarHeightAboveHipArm) {
            (None, None) => (None, None, None),
            (mm, arm) => (Some("mid_hip".to_owned()), mm, arm),
        }
    }
}

/// The near side in a side view, else the client's affected side.
fn reach_side(near_side: Option<Side>, view: crate::pose::View, affected: ResultSide) -> ResultSide {
    match (view, near_side) {
        (crate::pose::View::Side, Some(side)) => side.into(),
        _ => affected,
    }
}

/// The elevation of a side, or the mean of both.
pub(crate) const fn elevation(side: ResultSide) -> Quantity {
    match single_side(side) {
        Some(side) => Quantity::Elevation(side),
        None => Quantity::ElevationBoth,
    }
}

/// The elevation from the plumb line of a side, or the mean of both.
pub(crate) const fn elevation_from_vertical(side: ResultSide) -> Quantity {
    match single_side(side) {
        Some(side) => Quantity::ElevationFromVertical(side),
        None => Quantity::ElevationFromVerticalBoth,
    }
}
