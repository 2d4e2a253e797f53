//! A small drawing of the person at the wall, with a dot for every landmark.

use maud::{Markup, html};

use crate::geometry::{Landmark, Side};
use crate::pose::View;

/// A dot's place in the drawing's own units.
type Dots = [(Landmark, f32, f32)];

/// The person with a dot for each of `landmarks`; `data-mark` names it. Seen from the side with the near side towards
/// the reader, or from the front.
pub(super) fn figure(view: View, near_side: Option<Side>, landmarks: &[Landmark]) -> Markup {
    match view {
        View::Front => front(landmarks),
        View::Side | View::Oblique => side(near_side.unwrap_or(Side::Right), landmarks),
    }
}

/// Seen from the right side; a left side towards the camera is the same drawing, turned.
fn side(near: Side, landmarks: &[Landmark]) -> Markup {
    let far = near.other();
    let dots = [
        (Landmark::Shoulder(near), 23.3, 66.7),
        (Landmark::Shoulder(far), 30.5, 68.5),
        (Landmark::Elbow(near), 32.7, 40.7),
        (Landmark::Elbow(far), 39.5, 48.4),
        (Landmark::Wrist(near), 42.4, 19.8),
        (Landmark::Wrist(far), 48.0, 34.0),
        (Landmark::Hip(near), 25.3, 108.4),
        (Landmark::Hip(far), 33.0, 107.0),
        (Landmark::Eye(near), 31.0, 52.4),
        (Landmark::Eye(far), 33.5, 51.4),
        (Landmark::Nose, 34.6, 56.0),
        (Landmark::Chin, 31.2, 62.4),
        (Landmark::BarEnd(near), 42.6, 6.5),
        (Landmark::BarEnd(far), 53.4, 40.0),
        (Landmark::PlumbTop, 14.0, 14.0),
        (Landmark::PlumbBottom, 14.0, 132.0),
        (Landmark::Datum, 3.5, 40.0),
    ];
    let class = if near == Side::Right { "drawing figure-of-body" } else { "drawing figure-of-body turned" };
    html! {
        svg class=(class) viewBox="-6 0 84 156" aria-hidden="true" {
            path class="wall" d="M-6 0H14V156H-6z" {}
            path class="line" d="M14 0V156" {}
            path class="fine" d="M18 118H46M22 118V154M42 118V154" {}
            (limb("M30.5 69L39.5 48.4L48 32", 4.5))
            path class="bar" d="M42.6 6.5L53.4 40" {}
            path class="body" d="M17.5 66C17 60 31 60 32.5 67L33 106C33 112 17.5 113 17.5 107z" {}
            circle class="body" cx="26.5" cy="53.5" r="7.4" {}
            (limb("M25.3 109L62 110L62 150H69", 7.5))
            (limb("M23.3 66.7L32.7 40.7L42.4 19.8", 6.0))
            (markers(&dots, landmarks))
        }
    }
}

fn front(landmarks: &[Landmark]) -> Markup {
    let (left, right) = (Side::Left, Side::Right);
    let dots = [
        (Landmark::Shoulder(right), 35.0, 54.0),
        (Landmark::Shoulder(left), 63.0, 54.0),
        (Landmark::Elbow(right), 29.5, 34.0),
        (Landmark::Elbow(left), 68.5, 34.0),
        (Landmark::Wrist(right), 25.6, 17.0),
        (Landmark::Wrist(left), 72.4, 17.0),
        (Landmark::Hip(right), 38.5, 91.0),
        (Landmark::Hip(left), 59.5, 91.0),
        (Landmark::Eye(right), 46.2, 38.5),
        (Landmark::Eye(left), 51.8, 38.5),
        (Landmark::Nose, 49.0, 42.0),
        (Landmark::Chin, 49.0, 48.5),
        (Landmark::BarEnd(right), 5.6, 11.0),
        (Landmark::BarEnd(left), 92.4, 11.0),
        (Landmark::PlumbTop, 82.0, 24.0),
        (Landmark::PlumbBottom, 82.0, 116.0),
        (Landmark::Datum, 49.0, 20.0),
    ];
    html! {
        svg.drawing.figure-of-body viewBox="0 0 98 136" aria-hidden="true" {
            path class="wall" d="M16 0H82V136H16z" {}
            path class="line" d="M82 0V136" {}
            path class="bar" d="M5.6 11H92.4" {}
            path class="body" d="M35 54C40 50 58 50 63 54L60 92C56 96 42 96 38 92z" {}
            circle class="body" cx="49" cy="40.5" r="8" {}
            (limb("M40 92L36 102L37 130", 8.0))
            (limb("M58 92L62 102L61 130", 8.0))
            (limb("M35 54L29.5 34L25.6 15", 6.0))
            (limb("M63 54L68.5 34L72.4 15", 6.0))
            (markers(&dots, landmarks))
        }
    }
}

/// A limb of a width: an outline, and its filling on it.
pub(super) fn limb(path: &str, width: f32) -> Markup {
    html! {
        path class="limb" stroke-width=(width + 2.4) d=(path) {}
        path class="limb-in" stroke-width=(width) d=(path) {}
    }
}

fn markers(dots: &Dots, landmarks: &[Landmark]) -> Markup {
    html! {
        @for (landmark, x, y) in dots {
            @if landmarks.contains(landmark) {
                circle.dot cx=(x) cy=(y) r="2" data-mark=(landmark.name()) {}
            }
        }
    }
}
