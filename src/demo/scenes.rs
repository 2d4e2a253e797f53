//! Seeded scenes for trying the fit: people, rooms and cameras drawn at random, their marks, and the truth.
//!
//! Every distribution here is its own. None is read from, or tuned to, the priors of the fit; where both speak of the same
//! thing (body proportions, say) they have it from different sources.

use nalgebra::{Matrix2, SMatrix, Vector2, Vector3};
use rand::{Rng, RngExt};
use rand_distr::{Distribution, Normal, Uniform};

use super::body::{ArmStance, BAR_LENGTH_MM, Build, SEAT_MM, Skeleton, Stance};
use super::lens::{SceneCamera, SceneLens};
use super::truth::TrueQuantities;
use crate::camera::Lens;
use crate::geometry::{ImagePoint, Landmark, Side};
use crate::pose::{
    BarFacts, FrameObservations, Mark, PersonFacts, ReachObservations, Rotation, View, VisitObservations,
};

/// Width and height of the pictures, px.
pub(super) const IMAGE_SIZE: [u32; 2] = [1280, 720];
/// Spread of the camera's bearing, deg, within two of it: with the person's own turn it makes 5 deg off axis.
const BEARING_SD_DEG: f64 = 4.9;
/// The standard deviation that the fit is told of for marks without error, px.
const EXACT_SD_PX: f64 = 0.2;
/// Standard uncertainties of a good calibration: fx, fy, cx, cy in px, k1, k2, p1, p2, k3.
pub(super) const CALIBRATION_U: [f64; 9] = [1.5, 1.5, 2.0, 2.0, 0.003, 0.01, 1e-4, 1e-4, 0.01];
/// Spread of one person's right minus left elevation between people, and from reach to reach, deg: motion capture of ten people
/// with a bar overhead (UI-PRMD, Vakanski et al. 2018, Data 3(1), 2).
pub(super) const ASYMMETRY_SD_DEG: f64 = 4.8;
const ASYMMETRY_REACH_SD_DEG: f64 = 1.3;
/// The same of a body that is as stiff and even as the model's, between people, deg.
const STIFF_ASYMMETRY_SD_DEG: f64 = 0.6;
/// How far the skin over shoulder and hip lies otherwise in the next reach, mm in each direction: what half the distance
/// between the shoulders' markers changes within one person in the same motion capture.
const SKIN_REACH_SD_MM: f64 = 2.0;
/// The wall's edge and the datum, room mm: edge beside the person's back, tape mark behind the head.
const WALL_EDGE_MM: [f64; 2] = [-130.0, 60.0];
const DATUM_MM: [f64; 3] = [-420.0, 1450.0, 60.0];

/// What kind of scenes to draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SceneOptions {
    /// From where the camera looks.
    pub view: View,
    /// Standard deviation of a mark's error in each direction, px.
    pub mark_sd_px: f64,
    /// Whether bodies are softer than a model's: marks miss the joints by an offset of the person's, drift as the arm rises
    /// and lie otherwise in the next reach, the hips turn against the shoulders, and one arm is raised higher than the other.
    pub has_soft_bodies: bool,
    /// Whether persons only shift between reaches: trunk, elbows and grip stay as they were, and the elbows are straight.
    pub only_shifts: bool,
    /// Share of the visit's marks that are displaced by [`SceneOptions::displaced_px`] in a random direction.
    pub displaced_ratio: f64,
    /// Length of that displacement, px.
    pub displaced_px: f64,
    /// External minus internal elevation; drawn between -10 and 4 deg when `None`.
    pub true_difference_deg: Option<f64>,
}

impl SceneOptions {
    /// Marks without error, seen from `view`.
    #[must_use]
    pub const fn exact(view: View) -> Self {
        Self {
            view,
            mark_sd_px: 0.0,
            has_soft_bodies: false,
            only_shifts: false,
            displaced_ratio: 0.0,
            displaced_px: 15.0,
            true_difference_deg: None,
        }
    }

