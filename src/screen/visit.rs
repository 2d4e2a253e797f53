//! A visit with everything that its case file names, read and held against each other.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};

use crate::camera::{Lens, LensProfile, read_profile};
use crate::geometry::{ImagePoint, Landmark, Side};
use crate::pose::View;
use crate::video::VideoError;

use super::carry::hand_times_s;
use super::case::{CaseFile, CaseLines, ReachEntry, ReachLines, read_case};
use super::contradictions::{DoubtedSpot, Placed, doubted_spots};
use super::error::ScreenError;
use super::follow_starts::{NEEDED_IN_FRONT, needed_to_follow};
use super::found_bar::rough_bars;
use super::front_holds::HoldMarks;
use super::marks::{FrameUse, MarkedFrame, MarksFile, MarksLines, SAME_TIME_S};
use super::media::{SeenMedia, Viewing, Wanted};
use super::observe::{RAISE_GAP_S, strayed};
use super::origins::MarksStore;
use super::problem::{Fault, Problem, Problems};
use super::spread::{MarkingSpread, scale};
use super::track_marks::{TrackedClip, starts};
use super::words::{decimal, reach_head};

/// Landmarks that are further apart than this on every body and wall are not on one spot, px at a long side of
/// [`super::case::SD_PX_AT`]: a tenth of an upper arm at 3 m. Common practice, no source.
const LEAST_APART_PX: f64 = 8.0;

/// A visit, ready to be measured.
pub(crate) struct Visit {
    pub(crate) case: CaseFile,
    /// In the case's order.
    pub(crate) reaches: Vec<LoadedReach>,
    pub(crate) store: MarksStore,
    pub(crate) spread: MarkingSpread,
    /// Pairs of reaches whose pictures show that they are one recording.
    pub(crate) one_recordings: Vec<[usize; 2]>,
}

/// A reach with its picture and marks.
pub(crate) struct LoadedReach {
    pub(crate) entry: ReachEntry,
    pub(crate) media: SeenMedia,
    /// Index into [`MarksStore::files`].
    pub(crate) marks: usize,
    pub(crate) lens: Option<Lens>,
    /// Its clip, where its marks were followed through it.
    pub(crate) followed: Option<TrackedClip>,
    /// What became of its marks in a front view, where they were followed.
    pub(crate) holds: Option<HoldMarks>,
}

impl Visit {
    /// The marks of a reach.
    pub(crate) fn marks_of(&self, reach: usize) -> &MarksFile {
        &self.store.files[self.reaches[reach].marks].marks
    }

    /// Carried spots that count for nothing, because the marks contradict them in too many reaches.
    pub(crate) fn doubted_spots(&self) -> Vec<DoubtedSpot> {
        let marks: Vec<&MarksFile> = (0..self.reaches.len()).map(|reach| self.marks_of(reach)).collect();
        let origin = |(reach, frame): (usize, usize), landmark| {
            // what strayed on the way lies elsewhere than the mark it comes from, and contradicts none
            if strayed(self, (reach, frame), landmark).is_some() {
                return None;
            }
            let origin = &self.store.origins[self.store.origin_of(self.reaches[reach].marks, frame, landmark)?];
            let reach = self.reaches.iter().position(|loaded| loaded.marks == origin.file)?;
            Some(Placed { reach, time_s: origin.time_s })
        };
        doubted_spots(&marks, |landmark, image_size| self.spread.sd_px(landmark, image_size), origin)
    }
}

/// What a look at a case found.
#[derive(Debug, Default)]
pub struct CaseCheck {
    /// Faults, each of which keeps the case from being measured.
    pub problems: Vec<Problem>,
    /// What is wrong but can be worked with, each a sentence.
    pub warnings: Vec<String>,
}

/// Reads a case and everything that it names, measures nothing, and names every problem at once.
#[must_use]
pub fn check_case(path: &Path) -> CaseCheck {
    let loaded = load(path, Viewing::ONLY);
    let mut warnings = damage_warnings(&loaded.reaches);
    warnings.extend(far_wrist_warnings(&loaded.reaches, &loaded.store));
    CaseCheck { warnings, problems: loaded.problems }
}

