//! The whole job: danger signs, client, visit, uploads, marks, call, report, export, deletion.

use std::collections::BTreeMap;
use std::io::Cursor;

use axum::http::{StatusCode, header};
use serde_json::{Value, json};
use tworeach::screen::{Call, VisitResult};
use tworeach::web::UploadLimits;

use super::page::{BEFORE_INTERNAL, Page, client, demo_clip, wait_for};
use crate::case_files::{code, stderr, stdout, tworeach};

#[test]
fn danger_signs_come_before_the_first_visit() {
    wait_for(async {
        let page = Page::new();
        // a sign that was passed over is not a no
        let mut fields = client("R07", &[]);
        fields.retain(|(name, _)| *name != "sign_night_pain");
        let answer = page.post("/clients", &fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(page.app.records.clients().unwrap().len(), 0);

        let answer = page.post("/clients", &client("R07", &["night_pain"])).await;
        assert_eq!(answer.location(), "/clients/R07");
        let refused = page.post("/clients/R07/visits", &[]).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.text().contains("licensed clinician"), "{}", refused.text());

        // a client alone gives no reason that counts; a clinician does
        let mut again = client("R07", &["night_pain"]);
        again.retain(|(name, _)| name.starts_with("sign_"));
        for (answered_by, reason, may_visit) in
            [("client", "I feel fine", false), ("clinician", " ", false), ("clinician", "imaged, nothing found", true)]
        {
            let mut fields = again.clone();
            fields.extend([("answered_by", answered_by), ("reason", reason)]);
            assert_eq!(page.post("/clients/R07/screening", &fields).await.location(), "/clients/R07");
            let started = page.post("/clients/R07/visits", &[]).await;
            assert_eq!(started.status == StatusCode::SEE_OTHER, may_visit, "{answered_by} {reason}");
        }
        // an emergency is nobody's to overrule
        let mut fields = client("R08", &["chest_pain_breathless"]);
        fields.retain(|(name, _)| *name != "answered_by");
        fields.extend([("answered_by", "clinician"), ("reason", "anything")]);
        page.post("/clients", &fields).await;
        assert!(page.post("/clients/R08/visits", &[]).await.text().contains("emergency"));
    });
}

/// Answers of the second reach that its back did not stay flat, which breaks the pair and orders to film again.
async fn lift_the_back(page: &Page, visit: i64) {
    let reach = page.app.records.reaches(visit).unwrap()[1].id;
    let marks = page.get(&format!("/api/reaches/{reach}")).await.json();
    let edit = json!({ "revision": marks["revision"], "repeat": 1, "time_s": marks["time_s"], "points": marks["points"],
        "pain": 0, "limited_by": "stretch", "back_flat": false });
    let answer = page.put(&format!("/api/reaches/{reach}/marks"), &edit).await;
    assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
    let shown = page.get(&format!("/visits/{visit}/result")).await.text();
    assert!(shown.contains("film again with the back kept flat"), "{shown}");
}

#[test]
fn pain_leaves_no_order_to_film_again_anywhere() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        lift_the_back(&page, visit).await;
        let reach = page.app.records.reaches(visit).unwrap()[0].id;
        let marks = page.get(&format!("/api/reaches/{reach}")).await.json();
        // above 3 of 10, though a stretch ended the reach
        let edit = json!({ "revision": marks["revision"], "repeat": 1, "time_s": marks["time_s"], "points": marks["points"],
            "pain": 4, "limited_by": "stretch", "back_flat": true });
        assert_eq!(page.put(&format!("/api/reaches/{reach}/marks"), &edit).await.status, StatusCode::OK);
        for path in ["result", "report.html"] {
            let shown = page.get(&format!("/visits/{visit}/{path}")).await.text().to_lowercase();
            assert!(shown.contains("do not reach again today"), "{path}: {shown}");
            let shown = shown.replace("film again only once the reach does not hurt", "");
            for gone in ["film again", "film both", "film three", "film the"] {
                assert!(!shown.contains(gone), "{path} still has {gone}: {shown}");
            }
        }
    });
}

