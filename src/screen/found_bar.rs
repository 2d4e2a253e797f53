//! The bar that is seen in the picture between the marks on its ends, measured in their place.
//!
//! Both ends of a bar marked by hand on a frame at end range tell where it is looked for. Where it is surely found, its axis and its
//! ends count, each with its covariance; an end that is not seen keeps its mark's place along the axis. However many raters and
//! repeats marked it, a found bar is one observation. It assumes that the bar in the picture is the one that was marked: another
//! straight thing as wide, a few px beside it, would be taken for it where the bar itself is not seen.

use image::GrayImage;
use nalgebra::{Matrix2, Vector2};

use crate::geometry::{ImagePoint, Landmark, Side};
use crate::pose::View;
use crate::track::{BarFound, BarPoint, NoBar, Pyramid, find_bar};
use crate::video::is_still_by_name;

use super::case::ReachEntry;
use super::marks::{MarkedFrame, MarksFile, PointSpread, SAME_TIME_S, Source};
use super::observe::pooled_hand;
use super::spread::scale;
use super::visit::Visit;
use super::words::{decimal, reach_head};

/// A mark and the bar that was found disagree beyond this squared distance, whitened by both: chi-square with two degrees of
/// freedom, above which one pair in a thousand lies by chance.
const FAR_SQUARE: f64 = 13.816;

/// The bar's ends in the order in which they are looked for.
pub(super) const BAR_ENDS: [Landmark; 2] = [Landmark::BarEnd(Side::Left), Landmark::BarEnd(Side::Right)];

/// Where a bar is to be looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RoughBar {
    /// Time of the frame, s.
    time_s: f64,
    /// Its left and right end as marked, px.
    ends: [ImagePoint; 2],
}

impl RoughBar {
    /// Time of the frame, s, and the bar's left and right end as marked, px.
    pub(super) const fn place(&self) -> (f64, [ImagePoint; 2]) {
        (self.time_s, self.ends)
    }
}

/// A bar that was looked for.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct SeenBar {
    /// Time of the frame, s.
    pub(crate) time_s: f64,
    /// The bar, or why there is none; `None` where the frame cannot be decoded.
    found: Option<Result<BarFound, NoBar>>,
}

impl SeenBar {
    /// Why there is none, without a full stop.
    pub(crate) fn why_not_found(&self) -> Option<String> {
        self.found.as_ref()?.as_ref().err().map(ToString::to_string)
    }

    /// Whether an end of the bar was seen.
    fn is_end_seen(&self, landmark: Landmark) -> bool {
        let Some(Ok(bar)) = &self.found else { return false };
        BAR_ENDS.iter().zip(&bar.ends).any(|(end, seen)| *end == landmark && seen.is_some())
    }
}

/// A bar that was found and measured in place of the marks on it.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundBar {
    /// Index into the result's reaches.
    pub reach: usize,
    /// Time of the frame, s.
    pub time_s: f64,
    /// Its ends; one from which others were carried is not among them.
    pub ends: Vec<FoundEnd>,
}

/// An end of a bar that was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundEnd {
    /// Which end.
    pub landmark: Landmark,
    /// Where it was marked, px: the mean of raters and repeats.
    pub placed: ImagePoint,
    /// Where it was found, px.
    pub found: ImagePoint,
    /// Whether the end itself was seen; otherwise its place along the bar is that of its mark.
    pub is_seen: bool,
}

impl FoundBar {
    /// Whether one of its ends was seen, not its axis alone.
    #[must_use]
    pub fn has_seen_end(&self) -> bool {
        self.ends.iter().any(|end| end.is_seen)
    }
}

/// Where the bar is looked for in the pictures of a reach: the frames at end range, or to start from, on which both its ends are marked by
/// hand, with the spread that marks have. In a side view it is seen end on, and is not looked for.
pub(crate) fn rough_bars(marks: &MarksFile, view: View) -> Vec<RoughBar> {
    if view == View::Side {
        return Vec::new();
    }
    let has_end = |frame: &&MarkedFrame| BAR_ENDS.iter().any(|end| frame.points.contains_key(end));
    let mut marked: Vec<&MarkedFrame> =
        marks.frames.iter().filter(|frame| frame.source == Source::Hand).filter(has_end).collect();
    marked.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    marked
        .chunk_by(|earlier, later| later.time_s - earlier.time_s < SAME_TIME_S)
        .filter_map(|frames| {
            let [left, right] = BAR_ENDS.map(|end| mean_place(frames, end));
            Some(RoughBar { time_s: frames[0].time_s, ends: [left?, right?] })
        })
        .collect()
}