/// Reads a case and everything that it names. `viewing` says whether pictures are wanted.
pub(crate) fn load_visit(path: &Path, viewing: Viewing) -> Result<Visit, ScreenError> {
    let Loaded { case, reaches, store, spread, problems } = load(path, viewing);
    match (case, spread) {
        (Some(case), Some(spread)) if problems.is_empty() => {
            Ok(Visit { case, reaches, store, spread, one_recordings: Vec::new() })
        }
        _ => Err(ScreenError::Invalid { problems }),
    }
}

/// A sentence for every clip that was used up to its damage.
pub(crate) fn damage_warnings(reaches: &[LoadedReach]) -> Vec<String> {
    let damaged = reaches.iter().filter_map(|reach| Some((&reach.entry.file, reach.media.damage?)));
    damaged
        .map(|(file, damage)| {
            format!("{} is damaged after {:.2} s: only what is before that can be used.", file.display(), damage.time_s)
        })
        .collect()
}

/// A sentence for every side view whose far wrist lies where no hand on the same bar can be: further from the near one than the
/// arm is long. A bar that is seen end on brings the hands together; turned by 20 deg, a grip of 1.1 m takes them 0.4 m apart.
pub(crate) fn far_wrist_warnings(reaches: &[LoadedReach], store: &MarksStore) -> Vec<String> {
    let impossible = |reach: &LoadedReach| {
        let near = reach.entry.near_side.filter(|_| reach.entry.view == View::Side)?;
        let frames = store.files[reach.marks].marks.frames.iter();
        let apart_px = frames
            .filter(|frame| frame.used_as == FrameUse::EndRange)
            .filter_map(|frame| impossible_far_wrist_px(near, |landmark| Some(frame.points.get(&landmark)?.point)))
            .max_by(f64::total_cmp)?;
        Some(format!(
            "{}: the {} wrist is marked {} px from the {near} one, further than the arm is long: with both hands on one bar, \
             seen from the side, it cannot be there. The marks of that arm are left out; mark it again.",
            reach_head(&reach.entry),
            near.other(),
            decimal(apart_px, 0)
        ))
    };
    reaches.iter().filter_map(impossible).collect()
}

/// How far the far wrist is from the near one, px, where that is further than the near arm is long.
pub(crate) fn impossible_far_wrist_px(near: Side, place: impl Fn(Landmark) -> Option<ImagePoint>) -> Option<f64> {
    let wrist = place(Landmark::Wrist(near))?;
    let arm_px = wrist.distance_px(place(Landmark::Shoulder(near))?);
    let apart_px = wrist.distance_px(place(Landmark::Wrist(near.other()))?);
    (apart_px > arm_px).then_some(apart_px)
}

/// What could be read of a case, and what was wrong with it.
struct Loaded {
    case: Option<CaseFile>,
    /// All of them, where there is no problem.
    reaches: Vec<LoadedReach>,
    store: MarksStore,
    spread: Option<MarkingSpread>,
    problems: Vec<Problem>,
}

fn load(path: &Path, viewing: Viewing) -> Loaded {
    let (case, mut problems) = read_case(path);
    let Some((case, lines)) = case else {
        return Loaded { case: None, reaches: Vec::new(), store: MarksStore::default(), spread: None, problems };
    };
    let folder = path.parent().unwrap_or(Path::new(""));
    let mut of_case = Problems::new(path);
    let spread = marking_spread(&case, &lines, folder, &mut of_case);
    let mut loader = Loader {
        case: &case,
        folder,
        viewing,
        store: MarksStore::default(),
        profiles: BTreeMap::new(),
        camera_profile_line: lines.camera_profile,
        of_case,
        of_marks: Vec::new(),
    };
    let mut reaches = Vec::new();
    for (entry, at) in case.reaches.iter().zip(&lines.reaches) {
        reaches.extend(loader.reach(entry, *at));
        if let Some((loaded, before)) = reaches.split_last()
            && let Some(fault) = before.iter().find_map(|other| shown_twice(other, loaded, &loader.store))
        {
            loader.of_case.at(at.file, fault);
        }
    }
    let Loader { mut store, of_case, mut of_marks, .. } = loader;
    store.trace(&mut of_marks);
    problems.append(&mut of_case.into_list());
    problems.sort_by_key(|problem| problem.line);
    problems.append(&mut of_marks);
    Loaded { case: Some(case), reaches, store, spread, problems }
}

