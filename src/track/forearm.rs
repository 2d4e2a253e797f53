//! A wrist beside the outline of its forearm, in pictures that show two sides of it.
//!
//! When the arm turns, another side of the skin is seen, and no patch of it says where the wrist went. Its outline still does, across
//! the arm: seen from the side the hands hold a bar with the palms forward or back, the forearm shows its thin side either way, and
//! the middle between the styloid processes keeps its place between the two edges but for what palm and back of the wrist differ by.
//! So a wrist that was placed by hand in both pictures is put beside the outline of the second one as the first lies beside its own:
//! the error of the first mark, across the arm, is then common to both.
//!
//! The forearm is not looked for beside the mark, which would bear out a mark on the wrong spot, but in all that lies within a
//! hand's breadth of it, and which of the outlines there it is says the picture alone: both edges seen, no edge between them, another
//! grey than the wall's, the same thickness in both pictures, thicker than a second arm that stands apart. Where another outline is
//! nearly as likely, none is taken.

use image::GrayImage;
use nalgebra::{SMatrix, Vector2};

use crate::geometry::{ImagePoint, Landmark, Side};

use super::affine::scale_of;
use super::carry::{Carried, SCALE_AT_PX};
use super::pyramid::Pyramid;
use super::strip::{
    PITCH_PX, SeenEdge, Strip, UNKNOWNS, center, edges_near, half_width, median, number, read, row, strengths, support,
    weigh, whole,
};

/// Levels of the pyramids.
const LEVELS: usize = 4;
/// The outline is read from this far from the wrist on, px at a long side of [`SCALE_AT_PX`]: nearer, the hand begins.
const FROM_PX: f64 = 8.0;
/// And up to this share of the way to the elbow: beyond it the forearm has a belly, on the palm's side.
const TO_SHARE: f64 = 0.5;
/// From one line across to the next, px.
const LINE_STEP_PX: f64 = 1.5;
/// Shorter forearms are seen end on, px.
const FOREARM_MIN_PX: f64 = 40.0;
/// The forearm's middle is looked for within this of the mark, px: some 10 cm at 3 m.
const SEARCH_PX: f64 = 34.0;
/// The middle runs apart from the line between the marks by no more, px over the part that is read.
const SLANT_PX: f64 = 12.0;
/// An edge does so by no more.
const EDGE_SLANT_PX: f64 = 16.0;
/// Half the thickness of a wrist, px: 20 to 32 mm at 2 to 5 m (common practice).
const HALF_WIDTH_PX: [f64; 2] = [4.0, 16.0];
/// It grows towards the elbow by so much over the part that is read, px.
const GROWTH_PX: [f64; 2] = [-1.5, 4.0];
/// An edge changes the grey value by this for each px, and counts no more than one that changes it by the second.
const EDGE_PX: [f64; 2] = [1.5, 6.0];
/// Straight edges and outlines that are looked at.
const STRAIGHT_MAX: usize = 60;
const OUTLINES_MAX: usize = 16;
/// Outlines with less than this share of the best one's edges are none.
const EDGES_MIN: f64 = 0.5;
/// Both edges are seen on this share of the lines at least: of a rival, and of one that is taken.
const SUPPORT_MIN: [f64; 2] = [0.5, 0.7];
/// Between two edges nothing is seen nearer to them than this, px.
const INSIDE_PX: f64 = 2.5;
/// What is between the edges has another grey value than the wall by this at least: a gap between two arms has the wall's.
const WALL_APART: f64 = 10.0;
/// A straight edge between the two takes this share of its strength from what they count.
const INNER_SHARE: f64 = 0.5;
/// What the edges of the outlines in both pictures count, less what is between them: at least, and more than that of the next pair by.
const SCORE_MIN: f64 = 1.0;
const SCORE_AHEAD: f64 = 0.9;
/// Pairs that put the wrist nearer to each other than this say the same, px.
const SAME_PX: f64 = 1.5;
/// Another outline apart that counts nearly as much, less by this at the most, is another arm; the near one is thicker by this factor.
const ARM_BEHIND: f64 = 1.5;
const NEARER_THICKER: f64 = 1.2;
/// The same forearm has the same thickness in both pictures: the spread of its logarithm, beyond how many of it none is the same, and
/// what a squared one costs.
const WIDTH_CHANGE_SD: f64 = 0.07;
const WIDTH_CHANGES_MAX: f64 = 2.5;
const WIDTH_CHANGE_COST: f64 = 0.15;
/// What the outlines say of the wrist is uncertain by this, px: palm and back of a wrist lie 2 mm otherwise about its middle (from
/// memory), which counts twice when it turns, and more where the forearm is not straight.
const TURNED_SD_PX: f64 = 1.2;
/// Standard deviation of the middle of an outline, px: light and shade move both edges.
const OUTLINE_SD_PX: f64 = 0.4;
/// Along the arm the outlines say nothing, px.
const ALONG_SD_PX: f64 = 8.0;

