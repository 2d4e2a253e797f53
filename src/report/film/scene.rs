//! What is drawn over one frame of a film: rays, marks, plumb line, elevation, and what is lost.

use image::RgbImage;

use super::canvas::{Canvas, Ink};
use super::held::HeldReach;
use crate::geometry::{ImagePoint, Landmark, Side};
use crate::pose::Rotation;
use crate::report::chart::CurveWords;
use crate::report::font::{Weight, width_em};
use crate::report::palette::{BLUE, Color, INK, MUTED, VERMILION, WHITE};
use crate::report::wording::rotation_word;
use crate::screen::{ClipCurve, TrackedClip};
use crate::track::MarkState;

/// Lengths below are px where the film's short side has so many.
const SHORT_SIDE_PX: f64 = 720.0;
/// The live arm's ray goes on past the wrist by this share of its length.
const RAY_BEYOND_RATIO: f64 = 0.22;
const ARM_WIDTH: f64 = 6.0;
const TRUNK_WIDTH: f64 = 5.0;
const RAY_WIDTH: f64 = 3.0;
const CASING_WIDTH: f64 = 5.0;
const MARK_RADIUS: f64 = 7.0;
const PLUMB_DASHES: [f64; 4] = [22.0, 9.0, 3.0, 9.0];
const TRUNK_DASHES: [f64; 2] = [20.0, 11.0];
const RAY_DASHES: [f64; 2] = [14.0, 8.0];
const WEDGE_OPACITY: f64 = 0.34;
const GROUND_OPACITY: f64 = 0.88;
const FIGURE_SIZE: f64 = 66.0;
const OTHER_FIGURE_SIZE: f64 = 42.0;
const WORD_SIZE: f64 = 25.0;
const SMALL_SIZE: f64 = 22.0;
/// From the film's edge to the panel, and from the panel's edge to its text.
const MARGIN: f64 = 14.0;
/// From one base line to the next, in sizes of the font.
const LINE_EM: f64 = 1.28;

/// Stands at the foot of every frame.
const CAUTION: &str = "A measuring aid, not a diagnosis. Stop on pain.";

/// All that is drawn over a clip.
pub(crate) struct Scene<'a> {
    track: &'a TrackedClip,
    held: Option<&'a HeldReach>,
    size: [f64; 2],
    /// Px of the film for one px of the picture.
    scale: f64,
    /// Px of the film for one of the lengths above.
    unit: f64,
    /// Upper left corner of the panel.
    panel: [f64; 2],
}

/// A line of the panel.
struct Words {
    text: String,
    size: f64,
    color: Color,
    weight: Weight,
}

impl Words {
    fn new(text: impl Into<String>, size: f64, color: Color) -> Self {
        let weight = if size > WORD_SIZE { Weight::SemiBold } else { Weight::Regular };
        Self { text: text.into(), size, color, weight }
    }

    fn width(&self) -> f64 {
        f64::from(width_em(&self.text, self.weight)) * self.size
    }
}

impl<'a> Scene<'a> {
    /// Over frames of `film_size` (px) of a clip whose marks stand in a picture of `picture_width` (px).
    pub(crate) fn new(
        track: &'a TrackedClip,
        held: Option<&'a HeldReach>,
        film_size: (u32, u32),
        picture_width: u32,
    ) -> Self {
        let size = [f64::from(film_size.0), f64::from(film_size.1)];
        let scale = size[0] / f64::from(picture_width.max(1));
        let mut scene = Self { track, held, size, scale, unit: size[0].min(size[1]) / SHORT_SIDE_PX, panel: [0.0; 2] };
        scene.panel = scene.emptiest_corner();
        scene
    }

