//! Whole visits with known numbers: calls, checks and retest.

use nalgebra::Vector3;
use proptest::prelude::*;

use super::Visit;
use crate::geometry::elevation::elevation;
use crate::geometry::{BodyPoint, Landmark, Side};
use crate::pose::{MarkResidual, Quantity, Rotation, View};
use crate::screen::case::LimitedBy;
use crate::screen::measure::evaluate;
use crate::screen::result::{
    Call, Check, CheckStatus, Comparison, Occasion, ResultSide, Retest, RetestOutcome, VisitResult,
};
use crate::screen::schema::RESULT_JSON_SCHEMA;

fn result(visit: &Visit) -> VisitResult {
    evaluate(visit.evidence(), &visit.fit)
}

fn before(visit: &Visit) -> Comparison {
    result(visit).comparisons.into_iter().find(|comparison| comparison.occasion == Occasion::Before).unwrap()
}

fn retest(visit: &Visit) -> Retest {
    result(visit).retest.unwrap()
}

fn check<'a>(checks: &'a [Check], name: &str) -> &'a Check {
    checks.iter().find(|check| check.name == name).unwrap()
}

#[test]
fn a_lower_external_reach_that_comes_up_is_positive_then_cleared() {
    let result = result(&Visit::new(View::Side, &[152.0, 144.0, 152.5, 151.0], 0.8));
    assert_eq!(result.comparisons.len(), 2);
    assert_eq!(result.comparisons[0].call, Call::Positive);
    assert_eq!(result.comparisons[0].bar_height_says, Some(Call::Positive));
    assert_eq!(result.comparisons[1].call, Call::Inconclusive);
    let retest = result.retest.unwrap();
    assert_eq!((retest.outcome, retest.cleared), (RetestOutcome::Improved, Some(false)));
    // change of the difference: -1.5 - (-8)
    assert!((retest.change_difference_deg.unwrap().value - 6.5).abs() < 1e-9);

    let retest = super::verdicts::retest(&Visit::new(View::Side, &[152.0, 144.0, 152.5, 153.0], 0.8));
    assert_eq!((retest.outcome, retest.cleared), (RetestOutcome::Improved, Some(true)));
    assert!(retest.reason.contains("cleared"));
}

#[test]
fn swapping_the_reaches_mirrors_the_difference() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    let straight = before(&visit).difference_elevation_deg.unwrap();
    for reach in &mut visit.case.reaches {
        reach.rotation = match reach.rotation {
            Rotation::Internal => Rotation::External,
            Rotation::External => Rotation::Internal,
        };
    }
    let swapped = before(&visit);
    let difference = swapped.difference_elevation_deg.unwrap();
    assert!((straight.value + difference.value).abs() < 1e-12);
    assert!((straight.lo + difference.hi).abs() < 1e-9 && (straight.hi + difference.lo).abs() < 1e-9);
    assert_eq!(swapped.call, Call::Negative);
}

#[test]
fn each_breaking_check_makes_the_pair_not_comparable_and_the_others_do_not() {
    type Spoil = fn(&mut Visit);
    let spoils: [(&str, Spoil, bool); 8] = [
        ("elbow_straight", |visit| visit.fit.set(1, 0, Quantity::ElbowInPlane(Side::Right), 30.0), true),
        ("pain_free", |visit| visit.case.reaches[1].limited_by = Some(LimitedBy::Pain), true),
        ("back_flat", |visit| visit.case.reaches[0].back_flat = Some(false), true),
        ("view_as_stated", |visit| visit.observations.reaches[1].is_mirrored = true, true),
        ("trunk_still", |visit| visit.fit.set(1, 0, Quantity::TrunkLean, 20.0), true),
        ("bar_level", |visit| visit.fit.set(1, 0, Quantity::BarTilt, -12.0), false),
        ("back_flat", |visit| visit.case.reaches[0].back_flat = None, false),
        ("pain_free", |visit| visit.case.reaches[0].pain = Some(4.0), false),
    ];
    for (name, spoil, is_breaking) in spoils {
        let mut visit = Visit::new(View::Side, &[152.0, 144.0, 152.0, 152.0], 0.8);
        spoil(&mut visit);
        let expected = if is_breaking { Call::NotComparable } else { Call::Positive };
        let comparison = before(&visit);
        assert_eq!(comparison.call, expected, "{name}");
        // the number stays in the result: it is the call that is withheld
        assert!(comparison.difference_elevation_deg.is_some(), "{name}");
        // an order to film again, and nothing else, can be left out
        let result = result(&visit);
        let checks = result.reaches.iter().flat_map(|reach| &reach.checks).chain(&comparison.checks);
        for failed in checks.filter(|check| check.status == CheckStatus::Fail) {
            let (text, finding) = (failed.text.to_lowercase(), failed.finding());
            assert!(!finding.to_lowercase().contains("film") && finding.ends_with('.'), "{finding}");
            assert_eq!(text.contains("film again") || text.contains("film both"), finding != failed.text, "{text}");
        }
    }
}

