//! The report as one HTML file: headings, lists, tables with headers and text alternatives; nothing is fetched.

use std::fmt::Write;

use crate::report::chart::{Drawing, escape};
use crate::report::content::{Cell, Content, Table};
use crate::report::font::{self, single_spaced};
use crate::report::input::PageSize;
use crate::report::stills::{StillRow, Tile};
use crate::report::verdicts::Verdict;

/// The style of the page.
const STYLE: &str = include_str!("html.css");

/// Renders the content as a page.
pub(crate) fn render(content: &Content, page: PageSize) -> String {
    let mut html = String::new();
    let paper = match page {
        PageSize::A4 => "A4",
        PageSize::Letter => "letter",
    };
    let _ = write!(
        html,
        "<!DOCTYPE html>\n<html lang=\"en-GB\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\">\n<title>{}</title>\n<style>{}\n@page{{size:{paper};margin:14mm}}\n\
         {STYLE}</style>\n</head>\n<body>\n<div class=\"sheet\">\n",
        text(&content.document_title),
        font::css()
    );
    head(&mut html, content);
    html.push_str("<main>\n");
    cautions(&mut html, content);
    section(&mut html, "The call", |html| {
        html.push_str("<div class=\"verdicts\">\n");
        content.verdicts.iter().for_each(|verdict| write_verdict(html, verdict));
        html.push_str("</div>\n");
    });
    section(&mut html, "End range of each reach", |html| {
        content.stills.iter().for_each(|row| write_stills(html, row));
        if let Some(legend) = &content.legend {
            let _ = writeln!(html, "<p class=\"small\">{legend}</p>");
        }
        write_charts(html, content);
    });
    section(&mut html, "Quantities", |html| {
        content.tables.iter().for_each(|table| write_table(html, table));
    });
    section(&mut html, "Checks", |html| {
        content.check_tables.iter().for_each(|table| write_table(html, table));
        write_findings(html, content);
    });
    if let Some((charts, table)) = &content.case_course {
        section(&mut html, "Course", |html| {
            write_figures(html, charts);
            write_table(html, table);
        });
    }
    section(&mut html, "Terms", |html| {
        html.push_str("<dl class=\"terms\">\n");
        for term in &content.terms {
            let _ = writeln!(html, "<div><dt>{}:</dt> <dd>{}</dd></div>", text(term.term), text(&term.meaning));
        }
        html.push_str("</dl>\n");
    });
    section(&mut html, "Method and limits", |html| {
        html.push_str("<div class=\"method\">\n");
        for paragraph in &content.method {
            let _ = writeln!(html, "<p>{}</p>", text(paragraph));
        }
        html.push_str("</div>\n");
    });
    let _ = write!(
        html,
        "</main>\n<footer><span>{}</span><span>{}</span></footer>\n</div>\n</body>\n</html>\n",
        text(&content.document_title),
        text(&content.tool)
    );
    html
}

fn head(html: &mut String, content: &Content) {
    let _ = write!(html, "<header>\n<h1>{}</h1>\n<dl class=\"titleblock\">\n", text(content.title));
    for fact in &content.facts {
        let _ = writeln!(html, "<div><dt>{}</dt><dd>{}</dd></div>", fact.label, text(&fact.value));
    }
    html.push_str("</dl>\n</header>\n");
}

fn cautions(html: &mut String, content: &Content) {
    if let Some(danger) = &content.danger {
        let _ = write!(
            html,
            "<section class=\"cautions\" aria-labelledby=\"danger\">\n<h2 id=\"danger\">Danger sign</h2>\n\
             <p><strong>{}</strong></p>\n</section>\n",
            text(danger)
        );
    }
    let mut list = |class: &str, heading: &str, id: &str, lines: &mut dyn Iterator<Item = &str>| {
        let _ = write!(
            html,
            "<section class=\"{class}\" aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{heading}</h2>\n<ul>\n"
        );
        for line in lines {
            let _ = writeln!(html, "<li>{}</li>", text(line));
        }
        html.push_str("</ul>\n</section>\n");
    };
    list("cautions", "Caution", "caution", &mut content.cautions.iter().copied());
    if !content.warnings.is_empty() {
        list("warnings", "About the recordings", "recordings", &mut content.warnings.iter().map(String::as_str));
    }
}

fn section(html: &mut String, heading: &str, body: impl FnOnce(&mut String)) {
    let id = heading.to_lowercase().replace(' ', "-");
    let _ = write!(html, "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{heading}</h2>\n");
    body(html);
    html.push_str("</section>\n");
}

