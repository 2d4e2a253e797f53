//! The pictures of a visit compared on the page, in a child, after marks are confirmed: what that does to the numbers, that nothing
//! counts that was found from other marks, and that the export is measured to the same result.

use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use axum::http::StatusCode;
use serde_json::{Value, json};
use tworeach::records::VisitCase;
use tworeach::screen::{MarksFile, Source, VisitResult};
use tworeach::uncertainty::Measured;

#[cfg(target_os = "linux")]
use super::follow::with_idle_decoder;
use super::page::{Page, client, wait_for};

/// Comparing takes a second or two, more on a machine that is at work.
const PATIENCE: Duration = Duration::from_secs(120);

impl Page {
    /// How it stands with the pictures of a visit.
    async fn pictures(&self, visit: i64) -> Value {
        self.get(&format!("/api/visits/{visit}/pictures")).await.json()
    }

    /// Has a visit's pictures compared, and waits until they are.
    pub async fn compare_pictures(&self, visit: i64) -> Value {
        assert_eq!(self.get(&format!("/api/visits/{visit}/live")).await.status, StatusCode::OK);
        let began = Instant::now();
        loop {
            let told = self.pictures(visit).await;
            if told["state"] != "comparing" {
                return told;
            }
            assert!(began.elapsed() < PATIENCE, "{told}");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Moves a mark of the first marking to the right, and gives the numbers then.
    async fn move_mark_by(&self, reach: i64, name: &str, by_px: f64) -> Value {
        let known = self.get(&format!("/api/reaches/{reach}")).await.json();
        let mut points = known["points"].clone();
        points[name][0] = (points[name][0].as_f64().unwrap() + by_px).into();
        let body = json!({ "revision": known["revision"], "time_s": known["time_s"], "points": points,
            "carried": known["carried"], "pain": 0, "limited_by": "stretch", "back_flat": true });
        let answer = self.put(&format!("/api/reaches/{reach}/marks"), &body).await;
        assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
        answer.json()["live"].clone()
    }

    fn case(&self, visit: i64) -> VisitCase {
        self.app.records.case_of(visit).unwrap()
    }

    fn reach_ids(&self, visit: i64) -> Vec<i64> {
        self.app.records.reaches(visit).unwrap().iter().map(|reach| reach.id).collect()
    }
}

/// The result of a case by the marks that a person placed alone.
pub fn by_marks_alone(case: &VisitCase) -> VisitResult {
    let mut case = case.clone();
    for reach in &mut case.reaches {
        reach.marks = reach.placed.clone();
    }
    case.measure().unwrap().unwrap().result
}

fn difference(result: &VisitResult) -> Measured {
    result.comparisons[0].difference_elevation_deg.unwrap()
}

fn found_again(marks: &MarksFile) -> usize {
    let carried = marks.frames.iter().filter(|frame| frame.source == Source::Carried);
    carried.map(|frame| frame.points.len()).sum()
}

#[test]
fn marks_found_again_in_other_reaches_sharpen_the_page_and_what_it_exports() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        // the demo case has each reach marked three times; once is enough here
        for (reach, repeat) in page.reach_ids(visit).into_iter().flat_map(|reach| [(reach, 2), (reach, 3)]) {
            assert_eq!(page.mark(reach, repeat, &json!({}), &json!({})).await.status, StatusCode::OK);
        }
        assert_eq!(page.compare_pictures(visit).await, json!({ "state": "compared", "words": "Pictures compared" }));
        let case = page.case(visit);
        assert!(case.seen.open.is_empty());
        // the first reach is the one that the others are held against
        assert_eq!(found_again(&case.reaches[0].marks), 0);
        for reach in &case.reaches[1..] {
            // shoulder, hip and the room's three marks at least
            assert!(found_again(&reach.marks) >= 5, "{:?}", reach.marks);
            let by_hand = reach.marks.frames.iter().filter(|frame| frame.source == Source::Hand);
            assert!(by_hand.eq(&reach.placed.frames), "what a person placed stays as it is");
        }
        let (result, exported) = page.measured_and_exported(visit, "before-external.marks.json").await;
        let (ours, theirs) = (difference(&result), difference(&by_marks_alone(&case)));
        println!("u of the difference: {:.3} deg by the marks alone, {:.3} with the pictures", theirs.u, ours.u);
        // a trunk's two marks are more than half of the variance by hand, and nearly cancel here: less than 0.7 of u is left
        assert!(ours.u < 0.7 * theirs.u, "{ours:?} {theirs:?}");
        let frames = exported["frames"].as_array().unwrap();
        let carried = frames.iter().find(|frame| frame["source"] == "carried").unwrap();
        assert_eq!(carried["from"]["marks"], "before-internal.marks.json");

        let told = format!(
            "Pictures compared: {} of {} marks were found again",
            case.seen.compared.found, case.seen.compared.tried
        );
        assert!(page.get(&format!("/visits/{visit}/result")).await.text().contains(&told));
        let report = page.get(&format!("/visits/{visit}/report.html")).await;
        let told = format!("{} times the spot of a mark in one reach was found again", case.seen.compared.found);
        assert!(report.text().contains(&told), "{}", report.text());
        assert!(page.log.lock().unwrap().is_empty(), "{:?}", page.log.lock().unwrap());
    });
}

