//! Grows a checkerboard's grid from saddle points: each link between neighbours has to be an edge between a dark and a bright
//! square, and the sides change from link to link.

use std::collections::{HashMap, HashSet, VecDeque};

use nalgebra::Vector2;

use crate::camera::gray::GrayPlane;
use crate::camera::saddle::Saddle;

/// A neighbour is sought this far from where the grid predicts it, as a ratio of the step.
const SEARCH_RATIO: f64 = 0.35;

/// From the first corner, a neighbour is sought within this angle of the edge, rad.
const FIRST_LINK_RAD: f64 = 0.3;

/// The sides of a link differ by at least this ratio of the corners' contrast.
const LINK_CONTRAST_RATIO: f32 = 0.3;

/// Contrasts of neighbours differ by at most this factor: light falls off across a board, but not from square to square.
const CONTRAST_FACTOR: f32 = 3.0;

/// Neighbours tried for a first link, nearest first.
const FIRST_LINK_TRIES: usize = 12;

/// First corners tried.
const MAX_SEEDS: usize = 60;

/// Grids with fewer corners than this are clutter.
const MIN_GRID: usize = 9;

/// Whole-number place of a corner in the grid.
pub(crate) type Cell = (i32, i32);

/// A corner of a grid.
#[derive(Debug, Clone, Copy)]
pub(crate) struct GridCorner {
    /// Where, px.
    pub point: Vector2<f64>,
    /// Strength of the saddle.
    pub response: f32,
}

/// Corners in a grid. `is_first_dark` says whether the square at (0,0)-(1,1) is dark.
#[derive(Debug, Clone, Default)]
pub(crate) struct Grid {
    /// Place, corner and strength of the saddle there.
    pub corners: HashMap<Cell, GridCorner>,
    /// The square whose corners are (0,0), (1,0), (1,1), (0,1) is dark.
    pub is_first_dark: bool,
}

/// Grows grids from the strongest saddles, largest first.
pub(crate) fn grow_grids(smoothed: &GrayPlane, saddles: &[Saddle], enough: usize) -> Vec<Grid> {
    let mut used: HashSet<usize> = HashSet::new();
    let mut grids: Vec<Grid> = Vec::new();
    let mut seeds = 0;
    for seed in 0..saddles.len() {
        if used.contains(&seed) {
            continue;
        }
        seeds += 1;
        if seeds > MAX_SEEDS {
            break;
        }
        let (grid, members) = grow(smoothed, saddles, seed);
        if grid.corners.len() >= MIN_GRID {
            used.extend(members);
            let is_enough = grid.corners.len() >= enough;
            grids.push(grid);
            if is_enough {
                break;
            }
        }
    }
    grids.sort_by_key(|grid| std::cmp::Reverse(grid.corners.len()));
    grids
}

impl Grid {
    /// Least and greatest place along both axes.
    pub(crate) fn bounds(&self) -> (Cell, Cell) {
        let first = self.corners.keys().next().copied().unwrap_or_default();
        self.corners.keys().fold((first, first), |(low, high), cell| {
            ((low.0.min(cell.0), low.1.min(cell.1)), (high.0.max(cell.0), high.1.max(cell.1)))
        })
    }

    /// The total strength of a rectangle of corners, if every place in it is filled.
    pub(crate) fn strength_of(&self, low: Cell, high: Cell) -> Option<f32> {
        let mut sum = 0.0;
        for first in low.0..=high.0 {
            for second in low.1..=high.1 {
                sum += self.corners.get(&(first, second))?.response;
            }
        }
        Some(sum)
    }
}

const STEPS: [Cell; 4] = [(1, 0), (-1, 0), (0, 1), (0, -1)];

struct Growth<'a> {
    smoothed: &'a GrayPlane,
    saddles: &'a [Saddle],
    place: HashMap<Cell, usize>,
    taken: HashSet<usize>,
    /// Sign of bright minus dark on the link's left-hand side, as seen from cells whose sum is even.
    even_sign: f32,
}

fn grow(smoothed: &GrayPlane, saddles: &[Saddle], seed: usize) -> (Grid, HashSet<usize>) {
    let origin = saddles[seed];
    // The grid's first axis is an edge; the second is the other, turned so that the grid is not mirrored (y runs down).
    let first = origin.axes[0];
    let second = if cross(first, origin.axes[1]) > 0.0 { origin.axes[1] } else { -origin.axes[1] };
    let mut growth = Growth {
        smoothed,
        saddles,
        place: HashMap::from([((0, 0), seed)]),
        taken: HashSet::from([seed]),
        even_sign: 0.0,
    };
    for (step, direction) in STEPS.into_iter().zip([first, -first, second, -second]) {
        growth.first_link(seed, step, direction);
    }
    let mut queue: VecDeque<Cell> = growth.place.keys().copied().collect();
    // The order of a hash map is not fixed: sort, so that the same picture always gives the same grid.
    queue.make_contiguous().sort_unstable();
    while let Some(cell) = queue.pop_front() {
        for step in STEPS {
            if growth.link(cell, step) {
                queue.push_back(add(cell, step));
            }
        }
    }
    let corners = growth
        .place
        .iter()
        .map(|(cell, index)| (*cell, GridCorner { point: saddles[*index].point, response: saddles[*index].response }))
        .collect();
    (Grid { corners, is_first_dark: growth.even_sign < 0.0 }, growth.taken)
}

