//! Drawing on a picture with smooth edges: strokes with round ends, filled areas and text.
//!
//! Places are in px of the picture, origin at the centre of its first pixel.

use std::sync::LazyLock;

use ab_glyph::{Font, FontRef, GlyphId, PxScale, point};
use image::RgbImage;

use crate::report::font::{Weight, shape};
use crate::report::palette::Color;

/// A row is cut in so many for the edges of a filled area.
const CUTS: u8 = 4;

static FONTS: LazyLock<[FontRef<'static>; 2]> = LazyLock::new(|| {
    [Weight::Regular, Weight::SemiBold]
        .map(|weight| FontRef::try_from_slice(weight.otf()).expect("the embedded font is valid, which a test proves"))
});

/// A colour and how much of what lies below it covers, from 0 to 1.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ink {
    pub color: Color,
    pub opacity: f64,
}

/// A picture to draw on.
pub(crate) struct Canvas<'a> {
    image: &'a mut RgbImage,
    /// By column, how much of the pixel of one row is covered.
    cover: Vec<f64>,
}

impl<'a> Canvas<'a> {
    /// Draws on `image`.
    pub(crate) fn on(image: &'a mut RgbImage) -> Self {
        let columns = usize::try_from(image.width()).expect("a width fits usize");
        Self { image, cover: vec![0.0; columns] }
    }

    /// A line through points with round joints and ends, `width` px wide. Points that are not finite draw nothing.
    pub(crate) fn stroke(&mut self, points: &[[f64; 2]], width: f64, ink: Ink) {
        if points.is_empty() || points.iter().flatten().any(|place| !place.is_finite()) {
            return;
        }
        let reach = 0.5 * width + 0.5;
        let segments: Vec<[[f64; 2]; 2]> = match points {
            [only] => vec![[*only, *only]],
            _ => points.windows(2).map(|pair| [pair[0], pair[1]]).collect(),
        };
        let (top, bottom) = range(points.iter().map(|[_, y]| *y));
        for row in pixels(top - reach, bottom + reach, self.image.height()) {
            let y = f64::from(row);
            for [from, to] in &segments {
                let Some((left, right)) = columns_near(*from, *to, y, reach) else { continue };
                for column in pixels(left, right, self.image.width()) {
                    let covered = (reach - distance([f64::from(column), y], *from, *to)).clamp(0.0, 1.0);
                    let cover = &mut self.cover[index(column)];
                    *cover = cover.max(covered);
                }
            }
            self.lay(row, ink);
        }
    }

    /// As [`Self::stroke`], with strokes and gaps of these lengths in turn, px.
    pub(crate) fn stroke_dashed(&mut self, points: &[[f64; 2]], width: f64, lengths: &[f64], ink: Ink) {
        for dash in dashes(points, lengths) {
            self.stroke(&dash, width, ink);
        }
    }

    /// The area within a closed line.
    pub(crate) fn fill(&mut self, corners: &[[f64; 2]], ink: Ink) {
        if corners.len() < 3 || corners.iter().flatten().any(|place| !place.is_finite()) {
            return;
        }
        let (top, bottom) = range(corners.iter().map(|[_, y]| *y));
        let mut crossings = Vec::new();
        for row in pixels(top - 0.5, bottom + 0.5, self.image.height()) {
            for cut in 0..CUTS {
                let y = f64::from(row) - 0.5 + (f64::from(cut) + 0.5) / f64::from(CUTS);
                crossings.clear();
                for (index, [x0, y0]) in corners.iter().enumerate() {
                    let [x1, y1] = corners[(index + 1) % corners.len()];
                    if (*y0 <= y) != (y1 <= y) {
                        crossings.push(x0 + (y - y0) / (y1 - y0) * (x1 - x0));
                    }
                }
                crossings.sort_by(f64::total_cmp);
                for pair in crossings.chunks_exact(2) {
                    for column in pixels(pair[0] - 0.5, pair[1] + 0.5, self.image.width()) {
                        let x = f64::from(column);
                        let covered = (pair[1].min(x + 0.5) - pair[0].max(x - 0.5)).clamp(0.0, 1.0);
                        self.cover[index(column)] += covered / f64::from(CUTS);
                    }
                }
            }
            self.lay(row, ink);
        }
    }

    /// A box from its upper left to its lower right corner.
    pub(crate) fn fill_box(&mut self, [left, top]: [f64; 2], [right, bottom]: [f64; 2], ink: Ink) {
        self.fill(&[[left, top], [right, top], [right, bottom], [left, bottom]], ink);
    }

