//! One grey picture, read at positions between its pixels.

use fearless_simd::f32x8;
use fearless_simd::prelude::*;
use image::GrayImage;

/// Values that are worked out side by side.
pub(crate) const LANES: usize = 8;

/// A grey picture with values from 0 to 255. Positions are in px from the centre of the top-left pixel, x right, y down.
/// Beyond its edges the picture is its own mirror image through the centres of the outer pixels.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Plane {
    width: usize,
    height: usize,
    values: Vec<u8>,
    /// Columns and rows that hold values: from the first to before the second.
    columns: [usize; 2],
    rows: [usize; 2],
}

impl Plane {
    /// A plane of `width` times `height` values, row by row.
    pub(crate) fn new(width: usize, height: usize, values: Vec<u8>) -> Self {
        debug_assert_eq!(values.len(), width * height);
        Self { width, height, values, columns: [0, width], rows: [0, height] }
    }

    /// A picture's values.
    pub(crate) fn owning(image: GrayImage) -> Self {
        let side = |px: u32| usize::try_from(px).expect("a picture in memory has sides that can be indexed");
        Self::new(side(image.width()), side(image.height()), image.into_raw())
    }

    /// The picture that the values were taken from.
    pub(crate) fn into_picture(self) -> Option<GrayImage> {
        GrayImage::from_raw(u32::try_from(self.width).ok()?, u32::try_from(self.height).ok()?, self.values)
    }

    /// As [`Self::new`], where only some columns and rows hold values, from the first to before the second.
    pub(crate) fn partial(size: [usize; 2], values: Vec<u8>, columns: [usize; 2], rows: [usize; 2]) -> Self {
        Self { columns, rows, ..Self::new(size[0], size[1], values) }
    }

    /// Width and height, px.
    pub(crate) const fn size(&self) -> (usize, usize) {
        (self.width, self.height)
    }

    /// Row `y`.
    pub(crate) fn row(&self, y: usize) -> &[u8] {
        &self.values[y * self.width..(y + 1) * self.width]
    }

    /// Whether a position lies on the picture, out to the outer edges of its outer pixels.
    pub(crate) fn contains(&self, x: f64, y: f64) -> bool {
        (-0.5..=self.width as f64 - 0.5).contains(&x) && (-0.5..=self.height as f64 - 0.5).contains(&y)
    }

    /// The value at a position, by straight lines between the four pixels around it. The position must be finite.
    pub(crate) fn at(&self, x: f32, y: f32) -> f32 {
        let (left, top) = (x.floor(), y.floor());
        let (across, down) = (x - left, y - top);
        let (left, top) = (whole(left), whole(top));
        let (right, bottom) = (mirrored(left + 1, self.width), mirrored(top + 1, self.height));
        let (left, top) = (mirrored(left, self.width), mirrored(top, self.height));
        let value = |column: usize, row: usize| f32::from(self.values[row * self.width + column]);
        let upper = value(left, top) + across * (value(right, top) - value(left, top));
        let lower = value(left, bottom) + across * (value(right, bottom) - value(left, bottom));
        upper + down * (lower - upper)
    }

    /// As [`Self::at`], where all four pixels around lie on the picture and hold values.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to lie on the picture")]
    #[inline(always)]
    pub(crate) fn at_inside(&self, x: f32, y: f32) -> Option<f32> {
        if !(x >= 0.0 && y >= 0.0) {
            return None;
        }
        let (left, top) = (x as usize, y as usize);
        let is_held =
            self.columns[0] <= left && left + 1 < self.columns[1] && self.rows[0] <= top && top + 1 < self.rows[1];
        if !is_held {
            return None;
        }
        let (across, down) = (x - left as f32, y - top as f32);
        let first = top * self.width + left;
        let upper = self.values.get(first..first + 2)?;
        let lower = self.values.get(first + self.width..first + self.width + 2)?;
        let [a, b, c, d] = [upper[0], upper[1], lower[0], lower[1]].map(f32::from);
        let (upper, lower) = (a + across * (b - a), c + across * (d - c));
        Some(upper + down * (lower - upper))
    }
}

/// Reads upright grids of positions, one px apart, from a plane: as fast as can be where one lies within a px of the one before.
pub(crate) struct GridReader<'a> {
    plane: &'a Plane,
    columns: usize,
    rows: usize,
    /// The pixels around the grid read last. Lines have some more than are needed, so that all are worked through in one go.
    pixels: Vec<f32>,
    /// Column and row of the first of them.
    first: Option<[i32; 2]>,
}

impl<'a> GridReader<'a> {
    /// Reads grids of `rows` with `columns`, a multiple of [`LANES`]. `room` is given back by [`Self::into_room`].
    pub(crate) fn new(plane: &'a Plane, [columns, rows]: [usize; 2], room: Vec<f32>) -> Self {
        debug_assert_eq!(columns % LANES, 0);
        let mut pixels = room;
        pixels.resize((rows + 1) * (columns + LANES), 0.0);
        Self { plane, columns, rows, pixels, first: None }
    }

    /// Room for another reader.
    pub(crate) fn into_room(self) -> Vec<f32> {
        self.pixels
    }

