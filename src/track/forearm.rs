//! A wrist beside the outline of its forearm, in pictures that show two sides of it.
//!
//! When the arm turns, another side of the skin is seen, and no patch of it says where the wrist went. Its outline still does, across
//! the arm: seen from the side the hands hold a bar with the palms forward or back, the forearm shows its thin side either way, and
//! the middle between the styloid processes keeps its place between the two edges but for what palm and back of the wrist differ by.
//! So a mark that was placed by hand in both pictures is put beside the outline of the second one as the first lies beside its own:
//! the error of the first mark, across the arm, is then common to both.
//!
//! It looks at the part of the forearm next to the wrist, near both marks, and refuses where the two pictures show no outlines of one
//! width. That it took the other arm, which lies behind, is seen by the width alone.

use nalgebra::{Matrix2, SMatrix, SVector, Vector2};

use crate::geometry::ImagePoint;

use super::affine::scale_of;
use super::plane::Plane;
use super::pyramid::Pyramid;

/// The outline is read from this far from the wrist on, px at a long side of [`super::carry::SCALE_AT_PX`]: nearer, the hand begins.
const FROM_PX: f64 = 8.0;
/// And up to this share of the way to the elbow: beyond it the forearm has a belly, on the palm's side.
const TO_SHARE: f64 = 0.5;
/// Shorter forearms are seen end on, px.
const FOREARM_MIN_PX: f64 = 40.0;
/// Its middle is looked for within this of the line from wrist to elbow, px.
const SEARCH_PX: f64 = 6.0;
/// How far a mark by hand lies from the middle, px: of two outlines the nearer is the likelier.
const MARK_SD_PX: f64 = 3.0;
/// The middle runs apart from the line between the marks by no more, px over the part that is read.
const SLANT_PX: f64 = 3.0;
/// Half the thickness of a wrist, px: 20 to 32 mm at 2 to 5 m (common practice).
const HALF_WIDTH_PX: [f64; 2] = [4.0, 16.0];
/// It grows towards the elbow by so much over the part that is read, px.
const GROWTH_PX: [f64; 3] = [0.0, 1.0, 2.0];
/// From one place across to the next, px.
const PITCH_PX: f64 = 0.5;
/// An edge changes the grey value by this for each px, and counts no more than one that changes it by the second.
const EDGE_PX: [f64; 2] = [1.5, 6.0];
/// Edges further from their line than this are other things, px.
const EDGE_OFF_PX: f64 = 1.6;
/// Outlines with less than this share of the best one's edges are none.
const RIVAL_MIN: f64 = 0.7;
/// Outlines that are kept for comparison with those of the other picture.
const OUTLINES_MAX: usize = 8;
/// Both edges are seen on this share of the lines at least.
const SUPPORT_MIN: f64 = 0.5;
/// The same forearm has the same thickness in both pictures, to within this share, and its spread.
const WIDTH_CHANGE_MAX: f64 = 0.18;
const WIDTH_CHANGE_SD: f64 = 0.07;
/// Two marks by hand lie otherwise beside the middle by this, px: of two pairs of outlines the one that needs less is the likelier.
const MARKS_APART_SD_PX: f64 = 3.5;
/// What the outlines say of the wrist is uncertain by this, px: palm and back of a wrist lie 2 mm otherwise about its middle (from
/// memory), which counts twice when it turns, and more where the forearm is not straight.
const TURNED_SD_PX: f64 = 1.2;
/// Standard deviation of the middle of an outline, px: light and shade move both edges.
const OUTLINE_SD_PX: f64 = 0.4;
/// Along the arm the outlines say nothing, px.
const ALONG_SD_PX: f64 = 8.0;

/// A wrist and the elbow of the same arm, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Forearm {
    pub(super) wrist: ImagePoint,
    pub(super) elbow: ImagePoint,
}

/// A wrist beside the outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct WristBeside {
    /// Where it is, px: across the arm as in the other picture, along it as marked.
    pub(super) wrist: ImagePoint,
    /// Covariance, px²: certain across the arm alone.
    pub(super) covariance_px2: Matrix2<f64>,
    /// Share of the lines with both edges, in the picture with fewer.
    pub(super) support: f64,
}

