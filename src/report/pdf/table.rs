//! Lays out a table: a column of row heads, and columns of cells whose two parts stand side by side where there is room.

use crate::report::content::{Row, Table};
use crate::report::palette::{INK, RULE};
use crate::report::pdf::metrics::{Metrics, Style};
use crate::report::pdf::ops::{Align, Op, Piece, Stack};
use crate::report::pdf::tags::{NodeId, Role, Tags};
use crate::report::pdf::text::{Run, widest};

/// Room between columns.
const COLUMN_GAP: f32 = 9.0;
/// Room between the two parts of a cell.
const PART_GAP: f32 = 5.0;
/// The column of row heads is never narrower and never wider than these shares of the table.
const HEAD_SHARE: [f32; 2] = [0.2, 0.36];

/// How the columns of a table lie.
struct Columns {
    head_width: f32,
    cell_width: f32,
    /// Width of the second parts where they stand beside the first; `None` where they stand below.
    beside: Option<f32>,
    main: Style,
    sub: Style,
}

fn head_width(row: &Row, main: Style, sub: Style) -> f32 {
    Run::new(&format!("{} ", row.head), main).width() + Run::new(&row.note, sub).width() + COLUMN_GAP
}

/// Lays out a table as pieces: caption with header, then one piece a row, all kept together.
pub(super) fn lay_out(
    tags: &mut Tags,
    section: NodeId,
    table: &Table,
    metrics: Metrics,
    x: f32,
    width: f32,
) -> Vec<Piece> {
    let columns = columns(table, metrics, width);
    let node = tags.child(section, Role::Table);
    let mut pieces = vec![header(tags, node, table, &columns, metrics, [x, width])];
    let body = tags.child(node, Role::TableBody);
    pieces.extend(table.rows.iter().map(|row| lay_out_row(tags, body, row, &columns, metrics, [x, width])));
    if let Some(footnote) = &table.footnote {
        let mut stack = Stack::new(x, width);
        stack.gap(metrics.gap(2.0));
        stack.text(tags.child(section, Role::Paragraph), footnote, metrics.note());
        pieces.push(stack.into_piece(0.0));
    }
    let last = pieces.len() - 1;
    pieces[..last].iter_mut().for_each(|piece| piece.is_kept_with_next = true);
    pieces
}

fn columns(table: &Table, metrics: Metrics, width: f32) -> Columns {
    let (main, sub) = (metrics.note(), metrics.small());
    let count = table.columns.len().max(1);
    let share = f32::from(u16::try_from(count).unwrap_or(u16::MAX));
    let wanted = table.rows.iter().map(|row| head_width(row, main, sub)).fold(0.0, f32::max) + 1.0;
    let head_width = wanted.clamp(HEAD_SHARE[0] * width, HEAD_SHARE[1] * width);
    let cell_width = (width - head_width) / share;
    let cells = || table.rows.iter().flat_map(|row| &row.cells);
    let first = widest(cells().map(|cell| cell.main.as_str()), main.strong_if(true));
    let second = widest(cells().map(|cell| cell.sub.as_str()), sub);
    let is_beside = first + PART_GAP + second + COLUMN_GAP <= cell_width;
    Columns { head_width, cell_width, beside: is_beside.then_some(second), main, sub }
}

