//! How well people repeat their marks: spread per landmark and rater, and what it does to the arm's angle.
//!
//! Only marks placed by hand count. Files whose names agree up to the first full stop are marks of one clip or still, so that
//! each rater may keep a file of their own; within them, marks of one time are marks of one picture. A spread is that of
//! placing the mark again on the same picture: it says nothing of whether the landmark itself was found.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde::Serialize;

use crate::geometry::{ImagePoint, Landmark};
use crate::uncertainty::propagation::count_to_f64;
use crate::uncertainty::{PooledSpread, pooled_spread};

use super::error::ScreenError;
use super::marks::{MarksFile, SAME_TIME_S, Source};
use super::problem::{Fault, Problem};
use super::repeat_angles::{AngleComparison, AngleSpread, angle_comparisons, angle_spreads};
use super::spread::{LandmarkSd, SPREAD_DOF_MIN, SpreadFile, scale};

/// The name under which marks go that name no rater.
pub(crate) const NO_RATER: &str = "(no rater named)";

/// What repeated marking tells. Lengths in px at a long side of 1280 px.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Repeatability {
    /// Pictures that were marked.
    pub pictures: usize,
    /// The raters, by name.
    pub raters: Vec<RaterSpread>,
    /// Each landmark over all raters.
    pub landmarks: Vec<LandmarkSpread>,
    /// How well each rater repeats the angle between arm and trunk on the picture, deg.
    pub angles: Vec<AngleSpread>,
    /// Reliability of that angle between repeats and between raters.
    pub comparisons: Vec<AngleComparison>,
    /// What was left out, and why.
    pub notes: Vec<String>,
}

/// How well one rater repeats.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RaterSpread {
    /// The rater.
    pub rater: String,
    /// Marks placed.
    pub marks: usize,
    /// All landmarks together; `None` without repeats.
    pub all: Option<PooledSpread>,
    /// Each landmark that was placed repeatedly on a picture.
    pub landmarks: Vec<LandmarkOfRater>,
}

/// How well one rater repeats one landmark, along each axis.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LandmarkOfRater {
    /// The landmark.
    #[serde(serialize_with = "by_name")]
    pub landmark: Landmark,
    /// The spread.
    pub spread: PooledSpread,
}

/// How well a landmark is placed, along each axis.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LandmarkSpread {
    /// The landmark.
    #[serde(serialize_with = "by_name")]
    pub landmark: Landmark,
    /// Marks placed.
    pub marks: usize,
    /// Spread of a rater's repeats; `None` without repeats.
    pub within_raters: Option<PooledSpread>,
    /// Standard deviation between raters' own middle places, on top of their repeats; `None` with one rater.
    pub between_raters_sd_px: Option<f64>,
}

fn by_name<S: serde::Serializer>(landmark: &Landmark, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(landmark.name())
}

/// One picture: the clip's name up to the first full stop, and the time.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Picture {
    pub(crate) name: String,
    pub(crate) image_size: [u32; 2],
    pub(crate) time_s: f64,
    pub(crate) placings: Vec<Placing>,
}

/// The marks that one rater placed on a picture in one go.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Placing {
    pub(crate) rater: String,
    pub(crate) repeat: u32,
    pub(crate) points: BTreeMap<Landmark, ImagePoint>,
}

impl Picture {
    /// The picture in words.
    pub(crate) fn words(&self) -> String {
        format!("{} at {} s", self.name, self.time_s)
    }

    /// A rater's goes, in the order of their repeats.
    pub(crate) fn of_rater<'a>(&'a self, rater: &'a str) -> impl Iterator<Item = &'a Placing> {
        self.placings.iter().filter(move |placing| placing.rater == rater)
    }
}

/// Reads marks files and says how well their raters repeat.
///
/// # Errors
/// [`ScreenError::Invalid`] for faulty files, for files of one clip with pictures of different sizes, and if nothing was marked
/// twice: repeatability needs repeats, or several raters.
pub fn repeatability_of(paths: &[&Path]) -> Result<Repeatability, ScreenError> {
    let mut notes = Vec::new();
    let pictures = read_pictures(paths, &mut notes)?;
    told_by(&pictures, notes).ok_or_else(|| {
        let file = paths.first().copied().unwrap_or(Path::new("")).to_owned();
        ScreenError::Invalid { problems: vec![Problem { file, line: None, fault: Fault::NoRepeats }] }
    })
}