#[test]
fn pain_at_the_first_reach_stops_the_day_everywhere() {
    wait_for(async {
        let page = Page::new();
        let visit = page.visit("R07").await;
        let answer = page.upload(visit, &BEFORE_INTERNAL, "a.mp4", &demo_clip("before-internal.mp4")).await;
        let reach: i64 = answer.location().split('/').nth(2).unwrap().parse().unwrap();
        page.post(&format!("/reaches/{reach}/palms"), &[("palms", "down")]).await;
        let marks = std::fs::read_to_string(
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side/before-internal.marks.json"),
        );
        let marks: Value = serde_json::from_str(&marks.unwrap()).unwrap();
        let frame = &marks["frames"][0];
        let points: serde_json::Map<String, Value> = frame["points"]
            .as_object()
            .unwrap()
            .iter()
            .map(|(name, point)| (name.clone(), json!([point[0], point[1]])))
            .collect();
        let edit = json!({ "revision": 0, "repeat": 1, "time_s": frame["time_s"], "points": points, "pain": 5 });
        let answer = page.put(&format!("/api/reaches/{reach}/marks"), &edit).await;
        assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
        for path in ["", "/result", "/report.html"] {
            let shown = page.get(&format!("/visits/{visit}{path}")).await.text();
            assert!(shown.contains("do not reach again today"), "{path}: {shown}");
            for order in ["Film the externally", "read it with care", "something else ended"] {
                assert!(!shown.contains(order), "{path} says {order}: {shown}");
            }
            assert!(!shown.contains("class=\"button main\" href=\"#"), "{path} leads on to filming");
        }
    });
}

#[test]
fn a_client_s_later_no_lifts_no_sign_and_a_clinician_s_does() {
    wait_for(async {
        let page = Page::new();
        page.post("/clients", &client("R07", &["weak_grip"])).await;
        for (answered_by, may_visit) in [("client", false), ("client", false), ("clinician", true)] {
            page.post("/clients/R07/screening", &answers(&[], answered_by, "")).await.location();
            let started = page.post("/clients/R07/visits", &[]).await;
            assert_eq!(started.status == StatusCode::SEE_OTHER, may_visit, "{answered_by}");
        }
        // once lifted, a client's no counts again
        page.post("/clients/R07/screening", &answers(&[], "client", "")).await.location();
        assert_eq!(page.post("/clients/R07/visits", &[]).await.status, StatusCode::SEE_OTHER);
    });
}

#[test]
fn marks_on_one_spot_are_refused_by_name() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = page.app.records.reaches(visit).unwrap()[0].id;
        let marks = page.get(&format!("/api/reaches/{reach}")).await.json();
        for (one, other) in [("plumb_top", "plumb_bottom"), ("right_shoulder", "right_wrist")] {
            let mut points = marks["points"].clone();
            points[other] = points[one].clone();
            let revision = page.get(&format!("/api/reaches/{reach}")).await.json()["revision"].clone();
            let edit = json!({ "revision": revision, "repeat": 1, "time_s": marks["time_s"], "points": points });
            assert_eq!(page.put(&format!("/api/reaches/{reach}/marks"), &edit).await.status, StatusCode::OK);
            let shown = page.get(&format!("/visits/{visit}")).await.text();
            assert!(shown.contains(&format!("{one} and {other} are marked 0 px apart")), "{shown}");
            // the clip is there: it is not to be filmed again
            let result = page.get(&format!("/visits/{visit}/result")).await.text();
            assert!(result.contains("is not measured yet, and the call needs both rotations"), "{result}");
            assert!(!result.contains("Film the internally"), "{result}");
        }
    });
}

/// Answers on danger signs for a client that is there.
fn answers<'a>(signs: &[&str], answered_by: &'a str, reason: &'a str) -> Vec<(&'a str, &'a str)> {
    let mut fields = client("", signs);
    fields.retain(|(name, _)| name.starts_with("sign_"));
    fields.extend([("answered_by", answered_by), ("reason", reason)]);
    fields
}

