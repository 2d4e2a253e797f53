//! Clips and stills in, as upright frames with their times; encoding for the demo.
//!
//! Every picture that leaves this room is upright: the container's display matrix or the EXIF orientation is applied, pixels
//! are square, and colours follow the stream's own matrix and range. A clip's times are presentation times in seconds from its
//! first frame. What a frame was recorded at cannot be told from a clip: slow motion and edited clips show other times.

mod clip;
mod color;
mod convert;
mod encoder;
mod error;
mod ffi;
mod growing;
mod info;
mod jpeg;
mod media;
mod orientation;
mod planes;
mod reader;
mod sniff;
mod still;
mod stream;

pub use clip::{Clip, Frames, LumaFrame, LumaFrames, Survey, TIME_TOLERANCE_S, UprightFrame};
pub use color::{ColorInfo, Transfer};
pub use encoder::{EncodeOptions, Encoder};
pub use error::VideoError;
pub(crate) use growing::{growing_beside, growing_file, without_temporary_name};
pub use info::{MediaInfo, MediaKind};
pub use jpeg::encode_jpeg;
pub use media::Media;
pub use orientation::Orientation;
pub use planes::{Plane, YccPicture};
pub use reader::Damage;
pub use still::{Still, is_still_by_name};
