//! The sculpted rower: solids on the bones of a posed body, with clothes, hair and hands closed around the bar.

use nalgebra::{Isometry3, Point3, Vector3};

use crate::demo::body::{BAR_LENGTH_MM, BAR_RADIUS_MM, Skeleton, frame_along, grip_in_hand, index};
use crate::demo::paint::Paint;
use crate::demo::shape::{Part, PartKind, Solid, V3};
use crate::geometry::Side;

/// Frames that carry parts and their paint, in the order of [`Figure::bones`].
pub mod bone {
    /// The trunk.
    pub const TRUNK: usize = 0;
    /// The head.
    pub const HEAD: usize = 1;
    /// Left upper arm; the right one follows, as with all pairs.
    pub const UPPER_ARM: usize = 2;
    /// Left forearm.
    pub const FOREARM: usize = 4;
    /// Left hand.
    pub const HAND: usize = 6;
    /// Left thigh.
    pub const THIGH: usize = 8;
    /// Left shank.
    pub const SHANK: usize = 10;
    /// The bar.
    pub const BAR: usize = 12;
    /// How many there are.
    pub const COUNT: usize = 13;
}

const BODY: u8 = 0;
const LEFT_HAND: u8 = 1;
const BAR: u8 = 3;
const SHOES: u8 = 4;
/// How many groups there are.
pub const GROUPS: usize = 5;

/// Radius of a finger, mm.
const FINGER_MM: f64 = 9.3;

/// The figure in one pose.
#[derive(Debug, Clone)]
pub struct Figure {
    /// The solids.
    pub parts: Vec<Part>,
    /// Bone frames from the world, single precision, by [`bone`].
    pub bones: [Isometry3<f32>; bone::COUNT],
}

impl Figure {
    /// Sculpts a posed body.
    #[must_use]
    pub fn of(body: &Skeleton) -> Self {
        let [left, right] = body.arms;
        let [bar_left, bar_right] = body.bar_ends_mm;
        let world_from_bone = [
            body.trunk,
            body.head,
            left.upper,
            right.upper,
            left.fore,
            right.fore,
            left.hand,
            right.hand,
            body.thighs[0],
            body.thighs[1],
            body.shanks[0],
            body.shanks[1],
            frame_along(bar_left, bar_right, Vector3::y()),
        ];
        let mut sculptor = Sculptor { world_from_bone, parts: Vec::new(), group: BODY };
        sculptor.trunk(body);
        sculptor.head();
        for side in Side::BOTH {
            sculptor.arm(body, side);
            sculptor.leg(body, side);
        }
        for side in Side::BOTH {
            sculptor.hand(side);
            sculptor.shoe(body, side);
        }
        sculptor.group = BAR;
        let length = BAR_LENGTH_MM / 2.0;
        sculptor.add(
            bone::BAR,
            Paint::Bar,
            0.0,
            Isometry3::translation(0.0, length, 0.0),
            Solid::RoundBox {
                half: Vector3::new(BAR_RADIUS_MM, length, BAR_RADIUS_MM).cast(),
                edge: single(BAR_RADIUS_MM),
            },
        );
        Self { parts: sculptor.parts, bones: world_from_bone.map(|frame| frame.inverse().cast()) }
    }
}

/// A solid's measure as the pixel code wants it.
fn single(value_mm: f64) -> f32 {
    nalgebra::Vector1::new(value_mm).cast::<f32>().x
}

/// A limb-like part in a bone's frame: from, to, radii, and how much wider it is along the hint (x) and across it (z).
#[derive(Clone, Copy)]
struct Limb {
    from: [f64; 3],
    to: [f64; 3],
    radii: [f64; 2],
    wide: [f64; 2],
}

const fn limb(from: [f64; 3], to: [f64; 3], radii: [f64; 2]) -> Limb {
    Limb { from, to, radii, wide: [1.0, 1.0] }
}

struct Sculptor {
    world_from_bone: [Isometry3<f64>; bone::COUNT],
    parts: Vec<Part>,
    group: u8,
}

impl Sculptor {
    fn add(
        &mut self,
        bone: usize,
        paint: Paint,
        melt: f64,
        bone_from_solid: Isometry3<f64>,
        solid: Solid,
    ) -> &mut Part {
        let kind = PartKind { melt: single(melt), group: self.group, paint, bone };
        let world_from_solid = self.world_from_bone[bone] * bone_from_solid;
        self.parts.push(Part::placed(solid, &world_from_solid, kind));
        let last = self.parts.len() - 1;
        &mut self.parts[last]
    }

