//! The records through their own doors: what is written is there after the next start, and damage is noticed.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use crate::geometry::{Landmark, Side};
use crate::pose::{Rotation, View};
use crate::screen::{LimitedBy, Occasion, ResultSide};

use super::*;

fn open(folder: &Path) -> Records {
    Records::open(folder).unwrap()
}

fn clear() -> Answers {
    Answers { answered_by: AnsweredBy::Client, signs: Vec::new(), reason: None }
}

fn facts(code: &str) -> ClientFacts {
    ClientFacts {
        code: code.to_owned(),
        affected_side: ResultSide::Right,
        stature_mm: Some(1790.0),
        arm_length_mm: None,
        is_demo: false,
    }
}

fn before(rotation: Rotation) -> ReachFacts {
    let (occasion, view) = (Occasion::Before, View::Side);
    ReachFacts { occasion, rotation, view, near_side: Some(Side::Right), mirrored: false }
}

/// Takes bytes in as if they were a clip of three frames.
fn add_reach(records: &Records, visit: i64, facts: &ReachFacts, bytes: &[u8]) -> Result<i64, RecordsError> {
    let (file, previews) = (records.incoming().unwrap(), records.incoming().unwrap());
    fs::write(file.path(), bytes).unwrap();
    fs::write(previews.path(), b"small").unwrap();
    let media = Media {
        hash: hash_words(bytes),
        bytes: bytes.len().try_into().unwrap(),
        facts: MediaFacts {
            extension: "mp4".to_owned(),
            words: "MP4".to_owned(),
            upright_size: [1280, 720],
            quarter_turns: 0,
            frame_times_s: vec![0.0, 1.0 / 30.0, 2.0 / 30.0],
            end_s: 0.1,
            damage: None,
        },
    };
    records.add_reach(visit, facts, &Accepted { media, file: file.path(), previews: previews.path() })
}

fn marking(repeat: u32, x: f64) -> Marking {
    let points = BTreeMap::from([(Landmark::Wrist(Side::Right), [x, 20.5]), (Landmark::PlumbTop, [1.0, 2.0])]);
    Marking { raise: 1, repeat, time_s: 1.0 / 30.0, points, carried: BTreeMap::new() }
}

fn files(records: &Records) -> usize {
    fs::read_dir(records.folder().join("media")).unwrap().count()
}

#[test]
fn everything_is_there_after_the_next_start() {
    let folder = tempfile::tempdir().unwrap();
    let feel = Feel { pain: Some(2.0), limited_by: Some(LimitedBy::Stretch), back_flat: Some(true) };
    let (visit, reach) = {
        let records = open(folder.path());
        let client = records.add_client(&facts("R07"), &clear()).unwrap();
        let visit = records.add_visit(client.id).unwrap().id;
        let reach = add_reach(&records, visit, &before(Rotation::Internal), b"clip").unwrap();
        records.set_palms(reach, Palms::Down).unwrap();
        for (revision, repeat) in [(0, 1), (1, 1), (2, 2)] {
            let x = f64::from(repeat) + 0.1 * f64::from(u8::try_from(revision).unwrap());
            let confirmed = records.confirm_marks(reach, revision, &marking(repeat, x), &feel).unwrap();
            assert_eq!(confirmed, Confirmed::Revision(revision + 1));
        }
        (visit, reach)
    };
    let records = open(folder.path());
    let client = records.client("r07").unwrap();
    assert_eq!((client.facts.code.as_str(), client.facts.stature_mm), ("R07", Some(1790.0)));
    assert_eq!(records.screening(client.id).unwrap().unwrap().answers, clear());
    let found = records.reach(reach).unwrap();
    assert_eq!((found.visit, found.palms, found.facts), (visit, Some(Palms::Down), before(Rotation::Internal)));
    assert_eq!(fs::read(records.media_path(&found.media)).unwrap(), b"clip");
    let marks = records.marks(reach).unwrap();
    // the latest of each repeat, to the last bit
    assert_eq!(marks.markings, [marking(1, 1.1), marking(2, 2.2)]);
    assert_eq!((marks.revision, marks.feel), (3, feel));
}

