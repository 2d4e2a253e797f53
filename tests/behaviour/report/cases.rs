//! Invented results and stills to render reports from. No number here was measured on anybody.

use image::{Rgb, RgbImage};
use imageproc::drawing::{draw_filled_circle_mut, draw_filled_rect_mut, draw_polygon_mut};
use imageproc::point::Point;
use imageproc::rect::Rect;
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::pose::{Overlay, Rotation, View};
use tworeach::report::{CaseFacts, ReportInput, StillInput};
use tworeach::screen::{
    Call, Check, CheckStatus, Comparison, MonteCarlo, Occasion, ReachResult, ResultSide, Retest, RetestOutcome,
    SimulatedInterval, UsedInterval, VisitResult,
};
use tworeach::uncertainty::Measured;

/// An invented visit with everything a report needs.
#[derive(Debug, Clone)]
pub struct Invented {
    pub name: &'static str,
    pub result: VisitResult,
    pub case: CaseFacts,
    pub stills: Vec<StillInput>,
    pub warnings: Vec<String>,
}

impl Invented {
    pub fn input(&self) -> ReportInput<'_> {
        ReportInput {
            result: &self.result,
            case: self.case.clone(),
            danger: None,
            courses: Vec::new(),
            case_course: None,
            found_bars: 0,
            carried_marks: 0,
            stills: self.stills.clone(),
            warnings: self.warnings.clone(),
        }
    }
}

/// Every case that a report has to cope with.
pub fn all() -> Vec<Invented> {
    vec![
        full(),
        no_retest(),
        rotation_missing(),
        not_comparable(),
        six_failing(),
        left_sided(),
        both_sides(),
        portrait(),
        long_code(),
        nulls(),
        two_views(),
        simulated(),
        empty(),
    ]
}

pub fn measured(value: f64, u: f64) -> Measured {
    Measured { value, u, lo: value - 1.96 * u, hi: value + 1.96 * u }
}

/// A side view, positive before and cleared after.
pub fn full() -> Invented {
    let elevations = [152.4, 141.1, 153.0, 150.6];
    Invented {
        name: "full",
        result: VisitResult {
            schema: "tworeach/result/1".to_owned(),
            tool_version: "0.1.0".to_owned(),
            reaches: reaches(elevations, View::Side, Side::Right),
            comparisons: vec![
                comparison(Occasion::Before, ResultSide::Right, -11.3, Call::Positive),
                comparison(Occasion::After, ResultSide::Right, -2.4, Call::Negative),
            ],
            retest: Some(retest(9.5, 8.9)),
            compared_pictures: None,
            monte_carlo: None,
        },
        case: facts(),
        stills: stills(elevations, [1280, 720], Side::Right),
        warnings: Vec::new(),
    }
}

pub fn facts() -> CaseFacts {
    CaseFacts {
        client_code: "R07".to_owned(),
        date: Some("24 November 2026".to_owned()),
        affected_side: ResultSide::Right,
        stature_mm: Some(1760.0),
        arm_length_mm: Some(610.0),
        bar_length_mm: Some(1200.0),
        has_taped_grips: true,
        margin_deg: 3.0,
        margin_mm: None,
        changed_limits: Vec::new(),
    }
}

pub fn no_retest() -> Invented {
    let mut invented = full();
    invented.name = "no-retest";
    invented.result.reaches.truncate(2);
    invented.result.comparisons.truncate(1);
    invented.result.retest = None;
    invented.stills.truncate(2);
    invented
}

fn rotation_missing() -> Invented {
    let mut invented = no_retest();
    invented.name = "rotation-missing";
    invented.result.reaches.truncate(1);
    invented.result.comparisons.clear();
    invented.stills.truncate(1);
    invented
}

pub fn not_comparable() -> Invented {
    let mut invented = full();
    invented.name = "not-comparable";
    let after = &mut invented.result.comparisons[1];
    after.call = Call::NotComparable;
    after.bar_height_says = None;
    after.reason = "The grip was 11.8 % wider in the external reach.".to_owned();
    after.next_step = "Tape the grip and film both reaches again.".to_owned();
    fail(&mut after.checks, "same_grip", Some((11.8, 0.9)), "The grip was 11.8 % wider in the external reach.");
    let retest = invented.result.retest.as_mut().unwrap();
    retest.outcome = RetestOutcome::NotComparable;
    retest.cleared = None;
    retest.reason = "The pair after the stretch cannot be compared.".to_owned();
    fail(&mut retest.checks, "same_grip", Some((11.8, 0.9)), "The grip was 11.8 % wider after the stretch.");
    invented
}

