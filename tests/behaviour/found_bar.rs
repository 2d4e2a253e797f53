//! The bar found in the picture and measured in place of the marks on its ends: what that does to the numbers, and when it is left.

use std::path::Path;

use image::{Rgb, imageops};
use imageproc::drawing::draw_filled_rect_mut;
use imageproc::rect::Rect;
use serde_json::{Value, json};
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::screen::{MeasureOptions, MeasuredVisit, Still, measure_case};

use crate::case_files::{code, stderr, tworeach};
use crate::sample_case;

const ENDS: [&str; 2] = ["bar_left", "bar_right"];

/// By how much the ends of the bar are marked off their place, px: on the mean 4 down, and turned.
const OFF_PX: [[f64; 2]; 2] = [[1.0, 6.0], [-1.0, 2.0]];

/// What a bar found in the picture may move its angle by against one marked on its true ends, deg: the bar is 430 px long, and 0.25 px
/// at each end, to which light and shade let it be found, are 0.05 deg. Three times that.
const TILT_TOL_DEG: f64 = 0.15;

/// The same for the difference of the bar's heights, mm: the middles of two bars, each found to 0.25 px, are 0.35 px off, at 2.8 mm a
/// px (1200 mm on 430 px). Three times that.
const HEIGHT_TOL_MM: f64 = 3.0;

/// The front view that comes with the project, every landmark marked where it truly is.
struct FrontCase {
    folder: tempfile::TempDir,
    truth: Value,
}

impl FrontCase {
    fn new() -> Self {
        let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/front");
        let folder = tempfile::tempdir().unwrap();
        for entry in std::fs::read_dir(&samples).unwrap() {
            let path = entry.unwrap().path();
            std::fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
        }
        let case = Self { folder, truth: sample_case::json(&samples.join("truth.json")) };
        for reach in ["internal", "external"] {
            case.change(reach, |marks| {
                let mut frame = marks["frames"][0].clone();
                for (name, place) in frame["points"].as_object_mut().unwrap() {
                    *place = case.true_place(reach, name);
                    if !ENDS.contains(&name.as_str()) {
                        // the spread that marks have, stated: what is looked for is the bar alone
                        place.as_array_mut().unwrap().push(json!(1.5));
                    }
                }
                marks["frames"] = json!([frame]);
            });
        }
        case
    }

    fn reach(&self, name: &str) -> &Value {
        let file = format!("before-{name}.mp4");
        self.truth["reaches"].as_array().unwrap().iter().find(|reach| reach["file"] == file).unwrap()
    }

    /// Where a landmark truly is at end range, px.
    fn true_place(&self, reach: &str, landmark: &str) -> Value {
        let reach = self.reach(reach);
        let off =
            |frame: &Value| (frame["time_s"].as_f64().unwrap() - reach["end_range_time_s"].as_f64().unwrap()).abs();
        let frames = reach["frames"].as_array().unwrap();
        let frame = frames.iter().min_by(|a, b| off(a).total_cmp(&off(b))).unwrap();
        frame["landmarks"][landmark]["px"].clone()
    }

    fn true_number(&self, reach: &str, quantity: &str) -> f64 {
        self.reach(reach)["end_range"][quantity].as_f64().unwrap()
    }

    fn change(&self, reach: &str, change: impl FnOnce(&mut Value)) {
        let path = self.folder.path().join(format!("before-{reach}.marks.json"));
        let mut marks = sample_case::json(&path);
        change(&mut marks);
        std::fs::write(path, marks.to_string()).unwrap();
    }

    /// Marks the bar of a reach off its place.
    fn misplace_bar(&self, reach: &str) {
        self.change(reach, |marks| {
            for (name, off_px) in ENDS.iter().zip(OFF_PX) {
                let place = &mut marks["frames"][0]["points"][name];
                *place = json!([place[0].as_f64().unwrap() + off_px[0], place[1].as_f64().unwrap() + off_px[1]]);
            }
        });
    }