#[test]
fn an_edit_from_an_older_revision_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visit = records.add_visit(client.id).unwrap().id;
    let reach = add_reach(&records, visit, &before(Rotation::Internal), b"clip").unwrap();
    let confirm = |from, x| records.confirm_marks(reach, from, &marking(1, x), &Feel::default()).unwrap();
    assert_eq!(confirm(0, 1.0), Confirmed::Revision(1));
    assert_eq!(confirm(0, 2.0), Confirmed::Stale(1));
    assert_eq!(confirm(5, 2.0), Confirmed::Stale(1));
    assert_eq!(records.marks(reach).unwrap().markings, [marking(1, 1.0)]);
    assert!(matches!(
        records.confirm_marks(99, 0, &marking(1, 1.0), &Feel::default()),
        Err(RecordsError::NotFound { .. })
    ));
}

#[test]
fn codes_and_reaches_are_there_once() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    assert!(matches!(records.add_client(&facts("r07"), &clear()), Err(RecordsError::CodeTaken { .. })));
    let visit = records.add_visit(client.id).unwrap().id;
    add_reach(&records, visit, &before(Rotation::Internal), b"clip").unwrap();
    let again = add_reach(&records, visit, &before(Rotation::Internal), b"another");
    assert!(matches!(again, Err(RecordsError::ReachTaken)));
    let nowhere = add_reach(&records, 99, &before(Rotation::External), b"a third");
    assert!(matches!(nowhere, Err(RecordsError::NotFound { .. })));
    assert_eq!(files(&records), 2, "a refused clip leaves nothing: the first one and its small pictures are there");
}

#[test]
fn one_clip_is_one_reach_of_a_visit() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visit = records.add_visit(client.id).unwrap().id;
    let reach = add_reach(&records, visit, &before(Rotation::Internal), b"clip").unwrap();
    let again = add_reach(&records, visit, &before(Rotation::External), b"clip");
    let expected = (Rotation::Internal, Occasion::Before);
    assert!(matches!(again, Err(RecordsError::ClipTaken { rotation, occasion }) if (rotation, occasion) == expected));
    assert!(records.media_path(&records.reach(reach).unwrap().media).exists(), "the first reach keeps its clip");
    let next = records.add_visit(client.id).unwrap().id;
    assert!(add_reach(&records, next, &before(Rotation::External), b"clip").is_ok());
}

#[test]
fn palms_the_other_way_leave_a_reach_out_and_make_its_result_old() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visit = records.add_visit(client.id).unwrap().id;
    let reach = add_reach(&records, visit, &before(Rotation::Internal), b"clip").unwrap();
    records.confirm_marks(reach, 0, &marking(1, 5.0), &Feel::default()).unwrap();
    for (palms, is_left_out) in [(Palms::Down, false), (Palms::Up, true), (Palms::Unclear, false)] {
        let changes = records.visit(visit).unwrap().changes;
        records.set_palms(reach, palms).unwrap();
        let case = records.case_of(visit).unwrap();
        assert_eq!(case.index_of(reach).is_none(), is_left_out, "{palms:?}");
        assert_eq!(case.left_out.iter().any(|left| left.is_contrary), is_left_out, "{palms:?}");
        assert!(case.changes > changes, "a kept result would count on");
    }
}

#[test]
fn exchanged_rotations_keep_their_marks() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visit = records.add_visit(client.id).unwrap().id;
    let internal = add_reach(&records, visit, &before(Rotation::Internal), b"one").unwrap();
    let external = add_reach(&records, visit, &before(Rotation::External), b"two").unwrap();
    records.confirm_marks(internal, 0, &marking(1, 5.0), &Feel::default()).unwrap();
    assert!(!records.swap_contrary(internal).unwrap(), "nobody said that its palms are up");
    records.set_palms(internal, Palms::Up).unwrap();
    assert!(records.swap_contrary(internal).unwrap());
    // pressed twice
    assert!(!records.swap_contrary(internal).unwrap());
    assert_eq!(records.reach(internal).unwrap().palms, Some(Palms::Up));
    assert_eq!(records.reach(internal).unwrap().facts.rotation, Rotation::External);
    assert_eq!(records.reach(external).unwrap().facts.rotation, Rotation::Internal);
    assert_eq!(records.marks(internal).unwrap().markings, [marking(1, 5.0)]);
    // one alone takes the other's place
    records.delete_reach(external).unwrap();
    records.set_palms(internal, Palms::Down).unwrap();
    assert!(records.swap_contrary(internal).unwrap());
    assert_eq!(records.reach(internal).unwrap().facts.rotation, Rotation::Internal);
}

