//! The fit tried on scenes whose picture is worked out here with a level pinhole, one line of similar triangles.

mod bad_marks;

use nalgebra::{Matrix2, SMatrix, Vector3};

use super::dual::Scalar;
use super::fit::{Term, VisitFit, fit_visit};
use super::problem::Problem;
use super::setups::setup_of_reaches;
use super::start::start_values;
use super::{
    BarFacts, FrameObservations, Mark, PersonFacts, Quantity, ReachObservations, Rotation, View, VisitObservations,
};
use crate::camera::Lens;
use crate::geometry::{ImagePoint, Landmark, Side};
use crate::uncertainty::{MonteCarloOptions, SimulatedDistribution};

const FOCAL_PX: f64 = 1000.0;
const CENTER_PX: [f64; 2] = [639.5, 359.5];
const DISTANCE_MM: f64 = 3000.0;
/// A body of round numbers, its shoulders drawn in as raised arms draw them: mid-hip 600 mm above the floor, camera 1000 mm.
const HIP_MM: f64 = 600.0;
const CAMERA_MM: f64 = 1000.0;
const TRUNK_MM: f64 = 500.0;
const SHOULDER_HALF_MM: f64 = 140.0;
const HIP_HALF_MM: f64 = 172.0;
const ARM_MM: f64 = 580.0;
const GRIP_HALF_MM: f64 = 285.0;
const BAR_HALF_MM: f64 = 600.0;
/// The scene and the priors' means differ a little in every length; what that costs is far below this, deg.
const CLOSE_DEG: f64 = 0.6;

/// A person who sits square to the room, arms raised to `elevation_deg` from the trunk, which leans back by `lean_deg`.
struct Pose {
    elevation_deg: f64,
    lean_deg: f64,
}

/// Body coordinates of a landmark, mm: X ahead, Y up from mid-hip, Z to the person's right.
fn body_point(landmark: Landmark, pose: &Pose) -> Vector3<f64> {
    let lean = pose.lean_deg.to_radians();
    let from_vertical = (pose.elevation_deg + pose.lean_deg).to_radians();
    let middle = Vector3::new(-lean.sin(), lean.cos(), 0.0) * TRUNK_MM;
    let sideways = GRIP_HALF_MM - SHOULDER_HALF_MM;
    let ahead = (ARM_MM * ARM_MM - sideways * sideways).sqrt();
    let arm =
        |side: Side| Vector3::new(ahead * from_vertical.sin(), -ahead * from_vertical.cos(), sideways * side.sign());
    let shoulder = |side: Side| middle + Vector3::z() * (SHOULDER_HALF_MM * side.sign());
    let wrist = |side: Side| shoulder(side) + arm(side);
    match landmark {
        Landmark::Shoulder(side) => shoulder(side) + Vector3::z() * (50.0 * side.sign()),
        Landmark::Elbow(side) => shoulder(side) + arm(side) * 0.56 + Vector3::z() * (32.0 * side.sign()),
        Landmark::Wrist(side) => wrist(side),
        Landmark::Hip(side) => Vector3::z() * (HIP_HALF_MM * side.sign()),
        Landmark::BarEnd(side) => {
            let beyond = Vector3::new(from_vertical.sin(), -from_vertical.cos(), 0.0) * 75.0;
            let middle = (wrist(Side::Left) + wrist(Side::Right)) / 2.0;
            middle + beyond + Vector3::z() * (BAR_HALF_MM * side.sign())
        }
        Landmark::PlumbTop => Vector3::new(-130.0, 1100.0, 0.0),
        Landmark::PlumbBottom => Vector3::new(-130.0, -300.0, 0.0),
        _ => Vector3::new(-400.0, 800.0, 0.0),
    }
}

/// The picture's point by similar triangles: the camera looks level at the person from the stated side.
fn seen(view: View, near: Side, point: Vector3<f64>) -> ImagePoint {
    let (right, away) = match (view, near) {
        (View::Front, _) => (-point.z, -point.x),
        (_, Side::Right) => (point.x, -point.z),
        (_, Side::Left) => (-point.x, point.z),
    };
    let depth = DISTANCE_MM + away;
    let up = point.y + HIP_MM - CAMERA_MM;
    ImagePoint::new(CENTER_PX[0] + FOCAL_PX * right / depth, CENTER_PX[1] - FOCAL_PX * up / depth)
}

