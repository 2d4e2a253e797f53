//! Pain of the log that stops the plan: how it is taken back, and how it is not.

use super::case::{case, entry, fields_of, is_refused, send_file, today};
use super::page::wait_for;

#[test]
fn severe_pain_is_taken_back_in_so_many_words() {
    wait_for(async {
        let page = case(21).await;
        let day = today(&page).plus(-3).to_string();
        page.post("/clients/R07/log", &entry(&day, "flexors", "1 kg", "9", "0")).await.location();
        let is_stopped = "severe pain during a session was noted on";
        assert!(page.get("/clients/R07/plan").await.text().contains(is_stopped));
        let before = page.everything();
        // neither deleted, nor corrected without a word, nor replaced by a file
        let deleted = page.post("/clients/R07/log/1/delete", &[]).await;
        is_refused(&page, &before, &deleted, "pain that stops the plan until a licensed clinician has looked");
        let out = page.get("/clients/R07/log.csv").await.text();
        let file = out.replace(",9,0,", ",0,0,");
        assert_ne!(file, out);
        let brought = send_file(&page, "/clients/R07/log/file", "log.csv", file.as_bytes()).await;
        is_refused(&page, &before, &brought, "was entered with pain that stops the plan, and the file has less");
        let filled = fields_of(&page.get("/clients/R07/log/1").await.text());
        assert!(!filled.contains_key("mistaken"), "{filled:?}");
        let send = async |was: &str, changes: &[(&str, &str)]| {
            let mut fields = entry(&day, "flexors", "1 kg", "9", "0");
            fields.push(("was", was));
            fields.retain(|(name, _)| changes.iter().all(|(changed, _)| changed != name));
            fields.extend(changes);
            page.post("/clients/R07/log/1", &fields).await
        };
        let was = filled["was"].clone();
        let refused = send(&was, &[("pain_during", "2")]).await;
        let told =
            "Pain 9 of 10 during the session was entered, which stops the plan until a licensed clinician has looked.";
        is_refused(&page, &before, &refused, told);
        // another sentence than the one that is told is no agreement
        let other = send(&was, &[("pain_during", "2"), ("mistaken", "yes")]).await;
        is_refused(&page, &before, &other, told);
        // what tells of as much pain needs none
        send(&was, &[("pain_during", "9"), ("note", "sharp")]).await.location();
        assert!(page.get("/clients/R07/plan").await.text().contains(is_stopped));
        let was = fields_of(&page.get("/clients/R07/log/1").await.text()).remove("was").unwrap();
        send(&was, &[("pain_during", "2"), ("note", "sharp"), ("mistaken", told)]).await.location();
        assert!(!page.get("/clients/R07/plan").await.text().contains(is_stopped));
        let log = page.get("/clients/R07/log").await.text();
        assert!(log.contains("sharp (First entered by mistake: pain 9 during.)"), "{log}");
        // now it is an entry as others
        page.post("/clients/R07/log/1/delete", &[]).await.location();
    });
}
