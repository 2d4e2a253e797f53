//! Which frame to decode next, so that those around the one looked at are there before they are asked for.
//!
//! Onwards each frame follows the last one. Backwards a run of frames is decoded in the order of the clip, since a jump
//! costs as much as many frames. Somebody who jumps here and there needs few of a frame's neighbours, somebody who steps steadily
//! many: what is decoded and not looked at takes the processor from the others.

use std::collections::{HashSet, VecDeque};

/// Steps one way after the other that make it likely that more follow.
const STEADY: usize = 3;

/// A step passes over at most so many frames: more is a jump.
const STEP_MAX: usize = 3;

/// Frames that are kept ready onwards, for somebody who steps steadily and for others.
const AHEAD: usize = 12;
const AHEAD_FEW: usize = 4;

/// With fewer ready than this backwards, the next run is decoded: for somebody who steps back steadily, and who does so at all.
const BEHIND_MIN: usize = 20;
const BEHIND_FEW: usize = 4;

/// Frames of a run backwards, likewise.
const RUN: usize = 24;
const RUN_FEW: usize = 8;

/// A run further away than this from what is looked at now is given up.
const RUN_REACH: usize = 64;

/// How somebody moves along a clip.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct Pace {
    /// Steps one way after the other, until now.
    steps: usize,
    is_back: bool,
}

impl Pace {
    /// The pace after a move from one frame to another.
    pub(super) fn after(self, from: usize, to: usize) -> Self {
        let is_back = to < from;
        match from.abs_diff(to) {
            0 => self,
            1..=STEP_MAX if self.is_back == is_back => Self { steps: self.steps + 1, is_back },
            1..=STEP_MAX => Self { steps: 1, is_back },
            // the hand is likely to go on as it did
            _ => Self { steps: 0, ..self },
        }
    }

    const fn is_steady(self) -> bool {
        self.steps >= STEADY
    }
}

/// What is planned.
#[derive(Debug, Default)]
pub(super) struct Walk {
    run: VecDeque<usize>,
    /// The frame that somebody waits for, and those on the way to it that are still to be decoded.
    lead: Option<(usize, VecDeque<usize>)>,
    lost: HashSet<usize>,
}

impl Walk {
    /// The frame to decode next for somebody who looks at `centre` and came there at a pace; `None` when all around it that are
    /// likely to be asked for are there. `count` is the number of frames, `has` says which are there.
    pub(super) fn next(
        &mut self,
        centre: usize,
        pace: Pace,
        count: usize,
        has: impl Fn(usize) -> bool,
    ) -> Option<usize> {
        let is_there = |index: usize| has(index) || self.lost.contains(&index);
        let is_near = |index: usize| centre.abs_diff(index) <= RUN_REACH;
        if !pace.is_back {
            self.run.clear();
        }
        while let Some(index) = self.run.pop_front() {
            if is_near(index) && !is_there(index) {
                return Some(index);
            }
        }
        if pace.is_back {
            let (least, run) = if pace.is_steady() { (BEHIND_MIN, RUN) } else { (BEHIND_FEW, RUN_FEW) };
            let first_there = (0..centre).rev().take_while(|index| is_there(*index)).last().unwrap_or(centre);
            if first_there > 0 && centre - first_there < least {
                self.run = (first_there.saturating_sub(run)..first_there).filter(|index| !is_there(*index)).collect();
                if let Some(index) = self.run.pop_front() {
                    return Some(index);
                }
            }
        }
        let ahead = if pace.is_steady() && !pace.is_back { AHEAD } else { AHEAD_FEW };
        (centre..count.min(centre + ahead + 1)).find(|index| !is_there(*index))
    }

    /// The frame to decode first for somebody who waits for `index`: backwards a few that will be asked for next are taken on
    /// the way, since a jump passes them anyway.
    pub(super) fn next_on_the_way(&mut self, index: usize, pace: Pace, has: impl Fn(usize) -> bool) -> usize {
        let is_there = |index: usize| has(index) || self.lost.contains(&index);
        if self.lead.as_ref().is_none_or(|(wanted, _)| *wanted != index) {
            let few = if pace.is_back { index.saturating_sub(RUN_FEW)..index } else { index..index };
            self.lead = Some((index, few.filter(|index| !is_there(*index)).collect()));
        }
        self.lead.as_mut().and_then(|(_, lead)| lead.pop_front()).unwrap_or(index)
    }

    /// A planned frame that was not decoded after all.
    pub(super) fn give_back(&mut self, index: usize) {
        self.run.push_front(index);
    }

