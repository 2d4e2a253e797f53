//! `/visits/{id}/result`: the call, how sure it is, and what to do.

use maud::{Markup, PreEscaped, html};

use super::shell::{Crumbs, elevation, page, stopped};
use crate::screen::{Call, CheckStatus, RetestOutcome};
use crate::web::text::{self, result as words};
use crate::web::view::{CheckView, ComparisonView, FigureView, ReachFiguresView, ResultView, RetestView};

/// Renders the page.
#[must_use]
pub fn render(view: &ResultView) -> Markup {
    page(
        words::TITLE,
        &Crumbs::visit(&view.client_code, view.visit),
        &[],
        &html! {
            p.lead {
                (view.client_code) ", " (view.date) ", " (text::side(view.affected_side))
                @if view.is_demo { ", " (text::DEMO) }
            }
            @if let Some(refusal) = &view.stopped { (stopped(refusal, &view.client_code)) }
            section.caution aria-labelledby="caution" {
                h2 #caution { (text::CAUTION) }
                ul { @for caution in words::CAUTIONS { li { (caution) } } }
            }
            div.verdicts.space {
                @if view.comparisons.is_empty() {
                    section { h2 { (words::NOTHING) } p { (words::NOTHING_TEXT) } }
                }
                @for comparison in &view.comparisons { (verdict(comparison)) }
                @if let Some(retest) = &view.retest { (outcome(retest)) }
            }
            @if !view.pictures.is_empty() { p.small #pictures { (view.pictures) } }
            (notes(view))
            (reaches(view))
            (checks(view))
            @if !view.reaches.is_empty() { (report(view)) }
        },
    )
}

fn verdict(comparison: &ComparisonView) -> Markup {
    let is_broken = comparison.call == Call::NotComparable;
    html! {
        article.verdict {
            div {
                h2 { (text::occasion(comparison.occasion)) ", " (text::side(comparison.side)) }
                p.word { (text::call(comparison.call)) }
                p.trade { (text::call_trade(comparison.call)) }
                @if let Some(difference) = &comparison.difference {
                    (figure(difference, words::DIFFERENCE, is_broken))
                    @if let Some(gauge) = &comparison.gauge_svg { div.gauge { (PreEscaped(gauge)) } }
                    p.small { (words::MARGIN) " " (comparison.margin) }
                }
                p { (comparison.reason) }
                @if !comparison.next_step.is_empty() { p.next { b { (words::NEXT) } " " (comparison.next_step) } }
            }
            @if let Some(rays) = &comparison.rays_svg { div.rays { (PreEscaped(rays)) } }
        }
    }
}

fn outcome(retest: &RetestView) -> Markup {
    let trade = match retest.cleared {
        Some(true) => words::CLEARED,
        Some(false) => words::NOT_CLEARED,
        None => words::EXTERNAL_REACH,
    };
    let is_broken = retest.outcome == RetestOutcome::NotComparable;
    html! {
        article.verdict {
            div {
                h2 { (words::RETEST) }
                p.word { (text::outcome(retest.outcome)) }
                p.trade { (trade) }
                @if let Some(change) = &retest.change { (figure(change, words::CHANGE, is_broken)) }
                @if let Some(gauge) = &retest.gauge_svg { div.gauge { (PreEscaped(gauge)) } }
                p { (retest.reason) }
                @if let Some(change) = retest.change_difference.as_ref().filter(|_| !is_broken) {
                    p { (words::CHANGE_DIFFERENCE) " " (change.value) " (" (change.interval) ")." }
                }
            }
            @if let Some(rays) = &retest.rays_svg { div.rays { (PreEscaped(rays)) } }
        }
    }
}

fn figure(figure: &FigureView, what: &str, is_broken: bool) -> Markup {
    html! {
        p class=(if is_broken { "figure broken" } else { "figure" }) { (figure.value) }
        p.small {
            (what) br;
            @if is_broken { (words::NOT_RELIABLE) } @else { (words::INTERVAL) " " (figure.interval) }
        }
    }
}

fn notes(view: &ResultView) -> Markup {
    html! {
        @if !view.warnings.is_empty() || !view.left_out.is_empty() {
            section {
                h2 { (words::WARNINGS) }
                ul { @for sentence in view.left_out.iter().chain(&view.warnings) { li { (sentence) } } }
            }
        }
    }
}

fn reaches(view: &ResultView) -> Markup {
    html! {
        @if !view.reaches.is_empty() {
            section {
                h2 { (words::REACHES) }
                div.reaches { @for reach in &view.reaches { (reach_of(reach, view.stopped.is_some())) } }
            }
        }
    }
}

fn reach_of(reach: &ReachFiguresView, is_stopped: bool) -> Markup {
    let place = format!("{}, {}", text::occasion(reach.occasion), text::palms(reach.rotation));
    html! {
        article.reach {
            h3 { (place) }
            @if !reach.still_url.is_empty() {
                img src=(reach.overlay_url) alt={ (words::STILL) ", " (place.to_lowercase()) } loading="lazy";
            }
            p.figure { (elevation(reach.elevation.as_deref().unwrap_or(words::NO_ANGLE))) }
            @if let Some(interval) = &reach.interval { p.small { (words::INTERVAL) " " (interval) } }
            @if let Some(reason) = &reach.reason { p.small { (reason) } }
            @if !reach.figures.is_empty() {
                details {
                    summary { (words::FIGURES) span.sr { ", " (place) } }
                    dl.figures {
                        @for (name, figure) in &reach.figures {
                            div { dt { (name) } dd { (figure.value) @if !figure.interval.is_empty() { " " span.small { (figure.interval) } } } }
                        }
                    }
                }
            }
            @if !is_stopped { p { a href={ "/reaches/" (reach.id) "/mark" } { (words::CORRECT) span.sr { ", " (place) } } } }
        }
    }
}

/// Where a check was made, and how it came out.
struct Finding<'a> {
    place: String,
    check: &'a CheckView,
}