#[test]
fn a_result_counts_until_something_changes() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visit = records.add_visit(client.id).unwrap();
    let result = empty_result();
    records.keep_result(visit.id, visit.changes, &result).unwrap();
    assert_eq!(records.result(visit.id).unwrap().unwrap(), result);
    let settings = VisitSettings { bar_length_mm: Some(1200.0), ..visit.settings.clone() };
    records.set_visit(visit.id, &settings).unwrap();
    assert!(records.result(visit.id).unwrap().is_none());
    // a result that took longer than the change is not taken for the newer one
    records.keep_result(visit.id, visit.changes, &result).unwrap();
    assert!(records.result(visit.id).unwrap().is_none());
    assert_eq!(records.add_visit(client.id).unwrap().settings, settings, "the next visit starts with the same bar");
}

#[test]
fn what_a_cut_off_run_left_is_cleared_away_and_nothing_else() {
    let folder = tempfile::tempdir().unwrap();
    let kept = {
        let records = open(folder.path());
        let client = records.add_client(&facts("R07"), &clear()).unwrap();
        let visit = records.add_visit(client.id).unwrap().id;
        let reach = add_reach(&records, visit, &before(Rotation::Internal), b"clip").unwrap();
        let folder = records.folder();
        fs::write(folder.join("incoming/upload-half"), b"half a clip").unwrap();
        fs::write(folder.join("media").join("0".repeat(64)), b"no row knows it").unwrap();
        // somebody's own, in a folder that happened to have these names
        for own in ["incoming/letter.txt", "media/holiday.mp4"] {
            fs::write(folder.join(own), b"not ours").unwrap();
        }
        records.reach(reach).unwrap().media
    };
    let records = open(folder.path());
    assert_eq!(files(&records), 3);
    assert!(folder.path().join("media/holiday.mp4").exists());
    assert!(records.media_path(&kept).exists() && records.previews_path(&kept).exists());
    let left = fs::read_dir(folder.path().join("incoming")).unwrap().map(|entry| entry.unwrap().file_name());
    assert_eq!(left.collect::<Vec<_>>(), ["letter.txt"]);
}

#[test]
fn a_damaged_database_is_noticed_at_the_start() {
    let folder = tempfile::tempdir().unwrap();
    {
        let records = open(folder.path());
        for number in 0..200 {
            records.add_client(&facts(&format!("C{number}")), &clear()).unwrap();
        }
    }
    let path = folder.path().join("tworeach.sqlite3");
    let mut bytes = fs::read(&path).unwrap();
    // every page from the third on, so that a table or an index must be hit
    let start = 3 * 4096;
    assert!(bytes.len() > 2 * start, "{} bytes", bytes.len());
    for byte in &mut bytes[start..] {
        *byte ^= 0x5a;
    }
    fs::write(&path, bytes).unwrap();
    let opened = Records::open(folder.path()).map(|_| ());
    assert!(matches!(opened, Err(RecordsError::Damaged { .. } | RecordsError::Database { .. })), "{opened:?}");
}

#[test]
fn a_later_versions_database_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    drop(open(folder.path()));
    let path = folder.path().join("tworeach.sqlite3");
    rusqlite::Connection::open(&path).unwrap().pragma_update(None, "user_version", 1000).unwrap();
    assert!(matches!(Records::open(folder.path()).map(|_| ()), Err(RecordsError::TooNew { found: 1000, .. })));
}

