//! A bar that was lost, looked for over the whole height of the picture.
//!
//! A raise moves a bar along the plumb line, and hardly turns it. So it is looked for on lines across that way, coarsely: at places
//! along each line the picture is read where both edges of the bar would be, and the stretch of the line with the most of such pairs
//! of edges is taken, hands and gaps included. An edge that was there on the marked frame, too, is one of the room. What comes of it are
//! a few stretches as long as the bar can be, the likeliest first: which of them is a bar, and the bar, is for others to say.

use nalgebra::Vector2;

use super::plane::Plane;
use super::strip::read;

/// Places on each line in a length of the bar.
const PLACES_A_LENGTH: f64 = 64.0;
/// Lines reach so far from the middle to each side, in lengths of the bar: it grows towards the camera, and strays aside.
const REACH_RATIO: f64 = 0.95;
/// Lines lie apart by this share of half the bar's width, px at the least.
const LINE_STEP: (f64, f64) = (0.6, 1.0);
/// Lines are turned against the bar as it was seen last by so many steps to each side, each rad: 1.5 deg.
const TURN_STEPS: i8 = 2;
const TURN_STEP_RAD: f64 = 0.026;
/// A change of the grey value across an edge counts up to this.
const CHANGE_MAX: f64 = 20.0;
/// What a place costs: with less change than that it is no part of a bar.
const CHANGE_COST: f64 = 5.0;
/// Stretches that are given.
const STRETCHES: usize = 6;

/// What is looked for: a bar as it was seen, and how much longer or shorter it can be.
pub(super) struct BarSought {
    /// Its ends when it was seen last, px.
    pub(super) ends: [Vector2<f64>; 2],
    /// Half its width, px.
    pub(super) half_width_px: f64,
    /// Its shortest and its longest, px.
    pub(super) length_px: [f64; 2],
    /// Stretches nearer to each other than this are one, px.
    pub(super) apart_px: f64,
}

/// A stretch of a line.
struct Stretch {
    score: f64,
    ends: [Vector2<f64>; 2],
}

impl Stretch {
    fn middle(&self) -> Vector2<f64> {
        0.5 * (self.ends[0] + self.ends[1])
    }
}

/// The ends of stretches on which a bar may lie, px, in the order of the ends sought, the likeliest first.
pub(super) fn bar_stretches(plane: &Plane, reference: &Plane, sought: &BarSought) -> Vec<[Vector2<f64>; 2]> {
    let [from, to] = sought.ends;
    let length_px = (to - from).norm();
    if length_px < PLACES_A_LENGTH {
        return Vec::new();
    }
    let (middle, along) = (0.5 * (from + to), (to - from) / length_px);
    let way = Vector2::new(-along.y, along.x);
    let step_px = (LINE_STEP.0 * sought.half_width_px).max(LINE_STEP.1);
    let (width, height) = plane.size();
    let corner = |x: usize, y: usize| way.dot(&(Vector2::new(x as f64, y as f64) - middle));
    let corners = [corner(0, 0), corner(width, 0), corner(0, height), corner(width, height)];
    let (first_px, last_px) =
        corners.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), at| (low.min(*at), high.max(*at)));
    let mut stretches = Vec::new();
    let mut changes = Vec::new();
    let mut at_px = first_px;
    while at_px <= last_px {
        let here = middle + way * at_px;
        at_px += step_px;
        if !plane.contains(here.x, here.y) {
            continue;
        }
        for turn in -TURN_STEPS..=TURN_STEPS {
            let (sin, cos) = (f64::from(turn) * TURN_STEP_RAD).sin_cos();
            let line = Line { middle: here, along: along * cos + way * sin, place_px: length_px / PLACES_A_LENGTH };
            line.read_changes([plane, reference], sought.half_width_px, &mut changes);
            stretches.extend(line.stretch(&changes, sought.length_px));
        }
    }
    stretches.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut apart: Vec<Stretch> = Vec::new();
    for stretch in stretches {
        if apart.iter().all(|other| (other.middle() - stretch.middle()).norm() > sought.apart_px) {
            apart.push(stretch);
        }
        if apart.len() == STRETCHES {
            break;
        }
    }
    apart.into_iter().map(|stretch| stretch.ends).collect()
}