#[test]
fn a_grip_that_differs_breaks_the_pair_unless_it_cannot_be_told() {
    let mut visit = Visit::new(View::Front, &[140.0, 139.5], 1.0);
    visit.case.bar.taped_grips = false;
    visit.observations.bar.has_taped_grips = false;
    visit.fit.set(1, 0, Quantity::GripWidth, 800.0);
    let comparison = before(&visit);
    assert_eq!(check(&comparison.checks, "same_grip").status, CheckStatus::Fail);
    assert_eq!(comparison.call, Call::NotComparable);
    // from the side the far wrist is hidden
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    visit.observations.bar.has_taped_grips = false;
    let comparison = before(&visit);
    assert_eq!(check(&comparison.checks, "same_grip").status, CheckStatus::Unknown);
    assert_eq!(comparison.call, Call::Positive);
}

#[test]
fn from_the_front_the_vertical_stands_in_and_the_trunk_widens_it() {
    let mut visit = Visit::new(View::Front, &[140.0, 139.5, 140.0, 140.0], 0.8);
    visit.fit.forget(Quantity::TrunkLean);
    let result = result(&visit);
    assert!(result.reaches[0].elevation_deg.is_none());
    let comparison = &result.comparisons[0];
    assert!(comparison.basis.contains(&"vertical".to_owned()));
    // 0.8² + 0.8² of the two reaches, and 1.5² of the trunk
    let difference = comparison.difference_elevation_deg.unwrap();
    assert!((difference.u.powi(2) - (2.0 * 0.64 + 2.25)).abs() < 1e-9);
    assert_eq!(check(&comparison.checks, "trunk_still").status, CheckStatus::Unknown);
    // two pairs, four reaches, two movements of the trunk
    let change = result.retest.unwrap().change_difference_deg.unwrap();
    assert!((change.u.powi(2) - (4.0 * 0.64 + 2.0 * 2.25)).abs() < 1e-9);
}

#[test]
fn with_both_sides_affected_each_side_has_a_comparison_of_its_own() {
    let mut visit = Visit::new(View::Front, &[140.0, 139.5], 0.8);
    visit.case.client.affected_side = ResultSide::Both;
    let sides: Vec<ResultSide> = result(&visit).comparisons.iter().map(|comparison| comparison.side).collect();
    assert_eq!(sides, [ResultSide::Both, ResultSide::Left, ResultSide::Right]);
    // from the side only the near arm is compared
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    visit.case.client.affected_side = ResultSide::Both;
    let comparisons = result(&visit).comparisons;
    assert_eq!((comparisons.len(), comparisons[0].side), (1, ResultSide::Right));
}

#[test]
fn the_arm_that_the_camera_saw_is_named_when_it_is_not_the_affected_one() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    visit.case.client.affected_side = ResultSide::Left;
    let comparison = before(&visit);
    assert_eq!(comparison.side, ResultSide::Right);
    assert!(comparison.basis.contains(&"other_side".to_owned()));
    assert!(comparison.reason.contains("the affected side is the left"), "{}", comparison.reason);
}

