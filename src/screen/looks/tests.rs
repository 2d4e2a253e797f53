use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use crate::camera::read_profile;
use crate::geometry::Side;
use crate::pose::Rotation;
use crate::screen::{
    CaseFile, MARKS_SCHEMA, MarkedReach, MeasureOptions, Occasion, Picture, measure_case, measure_marks,
};
use crate::video::Media;

use super::*;

const HIP: Landmark = Landmark::Hip(Side::Right);
const SD_PX: f64 = 1.5;

fn entry(rotation: Rotation, view: View) -> ReachEntry {
    ReachEntry {
        occasion: Occasion::Before,
        rotation,
        view,
        near_side: (view == View::Side).then_some(Side::Right),
        mirrored: false,
        pain: None,
        limited_by: None,
        back_flat: None,
        profile: None,
        file: "clip.mp4".into(),
        marks: format!("{rotation:?}.marks.json").into(),
    }
}

/// Marks placed by hand at 1 s, once for each list.
fn marks(repeats: &[&[(Landmark, [f64; 2])]]) -> MarksFile {
    let frames = repeats.iter().zip(1..).map(|(points, repeat)| MarkedFrame {
        time_s: 1.0,
        source: Source::Hand,
        used_as: FrameUse::EndRange,
        rater: None,
        repeat: Some(repeat),
        from: None,
        points: points
            .iter()
            .map(|(landmark, [x, y])| {
                (*landmark, MarkedPoint { point: ImagePoint::new(*x, *y), spread: PointSpread::Usual })
            })
            .collect(),
    });
    MarksFile { schema: MARKS_SCHEMA.to_owned(), image_size: [1280, 720], frames: frames.collect() }
}

fn spots(found: &[(Landmark, [f64; 2])]) -> Answer {
    let spot = |(landmark, point): &(Landmark, [f64; 2])| {
        let found = SeenPoint { point: *point, covariance_px2: [0.25, 0.0, 0.25] };
        (landmark.name().to_owned(), Spot::Found(found))
    };
    Answer::Spots(found.iter().map(spot).collect())
}

/// Both rotations twice, each with a marks file of its own.
fn four_reaches() -> Vec<ReachEntry> {
    let entries = [Rotation::Internal, Rotation::External].map(|rotation| entry(rotation, View::Side));
    let mut entries = [entries.clone(), entries].concat();
    for (number, entry) in entries.iter_mut().enumerate() {
        entry.marks = format!("{number}.marks.json").into();
    }
    entries
}

#[test]
fn only_marks_placed_by_hand_in_both_reaches_are_looked_for() {
    let source = marks(&[&[(HIP, [100.0, 400.0]), (Landmark::Datum, [10.0, 10.0]), (Landmark::PlumbTop, [5.0, 5.0])]]);
    let mut target = marks(&[&[(HIP, [101.0, 400.0]), (Landmark::Datum, [10.0, 11.0])]]);
    if let Some(datum) = target.frames[0].points.get_mut(&Landmark::Datum) {
        datum.spread = PointSpread::Sd(0.5);
    }
    let entries = [entry(Rotation::Internal, View::Side), entry(Rotation::External, View::Side)];
    let mut asked = looks(&[(&entries[0], &source), (&entries[1], &target)]);
    let last = asked.pop();
    let one_moment = Question::OneMoment { from_time_s: 1.0, time_s: 1.0 };
    assert_eq!(last, Some(Look { reach: 1, from_reach: Some(0), question: one_moment }));
    // the trunk once more from the second one, where that of the first is not seen
    let [_, Look { reach: 1, from_reach: Some(0), question: Question::Spots { given, wanted, is_turned_alike, .. } }] =
        &asked[..]
    else {
        panic!("{asked:?}");
    };
    // the datum says itself how good it is, and nobody placed the plumb line there; all of them help to find it
    assert_eq!((wanted.as_slice(), given.len()), (["right_hip".to_owned()].as_slice(), 3));
    assert!(!is_turned_alike);
}

