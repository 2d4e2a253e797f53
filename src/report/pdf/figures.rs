//! The parts that are looked at rather than read: verdicts, stills and charts.

use crate::report::chart::Drawing;
use crate::report::content::Content;
use crate::report::palette::{BAND, BLUE, INK, MUTED};
use crate::report::pdf::metrics::{Metrics, Style};
use crate::report::pdf::ops::{Align, Op, Piece, Stack, columns, point, side_by_side};
use crate::report::pdf::tags::{NodeId, Role, Tags};
use crate::report::pdf::text::Run;
use crate::report::stills::{Picture, Tile};
use crate::report::verdicts::Verdict;

/// Room between verdicts and between charts.
const GUTTER: f32 = 18.0;
/// Room between stills.
const STILL_GUTTER: f32 = 9.0;
/// A still is never higher than this, so that four portrait ones leave room for the charts.
const STILL_HEIGHT_MAX: f32 = 170.0;
/// A gauge is never wider than this.
const GAUGE_WIDTH_MAX: f32 = 160.0;
/// A chart is never wider than this.
const CHART_WIDTH_MAX: f32 = 262.0;

/// The calls and the retest, side by side.
pub(super) fn verdicts(tags: &mut Tags, section: NodeId, verdicts: &[Verdict], metrics: Metrics) -> Piece {
    let columns = columns(metrics.width(), verdicts.len().max(2), GUTTER);
    let stacks =
        verdicts.iter().zip(columns).map(|(verdict, column)| one_verdict(tags, section, verdict, metrics, column));
    side_by_side(stacks.collect(), 0.0)
}

fn one_verdict(tags: &mut Tags, section: NodeId, verdict: &Verdict, metrics: Metrics, [x, width]: [f32; 2]) -> Stack {
    let mut stack = Stack::new(x, width);
    let muted = Style { color: MUTED, ..metrics.body() };
    let node = tags.child(section, Role::Heading { level: 3, title: verdict.heading.clone() });
    stack.text(node, &verdict.heading, muted);
    let mut paragraph = |stack: &mut Stack, text: &str, style: Style| {
        let node = tags.child(section, Role::Paragraph);
        stack.text(node, text, style);
    };
    paragraph(&mut stack, verdict.word, metrics.verdict());
    paragraph(&mut stack, verdict.trade_words, metrics.small());
    stack.gap(metrics.gap(3.0));
    if let Some(figure) = &verdict.figure {
        paragraph(&mut stack, &figure.value, metrics.figure(if figure.is_broken { MUTED } else { BLUE }));
        paragraph(&mut stack, figure.what, metrics.small());
        paragraph(&mut stack, &figure.interval, metrics.small());
        stack.gap(metrics.gap(3.0));
    }
    if let Some(gauge) = &verdict.gauge {
        let wide = width.min(GAUGE_WIDTH_MAX);
        stack.svg(None, "scale of the call", &gauge.svg, [wide, wide / point(gauge.aspect)]);
        stack.gap(metrics.gap(4.0));
    }
    for line in &verdict.lines {
        paragraph(&mut stack, line, metrics.note());
        stack.gap(metrics.gap(1.5));
    }
    if let Some(step) = &verdict.next_step {
        let node = tags.child(section, Role::Paragraph);
        let runs = [Run::new("Next: ", metrics.note_strong()), Run::new(step, metrics.note())];
        let top = stack.y;
        stack.x += 6.0;
        stack.width -= 6.0;
        stack.runs(node, &runs, Align::Left);
        stack.ops.push(Op::Rule { from: [x + 0.6, top + 1.0], to: [x + 0.6, stack.y - 1.0], width: 1.2, color: INK });
    }
    stack
}

