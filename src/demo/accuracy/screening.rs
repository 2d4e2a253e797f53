//! One screening drawn at random: an internal and an external reach, one marked frame each.
//!
//! Body proportions and their spreads are those of a survey of people, softness and its changes those of motion capture;
//! the rest is common practice without source, as each constant says.

use nalgebra::{Matrix2, Vector2, Vector3};
use rand::{Rng, RngExt as _};

use crate::demo::body::{BAR_LENGTH_MM, SEAT_MM, Skeleton};
use crate::demo::lens::{SceneCamera, SceneLens};
use crate::demo::scenes::{
    ASYMMETRY_SD_DEG, CALIBRATION_U, IMAGE_SIZE, Person, SkinShift, Softness, draw_lens, known_lens, landmarks, normal,
    raise_unevenly, room_landmark, uniform,
};
use crate::demo::truth::TrueQuantities;
use crate::geometry::{ImagePoint, Landmark, Side};
use crate::pose::{
    BarFacts, FrameObservations, Mark, PersonFacts, ReachObservations, Rotation, SharedError, View, VisitObservations,
};
use crate::screen::skin_shift_px2;

/// From where scenes are seen, in turn.
pub const VIEWS: [View; 3] = [View::Side, View::Oblique, View::Front];
/// External minus internal elevation, deg, in turn.
pub const TRUE_DIFFERENCES_DEG: [f64; 13] = [-8.0, -7.0, -6.0, -5.0, -4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0];

/// Both reaches end between these elevations, deg.
const ELEVATION_DEG: [f64; 2] = [100.0, 185.0];
/// Camera's distance from the person, mm; height above the floor, mm; direction off square, deg, within two of its spread; roll,
/// deg. Common practice: a phone on a stool, a tripod or in a friend's hand.
const DISTANCE_MM: [f64; 2] = [2600.0, 4200.0];
const HEIGHT_MM: [f64; 2] = [600.0, 1700.0];
const BEARING_SD_DEG: f64 = 5.0;
const ROLL_SD_DEG: f64 = 1.2;
/// An oblique view is this far from halfway at the most, deg. Common practice.
const OBLIQUE_DEG: f64 = 12.0;
/// Focal length, px at a width of 1280: the main cameras of phones, 24 to 28 mm in terms of 36 mm film, with up to a tenth cut
/// off by steadying. Common practice, no source.
const FOCAL_PX: [f64; 2] = [850.0, 1100.0];
/// Marks nearer to the picture's edge than this make the person film again, px.
const EDGE_PX: f64 = 8.0;
/// So often at the most; then what is outside stays unmarked.
const TRIES_MAX: usize = 50;
/// Share of screenings with a lens profile.
const PROFILE_RATIO: f64 = 0.5;
/// Share of screenings whose case states the stature.
const STATURE_RATIO: f64 = 0.75;
/// The wall's edge is off plumb by up to this, deg, in each direction.
const PLUMB_OFF_DEG: f64 = 0.3;
/// Spread of a rater's marks, px in each direction. Common practice, no source.
const MARK_SD_PX: [f64; 2] = [0.8, 2.2];
/// Share of raters who state their own spread; the others' marks count with [`USUAL_SD_PX`].
const OWN_SPREAD_RATIO: f64 = 0.5;
/// What a case without a spread is measured with, px: the file format's default.
const USUAL_SD_PX: f64 = 1.5;
/// Share of marks that are bad, and how far off they are, px. Common practice, no source.
const BAD_RATIO: f64 = 0.01;
const BAD_PX: [f64; 2] = [10.0, 40.0];
/// How far a carried mark strays from the spot it comes from, px in each direction: room, bar, hip, shoulder. Common practice.
const CARRY_SD_PX: [f64; 4] = [0.15, 0.3, 0.4, 0.6];
/// What a mark's own error keeps where it is shared with one that was carried from it, px: the rounding of its coordinates.
const ORIGIN_OWN_SD_PX: f64 = 0.05;

/// A screening: what is marked, and what is true.
#[derive(Debug, Clone)]
pub struct Screening {
    /// From where it is seen.
    pub view: View,
    /// External minus internal elevation of the right arm, deg: one of [`TRUE_DIFFERENCES_DEG`].
    pub true_difference_deg: f64,
    /// The internal and the external reach, every mark placed by hand.
    pub by_hand: VisitObservations,
    /// In side views, the same with the internal reach's marks of trunk, bar and room carried to the external one.
    pub carried: Option<VisitObservations>,
    /// What is true of both reaches.
    pub truth: [TrueQuantities; 2],
}

