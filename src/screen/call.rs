//! The rules of the call and of the retest, as pure functions of a difference and its interval.
//!
//! Difference is external minus internal, change is after minus before; the margin is common practice without source.

use crate::geometry::Angle;
use crate::uncertainty::Measured;

use super::result::{Call, RetestOutcome};

/// Beyond this elevation from the plumb line, bar height hardly changes with the angle and says nothing, deg. Common
/// practice, no source; for an arm of 610 mm the margin of 3 deg is 9 mm there.
pub const BAR_HEIGHT_BLIND_DEG: f64 = 165.0;

/// The call for a difference that can be compared. `margin` is positive, in the difference's unit.
#[must_use]
pub fn call(difference: &Measured, margin: f64) -> Call {
    if difference.hi < 0.0 && difference.value <= -margin {
        Call::Positive
    } else if difference.lo >= -margin {
        Call::Negative
    } else {
        Call::Inconclusive
    }
}

/// The outcome for a change of the external reach that can be compared. `margin` is positive, in the change's unit.
#[must_use]
pub fn retest_outcome(change: &Measured, margin: f64) -> RetestOutcome {
    if change.lo > 0.0 && change.value >= margin {
        RetestOutcome::Improved
    } else if change.hi < 0.0 && change.value <= -margin {
        RetestOutcome::Worse
    } else if change.lo > -margin && change.hi < margin {
        RetestOutcome::Unchanged
    } else {
        RetestOutcome::Inconclusive
    }
}

/// What the margin of the elevation does to the bar's height at an elevation from the plumb line, in arm lengths:
/// |h(e) - h(e - m)| with h(e) = -cos e.
#[must_use]
pub fn bar_height_margin_arm(from_vertical: Angle, margin: Angle) -> f64 {
    let height = |elevation: Angle| -elevation.rad().cos();
    (height(from_vertical) - height(from_vertical - margin)).abs()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const MARGIN: f64 = 3.0;

    fn measured(value: f64, u: f64) -> Measured {
        Measured::from_u(value, u, f64::INFINITY)
    }

    fn mirrored(measured: &Measured) -> Measured {
        Measured { value: -measured.value, u: measured.u, lo: -measured.hi, hi: -measured.lo }
    }

    #[test]
    fn the_rules_hold_at_their_edges() {
        let exact = |value: f64, lo: f64, hi: f64| Measured { value, u: 0.5 * (hi - lo), lo, hi };
        assert_eq!(call(&exact(-7.0, -9.0, -5.0), MARGIN), Call::Positive);
        // lower by the margin, and surely lower at all
        assert_eq!(call(&exact(-3.0, -5.9, -0.1), MARGIN), Call::Positive);
        assert_eq!(call(&exact(-3.0, -6.0, 0.0), MARGIN), Call::Inconclusive);
        // surely lower, but by less than the margin
        assert_eq!(call(&exact(-2.0, -3.5, -0.5), MARGIN), Call::Inconclusive);
        assert_eq!(call(&exact(-2.0, -3.0, -1.0), MARGIN), Call::Negative);
        assert_eq!(call(&exact(5.0, 2.0, 8.0), MARGIN), Call::Negative);
    }

    #[test]
    fn retest_rules_hold_at_their_edges() {
        let exact = |value: f64, lo: f64, hi: f64| Measured { value, u: 0.5 * (hi - lo), lo, hi };
        assert_eq!(retest_outcome(&exact(3.0, 0.1, 5.9), MARGIN), RetestOutcome::Improved);
        assert_eq!(retest_outcome(&exact(3.0, 0.0, 6.0), MARGIN), RetestOutcome::Inconclusive);
        assert_eq!(retest_outcome(&exact(-4.0, -7.0, -1.0), MARGIN), RetestOutcome::Worse);
        assert_eq!(retest_outcome(&exact(0.5, -2.0, 2.9), MARGIN), RetestOutcome::Unchanged);
        assert_eq!(retest_outcome(&exact(0.5, -2.0, 3.0), MARGIN), RetestOutcome::Inconclusive);
    }

    #[test]
    fn bar_height_margin_follows_the_elevation() {
        // For an arm of 610 mm, by hand: cos 97 = -0.121869, cos 100 = -0.173648, difference 0.051779 -> 31.6 mm;
        // cos 147 = -0.838671, cos 150 = -0.866025 -> 16.7 mm; cos 167 = -0.974370, cos 170 = -0.984808 -> 6.4 mm.
        for (elevation_deg, expected_mm) in [(100.0, 31.6), (150.0, 16.7), (170.0, 6.4)] {
            let margin = bar_height_margin_arm(Angle::from_deg(elevation_deg), Angle::from_deg(MARGIN));
            assert!((610.0 * margin - expected_mm).abs() < 0.05, "{elevation_deg}");
        }
    }

    proptest! {
        #[test]
        fn widening_never_makes_a_firm_call(value in -30.0..30.0_f64, u in 0.0..5.0_f64, more in 0.0..5.0_f64) {
            let narrow = call(&measured(value, u), MARGIN);
            let wide = call(&measured(value, u + more), MARGIN);
            prop_assert!(wide == narrow || wide == Call::Inconclusive);
        }

        #[test]
        fn positive_turns_negative_when_the_reaches_are_swapped(value in -30.0..30.0_f64, u in 0.0..5.0_f64) {
            let difference = measured(value, u);
            if call(&difference, MARGIN) == Call::Positive {
                prop_assert_eq!(call(&mirrored(&difference), MARGIN), Call::Negative);
            }
        }

        #[test]
        fn a_lower_external_reach_is_never_called_more_kindly(value in -30.0..30.0_f64, u in 0.0..5.0_f64, drop in 0.0..20.0_f64) {
            let severity = |difference: &Measured| match call(difference, MARGIN) {
                Call::Negative => 0,
                Call::Inconclusive | Call::NotComparable => 1,
                Call::Positive => 2,
            };
            prop_assert!(severity(&measured(value - drop, u)) >= severity(&measured(value, u)));
        }

        #[test]
        fn worse_mirrors_improved(value in -30.0..30.0_f64, u in 0.0..5.0_f64) {
            let change = measured(value, u);
            let mirror = match retest_outcome(&change, MARGIN) {
                RetestOutcome::Improved => RetestOutcome::Worse,
                RetestOutcome::Worse => RetestOutcome::Improved,
                same => same,
            };
            prop_assert_eq!(retest_outcome(&mirrored(&change), MARGIN), mirror);
        }
    }
}