fn lens() -> Lens {
    Lens {
        image_size: [1280, 720],
        fx: FOCAL_PX,
        fy: FOCAL_PX,
        cx: CENTER_PX[0],
        cy: CENTER_PX[1],
        distortion: [0.0; 5],
        covariance: SMatrix::zeros(),
    }
}

fn reach(view: View, near: Side, rotation: Rotation, pose: &Pose) -> ReachObservations {
    use Landmark::{BarEnd, Datum, Elbow, Hip, PlumbBottom, PlumbTop, Shoulder, Wrist};
    let landmarks = match view {
        View::Front => vec![
            Shoulder(Side::Left),
            Shoulder(Side::Right),
            Wrist(Side::Left),
            Wrist(Side::Right),
            BarEnd(Side::Left),
            BarEnd(Side::Right),
            PlumbTop,
            PlumbBottom,
        ],
        _ => vec![
            Shoulder(near),
            Elbow(near),
            Wrist(near),
            Hip(near),
            Wrist(near.other()),
            BarEnd(Side::Left),
            BarEnd(Side::Right),
            PlumbTop,
            PlumbBottom,
            Datum,
        ],
    };
    let marks = landmarks
        .into_iter()
        .map(|landmark| Mark::placed(landmark, seen(view, near, body_point(landmark, pose)), Matrix2::identity()))
        .collect();
    ReachObservations {
        view,
        near_side: (view != View::Front).then_some(near),
        rotation,
        is_mirrored: false,
        image_size: [1280, 720],
        lens: Some(lens()),
        frames: vec![FrameObservations { time_s: 1.0, raise: 0, motion: None, marks }],
    }
}

fn visit(reaches: Vec<ReachObservations>) -> VisitObservations {
    VisitObservations {
        contradictions: Vec::new(),
        person: PersonFacts { stature_mm: Some(1740.0), arm_length_mm: Some(ARM_MM) },
        bar: BarFacts { length_mm: Some(2.0 * BAR_HALF_MM), has_taped_grips: false },
        reaches,
    }
}

fn pair(near: Side) -> VisitObservations {
    let internal = Pose { elevation_deg: 158.0, lean_deg: 3.0 };
    let external = Pose { elevation_deg: 151.0, lean_deg: 3.5 };
    visit(vec![
        reach(View::Side, near, Rotation::Internal, &internal),
        reach(View::Side, near, Rotation::External, &external),
    ])
}

fn value(fit: &VisitFit, reach: usize, quantity: Quantity) -> f64 {
    fit.combine(&[term(1.0, reach, quantity)]).expect("the marks determine it").value
}

fn term(factor: f64, reach: usize, quantity: Quantity) -> Term {
    Term { factor, reach, raise: 0, quantity }
}

#[test]
fn every_derivative_agrees_with_central_differences() {
    let observations = visit(vec![
        reach(View::Side, Side::Right, Rotation::Internal, &Pose { elevation_deg: 155.0, lean_deg: 3.0 }),
        reach(View::Front, Side::Right, Rotation::External, &Pose { elevation_deg: 140.0, lean_deg: 2.0 }),
    ]);
    let problem = Problem::new(&observations, &setup_of_reaches(&observations.reaches));
    let mut theta = start_values(&problem);
    // Away from zero bends and zero lens deviates, so that no derivative vanishes by symmetry.
    for (index, prior) in problem.priors.iter().enumerate() {
        theta[prior.index] += 0.1 * prior.sd * if index % 2 == 0 { 1.0 } else { -1.0 };
    }
    for seen in &problem.frames {
        let p = Problem::dual_parameters(seen, &theta);
        let mut rows = Vec::new();
        problem.frame_residuals(seen, &p, &theta, |row, _, _| rows.push(row));
        let at = Problem::local_parameters(seen, &theta);
        for index in 0..at.len() {
            let sd = problem.priors.iter().find(|prior| prior.index == seen.blocks.global(index)).map_or(1.0, |p| p.sd);
            let step = 1e-4 * sd;
            let shifted = |by: f64| {
                let mut there = at;
                there[index] += by;
                let mut values = Vec::new();
                problem.frame_residuals(seen, &there, &theta, |value: f64, _, _| values.push(value));
                values
            };
            for ((row, more), less) in rows.iter().zip(shifted(step)).zip(shifted(-step)) {
                let slope = (more - less) / (2.0 * step);
                let exact = row.gradient()[index];
                // The plumb marks' normals turn with the parameters; that is left out of the derivative on purpose and is
                // of the order of the residual over its distance from the camera.
                let tolerance = 2e-5 * (1.0 + exact.abs()) / sd.min(1.0);
                assert!((slope - exact).abs() < tolerance, "parameter {index}: {exact} against {slope}");
                assert!((row.value() - 0.5 * (more + less)).abs() < 1e-3);
            }
        }
    }
}

