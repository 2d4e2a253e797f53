//! A clip followed from its marks on the page: one at a time, in a child that ends with whoever asked, kept until marks change.

use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use axum::body::Body;
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};
use tworeach::records::{Followable, KeptArm, Marking, Reach};
use tworeach::screen::track_marks;

use super::page::{Answer, Page, client, wait_for};

/// Following a demo clip takes some seconds, more on a machine that is at work.
const PATIENCE: Duration = Duration::from_secs(120);

impl Page {
    async fn follow(&self, method: Method, reach: i64) -> Answer {
        let path = format!("/api/reaches/{reach}/follow");
        self.send(self.request(method, &path).body(Body::empty()).unwrap()).await
    }

    /// Follows a reach's clip to the end, and gives what is told then.
    async fn follow_to_the_end(&self, reach: i64) -> Value {
        let begun = self.follow(Method::POST, reach).await;
        assert_eq!(begun.status, StatusCode::ACCEPTED, "{}", begun.text());
        assert!(begun.json()["work"].is_object(), "{}", begun.text());
        self.until(reach, |told| told["work"].is_null()).await
    }

    async fn until(&self, reach: i64, is_so: impl Fn(&Value) -> bool) -> Value {
        let began = Instant::now();
        loop {
            let told = self.follow(Method::GET, reach).await.json();
            if is_so(&told) {
                return told;
            }
            assert!(began.elapsed() < PATIENCE, "{told}");
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    /// Moves a mark of the first marking, and gives what is told of the following then.
    async fn move_mark(&self, reach: i64, name: &str, by: f64) -> Value {
        let known = self.get(&format!("/api/reaches/{reach}")).await.json();
        let mut points = known["points"].clone();
        points[name][0] = (points[name][0].as_f64().unwrap() + by).into();
        let body = json!({ "revision": known["revision"], "time_s": known["time_s"], "points": points });
        let answer = self.put(&format!("/api/reaches/{reach}/marks"), &body).await;
        assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
        answer.json()["follow"].clone()
    }

    fn reaches(&self, visit: i64) -> Vec<Reach> {
        self.app.records.reaches(visit).unwrap()
    }
}

#[test]
fn what_is_followed_is_what_the_command_follows_from_the_exported_marks() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = page.reaches(visit).swap_remove(0);
        let offered = page.get(&format!("/api/reaches/{}", reach.id)).await.json()["follow"].clone();
        let nothing = json!({ "missing": [], "work": null, "is_followed": false, "is_older": false, "curve": null });
        assert_eq!(offered, nothing);
        let told = page.follow_to_the_end(reach.id).await;
        assert_eq!((&told["is_followed"], &told["is_older"]), (&json!(true), &json!(false)));

        let folder = tempfile::tempdir().unwrap();
        let marks = folder.path().join("marks.json");
        let case = page.app.records.case_of(visit).unwrap();
        std::fs::write(&marks, case.reaches[0].marks.to_json()).unwrap();
        let (command, _) = track_marks(&page.app.records.media_path(&reach.media), &marks, |_, _| {}).unwrap();
        let KeptArm { arm, .. } = page.app.records.followed(reach.id).unwrap().unwrap();
        assert_eq!(arm.times_s.len(), command.track.times_s.len());
        // a number is written and read with all its digits but the last bit
        let is_close = |a: f64, b: f64| (a - b).abs() < 1e-9;
        let are_close = |ours: &[Option<f64>], theirs: &[Option<f64>]| {
            ours.len() == theirs.len()
                && ours.iter().zip(theirs).all(|(ours, theirs)| match (ours, theirs) {
                    (Some(ours), Some(theirs)) => is_close(*ours, *theirs),
                    (ours, theirs) => ours == theirs,
                })
        };
        assert!(are_close(&arm.angles_deg, &command.values), "other angles than the command's");
        assert!(are_close(&arm.smoothed_deg, &command.course.smoothed));
        assert_eq!(arm.raises.len(), command.course.raises.len());
        for (ours, theirs) in arm.raises.iter().zip(&command.course.raises) {
            let (ours, theirs) = (ours.hold.unwrap(), theirs.hold.unwrap());
            assert!(is_close(ours.start_s, theirs.start_s) && is_close(ours.mean, theirs.mean));
        }
        let curve = &told["curve"];
        assert_eq!(curve["angles_deg"].as_array().unwrap().len(), reach.media.facts.frame_times_s.len());
        assert_eq!(curve["holds"].as_array().unwrap().len(), command.course.raises.len());
        // once kept it comes with the page, but not where marks are placed blind
        let shown = page.get(&format!("/api/reaches/{}", reach.id)).await.json();
        assert_eq!(shown["follow"], told);
        let blind = page.get(&format!("/api/reaches/{}?repeat=2", reach.id)).await.json();
        assert_eq!(blind["follow"], Value::Null);
    });
}