/// Findings of one check with one status, by what they say.
struct Group<'a> {
    name: &'a str,
    status: CheckStatus,
    /// Text, and the places where it holds.
    texts: Vec<(&'a str, Vec<&'a str>)>,
}

/// Puts findings together that are of one check and status, in the order in which they come.
fn grouped<'a>(findings: &'a [Finding<'a>]) -> Vec<Group<'a>> {
    let mut groups: Vec<Group<'a>> = Vec::new();
    for Finding { place, check } in findings {
        let known = groups.iter_mut().find(|group| group.name == check.name && group.status == check.status);
        let Some(group) = known else {
            let texts = vec![(check.text.as_str(), vec![place.as_str()])];
            groups.push(Group { name: &check.name, status: check.status, texts });
            continue;
        };
        match group.texts.iter_mut().find(|(text, _)| *text == check.text) {
            // the sides of an occasion are one pair with the same checks
            Some((_, places)) if places.contains(&place.as_str()) => {}
            Some((_, places)) => places.push(place),
            None => group.texts.push((&check.text, vec![place])),
        }
    }
    groups
}

fn checks(view: &ResultView) -> Markup {
    let of_reaches = view.reaches.iter().flat_map(|reach| {
        let place = format!("{}, {}", text::occasion(reach.occasion), text::palms(reach.rotation));
        reach.checks.iter().map(move |check| Finding { place: place.clone(), check })
    });
    let of_pairs = view.comparisons.iter().flat_map(|comparison| {
        let place = format!("{}, {}", text::occasion(comparison.occasion), words::PAIR);
        comparison.checks.iter().map(move |check| Finding { place: place.clone(), check })
    });
    let of_retest = view
        .retest
        .iter()
        .flat_map(|retest| retest.checks.iter().map(|check| Finding { place: words::RETEST.to_owned(), check }));
    let mut all: Vec<Finding<'_>> = of_reaches.chain(of_pairs).chain(of_retest).collect();
    all.sort_by_key(|finding| rank(finding.check.status));
    let (in_order, open): (Vec<_>, Vec<_>) =
        all.into_iter().partition(|finding| finding.check.status == CheckStatus::Ok);
    html! {
        section {
            h2 { (words::CHECKS) }
            @if open.is_empty() && !in_order.is_empty() { p { (words::ALL_OK) } }
            ul.findings { @for group in grouped(&open) { (findings_of(&group, view)) } }
            @if !in_order.is_empty() {
                details {
                    summary { (words::in_order(in_order.len())) }
                    ul { @for finding in &in_order { li { (finding.place) ": " (finding.check.text) } } }
                }
            }
        }
    }
}

fn findings_of(group: &Group<'_>, view: &ResultView) -> Markup {
    let (title, mend) = text::check(group.name);
    // what is only open is no reason to film again
    let what_to_do = if group.status == CheckStatus::Unknown { text::open_check(group.name) } else { mend };
    // most of it is to film again
    let is_told = view.stopped.is_none() && (!view.is_painful || group.name == "pain_free");
    let (class, sign) = match group.status {
        CheckStatus::Fail => ("status fail", "✗ fail"),
        CheckStatus::Warn => ("status warn", "△ in doubt"),
        CheckStatus::Unknown => ("status", "? unknown"),
        CheckStatus::Ok => ("status", "✓ ok"),
    };
    html! {
        li {
            p { span class=(class) { (sign) } b { (title) } }
            @for (text, places) in &group.texts { p { (text) " " span.small { (places.join("; ")) } } }
            @if !what_to_do.is_empty() && is_told { p.small { (what_to_do) } }
        }
    }
}

const fn rank(status: CheckStatus) -> u8 {
    match status {
        CheckStatus::Fail => 0,
        CheckStatus::Warn => 1,
        CheckStatus::Unknown => 2,
        CheckStatus::Ok => 3,
    }
}

fn report(view: &ResultView) -> Markup {
    let base = format!("/visits/{}", view.visit);
    html! {
        section {
            h2 { (words::REPORT) }
            @if let Some(letters) = &view.not_in_print { p { (words::boxes(letters)) } }
            div.actions {
                a.button.main href={ (base) "/report.pdf" } { (words::PDF) }
                a.button href={ (base) "/report.html" } { (words::HTML) }
                a href={ (base) "/report.pdf?paper=letter" } { (words::PDF_LETTER) }
                a href={ (base) "/export.zip" } { (words::EXPORT) }
            }
        }
    }
}