#[test]
fn hand_worked_poses_come_back_from_the_side() {
    for elevation_deg in [95.0, 130.0, 160.0, 175.0, 185.0, 195.0] {
        for near in Side::BOTH {
            let pose = Pose { elevation_deg, lean_deg: 4.0 };
            let fit = fit_visit(&visit(vec![reach(View::Side, near, Rotation::Internal, &pose)]));
            assert!(fit.outcome().is_converged);
            let found = value(&fit, 0, Quantity::Elevation(near));
            assert!((found - elevation_deg).abs() < CLOSE_DEG, "{near} {elevation_deg}: {found}");
            assert!((value(&fit, 0, Quantity::TrunkLean) - 4.0).abs() < CLOSE_DEG);
            let identity = value(&fit, 0, Quantity::ElevationFromVertical(near)) - value(&fit, 0, Quantity::TrunkLean);
            assert!((identity - found).abs() < 1e-9);
        }
    }
}

#[test]
fn heights_and_widths_come_back_from_the_side() {
    let pose = Pose { elevation_deg: 150.0, lean_deg: 2.0 };
    let fit = fit_visit(&visit(vec![reach(View::Side, Side::Right, Rotation::External, &pose)]));
    let bar = body_point(Landmark::BarEnd(Side::Right), &pose).y;
    let found = fit.combine(&[term(1.0, 0, Quantity::BarHeightAboveHip)]).expect("scale is known");
    assert!((found.value - bar).abs() < 3.0 * found.u && found.u < 40.0, "{found:?} against {bar}");
    let grip = fit.combine(&[term(1.0, 0, Quantity::GripWidth)]).expect("both wrists are seen");
    assert!((grip.value - 2.0 * GRIP_HALF_MM).abs() < 3.0 * grip.u, "{grip:?}");
}

#[test]
fn without_a_known_size_there_is_no_height_in_mm_but_one_in_arm_lengths() {
    let mut observations = pair(Side::Right);
    observations.person = PersonFacts::default();
    observations.bar.length_mm = None;
    let fit = fit_visit(&observations);
    let height = fit.combine(&[term(1.0, 0, Quantity::BarHeightAboveHip)]);
    assert!(height.expect_err("no scale").reason.contains("scale"));
    assert!(fit.combine(&[term(1.0, 0, Quantity::BarHeightAboveHipArm)]).is_ok());
}

#[test]
fn left_and_right_give_the_same_difference() {
    let difference = |near: Side| {
        let fit = fit_visit(&pair(near));
        fit.combine(&[term(1.0, 1, Quantity::Elevation(near)), term(-1.0, 0, Quantity::Elevation(near))])
            .expect("a pair from the side")
    };
    let (left, right) = (difference(Side::Left), difference(Side::Right));
    assert!((left.value - right.value).abs() < 1e-3 && (left.u - right.u).abs() < 1e-3);
    assert!((right.value + 7.0).abs() < CLOSE_DEG, "{right:?}");
}

