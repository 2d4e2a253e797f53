//! Which marks share an error: each followed or carried mark is led back to the mark that a person placed.

use std::collections::{HashMap, HashSet};
use std::path::{Path, PathBuf};

use crate::geometry::Landmark;

use super::marks::{FrameLines, FrameUse, MarkedFrame, MarksFile, MarksLines, SAME_TIME_S, Source, read_marks};
use super::problem::{Fault, Problem};

/// A marked point of a hand-marked frame from which others were followed or carried.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Origin {
    /// Index into [`MarksStore::files`].
    pub(crate) file: usize,
    /// Time of the frame, s.
    pub(crate) time_s: f64,
    /// The landmark.
    pub(crate) landmark: Landmark,
}

/// The marks files of a visit and those that they name, each once.
#[derive(Debug, Default)]
pub(crate) struct MarksStore {
    pub(crate) files: Vec<StoredMarks>,
    /// Every origin that some mark goes back to.
    pub(crate) origins: Vec<Origin>,
    /// Where each followed or carried mark goes back to; `None` where that cannot be told.
    traced: HashMap<Step, Option<usize>>,
}

/// One marks file.
#[derive(Debug)]
pub(crate) struct StoredMarks {
    /// As it was named.
    pub(crate) path: PathBuf,
    /// One name for one file, however it was named.
    key: PathBuf,
    pub(crate) marks: MarksFile,
    pub(crate) lines: MarksLines,
    /// Frames by time, with their indices.
    by_time: Vec<(f64, usize)>,
}

/// One mark on the way back: file, frame, landmark.
type Step = (usize, usize, Landmark);

impl MarksStore {
    /// Reads a marks file unless it is there already. `None`, with the faults in `problems`, when it cannot be used.
    pub(crate) fn add(&mut self, path: &Path, problems: &mut Vec<Problem>) -> Option<usize> {
        let key = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        if let Some(known) = self.files.iter().position(|file| file.key == key) {
            return Some(known);
        }
        let (marks, mut found) = read_marks(path);
        problems.append(&mut found);
        let (marks, lines) = marks?;
        Some(self.push(path, key, marks, lines))
    }

    /// Adds marks that are in memory under the name of their file.
    pub(crate) fn add_known(&mut self, path: &Path, marks: MarksFile) -> usize {
        let lines = MarksLines { image_size: 0, frames: vec![FrameLines::default(); marks.frames.len()] };
        self.push(path, path.to_owned(), marks, lines)
    }

    fn push(&mut self, path: &Path, key: PathBuf, marks: MarksFile, lines: MarksLines) -> usize {
        let mut by_time: Vec<(f64, usize)> =
            marks.frames.iter().enumerate().map(|(index, frame)| (frame.time_s, index)).collect();
        by_time.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        self.files.push(StoredMarks { path: path.to_owned(), key, marks, lines, by_time });
        self.files.len() - 1
    }

    /// Adds frames whose marks were followed within a file's clip.
    pub(crate) fn add_followed(&mut self, file: usize, frames: Vec<MarkedFrame>) {
        let file = &mut self.files[file];
        for frame in frames {
            let place = file.by_time.partition_point(|(time_s, _)| *time_s <= frame.time_s);
            file.by_time.insert(place, (frame.time_s, file.marks.frames.len()));
            file.lines.frames.push(FrameLines::default());
            file.marks.frames.push(frame);
        }
    }

    /// Takes the hand-marked frames of a file to start from for frames at end range, where they are.
    pub(crate) fn count_starts_at_end(&mut self, file: usize, is_at_end: impl Fn(f64) -> bool) {
        let starts = self.files[file].marks.frames.iter_mut();
        let starts = starts.filter(|frame| frame.source == Source::Hand && frame.used_as == FrameUse::Start);
        starts.filter(|frame| is_at_end(frame.time_s)).for_each(|frame| frame.used_as = FrameUse::EndRange);
    }

    /// Adds a frame to a file whose marks were carried from those at a time of another, placed by hand or followed there.
    pub(crate) fn add_carried(&mut self, file: usize, frame: MarkedFrame, (from_file, from_time_s): (usize, f64)) {
        let number = self.files[file].marks.frames.len();
        for landmark in frame.points.keys() {
            let origin = self.origin_behind(from_file, from_time_s, *landmark);
            self.traced.insert((file, number, *landmark), origin);
        }
        self.add_followed(file, vec![frame]);
    }

    /// Leads every followed or carried mark back to its origin, reading the files that are named on the way.
    pub(crate) fn trace(&mut self, problems: &mut Vec<Problem>) {
        let mut file = 0;
        // files that are named on the way are added at the end, and traced in their turn
        while file < self.files.len() {
            for frame in 0..self.files[file].marks.frames.len() {
                let followed = &self.files[file].marks.frames[frame];
                if followed.source != Source::Hand {
                    let landmarks: Vec<Landmark> = followed.points.keys().copied().collect();
                    for landmark in landmarks {
                        self.trace_mark((file, frame, landmark), problems);
                    }
                }
            }
            file += 1;
        }
    }

    /// The origin of a followed or carried mark.
    pub(crate) fn origin_of(&self, file: usize, frame: usize, landmark: Landmark) -> Option<usize> {
        self.traced.get(&(file, frame, landmark)).copied().flatten()
    }