/// What is wrong where two reaches are one: the same picture, pixel by pixel, or the same raise of the same clip.
fn shown_twice(first: &LoadedReach, second: &LoadedReach, store: &MarksStore) -> Option<Fault> {
    let (media, other) = (second.entry.file.clone(), first.entry.file.clone());
    if first.media.print.is_some() && first.media.print == second.media.print {
        return Some(Fault::SamePicture { media, other });
    }
    let times_s = |reach: &LoadedReach| -> Vec<f64> {
        store.files[reach.marks].marks.frames.iter().map(|frame| frame.time_s).collect()
    };
    let (firsts, seconds) = (times_s(first), times_s(second));
    let pairs = firsts.iter().flat_map(|first_s| seconds.iter().map(move |second_s| (*first_s, *second_s)));
    let (other_s, time_s) = pairs.min_by(|a, b| (a.0 - a.1).abs().total_cmp(&(b.0 - b.1).abs()))?;
    let is_one_raise =
        (other_s - time_s).abs() < RAISE_GAP_S && has_same_content(first.media.path(), second.media.path());
    is_one_raise.then_some(Fault::SameRaise { media, time_s, other, other_s })
}

/// Whether two files hold the same bytes, whatever they are called; `false` where that cannot be read.
fn has_same_content(first: &Path, second: &Path) -> bool {
    if first == second {
        return true;
    }
    let opened = |path: &Path| Some((std::fs::metadata(path).ok()?.len(), std::fs::File::open(path).ok()?));
    let (Some((first_bytes, first)), Some((second_bytes, second))) = (opened(first), opened(second)) else {
        return false;
    };
    if first_bytes != second_bytes {
        return false;
    }
    let (mut first, mut second) = (BufReader::new(first), BufReader::new(second));
    loop {
        let (Ok(one), Ok(other)) = (first.fill_buf(), second.fill_buf()) else { return false };
        let count = one.len().min(other.len());
        if count == 0 {
            return one.len() == other.len();
        }
        if one[..count] != other[..count] {
            return false;
        }
        first.consume(count);
        second.consume(count);
    }
}

/// How well marks of the case are placed; `None`, with the fault noted, when its spread file cannot be used.
pub(crate) fn marking_spread(
    case: &CaseFile,
    lines: &CaseLines,
    folder: &Path,
    problems: &mut Problems,
) -> Option<MarkingSpread> {
    let Some(file) = &case.marking.spread_file else { return Some(MarkingSpread::usual(case.marking.sd_px)) };
    match MarkingSpread::read(&folder.join(file), case.marking.sd_px) {
        Ok(spread) => Some(spread),
        Err(cause) => {
            problems.at(lines.spread_file, Fault::Spread { file: file.clone(), cause });
            None
        }
    }
}

/// Reads the files of one reach after the other.
struct Loader<'a> {
    case: &'a CaseFile,
    folder: &'a Path,
    viewing: Viewing,
    store: MarksStore,
    profiles: BTreeMap<PathBuf, Option<LensProfile>>,
    camera_profile_line: usize,
    of_case: Problems,
    of_marks: Vec<Problem>,
}

