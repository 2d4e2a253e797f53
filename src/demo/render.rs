//! Exposes a frame: rays through the lens, several instants of the shutter, light added up. Linear RGB out.
//!
//! Every pixel is worked out from its own place alone, so the number of threads changes nothing.

use nalgebra::Vector3;
use rayon::prelude::*;

use crate::demo::body::Skeleton;
use crate::demo::field::{self, PartSet, TILE_PX, TileSets};
use crate::demo::figure::Figure;
use crate::demo::lens::SceneCamera;
use crate::demo::light::{Shade, ShadowMap};
use crate::demo::paint;
use crate::demo::shape::V3;
use crate::demo::studio::{Backdrop, Studio};
use crate::geometry::ImagePoint;

/// Instants of the shutter that a frame can be made of.
const INSTANTS: usize = 6;

/// Tiles where nothing moves more than [`STILL_PX`] within the exposure make do with so many of them.
const STILL_INSTANTS: usize = 3;

/// Motion within an exposure that the fewer instants still render smoothly, px.
const STILL_PX: f32 = 1.5;

/// Rays of one pixel are spread over this width, px: a lens is never sharper than the sensor.
const PIXEL_SPREAD_PX: f32 = 1.25;

/// Texels of the shadow map in a picture of 1280 px, mm; larger in smaller pictures.
const SHADOW_TEXEL_MM: f32 = 8.0;

/// Shadows on the room are worked out every so many px.
const SHADOW_GRID_PX: usize = 4;

/// A camera in the room, with everything that stays the same from frame to frame.
#[derive(Debug)]
pub struct Renderer {
    camera: SceneCamera,
    size_px: [usize; 2],
    rays: Rays,
    backdrop: Vec<Backdrop>,
    /// The room's light where no shadow of the figure falls.
    fully_lit: Vec<V3>,
}

impl Renderer {
    /// Looks at the room once through this camera.
    #[must_use]
    pub fn new(camera: SceneCamera, studio: &Studio) -> Self {
        let size_px = camera.lens.image_size.map(|side| side as usize);
        let rays = Rays::of(&camera, size_px);
        let backdrop = studio.backdrop(size_px, &camera.position_mm.cast(), |x, y| rays.at(x, y));
        let fully_lit = backdrop.iter().map(|pixel| pixel.shade.lit(1.0)).collect();
        Self { camera, size_px, rays, backdrop, fully_lit }
    }

    /// Width and height, px.
    #[must_use]
    pub const fn size_px(&self) -> [usize; 2] {
        self.size_px
    }

    /// The light of each pixel, row by row, gathered over `shutter_s` about `time_s`. `body_at` poses the body at a time.
    pub fn expose(&self, body_at: impl Fn(f64) -> Skeleton + Sync, time_s: f64, shutter_s: f64) -> Vec<V3> {
        let figures: Vec<Figure> = (0..INSTANTS)
            .into_par_iter()
            .map(|instant| {
                let share = (instant as f64 + 0.5) / INSTANTS as f64 - 0.5;
                Figure::of(&body_at(time_s + share * shutter_s))
            })
            .collect();
        let shadow = ShadowMap::of(&figures[INSTANTS / 2], SHADOW_TEXEL_MM * 1280.0 / self.size_px[0] as f32);
        let lit = self.lit_grid(&shadow);
        let tiles: Vec<TileSets> = figures.par_iter().map(|figure| self.tiles(figure)).collect();
        let motion_px = self.motion_px(&figures[0], &figures[INSTANTS - 1]);
        let instants = Instants { figures: &figures, tiles: &tiles, shadow: &shadow, motion_px: &motion_px };

        let [width, _] = self.size_px;
        let mut light = self.fully_lit.clone();
        light.par_chunks_mut(width).enumerate().for_each(|(row, line)| lit.darken(row, line, &self.backdrop));
        light.par_chunks_mut(width * TILE_PX).enumerate().for_each(|(row, strip)| {
            for column in 0..width.div_ceil(TILE_PX) {
                self.expose_tile(&instants, (column, row), strip);
            }
        });
        light
    }

