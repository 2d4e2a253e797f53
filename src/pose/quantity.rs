//! The reported quantities as functions of a frame's parameters. Angles become degrees here and nowhere else.

use super::body::Body;
use super::dual::Scalar;
use super::view::Sight;
use crate::geometry::Side;

/// A quantity of one raise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Quantity {
    /// Elevation of one arm from the trunk, deg.
    Elevation(Side),
    /// Mean elevation of both arms from the trunk, deg.
    ElevationBoth,
    /// Elevation of one arm from the plumb line, deg.
    ElevationFromVertical(Side),
    /// Mean elevation of both arms from the plumb line, deg.
    ElevationFromVerticalBoth,
    /// Lean of the trunk from the plumb line, positive backward, deg.
    TrunkLean,
    /// Bend of one elbow in the arm's sagittal plane, with its sign, deg. With its other part it makes elbow flexion: 180 minus
    /// the angle between the marks in space.
    ElbowInPlane(Side),
    /// The part of that bend out of the arm's sagittal plane, with its sign, deg.
    ElbowOutOfPlane(Side),
    /// Height of the bar's centre above the datum, mm.
    BarHeightAboveDatum,
    /// Height of the bar's centre above the middle of the hips, mm.
    BarHeightAboveHip,
    /// Height of the bar's centre above the datum, in arm lengths.
    BarHeightAboveDatumArm,
    /// Height of the bar's centre above the middle of the hips, in arm lengths.
    BarHeightAboveHipArm,
    /// Tilt of the bar in the frontal plane, positive when the right end is higher, deg.
    BarTilt,
    /// Distance between the wrists along the bar, mm.
    GripWidth,
    /// Shoulder to wrist with the elbow straight, mm. One for the visit.
    ArmLength,
    /// Turn of the person from the room's right, deg: 0 in a square right-sided side view.
    Heading,
}

impl Quantity {
    /// Every quantity.
    pub(super) const ALL: [Self; 19] = [
        Self::Elevation(Side::Left),
        Self::Elevation(Side::Right),
        Self::ElevationBoth,
        Self::ElevationFromVertical(Side::Left),
        Self::ElevationFromVertical(Side::Right),
        Self::ElevationFromVerticalBoth,
        Self::TrunkLean,
        Self::ElbowInPlane(Side::Left),
        Self::ElbowInPlane(Side::Right),
        Self::ElbowOutOfPlane(Side::Left),
        Self::ElbowOutOfPlane(Side::Right),
        Self::BarHeightAboveDatum,
        Self::BarHeightAboveHip,
        Self::BarHeightAboveDatumArm,
        Self::BarHeightAboveHipArm,
        Self::BarTilt,
        Self::GripWidth,
        Self::ArmLength,
        Self::Heading,
    ];

    /// The quantity in its unit, from body and sight.
    pub(super) fn evaluate<S: Scalar>(self, body: &Body<S>, sight: &Sight<S>, heading: S) -> S {
        let degrees = 1f64.to_degrees();
        let of = |side: Side| usize::from(side == Side::Right);
        let mean_elevation = (body.elevation[0] + body.elevation[1]) * 0.5;
        let height = || body.bar_center.y;
        let above_datum = || sight.room_from_body(body.bar_center).y - sight.datum().y;
        match self {
            Self::Elevation(side) => (body.elevation[of(side)] - body.lean + body.lean_error) * degrees,
            Self::ElevationBoth => (mean_elevation - body.lean + body.lean_error) * degrees,
            Self::ElevationFromVertical(side) => body.elevation[of(side)] * degrees,
            Self::ElevationFromVerticalBoth => mean_elevation * degrees,
            Self::TrunkLean => body.lean * degrees,
            Self::ElbowInPlane(side) => body.bend[of(side)][0] * degrees,
            Self::ElbowOutOfPlane(side) => body.bend[of(side)][1] * degrees,
            Self::BarHeightAboveDatum => above_datum(),
            Self::BarHeightAboveHip => height(),
            Self::BarHeightAboveDatumArm => above_datum() * body.arm_length_mm.recip(),
            Self::BarHeightAboveHipArm => height() * body.arm_length_mm.recip(),
            Self::BarTilt => body.bar_direction.y.atan2(body.bar_direction.z) * degrees,
            Self::GripWidth => body.grip_width_mm(),
            Self::ArmLength => body.arm_length_mm,
            Self::Heading => heading * degrees,
        }
    }

    /// The quantity in a sentence.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Elevation(_) | Self::ElevationBoth => "the elevation from the trunk",
            Self::ElevationFromVertical(_) | Self::ElevationFromVerticalBoth => "the elevation from the plumb line",
            Self::TrunkLean => "the lean of the trunk",
            Self::ElbowInPlane(_) | Self::ElbowOutOfPlane(_) => "the bend of the elbow",
            Self::BarHeightAboveDatum | Self::BarHeightAboveDatumArm => "the bar's height above the datum",
            Self::BarHeightAboveHip | Self::BarHeightAboveHipArm => "the bar's height above the hips",
            Self::BarTilt => "the tilt of the bar",
            Self::GripWidth => "the grip width",
            Self::ArmLength => "the length of the arm",
            Self::Heading => "the person's turn",
        }
    }
}
