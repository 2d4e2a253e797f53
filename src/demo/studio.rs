//! The room around the rower: the wall's end against which they sit, the floor, the walls beyond, and the stool.

use nalgebra::{Isometry3, Vector3};
use rayon::prelude::*;

use crate::demo::field::{self, FAR_MM, PartSet};
use crate::demo::light::Shade;
use crate::demo::paint::{self, Paint, Surface};
use crate::demo::shape::{Part, PartKind, Solid, V3};

/// The wall's end, behind the back: X, mm.
const WALL_END_MM: f32 = -128.0;

/// Half the wall's thickness, mm: its two vertical edges are at this Z to either side.
const WALL_HALF_MM: f32 = 90.0;

/// The wall behind the rower's left: Z, mm.
const FAR_SIDE_MM: f32 = -1650.0;

/// The wall behind the rower's back: X, mm.
const FAR_BACK_MM: f32 = -2100.0;

/// Height of the skirting board, mm.
const SKIRTING_MM: f32 = 85.0;

/// Half the side of the tape mark, mm.
const TAPE_HALF_MM: f32 = 30.0;

/// Samples along a side of a pixel.
const SUBPIXELS: u8 = 3;

/// Where the room's landmarks are for a camera on the person's right or in front: world mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomMarks {
    /// Upper point of the wall's edge.
    pub plumb_top_mm: Vector3<f64>,
    /// Lower point of the wall's edge.
    pub plumb_bottom_mm: Vector3<f64>,
    /// Middle of the tape mark.
    pub datum_mm: Vector3<f64>,
}

impl RoomMarks {
    /// The marks used in a side view: the wall's near edge from above the head to below the seat; tape on its side.
    pub const SIDE: Self = Self {
        plumb_top_mm: Vector3::new(-128.0, 1780.0, 90.0),
        plumb_bottom_mm: Vector3::new(-128.0, 330.0, 90.0),
        datum_mm: Vector3::new(-620.0, 1480.0, 90.0),
    };

    /// The marks used in a front view: the same edge above the shoulders, and tape on the wall's end above the head.
    pub const FRONT: Self = Self {
        plumb_top_mm: Vector3::new(-128.0, 1960.0, 90.0),
        plumb_bottom_mm: Vector3::new(-128.0, 1390.0, 90.0),
        datum_mm: Vector3::new(-128.0, 1640.0, 0.0),
    };
}

/// What the camera sees of the room in one pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Backdrop {
    /// Mean light of the pixel.
    pub shade: Shade,
    /// Distance to the room in the middle of the pixel, mm.
    pub distance_mm: f32,
    /// The point of the room in the middle of the pixel, world mm.
    pub point_mm: V3,
}

/// The room, ready to be looked at.
#[derive(Debug)]
pub struct Studio {
    stool: Vec<Part>,
    tape_mm: V3,
}

impl Studio {
    /// The room with its stool and the tape mark.
    #[must_use]
    pub fn new(marks: &RoomMarks) -> Self {
        let kind = PartKind { melt: 2.0, group: 0, paint: Paint::Wood, bone: 0 };
        let seat = Solid::RoundBox { half: V3::new(165.0, 17.0, 175.0), edge: 12.0 };
        let mut stool = vec![Part::placed(seat, &Isometry3::translation(45.0, 433.0, 0.0), kind)];
        let bar = |from: Vector3<f64>, to: Vector3<f64>, radius: f32| {
            let length = nalgebra::Vector1::new((to - from).norm()).cast::<f32>().x;
            let solid = Solid::round_cone(length, radius, radius, [1.0, 1.0]);
            let hint = if (to - from).normalize().x.abs() > 0.9 { Vector3::y() } else { Vector3::x() };
            Part::placed(solid, &crate::demo::body::frame_along(from, to, hint), kind)
        };
        let foot = |x: f64, z: f64| Vector3::new(45.0 + x * 150.0, 8.0, z * 160.0);
        let head = |x: f64, z: f64| Vector3::new(45.0 + x * 122.0, 420.0, z * 130.0);
        for (x, z) in [(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)] {
            stool.push(bar(foot(x, z), head(x, z), 17.0));
        }
        let rung = |x: f64, z: f64| foot(x, z).lerp(&head(x, z), 0.42);
        for ((ax, az), (bx, bz)) in [
            ((-1.0, -1.0), (-1.0, 1.0)),
            ((1.0, -1.0), (1.0, 1.0)),
            ((-1.0, 1.0), (1.0, 1.0)),
            ((-1.0, -1.0), (1.0, -1.0)),
        ] {
            stool.push(bar(rung(ax, az), rung(bx, bz), 11.0));
        }
        Self { stool, tape_mm: marks.datum_mm.cast() }
    }