#[test]
fn a_mirror_picture_gives_the_same_numbers() {
    let plain = pair(Side::Right);
    let mut mirrored = plain.clone();
    for reach in &mut mirrored.reaches {
        reach.is_mirrored = true;
        for mark in &mut reach.frames[0].marks {
            mark.point.x = 1279.0 - mark.point.x;
        }
    }
    let quantity = Quantity::Elevation(Side::Right);
    let (a, b) = (value(&fit_visit(&plain), 0, quantity), value(&fit_visit(&mirrored), 0, quantity));
    assert!((a - b).abs() < 1e-9);
}

#[test]
fn a_difference_is_surer_than_independent_reaches_would_make_it() {
    let fit = fit_visit(&pair(Side::Right));
    let quantity = Quantity::Elevation(Side::Right);
    let alone = |reach| fit.combine(&[term(1.0, reach, quantity)]).expect("from the side").u;
    let difference = fit.combine(&[term(1.0, 1, quantity), term(-1.0, 0, quantity)]).expect("from the side").u;
    assert!(difference < 0.95 * alone(0).hypot(alone(1)));
}

#[test]
fn a_bent_elbow_is_not_explained_away_as_a_bad_mark() {
    let mut observations = pair(Side::Right);
    let elbow = observations.reaches[0].frames[0].marks.iter_mut().find(|m| m.landmark == Landmark::Elbow(Side::Right));
    // 40 px at 2.8 m and 1000 px of focal length are 112 mm beside an arm of 580 mm: about 43 deg of bend.
    elbow.expect("it is marked").point.x += 40.0;
    let fit = fit_visit(&observations);
    let bend = value(&fit, 0, Quantity::ElbowInPlane(Side::Right)).abs();
    assert!(bend > 30.0, "{bend}");
}

#[test]
fn without_a_hip_the_trunk_is_not_determined() {
    let mut observations = pair(Side::Right);
    for reach in &mut observations.reaches {
        reach.frames[0].marks.retain(|mark| mark.landmark != Landmark::Hip(Side::Right));
    }
    let fit = fit_visit(&observations);
    let lean = fit.combine(&[term(1.0, 0, Quantity::TrunkLean)]);
    assert!(lean.expect_err("no hip").reason.contains("trunk"));
    assert!(fit.combine(&[term(1.0, 0, Quantity::ElevationFromVertical(Side::Right))]).is_ok());
}

#[test]
fn a_front_view_tells_before_from_behind_or_says_that_it_cannot() {
    let pose = Pose { elevation_deg: 140.0, lean_deg: 0.0 };
    let fit = fit_visit(&visit(vec![reach(View::Front, Side::Right, Rotation::Internal, &pose)]));
    let quantity = Quantity::ElevationFromVertical(Side::Right);
    let found = fit.combine(&[term(1.0, 0, quantity)]).expect("40 deg before the vertical");
    assert!((found.value - 140.0).abs() < 3.0 * found.u, "{found:?}");

    // Straight up, the two solutions meet in the middle of the picture: with a bar of unknown length nothing tells them
    // apart 12 deg to either side.
    let near = Pose { elevation_deg: 168.0, lean_deg: 0.0 };
    let mut observations = visit(vec![reach(View::Front, Side::Right, Rotation::Internal, &near)]);
    observations.bar.length_mm = None;
    observations.person = PersonFacts::default();
    let reason = fit_visit(&observations).combine(&[term(1.0, 0, quantity)]).expect_err("two solutions").reason;
    assert!(reason.contains("before") || reason.contains("determine"), "{reason}");
}

#[test]
fn marks_that_share_an_error_do_not_average_it_away() {
    let shared = |count: usize, is_shared: bool| {
        let mut observations = pair(Side::Right);
        for reach in &mut observations.reaches {
            let first = reach.frames[0].clone();
            reach.frames = (0..count)
                .map(|index| {
                    let mut frame = first.clone();
                    frame.time_s += 0.03 * index as f64;
                    for mark in &mut frame.marks {
                        if is_shared {
                            mark.covariance_px2 = Matrix2::identity() * 0.01;
                            let origin = usize::from(reach.rotation == Rotation::External);
                            mark.shared = Some(super::SharedError { origin, covariance_px2: Matrix2::identity() });
                        }
                    }
                    frame
                })
                .collect();
        }
        let fit = fit_visit(&observations);
        fit.combine(&[term(1.0, 0, Quantity::Elevation(Side::Right))]).expect("from the side").u
    };
    let one = shared(1, false);
    assert!(shared(6, true) > 0.9 * one);
    assert!(shared(6, false) < 0.9 * one);
}