pub fn six_failing() -> Invented {
    let mut invented = full();
    invented.name = "six-failing";
    let long = "It was found in every one of the frames that were marked, and it stays when the marks of the second rater \
                are taken instead of those of the first, so that it is unlikely to be an error of marking";
    let reach = &mut invented.result.reaches[1];
    fail(
        &mut reach.checks,
        "elbow_straight",
        Some((27.4, 2.1)),
        &format!("The right elbow was bent by 27.4 deg. {long}."),
    );
    fail(&mut reach.checks, "pain_free", None, &format!("Pain of 7 out of 10 ended the reach. {long}."));
    fail(&mut reach.checks, "back_flat", None, &format!("The low back was lifted off the wall. {long}."));
    fail(
        &mut reach.checks,
        "marks_agree",
        Some((14.2, 1.9)),
        &format!("right elbow is 14 px from where the other marks put it. {long}."),
    );
    let pair = &mut invented.result.comparisons[0];
    fail(
        &mut pair.checks,
        "same_grip",
        Some((14.2, 1.0)),
        &format!("The grip was 14.2 % wider in the external reach. {long}."),
    );
    fail(
        &mut pair.checks,
        "trunk_still",
        Some((12.6, 0.8)),
        &format!("The trunk leaned 12.6 deg further back in the external reach. {long}."),
    );
    pair.call = Call::NotComparable;
    pair.reason = format!("Six checks fail: elbow, pain, back, marks, grip and trunk. {long}.");
    pair.next_step =
        "Have the shoulder examined before anything else, then film both reaches again with straight elbows, a taped \
         grip and the low back against the wall."
            .to_owned();
    let retest = invented.result.retest.as_mut().unwrap();
    retest.outcome = RetestOutcome::NotComparable;
    retest.cleared = None;
    retest.reason = "The pair before the stretch cannot be compared.".to_owned();
    let misplaced = invented.stills[1].overlay.marks[1];
    let expected = ImagePoint::new(misplaced.1.x + 38.0, misplaced.1.y + 14.0);
    invented.stills[1].overlay.disagreeing = vec![(misplaced.0, misplaced.1, expected)];
    invented.warnings = vec![
        "before-external.mp4 is damaged after 3.20 s; the frames before that were used.".to_owned(),
        "No lens profile: the lens of a usual phone was assumed, which widens the intervals.".to_owned(),
    ];
    invented.case.changed_limits = vec![("elbow_straight".to_owned(), 20.0), ("trunk_still".to_owned(), 6.5)];
    invented
}

fn left_sided() -> Invented {
    let elevations = [158.2, 157.9, 158.4, 159.0];
    let mut invented = full();
    invented.name = "left-sided";
    invented.result.reaches = reaches(elevations, View::Side, Side::Left);
    invented.result.comparisons = vec![
        comparison(Occasion::Before, ResultSide::Left, -0.3, Call::Negative),
        comparison(Occasion::After, ResultSide::Left, 0.6, Call::Negative),
    ];
    let mut retest = retest(0.9, 1.1);
    retest.outcome = RetestOutcome::Unchanged;
    retest.cleared = None;
    retest.reason = "The whole interval lies within the margin.".to_owned();
    invented.result.retest = Some(retest);
    invented.case.affected_side = ResultSide::Left;
    invented.stills = stills(elevations, [1920, 1080], Side::Left);
    invented
}

