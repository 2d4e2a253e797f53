//! Tests of the room's parts together, on a made-up fit whose numbers are known.

mod files;
mod pooling;
mod sharing;
mod verdicts;

use std::path::PathBuf;

use nalgebra::Matrix2;

use super::case::{
    BarEntry, CASE_SCHEMA, CallOptions, CameraEntry, CaseFile, ClientFacts, LimitedBy, MarkingEntry, ReachEntry,
};
use super::evaluation::Evidence;
use super::limits::CheckLimits;
use super::pooled::Combine;
use super::result::{Occasion, ResultSide};
use crate::geometry::{ImagePoint, Landmark, Side};
use crate::pose::{
    BarFacts, Estimate, FrameObservations, Mark, MarkResidual, PersonFacts, Quantity, ReachObservations, Rotation,
    Term, Undetermined, View, VisitObservations,
};

/// A value of one raise.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    pub(super) reach: usize,
    pub(super) raise: usize,
    pub(super) quantity: Quantity,
    pub(super) value: f64,
}

/// A fit whose values are set: each has an error of its own, and one that all values of its quantity share.
#[derive(Debug, Clone, Default)]
pub(super) struct MadeUpFit {
    pub(super) values: Vec<Known>,
    pub(super) own_u: f64,
    pub(super) shared_u: f64,
    pub(super) residuals: Vec<MarkResidual>,
}

impl MadeUpFit {
    pub(super) fn set(&mut self, reach: usize, raise: usize, quantity: Quantity, value: f64) {
        self.values.retain(|known| (known.reach, known.raise, known.quantity) != (reach, raise, quantity));
        self.values.push(Known { reach, raise, quantity, value });
    }

    pub(super) fn forget(&mut self, quantity: Quantity) {
        self.values.retain(|known| known.quantity != quantity);
    }
}

impl Combine for MadeUpFit {
    fn combine(&self, terms: &[Term]) -> Result<Estimate, Undetermined> {
        let mut value = 0.0;
        let mut factors: Vec<(&Known, f64)> = Vec::new();
        for term in terms {
            let known = self
                .values
                .iter()
                .find(|known| (known.reach, known.raise, known.quantity) == (term.reach, term.raise, term.quantity))
                .ok_or_else(|| Undetermined { reason: "not in the made-up fit".to_owned() })?;
            value += term.factor * known.value;
            match factors.iter_mut().find(|(other, _)| std::ptr::eq(*other, known)) {
                Some((_, factor)) => *factor += term.factor,
                None => factors.push((known, term.factor)),
            }
        }
        let own: f64 = factors.iter().map(|(_, factor)| factor * factor).sum();
        let shared: f64 = factors.iter().map(|(_, factor)| factor).sum();
        let variance = own * self.own_u.powi(2) + shared.powi(2) * self.shared_u.powi(2);
        Ok(Estimate { value, u: variance.sqrt() })
    }

    fn covariance(&self, first: &[Term], second: &[Term]) -> Result<f64, Undetermined> {
        // from the variance of the sum and those of the parts
        let variance = |terms: &[Term]| self.combine(terms).map(|estimate| estimate.u.powi(2));
        Ok(0.5 * (variance(&[first, second].concat())? - variance(first)? - variance(second)?))
    }

    fn residuals(&self) -> &[MarkResidual] {
        &self.residuals
    }
}

/// An invented visit: which reaches, how seen, and the elevation of each.
pub(super) struct Visit {
    pub(super) case: CaseFile,
    pub(super) observations: VisitObservations,
    pub(super) fit: MadeUpFit,
    /// Pairs of reaches that are one recording.
    pub(super) one_recordings: Vec<[usize; 2]>,
}

/// The reaches of a whole visit, in this order.
pub(super) const FOUR: [(Occasion, Rotation); 4] = [
    (Occasion::Before, Rotation::Internal),
    (Occasion::Before, Rotation::External),
    (Occasion::After, Rotation::Internal),
    (Occasion::After, Rotation::External),
];