    /// Whether nothing of the body or the room is more than `slack_mm` in front of a world point.
    #[must_use]
    pub fn sees(&self, body: &Skeleton, world_mm: &Vector3<f64>, slack_mm: f32) -> bool {
        let figure = Figure::of(body);
        let origin: V3 = self.camera.position_mm.cast();
        let away: V3 = (world_mm - self.camera.position_mm).cast();
        let distance_mm = away.norm();
        let [width, height] = self.size_px;
        let Some(image) = self.camera.project(world_mm) else { return false };
        let (x, y) = (image.x.round(), image.y.round());
        if x < 0.0 || y < 0.0 || x >= width as f64 || y >= height as f64 {
            return false;
        }
        let all: PartSet = (1 << figure.parts.len()) - 1;
        let direction = away / distance_mm;
        field::march(&figure.parts, all, &origin, &direction, 0.0, distance_mm - slack_mm).is_none()
    }

    fn tiles(&self, figure: &Figure) -> TileSets {
        let focal = self.camera.lens.fx.max(self.camera.lens.fy);
        let focal = nalgebra::Vector1::new(focal).cast::<f32>().x;
        TileSets::of(figure, self.size_px, |center, radius| {
            let Some((image, depth)) = self.project_single(center) else { return [0.0; 4] };
            // A ball at a slant covers a little more than its radius over its depth, and the lens stretches the corners.
            let reach = 1.15 * focal * radius / (depth - radius).max(1.0) + 1.5;
            [image[0] - reach, image[1] - reach, image[0] + reach, image[1] + reach]
        })
    }

    fn project_single(&self, world: &V3) -> Option<([f32; 2], f32)> {
        let world: Vector3<f64> = world.cast();
        let image = self.camera.project(&world)?;
        let depth = (self.camera.camera_from_world.row(2) * (world - self.camera.position_mm)).x;
        let single = Vector3::new(image.x, image.y, depth).cast::<f32>();
        Some(([single.x, single.y], single.z))
    }

    /// How far each part moves between two poses, px.
    fn motion_px(&self, first: &Figure, last: &Figure) -> Vec<f32> {
        let places = |figure: &Figure, part: usize| -> Vec<[f32; 2]> {
            figure.parts[part].balls.iter().filter_map(|(center, _)| Some(self.project_single(center)?.0)).collect()
        };
        (0..first.parts.len())
            .map(|part| {
                places(first, part)
                    .iter()
                    .zip(&places(last, part))
                    .map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1]))
                    .fold(0.0, f32::max)
            })
            .collect()
    }

    fn lit_grid(&self, shadow: &ShadowMap) -> LitGrid {
        let [width, height] = self.size_px;
        let [columns, rows] = [width, height].map(|side| side.div_ceil(SHADOW_GRID_PX) + 1);
        let values = (0..columns * rows)
            .into_par_iter()
            .map(|number| {
                let x = (number % columns * SHADOW_GRID_PX).min(width - 1);
                let y = (number / columns * SHADOW_GRID_PX).min(height - 1);
                shadow.lit(&self.backdrop[y * width + x].point_mm)
            })
            .collect();
        LitGrid { columns, values }
    }

    fn expose_tile(&self, instants: &Instants<'_>, tile: (usize, usize), strip: &mut [V3]) {
        let [width, _] = self.size_px;
        let seen = instants.seen_in(tile);
        if seen == 0 {
            return;
        }
        let count = instants.needed(seen);
        let columns = tile.0 * TILE_PX..((tile.0 + 1) * TILE_PX).min(width);
        let rows = strip.len() / width;
        let origin: V3 = self.camera.position_mm.cast();
        let middle = self
            .rays
            .at((columns.start + columns.end) as f32 / 2.0 - 0.5, (tile.1 * TILE_PX) as f32 + rows as f32 / 2.0 - 0.5);
        let corner = self.rays.at(columns.start as f32 - 1.5, (tile.1 * TILE_PX) as f32 - 1.5);
        let beam = field::Beam { origin, direction: middle, spread: (middle - corner).norm() };

        let mut sums = vec![V3::zeros(); TILE_PX * TILE_PX];
        for sample in 0..count {
            let instant = sample * (INSTANTS / count) + INSTANTS / count / 2;
            let figure = &instants.figures[instant];
            let set = instants.tiles[instant].at(tile.0, tile.1);
            let field::Meeting { set, wide_set, from } = beam.meets(&figure.parts, set);
            let [jitter_x, jitter_y] = jitter(sample);
            for row in 0..rows {
                for column in columns.clone() {
                    let place = row * width + column;
                    let backdrop = &self.backdrop[tile.1 * TILE_PX * width + place];
                    let hit = (from < backdrop.distance_mm)
                        .then(|| {
                            let ray =
                                self.rays.at(column as f32 + jitter_x, (tile.1 * TILE_PX + row) as f32 + jitter_y);
                            let way = field::march(&figure.parts, set, &origin, &ray, from, backdrop.distance_mm)?;
                            Some(light_from(figure, wide_set, &(origin + ray * way), &ray, instants.shadow))
                        })
                        .flatten();
                    sums[row * TILE_PX + column - columns.start] += hit.unwrap_or(strip[place]);
                }
            }
        }
        for row in 0..rows {
            for column in columns.clone() {
                strip[row * width + column] = sums[row * TILE_PX + column - columns.start] / count as f32;
            }
        }
    }
}

