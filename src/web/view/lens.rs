//! What the pages of lens profiles show.

use super::FormView;

/// The list of lens profiles.
#[derive(Debug, Clone)]
pub struct LensesView {
    /// Latest first.
    pub lenses: Vec<LensLine>,
}

/// A lens profile in a list.
#[derive(Debug, Clone)]
pub struct LensLine {
    /// Its number.
    pub id: i64,
    /// What it is of.
    pub name: String,
    /// Width and height of its pictures, in words.
    pub size: String,
    /// When it was made.
    pub date: String,
    /// Whether there is something to know about it.
    pub has_warnings: bool,
}

/// One lens profile.
#[derive(Debug, Clone)]
pub struct LensView {
    /// As in the list.
    pub line: LensLine,
    /// Root mean square residual, with its unit.
    pub rms: String,
    /// Number of pictures.
    pub views: usize,
    /// How much of the picture was covered, with its unit.
    pub covered: String,
    /// The widest tilt, with its unit.
    pub tilt: String,
    /// What to know, in sentences.
    pub warnings: Vec<String>,
    /// Pictures that were left out, each with its reason.
    pub left_out: Vec<String>,
}

/// The form for a new one. Fields `name`, `square_mm`, `cols`, `rows` and the files `file`.
#[derive(Debug, Clone)]
pub struct NewLensView {
    /// The form.
    pub form: FormView,
}