    /// A frame that cannot be shown, and is not planned again.
    pub(super) fn note_lost(&mut self, index: usize) {
        self.lost.insert(index);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Decodes what the walk asks for until it is content, and gives the order.
    fn walk_to(walk: &mut Walk, there: &mut HashSet<usize>, centre: usize, pace: Pace, count: usize) -> Vec<usize> {
        let mut order = Vec::new();
        while let Some(index) = walk.next(centre, pace, count, |index| there.contains(&index)) {
            assert!(index < count && there.insert(index), "{index} asked for twice or past the end");
            order.push(index);
        }
        order
    }

    const ONWARDS: Pace = Pace { steps: STEADY, is_back: false };
    const BACK: Pace = Pace { steps: STEADY, is_back: true };

    #[test]
    fn a_pace_is_steady_after_some_steps_one_way_and_lost_with_a_jump() {
        let paces: Vec<(usize, bool)> = [10, 11, 12, 14, 13, 13, 12, 10, 90, 91]
            .windows(2)
            .scan(Pace::default(), |pace, moved| {
                *pace = pace.after(moved[0], moved[1]);
                Some((pace.steps, pace.is_back))
            })
            .collect();
        let (onwards, back) = (false, true);
        let expected =
            [(1, onwards), (2, onwards), (3, onwards), (1, back), (1, back), (2, back), (3, back), (0, back)];
        assert_eq!(paces[..8], expected);
        assert_eq!(paces[8], (1, onwards));
    }

    #[test]
    fn a_jump_is_followed_by_few_frames_steady_steps_by_many() {
        let order = |pace| walk_to(&mut Walk::default(), &mut HashSet::from([50]), 50, pace, 1000);
        assert_eq!(order(Pace::default()), (51..=50 + AHEAD_FEW).collect::<Vec<_>>());
        assert_eq!(order(ONWARDS), (51..=50 + AHEAD).collect::<Vec<_>>());
    }

    #[test]
    fn backwards_a_run_in_the_clips_order_comes_first() {
        let order = |pace| walk_to(&mut Walk::default(), &mut HashSet::from([50]), 50, pace, 1000);
        let expected = |run: usize| (50 - run..50).chain(51..=50 + AHEAD_FEW).collect::<Vec<_>>();
        assert_eq!(order(BACK), expected(RUN));
        assert_eq!(order(Pace { steps: 1, is_back: true }), expected(RUN_FEW));
    }

    #[test]
    fn a_frame_waited_for_backwards_brings_a_few_before_it_and_onwards_none() {
        for (pace, before) in [(BACK, 3), (ONWARDS, 0)] {
            let (mut walk, mut there) = (Walk::default(), HashSet::new());
            // all but three of those before it are there
            there.extend((0..50).filter(|index| ![44, 46, 49].contains(index)));
            let mut order = Vec::new();
            while !there.contains(&50) {
                let index = walk.next_on_the_way(50, pace, |index| there.contains(&index));
                assert!(there.insert(index), "{index} twice");
                order.push(index);
            }
            assert_eq!(order, [44, 46, 49, 50][3 - before..]);
        }
    }

    #[test]
    fn stepping_either_way_never_outruns_what_is_there() {
        for steps in [1_isize, -1] {
            let mut walk = Walk::default();
            let mut there = HashSet::from([500]);
            let (mut centre, mut pace) = (500_usize, Pace::default().after(499, 500));
            for number in 0..300 {
                walk_to(&mut walk, &mut there, centre, pace, 1000);
                let next = centre.saturating_add_signed(steps);
                pace = pace.after(centre, next);
                centre = next;
                // the first step back is a jump
                assert!(there.contains(&centre) || (number == 0 && steps < 0), "{centre}");
            }
        }
    }

    #[test]
    fn the_ends_of_a_clip_are_no_trap() {
        for count in 1..30 {
            for centre in [0, count / 2, count - 1] {
                for pace in [Pace::default(), ONWARDS, BACK] {
                    let mut there = HashSet::new();
                    walk_to(&mut Walk::default(), &mut there, centre, pace, count);
                    assert!(there.contains(&centre));
                }
            }
        }
    }

    #[test]
    fn a_frame_that_cannot_be_shown_is_not_tried_for_ever() {
        let mut walk = Walk::default();
        let mut there = HashSet::from([0]);
        walk.note_lost(1);
        let order = walk_to(&mut walk, &mut there, 0, ONWARDS, 5);
        assert_eq!(order, [2, 3, 4]);
    }
}