#[test]
fn a_danger_sign_that_comes_up_during_a_visit_stops_all_of_it() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = page.app.records.reaches(visit).unwrap()[0].id;
        let [sheet, result, report, mark] = [
            format!("/visits/{visit}"),
            format!("/visits/{visit}/result"),
            format!("/visits/{visit}/report.html"),
            format!("/reaches/{reach}/mark"),
        ];
        let revision = page.get(&format!("/api/reaches/{reach}")).await.json()["revision"].clone();
        let edit = json!({ "revision": revision, "time_s": 1.9667, "points": { "right_shoulder": [10, 20] } });
        lift_the_back(&page, visit).await;
        let marks = format!("/api/reaches/{reach}/marks");
        // all that is to be gone is there before
        assert!(page.get(&sheet).await.text().contains("type=\"file\" name=\"file\""));
        assert!(page.get(&result).await.text().contains("class=\"next\""));
        assert!(page.get(&report).await.text().contains("<b>Next:</b>"));
        assert_eq!(page.get(&mark).await.status, StatusCode::OK);

        for (sign, told) in
            [("night_pain", "see a licensed clinician"), ("chest_pain_breathless", "emergency services now")]
        {
            page.post("/clients/R07/screening", &answers(&[sign], "client", "")).await.location();
            let shown = page.get(&sheet).await.text();
            assert!(shown.contains(told), "{shown}");
            for gone in ["name=\"file\"", "/mark", "/palms"] {
                assert!(!shown.contains(gone), "the sheet still has {gone}");
            }
            assert_eq!(page.get(&mark).await.location(), sheet);
            assert_eq!(page.get(&format!("/reaches/{reach}/palms")).await.location(), sheet);
            let palms = page.post(&format!("/reaches/{reach}/palms"), &[("palms", "down")]).await;
            assert_eq!(palms.status, StatusCode::UNPROCESSABLE_ENTITY);
            let refused = page.put(&marks, &edit).await;
            assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
            assert!(refused.json()["message"].as_str().unwrap().contains(told), "{}", refused.text());
            assert_eq!(page.get(&format!("/api/reaches/{reach}")).await.json()["revision"], revision);

            let shown = page.get(&result).await.text();
            assert!(shown.find(told).unwrap() < shown.find("Caution").unwrap(), "{shown}");
            assert!(shown.contains("class=\"figure\""), "the numbers stay");
            let lower = shown.to_lowercase();
            for gone in ["class=\"next\"", "/mark", "film again", "film both", "film three", "put right"] {
                assert!(!lower.contains(gone), "the result still has {gone}");
            }
            let shown = page.get(&report).await.text();
            assert!(shown.find(told).unwrap() < shown.find(">Caution<").unwrap());
            for gone in ["<b>Next:</b>", "What to do", "film again", "Film three"] {
                assert!(!shown.contains(gone), "the report still has {gone}");
            }
            assert!(page.get(&format!("/visits/{visit}/report.pdf")).await.body.starts_with(b"%PDF-"));
        }
        // a clinician goes on with a reason, which the report holds with sign and date
        page.post("/clients/R07/screening", &answers(&["night_pain"], "clinician", "imaged, nothing found")).await;
        assert!(page.get(&result).await.text().contains("class=\"next\""));
        let shown = page.get(&report).await.text();
        let made_on = page.app.records.screening(1).unwrap().unwrap().made_on;
        for there in ["<b>Next:</b>", "Pain that wakes you at night?", "imaged, nothing found", &made_on[..4]] {
            assert!(shown.contains(there), "the report lacks {there}");
        }
        assert_eq!(page.put(&marks, &edit).await.status, StatusCode::OK);
    });
}