#[test]
fn one_rotation_alone_is_inconclusive_and_says_what_to_film() {
    let visit = Visit::new(View::Side, &[152.0], 0.8);
    let result = result(&visit);
    assert!(result.retest.is_none());
    assert_eq!(result.comparisons.len(), 1);
    assert_eq!(result.comparisons[0].call, Call::Inconclusive);
    assert!(result.comparisons[0].next_step.contains("externally rotated"), "{}", result.comparisons[0].next_step);
}

#[test]
fn only_before_has_a_call_and_no_retest() {
    let result = result(&Visit::new(View::Side, &[152.0, 144.0], 0.8));
    assert_eq!(result.comparisons[0].call, Call::Positive);
    assert!(result.retest.is_none());
}

#[test]
fn an_external_reach_after_without_its_pair_leaves_cleared_open() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0, 152.0, 152.0], 0.8);
    visit.case.reaches[2].occasion = Occasion::Before;
    visit.case.reaches[2].view = View::Oblique;
    visit.observations.reaches[2].view = View::Oblique;
    let retest = retest(&visit);
    assert_eq!((retest.outcome, retest.cleared), (RetestOutcome::Improved, None));
}

#[test]
fn bar_height_is_blind_near_the_vertical_and_uses_its_own_margin() {
    let comparison = before(&Visit::new(View::Side, &[172.0, 160.0], 0.8));
    assert_eq!((comparison.call, comparison.bar_height_says), (Call::Positive, None));
    assert!(comparison.reason.contains("no say"), "{}", comparison.reason);
    // 610 mm at 150 deg: 10 deg lower is 528 - 467 = 61 mm, far beyond 17 mm but not beyond 100 mm
    let mut visit = Visit::new(View::Side, &[150.0, 140.0], 0.8);
    assert_eq!(before(&visit).bar_height_says, Some(Call::Positive));
    visit.case.call.margin_mm = Some(100.0);
    let comparison = before(&visit);
    assert_eq!(comparison.bar_height_says, Some(Call::Negative));
    assert!(comparison.reason.contains("against the angles"), "{}", comparison.reason);
}

#[test]
fn a_camera_that_moved_takes_only_the_datum_away() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    visit.fit.set(1, 0, Quantity::BarHeightAboveDatum, 0.0);
    for mark in &mut visit.observations.reaches[1].frames[0].marks {
        mark.point.x += 40.0;
    }
    let comparison = before(&visit);
    assert_eq!(check(&comparison.checks, "camera_unmoved").status, CheckStatus::Fail);
    assert_eq!(comparison.call, Call::Positive);
    assert!(comparison.basis.contains(&"bar_height_mid_hip".to_owned()));
    // -610 (cos 144 - cos 152) = 493.5 - 538.6
    assert!((comparison.difference_bar_height_mm.unwrap().value + 45.1).abs() < 0.1);
}

#[test]
fn a_plumb_line_marked_elsewhere_along_itself_has_not_moved() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    for mark in &mut visit.observations.reaches[1].frames[0].marks {
        if matches!(mark.landmark, Landmark::PlumbTop | Landmark::PlumbBottom) {
            mark.point.y -= 15.0;
        }
    }
    assert_eq!(check(&before(&visit).checks, "camera_unmoved").status, CheckStatus::Ok);
}

#[test]
fn another_person_is_noticed_by_proportions_and_a_nearer_camera_is_not() {
    let spoilt = |scale: f64, trunk: f64| {
        let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
        for mark in &mut visit.observations.reaches[1].frames[0].marks {
            mark.point.x = 640.0 + scale * (mark.point.x - 640.0);
            mark.point.y = 360.0 + scale * (mark.point.y - 360.0);
            if mark.landmark == Landmark::Hip(Side::Right) {
                mark.point.y += trunk;
            }
        }
        check(&before(&visit).checks, "same_person_and_bar").status
    };
    assert_eq!(spoilt(1.0, 0.0), CheckStatus::Ok);
    assert_eq!(spoilt(1.2, 0.0), CheckStatus::Ok);
    // a trunk a third longer: 290 px against 220
    assert_eq!(spoilt(1.0, 70.0), CheckStatus::Fail);
}