/// A wrist and the elbow of the same arm, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Forearm {
    /// Its wrist.
    pub wrist: ImagePoint,
    /// Its elbow, which tells roughly how it runs.
    pub elbow: ImagePoint,
}

impl Forearm {
    /// That of one arm among marks, where both are marked.
    #[must_use]
    pub fn among(marks: &[(Landmark, ImagePoint)], side: Side) -> Option<Self> {
        let at = |wanted: Landmark| marks.iter().find(|(landmark, _)| *landmark == wanted).map(|(_, point)| *point);
        Some(Self { wrist: at(Landmark::Wrist(side))?, elbow: at(Landmark::Elbow(side))? })
    }
}

/// Puts the wrist of the second picture beside the outline of its forearm, as that of the first lies beside its own: across the arm as
/// there, along it as marked. The covariance holds across the arm alone, and its likeness is the share of the outlines' length with both
/// edges. `None` where the two do not surely show the same forearm.
///
/// # Panics
/// If the pictures differ in size.
#[must_use]
pub fn wrist_beside_forearm(pictures: [&GrayImage; 2], forearms: [Forearm; 2]) -> Option<Carried> {
    assert_eq!(pictures[0].dimensions(), pictures[1].dimensions(), "forearms are compared in pictures of one size");
    let scale = f64::from(pictures[0].width().max(pictures[0].height())) / SCALE_AT_PX;
    let [lines_from, lines_to] =
        [0, 1].map(|place| Lines::read(&Pyramid::of(pictures[place], LEVELS), forearms[place], scale));
    let (lines_from, lines_to) = (lines_from?, lines_to?);
    let [from, to] = same_forearm(&[lines_from.outlines(), lines_to.outlines()])?;
    let across_px = (to.middle - from.middle) * scale;
    let variance_px2 = TURNED_SD_PX.powi(2) + 2.0 * OUTLINE_SD_PX.powi(2);
    let (along, across) = (lines_to.along, lines_to.across);
    let wrist = forearms[1].wrist;
    Some(Carried {
        point: ImagePoint::new(wrist.x + across.x * across_px, wrist.y + across.y * across_px),
        covariance_px2: (across * across.transpose() * variance_px2 + along * along.transpose() * ALONG_SD_PX.powi(2))
            * (scale * scale),
        likeness: from.support.min(to.support),
    })
}

/// The outlines that surely are the near forearm in both pictures.
fn same_forearm(outlines: &[Vec<Outline>; 2]) -> Option<[Outline; 2]> {
    let mut pairs: Vec<(f64, [Outline; 2])> = Vec::new();
    let [of_from, of_to] = outlines.each_ref().map(|of| of.iter().filter(|outline| outline.can_be_taken()));
    for from in of_from {
        for to in of_to.clone() {
            let change = (to.half_width / from.half_width).ln() / WIDTH_CHANGE_SD;
            if change.abs() <= WIDTH_CHANGES_MAX {
                pairs.push((from.score() + to.score() - WIDTH_CHANGE_COST * change * change, [*from, *to]));
            }
        }
    }
    let apart = |pair: &[Outline; 2]| pair[1].middle - pair[0].middle;
    let (score, best) = pairs.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0))?;
    let is_sure = score >= SCORE_MIN
        && pairs
            .iter()
            .filter(|(_, pair)| (apart(pair) - apart(&best)).abs() > SAME_PX)
            .all(|(other, _)| score - other >= SCORE_AHEAD)
        && best.iter().zip(outlines).all(|(outline, all)| outline.is_nearest_arm(all));
    is_sure.then_some(best)
}

/// What a spread of one px leaves of each: more bend or growth is another thing than a forearm.
const STIFFNESS: [f64; UNKNOWNS] = [0.0, 0.05, 8.0, 0.0, 0.5];