/// The mean place of an end, px; `None` where it is not marked, or one of its marks says itself how good it is.
fn mean_place(frames: &[&MarkedFrame], end: Landmark) -> Option<ImagePoint> {
    let points: Vec<_> = frames.iter().filter_map(|frame| frame.points.get(&end)).collect();
    if points.is_empty() || points.iter().any(|point| point.spread != PointSpread::Usual) {
        return None;
    }
    let sum: Vector2<f64> = points.iter().map(|point| point.point.to_vector()).sum();
    let mean = sum / super::pooled::number(points.len());
    Some(ImagePoint::new(mean.x, mean.y))
}

/// The same marks with their spread stated, so that they are measured as placed, whatever the pictures show: what was measured without
/// a look at the pictures is measured again to the last digit. `sd_px` is the spread that marks have, px at a long side of
/// [`super::case::SD_PX_AT`].
#[must_use]
pub fn with_marks_as_placed(marks: &MarksFile, sd_px: f64) -> MarksFile {
    let sd_px = sd_px * scale(marks.image_size);
    let mut marks = marks.clone();
    for frame in marks.frames.iter_mut().filter(|frame| frame.source == Source::Hand) {
        for point in frame.points.values_mut().filter(|point| point.spread == PointSpread::Usual) {
            point.spread = PointSpread::Sd(sd_px);
        }
    }
    marks
}

/// Looks for the bar in the pictures of a clip or still, which are given by their time, s.
pub(crate) fn look_for_bars(rough: &[RoughBar], mut picture: impl FnMut(f64) -> Option<GrayImage>) -> Vec<SeenBar> {
    let look = |rough: &RoughBar| SeenBar {
        time_s: rough.time_s,
        found: picture(rough.time_s).map(|picture| find_bar(&Pyramid::owning(picture, 1), rough.ends)),
    };
    rough.iter().map(look).collect()
}

/// Where an end of the bar is by the bar that was found at a time, px, and its covariance, px²; `None` where none was found, or
/// others were followed or carried from its mark: they share that mark's error, and so it stays.
pub(crate) fn end_of_found_bar(
    visit: &Visit,
    reach: usize,
    time_s: f64,
    landmark: Landmark,
) -> Option<(ImagePoint, Matrix2<f64>)> {
    let end = BAR_ENDS.iter().position(|end| *end == landmark)?;
    let loaded = &visit.reaches[reach];
    let seen = measured_bars(visit, reach).find(|bar| (bar.time_s - time_s).abs() < SAME_TIME_S)?;
    let bar = seen.found.as_ref()?.as_ref().ok()?;
    if visit.store.origin_at(loaded.marks, time_s, landmark).is_some() {
        return None;
    }
    end_by_bar(&bar.ends, &bar.axis, end, pooled_hand(visit, loaded.marks, time_s, landmark))
}

/// Where an end of a bar is, px, and its covariance, px²: where it was seen; otherwise across the axis by the bar, and along it by the
/// mark, which is `placed` (px, px²).
pub(super) fn end_by_bar(
    ends: &[Option<BarPoint>; 2],
    axis: &[BarPoint; 2],
    end: usize,
    placed: (Vector2<f64>, Matrix2<f64>),
) -> Option<(ImagePoint, Matrix2<f64>)> {
    if let Some(found) = ends[end] {
        return Some((found.point, found.covariance_px2));
    }
    let (placed, placed_px2) = placed;
    let [left, right] = axis.map(|point| point.point.to_vector());
    let along = (right - left).try_normalize(1e-9)?;
    let across = Vector2::new(-along.y, along.x);
    let axis = &axis[end];
    let place = axis.point.to_vector() + along * along.dot(&(placed - axis.point.to_vector()));
    let variance = |way: Vector2<f64>, covariance: &Matrix2<f64>| way.dot(&(covariance * way));
    let covariance = along * along.transpose() * variance(along, &placed_px2)
        + across * across.transpose() * variance(across, &axis.covariance_px2);
    Some((ImagePoint::new(place.x, place.y), covariance))
}

/// The bars that were looked for on the frames of a reach at end range: a frame to start from may lie elsewhere.
fn measured_bars(visit: &Visit, reach: usize) -> impl Iterator<Item = &SeenBar> {
    let marks = visit.marks_of(reach);
    visit.reaches[reach].media.bars.iter().filter(|bar| !marks.by_hand(bar.time_s).is_empty())
}