pub fn both_sides() -> Invented {
    let elevations = [160.5, 154.0, 161.1, 158.9];
    let mut invented = full();
    invented.name = "both-sides";
    invented.case.affected_side = ResultSide::Both;
    invented.case.margin_mm = Some(25.0);
    invented.result.reaches = reaches(elevations, View::Front, Side::Right);
    for reach in &mut invented.result.reaches {
        reach.side = ResultSide::Both;
        let elevation = reach.elevation_from_vertical_deg.unwrap();
        reach.elevation_deg = None;
        reach.trunk_lean_deg = None;
        reach.elevation_left_deg = Some(measured(elevation.value + 2.1, 1.9));
        reach.elevation_right_deg = Some(measured(elevation.value - 2.1, 1.8));
        reach.bar_tilt_deg = Some(measured(-1.2, 0.4));
        reach.grip_width_mm = Some(measured(812.0, 6.0));
    }
    invented.result.comparisons = [Occasion::Before, Occasion::After]
        .into_iter()
        .flat_map(|occasion| {
            let difference = if occasion == Occasion::Before { -6.5 } else { -2.2 };
            [(ResultSide::Both, 0.0), (ResultSide::Left, 1.4), (ResultSide::Right, -1.4)].map(|(side, shift)| {
                let call = if occasion == Occasion::Before { Call::Positive } else { Call::Inconclusive };
                let mut pair = comparison(occasion, side, difference + shift, call);
                pair.basis.push("vertical".to_owned());
                pair.bar_height_says = Some(Call::Inconclusive);
                pair
            })
        })
        .collect();
    let retest = invented.result.retest.as_mut().unwrap();
    retest.outcome = RetestOutcome::Inconclusive;
    retest.cleared = Some(false);
    retest.change_elevation_deg = Some(measured(4.9, 1.8));
    retest.change_bar_height_mm = Some(measured(19.0, 11.0));
    retest.change_difference_deg = Some(measured(4.3, 2.2));
    retest.reason = "The change may be smaller than the margin.".to_owned();
    invented.stills = stills(elevations, [1280, 960], Side::Right);
    for still in &mut invented.stills {
        still.overlay.arc.clear();
    }
    invented
}

fn portrait() -> Invented {
    let elevations = [152.4, 141.1, 153.0, 150.6];
    let mut invented = full();
    invented.name = "portrait";
    invented.stills = stills(elevations, [1080, 1920], Side::Right);
    invented
}

fn long_code() -> Invented {
    let mut invented = full();
    invented.name = "long-code";
    invented.case.client_code =
        "STUDY-2026-NORTH-CLINIC-SHOULDER-ARM-COHORT-B-PARTICIPANT-00017-VISIT-0003-ØÅ Ж漢".to_owned();
    invented.case.date = Some("Tuesday, the 24th of November 2026, second visit of the afternoon".to_owned());
    for reach in &mut invented.result.reaches {
        reach.file = "very long folder name/another one/before-internal <of> R07 & co.mp4".to_owned();
    }
    invented
}

/// Marks that determine nothing.
pub fn nulls() -> Invented {
    let mut invented = full();
    invented.name = "nulls";
    for reach in &mut invented.result.reaches {
        reach.elevation_deg = None;
        reach.elevation_left_deg = None;
        reach.elevation_right_deg = None;
        reach.elevation_from_vertical_deg = None;
        reach.elbow_flexion_deg = None;
        reach.trunk_lean_deg = None;
        reach.bar_height_mm = None;
        reach.bar_height_arm = None;
        reach.reference = None;
        reach.image_angle_deg = None;
        reach.end_range_time_s = None;
        reach.checks = vec![unknown("elbow_straight", "The elbow is not marked.")];
    }
    for pair in &mut invented.result.comparisons {
        pair.difference_elevation_deg = None;
        pair.difference_bar_height_mm = None;
        pair.difference_bar_height_arm = None;
        pair.call = Call::Inconclusive;
        pair.bar_height_says = None;
        pair.reason = "The marks do not determine the elevation of either reach.".to_owned();
        pair.next_step = "Mark shoulder, wrist, hip and the plumb line.".to_owned();
        pair.checks.clear();
    }
    invented.result.retest = Some(Retest {
        change_elevation_deg: None,
        change_bar_height_mm: None,
        change_difference_deg: None,
        checks: Vec::new(),
        outcome: RetestOutcome::Inconclusive,
        cleared: None,
        reason: "There is nothing to compare.".to_owned(),
    });
    invented.stills.clear();
    invented
}

/// Every reach filmed from the side and from the front.
pub fn two_views() -> Invented {
    let elevations = [152.4, 141.1, 153.0, 150.6];
    let mut invented = full();
    invented.name = "two-views";
    let front = both_sides();
    let count = invented.result.reaches.len();
    invented.result.reaches.extend(front.result.reaches);
    invented.stills = stills(elevations, [720, 1280], Side::Right);
    invented.stills.extend(front.stills.into_iter().map(|still| StillInput { reach: still.reach + count, ..still }));
    invented
}

