//! The height of a followed bar over time, for views in which the arms are raised towards the camera and show no angle.

use nalgebra::Vector2;

use crate::geometry::{ImagePoint, Landmark, Side};

use super::mark_state::MarkState;

/// Frames before one and after it over which the bar's length is taken: a third of a second or so to each side.
const LENGTH_FRAMES: usize = 10;

/// How high the middle of the bar is above the middle of the shoulders in each frame, along the plumb line on the picture, in lengths
/// of the bar as it is seen in that frame; `None` where an end is not known, and everywhere without both shoulders among the `placed`
/// marks. Without a plumb line among them the picture's own upright stands in.
///
/// The bar's length goes with how near it is, so that the number hardly does. The shoulders count where they were marked: their
/// patches turn out of sight as the arms rise, while the trunk of a person who sits moves by centimetres, and a raise is tens of them.
/// It assumes that the camera stands still.
#[must_use]
pub fn bar_heights(
    landmarks: &[Landmark],
    states: &[Vec<MarkState>],
    placed: &[(Landmark, ImagePoint)],
) -> Vec<Option<f64>> {
    let at = |wanted: Landmark| {
        placed.iter().find(|(landmark, _)| *landmark == wanted).map(|(_, point)| Vector2::new(point.x, point.y))
    };
    let [left, right] = Side::BOTH.map(|side| at(Landmark::Shoulder(side)));
    let (Some(left), Some(right)) = (left, right) else { return vec![None; states.len()] };
    let shoulders = 0.5 * (left + right);
    let upright = at(Landmark::PlumbTop).zip(at(Landmark::PlumbBottom)).map(|(top, bottom)| top - bottom);
    let up = upright.and_then(|upright| upright.try_normalize(1e-9)).unwrap_or_else(|| Vector2::new(0.0, -1.0));
    let places = Side::BOTH.map(|side| landmarks.iter().position(|landmark| *landmark == Landmark::BarEnd(side)));
    let seen = |states: &Vec<MarkState>| {
        let end = |place: Option<usize>| match states.get(place?)? {
            MarkState::Followed { point, .. } | MarkState::Hidden { point, .. } => Some(Vector2::new(point.x, point.y)),
            MarkState::Lost | MarkState::OutOfPicture => None,
        };
        let (left, right) = (end(places[0])?, end(places[1])?);
        Some((up.dot(&(0.5 * (left + right) - shoulders)), (right - left).norm()))
    };
    let seen: Vec<Option<(f64, f64)>> = states.iter().map(seen).collect();
    let height = |frame: usize| {
        let (above_px, _) = seen[frame]?;
        let length_px = usual_length_px(&seen, frame)?;
        Some(above_px / length_px)
    };
    (0..states.len()).map(height).collect()
}

/// The length of the bar about a frame: the median over the frames around it, so that an end that is seen wrong for some frames does
/// not count. While the length goes up or down steadily it is that of the frame itself.
fn usual_length_px(seen: &[Option<(f64, f64)>], frame: usize) -> Option<f64> {
    let reach = LENGTH_FRAMES.min(frame).min(seen.len() - 1 - frame);
    let mut lengths: Vec<f64> =
        seen[frame - reach..=frame + reach].iter().flatten().map(|(_, length)| *length).collect();
    let middle = lengths.len() / 2;
    let (_, median, _) = lengths.select_nth_unstable_by(middle, f64::total_cmp);
    (*median > 0.0).then_some(*median)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(x: f64, y: f64) -> MarkState {
        MarkState::Followed { point: ImagePoint::new(x, y), sd_px: 0.3 }
    }

    const LANDMARKS: [Landmark; 2] = [Landmark::BarEnd(Side::Left), Landmark::BarEnd(Side::Right)];

    fn shoulders() -> Vec<(Landmark, ImagePoint)> {
        vec![
            (Landmark::Shoulder(Side::Left), ImagePoint::new(360.0, 300.0)),
            (Landmark::Shoulder(Side::Right), ImagePoint::new(240.0, 304.0)),
        ]
    }

    #[test]
    fn height_is_along_the_plumb_line_in_lengths_of_the_bar() {
        // middle (300, 202) is 100 px above (300, 302); the bar is 400 px long
        let states = vec![vec![seen(500.0, 202.0), seen(100.0, 202.0)]];
        let height = bar_heights(&LANDMARKS, &states, &shoulders())[0].unwrap();
        assert!((height - 0.25).abs() < 1e-12, "{height}");
        // a plumb line that leans by atan(3 / 4): 100 px up are 80 px along it
        let mut placed = shoulders();
        placed.push((Landmark::PlumbTop, ImagePoint::new(60.0, 20.0)));
        placed.push((Landmark::PlumbBottom, ImagePoint::new(0.0, 100.0)));
        let height = bar_heights(&LANDMARKS, &states, &placed)[0].unwrap();
        assert!((height - 0.2).abs() < 1e-12, "{height}");
    }

    #[test]
    fn end_that_is_wrong_for_some_frames_changes_no_height() {
        let frames: Vec<Vec<MarkState>> = (0..21)
            .map(|frame| vec![seen(500.0, 202.0), seen(if (8..12).contains(&frame) { 180.0 } else { 100.0 }, 202.0)])
            .collect();
        let heights = bar_heights(&LANDMARKS, &frames, &shoulders());
        assert!(heights.iter().all(|height| (height.unwrap() - 0.25).abs() < 1e-12), "{heights:?}");
        // what grows steadily counts as it is in each frame
        let nearer = |frame: u32| 400.0 + 4.0 * f64::from(frame);
        let frames: Vec<Vec<MarkState>> =
            (0..21).map(|frame| vec![seen(100.0 + nearer(frame), 202.0), seen(100.0, 202.0)]).collect();
        let heights = bar_heights(&LANDMARKS, &frames, &shoulders());
        for (frame, height) in (0..).zip(heights) {
            assert!((height.unwrap() - 100.0 / nearer(frame)).abs() < 1e-12, "{height:?} in frame {frame}");
        }
    }

    #[test]
    fn end_that_is_lost_and_shoulder_that_is_not_marked_give_no_height() {
        let states = vec![vec![seen(500.0, 202.0), MarkState::Lost], vec![seen(500.0, 202.0), seen(100.0, 202.0)]];
        let heights = bar_heights(&LANDMARKS, &states, &shoulders());
        assert!(heights[0].is_none() && heights[1].is_some(), "{heights:?}");
        assert_eq!(bar_heights(&LANDMARKS, &states, &shoulders()[..1]), [None, None]);
    }
}
