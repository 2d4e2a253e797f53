//! The marking page and the palms page.

use crate::geometry::{Landmark, Side};
use crate::pose::{Rotation, View};
use crate::screen::{LimitedBy, Occasion};

/// `/reaches/{id}/palms`: which way do the palms face? `POST` with `palms` (down, up, unclear).
#[derive(Debug, Clone)]
pub struct PalmsView {
    /// The reach.
    pub reach: i64,
    /// Its visit.
    pub visit: i64,
    /// Whose visit.
    pub client_code: String,
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// The rotation that the reach was brought in as. Internal: palms down.
    pub rotation: Rotation,
    /// The still, a JPEG.
    pub still_url: String,
    /// Where the clip is damaged, as a sentence.
    pub warning: Option<String>,
    /// What was answered before, `down`, `up` or `unclear`.
    pub answered: Option<&'static str>,
    /// What was wrong with the answer.
    pub error: Option<String>,
    /// The answer was the other way: the clip is likely in the wrong cell. `POST` with `swap=on` exchanges it with the
    /// other rotation of the same occasion.
    pub is_contrary: bool,
    /// That other rotation has a clip as well.
    pub has_other: bool,
    /// The picture is wider than high.
    pub is_wide: bool,
}

/// `/reaches/{id}/mark?repeat=N&raise=N`: the marking page; the rest comes from `GET /api/reaches/{id}`.
#[derive(Debug, Clone)]
pub struct MarkView {
    /// The reach.
    pub reach: i64,
    /// Its visit.
    pub visit: i64,
    /// Whose visit.
    pub client_code: String,
    /// The visit is done alone, step by step.
    pub is_alone: bool,
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// From where it was filmed.
    pub view: View,
    /// The side towards the camera.
    pub near_side: Option<Side>,
    /// The picture is a mirror picture.
    pub mirrored: bool,
    /// Width and height of the upright picture, px.
    pub image_size: [u32; 2],
    /// Number of frames; 1 for a still.
    pub frames: usize,
    /// The clip can be followed once its marks are placed, and no earlier marks are to be hidden.
    pub is_followable: bool,
    /// Which marking of the raise, from 1; from 2 on the earlier marks are not shown.
    pub repeat: u32,
    /// Which raise of the clip, from 1.
    pub raise: u32,
    /// In the order in which they are asked for.
    pub landmarks: Vec<LandmarkView>,
    /// Pain at end range, 0 to 10.
    pub pain: Option<f64>,
    /// What ended the reach.
    pub limited_by: Option<LimitedBy>,
    /// Low back and ribs were seen to stay flat.
    pub back_flat: Option<bool>,
}

/// A landmark to place.
#[derive(Debug, Clone, Copy)]
pub struct LandmarkView {
    /// The landmark.
    pub landmark: Landmark,
    /// The view needs it; others sharpen the answer.
    pub is_required: bool,
}
