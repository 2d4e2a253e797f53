//! Reports, rendered from invented results: what they say, and that they keep their form whatever is in them.

mod cases;
mod charts;
mod course;
mod html;
mod pdf;

use std::path::PathBuf;
use std::sync::LazyLock;

use image::RgbImage;
use tworeach::report::{PageSize, Report, ReportError, ReportOptions, StillInput, render_report};

use cases::Invented;

/// Renders an invented case for A4.
fn rendered(invented: &Invented) -> Report {
    render_report(&invented.input(), &ReportOptions { page: PageSize::A4 }).unwrap()
}

/// Every invented case rendered for A4, once for all tests.
fn all_rendered() -> &'static [(Invented, Report)] {
    static ALL: LazyLock<Vec<(Invented, Report)>> = LazyLock::new(|| {
        cases::all()
            .into_iter()
            .map(|invented| {
                let report = rendered(&invented);
                (invented, report)
            })
            .collect()
    });
    &ALL
}

/// One of them by its name.
fn named(name: &str) -> &'static Report {
    &all_rendered().iter().find(|(invented, _)| invented.name == name).unwrap().1
}

#[test]
fn a_still_that_belongs_to_no_reach_is_refused() {
    let mut invented = cases::full();
    invented.stills[0].reach = 4;
    let error = render_report(&invented.input(), &ReportOptions::default()).unwrap_err();
    assert!(matches!(error, ReportError::StillWithoutReach { reach: 4, reaches: 4 }), "{error}");
}

#[test]
fn a_second_still_of_a_reach_is_refused() {
    let mut invented = cases::full();
    invented.stills[1].reach = 0;
    let error = render_report(&invented.input(), &ReportOptions::default()).unwrap_err();
    assert!(matches!(error, ReportError::DuplicateStill { reach: 0 }), "{error}");
}

#[test]
fn a_still_without_pixels_is_refused() {
    let mut invented = cases::full();
    invented.stills[2] = StillInput { image: RgbImage::new(0, 9), ..invented.stills[2].clone() };
    let error = render_report(&invented.input(), &ReportOptions::default()).unwrap_err();
    assert!(matches!(error, ReportError::EmptyStill { reach: 2 }), "{error}");
}

/// A result in memory may hold what a result file cannot.
#[test]
fn whatever_the_numbers_are_a_report_comes_out() {
    for number in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1e300, 1e-300, 0.0] {
        let mut invented = cases::full();
        invented.stills.clear();
        let mut odd = cases::measured(number, 1.0);
        odd.lo = -odd.hi;
        for reach in &mut invented.result.reaches {
            reach.elevation_deg = Some(odd);
            reach.bar_height_mm = Some(odd);
            reach.image_angle_deg = Some(number);
            reach.end_range_time_s = Some(number);
            reach.checks[0].value = Some(number);
            reach.checks[0].u = Some(number);
        }
        invented.result.comparisons[0].difference_elevation_deg = Some(odd);
        invented.result.retest.as_mut().unwrap().change_elevation_deg = Some(odd);
        if number.is_finite() {
            invented.case.margin_deg = number.abs();
        }
        let report = rendered(&invented);
        if !number.is_finite() {
            assert!(!report.html.contains("NaN"), "{number}");
            assert!(report.html.contains("elevation from the trunk"), "{number}: said to be not determined");
        }
    }
}

/// Writes every case as files, to be looked at: `TWOREACH_GALLERY=DIR cargo test report::gallery`.
#[test]
fn gallery() {
    let Some(directory) = std::env::var_os("TWOREACH_GALLERY").map(PathBuf::from) else {
        eprintln!("skipped: set TWOREACH_GALLERY to a directory to see every case");
        return;
    };
    for invented in cases::all() {
        for (page, suffix) in [(PageSize::A4, "a4"), (PageSize::Letter, "letter")] {
            let report = render_report(&invented.input(), &ReportOptions { page }).unwrap();
            let write = |name: String, bytes: &[u8]| std::fs::write(directory.join(name), bytes).unwrap();
            write(format!("{}-{suffix}.pdf", invented.name), &report.pdf);
            if page == PageSize::A4 {
                write(format!("{}.html", invented.name), report.html.as_bytes());
                for chart in &report.charts {
                    write(format!("{}-{}.svg", invented.name, chart.name), chart.svg.as_bytes());
                }
            }
        }
    }
}