    /// Draws which of a visit's marks are displaced, as indices, and by what, px: the asked share of them, to the nearest whole number.
    /// Marks of the wall's edge are moved across it: along it they would still be points of the edge.
    pub fn displacements(&self, marks: &[Landmark], rng: &mut impl Rng) -> Vec<(usize, Vector2<f64>)> {
        let mut order: Vec<usize> = (0..marks.len()).collect();
        let mut displaced = Vec::new();
        for taken in 0..marks.len() {
            if (taken as f64 + 0.5) > self.displaced_ratio * marks.len() as f64 {
                break;
            }
            let other = rng.random_range(taken..marks.len());
            order.swap(taken, other);
            let (sin, cos) = if matches!(marks[order[taken]], Landmark::PlumbTop | Landmark::PlumbBottom) {
                (0.0, if rng.random_bool(0.5) { 1.0 } else { -1.0 })
            } else {
                uniform(rng, 0.0, std::f64::consts::TAU).sin_cos()
            };
            displaced.push((order[taken], Vector2::new(cos, sin) * self.displaced_px));
        }
        displaced
    }
}

/// A scene: what the fit is given, and what is true.
#[derive(Debug, Clone)]
pub struct Scene {
    /// What the fit is given: internal before, external before, internal after, external after.
    pub observations: VisitObservations,
    /// The true quantities of each reach.
    pub truth: Vec<TrueQuantities>,
    /// Displaced marks: reach and landmark.
    pub displaced: Vec<(usize, Landmark)>,
}

impl Scene {
    /// Draws a scene.
    pub fn draw(options: &SceneOptions, rng: &mut impl Rng) -> Self {
        let is_soft = options.has_soft_bodies;
        let person = Person::draw(if is_soft { ASYMMETRY_SD_DEG } else { STIFF_ASYMMETRY_SD_DEG }, rng);
        let camera = draw_camera(options.view, &person, rng);
        let edge_tilt_rad = [normal(rng, 0.0, 0.12).to_radians(), 0.0];
        let softness = if is_soft { Softness::draw(rng) } else { Softness::default() };
        let mut scene = Self {
            observations: VisitObservations {
                contradictions: Vec::new(),
                person: PersonFacts {
                    // As people state it: to the nearest centimetre.
                    stature_mm: Some((person.build.stature_mm / 10.0).round() * 10.0),
                    arm_length_mm: None,
                },
                bar: BarFacts { length_mm: Some(BAR_LENGTH_MM), has_taped_grips: false },
                reaches: Vec::new(),
            },
            truth: Vec::new(),
            displaced: Vec::new(),
        };
        let internal_deg = uniform(rng, 135.0, 172.0);
        let before_deg = options.true_difference_deg.unwrap_or_else(|| uniform(rng, -10.0, 4.0));
        let after_deg = options.true_difference_deg.unwrap_or_else(|| uniform(rng, -4.0, 4.0));
        for (rotation, elevation_deg) in [
            (Rotation::Internal, internal_deg),
            (Rotation::External, internal_deg + before_deg),
            (Rotation::Internal, internal_deg + normal(rng, 1.0, 1.5)),
            (Rotation::External, internal_deg + after_deg + 1.0),
        ] {
            let mut stance = person.stance(rotation, elevation_deg, rng);
            if options.only_shifts {
                person.sit_as_before(&mut stance);
            }
            let mut skin = SkinShift::default();
            if is_soft {
                raise_unevenly(&mut stance, rng);
                skin = SkinShift::draw(rng);
            }
            let body = Skeleton::posed(&person.build, &stance);
            scene.truth.push(TrueQuantities::of(&body, |landmark| {
                room_landmark(landmark, edge_tilt_rad).unwrap_or_else(|| body.landmark_mm(landmark))
            }));
            let mut marks = Vec::new();
            for landmark in landmarks(options.view) {
                let world = room_landmark(landmark, edge_tilt_rad).unwrap_or_else(|| {
                    body.landmark_mm(landmark)
                        + body.world_from_person.rotation
                            * (softness.of(landmark, elevation_deg, &person.build) + skin.of(landmark))
                });
                let Some(seen) = camera.project(&world) else { continue };
                let point = ImagePoint::new(
                    seen.x + normal(rng, 0.0, options.mark_sd_px),
                    seen.y + normal(rng, 0.0, options.mark_sd_px),
                );
                let covariance_px2 = Matrix2::identity() * options.mark_sd_px.max(EXACT_SD_PX).powi(2);
                marks.push(Mark::placed(landmark, point, covariance_px2));
            }
            scene.observations.reaches.push(ReachObservations {
                view: options.view,
                near_side: (options.view != View::Front).then_some(Side::Right),
                rotation,
                is_mirrored: false,
                image_size: IMAGE_SIZE,
                lens: Some(known_lens(&camera.lens)),
                frames: vec![FrameObservations { time_s: 0.0, raise: 0, motion: None, marks }],
            });
        }
        scene.displace(options, rng);
        scene
    }

