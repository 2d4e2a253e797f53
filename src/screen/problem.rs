//! One fault of an input file: where it is, what was found and what is accepted.

use std::error::Error;
use std::fmt;
use std::path::{Path, PathBuf};

use crate::geometry::Landmark;
use crate::pose::{Rotation, View};

use super::result::Occasion;

/// A name counts as a likely misspelling of another from this Damerau-Levenshtein similarity on (common practice).
const LIKENESS_MIN: f64 = 0.5;

/// No more problems than this are kept of one file: past it, the list helps nobody.
const PROBLEMS_MAX: usize = 200;

/// A fault and its place.
#[derive(Debug, thiserror::Error)]
pub struct Problem {
    /// The file, as it was named.
    pub file: PathBuf,
    /// Line, from 1, where the fault belongs to one.
    pub line: Option<usize>,
    /// The fault, which the problem's own sentence holds.
    pub fault: Fault,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.file.display())?;
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        write!(f, "{}", self.fault)
    }
}

/// What is wrong.
#[derive(Debug, thiserror::Error)]
pub enum Fault {
    /// The file cannot be read at all.
    #[error("cannot be read: {}", cause.to_string().to_lowercase())]
    Unreadable {
        /// The cause, which the sentence holds.
        cause: std::io::Error,
    },
    /// The file is larger than any file of its format.
    #[error("{found_bytes} bytes, expected at most {accepted_bytes}")]
    TooLarge {
        /// Its size.
        found_bytes: u64,
        /// The largest that is read.
        accepted_bytes: u64,
    },
    /// The text does not follow the language of the file.
    #[error("not valid {language}: {message}")]
    Syntax {
        /// `TOML` or `JSON`.
        language: &'static str,
        /// What the parser says.
        message: String,
    },
    /// A field, mark or check that the format does not know.
    #[error("unknown {kind} \"{}\" in {place}, expected one of {}{}", found.escape_debug(), accepted.join(", "), nearest_words(nearest.as_deref()))]
    UnknownName {
        /// `field`, `mark` or `check`.
        kind: &'static str,
        /// The name found.
        found: String,
        /// The table that it was found in.
        place: String,
        /// The accepted names.
        accepted: Vec<&'static str>,
        /// The accepted name nearest to it, if one is near.
        nearest: Option<String>,
    },
    /// A field that occurs twice.
    #[error("\"{}\" occurs twice in {place}", field.escape_debug())]
    RepeatedField {
        /// The field.
        field: String,
        /// The table.
        place: String,
    },
    /// A field that must be there is not.
    #[error("missing field \"{field}\" in {place}")]
    MissingField {
        /// The field.
        field: &'static str,
        /// The table.
        place: String,
    },
    /// A value of another kind.
    #[error("\"{field}\" in {place} is {found}, expected {accepted}")]
    WrongKind {
        /// The field.
        field: String,
        /// The table.
        place: String,
        /// The kind found.
        found: &'static str,
        /// What is accepted.
        accepted: String,
    },
    /// A word that is not among the accepted ones.
    #[error("\"{field}\" in {place} is \"{}\", expected one of {}{}", found.escape_debug(), accepted.join(", "), nearest_words(nearest.as_deref()))]
    UnknownWord {
        /// The field.
        field: &'static str,
        /// The table.
        place: String,
        /// The word found.
        found: String,
        /// The accepted words.
        accepted: Vec<&'static str>,
        /// The accepted word nearest to it, if one is near.
        nearest: Option<String>,
    },
    /// A number that is not finite or not in range, or a text of the wrong length.
    #[error("\"{field}\" in {place} is {found}, expected {accepted}")]
    OutOfRange {
        /// The field.
        field: String,
        /// The table.
        place: String,
        /// The value found.
        found: String,
        /// What is accepted.
        accepted: String,
    },
    /// A covariance that is not one.
    #[error("the covariance of \"{mark}\" is [{}, {}, {}] px², expected a positive definite one: cxx > 0, cyy > 0, cxx·cyy > cxy²", found[0], found[1], found[2])]
    NotPositiveDefinite {
        /// The mark.
        mark: Landmark,
        /// cxx, cxy, cyy as found, px².
        found: [f64; 3],
    },
    /// Marks that say nothing of repeatability.
    #[error(
        "nothing was marked twice: repeatability needs one picture marked repeatedly, or by several raters, with \"rater\" and \"repeat\" told apart"
    )]
    NoRepeats,
    /// Marks files of one clip with pictures of different sizes.
    #[error("\"image_size\" is {}x{}, but other marks of {name} have {}x{}", found[0], found[1], first[0], first[1])]
    PicturesDiffer {
        /// The clip.
        name: String,
        /// Here, px.
        found: [u32; 2],
        /// In the first file, px.
        first: [u32; 2],
    },
    /// Two reaches of one occasion, rotation and view.
    #[error("the same reach twice: {} {} {} is also at line {first_line}", word(occasion), word(rotation), word(view))]
    SameReachTwice {
        /// Of both.
        occasion: Occasion,
        /// Of both.
        rotation: Rotation,
        /// Of both.
        view: View,
        /// Line of the first.
        first_line: usize,
    },
    /// Two reaches with one marks file.
    #[error("{} holds the marks of the reach at line {first_line} already, expected a file of its own for each reach", marks.display())]
    SameMarksTwice {
        /// As the case names it.
        marks: PathBuf,
        /// Line of the first.
        first_line: usize,
    },
    /// Two frames of one time, rater and repeat.
    #[error("the same frame twice: time {time_s} s, rater and repeat are those of line {first_line}")]
    SameFrameTwice {
        /// Of both, s.
        time_s: f64,
        /// Line of the first.
        first_line: usize,
    },
    /// A side or oblique view without the side towards the camera.
    #[error("missing field \"near_side\" in [[reach]]: a {} view needs the side towards the camera", word(view))]
    NearSideMissing {
        /// The view.
        view: View,
    },
    /// A front view with a side towards the camera.
    #[error(
        "\"near_side\" in [[reach]] contradicts view = \"front\": from the front no side is nearer; remove one of them"
    )]
    NearSideInFront,
    /// Two reaches of one view, filmed from different sides.
    #[error(
        "near_side = \"{found}\" contradicts line {first_line}, where the same view has near_side = \"{first}\": film both reaches from one side"
    )]
    NearSidesDiffer {
        /// Here.
        found: &'static str,
        /// In the first reach of this view.
        first: &'static str,
        /// Line of the first reach of this view.
        first_line: usize,
    },
    /// Two landmarks on one spot that are apart on every body and wall.
    #[error(
        "{first} and {second} are marked {apart_px:.0} px apart, expected at least {least_px:.0}: mark each on its own spot"
    )]
    SameSpot {
        /// One landmark.
        first: &'static str,
        /// The other.
        second: &'static str,
        /// Their distance, px.
        apart_px: f64,
        /// The least distance that is accepted, px.
        least_px: f64,
    },
    /// A side view in which only the arm away from the camera is marked.
    #[error(
        "the marks of the arm are those of the {far} one, but the side towards the camera (near_side) is the {near}: mark the near arm, or correct the side"
    )]
    OnlyFarArm {
        /// The side towards the camera, by the case.
        near: &'static str,
        /// The side that is marked.
        far: &'static str,
    },
    /// A picture that another reach has, too.
    #[error("{} shows the very picture of {} at its marked frame: one picture can't be two reaches; name the clip of this reach, or the time of its own frame", media.display(), other.display())]
    SamePicture {
        /// The clip or still of the reach.
        media: PathBuf,
        /// That of the reach which has the picture, too.
        other: PathBuf,
    },
    /// A raise that another reach has, too.
    #[error("{} at {time_s:.2} s shows the very raise of {} at {other_s:.2} s: one raise can't be two reaches; name the clip of this reach, or the time of its own raise", media.display(), other.display())]
    SameRaise {
        /// The clip of the reach.
        media: PathBuf,
        /// Its marked frame, s.
        time_s: f64,
        /// That of the other reach, the same file or a copy.
        other: PathBuf,
        /// The marked frame there, s.
        other_s: f64,
    },
    /// Marks of a picture of another size.
    #[error("\"image_size\" is {}x{}, but the upright picture of {} is {}x{}", marks[0], marks[1], media.display(), picture[0], picture[1])]
    ImageSizeDiffers {
        /// Width and height by the marks, px.
        marks: [u32; 2],
        /// Width and height of the upright picture, px.
        picture: [u32; 2],
        /// The clip or still.
        media: PathBuf,
    },
    /// A mark beside the picture.
    #[error("mark \"{mark}\" at ({x}, {y}) lies outside the picture of {}x{} px", picture[0], picture[1])]
    OutsidePicture {
        /// The mark.
        mark: Landmark,
        /// Column, px.
        x: f64,
        /// Row, px.
        y: f64,
        /// Width and height, px.
        picture: [u32; 2],
    },
    /// A marked time after the clip's last frame.
    #[error("\"time_s\" is {time_s} s, past the last frame of {} at {last_s:.3} s", media.display())]
    PastEnd {
        /// The time, s.
        time_s: f64,
        /// Time of the last frame, s.
        last_s: f64,
        /// The clip.
        media: PathBuf,
    },
    /// A time other than 0 in a single picture.
    #[error("\"time_s\" is {time_s} s, but {} is a single picture: expected 0", media.display())]
    NotInStill {
        /// The time, s.
        time_s: f64,
        /// The still.
        media: PathBuf,
    },
    /// No frame at end range.
    #[error("no frame has use = \"end_range\": mark the reach at its highest held position")]
    NoEndRange,
    /// A frame to start from without marks.
    #[error("a frame with use = \"start\" has no mark to follow")]
    StartEmpty,
    /// A frame to start from in a single picture.
    #[error(
        "use = \"start\" in a single picture: there is nothing to follow; mark end range, with use = \"end_range\""
    )]
    StartOnStill,
    /// A frame to start from in a front view without the marks that the bar's height takes.
    #[error(
        "a frame with use = \"start\" in a front view lacks {}: finding the holds takes both shoulders and both ends of the bar",
        missing.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
    )]
    StartLacksInFront {
        /// The marks that are not there.
        missing: Vec<Landmark>,
    },
    /// A frame to start from without the marks that the arm's angle takes.
    #[error(
        "a frame with use = \"start\" lacks {}: following to end range takes shoulder, wrist and hip of the side towards the camera",
        missing.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
    )]
    StartLacks {
        /// The marks that are not there.
        missing: Vec<Landmark>,
    },
    /// A followed or carried frame that does not say from where.
    #[error(
        "missing field \"from\" in a frame with source = \"{from_source}\": name the marks file and time it was followed from"
    )]
    FromMissing {
        /// `track` or `carried`.
        from_source: &'static str,
    },
    /// A hand-marked frame that names another.
    #[error(
        "\"from\" contradicts source = \"hand\": a mark placed by hand comes from no other; remove it, or set source to track or carried"
    )]
    FromOnHand,
    /// A frame followed from one that is not there.
    #[error("\"from\" names mark \"{mark}\" at {time_s} s in {}, which has no such mark", marks.display())]
    FromNotFound {
        /// The mark.
        mark: Landmark,
        /// The time, s.
        time_s: f64,
        /// The file named.
        marks: PathBuf,
    },
    /// Frames that were each followed from the other.
    #[error("\"from\" leads back to itself over {}: one of these frames must be placed by hand", chain.join(" -> "))]
    FromCycle {
        /// File and time of each frame on the way.
        chain: Vec<String>,
    },
    /// The marks file is not there.
    #[error("{} cannot be read: {}", marks.display(), cause.to_string().to_lowercase())]
    Marks {
        /// The marks file.
        marks: PathBuf,
        /// The cause, which the sentence holds.
        cause: std::io::Error,
    },
    /// The clip or still cannot be used.
    #[error("{}", with_causes(cause.as_ref()))]
    Media {
        /// The cause, which the sentence holds and which names the file.
        cause: Box<dyn Error + Send + Sync>,
    },
    /// The lens profile cannot be used.
    #[error("{}: {}", profile.display(), with_causes(cause.as_ref()))]
    Lens {
        /// The profile.
        profile: PathBuf,
        /// The cause, which the sentence holds.
        cause: Box<dyn Error + Send + Sync>,
    },
    /// The spread file cannot be used.
    #[error("{}: {}", file.display(), with_causes(cause.as_ref()))]
    Spread {
        /// The spread file.
        file: PathBuf,
        /// The cause, which the sentence holds.
        cause: Box<dyn Error + Send + Sync>,
    },
    /// A fault of a file of another room, which alone knows what it means.
    #[error("{}", with_causes(cause.as_ref()))]
    Other {
        /// The cause, which the sentence holds.
        cause: Box<dyn Error + Send + Sync>,
    },
}