    /// Draws over the frame of an index.
    pub(crate) fn draw(&self, image: &mut RgbImage, frame: usize) {
        let Some(time_s) = self.track.track.times_s.get(frame).copied() else { return };
        let mut canvas = Canvas::on(image);
        self.draw_held(&mut canvas, time_s);
        self.draw_body(&mut canvas, frame);
        self.draw_panel(&mut canvas, &self.panel_words(Some(frame)));
        self.draw_foot(&mut canvas, frame);
    }

    /// The film's place of a place on the picture: both have their origin at the centre of the first pixel.
    fn place(&self, point: ImagePoint) -> [f64; 2] {
        [(point.x + 0.5) * self.scale - 0.5, (point.y + 0.5) * self.scale - 0.5]
    }

    fn places(&self, points: &[ImagePoint]) -> Vec<[f64; 2]> {
        points.iter().map(|point| self.place(*point)).collect()
    }

    fn point(&self, frame: usize, landmark: Landmark) -> Option<[f64; 2]> {
        self.track.track.point(frame, landmark).map(|point| self.place(point))
    }

    /// The fit's plumb line, and the held rays with their intervals.
    fn draw_held(&self, canvas: &mut Canvas<'_>, time_s: f64) {
        let Some(drawing) = self.held.and_then(|held| held.nearest(time_s)) else { return };
        self.cased(canvas, &self.places(&drawing.plumb), 2.5, &PLUMB_DASHES, INK);
        for ray in &drawing.rays {
            canvas.fill(&self.places(&ray.wedge), Ink { color: color_of(ray.rotation), opacity: WEDGE_OPACITY });
        }
        for ray in &drawing.rays {
            let dashes: &[f64] = if ray.rotation == Rotation::Internal { &RAY_DASHES } else { &[] };
            self.cased(canvas, &self.places(&ray.ray), RAY_WIDTH, dashes, color_of(ray.rotation));
        }
        let ends: Vec<[f64; 2]> = drawing.rays.iter().map(|ray| self.place(ray.ray[1])).collect();
        for (index, ray) in drawing.rays.iter().enumerate() {
            let other = ends.get(1 - index.min(1)).filter(|_| ends.len() == 2).copied();
            self.name_ray(canvas, self.place(ray.ray[0]), ends[index], other, ray.rotation);
        }
    }

    /// The rotation's name beyond the end of its ray, away from the other ray.
    fn name_ray(
        &self,
        canvas: &mut Canvas<'_>,
        from: [f64; 2],
        end: [f64; 2],
        other: Option<[f64; 2]>,
        rotation: Rotation,
    ) {
        let words = Words::new(rotation_word(rotation), SMALL_SIZE, color_of(rotation));
        let [width, height] = [words.width() * self.unit, SMALL_SIZE * LINE_EM * self.unit];
        let along = unit_vector([end[0] - from[0], end[1] - from[1]]);
        let away = other.map_or([0.0; 2], |other| unit_vector([end[0] - other[0], end[1] - other[1]]));
        let middle = [0, 1].map(|axis| {
            let half = 0.5 * [width, height][axis];
            let wanted =
                end[axis] + along[axis] * (16.0 * self.unit + 0.5 * height) + away[axis] * (half + 0.25 * height);
            wanted.clamp(half, (self.size[axis] - half).max(half))
        });
        let corner = [middle[0] - 0.5 * width, middle[1] - 0.5 * height];
        self.ground(canvas, [corner[0] - 4.0 * self.unit, corner[1]], [width + 8.0 * self.unit, height]);
        self.write(canvas, &words, [corner[0], corner[1] + 0.78 * height]);
    }

