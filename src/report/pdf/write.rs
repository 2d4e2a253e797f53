//! Draws the pages and writes the file.

use krilla::SerializeSettings;
use krilla::color::rgb;
use krilla::configure::{Accessibility, ConfigurationBuilder, PdfVersion};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Size, Transform};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, Identifier, SpanTag};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use krilla::{Data, Document};
use krilla_svg::{SurfaceExt, SvgSettings};
use usvg::{Options, Tree};

use crate::report::content::Content;
use crate::report::error::ReportError;
use crate::report::font::{FAMILY, Weight, fonts_of_svg, shape};
use crate::report::input::PageSize;
use crate::report::palette::{BLUE, Color, RULE};
use crate::report::pdf::blocks;
use crate::report::pdf::flow::{Page, paginate};
use crate::report::pdf::metrics::{Metrics, Style};
use crate::report::pdf::ops::Op;
use crate::report::pdf::tags::{NodeId, Tags};
use crate::report::pdf::text::Run;

/// A report should not have more pages than this, and one more with a course: the type is set smaller before it may.
const PAGES_WANTED: usize = 2;
/// Sizes of the type to try. At the last, the smallest print is 6 points high.
const SCALES: [f32; 7] = [1.0, 0.97, 0.94, 0.91, 0.88, 0.85, 0.82];

/// Both weights as the PDF holds them.
struct Fonts {
    regular: Font,
    semibold: Font,
}

/// Renders the content as PDF, tagged for PDF/UA-1.
///
/// # Errors
/// [`ReportError`] when a drawing cannot be read back or the file does not hold to the standard.
pub(crate) fn render(content: &Content, page: PageSize) -> Result<Vec<u8>, ReportError> {
    let (pages, tags, metrics) = lay_out(content, page);
    let configuration = ConfigurationBuilder::new()
        .with_version(PdfVersion::Pdf17)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|fault| ReportError::Pdf { fault: format!("{fault:?}") })?;
    let mut document = Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    document.set_metadata(
        Metadata::new()
            .title(content.document_title.clone())
            .language("en-GB".to_owned())
            .creator(content.tool.clone()),
    );
    document.set_outline(outline(&pages));
    let fonts = Fonts { regular: font(Weight::Regular)?, semibold: font(Weight::SemiBold)? };
    let mut tags = tags;
    let count = pages.len();
    for (index, page) in pages.into_iter().enumerate() {
        let [width, height] = metrics.paper;
        let settings = PageSettings::from_wh(width, height).ok_or(ReportError::Size { width, height })?;
        let mut sheet = document.start_page_with(settings);
        let mut surface = sheet.surface();
        for op in page.ops {
            draw(&mut surface, op, &fonts, &mut tags)?;
        }
        for op in furniture(content, metrics, index + 1, count) {
            draw(&mut surface, op, &fonts, &mut tags)?;
        }
        surface.finish();
        sheet.finish();
    }
    document.set_tag_tree(tags.into_tree());
    document.finish().map_err(|fault| ReportError::Pdf { fault: format!("{fault:?}") })
}

/// Lays the content out at the largest scale that keeps to [`PAGES_WANTED`], or else to the fewest pages.
fn lay_out(content: &Content, page: PageSize) -> (Vec<Page>, Tags, Metrics) {
    let at_scale = |scale| {
        let metrics = Metrics::new(page, scale);
        let (pieces, tags) = blocks::lay_out(content, metrics);
        (paginate(pieces, metrics), tags, metrics)
    };
    let mut best = at_scale(SCALES[0]);
    for scale in &SCALES[1..] {
        if best.0.len() <= PAGES_WANTED + usize::from(content.case_course.is_some()) {
            break;
        }
        let smaller = at_scale(*scale);
        if smaller.0.len() < best.0.len() {
            best = smaller;
        }
    }
    best
}

/// What every page has: the plumb line down its margin, and the line at its foot.
fn furniture(content: &Content, metrics: Metrics, number: usize, count: usize) -> Vec<Op> {
    let height = metrics.paper[1];
    let x = 31.0;
    let (top, bottom) = (metrics.top() + 3.0, height - 42.0);
    let bob = [[-2.6, 0.0], [2.6, 0.0], [4.2, 4.5], [0.0, 13.0], [-4.2, 4.5]];
    let corners = bob.iter().map(|[dx, dy]| [x + dx, bottom + dy]).collect();
    let style = metrics.small();
    let baseline = height - 25.0;
    let right = Run::new(&format!("page {number} of {count}"), style);
    let left = metrics.left();
    let right_end = left + metrics.width();
    let room = metrics.width() - right.width() - 12.0;
    let full = format!("{} · {} · a measurement, not a diagnosis", content.document_title, content.tool);
    let text = shortened(&full, room, style);
    vec![
        Op::Rule { from: [x, top], to: [x, bottom], width: 0.9, color: BLUE },
        Op::Fill { corners, color: BLUE },
        Op::Rule { from: [left, height - 36.0], to: [right_end, height - 36.0], width: 0.4, color: RULE },
        Op::Text { node: None, at: [left, baseline], run: Run::new(&text, style) },
        Op::Text { node: None, at: [right_end - right.width(), baseline], run: right },
    ]
}

