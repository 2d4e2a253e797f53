//! Marks of a visit carried from one reach to the others, so that their errors are common and cancel in the differences.
//!
//! One reach is the source: the one with the most marks placed by hand. Its trunk, its bar and its room go to every other reach
//! of the same view; the marks of an arm go only where the arm is turned alike, and for a reach that is turned the other way they
//! come from the first one turned like it. What a person placed stays as it is and counts beside what was carried.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use image::GrayImage;

use crate::geometry::{ImagePoint, Landmark};
use crate::pose::{Rotation, View};
use crate::track::{ArmTurn, NotCarried, carry_marks};
use crate::video::Media;

use super::case::{CaseFile, ReachEntry};
use super::error::ScreenError;
use super::marks::{
    FrameUse, MARKS_SCHEMA, MarkedFrame, MarkedPoint, MarksFile, MarksOrigin, PointSpread, SAME_TIME_S, Source,
};
use super::media::Look;
use super::result::Occasion;
use super::visit::{Visit, load_visit};

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
    let visit = load_visit(path, Look::Only)?;
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
    let mut reaches: Vec<Reach> = (0..case.reaches.len()).map(|reach| Reach::of(&visit, reach)).collect();
    let mut attempts = Vec::new();
    let mut pictures = Pictures::default();
    for to in 0..reaches.len() {
        for from in sources(&case, &reaches, to) {
            let arms =
                if case.reaches[from].rotation == case.reaches[to].rotation { ArmTurn::Same } else { ArmTurn::Other };
            for place in 0..reaches[to].times_s.len() {
                let link = Link { from, to, arms, place };
                attempts.append(&mut carry_frame(&case, &mut reaches, link, &mut pictures)?);
            }
        }
    }
    let marks = reaches.into_iter().map(|reach| reach.marks).collect();
    Ok(CarriedVisit { case, marks, attempts })
}

/// One frame's worth of carrying.
#[derive(Clone, Copy)]
struct Link {
    from: usize,
    to: usize,
    arms: ArmTurn,
    /// Which of the times of the reach carried to.
    place: usize,
}

/// A reach with its marks placed by hand, to which carried ones are added.
struct Reach {
    marks: MarksFile,
    /// Times at end range with marks placed by hand, s, increasing.
    times_s: Vec<f64>,
}

impl Reach {
    fn of(visit: &Visit, reach: usize) -> Self {
        let known = visit.marks_of(reach);
        let frames: Vec<MarkedFrame> =
            known.frames.iter().filter(|frame| frame.source == Source::Hand).cloned().collect();
        let mut times_s: Vec<f64> =
            frames.iter().filter(|frame| frame.used_as == FrameUse::EndRange).map(|frame| frame.time_s).collect();
        times_s.sort_by(f64::total_cmp);
        times_s.dedup_by(|later, earlier| *later - *earlier < SAME_TIME_S);
        let marks = MarksFile { schema: MARKS_SCHEMA.to_owned(), image_size: known.image_size, frames };
        Self { marks, times_s }
    }

    /// The marks placed by hand at a time, each the mean over raters and repeats, px.
    fn by_hand(&self, time_s: f64) -> BTreeMap<Landmark, ImagePoint> {
        let mut sums: BTreeMap<Landmark, (f64, f64, f64)> = BTreeMap::new();
        let frames = self.marks.frames.iter().filter(|frame| {
            frame.source == Source::Hand
                && frame.used_as == FrameUse::EndRange
                && (frame.time_s - time_s).abs() < SAME_TIME_S
        });
        for (landmark, mark) in frames.flat_map(|frame| &frame.points) {
            let sum = sums.entry(*landmark).or_default();
            *sum = (sum.0 + mark.point.x, sum.1 + mark.point.y, sum.2 + 1.0);
        }
        sums.into_iter().map(|(landmark, (x, y, count))| (landmark, ImagePoint::new(x / count, y / count))).collect()
    }