#[test]
fn a_spot_counts_once_beside_the_mark_that_a_person_placed() {
    let entries = [entry(Rotation::Internal, View::Side), entry(Rotation::External, View::Side)];
    let source = marks(&[&[(HIP, [100.0, 400.0])]]);
    let target = marks(&[&[(HIP, [101.0, 400.0])]]);
    let reaches = [(&entries[0], &source), (&entries[1], &target)];
    let look = looks(&reaches).remove(1);
    let answers = [(look.clone(), spots(&[(HIP, [103.0, 401.0])])), (look, spots(&[(HIP, [99.0, 401.0])]))];
    // what no marks file could hold counts as not found
    let beside = [(answers[0].0.clone(), spots(&[(HIP, [-3.0, 401.0])]))];
    assert_eq!(with_answers(&reaches, &beside, SD_PX).marks[1], target);
    let answered = with_answers(&reaches, &answers, SD_PX);
    assert_eq!(answered.compared, ComparedMarks { tried: 1, found: 1 });
    assert_eq!(answered.marks[0], source);
    let [by_hand, carried] = &answered.marks[1].frames[..] else { panic!("{:?}", answered.marks[1]) };
    assert_eq!(*by_hand, target.frames[0]);
    assert_eq!(carried.source, Source::Carried);
    assert_eq!(carried.from, Some(MarksOrigin { marks: entries[0].marks.clone(), time_s: 1.0 }));
    assert_eq!(carried.points[&HIP].point, ImagePoint::new(103.0, 401.0));
}

#[test]
fn a_spot_counts_where_most_reaches_bear_it_out() {
    let entries = four_reaches();
    let placed = marks(&[&[(HIP, [100.0, 400.0])]]);
    let reaches: Vec<(&ReachEntry, &MarksFile)> = entries.iter().map(|entry| (entry, &placed)).collect();
    let asked = looks(&reaches);
    // found so far to the right of the mark in each of the three other reaches; two marks of 1.5 px, the match (0.5 px) and the skin
    // (0.6 px) are 2.3 px apart by one spread, and 6.9 px by three
    let answered = |off_px: [f64; 3]| {
        let mut off_px = off_px.into_iter();
        let answers: Vec<(Look, Answer)> = asked
            .iter()
            .filter(|look| look.from_reach == Some(0) && matches!(look.question, Question::Spots { .. }))
            .map(|look| (look.clone(), spots(&[(HIP, [100.0 + off_px.next().unwrap(), 400.0])])))
            .collect();
        assert_eq!(answers.len(), 3);
        let answered = with_answers(&reaches, &answers, SD_PX);
        (answered.compared.found, answered.contradicted)
    };
    assert_eq!(answered([1.0, -2.0, 5.0]), (3, Vec::new()));
    assert_eq!(answered([30.0, 1.0, 0.0]), (3, Vec::new()), "one is outvoted, and named by the fit");
    let (found, warnings) = answered([30.0, 1.0, 28.0]);
    assert_eq!((found, warnings.len()), (0, 2), "{warnings:?}");
    let said = "Externally rotated reach before the stretch: the right hip is marked 30 px from the spot that is marked as the right hip in \
                the internally rotated reach before the stretch";
    assert!(warnings[0].1.starts_with(said), "{warnings:?}");
    assert_eq!(warnings.iter().map(|(reach, _)| *reach).collect::<Vec<_>>(), [1, 3]);
    let (found, warnings) = answered([30.0, 1.0, -30.0]);
    assert_eq!((found, warnings.len()), (3, 0), "two agree, and the others lie each elsewhere: {warnings:?}");
    let (found, warnings) = answered([30.0, 1.0, 20.0]);
    assert_eq!((found, warnings.len()), (0, 2), "two agree, and so might the others: {warnings:?}");
    // three that are alike elsewhere outvote the one that it comes from
    let (found, warnings) = answered([30.0, 29.0, 31.0]);
    assert_eq!((found, warnings.len()), (0, 3), "{warnings:?}");
}

