//! The course of a case in a report: charts, table, and what is left out.

use tworeach::plan::{CaseCourse, CoursePoint, Day, Detectable, ScreenPoint, Series, SeriesKind, SideScreens};
use tworeach::report::{Report, ReportInput, ReportOptions, render_report};
use tworeach::screen::{Call, ResultSide};

use super::cases::{self, Invented, measured};
use super::pdf::{pages, text_of};

/// Six weeks of an invented client: screens of both sides, pain, a rating, grip and load.
fn six_weeks() -> CaseCourse {
    let first: Day = "2026-10-05".parse().unwrap();
    let screens = |side, is_affected, values: &[(i32, f64, Call)]| SideScreens {
        side,
        is_affected,
        points: values
            .iter()
            .map(|(days, deg, call)| ScreenPoint {
                on: first.plus(*days),
                difference_deg: Some(measured(*deg, 1.0)),
                call: *call,
            })
            .collect(),
    };
    let series = |name: &str, kind, detectable, values: &[(i32, f64, Option<f64>)]| Series {
        name: name.to_owned(),
        kind,
        unit: "",
        detectable,
        dof: f64::INFINITY,
        points: values
            .iter()
            .map(|(days, value, u)| CoursePoint { on: first.plus(*days), value: *value, u: *u })
            .collect(),
    };
    let asked = |values: [f64; 3]| {
        [0, 21, 42].into_iter().zip(values).map(|(days, value)| (days, value, None)).collect::<Vec<_>>()
    };
    CaseCourse {
        screens: vec![
            screens(
                ResultSide::Right,
                true,
                &[(0, -8.0, Call::Positive), (14, -40.0, Call::NotComparable), (42, -2.0, Call::Negative)],
            ),
            screens(ResultSide::Left, false, &[(0, -1.0, Call::Negative), (42, -0.5, Call::Negative)]),
        ],
        margin_deg: 3.0,
        series: vec![
            series("pain at rest", SeriesKind::Pain, Detectable::From(2.0), &asked([1.0, 1.0, 0.0])),
            series("pain in use", SeriesKind::Pain, Detectable::From(2.0), &asked([5.0, 4.0, 2.0])),
            series("rowing", SeriesKind::Rating, Detectable::From(2.0), &asked([3.0, 5.0, 8.0])),
            series(
                "grip without pain, right",
                SeriesKind::Grip,
                Detectable::ByUncertainty(6.0),
                &[(0, 31.0, Some(1.2)), (42, 39.0, Some(1.2))],
            ),
            series(
                "load, Wrist flexors",
                SeriesKind::Load,
                Detectable::Any,
                &[(1, 1.0, None), (20, 2.5, None), (41, 4.0, None)],
            ),
        ],
    }
}

fn with_course(invented: &Invented, course: CaseCourse) -> Report {
    let input = ReportInput { case_course: Some(course), ..invented.input() };
    render_report(&input, &ReportOptions::default()).unwrap()
}

#[test]
fn a_course_is_drawn_and_told_in_page_and_print() {
    let report = with_course(&cases::full(), six_weeks());
    let names: Vec<&str> = report.charts.iter().map(|chart| chart.name.as_str()).collect();
    for name in ["course-screens", "course-pain", "course-ratings", "course-grip", "course-load"] {
        assert!(names.contains(&name), "{name}: {names:?}");
    }
    // -2.0 from -8.0 is +6.0; 1.96 x root 2 x 1.0 = 2.8 deg are told from error; the pair that is not comparable is in neither
    let told = [
        "Difference, right side, affected",
        "+6.0",
        "counts: 2.8 or more does",
        "One screen was not comparable and is left out.",
    ];
    for text in told {
        assert!(report.html.contains(text), "{text}");
    }
    assert!(!report.html.contains("−40"), "what is not comparable is not drawn");
    // one point of ten is less than the two that count
    assert!(report.html.contains("too small to count, which begins at 2"));
    assert!(pages(&String::from_utf8_lossy(&report.pdf)) <= 3, "a course takes a page more at the most");
    if let Some(text) = text_of(&report.pdf) {
        for part in ["Course", "From the first day to the latest", "Pain in use", "counts: 2.8 or more does"] {
            assert!(text.contains(part), "{part}: {text}");
        }
    }
    if let Some(folder) = std::env::var_os("TWOREACH_GALLERY") {
        std::fs::write(std::path::Path::new(&folder).join("course-a4.pdf"), &report.pdf).unwrap();
    }
}

#[test]
fn an_empty_course_leaves_no_section() {
    let empty = CaseCourse { screens: Vec::new(), margin_deg: 3.0, series: Vec::new() };
    let report = with_course(&cases::full(), empty);
    assert!(!report.html.contains(">Course</h2>"));
    assert_eq!(report.html, super::rendered(&cases::full()).html);
}