    /// What a camera at `origin` sees of the room. `directions` gives the ray of a place in the picture, px.
    #[must_use]
    pub fn backdrop(
        &self,
        size_px: [usize; 2],
        origin: &V3,
        direction: impl Fn(f32, f32) -> V3 + Sync,
    ) -> Vec<Backdrop> {
        let [width, height] = size_px;
        (0..width * height)
            .into_par_iter()
            .map(|number| {
                let (x, y) = ((number % width) as f32, (number / width) as f32);
                let mut sum = Shade::default();
                for step in 0..SUBPIXELS * SUBPIXELS {
                    let place = |step: u8| (f32::from(step) + 0.5) / f32::from(SUBPIXELS) - 0.5;
                    let ray = direction(x + 1.2 * place(step % SUBPIXELS), y + 1.2 * place(step / SUBPIXELS));
                    let shade = self.look(origin, &ray).0;
                    sum.ambient += shade.ambient;
                    sum.lamp += shade.lamp;
                }
                let count = f32::from(SUBPIXELS * SUBPIXELS);
                let ray = direction(x, y);
                let distance_mm = self.look(origin, &ray).1;
                Backdrop {
                    shade: Shade { ambient: sum.ambient / count, lamp: sum.lamp / count },
                    distance_mm,
                    point_mm: origin + ray * distance_mm,
                }
            })
            .collect()
    }

    /// The light a ray meets and how far away.
    fn look(&self, origin: &V3, ray: &V3) -> (Shade, f32) {
        let mut nearest = FAR_MM;
        let mut face = V3::zeros();
        let mut meet = |axis: usize, at: f32, normal: V3, inside: &dyn Fn(&V3) -> bool| {
            let way = (at - origin[axis]) / ray[axis];
            if way > 0.0 && way < nearest && inside(&(origin + ray * way)) {
                nearest = way;
                face = normal;
            }
        };
        meet(1, 0.0, V3::y(), &|_| true);
        meet(2, FAR_SIDE_MM, V3::z(), &|_| true);
        meet(0, FAR_BACK_MM, V3::x(), &|_| true);
        meet(0, WALL_END_MM, V3::x(), &|p| p.z.abs() <= WALL_HALF_MM);
        meet(2, WALL_HALF_MM, V3::z(), &|p| p.x <= WALL_END_MM);
        meet(2, -WALL_HALF_MM, -V3::z(), &|p| p.x <= WALL_END_MM);
        let all: PartSet = (1 << self.stool.len()) - 1;
        if let Some(way) = self.stool_way(origin, ray, nearest, all) {
            let p = origin + ray * way;
            let normal = field::normal(&self.stool, all, &p);
            let part = field::touch(&self.stool, all, &p).map_or(&self.stool[0], |touch| touch.part);
            let local = part.solid_from_world * (p - part.origin);
            let surface = paint::surface(Paint::Wood, 0, &local);
            return (Shade::of(&surface, &normal, &-ray, 0.25 + 0.75 * open_above(p.y)), way);
        }
        let p = origin + ray * nearest;
        let (albedo, open) = self.room_albedo(&p, &face);
        (Shade::of(&Surface { albedo, gloss: 0.0, dent: V3::zeros() }, &face, &-ray, open), nearest)
    }

    fn stool_way(&self, origin: &V3, ray: &V3, to: f32, all: PartSet) -> Option<f32> {
        let middle = V3::new(45.0, 220.0, 0.0);
        let nearest = (middle - origin).dot(ray);
        let miss = (origin + ray * nearest - middle).norm();
        if miss > 340.0 {
            return None;
        }
        field::march(&self.stool, all, origin, ray, nearest - 350.0, to.min(nearest + 350.0))
    }

