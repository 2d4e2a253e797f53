//! The charts: where things stand on them, and that they stay as they are.

use std::path::PathBuf;

use tworeach::report::Chart;

use super::{all_rendered, named};

/// Charts are drawn at eight units to a px; half a px cannot be seen.
const TOLERANCE_UNITS: f64 = 4.0;

fn chart(charts: &[Chart], name: &str) -> Chart {
    charts.iter().find(|chart| chart.name == name).unwrap().clone()
}

/// The chart without its font.
fn without_font(svg: &str) -> String {
    let (before, rest) = svg.split_once("<style>").unwrap();
    let (_, after) = rest.split_once("</style>").unwrap();
    format!("{before}{after}")
}

fn attribute(tag: &str, name: &str) -> Option<f64> {
    tag.split_once(&format!(" {name}=\""))?.1.split_once('"')?.0.parse().ok()
}

/// Where a text is anchored.
fn place_of_text(svg: &str, text: &str) -> [f64; 2] {
    let tag = svg
        .split("<text")
        .skip(1)
        .find(|rest| {
            rest.split_once('>').is_some_and(|(_, after)| after.trim_start().starts_with(&format!("{text}</text>")))
        })
        .unwrap_or_else(|| panic!("no text {text}"));
    [attribute(tag, "x").unwrap(), attribute(tag, "y").unwrap()]
}

/// Middles of the polygons of a colour, in the order drawn.
fn middles(svg: &str, color: &str) -> Vec<[f64; 2]> {
    svg.split("<polygon")
        .skip(1)
        .filter(|rest| rest.split_once('>').is_some_and(|(tag, _)| tag.contains(&format!("fill=\"{color}\""))))
        .map(|rest| {
            let points = rest.split_once("points=\"").unwrap().1.split_once('"').unwrap().0;
            let points: Vec<[f64; 2]> = points
                .split_whitespace()
                .map(|pair| {
                    let (x, y) = pair.split_once(',').unwrap();
                    [x.parse().unwrap(), y.parse().unwrap()]
                })
                .collect();
            let middle = |axis: usize| {
                let numbers = points.iter().map(|point| point[axis]);
                (numbers.clone().fold(f64::INFINITY, f64::min) + numbers.fold(f64::NEG_INFINITY, f64::max)) / 2.0
            };
            [middle(0), middle(1)]
        })
        .collect()
}

/// The external change of the invented case is +9.5 deg, its marker a vermilion diamond; the axis is named at 0 and +10.
#[test]
fn a_change_stands_where_its_axis_says() {
    let svg = chart(&named("full").charts, "retest-delta").svg;
    let (zero, ten) = (place_of_text(&svg, "0")[0], place_of_text(&svg, "+10")[0]);
    let expected = zero + 9.5 / 10.0 * (ten - zero);
    let found = middles(&svg, "#D55E00")[0][0];
    assert!((found - expected).abs() <= TOLERANCE_UNITS, "{found} for {expected}");
}

/// The external reaches of the invented case are at 141.1 and 150.6 deg; the axis is named at 140 and 150.
#[test]
fn an_elevation_stands_where_its_axis_says() {
    let svg = chart(&named("full").charts, "rotations").svg;
    let (low, high) = (place_of_text(&svg, "140")[1], place_of_text(&svg, "150")[1]);
    // The first diamond is the legend's.
    let found = middles(&svg, "#D55E00");
    for (found, deg) in found[1..].iter().zip([141.1, 150.6]) {
        let expected = low + (deg - 140.0) / 10.0 * (high - low);
        assert!((found[1] - expected).abs() <= TOLERANCE_UNITS, "{} for {expected}", found[1]);
    }
    assert_eq!(found.len(), 3);
}

#[test]
fn a_chart_is_whole_by_itself() {
    for (_, report) in all_rendered() {
        for chart in &report.charts {
            assert!(
                chart.svg.contains("@font-face") && chart.svg.contains("data:font/woff2;base64,"),
                "{}",
                chart.name
            );
            assert!(chart.svg.starts_with("<svg xmlns=\"http://www.w3.org/2000/svg\""), "{}", chart.name);
            assert!(chart.svg.contains("role=\"img\" aria-label=\"Chart of "), "{}", chart.name);
            assert!(!chart.svg.contains("NaN"), "{}", chart.name);
            let options = usvg::Options::default();
            usvg::Tree::from_str(&chart.svg, &options).unwrap();
        }
    }
}

#[test]
fn there_is_no_retest_chart_without_a_retest() {
    let names: Vec<String> = named("no-retest").charts.iter().map(|chart| chart.name.clone()).collect();
    assert_eq!(names, ["rotations"]);
}

#[test]
fn charts_are_as_they_were() {
    let golden = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("tests/golden/report");
    for name in ["full", "no-retest", "both-sides"] {
        for chart in &named(name).charts {
            let path = golden.join(format!("{name}-{}.svg", chart.name));
            let found = without_font(&chart.svg);
            if std::env::var_os("UPDATE_GOLDEN").is_some() {
                std::fs::create_dir_all(&golden).unwrap();
                std::fs::write(&path, &found).unwrap();
                continue;
            }
            let expected = std::fs::read_to_string(&path)
                .unwrap_or_else(|error| panic!("{}: {error}; UPDATE_GOLDEN=1 writes it", path.display()));
            compare(&expected, &found, &path.display().to_string());
        }
    }
}

/// Text is the same to the letter, numbers within [`TOLERANCE_UNITS`].
fn compare(expected: &str, found: &str, name: &str) {
    let ((expected_text, expected_numbers), (found_text, found_numbers)) = (split(expected), split(found));
    assert_eq!(expected_text, found_text, "{name}: the text differs");
    assert_eq!(expected_numbers.len(), found_numbers.len(), "{name}");
    for (expected, found) in expected_numbers.iter().zip(&found_numbers) {
        assert!((expected - found).abs() <= TOLERANCE_UNITS, "{name}: {found} for {expected}");
    }
}

/// The numbers of attributes, and everything else with a `#` in their place. What a chart says in words stays as it is.
fn split(svg: &str) -> (String, Vec<f64>) {
    let mut text = String::new();
    let mut numbers = Vec::new();
    for (index, part) in svg.split_inclusive(['<', '>']).enumerate() {
        // Parts between `<` and `>` are tags.
        let is_tag = part.ends_with('>') && index > 0;
        if !is_tag || part.starts_with("svg") {
            text.push_str(part);
            continue;
        }
        let mut number = String::new();
        for c in part.chars().chain([' ']) {
            let continues = c.is_ascii_digit() || (c == '.' && !number.is_empty()) || (c == '-' && number.is_empty());
            if continues {
                number.push(c);
                continue;
            }
            if let Ok(value) = number.parse() {
                numbers.push(value);
                text.push('#');
            } else {
                text.push_str(&number);
            }
            number.clear();
            text.push(c);
        }
    }
    (text, numbers)
}