    /// Arms, trunk, marks and the wall's edge where they are followed.
    fn draw_body(&self, canvas: &mut Canvas<'_>, frame: usize) {
        if self.held.is_none()
            && let (Some(top), Some(bottom)) =
                (self.point(frame, Landmark::PlumbTop), self.point(frame, Landmark::PlumbBottom))
            && let Some(line) = through(top, bottom, self.size[1])
        {
            self.cased(canvas, &line, 2.5, &PLUMB_DASHES, INK);
        }
        for side in Side::BOTH {
            let shoulder = self.point(frame, Landmark::Shoulder(side));
            if let (Some(shoulder), Some(hip)) = (shoulder, self.point(frame, Landmark::Hip(side))) {
                self.cased(canvas, &[shoulder, hip], TRUNK_WIDTH, &TRUNK_DASHES, INK);
            }
            let (Some(shoulder), Some(wrist)) = (shoulder, self.point(frame, Landmark::Wrist(side))) else { continue };
            let color = self.held.map_or(BLUE, |held| color_of(held.rotation));
            if matches!(self.track.shows, Some(ClipCurve::ArmAngle { side: of, .. }) if of == side) {
                let beyond = [0, 1].map(|axis| wrist[axis] + RAY_BEYOND_RATIO * (wrist[axis] - shoulder[axis]));
                self.cased(canvas, &[shoulder, beyond], 0.5 * RAY_WIDTH, &[], color);
            }
            let elbow = self.point(frame, Landmark::Elbow(side));
            let arm: Vec<[f64; 2]> = [Some(shoulder), elbow, Some(wrist)].into_iter().flatten().collect();
            self.cased(canvas, &arm, ARM_WIDTH, &[], color);
        }
        let ends = Side::BOTH.map(|side| self.point(frame, Landmark::BarEnd(side)));
        if let [Some(left), Some(right)] = ends {
            canvas.stroke(&[left, right], 9.0 * self.unit, solid(INK));
            canvas.stroke(&[left, right], 4.0 * self.unit, solid(WHITE));
        }
        for state in &self.track.track.states[frame] {
            let MarkState::Followed { point, .. } = state else { continue };
            let middle = self.place(*point);
            let ring: Vec<[f64; 2]> = (0..=20)
                .map(|step| {
                    let (sin, cos) = (f64::from(step) / 20.0 * std::f64::consts::TAU).sin_cos();
                    [middle[0] + MARK_RADIUS * self.unit * cos, middle[1] + MARK_RADIUS * self.unit * sin]
                })
                .collect();
            canvas.stroke(&ring, 6.0 * self.unit, Ink { color: WHITE, opacity: 0.8 });
            canvas.stroke(&ring, 2.5 * self.unit, solid(INK));
        }
    }

    /// What the panel says in a frame, or the widest that it says in any.
    fn panel_words(&self, frame: Option<usize>) -> Vec<Words> {
        let mut words = Vec::new();
        let value = frame.map_or(Some(188.8), |frame| self.track.course.smoothed.get(frame).copied().flatten());
        let value = self.track.shows.zip(value).map(|(shows, value)| CurveWords::of(shows).figure(value));
        let (what, none) = match self.track.shows {
            Some(ClipCurve::BarHeight) => ("bar above shoulders, in its lengths", "no bar"),
            _ => ("on the picture, not measured", "no angle"),
        };
        let Some(held) = self.held else {
            words.push(Words::new(value.unwrap_or_else(|| none.to_owned()), FIGURE_SIZE, INK));
            words.push(Words::new(what, SMALL_SIZE, MUTED));
            words.push(Words::new(self.held_words(frame), SMALL_SIZE, MUTED));
            return words;
        };
        for (index, figure) in held.figures.iter().enumerate() {
            let size = if index == 0 { FIGURE_SIZE } else { OTHER_FIGURE_SIZE };
            words.push(Words::new(figure.label.clone(), WORD_SIZE, color_of(figure.rotation)));
            words.push(Words::new(figure.value.clone(), size, color_of(figure.rotation)));
            words.push(Words::new(figure.interval.clone(), WORD_SIZE, INK));
        }
        for absence in &held.absences {
            words.push(Words::new(absence.clone(), SMALL_SIZE, INK));
        }
        let now = match (self.track.shows, value) {
            (_, None) => format!("{none} now"),
            (Some(ClipCurve::BarHeight), Some(value)) => format!("bar now {value} of its lengths above the shoulders"),
            (_, Some(value)) => format!("on the picture now {value}"),
        };
        words.push(Words::new(now, SMALL_SIZE, MUTED));
        words.push(Words::new(self.held_words(frame), SMALL_SIZE, MUTED));
        words
    }