/// All instants of one exposure.
struct Instants<'a> {
    figures: &'a [Figure],
    tiles: &'a [TileSets],
    shadow: &'a ShadowMap,
    motion_px: &'a [f32],
}

impl Instants<'_> {
    /// The parts seen in a tile at any instant.
    fn seen_in(&self, (column, row): (usize, usize)) -> PartSet {
        self.tiles.iter().fold(0, |set, tiles| set | tiles.at(column, row))
    }

    /// How many instants a tile needs for its fastest part.
    fn needed(&self, set: PartSet) -> usize {
        let fastest = self
            .motion_px
            .iter()
            .enumerate()
            .filter(|(part, _)| set & (1 << part) != 0)
            .fold(0.0, |fastest: f32, (_, motion)| fastest.max(*motion));
        if fastest < STILL_PX { STILL_INSTANTS } else { INSTANTS }
    }
}

/// The light that a point of the figure sends back along a ray.
fn light_from(figure: &Figure, set: PartSet, p: &V3, ray: &V3, shadow: &ShadowMap) -> V3 {
    let Some(touch) = field::touch(&figure.parts, set, p) else { return V3::zeros() };
    let smooth = field::normal(&figure.parts, touch.near, p);
    let look = |bone: usize, of: paint::Paint| {
        let frame = &figure.bones[bone];
        let mut surface = paint::surface(of, bone, &(frame * nalgebra::Point3::from(*p)).coords);
        surface.dent = frame.rotation.inverse() * surface.dent;
        surface
    };
    let mut surface = look(touch.part.bone, touch.part.paint);
    if let Some((other, share)) = touch.other {
        let second = look(other.bone, other.paint);
        surface.albedo += (second.albedo - surface.albedo) * share;
        surface.dent += (second.dent - surface.dent) * share;
    }
    let normal = (smooth - (surface.dent - smooth * surface.dent.dot(&smooth))).normalize();
    let open = openness(figure, touch.near, p, &smooth);
    Shade::of(&surface, &normal, &-ray, open).lit(shadow.lit(p))
}

/// The share of its surroundings that a point sees past the figure's own nearby parts.
fn openness(figure: &Figure, set: PartSet, p: &V3, normal: &V3) -> f32 {
    const TAPS_MM: [(f32, f32); 2] = [(8.0, 0.42), (22.0, 0.42)];
    let closed: f32 = TAPS_MM
        .into_iter()
        .map(|(tap, weight)| {
            let gap = field::distance(&figure.parts, set, &(p + normal * tap));
            weight * (1.0 - gap / tap).clamp(0.0, 1.0)
        })
        .sum();
    1.0 - closed
}

/// Where in the pixel a sample looks: the first points of the R2 sequence, which fills a square evenly.
fn jitter(sample: usize) -> [f32; 2] {
    let at = sample as f32 + 0.5;
    [0.754_877_7, 0.569_840_3].map(|step: f32| ((at * step).fract() - 0.5) * PIXEL_SPREAD_PX)
}

