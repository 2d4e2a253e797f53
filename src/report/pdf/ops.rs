//! What is drawn, in points from the top left corner of a piece or page, y down.

use crate::report::palette::Color;
use crate::report::pdf::metrics::Style;
use crate::report::pdf::tags::NodeId;
use crate::report::pdf::text::{Line, Run, wrap, wrap_indented};

/// One thing to draw.
#[derive(Debug, Clone)]
pub(super) enum Op {
    /// A text on a baseline. Without a node it is a page's furniture.
    Text { node: Option<NodeId>, at: [f32; 2], run: Run },
    /// A straight line.
    Rule { from: [f32; 2], to: [f32; 2], width: f32, color: Color },
    /// A polygon without outline.
    Fill { corners: Vec<[f32; 2]>, color: Color },
    /// A drawing, fitted into a box. Without a node it is decoration.
    Svg { node: Option<NodeId>, name: String, svg: String, at: [f32; 2], size: [f32; 2] },
}

impl Op {
    /// Moves the op right and down.
    pub fn moved(mut self, by: [f32; 2]) -> Self {
        let shift = |point: &mut [f32; 2]| {
            point[0] += by[0];
            point[1] += by[1];
        };
        match &mut self {
            Self::Text { at, .. } | Self::Svg { at, .. } => shift(at),
            Self::Rule { from, to, .. } => {
                shift(from);
                shift(to);
            }
            Self::Fill { corners, .. } => corners.iter_mut().for_each(shift),
        }
        self
    }

    /// Distance of its upper end, or of a text's baseline, from the top.
    pub fn top(&self) -> f32 {
        match self {
            Self::Text { at, .. } | Self::Svg { at, .. } => at[1],
            Self::Rule { from, to, .. } => from[1].min(to[1]),
            Self::Fill { corners, .. } => corners.iter().map(|corner| corner[1]).fold(f32::INFINITY, f32::min),
        }
    }

    /// A rectangle without outline.
    pub fn block(at: [f32; 2], size: [f32; 2], color: Color) -> Self {
        let ([x, y], [width, height]) = (at, size);
        Self::Fill { corners: vec![[x, y], [x + width, y], [x + width, y + height], [x, y + height]], color }
    }

    /// The four sides of a rectangle.
    pub fn frame(at: [f32; 2], size: [f32; 2], width: f32, color: Color) -> [Self; 4] {
        let ([x, y], [w, h]) = (at, size);
        let side = |from, to| Self::Rule { from, to, width, color };
        [
            side([x, y], [x + w, y]),
            side([x, y + h], [x + w, y + h]),
            side([x, y], [x, y + h]),
            side([x + w, y], [x + w, y + h]),
        ]
    }
}

/// A part of the report that is not broken across pages.
#[derive(Debug, Clone, Default)]
pub(super) struct Piece {
    /// Height.
    pub height: f32,
    /// Room above it, dropped at the top of a page.
    pub gap_above: f32,
    /// Stays on one page with the piece after it.
    pub is_kept_with_next: bool,
    /// What is drawn, from the piece's own corner.
    pub ops: Vec<Op>,
    /// Where an entry of the document's outline points.
    pub outline: Option<String>,
}

/// Where a text stands within its width.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Align {
    Left,
    Right,
    Center,
}

/// A column that grows downward.
#[derive(Debug)]
pub(super) struct Stack {
    /// Left end.
    pub x: f32,
    /// Width.
    pub width: f32,
    /// Where the next thing goes.
    pub y: f32,
    /// What is drawn so far.
    pub ops: Vec<Op>,
}

impl Stack {
    /// An empty column.
    pub const fn new(x: f32, width: f32) -> Self {
        Self { x, width, y: 0.0, ops: Vec::new() }
    }

    /// Leaves room.
    pub fn gap(&mut self, points: f32) {
        self.y += points;
    }

    /// Adds a paragraph.
    pub fn text(&mut self, node: NodeId, text: &str, style: Style) {
        self.runs(node, &[Run::new(text, style)], Align::Left);
    }

    /// Adds a paragraph of several styles.
    pub fn runs(&mut self, node: NodeId, runs: &[Run], align: Align) {
        for line in wrap(runs, self.width) {
            self.line(node, &line, align);
        }
    }

    /// Adds a paragraph whose first line begins `indent` further right, beside something drawn there.
    pub fn hanging(&mut self, node: NodeId, runs: &[Run], indent: f32) {
        for (index, line) in wrap_indented(runs, self.width, indent).iter().enumerate() {
            let by = if index == 0 { indent } else { 0.0 };
            self.x += by;
            self.line(node, line, Align::Left);
            self.x -= by;
        }
    }

    fn line(&mut self, node: NodeId, line: &Line, align: Align) {
        let leading = line.runs.iter().map(|run| run.style.leading()).fold(0.0, f32::max);
        let ascent = line.runs.iter().map(|run| run.style.ascent()).fold(0.0, f32::max);
        let room = self.width - line.width();
        let mut x = self.x
            + match align {
                Align::Left => 0.0,
                Align::Right => room,
                Align::Center => room / 2.0,
            };
        for run in &line.runs {
            self.ops.push(Op::Text { node: Some(node), at: [x, self.y + ascent], run: run.clone() });
            x += run.width();
        }
        self.y += leading;
    }

    /// Adds a horizontal rule across the column.
    pub fn rule(&mut self, width: f32, color: Color) {
        self.ops.push(Op::Rule { from: [self.x, self.y], to: [self.x + self.width, self.y], width, color });
    }

    /// Adds a drawing as wide as `width`, at the left end of the column.
    pub fn svg(&mut self, node: Option<NodeId>, name: &str, svg: &str, size: [f32; 2]) {
        let at = [self.x, self.y];
        self.ops.push(Op::Svg { node, name: name.to_owned(), svg: svg.to_owned(), at, size });
        self.y += size[1];
    }

    /// The column as a piece.
    pub fn into_piece(self, gap_above: f32) -> Piece {
        Piece { height: self.y, gap_above, ops: self.ops, ..Piece::default() }
    }
}

/// Columns side by side as one piece, as high as the highest.
pub(super) fn side_by_side(columns: Vec<Stack>, gap_above: f32) -> Piece {
    let height = columns.iter().map(|column| column.y).fold(0.0, f32::max);
    let ops = columns.into_iter().flat_map(|column| column.ops).collect();
    Piece { height, gap_above, ops, ..Piece::default() }
}

/// Left end and width of `count` columns of one width.
pub(super) fn columns(width: f32, count: usize, gutter: f32) -> Vec<[f32; 2]> {
    let count_f32 = f32::from(u16::try_from(count).unwrap_or(u16::MAX));
    let column = (width - gutter * (count_f32 - 1.0)) / count_f32;
    let mut columns = Vec::with_capacity(count);
    let mut x = 0.0;
    for _ in 0..count {
        columns.push([x, column]);
        x += column + gutter;
    }
    columns
}

/// A number as a length of the page.
#[allow(clippy::cast_possible_truncation, reason = "a page's lengths need no more than the seven digits of f32")]
pub(super) const fn point(number: f64) -> f32 {
    number as f32
}