    /// Which raise is held, where one is.
    fn held_words(&self, frame: Option<usize>) -> String {
        let raises = &self.track.course.raises;
        let number = match frame {
            None => raises.len().checked_sub(1),
            Some(frame) => {
                let time_s = self.track.track.times_s[frame];
                raises
                    .iter()
                    .position(|raise| raise.hold.is_some_and(|hold| (hold.start_s..=hold.end_s).contains(&time_s)))
            }
        };
        number.map_or_else(String::new, |number| format!("raise {} of {}, held", number + 1, raises.len()))
    }

    /// Width and height of the panel.
    fn panel_size(&self) -> [f64; 2] {
        let words = self.panel_words(None);
        let width = words.iter().map(Words::width).fold(0.0, f64::max) + 2.0 * MARGIN;
        let height: f64 = words.iter().map(|line| line.size * LINE_EM).sum::<f64>() + 1.4 * MARGIN;
        [width * self.unit, height * self.unit]
    }

    fn draw_panel(&self, canvas: &mut Canvas<'_>, words: &[Words]) {
        self.ground(canvas, self.panel, self.panel_size());
        let mut base = self.panel[1] + 0.5 * MARGIN * self.unit;
        for line in words {
            base += line.size * LINE_EM * self.unit;
            let at = [self.panel[0] + MARGIN * self.unit, base - 0.24 * line.size * self.unit];
            self.write(canvas, line, at);
        }
    }

    /// The caution, and above it what is hidden or lost.
    fn draw_foot(&self, canvas: &mut Canvas<'_>, frame: usize) {
        let height = self.foot_height();
        let top = self.size[1] - height;
        self.ground(canvas, [0.0, top], [self.size[0], height]);
        let base = |top: f64| [MARGIN * self.unit, top + 0.74 * height];
        self.write(canvas, &Words::new(CAUTION, SMALL_SIZE, INK), base(top));
        let lost = self.lost_words(frame);
        if !lost.is_empty() {
            let ink = Ink { color: INK, opacity: GROUND_OPACITY };
            canvas.fill_box([-0.5, top - height - 0.5], [self.size[0], top - 0.5], ink);
            self.write(canvas, &Words::new(lost, SMALL_SIZE, WHITE), base(top - height));
        }
    }

    fn foot_height(&self) -> f64 {
        (1.5 * SMALL_SIZE * self.unit).round()
    }

    /// The marks that are not seen in a frame, as many as there is room for.
    fn lost_words(&self, frame: usize) -> String {
        let states = &self.track.track.states[frame];
        let named = |is_it: fn(&MarkState) -> bool| -> Vec<String> {
            let of = self.track.track.landmarks.iter().zip(states).filter(|(_, state)| is_it(state));
            of.map(|(landmark, _)| landmark.name().replace('_', " ")).collect()
        };
        let lists = [
            ("Hidden, by the arm", named(|state| matches!(state, MarkState::Hidden { .. }))),
            ("Lost", named(|state| matches!(state, MarkState::Lost))),
            ("Out of the picture", named(|state| matches!(state, MarkState::OutOfPicture))),
        ];
        let room = self.size[0] / self.unit - 2.0 * MARGIN;
        let said = |shown: usize| -> String {
            let parts = lists.iter().filter(|(_, names)| !names.is_empty()).map(|(head, names)| {
                let more = names.len().saturating_sub(shown);
                let more = if more > 0 { format!(" and {more} more") } else { String::new() };
                format!("{head}: {}{more}", names[..shown.min(names.len())].join(", "))
            });
            parts.collect::<Vec<_>>().join("; ")
        };
        let fits = |text: &String| f64::from(width_em(text, Weight::Regular)) * SMALL_SIZE <= room;
        (1..=states.len()).rev().map(said).find(fits).unwrap_or_else(|| said(1))
    }

