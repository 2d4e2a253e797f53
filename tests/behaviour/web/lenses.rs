//! Lens profiles on the page: made from what is sent, looked at, chosen for a visit, deleted.

use std::fs;

use axum::http::{StatusCode, header};
use tworeach::camera::parse_profile;

use super::page::{Answer, Page, demo_clip, wait_for};
use crate::board_pictures::{FOCAL_PX, poses, write_stills};

const FIELDS: [(&str, &str); 4] = [("name", "test phone"), ("square_mm", "25"), ("cols", "9"), ("rows", "6")];

/// Sends pictures of the board, and what they are of.
async fn send_board(page: &Page, count: usize) -> Answer {
    let folder = tempfile::tempdir().unwrap();
    let stills: Vec<Vec<u8>> =
        write_stills(folder.path(), &poses()[..count]).iter().map(|path| fs::read(path).unwrap()).collect();
    let files: Vec<(&str, &[u8])> = stills.iter().map(|still| ("../../still.png", still.as_slice())).collect();
    page.upload_to("/lenses", &FIELDS, &files).await
}

#[test]
fn pictures_of_the_board_give_a_profile_that_a_visit_is_measured_with() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let answer = send_board(&page, 12).await;
        assert_eq!(answer.location(), "/lenses/1");
        let shown = page.get("/lenses/1").await.text();
        for words in ["test phone", "640\u{a0}×\u{a0}480", "0.0"] {
            assert!(shown.contains(words), "{words}: {shown}");
        }
        let saved = page.get("/lenses/1/profile.json").await;
        let lens = parse_profile(&saved.text()).unwrap().lens;
        // within what it states of itself, as on the command line
        assert!((lens.fx - FOCAL_PX).abs() < 3.5 * lens.parameter_u()[0], "{}", lens.fx);
        let sheet = page.get("/lenses/1/sheet.html").await;
        assert!(sheet.text().contains("Lens calibration: test phone") && sheet.text().contains("file 1"));
        assert!(sheet.headers[header::CONTENT_SECURITY_POLICY].to_str().unwrap().contains("sandbox"));

        let settings = |lens: &'static str| [("margin_deg", "3"), ("lens", lens)];
        // it does not serve clips of another shape
        let refused = page.post(&format!("/visits/{visit}/settings"), &settings("1")).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.text().contains("aspect"), "{}", refused.text());
        let empty = page.post("/clients/R07/visits", &[]).await.location();
        let empty: i64 = empty.strip_prefix("/visits/").unwrap().parse().unwrap();
        page.post(&format!("/visits/{empty}/settings"), &settings("1")).await.location();
        assert_eq!(page.app.records.visit(empty).unwrap().settings.profile, Some(saved.text()));
        assert!(page.get(&format!("/visits/{empty}")).await.text().contains("test phone"));

        // the visit keeps its copy
        assert_eq!(page.post("/lenses/1/delete", &[]).await.location(), "/lenses");
        assert!(page.app.records.lenses().unwrap().is_empty());
        assert!(page.app.records.visit(empty).unwrap().settings.profile.is_some());
        let gone = page.post(&format!("/visits/{empty}/settings"), &settings("1")).await;
        assert_eq!(gone.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(gone.text().contains("this lens profile is gone"), "{}", gone.text());
        assert_eq!(page.get("/lenses/1").await.status, StatusCode::NOT_FOUND);
    });
}

#[test]
fn what_gives_no_lens_is_refused_in_a_sentence_without_temporary_names() {
    wait_for(async {
        let page = Page::new();
        let before = page.everything();
        let clip = demo_clip("before-internal.mp4");
        let refusals: [(Answer, &str); 5] = [
            (send_board(&page, 2).await, "the board was found in 2 views"),
            (page.upload_to("/lenses", &FIELDS, &[("a.mp4", &clip)]).await, "expected at least 3"),
            (page.upload_to("/lenses", &FIELDS, &[("a.png", b"no picture")]).await, "this file"),
            (page.upload_to("/lenses", &FIELDS, &[]).await, "choose a clip or pictures"),
            (page.upload_to("/lenses", &FIELDS[2..], &[("a.png", b"x")]).await, "say how large a square is"),
        ];
        for (answer, words) in refusals {
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{words}");
            assert!(answer.text().contains(words), "{words}: {}", answer.text());
            assert!(!answer.text().contains("upload-") && !answer.text().contains("incoming"), "{}", answer.text());
        }
        for (field, value) in [("cols", "2"), ("rows", "5.5"), ("cols", "41"), ("square_mm", "-25")] {
            let mut fields = FIELDS.to_vec();
            fields.retain(|(name, _)| *name != field);
            fields.push((field, value));
            let answer = page.upload_to("/lenses", &fields, &[("a.png", b"x")]).await;
            assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{field} {value}");
            assert!(answer.text().contains(&format!("id=\"error-{field}\"")), "{field} {value}");
        }
        let many: Vec<(&str, &[u8])> = vec![("a.png", b"x"); 61];
        let answer = page.upload_to("/lenses", &FIELDS, &many).await;
        assert!(answer.text().contains("more than 60 times"), "{}", answer.text());
        assert_eq!(page.everything(), before, "nothing is left");
    });
}

#[test]
fn the_board_comes_on_paper_and_on_screens() {
    wait_for(async {
        let page = Page::new();
        for path in ["/lenses/board.pdf", "/lenses/board.pdf?paper=letter"] {
            assert!(page.get(path).await.body.starts_with(b"%PDF"), "{path}");
        }
        assert_eq!(page.get("/lenses/board.pdf?paper=a3").await.status, StatusCode::UNPROCESSABLE_ENTITY);
        let file = page.get("/lenses/board.html").await;
        assert!(file.headers[header::CONTENT_DISPOSITION].to_str().unwrap().starts_with("attachment"));
        assert!(file.text().contains("<canvas") && file.text().contains("fillRect"));
        // served from here the page is in parts, as its policy wants it
        let shown = page.get("/lenses/board").await.text();
        assert!(shown.contains("/assets/board.js") && !shown.contains("<style"), "{shown}");
        for asset in ["/assets/board.js", "/assets/board.css"] {
            assert_eq!(page.get(asset).await.status, StatusCode::OK, "{asset}");
        }
    });
}
