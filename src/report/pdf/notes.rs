//! The parts in small print: what to do about checks, and the terms.

use crate::report::content::{Content, Finding, Term};
use crate::report::palette::{INK, RULE, WHITE};
use crate::report::pdf::metrics::{Metrics, Style};
use crate::report::pdf::ops::{Align, Op, Piece, Stack, columns, side_by_side};
use crate::report::pdf::tags::{NodeId, Role, Tags};
use crate::report::pdf::text::Run;

/// Room between columns.
const GUTTER: f32 = 18.0;
/// A pair of columns higher than this is broken up, so that it can be put on two pages.
const BALANCED_HEIGHT_MAX: f32 = 220.0;

/// What is not in order and what to do, in two columns.
pub(super) fn findings(tags: &mut Tags, section: NodeId, content: &Content, metrics: Metrics) -> Vec<Piece> {
    let findings = &content.findings;
    let mut title = Stack::new(0.0, metrics.width());
    if findings.is_empty() {
        title.text(tags.child(section, Role::Paragraph), content.without_findings, metrics.note());
        return vec![title.into_piece(metrics.gap(6.0))];
    }
    let words = content.findings_heading.to_owned();
    let node = tags.child(section, Role::Heading { level: 3, title: words.clone() });
    title.text(node, &words, metrics.strong());
    title.gap(metrics.gap(2.0));
    let mut pieces = vec![Piece { is_kept_with_next: true, ..title.into_piece(metrics.gap(8.0)) }];
    let list = tags.child(section, Role::List);
    let places = columns(metrics.width(), 2, GUTTER);
    let entries: Vec<Stack> =
        findings.iter().map(|finding| one_finding(tags, list, finding, metrics, [0.0, places[0][1]])).collect();
    pieces.extend(balanced(entries, &places, metrics.gap(4.0)));
    pieces
}

/// Entries in two columns of about one height, in pieces that are no higher than [`BALANCED_HEIGHT_MAX`].
fn balanced(entries: Vec<Stack>, places: &[[f32; 2]], gap: f32) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut entries = entries.into_iter().peekable();
    while entries.peek().is_some() {
        let mut group: Vec<Stack> = Vec::new();
        let mut total = 0.0;
        while let Some(entry) = entries.next_if(|entry| group.is_empty() || total + entry.y < 2.0 * BALANCED_HEIGHT_MAX)
        {
            total += entry.y + gap;
            group.push(entry);
        }
        // The split that makes the higher column least high; the first column is never the lower one.
        let heights: Vec<f32> = group.iter().map(|entry| entry.y + gap).collect();
        let higher = |split: usize| heights[..split].iter().sum::<f32>().max(heights[split..].iter().sum());
        let split = (0..=group.len()).rev().min_by(|a, b| higher(*a).total_cmp(&higher(*b))).unwrap_or(0);
        let second = group.split_off(split);
        let joined = [group, second].into_iter().zip(places).map(|(entries, &[x, width])| {
            let mut column = Stack::new(x, width);
            for entry in entries {
                column.ops.extend(entry.ops.into_iter().map(|op| op.moved([x, column.y])));
                column.y += entry.y + gap;
            }
            column.y = (column.y - gap).max(0.0);
            column
        });
        let gap_above = if pieces.is_empty() { 0.0 } else { gap };
        pieces.push(side_by_side(joined.collect(), gap_above));
    }
    pieces
}

fn one_finding(tags: &mut Tags, list: NodeId, finding: &Finding, metrics: Metrics, [x, width]: [f32; 2]) -> Stack {
    let mut stack = Stack::new(x, width);
    let item = tags.child(list, Role::Item);
    let body = tags.child(item, Role::ItemBody);
    stack.rule(0.4, RULE);
    stack.gap(metrics.gap(2.5));
    let style = metrics.note_strong();
    let badge = Run::new(finding.status, if finding.is_failed { Style { color: WHITE, ..style } } else { style });
    let pad = metrics.gap(3.0);
    let badge_size = [badge.width() + 2.0 * pad, style.leading()];
    let badge_at = [x, stack.y];
    if finding.is_failed {
        stack.ops.push(Op::block(badge_at, badge_size, INK));
    } else {
        stack.ops.extend(Op::frame(badge_at, badge_size, 0.5, INK));
    }
    // The badge is the first word of the item.
    let separated = Run { text: format!("{} ", badge.text), ..badge };
    let at = [x + pad, stack.y + style.ascent()];
    stack.ops.push(Op::Text { node: Some(body), at, run: separated });
    let sentences: Vec<&str> =
        [finding.text.as_str(), finding.advice].into_iter().filter(|sentence| !sentence.is_empty()).collect();
    let runs = [
        Run::new(&format!("{}, ", finding.title), style),
        Run::new(&format!("{}. ", finding.places), style),
        Run::new(&sentences.join(" "), metrics.note()),
    ];
    stack.hanging(body, &runs, badge_size[0] + metrics.gap(4.0));
    stack
}

/// The terms, in two columns of about the same height.
pub(super) fn terms(tags: &mut Tags, section: NodeId, terms: &[Term], metrics: Metrics) -> Vec<Piece> {
    let list = tags.child(section, Role::List);
    let places = columns(metrics.width(), 2, GUTTER);
    let entries: Vec<Stack> = terms
        .iter()
        .map(|term| {
            let item = tags.child(list, Role::Item);
            let body = tags.child(item, Role::ItemBody);
            let mut stack = Stack::new(0.0, places[0][1]);
            let runs =
                [Run::new(&format!("{}: ", term.term), metrics.note_strong()), Run::new(&term.meaning, metrics.note())];
            stack.runs(body, &runs, Align::Left);
            stack
        })
        .collect();
    balanced(entries, &places, metrics.gap(1.5))
}
