//! What surfaces look like: solid textures that move with the body, as linear colour. Bone or room frame, mm.
//!
//! Detail is a few millimetres and more, what a phone across the room resolves.

use nalgebra::Vector3;

use crate::demo::figure::bone;
use crate::demo::shape::V3;

/// What a part is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paint {
    /// Arms, hands, legs, neck.
    Skin,
    /// The head's skin with eyes, brows and lips.
    Face,
    /// Short grey hair.
    Hair,
    /// The marled shirt with a pale band.
    Shirt,
    /// Its collar.
    Collar,
    /// Dark shorts.
    Shorts,
    /// Ribbed socks.
    Sock,
    /// Shoes.
    Shoe,
    /// Their soles.
    Sole,
    /// The wooden bar with taped ends.
    Bar,
    /// The stool.
    Wood,
}

/// How light comes back from a point of a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Surface {
    /// Share of light returned in all directions, linear RGB.
    pub albedo: V3,
    /// Strength of the highlight, 0 for none.
    pub gloss: f32,
    /// How much the surface is dented by folds: added to the normal, in the bone's frame.
    pub dent: V3,
}

/// The surface of a painted part at `p` of its bone's frame.
#[must_use]
pub fn surface(paint: Paint, bone_index: usize, p: &V3) -> Surface {
    let plain = |albedo: V3, gloss: f32| Surface { albedo, gloss, dent: Vector3::zeros() };
    match paint {
        Paint::Skin => plain(skin(p, bone_index), 0.10),
        Paint::Face => plain(face(p), 0.12),
        Paint::Hair => {
            let strands = noise(&V3::new(p.x / 16.0, p.y / 9.0, p.z / 3.5)) * 0.30 + noise(&(p / 5.0)) * 0.25;
            plain(V3::new(0.20, 0.185, 0.17) * (1.0 + strands), 0.05)
        }
        Paint::Shirt => shirt(p, bone_index),
        Paint::Collar => plain(V3::new(0.55, 0.56, 0.55) * (1.0 + 0.15 * noise(&(p / 5.0))), 0.0),
        Paint::Shorts => {
            let marl = 0.30 * noise(&(p / 14.0)) + 0.35 * noise(&(p / 5.5));
            let stripe = bone_index >= bone::THIGH && (p.x - 8.0).abs() < 9.0;
            let base = if stripe { V3::new(0.40, 0.41, 0.40) } else { V3::new(0.035, 0.042, 0.075) };
            Surface { albedo: base * (1.0 + marl), gloss: 0.0, dent: folds(p, 70.0, 30.0) * 0.28 }
        }
        Paint::Sock => {
            let rib = 0.10 * (p.y / 2.2).sin();
            plain(V3::new(0.62, 0.62, 0.60) * (0.95 + rib + 0.10 * noise(&(p / 9.0))), 0.0)
        }
        Paint::Shoe => {
            plain(V3::new(0.10, 0.11, 0.13) * (1.0 + 0.4 * noise(&(p / 11.0)) + 0.25 * noise(&(p / 4.0))), 0.10)
        }
        Paint::Sole => plain(V3::new(0.70, 0.70, 0.67) * (1.0 + 0.08 * noise(&(p / 8.0))), 0.05),
        Paint::Bar => plain(bar(p), 0.18),
        Paint::Wood => plain(wood(&V3::new(p.y, p.x, p.z), V3::new(0.40, 0.235, 0.115)), 0.12),
    }
}

fn skin(p: &V3, bone_index: usize) -> V3 {
    let at = p + V3::repeat(140.0 * small(bone_index));
    let mottle = 0.13 * noise(&(at / 33.0)) + 0.09 * noise(&(at / 12.0)) + 0.06 * noise(&(at / 5.0));
    let spot = ((noise(&(at / 5.5 + V3::new(7.3, 1.1, 4.9))) - 0.62) * 4.0).clamp(0.0, 1.0);
    let red = 0.06 * noise(&(at / 45.0 + V3::new(2.0, 9.0, 5.0)));
    let base = V3::new(0.60 * (1.0 + red), 0.345, 0.245 * (1.0 - red));
    base * (1.0 + mottle) * (1.0 - 0.30 * spot)
}