    /// Reads the grid whose first position is at `x`, `y`, which must be finite: row by row, [`LANES`] values at a time go to `take`
    /// with their number.
    #[inline(always)]
    pub(crate) fn read<S: Simd>(&mut self, simd: S, [x, y]: [f32; 2], mut take: impl FnMut(usize, f32x8<S>)) {
        let (left, top) = (x.floor(), y.floor());
        let (across, down) = (x - left, y - top);
        let first = [left, top].map(whole);
        if self.first != Some(first) {
            self.read_pixels(simd, first);
            self.first = Some(first);
        }
        let weights = [(1.0 - across) * (1.0 - down), across * (1.0 - down), (1.0 - across) * down, across * down];
        let wide = self.columns + LANES;
        let mut number = 0;
        for row in 0..self.rows {
            let (upper, lower) = self.pixels[row * wide..][..2 * wide].split_at(wide);
            for column in (0..self.columns).step_by(LANES) {
                let at = |line: &[f32], right: usize| f32x8::from_slice(simd, &line[column + right..][..LANES]);
                let upper = at(upper, 0) * weights[0] + at(upper, 1) * weights[1];
                take(number, upper + at(lower, 0) * weights[2] + at(lower, 1) * weights[3]);
                number += 1;
            }
        }
    }

    #[inline(always)]
    fn read_pixels<S: Simd>(&mut self, simd: S, [left, top]: [i32; 2]) {
        let wide = self.columns + LANES;
        let is_inside =
            |first: i32, count: usize, side: usize| usize::try_from(first).is_ok_and(|first| first + count <= side);
        if !(is_inside(left, wide, self.plane.width) && is_inside(top, self.rows + 1, self.plane.height)) {
            self.read_mirrored([left, top]);
            return;
        }
        let [left, top] = [left, top].map(|first| first.unsigned_abs() as usize);
        for (line, row) in self.pixels.chunks_exact_mut(wide).zip(top..) {
            let pixels = &self.plane.row(row)[left..][..wide];
            for column in (0..wide).step_by(LANES) {
                let pixels = &pixels[column..][..LANES];
                f32x8::from_fn(simd, |lane| f32::from(pixels[lane])).store_slice(&mut line[column..][..LANES]);
            }
        }
    }

    /// As [`Self::read_pixels`], where some lie beyond an edge.
    fn read_mirrored(&mut self, [left, top]: [i32; 2]) {
        let Plane { width, height, .. } = *self.plane;
        let wide = self.columns + LANES;
        let places: Vec<usize> = (left..).take(wide).map(|column| mirrored(column, width)).collect();
        // those that lie on the picture are a run, read in one go
        let start = usize::try_from(left).unwrap_or(0).min(width);
        let first = usize::try_from(-left).unwrap_or(0).min(wide);
        let end = wide.min(first + width - start);
        for (line, row) in self.pixels.chunks_exact_mut(wide).zip(top..) {
            let row = self.plane.row(mirrored(row, height));
            line[first..end].iter_mut().zip(&row[start..]).for_each(|(value, pixel)| *value = f32::from(*pixel));
            (0..first).chain(end..wide).for_each(|step| line[step] = f32::from(row[places[step]]));
        }
    }
}

/// The pixel that stands at `index` when the picture is mirrored at its outer pixels again and again.
pub(crate) fn mirrored(index: i32, count: usize) -> usize {
    let count = i32::try_from(count).expect("a picture in memory has sides that can be indexed");
    if count == 1 {
        return 0;
    }
    let period = 2 * (count - 1);
    let folded = index.rem_euclid(period);
    let place = if folded < count { folded } else { period - folded };
    usize::try_from(place).expect("folding gives a place on the picture")
}

#[expect(clippy::cast_possible_truncation, reason = "clamped to the range of the type, beyond which nothing differs")]
fn whole(value: f32) -> i32 {
    value.clamp(-1e9, 1e9) as i32
}

#[cfg(test)]
mod tests {
    use fearless_simd::{Level, dispatch};

    use super::*;

    fn ramp() -> Plane {
        // value = 10 x + 3 y, which straight lines give exactly
        Plane::new(6, 5, (0..30).map(|index| (index % 6) * 10 + (index / 6) * 3).collect())
    }

    #[test]
    fn straight_lines_give_a_ramp_exactly() {
        assert!((ramp().at(2.25, 1.5) - (22.5 + 4.5)).abs() < 1e-5);
    }

    #[test]
    fn beyond_an_edge_is_the_mirror_image() {
        let plane = ramp();
        assert!((plane.at(-2.0, 1.0) - plane.at(2.0, 1.0)).abs() < 1e-5);
        assert!((plane.at(6.5, 1.0) - plane.at(3.5, 1.0)).abs() < 1e-5);
        assert_eq!(mirrored(-11, 6), 1);
    }

    #[test]
    fn grid_is_the_plane_read_point_by_point_also_beyond_its_edges() {
        let plane =
            Plane::new(19, 17, (0..19_u32 * 17).map(|index| u8::try_from(index * index % 251).unwrap()).collect());
        let mut reader = GridReader::new(&plane, [8, 3], Vec::new());
        for (x, y) in [(0.75, 0.5), (0.25, 0.875), (-3.25, 4.0), (15.5, -2.75), (2.0, 14.25), (-30.5, -40.25)] {
            let mut grid = Vec::new();
            dispatch!(Level::new(), simd => reader.read(simd, [x, y], |number, values| {
                assert_eq!(number * LANES, grid.len());
                grid.extend_from_slice(values.as_slice());
            }));
            assert_eq!(grid.len(), 24);
            for (place, found) in grid.iter().enumerate() {
                let [row, column] = [place / 8, place % 8].map(|step| f32::from(u8::try_from(step).unwrap()));
                assert!((found - plane.at(x + column, y + row)).abs() < 1e-3, "{x} {y}, {place}");
            }
        }
    }
}
