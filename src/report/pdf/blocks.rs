//! Turns the content into pieces: one function for each part of the report.

use crate::report::content::{Content, Fact, Table};
use crate::report::palette::{INK, MUTED, RULE};
use crate::report::pdf::figures;
use crate::report::pdf::metrics::Metrics;
use crate::report::pdf::notes;
use crate::report::pdf::ops::{Op, Piece, Stack};
use crate::report::pdf::table;
use crate::report::pdf::tags::{NodeId, Role, Tags};
use crate::report::pdf::text::Run;

/// All pieces of a report, in reading order, and the tree of tags that they hang on.
pub(super) fn lay_out(content: &Content, metrics: Metrics) -> (Vec<Piece>, Tags) {
    let mut tags = Tags::default();
    let mut pieces = Vec::new();
    pieces.push(title_block(&mut tags, content, metrics));
    pieces.extend(danger(&mut tags, content, metrics));
    pieces.push(cautions(&mut tags, content, metrics));
    pieces.extend(warnings(&mut tags, content, metrics));
    let section = heading(&mut tags, &mut pieces, "The call", metrics);
    pieces.push(figures::verdicts(&mut tags, section, &content.verdicts, metrics));
    let section = heading(&mut tags, &mut pieces, "End range of each reach", metrics);
    pieces.extend(figures::stills(&mut tags, section, content, metrics));
    pieces.extend(figures::charts(&mut tags, section, content, metrics));
    let section = heading(&mut tags, &mut pieces, "Quantities", metrics);
    tables(&mut tags, section, &mut pieces, &content.tables, metrics);
    let section = heading(&mut tags, &mut pieces, "Checks", metrics);
    tables(&mut tags, section, &mut pieces, &content.check_tables, metrics);
    pieces.extend(notes::findings(&mut tags, section, content, metrics));
    if let Some((charts, table)) = &content.case_course {
        let section = heading(&mut tags, &mut pieces, "Course", metrics);
        pieces.extend(figures::chart_rows(&mut tags, section, charts, metrics));
        tables(&mut tags, section, &mut pieces, std::slice::from_ref(table), metrics);
    }
    let section = heading(&mut tags, &mut pieces, "Terms", metrics);
    pieces.extend(notes::terms(&mut tags, section, &content.terms, metrics));
    let section = heading(&mut tags, &mut pieces, "Method and limits", metrics);
    pieces.extend(content.method.iter().map(|text| paragraph(&mut tags, section, text, metrics)));
    (pieces, tags)
}

/// A section with its heading, which stays with what follows.
fn heading(tags: &mut Tags, pieces: &mut Vec<Piece>, title: &str, metrics: Metrics) -> NodeId {
    let section = tags.root(Role::Section);
    let node = tags.child(section, Role::Heading { level: 2, title: title.to_owned() });
    let mut stack = Stack::new(0.0, metrics.width());
    stack.rule(1.0, INK);
    stack.gap(metrics.gap(3.5));
    stack.text(node, title, metrics.heading());
    stack.gap(metrics.gap(2.5));
    let piece = stack.into_piece(metrics.gap(9.5));
    pieces.push(Piece { is_kept_with_next: true, outline: Some(title.to_owned()), ..piece });
    section
}

fn paragraph(tags: &mut Tags, section: NodeId, text: &str, metrics: Metrics) -> Piece {
    let mut stack = Stack::new(0.0, metrics.width());
    stack.text(tags.child(section, Role::Paragraph), text, metrics.fine());
    stack.into_piece(metrics.gap(2.0))
}

/// The title and, like the title block of a drawing, what was screened and by which rules.
fn title_block(tags: &mut Tags, content: &Content, metrics: Metrics) -> Piece {
    let width = metrics.width();
    let mut stack = Stack::new(0.0, width);
    let node = tags.root(Role::Heading { level: 1, title: content.title.to_owned() });
    stack.text(node, content.title, metrics.title());
    stack.gap(metrics.gap(5.0));
    let top = stack.y;
    let pad = metrics.gap(5.0);
    let widths = title_block_widths(&content.facts, metrics, width, pad);
    let mut x = 0.0;
    let mut columns = Vec::new();
    let list = tags.root(Role::List);
    for (fact, wide) in content.facts.iter().zip(&widths) {
        let mut column = Stack::new(x + pad, wide - 1.6 * pad);
        let item = tags.child(list, Role::Item);
        let body = tags.child(item, Role::ItemBody);
        column.gap(metrics.gap(2.5));
        column.text(body, &format!("{} ", fact.label), metrics.small());
        column.text(body, &fact.value, metrics.strong());
        column.gap(metrics.gap(3.0));
        x += wide;
        columns.push((x, column));
    }
    let height = columns.iter().map(|(_, column)| column.y).fold(0.0, f32::max);
    let mut ops = stack.ops;
    let count = columns.len();
    for (index, (right, column)) in columns.into_iter().enumerate() {
        ops.extend(column.ops.into_iter().map(|op| op.moved([0.0, top])));
        if index + 1 < count {
            ops.push(Op::Rule { from: [right, top], to: [right, top + height], width: 0.4, color: RULE });
        }
    }
    ops.extend(Op::frame([0.0, top], [width, height], 0.8, INK));
    Piece { height: top + height, ops, ..Piece::default() }
}