    /// Colour of walls and floor, and the share of the surroundings a point of them sees.
    fn room_albedo(&self, p: &V3, face: &V3) -> (V3, f32) {
        if face.y > 0.5 {
            let to_wall = (p.z - FAR_SIDE_MM).min(p.x - FAR_BACK_MM);
            let under_stool = 1.0 - 0.62 * (-(square((p.x - 45.0) / 190.0) + square(p.z / 200.0))).exp();
            let at_wall_end = corner(if p.z.abs() < WALL_HALF_MM { p.x - WALL_END_MM } else { FAR_MM });
            return (paint::floorboards(p.x, p.z), corner(to_wall) * under_stool * at_wall_end);
        }
        if let Some(albedo) = tape_mark(&(p - self.tape_mm), face) {
            return (albedo, 1.0);
        }
        let is_wall_end = p.x > WALL_END_MM - 1.0 && face.x > 0.5 && p.z.abs() <= WALL_HALF_MM + 0.5;
        let is_wall_side = p.x <= WALL_END_MM && (p.z - WALL_HALF_MM).abs() < 1.0;
        let (across, base) = if is_wall_end {
            (p.z + 5000.0, V3::new(0.60, 0.59, 0.55))
        } else if is_wall_side {
            (p.x, V3::new(0.66, 0.645, 0.60))
        } else if face.x > 0.5 {
            (p.z + 9000.0, V3::new(0.34, 0.40, 0.42))
        } else {
            (p.x + 3000.0, V3::new(0.36, 0.42, 0.44))
        };
        let near_floor = corner(p.y);
        if p.y < SKIRTING_MM {
            let top_shadow = if p.y > SKIRTING_MM - 5.0 { 0.8 } else { 1.0 };
            return (V3::new(0.55, 0.54, 0.51) * (1.0 + 0.04 * paint::noise(&(p / 30.0))) * top_shadow, near_floor);
        }
        if !is_wall_end
            && !is_wall_side
            && face.z > 0.5
            && let Some(albedo) = notice_board(p)
        {
            return (albedo, 1.0);
        }
        let open = if is_wall_end || is_wall_side {
            near_floor
        } else {
            near_floor * corner((p.x - FAR_BACK_MM).max(p.z - FAR_SIDE_MM))
        };
        (paint::plaster(across, p.y, base), open)
    }
}

/// A cork board with papers on the wall beyond.
fn notice_board(p: &V3) -> Option<V3> {
    let (x, y) = (p.x - 1150.0, p.y - 1330.0);
    if x.abs() > 460.0 || y.abs() > 320.0 {
        return None;
    }
    if x.abs() > 435.0 || y.abs() > 295.0 {
        return Some(V3::new(0.30, 0.20, 0.11));
    }
    for (number, (left, bottom, width, height, tint)) in [
        (-380.0, -20.0, 210.0, 280.0, V3::new(0.72, 0.72, 0.70)),
        (-120.0, 60.0, 230.0, 165.0, V3::new(0.62, 0.66, 0.46)),
        (160.0, -60.0, 210.0, 290.0, V3::new(0.70, 0.68, 0.64)),
        (-330.0, -260.0, 280.0, 190.0, V3::new(0.48, 0.58, 0.68)),
        (20.0, -250.0, 120.0, 160.0, V3::new(0.70, 0.55, 0.50)),
    ]
    .into_iter()
    .enumerate()
    {
        let (u, v) = (x - left, y - bottom);
        if u > 0.0 && u < width && v > 0.0 && v < height {
            let line = (v / 17.0).fract() < 0.35 && u > 22.0 && u < width - 30.0 && v > 20.0 && v < height - 30.0;
            let words = paint::noise(&V3::new(u / 9.0, (v / 17.0).floor() * 3.1, number as f32 * 7.0)) > -0.25;
            return Some(if line && words { tint * 0.35 } else { tint });
        }
    }
    Some(V3::new(0.42, 0.28, 0.16) * (1.0 + 0.22 * paint::noise(&(p / 6.0))))
}

/// A square of pale tape with a dark cross, on a wall face; `from_middle` is from its centre.
fn tape_mark(from_middle: &V3, face: &V3) -> Option<V3> {
    let (across, off_face) =
        if face.x.abs() > 0.5 { (from_middle.z, from_middle.x) } else { (from_middle.x, from_middle.z) };
    if off_face.abs() > 1.0 || across.abs() > TAPE_HALF_MM || from_middle.y.abs() > TAPE_HALF_MM {
        return None;
    }
    let on_cross = across.abs() < 3.2 || from_middle.y.abs() < 3.2;
    Some(if on_cross { V3::new(0.03, 0.03, 0.035) } else { V3::new(0.78, 0.62, 0.08) })
}

/// How open a corner is at a distance from it, mm.
fn corner(distance_mm: f32) -> f32 {
    1.0 - 0.42 * (-distance_mm.max(0.0) / 130.0).exp()
}

/// How open the stool is at a height: dark under the seat.
fn open_above(height_mm: f32) -> f32 {
    if height_mm > 449.0 { 0.5 } else { 0.35 + 0.5 * (1.0 - height_mm / 450.0) }
}

fn square(v: f32) -> f32 {
    v * v
}
