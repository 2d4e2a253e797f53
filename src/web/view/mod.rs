//! What the pages show: plain values, filled by the routes and rendered by [`super::pages`]. Numbers come formatted.

mod alone;
mod client;
mod course;
mod form;
mod lens;
mod intake;
mod mark;
mod plan;
mod result;
mod visit;

pub use alone::{AloneResultView, AloneStartView, AloneView, AnswerView};
pub use client::{
    ClientLine, ClientView, ClientsView, CorrectClientView, DeleteClientView, NewClientView, ScreeningFormView,
    ScreeningView, VisitLine, WayView,
};
pub use course::CourseView;
pub use form::{FieldError, FormView};
pub use intake::{IntakeFormView, IntakeParts, IntakeView, IntakeVisitView};
pub use lens::{LensLine, LensView, LensesView, NewLensView};
pub use mark::{LandmarkView, MarkView, PalmsView};
pub use plan::{
    DueView, EntryFormView, EntryView, LogView, MorningView, PhaseFormView, PlanFormView, PlanView, ProposedView,
    StageFormView, StageView,
};
pub use result::{
    ArmView, ChartView, CheckView, ComparisonView, FigureView, LiveView, OverlayView, PicturesState, PicturesView,
    ReachFiguresView, ResultView, RetestView,
};
pub use visit::{
    CellState, CellView, DeleteReachView, DeleteVisitView, NextStep, ReachFactsView, ReachView, SettingsView,
    SteadinessView, VisitView,
};

/// What an error page shows.
#[derive(Debug, Clone)]
pub struct ErrorView {
    /// The status code, such as 404.
    pub status: u16,
    /// What was wrong, as a sentence for the person at the screen.
    pub text: String,
}