#[test]
fn what_was_followed_is_older_while_marks_or_side_are_others() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = page.reaches(visit).swap_remove(0);
        let Followable::From { origin, .. } =
            Followable::of(&reach, &page.app.records.marks(reach.id).unwrap()).unwrap()
        else {
            panic!("the demo's marks suffice");
        };
        page.follow_to_the_end(reach.id).await;
        assert_eq!(page.app.records.followed(reach.id).unwrap().unwrap().origin, origin);
        for (name, by, is_older) in [
            ("right_hip", 1.0, true),
            ("right_hip", -1.0, false),
            // the arm does not hang on it
            ("nose", 5.0, false),
            ("right_elbow", 0.25, true),
        ] {
            let told = page.move_mark(reach.id, name, by).await;
            assert_eq!(told["is_older"], is_older, "{name} by {by}: {told}");
            assert!(told.get("curve").is_none(), "a moved mark sends no curve anew");
        }
        let told = page.follow_to_the_end(reach.id).await;
        assert_eq!(told["is_older"], false);
        let fields = [("occasion", "before"), ("rotation", "internal"), ("view", "side"), ("near_side", "right")];
        let mirrored = [&fields[..], &[("mirrored", "on")]].concat();
        page.post(&format!("/reaches/{}/facts", reach.id), &mirrored).await.location();
        let told = page.follow(Method::GET, reach.id).await.json();
        assert_eq!(told["is_older"], true);
        assert!(told["curve"].is_object(), "it is still shown");
    });
}

#[test]
fn what_cannot_be_followed_says_why() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = page.reaches(visit)[1].id;
        let marks = page.app.records.marks(reach).unwrap();
        let mut revision = marks.revision;
        for Marking { raise, repeat, time_s, points, .. } in marks.markings {
            let points: serde_json::Map<_, _> = points
                .iter()
                .filter(|(mark, _)| mark.name() != "right_hip")
                .map(|(mark, at)| (mark.name().to_owned(), json!(at)))
                .collect();
            let body =
                json!({ "revision": revision, "raise": raise, "repeat": repeat, "time_s": time_s, "points": points });
            revision =
                page.put(&format!("/api/reaches/{reach}/marks"), &body).await.json()["revision"].as_i64().unwrap();
        }
        assert_eq!(page.follow(Method::GET, reach).await.json()["missing"], json!(["right_hip"]));
        let refused = page.follow(Method::POST, reach).await;
        assert_eq!(refused.status, StatusCode::CONFLICT);
        assert!(refused.text().contains("none has the right hip"), "{}", refused.text());

        let front = [("occasion", "before"), ("rotation", "external"), ("view", "front")];
        page.post(&format!("/reaches/{reach}/facts"), &front).await.location();
        assert_eq!(page.follow(Method::GET, reach).await.json(), Value::Null);
        assert_eq!(page.follow(Method::POST, reach).await.status, StatusCode::CONFLICT);
        assert!(!page.get(&format!("/reaches/{reach}/mark")).await.text().contains("role=\"slider\""));
        assert_eq!(page.follow(Method::POST, 9999).await.status, StatusCode::NOT_FOUND);

        // nothing goes on under a danger sign
        let signs = client("R07", &["night_pain"]);
        page.post("/clients/R07/screening", &signs).await.location();
        let other = page.reaches(visit)[0].id;
        assert_eq!(page.follow(Method::POST, other).await.status, StatusCode::UNPROCESSABLE_ENTITY);
    });
}

/// A page whose decoder does nothing, and first notes its number where it is started for `command`.
#[cfg(target_os = "linux")]
pub fn with_idle_decoder(command: &str) -> (Page, i64, std::path::PathBuf) {
    use std::os::unix::fs::PermissionsExt as _;

    let (page, visit) = Page::with_demo();
    let Page { app, router, folder, .. } = page;
    drop((app, router));
    let (decoder, pids) = (folder.path().join("idle"), folder.path().join("pids"));
    let script =
        format!("#!/bin/sh\nif [ \"$1\" = {command} ]; then echo $$ >> {}; fi\nexec sleep 600\n", pids.display());
    std::fs::write(&decoder, script).unwrap();
    std::fs::set_permissions(&decoder, std::fs::Permissions::from_mode(0o755)).unwrap();
    (Page::decoding_by(&decoder, folder, tworeach::web::UploadLimits::default()), visit, pids)
}