    /// The corner whose panel covers the fewest places of body and rays over the whole clip.
    fn emptiest_corner(&self) -> [f64; 2] {
        let [width, height] = self.panel_size();
        let margin = MARGIN * self.unit;
        // two lines at the foot
        let bottom = (self.size[1] - 2.0 * self.foot_height() - margin - height).max(margin);
        let right = (self.size[0] - margin - width).max(margin);
        let is_body =
            |landmark: &&Landmark| !matches!(landmark, Landmark::PlumbTop | Landmark::PlumbBottom | Landmark::Datum);
        let landmarks: Vec<Landmark> = self.track.track.landmarks.iter().filter(is_body).copied().collect();
        let followed = (0..self.track.track.times_s.len())
            .flat_map(|frame| landmarks.iter().filter_map(move |landmark| self.point(frame, *landmark)));
        let rays = self.held.into_iter().flat_map(|held| &held.drawings).flat_map(|drawing| &drawing.rays);
        let places: Vec<[f64; 2]> =
            followed.chain(rays.flat_map(|ray| ray.wedge.iter().map(|point| self.place(*point)))).collect();
        let covered = |[left, top]: [f64; 2]| {
            let within = |[x, y]: &&[f64; 2]| {
                (left - margin..=left + width + margin).contains(x)
                    && (top - margin..=top + height + margin).contains(y)
            };
            places.iter().filter(within).count()
        };
        let corners = [[margin, margin], [right, margin], [margin, bottom], [right, bottom]];
        corners.into_iter().min_by_key(|corner| covered(*corner)).unwrap_or([margin, margin])
    }

    fn ground(&self, canvas: &mut Canvas<'_>, [left, top]: [f64; 2], [width, height]: [f64; 2]) {
        let ink = Ink { color: WHITE, opacity: GROUND_OPACITY };
        canvas.fill_box([left - 0.5, top - 0.5], [left + width - 0.5, top + height - 0.5], ink);
    }

    fn write(&self, canvas: &mut Canvas<'_>, words: &Words, at: [f64; 2]) {
        canvas.write(&words.text, words.weight, words.size * self.unit, at, solid(words.color));
    }

    /// A line over a white casing.
    fn cased(&self, canvas: &mut Canvas<'_>, points: &[[f64; 2]], width: f64, dashes: &[f64], color: Color) {
        canvas.stroke(points, (width + CASING_WIDTH) * self.unit, Ink { color: WHITE, opacity: 0.6 });
        if dashes.is_empty() {
            canvas.stroke(points, width * self.unit, solid(color));
        } else {
            let lengths: Vec<f64> = dashes.iter().map(|length| length * self.unit).collect();
            canvas.stroke_dashed(points, width * self.unit, &lengths, solid(color));
        }
    }
}

const fn solid(color: Color) -> Ink {
    Ink { color, opacity: 1.0 }
}

const fn color_of(rotation: Rotation) -> Color {
    match rotation {
        Rotation::Internal => BLUE,
        Rotation::External => VERMILION,
    }
}

fn unit_vector([x, y]: [f64; 2]) -> [f64; 2] {
    let length = x.hypot(y);
    if length > 0.0 { [x / length, y / length] } else { [0.0; 2] }
}

/// The line through two points from the upper to the lower edge of a picture; `None` where it lies level.
fn through(from: [f64; 2], to: [f64; 2], height: f64) -> Option<[[f64; 2]; 2]> {
    let rise = to[1] - from[1];
    let at = |y: f64| [from[0] + (y - from[1]) / rise * (to[0] - from[0]), y];
    (rise.abs() > 1.0).then(|| [at(-0.5), at(height - 0.5)])
}
