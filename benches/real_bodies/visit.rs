//! A visit made of a person's own poses: which poses stand for the reaches, where the camera stands, and the marks.
//!
//! The distributions of camera, room and marking error are this file's own and follow those of `demo::scenes`.

use nalgebra::{Matrix2, SMatrix, Vector3};
use rand::Rng;
use rand_distr::{Distribution, Normal, Uniform};
use tworeach::camera::Lens;
use tworeach::demo::lens::{SceneCamera, SceneLens};
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::pose::{
    BarFacts, FrameObservations, Mark, PersonFacts, ReachObservations, Rotation, View, VisitObservations,
};

use super::people::{Pose, middle, place};

const IMAGE_SIZE: [u32; 2] = [1280, 720];
/// A mark is placed where it can be seen: at least this far within the picture, px.
const MARGIN_PX: f64 = 8.0;
/// Cameras that are tried until body and wall are in the picture.
const MOST_CAMERAS: usize = 200;
/// Half the breadth over the hips in standing heights, and its relative spread between people (ANSUR II).
const HIP_HALF_RATIO: f64 = 0.1018;
const HIP_HALF_SD: f64 = 0.082;
/// For the breadth over the hips of a person of unknown height, mm: the mean of women and men (ANSUR II, from memory).
const MEAN_STATURE_MM: f64 = 1690.0;

/// What a visit is made from.
#[derive(Debug, Clone)]
pub struct VisitOptions {
    pub view: View,
    pub near_side: Side,
    pub has_bar: bool,
    /// Standard deviation of a mark's error in each direction, px.
    pub mark_sd_px: f64,
    /// Standing height, where the data tell it.
    pub stature_mm: Option<f64>,
}

/// The marks of a visit and the poses that they are of.
#[derive(Debug, Clone)]
pub struct Visit {
    pub observations: VisitObservations,
    pub poses: Vec<Pose>,
}

/// Films the poses as reaches of one visit; `None` when no camera has all of it in the picture.
pub fn film(options: &VisitOptions, poses: Vec<Pose>, rng: &mut impl Rng) -> Option<Visit> {
    let grip_mm = poses.iter().map(|pose| (pose.knuckle[1] - pose.knuckle[0]).norm()).sum::<f64>() / poses.len() as f64;
    let bar_half_mm = grip_mm / 2.0 + uniform(rng, 80.0, 250.0);
    let bar_shift_mm = normal(rng, 0.0, 10.0);
    let hip_half_mm = HIP_HALF_RATIO
        * options.stature_mm.unwrap_or(MEAN_STATURE_MM)
        * (1.0 + normal(rng, 0.0, HIP_HALF_SD).clamp(-0.16, 0.16));
    let room = Room::draw(&poses, rng);
    let place_of = |pose: &Pose, landmark: Landmark| -> Vector3<f64> {
        let bar = (pose.knuckle[1] - pose.knuckle[0]).normalize();
        match landmark {
            Landmark::Shoulder(side) => pose.shoulder[place(side)],
            Landmark::Elbow(side) => pose.elbow[place(side)],
            Landmark::Wrist(side) => pose.wrist[place(side)],
            Landmark::Hip(side) => middle(&pose.hip) + pose.pelvis_right * (hip_half_mm * side.sign()),
            Landmark::BarEnd(side) => middle(&pose.knuckle) + bar * (bar_shift_mm + bar_half_mm * side.sign()),
            other => room.place_of(other),
        }
    };
    let wanted = landmarks(options);
    let is_needed = |landmark: Landmark| match landmark {
        Landmark::Datum => false,
        Landmark::BarEnd(_) => options.view == View::Front,
        _ => true,
    };
    let camera = (0..MOST_CAMERAS).map(|_| draw_camera(options, &poses, rng)).find(|camera| {
        poses.iter().all(|pose| {
            wanted
                .iter()
                .filter(|landmark| is_needed(**landmark))
                .all(|landmark| camera.project(&place_of(pose, *landmark)).is_some_and(is_in_picture))
        })
    })?;
    let lens = profile_of(&camera.lens, rng);
    let reaches = poses
        .iter()
        .enumerate()
        .map(|(reach, pose)| {
            let marks = wanted
                .iter()
                .filter_map(|landmark| {
                    let seen = camera.project(&place_of(pose, *landmark)).filter(|seen| is_in_picture(*seen))?;
                    let mut err = || normal(rng, 0.0, options.mark_sd_px);
                    let point = ImagePoint::new(seen.x + err(), seen.y + err());
                    Some(Mark::placed(*landmark, point, Matrix2::identity() * options.mark_sd_px.powi(2)))
                })
                .collect();
            ReachObservations {
                view: options.view,
                near_side: (options.view != View::Front).then_some(options.near_side),
                // These people turned nothing between the poses; the fit is told of a pair as a real visit has it.
                rotation: if reach % 2 == 0 { Rotation::Internal } else { Rotation::External },
                is_mirrored: false,
                image_size: IMAGE_SIZE,
                lens: Some(lens.clone()),
                frames: vec![FrameObservations { time_s: 0.0, raise: 0, motion: None, marks }],
            }
        })
        .collect();
    let observations = VisitObservations {
        contradictions: Vec::new(),
        // As people state it: to the nearest centimetre.
        person: PersonFacts {
            stature_mm: options.stature_mm.map(|mm| (mm / 10.0).round() * 10.0),
            arm_length_mm: None,
        },
        bar: BarFacts { length_mm: options.has_bar.then_some(2.0 * bar_half_mm), has_taped_grips: false },
        reaches,
    };
    Some(Visit { observations, poses })
}

