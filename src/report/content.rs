//! Everything a report says, as text, tables and drawings, before it is laid out: HTML and PDF both render this.

use crate::report::case_course::course_table;
use crate::report::chart::{self, Drawing};
use crate::report::checks;
use crate::report::error::ReportError;
use crate::report::finite::finite_only;
use crate::report::input::{Chart, ReportInput};
use crate::report::stills::{self, StillRow};
use crate::report::tables;
use crate::report::terms;
use crate::report::verdicts::{self, Verdict};
use crate::report::wording::{Sign, Unit, bare, fixed, side_word, typeset};
use crate::screen::ResultSide;
use crate::uncertainty::Measured;

/// A report's content, in reading order.
#[derive(Debug, Clone)]
pub(crate) struct Content {
    /// The page's main heading.
    pub title: &'static str,
    /// The title with client and date, for the document's properties.
    pub document_title: String,
    /// Name and version of the tool.
    pub tool: String,
    /// The title block: what was screened, and by which rules.
    pub facts: Vec<Fact>,
    /// What a danger sign means for this report; before all else.
    pub danger: Option<String>,
    /// Heads every report.
    pub cautions: &'static [&'static str],
    /// What was wrong with the input but could be worked with.
    pub warnings: Vec<String>,
    /// The calls and the retest.
    pub verdicts: Vec<Verdict>,
    /// The stills, a row for each view.
    pub stills: Vec<StillRow>,
    /// What the lines on them mean.
    pub legend: Option<String>,
    /// The charts.
    pub charts: Vec<Drawing>,
    /// Why a chart is missing.
    pub chart_notes: Vec<String>,
    /// Tables of quantities.
    pub tables: Vec<Table>,
    /// Tables of checks.
    pub check_tables: Vec<Table>,
    /// Checks that are not in order, and other things to mend, with what to do.
    pub findings: Vec<Finding>,
    /// Their heading.
    pub findings_heading: &'static str,
    /// What is said where there is no finding.
    pub without_findings: &'static str,
    /// The case over weeks: its charts and its table.
    pub case_course: Option<(Vec<Drawing>, Table)>,
    /// Terms and what they mean.
    pub terms: Vec<Term>,
    /// Method and limits.
    pub method: Vec<String>,
}

/// A line of the title block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Fact {
    pub label: &'static str,
    pub value: String,
}

/// A table with one column of row heads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Table {
    /// What the table shows.
    pub caption: String,
    /// Head of the column of row heads.
    pub corner: &'static str,
    /// Column heads: first line, second line.
    pub columns: Vec<[String; 2]>,
    /// The rows.
    pub rows: Vec<Row>,
    /// What the table leaves out, as a sentence.
    pub footnote: Option<String>,
}

/// A row of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Row {
    /// The row head.
    pub head: String,
    /// A note under the row head, such as the unit.
    pub note: String,
    /// As many cells as the table has columns.
    pub cells: Vec<Cell>,
}

/// A cell of a table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Cell {
    /// The first line; empty where there is nothing to say.
    pub main: String,
    /// The second line, smaller.
    pub sub: String,
    /// Set apart, because it is what the call rests on or what is wrong.
    pub is_strong: bool,
}

/// Something that is not in order, and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Finding {
    /// Sign and word, such as `✗ fail`.
    pub status: &'static str,
    /// A failed check, set apart from the others.
    pub is_failed: bool,
    /// What it is about.
    pub title: String,
    /// Which reaches or pairs.
    pub places: String,
    /// What was found.
    pub text: String,
    /// What to do.
    pub advice: &'static str,
}

/// A term and its meaning in plain words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Term {
    pub term: &'static str,
    pub meaning: String,
}

/// Cautions at the head of every report: common practice, no source.
const CAUTIONS: [&str; 3] = [
    "This sheet measures a movement. It is not a diagnosis and takes the place of no examination.",
    "Stop at once if the reach or the stretch hurts.",
    "With numbness or tingling, weakness, a pop felt or heard, swelling, fever, pain at night, or a recent injury or \
     operation: do not go on, and see a licensed clinician first.",
];