/// With intervals by simulation, one of which is stated.
fn simulated() -> Invented {
    let mut invented = full();
    let interval = |quantity: &str, first_order: Measured, used| SimulatedInterval {
        quantity: quantity.to_owned(),
        first_order,
        simulated: Measured { lo: first_order.lo - 0.4 * first_order.u, ..first_order },
        used,
        reason: (used == UsedInterval::Simulated).then(|| "They differ, and not by chance.".to_owned()),
    };
    let result = &invented.result;
    let intervals = vec![
        interval("/reaches/0/elevation_deg", result.reaches[0].elevation_deg.unwrap(), UsedInterval::FirstOrder),
        interval("/reaches/1/elevation_deg", result.reaches[1].elevation_deg.unwrap(), UsedInterval::FirstOrder),
        interval("/reaches/1/bar_height_mm", result.reaches[1].bar_height_mm.unwrap(), UsedInterval::Simulated),
        interval("/reaches/1/bar_height_arm", result.reaches[1].bar_height_arm.unwrap(), UsedInterval::Simulated),
        interval(
            "/comparisons/0/difference_elevation_deg",
            result.comparisons[0].difference_elevation_deg.unwrap(),
            UsedInterval::FirstOrder,
        ),
        interval(
            "/retest/change_elevation_deg",
            result.retest.as_ref().unwrap().change_elevation_deg.unwrap(),
            UsedInterval::FirstOrder,
        ),
    ];
    invented.result.monte_carlo = Some(MonteCarlo { draws: 5000, seed: 7, unsettled: 0, note: None, intervals });
    Invented { name: "simulated", ..invented }
}

/// A result with nothing in it.
fn empty() -> Invented {
    let mut invented = nulls();
    invented.name = "empty";
    invented.result.reaches.clear();
    invented.result.comparisons.clear();
    invented.result.retest = None;
    invented.case.date = None;
    invented.case.client_code = String::new();
    invented
}

const SLOTS: [(Occasion, Rotation); 4] = [
    (Occasion::Before, Rotation::Internal),
    (Occasion::Before, Rotation::External),
    (Occasion::After, Rotation::Internal),
    (Occasion::After, Rotation::External),
];

fn reaches(elevations: [f64; 4], view: View, side: Side) -> Vec<ReachResult> {
    SLOTS
        .iter()
        .zip(elevations)
        .map(|(&(occasion, rotation), elevation)| {
            let own = measured(elevation, 0.9);
            let vertical = elevation + 4.2;
            ReachResult {
                occasion,
                rotation,
                view,
                side: side.into(),
                file: "reach.mp4".to_owned(),
                end_range_time_s: Some(2.4),
                raises: 1,
                basis: vec!["single_raise".to_owned()],
                reference: Some("datum".to_owned()),
                elevation_deg: Some(own),
                elevation_left_deg: (side == Side::Left).then_some(own),
                elevation_right_deg: (side == Side::Right).then_some(own),
                elevation_from_vertical_deg: Some(measured(vertical, 0.8)),
                elbow_flexion_deg: Some(Measured { value: 6.1, u: 2.2, lo: 1.9, hi: 10.5 }),
                trunk_lean_deg: Some(measured(4.2, 0.7)),
                bar_height_mm: Some(measured(300.0 - 610.0 * vertical.to_radians().cos(), 14.0)),
                bar_height_arm: Some(measured(0.49 - vertical.to_radians().cos(), 0.02)),
                bar_tilt_deg: None,
                grip_width_mm: None,
                image_angle_deg: Some(elevation + 1.3),
                checks: reach_checks(),
            }
        })
        .collect()
}

fn reach_checks() -> Vec<Check> {
    vec![
        ok("elbow_straight", Some((6.1, 2.2, 15.0)), "The elbow is straight."),
        unknown("bar_level", "Tilt not determined: the bar is seen end on."),
        ok("view_as_stated", None, "The person faces the picture's right."),
        ok("marks_agree", None, "All marks agree."),
        ok("pain_free", None, "No pain was reported."),
        unknown(
            "back_flat",
            "Nobody confirmed that low back and ribs stayed flat: watch for it, and note back_flat in the case.",
        ),
        Check { limit: Some(3.0), ..unknown("held", "One marked frame does not show whether the reach was held.") },
    ]
}