    /// States the usual spread with the marks of the bar, so that they count as placed.
    fn state_spread(&self, reach: &str) {
        self.change(reach, |marks| {
            for name in ENDS {
                let place = &mut marks["frames"][0]["points"][name];
                *place = json!([place[0], place[1], 1.5]);
            }
        });
    }

    /// Puts a changed picture of end range in the place of a reach's clip.
    fn paint(&self, reach: &str, change: impl FnOnce(&mut image::RgbImage)) {
        let time_s = self.reach(reach)["end_range_time_s"].to_string();
        let path = |end: &str| self.folder.path().join(format!("before-{reach}.{end}"));
        let (clip, still) = (path("mp4"), path("png"));
        let output =
            tworeach(&["still", clip.to_str().unwrap(), "--at", &time_s, "--out", still.to_str().unwrap(), "--force"]);
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        let mut picture = image::open(&still).unwrap().into_rgb8();
        change(&mut picture);
        picture.save(&still).unwrap();
        let case = self.folder.path().join("case.toml");
        let text = std::fs::read_to_string(&case).unwrap();
        let named = format!("before-{reach}.mp4");
        assert!(text.contains(&named), "{text}");
        std::fs::write(&case, text.replace(&named, &format!("before-{reach}.png"))).unwrap();
        self.change(reach, |marks| marks["frames"][0]["time_s"] = json!(0.0));
    }

    fn measure(&self) -> MeasuredVisit {
        self.measure_with(false)
    }

    fn measure_with(&self, with_stills: bool) -> MeasuredVisit {
        let options = MeasureOptions { with_stills, ..MeasureOptions::default() };
        measure_case(&self.folder.path().join("case.toml"), options).unwrap()
    }

    fn tilt_error_deg(&self, visit: &MeasuredVisit) -> f64 {
        visit.result.reaches[0].bar_tilt_deg.unwrap().value - self.true_number("internal", "bar_tilt_deg")
    }

    fn height_error_mm(&self, visit: &MeasuredVisit) -> f64 {
        let true_mm = self.true_number("external", "bar_height_mm") - self.true_number("internal", "bar_height_mm");
        visit.result.comparisons[0].difference_bar_height_mm.unwrap().value - true_mm
    }
}

/// What the fit was given of the bar in the first reach: places and covariances.
fn bar_marks(visit: &MeasuredVisit) -> Vec<(ImagePoint, nalgebra::Matrix2<f64>)> {
    let marks = visit.observations.reaches[0].frames.iter().flat_map(|frame| &frame.marks);
    let of_bar = marks.filter(|mark| matches!(mark.landmark, Landmark::BarEnd(_)));
    of_bar.map(|mark| (mark.point, mark.covariance_px2)).collect()
}

#[test]
fn a_bar_marked_off_its_place_is_measured_where_it_is() {
    let measured = |is_misplaced: bool, is_placed: bool| {
        let case = FrontCase::new();
        if is_misplaced {
            case.misplace_bar("internal");
        }
        if is_placed {
            case.state_spread("internal");
            case.state_spread("external");
        }
        let visit = case.measure();
        assert_eq!(visit.found_bars.len(), if is_placed { 0 } else { 2 }, "{:?}", visit.warnings);
        let errors = (case.tilt_error_deg(&visit), case.height_error_mm(&visit));
        (visit, errors)
    };
    let (_, exact) = measured(false, true);
    let (_, placed) = measured(true, true);
    let (found, by_picture) = measured(true, false);
    // nearer to the truth than the marks as placed, and where marks on the true ends put it
    let said = format!("found {by_picture:?}, placed {placed:?}, true ends {exact:?} (deg, mm)");
    assert!(by_picture.0.abs() < 0.5 * placed.0.abs() && by_picture.1.abs() < 0.5 * placed.1.abs(), "{said}");
    assert!((by_picture.0 - exact.0).abs() < TILT_TOL_DEG, "{said}");
    assert!((by_picture.1 - exact.1).abs() < HEIGHT_TOL_MM, "{said}");
    // 6.1 px are more than a mark of 1.5 px explains, 2.2 px are not
    let far: Vec<&String> =
        found.warnings.iter().filter(|warning| warning.contains("from where the bar is found")).collect();
    assert!(matches!(far[..], [warning] if warning.contains("the left bar end is marked")), "{:?}", found.warnings);
}