fn face(p: &V3) -> V3 {
    let side = p.z.abs();
    let mut color = skin(p, bone::HEAD) * 1.02;
    if p.x < 45.0 {
        return color;
    }
    // Cheeks and nose a little redder, a shaven chin a little greyer, the sockets shaded.
    let cheek = (-(square(side - 38.0) + square(p.y + 20.0)) / 500.0).exp();
    color.y *= 1.0 - 0.13 * cheek;
    color.z *= 1.0 - 0.13 * cheek;
    let shaven = ((-38.0 - p.y) / 18.0).clamp(0.0, 1.0);
    color *= 1.0 - shaven * (0.13 + 0.10 * noise(&(p / 3.0)));
    let socket = (-(square((side - 30.0) / 21.0) + square((p.y - 17.0) / 11.0))).exp();
    color *= 1.0 - 0.34 * socket;

    let lid = square((side - 32.0) / 15.0) + square((p.y - 17.0) / 5.6);
    if lid < 1.0 {
        color = V3::new(0.58, 0.56, 0.53);
        if square(side - 33.0) + square(p.y - 17.0) < square(5.6) {
            color = V3::new(0.045, 0.05, 0.06);
        }
    }
    if (0.72..1.55).contains(&lid) && p.y > 17.0 {
        color = V3::new(0.09, 0.06, 0.045);
    }
    let brow = square((side - 31.0) / 19.0) + square((p.y - 34.0 + 0.004 * square(side - 28.0)) / 3.6);
    if brow < 1.0 {
        color = V3::new(0.12, 0.10, 0.085) * (1.0 + 0.4 * noise(&(p / 3.0)));
    }
    let lips = square(p.z / 24.0) + square((p.y + 57.0) / 6.5);
    if lips < 1.0 && p.x > 80.0 {
        color = V3::new(0.46, 0.19, 0.15);
        if (p.y + 57.0).abs() < 1.3 {
            color *= 0.35;
        }
    }
    color
}

fn shirt(p: &V3, bone_index: usize) -> Surface {
    let (band, seam, print) = if bone_index == bone::TRUNK {
        ((318.0..378.0).contains(&p.y), (p.x + 14.0).abs() < 2.6, crew_print(p))
    } else {
        (p.y > 172.0 || (92.0..112.0).contains(&p.y), p.z.abs() < 1.8 && p.x < 0.0, false)
    };
    let at = p + V3::repeat(90.0 * small(bone_index));
    let marl = 0.16 * noise(&(at / 26.0)) + 0.20 * noise(&(at / 10.0)) + 0.22 * noise(&(at / 4.6));
    let base = if band { V3::new(0.60, 0.61, 0.58) } else { V3::new(0.050, 0.205, 0.255) };
    let base = if print { V3::new(0.66, 0.30, 0.06) } else { base };
    let worn = if seam { 0.62 } else { 1.0 };
    Surface { albedo: base * ((1.0 + marl) * worn), gloss: 0.0, dent: folds(&at, 95.0, 34.0) * 0.42 }
}

/// A plain printed oar blade on the chest and a number patch on the back.
fn crew_print(p: &V3) -> bool {
    let shaft = (p.z + 40.0 - 0.35 * (p.y - 230.0)).abs() < 4.0 && (170.0..300.0).contains(&p.y);
    let blade = square((p.z + 60.0 + 0.2 * (p.y - 175.0)) / 13.0) + square((p.y - 168.0) / 26.0) < 1.0;
    p.x > 0.0 && (shaft || blade)
}

fn bar(p: &V3) -> V3 {
    let middle = f32::midpoint(0.0, 1200.0);
    let from_middle = (p.y - middle).abs();
    if from_middle > 565.0 {
        return V3::new(0.62, 0.07, 0.05) * (1.0 + 0.10 * noise(&(p / 6.0)));
    }
    if (from_middle - 402.0).abs() < 9.0 {
        return V3::new(0.06, 0.06, 0.065);
    }
    wood(p, V3::new(0.58, 0.41, 0.22))
}

/// Wood with its grain along y.
fn wood(p: &V3, base: V3) -> V3 {
    let grain = noise(&V3::new(p.x / 3.2, p.y / 90.0, p.z / 3.2)) * 0.22
        + noise(&V3::new(p.x / 9.0, p.y / 40.0, p.z / 9.0)) * 0.18;
    base * (1.0 + grain)
}

