//! Marks of a visit carried from one reach to the others, so that their errors are common and cancel in the differences.
//!
//! One reach is the source: the one with the most marks placed by hand, and of several the first, before the stretch before after it and
//! internal before external, whatever order a case has them in. Its trunk, its bar and its room go to every other reach
//! of the same view; the marks of an arm go only where the arm is turned alike, and for a reach that is turned the other way they
//! come from the first one turned like it. The near wrist of that one, placed by hand, is tied to the source's across the arm, by the
//! outlines of the forearms. What a person placed stays as it is and counts beside what was carried.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use image::GrayImage;

use crate::geometry::{ImagePoint, Landmark};
use crate::pose::{Rotation, View};
use crate::track::{ArmTurn, Carried, Forearm, NotCarried, carry_marks, wrist_beside_forearm};
use crate::video::Media;

use super::case::{CaseFile, ReachEntry};
use super::error::ScreenError;
use super::marks::{
    FrameUse, MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarksFile, MarksOrigin, PointSpread, SAME_TIME_S, Source,
};
use super::media::Viewing;
use super::result::Occasion;
use super::visit::load_visit;

/// A visit whose marks were carried, ready to be written to a folder of its own.
#[derive(Debug, Clone, PartialEq)]
pub struct CarriedVisit {
    /// The case with the new names of its marks files, and whole paths to clips, profiles and spread file.
    pub case: CaseFile,
    /// The marks of each reach, in the case's order, under the names that the case gives them.
    pub marks: Vec<MarksFile>,
    /// What became of each mark that was tried.
    pub attempts: Vec<CarryAttempt>,
}

/// A mark of one frame that was tried.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CarryAttempt {
    /// The reach that it is carried from: index into the case's reaches.
    pub from_reach: usize,
    /// The reach that it is carried to.
    pub to_reach: usize,
    /// Time in that reach, s.
    pub time_s: f64,
    /// The mark.
    pub landmark: Landmark,
    /// Why it is left to the person; `None` if it was carried.
    pub refusal: Option<NotCarried>,
}

/// Carries the marks of the case at `path` from reach to reach.
///
/// Every reach needs a frame at end range with some mark placed by hand, which tells the time; marks that were carried or
/// followed earlier are left out and carried anew.
///
/// # Errors
/// [`ScreenError::Invalid`] as for measuring, [`ScreenError::Video`] when a picture cannot be decoded.
pub fn carry_case(path: &Path) -> Result<CarriedVisit, ScreenError> {
    let visit = load_visit(path, Viewing::ONLY)?;
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut case = visit.case.clone();
    let whole = |file: &Path| {
        let file = folder.join(file);
        std::fs::canonicalize(&file).unwrap_or(file)
    };
    case.camera.profile = case.camera.profile.as_deref().map(whole);
    case.marking.spread_file = case.marking.spread_file.as_deref().map(whole);
    for entry in &mut case.reaches {
        entry.profile = entry.profile.as_deref().map(whole);
        entry.file = whole(&entry.file);
        entry.marks = marks_name(entry);
    }
    let mut marks: Vec<MarksFile> = (0..case.reaches.len()).map(|reach| hand_marks_of(visit.marks_of(reach))).collect();
    let mut attempts = Vec::new();
    let mut pictures = Pictures::default();
    for to in in_order(case.reaches.iter()) {
        for (place, time_s) in end_range_times_s(&marks[to]).into_iter().enumerate() {
            let reaches: Vec<(&ReachEntry, &MarksFile)> = case.reaches.iter().zip(&marks).collect();
            for link in carry_links(&reaches, to, place) {
                attempts.append(&mut carry_frame(&case, &mut marks[to], &link, (to, time_s), &mut pictures)?);
            }
        }
    }
    Ok(CarriedVisit { case, marks, attempts })
}

