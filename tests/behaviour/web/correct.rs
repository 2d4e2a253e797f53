//! What was entered wrongly is corrected, a visit is deleted, and what the picture does not show is said.

use std::io::{Cursor, Read as _};

use axum::http::StatusCode;
use tworeach::geometry::Side;
use tworeach::pose::{Rotation, View};
use tworeach::records::{Feel, Palms, Reach};
use tworeach::screen::Occasion;

use super::page::{BEFORE_INTERNAL, Page, client, demo_clip, wait_for};

/// The reaches of the demo's visit, in the order before and after, internal and external.
fn reaches(page: &Page, visit: i64) -> Vec<Reach> {
    page.app.records.reaches(visit).unwrap()
}

fn elevation(page: &Page, visit: i64, reach: usize) -> f64 {
    page.app.records.result(visit).unwrap().unwrap().reaches[reach].elevation_deg.unwrap().value
}

#[test]
fn a_clients_facts_are_corrected_and_measured_with() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        page.visit("K7").await;
        page.get(&format!("/visits/{visit}/result")).await;
        let before = elevation(&page, visit, 0);
        let shown = page.get("/clients/R07/facts").await.text();
        assert!(shown.contains("value=\"R07\"") && shown.contains("value=\"right\" checked"), "{shown}");

        let correct = async |fields: [(&str, &str); 4]| page.post("/clients/R07/facts", &fields).await;
        let fields =
            |code, stature| [("code", code), ("affected_side", "left"), ("stature_mm", stature), ("arm_length_mm", "")];
        for (code, stature, named) in [
            ("K7", "1500", "another client has the code K7"),
            ("k7", "1500", "another client has the code k7"),
            ("R09", "15", "expected a number from"),
            ("R\u{200b}09", "1500", "cannot be seen, U+200B"),
            ("R\u{1b}09", "1500", "cannot be seen, U+001B"),
            ("R\t09", "1500", "must be one line"),
            ("", "1500", "give the client a code"),
        ] {
            let refused = correct(fields(code, stature)).await;
            assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{code:?}");
            assert!(refused.text().contains(named), "{code:?}: {}", refused.text());
        }
        assert_eq!(page.app.records.client("R07").unwrap().facts.stature_mm, Some(1790.0));

        assert_eq!(correct(fields("R09", "1500")).await.location(), "/clients/R09");
        assert_eq!(page.get("/clients/R07").await.status, StatusCode::NOT_FOUND);
        assert!(page.app.records.client("R09").unwrap().facts.is_demo, "what it is for is not corrected with it");
        page.get(&format!("/visits/{visit}/result")).await;
        let after = elevation(&page, visit, 0);
        assert!((after - before).abs() > 1e-6, "the stature is in the fit: {before} and {after}");
    });
}

#[test]
fn a_reachs_facts_are_corrected_without_losing_its_marks() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let ids: Vec<i64> = reaches(&page, visit).iter().map(|reach| reach.id).collect();
        let path = format!("/reaches/{}/facts", ids[0]);
        let shown = page.get(&path).await.text();
        for checked in ["before", "internal", "side", "right"] {
            assert!(shown.contains(&format!("value=\"{checked}\" checked")), "{checked}: {shown}");
        }
        let facts = |rotation, view, near_side| {
            [("occasion", "before"), ("rotation", rotation), ("view", view), ("near_side", near_side)]
        };
        // another clip is there already
        let refused = page.post(&path, &facts("external", "side", "right")).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.text().contains("exchange the two"), "{}", refused.text());
        assert_eq!(page.post(&path, &facts("internal", "side", "")).await.status, StatusCode::UNPROCESSABLE_ENTITY);

        // the side is one for all clips of a view
        let marks = page.app.records.marks(ids[0]).unwrap();
        page.post(&path, &facts("internal", "side", "left")).await.location();
        assert!(reaches(&page, visit).iter().all(|reach| reach.facts.near_side == Some(Side::Left)));
        assert_eq!(page.app.records.marks(ids[0]).unwrap(), marks);
        page.post(&path, &facts("internal", "side", "right")).await.location();

        // from another place, and as another reach
        page.post(&path, &facts("internal", "front", "")).await.location();
        let [first, second] = [0, 1].map(|at| page.app.records.reach(ids[at]).unwrap().facts);
        assert_eq!((first.view, first.near_side), (View::Front, None));
        assert_eq!((second.view, second.near_side), (View::Side, Some(Side::Right)));
        // back among the others only with their side
        let refused = page.post(&path, &facts("internal", "side", "left")).await;
        assert!(refused.text().contains("the other reaches of this view show the right side"), "{}", refused.text());
        page.post(&path, &facts("internal", "side", "right")).await.location();
        page.post(&format!("/reaches/{}/delete", ids[3]), &[]).await.location();
        let moved = [("occasion", "after"), ("rotation", "external"), ("view", "side"), ("near_side", "right")];
        page.post(&format!("/reaches/{}/facts", ids[1]), &moved).await.location();
        let moved = page.app.records.reach(ids[1]).unwrap().facts;
        assert_eq!((moved.occasion, moved.rotation), (Occasion::After, Rotation::External));
        assert!(page.log.lock().unwrap().is_empty(), "{:?}", page.log.lock().unwrap());
    });
}

