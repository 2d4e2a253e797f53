//! The parts in small print: what to do about checks, and the terms.

use crate::report::content::{Finding, Term};
use crate::report::palette::{INK, RULE, WHITE};
use crate::report::pdf::metrics::{Metrics, Style};
use crate::report::pdf::ops::{Align, Op, Piece, Stack, columns, side_by_side};
use crate::report::pdf::tags::{NodeId, Role, Tags};
use crate::report::pdf::text::Run;

/// Room between columns.
const GUTTER: f32 = 18.0;

/// What is not in order and what to do, in two columns.
pub(super) fn findings(tags: &mut Tags, section: NodeId, findings: &[Finding], metrics: Metrics) -> Vec<Piece> {
    let mut title = Stack::new(0.0, metrics.width());
    if findings.is_empty() {
        title.text(tags.child(section, Role::Paragraph), "Every check is in order.", metrics.note());
        return vec![title.into_piece(metrics.gap(6.0))];
    }
    let words = "What to do".to_owned();
    let node = tags.child(section, Role::Heading { level: 3, title: words.clone() });
    title.text(node, &words, metrics.strong());
    title.gap(metrics.gap(2.0));
    let mut pieces = vec![Piece { is_kept_with_next: true, ..title.into_piece(metrics.gap(8.0)) }];
    let list = tags.child(section, Role::List);
    for pair in findings.chunks(2) {
        let places = columns(metrics.width(), 2, GUTTER);
        let stacks = pair.iter().zip(places).map(|(finding, place)| one_finding(tags, list, finding, metrics, place));
        pieces.push(side_by_side(stacks.collect(), metrics.gap(4.0)));
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
    let indent = badge_size[0] + metrics.gap(4.0);
    stack.x += indent;
    stack.width -= indent;
    let heading =
        [Run::new(&format!("{}, ", finding.title), style), Run::new(&format!("{} ", finding.places), metrics.note())];
    stack.runs(body, &heading, Align::Left);
    stack.x = x;
    stack.width = width;
    stack.gap(metrics.gap(1.0));
    let sentences: Vec<&str> =
        [finding.text.as_str(), finding.advice].into_iter().filter(|sentence| !sentence.is_empty()).collect();
    stack.text(body, &sentences.join(" "), metrics.note());
    stack
}

/// The terms, in two columns of about the same height.
pub(super) fn terms(tags: &mut Tags, section: NodeId, terms: &[Term], metrics: Metrics) -> Piece {
    let list = tags.child(section, Role::List);
    let places = columns(metrics.width(), 2, GUTTER);
    let mut entries: Vec<Stack> = terms
        .iter()
        .map(|term| {
            let item = tags.child(list, Role::Item);
            let body = tags.child(item, Role::ItemBody);
            let mut stack = Stack::new(0.0, places[0][1]);
            let runs =
                [Run::new(&format!("{}: ", term.term), metrics.note_strong()), Run::new(&term.meaning, metrics.note())];
            stack.runs(body, &runs, Align::Left);
            stack.gap(metrics.gap(1.5));
            stack
        })
        .collect();
    let total: f32 = entries.iter().map(|entry| entry.y).sum();
    let mut height = 0.0;
    let mut split = 0;
    while split < entries.len() && height < total / 2.0 {
        height += entries[split].y;
        split += 1;
    }
    let second = entries.split_off(split);
    let joined = [entries, second].into_iter().zip(places).map(|(entries, [x, width])| {
        let mut column = Stack::new(x, width);
        for entry in entries {
            column.ops.extend(entry.ops.into_iter().map(|op| op.moved([x, column.y])));
            column.y += entry.y;
        }
        column
    });
    side_by_side(joined.collect(), 0.0)
}