    /// The marks carried to a time, px.
    fn carried(&self, time_s: f64) -> BTreeMap<Landmark, ImagePoint> {
        let frames = self
            .marks
            .frames
            .iter()
            .filter(|frame| frame.source == Source::Carried && (frame.time_s - time_s).abs() < SAME_TIME_S);
        frames.flat_map(|frame| frame.points.iter().map(|(landmark, mark)| (*landmark, mark.point))).collect()
    }

    fn hand_marks(&self) -> usize {
        self.times_s.iter().map(|time_s| self.by_hand(*time_s).len()).max().unwrap_or(0)
    }

    fn has_arm_by_hand(&self) -> bool {
        self.times_s.first().is_some_and(|time_s| self.by_hand(*time_s).keys().any(|landmark| is_of_arm(*landmark)))
    }
}

const fn is_of_arm(landmark: Landmark) -> bool {
    matches!(landmark, Landmark::Elbow(_) | Landmark::Wrist(_))
}

/// The reaches that marks are carried from to a reach: the main one of its view, and for the arms the first turned alike.
fn sources(case: &CaseFile, reaches: &[Reach], to: usize) -> Vec<usize> {
    let entry = &case.reaches[to];
    let alike = |other: &ReachEntry| {
        other.view == entry.view && other.near_side == entry.near_side && other.mirrored == entry.mirrored
    };
    let candidates = || (0..reaches.len()).filter(|reach| alike(&case.reaches[*reach]));
    // the first of those with the most marks
    let most = candidates().map(|reach| reaches[reach].hand_marks()).max().unwrap_or(0);
    let Some(main) = candidates().find(|reach| reaches[*reach].hand_marks() == most && most > 0) else {
        return Vec::new();
    };
    let for_arms =
        candidates().find(|reach| case.reaches[*reach].rotation == entry.rotation && reaches[*reach].has_arm_by_hand());
    let mut found = vec![main];
    found.extend(for_arms.filter(|reach| case.reaches[main].rotation != entry.rotation && *reach != main));
    found.retain(|reach| *reach != to);
    found
}

fn carry_frame(
    case: &CaseFile,
    reaches: &mut [Reach],
    link: Link,
    pictures: &mut Pictures,
) -> Result<Vec<CarryAttempt>, ScreenError> {
    let Link { from, to, arms, place } = link;
    let time_s = reaches[to].times_s[place];
    let from_times = &reaches[from].times_s;
    let Some(from_time_s) = from_times.get(place).or(from_times.last()).copied() else { return Ok(Vec::new()) };
    let carried_already: BTreeMap<Landmark, ImagePoint> = reaches[to].carried(time_s);
    let by_hand = reaches[from].by_hand(from_time_s);
    // What was carried to the source reach itself helps to find the arms, and is not carried on.
    let mut given = reaches[from].carried(from_time_s);
    given.extend(&by_hand);
    let given: Vec<(Landmark, ImagePoint)> = given.into_iter().collect();
    let is_wanted = |landmark: &Landmark| by_hand.contains_key(landmark) && !carried_already.contains_key(landmark);
    if given.is_empty() || reaches[from].marks.image_size != reaches[to].marks.image_size {
        return Ok(Vec::new());
    }
    let source_picture = pictures.at(&case.reaches[from].file, from_time_s)?;
    let picture = pictures.at(&case.reaches[to].file, time_s)?;
    let carry = carry_marks(&source_picture, &picture, arms, &given);
    let mut points = BTreeMap::new();
    let mut attempts = Vec::new();
    for (landmark, result) in carry.marks.into_iter().filter(|(landmark, _)| is_wanted(landmark)) {
        attempts.push(CarryAttempt { from_reach: from, to_reach: to, time_s, landmark, refusal: result.err() });
        if let Ok(carried) = result {
            let c = carried.covariance_px2;
            let spread = PointSpread::Covariance([c.m11, c.m12, c.m22]);
            points.insert(landmark, MarkedPoint { point: carried.point, spread });
        }
    }
    if !points.is_empty() {
        reaches[to].marks.frames.push(MarkedFrame {
            time_s,
            source: Source::Carried,
            used_as: FrameUse::EndRange,
            rater: None,
            repeat: None,
            from: Some(MarksOrigin { marks: case.reaches[from].marks.clone(), time_s: from_time_s }),
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