/// Two edges of what may be a forearm; lengths in px of the scale.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Outline {
    /// Its middle across at the wrist, from the mark.
    middle: f64,
    /// Half its width there.
    half_width: f64,
    /// What its edges count, as a change of grey for each px.
    edges: f64,
    /// The same of the strongest straight edge between them.
    inner: f64,
    /// By how much the grey value between the edges is another one than the wall's.
    from_wall: f64,
    /// Share of the lines with both edges.
    support: f64,
}

impl Outline {
    fn score(&self) -> f64 {
        self.edges - INNER_SHARE * self.inner
    }

    /// Whether it may be an arm.
    fn is_arm(&self) -> bool {
        self.from_wall >= WALL_APART && self.support >= SUPPORT_MIN[1]
    }

    fn can_be_taken(&self) -> bool {
        // the thinnest that are looked for are rivals alone
        self.is_arm() && self.half_width > HALF_WIDTH_PX[0] + 1.0
    }

    /// Whether no other arm stands apart from it that may be the nearer one.
    fn is_nearest_arm(&self, all: &[Self]) -> bool {
        let is_rival = |other: &&Self| {
            let touching = (other.half_width + self.half_width).min(20.0);
            other.is_arm()
                && other.half_width > HALF_WIDTH_PX[0]
                && other.score() >= self.score() - ARM_BEHIND
                && (other.middle - self.middle).abs() > 0.8 * touching
        };
        all.iter().filter(is_rival).all(|other| self.half_width >= NEARER_THICKER * other.half_width)
    }
}

/// What an outline is laid through: where its edges are at the first line and at the last, across.
type Edge = [f64; 2];

/// How the grey value changes across what lies around a forearm. Lengths are in px of the scale.
struct Lines {
    along: Vector2<f64>,
    across: Vector2<f64>,
    /// By line, its place from -1 near the wrist to 1.
    shares: Vec<f64>,
    /// The place of the wrist.
    wrist_share: f64,
    /// By line, the grey value at places [`PITCH_PX`] apart, from -`reach` on.
    greys: Vec<Vec<f64>>,
    /// The size of its change there.
    slopes: Vec<Vec<f64>>,
    reach: f64,
    /// Grey value of what most of the lines show.
    wall: f64,
}

impl Lines {
    fn read(picture: &Pyramid, forearm: Forearm, scale: f64) -> Option<Self> {
        // large pictures are read on a smaller level, so that a px is a px of the scale, nearly
        let level = (0..picture.count()).take_while(|level| scale * scale_of(*level) >= 0.7).last().unwrap_or(0);
        let plane = picture.level(level);
        let vector = |point: ImagePoint| Vector2::new(point.x, point.y) * scale_of(level);
        let unit = scale * scale_of(level);
        let wrist = vector(forearm.wrist);
        let reach_to = vector(forearm.elbow) - wrist;
        let length = reach_to.norm() / unit;
        if !length.is_finite() || length < FOREARM_MIN_PX {
            return None;
        }
        let along = reach_to.normalize();
        let across = Vector2::new(-along.y, along.x);
        let places: Vec<f64> = std::iter::successors(Some(FROM_PX), |place| Some(place + LINE_STEP_PX))
            .take_while(|place| *place < TO_SHARE * length)
            .collect();
        let (first, last) = (*places.first()?, *places.last()?);
        let share = |place: f64| (2.0 * place - first - last) / (last - first);
        let reach = SEARCH_PX + EDGE_SLANT_PX + HALF_WIDTH_PX[1] + GROWTH_PX[1] + 2.0;
        let count = whole(2.0 * reach / PITCH_PX);
        let (mut greys, mut slopes) = (Vec::new(), Vec::new());
        for place in &places {
            let values: Vec<f64> = (0..count + 5)
                .map(|index| {
                    let aside = PITCH_PX * (number(index) - 2.0) - reach;
                    // over some length along the arm, so that noise averages; NaN beside the picture
                    let part = |part| {
                        let here = wrist + (along * (place + part) + across * aside) * unit;
                        read(plane, here).unwrap_or(f64::NAN)
                    };
                    (part(-1.2) + part(0.0) + part(1.2)) / 3.0
                })
                .collect();
            let change = |around: &[f64]| {
                let change = (around[4] - around[0]).abs() / (4.0 * PITCH_PX);
                if change.is_nan() { 0.0 } else { change }
            };
            slopes.push(values.windows(5).map(change).collect());
            greys.push(values[2..].to_vec());
        }
        let mut all: Vec<f64> = greys.iter().flatten().copied().filter(|grey| grey.is_finite()).collect();
        let wall = median(&mut all)?;
        let lines = Self {
            along,
            across,
            wrist_share: share(0.0),
            shares: places.iter().map(|place| share(*place)).collect(),
            greys,
            slopes,
            reach,
            wall,
        };
        (lines.shares.len() >= 2 * UNKNOWNS).then_some(lines)
    }

