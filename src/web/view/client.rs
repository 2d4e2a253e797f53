//! Clients, one client, danger signs and deletion.

use crate::records::{AnsweredBy, DangerSign, ScreeningOutcome};
use crate::screen::{Call, ResultSide, RetestOutcome};

use super::form::FormView;

/// `/`: all clients.
#[derive(Debug, Clone)]
pub struct ClientsView {
    /// By code.
    pub clients: Vec<ClientLine>,
    /// There is no client yet: the demo case is offered.
    pub offers_demo: bool,
}

/// One client in the list.
#[derive(Debug, Clone)]
pub struct ClientLine {
    /// The code; also the path `/clients/{code}`.
    pub code: String,
    /// The affected side.
    pub side: ResultSide,
    /// Number of visits.
    pub visits: usize,
    /// Date of the latest visit, such as `25 November 2026`.
    pub last_visit: Option<String>,
    /// Invented for trying things out.
    pub is_demo: bool,
}

/// `/clients/new`: danger signs, then the person. Fields `sign_NAME` (yes, no) for every sign, `answered_by` (client,
/// clinician), `reason`, `code`, `affected_side` (left, right, both), `stature_mm`, `arm_length_mm`.
#[derive(Debug, Clone)]
pub struct NewClientView {
    /// The signs to ask for, in order.
    pub signs: Vec<DangerSign>,
    /// What was typed.
    pub form: FormView,
}

/// `/clients/{code}/screening`: the danger signs asked again. Fields as in [`NewClientView`] without the person.
#[derive(Debug, Clone)]
pub struct ScreeningFormView {
    /// The client's code.
    pub code: String,
    /// The signs to ask for, in order.
    pub signs: Vec<DangerSign>,
    /// What was typed.
    pub form: FormView,
}

/// `/clients/{code}/facts`: what is known of the client, to be corrected. Fields of the person as in [`NewClientView`].
#[derive(Debug, Clone)]
pub struct CorrectClientView {
    /// The code as it is recorded.
    pub code: String,
    /// What is recorded, or what was typed.
    pub form: FormView,
}

/// `/clients/{code}`: one client. `POST /clients/{code}/visits` (no fields) starts a visit.
#[derive(Debug, Clone)]
pub struct ClientView {
    /// The code.
    pub code: String,
    /// The affected side.
    pub side: ResultSide,
    /// Standing height, such as `1760 mm`.
    pub stature: Option<String>,
    /// Shoulder to wrist, such as `610 mm`.
    pub arm_length: Option<String>,
    /// Invented for trying things out.
    pub is_demo: bool,
    /// The latest answers on danger signs.
    pub screening: Option<ScreeningView>,
    /// Whether a visit may be started: no danger sign, or a clinician's written reason.
    pub may_visit: bool,
    /// Why a visit was refused just now.
    pub refused: Option<String>,
    /// The ways into the case.
    pub ways: Vec<WayView>,
    /// Latest first.
    pub visits: Vec<VisitLine>,
}

/// A way into a client's case.
#[derive(Debug, Clone)]
pub struct WayView {
    /// The last part of its address.
    pub path: &'static str,
    /// What it leads to.
    pub name: &'static str,
    /// How far it is, in a few words.
    pub state: String,
}

/// Answers on danger signs.
#[derive(Debug, Clone)]
pub struct ScreeningView {
    /// When, such as `25 November 2026`.
    pub date: String,
    /// Who answered.
    pub answered_by: AnsweredBy,
    /// The signs that were answered with yes.
    pub signs: Vec<DangerSign>,
    /// A clinician's reason to go on.
    pub reason: Option<String>,
    /// What follows.
    pub outcome: ScreeningOutcome,
}

/// One visit in a client's list.
#[derive(Debug, Clone)]
pub struct VisitLine {
    /// The path is `/visits/{id}`.
    pub id: i64,
    /// Such as `25 November 2026`.
    pub date: String,
    /// Number of reaches filmed.
    pub reaches: usize,
    /// The latest call, where the visit was measured.
    pub call: Option<Call>,
    /// The retest's outcome, where there is one.
    pub retest: Option<RetestOutcome>,
}

/// `/clients/{code}/delete`: what deleting the client removes. `POST` to the same path with `code` typed again does it.
#[derive(Debug, Clone)]
pub struct DeleteClientView {
    /// The code.
    pub code: String,
    /// Visits that go.
    pub visits: usize,
    /// Reaches that go.
    pub reaches: usize,
    /// Confirmed edits of marks that go.
    pub marks: usize,
    /// Entries of the log that go, with plan and intake.
    pub log_entries: usize,
    /// Clips and stills that go from the disk.
    pub media: usize,
    /// Clips and stills that stay, because another client's reach is the same file.
    pub media_kept: usize,
    /// Size of what goes from the disk, such as `48 MB`.
    pub size: String,
    /// What was typed.
    pub form: FormView,
}