/// The text, cut off with an ellipsis where it is wider than its room.
fn shortened(text: &str, room: f32, style: Style) -> String {
    let mut shown = text.to_owned();
    while Run::new(&shown, style).width() > room {
        let kept: Vec<char> = shown.trim_end_matches('…').chars().collect();
        let Some((_, rest)) = kept.split_last() else { break };
        shown = rest.iter().collect::<String>() + "…";
    }
    shown
}

fn outline(pages: &[Page]) -> Outline {
    let mut outline = Outline::new();
    for (index, page) in pages.iter().enumerate() {
        for (title, y) in &page.outline {
            let destination = XyzDestination::new(index, Point::from_xy(0.0, (y - 8.0).max(0.0)));
            outline.push_child(OutlineNode::new(title.clone(), destination));
        }
    }
    outline
}

fn font(weight: Weight) -> Result<Font, ReportError> {
    Font::new(Data::from(weight.otf()), 0).ok_or(ReportError::FontUnreadable)
}

fn draw(surface: &mut Surface, op: Op, fonts: &Fonts, tags: &mut Tags) -> Result<(), ReportError> {
    match op {
        Op::Text { node, at, run } => {
            let identifier = open(surface, node, ContentTag::Span(SpanTag::empty()));
            draw_run(surface, at, &run, fonts);
            surface.end_tagged();
            attach(tags, node, identifier);
        }
        Op::Rule { from, to, width, color } => {
            let mut path = PathBuilder::new();
            path.move_to(from[0], from[1]);
            path.line_to(to[0], to[1]);
            if let Some(path) = path.finish() {
                surface.start_tagged(layout_artifact());
                surface.set_fill(None);
                surface.set_stroke(Some(Stroke { paint: paint(color).into(), width, ..Stroke::default() }));
                surface.draw_path(&path);
                surface.end_tagged();
            }
        }
        Op::Fill { corners, color } => {
            let mut path = PathBuilder::new();
            for (index, [x, y]) in corners.iter().enumerate() {
                if index == 0 {
                    path.move_to(*x, *y);
                } else {
                    path.line_to(*x, *y);
                }
            }
            path.close();
            if let Some(path) = path.finish() {
                surface.start_tagged(layout_artifact());
                surface.set_stroke(None);
                surface.set_fill(Some(fill(color)));
                surface.draw_path(&path);
                surface.end_tagged();
            }
        }
        Op::Svg { node, name, svg, at, size } => {
            let options = Options { font_family: FAMILY.to_owned(), fontdb: fonts_of_svg(), ..Options::default() };
            let tree = Tree::from_str(&svg, &options).map_err(|source| ReportError::Drawing { name, source })?;
            let [width, height] = size;
            let box_size = Size::from_wh(width, height).ok_or(ReportError::Size { width, height })?;
            let identifier = open(surface, node, ContentTag::Other);
            surface.push_transform(&Transform::from_translate(at[0], at[1]));
            surface.draw_svg(&tree, box_size, SvgSettings::default());
            surface.pop();
            surface.end_tagged();
            attach(tags, node, identifier);
        }
    }
    Ok(())
}

/// Opens tagged content for a node, or an artifact where there is none.
fn open(surface: &mut Surface, node: Option<NodeId>, tag: ContentTag) -> Identifier {
    surface.start_tagged(if node.is_some() { tag } else { layout_artifact() })
}

fn attach(tags: &mut Tags, node: Option<NodeId>, identifier: Identifier) {
    if let Some(node) = node {
        tags.attach(node, identifier);
    }
}

/// Lines, grounds and page furniture, which a reader of the structure should not meet.
fn layout_artifact<'a>() -> ContentTag<'a> {
    ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout))
}

fn draw_run(surface: &mut Surface, at: [f32; 2], run: &Run, fonts: &Fonts) {
    let glyphs: Vec<KrillaGlyph> = shape(&run.text, run.style.weight)
        .into_iter()
        .map(|glyph| {
            let [right, up] = glyph.offset_em;
            KrillaGlyph::new(GlyphId::new(glyph.id), glyph.advance_em, right, up, 0.0, glyph.text_range, None)
        })
        .collect();
    let font = match run.style.weight {
        Weight::Regular => &fonts.regular,
        Weight::SemiBold => &fonts.semibold,
    };
    surface.set_stroke(None);
    surface.set_fill(Some(fill(run.style.color)));
    surface.draw_glyphs(Point::from_xy(at[0], at[1]), &glyphs, font.clone(), &run.text, run.style.size, false);
}

fn fill(color: Color) -> Fill {
    Fill { paint: paint(color).into(), opacity: NormalizedF32::ONE, rule: FillRule::NonZero }
}

fn paint(color: Color) -> rgb::Color {
    let [red, green, blue] = color.rgb;
    rgb::Color::new(red, green, blue)
}