fn comparison(occasion: Occasion, side: ResultSide, difference: f64, call: Call) -> Comparison {
    let reason = match call {
        Call::Positive => format!(
            "The externally rotated reach is {:.1} deg lower than the internally rotated one (difference −13.8 to −8.8 deg, \
             with 95 % confidence). That is beyond the margin of 3.0 deg. Bar height says the same (positive).",
            -difference
        ),
        Call::Negative => format!(
            "The externally rotated reach is {:.1} deg lower than the internally rotated one (difference −4.9 to 0.1 deg, \
             with 95 % confidence). It is not lower by more than the margin of 3.0 deg. Bar height says the same (negative).",
            -difference
        ),
        _ => "The externally rotated reach is lower than the internally rotated one. The interval leaves open whether that \
              is beyond the margin of 3.0 deg. Bar height alone says inconclusive."
            .to_owned(),
    };
    let next_step = match call {
        Call::Positive => {
            "The screen is failed: after the stretch, film the same two reaches again from the same place."
        }
        Call::Negative => "The screen is passed now: see at the next visit whether that lasts.",
        _ => {
            "To settle it: film both reaches again from the side; film three raises of each rotation; mark the same frames \
             again, or carry the marks from one reach to the other."
        }
    };
    Comparison {
        occasion,
        side,
        basis: Vec::new(),
        difference_elevation_deg: Some(measured(difference, 1.3)),
        difference_bar_height_mm: Some(measured(difference * 4.8, 9.0)),
        difference_bar_height_arm: Some(measured(difference * 0.0079, 0.015)),
        checks: vec![
            ok("same_grip", Some((1.1, 0.6, 8.0)), "The grip is the same."),
            ok("trunk_still", Some((2.3, 0.9, 8.0)), "The trunk stayed in place."),
            ok("camera_unmoved", None, "The camera stood still."),
            ok("same_person_and_bar", None, "The segments are as long in both."),
        ],
        call,
        bar_height_says: Some(call),
        reason,
        next_step: next_step.to_owned(),
    }
}

fn retest(external: f64, difference: f64) -> Retest {
    Retest {
        change_elevation_deg: Some(measured(external, 1.2)),
        change_bar_height_mm: Some(measured(external * 4.6, 9.5)),
        change_difference_deg: Some(measured(difference, 1.8)),
        checks: vec![
            ok("same_grip", Some((0.8, 0.6, 8.0)), "The grip is the same."),
            ok("trunk_still", Some((1.2, 0.9, 8.0)), "The trunk stayed in place."),
            ok("camera_unmoved", None, "The camera stood still."),
            ok("same_person_and_bar", None, "The segments are as long in both."),
        ],
        outcome: RetestOutcome::Improved,
        cleared: Some(true),
        reason: "After the stretch the externally rotated reach is 9.5 deg higher (change 7.1 to 11.9 deg, with 95 % \
                 confidence). That is the margin of 3.0 deg or more. The screen was positive before and is negative now: \
                 cleared."
            .to_owned(),
    }
}

fn ok(name: &str, value: Option<(f64, f64, f64)>, text: &str) -> Check {
    Check {
        name: name.to_owned(),
        status: CheckStatus::Ok,
        value: value.map(|(value, _, _)| value),
        u: value.map(|(_, u, _)| u),
        limit: value.map(|(_, _, limit)| limit),
        text: text.to_owned(),
    }
}

fn unknown(name: &str, text: &str) -> Check {
    Check { status: CheckStatus::Unknown, ..ok(name, None, text) }
}

fn fail(checks: &mut [Check], name: &str, value: Option<(f64, f64)>, text: &str) {
    let check = checks.iter_mut().find(|check| check.name == name).unwrap();
    check.status = CheckStatus::Fail;
    check.value = value.map(|(value, _)| value);
    check.u = value.map(|(_, u)| u);
    check.text = text.to_owned();
}

fn stills(elevations: [f64; 4], size: [u32; 2], side: Side) -> Vec<StillInput> {
    elevations.iter().enumerate().map(|(reach, &deg)| still(reach, deg, size, side)).collect()
}

