//! A visit with everything that its case file names, read and held against each other.

use std::collections::BTreeSet;
use std::path::Path;

use crate::camera::{Lens, LensProfile, read_profile};
use crate::geometry::{Landmark, Side};
use crate::pose::View;
use crate::video::VideoError;

use super::case::{CaseFile, CaseLines, ReachEntry, ReachLines, read_case};
use super::error::ScreenError;
use super::marks::{FrameUse, MarksFile, MarksLines, SAME_TIME_S};
use super::media::OpenMedia;
use super::origins::Library;
use super::problem::{Fault, Problem, Problems};
use super::spread::MarkingSpread;

/// A visit, ready to be measured.
pub(crate) struct Visit {
    pub(crate) case: CaseFile,
    /// In the case's order.
    pub(crate) reaches: Vec<LoadedReach>,
    pub(crate) library: Library,
    pub(crate) spread: MarkingSpread,
}

/// A reach with its picture and marks.
pub(crate) struct LoadedReach {
    pub(crate) entry: ReachEntry,
    pub(crate) media: OpenMedia,
    /// Index into [`Library::files`].
    pub(crate) marks: usize,
    pub(crate) lens: Option<Lens>,
}

impl Visit {
    /// The marks of a reach.
    pub(crate) fn marks_of(&self, reach: usize) -> &MarksFile {
        &self.library.files[self.reaches[reach].marks].marks
    }
}

/// Reads a case and everything that it names, measures nothing, and names every problem at once.
#[must_use]
pub fn check_case(path: &Path) -> Vec<Problem> {
    load(path).1
}

/// Reads a case and everything that it names.
pub(crate) fn load_visit(path: &Path) -> Result<Visit, ScreenError> {
    match load(path) {
        (Some(visit), problems) if problems.is_empty() => Ok(visit),
        (_, problems) => Err(ScreenError::Invalid { problems }),
    }
}

fn load(path: &Path) -> (Option<Visit>, Vec<Problem>) {
    let (case, mut problems) = read_case(path);
    let Some((case, lines)) = case else { return (None, problems) };
    let folder = path.parent().unwrap_or(Path::new("")).to_owned();
    let mut library = Library::default();
    let mut of_case = Problems::new(path);
    let spread = spread(&case, &lines, &folder, &mut of_case);
    let mut reaches = Vec::new();
    for (entry, at) in case.reaches.iter().zip(&lines.reaches) {
        reaches.extend(load_reach(entry, *at, &case, &folder, &mut library, &mut of_case, &mut problems));
    }
    library.trace(&mut problems);
    problems.append(&mut of_case.into_list());
    problems.sort_by_key(|problem| problem.file != path);
    let is_whole = reaches.len() == case.reaches.len();
    let visit = spread.filter(|_| is_whole).map(|spread| Visit { case, reaches, library, spread });
    (visit, problems)
}

fn spread(case: &CaseFile, lines: &CaseLines, folder: &Path, problems: &mut Problems) -> Option<MarkingSpread> {
    let Some(file) = &case.marking.spread_file else { return Some(MarkingSpread::usual(case.marking.sd_px)) };
    match MarkingSpread::read(&folder.join(file), case.marking.sd_px) {
        Ok(spread) => Some(spread),
        Err(cause) => {
            problems.at(lines.spread_file, Fault::Spread { file: file.clone(), cause });
            None
        }
    }
}

