//! The distance field of a whole figure, and which of its parts can matter in which tile of a picture.

use nalgebra::Vector3;

use crate::demo::figure::{Figure, GROUPS};
use crate::demo::shape::{Part, V3, melted};

/// Side of a tile, px.
pub const TILE_PX: usize = 8;

/// A set of parts, one bit each.
pub type PartSet = u128;

/// Farther than anything in the room, mm.
pub const FAR_MM: f32 = 1.0e6;

/// A beam that has come this far meets nothing more: the room's depth, mm.
const BEAM_END_MM: f32 = 6000.0;

/// A ray ends on a surface when it is this near, mm: a fraction of a pixel.
const TOUCH_MM: f32 = 0.6;

/// Ellipsoids and widened solids give distances that are only nearly safe; steps are shortened by this.
const CAUTION: f32 = 0.92;

/// Steps of a ray within a tile: enough to graze one limb and still reach the next.
const MAX_STEPS: usize = 120;

/// Over this distance the paints of two neighbouring bones mix, mm.
const PAINT_MIX_MM: f32 = 5.0;

/// Parts within this distance shade a surface, mm.
const NEAR_MM: f32 = 26.0;

/// What is at a point of the surface.
#[derive(Debug, Clone, Copy)]
pub struct Touch<'a> {
    /// The nearest part.
    pub part: &'a Part,
    /// The nearest part of another bone or paint, with its share below one half, where paints mix.
    pub other: Option<(&'a Part, f32)>,
    /// Parts near enough to shape or shade the surface here.
    pub near: PartSet,
}

/// Distance from a point to the union of a set of parts.
#[must_use]
pub fn distance(parts: &[Part], set: PartSet, p: &V3) -> f32 {
    let mut groups = [FAR_MM; GROUPS];
    let mut left = set;
    while left != 0 {
        let part = &parts[low_bit(left)];
        left &= left - 1;
        let found = part.distance(p);
        let group = &mut groups[usize::from(part.group)];
        *group = if part.melt > 0.0 { melted(*group, found, part.melt) } else { group.min(found) };
    }
    groups.into_iter().fold(FAR_MM, f32::min)
}

/// The part of a surface point, and those near enough to shape or shade the surface about it.
#[must_use]
pub fn touch<'a>(parts: &'a [Part], set: PartSet, p: &V3) -> Option<Touch<'a>> {
    let mut nearest: Option<(f32, &Part)> = None;
    let mut near = 0;
    let mut left = set;
    let mut distances = [FAR_MM; PartSet::BITS as usize];
    while left != 0 {
        let bit = low_bit(left);
        let part = &parts[bit];
        left &= left - 1;
        let found = part.distance(p);
        distances[bit] = found;
        if found < part.melt.max(NEAR_MM) + 1.5 {
            near |= 1 << bit;
        }
        if nearest.is_none_or(|(least, _)| found < least) {
            nearest = Some((found, part));
        }
    }
    let (least, part) = nearest?;
    let mut other: Option<(f32, &Part)> = None;
    let mut left = near;
    while left != 0 {
        let bit = low_bit(left);
        let neighbour = &parts[bit];
        left &= left - 1;
        let mixes = neighbour.bone != part.bone && neighbour.paint == part.paint && neighbour.group == part.group;
        if mixes && other.is_none_or(|(distance, _)| distances[bit] < distance) {
            other = Some((distances[bit], neighbour));
        }
    }
    let other = other
        .map(|(distance, neighbour)| (neighbour, 0.5 - (distance - least) / (2.0 * PAINT_MIX_MM)))
        .filter(|&(_, share)| share > 0.0);
    Some(Touch { part, other, near })
}

/// The outward normal of the surface at `p`.
#[must_use]
pub fn normal(parts: &[Part], set: PartSet, p: &V3) -> V3 {
    const STEP_MM: f32 = 0.8;
    // Four corners of a tetrahedron: the fewest evaluations that give all three slopes.
    [[1.0, -1.0, -1.0], [-1.0, -1.0, 1.0], [-1.0, 1.0, -1.0], [1.0, 1.0, 1.0]]
        .into_iter()
        .map(|corner| {
            let corner = Vector3::from(corner);
            corner * distance(parts, set, &(p + corner * STEP_MM))
        })
        .sum::<V3>()
        .normalize()
}