/// Puts the wrist of the second picture beside the outline of its forearm, as that of the first lies beside its own. `scale` is 1 where
/// the pictures' long side is [`super::carry::SCALE_AT_PX`]. `None` where the two do not surely show the same forearm.
pub(super) fn wrist_beside(pictures: [&Pyramid; 2], forearms: [Forearm; 2], scale: f64) -> Option<WristBeside> {
    let [lines_from, lines_to] =
        [Lines::read(pictures[0], forearms[0], scale)?, Lines::read(pictures[1], forearms[1], scale)?];
    let (from, to) = (lines_from.outlines(), lines_to.outlines());
    let pairs = from.iter().flat_map(|from| to.iter().map(move |to| (from, to)));
    let likely = |from: &Outline, to: &Outline| {
        let width = (to.half_width / from.half_width - 1.0) / WIDTH_CHANGE_SD;
        let apart = (to.middle - from.middle) / MARKS_APART_SD_PX;
        from.edges * to.edges * (-0.5 * (width * width + apart * apart)).exp()
    };
    let (from, to) = pairs
        .filter(|(from, to)| (to.half_width / from.half_width - 1.0).abs() <= WIDTH_CHANGE_MAX)
        .max_by(|a, b| likely(a.0, a.1).total_cmp(&likely(b.0, b.1)))?;
    let across_px = (to.middle - from.middle) * lines_to.px;
    let variance_px2 = TURNED_SD_PX.powi(2) + 2.0 * OUTLINE_SD_PX.powi(2);
    let (along, across) = (lines_to.along, lines_to.across);
    let wrist = forearms[1].wrist;
    Some(WristBeside {
        wrist: ImagePoint::new(wrist.x + across.x * across_px, wrist.y + across.y * across_px),
        covariance_px2: (across * across.transpose() * variance_px2 + along * along.transpose() * ALONG_SD_PX.powi(2))
            * (scale * scale),
        support: from.support.min(to.support),
    })
}

/// The middle, its slant, its bend, half the width and its growth; the place along runs from -1 near the wrist to 1.
const UNKNOWNS: usize = 5;
/// What a spread of one px leaves of bend and slant, growth: more is another thing than a forearm.
const STIFFNESS: [f64; UNKNOWNS] = [0.0, 0.5, 8.0, 0.0, 0.5];

/// How the grey value changes across a forearm. Lengths are in units of `px`.
struct Lines {
    along: Vector2<f64>,
    across: Vector2<f64>,
    /// Distance of each line from the wrist.
    places: Vec<f64>,
    /// By line, the size of the change at places [`PITCH_PX`] apart, from -`reach` on.
    slopes: Vec<Vec<f64>>,
    reach: f64,
    /// One unit, px of the picture.
    px: f64,
}