fn write_verdict(html: &mut String, verdict: &Verdict) {
    let _ = write!(
        html,
        "<article class=\"verdict\">\n<h3>{}</h3>\n<p class=\"word\">{}</p>\n<p class=\"trade\">{}</p>\n",
        text(&verdict.heading),
        verdict.word,
        verdict.trade_words
    );
    if let Some(figure) = &verdict.figure {
        let _ = write!(
            html,
            "<p class=\"{}\">{}</p>\n<p class=\"what\">{}<br>{}</p>\n",
            if figure.is_broken { "figure broken" } else { "figure" },
            text(&figure.value),
            figure.what,
            text(&figure.interval)
        );
    }
    if let Some(gauge) = &verdict.gauge {
        html.push_str(&gauge.svg);
    }
    for line in &verdict.lines {
        let _ = writeln!(html, "<p>{}</p>", text(line));
    }
    if let Some(step) = &verdict.next_step {
        let _ = writeln!(html, "<p class=\"next\"><b>Next:</b> {}</p>", text(step));
    }
    html.push_str("</article>\n");
}

fn write_stills(html: &mut String, row: &StillRow) {
    let class = if row.tiles.len() <= 2 { "stills two" } else { "stills" };
    let _ = writeln!(html, "<div class=\"{class}\">");
    if let Some(heading) = &row.heading {
        let _ = writeln!(html, "<h3>{}</h3>", text(heading));
    }
    row.tiles.iter().for_each(|tile| write_tile(html, tile));
    html.push_str("</div>\n");
}

fn write_tile(html: &mut String, tile: &Tile) {
    html.push_str("<figure>");
    match &tile.picture {
        Some(picture) => html.push_str(&picture.svg),
        None => {
            let _ = write!(html, "<div class=\"none\">{}</div>", tile.absence);
        }
    }
    let _ = writeln!(
        html,
        "<figcaption><b>{}</b>{}<br>{}</figcaption></figure>",
        text(&tile.figure),
        text(&tile.detail),
        text(&tile.label)
    );
}

fn write_figures(html: &mut String, charts: &[Drawing]) {
    html.push_str("<div class=\"charts\">\n");
    for chart in charts {
        let _ = writeln!(html, "<figure>{}<figcaption>{}</figcaption></figure>", chart.svg, text(&chart.caption));
    }
    html.push_str("</div>\n");
}

fn write_charts(html: &mut String, content: &Content) {
    write_figures(html, &content.charts);
    for note in &content.chart_notes {
        let _ = writeln!(html, "<p>{}</p>", text(note));
    }
}

fn write_table(html: &mut String, table: &Table) {
    let caption = text(&table.caption);
    let _ = write!(
        html,
        "<div class=\"scroll\" role=\"region\" tabindex=\"0\" aria-label=\"{caption}\">\n<table>\n<caption>{caption}</caption>\n\
         <thead><tr><th scope=\"col\">{}</th>",
        table.corner
    );
    for [first, second] in &table.columns {
        let _ = write!(html, "<th scope=\"col\">{}{}</th>", text(first), sub(second));
    }
    html.push_str("</tr></thead>\n<tbody>\n");
    for row in &table.rows {
        let _ = write!(html, "<tr><th scope=\"row\">{}{}</th>", text(&row.head), sub(&row.note));
        row.cells.iter().for_each(|cell| write_cell(html, cell));
        html.push_str("</tr>\n");
    }
    html.push_str("</tbody>\n</table>\n");
    if let Some(footnote) = &table.footnote {
        let _ = writeln!(html, "<p class=\"small foot\">{}</p>", text(footnote));
    }
    html.push_str("</div>\n");
}

fn write_cell(html: &mut String, cell: &Cell) {
    let class = if cell.is_strong { " class=\"strong\"" } else { "" };
    let _ = write!(html, "<td{class}><span class=\"main\">{}</span>{}</td>", text(&cell.main), sub(&cell.sub));
}

fn write_findings(html: &mut String, content: &Content) {
    let findings = &content.findings;
    if findings.is_empty() {
        html.push_str(&format!("<p>{}</p>\n", content.without_findings));
        return;
    }
    let _ = writeln!(html, "<h3>{}</h3>\n<ul class=\"findings\">", content.findings_heading);
    for finding in findings {
        let class = if finding.is_failed { "status fail" } else { "status" };
        let _ = write!(
            html,
            "<li><p><span class=\"{class}\">{}</span><b>{}</b>, {}</p>",
            finding.status,
            text(&finding.title),
            text(&finding.places)
        );
        for sentence in [finding.text.as_str(), finding.advice].into_iter().filter(|sentence| !sentence.is_empty()) {
            let _ = write!(html, "<p>{}</p>", text(sentence));
        }
        html.push_str("</li>\n");
    }
    html.push_str("</ul>\n");
}

fn sub(line: &str) -> String {
    if line.is_empty() { String::new() } else { format!(" <span class=\"sub\">{}</span>", text(line)) }
}

/// Text from outside, fit for an element or attribute.
fn text(line: &str) -> String {
    escape(&single_spaced(line))
}
