//! From marks files to what the fit is given: frames pooled by time, raises told apart, shared errors named.

use nalgebra::Matrix2;

use crate::geometry::{Landmark, Side};
use crate::pose::{
    BarFacts, FrameObservations, Mark, PersonFacts, ReachObservations, SharedError, Strayed, View, VisitObservations,
};
use crate::track::Raise;

use super::contradictions::DoubtedSpot;
use super::found_bar::end_of_found_bar;
use super::marks::{FrameUse, MarkedFrame, SAME_TIME_S, Source};
use super::spread::scale;
use super::visit::{LoadedReach, Visit, impossible_far_wrist_px};

/// Marked frames further apart than this belong to different raises, s. Common practice, no source.
pub(crate) const RAISE_GAP_S: f64 = 1.5;

/// Standard deviation with which a followed or carried mark strays from its origin, px at a long side of
/// [`super::case::SD_PX_AT`], where its file states none. Common practice, no source.
pub(crate) const FOLLOWED_SD_PX: f64 = 0.5;

/// How far the skin over shoulder and hip lies otherwise in another reach, px in each direction at a long side of
/// [`super::case::SD_PX_AT`]: a mark that is carried sticks to skin and sleeve, while a person finds the joint anew.
///
/// # Source
/// 2 mm, seen from 3 m by a phone. In motion capture of ten people with a bar overhead half the distance between the marks on
/// their shoulders varies by 1.7 to 2.0 mm within one person (UI-PRMD, Vakanski et al. 2018, Data 3(1), 2; printed by
/// `benches/real_bodies`).
const SKIN_SHIFT_SD_PX: f64 = 0.6;

/// What remains of a hand mark's own error when its whole error is shared with the marks that were followed from it:
/// the rounding of its coordinates to a tenth of a pixel, px.
const ORIGIN_OWN_SD_PX: f64 = 0.05;

/// Repeats whose mean squared distance from their mean is this many times what their spread explains contradict each other: by
/// chance one pair in 400 does so, and one in 12 000 of three.
const CONTRADICTION_RATIO: f64 = 6.0;

/// Gathers what the fit needs from a visit, of which these spots count for nothing: see [`Visit::doubted_spots`].
pub(crate) fn observe(visit: &Visit, doubted: &[DoubtedSpot]) -> VisitObservations {
    let client = &visit.case.client;
    let bar = &visit.case.bar;
    let reaches: Vec<ReachObservations> =
        (0..visit.reaches.len()).map(|reach| observe_reach(visit, reach, doubted)).collect();
    let frames: Vec<&[FrameObservations]> = reaches.iter().map(|reach| reach.frames.as_slice()).collect();
    let contradictions = doubted.iter().map(|spot| spot.contradiction(&frames)).collect();
    VisitObservations {
        person: PersonFacts { stature_mm: client.stature_mm, arm_length_mm: client.arm_length_mm },
        bar: BarFacts { length_mm: bar.length_mm, has_taped_grips: bar.taped_grips },
        reaches,
        contradictions,
    }
}

fn observe_reach(visit: &Visit, reach: usize, doubted: &[DoubtedSpot]) -> ReachObservations {
    let loaded = &visit.reaches[reach];
    ReachObservations {
        view: loaded.entry.view,
        near_side: loaded.entry.near_side,
        rotation: loaded.entry.rotation,
        is_mirrored: loaded.entry.mirrored,
        image_size: visit.marks_of(reach).image_size,
        lens: loaded.lens.clone(),
        frames: frames(visit, reach, doubted),
    }
}

fn frames(visit: &Visit, reach: usize, doubted: &[DoubtedSpot]) -> Vec<FrameObservations> {
    let mut marked: Vec<(usize, &MarkedFrame)> = visit
        .marks_of(reach)
        .frames
        .iter()
        .enumerate()
        .filter(|(_, frame)| frame.used_as == FrameUse::EndRange)
        .collect();
    let followed = visit.reaches[reach].followed.as_ref();
    let raises = followed.map_or(&[][..], |clip| &clip.course.raises);
    marked.sort_by(|a, b| a.1.time_s.total_cmp(&b.1.time_s).then(a.0.cmp(&b.0)));
    let mut frames: Vec<FrameObservations> = Vec::new();
    for (index, frame) in marked {
        let followed_raise = |time_s: f64| raises.iter().position(|raise| is_within(raise, time_s));
        let here = followed_raise(frame.time_s);
        let raise = match frames.last() {
            None => 0,
            // where the clip was followed, its raises are known
            Some(last) if here.is_some() && followed_raise(last.time_s).is_some() => {
                last.raise + usize::from(here != followed_raise(last.time_s))
            }
            Some(last) => last.raise + usize::from(frame.time_s - last.time_s > RAISE_GAP_S),
        };
        let is_new = frames.last().is_none_or(|last| frame.time_s - last.time_s >= SAME_TIME_S);
        if is_new {
            let motion = here.and_then(|index| Some(followed?.motion(&raises[index])));
            frames.push(FrameObservations { time_s: frame.time_s, raise, motion, marks: Vec::new() });
        }
        if let Some(last) = frames.last_mut() {
            add_marks(visit, (reach, index), doubted, &mut last.marks);
        }
    }
    let entry = &visit.reaches[reach].entry;
    if let (View::Side, Some(near)) = (entry.view, entry.near_side) {
        frames.iter_mut().for_each(|frame| leave_out_impossible_arm(near, &mut frame.marks));
    }
    frames
}