/// Two edges of a forearm.
#[derive(Debug, Clone, Copy)]
struct Outline {
    /// Its middle across, from the line between the marks.
    middle: f64,
    half_width: f64,
    /// What its edges count.
    edges: f64,
    /// Share of the lines with both edges.
    support: f64,
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
        let reach = SEARCH_PX + SLANT_PX + HALF_WIDTH_PX[1] + GROWTH_PX[2] + 2.0;
        let count = whole(2.0 * reach / PITCH_PX);
        let mut lines = Self { along, across, places: Vec::new(), slopes: Vec::new(), reach, px: scale };
        let mut place = FROM_PX;
        while place < TO_SHARE * length {
            let values: Vec<Option<f64>> = (0..count + 5)
                .map(|index| {
                    let aside = PITCH_PX * (number(index) - 2.0) - reach;
                    // over some length along the arm, so that noise averages
                    let mean = [-1.2, 0.0, 1.2]
                        .map(|part| value(plane, wrist + (along * (place + part) + across * aside) * unit));
                    mean.iter().copied().sum::<Option<f64>>().map(|sum| sum / 3.0)
                })
                .collect();
            let change = |around: &[Option<f64>]| {
                around[0].zip(around[4]).map_or(0.0, |(before, after)| (after - before).abs() / (4.0 * PITCH_PX))
            };
            lines.slopes.push(values.windows(5).map(change).collect());
            lines.places.push(place);
            place += 1.0;
        }
        (lines.places.len() >= 2 * UNKNOWNS).then_some(lines)
    }

    /// The place of a line from -1 near the wrist to 1.
    fn share(&self, place: f64) -> f64 {
        let (first, last) = (self.places[0], self.places[self.places.len() - 1]);
        (2.0 * place - first - last) / (last - first)
    }

    /// Whether the change is the strongest around, and an edge.
    fn is_edge(slopes: &[f64], index: usize) -> bool {
        let around = |index: usize| slopes.get(index).copied().unwrap_or(0.0);
        let here = around(index);
        index > 0 && here >= EDGE_PX[0] && here >= around(index - 1) && here > around(index + 1)
    }

    /// Outlines that the picture may show, the likeliest first.
    fn outlines(&self) -> Vec<Outline> {
        let strengths: Vec<Vec<f64>> = self
            .slopes
            .iter()
            .map(|slopes| {
                let mut strengths = vec![0.0_f64; slopes.len()];
                for index in (0..slopes.len()).filter(|index| Self::is_edge(slopes, *index)) {
                    // as good half a px beside its line
                    for strength in &mut strengths[index - 1..(index + 2).min(slopes.len())] {
                        *strength = strength.max(slopes[index].min(EDGE_PX[1]));
                    }
                }
                strengths
            })
            .collect();
        let shares: Vec<f64> = self.places.iter().map(|place| self.share(*place)).collect();
        let steps = |from: f64, to: f64, step: f64| {
            (0..=whole((to - from) / step + 0.5)).map(move |index| from + step * number(index))
        };
        let mut votes: Vec<(f64, [f64; 4])> = Vec::new();
        for middle in steps(-SEARCH_PX, SEARCH_PX, PITCH_PX) {
            let likely = (-0.5 * (middle / MARK_SD_PX).powi(2)).exp();
            for slant in steps(-SLANT_PX, SLANT_PX, 1.0) {
                for half in steps(HALF_WIDTH_PX[0], HALF_WIDTH_PX[1], PITCH_PX) {
                    for growth in GROWTH_PX {
                        let sum: f64 = strengths
                            .iter()
                            .zip(&shares)
                            .map(|(strengths, share)| {
                                let middle = middle + slant * (share + 1.0) / 2.0;
                                let half = half + growth * share / 2.0;
                                let at = |across: f64| {
                                    strengths.get(whole((across + self.reach) / PITCH_PX + 0.5)).copied().unwrap_or(0.0)
                                };
                                at(middle - half).min(at(middle + half))
                            })
                            .sum();
                        votes.push((likely * sum / number(shares.len()), [middle, slant, half, growth]));
                    }
                }
            }
        }
        votes.sort_by(|a, b| b.0.total_cmp(&a.0));
        let best = votes.first().map_or(0.0, |(vote, _)| *vote);
        let mut kept: Vec<(f64, [f64; 4])> = Vec::new();
        for (vote, pair) in votes.into_iter().take_while(|(vote, _)| *vote > 0.0 && *vote >= RIVAL_MIN * best) {
            let is_the_same = |(_, other): &(f64, [f64; 4])| {
                let aside = (pair[0] - other[0]).abs() + (pair[1] - other[1]).abs() / 2.0;
                aside <= 1.6 && (pair[2] - other[2]).abs() <= 1.1
            };
            if !kept.iter().any(is_the_same) {
                kept.push((vote, pair));
            }
            if kept.len() == OUTLINES_MAX {
                break;
            }
        }
        kept.into_iter().filter_map(|(vote, pair)| self.fitted(vote, pair)).collect()
    }

    /// Lays an outline through the edges near a rough one.
    fn fitted(&self, vote: f64, [middle, slant, half, growth]: [f64; 4]) -> Option<Outline> {
        let mut model = SVector::from([middle + slant / 2.0, slant / 2.0, 0.0, half, growth / 2.0]);
        let row = |share: f64, sign: f64| SVector::from([1.0, share, share * share - 1.0 / 3.0, sign, sign * share]);
        let mut support = 0.0;
        for _ in 0..5 {
            // by line and side
            let mut edges: Vec<(usize, SVector<f64, UNKNOWNS>, f64)> = Vec::new();
            for (line, (place, slopes)) in self.places.iter().zip(&self.slopes).enumerate() {
                for sign in [-1.0, 1.0] {
                    let row = row(self.share(*place), sign);
                    edges.extend(self.edge_near(slopes, row.dot(&model)).map(|edge| (line, row, edge)));
                }
            }
            // every line may show two
            if number(edges.len()) < SUPPORT_MIN * 2.0 * number(self.places.len()) {
                return None;
            }
            let mut weights = vec![1.0; edges.len()];
            for _ in 0..8 {
                let mut normal = SMatrix::from_diagonal(&SVector::from(STIFFNESS));
                let mut right = SVector::zeros();
                for ((_, row, edge), weight) in edges.iter().zip(&weights) {
                    normal += row * row.transpose() * *weight;
                    right += row * (*edge * *weight);
                }
                model = normal.cholesky()?.solve(&right);
                let residual = |(_, row, edge): &(usize, SVector<f64, UNKNOWNS>, f64)| edge - row.dot(&model);
                let mut sizes: Vec<f64> = edges.iter().map(|edge| residual(edge).abs()).collect();
                let half = sizes.len() / 2;
                let (_, median, _) = sizes.select_nth_unstable_by(half, f64::total_cmp);
                let spread = (SPREAD_OF_MEDIAN * *median).max(0.1);
                for (edge, weight) in edges.iter().zip(&mut weights) {
                    let ratio = residual(edge) / (TUKEY * spread);
                    *weight = if ratio.abs() < 1.0 { (1.0 - ratio * ratio).powi(2) } else { 0.0 };
                }
            }
            let mut sides = vec![0_u8; self.places.len()];
            for ((line, ..), _) in edges.iter().zip(&weights).filter(|(_, weight)| **weight > 0.0) {
                sides[*line] += 1;
            }
            support = number(sides.iter().filter(|sides| **sides == 2).count()) / number(sides.len());
        }
        let at = self.share(0.0);
        let middle = model[0] + model[1] * at + model[2] * (at * at - 1.0 / 3.0);
        let half_width = model[3] + model[4] * at;
        (support >= SUPPORT_MIN && half_width > 0.0).then_some(Outline { middle, half_width, edges: vote, support })
    }

    /// The edge nearest to a distance across.
    fn edge_near(&self, slopes: &[f64], expected: f64) -> Option<f64> {
        let at = |across: f64| (across + self.reach) / PITCH_PX;
        let (from, to) = (at(expected - EDGE_OFF_PX).ceil(), at(expected + EDGE_OFF_PX).floor());
        if from < 1.0 || to + 2.0 > number(slopes.len()) {
            return None;
        }
        let strongest = (whole(from)..=whole(to))
            .filter(|index| Self::is_edge(slopes, *index))
            .max_by(|a, b| slopes[*a].total_cmp(&slopes[*b]))?;
        let [before, here, after] = [strongest - 1, strongest, strongest + 1].map(|index| slopes[index]);
        let bend = before - 2.0 * here + after;
        let peak = if bend < 0.0 { (0.5 * (before - after) / bend).clamp(-0.5, 0.5) } else { 0.0 };
        Some(PITCH_PX * (number(strongest) + peak) - self.reach)
    }
}

