//! Pyramids, optical flow, carried marks, tracks; smoothing and end range.

mod affine;
mod carry;
mod flow;
mod plane;
mod pyramid;
mod room;
mod smooth;

pub use affine::{Aligned, Warp};
pub use carry::{ArmTurn, Carried, Carry, NotCarried, carry_marks};
pub use flow::{Flow, FlowLoss, FlowOptions, flow, flow_both_ways};
pub use pyramid::Pyramid;
pub use room::PictureMotion;
pub use smooth::{LowPass, Smoothed, chosen_cutoff_hz, smooth};