/// Leaves the far arm out where its wrist is where no hand on the same bar can be: no weight is small enough for it.
fn leave_out_impossible_arm(near: Side, marks: &mut Vec<Mark>) {
    let place = |landmark| marks.iter().find(|mark| mark.landmark == landmark).map(|mark| mark.point);
    if impossible_far_wrist_px(near, place).is_some() {
        let far = near.other();
        let of_arm = [Landmark::Shoulder(far), Landmark::Elbow(far), Landmark::Wrist(far)];
        marks.retain(|mark| !of_arm.contains(&mark.landmark));
    }
}

fn is_within(raise: &Raise, time_s: f64) -> bool {
    (raise.start_s - SAME_TIME_S..=raise.end_s + SAME_TIME_S).contains(&time_s)
}

fn add_marks(visit: &Visit, (reach, index): (usize, usize), doubted: &[DoubtedSpot], marks: &mut Vec<Mark>) {
    let file = visit.reaches[reach].marks;
    let frame = &visit.store.files[file].marks.frames[index];
    for (landmark, point) in &frame.points {
        let (landmark, point) = (*landmark, *point);
        if frame.source == Source::Hand {
            // All marks of raters and repeats at this time are one mark here: who misplaces a landmark does so again.
            let is_first = visit
                .store
                .hand_frames(file, frame.time_s, landmark)
                .next()
                .is_some_and(|first| std::ptr::eq(first, frame));
            if is_first {
                marks.push(match visit.store.origin_at(file, frame.time_s, landmark) {
                    // and one whose error the followed ones share
                    Some(origin) => origin_mark(visit, origin),
                    None => {
                        let by_hand = || {
                            let (place, covariance_px2) = pooled_hand(visit, file, frame.time_s, landmark);
                            (crate::geometry::ImagePoint::new(place.x, place.y), covariance_px2)
                        };
                        // one bar is one observation, however often it was marked
                        let (point, covariance_px2) =
                            end_of_found_bar(visit, reach, frame.time_s, landmark).unwrap_or_else(by_hand);
                        Mark::placed(landmark, point, covariance_px2)
                    }
                });
            }
            continue;
        }
        if doubted.iter().any(|spot| spot.landmark == landmark && spot.found.contains(&(reach, index))) {
            continue;
        }
        let image_size = visit.store.files[file].marks.image_size;
        let own_sd_px = FOLLOWED_SD_PX * scale(image_size);
        let origin = visit.store.origin_of(file, index, landmark);
        let shared = origin.map(|origin| {
            let origin_size = visit.store.files[visit.store.origins[origin].file].marks.image_size;
            // the same misplacement on the body covers more pixels of a larger picture
            let ratio = scale(image_size) / scale(origin_size);
            SharedError { origin, covariance_px2: pooled_origin(visit, origin).1 * ratio.powi(2) }
        });
        let stated = point.spread.covariance_px2(own_sd_px);
        let (covariance_px2, drift_px2) =
            if frame.source == Source::Track { followed_parts(stated, own_sd_px) } else { (stated, None) };
        let is_of_another_reach = origin.is_some_and(|origin| visit.store.origins[origin].file != file);
        let skin_px2 = is_of_another_reach.then(|| skin_shift_px2(landmark, image_size)).flatten();
        // how an image strays while it is followed has nothing to do with how skin lies: their variances add
        let drift_px2 = drift_px2.map_or(skin_px2, |drift| Some(drift + skin_px2.unwrap_or_else(Matrix2::zeros)));
        let strayed = strayed(visit, (reach, index), landmark);
        marks.push(Mark { landmark, point: point.point, covariance_px2, shared, drift_px2, strayed, is_placed: false });
    }
}