#[test]
fn an_upload_is_refused_while_a_danger_sign_stands_open() {
    wait_for(async {
        let page = Page::new();
        let visit = page.visit("K4").await;
        let clip = demo_clip("before-internal.mp4");
        page.post("/clients/K4/screening", &answers(&["fever"], "client", "")).await.location();
        let refused = page.upload(visit, &BEFORE_INTERNAL, "clip.mp4", &clip).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.text().contains("see a licensed clinician"), "{}", refused.text());
        assert!(page.app.records.reaches(visit).unwrap().is_empty() && page.media().is_empty());
        page.post("/clients/K4/screening", &answers(&[], "clinician", "")).await.location();
        assert_eq!(page.upload(visit, &BEFORE_INTERNAL, "clip.mp4", &clip).await.status, StatusCode::SEE_OTHER);
    });
}

#[test]
fn one_clip_is_not_two_reaches_of_a_visit() {
    wait_for(async {
        let page = Page::new();
        let visit = page.visit("K5").await;
        let clip = demo_clip("before-internal.mp4");
        page.upload(visit, &BEFORE_INTERNAL, "clip.mp4", &clip).await.location();
        let fields = [("occasion", "after"), ("rotation", "external"), ("view", "side"), ("near_side", "right")];
        let again = page.upload(visit, &fields, "other.mp4", &clip).await;
        assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
        let told = "this file is the clip of the internally rotated reach before the stretch already";
        assert!(again.text().contains(told), "{}", again.text());
        assert_eq!(page.app.records.reaches(visit).unwrap().len(), 1);
        assert_eq!(page.media().len(), 2, "the first reach keeps its clip and its small pictures");
    });
}

#[test]
fn the_demo_case_is_measured_and_its_export_measures_the_same_to_the_last_digit() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let sheet = page.get(&format!("/visits/{visit}")).await;
        assert_eq!(sheet.status, StatusCode::OK, "{}", sheet.text());
        let shown = page.get(&format!("/visits/{visit}/result")).await;
        assert!(shown.text().contains("positive"), "{}", shown.text());
        // one sign for one unit
        let text = shown.text().replace('\u{a0}', " ");
        let spelt = |at: usize| !text[at + " deg".len()..].starts_with(|c: char| c.is_alphanumeric());
        let found = text.match_indices(" deg").find(|(at, _)| spelt(*at));
        assert!(found.is_none(), "{found:?} in {text}");
        let on_page = page.app.records.result(visit).unwrap().unwrap();
        assert_eq!(on_page.comparisons[0].call, Call::Positive);

        let export = page.get(&format!("/visits/{visit}/export.zip")).await;
        assert_eq!(export.status, StatusCode::OK);
        assert_eq!(export.headers[header::CONTENT_TYPE], "application/zip");
        let folder = tempfile::tempdir().unwrap();
        zip::ZipArchive::new(Cursor::new(export.body.to_vec())).unwrap().extract(folder.path()).unwrap();
        let output = tworeach(&["measure", folder.path().join("case.toml").to_str().unwrap(), "--json"]);
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        let measured: VisitResult = serde_json::from_str(&stdout(&output)).unwrap();
        // what was found is in the export's marks, so that nothing is looked for again
        assert_eq!(measured, VisitResult { compared_pictures: None, ..on_page });

        // one click more leads to the client, and makes no second one
        assert_eq!(page.post("/demo", &[]).await.location(), "/clients/R07");
        assert!(page.log.lock().unwrap().is_empty(), "{:?}", page.log.lock().unwrap());
    });
}

