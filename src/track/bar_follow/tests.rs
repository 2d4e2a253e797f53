//! A drawn bar that rises, comes nearer and is covered.

use image::{GrayImage, Luma};

use super::super::follow::Follower;
use super::*;
use crate::geometry::{Landmark, Side};

const SIZE: [u32; 2] = [640, 400];
/// Ends are found to 0.5 px in drawn scenes (see the tests of finding one); hiding and moving may double that.
const END_PX: f64 = 1.0;
/// Grey values of the bar, and of a shelf on the wall.
const BAR: f64 = 60.0;
const SHELF: f64 = 75.0;
const SHELF_ENDS: [f64; 2] = [60.0, 520.0];
const SHELF_Y: f64 = 150.0;

/// What covers the picture.
type Covers = fn(f64, f64) -> bool;

/// The ends of the bar in a frame, px: it rises by 5 px and grows by 0.8 px a frame.
fn ends(frame: u32) -> [ImagePoint; 2] {
    let (risen, grown) = (5.0 * f64::from(frame), 0.4 * f64::from(frame));
    [ImagePoint::new(480.0 + grown, 300.0 - risen), ImagePoint::new(140.0 - grown, 304.0 - risen)]
}

/// The picture of a frame: means over a 2 x 2 grid in each pixel.
fn picture(frame: u32, has_bar: bool, is_covered: Covers) -> GrayImage {
    let [right, left] = ends(frame);
    GrayImage::from_fn(SIZE[0], SIZE[1], |x, y| {
        let mut sum = 0.0;
        for part in 0..4 {
            let at = |index: u32, part: u32| f64::from(index) + (f64::from(part) + 0.5) / 2.0 - 0.5;
            let (x, y) = (at(x, part % 2), at(y, part / 2));
            let wall = 150.0 + 12.0 * (x / 23.0).sin() * (y / 17.0).cos();
            let share = (x - left.x) / (right.x - left.x);
            let is_bar =
                has_bar && (0.0..=1.0).contains(&share) && (y - left.y - share * (right.y - left.y)).abs() <= 3.5;
            let is_shelf = (SHELF_ENDS[0]..=SHELF_ENDS[1]).contains(&x) && (y - SHELF_Y).abs() <= 3.5;
            sum += match (is_covered(x, y), is_bar, is_shelf) {
                (true, ..) => 110.0 + 20.0 * (x / 5.0).sin() * (y / 6.0).cos(),
                (_, true, _) => BAR,
                (_, _, true) => SHELF,
                _ => wall,
            };
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "within a byte")]
        Luma([(sum / 4.0).round() as u8])
    })
}

fn nothing(_: f64, _: f64) -> bool {
    false
}

/// Marks a px or so off, as a person places them.
fn marks(frame: u32) -> Vec<(Landmark, ImagePoint)> {
    let [left, right] = ends(frame);
    vec![
        (Landmark::BarEnd(Side::Left), ImagePoint::new(left.x + 1.2, left.y - 0.9)),
        (Landmark::BarEnd(Side::Right), ImagePoint::new(right.x - 0.8, right.y + 1.1)),
    ]
}

/// Follows from frame 0 on; the bar stands still from frame `held` on, and `covers` tells what is covered in which frame.
fn followed(frames: u32, held: u32, covers: impl Fn(u32) -> Covers) -> Vec<[MarkState; 2]> {
    let mut follower = Follower::start(picture(0, true, nothing), &marks(0));
    assert!(follower.finds_bar());
    (1..frames)
        .map(|frame| {
            let states = follower.advance(picture(frame.min(held), true, covers(frame)));
            [states[0].1, states[1].1]
        })
        .collect()
}

fn assert_there(states: &[MarkState; 2], frame: u32) {
    for (state, end) in states.iter().zip(ends(frame)) {
        let MarkState::Followed { point, sd_px } = state else { panic!("{state:?} in frame {frame}") };
        assert!(point.distance_px(end) <= END_PX.max(3.0 * sd_px), "{point:?} for {end:?} in frame {frame}");
        assert!(*sd_px < 3.0, "{sd_px} px in frame {frame}");
    }
}