/// Rays of all pixel centres; between them the direction is taken to be linear, which is exact to a thousandth of a pixel.
#[derive(Debug)]
struct Rays {
    size_px: [usize; 2],
    directions: Vec<V3>,
}

impl Rays {
    fn of(camera: &SceneCamera, size_px: [usize; 2]) -> Self {
        let [width, height] = size_px;
        let directions = (0..width * height)
            .into_par_iter()
            .map(|number| camera.ray(ImagePoint::new((number % width) as f64, (number / width) as f64)).cast())
            .collect();
        Self { size_px, directions }
    }

    /// Unit direction at a place of the picture, px.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "clamped into the picture before the cast"
    )]
    fn at(&self, x: f32, y: f32) -> V3 {
        let [width, height] = self.size_px;
        let column = (x.max(0.0) as usize).min(width - 2);
        let row = (y.max(0.0) as usize).min(height - 2);
        let here = self.directions[row * width + column];
        let right = self.directions[row * width + column + 1];
        let below = self.directions[(row + 1) * width + column];
        (here + (right - here) * (x - column as f32) + (below - here) * (y - row as f32)).normalize()
    }
}

/// The share of the lamp that reaches the room, on a coarse grid.
struct LitGrid {
    columns: usize,
    values: Vec<f32>,
}