#[test]
fn reports_and_charts_are_documents_of_their_own() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let pdf = page.get(&format!("/visits/{visit}/report.pdf?paper=letter")).await;
        assert_eq!(pdf.status, StatusCode::OK, "{}", pdf.text());
        assert!(pdf.body.starts_with(b"%PDF-"));
        let policy = pdf.headers[header::CONTENT_SECURITY_POLICY].to_str().unwrap();
        assert!(!policy.contains("object-src"), "the browser's viewer is an object: {policy}");
        let html = page.get(&format!("/visits/{visit}/report.html")).await;
        assert!(html.text().contains("R07") && html.text().contains("data:image/jpeg"));
        assert!(html.headers[header::CONTENT_SECURITY_POLICY].to_str().unwrap().contains("sandbox"));
        let chart = page.get(&format!("/visits/{visit}/charts/rotations.svg")).await;
        assert_eq!(chart.headers[header::CONTENT_TYPE], "image/svg+xml");
        assert_eq!(page.get(&format!("/visits/{visit}/charts/other.svg")).await.status, StatusCode::NOT_FOUND);
        let reach = page.app.records.reaches(visit).unwrap()[0].id;
        let still = page.get(&format!("/visits/{visit}/stills/{reach}.svg")).await;
        assert!(still.text().contains("data:image/jpeg"), "{}", still.text());
        assert_eq!(page.get(&format!("/visits/{visit}/stills/99.svg")).await.status, StatusCode::NOT_FOUND);
        let paper = page.get(&format!("/visits/{visit}/report.pdf?paper=a3")).await;
        assert_eq!(paper.status, StatusCode::UNPROCESSABLE_ENTITY);
    });
}

#[test]
fn marks_are_confirmed_one_by_one_and_the_numbers_follow() {
    wait_for(async {
        let page = Page::new();
        let visit = page.visit("K1").await;
        let mut reaches = Vec::new();
        for (rotation, clip) in [("internal", "before-internal"), ("external", "before-external")] {
            let fields = [("occasion", "before"), ("rotation", rotation), ("view", "side"), ("near_side", "right")];
            let answer = page.upload(visit, &fields, "clip.mp4", &demo_clip(&format!("{clip}.mp4"))).await;
            let palms = answer.location();
            let id: i64 = palms.strip_prefix("/reaches/").unwrap().strip_suffix("/palms").unwrap().parse().unwrap();
            assert_eq!(page.get(&palms).await.status, StatusCode::OK);
            let facing = if rotation == "internal" { "down" } else { "up" };
            assert_eq!(page.post(&palms, &[("palms", facing)]).await.location(), format!("/reaches/{id}/mark"));
            reaches.push((id, marks_of(clip)));
        }
        // nothing is marked: nulls with a reason, not an error
        let live = page.get(&format!("/api/visits/{visit}/live?reach={}", reaches[0].0)).await.json();
        assert!(live["reach"].is_null() && live["call"].is_null(), "{live}");
        assert!(live["reason"].as_str().unwrap().len() > 10);
        assert_eq!(page.get(&format!("/visits/{visit}/report.pdf")).await.status, StatusCode::CONFLICT);
        assert_eq!(page.get(&format!("/visits/{visit}/result")).await.status, StatusCode::OK);
        // numbers that the fit gave and the page did not show, and reaches with all marks
        let (mut withheld, mut complete) = (0, 0);
        for (id, marks) in &reaches {
            let url = format!("/api/reaches/{id}");
            let reach = page.get(&url).await.json();
            assert_eq!((reach["revision"].as_i64(), &reach["points"]), (Some(0), &json!({})));
            let mut placed = BTreeMap::new();
            let mut live = Value::Null;
            // from the wrist to the bar, so that an arm is there before the plumb line
            for (revision, (name, point)) in marks.iter().rev().enumerate() {
                placed.insert(name, point);
                let body = json!({ "revision": revision, "repeat": 1, "time_s": 1.9667, "points": placed,
                    "pain": 0, "limited_by": "stretch", "back_flat": true });
                let answer = page.put(&format!("{url}/marks"), &body).await;
                assert_eq!(answer.status, StatusCode::OK, "{}", answer.text());
                assert_eq!(answer.json()["revision"], revision + 1);
                live = answer.json()["live"].clone();
                assert!(!live.is_null());
                // a side view's: the design's list of what it needs
                let needed = ["right_shoulder", "right_elbow", "right_wrist", "right_hip", "plumb_top", "plumb_bottom"];
                let is_complete = needed.iter().all(|name| placed.contains_key(&(*name).to_owned()));
                assert_eq!(live["reach"]["elevation"].is_string(), is_complete, "{name}: {live}");
                if !is_complete {
                    assert!(live["call"].is_null() && live["difference"].is_null(), "{live}");
                    let sheet = page.get(&format!("/visits/{visit}")).await.text();
                    assert!(sheet.contains("Marks not complete"), "{sheet}");
                    let kept = page.app.records.result(visit).unwrap();
                    let fitted = kept
                        .iter()
                        .flat_map(|kept| &kept.reaches)
                        .filter(|fitted| fitted.elevation_deg.or(fitted.elevation_from_vertical_deg).is_some());
                    withheld += usize::from(fitted.count() > complete);
                }
            }
            complete += 1;
            assert!(live["reach"]["elevation"].as_str().unwrap().ends_with('°'), "{live}");
            assert!(live["overlay"]["arc"].as_array().unwrap().len() > 2, "{live}");
            let stale =
                page.put(&format!("{url}/marks"), &json!({ "revision": 1, "time_s": 1.9667, "points": {} })).await;
            assert_eq!(stale.status, StatusCode::CONFLICT);
            assert_eq!(stale.json()["revision"], marks.len());
            // blind: a repeat shows nothing of the first marks but their frame
            let blind = page.get(&format!("{url}?repeat=2")).await.json();
            assert_eq!(blind["points"], json!({}));
            assert!((blind["time_s"].as_f64().unwrap() - 1.9667).abs() < 1e-3);
        }
        assert!(withheld > 0, "no mark was missing while the fit had an angle");
        let live = page.get(&format!("/api/visits/{visit}/live")).await.json();
        assert_eq!(live["call"], "positive", "{live}");
        assert!(page.log.lock().unwrap().is_empty(), "{:?}", page.log.lock().unwrap());
    });
}

