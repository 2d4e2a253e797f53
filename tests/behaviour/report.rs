//! Reports, rendered from invented results: what they say, and that they keep their form whatever is in them.

mod cases;

use std::path::PathBuf;

use tworeach::report::{PageSize, ReportOptions, render_report};

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