/// Every column as wide as its text; what is left over is shared out. Where there is not enough, the widest give way, down to
/// one width for all of them, so that a long name breaks into lines and not a number with its unit.
fn title_block_widths(facts: &[Fact], metrics: Metrics, width: f32, pad: f32) -> Vec<f32> {
    let wanted: Vec<f32> = facts
        .iter()
        .map(|fact| {
            let value = Run::new(&fact.value, metrics.strong()).width();
            value.max(Run::new(fact.label, metrics.small()).width()) + 2.0 * pad
        })
        .collect();
    let mut left = f32::from(u16::try_from(facts.len().max(1)).unwrap_or(u16::MAX));
    let total: f32 = wanted.iter().sum();
    if total <= width {
        return wanted.iter().map(|wanted| wanted + (width - total) / left).collect();
    }
    let mut ascending = wanted.clone();
    ascending.sort_by(f32::total_cmp);
    let mut room = width;
    for narrow in ascending {
        if narrow > room / left {
            break;
        }
        room -= narrow;
        left -= 1.0;
    }
    wanted.iter().map(|wanted| wanted.min(room / left)).collect()
}

fn danger(tags: &mut Tags, content: &Content, metrics: Metrics) -> Option<Piece> {
    let danger = content.danger.as_ref()?;
    let pad = metrics.gap(6.0);
    let mut stack = Stack::new(pad + 6.0, metrics.width() - 2.0 * pad - 6.0);
    let section = tags.root(Role::Section);
    stack.gap(metrics.gap(4.0));
    let title = "Danger sign".to_owned();
    let node = tags.child(section, Role::Heading { level: 2, title: title.clone() });
    stack.text(node, &title, metrics.strong());
    stack.text(tags.child(section, Role::Paragraph), danger, metrics.strong());
    stack.gap(metrics.gap(4.5));
    Some(cautioning(stack, title, metrics))
}

/// A frame with a heavy edge.
fn cautioning(stack: Stack, title: String, metrics: Metrics) -> Piece {
    let mut piece = stack.into_piece(metrics.gap(8.0));
    piece.ops.push(Op::block([0.0, 0.0], [5.0, piece.height], INK));
    piece.ops.extend(Op::frame([0.0, 0.0], [metrics.width(), piece.height], 0.9, INK));
    piece.outline = Some(title);
    piece
}

fn cautions(tags: &mut Tags, content: &Content, metrics: Metrics) -> Piece {
    let width = metrics.width();
    let pad = metrics.gap(6.0);
    let mut stack = Stack::new(pad + 6.0, width - 2.0 * pad - 6.0);
    let section = tags.root(Role::Section);
    stack.gap(metrics.gap(4.0));
    let title = "Caution".to_owned();
    let node = tags.child(section, Role::Heading { level: 2, title: title.clone() });
    stack.text(node, &title, metrics.strong());
    bulleted(tags, section, &mut stack, content.cautions.iter().copied(), metrics);
    stack.gap(metrics.gap(4.5));
    cautioning(stack, title, metrics)
}

fn warnings(tags: &mut Tags, content: &Content, metrics: Metrics) -> Option<Piece> {
    if content.warnings.is_empty() {
        return None;
    }
    let width = metrics.width();
    let pad = metrics.gap(6.0);
    let mut stack = Stack::new(pad + 6.0, width - 2.0 * pad - 6.0);
    let section = tags.root(Role::Section);
    stack.gap(metrics.gap(4.0));
    let title = "About the recordings".to_owned();
    let node = tags.child(section, Role::Heading { level: 2, title: title.clone() });
    stack.text(node, &title, metrics.strong());
    bulleted(tags, section, &mut stack, content.warnings.iter().map(String::as_str), metrics);
    stack.gap(metrics.gap(4.5));
    let mut piece = stack.into_piece(metrics.gap(6.0));
    piece.ops.extend(Op::frame([0.0, 0.0], [width, piece.height], 0.5, MUTED));
    piece.outline = Some(title);
    Some(piece)
}

fn bulleted<'a>(
    tags: &mut Tags,
    section: NodeId,
    stack: &mut Stack,
    lines: impl Iterator<Item = &'a str>,
    metrics: Metrics,
) {
    let list = tags.child(section, Role::List);
    let indent = metrics.gap(8.0);
    for line in lines {
        let item = tags.child(list, Role::Item);
        let body = tags.child(item, Role::ItemBody);
        let style = metrics.body();
        let bullet = Run::new("•", style);
        stack.ops.push(Op::Text { node: None, at: [stack.x, stack.y + style.ascent()], run: bullet });
        stack.x += indent;
        stack.width -= indent;
        stack.text(body, line, style);
        stack.x -= indent;
        stack.width += indent;
    }
}

fn tables(tags: &mut Tags, section: NodeId, pieces: &mut Vec<Piece>, tables: &[Table], metrics: Metrics) {
    for (index, table) in tables.iter().enumerate() {
        let mut laid_out = table::lay_out(tags, section, table, metrics, 0.0, metrics.width());
        if index == 0
            && let Some(first) = laid_out.first_mut()
        {
            // The section's heading is above it already.
            first.gap_above = 0.0;
        }
        pieces.extend(laid_out);
    }
}
