use image::Luma;

use super::*;

/// What is before the person: left, right, top and bottom, px.
type Cover = [f64; 4];

const OVER_SHOULDER: Cover = [280.0, 360.0, 120.0, 200.0];
const OVER_BOTH_SHOULDERS: Cover = [230.0, 410.0, 105.0, 175.0];

/// A room with a person: two textures, of which the person's (within a rectangle of the first picture) moved by `shift`, with something
/// before it.
fn scene(shift: [f64; 2], cover: Option<Cover>) -> GrayImage {
    GrayImage::from_fn(640, 400, |x, y| {
        let (x, y) = (f64::from(x), f64::from(y));
        let (u, v) = (x - shift[0], y - shift[1]);
        let waves = |u: f64, v: f64, phase: f64| {
            (u / 3.7 + phase).sin() * (v / 4.9).cos()
                + (u / 13.0 + v / 9.0 + 2.0 * phase).sin()
                + (v / 19.0 - u / 23.0).cos()
                // without this the texture repeats itself
                + (u * u / 9000.0 + v / 31.0).sin()
        };
        let is_person = (250.0..390.0).contains(&u) && (90.0..330.0).contains(&v);
        let mut value = if is_person { waves(u, v, 1.3) } else { waves(x, y, 0.0) };
        if cover.is_some_and(|[left, right, top, bottom]| (left..right).contains(&x) && (top..bottom).contains(&y)) {
            value = waves(1.7 * y, 1.3 * x, 4.0);
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "rounded, within 0 to 255")]
        Luma([(110.0 + 25.0 * value).round().clamp(0.0, 255.0) as u8])
    })
}

const SHIFT: [f64; 2] = [7.4, -3.2];
const SHOULDER: (Landmark, ImagePoint) = (Landmark::Shoulder(Side::Right), ImagePoint::new(320.0, 160.0));
const HIP: (Landmark, ImagePoint) = (Landmark::Hip(Side::Right), ImagePoint::new(318.0, 270.0));
const DATUM: (Landmark, ImagePoint) = (Landmark::Datum, ImagePoint::new(120.0, 100.0));
const ELBOW: (Landmark, ImagePoint) = (Landmark::Elbow(Side::Right), ImagePoint::new(340.0, 120.0));

fn off_px(carried: &Carried, from: ImagePoint, shift: [f64; 2]) -> f64 {
    (carried.point.x - from.x - shift[0]).hypot(carried.point.y - from.y - shift[1])
}

#[test]
fn body_marks_go_with_the_body_and_room_marks_with_the_room() {
    let carry = carry_marks(&scene([0.0, 0.0], None), &scene(SHIFT, None), ArmTurn::Same, &[DATUM, SHOULDER, HIP]);
    let [datum, shoulder, hip] = [0, 1, 2].map(|place| carry.marks[place].1.unwrap());
    // Straight lines between pixels miss a wave of 25 grey values over 3.7 px by up to 25 / 3.7² / 8 = 0.23, on a slope of up
    // to 25 / 3.7 = 6.8 a px: 0.03 px, for each of three waves.
    assert!(off_px(&datum, DATUM.1, [0.0, 0.0]) < 0.1, "{datum:?}");
    assert!(off_px(&shoulder, SHOULDER.1, SHIFT) < 0.1, "{shoulder:?}");
    assert!(off_px(&hip, HIP.1, SHIFT) < 0.1, "{hip:?}");
    assert!(carry.camera.unwrap().largest_px([640, 400]) < 0.1);
}

#[test]
fn covered_shoulder_goes_with_the_trunk_and_less_surely() {
    let carry =
        carry_marks(&scene([0.0, 0.0], None), &scene(SHIFT, Some(OVER_SHOULDER)), ArmTurn::Same, &[SHOULDER, HIP]);
    let [shoulder, hip] = [0, 1].map(|place| carry.marks[place].1.unwrap());
    assert!(off_px(&shoulder, SHOULDER.1, SHIFT) < 0.5, "{shoulder:?}");
    assert!(shoulder.covariance_px2.m11 > 2.0 * hip.covariance_px2.m11, "{shoulder:?} {hip:?}");
    // without the hip there is no trunk to go with
    let alone = carry_marks(&scene([0.0, 0.0], None), &scene(SHIFT, Some(OVER_SHOULDER)), ArmTurn::Same, &[SHOULDER]);
    assert!(alone.marks[0].1.is_err(), "{alone:?}");
}