/// The plain angle on the picture between the arm and the trunk at the near shoulder, deg; for views from the side.
pub fn image_angle_deg(reach: &ReachObservations) -> Option<f64> {
    let side = reach.near_side?;
    let at = |landmark: Landmark| {
        reach.frames[0].marks.iter().find(|mark| mark.landmark == landmark).map(|mark| mark.point.to_vector())
    };
    let shoulder = at(Landmark::Shoulder(side))?;
    let (arm, trunk) = (at(Landmark::Wrist(side))? - shoulder, at(Landmark::Hip(side))? - shoulder);
    // Seen from the right, a person faces the picture's right, and the arm swings up through it.
    let swung = (trunk.x * arm.y - trunk.y * arm.x) * -side.sign();
    let deg = swung.atan2(trunk.dot(&arm)).to_degrees();
    Some(if deg < -90.0 { deg + 360.0 } else { deg })
}

fn landmarks(options: &VisitOptions) -> Vec<Landmark> {
    use Landmark::{BarEnd, Datum, Elbow, Hip, PlumbBottom, PlumbTop, Shoulder, Wrist};
    let (near, far) = (options.near_side, options.near_side.other());
    let room = [PlumbTop, PlumbBottom, Datum];
    let near = [Shoulder(near), Elbow(near), Wrist(near), Hip(near)];
    if !options.has_bar {
        return [near.as_slice(), &room].concat();
    }
    let far = [Shoulder(far), Elbow(far), Wrist(far)];
    let bar = [BarEnd(Side::Left), BarEnd(Side::Right)];
    match options.view {
        View::Side => [near.as_slice(), &far[2..], &bar, &room].concat(),
        View::Front => [&near[..3], &far, &bar, &room].concat(),
        View::Oblique => [near.as_slice(), &far, &bar, &room].concat(),
    }
}

/// The wall behind the person: a plumb edge and a tape mark.
struct Room {
    edge_mm: Vector3<f64>,
    bottom_mm: f64,
    top_mm: f64,
    tilt: f64,
    datum_mm: Vector3<f64>,
}

impl Room {
    fn draw(poses: &[Pose], rng: &mut impl Rng) -> Self {
        let (ahead, right) = mean_axes(poses);
        let hip = mean(poses, |pose| middle(&pose.hip));
        let behind = |back: f64, rightward: f64| hip - ahead * back + right * rightward;
        let edge = behind(uniform(rng, 130.0, 400.0), normal(rng, 0.0, 60.0));
        let mut datum = behind(uniform(rng, 300.0, 600.0), normal(rng, 0.0, 60.0));
        datum.y = mean(poses, |pose| middle(&pose.shoulder)).y + normal(rng, 0.0, 100.0);
        Self {
            edge_mm: edge,
            bottom_mm: hip.y - 350.0,
            top_mm: hip.y + 980.0,
            tilt: normal(rng, 0.0, 0.12).to_radians(),
            datum_mm: datum,
        }
    }