    /// Displaces the asked share of the visit's marks.
    fn displace(&mut self, options: &SceneOptions, rng: &mut impl Rng) {
        let reaches = self.observations.reaches.iter().enumerate();
        let places: Vec<(usize, usize, Landmark)> = reaches
            .flat_map(|(reach, seen)| {
                seen.frames[0].marks.iter().enumerate().map(move |(place, mark)| (reach, place, mark.landmark))
            })
            .collect();
        let landmarks: Vec<Landmark> = places.iter().map(|(_, _, landmark)| *landmark).collect();
        for (index, by_px) in options.displacements(&landmarks, rng) {
            let (reach, place, landmark) = places[index];
            let mark = &mut self.observations.reaches[reach].frames[0].marks[place];
            mark.point = ImagePoint::new(mark.point.x + by_px.x, mark.point.y + by_px.y);
            self.displaced.push((reach, landmark));
        }
    }
}

/// What is the same in all reaches of a person.
pub(super) struct Person {
    pub(super) build: Build,
    lean_deg: f64,
    grip_mm: f64,
    bend_deg: f64,
    asymmetry_deg: f64,
}

impl Person {
    /// Draws a person, whose right arm is raised higher than the left by a spread of `asymmetry_sd_deg`.
    pub(super) fn draw(asymmetry_sd_deg: f64, rng: &mut impl Rng) -> Self {
        // Adults of both sexes, within what the survey of [`Build::from_stature`] saw.
        let mut build = Build::from_stature(normal(rng, 1720.0, 90.0).clamp(1500.0, 1960.0), 0.0);
        // Spreads of the survey's ratios, person by person, within two standard deviations.
        let mut part = |sd: f64| 1.0 + normal(rng, 0.0, sd).clamp(-2.0 * sd, 2.0 * sd);
        build.upper_arm_mm *= part(0.032);
        build.forearm_mm *= part(0.044);
        build.shoulder_half_mm *= part(0.049);
        build.hip_half_mm *= part(0.082);
        build.trunk_mm *= part(0.05);
        Self {
            build,
            lean_deg: normal(rng, 3.0, 3.0),
            grip_mm: uniform(rng, 520.0, 700.0),
            bend_deg: uniform(rng, 0.0, 8.0),
            asymmetry_deg: normal(rng, 0.0, asymmetry_sd_deg),
        }
    }

    /// How the person sits in one reach.
    pub(super) fn stance(&self, rotation: Rotation, elevation_deg: f64, rng: &mut impl Rng) -> Stance {
        let bend_deg = (self.bend_deg + normal(rng, 0.0, 1.0)).max(0.0);
        let half = self.asymmetry_deg / 2.0;
        let arm = |elevation_deg: f64| ArmStance { elevation_deg, bend_deg };
        Stance {
            shift_mm: [normal(rng, 0.0, 30.0), normal(rng, 0.0, 30.0)],
            yaw_deg: normal(rng, 0.0, 1.5),
            lean_deg: self.lean_deg + normal(rng, 0.0, 1.1),
            rotation,
            girdle_mm: [0.0; 2],
            arms: [arm(elevation_deg - half), arm(elevation_deg + half)],
            grip_mm: self.grip_mm + normal(rng, 0.0, 6.0),
            nod_deg: 0.0,
        }
    }

