//! Takes numbers that are not finite out of a result: in print, as in the result file, they are null.

use crate::screen::{Comparison, ReachResult, Retest, VisitResult};
use crate::uncertainty::Measured;

/// The result with every quantity null whose estimate, uncertainty or interval is not finite.
pub(crate) fn finite_only(result: &VisitResult) -> VisitResult {
    let mut result = result.clone();
    result.reaches.iter_mut().for_each(clean_reach);
    result.comparisons.iter_mut().for_each(clean_comparison);
    result.retest.iter_mut().for_each(clean_retest);
    if let Some(simulated) = &mut result.monte_carlo {
        simulated.intervals.retain(|of| is_finite(&of.first_order) && is_finite(&of.simulated));
    }
    result
}

fn clean_reach(reach: &mut ReachResult) {
    for quantity in [
        &mut reach.elevation_deg,
        &mut reach.elevation_left_deg,
        &mut reach.elevation_right_deg,
        &mut reach.elevation_from_vertical_deg,
        &mut reach.elbow_flexion_deg,
        &mut reach.trunk_lean_deg,
        &mut reach.bar_height_mm,
        &mut reach.bar_height_arm,
        &mut reach.bar_tilt_deg,
        &mut reach.grip_width_mm,
    ] {
        clean(quantity);
    }
    reach.image_angle_deg = reach.image_angle_deg.filter(|deg| deg.is_finite());
    reach.end_range_time_s = reach.end_range_time_s.filter(|time_s| time_s.is_finite());
}

fn clean_comparison(comparison: &mut Comparison) {
    clean(&mut comparison.difference_elevation_deg);
    clean(&mut comparison.difference_bar_height_mm);
    clean(&mut comparison.difference_bar_height_arm);
}

fn clean_retest(retest: &mut Retest) {
    clean(&mut retest.change_elevation_deg);
    clean(&mut retest.change_bar_height_mm);
    clean(&mut retest.change_difference_deg);
}

fn clean(quantity: &mut Option<Measured>) {
    *quantity = quantity.filter(is_finite);
}

fn is_finite(measured: &Measured) -> bool {
    [measured.value, measured.u, measured.lo, measured.hi].into_iter().all(f64::is_finite)
}