/// A mark of the second reach that is taken for bad, known to 2 px.
fn doubted(landmark: Landmark, distance_px: f64) -> MarkResidual {
    MarkResidual {
        reach: 1,
        frame: 0,
        mark: 4,
        landmark,
        distance_px,
        u_px: 2.0,
        is_disagreeing: true,
        is_placed: true,
        is_contradicted: false,
        origin: None,
        is_carried_on: false,
    }
}

#[test]
fn a_mark_far_from_the_others_is_named_with_its_distance() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    visit.fit.residuals.push(doubted(Landmark::Elbow(Side::Right), 14.2));
    let result = result(&visit);
    let found = check(&result.reaches[1].checks, "marks_agree");
    assert_eq!(found.status, CheckStatus::Fail);
    assert!(found.text.contains("right elbow is 14 px from where the other marks put it"), "{}", found.text);
    assert_eq!(check(&result.reaches[0].checks, "marks_agree").status, CheckStatus::Ok);
    assert_eq!(result.comparisons[0].call, Call::Positive);
}

#[test]
fn a_mark_that_may_be_bad_in_place_of_another_is_named_as_that() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    let (hip, shoulder) = (Landmark::Hip(Side::Right), Landmark::Shoulder(Side::Right));
    // with the hip out, which is the likeliest, the shoulder lies where the others put it
    visit.fit.residuals.extend([doubted(hip, 29.4), doubted(shoulder, 1.2), doubted(hip, 27.0)]);
    let found = result(&visit);
    let text = &check(&found.reaches[1].checks, "marks_agree").text;
    let said = "The right hip is 29 px from where the other marks put it; or else the right shoulder is the wrong one. It is weighed";
    assert!(text.starts_with(said), "{text}");
}

#[test]
fn a_mark_that_lies_where_the_others_put_it_is_doubted_without_a_distance() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    let doubted = [(Landmark::Elbow(Side::Right), 0.3), (Landmark::Wrist(Side::Right), 1.4)]
        .map(|(landmark, px)| doubted(landmark, px));
    visit.fit.residuals.extend(doubted);
    let found = result(&visit);
    let found = check(&found.reaches[1].checks, "marks_agree");
    assert_eq!(found.status, CheckStatus::Warn);
    let said = "The right wrist and the right elbow may be on another spot than in other reaches";
    assert!(found.text.starts_with(said) && !found.text.contains(" px"), "{}", found.text);
}

#[test]
fn a_mark_to_start_from_that_is_bad_is_named_where_it_was_followed() {
    let of = |reach: usize, is_carried_on: bool| MarkResidual {
        reach,
        is_placed: false,
        is_carried_on,
        // those of each reach come from its own start, and what was carried on from the first's
        origin: Some(if is_carried_on { 0 } else { reach }),
        ..doubted(Landmark::Shoulder(Side::Right), 20.0)
    };
    let said = |residuals: &[MarkResidual]| {
        let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
        visit.fit.residuals.extend(residuals);
        let reaches = result(&visit).reaches;
        [0, 1].map(|reach: usize| check(&reaches[reach].checks, "marks_agree").text.matches("shoulder").count())
    };
    assert_eq!(said(&[of(0, false), of(1, true)]), [1, 0]);
    // the second one's own is off, too: named once
    assert_eq!(said(&[of(1, false), of(1, true)]), [0, 1]);
    // what was carried on is off alone
    assert_eq!(said(&[of(1, true)]), [0, 1]);
}

#[test]
fn a_mark_found_again_beside_one_by_hand_is_named_once_and_where_the_fault_is() {
    let landmark = Landmark::Hip(Side::Right);
    let of = |reach: usize, is_placed: bool, is_disagreeing: bool| MarkResidual {
        is_contradicted: false,
        reach,
        frame: 0,
        mark: 4,
        landmark,
        distance_px: if is_disagreeing { 14.2 } else { 1.0 },
        u_px: 2.0,
        is_disagreeing,
        is_placed,
        origin: (reach == 0 || !is_placed).then_some(7),
        is_carried_on: false,
    };
    let said = |of_origin: bool, by_hand: bool, found_again: bool| {
        let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
        visit.fit.residuals.extend([of(0, true, of_origin), of(1, true, by_hand), of(1, false, found_again)]);
        let reaches = result(&visit).reaches;
        [0, 1].map(|reach: usize| check(&reaches[reach].checks, "marks_agree").text.clone())
    };
    let in_order = "The marks agree with each other.";
    // the mark that others come from is bad: said there, and not again where it was brought to
    let [origin, brought] = said(true, false, true);
    assert!(origin.contains("right hip is 14 px"), "{origin}");
    assert_eq!(brought, in_order);
    // the mark by hand is bad, and so may be the other: said once
    let [_, brought] = said(false, true, true);
    assert_eq!(brought.matches("right hip").count(), 1, "{brought}");
    // what was found is bad alone: said of it
    let [origin, brought] = said(false, false, true);
    assert_eq!(origin, in_order);
    assert!(brought.contains("right hip as found again in this picture is 14 px"), "{brought}");
}