#[test]
fn spot_that_other_reaches_do_not_show_is_looked_for_from_a_second_one() {
    let entries = four_reaches();
    let placed = marks(&[&[(HIP, [100.0, 400.0])]]);
    let reaches: Vec<(&ReachEntry, &MarksFile)> = entries.iter().map(|entry| (entry, &placed)).collect();
    let mut asked = looks(&reaches);
    asked.retain(|look| matches!(look.question, Question::Spots { .. }));
    let links: BTreeSet<(usize, usize)> = asked.iter().map(|look| (look.from_reach.unwrap(), look.reach)).collect();
    assert_eq!(links, BTreeSet::from([(0, 1), (0, 2), (0, 3), (1, 0), (1, 2), (1, 3)]));
    let answered = |seen_from: usize, at: [f64; 4]| {
        let answers: Vec<(Look, Answer)> = asked
            .iter()
            .map(|look| {
                let is_seen = look.from_reach == Some(seen_from) || look.reach == 2;
                let spot = if is_seen {
                    spots(&[(HIP, [at[look.reach], 400.0])])
                } else {
                    Answer::Spots(BTreeMap::from([(
                        HIP.name().to_owned(),
                        Spot::Left("nothing alike there".to_owned()),
                    )]))
                };
                (look.clone(), spot)
            })
            .collect();
        with_answers(&reaches, &answers, SD_PX)
    };
    let carried_to = |answered: &AnsweredMarks| -> Vec<(usize, String)> {
        let frames =
            answered.marks.iter().enumerate().flat_map(|(reach, marks)| marks.frames.iter().map(move |f| (reach, f)));
        frames.filter_map(|(reach, frame)| Some((reach, frame.from.as_ref()?.marks.display().to_string()))).collect()
    };
    // where the main reach's spot is seen, nothing else counts
    let from_main = answered(0, [100.0; 4]);
    assert_eq!(
        carried_to(&from_main),
        [(1, "0.marks.json".to_owned()), (2, "0.marks.json".to_owned()), (3, "0.marks.json".to_owned())]
    );
    assert_eq!(from_main.compared, ComparedMarks { tried: 3, found: 3 });
    // seen in one of three, it counts for nothing, and that of the other rotation does: 30 px from the marks of the first one's rotation
    let from_second = answered(1, [130.0, 100.0, 130.0, 100.0]);
    assert_eq!(
        carried_to(&from_second),
        [(0, "1.marks.json".to_owned()), (2, "1.marks.json".to_owned()), (3, "1.marks.json".to_owned())]
    );
    assert_eq!(from_second.compared, ComparedMarks { tried: 4, found: 0 }, "two and two: neither counts");
    let about: Vec<usize> = from_second.contradicted.iter().map(|(reach, _)| *reach).collect();
    assert_eq!(about, [0, 2]);
}

#[test]
fn spot_of_the_main_reach_that_most_marks_contradict_gives_way_to_a_second_one() {
    let entries = four_reaches();
    let [off, on] = [[(HIP, [130.0, 400.0])], [(HIP, [100.0, 400.0])]].map(|points| marks(&[&points]));
    // the hip is where the others mark it, and the spot that is marked first is found 30 px from it
    let carried_by = |files: [&MarksFile; 4], is_seen: [bool; 2]| {
        let reaches: Vec<(&ReachEntry, &MarksFile)> = entries.iter().zip(files).collect();
        let answers: Vec<(Look, Answer)> = looks(&reaches)
            .into_iter()
            .map(|look| {
                let from = look.from_reach.unwrap();
                let at = files[from].frames[0].points[&HIP].point;
                let is_seen = from > 1 || is_seen[from];
                let found = [(HIP, [at.x, at.y])];
                (look, spots(if is_seen { &found } else { &[] }))
            })
            .collect();
        let answered = with_answers(&reaches, &answers, SD_PX);
        let carried = answered.marks.iter().flat_map(|marks| &marks.frames).filter_map(|frame| frame.from.as_ref());
        let from: BTreeSet<String> = carried.map(|from| from.marks.display().to_string()).collect();
        (from, answered.compared, answered.contradicted)
    };
    let (from, compared, contradicted) = carried_by([&off, &on, &on, &on], [true; 2]);
    assert_eq!(from, BTreeSet::from(["1.marks.json".to_owned()]));
    assert_eq!(compared, ComparedMarks { tried: 3, found: 3 });
    assert_eq!(contradicted, [], "the fit outvotes the mark, and names it");
    let off_elsewhere = marks(&[&[(HIP, [100.0, 370.0])]]);
    let (from, compared, _) = carried_by([&off, &on, &off_elsewhere, &on], [true; 2]);
    assert_eq!((from.len(), compared), (1, ComparedMarks { tried: 3, found: 3 }), "two agree");
    let main = BTreeSet::from(["0.marks.json".to_owned()]);
    // nothing stands in for it: the second one's spot is not seen, or is no better, or the marks are two and two
    for (files, is_seen) in [
        ([&off, &on, &on, &on], [true, false]),
        ([&on, &off, &on, &on], [true, true]),
        ([&off, &off, &on, &on], [true, true]),
        ([&off, &on, &off, &on], [true, true]),
    ] {
        let (from, ..) = carried_by(files, is_seen);
        assert!(from.is_superset(&main), "{from:?}");
    }
}

