//! The PDF: pages, size, tags, and text that can be taken out again.

use std::collections::BTreeSet;
use std::process::Command;

use image::{Rgb, RgbImage};
use tworeach::report::{PageSize, ReportOptions, render_report};

use super::cases::{self, Invented};
use super::{all_rendered, named, rendered};

/// A report is filed by the thousand: it should not weigh more than this.
const BYTES_MAX: usize = 1_000_000;
/// Width and height of the paper, points: ISO 216 A4 is 210 x 297 mm, ANSI A (Letter) 8.5 x 11 inches, at 72 to the inch.
const PAPERS: [(PageSize, [f64; 2]); 2] =
    [(PageSize::A4, [210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0]), (PageSize::Letter, [8.5 * 72.0, 11.0 * 72.0])];
/// Paper is cut to a tenth of a millimetre at best.
const PAPER_TOLERANCE: f64 = 0.1 / 25.4 * 72.0;

/// The PDF's bytes as text; its objects are plain, only its streams are packed.
fn objects(pdf: &[u8]) -> String {
    String::from_utf8_lossy(pdf).into_owned()
}

pub(super) fn pages(objects: &str) -> usize {
    objects.match_indices("/Type/Page").count() + objects.match_indices("/Type /Page").count()
        - objects.match_indices("/Type/Pages").count()
        - objects.match_indices("/Type /Pages").count()
}

fn media_boxes(objects: &str) -> Vec<[f64; 2]> {
    objects
        .split("/MediaBox")
        .skip(1)
        .filter_map(|rest| {
            let numbers = rest.trim_start().strip_prefix('[')?.split_once(']')?.0;
            let numbers: Vec<f64> = numbers.split_whitespace().filter_map(|number| number.parse().ok()).collect();
            Some([numbers[2] - numbers[0], numbers[3] - numbers[1]])
        })
        .collect()
}

/// The text of a PDF by poppler's `pdftotext`, or `None` where that is not installed.
pub(super) fn text_of(pdf: &[u8]) -> Option<String> {
    let file = tempfile::NamedTempFile::new().unwrap();
    std::fs::write(file.path(), pdf).unwrap();
    let Ok(output) = Command::new("pdftotext").arg(file.path()).arg("-").output() else {
        eprintln!("skipped: pdftotext of poppler-utils is not installed");
        return None;
    };
    Some(String::from_utf8(output.stdout).unwrap().split_whitespace().collect::<Vec<_>>().join(" "))
}

/// A visit of several views, or of texts without end, may take a third page.
fn pages_allowed(invented: &Invented) -> usize {
    if ["two-views", "six-failing"].contains(&invented.name) { 3 } else { 2 }
}

#[test]
fn every_case_keeps_to_its_paper_its_pages_and_its_weight() {
    for (invented, report) in all_rendered() {
        for (page, size) in PAPERS {
            let letter;
            let pdf = if page == PageSize::A4 {
                &report.pdf
            } else {
                letter = render_report(&invented.input(), &ReportOptions { page }).unwrap().pdf;
                &letter
            };
            assert!(pdf.starts_with(b"%PDF-1."));
            assert!(pdf.len() < BYTES_MAX, "{}: {} bytes", invented.name, pdf.len());
            let objects = objects(pdf);
            let count = pages(&objects);
            assert!((1..=pages_allowed(invented)).contains(&count), "{} {page:?}: {count} pages", invented.name);
            let boxes = media_boxes(&objects);
            assert_eq!(boxes.len(), count);
            for found in boxes {
                for (found, wanted) in found.iter().zip(size) {
                    assert!((found - wanted).abs() < PAPER_TOLERANCE, "{page:?}: {found} for {wanted}");
                }
            }
        }
    }
}