#[test]
fn what_was_found_from_other_marks_does_not_count_until_they_are_put_back() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let [source, target] = [0, 1].map(|at| page.reach_ids(visit)[at]);
        let found = |at: usize| found_again(&page.case(visit).reaches[at].marks);
        let (before, _) = page.measured_and_exported(visit, "before-external.marks.json").await;
        let [first, second] = [1, 2].map(found);

        // where spots of another reach are does not hang on the marks placed here: they count on
        let live = page.move_mark_by(target, "right_hip", 1.0).await;
        assert!(live["difference"].is_object(), "{live}");
        assert_eq!(found(1), first);
        page.move_mark_by(target, "right_hip", -1.0).await;

        // but it does on the marks that they come from, and until they are looked for again the marks count alone
        let live = page.move_mark_by(source, "right_hip", 0.5).await;
        assert_eq!(live["pictures"], json!({ "state": "comparing", "words": "Comparing the pictures…" }));
        assert_eq!([1, 2].map(found), [0, 0]);
        // put back, what is known counts again without a look
        let live = page.move_mark_by(source, "right_hip", -0.5).await;
        assert_eq!(live["pictures"]["state"], "compared");
        let (again, _) = page.measured_and_exported(visit, "before-external.marks.json").await;
        assert_eq!(again, before);

        page.move_mark_by(source, "right_hip", 0.5).await;
        assert_eq!(page.compare_pictures(visit).await["state"], "compared");
        assert_eq!([1, 2].map(found), [first, second]);
        let (moved, _) = page.measured_and_exported(visit, "before-external.marks.json").await;
        assert_ne!(moved, before);
        assert!((difference(&moved).u / difference(&before).u - 1.0).abs() < 0.1, "as sharp as before");
    });
}

#[test]
fn without_a_look_at_the_pictures_the_page_and_its_export_count_the_marks_alone() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let source = page.reach_ids(visit)[0];
        let Page { app, router, folder, .. } = page;
        drop((app, router));
        let broken = Page::decoding_by(Path::new("/bin/false"), folder, tworeach::web::UploadLimits::default());
        broken.move_mark_by(source, "right_hip", 1.0).await;
        let told = broken.compare_pictures(visit).await;
        assert_eq!(told, json!({ "state": "alone", "words": "From the marks alone: not compared" }));
        // it is not tried again at once for the same marks
        broken.compare_pictures(visit).await;
        assert_eq!(broken.log.lock().unwrap().len(), 1, "{:?}", broken.log.lock().unwrap());
        let (_, exported) = broken.measured_and_exported(visit, "before-external.marks.json").await;
        assert!(exported["frames"].as_array().unwrap().iter().all(|frame| frame["source"] == "hand"));
        let page = broken.get(&format!("/visits/{visit}/result")).await;
        assert!(page.text().contains("The pictures were not compared, so the marks count alone."));
    });
}

#[test]
fn reaches_without_all_their_marks_are_compared_with_nothing() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let [_, first, second, third] = [0, 1, 2, 3].map(|at| page.reach_ids(visit)[at]);
        for reach in [first, second, third] {
            page.post(&format!("/reaches/{reach}/delete"), &[]).await.location();
        }
        assert_eq!(page.compare_pictures(visit).await, json!({ "state": "none", "words": "" }));
        assert!(!page.get(&format!("/visits/{visit}/result")).await.text().contains("Pictures compared"));
        assert!(!page.everything().contains("looks: "), "what was found in clips goes with them");
    });
}

