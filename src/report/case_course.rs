//! The course of a case in words: first and latest value, whether a change is told from error, and the trend.

use crate::plan::words::day_words;
use crate::plan::{CaseCourse, CoursePoint, Detectable, Series, SeriesKind};
use crate::report::chart::side_name;
use crate::report::content::{Cell, Row, Table};
use crate::report::wording::{fixed, signed};
use crate::screen::Call;
use crate::screen::words::capitalized;
use crate::uncertainty::Measured;

/// One line of a course, as it is printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CourseRow {
    /// What it is about, with its unit.
    pub name: String,
    /// The first value and its day.
    pub first: [String; 2],
    /// The latest value and its day; empty where there is one value.
    pub latest: [String; 2],
    /// The change, and what it means.
    pub change: [String; 2],
    /// The change a week and its interval; empty below three days.
    pub trend: [String; 2],
    /// The change is told from error.
    pub is_detected: bool,
}

/// The lines of a course.
pub(crate) fn course_rows(course: &CaseCourse) -> Vec<CourseRow> {
    let screens = course.screens.iter().map(|side| side.series(&format!("difference, {}", side_name(side))));
    screens.chain(course.series.iter().cloned()).filter_map(|series| row(&series)).collect()
}

/// How many screens could not be told, as a sentence; `None` where all could.
pub(crate) fn left_out_of_course(course: &CaseCourse) -> Option<String> {
    let points = course.screens.iter().flat_map(|side| &side.points);
    let is_left_out = |call, has_difference: bool| call == Call::NotComparable || !has_difference;
    match points.filter(|point| is_left_out(point.call, point.difference_deg.is_some())).count() {
        0 => None,
        1 => Some("One screen was not comparable and is left out.".to_owned()),
        count => Some(format!("{count} screens were not comparable and are left out.")),
    }
}

/// The course as a table of the report.
pub(crate) fn course_table(course: &CaseCourse) -> Table {
    let columns = [["First", ""], ["Latest", ""], ["Change", "does it count"], ["A week", "95 % interval"]];
    let cell = |[main, sub]: [String; 2], is_strong| {
        if main.is_empty() { Cell::nothing() } else { Cell { main, sub, is_strong } }
    };
    let rows = course_rows(course).into_iter().map(|row| Row {
        head: capitalized(&row.name),
        note: String::new(),
        cells: vec![
            cell(row.first, false),
            cell(row.latest, false),
            cell(row.change, row.is_detected),
            cell(row.trend, false),
        ],
    });
    Table {
        caption: "From the first day to the latest".to_owned(),
        corner: "Quantity",
        columns: columns.map(|column| column.map(str::to_owned)).to_vec(),
        rows: rows.collect(),
        footnote: left_out_of_course(course),
    }
}

fn row(series: &Series) -> Option<CourseRow> {
    let first = series.points.first()?;
    let (suffix, decimals) = match series.kind {
        SeriesKind::Difference => ("°", 1),
        SeriesKind::Pain | SeriesKind::Rating => (" of 10", 0),
        SeriesKind::Grip => ("\u{a0}kg", 1),
        SeriesKind::Load => ("\u{a0}kg", 2),
    };
    let number = |value: f64| match series.kind {
        SeriesKind::Difference => format!("{}{suffix}", signed(value, decimals)),
        _ => format!("{}{suffix}", fixed(value, decimals)),
    };
    // a value that was measured with an error comes with its interval
    let below = |point: &CoursePoint| match point.u {
        Some(u) if series.kind == SeriesKind::Difference => {
            let Measured { lo, hi, .. } = Measured::from_u(point.value, u, series.dof);
            format!("{}, {} to {}", day_words(point.on), number(lo), number(hi))
        }
        _ => day_words(point.on),
    };
    let overall = series.overall();
    let last = series.points.last().filter(|_| overall.is_some());
    let change = overall.map(|change| {
        let from = fixed(change.detectable, if decimals == 0 { 0 } else { 1 });
        let means = match (series.detectable, change.is_detected) {
            (Detectable::Any, true) => "set by the plan, not measured".to_owned(),
            (Detectable::Any, false) => "no change".to_owned(),
            (_, true) => format!("counts: {from} or more does"),
            (_, false) => format!("too small to count, which begins at {from}"),
        };
        [signed(change.value, decimals), means]
    });
    let trend = series.trend().filter(|_| series.detectable != Detectable::Any).map(|trend| {
        let of = |value: f64| signed(value, 2);
        [of(trend.per_week.value), format!("{} to {}", of(trend.per_week.lo), of(trend.per_week.hi))]
    });
    Some(CourseRow {
        name: series.name.clone(),
        first: [number(first.value), below(first)],
        latest: last.map(|point| [number(point.value), below(point)]).unwrap_or_default(),
        change: change.unwrap_or_default(),
        trend: trend.unwrap_or_default(),
        is_detected: overall.is_some_and(|change| change.is_detected),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Day;

    fn series(kind: SeriesKind, detectable: Detectable, values: [f64; 3]) -> Series {
        let first: Day = "2026-10-05".parse().unwrap();
        let point = |(days, value)| CoursePoint { on: first.plus(days), value, u: None };
        let points = [0, 7, 14].into_iter().zip(values).map(point).collect();
        Series { name: "pain in use".to_owned(), kind, unit: "", detectable, dof: f64::INFINITY, points }
    }

    #[test]
    fn a_change_below_what_counts_is_said_to_be_none() {
        let pain = |last| row(&series(SeriesKind::Pain, Detectable::From(2.0), [5.0, 4.0, last])).unwrap();
        // 5 to 4 is one point of ten, less than the two that count
        assert_eq!(pain(4.0).change, ["−1", "too small to count, which begins at 2"]);
        assert!(!pain(4.0).is_detected && pain(3.0).is_detected);
        assert_eq!(pain(3.0).change, ["−2", "counts: 2 or more does"]);
        assert_eq!(pain(3.0).first, ["5 of 10", "5 October"]);
        // a straight fall of one a week leaves the scatter of rounding: 0.2887 / root 2 times t(1) = 12.706 is 2.59
        assert_eq!(pain(3.0).trend, ["−1.00", "−3.59 to +1.59"]);
        // 1.96 times 1.5 deg is 2.94
        let mut screens = series(SeriesKind::Difference, Detectable::ByUncertainty(f64::INFINITY), [-6.0, -5.0, 0.0]);
        screens.points.iter_mut().for_each(|point| point.u = Some(1.5));
        assert_eq!(row(&screens).unwrap().first, ["−6.0°", "5 October, −8.9° to −3.1°"]);
        let load = row(&series(SeriesKind::Load, Detectable::Any, [1.0, 1.5, 2.0])).unwrap();
        assert_eq!((load.change[0].as_str(), load.trend[0].as_str()), ("+1.00", ""));
    }
}