#[test]
fn a_swing_is_told_from_a_hold_where_several_frames_are_marked() {
    let held = |turn_px: f64, apart_s: f64| {
        let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
        let frames = &mut visit.observations.reaches[0].frames;
        let mut later = frames[0].clone();
        later.time_s += apart_s;
        for mark in &mut later.marks {
            if mark.landmark == Landmark::Wrist(Side::Right) {
                mark.point.x += turn_px;
            }
        }
        frames.push(later);
        check(&result(&visit).reaches[0].checks, "held").status
    };
    // the arm is 228 px long, 29 deg off the vertical: 40 px across turn it by some 8 deg; two marks of 1.5 px by 0.7
    assert_eq!(held(0.0, 1.0), CheckStatus::Ok);
    assert_eq!(held(40.0, 1.0), CheckStatus::Fail);
    // too short a time to show a hold
    assert_eq!(held(0.0, 0.1), CheckStatus::Unknown);
}

#[test]
fn an_undetermined_elevation_is_null_with_its_reason_in_the_call() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    visit.fit.forget(Quantity::Elevation(Side::Right));
    visit.fit.forget(Quantity::ElevationFromVertical(Side::Right));
    let comparison = before(&visit);
    assert_eq!(comparison.call, Call::Inconclusive);
    assert!(comparison.difference_elevation_deg.is_none());
    assert!(comparison.reason.contains("not in the made-up fit"), "{}", comparison.reason);
}

#[test]
fn elbow_flexion_is_null_only_when_neither_component_is_seen() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 1.0);
    let of = |visit: &Visit| result(visit).reaches[0].elbow_flexion_deg;
    let both = of(&visit).unwrap();
    // the size of a bend of 4 and 5 deg
    assert!((both.value - 41.0_f64.sqrt()).abs() < 0.3, "{both:?}");
    visit.fit.forget(Quantity::ElbowOutOfPlane(Side::Right));
    let in_plane = of(&visit).unwrap();
    // what is not seen is as in straight arms, which is far less sure
    assert!(in_plane.u > 2.0 * both.u && in_plane.lo >= 0.0, "{in_plane:?}");
    visit.fit.forget(Quantity::ElbowInPlane(Side::Right));
    assert!(of(&visit).is_none());
    let result = result(&visit);
    assert_eq!(check(&result.reaches[0].checks, "elbow_straight").status, CheckStatus::Unknown);
    assert_eq!(result.comparisons[0].call, Call::Positive);
}

#[test]
fn one_recording_given_for_two_reaches_is_no_pair() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0, 152.0, 152.0], 0.8);
    assert_eq!((before(&visit).call, retest(&visit).outcome), (Call::Positive, RetestOutcome::Improved));
    visit.one_recordings = vec![[0, 1]];
    let comparison = before(&visit);
    assert_eq!(check(&comparison.checks, "two_takes").status, CheckStatus::Fail);
    assert_eq!(comparison.call, Call::NotComparable);
    let said = "The internally rotated reach before the stretch and the externally rotated reach before the stretch seem to be one recording";
    assert!(comparison.reason.contains(said), "{}", comparison.reason);
    assert_eq!(retest(&visit).outcome, RetestOutcome::NotComparable, "which rotation was filmed cannot be told");
    let after = result(&visit).comparisons.pop().unwrap();
    assert_eq!((after.occasion, after.call), (Occasion::After, Call::Negative));
    assert!(after.checks.iter().all(|check| check.name != "two_takes"), "{:?}", after.checks);
    let value = serde_json::to_value(result(&visit)).unwrap();
    assert_eq!(super::files::follows(RESULT_JSON_SCHEMA, &value), Vec::<String>::new());
}

