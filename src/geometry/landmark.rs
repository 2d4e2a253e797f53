//! The names of what a person marks on a picture. Left and right are always the person's own.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// One side of the person's body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// The person's left.
    Left,
    /// The person's right.
    Right,
}

impl Side {
    /// Both sides, left first.
    pub const BOTH: [Self; 2] = [Self::Left, Self::Right];

    /// The side across the body.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// The sign of this side along the body's Z axis, which points to the person's right: -1 left, +1 right.
    #[must_use]
    pub const fn sign(self) -> f64 {
        match self {
            Self::Left => -1.0,
            Self::Right => 1.0,
        }
    }

    /// The word for this side, `left` or `right`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

impl fmt::Display for Side {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// A landmark that can be marked on a picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Landmark {
    /// On the skin over the centre of the shoulder joint, the point about which the raised arm turns.
    Shoulder(Side),
    /// Lateral epicondyle of the humerus.
    Elbow(Side),
    /// Midpoint between the styloid processes.
    Wrist(Side),
    /// Greater trochanter of the femur.
    Hip(Side),
    /// Outer corner of the eye.
    Eye(Side),
    /// Tip of the nose.
    Nose,
    /// Lowest point of the chin in the midline.
    Chin,
    /// The bar's end on the person's left or right, on the bar's axis.
    BarEnd(Side),
    /// The upper of two points of a true vertical: the wall's edge.
    PlumbTop,
    /// The lower of two points of a true vertical.
    PlumbBottom,
    /// A fixed point of the room.
    Datum,
}

impl Landmark {
    /// Every landmark, in the order in which files and screens list them.
    pub const ALL: [Self; 17] = [
        Self::Shoulder(Side::Left),
        Self::Shoulder(Side::Right),
        Self::Elbow(Side::Left),
        Self::Elbow(Side::Right),
        Self::Wrist(Side::Left),
        Self::Wrist(Side::Right),
        Self::Hip(Side::Left),
        Self::Hip(Side::Right),
        Self::Eye(Side::Left),
        Self::Eye(Side::Right),
        Self::Nose,
        Self::Chin,
        Self::BarEnd(Side::Left),
        Self::BarEnd(Side::Right),
        Self::PlumbTop,
        Self::PlumbBottom,
        Self::Datum,
    ];

    /// Whether it is on the head, which turns on the neck and says nothing of the reach: such marks are drawn alone.
    #[must_use]
    pub const fn is_of_head(self) -> bool {
        matches!(self, Self::Eye(_) | Self::Nose | Self::Chin)
    }

    /// The landmark's name in files, such as `right_shoulder` or `bar_left`.
    #[must_use]
    pub const fn name(self) -> &'static str {
        use Side::{Left, Right};
        match self {
            Self::Shoulder(Left) => "left_shoulder",
            Self::Shoulder(Right) => "right_shoulder",
            Self::Elbow(Left) => "left_elbow",
            Self::Elbow(Right) => "right_elbow",
            Self::Wrist(Left) => "left_wrist",
            Self::Wrist(Right) => "right_wrist",
            Self::Hip(Left) => "left_hip",
            Self::Hip(Right) => "right_hip",
            Self::Eye(Left) => "left_eye",
            Self::Eye(Right) => "right_eye",
            Self::Nose => "nose",
            Self::Chin => "chin",
            Self::BarEnd(Left) => "bar_left",
            Self::BarEnd(Right) => "bar_right",
            Self::PlumbTop => "plumb_top",
            Self::PlumbBottom => "plumb_bottom",
            Self::Datum => "datum",
        }
    }

    /// The landmark's name in a sentence, such as `right shoulder`, `left bar end` or `upper plumb point`.
    #[must_use]
    pub const fn words(self) -> &'static str {
        use Side::{Left, Right};
        match self {
            Self::Shoulder(Left) => "left shoulder",
            Self::Shoulder(Right) => "right shoulder",
            Self::Elbow(Left) => "left elbow",
            Self::Elbow(Right) => "right elbow",
            Self::Wrist(Left) => "left wrist",
            Self::Wrist(Right) => "right wrist",
            Self::Hip(Left) => "left hip",
            Self::Hip(Right) => "right hip",
            Self::Eye(Left) => "left eye",
            Self::Eye(Right) => "right eye",
            Self::Nose => "nose",
            Self::Chin => "chin",
            Self::BarEnd(Left) => "left bar end",
            Self::BarEnd(Right) => "right bar end",
            Self::PlumbTop => "upper plumb point",
            Self::PlumbBottom => "lower plumb point",
            Self::Datum => "datum",
        }
    }
}

impl fmt::Display for Landmark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A word that is not the name of a landmark.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("unknown mark \"{found}\"")]
pub struct UnknownLandmark {
    /// The word found.
    pub found: String,
}

impl FromStr for Landmark {
    type Err = UnknownLandmark;

    fn from_str(name: &str) -> Result<Self, Self::Err> {
        Self::ALL
            .into_iter()
            .find(|landmark| landmark.name() == name)
            .ok_or_else(|| UnknownLandmark { found: name.to_owned() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_parses_back_to_its_landmark() {
        for landmark in Landmark::ALL {
            assert_eq!(landmark.name().parse(), Ok(landmark));
        }
    }

    #[test]
    fn a_misspelt_name_is_refused() {
        assert!("right_sholder".parse::<Landmark>().is_err());
    }
}