/// The first hand marks of a demo clip.
fn marks_of(clip: &str) -> BTreeMap<String, [f64; 2]> {
    let marks: Value = serde_json::from_slice(&demo_clip(&format!("{clip}.marks.json"))).unwrap();
    serde_json::from_value(marks["frames"][0]["points"].clone()).unwrap()
}

#[test]
fn an_edit_that_is_wrong_names_its_field() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = page.app.records.reaches(visit).unwrap()[0].id;
        let url = format!("/api/reaches/{reach}/marks");
        let revision = page.get(&format!("/api/reaches/{reach}")).await.json()["revision"].clone();
        let good = json!({ "revision": revision, "time_s": 1.9667, "points": { "right_shoulder": [10, 20] } });
        for (field, value) in [
            ("revision", json!("x")),
            ("raise", json!(0)),
            ("repeat", json!(1.5)),
            ("time_s", json!(400.0)),
            ("time_s", json!(-1)),
            ("points", json!([])),
            ("points.right_sholder", json!({ "right_sholder": [1, 2] })),
            ("points.right_shoulder", json!({ "right_shoulder": [1] })),
            ("points.right_shoulder", json!({ "right_shoulder": [5000, 2] })),
            ("points.right_shoulder", json!({ "right_shoulder": ["1", 2] })),
            ("pain", json!(11)),
            ("limited_by", json!("boredom")),
            ("back_flat", json!("yes")),
            ("colour", json!("blue")),
        ] {
            let mut body = good.clone();
            body[field.split('.').next().unwrap()] = value;
            let answer = page.put(&url, &body).await;
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}: {}", answer.text());
            assert_eq!(answer.json()["field"], field);
        }
        // another raise on the frame of the first would count it twice
        let body =
            json!({ "revision": revision, "raise": 2, "time_s": 1.9667, "points": { "right_shoulder": [10, 20] } });
        assert_eq!(page.put(&url, &body).await.json()["field"], "time_s");
        // and so would one so soon after it that both are measured as one raise
        let at = |time_s: f64| json!({ "revision": revision, "raise": 2, "time_s": time_s, "points": { "right_shoulder": [10, 20] } });
        let soon = page.put(&url, &at(1.0)).await.json();
        assert_eq!(soon["field"], "time_s");
        assert!(soon["message"].as_str().unwrap().contains("count as one raise"), "{soon}");
        assert_eq!(page.put(&url, &at(0.4)).await.status, StatusCode::OK);
    });
}

