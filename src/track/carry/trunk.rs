//! A shoulder whose own patch turned out of sight goes with the trunk, of which many patches were found.
//!
//! Where the shoulder lies on the trunk is taken to be the same: how the shoulder blade moves on it is in the spread that is stated.

use nalgebra::{Matrix2, Vector2};

use crate::geometry::{ImagePoint, Landmark};

use super::super::affine::Warp;
use super::super::room::{PictureMotion, consensus};
use super::{Carried, Carrier, Guess, TRUNK_TURNS_DEG, turns};

/// Where patches of the trunk are taken: share of the way from hip to shoulder, and to either side of it as a share of its
/// length.
const TRUNK_PATCHES: ([f64; 6], [f64; 4]) = ([0.25, 0.38, 0.51, 0.64, 0.76, 0.88], [-0.12, -0.04, 0.04, 0.12]);
/// Where they are taken seen from the front: below the line of the shoulders and to either side of its middle, as shares of its length.
const CHEST_PATCHES: ([f64; 6], [f64; 4]) = ([0.15, 0.3, 0.45, 0.6, 0.75, 0.9], [-0.3, -0.1, 0.1, 0.3]);
/// How far a patch of the trunk may be from where the hip's movement puts it, px: some 4 deg of lean.
const TRUNK_PATCH_SEARCH_PX: f64 = 26.0;
/// Patches of the trunk agree on its movement within this, px.
const TRUNK_AGREE_PX: f64 = 1.2;
/// Fewer of them than this tell nothing.
const TRUNK_AGREE_MIN: usize = 7;
/// Standard deviation of a shoulder that went with the trunk, px: the shoulder blade turns on it by itself. In motion capture the
/// acromion lies 2.2 mm (forward) and 2.4 mm (up) otherwise against the thorax when one arm is raised to the same elevation again (ten
/// people, two raises each; UI-PRMD, Vakanski et al. 2018, Data 3(1), 2), some 0.7 px at 3 m.
const SHOULDER_ON_TRUNK_SD_PX: f64 = 0.7;
/// Shoulders nearer to each other than this are not seen from the front, px.
const CHEST_WIDTH_MIN_PX: f64 = 60.0;

/// How the trunk moved between two pictures.
#[derive(Debug, Clone, Copy)]
pub(super) struct TrunkMotion {
    motion: PictureMotion,
    /// How alike its patches are, 1 at the most.
    likeness: f64,
}

impl TrunkMotion {
    /// A shoulder that goes with the trunk.
    fn carry(&self, shoulder: ImagePoint, scale: f64) -> Carried {
        let Self { motion, likeness } = *self;
        // What the patches say of the shoulder, and how the shoulder goes on the trunk: independent causes.
        let patches_px2 = 4.0 * motion.rms_px.powi(2) / motion.points as f64;
        let sd_px2 = patches_px2 + (SHOULDER_ON_TRUNK_SD_PX * scale).powi(2);
        Carried { point: motion.apply(shoulder), covariance_px2: Matrix2::identity() * sd_px2, likeness }
    }
}

impl Carrier<'_> {
    /// Seen from the side: the trunk from the hip, which was found, to the shoulder.
    pub(super) fn carry_on_trunk(&self, shoulder: ImagePoint, hip: ImagePoint) -> Option<Carried> {
        let (_, hip_from, hip_to) =
            *self.found.iter().find(|(landmark, from, _)| matches!(landmark, Landmark::Hip(_)) && *from == hip)?;
        let scale = self.pictures.scale;
        let up = Vector2::new(shoulder.x - hip.x, shoulder.y - hip.y);
        let out = Vector2::new(-up.y, up.x);
        let patches = grid(TRUNK_PATCHES).map(|(along, aside)| {
            let step = up * along + out * aside;
            let radius_px = TRUNK_PATCH_SEARCH_PX * scale * (0.3 + 0.7 * along);
            let guesses = turns(0.0, TRUNK_TURNS_DEG)
                .map(|turn_rad| Guess { warp: Warp::turned(hip_to.moved(step), turn_rad), radius_px })
                .collect();
            (hip.moved(step), guesses)
        });
        Some(self.trunk_motion(Some((hip_from, hip_to)), patches)?.carry(shoulder, scale))
    }

    /// Seen from the front: the chest below the line between both shoulders.
    pub(super) fn carry_on_chest(&self, shoulder: ImagePoint, other: ImagePoint) -> Option<Carried> {
        let scale = self.pictures.scale;
        let out = Vector2::new(other.x - shoulder.x, other.y - shoulder.y);
        if out.norm() < CHEST_WIDTH_MIN_PX * scale {
            return None;
        }
        // both shoulders go with one chest
        let chest = self.chest.get_or_init(|| {
            let middle = shoulder.moved(0.5 * out);
            let down = Vector2::new(-out.y, out.x) * out.x.signum();
            let patches = grid(CHEST_PATCHES).map(|(along, aside)| {
                let point = middle.moved(down * along + out * aside);
                (point, self.guesses_near(point))
            });
            self.trunk_motion(None, patches)
        });
        Some(chest.as_ref()?.carry(shoulder, scale))
    }

    /// The movement on which most of these patches agree, each with where it may be, and a pair of points known to be on the trunk.
    fn trunk_motion(
        &self,
        known: Option<(ImagePoint, ImagePoint)>,
        patches: impl Iterator<Item = (ImagePoint, Vec<Guess>)>,
    ) -> Option<TrunkMotion> {
        let mut pairs: Vec<(ImagePoint, ImagePoint)> = known.into_iter().collect();
        let (mut likeness, mut found) = (0.0, 0.0);
        for (point, guesses) in patches {
            if let Ok(carried) = self.carry_body(point, &guesses) {
                likeness += carried.likeness;
                found += 1.0;
                pairs.push((point, carried.point));
            }
        }
        let motion = consensus(&pairs, TRUNK_AGREE_PX * self.pictures.scale, TRUNK_AGREE_MIN)?;
        Some(TrunkMotion { motion, likeness: likeness / found })
    }
}

fn grid((along, aside): ([f64; 6], [f64; 4])) -> impl Iterator<Item = (f64, f64)> {
    along.into_iter().flat_map(move |along| aside.into_iter().map(move |aside| (along, aside)))
}