#[test]
fn a_front_view_is_exported_as_the_page_measured_it() {
    wait_for(async {
        let page = Page::new();
        let visit = page.visit("R07").await;
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/front");
        for rotation in ["internal", "external"] {
            let read = |end: &str| std::fs::read(folder.join(format!("before-{rotation}.{end}"))).unwrap();
            let facts = [("occasion", "before"), ("rotation", rotation), ("view", "front"), ("near_side", "")];
            page.upload(visit, &facts, "clip.mp4", &read("mp4")).await.location();
            let reach = *page.reach_ids(visit).last().unwrap();
            let marks: Value = serde_json::from_slice(&read("marks.json")).unwrap();
            let mut frame = marks["frames"][0].clone();
            if rotation == "external" {
                // a hand's breadth beside the bar
                frame["points"]["bar_left"][1] = (frame["points"]["bar_left"][1].as_f64().unwrap() + 8.0).into();
            }
            let body = json!({ "revision": 0, "raise": 1, "repeat": 1, "time_s": frame["time_s"], "points": frame["points"],
                "carried": {}, "pain": 0, "limited_by": "stretch", "back_flat": true });
            let answer = page.put(&format!("/api/reaches/{reach}/marks"), &body).await;
            assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
        }
        assert_eq!(page.compare_pictures(visit).await["state"], "compared");
        let case = page.case(visit);
        assert_eq!(case.seen.bars.len(), 2);
        let (result, exported) = page.measured_and_exported(visit, "before-internal-front.marks.json").await;
        // the bar's ends as found, each with its covariance
        let points = &exported["frames"][0]["points"];
        assert_eq!(points["bar_left"][2].as_array().map(Vec::len), Some(3), "{points}");
        // the bar is better known than by the marks on its ends
        let tilt = |result: &VisitResult| result.reaches[0].bar_tilt_deg.unwrap();
        assert!(tilt(&result).u < tilt(&by_marks_alone(&case)).u, "{:?}", tilt(&result));

        // what is marked far from the bar is named as `measure` names it, on the page where it can be mended and with the result
        let reach = page.reach_ids(visit)[1];
        let live = page.get(&format!("/api/visits/{visit}/live?reach={reach}")).await.json();
        let named = "Externally rotated reach before the stretch, seen from the front: the left bar end is marked";
        assert!(live["notes"][0].as_str().unwrap().contains(named), "{live}");
        let page = page.get(&format!("/visits/{visit}/result")).await.text();
        assert!(page.contains(named) && page.contains("The bar was found in 2 pictures"), "{page}");
    });
}

/// Waits until so many children were started, and the last but one is gone.
#[cfg(target_os = "linux")]
async fn until_started(noted: &Path, count: usize) {
    let began = Instant::now();
    let is_gone =
        |pid: &str| std::fs::read_to_string(format!("/proc/{pid}/stat")).is_ok_and(|stat| !stat.contains(") Z "));
    loop {
        let pids = std::fs::read_to_string(noted).unwrap_or_default();
        let pids: Vec<&str> = pids.lines().collect();
        if pids.len() == count && pids[..count - 1].iter().all(|pid| !is_gone(pid)) {
            return;
        }
        assert!(began.elapsed() < PATIENCE, "{pids:?}");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

#[test]
#[cfg(target_os = "linux")]
fn only_the_latest_marks_are_looked_for_and_nothing_half_done_is_kept() {
    wait_for(async {
        let (page, visit, noted) = with_idle_decoder("decode-look");
        let source = page.reach_ids(visit)[0];
        page.move_mark_by(source, "right_hip", 1.0).await;
        until_started(&noted, 1).await;
        let kept = page.everything();
        // asked again it goes on
        page.get(&format!("/api/visits/{visit}/live")).await;
        assert_eq!(page.pictures(visit).await["state"], "comparing");
        until_started(&noted, 1).await;
        // with other marks it begins anew
        page.move_mark_by(source, "right_hip", 1.0).await;
        until_started(&noted, 2).await;
        // what is put back needs no look
        page.move_mark_by(source, "right_hip", -2.0).await;
        assert_eq!(page.pictures(visit).await["state"], "compared");
        page.move_mark_by(source, "right_hip", 1.0).await;
        until_started(&noted, 3).await;
        let looks = |everything: &str| everything.lines().filter(|line| line.starts_with("looks: ")).count();
        assert_eq!(looks(&page.everything()), looks(&kept));
        // nothing goes on under a danger sign
        page.post("/clients/R07/screening", &client("R07", &["night_pain"])).await.location();
        page.get(&format!("/visits/{visit}/result")).await;
        assert_eq!(page.pictures(visit).await["state"], "alone");
    });
}

/// A server that is killed cannot end its children: they must end with their input.
#[test]
fn a_child_that_looks_ends_when_whoever_asked_has_gone() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side");
    let question = json!({ "spots": { "from_time_s": 1.9667, "time_s": 1.9667, "is_turned_alike": true,
        "given": { "right_hip": [595.1, 506.5] }, "wanted": ["right_hip"] } });
    // enough of them to be at work when the input ends
    let tasks = vec![json!({ "file": 1, "from_file": 0, "question": question }); 40];
    let said = |is_gone: bool| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tworeach"))
            .arg("decode-look")
            .args(["before-internal.mp4", "after-internal.mp4"].map(|name| folder.join(name)))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut input = child.stdin.take().unwrap();
        writeln!(input, "{}", json!(tasks)).unwrap();
        let kept = (!is_gone).then_some(input);
        let mut said = String::new();
        child.stdout.take().unwrap().read_to_string(&mut said).unwrap();
        drop(kept);
        (child.wait().unwrap().code(), said)
    };
    let (code, text) = said(false);
    assert_eq!(code, Some(0), "{text}");
    let answers: Vec<Value> = serde_json::from_str(&text).unwrap();
    assert_eq!(answers.len(), tasks.len());
    assert!(answers[0]["spots"]["right_hip"]["found"]["point"].is_array(), "{}", answers[0]);
    let (code, text) = said(true);
    assert_eq!((code, text.as_str()), (Some(1), ""));
}
