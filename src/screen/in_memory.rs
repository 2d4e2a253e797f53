//! A visit whose case and marks are in memory and whose pictures are known: measured as its files would be.
//!
//! Nothing is decoded and no picture is looked at, so that the numbers can follow a mark while it moves. The same marks in files give
//! the same result to the last digit with [`MeasureOptions::marks_alone`], or where they state their spread: see
//! [`super::with_marks_as_placed`].

use std::path::{Path, PathBuf};

use crate::camera::LensProfile;
use crate::video::Damage;

use super::case::{CaseFile, CaseLines, ReachEntry};
use super::error::ScreenError;
use super::marks::{MarksFile, MarksLines};
use super::measure::{MeasureOptions, MeasuredVisit, measure_visit};
use super::media::SeenMedia;
use super::origins::MarksStore;
use super::problem::{Fault, Problem, Problems};
use super::visit::{Following, LoadedReach, Visit, hold_against_case, hold_against_picture, marking_spread};

/// What must be known of a clip or still.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Picture {
    /// Width and height of the upright picture, px.
    pub upright_size: [u32; 2],
    /// Quarter turns clockwise from the stored to the upright picture.
    pub quarter_turns: u8,
    /// Where the clip stops being usable.
    pub damage: Option<Damage>,
}

/// A reach with its marks.
#[derive(Debug, Clone)]
pub struct MarkedReach<'a> {
    /// The marks. Frames that were carried name the marks of another reach of the case.
    pub marks: MarksFile,
    /// The picture that they are on.
    pub picture: Picture,
    /// The lens profile that the case names for it.
    pub profile: Option<&'a LensProfile>,
}

/// Measures a visit, the bar where it was marked. `reaches` are those of the case, in its order; their paths are names and nothing is
/// read from them. `one_recordings` are pairs of them that are known to be one recording, as [`super::one_recordings`] tells them.
///
/// # Errors
/// [`ScreenError::Invalid`] with every fault that [`super::measure_case`] would name.
///
/// # Panics
/// If there are not as many reaches as the case has.
pub fn measure_marks(
    case: &CaseFile,
    reaches: &[MarkedReach<'_>],
    one_recordings: Vec<[usize; 2]>,
) -> Result<MeasuredVisit, ScreenError> {
    assert_eq!(case.reaches.len(), reaches.len(), "one reach for each of the case");
    let mut of_case = Problems::new(Path::new("case"));
    let spread = marking_spread(case, &CaseLines::default(), Path::new(""), &mut of_case);
    let mut store = MarksStore::default();
    let mut problems = Vec::new();
    let mut loaded = Vec::new();
    for (entry, reach) in case.reaches.iter().zip(reaches) {
        problems.extend(faults(entry, reach));
        let lens = match reach.profile.map(|profile| lens(profile, reach.picture)).transpose() {
            Ok(lens) => lens,
            Err(cause) => {
                of_case.push(None, Fault::Lens { profile: PathBuf::from("the lens profile"), cause: cause.into() });
                None
            }
        };
        loaded.push(LoadedReach {
            entry: entry.clone(),
            media: SeenMedia::known(&entry.file, reach.picture),
            marks: store.add_known(&entry.marks, reach.marks.clone()),
            lens,
            followed: None,
            holds: None,
        });
    }
    store.trace(&mut problems);
    problems.extend(of_case.into_list());
    match spread {
        Some(spread) if problems.is_empty() => {
            let visit = Visit { case: case.clone(), reaches: loaded, store, spread, one_recordings };
            Ok(measure_visit(&visit, MeasureOptions::default()))
        }
        _ => Err(ScreenError::Invalid { problems }),
    }
}

/// What keeps a reach from being measured, by its marks; empty where nothing does.
#[must_use]
pub fn faults(entry: &ReachEntry, reach: &MarkedReach<'_>) -> Vec<Problem> {
    let mut problems = Problems::new(&entry.marks);
    let media = SeenMedia::known(&entry.file, reach.picture);
    hold_against_picture(&reach.marks, &MarksLines::default(), entry, &media, &mut problems);
    hold_against_case(&reach.marks, &MarksLines::default(), entry, Following::Cannot, &mut problems);
    if let Some(Err(cause)) = reach.profile.map(|profile| lens(profile, reach.picture)) {
        let profile = entry.profile.clone().unwrap_or_else(|| PathBuf::from("the lens profile"));
        problems.push(None, Fault::Lens { profile, cause: cause.into() });
    }
    problems.into_list()
}

fn lens(profile: &LensProfile, picture: Picture) -> Result<crate::camera::Lens, crate::camera::CameraError> {
    profile.lens_for(picture.upright_size, picture.quarter_turns)
}

#[cfg(test)]
mod tests {
    use crate::camera::read_profile;
    use crate::screen::measure_case;
    use crate::video::Media;

    use super::*;

    #[test]
    fn marks_in_memory_measure_as_their_files_do_to_the_last_digit() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side");
        let case = CaseFile::read(&folder.join("case.toml")).unwrap();
        let profile = read_profile(&folder.join(case.camera.profile.as_ref().unwrap())).unwrap();
        let reaches: Vec<MarkedReach<'_>> = case
            .reaches
            .iter()
            .map(|entry| {
                let media = Media::open(&folder.join(&entry.file)).unwrap();
                let quarter_turns = media.info().orientation.quarter_turns();
                MarkedReach {
                    marks: MarksFile::read(&folder.join(&entry.marks)).unwrap(),
                    picture: Picture { upright_size: media.upright_size(), quarter_turns, damage: None },
                    profile: Some(&profile),
                }
            })
            .collect();
        // nothing is looked for in pictures that are not at hand
        let options = MeasureOptions { marks_alone: true, ..MeasureOptions::default() };
        let of_files = measure_case(&folder.join("case.toml"), options).unwrap();
        let in_memory = measure_marks(&case, &reaches, Vec::new()).unwrap();
        assert_eq!(in_memory.result, of_files.result);
        assert_eq!(in_memory.warnings, of_files.warnings);
    }

    #[test]
    fn a_reach_without_marks_or_of_another_size_says_what_is_wrong() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side");
        let case = CaseFile::read(&folder.join("case.toml")).unwrap();
        let marks = MarksFile::read(&folder.join(&case.reaches[0].marks)).unwrap();
        let picture = Picture { upright_size: [640, 360], quarter_turns: 0, damage: None };
        let found = faults(&case.reaches[0], &MarkedReach { marks: marks.clone(), picture, profile: None });
        assert!(matches!(found[..], [Problem { fault: Fault::ImageSizeDiffers { .. }, .. }]), "{found:?}");
        let picture = Picture { upright_size: [1280, 720], ..picture };
        let none = MarksFile { frames: Vec::new(), ..marks };
        let found = faults(&case.reaches[0], &MarkedReach { marks: none, picture, profile: None });
        assert!(matches!(found[..], [Problem { fault: Fault::NoEndRange, .. }]), "{found:?}");
    }
}