    /// Takes everything but the shift out of how the person sits otherwise in this reach, and straightens the elbows.
    fn sit_as_before(&self, stance: &mut Stance) {
        stance.yaw_deg = 0.0;
        stance.lean_deg = self.lean_deg;
        stance.grip_mm = self.grip_mm;
        for arm in &mut stance.arms {
            arm.bend_deg = 0.0;
        }
    }
}

/// What is soft about a person: systematic distances of each mark from its joint, person axes, mm.
#[derive(Default)]
pub(super) struct Softness {
    shoulder: Vector3<f64>,
    /// Turn of the hips against the shoulders, deg.
    twist_deg: f64,
    /// How the shoulder's mark drifts over the joint as the arm rises, mm for each radian past 150 deg.
    shoulder_drift: Vector3<f64>,
    wrist: Vector3<f64>,
    hip: Vector3<f64>,
}

impl Softness {
    pub(super) fn draw(rng: &mut impl Rng) -> Self {
        // In the sagittal plane a mark is placed with care; how far out on the body it lies, a side view does not show.
        let mut within = |half_mm: f64, half_out_mm: f64| {
            Vector3::new(
                uniform(rng, -half_mm, half_mm),
                uniform(rng, -half_mm, half_mm),
                uniform(rng, -half_out_mm, half_out_mm),
            )
        };
        Self {
            shoulder: within(5.0, 25.0),
            shoulder_drift: within(9.0, 9.0),
            wrist: within(4.0, 4.0),
            hip: within(6.0, 20.0),
            twist_deg: normal(rng, 0.0, 2.5),
        }
    }

    /// How far a landmark's mark is from where it belongs, person axes, mm.
    pub(super) fn of(&self, landmark: Landmark, elevation_deg: f64, build: &Build) -> Vector3<f64> {
        match landmark {
            Landmark::Shoulder(_) => self.shoulder + self.shoulder_drift * (elevation_deg - 150.0).to_radians(),
            Landmark::Wrist(_) => self.wrist,
            Landmark::Hip(side) => {
                self.hip + Vector3::x() * (side.sign() * build.hip_half_mm * self.twist_deg.to_radians().sin())
            }
            _ => Vector3::zeros(),
        }
    }
}

/// How the skin over shoulder and hip lies in one reach, person axes, mm.
#[derive(Default)]
pub(super) struct SkinShift {
    shoulder: Vector3<f64>,
    hip: Vector3<f64>,
}

impl SkinShift {
    pub(super) fn draw(rng: &mut impl Rng) -> Self {
        let mut shift = || Vector3::from_fn(|_, _| normal(rng, 0.0, SKIN_REACH_SD_MM));
        Self { shoulder: shift(), hip: shift() }
    }

    pub(super) fn of(&self, landmark: Landmark) -> Vector3<f64> {
        match landmark {
            Landmark::Shoulder(_) => self.shoulder,
            Landmark::Hip(_) => self.hip,
            _ => Vector3::zeros(),
        }
    }
}

/// Raises one arm higher than the other, as it comes out in one reach.
pub(super) fn raise_unevenly(stance: &mut Stance, rng: &mut impl Rng) {
    let higher_deg = normal(rng, 0.0, ASYMMETRY_REACH_SD_DEG);
    stance.arms[0].elevation_deg -= higher_deg / 2.0;
    stance.arms[1].elevation_deg += higher_deg / 2.0;
}

/// The landmarks that are marked in each view.
pub(super) fn landmarks(view: View) -> Vec<Landmark> {
    use Landmark::{BarEnd, Datum, Elbow, Hip, PlumbBottom, PlumbTop, Shoulder, Wrist};
    use Side::{Left, Right};
    let room = [PlumbTop, PlumbBottom, Datum];
    let bar = [BarEnd(Left), BarEnd(Right)];
    let near = [Shoulder(Right), Elbow(Right), Wrist(Right), Hip(Right)];
    let far = [Shoulder(Left), Elbow(Left), Wrist(Left)];
    match view {
        // Both hands are overhead, so that the far wrist is seen beside the near one.
        View::Side => [near.as_slice(), &far[2..], &bar, &room].concat(),
        View::Front => [&near[..3], &far, &bar, &room].concat(),
        View::Oblique => [near.as_slice(), &far, &bar, &room].concat(),
    }
}