#[test]
fn a_misplaced_mark_is_one_witness_however_many_frames_were_followed_from_it() {
    let quantity = Quantity::Elevation(Side::Right);
    let followed = |count: usize, landmark: Landmark, shift: f64| {
        let mut observations = pair(Side::Right);
        for (origin, reach) in observations.reaches.iter_mut().enumerate() {
            let mut first = reach.frames[0].clone();
            for mark in &mut first.marks {
                mark.covariance_px2 = Matrix2::identity() * 0.04;
                mark.shared = Some(super::SharedError { origin, covariance_px2: Matrix2::identity() * 2.25 });
                mark.point.x += if origin == 1 && mark.landmark == landmark { shift } else { 0.0 };
            }
            let later =
                |index: usize| FrameObservations { time_s: 1.0 + 4.0 * index as f64, raise: index, ..first.clone() };
            reach.frames = (0..count).map(later).collect();
        }
        fit_visit(&observations)
    };
    let mean = |fit: &VisitFit, count: usize| {
        let terms: Vec<Term> =
            (0..count).map(|raise| Term { factor: 1.0 / count as f64, reach: 1, raise, quantity }).collect();
        fit.combine(&terms).expect("from the side")
    };
    for (landmark, shift) in [(Landmark::Wrist(Side::Right), 15.0), (Landmark::Hip(Side::Right), 25.0)] {
        let (one, three) = (followed(1, landmark, shift), followed(3, landmark, shift));
        for fit in [&one, &three] {
            let named: Vec<_> = fit.residuals().iter().filter(|residual| residual.is_disagreeing).collect();
            let is_it = |residual: &&&super::MarkResidual| residual.landmark == landmark && residual.reach == 1;
            let of_it = named.iter().find(is_it).expect("it is named");
            assert!((of_it.distance_px - shift).abs() < 8.0, "{of_it:?}");
        }
        let (one, three) = (mean(&one, 1), mean(&three, 3));
        // What one frame leaves open, its copies leave open.
        assert!(three.u > 0.8 * one.u, "{landmark}: {} of {}", three.u, one.u);
        assert!((three.value - one.value).abs() < one.u, "{landmark}: {} and {}", three.value, one.value);
    }
}

#[test]
fn straying_of_followed_marks_is_common_to_the_frames_of_a_reach_and_not_to_two_reaches() {
    let drifting = |frames: usize, drift_px2: f64, is_carried_on: bool| {
        let mut observations = pair(Side::Right);
        for (number, reach) in observations.reaches.iter_mut().enumerate() {
            let first = reach.frames[0].clone();
            reach.frames = (0..frames)
                .map(|index| {
                    let mut frame = first.clone();
                    frame.time_s += 0.03 * index as f64;
                    for mark in &mut frame.marks {
                        mark.covariance_px2 = Matrix2::identity() * 0.01;
                        // all go back to one mark, whose error cancels in the difference
                        mark.shared = Some(super::SharedError { origin: 0, covariance_px2: Matrix2::identity() });
                        let drift_px2 = (drift_px2 > 0.0).then(|| Matrix2::identity() * drift_px2);
                        if is_carried_on && number == 1 {
                            // it was brought from where the first reach's had strayed to
                            mark.strayed = drift_px2.map(|covariance_px2| super::Strayed { reach: 0, covariance_px2 });
                        } else {
                            mark.drift_px2 = drift_px2;
                        }
                    }
                    frame
                })
                .collect();
        }
        let fit = fit_visit(&observations);
        let quantity = Quantity::Elevation(Side::Right);
        let one = fit.combine(&[term(1.0, 0, quantity)]).expect("from the side").u;
        (one, fit.combine(&[term(1.0, 1, quantity), term(-1.0, 0, quantity)]).expect("from the side").u)
    };
    let (one, difference) = drifting(1, 4.0, false);
    let (one_of_six, difference_of_six) = drifting(6, 4.0, false);
    assert!(one_of_six > 0.9 * one && difference_of_six > 0.9 * difference, "{one_of_six} {difference_of_six}");
    // without straying the origin's error is all there is, and it cancels
    let (_, without) = drifting(1, 0.0, false);
    assert!(difference > 2.0 * without, "{difference} {without}");
    // and so does straying that both reaches have in common
    let (one_carried_on, carried_on) = drifting(1, 4.0, true);
    assert!(carried_on < 1.1 * without && one_carried_on > 0.9 * one, "{carried_on} {without}, {one_carried_on} {one}");
}