/// The stills, a row for each view, and the legend of what is drawn on them.
pub(super) fn stills(tags: &mut Tags, section: NodeId, content: &Content, metrics: Metrics) -> Vec<Piece> {
    let rows = &content.stills;
    let mut pieces = Vec::new();
    // Several views share the room of one.
    let height_max = metrics.gap(STILL_HEIGHT_MAX) / if rows.len() > 1 { 1.5 } else { 1.0 };
    for row in rows {
        let mut top = Stack::new(0.0, metrics.width());
        if let Some(heading) = &row.heading {
            let node = tags.child(section, Role::Heading { level: 3, title: heading.clone() });
            top.text(node, heading, metrics.strong());
        }
        let places = columns(metrics.width(), row.tiles.len().max(4), STILL_GUTTER);
        // Two tiles take the room of four.
        let places = if row.tiles.len() <= 2 { columns(metrics.width() * 0.72, 2, STILL_GUTTER) } else { places };
        let height = row
            .tiles
            .iter()
            .zip(&places)
            .filter_map(|(tile, [_, width])| tile.picture.as_ref().map(|picture| width / point(picture.aspect)))
            .fold(0.0, f32::max)
            .min(height_max);
        let height = if height > 0.0 { height } else { metrics.gap(26.0) };
        let stacks: Vec<Stack> = row
            .tiles
            .iter()
            .zip(places)
            .map(|(tile, place)| one_tile(tags, section, tile, metrics, place, height, top.y))
            .collect();
        let mut piece = side_by_side(stacks, metrics.gap(6.0));
        piece.ops.splice(0..0, top.ops);
        pieces.push(piece);
    }
    if let (Some(words), Some(last)) = (&content.legend, pieces.last_mut()) {
        last.is_kept_with_next = true;
        let mut legend = Stack::new(0.0, metrics.width());
        legend.text(tags.child(section, Role::Paragraph), words, metrics.small());
        pieces.push(legend.into_piece(metrics.gap(2.0)));
    }
    pieces
}

fn one_tile(
    tags: &mut Tags,
    section: NodeId,
    tile: &Tile,
    metrics: Metrics,
    [x, width]: [f32; 2],
    height: f32,
    top: f32,
) -> Stack {
    let mut stack = Stack::new(x, width);
    stack.gap(top);
    match &tile.picture {
        Some(Picture { svg, aspect, alt }) => {
            let node = tags.child(section, Role::Figure { alt: alt.clone() });
            let wide = width.min(height * point(*aspect));
            let high = wide / point(*aspect);
            let bottom = stack.y + height;
            stack.gap(height - high);
            stack.svg(Some(node), &tile.label, svg, [wide, high]);
            stack.y = bottom;
        }
        None => {
            stack.ops.push(Op::block([x, stack.y], [width, height], BAND));
            let node = tags.child(section, Role::Paragraph);
            let bottom = stack.y + height;
            let style = metrics.small();
            stack.gap((height - style.leading()) / 2.0);
            stack.runs(node, &[Run::new(tile.absence, style)], Align::Center);
            stack.y = bottom;
        }
    }
    stack.gap(metrics.gap(2.0));
    let mut paragraph = |stack: &mut Stack, text: &str, style: Style| {
        let node = tags.child(section, Role::Paragraph);
        stack.text(node, text, style);
    };
    paragraph(&mut stack, &tile.figure, metrics.figure(INK));
    paragraph(&mut stack, &tile.detail, metrics.small());
    paragraph(&mut stack, &tile.label, metrics.small());
    stack
}

/// Charts side by side, two in a row, each with how to read it.
pub(super) fn chart_rows(tags: &mut Tags, section: NodeId, charts: &[Drawing], metrics: Metrics) -> Vec<Piece> {
    let rows = charts.chunks(2).map(|row| {
        let places = columns(metrics.width(), 2, GUTTER);
        let stacks = row.iter().zip(places).map(|(chart, [x, width])| {
            let mut stack = Stack::new(x, width);
            let node = tags.child(section, Role::Figure { alt: chart.alt.clone() });
            let wide = metrics.gap(width.min(CHART_WIDTH_MAX));
            let high = wide * point(chart.size[1] / chart.size[0]);
            stack.svg(Some(node), &chart.name, &chart.svg, [wide, high]);
            stack.gap(metrics.gap(3.0));
            if !chart.caption.is_empty() {
                stack.text(tags.child(section, Role::Paragraph), &chart.caption, metrics.small());
            }
            stack
        });
        side_by_side(stacks.collect(), metrics.gap(9.0))
    });
    rows.collect()
}

/// The charts of the visit, and why one is missing.
pub(super) fn charts(tags: &mut Tags, section: NodeId, content: &Content, metrics: Metrics) -> Vec<Piece> {
    let mut pieces = chart_rows(tags, section, &content.charts, metrics);
    for note in &content.chart_notes {
        let mut stack = Stack::new(0.0, metrics.width());
        stack.text(tags.child(section, Role::Paragraph), note, metrics.note());
        pieces.push(stack.into_piece(metrics.gap(3.0)));
    }
    pieces
}
