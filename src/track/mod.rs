//! Pyramids, optical flow, carried marks, tracks; smoothing and end range.

mod affine;
mod alike;
mod bar;
mod bar_column;
mod bar_follow;
mod bar_height;
mod carry;
mod carry_bar;
mod flow;
mod clip_track;
mod follow;
mod forearm;
mod limb;
mod mark_state;
mod plane;
mod pyramid;
mod raises;
mod room;
mod smooth;
mod template;
mod window;

pub use affine::{Aligned, Warp};
pub(crate) use alike::is_one_moment;
pub(crate) use bar::{BarFound, BarPoint, NoBar, find_bar};
pub use bar_height::bar_heights;
pub(crate) use carry::carry_marks_beside;
pub use carry::{ArmTurn, Carried, Carry, NotCarried, carry_marks};
pub use clip_track::{Anchor, ClipTrack, PlacedMarks, follow_clip};
pub use flow::{Flow, FlowLoss, FlowOptions, flow, flow_both_ways};
pub use follow::Follower;
pub use forearm::{Forearm, wrist_beside_forearm};
pub use mark_state::MarkState;
pub use pyramid::Pyramid;
pub use raises::{Course, Hold, Raise, RaiseLimits, SHORTEST_HOLD_S, course};
pub use room::PictureMotion;
pub use smooth::{LowPass, Smoothed, chosen_cutoff_hz, smooth};