/// Tukey's constant for residuals, in spreads.
const TUKEY: f64 = 4.685;
/// Spread of normal noise over its median absolute value.
const SPREAD_OF_MEDIAN: f64 = 1.4826;

#[expect(clippy::cast_possible_truncation, reason = "single precision holds a thousandth of a px at 8192")]
fn value(plane: &Plane, place: Vector2<f64>) -> Option<f64> {
    plane.at_inside(place.x as f32, place.y as f32).map(f64::from)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a count of places on a picture")]
const fn whole(value: f64) -> usize {
    value.max(0.0) as usize
}

const fn number(count: usize) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests {
    use image::{GrayImage, Luma};

    use super::*;

    /// A forearm from wrist to elbow, half as thick at the wrist as `half` says and 3 px more at the elbow, before a wall with some
    /// texture; with `behind` the other arm stands out from behind it by so many px.
    fn picture(arm: Forearm, half: f64, behind: Option<f64>) -> Pyramid {
        let vector = |point: ImagePoint| Vector2::new(point.x, point.y);
        let wrist = vector(arm.wrist);
        let length = (vector(arm.elbow) - wrist).norm();
        let along = (vector(arm.elbow) - wrist) / length;
        let across = Vector2::new(-along.y, along.x);
        let image = GrayImage::from_fn(400, 300, |x, y| {
            let at = Vector2::new(f64::from(x), f64::from(y));
            let (place, aside) = ((at - wrist).dot(&along), (at - wrist).dot(&across));
            let wall = 165.0 + 4.0 * ((at.x / 5.3).sin() * (at.y / 7.1).cos() + (at.x / 17.0).sin());
            let half = half + 3.0 * place / length;
            // an edge is as blurred as a pixel is wide
            let covered = |aside: f64| (half - aside.abs() + 0.5).clamp(0.0, 1.0);
            let other = behind.map_or(0.0, |by| covered(aside - by));
            let before = wall + other * (142.0 - wall);
            let shade = 118.0 + 0.8 * aside;
            let level = before + covered(aside) * (shade - before);
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "grey values of this scene")]
            Luma([level.round() as u8])
        });
        Pyramid::of(&image, 3)
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
        for behind in [None, Some(9.0), Some(-14.0)] {
            let pictures = [picture(FIRST, 9.0, behind), picture(SECOND, 9.0, behind)];
            for (first, second) in [([0.0, 0.0], [0.0, 0.0]), ([2.0, -1.0], [-1.5, 1.0]), ([-2.5, 1.5], [2.0, 2.0])] {
                let found =
                    wrist_beside([&pictures[0], &pictures[1]], [marked(FIRST, first), marked(SECOND, second)], 1.0)
                        .unwrap_or_else(|| panic!("{behind:?}, {first:?}, {second:?}"));
                // The error of the first mark goes along, that of the second does not. Edges are read to some tenths of a px, and a
                // middle from forty of them on either side is better than that.
                let off_px = aside_px(SECOND, found.wrist) - first[0];
                assert!(off_px.abs() < 0.3, "{behind:?}, {first:?}, {second:?}: {off_px}");
                // the forearm runs along (-67, 78)
                let across = Vector2::new(78.0, 67.0).normalize();
                let sd_px = across.dot(&(found.covariance_px2 * across)).sqrt();
                assert!(sd_px < 0.5 * ALONG_SD_PX, "certain across: {sd_px}");
            }
        }
    }

    #[test]
    fn large_picture_gives_the_same_in_its_own_px() {
        let twice = |arm: Forearm| Forearm {
            wrist: ImagePoint::new(2.0 * arm.wrist.x, 2.0 * arm.wrist.y),
            elbow: ImagePoint::new(2.0 * arm.elbow.x, 2.0 * arm.elbow.y),
        };
        let near = |arm: Forearm| Forearm {
            wrist: ImagePoint::new(0.5 * arm.wrist.x, 0.5 * arm.wrist.y),
            elbow: ImagePoint::new(0.5 * arm.elbow.x, 0.5 * arm.elbow.y),
        };
        let [first, second] = [near(FIRST), near(SECOND)];
        let pictures = [twice(first), twice(second)].map(|arm| picture(arm, 18.0, None));
        let arms = [marked(twice(first), [3.0, 0.0]), marked(twice(second), [-2.0, 0.0])];
        let found = wrist_beside([&pictures[0], &pictures[1]], arms, 2.0).unwrap();
        // as above, in px twice as small
        let off_px = aside_px(twice(second), found.wrist) - 3.0;
        assert!(off_px.abs() < 0.6, "{off_px}");
    }

    #[test]
    fn without_outlines_of_one_width_there_is_no_tie() {
        let arm = picture(FIRST, 9.0, None);
        let thicker = picture(SECOND, 13.0, None);
        assert_eq!(wrist_beside([&arm, &thicker], [FIRST, SECOND], 1.0), None);
        let elsewhere = Forearm { wrist: ImagePoint::new(60.0, 220.0), elbow: ImagePoint::new(20.0, 290.0) };
        assert_eq!(wrist_beside([&arm, &thicker], [FIRST, elsewhere], 1.0), None, "wall alone");
        let short = Forearm { elbow: ImagePoint::new(205.0, 100.0), ..FIRST };
        assert_eq!(wrist_beside([&arm, &arm], [short, short], 1.0), None, "seen end on");
    }
}
