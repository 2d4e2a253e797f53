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
        assert!(refused.text().contains(&format!("name=\"mistaken\" value=\"{told}\"")), "{}", refused.text());
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

#[test]
fn a_morning_that_was_answered_meanwhile_is_told_anew_where_it_was_worse() {
    wait_for(async {
        let page = case(21).await;
        let day = today(&page).plus(-2).to_string();
        page.post("/clients/R07/log", &entry(&day, "flexors", "1 kg", "0", "")).await.location();
        let told = async |pain: &str| page.post("/clients/R07/log/morning", &[("day", &day), ("pain", pain)]).await;
        told("0").await.location();
        told("8").await.location();
        assert!(page.get("/clients/R07/log.csv").await.text().contains(",0,8,"));
        assert!(
            page.get("/clients/R07/plan")
                .await
                .text()
                .contains("strong pain on the morning after a session was noted on")
        );
        let before = page.everything();
        is_refused(&page, &before, &told("1").await, "more pain is noted for that morning already");
    });
}

#[test]
fn an_older_form_of_a_visit_undoes_no_finding_unseen() {
    wait_for(async {
        let page = case(21).await;
        let on = today(&page).plus(-21).to_string();
        let path = "/clients/R07/intake/visit";
        let filled = fields_of(&page.get(&format!("{path}?on={on}")).await.text());
        let send = async |state: &str, nerve: &str| {
            let fields = [
                ("was", on.as_str()),
                ("was_state", state),
                ("on", on.as_str()),
                ("pain_at_rest", "1"),
                ("pain_in_use", "5"),
                ("pain_on_pressing", "5"),
                ("ulnar_nerve", nerve),
            ];
            page.post(path, &fields).await
        };
        send(&filled["was_state"], "tingling").await.location();
        let is_stopped = "a sign of the ulnar nerve was noted";
        assert!(page.get("/clients/R07/plan").await.text().contains(is_stopped));
        let before = page.everything();
        is_refused(
            &page,
            &before,
            &send(&filled["was_state"], "").await,
            "this visit was corrected since this form was opened",
        );
        assert!(page.get("/clients/R07/plan").await.text().contains(is_stopped));
    });
}