/// How far along a ray the parts are first met, at most `to`; `None` when they are missed.
#[must_use]
pub fn march(parts: &[Part], set: PartSet, origin: &V3, direction: &V3, from: f32, to: f32) -> Option<f32> {
    let mut along = from;
    for _ in 0..MAX_STEPS {
        let gap = distance(parts, set, &(origin + direction * along));
        if gap < TOUCH_MM {
            return Some(along);
        }
        along += gap * CAUTION;
        if along > to {
            return None;
        }
    }
    None
}

/// A narrow beam: all rays of one tile.
#[derive(Debug, Clone, Copy)]
pub struct Beam {
    /// Where it starts.
    pub origin: V3,
    /// Its axis.
    pub direction: V3,
    /// Its radius per mm of way.
    pub spread: f32,
}

/// What a beam can meet.
#[derive(Debug, Clone, Copy)]
pub struct Meeting {
    /// Parts that shape a surface in the beam.
    pub set: PartSet,
    /// Those, and parts near enough to shade it.
    pub wide_set: PartSet,
    /// No surface is nearer than this, mm.
    pub from: f32,
}

impl Beam {
    /// Which of the parts the beam meets, and how far it goes free.
    #[must_use]
    pub fn meets(&self, parts: &[Part], set: PartSet) -> Meeting {
        let mut meeting = Meeting { set: 0, wide_set: 0, from: FAR_MM };
        let mut left = set;
        while left != 0 {
            let bit = low_bit(left);
            left &= left - 1;
            let part = &parts[bit];
            let Some(near) = self.comes_within(part, part.melt.max(NEAR_MM) + 2.0, 0.0) else { continue };
            meeting.wide_set |= 1 << bit;
            let Some(touching) = self.comes_within(part, part.melt + 2.0, near) else { continue };
            meeting.set |= 1 << bit;
            meeting.from = meeting.from.min(touching);
        }
        meeting.from = self.free_way(parts, meeting.set, meeting.from);
        meeting
    }

    /// How far all rays of the beam go before any may touch the parts, all together.
    fn free_way(&self, parts: &[Part], set: PartSet, from: f32) -> f32 {
        let mut along = from;
        for _ in 0..MAX_STEPS {
            let gap = distance(parts, set, &(self.origin + self.direction * along)) * CAUTION - self.spread * along;
            if gap < 1.0 || along > BEAM_END_MM {
                break;
            }
            along += gap;
        }
        along
    }

    /// How far along the beam one part is within `margin` of it; `None` when it never is.
    fn comes_within(&self, part: &Part, margin: f32, from: f32) -> Option<f32> {
        let mut along = from;
        for _ in 0..MAX_STEPS {
            let gap = part.distance(&(self.origin + self.direction * along)) * CAUTION - margin - self.spread * along;
            if gap < 1.0 {
                return Some(along);
            }
            along += gap;
            if along > BEAM_END_MM {
                return None;
            }
        }
        Some(along) // undecided: keep it
    }
}

/// For every tile of a picture, the parts that may be seen in it.
#[derive(Debug, Clone)]
pub struct TileSets {
    columns: usize,
    sets: Vec<PartSet>,
}

impl TileSets {
    /// Sorts a figure's parts into tiles. `bounds` gives the box, in px, that a ball can cover: left, top, right, bottom.
    pub fn of(figure: &Figure, size_px: [usize; 2], bounds: impl Fn(&V3, f32) -> [f32; 4]) -> Self {
        let [columns, rows] = size_px.map(|size| size.div_ceil(TILE_PX));
        let mut sets = vec![0; columns * rows];
        for (number, part) in figure.parts.iter().enumerate() {
            for (center, radius) in &part.balls {
                let [left, top, right, bottom] = bounds(center, *radius);
                for row in tile_of(top, rows)..=tile_of(bottom, rows) {
                    for column in tile_of(left, columns)..=tile_of(right, columns) {
                        sets[row * columns + column] |= 1 << number;
                    }
                }
            }
        }
        Self { columns, sets }
    }

    /// The parts of the tile in this column and row.
    #[must_use]
    pub fn at(&self, column: usize, row: usize) -> PartSet {
        self.sets[row * self.columns + column]
    }
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the tiles before the cast")]
fn tile_of(px: f32, tiles: usize) -> usize {
    let last = tiles - 1;
    ((px.max(0.0) / TILE_PX as f32) as usize).min(last)
}

fn low_bit(set: PartSet) -> usize {
    set.trailing_zeros() as usize
}