    /// The hand-marked frames at a time of a file that have a landmark.
    pub(crate) fn hand_frames(
        &self,
        file: usize,
        time_s: f64,
        landmark: Landmark,
    ) -> impl Iterator<Item = &MarkedFrame> {
        self.frames_at(file, time_s, landmark).map(|(_, frame)| frame).filter(|frame| frame.source == Source::Hand)
    }

    /// The origin that a hand mark is, if others go back to it.
    pub(crate) fn origin_at(&self, file: usize, time_s: f64, landmark: Landmark) -> Option<usize> {
        self.origins.iter().position(|origin| {
            origin.file == file && origin.landmark == landmark && (origin.time_s - time_s).abs() < SAME_TIME_S
        })
    }

    fn frames_at(&self, file: usize, time_s: f64, landmark: Landmark) -> impl Iterator<Item = (usize, &MarkedFrame)> {
        let file = &self.files[file];
        let start = file.by_time.partition_point(|(time, _)| *time <= time_s - SAME_TIME_S);
        file.by_time[start..]
            .iter()
            .take_while(move |(time, _)| *time < time_s + SAME_TIME_S)
            .map(|(_, index)| (*index, &file.marks.frames[*index]))
            .filter(move |(_, frame)| frame.points.contains_key(&landmark))
    }

    /// Follows `from` from frame to frame until one was marked by hand. What is found holds for every mark on the way, so
    /// no way is gone twice and a fault is noted once, at the frame that has it.
    fn trace_mark(&mut self, start: Step, problems: &mut Vec<Problem>) {
        let mut way = vec![start];
        let mut been: HashSet<Step> = HashSet::from([start]);
        let origin = loop {
            let here = way[way.len() - 1];
            if let Some(known) = self.traced.get(&here) {
                break *known;
            }
            match self.step_back(here, problems) {
                Back::Hand(origin) => break Some(origin),
                Back::Followed(next) if been.contains(&next) => {
                    let from = way.iter().position(|step| *step == next).unwrap_or(0);
                    let chain = way[from..].iter().chain([&next]).map(|step| self.step_words(*step)).collect();
                    problems.push(self.problem(here, Fault::FromCycle { chain }));
                    break None;
                }
                Back::Followed(next) => {
                    way.push(next);
                    been.insert(next);
                }
                Back::Lost => break None,
            }
        };
        for step in way {
            self.traced.entry(step).or_insert(origin);
        }
    }

    fn step_back(&mut self, here: Step, problems: &mut Vec<Problem>) -> Back {
        let (file, frame, landmark) = here;
        // a frame without one has been noted by the reader
        let Some(from) = self.files[file].marks.frames[frame].from.clone() else { return Back::Lost };
        let path = self.files[file].path.parent().unwrap_or(Path::new("")).join(&from.marks);
        let next_file = match self.files.iter().position(|known| known.path == path) {
            // marks in memory have no file
            Some(known) => known,
            None => {
                if let Err(cause) = std::fs::metadata(&path) {
                    problems.push(self.problem(here, Fault::Marks { marks: from.marks, cause }));
                    return Back::Lost;
                }
                let Some(added) = self.add(&path, problems) else { return Back::Lost };
                added
            }
        };
        if self.hand_frames(next_file, from.time_s, landmark).next().is_some() {
            return Back::Hand(self.origin(next_file, from.time_s, landmark));
        }
        let next = self.frames_at(next_file, from.time_s, landmark).next().map(|(index, _)| index);
        match next {
            Some(next_frame) => Back::Followed((next_file, next_frame, landmark)),
            None => {
                let (mark, time_s, marks) = (landmark, from.time_s, from.marks);
                problems.push(self.problem(here, Fault::FromNotFound { mark, time_s, marks }));
                Back::Lost
            }
        }
    }

    fn problem(&self, (file, frame, _): Step, fault: Fault) -> Problem {
        let here = &self.files[file];
        Problem { file: here.path.clone(), line: Some(here.lines.frames[frame].from), fault }
    }

    fn origin(&mut self, file: usize, time_s: f64, landmark: Landmark) -> usize {
        self.origin_at(file, time_s, landmark).unwrap_or_else(|| {
            self.origins.push(Origin { file, time_s, landmark });
            self.origins.len() - 1
        })
    }

    /// The origin of a mark at a time of a file: itself where it was placed by hand, else that which it was followed from.
    fn origin_behind(&mut self, file: usize, time_s: f64, landmark: Landmark) -> Option<usize> {
        if self.hand_frames(file, time_s, landmark).next().is_some() {
            return Some(self.origin(file, time_s, landmark));
        }
        let followed = self.frames_at(file, time_s, landmark).filter(|(_, frame)| frame.source == Source::Track);
        let frames: Vec<usize> = followed.map(|(index, _)| index).collect();
        frames.into_iter().find_map(|frame| self.origin_of(file, frame, landmark))
    }

    fn step_words(&self, (file, frame, _): Step) -> String {
        let here = &self.files[file];
        let name = here.path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        format!("{name} at {} s", here.marks.frames[frame].time_s)
    }
}

/// What a followed or carried mark comes from.
enum Back {
    /// A mark that a person placed: an origin.
    Hand(usize),
    /// Another followed or carried mark.
    Followed(Step),
    /// Nothing that can be found; the fault is noted.
    Lost,
}