#[cfg(target_os = "linux")]
fn pids(file: &Path) -> Vec<String> {
    std::fs::read_to_string(file).unwrap_or_default().lines().map(str::to_owned).collect()
}

/// Waits until a process is gone, or only its parent has still to look at how it ended.
#[cfg(target_os = "linux")]
async fn until_gone(pid: &str) {
    let began = Instant::now();
    while std::fs::read_to_string(format!("/proc/{pid}/stat")).is_ok_and(|stat| !stat.contains(") Z ")) {
        assert!(began.elapsed() < PATIENCE, "{pid} goes on");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

#[test]
#[cfg(target_os = "linux")]
fn one_clip_is_followed_at_a_time_and_stopping_kills_its_child() {
    wait_for(async {
        let (page, visit, noted) = with_idle_decoder("decode-follow");
        let reaches = page.reaches(visit);
        let [first, second, third] = [0, 1, 2].map(|at| reaches[at].id);
        page.follow(Method::POST, first).await;
        page.until(first, |told| told["work"]["state"] == "running" && !pids(&noted).is_empty()).await;
        for later in [second, third] {
            assert_eq!(page.follow(Method::POST, later).await.json()["work"]["state"], "waiting");
        }
        // asked twice it goes on, with other marks it begins anew
        page.follow(Method::POST, first).await;
        assert_eq!(pids(&noted).len(), 1);
        assert_eq!(page.follow(Method::DELETE, first).await.json()["work"], Value::Null);
        until_gone(&pids(&noted)[0]).await;
        page.until(second, |told| told["work"]["state"] == "running" && pids(&noted).len() == 2).await;
        assert_eq!(page.follow(Method::GET, third).await.json()["work"]["state"], "waiting");
        page.move_mark(second, "right_hip", 2.0).await;
        page.follow(Method::POST, second).await;
        until_gone(&pids(&noted)[1]).await;
        page.until(third, |told| told["work"]["state"] == "running" && pids(&noted).len() == 3).await;
        // what is deleted is not followed any more, and makes room for the next
        page.post(&format!("/reaches/{third}/delete"), &[]).await.location();
        until_gone(&pids(&noted)[2]).await;
        page.until(second, |told| told["work"]["state"] == "running" && pids(&noted).len() == 4).await;
        let Page { app, router, .. } = page;
        drop(router);
        assert!(app.records.followed(first).unwrap().is_none(), "nothing half done is kept");
        assert!(app.records.followed(second).unwrap().is_none());
    });
}

#[test]
fn a_child_that_fails_is_told_of_and_can_be_tried_again() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = page.reaches(visit)[0].id;
        let Page { app, router, folder, .. } = page;
        drop((app, router));
        let broken = Page::decoding_by(Path::new("/bin/false"), folder, tworeach::web::UploadLimits::default());
        for _ in 0..2 {
            assert_eq!(broken.follow(Method::POST, reach).await.status, StatusCode::ACCEPTED);
            let told = broken.until(reach, |told| told["work"]["state"] == "failed").await;
            assert!(told["work"]["words"].as_str().unwrap().contains("came to an end"), "{told}");
        }
        assert_eq!(broken.log.lock().unwrap().len(), 2, "the log says more");
        assert_eq!(broken.get(&format!("/reaches/{reach}/mark")).await.status, StatusCode::OK);
    });
}

/// A server that is killed cannot end its children: they must end with their input.
#[test]
fn a_child_ends_when_whoever_asked_has_gone() {
    let clip = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side/before-internal.mp4");
    let asked = json!({ "side": "right", "faces_right": true, "frames": [{ "time_s": 1.9667, "points": {
        "right_shoulder": [584.7, 318.3], "right_wrist": [673.3, 111.7], "right_hip": [595.1, 506.5] } }] });
    let said = |is_gone: bool| {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tworeach"))
            .arg("decode-follow")
            .arg(&clip)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut input = child.stdin.take().unwrap();
        writeln!(input, "{asked}").unwrap();
        let kept = (!is_gone).then_some(input);
        let mut said = String::new();
        child.stdout.take().unwrap().read_to_string(&mut said).unwrap();
        drop(kept);
        (child.wait().unwrap().code(), said)
    };
    let (code, text) = said(false);
    assert_eq!(code, Some(0), "{text}");
    assert!(text.lines().last().unwrap().starts_with("{\"followed\":"), "{text}");
    let (code, text) = said(true);
    assert_eq!(code, Some(1), "{text}");
    assert!(!text.contains("followed"), "{text}");
}
