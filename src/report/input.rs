//! What a report is made from, and what comes out.

use image::RgbImage;

use crate::plan::CaseCourse;
use crate::pose::Overlay;
use crate::screen::{CaseFile, ResultSide, TrackedClip, VisitResult};

/// Everything that a report says, before it is laid out.
#[derive(Debug, Clone)]
pub struct ReportInput<'a> {
    /// What was measured.
    pub result: &'a VisitResult,
    /// What the case file says of client, bar and call.
    pub case: CaseFacts,
    /// What the client's answers on danger signs mean; `None` where there is no sign, or nobody was asked.
    pub danger: Option<DangerNote>,
    /// At most one still per reach, in any order. Reaches without one get an empty frame.
    pub stills: Vec<StillInput>,
    /// The clips of reaches whose marks were followed, at most one per reach.
    pub courses: Vec<CourseInput<'a>>,
    /// Frames in which the bar was found in the picture and measured in place of the marks on its ends.
    pub found_bars: usize,
    /// Marks that were carried from another reach.
    pub carried_marks: usize,
    /// The client's case over weeks, up to the day of the visit; `None` where it is not at hand.
    pub case_course: Option<CaseCourse>,
    /// Sentences on what was wrong with the input but could be worked with, such as a clip damaged near its end.
    pub warnings: Vec<String>,
}

/// A danger sign that was answered with yes, for the head of a report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DangerNote {
    /// What to do, or why a clinician goes on all the same, in sentences.
    pub text: String,
    /// Nothing goes on: the report says no next step.
    pub is_stop: bool,
}

/// What the case file says of client, bar and call.
#[derive(Debug, Clone, PartialEq)]
pub struct CaseFacts {
    /// The client's code, never a name.
    pub client_code: String,
    /// Date of the visit as it is to be printed, such as "24 November 2026".
    pub date: Option<String>,
    /// The side that is screened.
    pub affected_side: ResultSide,
    /// Standing height, mm.
    pub stature_mm: Option<f64>,
    /// Shoulder to wrist, mm.
    pub arm_length_mm: Option<f64>,
    /// The bar, end to end, mm.
    pub bar_length_mm: Option<f64>,
    /// The hands were on the same tape marks in every reach.
    pub has_taped_grips: bool,
    /// The margin of the call, deg.
    pub margin_deg: f64,
    /// The margin of the bar's height, mm, where the case sets one.
    pub margin_mm: Option<f64>,
    /// Limits that the case changes: name of the check and limit, in the check's unit.
    pub changed_limits: Vec<(String, f64)>,
}

impl CaseFacts {
    /// What the report says of a case, with the date of the visit as it is to be printed.
    #[must_use]
    pub fn of(case: &CaseFile, date: Option<String>) -> Self {
        Self {
            client_code: case.client.code.clone(),
            date,
            affected_side: case.client.affected_side,
            stature_mm: case.client.stature_mm,
            arm_length_mm: case.client.arm_length_mm,
            bar_length_mm: case.bar.length_mm,
            has_taped_grips: case.bar.taped_grips,
            margin_deg: case.call.margin_deg,
            margin_mm: case.call.margin_mm,
            changed_limits: case.limits.changed(),
        }
    }
}

/// The still of one reach and what is drawn on it.
#[derive(Debug, Clone)]
pub struct StillInput {
    /// Index into [`VisitResult::reaches`].
    pub reach: usize,
    /// The upright picture at end range, any size; it is cropped and scaled for the report.
    pub image: RgbImage,
    /// What is drawn on it, in px of `image`.
    pub overlay: Overlay,
}

/// The clip of a reach whose marks were followed.
#[derive(Debug, Clone, Copy)]
pub struct CourseInput<'a> {
    /// Index into [`VisitResult::reaches`].
    pub reach: usize,
    /// The clip.
    pub clip: &'a TrackedClip,
}

/// Paper of the PDF.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum PageSize {
    /// 210 x 297 mm.
    #[default]
    A4,
    /// 8.5 x 11 inches.
    Letter,
}

/// How a report is laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ReportOptions {
    /// Paper of the PDF; also the paper that the HTML asks for when it is printed.
    pub page: PageSize,
}

/// A rendered report.
#[derive(Debug, Clone)]
pub struct Report {
    /// The page, in one file: fonts, pictures and charts are within it.
    pub html: String,
    /// The same as PDF.
    pub pdf: Vec<u8>,
    /// The charts, each a file of its own.
    pub charts: Vec<Chart>,
}

/// A chart as a file of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chart {
    /// File name without extension, such as `retest-delta`.
    pub name: String,
    /// The chart as SVG, with its font within it.
    pub svg: String,
}