#[test]
fn a_visit_is_deleted_with_its_clips_and_the_client_stays() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        page.post("/clients/R07/visits", &[]).await.location();
        let other = page.visit("K3").await;
        page.upload(other, &BEFORE_INTERNAL, "clip.mp4", &demo_clip("before-internal.mp4")).await.location();
        let says = page.get(&format!("/visits/{visit}/delete")).await.text();
        for said in ["4 reaches", "3 clips and pictures", "1 file stays"] {
            assert!(says.contains(said), "{said}: {says}");
        }
        assert_eq!(page.media().len(), 8, "nothing is gone yet");
        assert_eq!(page.post(&format!("/visits/{visit}/delete"), &[]).await.location(), "/clients/R07");
        assert_eq!(page.media().len(), 2);
        assert_eq!(page.get(&format!("/visits/{visit}")).await.status, StatusCode::NOT_FOUND);
        assert_eq!(page.post(&format!("/visits/{visit}/delete"), &[]).await.status, StatusCode::NOT_FOUND);
        let everything = page.everything();
        assert!(!everything.contains("results:") && !everything.contains("revisions:"), "{everything}");
        assert_eq!(page.app.records.visits(page.app.records.client("R07").unwrap().id).unwrap().len(), 1);
    });
}

/// The text files of an export, by name.
async fn exported(page: &Page, visit: i64, name: &str) -> Option<String> {
    let export = page.get(&format!("/visits/{visit}/export.zip")).await;
    assert_eq!(export.status, StatusCode::OK, "{}", export.text());
    let mut archive = zip::ZipArchive::new(Cursor::new(export.body.to_vec())).unwrap();
    let mut text = String::new();
    archive.by_name(name).ok()?.read_to_string(&mut text).unwrap();
    Some(text)
}

#[test]
fn palms_that_the_picture_does_not_show_stay_open_and_every_call_says_so() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let id = reaches(&page, visit)[0].id;
        const SAYS: &str = "does not show which way the palms face in the internally rotated reach before the stretch";
        let result = format!("/visits/{visit}/result");
        assert!(!page.get(&result).await.text().contains(SAYS));
        assert_eq!(exported(&page, visit, "READ-FIRST.txt").await, None);

        page.post(&format!("/reaches/{id}/palms"), &[("palms", "unclear")]).await.location();
        assert_eq!(page.app.records.reach(id).unwrap().palms, Some(Palms::Unclear));
        let shown = page.get(&result).await.text();
        assert!(shown.contains(SAYS) && shown.contains("First settle with whoever filmed"), "{shown}");
        assert!(page.get(&format!("/visits/{visit}/report.html")).await.text().contains(SAYS));
        let sheet = page.get(&format!("/visits/{visit}")).await.text();
        assert!(sheet.contains("could not be seen") && sheet.contains(&format!("/reaches/{id}/palms")), "{sheet}");
        let note = exported(&page, visit, "READ-FIRST.txt").await.unwrap();
        assert!(note.contains(SAYS), "{note}");

        page.post(&format!("/reaches/{id}/palms"), &[("palms", "down")]).await.location();
        assert!(!page.get(&result).await.text().contains(SAYS));
    });
}

#[test]
fn the_palms_page_repeats_the_answer_and_that_the_clip_is_damaged() {
    wait_for(async {
        let page = Page::new();
        let visit = page.visit("K8").await;
        let whole = demo_clip("before-internal.mp4");
        let palms = page.upload(visit, &BEFORE_INTERNAL, "clip.mp4", &whole[..whole.len() / 2]).await.location();
        let checked = |text: &str, value: &str| text.contains(&format!("value=\"{value}\" required checked"));
        let shown = page.get(&palms).await.text();
        assert!(shown.contains("The clip is damaged after") && !shown.contains(" checked"), "{shown}");
        // contrary to the cell: it stays to be seen until it is settled
        page.post(&palms, &[("palms", "up")]).await;
        let shown = page.get(&palms).await.text();
        assert!(checked(&shown, "up") && shown.contains("does not fit the place of this clip"), "{shown}");
        page.post(&palms, &[("palms", "down")]).await.location();
        let shown = page.get(&palms).await.text();
        assert!(checked(&shown, "down") && !checked(&shown, "up"), "{shown}");
    });
}

#[test]
fn after_too_much_pain_nothing_comes_before_stopping() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let id = reaches(&page, visit)[0].id;
        page.post(&format!("/reaches/{id}/palms"), &[("palms", "unclear")]).await.location();
        let result = format!("/visits/{visit}/result");
        let order = "First settle with whoever filmed";
        assert!(page.get(&result).await.text().contains(order));
        let marks = page.app.records.marks(id).unwrap();
        let feel = Feel { pain: Some(5.0), ..marks.feel };
        page.app.records.confirm_marks(id, marks.revision, &marks.markings[0], &feel).unwrap();
        let shown = page.get(&result).await.text();
        assert!(shown.contains("It hurt too much: stop here") && !shown.contains(order), "{shown}");
    });
}

#[test]
fn an_export_carries_the_danger_sign_that_a_clinician_overrode() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let mut answers = client("", &["night_pain"]);
        answers.retain(|(name, _)| name.starts_with("sign_"));
        answers.extend([("answered_by", "clinician"), ("reason", "imaged, nothing found: 漢")]);
        page.post("/clients/R07/screening", &answers).await.location();
        let note = exported(&page, visit, "READ-FIRST.txt").await.unwrap();
        for said in ["Pain that wakes you at night?", "A licensed clinician goes on", "imaged, nothing found"] {
            assert!(note.contains(said), "{said}: {note}");
        }
        // what the PDF cannot print is said before it is filed
        let shown = page.get(&format!("/visits/{visit}/result")).await.text();
        assert!(shown.contains("has no sign for 漢"), "{shown}");
        // a reason cannot turn the direction of the text around it
        answers.pop();
        answers.push(("reason", "fine\u{202e}dnuof"));
        let refused = page.post("/clients/R07/screening", &answers).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.text().contains("U+202E"), "{}", refused.text());
    });
}