/// A plain figure before a wall, its arm raised to `deg`; it faces the picture's right for the right side.
fn still(reach: usize, deg: f64, [columns, rows]: [u32; 2], side: Side) -> StillInput {
    let scale = f64::from(columns.min(rows)) / 720.0;
    let forward = side.sign();
    let center = ImagePoint::new(f64::from(columns) * 0.5 - 40.0 * scale * forward, f64::from(rows) * 0.56);
    let at = |x: f64, y: f64| ImagePoint::new(center.x + forward * x * scale, center.y + y * scale);
    let lean = 4.2_f64.to_radians();
    let (shoulder, hip) = (at(0.0, 0.0), at(190.0 * lean.sin(), 190.0 * lean.cos()));
    let arm = |length: f64| {
        let from_vertical = deg.to_radians() + lean;
        at(length * from_vertical.sin(), length * from_vertical.cos())
    };
    let (elbow, wrist, bar) = (arm(118.0), arm(222.0), arm(236.0));
    let mut image = RgbImage::from_fn(columns, rows, |x, y| {
        let shade = 196.0 - 40.0 * f64::from(y) / f64::from(rows) + 8.0 * (f64::from(x) / 37.0).sin();
        Rgb([shade, shade * 0.97, shade * 0.92].map(|channel| channel.round() as u8))
    });
    let wall = (shoulder.x - forward * 46.0 * scale).round() as i32;
    let (from, to) = if forward > 0.0 { (0, wall) } else { (wall, columns as i32) };
    if to > from {
        draw_filled_rect_mut(&mut image, Rect::at(from, 0).of_size((to - from) as u32, rows), Rgb([139, 151, 158]));
    }
    let limb = |image: &mut RgbImage, a: ImagePoint, b: ImagePoint, half: f64, color: [u8; 3]| {
        let length = a.distance_px(b).max(1.0);
        let normal = [-(b.y - a.y) / length * half * scale, (b.x - a.x) / length * half * scale];
        let corners: Vec<Point<i32>> = [(a, 1.0), (b, 1.0), (b, -1.0), (a, -1.0)]
            .iter()
            .map(|(p, sign)| {
                Point::new((p.x + sign * normal[0]).round() as i32, (p.y + sign * normal[1]).round() as i32)
            })
            .collect();
        draw_polygon_mut(image, &corners, Rgb(color));
    };
    let disc = |image: &mut RgbImage, p: ImagePoint, radius: f64, color: [u8; 3]| {
        draw_filled_circle_mut(image, (p.x.round() as i32, p.y.round() as i32), (radius * scale) as i32, Rgb(color));
    };
    limb(&mut image, hip, at(190.0, 200.0), 36.0, [52, 58, 74]);
    limb(&mut image, shoulder, hip, 44.0, [70, 92, 110]);
    disc(&mut image, at(14.0, -84.0), 42.0, [176, 134, 108]);
    limb(&mut image, shoulder, elbow, 21.0, [176, 134, 108]);
    limb(&mut image, elbow, wrist, 16.0, [183, 141, 115]);
    disc(&mut image, bar, 11.0, [40, 40, 42]);
    let arc = (0..=40)
        .map(|step| {
            let angle = deg.to_radians() * f64::from(step) / 40.0 + lean;
            at(78.0 * angle.sin(), 78.0 * angle.cos())
        })
        .collect();
    let plumb = [-250.0, -60.0, 120.0, 230.0].map(|y| at(0.0, y)).to_vec();
    let marks = vec![
        (Landmark::Shoulder(side), shoulder),
        (Landmark::Elbow(side), elbow),
        (Landmark::Wrist(side), wrist),
        (Landmark::Hip(side), hip),
        (Landmark::PlumbTop, ImagePoint::new(f64::from(wall), 30.0)),
        (Landmark::PlumbBottom, ImagePoint::new(f64::from(wall), f64::from(rows) - 30.0)),
    ];
    let overlay = Overlay {
        disagreeing: Vec::new(),
        marks,
        trunk: Some([shoulder, hip]),
        arms: vec![(side, [shoulder, elbow, wrist])],
        plumb,
        arc,
        bar: Some([at(236.0 * 0.5, -200.0), bar]),
    };
    StillInput { reach, image, overlay }
}