#[test]
fn rising_bar_is_followed_past_another_straight_thing() {
    // it passes the shelf in frame 30 or so, and goes on
    let states = followed(50, 50, |_| nothing);
    let seen = |from: usize, to: usize| {
        states[from..to].iter().filter(|states| matches!(states[0], MarkState::Followed { .. })).count()
    };
    for (frame, states) in (1..).zip(&states) {
        if matches!(states[0], MarkState::Followed { .. }) && matches!(states[1], MarkState::Followed { .. }) {
            assert_there(states, frame);
        }
    }
    assert_eq!(seen(0, 24), 24, "{states:?}");
    assert!(seen(38, 49) >= 10, "{states:?}");
}

#[test]
fn bar_behind_something_for_ten_frames_is_lost_and_found_again() {
    let states = followed(26, 3, |frame| if (6..16).contains(&frame) { |_, _| true } else { nothing });
    for (frame, states) in (1..).zip(&states) {
        if (6..16).contains(&frame) {
            assert_eq!(*states, [MarkState::Lost; 2], "covered in frame {frame}");
        }
    }
    let seen = (1..6).chain(16..26);
    seen.for_each(|frame: u32| assert_there(&states[usize::try_from(frame).unwrap() - 1], frame.min(3)));
}

#[test]
fn covered_end_is_hidden_where_the_other_one_puts_it() {
    let states = followed(26, 26, |frame| if (6..16).contains(&frame) { |x, _| x > 420.0 } else { nothing });
    for (frame, states) in (1..).zip(&states) {
        if !(6..16).contains(&frame) {
            assert_there(states, frame);
            continue;
        }
        let MarkState::Hidden { point, sd_px } = states[0] else { panic!("{states:?} in frame {frame}") };
        let off_px = point.distance_px(ends(frame)[0]);
        assert!(off_px < 3.0 * sd_px, "{off_px} px off, {sd_px} stated, in frame {frame}");
        assert!(matches!(states[1], MarkState::Followed { .. }));
    }
}

#[test]
fn without_a_bar_between_the_marks_patches_are_followed_as_before() {
    let follower = Follower::start(picture(0, false, nothing), &marks(0));
    assert!(!follower.finds_bar());
    // and so with one end marked, or a bar seen end on
    assert!(!Follower::start(picture(0, true, nothing), &marks(0)[..1]).finds_bar());
    let [left, _] = ends(0);
    let short = [(Landmark::BarEnd(Side::Left), left), (Landmark::BarEnd(Side::Right), ImagePoint::new(430.0, 300.6))];
    assert!(!Follower::start(picture(0, true, nothing), &short).finds_bar());
}

#[test]
fn bar_that_rose_while_it_was_covered_is_found_where_it_is() {
    let states = followed(40, 40, |frame| if (6..34).contains(&frame) { |_, _| true } else { nothing });
    assert!(states[5..33].iter().all(|states| *states == [MarkState::Lost; 2]), "{states:?}");
    // 140 px above the place where it was seen last, and beyond the shelf
    for (frame, states) in (34..).zip(&states[33..]) {
        for (state, end) in states.iter().zip(ends(frame)) {
            let MarkState::Followed { point, sd_px } = state else { panic!("{state:?} in frame {frame}") };
            assert!(point.distance_px(end) <= END_PX, "{point:?} for {end:?} in frame {frame}");
            assert!(*sd_px > 10.0, "its length is not borne out yet: {sd_px} px in frame {frame}");
        }
    }
}

#[test]
fn bar_that_is_not_seen_on_the_marked_frame_is_taken_once_it_is() {
    let mut follower = Follower::start(picture(0, false, nothing), &marks(0));
    for frame in 1..6 {
        follower.advance(picture(frame, false, nothing));
        assert!(!follower.finds_bar(), "the shelf was there before, in frame {frame}");
    }
    for frame in 6..28 {
        let states = follower.advance(picture(frame, true, nothing));
        assert!(follower.finds_bar());
        // 5 px a frame: a fifth of its length away, both its ends bear its length out
        if frame >= 22 {
            assert_there(&[states[0].1, states[1].1], frame);
        }
    }
}

