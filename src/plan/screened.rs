//! What a client's measured visits say in the course and to the plan: the call before the stretch, its retest, and the
//! difference of each side.

use serde::Serialize;

use crate::screen::{Call, Comparison, Occasion, ResultSide, VisitResult};
use crate::uncertainty::Measured;

use super::course::{Series, difference_series};
use super::day::Day;
use super::intake::ScreenOutcome;

/// One screen of one side: the pair of reaches before the stretch.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ScreenPoint {
    /// The day.
    pub on: Day,
    /// External minus internal, deg; `None` where the marks do not determine it.
    pub difference_deg: Option<Measured>,
    /// The call.
    pub call: Call,
}

/// The screens of one side.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SideScreens {
    /// The side; both where the mean of both arms was compared alone.
    pub side: ResultSide,
    /// It is the affected side, or one of two.
    pub is_affected: bool,
    /// The screens, the earliest first, one a day.
    pub points: Vec<ScreenPoint>,
}

impl SideScreens {
    /// The differences as a series. A pair that is not comparable says nothing of the person, and is left out.
    #[must_use]
    pub fn series(&self, name: &str) -> Series {
        let told = self.points.iter().filter(|point| point.call != Call::NotComparable);
        let differences: Vec<(Day, Measured)> =
            told.filter_map(|point| Some((point.on, point.difference_deg?))).collect();
        difference_series(name, &differences)
    }
}

/// What a visit's result says to the plan; `None` where no pair before the stretch was compared.
#[must_use]
pub fn screen_outcome(on: Day, result: &VisitResult, affected: ResultSide) -> Option<ScreenOutcome> {
    let call = call_of(&result.comparisons, Occasion::Before, affected)?;
    let retest = result.retest.as_ref().map(|retest| retest.outcome).filter(|_| call == Call::Positive);
    Some(ScreenOutcome { on, call, retest })
}

/// The call of an occasion: that of the affected side, or the one that asks for most where that is both or was not compared.
#[must_use]
pub fn call_of(comparisons: &[Comparison], occasion: Occasion, affected: ResultSide) -> Option<Call> {
    let of = || comparisons.iter().filter(|comparison| comparison.occasion == occasion);
    let of_side = of().find(|comparison| affected != ResultSide::Both && comparison.side == affected);
    let worst = || of().max_by_key(|comparison| severity(comparison.call));
    let call = of_side.or_else(worst).map(|comparison| comparison.call)?;
    let has = |side: ResultSide| of().any(|comparison| comparison.side == side);
    let is_whole = affected != ResultSide::Both || has(ResultSide::Left) && has(ResultSide::Right);
    // one side that passes is no pass of both
    Some(if call == Call::Negative && !is_whole { Call::Inconclusive } else { call })
}

/// How much a call asks for: one that is not made is not taken for a pass.
const fn severity(call: Call) -> u8 {
    match call {
        Call::Negative => 0,
        Call::NotComparable => 1,
        Call::Inconclusive => 2,
        Call::Positive => 3,
    }
}

/// The screens of each side that was compared, the affected one first. `visits` by day, the earliest first; of two visits on one
/// day the later counts.
#[must_use]
pub fn side_screens(visits: &[(Day, &VisitResult)], affected: ResultSide) -> Vec<SideScreens> {
    let sides = [ResultSide::Right, ResultSide::Left, ResultSide::Both].map(|side| {
        let mut points: Vec<ScreenPoint> = Vec::new();
        for (on, result) in visits {
            let mut before = result.comparisons.iter().filter(|found| found.occasion == Occasion::Before);
            let Some(found) = before.find(|found| found.side == side) else { continue };
            let point = ScreenPoint { on: *on, difference_deg: found.difference_elevation_deg, call: found.call };
            match points.last_mut().filter(|last| last.on == *on) {
                Some(last) => *last = point,
                None => points.push(point),
            }
        }
        SideScreens { side, is_affected: affected == ResultSide::Both || affected == side, points }
    });
    let mut sides: Vec<SideScreens> = sides.into_iter().filter(|side| !side.points.is_empty()).collect();
    // with both sides compared, their mean tells nothing more
    if sides.len() > 1 {
        sides.retain(|side| side.side != ResultSide::Both);
    }
    sides.sort_by_key(|side| !side.is_affected);
    sides
}

#[cfg(test)]
mod tests {
    use super::*;

    fn compared(calls: &[(Occasion, ResultSide, Call)]) -> Vec<Comparison> {
        let one = |&(occasion, side, call): &(Occasion, ResultSide, Call)| Comparison {
            occasion,
            side,
            basis: Vec::new(),
            difference_elevation_deg: Some(Measured::from_u(-5.0, 1.0, f64::INFINITY)),
            difference_bar_height_mm: None,
            difference_bar_height_arm: None,
            checks: Vec::new(),
            call,
            bar_height_says: None,
            reason: String::new(),
            next_step: String::new(),
        };
        calls.iter().map(one).collect()
    }

    fn measured(calls: &[(Occasion, ResultSide, Call)]) -> VisitResult {
        VisitResult {
            schema: String::new(),
            tool_version: String::new(),
            reaches: Vec::new(),
            comparisons: compared(calls),
            retest: None,
            compared_pictures: None,
            monte_carlo: None,
        }
    }

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    #[test]
    fn a_pass_of_the_other_side_does_not_hide_a_fail() {
        use Call::{Inconclusive, Negative, NotComparable, Positive};
        use Occasion::{After, Before};
        use ResultSide::{Both, Left, Right};
        // in the order of a result: the mean of both sides, left, right
        let sides = |both, left, right| compared(&[(After, Both, both), (After, Left, left), (After, Right, right)]);
        assert_eq!(call_of(&sides(Inconclusive, Positive, Negative), After, Left), Some(Positive));
        assert_eq!(call_of(&sides(Inconclusive, Positive, Negative), After, Right), Some(Negative));
        assert_eq!(call_of(&sides(Inconclusive, Positive, Negative), After, Both), Some(Positive));
        assert_eq!(call_of(&sides(Negative, NotComparable, Inconclusive), After, Both), Some(Inconclusive));
        assert_eq!(call_of(&sides(Negative, NotComparable, Negative), After, Both), Some(NotComparable));
        // the side without complaint alone was filmed
        assert_eq!(call_of(&compared(&[(Before, Right, Inconclusive)]), Before, Left), Some(Inconclusive));
        assert_eq!(call_of(&[], Before, Right), None);
    }

    #[test]
    fn a_side_has_one_screen_a_day_and_the_affected_one_comes_first() {
        use Occasion::Before;
        use ResultSide::{Left, Right};
        let results = [
            measured(&[(Before, Right, Call::Negative)]),
            measured(&[(Before, Right, Call::Positive)]),
            measured(&[(Before, Left, Call::NotComparable), (Before, Right, Call::Negative)]),
        ];
        let (first, second) = (day("2026-10-05"), day("2026-10-19"));
        let visits = [(first, &results[0]), (first, &results[1]), (second, &results[2])];
        let sides = side_screens(&visits, Left);
        assert_eq!(
            sides.iter().map(|side| (side.side, side.is_affected)).collect::<Vec<_>>(),
            [(Left, true), (Right, false)]
        );
        let calls: Vec<Call> = sides[1].points.iter().map(|point| point.call).collect();
        assert_eq!(calls, [Call::Positive, Call::Negative]);
        assert!(sides[0].series("left").points.is_empty(), "a pair that is not comparable is in no trend");
        assert_eq!(sides[1].series("right").points.len(), 2);
        assert_eq!(screen_outcome(second, &results[2], Left).unwrap().call, Call::NotComparable);
    }
}
