//! Reports, rendered from invented results: what they say, and that they keep their form whatever is in them.

mod cases;
mod charts;
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