    /// A line of text, its left end and base line at `at`; `size` is the font's, px.
    pub(crate) fn write(&mut self, text: &str, weight: Weight, size: f64, at: [f64; 2], ink: Ink) {
        let font = &FONTS[usize::from(weight == Weight::SemiBold)];
        let em = single(size);
        let units_per_em = font.units_per_em().expect("the embedded font states its units");
        let scale = PxScale::from(em * font.height_unscaled() / units_per_em);
        // here the origin is the corner of the first pixel
        let mut pen = single(at[0] + 0.5);
        let base = single(at[1] + 0.5);
        for glyph in shape(text, weight) {
            let [right, up] = glyph.offset_em;
            let id = GlyphId(u16::try_from(glyph.id).unwrap_or(0));
            let place = point(pen + right * em, base - up * em);
            pen += glyph.advance_em * em;
            let Some(outline) = font.outline_glyph(id.with_scale_and_position(scale, place)) else { continue };
            let corner = outline.px_bounds().min;
            outline.draw(|x, y, covered| {
                let place = [f64::from(corner.x) + f64::from(x), f64::from(corner.y) + f64::from(y)];
                let inside = pixels(place[0], place[0], self.image.width())
                    .next()
                    .zip(pixels(place[1], place[1], self.image.height()).next());
                if let Some((column, row)) = inside {
                    self.blend(column, row, ink, f64::from(covered.clamp(0.0, 1.0)));
                }
            });
        }
    }

    /// Lays the covered pixels of a row on the picture.
    fn lay(&mut self, row: u32, ink: Ink) {
        for column in 0..self.image.width() {
            let covered = std::mem::take(&mut self.cover[index(column)]);
            if covered > 0.0 {
                self.blend(column, row, ink, covered.min(1.0));
            }
        }
    }

    fn blend(&mut self, column: u32, row: u32, ink: Ink, covered: f64) {
        let share = covered * ink.opacity;
        let pixel = self.image.get_pixel_mut(column, row);
        for (below, above) in pixel.0.iter_mut().zip(ink.color.rgb) {
            let mixed = f64::from(*below) + share * (f64::from(above) - f64::from(*below));
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between two codes")]
            let mixed = mixed.round() as u8;
            *below = mixed;
        }
    }
}

/// The pixels of a side of `length` that lie from one place to another.
fn pixels(from: f64, to: f64, length: u32) -> std::ops::Range<u32> {
    let last = f64::from(length) - 1.0;
    if from > last || to < 0.0 {
        return 0..0;
    }
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to the picture")]
    let whole = |place: f64| place.clamp(0.0, last) as u32;
    whole(from.ceil())..whole(to.floor()) + 1
}

fn index(column: u32) -> usize {
    usize::try_from(column).expect("a width fits usize")
}

fn range(values: impl Iterator<Item = f64>) -> (f64, f64) {
    values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)))
}

/// Single precision holds a hundredth of a px at 8192.
#[expect(clippy::cast_possible_truncation, reason = "see above")]
const fn single(value: f64) -> f32 {
    value as f32
}

/// From and to which column a row comes near a segment; `None` where it does not.
fn columns_near(from: [f64; 2], to: [f64; 2], y: f64, reach: f64) -> Option<(f64, f64)> {
    let (along_x, along_y) = (to[0] - from[0], to[1] - from[1]);
    // the part of the segment that is within reach of the row
    let [mut start, mut end] = [0.0, 1.0];
    if along_y == 0.0 {
        if (y - from[1]).abs() > reach {
            return None;
        }
    } else {
        let [a, b] = [(y - reach - from[1]) / along_y, (y + reach - from[1]) / along_y];
        start = a.min(b).max(0.0);
        end = a.max(b).min(1.0);
        if start > end {
            return None;
        }
    }
    let [a, b] = [from[0] + start * along_x, from[0] + end * along_x];
    Some((a.min(b) - reach, a.max(b) + reach))
}

fn distance([x, y]: [f64; 2], from: [f64; 2], to: [f64; 2]) -> f64 {
    let along = [to[0] - from[0], to[1] - from[1]];
    let square = along[0] * along[0] + along[1] * along[1];
    let share = if square > 0.0 { ((x - from[0]) * along[0] + (y - from[1]) * along[1]) / square } else { 0.0 };
    let share = share.clamp(0.0, 1.0);
    (x - from[0] - share * along[0]).hypot(y - from[1] - share * along[1])
}

/// Cuts a line into dashes.
fn dashes(points: &[[f64; 2]], lengths: &[f64]) -> Vec<Vec<[f64; 2]>> {
    let mut cut = Vec::new();
    let is_usable = lengths.iter().all(|length| length.is_finite() && *length > 0.0);
    let (Some(first), true, true) = (points.first(), is_usable, !lengths.is_empty()) else { return cut };
    let mut dash = vec![*first];
    let (mut turn, mut left) = (0, lengths[0]);
    for pair in points.windows(2) {
        let [from, to] = [pair[0], pair[1]];
        let length = (to[0] - from[0]).hypot(to[1] - from[1]);
        let mut gone = 0.0;
        while length - gone > left {
            gone += left;
            let share = gone / length;
            let place = [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])];
            dash.push(place);
            let done = std::mem::replace(&mut dash, vec![place]);
            if turn % 2 == 0 {
                cut.push(done);
            }
            turn += 1;
            left = lengths[turn % lengths.len()];
        }
        left -= length - gone;
        dash.push(to);
    }
    if turn % 2 == 0 && dash.len() > 1 {
        cut.push(dash);
    }
    cut
}

