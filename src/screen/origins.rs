//! Which marks share an error: each followed or carried mark is led back to the mark that a person placed.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use crate::geometry::Landmark;

use super::marks::{MarkedFrame, MarksFile, MarksLines, SAME_TIME_S, Source, read_marks};
use super::problem::{Fault, Problem, Problems};

/// A marked point of a hand-marked frame from which others were followed or carried.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Origin {
    /// Index into [`Library::files`].
    pub(crate) file: usize,
    /// Time of the frame, s.
    pub(crate) time_s: f64,
    /// The landmark.
    pub(crate) landmark: Landmark,
}

/// The marks files of a visit and those that they name, each once.
#[derive(Debug, Default)]
pub(crate) struct Library {
    pub(crate) files: Vec<LibraryFile>,
    /// Every origin that some mark goes back to.
    pub(crate) origins: Vec<Origin>,
}

/// One marks file.
#[derive(Debug)]
pub(crate) struct LibraryFile {
    /// As it was named.
    pub(crate) path: PathBuf,
    /// One name for one file, however it was named.
    key: PathBuf,
    pub(crate) marks: MarksFile,
    pub(crate) lines: MarksLines,
    /// Per frame, the origin of each landmark: an index into [`Library::origins`]. Empty for hand-marked frames.
    pub(crate) frame_origins: Vec<BTreeMap<Landmark, usize>>,
}

impl Library {
    /// Reads a marks file unless it is there already. `None`, with the faults in `problems`, when it cannot be used.
    pub(crate) fn add(&mut self, path: &Path, problems: &mut Vec<Problem>) -> Option<usize> {
        let key = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        if let Some(known) = self.files.iter().position(|file| file.key == key) {
            return Some(known);
        }
        let (marks, mut found) = read_marks(path);
        problems.append(&mut found);
        let (marks, lines) = marks?;
        self.files.push(LibraryFile { path: path.to_owned(), key, marks, lines, frame_origins: Vec::new() });
        Some(self.files.len() - 1)
    }

    /// Leads every followed or carried mark back to its origin, reading the files that are named on the way.
    pub(crate) fn trace(&mut self, problems: &mut Vec<Problem>) {
        let mut file = 0;
        while file < self.files.len() {
            let mut found = Problems::new(&self.files[file].path.clone());
            for frame in 0..self.files[file].marks.frames.len() {
                let mut origins = BTreeMap::new();
                let followed = &self.files[file].marks.frames[frame];
                if followed.source != Source::Hand && followed.from.is_some() {
                    let landmarks: Vec<Landmark> = followed.points.keys().copied().collect();
                    let line = self.files[file].lines.frames[frame].from;
                    match self.origins_of(file, frame, &landmarks, problems) {
                        Ok(map) => origins = map,
                        Err(fault) => found.at(line, *fault),
                    }
                }
                self.files[file].frame_origins.push(origins);
            }
            problems.append(&mut found.into_list());
            file += 1;
        }
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
        self.files[file].marks.frames.iter().enumerate().filter(move |(_, frame)| {
            (frame.time_s - time_s).abs() < SAME_TIME_S && frame.points.contains_key(&landmark)
        })
    }

    fn origins_of(
        &mut self,
        file: usize,
        frame: usize,
        landmarks: &[Landmark],
        problems: &mut Vec<Problem>,
    ) -> Result<BTreeMap<Landmark, usize>, Box<Fault>> {
        let mut origins = BTreeMap::new();
        for landmark in landmarks {
            if let Some(origin) = self.origin_of(file, frame, *landmark, problems)? {
                origins.insert(*landmark, origin);
            }
        }
        Ok(origins)
    }

    /// Follows `from` from frame to frame until one was marked by hand. `None` when a file on the way has faults of its own.
    fn origin_of(
        &mut self,
        file: usize,
        frame: usize,
        landmark: Landmark,
        problems: &mut Vec<Problem>,
    ) -> Result<Option<usize>, Box<Fault>> {
        let mut way = vec![(file, frame)];
        loop {
            let (file, frame) = way[way.len() - 1];
            let here = &self.files[file];
            let Some(from) = here.marks.frames[frame].from.clone() else { return Ok(None) };
            let path = here.path.parent().unwrap_or(Path::new("")).join(&from.marks);
            let Some(next_file) = self.add(&path, problems) else { return Ok(None) };
            if self.hand_frames(next_file, from.time_s, landmark).next().is_some() {
                return Ok(Some(self.origin(next_file, from.time_s, landmark)));
            }
            let Some(next_frame) = self.frames_at(next_file, from.time_s, landmark).next().map(|(index, _)| index)
            else {
                let (mark, time_s, marks) = (landmark, from.time_s, from.marks);
                return Err(Box::new(Fault::FromNotFound { mark, time_s, marks }));
            };
            let next = (next_file, next_frame);
            if let Some(start) = way.iter().position(|step| *step == next) {
                let mut chain: Vec<String> = way[start..].iter().map(|step| self.step_words(*step)).collect();
                chain.push(self.step_words(next));
                return Err(Box::new(Fault::FromCycle { chain }));
            }
            way.push(next);
        }
    }

    fn origin(&mut self, file: usize, time_s: f64, landmark: Landmark) -> usize {
        self.origin_at(file, time_s, landmark).unwrap_or_else(|| {
            self.origins.push(Origin { file, time_s, landmark });
            self.origins.len() - 1
        })
    }

    fn step_words(&self, (file, frame): (usize, usize)) -> String {
        let here = &self.files[file];
        let name = here.path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        format!("{name} at {} s", here.marks.frames[frame].time_s)
    }
}