    fn limb(&mut self, bone: usize, paint: Paint, melt: f64, shape: Limb) -> &mut Part {
        let (from, to) = (Vector3::from(shape.from), Vector3::from(shape.to));
        let hint = if (to - from).normalize().x.abs() > 0.9 { Vector3::y() } else { Vector3::x() };
        let solid = Solid::round_cone(
            single((to - from).norm()),
            single(shape.radii[0]),
            single(shape.radii[1]),
            shape.wide.map(single),
        );
        self.add(bone, paint, melt, frame_along(from, to, hint), solid)
    }

    fn ellipsoid(&mut self, bone: usize, paint: Paint, melt: f64, center: [f64; 3], half: [f64; 3]) -> &mut Part {
        let solid = Solid::ellipsoid(Vector3::from(half).cast());
        self.add(bone, paint, melt, Isometry3::translation(center[0], center[1], center[2]), solid)
    }

    fn trunk(&mut self, body: &Skeleton) {
        use bone::TRUNK;
        let top = body.build.trunk_mm;
        let hip = body.build.hip_half_mm;
        self.ellipsoid(TRUNK, Paint::Shorts, 30.0, [-12.0, 5.0, 0.0], [108.0, 98.0, hip * 0.93]);
        for side in [-1.0, 1.0] {
            self.ellipsoid(TRUNK, Paint::Shorts, 40.0, [0.0, -2.0, side * (hip - 92.0)], [94.0, 88.0, 92.0]);
        }
        // The shirt: waist, chest and back, with the latissimus widening it towards the armpits.
        let waist = Limb { from: [-8.0, 95.0, 0.0], to: [-10.0, 240.0, 0.0], radii: [104.0, 104.0], wide: [1.0, 1.42] };
        self.limb(TRUNK, Paint::Shirt, 40.0, waist);
        let chest =
            Limb { from: [-8.0, 270.0, 0.0], to: [-14.0, top - 105.0, 0.0], radii: [110.0, 102.0], wide: [1.0, 1.46] };
        self.limb(TRUNK, Paint::Shirt, 60.0, chest);
        for (side, arm) in [(-1.0, body.arms[0]), (1.0, body.arms[1])] {
            self.limb(
                TRUNK,
                Paint::Shirt,
                45.0,
                limb([-42.0, 215.0, side * 98.0], [-40.0, top - 90.0, side * 140.0], [46.0, 50.0]),
            );
            self.ellipsoid(TRUNK, Paint::Shirt, 45.0, [58.0, top - 112.0, side * 76.0], [44.0, 58.0, 74.0]);
            let shoulder = (body.trunk.inverse() * Point3::from(arm.upper.translation.vector)).coords;
            let neck = [-30.0, top - 18.0, side * 48.0];
            self.limb(TRUNK, Paint::Shirt, 50.0, limb(neck, shoulder.into(), [58.0, 46.0]));
            let trapezius = [shoulder.x - 16.0, shoulder.y + 14.0, shoulder.z - side * 62.0];
            self.limb(TRUNK, Paint::Shirt, 40.0, limb([-38.0, top + 42.0, side * 22.0], trapezius, [40.0, 34.0]));
            let armpit = [-24.0, top - 120.0, side * 138.0];
            self.limb(TRUNK, Paint::Shirt, 55.0, limb(armpit, (shoulder - Vector3::y() * 22.0).into(), [46.0, 40.0]));
        }
        self.limb(TRUNK, Paint::Skin, 22.0, limb([-26.0, top + 20.0, 0.0], [-12.0, top + 165.0, 0.0], [58.0, 55.0]));
        // The neckline: cloth up to the base of the neck, closed by a ribbed collar.
        let yoke = Limb {
            from: [-20.0, top - 60.0, 0.0],
            to: [-25.0, top + 24.0, 0.0],
            radii: [92.0, 61.0],
            wide: [1.0, 1.12],
        };
        self.limb(TRUNK, Paint::Shirt, 30.0, yoke).cut = Some((V3::y(), 82.0));
        let collar = Limb {
            from: [-26.0, top + 12.0, 0.0],
            to: [-24.0, top + 30.0, 0.0],
            radii: [73.0, 66.0],
            wide: [1.0, 1.08],
        };
        self.limb(TRUNK, Paint::Collar, 5.0, collar).cut = Some((V3::y(), 19.0));
    }