impl Loader<'_> {
    fn reach(&mut self, entry: &ReachEntry, at: ReachLines) -> Option<LoadedReach> {
        let marks_path = self.folder.join(&entry.marks);
        let marks = match std::fs::metadata(&marks_path) {
            Ok(_) => self.store.add(&marks_path, &mut self.of_marks),
            // a missing marks file is the case's fault, at the line that names it
            Err(cause) => {
                self.of_case.at(at.marks, Fault::Marks { marks: entry.marks.clone(), cause });
                None
            }
        };
        let media = self.media(entry, at, marks);
        let lens = self.lens(entry, at, media.as_ref());
        Some(LoadedReach {
            entry: entry.clone(),
            media: media?,
            marks: marks?,
            lens: lens?,
            followed: None,
            holds: None,
        })
    }

    /// The lens of a reach, where it has a profile. `None` when that cannot be used.
    fn lens(&mut self, entry: &ReachEntry, at: ReachLines, media: Option<&SeenMedia>) -> Option<Option<Lens>> {
        let (name, line) = match (&entry.profile, &self.case.camera.profile) {
            (Some(own), _) => (own, at.profile),
            (None, Some(shared)) => (shared, self.camera_profile_line),
            (None, None) => return Some(None),
        };
        if !self.profiles.contains_key(name) {
            // read once, and its faults noted once, however many reaches share it
            let read = read_profile(&self.folder.join(name)).map_err(|cause| {
                self.of_case.at(line, Fault::Lens { profile: name.clone(), cause: cause.into() });
            });
            self.profiles.insert(name.clone(), read.ok());
        }
        let profile = self.profiles.get(name)?.as_ref()?;
        let media = media?;
        match profile.lens_for(media.upright_size, media.quarter_turns) {
            Ok(lens) => Some(Some(lens)),
            Err(cause) => {
                self.of_case.at(at.file, Fault::Lens { profile: name.clone(), cause: cause.into() });
                None
            }
        }
    }

    /// Opens the clip or still, and holds the marks against it.
    fn media(&mut self, entry: &ReachEntry, at: ReachLines, marks: Option<usize>) -> Option<SeenMedia> {
        let file = marks.map(|marks| &self.store.files[marks]);
        // where the latest marked frame is there, so are the earlier ones
        let times = file.into_iter().flat_map(|file| file.marks.frames.iter().map(|frame| frame.time_s));
        let latest_s = times.max_by(f64::total_cmp).unwrap_or(0.0);
        let wanted = file.map_or_else(Wanted::default, |file| Wanted {
            // a frame to start from may turn out to be at end range
            times_s: hand_times_s(&file.marks),
            bars: rough_bars(&file.marks, entry.view),
        });
        let seen = SeenMedia::open(&self.folder.join(&entry.file), latest_s, self.viewing, &wanted);
        let Some(file) = file else {
            return seen
                .map_err(|cause| self.of_case.at(at.file, Fault::Media { cause: cause.into() }))
                .ok()
                .map(|seen| seen.0);
        };
        let mut found = Problems::new(&file.path);
        let media = match seen {
            Ok((media, frame)) => {
                hold_against_picture(&file.marks, &file.lines, entry, &media, &mut found);
                if let Err(fault) = frame {
                    note_missing_frame(fault, &file.marks, &file.lines, entry, &mut found);
                }
                Some(media)
            }
            Err(cause) => {
                self.of_case.at(at.file, Fault::Media { cause: cause.into() });
                None
            }
        };
        hold_against_case(&file.marks, &file.lines, entry, Following::Can, &mut found);
        hold_start_against_case(&file.marks, &file.lines, entry, media.as_ref(), &mut found);
        self.of_marks.append(&mut found.into_list());
        media
    }
}

/// Notes marks of a picture of another size.
pub(crate) fn hold_against_picture(
    marks: &MarksFile,
    lines: &MarksLines,
    entry: &ReachEntry,
    media: &SeenMedia,
    problems: &mut Problems,
) {
    if marks.image_size != media.upright_size {
        let (marks, picture, media) = (marks.image_size, media.upright_size, entry.file.clone());
        problems.at(lines.image_size, Fault::ImageSizeDiffers { marks, picture, media });
    }
}

/// Notes the frames that the clip does not have.
fn note_missing_frame(
    fault: VideoError,
    marks: &MarksFile,
    lines: &MarksLines,
    entry: &ReachEntry,
    problems: &mut Problems,
) {
    let times = || marks.frames.iter().zip(&lines.frames).map(|(frame, at)| (frame.time_s, at.time_s));
    match fault {
        VideoError::PastEnd { last_s, .. } => {
            for (time_s, line) in times().filter(|(time_s, _)| *time_s > last_s + SAME_TIME_S) {
                problems.at(line, Fault::PastEnd { time_s, last_s, media: entry.file.clone() });
            }
        }
        VideoError::NotInStill { .. } => {
            for (time_s, line) in times().filter(|(time_s, _)| *time_s > SAME_TIME_S) {
                problems.at(line, Fault::NotInStill { time_s, media: entry.file.clone() });
            }
        }
        cause => {
            let line = times().max_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, line)| line);
            problems.push(line, Fault::Media { cause: cause.into() });
        }
    }
}

/// Whether marks of a frame to start from can be followed, for which the clip must be at hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Following {
    /// They can.
    Can,
    /// They cannot: only marks at end range count.
    Cannot,
}