/// A mark's place and what put it there.
struct Placed {
    landmark: Landmark,
    true_px: Vector2<f64>,
    error_px: Vector2<f64>,
}

impl Screening {
    /// Draws a screening. `index` sets view and true difference, so that each has its equal share.
    #[must_use]
    pub fn draw(index: usize, rng: &mut impl Rng) -> Self {
        let view = VIEWS[index % VIEWS.len()];
        let true_difference_deg = TRUE_DIFFERENCES_DEG[index / VIEWS.len() % TRUE_DIFFERENCES_DEG.len()];
        let person = Person::draw(ASYMMETRY_SD_DEG, rng);
        let softness = Softness::draw(rng);
        let edge_tilt_rad = [(); 2].map(|()| uniform(rng, -PLUMB_OFF_DEG, PLUMB_OFF_DEG).to_radians());
        let bodies = pose_pair(&person, true_difference_deg, rng);
        let truth = bodies.each_ref().map(|body| true_quantities(body, edge_tilt_rad));
        let worlds = [0, 1].map(|reach| {
            let skin = SkinShift::draw(rng);
            let (body, elevation_deg) = (&bodies[reach], truth[reach].elevation_right_deg);
            landmarks(view)
                .into_iter()
                .map(|landmark| {
                    let on_body = || {
                        let off_mm = softness.of(landmark, elevation_deg, &person.build) + skin.of(landmark);
                        body.landmark_mm(landmark) + body.world_from_person.rotation * off_mm
                    };
                    (landmark, room_landmark(landmark, edge_tilt_rad).unwrap_or_else(on_body))
                })
                .collect::<Vec<_>>()
        });
        let camera = set_up_camera(view, &person, &worlds, rng);
        let sd_px = uniform(rng, MARK_SD_PX[0], MARK_SD_PX[1]);
        let stated_sd_px = if rng.random_bool(OWN_SPREAD_RATIO) { sd_px } else { USUAL_SD_PX };
        let placed = worlds.map(|world| place_marks(&camera, &world, sd_px, rng));
        let by_hand = placed.each_ref().map(|marks| hand_marks(marks, stated_sd_px));
        let carried = (view == View::Side).then(|| carry(&placed, &by_hand, stated_sd_px, rng));
        let person_facts = PersonFacts {
            // As people state it: to the nearest centimetre.
            stature_mm: rng.random_bool(STATURE_RATIO).then(|| (person.build.stature_mm / 10.0).round() * 10.0),
            arm_length_mm: None,
        };
        let lens = rng.random_bool(PROFILE_RATIO).then(|| known_lens(&calibrated(&camera.lens, rng)));
        let observed = |marks: [Vec<Mark>; 2]| VisitObservations {
            contradictions: Vec::new(),
            person: person_facts,
            bar: BarFacts { length_mm: Some(BAR_LENGTH_MM), has_taped_grips: false },
            reaches: [Rotation::Internal, Rotation::External]
                .into_iter()
                .zip(marks)
                .map(|(rotation, marks)| ReachObservations {
                    view,
                    near_side: (view != View::Front).then_some(Side::Right),
                    rotation,
                    is_mirrored: false,
                    image_size: IMAGE_SIZE,
                    lens: lens.clone(),
                    frames: vec![FrameObservations { time_s: 0.0, raise: 0, motion: None, marks }],
                })
                .collect(),
        };
        Self { view, true_difference_deg, carried: carried.map(&observed), by_hand: observed(by_hand), truth }
    }
}