fn empty_result() -> crate::screen::VisitResult {
    crate::screen::VisitResult {
        schema: crate::screen::RESULT_SCHEMA.to_owned(),
        tool_version: "0".to_owned(),
        reaches: Vec::new(),
        comparisons: Vec::new(),
        retest: None,
        compared_pictures: None,
        monte_carlo: None,
    }
}

#[test]
fn a_history_lists_the_latest_first_with_what_still_holds() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visits: Vec<i64> = (0..3).map(|_| records.add_visit(client.id).unwrap().id).collect();
    add_reach(&records, visits[0], &before(Rotation::Internal), b"clip").unwrap();
    for visit in &visits[..2] {
        let changes = records.visit(*visit).unwrap().changes;
        records.keep_result(*visit, changes, &empty_result()).unwrap();
    }
    // what is added afterwards makes a result stale
    add_reach(&records, visits[1], &before(Rotation::Internal), b"another").unwrap();
    let stranger = records.add_client(&facts("K7"), &clear()).unwrap();
    records.add_visit(stranger.id).unwrap();
    let history = records.history(client.id).unwrap();
    let told: Vec<(i64, usize, bool)> =
        history.iter().map(|of| (of.visit.id, of.reaches, of.result.is_some())).collect();
    assert_eq!(told, [(visits[2], 0, false), (visits[1], 1, false), (visits[0], 1, true)]);
    assert_eq!(history[0].day(), Some(records.today().unwrap()));
}

#[test]
fn results_that_hold_contrary_reaches_are_measured_anew() {
    let folder = tempfile::tempdir().unwrap();
    let kept: Vec<i64> = {
        let records = open(folder.path());
        let client = records.add_client(&facts("R07"), &clear()).unwrap();
        let palms = [Palms::Down, Palms::Up];
        let visit_with = |palms: &Palms| {
            let visit = records.add_visit(client.id).unwrap().id;
            let clip: &[u8] = if *palms == Palms::Up { b"up" } else { b"down" };
            let reach = add_reach(&records, visit, &before(Rotation::Internal), clip).unwrap();
            records.set_palms(reach, *palms).unwrap();
            records.keep_result(visit, records.visit(visit).unwrap().changes, &empty_result()).unwrap();
            visit
        };
        palms.iter().map(visit_with).collect()
    };
    {
        // as the version before the step that drops them left it
        let connection = rusqlite::Connection::open(folder.path().join("tworeach.sqlite3")).unwrap();
        let back = "ALTER TABLE visits DROP COLUMN alone; DROP TABLE followed; DROP TABLE looks;
            ALTER TABLE log_entries DROP COLUMN looked_on;";
        connection.execute_batch(back).unwrap();
        connection.pragma_update(None, "user_version", 4).unwrap();
    }
    let records = open(folder.path());
    assert!(records.result(kept[0]).unwrap().is_some());
    assert_eq!(records.result(kept[1]).unwrap(), None);
}

#[test]
fn a_visit_done_alone_stays_one() {
    let folder = tempfile::tempdir().unwrap();
    let visit = {
        let records = open(folder.path());
        let client = records.add_client(&facts("R07"), &clear()).unwrap();
        let visit = records.add_visit(client.id).unwrap();
        assert!(!visit.is_alone);
        records.set_alone(visit.id).unwrap();
        visit.id
    };
    let records = open(folder.path());
    assert!(records.visit(visit).unwrap().is_alone);
    assert!(matches!(records.set_alone(visit + 1), Err(RecordsError::NotFound { .. })));
}

/// An arm of three frames.
fn followed_arm() -> crate::screen::FollowedArm {
    let angles_deg = vec![Some(30.25), None, Some(150.5)];
    crate::screen::FollowedArm {
        side: Side::Right,
        times_s: vec![0.0, 1.0 / 30.0, 2.0 / 30.0],
        smoothed_deg: angles_deg.clone(),
        angles_deg,
        raises: Vec::new(),
        unseen: vec![crate::screen::UnseenSpan {
            landmark: Landmark::Wrist(Side::Right),
            is_hidden: false,
            from_s: 1.0 / 30.0,
            to_s: 1.0 / 30.0,
        }],
    }
}