/// A line on which a bar may lie.
struct Line {
    middle: Vector2<f64>,
    along: Vector2<f64>,
    /// From one place on it to the next, px.
    place_px: f64,
}

impl Line {
    fn at(&self, place: f64) -> Vector2<f64> {
        self.middle + self.along * ((place - REACH_RATIO * PLACES_A_LENGTH) * self.place_px)
    }

    /// By how much the grey value changes across both edges of a bar at each place: the lesser of the two changes.
    fn read_changes(&self, [plane, reference]: [&Plane; 2], half_width_px: f64, changes: &mut Vec<f64>) {
        let across = Vector2::new(-self.along.y, self.along.x);
        let off_px = (0.5 * half_width_px).max(1.0);
        changes.clear();
        let mut place = 0.0;
        while place <= 2.0 * REACH_RATIO * PLACES_A_LENGTH {
            let here = self.at(place);
            let change = |edge_px: f64| {
                let [outer, inner] = [edge_px + off_px * edge_px.signum(), edge_px - off_px * edge_px.signum()];
                let [outer, inner] = [outer, inner].map(|off| here + across * off);
                let change = |plane: &Plane| Some(read(plane, outer)? - read(plane, inner)?);
                let (now, then) = (change(plane)?, change(reference)?);
                Some((now - then).abs().min(now.abs()))
            };
            let both = change(-half_width_px).zip(change(half_width_px));
            changes.push(both.map_or(0.0, |(upper, lower)| upper.min(lower).min(CHANGE_MAX)));
            place += 1.0;
        }
    }

    /// The stretch with the largest sum of changes, less what its places cost; `None` where it is not as long as the bar can be.
    fn stretch(&self, changes: &[f64], length_px: [f64; 2]) -> Option<Stretch> {
        let (mut best, mut best_range) = (0.0, [0, 0]);
        let (mut sum, mut from) = (0.0, 0);
        for (place, change) in changes.iter().enumerate() {
            sum += change - CHANGE_COST;
            if sum <= 0.0 {
                (sum, from) = (0.0, place + 1);
            } else if sum > best {
                (best, best_range) = (sum, [from, place + 1]);
            }
        }
        let [from, to] = best_range.map(|place| place as f64 - 0.5);
        let is_as_long = (length_px[0]..=length_px[1]).contains(&((to - from) * self.place_px));
        is_as_long.then(|| Stretch { score: best, ends: [self.at(from), self.at(to)] })
    }
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;

    /// A bar 300 px long and 6 px thick at this height, with a gap as hands leave it, above a shelf.
    fn plane(bar_y: u32) -> Plane {
        Plane::owning(GrayImage::from_fn(640, 400, |x, y| {
            let is_bar = (150..450).contains(&x) && !(250..270).contains(&x) && (bar_y..bar_y + 6).contains(&y);
            let is_shelf = (100..420).contains(&x) && (350..356).contains(&y);
            Luma([if is_bar {
                60
            } else if is_shelf {
                20
            } else {
                150
            }])
        }))
    }

    #[test]
    fn stretch_of_a_bar_is_found_over_the_height_of_the_picture_and_that_of_the_room_is_not() {
        let sought = BarSought {
            ends: [Vector2::new(150.0, 300.0), Vector2::new(450.0, 310.0)],
            half_width_px: 3.0,
            length_px: [270.0, 330.0],
            apart_px: 8.0,
        };
        let stretches = bar_stretches(&plane(60), &plane(1000), &sought);
        let [from, to] = stretches[0];
        let place_px = 300.0 / PLACES_A_LENGTH;
        for (end, x) in [(from, 150.0), (to, 450.0)] {
            assert!((end.x - x).abs() < 2.0 * place_px && (end.y - 62.5).abs() < 4.0, "{stretches:?}");
        }
        assert!(stretches.iter().flatten().all(|end| end.y < 100.0), "the shelf was there before: {stretches:?}");
        let longer = BarSought { length_px: [360.0, 400.0], ..sought };
        assert!(bar_stretches(&plane(60), &plane(1000), &longer).is_empty());
    }
}
