//! What was measured of a reach, as it is drawn over its clip: its held ray, that of the other rotation, and their intervals.

use crate::geometry::ImagePoint;
use crate::pose::{Rotation, Zero};
use crate::report::wording::{Sign, Unit, interval, palms, rotation_word, value};
use crate::screen::words::capitalized;
use crate::screen::{Call, MeasuredVisit, ReachResult};
use crate::uncertainty::Measured;

/// Points of a wedge's arc.
const ARC_POINTS: u8 = 12;

/// What was measured of a reach.
#[derive(Debug, Clone)]
pub struct HeldReach {
    /// This reach's rotation.
    pub(crate) rotation: Rotation,
    /// This reach first, then the other rotation where the pair is compared.
    pub(crate) figures: Vec<Figure>,
    /// What stands in for an elevation, or for the other rotation.
    pub(crate) absences: Vec<String>,
    /// One for each frame that was measured, in the order of time.
    pub(crate) drawings: Vec<HeldDrawing>,
}

/// An elevation in words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Figure {
    pub rotation: Rotation,
    /// Such as `External (palms up), held`.
    pub label: String,
    /// Such as `151.2°`.
    pub value: String,
    /// Such as `95 %: 149.4 to 153.0`.
    pub interval: String,
}

/// What the fit of one frame gives to draw.
#[derive(Debug, Clone)]
pub(crate) struct HeldDrawing {
    /// When it was held, s.
    pub time_s: f64,
    pub rays: Vec<HeldRay>,
    /// The plumb line through the shoulder.
    pub plumb: Vec<ImagePoint>,
}

/// A held arm, and the interval of its elevation.
#[derive(Debug, Clone)]
pub(crate) struct HeldRay {
    pub rotation: Rotation,
    /// From the shoulder outward.
    pub ray: [ImagePoint; 2],
    /// Shoulder and arc.
    pub wedge: Vec<ImagePoint>,
}

impl HeldReach {
    /// What is drawn of the reach at an index of the result.
    #[must_use]
    pub fn of(visit: &MeasuredVisit, reach: usize) -> Option<Self> {
        let own = visit.result.reaches.get(reach)?;
        let other =
            visit.result.reaches.iter().find(|other| {
                (other.occasion, other.view) == (own.occasion, own.view) && other.rotation != own.rotation
            });
        let is_broken = visit
            .result
            .comparisons
            .iter()
            .any(|comparison| comparison.occasion == own.occasion && comparison.call == Call::NotComparable);
        let mut absences = Vec::new();
        let other = match other {
            Some(other) if is_broken => {
                absences.push(format!("not comparable with the {} reach", rotation_word(other.rotation)));
                None
            }
            other => other,
        };
        let (zero, shown) = elevations(own, other);
        if shown.is_empty() {
            absences.insert(0, "elevation not determined".to_owned());
        } else if zero == Zero::Plumb {
            absences.insert(0, "from vertical, not from the trunk".to_owned());
        }
        let figures = shown.iter().map(|(rotation, measured)| Figure {
            rotation: *rotation,
            label: format!("{} ({}), held", capitalized(rotation_word(*rotation)), palms(*rotation)),
            value: value(*measured, Unit::Degree, Sign::Minus),
            interval: format!("95\u{a0}%: {}", interval(*measured, Unit::Degree, Sign::Minus)),
        });
        let times_s = visit.observations.reaches[reach].frames.iter().map(|frame| frame.time_s);
        let mut drawings: Vec<HeldDrawing> = times_s
            .filter_map(|time_s| {
                let rays = shown.iter().filter_map(|(rotation, measured)| {
                    held_ray(visit, reach, time_s, zero, *measured).map(|(ray, wedge)| HeldRay {
                        rotation: *rotation,
                        ray,
                        wedge,
                    })
                });
                let rays = rays.collect();
                Some(HeldDrawing { time_s, rays, plumb: visit.overlay_at(reach, time_s)?.plumb })
            })
            .collect();
        drawings.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        Some(Self { rotation: own.rotation, figures: figures.collect(), absences, drawings })
    }

    /// The drawing of the measured frame that is nearest in time.
    pub(crate) fn nearest(&self, time_s: f64) -> Option<&HeldDrawing> {
        let off = |drawing: &HeldDrawing| (drawing.time_s - time_s).abs();
        self.drawings.iter().min_by(|a, b| off(a).total_cmp(&off(b)))
    }
}

/// The elevations that can be shown together: both from the trunk, else both from the plumb line; this reach's alone where the
/// other has none.
fn elevations(own: &ReachResult, other: Option<&ReachResult>) -> (Zero, Vec<(Rotation, Measured)>) {
    let from = |zero: Zero, reach: &ReachResult| {
        let measured = match zero {
            Zero::Trunk => reach.elevation_deg,
            Zero::Plumb => reach.elevation_from_vertical_deg,
        };
        measured
            .filter(|measured| [measured.value, measured.lo, measured.hi].iter().all(|number| number.is_finite()))
            .map(|measured| (reach.rotation, measured))
    };
    let Some(zero) = [Zero::Trunk, Zero::Plumb].into_iter().find(|zero| from(*zero, own).is_some()) else {
        return (Zero::Trunk, Vec::new());
    };
    let shown = from(zero, own).into_iter().chain(other.and_then(|other| from(zero, other)));
    (zero, shown.collect())
}

fn held_ray(
    visit: &MeasuredVisit,
    reach: usize,
    time_s: f64,
    zero: Zero,
    measured: Measured,
) -> Option<([ImagePoint; 2], Vec<ImagePoint>)> {
    let within = |step: u8| measured.lo + f64::from(step) / f64::from(ARC_POINTS) * (measured.hi - measured.lo);
    let elevations_deg: Vec<f64> = std::iter::once(measured.value).chain((0..=ARC_POINTS).map(within)).collect();
    let mut rays = visit.rays_at(reach, time_s, zero, &elevations_deg)?.into_iter();
    let ray = rays.next()?;
    Some((ray, std::iter::once(ray[0]).chain(rays.map(|[_, end]| end)).collect()))
}