impl Visit {
    /// What its result is made from, beside the fit.
    pub(super) fn evidence(&self) -> Evidence<'_> {
        let Self { case, observations, one_recordings, .. } = self;
        Evidence { case, observations, one_recordings }
    }

    /// A visit in which everything is determined and every check is well, seen from the right side or from the front.
    pub(super) fn new(view: View, elevations_deg: &[f64], own_u: f64) -> Self {
        let reaches = FOUR.iter().take(elevations_deg.len());
        let entries = reaches.clone().map(|(occasion, rotation)| entry(*occasion, *rotation, view)).collect();
        let observed = reaches.map(|(_, rotation)| observed(*rotation, view)).collect();
        let case = CaseFile {
            schema: CASE_SCHEMA.to_owned(),
            client: ClientFacts {
                code: "R07".to_owned(),
                affected_side: ResultSide::Right,
                stature_mm: Some(1760.0),
                arm_length_mm: Some(610.0),
            },
            bar: BarEntry { length_mm: Some(1200.0), taped_grips: true },
            camera: CameraEntry::default(),
            call: CallOptions::default(),
            marking: MarkingEntry::default(),
            limits: CheckLimits::default(),
            reaches: entries,
        };
        let observations = VisitObservations {
            contradictions: Vec::new(),
            person: PersonFacts { stature_mm: Some(1760.0), arm_length_mm: Some(610.0) },
            bar: BarFacts { length_mm: Some(1200.0), has_taped_grips: true },
            reaches: observed,
        };
        let fit = MadeUpFit { own_u, ..MadeUpFit::default() };
        let mut visit = Self { case, observations, fit, one_recordings: Vec::new() };
        for (reach, elevation_deg) in elevations_deg.iter().enumerate() {
            visit.raise(reach, 0, *elevation_deg);
        }
        visit.fit.set(0, 0, Quantity::ArmLength, 610.0);
        visit
    }

    /// Sets everything that follows from the elevation of one raise, with the trunk upright.
    pub(super) fn raise(&mut self, reach: usize, raise: usize, elevation_deg: f64) {
        let height_arm = -elevation_deg.to_radians().cos();
        for side in Side::BOTH {
            self.fit.set(reach, raise, Quantity::Elevation(side), elevation_deg);
            self.fit.set(reach, raise, Quantity::ElevationFromVertical(side), elevation_deg);
            self.fit.set(reach, raise, Quantity::ElbowInPlane(side), 4.0);
            self.fit.set(reach, raise, Quantity::ElbowOutOfPlane(side), 5.0);
        }
        self.fit.set(reach, raise, Quantity::ElevationBoth, elevation_deg);
        self.fit.set(reach, raise, Quantity::ElevationFromVerticalBoth, elevation_deg);
        self.fit.set(reach, raise, Quantity::TrunkLean, 2.0);
        self.fit.set(reach, raise, Quantity::BarTilt, 0.5);
        self.fit.set(reach, raise, Quantity::GripWidth, 700.0);
        for (mm, arm) in [
            (Quantity::BarHeightAboveDatum, Quantity::BarHeightAboveDatumArm),
            (Quantity::BarHeightAboveHip, Quantity::BarHeightAboveHipArm),
        ] {
            self.fit.set(reach, raise, mm, 610.0 * height_arm + 900.0);
            self.fit.set(reach, raise, arm, height_arm + 900.0 / 610.0);
        }
        let frames = &mut self.observations.reaches[reach].frames;
        if raise >= frames.len() {
            let next = FrameObservations {
                raise,
                time_s: 2.0 + 4.0 * f64::from(u8::try_from(raise).unwrap()),
                ..frames[0].clone()
            };
            frames.push(next);
        }
    }
}

fn entry(occasion: Occasion, rotation: Rotation, view: View) -> ReachEntry {
    ReachEntry {
        occasion,
        rotation,
        view,
        near_side: (view != View::Front).then_some(Side::Right),
        mirrored: false,
        pain: Some(0.0),
        limited_by: Some(LimitedBy::Stretch),
        back_flat: Some(true),
        profile: None,
        file: PathBuf::from("reach.mp4"),
        marks: PathBuf::from(format!("{occasion:?}-{rotation:?}-{view:?}.marks.json")),
    }
}

fn observed(rotation: Rotation, view: View) -> ReachObservations {
    let near = |landmark: fn(Side) -> Landmark, x: f64, y: f64| vec![(landmark(Side::Right), x, y)];
    let pair = |landmark: fn(Side) -> Landmark, apart: f64, y: f64| {
        // from the front the person's left is on the picture's right
        vec![(landmark(Side::Left), 640.0 + apart, y), (landmark(Side::Right), 640.0 - apart, y)]
    };
    let mut places = vec![(Landmark::PlumbTop, 300.0, 20.0), (Landmark::PlumbBottom, 300.0, 700.0)];
    places.push((Landmark::Datum, 320.0, 300.0));
    places.extend(match view {
        View::Front => [
            pair(Landmark::Shoulder, 90.0, 400.0),
            pair(Landmark::Elbow, 150.0, 280.0),
            pair(Landmark::Wrist, 180.0, 170.0),
            pair(Landmark::Hip, 70.0, 620.0),
            pair(Landmark::BarEnd, 300.0, 150.0),
        ]
        .concat(),
        View::Side | View::Oblique => [
            near(Landmark::Shoulder, 600.0, 400.0),
            near(Landmark::Elbow, 660.0, 290.0),
            near(Landmark::Wrist, 710.0, 200.0),
            near(Landmark::Hip, 590.0, 620.0),
            vec![(Landmark::Eye(Side::Right), 640.0, 330.0), (Landmark::Nose, 660.0, 345.0)],
        ]
        .concat(),
    });
    let marks = places.into_iter().map(|(landmark, x, y)| mark(landmark, x, y)).collect();
    ReachObservations {
        view,
        near_side: (view != View::Front).then_some(Side::Right),
        rotation,
        is_mirrored: false,
        image_size: [1280, 720],
        lens: None,
        frames: vec![FrameObservations { time_s: 2.0, raise: 0, motion: None, marks }],
    }
}

pub(super) fn mark(landmark: Landmark, x: f64, y: f64) -> Mark {
    Mark::placed(landmark, ImagePoint::new(x, y), Matrix2::identity() * 2.25)
}