#[test]
fn several_raises_are_counted_and_one_is_said_to_be_single() {
    let mut visit = Visit::new(View::Side, &[152.0, 144.0], 0.8);
    let single = result(&visit);
    assert_eq!((single.reaches[0].raises, single.reaches[0].basis.clone()), (1, vec!["single_raise".to_owned()]));
    for reach in 0..2 {
        visit.raise(reach, 1, if reach == 0 { 153.0 } else { 145.5 });
        visit.raise(reach, 2, if reach == 0 { 151.0 } else { 143.0 });
    }
    let several = result(&visit);
    assert_eq!((several.reaches[0].raises, several.reaches[0].basis.len()), (3, 0));
    // the highest raise is shown: the second, at 2 + 4 s
    assert_eq!(several.reaches[0].end_range_time_s, Some(6.0));
}

/// A bar at the height of the eyes in one rotation and of the nose in the other is a positive screen (common practice, no
/// source), on a body of published proportions.
#[test]
fn bar_at_the_eyes_then_at_the_nose_is_positive() {
    // Fractions of stature: Drillis and Contini (1966), as Winter, Biomechanics and Motor Control of Human Movement, Fig.
    // 4.1. Upper arm 0.186 and forearm 0.146; the bar lies half a hand (0.054) past the wrist.
    const STATURE_MM: f64 = 1750.0;
    const SHOULDER: f64 = 0.818;
    const HIP: f64 = 0.530;
    const EYE: f64 = 0.936;
    const CHIN: f64 = 0.870;
    const WRIST: f64 = 0.186 + 0.146;
    const BAR: f64 = WRIST + 0.054;
    // The nose's tip hangs below the outer corner of the eye by 0.3 of the way to the chin: head heights of 119, 153 and 232
    // mm from the top of the head for eye, nose and chin (ANSUR survey of 1988, men; from memory, fair).
    let nose = EYE - (153.0 - 119.0) / (232.0 - 119.0) * (EYE - CHIN);
    let point = |x: f64, y: f64| BodyPoint(STATURE_MM * Vector3::new(x, y, 0.0));
    let elevation_deg = |bar_height: f64| {
        // the straight arm's bar end at that height: up by so much, the rest forward
        let up = bar_height - SHOULDER;
        let forward = (BAR * BAR - up * up).sqrt();
        let wrist = point(forward * WRIST / BAR, SHOULDER + up * WRIST / BAR);
        elevation(point(0.0, SHOULDER), wrist, point(0.0, SHOULDER), point(0.0, HIP)).unwrap().deg()
    };
    let (eyes_deg, nose_deg) = (elevation_deg(EYE), elevation_deg(nose));
    // by hand: acos(-0.118 / 0.386) = 107.80 and acos(-0.09814 / 0.386) = 104.73
    assert!((eyes_deg - 107.80).abs() < 0.01 && (nose_deg - 104.73).abs() < 0.01, "{eyes_deg} {nose_deg}");
    let comparison = before(&Visit::new(View::Side, &[eyes_deg, nose_deg], 0.8));
    assert_eq!(comparison.call, Call::Positive);
    // the other way round, the external reach is the higher one
    assert_eq!(before(&Visit::new(View::Side, &[nose_deg, eyes_deg], 0.8)).call, Call::Negative);
}

proptest! {
    // each case simulates four elbows
    #![proptest_config(ProptestConfig::with_cases(48))]
    #[test]
    fn widening_the_measurement_never_makes_a_firm_call(
        internal in 100.0..175.0_f64, difference in -15.0..15.0_f64, u in 0.1..2.0_f64, more in 0.0..3.0_f64,
    ) {
        let call = |u: f64| before(&Visit::new(View::Side, &[internal, internal + difference], u)).call;
        let (narrow, wide) = (call(u), call(u + more));
        prop_assert!(wide == narrow || wide == Call::Inconclusive);
    }
}
