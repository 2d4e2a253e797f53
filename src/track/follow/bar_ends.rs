//! The bar's ends: found with the bar itself where it is seen as one, else followed by their patches.

use crate::geometry::{ImagePoint, Landmark, Side};

use super::super::affine::Warp;
use super::super::bar_follow::FollowedBar;
use super::super::mark_state::MarkState;
use super::super::pyramid::Pyramid;
use super::mark::Expected;
use super::{Follower, difference};

/// What a mark of an arm seen from the front slides by beside that for each degree of the arms' turn, px: its patch goes with what comes
/// towards the camera. In rendered clips (seed 71) shoulders are 5 to 10 px off after the first 10 to 25 deg.
const FRONT_SLIDE_SD_PX_PER_DEG: f64 = 0.3;

impl Follower {
    /// Takes the bar between its marks on the frame gone to last, where both are known and it is surely found there.
    pub(super) fn take_bar(&mut self) {
        let ends = self.bar_marks().map(|ends| ends.map(|end| self.marks[end].point));
        let bar = ends.and_then(|ends| FollowedBar::start(&self.before, ends));
        // from the side it is seen end on, and what looks like one is another thing
        let is_side = self.is_from_side();
        self.bar = bar.filter(|bar| bar.is_seen() || !is_side);
    }

    /// Whether the bar is found in each frame by itself, so that its ends are where they are seen.
    pub(crate) fn finds_bar(&self) -> bool {
        self.bar.as_ref().is_some_and(FollowedBar::is_seen)
    }

    /// Who marks a hip films from the side, or nearly so.
    fn is_from_side(&self) -> bool {
        self.marks.iter().any(|mark| matches!(mark.landmark, Landmark::Hip(_)))
    }

    /// The marks of the bar's left and right end, where both are known.
    fn bar_marks(&self) -> Option<[usize; 2]> {
        let [left, right] = [Side::Left, Side::Right].map(|side| self.index_of(Landmark::BarEnd(side)));
        Some([left?, right?])
    }

    /// Follows an end by its patch, where the bar is not found by itself. The bar keeps its direction in a raise, and its end goes with
    /// the hand, whose wrist was at `wrist_before`.
    pub(super) fn follow_end(&mut self, side: Side, wrist_before: Option<ImagePoint>, picture: &Pyramid) {
        let Some(end) = self.index_of(Landmark::BarEnd(side)).filter(|_| !self.finds_bar()) else { return };
        let step = match (self.index_of(Landmark::Wrist(side)), wrist_before) {
            (Some(wrist), Some(before)) => difference(self.marks[wrist].point, before),
            _ => self.marks[end].step,
        };
        let guess = self.marks[end].point.moved(step);
        let found = self.found(end, picture, Warp::shift_to(guess));
        self.settle(
            end,
            found,
            &Expected { guess, turn_rad: 0.0, shape: None, is_held: false, is_by_body: false },
            picture,
        );
    }

    /// Looks for the bar by itself, where it is followed so.
    pub(super) fn follow_bar(&mut self, picture: &Pyramid) {
        let (Some(marks), Some(bar)) = (self.bar_marks(), &mut self.bar) else { return };
        let states = bar.advance(picture);
        // From the front the arms' turn shows in the bar alone.
        let turn_rad = bar.turn_rad();
        if !self.is_from_side() {
            for mark in &mut self.marks {
                let slid_rad = match mark.landmark {
                    Landmark::Shoulder(_) => {
                        mark.slide(turn_rad, self.scale);
                        mark.slid_rad
                    }
                    Landmark::Elbow(_) | Landmark::Wrist(_) => turn_rad,
                    _ => continue,
                };
                mark.widen(FRONT_SLIDE_SD_PX_PER_DEG * slid_rad.to_degrees() * self.scale);
            }
        }
        let Some(bar) = self.bar.as_ref().filter(|bar| bar.is_seen()) else { return };
        for ((index, state), expected) in marks.into_iter().zip(states).zip(bar.expected_ends()) {
            let mark = &mut self.marks[index];
            let before = mark.point;
            mark.state = state;
            mark.point = match state {
                MarkState::Followed { point, .. } | MarkState::Hidden { point, .. } => point,
                MarkState::Lost | MarkState::OutOfPicture => expected,
            };
            mark.step = difference(mark.point, before);
        }
    }
}