#[test]
fn a_followed_arm_is_kept_replaced_and_goes_with_its_reach() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visit = records.add_visit(client.id).unwrap().id;
    let reach = add_reach(&records, visit, &before(Rotation::Internal), b"clip").unwrap();
    assert_eq!(records.followed(reach).unwrap(), None);
    let changes = records.visit(visit).unwrap().changes;
    for origin in ["first", "second"] {
        let kept = KeptArm { origin: origin.to_owned(), arm: followed_arm() };
        records.keep_followed(reach, &kept).unwrap();
        assert_eq!(records.followed_origin(reach).unwrap().as_deref(), Some(origin));
        assert_eq!(records.followed(reach).unwrap(), Some(kept));
    }
    assert_eq!(records.visit(visit).unwrap().changes, changes, "no result hangs on it");
    // as another version may have written it
    records.connection().execute("UPDATE followed SET arm = '{}'", []).unwrap();
    assert_eq!(records.followed(reach).unwrap(), None);
    records.delete_reach(reach).unwrap();
    assert_eq!(records.followed_origin(reach).unwrap(), None);
    records.keep_followed(reach, &KeptArm { origin: "late".to_owned(), arm: followed_arm() }).unwrap();
    assert_eq!(records.followed_origin(reach).unwrap(), None, "what was deleted meanwhile gets none");
}

#[test]
fn only_marks_of_the_arm_and_what_it_is_seen_from_make_a_followed_arm_older() {
    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visit = records.add_visit(client.id).unwrap().id;
    let id = add_reach(&records, visit, &before(Rotation::Internal), b"clip").unwrap();
    let reach = records.reach(id).unwrap();
    let right = Side::Right;
    let needed = [Landmark::Shoulder(right), Landmark::Wrist(right), Landmark::Hip(right)];
    let marks = |points: &[(Landmark, f64)]| {
        let points = points.iter().map(|(landmark, x)| (*landmark, [*x, 20.0])).collect();
        let marking = Marking { raise: 1, repeat: 1, time_s: 1.0 / 30.0, points, carried: BTreeMap::new() };
        ReachMarks { revision: 1, markings: vec![marking], feel: Feel::default() }
    };
    let placed = [(needed[0], 1.0), (needed[1], 2.0), (needed[2], 3.0)];
    let origin_of = |reach: &Reach, marks: &ReachMarks| match Followable::of(reach, marks).unwrap() {
        Followable::From { origin, .. } => origin,
        other => panic!("{other:?}"),
    };
    let origin = origin_of(&reach, &marks(&placed));
    let with = |more: (Landmark, f64)| marks(&[&placed[..], &[more]].concat());
    assert_eq!(origin_of(&reach, &with((Landmark::Nose, 9.0))), origin);
    let moved = marks(&[placed[0], placed[1], (needed[2], 3.25)]);
    let mirrored = Reach { facts: ReachFacts { mirrored: true, ..reach.facts }, ..reach.clone() };
    for (reach, marks) in
        [(&reach, &moved), (&reach, &with((Landmark::Elbow(right), 4.0))), (&mirrored, &marks(&placed))]
    {
        assert!(Followable::of(reach, marks).unwrap().makes_older(&origin));
    }
    assert!(!Followable::of(&reach, &marks(&placed)).unwrap().makes_older(&origin));
    let lacks = Followable::of(&reach, &marks(&placed[..2])).unwrap();
    assert_eq!(lacks, Followable::Lacks(vec![needed[2]]));
    assert!(lacks.makes_older(&origin));
    let front = ReachFacts { view: View::Front, near_side: None, ..reach.facts };
    let front = Reach { facts: front, ..reach.clone() };
    assert_eq!(Followable::of(&front, &marks(&placed)).unwrap(), Followable::Never);
}

