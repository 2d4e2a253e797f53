//! Decoding in child processes: this program started again, with bounds on memory and time.
//!
//! A clip comes from anywhere, and the decoders are large programs in C. What makes one of them fail, loop or eat memory
//! ends a child, not the server. [`program`], [`calibrate`], [`follow`] and [`look`] are what runs in a
//! child, [`parent`] what starts one and waits for it.

pub mod calibrate;
pub mod follow;
pub mod look;
pub(super) mod parent;
pub mod previews;
pub mod program;