    /// The index of a place across.
    fn index(&self, across: f64) -> usize {
        whole((across + self.reach) / PITCH_PX + 0.5)
    }

    /// By line, how strong an edge is at each place.
    fn strengths(&self) -> Vec<Vec<f64>> {
        self.slopes.iter().map(|slopes| strengths(slopes, EDGE_PX)).collect()
    }

    /// The mean over all lines of what a straight line across counts in each.
    fn mean_along<const N: usize>(
        &self,
        strengths: &[Vec<f64>],
        lines: [Edge; N],
        of: impl Fn([f64; N]) -> f64,
    ) -> f64 {
        let at_line = |(strengths, share): (&Vec<f64>, &f64)| {
            of(lines.map(|line| {
                let across = f64::midpoint(line[0] * (1.0 - share), line[1] * (1.0 + share));
                strengths.get(self.index(across)).copied().unwrap_or(0.0)
            }))
        };
        strengths.iter().zip(&self.shares).map(at_line).sum::<f64>() / number(self.shares.len())
    }

    /// The strongest straight edges.
    fn straight_edges(&self, strengths: &[Vec<f64>]) -> Vec<Edge> {
        let span = SEARCH_PX + HALF_WIDTH_PX[1];
        let mut edges: Vec<(f64, Edge)> = Vec::new();
        for first in 0..=whole(2.0 * span) {
            for slant in 0..=whole(2.0 * EDGE_SLANT_PX) {
                let first = number(first) - span;
                let edge = [first, first + number(slant) - EDGE_SLANT_PX];
                let strength = self.mean_along(strengths, [edge], |[strength]| strength);
                if strength >= EDGE_PX[0] {
                    edges.push((strength, edge));
                }
            }
        }
        edges.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut kept: Vec<Edge> = Vec::new();
        for (_, edge) in edges {
            if !kept.iter().any(|other| (edge[0] - other[0]).abs() + (edge[1] - other[1]).abs() <= 2.0) {
                kept.push(edge);
            }
            if kept.len() == STRAIGHT_MAX {
                break;
            }
        }
        kept
    }

    /// Outlines that the picture may show, the one with the strongest edges first.
    fn outlines(&self) -> Vec<Outline> {
        let strengths = self.strengths();
        let straight = self.straight_edges(&strengths);
        let mut rough: Vec<(f64, Rough)> = Vec::new();
        for low in &straight {
            for high in &straight {
                let pair = Rough::between(*low, *high);
                if pair.is_possible() {
                    let edges = self.mean_along(&strengths, [*low, *high], |[low, high]| low.min(high));
                    rough.push((edges, pair));
                }
            }
        }
        rough.sort_by(|a, b| b.0.total_cmp(&a.0));
        let best = rough.first().map_or(0.0, |(edges, _)| *edges);
        let mut kept: Vec<(f64, Rough)> = Vec::new();
        for (edges, pair) in rough.into_iter().take_while(|(edges, _)| *edges >= EDGES_MIN * best) {
            if !kept.iter().any(|(_, other)| pair.is_like(other)) {
                kept.push((edges, pair));
            }
            if kept.len() == OUTLINES_MAX {
                break;
            }
        }
        let mut found: Vec<Outline> = Vec::new();
        for outline in kept.into_iter().filter_map(|(edges, pair)| self.fitted(edges, &pair, &strengths)) {
            let is_same = |other: &Outline| {
                (other.middle - outline.middle).abs() < 1.0 && (other.half_width - outline.half_width).abs() < 0.8
            };
            if !found.iter().any(is_same) {
                found.push(outline);
            }
        }
        found
    }