/// The marks that a side view needs, the hip moved to the right by `by_px`.
fn complete(by_px: f64) -> Marking {
    let near = Side::Right;
    let points = [
        (Landmark::Shoulder(near), [600.0, 300.0]),
        (Landmark::Elbow(near), [640.0, 210.0]),
        (Landmark::Wrist(near), [670.0, 110.0]),
        (Landmark::Hip(near), [595.0 + by_px, 500.0]),
        (Landmark::PlumbTop, [400.0, 50.0]),
        (Landmark::PlumbBottom, [401.0, 650.0]),
    ];
    Marking { raise: 1, repeat: 1, time_s: 0.0, points: points.into(), carried: BTreeMap::new() }
}

#[test]
fn what_pictures_say_counts_while_the_same_is_asked_and_goes_with_its_reach() {
    use crate::screen::Answer;

    let folder = tempfile::tempdir().unwrap();
    let records = open(folder.path());
    let client = records.add_client(&facts("R07"), &clear()).unwrap();
    let visit = records.add_visit(client.id).unwrap().id;
    let [source, target] = [(Rotation::Internal, b"one"), (Rotation::External, b"two")]
        .map(|(rotation, bytes)| add_reach(&records, visit, &before(rotation), bytes).unwrap());
    let confirm = |reach: i64, marking: &Marking| {
        let from = records.marks(reach).unwrap().revision;
        records.confirm_marks(reach, from, marking, &Feel::default()).unwrap();
    };
    confirm(source, &complete(0.0));
    let seen = || records.case_of(visit).unwrap().seen;
    // a reach without all its marks is compared with nothing
    confirm(target, &marking(1, 20.0));
    assert!(seen().open.is_empty());
    confirm(target, &complete(2.0));
    let open_looks = seen().open;
    // the trunk once more from the second one, and whether both clips are one recording
    assert_eq!(open_looks.iter().map(|look| look.reach).collect::<Vec<_>>(), [source, target, target]);

    let found = r#"{ "spots": { "right_hip": { "found": { "point": [597.5, 500.25], "covariance_px2": [0.25, 0, 0.25] } },
        "right_wrist": { "left": "another side of the arm is seen" } } }"#;
    let answer: Answer = serde_json::from_str(found).unwrap();
    let changes = records.visit(visit).unwrap().changes;
    let mut answers: Vec<(OpenLook, Answer)> = open_looks.iter().map(|look| (look.clone(), answer.clone())).collect();
    answers[2].1 = Answer::OneMoment(false);
    records.keep_answers(visit, &answers).unwrap();
    assert!(records.visit(visit).unwrap().changes > changes, "a kept result is measured anew");
    let known = |records: &Records| {
        let seen = records.case_of(visit).unwrap().seen;
        (seen.open.len(), seen.compared.found)
    };
    assert_eq!(known(&records), (0, 1));
    // what is asked rests on the marks that are looked for, not on those beside which they are found: the source's still counts
    confirm(target, &complete(3.0));
    assert_eq!(known(&records), (1, 1));
    confirm(source, &complete(1.0));
    assert_eq!(known(&records), (2, 0));
    confirm(source, &complete(0.0));
    confirm(target, &complete(2.0));
    assert_eq!(known(&records), (0, 1));
    // an answer to a question of another time is kept for it, and asks for no room without end
    for number in 0..120 {
        let look = OpenLook { origin: format!("{number}"), ..open_looks[1].clone() };
        records.keep_answers(visit, &[(look, answer.clone())]).unwrap();
    }
    let rows = |records: &Records| {
        let count = "SELECT count(*) FROM looks";
        records.connection().query_row(count, [], |row| row.get::<_, i64>(0)).unwrap()
    };
    assert_eq!(rows(&records), 101, "100 of one reach, one of the other");
    records.keep_answers(visit, &answers).unwrap();
    drop(records);

    let records = open(folder.path());
    assert_eq!(known(&records), (0, 1));
    records.delete_reach(target).unwrap();
    assert_eq!(rows(&records), 0);
    records.keep_answers(visit, &answers[1..]).unwrap();
    assert_eq!(rows(&records), 0, "a reach that is gone gets none");
}
