//! Which frame to decode next, so that those around the one looked at are there before they are asked for.
//!
//! Onwards each frame follows the last one. Backwards a run of frames is decoded in the order of the clip, since a jump
//! costs as much as many frames.

use std::collections::{HashSet, VecDeque};

/// Frames that are kept ready onwards and backwards.
const AHEAD: usize = 12;

/// With fewer ready than this backwards, the next run is decoded.
const BEHIND_MIN: usize = 20;

/// Frames of a run backwards.
const RUN: usize = 24;

/// A run further away than this from what is looked at now is given up.
const RUN_REACH: usize = 64;

/// What is planned.
#[derive(Debug, Default)]
pub(super) struct Walk {
    run: VecDeque<usize>,
    lost: HashSet<usize>,
}

impl Walk {
    /// The frame to decode next for somebody who looks at `centre` and looked at `before` before that; `None` when all
    /// around it are there. `count` is the number of frames, `has` says which are there.
    pub(super) fn next(
        &mut self,
        centre: usize,
        before: usize,
        count: usize,
        has: impl Fn(usize) -> bool,
    ) -> Option<usize> {
        let is_there = |index: usize| has(index) || self.lost.contains(&index);
        let is_near = |index: usize| centre.abs_diff(index) <= RUN_REACH;
        while let Some(index) = self.run.pop_front() {
            if is_near(index) && !is_there(index) {
                return Some(index);
            }
        }
        let goes_back = centre < before;
        let onwards = || (centre..count.min(centre + AHEAD + 1)).find(|index| !is_there(*index));
        if !goes_back && let Some(index) = onwards() {
            return Some(index);
        }
        let first_there = (0..centre).rev().take_while(|index| is_there(*index)).last().unwrap_or(centre);
        if first_there > 0 && centre - first_there < BEHIND_MIN {
            self.run = (first_there.saturating_sub(RUN)..first_there).filter(|index| !is_there(*index)).collect();
            if let Some(index) = self.run.pop_front() {
                return Some(index);
            }
        }
        onwards()
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
    fn walk_to(walk: &mut Walk, there: &mut HashSet<usize>, centre: usize, before: usize, count: usize) -> Vec<usize> {
        let mut order = Vec::new();
        while let Some(index) = walk.next(centre, before, count, |index| there.contains(&index)) {
            assert!(index < count && there.insert(index), "{index} asked for twice or past the end");
            order.push(index);
        }
        order
    }

    #[test]
    fn frames_onwards_come_first_and_then_a_run_backwards_in_the_clips_order() {
        let mut there = HashSet::from([50]);
        let order = walk_to(&mut Walk::default(), &mut there, 50, 40, 1000);
        assert_eq!(order[..AHEAD], (51..=50 + AHEAD).collect::<Vec<_>>());
        assert_eq!(order[AHEAD..], (50 - RUN..50).collect::<Vec<_>>());
    }

    #[test]
    fn stepping_either_way_never_outruns_what_is_there() {
        for steps in [1_isize, -1] {
            let mut walk = Walk::default();
            let mut there = HashSet::from([500]);
            let mut centre = 500_usize;
            for _ in 0..300 {
                let before = centre;
                walk_to(&mut walk, &mut there, centre, before.saturating_add_signed(-steps), 1000);
                centre = centre.saturating_add_signed(steps);
                assert!(there.contains(&centre), "{centre}");
            }
        }
    }

    #[test]
    fn the_ends_of_a_clip_are_no_trap() {
        for count in 1..30 {
            for centre in [0, count / 2, count - 1] {
                let mut there = HashSet::new();
                walk_to(&mut Walk::default(), &mut there, centre, 0, count);
                assert!(there.contains(&centre));
            }
        }
    }

    #[test]
    fn a_frame_that_cannot_be_shown_is_not_tried_for_ever() {
        let mut walk = Walk::default();
        let mut there = HashSet::from([0]);
        walk.note_lost(1);
        let order = walk_to(&mut walk, &mut there, 0, 0, 5);
        assert_eq!(order, [2, 3, 4]);
    }
}