/// Whence marks can be carried to a frame, and which.
#[derive(Debug, Clone, PartialEq)]
pub struct CarryLink {
    /// The reach that they come from: index into the reaches given.
    pub from_reach: usize,
    /// Time of the frame there, s.
    pub from_time_s: f64,
    /// What the two pictures have in common.
    pub arms: ArmTurn,
    /// The marks there, px. Those that were carried there themselves help to find the arms, and are not carried on.
    pub given: Vec<(Landmark, ImagePoint)>,
    /// Those that the reach is known by, which are carried: placed by hand, or where there are none, followed there.
    pub own: BTreeSet<Landmark>,
    /// Wrist and elbow of the near arm where they are known in the other reach, too, and it is turned the other way, px.
    pub there: Vec<(Landmark, ImagePoint)>,
}

/// Whence marks can be carried to end range of a reach: for its trunk, bar and room, and after that for its arms. `place` counts
/// the frames at end range from 0 and picks the frame of the other reach. Empty for the reach that the others get theirs from.
#[must_use]
pub fn carry_links(reaches: &[(&ReachEntry, &MarksFile)], to: usize, place: usize) -> Vec<CarryLink> {
    let sources = sources(reaches, to).into_iter();
    let mut links: Vec<CarryLink> = sources.filter_map(|from| link(reaches, from, to, place)).collect();
    // what comes from an arm that is turned alike is better than what an outline says
    if let [main, _] = links.as_mut_slice() {
        main.own.retain(|landmark| !is_of_arm(*landmark));
    }
    links
}

/// Whence trunk and wrist are looked for once more, for marks of the main reach that are on no body: the first reach that is turned the
/// other way than that one, where it is no source already.
pub(crate) fn second_link(reaches: &[(&ReachEntry, &MarksFile)], to: usize, place: usize) -> Option<CarryLink> {
    let main = main_source(reaches, to)?;
    let is_second =
        |reach: &usize| reaches[*reach].0.rotation != reaches[main].0.rotation && marks_known(reaches[*reach].1) > 0;
    let second = alike(reaches, to).find(is_second)?;
    let is_new = second != to && !sources(reaches, to).contains(&second);
    if is_new { link(reaches, second, to, place) } else { None }
}

fn link(reaches: &[(&ReachEntry, &MarksFile)], from: usize, to: usize, place: usize) -> Option<CarryLink> {
    let (entry, marks) = reaches[from];
    let times_s = end_range_times_s(marks);
    let from_time_s = *times_s.get(place).or(times_s.last())?;
    let known = marks.known_at(from_time_s);
    let mut given = carried_marks(marks, from_time_s);
    given.extend(&known);
    let arms = if entry.rotation == reaches[to].0.rotation { ArmTurn::Same } else { ArmTurn::Other };
    let (given, own) = (given.into_iter().collect(), known.into_keys().collect());
    let there = if arms == ArmTurn::Other { near_forearm(reaches[to], place) } else { Vec::new() };
    Some(CarryLink { from_reach: from, from_time_s, arms, given, own, there })
}

/// Wrist and elbow of the arm towards the camera, where both are known at end range.
fn near_forearm((entry, marks): (&ReachEntry, &MarksFile), place: usize) -> Vec<(Landmark, ImagePoint)> {
    let Some((side, time_s)) = entry.near_side.zip(end_range_times_s(marks).get(place).copied()) else {
        return Vec::new();
    };
    let placed = marks.known_at(time_s);
    let found =
        [Landmark::Wrist(side), Landmark::Elbow(side)].map(|landmark| Some((landmark, *placed.get(&landmark)?)));
    found.into_iter().collect::<Option<_>>().unwrap_or_default()
}

/// Carries marks (px of `from`) to the picture `to`; the wrist that is marked `there`, too, is put beside the outline of its forearm
/// where the arm itself is turned the other way.
///
/// # Panics
/// If the pictures differ in size.
#[must_use]
pub fn carry_pictures(
    from: &GrayImage,
    to: &GrayImage,
    arms: ArmTurn,
    given: &[(Landmark, ImagePoint)],
    there: &[(Landmark, ImagePoint)],
) -> Vec<(Landmark, Result<MarkedPoint, NotCarried>)> {
    let marks = carry_marks(from, to, arms, given).marks.into_iter().map(|(landmark, result)| {
        let beside = match (&result, landmark) {
            (Err(NotCarried::OtherSide), Landmark::Wrist(side)) => {
                let forearms = Forearm::among(given, side).zip(Forearm::among(there, side));
                forearms.and_then(|(first, second)| wrist_beside_forearm([from, to], [first, second]))
            }
            _ => None,
        };
        (landmark, beside.map_or(result, Ok))
    });
    let marked = |carried: Carried| {
        let c = carried.covariance_px2;
        MarkedPoint { point: carried.point, spread: PointSpread::Covariance([c.m11, c.m12, c.m22]) }
    };
    marks.map(|(landmark, result)| (landmark, result.map(marked))).collect()
}

