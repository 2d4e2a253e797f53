//! What is believed beside the marks and may be wrong, as a mark may be bad.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use super::layout::reach;
use super::problem::Problem;
use crate::geometry::Landmark;

/// Something that is believed beside the marks: priors that stand or fall together.
#[derive(Debug, Clone)]
pub(super) struct Belief {
    /// Their places in the list of priors.
    pub places: Vec<usize>,
    /// The mark that it is about; `None` for the stillness of a trunk.
    pub origin: Option<Origin>,
}

/// A mark from which others were followed or carried.
#[derive(Debug, Clone, Copy)]
pub(super) struct Origin {
    /// Global index of the first of the two parameters of the error that it hands on.
    pub error: usize,
    pub landmark: Landmark,
    /// Long side of the picture that it was placed on, px.
    pub long_side_px: u32,
}

impl Problem {
    /// What is believed beside the marks and may be wrong: that the trunk kept still in a reach, and that a mark from which others
    /// were followed or carried was placed as carefully as any.
    pub(super) fn beliefs(&self) -> Vec<Belief> {
        let places_of = |indices: Range<usize>| -> Vec<usize> {
            (0..self.priors.len()).filter(|place| indices.contains(&self.priors[*place].index)).collect()
        };
        let leans: BTreeSet<usize> = self.frames.iter().map(|frame| frame.blocks.reach + reach::LEAN).collect();
        let stillness = leans.into_iter().map(|lean| Belief { places: places_of(lean..lean + 1), origin: None });
        let mut origins: BTreeMap<usize, (Origin, usize)> = BTreeMap::new();
        for (frame, mark) in self.frames.iter().flat_map(|frame| frame.marks.iter().map(move |mark| (frame, mark))) {
            let Some(start) = mark.shared[0] else { continue };
            let origin = Origin { error: start, landmark: mark.landmark, long_side_px: frame.long_side_px };
            origins.entry(start).or_insert((origin, 0)).1 += 1;
        }
        // An error that one mark has on its own is that mark's.
        let shared = origins.into_values().filter(|(_, marks)| *marks > 1);
        let origins = shared
            .map(|(origin, _)| Belief { places: places_of(origin.error..origin.error + 2), origin: Some(origin) });
        stillness.chain(origins).collect()
    }
}
