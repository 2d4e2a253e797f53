//! The ladder of doses that a phase stands for: one thing rises at a time.

use super::load::{Load, Unit, WEIGHT_SLACK_PERCENT, Weight};
use super::model::{Equipment, Phase, Rung};

/// No phase has more doses than this; past it, nobody climbs to the end.
pub const RUNGS_MAX: usize = 200;

/// What rounding may make of a weight that is the end of a range.
const ROUNDING_RATIO: f64 = 1e-9;

/// The doses of a phase, the lightest first; `at` is its place in the stage. Empty where nothing that exists fits its loads.
///
/// At each load the repetitions rise first, then the hold, then the sets; then the next load begins with the fewest.
pub(super) fn rungs_of(phase: &Phase, at: usize, equipment: &Equipment) -> Vec<Rung> {
    let mut rungs = Vec::new();
    let hold_s = phase.hold_s.unwrap_or([0, 0]);
    let holds = steps(hold_s, phase.hold_step_s.unwrap_or(1));
    for load in loads(phase, equipment) {
        for (repetitions, hold_s, sets) in climb(phase, &holds) {
            if rungs.len() > RUNGS_MAX {
                return rungs;
            }
            rungs.push(Rung { phase: at, load, sets, repetitions, hold_s });
        }
    }
    rungs
}

/// Repetitions, hold and sets at one load, one of them higher each time.
fn climb(phase: &Phase, holds: &[u16]) -> Vec<(u16, u16, u16)> {
    let [sets, sets_max] = phase.sets;
    let repetitions = steps(phase.repetitions, phase.repetitions_step);
    let (most, longest) = (phase.repetitions[1], holds.last().copied().unwrap_or(0));
    let shortest = holds.first().copied().unwrap_or(0);
    let first = repetitions.iter().map(|count| (*count, shortest, sets));
    let then = holds.iter().skip(1).map(|hold| (most, *hold, sets));
    let last = (sets.saturating_add(1)..=sets_max).map(|sets| (most, longest, sets));
    first.chain(then).chain(last).collect()
}

/// From the first number to the second, which is always the last.
fn steps([low, high]: [u16; 2], step: u16) -> Vec<u16> {
    let mut values: Vec<u16> = (low..high).step_by(usize::from(step.max(1))).take(RUNGS_MAX).collect();
    values.push(high);
    values
}

fn loads(phase: &Phase, equipment: &Equipment) -> Vec<Load> {
    if let Some([lightest, heaviest]) = phase.weight_kg {
        // 10 lb stand for 4.5 kg at either end of the range; a weight in kg is what it is
        let slack = f64::from(u8::try_from(WEIGHT_SLACK_PERCENT).unwrap_or(0)) / 100.0;
        let is_in_range = |weight: &&Weight| {
            let slack_ratio = if weight.unit() == Unit::Lb { slack } else { ROUNDING_RATIO };
            (lightest * (1.0 - slack_ratio)..=heaviest * (1.0 + slack_ratio)).contains(&weight.kg())
        };
        return equipment.weights.iter().filter(is_in_range).map(|w| Load::Weight(*w)).collect();
    }
    if let Some([lightest, firmest]) = &phase.band {
        let place = |name: &String| equipment.bands.iter().position(|band| band == name);
        let (Some(first), Some(last)) = (place(lightest), place(firmest)) else { return Vec::new() };
        return (first..=last).filter_map(|place| u8::try_from(place).ok()).map(Load::Band).collect();
    }
    if let Some(range) = phase.share_percent {
        let shares = steps(range, phase.share_step_percent.unwrap_or(10));
        return shares.into_iter().filter_map(|share| u8::try_from(share).ok()).map(Load::Share).collect();
    }
    vec![Load::None]
}

#[cfg(test)]
mod tests {
    use super::super::model::Mode;
    use super::*;

    fn equipment(unit: Unit, weights: &[f64]) -> Equipment {
        let weights = weights.iter().map(|amount| Weight::new(*amount, unit).unwrap()).collect();
        Equipment { unit, weights, bands: ["light", "medium", "firm"].map(str::to_owned).to_vec() }
    }

    fn phase() -> Phase {
        Phase {
            id: "p".to_owned(),
            name: "p".to_owned(),
            mode: Mode::LoweringOnly,
            how: None,
            sets: [3, 4],
            repetitions: [10, 15],
            repetitions_step: 5,
            hold_s: None,
            hold_step_s: None,
            lowering_s: None,
            weight_kg: Some([1.0, 4.5]),
            band: None,
            share_percent: None,
            share_step_percent: None,
            is_heavy: false,
            if_it_hurts: None,
        }
    }

    #[test]
    fn one_thing_rises_at_a_time() {
        let rungs = rungs_of(&phase(), 0, &equipment(Unit::Kg, &[0.5, 1.0, 2.0, 6.0]));
        let found: Vec<(String, u16, u16)> =
            rungs.iter().map(|rung| (rung.load.words(&[]), rung.sets, rung.repetitions)).collect();
        let expected = [(3, 10), (3, 15), (4, 15)];
        let expected: Vec<(String, u16, u16)> = ["1 kg", "2 kg"]
            .iter()
            .flat_map(|load| expected.map(|(sets, repetitions)| ((*load).to_owned(), sets, repetitions)))
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn ten_pounds_stand_for_four_and_a_half_kilograms() {
        // 2 lb are 0.91 kg, outside 1 kg less 3 %; 10 lb are 4.536 kg, within 4.5 kg and 3 %; 12 lb are 5.4 kg.
        let rungs = rungs_of(&phase(), 0, &equipment(Unit::Lb, &[2.0, 3.0, 10.0, 12.0]));
        let mut loads: Vec<String> = rungs.iter().map(|rung| rung.load.words(&[])).collect();
        loads.dedup();
        assert_eq!(loads, ["3 lb", "10 lb"]);
    }

    #[test]
    fn holds_bands_and_shares_rise_in_their_steps() {
        let held = Phase {
            sets: [2, 2],
            repetitions: [5, 5],
            hold_s: Some([5, 10]),
            hold_step_s: Some(3),
            weight_kg: None,
            band: Some(["medium".to_owned(), "firm".to_owned()]),
            ..phase()
        };
        let rungs = rungs_of(&held, 0, &equipment(Unit::Kg, &[]));
        let found: Vec<(Load, u16)> = rungs.iter().map(|rung| (rung.load, rung.hold_s)).collect();
        let of = |place| [5, 8, 10].map(|hold| (Load::Band(place), hold)).to_vec();
        assert_eq!(found, [of(1), of(2)].concat());
        let shared = Phase { weight_kg: None, share_percent: Some([50, 100]), share_step_percent: Some(20), ..phase() };
        let mut shares: Vec<Load> =
            rungs_of(&shared, 0, &equipment(Unit::Kg, &[])).iter().map(|rung| rung.load).collect();
        shares.dedup();
        assert_eq!(shares, [50, 70, 90, 100].map(Load::Share));
    }

    #[test]
    fn weights_that_do_not_exist_make_no_dose() {
        assert!(rungs_of(&phase(), 0, &equipment(Unit::Kg, &[0.5, 8.0])).is_empty());
    }
}