fn load_reach(
    entry: &ReachEntry,
    at: ReachLines,
    case: &CaseFile,
    folder: &Path,
    library: &mut Library,
    of_case: &mut Problems,
    problems: &mut Vec<Problem>,
) -> Option<LoadedReach> {
    let mut media = match OpenMedia::open(&folder.join(&entry.file)) {
        Ok(media) => Some(media),
        Err(cause) => {
            of_case.at(at.file, Fault::Media { cause: cause.into() });
            None
        }
    };
    let marks = match std::fs::metadata(folder.join(&entry.marks)) {
        Ok(_) => library.add(&folder.join(&entry.marks), problems),
        // a missing marks file is the case's fault, at the line that names it
        Err(cause) => {
            of_case.at(at.marks, Fault::Marks { marks: entry.marks.clone(), cause });
            None
        }
    };
    let lens = match (entry.profile.as_ref().or(case.camera.profile.as_ref()), &media) {
        (Some(profile), media) => match lens(&folder.join(profile), media.as_ref()) {
            Ok(lens) => Some(lens),
            Err(cause) => {
                of_case.at(at.profile, Fault::Lens { profile: profile.clone(), cause });
                None
            }
        },
        (None, _) => Some(None),
    };
    if let Some(marks) = marks {
        let file = &library.files[marks];
        let mut found = Problems::new(&file.path);
        hold_against(&file.marks, &file.lines, entry, media.as_mut(), &mut found);
        problems.append(&mut found.into_list());
    }
    Some(LoadedReach { entry: entry.clone(), media: media?, marks: marks?, lens: lens? })
}

fn lens(profile: &Path, media: Option<&OpenMedia>) -> Result<Option<Lens>, Box<dyn std::error::Error + Send + Sync>> {
    let profile: LensProfile = read_profile(profile)?;
    media.map(|media| profile.lens_for(media.upright_size(), media.quarter_turns())).transpose().map_err(Into::into)
}

/// Notes where the marks of a reach do not fit its picture or its case.
fn hold_against(
    marks: &MarksFile,
    lines: &MarksLines,
    entry: &ReachEntry,
    media: Option<&mut OpenMedia>,
    problems: &mut Problems,
) {
    if let Some(media) = media {
        let picture = media.upright_size();
        if marks.image_size != picture {
            let (marks, media) = (marks.image_size, entry.file.clone());
            problems.at(lines.image_size, Fault::ImageSizeDiffers { marks, picture, media });
        }
        hold_against_times(marks, lines, entry, media, problems);
    }
    let measured = || marks.frames.iter().filter(|frame| frame.used_as == FrameUse::EndRange);
    if measured().next().is_none() {
        problems.push(None, Fault::NoEndRange);
        return;
    }
    if let (View::Side, Some(near)) = (entry.view, entry.near_side) {
        let landmarks: BTreeSet<Landmark> = measured().flat_map(|frame| frame.points.keys().copied()).collect();
        let has_arm = |side: Side| {
            [Landmark::Shoulder(side), Landmark::Elbow(side), Landmark::Wrist(side)]
                .iter()
                .any(|landmark| landmarks.contains(landmark))
        };
        let far = near.other();
        if !has_arm(near) && has_arm(far) {
            let line = lines.frames.first().map(|frame| frame.frame);
            problems.push(line, Fault::OnlyFarArm { near: near.word(), far: far.word() });
        }
    }
}

/// Notes frames after the last one of the clip. Where the latest marked frame is there, so are the earlier ones.
fn hold_against_times(
    marks: &MarksFile,
    lines: &MarksLines,
    entry: &ReachEntry,
    media: &mut OpenMedia,
    problems: &mut Problems,
) {
    let times = || marks.frames.iter().zip(&lines.frames).map(|(frame, at)| (frame.time_s, at.time_s));
    let Some((latest_s, line)) = times().max_by(|a, b| a.0.total_cmp(&b.0)) else { return };
    match media.go_to(latest_s) {
        Ok(()) => {}
        Err(VideoError::PastEnd { last_s, .. }) => {
            for (time_s, line) in times().filter(|(time_s, _)| *time_s > last_s + SAME_TIME_S) {
                problems.at(line, Fault::PastEnd { time_s, last_s, media: entry.file.clone() });
            }
        }
        Err(cause) => problems.at(line, Fault::Media { cause: cause.into() }),
    }
}