/// The internal and the external reach, whose right arms differ by exactly `difference_deg`.
fn pose_pair(person: &Person, difference_deg: f64, rng: &mut impl Rng) -> [Skeleton; 2] {
    let [low, high] = ELEVATION_DEG;
    let internal_deg = uniform(rng, low.max(low - difference_deg), high.min(high - difference_deg));
    let mut stances = [(Rotation::Internal, 0.0), (Rotation::External, difference_deg)].map(|(rotation, more_deg)| {
        let mut stance = person.stance(rotation, internal_deg + more_deg, rng);
        raise_unevenly(&mut stance, rng);
        stance
    });
    let elevation_deg = |body: &Skeleton| true_quantities(body, [0.0; 2]).elevation_right_deg;
    let internal = Skeleton::posed(&person.build, &stances[0]);
    let wanted_deg = elevation_deg(&internal) + difference_deg;
    let mut external = Skeleton::posed(&person.build, &stances[1]);
    // The trunk's axis moves with the shoulders by a few hundredths of what the arms do: each step leaves so little.
    for _ in 0..4 {
        let missing_deg = wanted_deg - elevation_deg(&external);
        for arm in &mut stances[1].arms {
            arm.elevation_deg += missing_deg;
        }
        external = Skeleton::posed(&person.build, &stances[1]);
    }
    [internal, external]
}

fn true_quantities(body: &Skeleton, edge_tilt_rad: [f64; 2]) -> TrueQuantities {
    TrueQuantities::of(body, |landmark| {
        room_landmark(landmark, edge_tilt_rad).unwrap_or_else(|| body.landmark_mm(landmark))
    })
}

/// A camera that has all of both reaches in its picture, as whoever films looks that it has.
fn set_up_camera(
    view: View,
    person: &Person,
    worlds: &[Vec<(Landmark, Vector3<f64>)>; 2],
    rng: &mut impl Rng,
) -> SceneCamera {
    let mut camera = draw_camera(view, person, rng);
    for _ in 1..TRIES_MAX {
        if worlds.iter().flatten().all(|(_, world_mm)| seen(&camera, world_mm).is_some()) {
            break;
        }
        camera = draw_camera(view, person, rng);
    }
    camera
}

fn draw_camera(view: View, person: &Person, rng: &mut impl Rng) -> SceneCamera {
    let square = match view {
        View::Side => 0.0,
        View::Oblique => 45.0 + uniform(rng, -OBLIQUE_DEG, OBLIQUE_DEG),
        View::Front => 90.0,
    };
    // Bearing 0 looks at the right side, along -Z; 90 looks at the front, along -X.
    let off = normal(rng, 0.0, BEARING_SD_DEG).clamp(-2.0 * BEARING_SD_DEG, 2.0 * BEARING_SD_DEG);
    let (sin, cos) = (square + off).to_radians().sin_cos();
    let distance = uniform(rng, DISTANCE_MM[0], DISTANCE_MM[1]);
    let position = Vector3::new(distance * sin, uniform(rng, HEIGHT_MM[0], HEIGHT_MM[1]), distance * cos);
    let middle_mm = SEAT_MM + person.build.trunk_mm + 100.0;
    let target = Vector3::new(normal(rng, 0.0, 80.0), middle_mm + normal(rng, 60.0, 60.0), normal(rng, 0.0, 80.0));
    let focal = uniform(rng, FOCAL_PX[0], FOCAL_PX[1]);
    let lens = draw_lens(focal, rng);
    SceneCamera::looking_at(lens, position, target, normal(rng, 0.0, ROLL_SD_DEG))
}

/// The lens as a calibration finds it: off by what the calibration states.
fn calibrated(lens: &SceneLens, rng: &mut impl Rng) -> SceneLens {
    let [fx, fy, cx, cy, distortion @ ..] = CALIBRATION_U.map(|u| normal(rng, 0.0, u));
    SceneLens {
        image_size: lens.image_size,
        fx: lens.fx + fx,
        fy: lens.fy + fy,
        cx: lens.cx + cx,
        cy: lens.cy + cy,
        distortion: std::array::from_fn(|index| lens.distortion[index] + distortion[index]),
    }
}

/// Where a point is in the picture, px; `None` outside it.
fn seen(camera: &SceneCamera, world_mm: &Vector3<f64>) -> Option<Vector2<f64>> {
    let at = camera.project(world_mm)?;
    let is_within = |value: f64, size: u32| value >= EDGE_PX && value <= f64::from(size) - EDGE_PX;
    (is_within(at.x, IMAGE_SIZE[0]) && is_within(at.y, IMAGE_SIZE[1])).then_some(at.to_vector())
}