#[test]
fn what_is_no_clip_is_refused_and_names_of_files_are_never_paths() {
    wait_for(async {
        let page = Page::with_limits(UploadLimits { upload_bytes: 2_000_000, ..UploadLimits::default() });
        let visit = page.visit("K2").await;
        let before = page.everything();
        for (name, bytes) in [
            ("../../evil.mp4", &b"not a clip"[..]),
            ("/etc/passwd", b""),
            ("clip.mp4", &demo_clip("before-internal.mp4")[..2000]),
        ] {
            let answer = page.upload(visit, &BEFORE_INTERNAL, name, bytes).await;
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{name}");
            assert!(!answer.text().contains("incoming"), "no path is told: {}", answer.text());
        }
        let large = page.upload(visit, &BEFORE_INTERNAL, "clip.mp4", &vec![0; 2_000_001]).await;
        assert_eq!(large.status, StatusCode::PAYLOAD_TOO_LARGE);
        assert_eq!(page.everything(), before);

        let clip = demo_clip("before-internal.mp4");
        let taken = page.upload(visit, &BEFORE_INTERNAL, "../../../clip.mp4", &clip).await;
        assert_eq!(taken.status, StatusCode::SEE_OTHER, "{}", taken.text());
        assert_eq!(page.media().len(), 2, "the clip and its small pictures");
        let mut around: Vec<_> =
            std::fs::read_dir(page.folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        assert_eq!(around.len(), 1, "nothing but the data folder: {around:?}");
        around.clear();
        // the same cell again, and a view from the other side
        let again = page.upload(visit, &BEFORE_INTERNAL, "clip.mp4", &clip).await;
        assert_eq!(again.status, StatusCode::UNPROCESSABLE_ENTITY);
        let fields = [("occasion", "before"), ("rotation", "external"), ("view", "side"), ("near_side", "left")];
        assert_eq!(page.upload(visit, &fields, "clip.mp4", &clip).await.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(page.app.records.reaches(visit).unwrap().len(), 1);
    });
}

#[test]
fn frames_are_shown_small_and_full_and_end_with_the_clip() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = &page.app.records.reaches(visit).unwrap()[0];
        let count = reach.media.facts.frame_times_s.len();
        let frames = format!("/api/reaches/{}/frames", reach.id);
        for index in [0, count / 2, count - 1] {
            let full = page.get(&format!("{frames}/{index}.jpg")).await;
            assert_eq!(full.status, StatusCode::OK, "{index}");
            let full = image::load_from_memory(&full.body).unwrap().into_rgb8();
            assert_eq!([full.width(), full.height()], reach.media.facts.upright_size);
            let small = page.get(&format!("{frames}/{index}.jpg?size=preview")).await;
            let small = image::load_from_memory(&small.body).unwrap().into_rgb8();
            assert_eq!(small.width(), 480);
            // the same frame: the full one made as small differs by what JPEG loses
            let made = image::imageops::thumbnail(&full, small.width(), small.height());
            let differences = made.pixels().zip(small.pixels()).map(|(a, b)| f64::from(a[1].abs_diff(b[1])));
            let mean = differences.sum::<f64>() / f64::from(small.width() * small.height());
            assert!(mean < 4.0, "frame {index} differs by {mean}");
        }
        for name in [format!("{count}.jpg"), "18446744073709551615.jpg".into(), "1.png".into(), "-1.jpg".into()] {
            assert_eq!(page.get(&format!("{frames}/{name}")).await.status, StatusCode::NOT_FOUND, "{name}");
            let small = page.get(&format!("{frames}/{name}?size=preview")).await;
            assert_eq!(small.status, StatusCode::NOT_FOUND, "{name}");
        }
    });
}

