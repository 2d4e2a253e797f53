//! Where each unknown sits: named indices within its block, and blocks within the whole parameter vector.
//!
//! Five kinds of block: the visit (person and bar), a lens, a camera set-up, a reach, a frame. A frame's marks depend on one
//! block of each kind; together they are the frame's local parameters, in this order.

use super::dual::LOCAL;

/// Indices within the block of the visit.
pub(super) mod visit {
    pub const STATURE_MM: usize = 0;
    pub const LOG_UPPER_ARM: usize = 1;
    pub const LOG_FOREARM: usize = 2;
    pub const LOG_TRUNK: usize = 3;
    pub const LOG_SHOULDER_HALF: usize = 4;
    pub const LOG_HIP_HALF: usize = 5;
    pub const LOG_BAR_HALF: usize = 6;
    /// One for internal, one for external rotation, as for all that turns with the hand.
    pub const HAND_ALONG_MM: [usize; 2] = [7, 28];
    pub const HAND_ACROSS_MM: [usize; 2] = [8, 9];
    pub const PELVIS_TWIST: usize = 10;
    pub const SHOULDER_OFFSET_MM: [usize; 2] = [11, 12];
    pub const SHOULDER_SLIDE_MM: [usize; 2] = [13, 14];
    pub const WRIST_OFFSET_MM: [usize; 2] = [15, 16];
    pub const HIP_OFFSET_MM: [usize; 2] = [17, 18];
    pub const LEAN: usize = 19;
    pub const ELBOW_IN_PLANE: [usize; 2] = [20, 21];
    pub const ELBOW_OUT_OF_PLANE: [usize; 2] = [22, 23];
    pub const GRIP_HALF_MM: usize = 24;
    pub const SHOULDER_SKIN_MM: usize = 25;
    pub const ASYMMETRY: usize = 26;
    pub const ELBOW_SKIN_MM: usize = 27;
    pub const SHOULDER_LIFT_MM: usize = 29;
    pub const LEAN_SOFTNESS: usize = 30;
    pub const COUNT: usize = 31;
}

/// Indices within the block of a lens: nine standard normal deviates of the profile's covariance.
pub(super) mod lens {
    pub const COUNT: usize = 9;
}

/// Indices within the block of a camera set-up.
pub(super) mod setup {
    pub const ROLL: usize = 0;
    pub const PITCH: usize = 1;
    pub const LOG_DISTANCE: usize = 2;
    pub const AZIMUTH: usize = 3;
    pub const ELEVATION: usize = 4;
    pub const HEADING: usize = 5;
    pub const PLUMB_AZIMUTH: usize = 6;
    pub const PLUMB_TILT: usize = 7;
    pub const DATUM_AZIMUTH: usize = 8;
    pub const DATUM_ELEVATION: usize = 9;
    pub const DATUM_LOG_DEPTH: usize = 10;
    pub const COUNT: usize = 11;
}

/// Indices within the block of a reach.
pub(super) mod reach {
    pub const SHIFT_MM: [usize; 3] = [0, 1, 2];
    pub const TURN: usize = 3;
    pub const LEAN: usize = 4;
    pub const SIDE_LEAN: usize = 5;
    pub const COUNT: usize = 6;
}

/// Indices within the block of a frame. Pairs are left, right.
pub(super) mod frame {
    pub const ELEVATION: [usize; 2] = [0, 1];
    pub const OUTWARD: [usize; 2] = [2, 3];
    pub const ELBOW_IN_PLANE: [usize; 2] = [4, 5];
    pub const ELBOW_OUT_OF_PLANE: [usize; 2] = [6, 7];
    pub const BAR_SHIFT_MM: usize = 8;
    pub const BAR_TILT: usize = 9;
    pub const BAR_YAW: usize = 10;
    pub const LEAN: usize = 11;
    pub const SHIFT_MM: [usize; 3] = [12, 13, 14];
    pub const COUNT: usize = 15;
}

/// Local index at which each block starts.
pub(super) mod local {
    use super::{lens as lens_block, reach as reach_block, setup as setup_block, visit as visit_block};

    pub const VISIT: usize = 0;
    pub const LENS: usize = VISIT + visit_block::COUNT;
    pub const SETUP: usize = LENS + lens_block::COUNT;
    pub const REACH: usize = SETUP + setup_block::COUNT;
    pub const FRAME: usize = REACH + reach_block::COUNT;
    pub const COUNT: usize = FRAME + super::frame::COUNT;
}

const _: () = assert!(local::COUNT <= LOCAL, "a frame's parameters fit into a dual number");

/// Which blocks of the whole vector a frame's marks depend on: the global index at which each starts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Blocks {
    pub lens: usize,
    pub setup: usize,
    pub reach: usize,
    pub frame: usize,
}

impl Blocks {
    /// The global index of a local one.
    pub(super) const fn global(&self, index: usize) -> usize {
        if index < local::LENS {
            index
        } else if index < local::SETUP {
            self.lens + index - local::LENS
        } else if index < local::REACH {
            self.setup + index - local::SETUP
        } else if index < local::FRAME {
            self.reach + index - local::REACH
        } else {
            self.frame + index - local::FRAME
        }
    }
}