#[test]
fn marks_on_one_spot_are_told_by_whatever_links_them() {
    let entries = four_reaches();
    let placed = marks(&[&[(HIP, [100.0, 400.0])]]);
    let reaches: Vec<(&ReachEntry, &MarksFile)> = entries.iter().map(|entry| (entry, &placed)).collect();
    // 0 and 2 agree, 1 lies elsewhere, and 3 is known from 1 alone, with which it agrees
    let answers: Vec<(Look, Answer)> = looks(&reaches)
        .into_iter()
        .map(|look| {
            let spot = match (look.from_reach, look.reach) {
                (Some(0), 2) | (Some(1), 3) => spots(&[(HIP, [100.0, 400.0])]),
                (Some(0), 1) => spots(&[(HIP, [130.0, 400.0])]),
                _ => spots(&[]),
            };
            (look, spot)
        })
        .collect();
    let answered = with_answers(&reaches, &answers, SD_PX);
    assert_eq!(answered.compared.found, 0, "two and two");
    let about: Vec<usize> = answered.contradicted.iter().map(|(reach, _)| *reach).collect();
    assert_eq!(about, [1]);
}

#[test]
fn a_bar_is_one_observation_however_often_it_was_marked_and_wherever_an_end_is_hidden() {
    let entry = entry(Rotation::Internal, View::Front);
    let [left, right] = BAR_ENDS;
    let once = [(left, [200.0, 100.0]), (right, [600.0, 100.0])];
    let again = [(left, [202.0, 102.0]), (right, [600.0, 102.0]), (HIP, [400.0, 500.0])];
    let placed = marks(&[&once, &again]);
    let reaches = [(&entry, &placed)];
    let asked = looks(&reaches);
    // the mean of both
    let ends = [[201.0, 101.0], [600.0, 101.0]];
    assert_eq!(asked.iter().map(|look| &look.question).collect::<Vec<_>>(), [&Question::Bar { time_s: 1.0, ends }]);
    let point = |x, y, along| SeenPoint { point: [x, y], covariance_px2: [along, 0.0, 0.04] };
    let axis = [point(201.0, 104.0, 1e4), point(600.0, 104.0, 1e4)];
    let answer = Answer::Bar { ends: [None, Some(point(598.0, 104.0, 0.09))], axis };
    let answered = with_answers(&reaches, &[(asked[0].clone(), answer.clone())], SD_PX);
    let [first, second] = &answered.marks[0].frames[..] else { panic!("{:?}", answered.marks[0]) };
    assert_eq!(second.points.keys().copied().collect::<Vec<_>>(), [HIP]);
    assert_eq!(first.points[&right].spread, PointSpread::Covariance([0.09, 0.0, 0.04]));
    // the hidden end lies on the axis beside the mean mark, as well known along it as two marks are: 1.5² / 2
    let MarkedPoint { point: hidden, spread: PointSpread::Covariance([cxx, _, cyy]) } = first.points[&left] else {
        panic!("{first:?}");
    };
    assert!((hidden.x - 201.0).abs() < 1e-9 && (hidden.y - 104.0).abs() < 1e-9, "{hidden:?}");
    assert!((cxx - 1.125).abs() < 1e-9 && (cyy - 0.04).abs() < 1e-9, "{cxx} {cyy}");
    assert_eq!(answered.found_bars.len(), 1);
    assert!(answered.warnings.iter().any(|(_, words)| words.contains("left bar end was not seen")));

    // an end from which another reach has its own stays as placed
    let mut other = marks(&[&[]]);
    other.frames[0].source = Source::Carried;
    other.frames[0].from = Some(MarksOrigin { marks: entry.marks.clone(), time_s: 1.0 });
    other.frames[0].points.insert(right, placed.frames[0].points[&right]);
    let answered = with_answers(&[(&entry, &placed), (&entry, &other)], &[(asked[0].clone(), answer)], SD_PX);
    assert_eq!(answered.marks[0].frames[1].points[&right], placed.frames[1].points[&right]);
    assert_eq!(answered.found_bars[0].ends.len(), 1);
}