impl LitGrid {
    /// Takes from one row of the picture the lamp's light that the figure keeps away.
    fn darken(&self, y: usize, line: &mut [V3], backdrop: &[Backdrop]) {
        let step = SHADOW_GRID_PX as f32;
        let down = (y % SHADOW_GRID_PX) as f32 / step;
        let upper = &self.values[y / SHADOW_GRID_PX * self.columns..];
        let lower = &self.values[(y / SHADOW_GRID_PX + 1) * self.columns..];
        let width = line.len();
        for (cell, pixels) in line.chunks_mut(SHADOW_GRID_PX).enumerate() {
            let [left, right] = [cell, cell + 1].map(|column| upper[column] * (1.0 - down) + lower[column] * down);
            if left >= 1.0 && right >= 1.0 {
                continue;
            }
            for (offset, pixel) in pixels.iter_mut().enumerate() {
                let across = offset as f32 / step;
                let lit = left * (1.0 - across) + right * across;
                *pixel = backdrop[y * width + cell * SHADOW_GRID_PX + offset].shade.lit(lit);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::scenario::{DemoCase, Scenario};
    use crate::geometry::{Landmark, Side};

    const HELD_S: f64 = 1.9; // within the hold

    fn body(scenario: &Scenario, time_s: f64) -> Skeleton {
        Skeleton::posed(&scenario.build, &scenario.reaches[0].course.stance_at(time_s))
    }

    fn expose(scenario: &Scenario) -> (Renderer, Vec<V3>) {
        let renderer = Renderer::new(scenario.camera, &Studio::new(&scenario.room));
        let light = renderer.expose(|_| body(scenario, HELD_S), HELD_S, 0.01);
        (renderer, light)
    }

    fn seen_at(scenario: &Scenario, landmark: Landmark) -> ImagePoint {
        let world = scenario.landmark_mm(&body(scenario, HELD_S), landmark);
        scenario.camera.project(&world).expect("it is in front of the camera")
    }

    /// Middle of the pixels that `is_it` picks within `reach` px of a place.
    fn middle_of(light: &[V3], width: usize, about: ImagePoint, reach: f64, is_it: impl Fn(&V3) -> bool) -> ImagePoint {
        let (mut x, mut y, mut count) = (0.0, 0.0, 0.0);
        for (number, pixel) in light.iter().enumerate() {
            let here = ImagePoint::new((number % width) as f64, (number / width) as f64);
            if here.distance_px(about) < reach && is_it(pixel) {
                (x, y, count) = (x + here.x, y + here.y, count + 1.0);
            }
        }
        assert!(count > 0.0, "nothing of it is within {reach} px of {about:?}");
        ImagePoint::new(x / count, y / count)
    }

    #[test]
    fn tape_mark_is_drawn_where_its_truth_is_projected() {
        for case in DemoCase::ALL {
            let scenario = Scenario::of(case, 640);
            let (_, light) = expose(&scenario);
            let truth = seen_at(&scenario, Landmark::Datum);
            let is_yellow = |pixel: &V3| pixel.x > 2.0 * pixel.z && pixel.y > 2.0 * pixel.z;
            let is_dark = |pixel: &V3| pixel.max() < 0.25;
            let drawn = middle_of(&light, 640, truth, 6.0, |pixel| is_yellow(pixel) || is_dark(pixel));
            // The mark is some 10 px wide; pixels counted whole leave a fraction of a pixel.
            assert!(drawn.distance_px(truth) < 0.5, "{case:?}: drawn at {drawn:?}, truth {truth:?}");
        }
    }

    #[test]
    fn red_ends_of_the_bar_are_drawn_where_their_truth_is_projected() {
        let scenario = Scenario::of(DemoCase::Front, 640);
        let (_, light) = expose(&scenario);
        for side in Side::BOTH {
            let end = seen_at(&scenario, Landmark::BarEnd(side));
            let other = seen_at(&scenario, Landmark::BarEnd(side.other()));
            let drawn = middle_of(&light, 640, end, 12.0, |pixel| pixel.x > 3.0 * pixel.y && pixel.x > 0.1);
            // The red tape is the last 35 mm of 1200: its middle is 17.5/1200 of the way to the other end.
            let share = 17.5 / 1200.0;
            let middle = ImagePoint::new(end.x + (other.x - end.x) * share, end.y + (other.y - end.y) * share);
            assert!(drawn.distance_px(middle) < 0.7, "{side}: drawn at {drawn:?}, expected {middle:?}");
        }
    }

    #[test]
    fn edge_of_the_wall_is_drawn_where_its_truth_is_projected() {
        let scenario = Scenario::of(DemoCase::Front, 640);
        let (renderer, light) = expose(&scenario);
        let (top, bottom) = (seen_at(&scenario, Landmark::PlumbTop), seen_at(&scenario, Landmark::PlumbBottom));
        let [width, _] = renderer.size_px();
        for share in [0.1, 0.3, 0.5] {
            let (x, y) = (top.x + (bottom.x - top.x) * share, top.y + (bottom.y - top.y) * share);
            let row = (0..360_u16)
                .min_by(|a, b| (f64::from(*a) - y).abs().total_cmp(&(f64::from(*b) - y).abs()))
                .expect("rows");
            let at = |column: usize| f64::from(light[usize::from(row) * width + column].x);
            // The wall's end is brighter than what is left of it: the edge is where the light is half way.
            let columns = (0..width).filter(|column| (*column as f64 - x).abs() < 5.0).collect::<Vec<_>>();
            let (dark, bright) = (at(columns[0]), at(columns[columns.len() - 1]));
            let half = f64::midpoint(dark, bright);
            let after = columns.iter().find(|column| at(**column) > half).expect("there is an edge");
            let crossing = *after as f64 - (at(*after) - half) / (at(*after) - at(after - 1));
            assert!((crossing - x).abs() < 0.5, "edge at {crossing}, expected {x}");
        }
    }

    #[test]
    fn threads_change_no_digit() {
        let scenario = Scenario::of(DemoCase::Side, 160);
        let with_threads = |count| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(count).build().expect("a pool can be made");
            pool.install(|| expose(&scenario).1)
        };
        assert_eq!(with_threads(1), with_threads(3));
    }

    #[test]
    fn far_hip_is_hidden_and_near_wrist_is_seen_from_the_side() {
        let scenario = Scenario::of(DemoCase::Side, 160);
        let renderer = Renderer::new(scenario.camera, &Studio::new(&scenario.room));
        let body = body(&scenario, HELD_S);
        let sees = |landmark| renderer.sees(&body, &scenario.landmark_mm(&body, landmark), 75.0);
        assert!(sees(Landmark::Wrist(Side::Right)) && sees(Landmark::Hip(Side::Right)) && sees(Landmark::PlumbTop));
        assert!(!sees(Landmark::Hip(Side::Left)) && !sees(Landmark::Shoulder(Side::Left)));
    }
}
