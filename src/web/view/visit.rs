//! The two-by-two sheet of a visit.

use crate::geometry::{Landmark, Side};
use crate::pose::{Rotation, View};
use crate::screen::{Occasion, ResultSide};

use super::form::FormView;

/// `/visits/{id}`: internal and external, before and after.
#[derive(Debug, Clone)]
pub struct VisitView {
    /// The path is `/visits/{id}`.
    pub id: i64,
    /// Whose visit.
    pub client_code: String,
    /// Invented for trying things out.
    pub is_demo: bool,
    /// It is done alone, step by step.
    pub is_alone: bool,
    /// Such as `25 November 2026`.
    pub date: String,
    /// The affected side.
    pub affected_side: ResultSide,
    /// Four: before internal, before external, after internal, after external.
    pub cells: Vec<CellView>,
    /// Why nothing goes on, where a danger sign stands open.
    pub stopped: Option<String>,
    /// A reach hurt too much: nobody reaches again today.
    pub is_painful: bool,
    /// Some reach is measured: there is a result to look at.
    pub has_result: bool,
    /// How well the marks repeat; `None` where nothing was marked again.
    pub steadiness: Option<SteadinessView>,
    /// Bar, margin and camera profile.
    pub settings: SettingsView,
    /// The upload that was refused, with its errors; `occasion` and `rotation` say of which cell.
    pub upload: FormView,
}

/// What blind repeats tell of the hand that places the marks.
#[derive(Debug, Clone)]
pub struct SteadinessView {
    /// Spread of a mark placed again, such as `1.4`, px at a long side of 1280 px.
    pub spread: String,
    /// Its 95 % interval, such as `1.2 to 1.7`.
    pub interval: String,
    /// What the measurement takes the spread to be.
    pub assumed: String,
    /// The hand is less steady than assumed, beyond doubt: intervals are too narrow.
    pub is_worse: bool,
    /// The angle on the picture: its spread, and the least change that is not the hand's; deg.
    pub angle: Option<(String, String)>,
}

/// One cell of the sheet.
#[derive(Debug, Clone)]
pub struct CellView {
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// How far it is; of several views, the furthest.
    pub state: CellState,
    /// The next thing to do.
    pub next: NextStep,
    /// The reaches, one for each view filmed; usually none or one.
    pub reaches: Vec<ReachView>,
}

/// How far a cell is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CellState {
    /// No clip.
    Empty,
    /// A clip, not yet marked.
    Filmed,
    /// The palms were seen to face the other way: not measured.
    Contrary,
    /// Marked, but the angle is not determined yet.
    Marked,
    /// There is an angle.
    Measured,
}

/// The next thing to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NextStep {
    /// Film it and bring the clip in.
    Film,
    /// Say which way the palms face on the still, at `/reaches/{reach}/palms`.
    ConfirmPalms {
        /// The reach.
        reach: i64,
    },
    /// Palms do not face the way that the cell says: exchange the clips or film again.
    FilmAgain {
        /// The reach.
        reach: i64,
    },
    /// Place the marks, at `/reaches/{reach}/mark`.
    Mark {
        /// The reach.
        reach: i64,
    },
    /// Place what is missing.
    FinishMarks {
        /// The reach.
        reach: i64,
        /// Landmarks that the view needs and that are not marked.
        missing: Vec<Landmark>,
    },
    /// Say whether it hurt, what ended the reach and whether the back stayed flat, at `/reaches/{reach}/mark`.
    AnswerQuestions {
        /// The reach.
        reach: i64,
    },
    /// Mark once more without seeing the first marks, to learn one's repeatability; may be left.
    MarkAgain {
        /// The reach.
        reach: i64,
        /// The repeat to place, from 2.
        repeat: u32,
    },
    /// Nothing: look at the result.
    Done,
}

/// One reach on the sheet.
#[derive(Debug, Clone)]
pub struct ReachView {
    /// Its number; paths are `/reaches/{id}/…`.
    pub id: i64,
    /// From where it was filmed.
    pub view: View,
    /// The side towards the camera.
    pub near_side: Option<Side>,
    /// The picture is a mirror picture.
    pub mirrored: bool,
    /// How far it is.
    pub state: CellState,
    /// Such as `148.2°`.
    pub elevation: Option<String>,
    /// Such as `146.3° to 150.1°`.
    pub interval: Option<String>,
    /// Why there is no angle.
    pub reason: Option<String>,
    /// The picture at end range, or the middle of the clip where nothing is marked; a JPEG.
    pub still_url: String,
    /// Length and size of the clip, such as `6.5 s, 1920 × 1080`.
    pub clip: String,
    /// Where the clip is damaged, as a sentence.
    pub warning: Option<String>,
    /// Somebody looked at the palms and could not tell.
    pub has_unclear_palms: bool,
    /// Times this reach was marked.
    pub repeats: u32,
}

/// `/visits/{id}/delete`: what deleting a visit removes. `POST` to the same path does it.
#[derive(Debug, Clone)]
pub struct DeleteVisitView {
    /// The visit.
    pub visit: i64,
    /// Whose visit.
    pub client_code: String,
    /// Such as `25 November 2026`.
    pub date: String,
    /// Reaches that go.
    pub reaches: usize,
    /// Confirmed edits of marks that go.
    pub marks: usize,
    /// Clips and stills that go from the disk.
    pub media: usize,
    /// Clips and stills that stay, because another visit's reach is the same file.
    pub media_kept: usize,
    /// Size of what goes from the disk, such as `48 MB`.
    pub size: String,
}

/// `/reaches/{id}/facts`: which reach it is and how it was filmed, to be corrected. Fields `occasion`, `rotation`, `view`,
/// `near_side` and `mirrored` (on), as of an upload.
#[derive(Debug, Clone)]
pub struct ReachFactsView {
    /// The reach.
    pub reach: i64,
    /// Its visit.
    pub visit: i64,
    /// Whose visit.
    pub client_code: String,
    /// A small picture of the clip.
    pub still_url: String,
    /// What is recorded, or what was typed.
    pub form: FormView,
}

/// Bar, margin and camera profile. Fields `bar_length_mm`, `taped_grips` (on), `margin_deg`, `profile` (text of a lens
/// profile; empty keeps the one that is there), `lens` (number of a lens profile, in its place) and `remove_profile` (on).
#[derive(Debug, Clone)]
pub struct SettingsView {
    /// What is set, or what was typed.
    pub form: FormView,
    /// Name of the lens profile.
    pub profile_name: Option<String>,
    /// The lens profiles on this computer.
    pub lenses: Vec<super::LensLine>,
}

/// `/reaches/{id}/delete`: what deleting one reach removes. `POST` to the same path does it.
#[derive(Debug, Clone)]
pub struct DeleteReachView {
    /// The reach.
    pub reach: i64,
    /// Its visit.
    pub visit: i64,
    /// Whose visit.
    pub client_code: String,
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// Confirmed edits of marks that go.
    pub marks: usize,
    /// Size of what goes from the disk, such as `48 MB`; `None` where another reach is the same file, which stays.
    pub size: Option<String>,
}