#[test]
fn marks_that_say_how_good_they_are_stay_as_placed() {
    let case = FrontCase::new();
    case.misplace_bar("internal");
    case.state_spread("internal");
    let visit = case.measure();
    for ((point, covariance_px2), (name, off_px)) in bar_marks(&visit).into_iter().zip(ENDS.iter().zip(OFF_PX)) {
        let place = case.true_place("internal", name);
        let there = [0, 1].map(|axis| place[axis].as_f64().unwrap() + off_px[axis]);
        assert!(point.distance_px(ImagePoint::new(there[0], there[1])) < 1e-9);
        // 1.5 px squared
        assert!((covariance_px2 - nalgebra::Matrix2::identity() * 2.25).amax() < 1e-9);
    }
}

#[test]
fn a_second_rater_of_one_bar_is_no_second_observation() {
    let case = FrontCase::new();
    case.misplace_bar("internal");
    let once = bar_marks(&case.measure());
    case.change("internal", |marks| {
        let mut second = marks["frames"][0].clone();
        second["rater"] = json!("b");
        let points = &second["points"];
        second["points"] = json!({ "bar_left": points["bar_left"], "bar_right": points["bar_right"] });
        marks["frames"].as_array_mut().unwrap().push(second);
    });
    let twice = bar_marks(&case.measure());
    assert_eq!(once.len(), 2);
    // the same marks twice have the same mean: what is found is the same
    assert_eq!(twice, once);
    // across the bar, which is level to some degrees, a found bar is good to a quarter of a px at best; a mark to 1.5
    assert!(once.iter().all(|(_, covariance_px2)| (0.0625..1.0).contains(&covariance_px2[(1, 1)])), "{once:?}");
}

#[test]
fn a_covered_bar_keeps_its_marks_and_it_is_said() {
    let case = FrontCase::new();
    case.misplace_bar("internal");
    case.paint("internal", |picture| {
        // all of the bar lies within 60 px of the line between its ends
        draw_filled_rect_mut(picture, Rect::at(380, 50).of_size(540, 130), Rgb([128; 3]));
    });
    let covered = case.measure();
    assert_eq!(covered.found_bars.iter().filter(|bar| bar.reach == 0).count(), 0);
    let said = "Internally rotated reach before the stretch, seen from the front: the bar was not surely found in the picture (";
    assert!(covered.warnings.iter().any(|warning| warning.starts_with(said)), "{:?}", covered.warnings);
    case.state_spread("internal");
    let placed = case.measure();
    assert_eq!(placed.result, covered.result, "its marks count as they do where nothing is looked for");
}

#[test]
fn an_end_behind_something_keeps_its_place_along_the_bar() {
    let case = FrontCase::new();
    let whole = bar_marks(&case.measure());
    let place = case.true_place("internal", "bar_left");
    case.paint("internal", |picture| {
        // a doorpost before the left end, wide and high: the bar goes behind it 40 px before its end
        let from = whole_px(place[0].as_f64().unwrap() - 40.0);
        draw_filled_rect_mut(picture, Rect::at(from, 0).of_size(120, 400), Rgb([90, 88, 84]));
    });
    let measured = case.measure();
    let said = measured.warnings.iter().filter(|warning| warning.contains("was not seen in the picture near its mark"));
    let said: Vec<&String> = said.collect();
    assert!(matches!(said[..], [warning] if warning.contains("the left bar end")), "{:?}", measured.warnings);
    let hidden = bar_marks(&measured);
    let (point, covariance_px2) = hidden[0];
    // the mark lies on the true end: only across the axis may it move, by what a bar is found to, three times
    let apart = [point.x - place[0].as_f64().unwrap(), point.y - place[1].as_f64().unwrap()];
    assert!(apart[0].abs() < 0.1 && apart[1].abs() < 1.0, "{apart:?}");
    // along the bar the spread of a mark, 1.5 px; across less
    assert!((covariance_px2[(0, 0)] - 2.25).abs() < 0.1, "{covariance_px2}");
    assert!(covariance_px2[(1, 1)] < 1.0, "{covariance_px2}");
    // where the whole end is seen it is better known
    assert!(whole[0].1[(0, 0)] < 1.0, "{whole:?}");
}

