//! Screening alone: the start, the steps, the answer in plain words, and what stops it.

use axum::http::StatusCode;

use super::page::{BEFORE_INTERNAL, Page, client, demo_clip, wait_for};

#[test]
fn a_danger_sign_stops_before_the_first_step() {
    wait_for(async {
        let page = Page::new();
        assert_eq!(page.get("/alone").await.status, StatusCode::OK);
        let refused = page.post("/alone", &[("code", "R07")]).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.text().contains("answer yes or no"), "{}", refused.text());
        let stopped = page.post("/alone", &client("R07", &["night_pain"])).await;
        assert_eq!(stopped.location(), "/clients/R07");
        assert!(page.app.records.visits(1).unwrap().is_empty(), "no visit is begun");
        // nobody is a clinician to themselves
        let own = [("answered_by", "clinician"), ("reason", "it is nothing")];
        let own: Vec<_> =
            client("R09", &["night_pain"]).into_iter().filter(|(name, _)| *name != "answered_by").chain(own).collect();
        assert_eq!(page.post("/alone", &own).await.location(), "/clients/R09");
        assert!(page.app.records.visits(2).unwrap().is_empty(), "no visit is begun");
        let start = page.get("/alone").await.text();
        assert!(start.contains("Do you have any of these?") && !start.contains("A licensed clinician"), "{start}");
        let taken = page.post("/alone", &client("r07", &[])).await;
        assert!(taken.text().contains("r07 is there already. If it is you, open it under Clients"), "{}", taken.text());
    });
}

#[test]
fn the_steps_lead_on_and_back_again() {
    wait_for(async {
        let page = Page::new();
        assert_eq!(page.post("/alone", &client("R07", &[])).await.location(), "/visits/1/alone");
        let steps = page.get("/visits/1/alone").await.text();
        assert!(
            steps.contains("Bring in the clip with the palms down") && steps.contains("id=\"before-internal-file\"")
        );
        assert!(!steps.contains("id=\"before-external-file\""), "one step after the other");
        // a refused file comes back to the steps
        let refused = page.upload(1, &BEFORE_INTERNAL, "a.mp4", b"no clip").await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.text().contains("Step by step"), "{}", refused.text());
        let reach = page.upload(1, &BEFORE_INTERNAL, "a.mp4", &demo_clip("before-internal.mp4")).await.location();
        let reach = reach.strip_suffix("/palms").unwrap().to_owned();
        let steps = page.get("/visits/1/alone").await.text();
        assert!(steps.contains("id=\"before-external-file\"") && !steps.contains("id=\"before-internal-file\""));
        for path in ["/visits/1", &format!("{reach}/mark")] {
            assert!(page.get(path).await.text().contains("href=\"/visits/1/alone\""), "{path}");
        }
        let answer = page.get("/visits/1/alone/result").await.text();
        assert!(answer.contains("There is no answer yet"), "{answer}");
        // a clinician goes on in spite of a sign: the first step says so
        let goes_on = [("answered_by", "clinician"), ("reason", "looked at, an old strain")];
        let goes_on: Vec<_> = client("R07", &["weak_grip"])
            .into_iter()
            .filter(|(name, _)| *name != "answered_by")
            .chain(goes_on)
            .collect();
        page.post("/clients/R07/screening", &goes_on).await.location();
        let steps = page.get("/visits/1/alone").await.text();
        assert!(steps.contains("looked at, an old strain") && !steps.contains("nothing speaks against it"), "{steps}");
        // a sign that comes up on the way
        page.post("/clients/R07/screening", &client("R07", &["fever"])).await.location();
        let steps = page.get("/visits/1/alone").await.text();
        assert!(steps.contains("Do not go on") && !steps.contains("before-external-file"), "{steps}");
    });
}

#[test]
fn the_answer_is_the_call_in_plain_words() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        page.get(&format!("/visits/{visit}/result")).await;
        let answer = page.get(&format!("/visits/{visit}/alone/result")).await.text();
        // the demo is rendered with an outward reach that is lower by some 7 deg, see its truth.json
        for told in [
            "With the palms up you reach less far",
            "It is not a diagnosis",
            "When to see someone",
            "Fail, positive screen",
        ] {
            assert!(answer.contains(told), "{told}: {answer}");
        }
        let reaches = page.app.records.reaches(visit).unwrap();
        let marks = page.app.records.marks(reaches[0].id).unwrap();
        let body = serde_json::json!({ "revision": marks.revision, "repeat": 1, "time_s": marks.markings[0].time_s,
            "points": marks.markings[0].points.iter().map(|(landmark, point)| (landmark.name(), point)).collect::<std::collections::BTreeMap<_, _>>(),
            "pain": 6, "limited_by": "pain", "back_flat": true });
        let put = page.put(&format!("/api/reaches/{}/marks", reaches[0].id), &body).await;
        assert_eq!(put.status, StatusCode::OK, "{}", put.text());
        let answer = page.get(&format!("/visits/{visit}/alone/result")).await.text();
        assert!(
            answer.contains("These two clips can&#39;t be compared")
                || answer.contains("These two clips can't be compared"),
            "{answer}"
        );
        assert!(!answer.contains("film the same two reaches again"), "nobody reaches again after pain: {answer}");
    });
}