/// By how much two ways to the same numbers may differ, deg: a bar's covariance is inverted once more on the one.
const SAME_DEG: f64 = 1e-6;

#[test]
fn looks_one_by_one_give_what_measuring_the_case_gives() {
    for (name, finds_bars) in [("side", 0), ("front", 2)] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips").join(name);
        let case = CaseFile::read(&folder.join("case.toml")).unwrap();
        let profile = case.camera.profile.as_ref().map(|profile| read_profile(&folder.join(profile)).unwrap());
        let marks: Vec<MarksFile> =
            case.reaches.iter().map(|entry| MarksFile::read(&folder.join(&entry.marks)).unwrap()).collect();
        let reaches: Vec<(&ReachEntry, &MarksFile)> = case.reaches.iter().zip(&marks).collect();
        let picture = |reach: usize, time_s: f64| {
            Media::open(&folder.join(&case.reaches[reach].file)).unwrap().luma_at(time_s).unwrap().image
        };
        let answers: Vec<(Look, Answer)> = looks(&reaches)
            .into_iter()
            .map(|look| {
                let (time_s, from_s) = look.question.times_s();
                let from = look.from_reach.zip(from_s).map(|(from, from_s)| picture(from, from_s));
                let answer = look.question.answer(Some(&picture(look.reach, time_s)), from.as_ref());
                // as it is kept
                let kept = serde_json::to_string(&answer).unwrap();
                (look, serde_json::from_str(&kept).unwrap())
            })
            .collect();
        let answered = with_answers(&reaches, &answers, case.marking.sd_px);
        assert_eq!(answered.found_bars.len(), finds_bars, "{name}");
        let marked: Vec<MarkedReach<'_>> = case
            .reaches
            .iter()
            .zip(answered.marks)
            .map(|(entry, marks)| {
                let media = Media::open(&folder.join(&entry.file)).unwrap();
                let quarter_turns = media.info().orientation.quarter_turns();
                let picture = Picture { upright_size: media.upright_size(), quarter_turns, damage: None };
                MarkedReach { marks, picture, profile: profile.as_ref() }
            })
            .collect();
        let ours = measure_marks(&case, &marked, one_recordings(&answers)).unwrap().result;
        let theirs = measure_case(&folder.join("case.toml"), MeasureOptions::default()).unwrap();
        assert_eq!(answered.compared.stated(), theirs.result.compared_pictures, "{name}");
        for (ours, theirs) in ours.comparisons.iter().zip(&theirs.result.comparisons) {
            let (ours, theirs) = (ours.difference_elevation_deg.unwrap(), theirs.difference_elevation_deg.unwrap());
            let is_close = (ours.value - theirs.value).abs() < SAME_DEG && (ours.u - theirs.u).abs() < SAME_DEG;
            assert!(is_close, "{name}: {ours:?} {theirs:?}");
        }
    }
}