#[allow(clippy::cast_possible_truncation, reason = "a place on a picture")]
fn whole_px(px: f64) -> i32 {
    px.round() as i32
}

#[test]
fn a_mirror_picture_gives_the_same_bar() {
    let case = FrontCase::new();
    case.misplace_bar("internal");
    case.paint("internal", |_| {});
    let plain = case.measure();
    case.paint_mirror();
    let mirrored = case.measure();
    assert_eq!(mirrored.found_bars.len(), 2, "{:?}", mirrored.warnings);
    let places = bar_marks(&plain).into_iter().zip(bar_marks(&mirrored));
    for ((point, covariance_px2), (there, there_px2)) in places {
        // the same pixels the other way round: only the places between them at which they are read differ
        let back = ImagePoint::new(1279.0 - there.x, there.y);
        assert!(point.distance_px(back) < 0.1, "{point:?} {back:?}");
        assert!((covariance_px2[(1, 1)] / there_px2[(1, 1)] - 1.0).abs() < 0.2, "{covariance_px2} {there_px2}");
        assert!(covariance_px2[(0, 1)] * there_px2[(0, 1)] < 0.0, "{covariance_px2} {there_px2}");
    }
    // the person's right end stays theirs: taken for the left one, the bar would lean the other way
    let tilt_deg = |visit: &MeasuredVisit| visit.result.reaches[0].bar_tilt_deg.unwrap().value;
    assert!(
        (tilt_deg(&plain) - tilt_deg(&mirrored)).abs() < TILT_TOL_DEG,
        "{} {}",
        tilt_deg(&plain),
        tilt_deg(&mirrored)
    );
}

impl FrontCase {
    /// Mirrors the internal reach, whose picture was painted, with its marks.
    fn paint_mirror(&self) {
        let still = self.folder.path().join("before-internal.png");
        let picture = image::open(&still).unwrap().into_rgb8();
        imageops::flip_horizontal(&picture).save(&still).unwrap();
        self.change("internal", |marks| {
            let points = marks["frames"][0]["points"].as_object_mut().unwrap();
            for place in points.values_mut() {
                // centres of pixels run from 0 to 1279
                *place = json!([1279.0 - place[0].as_f64().unwrap(), place[1]]);
            }
        });
        let case = self.folder.path().join("case.toml");
        let text = std::fs::read_to_string(&case).unwrap();
        let named = "file = \"before-internal.png\"\n";
        assert!(text.contains("mirrored = false\n") || text.contains(named), "{text}");
        let text = text.replace("mirrored = false\n", "");
        std::fs::write(&case, text.replace(named, &format!("{named}mirrored = true\n"))).unwrap();
    }
}

#[test]
fn stills_show_marks_where_they_were_placed() {
    let case = FrontCase::new();
    case.misplace_bar("internal");
    let visit = case.measure_with(true);
    assert_eq!(visit.found_bars.len(), 2);
    let without = case.measure();
    assert_eq!(visit.result, without.result, "keeping a picture changes no number");
    let Still { overlay, .. } = &visit.stills[0];
    let place = case.true_place("internal", "bar_left");
    let placed = ImagePoint::new(place[0].as_f64().unwrap() + OFF_PX[0][0], place[1].as_f64().unwrap() + OFF_PX[0][1]);
    let drawn = overlay.marks.iter().find(|(landmark, _)| *landmark == Landmark::BarEnd(Side::Left)).unwrap().1;
    assert!(drawn.distance_px(placed) < 1e-9, "{drawn:?} {placed:?}");
}