#[test]
fn how_a_bar_looks_before_the_ground_of_the_mark_settles_nothing() {
    let (wide, narrow) = (0.02, 0.012);
    let mut bar =
        FollowedBar::start(&Pyramid::owning(picture(0, false, nothing), 1), [marks(0)[0].1, marks(0)[1].1]).unwrap();
    let look = |width_ratio: f64, risen_px: f64| {
        let ends = ends(0).map(|end| Vector2::new(end.x, end.y - risen_px));
        Look { ends, half_width_px: width_ratio * (ends[1] - ends[0]).norm(), grey: BAR, is_strip: false }
    };
    (0..30).for_each(|_| bar.settle(look(wide, 10.0)));
    assert!(bar.known.is_none());
    // as wide as that for some frames yet, while it goes from there
    (0..4).for_each(|_| bar.settle(look(wide, 90.0)));
    (0..5).for_each(|_| bar.settle(look(narrow, 150.0)));
    assert!(bar.known.is_none());
    bar.settle(look(narrow, 150.0));
    let known = bar.known.unwrap();
    assert!((known.half_width_px / known.length_px() - narrow).abs() < 1e-12);
}

/// As a picture, with a fold of clothes as grey as the bar below its place on the marked frame, on most of its length.
fn folded(frame: u32, has_bar: bool) -> GrayImage {
    let mut picture = picture(frame, has_bar, nothing);
    let [right, left] = ends(0);
    for (x, y, value) in picture.enumerate_pixels_mut() {
        let (x, y) = (f64::from(x), f64::from(y));
        let below_px = y - left.y - (x - left.x) / (right.x - left.x) * (right.y - left.y);
        if (200.0..=right.x).contains(&x) && (3.0..=9.0).contains(&below_px) {
            *value = Luma([60]);
        }
    }
    picture
}

#[test]
fn bar_that_looked_wider_where_it_was_marked_is_found_once_it_rose() {
    let pyramid = |frame: u32, has_bar: bool| Pyramid::owning(folded(frame, has_bar), 1);
    let mut bar = FollowedBar::start(&pyramid(0, true), [marks(0)[0].1, marks(0)[1].1]).unwrap();
    assert!(bar.known.unwrap().half_width_px > 5.0, "with the fold: {:?}", bar.known.map(|look| look.half_width_px));
    // it is held there
    for frame in 1..40 {
        let states = bar.advance(&pyramid(frame.min(20), true));
        for (state, end) in states.iter().zip(ends(frame.min(20))).filter(|_| frame >= 16) {
            let MarkState::Followed { point, .. } = state else { panic!("{state:?} in frame {frame}") };
            assert!(point.distance_px(end) <= END_PX, "{point:?} for {end:?} in frame {frame}");
        }
    }
    let known = bar.known.unwrap();
    assert!(bar.is_settled && (known.half_width_px - 3.5).abs() < 0.5, "{}", known.half_width_px);
    // the fold that it left is not taken for it
    for _ in 0..10 {
        assert_eq!(bar.advance(&pyramid(20, false)), [MarkState::Lost; 2]);
    }
    assert!(bar.known.is_none(), "not seen for some frames");
}

#[test]
fn bar_that_moves_fast_settles_nothing() {
    let pyramid = |frame: u32, has_bar: bool| Pyramid::owning(picture(frame, has_bar, nothing), 1);
    let mut bar = FollowedBar::start(&pyramid(0, false), [marks(0)[0].1, marks(0)[1].1]).unwrap();
    for frame in 1..24 {
        bar.advance(&pyramid(frame, true));
    }
    assert!(bar.is_seen() && bar.known.is_none(), "5 px a frame: {:?}", bar.known.map(|look| look.half_width_px));
    for _ in 0..12 {
        bar.advance(&pyramid(23, true));
    }
    assert!(bar.known.is_some(), "at rest");
}
