//! The page: whole in one file, readable without seeing it, and proof against what stands in a case file.

use tworeach::report::{DangerNote, Report, ReportInput, ReportOptions, render_report};

use super::{all_rendered, cases, named, rendered};

/// The text of a page without its styles and tags, with white space made single.
fn text_of(html: &str) -> String {
    let without_style = html.split("<style>").map(|part| part.split_once("</style>").map_or(part, |(_, rest)| rest));
    let mut text = String::new();
    let mut is_tag = false;
    for c in without_style.collect::<String>().chars() {
        match c {
            '<' => is_tag = true,
            '>' => {
                is_tag = false;
                text.push(' ');
            }
            c if !is_tag => text.push(c),
            _ => {}
        }
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The tags of a page that begin with a name, such as `img`.
fn tags<'a>(html: &'a str, name: &str) -> Vec<&'a str> {
    html.split('<')
        .skip(1)
        .filter(|rest| rest.strip_prefix(name).is_some_and(|after| after.starts_with([' ', '>', '/'])))
        .filter_map(|rest| rest.split_once('>').map(|(tag, _)| tag))
        .collect()
}

#[test]
fn nothing_is_fetched() {
    for (invented, Report { html, .. }) in all_rendered() {
        let addresses = html.matches("http").count();
        let name_spaces = html.matches("http://www.w3.org/2000/svg").count();
        assert_eq!(addresses, name_spaces, "{}: an address that is not a name space", invented.name);
        for forbidden in ["<script", "<link", "<iframe", "@import", "src=\""] {
            assert!(!html.contains(forbidden), "{}: {forbidden}", invented.name);
        }
        for tag in tags(html, "image") {
            assert!(tag.contains("href=\"data:image/jpeg;base64,"), "{}", invented.name);
        }
        for part in html.split("url(").skip(1) {
            assert!(part.starts_with("data:font/woff2;base64,"), "{}", invented.name);
        }
    }
}

#[test]
fn a_danger_sign_heads_the_report_and_takes_its_next_steps_away() {
    let painful = cases::all().into_iter().find(|invented| invented.name == "six-failing").unwrap();
    assert!(painful.result.pain_stops_today());
    let mut painless = cases::all().into_iter().find(|invented| invented.name == "six-failing").unwrap();
    painless.result.reaches.iter_mut().for_each(|reach| reach.checks.retain(|check| check.name != "pain_free"));
    let render = |is_stop, is_painful: bool| {
        let invented = if is_painful { &painful } else { &painless };
        let danger = Some(DangerNote { text: "A fever: see a clinician & wait.".to_owned(), is_stop });
        let input = ReportInput { danger, ..invented.input() };
        text_of(&render_report(&input, &ReportOptions::default()).unwrap().html)
    };
    for (is_stop, is_painful) in [(true, false), (false, false), (false, true)] {
        let text = render(is_stop, is_painful);
        let at = text.find("A fever: see a clinician &amp; wait.").expect("the note");
        assert!(at < text.find("It is not a diagnosis").expect("the cautions"));
        assert_eq!(text.contains("Next:"), !is_stop, "{text}");
        // pain leaves the next step, which is to stop, and takes what would lead to another reach
        assert_eq!(text.contains("What to do"), !is_stop && !is_painful, "{text}");
    }
}

#[test]
fn cautions_come_before_the_call_and_the_call_before_the_numbers() {
    for (invented, report) in all_rendered() {
        let text = text_of(&report.html);
        let at = |words: &str| text.find(words).unwrap_or_else(|| panic!("{}: {words}", invented.name));
        let order = [
            "It is not a diagnosis",
            "Stop at once",
            "numbness",
            "a licensed clinician",
            "The call",
            "End range of each reach",
            "Quantities",
            "Method and limits",
            "No published value exists",
        ];
        for pair in order.windows(2) {
            assert!(at(pair[0]) < at(pair[1]), "{}: {pair:?}", invented.name);
        }
    }
}