/// The problems of one file, as they are found.
#[derive(Debug)]
pub(crate) struct Problems {
    file: PathBuf,
    list: Vec<Problem>,
}

impl Problems {
    pub(crate) fn new(file: &Path) -> Self {
        Self { file: file.to_owned(), list: Vec::new() }
    }

    /// An empty list for the same file.
    pub(crate) fn anew(&self) -> Self {
        Self::new(&self.file)
    }

    pub(crate) fn push(&mut self, line: Option<usize>, fault: Fault) {
        if self.list.len() < PROBLEMS_MAX {
            self.list.push(Problem { file: self.file.clone(), line, fault });
        }
    }

    pub(crate) fn at(&mut self, line: usize, fault: Fault) {
        self.push(Some(line), fault);
    }

    pub(crate) fn into_list(mut self) -> Vec<Problem> {
        self.list.sort_by_key(|problem| problem.line.unwrap_or(0));
        self.list
    }
}

/// The accepted name most like `found`, if one is like it at all.
pub(crate) fn nearest(found: &str, accepted: &[&'static str]) -> Option<String> {
    // a long text is no misspelt name, and its distances would cost time
    if found.len() > 64 {
        return None;
    }
    let found = found.to_lowercase();
    accepted
        .iter()
        .map(|name| (strsim::normalized_damerau_levenshtein(&found, name), *name))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(likeness, _)| *likeness >= LIKENESS_MIN)
        .map(|(_, name)| name.to_owned())
}

/// An error and its causes in one sentence.
fn with_causes(error: &dyn Error) -> String {
    let mut words = error.to_string();
    let mut cause = error.source();
    while let Some(inner) = cause {
        words.push_str(": ");
        words.push_str(&inner.to_string());
        cause = inner.source();
    }
    words
}

fn nearest_words(nearest: Option<&str>) -> String {
    nearest.map(|name| format!("; the nearest is \"{name}\"")).unwrap_or_default()
}

/// The word that stands for a value in files.
pub(crate) fn word<T: Word>(value: &T) -> &'static str {
    value.word()
}

/// A value that files spell as one word.
pub(crate) trait Word {
    /// The word.
    fn word(&self) -> &'static str;
}

impl Word for Occasion {
    fn word(&self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::After => "after",
        }
    }
}

impl Word for Rotation {
    fn word(&self) -> &'static str {
        match self {
            Self::Internal => "internal",
            Self::External => "external",
        }
    }
}

impl Word for View {
    fn word(&self) -> &'static str {
        match self {
            Self::Side => "side",
            Self::Front => "front",
            Self::Oblique => "oblique",
        }
    }
}