/// Notes where the marks of a reach do not fit what the case says of it.
pub(crate) fn hold_against_case(
    marks: &MarksFile,
    lines: &MarksLines,
    entry: &ReachEntry,
    following: Following,
    problems: &mut Problems,
) {
    let is_measured = |frame: &&MarkedFrame| frame.used_as == FrameUse::EndRange || following == Following::Can;
    let measured = || marks.frames.iter().filter(is_measured);
    if measured().next().is_none() {
        problems.push(None, Fault::NoEndRange);
        return;
    }
    for (place, frame) in marks.frames.iter().enumerate().filter(|(_, frame)| is_measured(frame)) {
        let line = lines.frames.get(place).map(|frame| frame.frame);
        hold_apart(frame, marks.image_size, entry, line, problems);
    }
    if let (View::Side, Some(near)) = (entry.view, entry.near_side) {
        let landmarks: BTreeSet<Landmark> = measured().flat_map(|frame| frame.points.keys().copied()).collect();
        let has = |of: &[fn(Side) -> Landmark], side: Side| of.iter().any(|of| landmarks.contains(&of(side)));
        // the far wrist holds the bar in view; shoulder and elbow of the far arm alone are never all that is seen
        let is_far_alone = |of: &[fn(Side) -> Landmark]| !has(of, near) && has(of, near.other());
        let far = near.other();
        if is_far_alone(&[Landmark::Shoulder, Landmark::Elbow])
            || is_far_alone(&[Landmark::Shoulder, Landmark::Elbow, Landmark::Wrist])
        {
            let line = lines.frames.first().map(|frame| frame.frame);
            problems.push(line, Fault::OnlyFarArm { near: near.word(), far: far.word() });
        }
    }
}

/// Notes landmarks that are marked on one spot: two of them tell no direction, and what is measured then is what was taken to be
/// likely beforehand.
fn hold_apart(
    frame: &MarkedFrame,
    image_size: [u32; 2],
    entry: &ReachEntry,
    line: Option<usize>,
    problems: &mut Problems,
) {
    let mut pairs = vec![(Landmark::PlumbTop, Landmark::PlumbBottom)];
    if let (View::Side, Some(near)) = (entry.view, entry.near_side) {
        // no limb points at the camera here
        let [shoulder, elbow, wrist, hip] =
            [Landmark::Shoulder(near), Landmark::Elbow(near), Landmark::Wrist(near), Landmark::Hip(near)];
        pairs.extend([(shoulder, wrist), (shoulder, hip), (shoulder, elbow), (elbow, wrist)]);
    }
    let least_px = LEAST_APART_PX * scale(image_size);
    for (one, other) in pairs {
        if let (Some(a), Some(b)) = (frame.points.get(&one), frame.points.get(&other)) {
            let apart_px = a.point.distance_px(b.point);
            if apart_px < least_px {
                problems.push(line, Fault::SameSpot { first: one.name(), second: other.name(), apart_px, least_px });
            }
        }
    }
}

/// Notes what keeps the marks of a frame to start from from being followed to end range.
fn hold_start_against_case(
    marks: &MarksFile,
    lines: &MarksLines,
    entry: &ReachEntry,
    media: Option<&SeenMedia>,
    problems: &mut Problems,
) {
    let Some(start) = starts(marks) else {
        if let Some(place) = marks.frames.iter().position(|frame| frame.used_as == FrameUse::Start) {
            problems.at(lines.frames[place].frame, Fault::StartEmpty);
        }
        return;
    };
    let is_start =
        |frame: &MarkedFrame| frame.used_as == FrameUse::Start && (frame.time_s - start.time_s).abs() < SAME_TIME_S;
    let line = marks.frames.iter().position(is_start).map(|place| lines.frames[place].frame);
    if media.is_some_and(|media| media.is_still) {
        problems.push(line, Fault::StartOnStill);
    }
    let has = |landmark: &Landmark| start.marks.iter().any(|(placed, _)| placed == landmark);
    let missing = |needed: &[Landmark]| needed.iter().filter(|landmark| !has(landmark)).copied().collect::<Vec<_>>();
    match (entry.view, entry.near_side) {
        (View::Front, _) => {
            let missing = missing(&NEEDED_IN_FRONT);
            if !missing.is_empty() {
                problems.push(line, Fault::StartLacksInFront { missing });
            }
        }
        (_, Some(near)) => {
            let missing = missing(&needed_to_follow(near));
            if !missing.is_empty() {
                problems.push(line, Fault::StartLacks { missing });
            }
        }
        // a missing near side is noted by the case's reader
        (_, None) => {}
    }
}