#[test]
fn swapped_clips_are_caught_by_their_palms() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let of = |page: &Page| {
            let reaches = page.app.records.reaches(visit).unwrap();
            reaches.iter().map(|reach| (reach.facts.rotation, reach.id)).collect::<Vec<_>>()
        };
        let before = of(&page);
        let palms = format!("/reaches/{}/palms", before[0].1);
        let contrary = page.post(&palms, &[("palms", "up")]).await;
        assert_eq!(contrary.status, StatusCode::UNPROCESSABLE_ENTITY);
        // until that is settled nothing is measured from it, and no call rests on it
        let live = page.get(&format!("/api/visits/{visit}/live?reach={}", before[0].1)).await.json();
        assert!(live["reach"].is_null() && live["call"] == "inconclusive", "{live}");
        let [sheet, result] = [format!("/visits/{visit}"), format!("/visits/{visit}/result")];
        let shown = page.get(&result).await.text();
        assert!(
            shown.contains("The internally rotated reach before the stretch is not measured: its palms"),
            "{shown}"
        );
        let kept = page.app.records.result(visit).unwrap().unwrap();
        assert_eq!(kept.reaches.len(), 3);
        assert!(!kept.comparisons.iter().any(|pair| pair.occasion == tworeach::screen::Occasion::Before
            && !matches!(pair.call, Call::NotComparable | Call::Inconclusive)));
        assert!(page.get(&sheet).await.text().contains("Not measured: the palms face the other way"));
        assert!(page.get(&palms).await.text().contains("exchange the two clips"));
        assert_eq!(page.post(&palms, &[("swap", "on")]).await.location(), format!("/visits/{visit}"));
        // the other one's palms are to be looked at anew, which the result says until it is done
        let says = ["Nobody has said yet which way the palms face in the internally rotated reach", "First say on the"];
        let shown = page.get(&result).await.text();
        assert!(says.iter().all(|says| shown.contains(says)), "{shown}");
        let other = format!("/reaches/{}/palms", before[1].1);
        assert!(!page.post(&other, &[("palms", "down")]).await.location().is_empty());
        let shown = page.get(&result).await.text();
        assert!(!says.iter().any(|says| shown.contains(says)), "{shown}");
        let after = of(&page);
        assert_eq!((after[0].1, after[1].1), (before[1].1, before[0].1));
        let result = page.get(&format!("/api/visits/{visit}/live?reach={}", before[0].1)).await.json();
        assert_eq!(result["call"], "negative", "external is the higher reach now: {result}");
    });
}

#[test]
fn deleting_says_first_what_goes_and_keeps_what_another_uses() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let other = page.visit("K3").await;
        let taken = page.upload(other, &BEFORE_INTERNAL, "clip.mp4", &demo_clip("before-internal.mp4")).await;
        assert_eq!(taken.status, StatusCode::SEE_OTHER, "{}", taken.text());
        assert_eq!(page.media().len(), 8, "four clips with their small pictures, one of them used twice");
        let says = page.app.records.removal_of_client(page.app.records.client("R07").unwrap().id).unwrap();
        assert_eq!((says.visits, says.reaches, says.media, says.media_kept), (1, 4, 3, 1));
        assert_eq!(page.get("/clients/R07/delete").await.status, StatusCode::OK);
        assert_eq!(page.post("/clients/R07/delete", &[("code", "R70")]).await.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert_eq!(page.media().len(), 8);
        assert_eq!(page.post("/clients/R07/delete", &[("code", "R07")]).await.location(), "/");
        assert_eq!(page.media().len(), 2);
        assert_eq!(page.get(&format!("/visits/{visit}")).await.status, StatusCode::NOT_FOUND);
        let everything = page.everything();
        for gone in ["R07", "results:", "revisions:"] {
            assert!(!everything.contains(gone), "{everything}");
        }
        let reach = page.app.records.reaches(other).unwrap()[0].id;
        assert_eq!(page.get(&format!("/reaches/{reach}/delete")).await.status, StatusCode::OK);
        page.post(&format!("/reaches/{reach}/delete"), &[]).await.location();
        assert!(page.media().is_empty());
    });
}