#[cfg(test)]
mod tests {
    use image::Rgb;

    use super::*;
    use crate::report::palette::{INK, WHITE};

    const SOLID: Ink = Ink { color: WHITE, opacity: 1.0 };

    fn blank() -> RgbImage {
        RgbImage::new(60, 40)
    }

    /// Sum of all that was drawn in white, px.
    fn area(image: &RgbImage) -> f64 {
        image.pixels().map(|pixel| f64::from(pixel.0[0]) / 255.0).sum()
    }

    /// A stroke of length 30 and width 6 with round ends covers 30 x 6 + pi x 3^2 = 208.3 px², at any angle.
    #[test]
    fn a_stroke_covers_its_length_times_its_width_and_its_round_ends() {
        for (from, to) in [([15.0, 20.0], [45.0, 20.0]), ([20.3, 10.1], [44.3, 28.1])] {
            let mut image = blank();
            Canvas::on(&mut image).stroke(&[from, to], 6.0, SOLID);
            assert!((area(&image) - 208.27).abs() < 1.5, "{}", area(&image));
        }
    }

    /// A box from 10.5 to 20.0 and 5.25 to 15.0 has 9.5 x 9.75 = 92.6 px².
    #[test]
    fn a_filled_box_covers_its_area_with_smooth_edges() {
        let mut image = blank();
        Canvas::on(&mut image).fill_box([10.5, 5.25], [20.0, 15.0], SOLID);
        assert!((area(&image) - 92.625).abs() < 0.5, "{}", area(&image));
        assert_eq!(image.get_pixel(15, 10), &Rgb([255, 255, 255]));
        assert_eq!(image.get_pixel(20, 10).0[0], 128, "half of the last column");
    }

    #[test]
    fn opacity_mixes_and_joints_are_not_laid_on_twice() {
        let mut image = blank();
        let half = Ink { color: WHITE, opacity: 0.5 };
        Canvas::on(&mut image).stroke(&[[10.0, 20.0], [30.0, 20.0], [50.0, 20.0]], 8.0, half);
        assert_eq!(image.pixels().map(|pixel| pixel.0[0]).max(), Some(128));
    }

    #[test]
    fn dashes_have_their_lengths_around_corners() {
        let cut = dashes(&[[0.0, 0.0], [10.0, 0.0], [10.0, 10.0]], &[8.0, 4.0]);
        assert_eq!(cut, [vec![[0.0, 0.0], [8.0, 0.0]], vec![[10.0, 2.0], [10.0, 10.0]]]);
    }

    #[test]
    fn nothing_is_drawn_beyond_the_picture_or_nowhere() {
        let mut image = blank();
        let mut canvas = Canvas::on(&mut image);
        canvas.stroke(&[[-50.0, -50.0], [-20.0, 900.0]], 5.0, SOLID);
        canvas.stroke(&[[f64::NAN, 1.0], [2.0, 2.0]], 5.0, SOLID);
        canvas.fill(&[[100.0, 100.0], [200.0, 100.0], [150.0, 300.0]], SOLID);
        canvas.write("151°", Weight::Regular, 20.0, [400.0, -30.0], SOLID);
        assert!(area(&image) == 0.0);
        Canvas::on(&mut image).stroke(&[[-10.0, 20.0], [90.0, 20.0]], 4.0, SOLID);
        assert!(area(&image) > 200.0);
    }

    #[test]
    fn text_is_as_wide_as_its_shape_and_stands_on_its_line() {
        let mut image = RgbImage::from_pixel(200, 60, Rgb([255, 255, 255]));
        let ink = Ink { color: INK, opacity: 1.0 };
        Canvas::on(&mut image).write("151.2°", Weight::SemiBold, 40.0, [10.0, 45.0], ink);
        let dark: Vec<(u32, u32)> =
            image.enumerate_pixels().filter(|(.., pixel)| pixel.0[0] < 100).map(|(x, y, _)| (x, y)).collect();
        let right = f64::from(dark.iter().map(|(x, _)| *x).max().unwrap());
        let width = f64::from(crate::report::font::width_em("151.2°", Weight::SemiBold)) * 40.0;
        assert!((right - 10.0 - width).abs() < 6.0, "{right} {width}");
        let lowest = dark.iter().map(|(_, y)| *y).max().unwrap();
        // digits stand on the line; round ones go below it by a px
        assert!((44..=46).contains(&lowest), "{lowest}");
    }
}