    fn place_of(&self, landmark: Landmark) -> Vector3<f64> {
        let edge = |height: f64| {
            let lean = self.tilt * (height - self.edge_mm.y);
            Vector3::new(self.edge_mm.x + lean, height, self.edge_mm.z)
        };
        match landmark {
            Landmark::PlumbTop => edge(self.top_mm),
            Landmark::PlumbBottom => edge(self.bottom_mm),
            _ => self.datum_mm,
        }
    }
}

fn mean(poses: &[Pose], of: impl Fn(&Pose) -> Vector3<f64>) -> Vector3<f64> {
    poses.iter().map(of).sum::<Vector3<f64>>() / poses.len() as f64
}

/// Ahead and to the right of the person, on the mean over the poses.
fn mean_axes(poses: &[Pose]) -> (Vector3<f64>, Vector3<f64>) {
    let right = mean(poses, |pose| pose.axes().z).normalize();
    (Vector3::y().cross(&right), right)
}

/// A phone on a stand: some 3 m away, half a metre off shoulder height, 5 deg off axis, a little rolled, aimed roughly.
fn draw_camera(options: &VisitOptions, poses: &[Pose], rng: &mut impl Rng) -> SceneCamera {
    let (ahead, right) = mean_axes(poses);
    let hip = mean(poses, |pose| middle(&pose.hip));
    let shoulder = mean(poses, |pose| middle(&pose.shoulder));
    let highest = poses.iter().flat_map(|pose| pose.wrist).map(|wrist| wrist.y).fold(f64::MIN, f64::max);
    let bearing = match options.view {
        View::Side => 0.0,
        View::Oblique => 45.0 + uniform(rng, -10.0, 10.0),
        View::Front => 90.0,
    };
    let (sin, cos) = (bearing + normal(rng, 0.0, 5.0)).to_radians().sin_cos();
    let towards = ahead * sin + right * (cos * options.near_side.sign());
    let distance = normal(rng, 3000.0, 200.0).clamp(2500.0, 3600.0);
    let off_height = normal(rng, 0.0, 500.0).clamp(-1000.0, 1000.0);
    let mut position = hip + towards * distance;
    position.y = (shoulder.y + off_height).max(150.0);
    let mut target = hip + ahead * normal(rng, 0.0, 80.0);
    target.y = (hip.y + highest) / 2.0 + normal(rng, 0.0, 60.0);
    let focal = uniform(rng, 880.0, 980.0);
    let lens = SceneLens {
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
    };
    SceneCamera::looking_at(lens, position, target, normal(rng, 0.0, 1.0))
}

/// The camera's lens as a good calibration gives it: off by its stated uncertainty.
fn profile_of(lens: &SceneLens, rng: &mut impl Rng) -> Lens {
    let mut covariance = SMatrix::<f64, 9, 9>::zeros();
    let [k1, k2, p1, p2, k3] = lens.distortion;
    let mut found = [lens.fx, lens.fy, lens.cx, lens.cy, k1, k2, p1, p2, k3];
    for (index, u) in [1.5, 1.5, 2.0, 2.0, 0.003, 0.01, 1e-4, 1e-4, 0.01].into_iter().enumerate() {
        covariance[(index, index)] = u * u;
        found[index] += normal(rng, 0.0, u);
    }
    let [fx, fy, cx, cy, k1, k2, p1, p2, k3] = found;
    Lens { image_size: lens.image_size, fx, fy, cx, cy, distortion: [k1, k2, p1, p2, k3], covariance }
}

fn is_in_picture(point: ImagePoint) -> bool {
    let within = |value: f64, size: u32| (MARGIN_PX..f64::from(size) - MARGIN_PX).contains(&value);
    within(point.x, IMAGE_SIZE[0]) && within(point.y, IMAGE_SIZE[1])
}

/// Draws from a normal distribution.
pub fn normal(rng: &mut impl Rng, mean: f64, sd: f64) -> f64 {
    Normal::new(mean, sd).expect("every spread in this file is finite and not negative").sample(rng)
}

fn uniform(rng: &mut impl Rng, from: f64, to: f64) -> f64 {
    Uniform::new(from, to).expect("every range in this file is finite and not empty").sample(rng)
}
