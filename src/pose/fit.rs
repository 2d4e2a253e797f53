//! What the fit gives: quantities with their joint covariance, and where every mark lies from where the others put it.

use crate::geometry::{ImagePoint, Landmark, Side};
use crate::pose::observation::VisitObservations;

/// A quantity of one raise or one reach.
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
    /// Elbow flexion of one arm, deg.
    ElbowFlexion(Side),
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
}

/// An estimate and its standard uncertainty, in the quantity's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The estimate.
    pub value: f64,
    /// Standard uncertainty of the measurement.
    pub u: f64,
}

/// Why a quantity has no number. The sentence is for the report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Undetermined {
    /// For example "the trunk is not seen in a front view".
    pub reason: String,
}

/// One term of a linear combination of quantities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    /// Factor.
    pub factor: f64,
    /// Index into [`VisitObservations::reaches`].
    pub reach: usize,
    /// Index of the raise in that reach, as in [`crate::pose::observation::FrameObservations::raise`].
    pub raise: usize,
    /// The quantity.
    pub quantity: Quantity,
}

/// How the iteration ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// Steps taken.
    pub iterations: usize,
    /// The last step was below the tolerance.
    pub is_converged: bool,
    /// Half the sum of the weighted squared residuals.
    pub cost: f64,
}

/// Where a mark lies from where all the others put it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MarkResidual {
    /// Index into [`VisitObservations::reaches`].
    pub reach: usize,
    /// Index of the frame in the reach.
    pub frame: usize,
    /// Index of the mark in the frame.
    pub mark: usize,
    /// What was marked.
    pub landmark: Landmark,
    /// Distance from where the other marks put it, px.
    pub distance_px: f64,
    /// Standard uncertainty of that distance, px.
    pub u_px: f64,
    /// It is too far off to be marking error alone; the fit has weighted it down.
    pub is_disagreeing: bool,
}

/// What is drawn on a still, in px of the picture as stored (distorted, mirrored where the picture is).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Overlay {
    /// Placed marks.
    pub marks: Vec<(Landmark, ImagePoint)>,
    /// Middle of the shoulders to middle of the hips, projected.
    pub trunk: Option<[ImagePoint; 2]>,
    /// Shoulder, elbow, wrist of each arm that is seen, projected.
    pub arms: Vec<(Side, [ImagePoint; 3])>,
    /// The plumb line through the shoulder, as a polyline.
    pub plumb: Vec<ImagePoint>,
    /// The arc of the elevation about the near shoulder, from the trunk axis to the arm axis, as a polyline.
    pub arc: Vec<ImagePoint>,
    /// The bar, end to end, projected.
    pub bar: Option<[ImagePoint; 2]>,
}

/// The fit of all reaches of a visit.
#[derive(Debug, Clone)]
pub struct VisitFit {
    /// How the iteration ended.
    pub outcome: Outcome,
    /// Every mark's distance from where the others put it.
    pub residuals: Vec<MarkResidual>,
}

impl VisitFit {
    /// The value and standard uncertainty of a linear combination of quantities, with everything they share.
    ///
    /// # Errors
    /// [`Undetermined`] when the marks do not determine one of the quantities.
    pub fn combine(&self, terms: &[Term]) -> Result<Estimate, Undetermined> {
        let _ = terms;
        Err(Undetermined { reason: "not fitted yet".to_owned() })
    }

    /// What to draw on a frame's still.
    #[must_use]
    pub fn overlay(&self, reach: usize, frame: usize) -> Overlay {
        let _ = (reach, frame);
        Overlay::default()
    }
}

/// Fits one model of body, bar and camera to all marks of a visit.
#[must_use]
pub fn fit_visit(observations: &VisitObservations) -> VisitFit {
    let _ = observations;
    VisitFit { outcome: Outcome { iterations: 0, is_converged: false, cost: 0.0 }, residuals: Vec::new() }
}