    /// Lays an outline through the edges near a rough one.
    fn fitted(&self, edges: f64, rough: &Rough, strengths: &[Vec<f64>]) -> Option<Outline> {
        let mut model = rough.model();
        let mut seen_share = 0.0;
        for _ in 0..5 {
            let seen = edges_near(&model, &self.shares, &self.slopes, self.reach, EDGE_PX[0]);
            // every line may show two
            if number(seen.len()) < SUPPORT_MIN[0] * 2.0 * number(self.shares.len()) {
                return None;
            }
            let weights;
            (model, weights) = laid_through(&seen, model, &rough.model())?;
            seen_share = support(&seen, &weights, self.shares.len());
        }
        let [middle, half_width] = [center(&model, self.wrist_share), half_width(&model, self.wrist_share)];
        if seen_share < SUPPORT_MIN[0] || half_width < 2.0 {
            return None;
        }
        let from_wall = (self.grey_inside(&model)? - self.wall).abs();
        let inner = self.inner(&model, strengths);
        Some(Outline { middle, half_width, edges, inner, from_wall, support: seen_share })
    }

    /// The strongest straight edge between the two of an outline.
    fn inner(&self, model: &Strip, strengths: &[Vec<f64>]) -> f64 {
        const STEPS: usize = 24;
        let place = |share: f64, step: usize| {
            let inside = half_width(model, share) - INSIDE_PX;
            (inside > 0.0).then(|| center(model, share) + inside * (2.0 * number(step) / number(STEPS) - 1.0))
        };
        let mut most = 0.0_f64;
        for first in (0..=STEPS).filter_map(|step| place(-1.0, step)) {
            for last in (0..=STEPS).filter_map(|step| place(1.0, step)) {
                most = most.max(self.mean_along(strengths, [[first, last]], |[strength]| strength));
            }
        }
        most
    }

    /// The grey value between the edges of an outline.
    fn grey_inside(&self, model: &Strip) -> Option<f64> {
        let of_line = |(share, greys): (&f64, &Vec<f64>)| {
            let (middle, half_width) = (center(model, *share), half_width(model, *share));
            [-0.5, -0.25, 0.0, 0.25, 0.5].map(|part| greys.get(self.index(middle + part * half_width)).copied())
        };
        let greys = self.shares.iter().zip(&self.greys).flat_map(of_line).flatten().filter(|grey| grey.is_finite());
        median(&mut greys.collect::<Vec<f64>>())
    }
}

/// A rough outline: its middle and half its width at the first line and at the last, across.
struct Rough {
    middles: [f64; 2],
    halves: [f64; 2],
}

impl Rough {
    fn between(low: Edge, high: Edge) -> Self {
        let of = |part: fn(f64, f64) -> f64| [part(low[0], high[0]), part(low[1], high[1])];
        Self { middles: of(f64::midpoint), halves: of(|low, high| 0.5 * (high - low)) }
    }

    fn is_possible(&self) -> bool {
        let growth = self.halves[1] - self.halves[0];
        (HALF_WIDTH_PX[0] - 1.0..=HALF_WIDTH_PX[1]).contains(&self.halves[0])
            && (GROWTH_PX[0]..=GROWTH_PX[1]).contains(&growth)
            && self.middles[0].abs() <= SEARCH_PX
            && (self.middles[1] - self.middles[0]).abs() <= SLANT_PX
    }

    fn is_like(&self, other: &Self) -> bool {
        let slant = |of: &Self| of.middles[1] - of.middles[0];
        let aside = (self.middles[0] - other.middles[0]).abs() + 0.5 * (slant(self) - slant(other)).abs();
        let width = |of: &Self| f64::midpoint(of.halves[0], of.halves[1]);
        aside <= 2.6 && (width(self) - width(other)).abs() <= 1.6
    }

    fn model(&self) -> Strip {
        let half_of = |[first, last]: [f64; 2]| [f64::midpoint(first, last), 0.5 * (last - first)];
        let ([middle, slant], [half, growth]) = (half_of(self.middles), half_of(self.halves));
        Strip::from([middle, slant, 0.0, half, growth])
    }
}

/// An outline through edges, those that do not fit left out, and what each weighs.
fn laid_through(seen: &[SeenEdge], mut model: Strip, rough: &Strip) -> Option<(Strip, Vec<f64>)> {
    let stiffness = Strip::from(STIFFNESS);
    let mut weights = vec![1.0; seen.len()];
    for _ in 0..8 {
        let mut normal = SMatrix::from_diagonal(&stiffness);
        let mut right = stiffness.component_mul(rough);
        for (edge, weight) in seen.iter().zip(&weights) {
            let row = row(edge.place, edge.sign);
            normal += row * row.transpose() * *weight;
            right += row * (edge.across_px * *weight);
        }
        model = normal.cholesky()?.solve(&right);
        weigh(seen, &mut weights, &model, 0.1)?;
    }
    Some((model, weights))
}

#[cfg(test)]
mod tests;