fn place_marks(
    camera: &SceneCamera,
    world: &[(Landmark, Vector3<f64>)],
    sd_px: f64,
    rng: &mut impl Rng,
) -> Vec<Placed> {
    let mut placed = Vec::new();
    for (landmark, world_mm) in world {
        let mut error_px = Vector2::from_fn(|_, _| normal(rng, 0.0, sd_px));
        if rng.random_bool(BAD_RATIO) {
            let (sin, cos) = uniform(rng, 0.0, std::f64::consts::TAU).sin_cos();
            error_px += Vector2::new(cos, sin) * uniform(rng, BAD_PX[0], BAD_PX[1]);
        }
        if let Some(true_px) = seen(camera, world_mm) {
            placed.push(Placed { landmark: *landmark, true_px, error_px });
        }
    }
    placed
}

fn hand_marks(placed: &[Placed], stated_sd_px: f64) -> Vec<Mark> {
    let mark = |placed: &Placed| {
        let at = placed.true_px + placed.error_px;
        Mark::placed(placed.landmark, ImagePoint::new(at.x, at.y), Matrix2::identity() * stated_sd_px.powi(2))
    };
    placed.iter().map(mark).collect()
}

/// The internal reach's marks of trunk, bar and room brought to the external reach, with their errors; the arms, which are turned
/// the other way, are marked by hand in both.
fn carry(placed: &[Vec<Placed>; 2], by_hand: &[Vec<Mark>; 2], stated_sd_px: f64, rng: &mut impl Rng) -> [Vec<Mark>; 2] {
    let mut marks = by_hand.clone();
    for (origin, from) in placed[0].iter().enumerate() {
        let own_sd_px = match from.landmark {
            Landmark::PlumbTop | Landmark::PlumbBottom | Landmark::Datum => CARRY_SD_PX[0],
            Landmark::BarEnd(_) => CARRY_SD_PX[1],
            Landmark::Hip(_) => CARRY_SD_PX[2],
            Landmark::Shoulder(_) => CARRY_SD_PX[3],
            _ => continue,
        };
        let Some(to) = placed[1].iter().position(|other| other.landmark == from.landmark) else { continue };
        let stray = Vector2::from_fn(|_, _| normal(rng, 0.0, own_sd_px));
        let at = placed[1][to].true_px + from.error_px + stray;
        let shared = Some(SharedError { origin, covariance_px2: Matrix2::identity() * stated_sd_px.powi(2) });
        let own = |sd_px: f64| Matrix2::identity() * sd_px.powi(2);
        marks[0][origin] = Mark { covariance_px2: own(ORIGIN_OWN_SD_PX), shared, ..marks[0][origin] };
        marks[1][to] = Mark {
            landmark: from.landmark,
            point: ImagePoint::new(at.x, at.y),
            covariance_px2: own(own_sd_px),
            shared,
            // as a case with carried marks is measured
            drift_px2: skin_shift_px2(from.landmark, IMAGE_SIZE),
            strayed: None,
            is_placed: false,
        };
    }
    marks
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::uncertainty::draw_stream;

    #[test]
    fn the_true_difference_is_the_one_asked_for() {
        for index in 0..78 {
            let drawn = Screening::draw(index, &mut draw_stream(3, 0, index));
            let found = drawn.truth[1].elevation_right_deg - drawn.truth[0].elevation_right_deg;
            // four steps, each leaving a few hundredths: 8 deg times 0.1^4 is below a thousandth
            assert!((found - drawn.true_difference_deg).abs() < 1e-3, "{index}: {found}");
        }
    }

    #[test]
    fn carried_marks_have_their_origin_s_error_and_arms_do_not() {
        let drawn = Screening::draw(0, &mut draw_stream(1, 0, 0));
        let carried = drawn.carried.unwrap();
        let mark = |reach: usize, landmark: Landmark| {
            let marks = &carried.reaches[reach].frames[0].marks;
            *marks.iter().find(|mark| mark.landmark == landmark).unwrap()
        };
        for landmark in [Landmark::Hip(Side::Right), Landmark::Datum, Landmark::BarEnd(Side::Left)] {
            assert!(mark(0, landmark).shared.is_some());
            assert_eq!(mark(0, landmark).shared, mark(1, landmark).shared);
        }
        assert!(mark(1, Landmark::Wrist(Side::Right)).shared.is_none());
        // The room does not move: what differs is the carrying alone, 0.15 px; 6 standard deviations.
        let apart = mark(0, Landmark::Datum).point.distance_px(mark(1, Landmark::Datum).point);
        assert!(apart > 0.0 && apart < 6.0 * CARRY_SD_PX[0] * 2.0_f64.sqrt(), "{apart}");
    }
}
