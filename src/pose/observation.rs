//! What the fit is given: marks with covariance, lenses, and what is known of person and bar.

use nalgebra::Matrix2;
use serde::{Deserialize, Serialize};

use crate::camera::Lens;
use crate::geometry::{ImagePoint, Landmark, Side};

/// From where the camera sees the person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum View {
    /// At right angles to the person's sagittal plane.
    Side,
    /// Along the person's sagittal plane, from the front.
    Front,
    /// Between the two.
    Oblique,
}

/// How the shoulders are turned in a reach.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rotation {
    /// Internally rotated: palms down.
    Internal,
    /// Externally rotated: palms up.
    External,
}

/// All that was observed on one visit.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitObservations {
    /// What is known of the person.
    pub person: PersonFacts,
    /// What is known of the bar.
    pub bar: BarFacts,
    /// The reaches, in the case's order.
    pub reaches: Vec<ReachObservations>,
    /// Marks of one landmark that the pictures show to be on different spots of the body.
    pub contradictions: Vec<Contradiction>,
}

/// Marks of one landmark in several reaches which, as the pictures show, are not all on one spot: those of one spot at the most are right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contradiction {
    /// The marks on each spot.
    pub spots: Vec<Vec<MarkPlace>>,
}

/// A mark among the observations of a visit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MarkPlace {
    /// Index into [`VisitObservations::reaches`].
    pub reach: usize,
    /// Index into [`ReachObservations::frames`].
    pub frame: usize,
    /// Index into [`FrameObservations::marks`].
    pub mark: usize,
}

impl VisitObservations {
    /// Whether anything of known size is stated.
    #[must_use]
    pub const fn has_scale(&self) -> bool {
        self.person.stature_mm.is_some() || self.person.arm_length_mm.is_some() || self.bar.length_mm.is_some()
    }
}

/// What is known of the person beside the marks.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct PersonFacts {
    /// Standing height, mm.
    pub stature_mm: Option<f64>,
    /// Shoulder to wrist, elbow straight, mm.
    pub arm_length_mm: Option<f64>,
}

/// What is known of the bar beside the marks.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct BarFacts {
    /// End to end, mm.
    pub length_mm: Option<f64>,
    /// The hands are on the same tape marks in every reach.
    pub has_taped_grips: bool,
}

/// What was observed in one reach.
#[derive(Debug, Clone, PartialEq)]
pub struct ReachObservations {
    /// From where the camera sees the person.
    pub view: View,
    /// The side towards the camera; `None` in a front view.
    pub near_side: Option<Side>,
    /// How the shoulders are turned: the bar lies on the other side of the wrist when they turn.
    pub rotation: Rotation,
    /// The picture is a mirror picture. Marks are in the picture as stored.
    pub is_mirrored: bool,
    /// Size of the upright picture, px.
    pub image_size: [u32; 2],
    /// The lens of a profile, for this image size; `None` without one.
    pub lens: Option<Lens>,
    /// Marked frames at end range.
    pub frames: Vec<FrameObservations>,
}

/// The marks of one frame. Marks of several raters or repeats of one frame are in one list.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameObservations {
    /// Presentation time, s.
    pub time_s: f64,
    /// Which raise of the clip the frame belongs to, from 0.
    pub raise: usize,
    /// How the arm moved here, as following it through the clip showed; `None` where it was not followed.
    pub motion: Option<Motion>,
    /// The marks.
    pub marks: Vec<Mark>,
}

/// How the arm moved about a frame at end range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// It was held; otherwise it swung through its highest place.
    pub is_held: bool,
    /// By how much it turned on the picture during the hold, or about its highest place for as long as a hold lasts at least, deg.
    pub turned_deg: f64,
}

/// One mark.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// What was marked.
    pub landmark: Landmark,
    /// Where, px.
    pub point: ImagePoint,
    /// Covariance of the mark's own error, px².
    pub covariance_px2: Matrix2<f64>,
    /// The error it shares with other marks, when it was followed or carried from another.
    pub shared: Option<SharedError>,
    /// Covariance of the error by which a followed mark strayed from the mark it comes from, px². All frames of the reach that were
    /// followed from that mark have it in common: skin that slid stays where it slid to. `None` for other marks.
    pub drift_px2: Option<Matrix2<f64>>,
    /// What the followed mark that it was carried from had strayed by; `None` where that was placed by hand.
    pub strayed: Option<Strayed>,
    /// A person placed it on this frame; otherwise it was followed or carried from another.
    pub is_placed: bool,
}

impl Mark {
    /// A mark that a person placed, with an error of its own alone.
    #[must_use]
    pub const fn placed(landmark: Landmark, point: ImagePoint, covariance_px2: Matrix2<f64>) -> Self {
        Self { landmark, point, covariance_px2, shared: None, drift_px2: None, strayed: None, is_placed: true }
    }
}

/// By how much a mark strayed while it was followed in another reach, from which it was carried on: all that was followed there, or carried
/// from there, has this error in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strayed {
    /// That reach: index into the visit's.
    pub reach: usize,
    /// Covariance, px².
    pub covariance_px2: Matrix2<f64>,
}

/// An error that several marks have in common, on top of each mark's own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SharedError {
    /// The same for all marks that share the error (and the same landmark).
    pub origin: usize,
    /// Covariance of the shared error, px².
    pub covariance_px2: Matrix2<f64>,
}