/// The bars that are measured in place of the marks on them.
pub(crate) fn found_bars(visit: &Visit) -> Vec<FoundBar> {
    let of_reach = |reach: usize| {
        let loaded = &visit.reaches[reach];
        measured_bars(visit, reach).filter_map(move |bar| {
            let found_end = |landmark: Landmark| {
                let (found, _) = end_of_found_bar(visit, reach, bar.time_s, landmark)?;
                let placed = pooled_hand(visit, loaded.marks, bar.time_s, landmark).0;
                let is_seen = bar.is_end_seen(landmark);
                Some(FoundEnd { landmark, placed: ImagePoint::new(placed.x, placed.y), found, is_seen })
            };
            let ends: Vec<FoundEnd> = BAR_ENDS.into_iter().filter_map(found_end).collect();
            (!ends.is_empty()).then_some(FoundBar { reach, time_s: bar.time_s, ends })
        })
    };
    (0..visit.reaches.len()).flat_map(of_reach).collect()
}

/// A sentence for every bar that was not found where it should be seen, and for every mark far from the bar that was found.
pub(crate) fn bar_warnings(visit: &Visit) -> Vec<String> {
    let mut warnings = Vec::new();
    for (reach, loaded) in visit.reaches.iter().enumerate() {
        let entry = &loaded.entry;
        for bar in measured_bars(visit, reach) {
            // what others come from counts as placed, whatever is seen
            let counts = |end: &Landmark| visit.store.origin_at(loaded.marks, bar.time_s, *end).is_none();
            let counting: Vec<Landmark> = BAR_ENDS.into_iter().filter(counts).collect();
            match &bar.found {
                _ if counting.is_empty() => {}
                Some(Ok(_)) => {
                    let unseen = counting.iter().filter(|end| !bar.is_end_seen(**end));
                    warnings.extend(unseen.map(|end| unseen_end_words(entry, bar.time_s, *end)));
                    warnings.extend(counting.iter().filter_map(|end| {
                        let found = end_of_found_bar(visit, reach, bar.time_s, *end)?;
                        let placed = pooled_hand(visit, loaded.marks, bar.time_s, *end);
                        far_end_words(entry, bar.time_s, *end, placed, found)
                    }));
                }
                // seen end on, where nothing else is to be expected
                Some(Err(NoBar::Short { .. })) => {}
                Some(Err(why)) => warnings.push(not_found_words(entry, bar.time_s, &why.to_string())),
                None => warnings.push(not_found_words(entry, bar.time_s, "the frame cannot be decoded")),
            }
        }
    }
    warnings
}

/// What is said of a bar that was not found in the picture of a reach at a time, s.
pub(super) fn not_found_words(entry: &ReachEntry, time_s: f64, why: &str) -> String {
    let (head, at) = (reach_head(entry), at_time(entry, time_s));
    format!(
        "{head}: the bar was not surely found in the picture{at} ({why}), so the marks on its ends count as placed."
    )
}

/// What is said of an end that was not seen though its bar was.
pub(super) fn unseen_end_words(entry: &ReachEntry, time_s: f64, end: Landmark) -> String {
    let (head, at) = (reach_head(entry), at_time(entry, time_s));
    format!(
        "{head}: the {} was not seen in the picture near its mark{at}, so along the bar the mark counts as placed; see that it \
         is on the very end.",
        end.words()
    )
}

/// What is said of a mark (px, px²) that is further from the bar than both spreads allow; `None` where it is not.
pub(super) fn far_end_words(
    entry: &ReachEntry,
    time_s: f64,
    end: Landmark,
    (placed, placed_px2): (Vector2<f64>, Matrix2<f64>),
    (found, found_px2): (ImagePoint, Matrix2<f64>),
) -> Option<String> {
    let apart = placed - found.to_vector();
    // the hand's error and that of the edges have nothing in common: their variances add
    let square = apart.dot(&((placed_px2 + found_px2).try_inverse()? * apart));
    (square > FAR_SQUARE).then(|| {
        format!(
            "{}: the {} is marked {} px from where the bar is found in the picture{}, further than marks should be. The bar as found \
             is measured; see that the mark is on the right thing.",
            reach_head(entry),
            end.words(),
            decimal(apart.norm(), 0),
            at_time(entry, time_s)
        )
    })
}

/// When a picture of a reach is, such as ` at 2.40 s`; a still has no time.
fn at_time(entry: &ReachEntry, time_s: f64) -> String {
    if is_still_by_name(&entry.file) { String::new() } else { format!(" at {} s", decimal(time_s, 2)) }
}
