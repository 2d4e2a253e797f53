//! Paper, margins and type sizes, in points of 1/72 inch.

use crate::report::font::Weight;
use crate::report::input::PageSize;
use crate::report::palette::{Color, INK, MUTED};

const MARGIN_LEFT: f32 = 54.0;
const MARGIN_RIGHT: f32 = 40.0;
const MARGIN_TOP: f32 = 34.0;
/// Holds the footer.
const MARGIN_BOTTOM: f32 = 42.0;

/// The sizes of a page, at a scale of the type.
#[derive(Debug, Clone, Copy)]
pub(super) struct Metrics {
    /// Width and height of the paper.
    pub paper: [f32; 2],
    /// Type and gaps are this many times their usual size.
    pub scale: f32,
}

impl Metrics {
    /// The metrics of a paper size.
    pub const fn new(page: PageSize, scale: f32) -> Self {
        let paper = match page {
            PageSize::A4 => [595.276, 841.89],
            PageSize::Letter => [612.0, 792.0],
        };
        Self { paper, scale }
    }

    /// Left end of the type area.
    pub const fn left(self) -> f32 {
        MARGIN_LEFT
    }

    /// Width of the type area.
    pub const fn width(self) -> f32 {
        self.paper[0] - MARGIN_LEFT - MARGIN_RIGHT
    }

    /// Top end of the type area.
    pub const fn top(self) -> f32 {
        MARGIN_TOP
    }

    /// Bottom end of the type area.
    pub const fn bottom(self) -> f32 {
        self.paper[1] - MARGIN_BOTTOM
    }

    /// A gap or length that goes with the type.
    pub fn gap(self, points: f32) -> f32 {
        points * self.scale
    }

    fn style(self, size: f32, weight: Weight, color: Color) -> Style {
        Style { size: size * self.scale, weight, color }
    }

    /// Running text.
    pub fn body(self) -> Style {
        self.style(8.6, Weight::Regular, INK)
    }

    /// Running text that stands out.
    pub fn strong(self) -> Style {
        self.style(8.6, Weight::SemiBold, INK)
    }

    /// Captions and notes.
    pub fn small(self) -> Style {
        self.style(7.3, Weight::Regular, MUTED)
    }

    /// Small print.
    pub fn fine(self) -> Style {
        self.style(7.3, Weight::Regular, INK)
    }

    /// Notes that should be read.
    pub fn note(self) -> Style {
        self.style(7.6, Weight::Regular, INK)
    }

    /// The start of a note.
    pub fn note_strong(self) -> Style {
        self.style(7.6, Weight::SemiBold, INK)
    }

    /// Section headings.
    pub fn heading(self) -> Style {
        self.style(10.2, Weight::SemiBold, INK)
    }

    /// The title.
    pub fn title(self) -> Style {
        self.style(19.0, Weight::SemiBold, INK)
    }

    /// The word of a verdict.
    pub fn verdict(self) -> Style {
        self.style(19.0, Weight::SemiBold, INK)
    }

    /// Large numbers.
    pub fn figure(self, color: Color) -> Style {
        self.style(14.0, Weight::SemiBold, color)
    }
}

/// How a text is set.
#[derive(Debug, Clone, Copy)]
pub(super) struct Style {
    /// Font size.
    pub size: f32,
    /// Weight.
    pub weight: Weight,
    /// Colour.
    pub color: Color,
}

impl Style {
    /// From one baseline to the next.
    pub fn leading(self) -> f32 {
        self.size * 1.3
    }

    /// From the top of a line to its baseline.
    pub fn ascent(self) -> f32 {
        self.size
    }
}