fn simulated(fit: &VisitFit, draws: usize, terms: &[Term]) -> SimulatedDistribution {
    let draws = fit.simulate(MonteCarloOptions { draws, seed: 4 }, &|_| {}).expect("the fit converged");
    assert_eq!(draws.unsettled(), 0);
    SimulatedDistribution::from_values(draws.values(terms)).expect("enough draws")
}

#[test]
fn drawn_marks_spread_a_difference_as_the_first_order_says() {
    const DRAWS: usize = 400;
    let fit = fit_visit(&pair(Side::Right));
    let quantity = Quantity::Elevation(Side::Right);
    for terms in [vec![term(1.0, 1, quantity), term(-1.0, 0, quantity)], vec![term(1.0, 0, Quantity::TrunkLean)]] {
        let first_order = fit.combine(&terms).expect("from the side");
        let drawn = simulated(&fit, DRAWS, &terms);
        // the relative sd of a standard deviation over n draws is 1 / sqrt(2 n), that of a mean u / sqrt(n); 4 of them
        let n = DRAWS as f64;
        assert!((drawn.u() / first_order.u - 1.0).abs() < 4.0 / (2.0 * n).sqrt(), "{} {first_order:?}", drawn.u());
        let mean = drawn.mean();
        assert!((mean - first_order.value).abs() < 4.0 * first_order.u / n.sqrt(), "{mean} {first_order:?}");
    }
}

#[test]
fn a_doubtful_mark_is_doubtful_in_the_draws_as_well() {
    const DRAWS: usize = 400;
    let mut observations = pair(Side::Right);
    let wrist = Landmark::Wrist(Side::Right);
    let mark = observations.reaches[1].frames[0].marks.iter_mut().find(|mark| mark.landmark == wrist);
    mark.expect("it is marked").point.y += 7.0;
    let fit = fit_visit(&observations);
    let probable: f64 = fit.all_explanations().0.iter().map(|explanation| explanation.weight.powi(2)).sum();
    assert!(probable < 0.95, "several explanations share the evidence: {probable}");
    let terms = [term(1.0, 1, Quantity::Elevation(Side::Right))];
    let first_order = fit.combine(&terms).expect("from the side");
    let drawn = simulated(&fit, DRAWS, &terms);
    // a mixture's standard deviation is known less well than a normal one's: twice as much is allowed
    assert!(
        (drawn.u() / first_order.u - 1.0).abs() < 8.0 / (2.0 * DRAWS as f64).sqrt(),
        "{} {first_order:?}",
        drawn.u()
    );
    assert!((drawn.mean() - first_order.value).abs() < 4.0 * first_order.u / (DRAWS as f64).sqrt());
}

#[test]
fn marks_that_share_an_error_share_its_draw() {
    let mut observations = pair(Side::Right);
    for reach in &mut observations.reaches {
        for mark in &mut reach.frames[0].marks {
            mark.covariance_px2 = Matrix2::identity() * 1e-4;
            mark.shared = Some(super::SharedError { origin: 0, covariance_px2: Matrix2::identity() * 4.0 });
        }
    }
    let fit = fit_visit(&observations);
    let quantity = Quantity::ElevationFromVertical(Side::Right);
    let one = simulated(&fit, 60, &[term(1.0, 0, quantity)]).u();
    let difference = simulated(&fit, 60, &[term(1.0, 1, quantity), term(-1.0, 0, quantity)]).u();
    // drawn apart, the difference of two would be wider than one by sqrt 2
    assert!(difference < 0.5 * one, "{difference} {one}");
}

