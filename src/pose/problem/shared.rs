//! The errors that marks share, each two parameters of its own: that of the mark which a person placed, and that of having been followed.

use nalgebra::Matrix2;

use super::super::observation::{Mark, ReachObservations, View};
use super::super::priors::Prior;
use super::{FINEST_MARK_SD_PX, MarkProblem, Problem, unmirrored};
use crate::geometry::Landmark;

/// By how much the standard deviation of the error of a mark from which others come is widened where that mark is set aside: it is then
/// some 60 px, within which its frames still tell it.
const ORIGIN_ASIDE_FACTOR: f64 = 40.0;

/// Which marks share an error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct ErrorName {
    /// The origin that they go back to.
    origin: Option<usize>,
    /// For the error of following, the reach that they were followed in; `None` for that of the origin itself.
    followed_in: Option<usize>,
    landmark: Landmark,
}

impl Problem {
    /// A mark of a reach with the errors that it shares; those that have parameters so far are in `errors`.
    pub(super) fn mark(
        &mut self,
        reach: usize,
        observed: &ReachObservations,
        index: usize,
        mark: &Mark,
        errors: &mut Vec<(ErrorName, usize)>,
    ) -> MarkProblem {
        let (point, covariance_px2) = unmirrored(observed, mark.point, mark.covariance_px2);
        let origin = mark.shared.map(|shared| shared.origin);
        let of_origin = mark.shared.map(|shared| {
            let name = ErrorName { origin, followed_in: None, landmark: mark.landmark };
            self.shared_error(name, &shared.covariance_px2, errors)
        });
        let of_following = mark.drift_px2.map(|covariance| {
            let name = ErrorName { origin, followed_in: Some(reach), landmark: mark.landmark };
            self.shared_error(name, &covariance, errors)
        });
        let of_straying = mark.strayed.map(|strayed| {
            let name = ErrorName { origin, followed_in: Some(strayed.reach), landmark: mark.landmark };
            self.shared_error(name, &strayed.covariance_px2, errors)
        });
        let shared = [of_origin, of_following, of_straying];
        let is_of_far_arm = observed.view == View::Side
            && matches!(mark.landmark, Landmark::Elbow(side) | Landmark::Wrist(side) | Landmark::Shoulder(side)
                if observed.near_side.is_some_and(|near| near != side));
        MarkProblem {
            index,
            landmark: mark.landmark,
            point,
            covariance_px2,
            shared,
            is_set_aside: false,
            is_of_far_arm,
        }
    }

    /// The first of the two parameters of an error that marks share. Where they state its spread differently, the widest counts.
    fn shared_error(
        &mut self,
        name: ErrorName,
        covariance_px2: &Matrix2<f64>,
        errors: &mut Vec<(ErrorName, usize)>,
    ) -> usize {
        // The axes of a shared error are taken as independent: marking error is nearly round.
        let sd = |axis: usize| covariance_px2[(axis, axis)].sqrt().max(FINEST_MARK_SD_PX);
        if let Some((_, start)) = errors.iter().find(|(known, _)| *known == name) {
            let start = *start;
            for prior in self.priors.iter_mut().filter(|prior| (start..start + 2).contains(&prior.index)) {
                prior.sd = prior.sd.max(sd(prior.index - start));
            }
            return start;
        }
        let start = self.take(2);
        for axis in 0..2 {
            self.add_prior(start + axis, Prior { mean: 0.0, sd: sd(axis) }, 1.0);
            if let Some(prior) = self.priors.last_mut() {
                prior.aside_factor = ORIGIN_ASIDE_FACTOR;
                prior.is_of_mark = true;
            }
        }
        errors.push((name, start));
        start
    }
}
