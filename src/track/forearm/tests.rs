//! Forearms that are drawn, and what is taken for one.

use image::{GrayImage, Luma};
use nalgebra::Vector2;

use super::*;

/// Another arm behind the one that is looked at: how far aside, px, and half its width.
type Behind = Option<(f64, f64)>;

/// A forearm from wrist to elbow, half as thick at the wrist as `half` says and 3 px more at the elbow, before a wall with some
/// texture, on a picture so many times as large as lengths hold for.
fn picture(arm: Forearm, half: f64, behind: Behind, times: u32) -> GrayImage {
    let vector = |point: ImagePoint| Vector2::new(point.x, point.y);
    let wrist = vector(arm.wrist);
    let length = (vector(arm.elbow) - wrist).norm();
    let along = (vector(arm.elbow) - wrist) / length;
    let across = Vector2::new(-along.y, along.x);
    GrayImage::from_fn(1280 * times, 300 * times, |x, y| {
        let at = Vector2::new(f64::from(x), f64::from(y));
        let (place, aside) = ((at - wrist).dot(&along), (at - wrist).dot(&across));
        let wall = 165.0 + 4.0 * ((at.x / 5.3).sin() * (at.y / 7.1).cos() + (at.x / 17.0).sin());
        let growth = 3.0 * place / length;
        // an edge is as blurred as a pixel is wide
        let covered = |aside: f64, half: f64| (half + growth - aside.abs() + 0.5).clamp(0.0, 1.0);
        let other = behind.map_or(0.0, |(by, half)| covered(aside - by, half));
        let before = wall + other * (142.0 - wall);
        let shade = 118.0 + 0.8 * aside;
        let level = before + covered(aside, half) * (shade - before);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "grey values of this scene")]
        Luma([level.round() as u8])
    })
}

const FIRST: Forearm = Forearm { wrist: ImagePoint::new(210.0, 80.0), elbow: ImagePoint::new(160.0, 170.0) };
const SECOND: Forearm = Forearm { wrist: ImagePoint::new(228.0, 90.0), elbow: ImagePoint::new(161.0, 168.0) };

/// The forearm as marked when both marks lie aside of it by so many px.
fn marked(arm: Forearm, aside_px: [f64; 2]) -> Forearm {
    let (x, y) = (arm.elbow.x - arm.wrist.x, arm.elbow.y - arm.wrist.y);
    let length = x.hypot(y);
    let moved = |point: ImagePoint, by: f64| ImagePoint::new(point.x - by * y / length, point.y + by * x / length);
    Forearm { wrist: moved(arm.wrist, aside_px[0]), elbow: moved(arm.elbow, aside_px[1]) }
}

/// How far a wrist lies aside of that of an arm, px.
fn aside_px(arm: Forearm, wrist: ImagePoint) -> f64 {
    let (x, y) = (arm.elbow.x - arm.wrist.x, arm.elbow.y - arm.wrist.y);
    ((wrist.y - arm.wrist.y) * x - (wrist.x - arm.wrist.x) * y) / x.hypot(y)
}

#[test]
fn wrist_lies_beside_the_second_outline_as_beside_the_first() {
    for behind in [None, Some((9.0, 7.0)), Some((22.0, 6.0))] {
        let pictures = [picture(FIRST, 9.0, behind, 1), picture(SECOND, 9.0, behind, 1)];
        for (first, second) in [([0.0, 0.0], [0.0, 0.0]), ([2.0, -1.0], [-1.5, 1.0]), ([-2.5, 1.5], [2.0, 2.0])] {
            let found =
                wrist_beside_forearm([&pictures[0], &pictures[1]], [marked(FIRST, first), marked(SECOND, second)])
                    .unwrap_or_else(|| panic!("{behind:?}, {first:?}, {second:?}"));
            // The error of the first mark goes along, that of the second does not. Edges are read to some tenths of a px, and a
            // middle from thirty of them on either side is better than that.
            let off_px = aside_px(SECOND, found.point) - first[0];
            assert!(off_px.abs() < 0.4, "{behind:?}, {first:?}, {second:?}: {off_px}");
            // the forearm runs along (-67, 78)
            let across = Vector2::new(78.0_f64, 67.0).normalize();
            let sd_px = across.dot(&(found.covariance_px2 * across)).sqrt();
            assert!(sd_px < 0.5 * ALONG_SD_PX, "certain across: {sd_px}");
        }
    }
}