/// What the mark strayed by that a frame's (reach and index) was carried from, where that was followed in another reach.
pub(crate) fn strayed(visit: &Visit, (reach, index): (usize, usize), landmark: Landmark) -> Option<Strayed> {
    let frame = &visit.marks_of(reach).frames[index];
    let from = frame.from.as_ref().filter(|_| frame.source == Source::Carried)?;
    // a file names another from where it is, a case from where that is
    let here = visit.store.files[visit.reaches[reach].marks].path.parent();
    let path = here.map_or_else(|| from.marks.clone(), |here| here.join(&from.marks));
    let is_named =
        |loaded: &LoadedReach| loaded.entry.marks == from.marks || visit.store.files[loaded.marks].path == path;
    let reach = visit.reaches.iter().position(is_named)?;
    let marks = visit.marks_of(reach);
    let is_it =
        |frame: &&MarkedFrame| (frame.time_s - from.time_s).abs() < SAME_TIME_S && frame.points.contains_key(&landmark);
    let source = marks.frames.iter().filter(is_it).find(|frame| frame.source != Source::Carried)?;
    if source.source != Source::Track {
        return None;
    }
    let own_sd_px = FOLLOWED_SD_PX * scale(marks.image_size);
    let (_, drift_px2) = followed_parts(source.points[&landmark].spread.covariance_px2(own_sd_px), own_sd_px);
    Some(Strayed { reach, covariance_px2: drift_px2.unwrap_or_else(Matrix2::zeros) })
}

/// Covariance of how otherwise the skin under a mark lies in another reach, px², on pictures of a size; `None` where no skin slides.
pub(crate) fn skin_shift_px2(landmark: Landmark, image_size: [u32; 2]) -> Option<Matrix2<f64>> {
    let slides = matches!(landmark, Landmark::Shoulder(_) | Landmark::Hip(_));
    slides.then(|| Matrix2::identity() * (SKIN_SHIFT_SD_PX * scale(image_size)).powi(2))
}

fn hand_covariance(visit: &Visit, file: usize, frame: &MarkedFrame, landmark: Landmark) -> Matrix2<f64> {
    let image_size = visit.store.files[file].marks.image_size;
    frame.points[&landmark].spread.covariance_px2(visit.spread.sd_px(landmark, image_size))
}

fn origin_mark(visit: &Visit, origin: usize) -> Mark {
    let (point, covariance_px2) = pooled_origin(visit, origin);
    Mark {
        landmark: visit.store.origins[origin].landmark,
        point: crate::geometry::ImagePoint::new(point.x, point.y),
        covariance_px2: Matrix2::identity() * ORIGIN_OWN_SD_PX.powi(2),
        shared: Some(SharedError { origin, covariance_px2 }),
        drift_px2: None,
        strayed: None,
        is_placed: true,
    }
}

/// The spread of a followed mark, parted into what each frame adds on its own and what it strayed by, which other frames share.
fn followed_parts(stated_px2: Matrix2<f64>, own_sd_px: f64) -> (Matrix2<f64>, Option<Matrix2<f64>>) {
    let variance = 0.5 * stated_px2.trace();
    let own_ratio = (own_sd_px.powi(2) / variance).min(1.0);
    (stated_px2 * own_ratio, (own_ratio < 1.0).then(|| stated_px2 * (1.0 - own_ratio)))
}

fn pooled_origin(visit: &Visit, origin: usize) -> (nalgebra::Vector2<f64>, Matrix2<f64>) {
    let origin = &visit.store.origins[origin];
    pooled_hand(visit, origin.file, origin.time_s, origin.landmark)
}

/// The mean of all hand marks of a landmark at a time: see [`pooled`].
pub(crate) fn pooled_hand(
    visit: &Visit,
    file: usize,
    time_s: f64,
    landmark: Landmark,
) -> (nalgebra::Vector2<f64>, Matrix2<f64>) {
    let frames = visit.store.hand_frames(file, time_s, landmark);
    pooled(
        frames.map(|frame| (frame.points[&landmark].point.to_vector(), hand_covariance(visit, file, frame, landmark))),
    )
}

/// The mean of marks of one spot, each weighted by its covariance, and the covariance of that mean: wider where they contradict each
/// other, for then one of them is on another spot and it is not known which.
pub(crate) fn pooled(
    marks: impl Iterator<Item = (nalgebra::Vector2<f64>, Matrix2<f64>)>,
) -> (nalgebra::Vector2<f64>, Matrix2<f64>) {
    let mut weight = Matrix2::zeros();
    let mut weighted = nalgebra::Vector2::zeros();
    let mut parts = Vec::new();
    for (place, covariance) in marks {
        // repeats and raters err independently: what they have in common is the landmark's offset, which the fit models
        let part = covariance.try_inverse().unwrap_or_else(Matrix2::zeros);
        weight += part;
        weighted += part * place;
        parts.push((place, part));
    }
    let covariance = weight.try_inverse().unwrap_or_else(Matrix2::zeros);
    let mean = covariance * weighted;
    let square: f64 = parts.iter().map(|(place, part)| (place - mean).dot(&(part * (place - mean)))).sum();
    // two coordinates for each mark but the first
    let ratio = square / (2.0 * super::pooled::number(parts.len().max(2) - 1));
    (mean, if ratio > CONTRADICTION_RATIO { covariance * ratio } else { covariance })
}