/// The painted plaster of a wall, lit evenly; `across` and `up` are mm along it.
#[must_use]
pub fn plaster(across: f32, up: f32, base: V3) -> V3 {
    let at = V3::new(across, up, 0.0);
    let roller = 0.028 * noise(&(at / 140.0)) + 0.030 * noise(&(at / 40.0)) + 0.030 * noise(&(at / 13.0));
    let scuff = ((noise(&V3::new(across / 75.0, up / 26.0, 3.7)) - 0.72) * 3.0).clamp(0.0, 1.0);
    base * (1.0 + roller) * (1.0 - 0.12 * scuff)
}

/// Floorboards along X.
#[must_use]
pub fn floorboards(x: f32, z: f32) -> V3 {
    let width = 92.0;
    let board = (z / width).floor();
    let gap = (z / width - board - 0.5).abs() > 0.485;
    let shade = 0.22 * noise(&V3::new(board * 3.7, (x / 1400.0 + board * 0.37).floor() * 5.1, 0.5));
    let grain = wood(&V3::new(z, x, board * 31.0), V3::new(0.36, 0.225, 0.125));
    grain * (1.0 + shade) * if gap { 0.45 } else { 1.0 }
}

/// Direction in which folds of cloth dent the surface: the slope of a wavy field, longer along y than across.
fn folds(p: &V3, along: f32, across: f32) -> V3 {
    let field = |q: V3| noise(&V3::new(q.x / across, q.y / along + 0.012 * q.x, q.z / across));
    let (here, step) = (field(*p), 3.0);
    let slope = V3::new(
        field(p + Vector3::x() * step) - here,
        field(p + Vector3::y() * step) - here,
        field(p + Vector3::z() * step) - here,
    );
    slope * (across / step)
}

/// Smooth noise of mean 0 within -1 to 1, its features about one unit wide.
#[must_use]
pub fn noise(p: &V3) -> f32 {
    let corner = [whole(p.x), whole(p.y), whole(p.z)];
    let at = V3::new(p.x - corner[0] as f32, p.y - corner[1] as f32, p.z - corner[2] as f32);
    let ease = at.map(|t| t * t * (3.0 - 2.0 * t));
    let along = |axis: usize, factor: u32| {
        let low = corner[axis].cast_unsigned().wrapping_mul(factor);
        [low, low.wrapping_add(factor)]
    };
    let (x, y, z) = (along(0, 0x8da6_b343), along(1, 0xd816_3841), along(2, 0xcb1a_b31f));
    let mix = |a: f32, b: f32, t: f32| a + (b - a) * t;
    let row = |y: u32, z: u32| mix(lattice(x[0] ^ y ^ z), lattice(x[1] ^ y ^ z), ease.x);
    let floor = |z: u32| mix(row(y[0], z), row(y[1], z), ease.y);
    mix(floor(z[0]), floor(z[1]), ease.z)
}

/// The whole number at or below, without a call to the maths library.
#[allow(clippy::cast_possible_truncation, reason = "rooms are far smaller than i32 in any texture's unit")]
fn whole(value: f32) -> i32 {
    let toward_zero = value as i32;
    toward_zero - i32::from(value < toward_zero as f32)
}

/// A number in -1 to 1 that depends on the lattice point alone.
fn lattice(point: u32) -> f32 {
    let mixed = (point ^ (point >> 15)).wrapping_mul(0x2c1b_3c6d);
    let mixed = (mixed ^ (mixed >> 12)).wrapping_mul(0x297a_2d39);
    // The upper 23 bits as the fraction of a number in 2 to 4.
    f32::from_bits(0x4000_0000 | (mixed >> 9)) - 3.0
}

fn square(v: f32) -> f32 {
    v * v
}

/// A bone's number as an offset into the noise, so that limbs differ.
fn small(bone_index: usize) -> f32 {
    f32::from(u8::try_from(bone_index).unwrap_or(u8::MAX))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_is_smooth_bounded_and_not_flat() {
        let (mut low, mut high) = (f32::MAX, f32::MIN);
        for step in 0..2000_u16 {
            let at = V3::new(f32::from(step) * 0.07, f32::from(step) * 0.011, 5.0 - f32::from(step) * 0.013);
            let here = noise(&at);
            assert!(here.abs() <= 1.0);
            assert!((noise(&(at + Vector3::x() * 1e-3)) - here).abs() < 0.01);
            (low, high) = (low.min(here), high.max(here));
        }
        assert!(low < -0.5 && high > 0.5);
    }
}
