//! How far a load may rise at once.

use super::load::Load;
use super::model::{Equipment, Stage};

/// From a load that the plan does not have, a step leads to no more than this share of it. Common practice, no source.
const STRANGE_STEP_PERCENT: u64 = 150;

/// The most that is one step above a load: the next of the stage's loads, or the next that exists, and no more than half as much
/// again where the load itself is none of these. By [`Load::amount`].
pub(super) fn one_step_above(done: Load, stage: &Stage, equipment: &Equipment) -> u64 {
    let next = |loads: &mut dyn Iterator<Item = Load>| {
        let (mut is_one, mut above) = (false, None::<u64>);
        for load in loads {
            if done.is_at_least(load) && load.is_at_least(done) {
                is_one = true;
            } else if load.amount() > done.amount() {
                above = Some(above.map_or(load.amount(), |above| above.min(load.amount())));
            }
        }
        above.filter(|above| is_one || *above <= done.amount().saturating_mul(STRANGE_STEP_PERCENT) / 100)
    };
    let of_stage = next(&mut stage.rungs.iter().map(|rung| rung.load));
    let existing = match done {
        Load::Weight(_) => next(&mut equipment.weights.iter().map(|weight| Load::Weight(*weight))),
        Load::Band(_) => next(&mut (0..=u8::MAX).zip(&equipment.bands).map(|(place, _)| Load::Band(place))),
        Load::Share(_) | Load::None => None,
    };
    of_stage.max(existing).unwrap_or(0).max(done.amount())
}
