//! Pyramids, optical flow, carried marks, tracks; smoothing and end range.

mod affine;
mod flow;
mod plane;
mod pyramid;
mod smooth;

pub use affine::{Aligned, Warp};
pub use flow::{Flow, FlowLoss, FlowOptions, flow, flow_both_ways};
pub use pyramid::Pyramid;
pub use smooth::{LowPass, Smoothed, chosen_cutoff_hz, smooth};