fn header(
    tags: &mut Tags,
    table_node: NodeId,
    table: &Table,
    columns: &Columns,
    metrics: Metrics,
    [x, width]: [f32; 2],
) -> Piece {
    let mut caption = Stack::new(x, width);
    let caption_node = tags.child(table_node, Role::Caption);
    caption.text(caption_node, &table.caption, metrics.strong());
    caption.gap(metrics.gap(2.0));
    let top = caption.y;
    let head = tags.child(table_node, Role::TableHead);
    let row = tags.child(head, Role::Row);
    let mut corner = Stack::new(x, columns.head_width);
    corner.text(tags.child(row, Role::ColumnHead), table.corner, columns.main.strong_if(true));
    let mut bottom = corner.y;
    let mut ops = caption.ops;
    let mut stacks = vec![corner];
    for (index, [first, second]) in table.columns.iter().enumerate() {
        let mut stack = cell_stack(columns, x, index);
        let node = tags.child(row, Role::ColumnHead);
        // A space ends the first line, so that the two lines stay apart when the text is copied.
        let first = if second.is_empty() { first.clone() } else { format!("{first} ") };
        for line in crate::report::pdf::text::wrap(&[Run::new(&first, columns.main.strong_if(true))], stack.width) {
            stack.runs(node, &line.runs, Align::Right);
        }
        stack.runs(node, &[Run::new(second, columns.sub)], Align::Right);
        bottom = bottom.max(stack.y);
        stacks.push(stack);
    }
    for stack in stacks {
        // Heads stand on the rule below them.
        let down = top + bottom - stack.y;
        ops.extend(stack.ops.into_iter().map(|op| op.moved([0.0, down])));
    }
    let height = top + bottom + metrics.gap(2.0);
    ops.push(Op::Rule { from: [x, height], to: [x + width, height], width: 0.9, color: INK });
    Piece { height: height + metrics.gap(1.0), gap_above: metrics.gap(9.0), ops, ..Piece::default() }
}

fn lay_out_row(
    tags: &mut Tags,
    body: NodeId,
    row: &Row,
    columns: &Columns,
    metrics: Metrics,
    [x, width]: [f32; 2],
) -> Piece {
    let pad = metrics.gap(1.0);
    let node = tags.child(body, Role::Row);
    let mut head = Stack::new(x, columns.head_width - COLUMN_GAP);
    let head_node = tags.child(node, Role::RowHead);
    let mut runs = vec![Run::new(&format!("{} ", row.head), columns.main)];
    if !row.note.is_empty() {
        runs.push(Run::new(&row.note, columns.sub));
    }
    head.runs(head_node, &runs, Align::Left);
    let mut height = head.y;
    let mut ops = head.ops;
    for (index, cell) in row.cells.iter().enumerate() {
        let mut stack = cell_stack(columns, x, index);
        let cell_node = tags.child(node, Role::Cell);
        let separated = if cell.sub.is_empty() { cell.main.clone() } else { format!("{} ", cell.main) };
        let main = Run::new(&separated, columns.main.strong_if(cell.is_strong));
        let sub = Run::new(&cell.sub, columns.sub);
        if let Some(second) = columns.beside {
            let right = stack.x + stack.width;
            let baseline = columns.main.ascent();
            let main_width = Run::new(&cell.main, main.style).width();
            let main_x = right - if second > 0.0 { second + PART_GAP } else { 0.0 } - main_width;
            ops.push(Op::Text { node: Some(cell_node), at: [main_x, baseline], run: main });
            if !cell.sub.is_empty() {
                let sub_x = right - sub.width();
                ops.push(Op::Text { node: Some(cell_node), at: [sub_x, baseline], run: sub });
            }
            stack.gap(columns.main.leading());
        } else {
            stack.runs(cell_node, &[main], Align::Right);
            if !cell.sub.is_empty() {
                stack.runs(cell_node, &[sub], Align::Right);
            }
        }
        height = height.max(stack.y);
        ops.extend(stack.ops);
    }
    let mut ops: Vec<Op> = ops.into_iter().map(|op| op.moved([0.0, pad])).collect();
    height += 2.0 * pad;
    ops.push(Op::Rule { from: [x, height], to: [x + width, height], width: 0.4, color: RULE });
    Piece { height, ops, ..Piece::default() }
}

fn cell_stack(columns: &Columns, x: f32, index: usize) -> Stack {
    let index = f32::from(u16::try_from(index).unwrap_or(u16::MAX));
    let left = x + columns.head_width + index * columns.cell_width;
    Stack::new(left + COLUMN_GAP, columns.cell_width - COLUMN_GAP)
}