/// The marks placed by hand, of a file.
fn hand_marks_of(known: &MarksFile) -> MarksFile {
    let frames = known.frames.iter().filter(|frame| frame.source == Source::Hand).cloned().collect();
    MarksFile { schema: MARKS_SCHEMA.to_owned(), image_size: known.image_size, frames }
}

/// Times at end range with the marks that a reach is known by, s, increasing.
pub(crate) fn end_range_times_s(marks: &MarksFile) -> Vec<f64> {
    let source = marks.known_by();
    times_s(marks, |frame| frame.source == source && frame.used_as == FrameUse::EndRange)
}

/// Times of the frames with marks placed by hand, s, increasing.
pub(crate) fn hand_times_s(marks: &MarksFile) -> Vec<f64> {
    times_s(marks, |frame| frame.source == Source::Hand)
}

fn times_s(marks: &MarksFile, is_wanted: impl Fn(&MarkedFrame) -> bool) -> Vec<f64> {
    let mut times_s: Vec<f64> =
        marks.frames.iter().filter(|frame| is_wanted(frame)).map(|frame| frame.time_s).collect();
    times_s.sort_by(f64::total_cmp);
    times_s.dedup_by(|later, earlier| *later - *earlier < SAME_TIME_S);
    times_s
}

/// The marks carried to a time, px.
fn carried_marks(marks: &MarksFile, time_s: f64) -> BTreeMap<Landmark, ImagePoint> {
    let is_there =
        |frame: &&MarkedFrame| frame.source == Source::Carried && (frame.time_s - time_s).abs() < SAME_TIME_S;
    let frames = marks.frames.iter().filter(is_there);
    frames.flat_map(|frame| frame.points.iter().map(|(landmark, mark)| (*landmark, mark.point))).collect()
}

fn marks_known(marks: &MarksFile) -> usize {
    end_range_times_s(marks).into_iter().map(|time_s| marks.known_at(time_s).len()).max().unwrap_or(0)
}

fn has_arm_known(marks: &MarksFile) -> bool {
    let first_s = end_range_times_s(marks).first().copied();
    first_s.is_some_and(|time_s| marks.known_at(time_s).keys().any(|landmark| is_of_arm(*landmark)))
}

const fn is_of_arm(landmark: Landmark) -> bool {
    matches!(landmark, Landmark::Elbow(_) | Landmark::Wrist(_))
}

/// The reaches that show the same as a reach: those of its view, itself among them, in their order.
fn alike(reaches: &[(&ReachEntry, &MarksFile)], to: usize) -> impl Iterator<Item = usize> {
    let (entry, marks) = reaches[to];
    let is_alike = move |reach: &usize| {
        let (other, others) = reaches[*reach];
        other.view == entry.view
            && other.near_side == entry.near_side
            && other.mirrored == entry.mirrored
            && others.image_size == marks.image_size
    };
    in_order(reaches.iter().map(|(entry, _)| *entry)).into_iter().filter(is_alike)
}

/// The reach that those which show the same get their trunk from: the first of those with the most marks.
pub(crate) fn main_source(reaches: &[(&ReachEntry, &MarksFile)], to: usize) -> Option<usize> {
    let most = alike(reaches, to).map(|reach| marks_known(reaches[reach].1)).max().unwrap_or(0);
    alike(reaches, to).find(|reach| marks_known(reaches[*reach].1) == most && most > 0)
}

