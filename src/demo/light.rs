//! Light in the room: one large lamp, the sky of the ceiling, and the shadow that the figure throws.

use nalgebra::{Matrix3, Vector3};
use rayon::prelude::*;

use crate::demo::field::{self, FAR_MM, TILE_PX, TileSets};
use crate::demo::figure::Figure;
use crate::demo::paint::Surface;
use crate::demo::shape::V3;

/// Toward the lamp, world.
const TO_LAMP: [f32; 3] = [0.60, 0.72, 0.66];

/// The lamp's light, linear RGB.
const LAMP: [f32; 3] = [0.98, 0.94, 0.86];

/// Light from the ceiling and the walls.
const CEILING: [f32; 3] = [0.46, 0.49, 0.54];

/// Light from the floor.
const FLOOR: [f32; 3] = [0.25, 0.22, 0.19];

/// Side of the shadow map, mm: the figure's reach and a little more.
const MAP_MM: f32 = 2300.0;

/// The map's middle, world mm: about the seated figure's.
const MAP_MIDDLE_MM: [f32; 3] = [150.0, 950.0, 0.0];

/// The lamp is wide: shadows are blurred over this radius, mm.
const PENUMBRA_MM: f32 = 26.0;

/// A surface is not in its own shadow when it is this near, mm.
const SHADOW_BIAS_MM: f32 = 16.0;

/// Light arriving at a point, split so that the part the lamp gives can be shadowed later.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Shade {
    /// Returned light of ceiling and floor, linear RGB.
    pub ambient: V3,
    /// Returned light of the lamp, unshadowed.
    pub lamp: V3,
}

impl Shade {
    /// Light returned by a surface toward the viewer. `open` is the share of the surroundings it sees.
    #[must_use]
    pub fn of(surface: &Surface, normal: &V3, to_viewer: &V3, open: f32) -> Self {
        let to_lamp = to_lamp();
        let up = 0.5 + 0.5 * normal.y;
        let sky = Vector3::from(CEILING) * up + Vector3::from(FLOOR) * (1.0 - up);
        // A wrapped cosine: a wide lamp reaches a little around the edge.
        let facing = ((normal.dot(&to_lamp) + 0.22) / 1.22).max(0.0);
        let half = (to_lamp + to_viewer).normalize();
        let highlight = surface.gloss * normal.dot(&half).max(0.0).powi(24);
        let lamp = Vector3::from(LAMP);
        Self {
            ambient: surface.albedo.component_mul(&sky) * open,
            lamp: (surface.albedo.component_mul(&lamp) * facing + lamp * highlight) * (0.55 + 0.45 * open),
        }
    }

    /// The light seen when a share `lit` of the lamp reaches the point.
    #[must_use]
    pub fn lit(&self, lit: f32) -> V3 {
        self.ambient + self.lamp * lit
    }
}

fn to_lamp() -> V3 {
    Vector3::from(TO_LAMP).normalize()
}

/// Two rings and the middle of a disc as wide as the penumbra.
fn lamp_texels(reach: f32) -> Vec<[f32; 2]> {
    let mut places = vec![[0.0, 0.0]];
    for (ring, taps) in [(0.45, 5_u8), (1.0, 9)] {
        for tap in 0..taps {
            let (sin, cos) = (std::f32::consts::TAU * (f32::from(tap) + ring) / f32::from(taps)).sin_cos();
            places.push([cos * ring * reach, sin * ring * reach]);
        }
    }
    places
}

/// How far the figure reaches toward the lamp, over a grid across the light.
#[derive(Debug, Clone)]
pub struct ShadowMap {
    light_from_world: Matrix3<f32>,
    texels: usize,
    texel_mm: f32,
    /// Height toward the lamp of the figure's first surface, mm from the middle; minus [`FAR_MM`] where there is none.
    height: Vec<f32>,
    /// Places of the lamp's face, as texels of blur.
    lamp_texels: Vec<[f32; 2]>,
}

impl ShadowMap {
    /// The shadow map of a figure, in texels of `texel_mm`.
    #[must_use]
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a map has some hundred texels")]
    pub fn of(figure: &Figure, texel_mm: f32) -> Self {
        let texels = (MAP_MM / texel_mm).ceil() as usize;
        let toward = to_lamp();
        let across = Vector3::y().cross(&toward).normalize();
        let along = toward.cross(&across);
        let light_from_world = Matrix3::from_rows(&[across.transpose(), along.transpose(), toward.transpose()]);
        let middle = Vector3::from(MAP_MIDDLE_MM);
        let texel = |world: &V3| {
            let light = light_from_world * (world - middle);
            [light.x / texel_mm + texels as f32 / 2.0, light.y / texel_mm + texels as f32 / 2.0]
        };
        let tiles = TileSets::of(figure, [texels; 2], |center, radius| {
            let [x, y] = texel(center);
            let reach = radius / texel_mm + 1.0;
            [x - reach, y - reach, x + reach, y + reach]
        });
        let start_mm = 1500.0;
        let height = (0..texels * texels)
            .into_par_iter()
            .map(|number| {
                let (column, row) = (number % texels, number / texels);
                let set = tiles.at(column / TILE_PX, row / TILE_PX);
                if set == 0 {
                    return -FAR_MM;
                }
                let offset = |texel: usize| (texel as f32 + 0.5 - texels as f32 / 2.0) * texel_mm;
                let origin = middle + across * offset(column) + along * offset(row) + toward * start_mm;
                field::march(&figure.parts, set, &origin, &-toward, 0.0, 2.0 * start_mm)
                    .map_or(-FAR_MM, |way| start_mm - way)
            })
            .collect();
        Self { light_from_world, texels, texel_mm, height, lamp_texels: lamp_texels(PENUMBRA_MM / texel_mm) }
    }

    /// The share of the lamp, 0 to 1, that reaches a world point past the figure.
    #[must_use]
    pub fn lit(&self, world: &V3) -> f32 {
        let light = self.light_from_world * (world - Vector3::from(MAP_MIDDLE_MM));
        let middle = [light.x, light.y].map(|along| along / self.texel_mm + self.texels as f32 / 2.0);
        let reach = PENUMBRA_MM / self.texel_mm;
        if middle.iter().any(|at| *at < -reach || *at > self.texels as f32 + reach) {
            return 1.0;
        }
        let lit: f32 = self
            .lamp_texels
            .iter()
            .map(|[across, along]| self.clear([middle[0] + across, middle[1] + along], light.z))
            .sum();
        lit / self.lamp_texels.len() as f32
    }

    /// 1 where nothing of the figure is between the lamp and the height, 0 where something is, softly between.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "checked to lie in the map before the cast"
    )]
    fn clear(&self, texel: [f32; 2], height: f32) -> f32 {
        let inside = |at: f32| (0.0..self.texels as f32).contains(&at);
        if !inside(texel[0]) || !inside(texel[1]) {
            return 1.0;
        }
        let above = self.height[texel[1] as usize * self.texels + texel[0] as usize] - height - SHADOW_BIAS_MM;
        (1.0 - above / 10.0).clamp(0.0, 1.0)
    }
}