#[test]
fn draws_depend_on_the_seed_and_not_on_the_threads() {
    let pose = Pose { elevation_deg: 158.0, lean_deg: 3.0 };
    let fit = fit_visit(&visit(vec![reach(View::Side, Side::Right, Rotation::Internal, &pose)]));
    let draw = |threads: usize, seed: u64| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        let terms = [term(1.0, 0, Quantity::ElbowInPlane(Side::Right))];
        pool.install(|| fit.simulate(MonteCarloOptions { draws: 12, seed }, &|_| {}).map(|draws| draws.values(&terms)))
    };
    let one = draw(1, 7);
    assert!(one.as_ref().is_some_and(|values| values.len() == 12));
    assert_eq!(one, draw(4, 7));
    assert_ne!(one, draw(4, 8));
}

/// Two pairs of reaches, in each reach one mark `off_px` from its spot: which ones, and where to, turns with `turn`.
fn visit_with_a_wrong_spot_in_each_reach(turn: usize, off_px: f64) -> (VisitObservations, Vec<(usize, Landmark)>) {
    let mut observations = visit([pair(Side::Right).reaches, pair(Side::Right).reaches].concat());
    let mut wrong = Vec::new();
    for (index, reach) in observations.reaches.iter_mut().enumerate() {
        let marks = &mut reach.frames[0].marks;
        let count = marks.len();
        let mark = &mut marks[(turn + 3 * index) % count];
        let is_plumb = matches!(mark.landmark, Landmark::PlumbTop | Landmark::PlumbBottom);
        // Along the wall's edge a mark would still be right.
        let (sin, cos) = if is_plumb { (0.0, 1.0) } else { (0.7 * turn as f64 + 1.9 * index as f64).sin_cos() };
        mark.point = ImagePoint::new(mark.point.x + off_px * cos, mark.point.y + off_px * sin);
        wrong.push((index, mark.landmark));
    }
    (observations, wrong)
}

#[test]
fn a_mark_on_a_wrong_spot_in_each_reach_is_named_and_turns_no_difference() {
    let quantity = Quantity::Elevation(Side::Right);
    for turn in 0..10 {
        let (observations, wrong) = visit_with_a_wrong_spot_in_each_reach(turn, 60.0);
        let fit = fit_visit(&observations);
        assert!(fit.outcome().is_converged, "{wrong:?}");
        let named = fit.residuals().iter().filter(|residual| residual.is_disagreeing);
        assert_eq!(named.map(|residual| (residual.reach, residual.landmark)).collect::<Vec<_>>(), wrong);
        for pair in [0, 2] {
            let difference = fit.combine(&[term(1.0, pair + 1, quantity), term(-1.0, pair, quantity)]);
            let difference = difference.expect("from the side");
            // The external arm of `pair` is 7 deg lower, and all other marks are where they belong. Without shoulder or hip the
            // wrists' shares of body and bar leave some doubt.
            assert!((difference.value + 7.0).abs() < difference.u.min(1.0), "{wrong:?}: {difference:?}");
        }
    }
}

#[test]
fn bad_marks_of_the_room_do_not_part_reaches_whatever_their_order() {
    let mut reaches = [pair(Side::Right).reaches, pair(Side::Right).reaches].concat();
    // Between the first two reaches neither plumb line nor datum agree; each agrees with the later ones in one of the two.
    for (reach, landmark) in [(0, Landmark::Datum), (1, Landmark::PlumbTop)] {
        let mark = reaches[reach].frames[0].marks.iter_mut().find(|mark| mark.landmark == landmark);
        mark.expect("it is marked").point.x += 15.0;
    }
    assert_eq!(setup_of_reaches(&reaches), [0, 0, 0, 0]);
    // A camera that moved takes all of it along.
    for mark in &mut reaches[3].frames[0].marks {
        mark.point.x -= 15.0;
    }
    assert_eq!(setup_of_reaches(&reaches), [0, 0, 0, 1]);
}