/// As [`repeatability_of`], of marks in memory, each with the name of its clip; `None` if nothing was marked twice.
#[must_use]
pub fn repeatability_of_marks(clips: &[(&str, &MarksFile)]) -> Option<Repeatability> {
    let mut pictures = Vec::new();
    for (name, marks) in clips {
        add_pictures(&mut pictures, name, marks);
    }
    sort_placings(&mut pictures);
    told_by(&pictures, Vec::new())
}

/// What pictures tell; `None` if nothing was marked twice.
fn told_by(pictures: &[Picture], mut notes: Vec<String>) -> Option<Repeatability> {
    let raters: BTreeSet<&str> =
        pictures.iter().flat_map(|picture| &picture.placings).map(|placing| placing.rater.as_str()).collect();
    let landmarks: BTreeSet<Landmark> = pictures
        .iter()
        .flat_map(|picture| &picture.placings)
        .flat_map(|placing| placing.points.keys().copied())
        .collect();
    let by_landmark: Vec<LandmarkSpread> =
        landmarks.iter().map(|landmark| landmark_spread(pictures, *landmark, &raters)).collect();
    let has_any = by_landmark.iter().any(|found| found.within_raters.is_some() || found.between_raters_sd_px.is_some());
    has_any.then(|| Repeatability {
        pictures: pictures.len(),
        raters: raters.iter().map(|rater| rater_spread(pictures, rater, &landmarks)).collect(),
        landmarks: by_landmark,
        angles: angle_spreads(pictures, &raters),
        comparisons: angle_comparisons(pictures, &raters, &mut notes),
        notes,
    })
}

impl Repeatability {
    /// A spread file for each rater who repeated enough for one, by the rater's name (`None` where marks name none).
    #[must_use]
    pub fn spread_files(&self) -> Vec<SpreadFile> {
        let file = |rater: &RaterSpread| {
            let landmarks: BTreeMap<Landmark, LandmarkSd> = rater
                .landmarks
                .iter()
                .filter(|found| found.spread.dof >= SPREAD_DOF_MIN && found.spread.sd > 0.0)
                .map(|found| (found.landmark, LandmarkSd::of(&found.spread)))
                .collect();
            let name = (rater.rater != NO_RATER).then(|| rater.rater.clone());
            (!landmarks.is_empty()).then_some(SpreadFile { rater: name, landmarks })
        };
        self.raters.iter().filter_map(file).collect()
    }
}

fn read_pictures(paths: &[&Path], notes: &mut Vec<String>) -> Result<Vec<Picture>, ScreenError> {
    let mut pictures: Vec<Picture> = Vec::new();
    for path in paths {
        let marks = MarksFile::read(path)?;
        let file_name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let name = file_name.split('.').next().unwrap_or_default().to_owned();
        if let Some(other) = pictures.iter().find(|picture| picture.name == name)
            && other.image_size != marks.image_size
        {
            let fault = Fault::PicturesDiffer { name, found: marks.image_size, first: other.image_size };
            return Err(ScreenError::Invalid {
                problems: vec![Problem { file: path.to_path_buf(), line: None, fault }],
            });
        }
        let passed_over = add_pictures(&mut pictures, &name, &marks);
        if passed_over > 0 {
            notes.push(format!(
                "{file_name}: {passed_over} frames were followed or carried, not placed by hand, and do not count"
            ));
        }
    }
    sort_placings(&mut pictures);
    Ok(pictures)
}