    fn head(&mut self) {
        use bone::HEAD;
        let skin = Paint::Face;
        self.ellipsoid(HEAD, skin, 12.0, [4.0, 44.0, 0.0], [97.0, 87.0, 75.0]);
        self.ellipsoid(HEAD, skin, 22.0, [40.0, 0.0, 0.0], [58.0, 72.0, 60.0]);
        self.limb(
            HEAD,
            skin,
            22.0,
            Limb { from: [12.0, -42.0, 0.0], to: [66.0, -80.0, 0.0], radii: [50.0, 25.0], wide: [1.0, 1.1] },
        );
        self.ellipsoid(HEAD, skin, 14.0, [79.0, -87.0, 0.0], [17.0, 20.0, 22.0]);
        self.limb(HEAD, skin, 9.0, limb([92.0, 22.0, 0.0], [109.0, -21.0, 0.0], [7.0, 10.5]));
        self.ellipsoid(HEAD, skin, 5.0, [112.0, -25.0, 0.0], [10.5, 9.0, 9.5]);
        self.limb(HEAD, skin, 14.0, limb([88.0, 33.0, -27.0], [88.0, 33.0, 27.0], [9.0, 9.0]));
        self.limb(HEAD, skin, 9.0, limb([93.0, -56.0, -15.0], [93.0, -56.0, 15.0], [7.5, 7.5]));
        for side in [-1.0, 1.0] {
            self.ellipsoid(HEAD, skin, 5.0, [101.0, -28.0, side * 9.5], [9.0, 6.5, 6.0]);
            self.ellipsoid(HEAD, skin, 18.0, [64.0, -18.0, side * 37.0], [26.0, 24.0, 23.0]);
            let tilted = Isometry3::new(
                Vector3::new(-8.0, -2.0, side * 73.0),
                Vector3::new(0.0, side * 0.45, 0.0) + Vector3::z() * 0.2,
            );
            self.add(HEAD, skin, 3.0, tilted, Solid::ellipsoid(V3::new(17.0, 30.0, 6.5)));
            self.ellipsoid(HEAD, skin, 3.0, [3.0, -2.0, side * 73.0], [5.0, 8.0, 6.0]);
        }
        // Hair above a line from the forehead to the nape, passing just over the ears.
        self.ellipsoid(HEAD, Paint::Hair, 3.0, [0.0, 49.0, 0.0], [101.0, 92.0, 80.0]).cut =
            Some((V3::new(0.53, -0.848, 0.0), -28.0 + 49.0 * 0.848));
    }

    fn arm(&mut self, body: &Skeleton, side: Side) {
        let (upper_bone, fore_bone) = (bone::UPPER_ARM + index(side), bone::FOREARM + index(side));
        let (upper, fore) = (body.build.upper_arm_mm, body.build.forearm_mm);
        let sleeve_end = single(0.56 * upper);
        self.limb(upper_bone, Paint::Shirt, 45.0, limb([0.0, -4.0, 0.0], [2.0, 0.45 * upper, 0.0], [55.0, 50.0]));
        let mut sleeve = limb([0.0, 0.15 * upper, 0.0], [0.0, 0.62 * upper, 0.0], [53.0, 56.0]);
        sleeve.wide = [1.05, 1.0];
        self.limb(upper_bone, Paint::Shirt, 24.0, sleeve).cut = Some((V3::y(), sleeve_end - single(0.15 * upper)));
        // Arm and forearm taper into each other; epicondyles and olecranon make the elbow stand out.
        self.limb(upper_bone, Paint::Skin, 6.0, limb([2.0, 0.35 * upper, 0.0], [0.0, 0.90 * upper, 0.0], [44.0, 32.0]));
        self.limb(upper_bone, Paint::Skin, 10.0, limb([0.0, upper, -16.0], [0.0, upper, 16.0], [20.0, 20.0]));
        self.limb(upper_bone, Paint::Skin, 10.0, limb([0.0, 0.90 * upper, 0.0], [-13.0, upper, 0.0], [31.0, 22.0]));
        let shaft = Limb { from: [0.0, 0.0, 0.0], to: [0.0, 0.86 * fore, 0.0], radii: [32.0, 22.0], wide: [1.0, 1.08] };
        self.limb(fore_bone, Paint::Skin, 8.0, shaft);
        self.ellipsoid(fore_bone, Paint::Skin, 12.0, [5.0, 0.26 * fore, 0.0], [31.0, 95.0, 34.0]);
        let wrist =
            Limb { from: [0.0, 0.76 * fore, 0.0], to: [0.0, fore + 8.0, 0.0], radii: [22.0, 20.5], wide: [1.0, 1.35] };
        self.limb(fore_bone, Paint::Skin, 12.0, wrist);
    }