impl Growth<'_> {
    /// Links the first corner to its nearest fitting neighbour along an edge.
    fn first_link(&mut self, seed: usize, step: Cell, direction: Vector2<f64>) {
        let here = self.saddles[seed].point;
        let mut near: Vec<(f64, usize)> = self
            .saddles
            .iter()
            .enumerate()
            .filter(|(index, _)| !self.taken.contains(index))
            .filter_map(|(index, saddle)| {
                let way = saddle.point - here;
                let angle = cross(direction, way).atan2(direction.dot(&way));
                (angle.abs() < FIRST_LINK_RAD).then(|| (way.norm(), index))
            })
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (_, index) in near.into_iter().take(FIRST_LINK_TRIES) {
            if self.accepts((0, 0), step, seed, index) {
                self.put(step, index);
                return;
            }
        }
    }

    /// Links a corner of the grid to its neighbour in a direction, if there is one; true if a new corner was placed.
    fn link(&mut self, cell: Cell, step: Cell) -> bool {
        let target = add(cell, step);
        if self.place.contains_key(&target) {
            return false;
        }
        let from = self.place[&cell];
        let here = self.saddles[from].point;
        let Some(way) = self.expected_way(cell, step) else { return false };
        let expected = here + way;
        let reach = SEARCH_RATIO * way.norm();
        let nearest = self
            .saddles
            .iter()
            .enumerate()
            .filter(|(index, _)| !self.taken.contains(index))
            .map(|(index, saddle)| ((saddle.point - expected).norm(), index))
            .filter(|(distance, _)| *distance < reach)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match nearest {
            Some((_, index)) if self.accepts(cell, step, from, index) => {
                self.put(target, index);
                true
            }
            _ => false,
        }
    }

    /// The way to the next corner: from the corner behind, else from the same link one row over.
    fn expected_way(&self, cell: Cell, step: Cell) -> Option<Vector2<f64>> {
        let point = |cell: Cell| self.place.get(&cell).map(|index| self.saddles[*index].point);
        let here = point(cell)?;
        if let Some(behind) = point((cell.0 - step.0, cell.1 - step.1)) {
            return Some(here - behind);
        }
        let across = (step.1, step.0);
        [across, (-across.0, -across.1)].into_iter().find_map(|side| {
            let beside = add(cell, side);
            Some(point(add(beside, step))? - point(beside)?)
        })
    }

    fn put(&mut self, cell: Cell, index: usize) {
        self.place.insert(cell, index);
        self.taken.insert(index);
    }

    /// Whether the way between two corners is an edge between squares of the expected colours.
    fn accepts(&mut self, cell: Cell, step: Cell, from: usize, to: usize) -> bool {
        let (a, b) = (&self.saddles[from], &self.saddles[to]);
        let (weaker, stronger) = (a.contrast.min(b.contrast), a.contrast.max(b.contrast));
        if stronger > CONTRAST_FACTOR * weaker {
            return false;
        }
        let Some(side) = link_side(self.smoothed, a.point, b.point, LINK_CONTRAST_RATIO * weaker) else { return false };
        // Seen from an even cell along either axis forward, the same square lies on the grid's inner side.
        let (start, forward) = if step.0 + step.1 > 0 { (cell, 1.0) } else { (add(cell, step), -1.0) };
        let parity = if (start.0 + start.1).rem_euclid(2) == 0 { 1.0 } else { -1.0 };
        let axis = if step.0 == 0 { -1.0 } else { 1.0 };
        let sign = side * parity * axis * forward;
        if self.even_sign == 0.0 {
            self.even_sign = sign;
        }
        sign * self.even_sign > 0.0
    }
}

/// Sign of (right minus left) of the way from a to b (right-hand side in the picture, y down), if the two sides differ by at
/// least `contrast` in the same sense all along.
fn link_side(smoothed: &GrayPlane, a: Vector2<f64>, b: Vector2<f64>, contrast: f32) -> Option<f32> {
    let way = b - a;
    let length = way.norm();
    if length < 4.0 {
        return None;
    }
    let right = Vector2::new(-way.y, way.x) / length * (0.15 * length).max(2.0);
    let mut sign = 0.0;
    for part in [0.3, 0.5, 0.7] {
        let middle = a + way * part;
        let difference = smoothed.sample(middle.x + right.x, middle.y + right.y)
            - smoothed.sample(middle.x - right.x, middle.y - right.y);
        if difference.abs() < contrast || difference * sign < 0.0 {
            return None;
        }
        sign = difference.signum();
    }
    Some(sign)
}

fn cross(a: Vector2<f64>, b: Vector2<f64>) -> f64 {
    a.x * b.y - a.y * b.x
}

const fn add(a: Cell, b: Cell) -> Cell {
    (a.0 + b.0, a.1 + b.1)
}