#[test]
fn noisy_pictures_do_not_make_it_heavy() {
    let mut invented = cases::two_views();
    let mut state = 7_u32;
    for still in &mut invented.stills {
        let (columns, rows) = still.image.dimensions();
        still.image = RgbImage::from_fn(columns, rows, |_, _| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let [_, r, g, b] = state.to_be_bytes();
            Rgb([r, g, b])
        });
    }
    let report = rendered(&invented);
    assert!(report.pdf.len() < BYTES_MAX, "{} bytes", report.pdf.len());
}

#[test]
fn it_is_tagged_titled_and_has_its_fonts_within() {
    let objects = objects(&named("full").pdf);
    for part in
        ["/StructTreeRoot", "/MarkInfo", "/Marked true", "(en-GB)", "/ViewerPreferences", "/Outlines", "/FontFile3"]
    {
        assert!(objects.contains(part), "{part}");
    }
    // PDF/UA-1 (ISO 14289-1), clause 5: the identification schema's part
    assert!(objects.contains("pdfuaid:part"), "no PDF/UA identification");
    assert!(objects.contains("Two-reach overhead screen, client R07, 24 November 2026"), "no title");
    for role in ["/H1", "/H2", "/Table", "/TH", "/TD", "/Figure", "/L", "/LI"] {
        assert!(objects.contains(role), "{role}");
    }
}

#[test]
fn its_text_can_be_taken_out_in_reading_order() {
    let Some(text) = text_of(&named("full").pdf) else { return };
    let order = [
        "Two-reach overhead screen",
        "R07",
        "It is not a diagnosis",
        "Before the stretch",
        "Fail",
        "positive screen",
        "−11.3°",
        "End range of each reach",
        "152.4°",
        "Quantities",
        "Method and limits",
    ];
    let mut from = 0;
    for words in order {
        let at = text[from..].find(words).unwrap_or_else(|| panic!("{words} not after the one before it: {text}"));
        from += at;
    }
}

/// The words of the HTML's running text, which the PDF has to have too.
#[test]
fn it_says_what_the_page_says() {
    for (invented, report) in all_rendered() {
        let Some(text) = text_of(&report.pdf) else { return };
        let in_pdf: BTreeSet<&str> = text.split(' ').collect();
        for sentence in sentences(invented) {
            let is_plain =
                |word: &&str| word.chars().all(|c| c.is_ascii_alphabetic() || matches!(c, '.' | ',' | ';' | ':'));
            for word in sentence.split_whitespace().filter(is_plain).filter(|word| !word.starts_with("deg")) {
                assert!(in_pdf.contains(word), "{}: \"{word}\" of \"{sentence}\" is not in the PDF", invented.name);
            }
        }
    }
}

fn sentences(invented: &Invented) -> Vec<String> {
    let mut sentences = invented.warnings.clone();
    for pair in &invented.result.comparisons {
        // A second side is told in a line of the verdict.
        if pair.side == invented.case.affected_side {
            sentences.extend([pair.reason.clone(), pair.next_step.clone()]);
        }
    }
    sentences.extend(invented.result.retest.iter().map(|retest| retest.reason.clone()));
    let unmet = |check: &&tworeach::screen::Check| check.status != tworeach::screen::CheckStatus::Ok;
    for reach in &invented.result.reaches {
        sentences.extend(reach.checks.iter().filter(unmet).map(|check| check.text.clone()));
    }
    sentences
}

#[test]
fn a_text_longer_than_a_page_is_not_lost() {
    let mut invented = cases::full();
    let words: Vec<String> = (0..3000).map(|index| format!("word{index:04}")).collect();
    invented.result.reaches[0].checks[1].text = words.join(" ");
    let Some(text) = text_of(&rendered(&invented).pdf) else { return };
    let found: BTreeSet<&str> = text.split(' ').collect();
    let lost: Vec<&String> = words.iter().filter(|word| !found.contains(word.as_str())).collect();
    assert!(lost.is_empty(), "{} words lost, the first {:?}", lost.len(), lost.first());
}

#[test]
fn the_same_result_gives_the_same_file() {
    assert_eq!(rendered(&cases::full()).pdf, named("full").pdf);
}