    fn hand(&mut self, side: Side) {
        self.group = LEFT_HAND + u8::from(side == Side::Right);
        let bone = bone::HAND + index(side);
        let thumb = -side.sign(); // the thumb's side along the hand's z, whichever way the palm faces
        let grip = grip_in_hand();
        let palm = Solid::RoundBox { half: V3::new(14.0, 42.0, 41.0), edge: 12.0 };
        self.add(bone, Paint::Skin, 0.0, Isometry3::translation(-1.0, 46.0, 0.0), palm);
        self.limb(
            bone,
            Paint::Skin,
            14.0,
            Limb { from: [0.0, -12.0, 0.0], to: [0.0, 26.0, 0.0], radii: [20.0, 18.0], wide: [1.0, 1.5] },
        );
        for (finger, across) in [-30.0, -10.2, 10.2, 30.0].into_iter().enumerate() {
            let z = across * thumb;
            // Knuckle, then around the bar and back to the palm; the little finger (first) is the shortest.
            let reach = if finger == 0 { 20.0 } else { 22.5 };
            let around = |degrees: f64| {
                let (sin, cos) = degrees.to_radians().sin_cos();
                [grip.x - cos * reach, grip.y + sin * reach, z]
            };
            let knuckle = [around(28.0)[0] - 2.0, around(28.0)[1], z * 1.02];
            for (from, to) in [(knuckle, around(85.0)), (around(85.0), around(150.0)), (around(150.0), around(222.0))] {
                self.limb(bone, Paint::Skin, 3.0, limb(from, to, [FINGER_MM, FINGER_MM * 0.94]));
            }
        }
        let z = thumb * 36.0;
        self.limb(bone, Paint::Skin, 10.0, limb([8.0, 18.0, thumb * 24.0], [20.0, 48.0, z], [18.0, 14.0]));
        self.limb(bone, Paint::Skin, 5.0, limb([22.0, 50.0, z], [48.0, 60.0, thumb * 34.0], [11.5, 10.5]));
        self.limb(bone, Paint::Skin, 4.0, limb([48.0, 60.0, thumb * 34.0], [56.0, 86.0, thumb * 22.0], [10.5, 9.0]));
    }

    fn leg(&mut self, body: &Skeleton, side: Side) {
        self.group = BODY;
        let (thigh_bone, shank_bone) = (bone::THIGH + index(side), bone::SHANK + index(side));
        let (thigh, shank) = (body.build.thigh_mm, body.build.shank_mm);
        let leg = Limb { from: [4.0, 20.0, 0.0], to: [8.0, 0.66 * thigh, 0.0], radii: [88.0, 70.0], wide: [1.0, 1.04] };
        self.limb(thigh_bone, Paint::Shorts, 34.0, leg).cut = Some((V3::y(), single(0.62 * thigh)));
        self.limb(thigh_bone, Paint::Skin, 6.0, limb([4.0, 0.45 * thigh, 0.0], [2.0, 0.93 * thigh, 0.0], [70.0, 53.0]));
        self.ellipsoid(thigh_bone, Paint::Skin, 20.0, [10.0, thigh - 4.0, 0.0], [50.0, 50.0, 50.0]);
        self.limb(shank_bone, Paint::Skin, 24.0, limb([0.0, 10.0, 0.0], [-6.0, 0.5 * shank, 0.0], [50.0, 48.0]));
        self.limb(
            shank_bone,
            Paint::Skin,
            20.0,
            limb([-18.0, 0.18 * shank, 0.0], [-12.0, 0.5 * shank, 0.0], [45.0, 44.0]),
        );
        self.limb(shank_bone, Paint::Skin, 20.0, limb([-4.0, 0.45 * shank, 0.0], [-6.0, shank, 0.0], [45.0, 32.0]));
        let sock = limb([-5.0, 0.74 * shank, 0.0], [-6.0, shank + 10.0, 0.0], [39.5, 38.0]);
        self.limb(shank_bone, Paint::Sock, 4.0, sock).cut = None;
    }

    fn shoe(&mut self, body: &Skeleton, side: Side) {
        self.group = SHOES;
        let bone = bone::SHANK + index(side);
        let ankle = body.build.shank_mm;
        let sole = body.build.ankle_mm;
        let out = -side.sign() * 14.0; // the shank's z points to the person's left
        let shoe = Limb {
            from: [-22.0, ankle + 32.0, 0.0],
            to: [150.0, ankle + 41.0, out],
            radii: [38.0, 27.0],
            wide: [1.0, 1.2],
        };
        self.limb(bone, Paint::Shoe, 0.0, shoe).cut = None;
        self.limb(bone, Paint::Shoe, 18.0, limb([-14.0, ankle - 2.0, 0.0], [20.0, ankle + 24.0, 0.0], [44.0, 40.0]));
        let bottom = Solid::RoundBox { half: Vector3::new(130.0, 13.0, 42.0).cast(), edge: 12.0 };
        let place =
            Isometry3::new(Vector3::new(58.0, ankle + sole - 13.0, out * 0.5), Vector3::y() * (side.sign() * 0.08));
        self.add(bone, Paint::Sole, 3.0, place, bottom);
    }
}