#[test]
fn the_call_is_said_in_the_clients_and_in_the_trades_words() {
    let text = text_of(&named("full").html);
    assert!(text.contains("Before the stretch Fail positive screen −11.3° external minus internal"), "{text}");
    assert!(text.contains("After the stretch Pass negative screen −2.4°"), "{text}");
    assert!(text.contains("Retest Improved external reach; screen cleared +9.5° after minus before"), "{text}");
}

#[test]
fn a_broken_comparison_warns_off_its_number() {
    let text = text_of(&named("not-comparable").html);
    assert!(text.contains("Not comparable no call −2.4° external minus internal not to be relied on"), "{text}");
    assert!(text.contains("✗ fail Same grip , after pair The grip was 11.8"), "{text}");
}

#[test]
fn every_unmet_check_is_told_with_its_place() {
    let text = text_of(&named("six-failing").html);
    for title in ["Elbow straight", "Free of pain", "Back flat", "Marks agree", "Same grip", "Trunk still"] {
        assert!(text.contains(&format!("✗ fail {title}")), "{title}");
    }
    assert!(text.contains("elbow straight 20° and trunk still 6.5°"), "changed limits: {text}");
}

#[test]
fn the_page_can_be_read_without_seeing_it() {
    for (invented, Report { html, .. }) in all_rendered() {
        assert!(html.contains("<html lang=\"en-GB\">"));
        assert_eq!(tags(html, "h1").len(), 1);
        assert_eq!(tags(html, "main").len(), 1);
        let levels: Vec<u32> =
            html.split("<h").skip(1).filter_map(|rest| rest.chars().next().and_then(|c| c.to_digit(10))).collect();
        for pair in levels.windows(2) {
            assert!(pair[1] <= pair[0] + 1, "{}: heading {} after {}", invented.name, pair[1], pair[0]);
        }
        for tag in tags(html, "svg") {
            let is_named = tag.contains("role=\"img\" aria-label=\"");
            assert!(is_named || tag.contains("aria-hidden=\"true\""), "{}: {tag}", invented.name);
        }
        for tag in tags(html, "th") {
            assert!(tag.contains("scope=\""), "{}: {tag}", invented.name);
        }
        assert_eq!(tags(html, "table").len(), tags(html, "caption").len(), "{}", invented.name);
        let mut ids: Vec<&str> =
            html.split(" id=\"").skip(1).filter_map(|rest| rest.split_once('"').map(|(id, _)| id)).collect();
        let count = ids.len();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), count, "{}: an id is used twice", invented.name);
    }
}

#[test]
fn every_table_row_has_a_cell_for_every_column() {
    for (invented, Report { html, .. }) in all_rendered() {
        for table in
            html.split("<table>").skip(1).filter_map(|rest| rest.split_once("</table>").map(|(table, _)| table))
        {
            let rows: Vec<usize> =
                table.split("<tr>").skip(1).map(|row| tags(row, "th").len() + tags(row, "td").len()).collect();
            assert!(rows.windows(2).all(|pair| pair[0] == pair[1]), "{}: {rows:?}", invented.name);
        }
    }
}

#[test]
fn text_from_a_case_file_stays_text() {
    let mut invented = cases::full();
    let hostile = "<script>alert(1)</script> \"&' R07";
    invented.case.client_code = hostile.to_owned();
    invented.case.date = Some(hostile.to_owned());
    invented.warnings = vec![hostile.to_owned()];
    invented.result.comparisons[0].reason = hostile.to_owned();
    invented.result.reaches[0].checks[0].text = hostile.to_owned();
    invented.result.reaches[0].checks[0].name = "<b>".to_owned();
    let html = rendered(&invented).html;
    assert!(!html.contains("<script") && !html.contains("<b> "), "markup got through");
    assert!(html.contains("&lt;script&gt;alert(1)&lt;/script&gt;"));
}

#[test]
fn a_null_is_never_a_number() {
    let text = text_of(&named("nulls").html);
    assert!(!text.contains("NaN") && !text.contains("inf "), "{text}");
    assert!(text.contains("Not determined by these marks: elevation from the trunk"), "{text}");
    assert!(text.contains("No reach has an elevation that could be charted."), "{text}");
}

#[test]
fn single_raises_ask_for_three() {
    let text = text_of(&named("full").html);
    assert!(text.contains("Film three raises of each reach."), "{text}");
}