/// The reaches that marks are carried from to a reach: the main one of its view, and for the arms the first turned alike.
fn sources(reaches: &[(&ReachEntry, &MarksFile)], to: usize) -> Vec<usize> {
    let Some(main) = main_source(reaches, to) else { return Vec::new() };
    let is_turned_alike = |reach: usize| reaches[reach].0.rotation == reaches[to].0.rotation;
    let for_arms = alike(reaches, to).find(|reach| is_turned_alike(*reach) && has_arm_known(reaches[*reach].1));
    let mut found = vec![main];
    found.extend(for_arms.filter(|reach| !is_turned_alike(main) && *reach != main));
    found.retain(|reach| *reach != to);
    found
}

/// The places of reaches, before the stretch before after it and internal before external.
fn in_order<'a>(entries: impl Iterator<Item = &'a ReachEntry>) -> Vec<usize> {
    let rank = |entry: &ReachEntry| (entry.occasion, entry.rotation == Rotation::External);
    let mut places: Vec<(usize, (Occasion, bool))> = entries.map(rank).enumerate().collect();
    // stable: views stay in the order of the case, and share nothing
    places.sort_by_key(|(_, rank)| *rank);
    places.into_iter().map(|(place, _)| place).collect()
}

/// Carries the marks of a link to one frame.
fn carry_frame(
    case: &CaseFile,
    marks: &mut MarksFile,
    link: &CarryLink,
    (to_reach, time_s): (usize, f64),
    pictures: &mut Pictures,
) -> Result<Vec<CarryAttempt>, ScreenError> {
    let from_reach = link.from_reach;
    let carried_already = carried_marks(marks, time_s);
    let is_wanted = |landmark: &Landmark| link.own.contains(landmark) && !carried_already.contains_key(landmark);
    let source_picture = pictures.at(&case.reaches[from_reach].file, link.from_time_s)?;
    let picture = pictures.at(&case.reaches[to_reach].file, time_s)?;
    let carried = carry_pictures(&source_picture, &picture, link.arms, &link.given, &link.there);
    let mut points = BTreeMap::new();
    let mut attempts = Vec::new();
    for (landmark, result) in carried.into_iter().filter(|(landmark, _)| is_wanted(landmark)) {
        attempts.push(CarryAttempt { from_reach, to_reach, time_s, landmark, refusal: result.err() });
        points.extend(result.ok().map(|mark| (landmark, mark)));
    }
    if !points.is_empty() {
        let from = MarksOrigin { marks: case.reaches[from_reach].marks.clone(), time_s: link.from_time_s };
        marks.frames.push(MarkedFrame {
            time_s,
            source: Source::Carried,
            used_as: FrameUse::EndRange,
            rater: None,
            repeat: None,
            from: Some(from),
            points,
        });
    }
    Ok(attempts)
}

/// Name of a reach's marks file.
fn marks_name(entry: &ReachEntry) -> PathBuf {
    let occasion = match entry.occasion {
        Occasion::Before => "before",
        Occasion::After => "after",
    };
    let rotation = match entry.rotation {
        Rotation::Internal => "internal",
        Rotation::External => "external",
    };
    let view = match entry.view {
        View::Side => "side",
        View::Front => "front",
        View::Oblique => "oblique",
    };
    PathBuf::from(format!("{occasion}-{rotation}-{view}.marks.json"))
}

/// Pictures that were decoded, so that none is decoded twice.
#[derive(Default)]
struct Pictures {
    seen: Vec<(PathBuf, f64, GrayImage)>,
}

impl Pictures {
    fn at(&mut self, file: &Path, time_s: f64) -> Result<GrayImage, ScreenError> {
        let known = |(path, at_s, _): &&(PathBuf, f64, GrayImage)| path == file && (at_s - time_s).abs() < SAME_TIME_S;
        if let Some((_, _, image)) = self.seen.iter().find(known) {
            return Ok(image.clone());
        }
        let decode = |source| ScreenError::Video { source };
        let image = Media::open(file).map_err(decode)?.luma_at(time_s).map_err(decode)?.image;
        self.seen.push((file.to_owned(), time_s, image.clone()));
        Ok(image)
    }
}