/// Where a landmark of the room is, room mm; `None` for those of body and bar. The wall's edge leans forward and to the right
/// by `edge_tilt_rad`.
pub(super) fn room_landmark(landmark: Landmark, edge_tilt_rad: [f64; 2]) -> Option<Vector3<f64>> {
    let edge = |height: f64| {
        let [x, z] = WALL_EDGE_MM;
        let [forward, right] = edge_tilt_rad.map(|tilt| tilt * (height - 1000.0));
        Vector3::new(x + forward, height, z + right)
    };
    match landmark {
        Landmark::PlumbTop => Some(edge(1750.0)),
        Landmark::PlumbBottom => Some(edge(420.0)),
        Landmark::Datum => Some(Vector3::from(DATUM_MM)),
        _ => None,
    }
}

/// A phone on a stand: some 3 m away, half a metre off shoulder height, off axis, a little rolled, aimed roughly.
fn draw_camera(view: View, person: &Person, rng: &mut impl Rng) -> SceneCamera {
    let shoulder_height = SEAT_MM + 90.0 + person.build.trunk_mm;
    let off_height = normal(rng, 0.0, 500.0).clamp(-750.0, 900.0);
    let bearing = match view {
        View::Side => 0.0,
        View::Oblique => 45.0 + uniform(rng, -10.0, 10.0),
        View::Front => 90.0,
    };
    // Bearing 0 looks at the right side, along -Z; 90 looks at the front, along -X.
    let (sin, cos) = (bearing + normal(rng, 0.0, BEARING_SD_DEG).clamp(-2.0 * BEARING_SD_DEG, 2.0 * BEARING_SD_DEG))
        .to_radians()
        .sin_cos();
    let distance = normal(rng, 3000.0, 200.0).clamp(2500.0, 3600.0);
    let position = Vector3::new(distance * sin, shoulder_height + off_height, distance * cos);
    let target = Vector3::new(normal(rng, 0.0, 80.0), normal(rng, 1150.0, 60.0), 0.0);
    let focal = uniform(rng, 880.0, 980.0);
    let lens = draw_lens(focal, rng);
    SceneCamera::looking_at(lens, position, target, normal(rng, 0.0, 1.0))
}

/// A phone's lens of a focal length, px: nearly square pixels, nearly centred, with some distortion.
pub(super) fn draw_lens(focal: f64, rng: &mut impl Rng) -> SceneLens {
    SceneLens {
        image_size: IMAGE_SIZE,
        fx: focal,
        fy: focal * (1.0 + normal(rng, 0.0, 0.001)),
        cx: 639.5 + normal(rng, 0.0, 6.0),
        cy: 359.5 + normal(rng, 0.0, 6.0),
        distortion: [
            uniform(rng, -0.05, 0.12),
            uniform(rng, -0.2, 0.05),
            normal(rng, 0.0, 5e-4),
            normal(rng, 0.0, 5e-4),
            0.02,
        ],
    }
}

/// A lens with these numbers as a good calibration states it.
pub(super) fn known_lens(lens: &SceneLens) -> Lens {
    let mut covariance = SMatrix::<f64, 9, 9>::zeros();
    for (index, u) in CALIBRATION_U.into_iter().enumerate() {
        covariance[(index, index)] = u * u;
    }
    Lens {
        image_size: lens.image_size,
        fx: lens.fx,
        fy: lens.fy,
        cx: lens.cx,
        cy: lens.cy,
        distortion: lens.distortion,
        covariance,
    }
}

pub(super) fn normal(rng: &mut impl Rng, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).expect("every spread in this file is finite and not negative").sample(rng)
}

pub(super) fn uniform(rng: &mut impl Rng, from: f64, to: f64) -> f64 {
    Uniform::new(from, to).expect("every range in this file is finite and not empty").sample(rng)
}