/// Puts a report's content together.
///
/// # Errors
/// [`ReportError`] when a chart or a still cannot be rendered.
pub(crate) fn assemble(input: &ReportInput) -> Result<Content, ReportError> {
    let mut result = finite_only(input.result);
    let is_stopped = input.danger.as_ref().is_some_and(|note| note.is_stop);
    if is_stopped || result.pain_stops_today() {
        result.leave_out_filming();
    }
    let result = &result;
    let case = &input.case;
    let mut charts = Vec::new();
    let mut chart_notes = Vec::new();
    match chart::rotations(result)? {
        Some(drawing) => charts.push(drawing),
        None => chart_notes.push("No reach has an elevation that could be charted.".to_owned()),
    }
    match chart::retest_delta(result, case)? {
        Some(drawing) => charts.push(drawing),
        None if result.retest.is_some() => {
            chart_notes.push("The retest has no change that could be charted.".to_owned());
        }
        None => {}
    }
    for course in &input.courses {
        if let Some(reach) = result.reaches.get(course.reach) {
            charts.extend(chart::course_of_reach(course.clip, reach)?);
        }
    }
    let mut tables = tables::of_quantities(result);
    tables.extend(tables::of_differences(result));
    tables.extend(tables::of_simulation(result));
    let mut verdicts = verdicts::of_visit(result, case);
    let mut findings = checks::findings(result);
    let mut findings_heading = "What to do";
    if is_stopped {
        verdicts.iter_mut().for_each(|verdict| verdict.next_step = None);
    }
    if is_stopped || result.pain_stops_today() {
        findings.iter_mut().for_each(|finding| finding.advice = "");
        findings_heading = "What is not in order";
    }
    let title = "Two-reach overhead screen";
    let client = Some(format!("client {}", case.client_code)).filter(|_| !case.client_code.is_empty());
    let parts = [Some(title.to_owned()), client, case.date.clone()];
    let document_title = parts.into_iter().flatten().collect::<Vec<_>>().join(", ");
    Ok(Content {
        title,
        document_title,
        tool: format!("Tworeach {}", result.tool_version),
        facts: facts(input),
        danger: input.danger.as_ref().map(|note| note.text.clone()),
        cautions: &CAUTIONS,
        warnings: input.warnings.iter().map(|warning| typeset(warning)).collect(),
        verdicts,
        stills: stills::render_rows(result, &input.stills)?,
        legend: stills::legend(&input.stills),
        charts,
        chart_notes,
        case_course: match input.case_course.as_ref().filter(|course| !course.is_empty()) {
            Some(course) => Some((chart::case_charts(course)?, course_table(course))),
            None => None,
        },
        terms: terms::used(result, case, &tables),
        tables,
        check_tables: checks::tables(result),
        findings,
        findings_heading,
        without_findings: if result.reaches.is_empty() { "No check was made." } else { "Every check is in order." },
        method: terms::method(case, input),
    })
}

impl Content {
    /// The charts as files of their own.
    pub fn chart_files(&self) -> Vec<Chart> {
        let of_case = self.case_course.iter().flat_map(|(charts, _)| charts);
        self.charts.iter().chain(of_case).map(Drawing::to_file).collect()
    }
}

fn facts(input: &ReportInput) -> Vec<Fact> {
    let case = &input.case;
    let mut facts = Vec::new();
    let mut push = |label, value: String| facts.push(Fact { label, value });
    if !case.client_code.is_empty() {
        push("Client", case.client_code.clone());
    }
    if let Some(date) = &case.date {
        push("Date", date.clone());
    }
    let side = match case.affected_side {
        ResultSide::Both => "both sides".to_owned(),
        side => format!("{} side", side_word(side)),
    };
    push("Screened", side);
    let millimetres = |mm: f64| format!("{}{}", fixed(mm, 0), Unit::Millimetre.suffix());
    let bar = match (case.bar_length_mm, case.has_taped_grips) {
        (Some(mm), true) => Some(format!("{}, grips taped", millimetres(mm))),
        (Some(mm), false) => Some(millimetres(mm)),
        (None, true) => Some("grips taped".to_owned()),
        (None, false) => None,
    };
    if let Some(bar) = bar {
        push("Bar", bar);
    }
    if let Some(mm) = case.stature_mm {
        push("Stature", millimetres(mm));
    }
    if let Some(mm) = case.arm_length_mm {
        push("Arm length", millimetres(mm));
    }
    push("Margin", format!("{}{}", fixed(case.margin_deg, 1), Unit::Degree.suffix()));
    facts
}

impl Cell {
    /// Cells of one quantity with its intervals, a dash where it is null. All have as many decimals as the least certain of them,
    /// so that they can be compared by eye.
    pub fn alike(measured: &[Option<Measured>], unit: Unit, sign: Sign) -> Vec<Self> {
        let u = measured.iter().flatten().map(|measured| measured.u).max_by(f64::total_cmp);
        let decimals = unit.decimals(u);
        let cell = |measured: &Option<Measured>| {
            measured.map_or_else(Self::nothing, |Measured { value, lo, hi, .. }| Self {
                main: bare(value, decimals, sign),
                sub: format!("{} to {}", bare(lo, decimals, sign), bare(hi, decimals, sign)),
                is_strong: false,
            })
        };
        measured.iter().map(cell).collect()
    }

    /// A cell that says that there is no number.
    pub fn nothing() -> Self {
        Self { main: "–".to_owned(), sub: String::new(), is_strong: false }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_of_one_quantity_have_the_decimals_of_the_least_certain() {
        let measured = |value: f64, u: f64| Some(Measured { value, u, lo: value - 2.0 * u, hi: value + 2.0 * u });
        // on its own the first would have a decimal more: its u is under 1 mm
        let cells = Cell::alike(&[measured(603.25, 0.5), None, measured(610.0, 12.0)], Unit::Millimetre, Sign::Minus);
        let main: Vec<&str> = cells.iter().map(|cell| cell.main.as_str()).collect();
        assert_eq!(main, ["603", "–", "610"]);
        assert_eq!(cells[0].sub, "602 to 604");
    }
}