#[test]
fn covered_shoulders_seen_from_the_front_go_with_the_chest() {
    let left = (Landmark::Shoulder(Side::Left), ImagePoint::new(378.0, 140.0));
    let right = (Landmark::Shoulder(Side::Right), ImagePoint::new(262.0, 140.0));
    let covered = scene(SHIFT, Some(OVER_BOTH_SHOULDERS));
    let carry = carry_marks(&scene([0.0, 0.0], None), &covered, ArmTurn::Other, &[left, right]);
    for (mark, (_, at)) in carry.marks.iter().zip([left, right]) {
        let carried = mark.1.unwrap();
        assert!(off_px(&carried, at, SHIFT) < 0.5, "{carried:?}");
        // as good as the shoulder blades keep still on the chest: half of 0.7 px, on a picture half as large
        assert!(carried.covariance_px2.m11.sqrt() >= 0.35, "{carried:?}");
    }
    // one alone has no chest to go with
    let carry = carry_marks(&scene([0.0, 0.0], None), &covered, ArmTurn::Other, &[right]);
    assert!(carry.marks[0].1.is_err(), "{carry:?}");
}

#[test]
fn wrist_is_found_without_the_bar() {
    let wrist = (Landmark::Wrist(Side::Right), ImagePoint::new(300.0, 110.0));
    let (from, to) = (scene([0.0, 0.0], None), scene(SHIFT, None));
    let carry = carry_marks(&from, &to, ArmTurn::Same, &[SHOULDER, HIP, ELBOW, wrist]);
    let [elbow, found] = [2, 3].map(|place| carry.marks[place].1.unwrap());
    assert!(off_px(&found, wrist.1, SHIFT) < 0.2, "{found:?}");
    assert!(off_px(&elbow, ELBOW.1, SHIFT) < 0.2, "{elbow:?}");
}

#[test]
fn arm_that_is_turned_the_other_way_is_left_to_the_person() {
    let (from, to) = (scene([0.0, 0.0], None), scene(SHIFT, None));
    let carry = carry_marks(&from, &to, ArmTurn::Other, &[SHOULDER, HIP, ELBOW]);
    assert_eq!(carry.marks[2].1, Err(NotCarried::OtherSide));
    // and without bar and wrist nothing tells how the arm went
    let carry = carry_marks(&from, &to, ArmTurn::Same, &[SHOULDER, HIP, ELBOW]);
    assert_eq!(carry.marks[2].1, Err(NotCarried::NoArm));
}

#[test]
fn large_pictures_are_carried_between_as_small_ones_in_their_own_px() {
    let larger = |image: &GrayImage| {
        image::imageops::resize(image, 8 * image.width(), 8 * image.height(), image::imageops::FilterType::Triangle)
    };
    let [from, to] = [scene([0.0, 0.0], None), scene(SHIFT, None)].map(|image| larger(&image));
    // eight pixels in the place of one: its centre lies 3.5 of them further
    let at = |(landmark, point): (Landmark, ImagePoint)| {
        (landmark, ImagePoint::new(8.0 * point.x + 3.5, 8.0 * point.y + 3.5))
    };
    let carry = carry_marks(&from, &to, ArmTurn::Same, &[DATUM, SHOULDER, HIP].map(at));
    let [datum, shoulder, hip] = [0, 1, 2].map(|place| carry.marks[place].1.unwrap());
    let shift = SHIFT.map(|px| 8.0 * px);
    // as in the small pictures, in px an eighth as large
    assert!(off_px(&datum, at(DATUM).1, [0.0, 0.0]) < 0.8, "{datum:?}");
    assert!(off_px(&shoulder, at(SHOULDER).1, shift) < 0.8, "{shoulder:?}");
    assert!(off_px(&hip, at(HIP).1, shift) < 0.8, "{hip:?}");
    // what lands within 0.8 px is told as good to more than half of that
    assert!(shoulder.covariance_px2.m11.sqrt() > 0.4, "{shoulder:?}");
    assert!(carry.camera.unwrap().largest_px([5120, 3200]) < 0.8);
}

#[test]
fn order_of_the_marks_changes_nothing() {
    let (from, to) = (scene([0.0, 0.0], None), scene(SHIFT, None));
    let one = carry_marks(&from, &to, ArmTurn::Same, &[SHOULDER, HIP, DATUM]);
    let other = carry_marks(&from, &to, ArmTurn::Same, &[DATUM, HIP, SHOULDER]);
    assert_eq!(one.marks[0], other.marks[2]);
    assert_eq!(one.marks[2], other.marks[0]);
}