#[test]
fn mark_on_the_wrong_spot_is_not_borne_out() {
    for behind in [None, Some((22.0, 7.0)), Some((-19.0, 7.0)), Some((-14.0, 7.0))] {
        let pictures = [picture(FIRST, 9.0, behind, 1), picture(SECOND, 9.0, behind, 1)];
        // on the other arm, in the gap before it, on the wall; and an elbow elsewhere
        for second in [[22.0, 0.0], [-19.0, 0.0], [12.0, 0.0], [-11.0, 0.0], [0.0, 15.0]] {
            let forearms = [FIRST, marked(SECOND, second)];
            let Some(found) = wrist_beside_forearm([&pictures[0], &pictures[1]], forearms) else { continue };
            // Where it is found at all it is where the forearm is, within what another stretch of a slightly conical arm does.
            let off_px = aside_px(SECOND, found.point);
            assert!(off_px.abs() < 1.5, "{behind:?}, {second:?}: {off_px}");
        }
        // an arm that is half covered leaves two outlines, and neither is sure
        if behind != Some((-14.0, 7.0)) {
            let found = wrist_beside_forearm([&pictures[0], &pictures[1]], [FIRST, marked(SECOND, [12.0, 0.0])]);
            assert!(found.is_some(), "{behind:?}");
        }
    }
}

#[test]
fn of_two_arms_as_thick_none_is_taken() {
    let behind = Some((24.0, 9.0));
    let pictures = [picture(FIRST, 9.0, behind, 1), picture(SECOND, 9.0, behind, 1)];
    // one of the two would be right, but the picture does not say which
    let found = wrist_beside_forearm([&pictures[0], &pictures[1]], [FIRST, marked(SECOND, [12.0, 0.0])]);
    assert_eq!(found, None);
}

#[test]
fn large_picture_gives_the_same_in_its_own_px() {
    let twice = |arm: Forearm| {
        let point = |at: ImagePoint| ImagePoint::new(2.0 * at.x, 2.0 * at.y);
        Forearm { wrist: point(arm.wrist), elbow: point(arm.elbow) }
    };
    let pictures = [FIRST, SECOND].map(|arm| picture(twice(arm), 18.0, None, 2));
    let arms = [marked(twice(FIRST), [3.0, 0.0]), marked(twice(SECOND), [-2.0, 0.0])];
    let found = wrist_beside_forearm([&pictures[0], &pictures[1]], arms).unwrap();
    // as above, in px twice as small
    let off_px = aside_px(twice(SECOND), found.point) - 3.0;
    assert!(off_px.abs() < 0.8, "{off_px}");
}

#[test]
fn without_outlines_of_one_width_there_is_no_tie() {
    let arm = picture(FIRST, 9.0, None, 1);
    let thicker = picture(SECOND, 13.0, None, 1);
    assert_eq!(wrist_beside_forearm([&arm, &thicker], [FIRST, SECOND]), None);
    let elsewhere = Forearm { wrist: ImagePoint::new(560.0, 120.0), elbow: ImagePoint::new(520.0, 210.0) };
    assert_eq!(wrist_beside_forearm([&arm, &thicker], [FIRST, elsewhere]), None, "wall alone");
    let short = Forearm { elbow: ImagePoint::new(205.0, 100.0), ..FIRST };
    assert_eq!(wrist_beside_forearm([&arm, &arm], [short, short]), None, "seen end on");
}
