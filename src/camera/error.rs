//! What can keep the camera room from doing its work.

use std::path::PathBuf;

/// A fault of a lens model, a lens profile or a calibration.
#[derive(Debug, thiserror::Error)]
pub enum CameraError {
    /// An image point lies where the lens model cannot be inverted: past the radius at which distortion folds over.
    #[error(
        "image point ({x:.1}, {y:.1}) px lies outside the field in which the lens model can be inverted, {max_radius_px:.1} px about the principal point"
    )]
    OutsideLensField {
        /// Column, px.
        x: f64,
        /// Row, px.
        y: f64,
        /// Largest distance from the principal point that the model reaches, px (along x).
        max_radius_px: f64,
    },
    /// The iteration that removes distortion did not converge within its bound.
    #[error("distortion of image point ({x:.1}, {y:.1}) px could not be removed in {steps} steps")]
    UndistortDiverged {
        /// Column, px.
        x: f64,
        /// Row, px.
        y: f64,
        /// Steps taken.
        steps: usize,
    },
    /// A lens is asked for a picture whose shape is not that of the picture it was calibrated on.
    #[error(
        "lens profile is for {}x{} px, which has another aspect than the picture of {}x{} px; calibrate in the mode you film in",
        profile[0], profile[1], picture[0], picture[1]
    )]
    AspectDiffers {
        /// Width and height the profile is for, px.
        profile: [u32; 2],
        /// Width and height of the upright picture, px.
        picture: [u32; 2],
    },
    /// A file could not be read.
    #[error("{} could not be read", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// The cause.
        #[source]
        source: std::io::Error,
    },
    /// A file could not be written.
    #[error("{} could not be written", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// The cause.
        #[source]
        source: std::io::Error,
    },
    /// A profile has a field that the format does not know.
    #[error("line {line}: unknown field \"{found}\"{}, expected one of {allowed}", nearest_words(nearest))]
    UnknownField {
        /// Line, from 1.
        line: usize,
        /// The field found.
        found: String,
        /// The known field whose name is nearest, if any is near.
        nearest: Option<String>,
        /// The known fields.
        allowed: String,
    },
    /// A profile is not JSON, or a field is missing or of the wrong type.
    #[error("not a lens profile")]
    Parse {
        /// The cause, with line and column.
        #[source]
        source: serde_json::Error,
    },
    /// A field of a profile has a value that the format does not accept.
    #[error("field \"{field}\" is {found}, expected {allowed}")]
    BadValue {
        /// The field.
        field: &'static str,
        /// The value found.
        found: String,
        /// What is accepted.
        allowed: &'static str,
    },
    /// A board that cannot be.
    #[error(
        "a board of {cols} x {rows} inner corners and squares of {square_mm} mm, expected 3 to 40 corners a side and a positive size"
    )]
    BadBoard {
        /// Inner corners along a row.
        cols: usize,
        /// Inner corners along a column.
        rows: usize,
        /// Side of a square, mm.
        square_mm: f64,
    },
    /// A picture or clip that cannot be read.
    #[error(transparent)]
    Video(#[from] crate::video::VideoError),
    /// Pictures of different sizes or turns, which one lens cannot serve.
    #[error(
        "{name} is {}x{} px turned by {clockwise_deg} deg, the first picture is {}x{} px turned by {first_clockwise_deg} deg; calibrate from pictures of one mode",
        size[0], size[1], first_size[0], first_size[1]
    )]
    PictureDiffers {
        /// The file.
        name: String,
        /// Its upright size, px.
        size: [u32; 2],
        /// Its clockwise turn, deg.
        clockwise_deg: u16,
        /// The first picture's upright size, px.
        first_size: [u32; 2],
        /// The first picture's clockwise turn, deg.
        first_clockwise_deg: u16,
    },
    /// The files do not hold enough views of the board.
    #[error(
        "the board was found in {found} views, expected at least {needed}{}{}",
        clip_words(*frames, *frames_found), missed_words(missed)
    )]
    NoViews {
        /// Views found.
        found: usize,
        /// Least number.
        needed: usize,
        /// What was wrong with each still that does not hold it.
        missed: Vec<String>,
        /// Frames of clips looked at.
        frames: usize,
        /// Frames of clips that hold the board.
        frames_found: usize,
    },
    /// Fewer views of the board than the lens needs.
    #[error("the board was found in {found} views, expected at least {needed}")]
    TooFewViews {
        /// Views given.
        found: usize,
        /// Least number.
        needed: usize,
    },
    /// A view with too few corners.
    #[error("view {view} has {found} corners, expected at least {needed}")]
    TooFewCorners {
        /// Which view, from 0.
        view: usize,
        /// Corners given.
        found: usize,
        /// Least number.
        needed: usize,
    },
    /// The corners of a view lie on a line or coincide.
    #[error("the corners of view {view} do not span a plane")]
    ViewDegenerate {
        /// Which view, from 0.
        view: usize,
    },
    /// The board was held the same way in all views, which leaves the focal length undetermined.
    #[error(
        "the board was tilted by only {widest_deg:.1} deg between the views, expected at least {needed_deg:.0} deg; tilt it about both axes"
    )]
    ViewsParallel {
        /// Largest angle between two board normals, deg.
        widest_deg: f64,
        /// Least angle accepted, deg.
        needed_deg: f64,
    },
    /// The views leave a parameter of the lens undetermined.
    #[error(
        "the views do not determine the lens; tilt the board about both axes and bring it to every part of the picture"
    )]
    CalibrationUndetermined,
    /// The refinement did not settle within its bound.
    #[error("calibration did not converge in {iterations} steps")]
    CalibrationDiverged {
        /// Steps taken.
        iterations: usize,
    },
}

fn nearest_words(nearest: &Option<String>) -> String {
    nearest.as_ref().map(|name| format!(", did you mean \"{name}\"?")).unwrap_or_default()
}

fn clip_words(frames: usize, frames_found: usize) -> String {
    if frames == 0 {
        String::new()
    } else {
        format!("; {frames_found} of {frames} frames looked at hold it whole, most of them alike")
    }
}

fn missed_words(missed: &[String]) -> String {
    missed.iter().map(|miss| format!("\n  {miss}")).collect()
}