/// Adds the marks of the clip `name`. Gives how many frames were passed over, because no hand placed their marks.
fn add_pictures(pictures: &mut Vec<Picture>, name: &str, marks: &MarksFile) -> usize {
    let mut passed_over = 0;
    for frame in &marks.frames {
        if frame.source != Source::Hand {
            passed_over += 1;
            continue;
        }
        let is_same = |picture: &Picture| picture.name == name && (picture.time_s - frame.time_s).abs() < SAME_TIME_S;
        let index = pictures.iter().position(is_same).unwrap_or_else(|| {
            let (image_size, time_s) = (marks.image_size, frame.time_s);
            pictures.push(Picture { name: name.to_owned(), image_size, time_s, placings: Vec::new() });
            pictures.len() - 1
        });
        let rater = frame.rater.clone().unwrap_or_else(|| NO_RATER.to_owned());
        let placings = &mut pictures[index].placings;
        let next = placings.iter().filter(|placing| placing.rater == rater).map(|placing| placing.repeat).max();
        let repeat = frame.repeat.unwrap_or_else(|| next.unwrap_or(0) + 1);
        let points = frame.points.iter().map(|(landmark, marked)| (*landmark, marked.point)).collect();
        placings.push(Placing { rater, repeat, points });
    }
    passed_over
}

fn sort_placings(pictures: &mut [Picture]) {
    for picture in pictures {
        picture.placings.sort_by(|a, b| (&a.rater, a.repeat).cmp(&(&b.rater, b.repeat)));
    }
}

/// One landmark's places on one picture by one rater: x and y, px at a long side of 1280.
fn places(picture: &Picture, landmark: Landmark, rater: &str) -> [Vec<f64>; 2] {
    let unit = scale(picture.image_size);
    let points: Vec<ImagePoint> =
        picture.of_rater(rater).filter_map(|placing| placing.points.get(&landmark).copied()).collect();
    [points.iter().map(|point| point.x / unit).collect(), points.iter().map(|point| point.y / unit).collect()]
}

fn rater_spread(pictures: &[Picture], rater: &str, landmarks: &BTreeSet<Landmark>) -> RaterSpread {
    let groups_of = |landmark: Landmark| -> Vec<Vec<f64>> {
        pictures.iter().flat_map(|picture| places(picture, landmark, rater)).collect()
    };
    let all: Vec<Vec<f64>> = landmarks.iter().flat_map(|landmark| groups_of(*landmark)).collect();
    RaterSpread {
        rater: rater.to_owned(),
        marks: all.iter().map(Vec::len).sum::<usize>() / 2,
        all: pooled_spread(&all).ok(),
        landmarks: landmarks
            .iter()
            .filter_map(|landmark| {
                let spread = pooled_spread(&groups_of(*landmark)).ok()?;
                Some(LandmarkOfRater { landmark: *landmark, spread })
            })
            .collect(),
    }
}

/// Pools all raters, and takes the spread between their middle places apart from their repeats.
fn landmark_spread(pictures: &[Picture], landmark: Landmark, raters: &BTreeSet<&str>) -> LandmarkSpread {
    let mut within: Vec<Vec<f64>> = Vec::new();
    let mut middles: Vec<Vec<f64>> = Vec::new();
    let (mut marks, mut inverse_counts, mut cells) = (0, 0.0, 0.0);
    for picture in pictures {
        for axis in 0..2 {
            let mut of_picture = Vec::new();
            for rater in raters {
                let places = std::mem::take(&mut places(picture, landmark, rater)[axis]);
                if places.is_empty() {
                    continue;
                }
                let count = count_to_f64(places.len());
                of_picture.push(places.iter().sum::<f64>() / count);
                inverse_counts += 1.0 / count;
                cells += 1.0;
                marks += places.len();
                within.push(places);
            }
            middles.push(of_picture);
        }
    }
    let within_raters = pooled_spread(&within).ok();
    // A middle place carries the rater's own place and the mean of independent repeats: their variances add, so the repeats'
    // part is taken off again.
    let between_raters_sd_px = pooled_spread(&middles).ok().map(|middle| {
        let repeats = within_raters.map_or(0.0, |spread| spread.sd.powi(2) * inverse_counts / cells);
        (middle.sd.powi(2) - repeats).max(0.0).sqrt()
    });
    LandmarkSpread { landmark, marks: marks / 2, within_raters, between_raters_sd_px }
}

#[cfg(test)]
mod tests;
