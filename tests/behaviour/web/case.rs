//! A case over weeks on the page: intake, plan, log, and what each refuses.

use axum::body::Body;
use axum::http::{Method, StatusCode, header};
use tworeach::plan::{Day, Plan, Unit};
use tworeach::records::{AnsweredBy, Answers, DangerSign};

use super::page::{Answer, Page, client, multipart, wait_for};

const BOUNDARY: &str = "multipart/form-data; boundary=what-separates-the-fields";

/// The first questions of a client with a sore right elbow, so many days ago.
fn intake(page: &Page, days_ago: i32) -> Vec<(&'static str, String)> {
    let on = page.app.records.today().unwrap().plus(-days_ago);
    [
        ("affected_side", "right"),
        ("spot_right_flexor_mass", "on"),
        ("provoked_rowing", "on"),
        ("weeks_since_onset", "9"),
        ("sport", "rowing"),
        ("goals", "row ten kilometres\ncarry the boat"),
        ("activity_1", "rowing"),
        ("activity_3", "carrying"),
        ("pain_at_rest", "1"),
        ("pain_in_use", "4"),
        ("pain_on_pressing", "5"),
        ("rating_1", "3"),
        ("rating_3", "6"),
        ("grip_left_kg", "41 42,5"),
        ("grip_right_kg", "33 30 31"),
        ("ulnar_nerve", "clear"),
    ]
    .map(|(name, value)| (name, value.to_owned()))
    .into_iter()
    .chain([("on", on.to_string())])
    .collect()
}

async fn post(page: &Page, path: &str, fields: &[(&str, String)]) -> Answer {
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    page.post(path, &fields).await
}

fn with(fields: &[(&'static str, String)], changes: &[(&'static str, &str)]) -> Vec<(&'static str, String)> {
    let mut changed: Vec<_> =
        fields.iter().filter(|(name, _)| !changes.iter().any(|(other, _)| other == name)).cloned().collect();
    changed.extend(
        changes.iter().filter(|(_, value)| !value.is_empty()).map(|(name, value)| (*name, (*value).to_owned())),
    );
    changed
}

/// A client whose case began so many days ago.
pub(super) async fn case(days_ago: i32) -> Page {
    let page = Page::new();
    page.post("/clients", &client("R07", &[])).await.location();
    let answer = post(&page, "/clients/R07/intake", &intake(&page, days_ago)).await;
    assert_eq!(answer.location(), "/clients/R07/intake");
    page
}

pub(super) async fn send_file(page: &Page, path: &str, name: &str, text: &[u8]) -> Answer {
    let body = Body::from(multipart(&[], &[(name, text)]));
    let request = page.request(Method::POST, path).header(header::CONTENT_TYPE, BOUNDARY).body(body);
    page.send(request.unwrap()).await
}

pub(super) fn today(page: &Page) -> Day {
    page.app.records.today().unwrap()
}

pub(super) fn entry<'a>(
    day: &'a str,
    stage: &'a str,
    load: &'a str,
    pain: &'a str,
    morning: &'a str,
) -> Vec<(&'a str, &'a str)> {
    vec![
        ("day", day),
        ("stage", stage),
        ("done", "yes"),
        ("load", load),
        ("pain_during", pain),
        ("pain_next_morning", morning),
    ]
}

pub(super) fn is_refused(page: &Page, before: &str, answer: &Answer, named: &str) {
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{named}: {}", answer.text());
    assert!(answer.text().contains(named), "{named}: {}", answer.text());
    assert_eq!(page.everything(), before, "{named}: something was changed");
}

#[test]
fn an_intake_is_told_once_and_asked_again_at_every_visit() {
    wait_for(async {
        let page = case(21).await;
        let shown = page.get("/clients/R07/intake").await.text();
        for told in
            ["row ten kilometres; carry the boat", "41 42.5", "Right, muscle of the inner forearm", "rowing, carrying"]
        {
            assert!(shown.contains(told), "{told}: {shown}");
        }
        let again = [("on", today(&page).to_string())]
            .into_iter()
            .chain(["pain_at_rest", "pain_in_use", "pain_on_pressing", "rating_1"].map(|name| (name, "2".to_owned())));
        let again: Vec<(&str, String)> = again.collect();
        post(&page, "/clients/R07/intake/visit", &again).await.location();
        let first = today(&page).plus(-21);
        let form = page.get(&format!("/clients/R07/intake/visit?on={first}")).await.text();
        assert!(form.contains("value=\"33 30 31\"") && form.contains("name=\"was\""), "{form}");
        let kept = page.app.records.intake(1, today(&page)).unwrap().unwrap();
        assert_eq!(kept.visits.len(), 2);
        assert_eq!(kept.visits[1].ratings.get("rowing"), Some(&2));
        // a correction takes the place of its visit, on another day too
        let moved = today(&page).plus(-20).to_string();
        let corrected =
            with(&again, &[("was", first.to_string().as_str()), ("on", moved.as_str()), ("pain_in_use", "6")]);
        post(&page, "/clients/R07/intake/visit", &corrected).await.location();
        let kept = page.app.records.intake(1, today(&page)).unwrap().unwrap();
        assert_eq!((kept.visits.len(), kept.visits[0].pain_in_use), (2, 6));
        assert_eq!(kept.visits[0].on.to_string(), moved);
    });
}

#[test]
fn what_an_intake_cannot_say_is_refused_in_a_sentence() {
    wait_for(async {
        let page = Page::new();
        page.post("/clients", &client("R07", &[])).await.location();
        let before = page.everything();
        let good = intake(&page, 21);
        let tomorrow = today(&page).plus(1).to_string();
        for (change, named) in [
            ([("pain_in_use", "11"), ("", "")], "Pain in use is \"11\", expected a whole number from 0 to 10"),
            ([("pain_at_rest", ""), ("", "")], "Pain at rest: choose or type"),
            ([("grip_left_kg", "-5"), ("", "")], "has \"-5\", expected numbers from 0 to 150 kg"),
            ([("weeks_since_onset", "-1"), ("", "")], "For how many weeks is \"-1\""),
            ([("on", tomorrow.as_str()), ("", "")], "is in the future: today is"),
            ([("on", "2026-02-30"), ("", "")], "\"2026-02-30\" is no day"),
            ([("spot_right_flexor_mass", ""), ("", "")], "there is pain, but no spot"),
            ([("spot_left_shoulder", "on"), ("", "")], "does not go with the right side"),
            ([("affected_side", "left"), ("", "")], "the client is recorded with the right side"),
            ([("activity_3", "rowing"), ("", "")], "Activity 3 is there twice: name each activity once"),
            ([("work", "row\u{200b}er"), ("", "")], "Work holds a character that cannot be seen, U+200B"),
            ([("on", "1900-01-01"), ("", "")], "twenty years ago: a course runs over weeks"),
            ([("rating_2", "4"), ("", "")], "rates an activity that has no name"),
            ([("valgus_stress", "wobbly"), ("", "")], "expected clear, painful or gaps"),
        ] {
            let fields = with(&good, &change);
            let fields: Vec<_> = fields.into_iter().filter(|(name, _)| !name.is_empty()).collect();
            let refused = post(&page, "/clients/R07/intake", &fields).await;
            let is_about_rating = named.contains("rates an activity");
            assert_eq!(
                refused.text().contains("rates an activity"),
                is_about_rating,
                "a fault brings no other: {named}"
            );
            let named = named.replace('"', "&quot;");
            is_refused(&page, &before, &refused, &named);
        }
    });
}

#[test]
fn pain_at_rest_far_above_pain_in_use_is_asked_about() {
    wait_for(async {
        let page = Page::new();
        page.post("/clients", &client("R07", &[])).await.location();
        let before = page.everything();
        let odd = with(&intake(&page, 21), &[("pain_at_rest", "9"), ("pain_in_use", "0")]);
        let asked = post(&page, "/clients/R07/intake", &odd).await;
        is_refused(&page, &before, &asked, "Pain at rest is 9 and pain in use 0. If one of them is a slip");
        let told = fields_of(&asked.text()).remove("rest_above").expect("it can be agreed to");
        // what was agreed to is not what is typed now
        let other = with(&odd, &[("rest_above", told.as_str()), ("pain_at_rest", "8")]);
        is_refused(&page, &before, &post(&page, "/clients/R07/intake", &other).await, "Pain at rest is 8");
        post(&page, "/clients/R07/intake", &with(&odd, &[("rest_above", told.as_str())])).await.location();
        let shown = page.get("/clients/R07/intake").await.text();
        assert!(shown.contains("Pain at rest was well above pain in use"), "{shown}");
    });
}

#[test]
fn ratings_of_an_activity_go_only_when_a_person_says_so() {
    wait_for(async {
        let page = case(21).await;
        let before = page.everything();
        let renamed = with(&intake(&page, 21), &[("activity_1", "sculling")]);
        let refused = post(&page, "/clients/R07/intake/person", &renamed).await;
        let becomes = "\"rowing\" is called \"sculling\" now, and its ratings stay with it.";
        is_refused(&page, &before, &refused, &becomes.replace('"', "&quot;"));
        // what was agreed to is not what is typed now: it is asked again
        let agreed = with(&renamed, &[("ratings", becomes)]);
        let refused = post(&page, "/clients/R07/intake/person", &with(&agreed, &[("activity_3", "")])).await;
        let given_up = "\"carrying\" is given up, and its ratings of all visits are deleted.";
        is_refused(&page, &before, &refused, &given_up.replace('"', "&quot;"));
        post(&page, "/clients/R07/intake/person", &agreed).await.location();
        let ratings = || page.app.records.intake(1, today(&page)).unwrap().unwrap().visits[0].ratings.clone();
        assert_eq!((ratings().get("sculling"), ratings().get("carrying"), ratings().len()), (Some(&3), Some(&6), 2));
        let fewer = with(&renamed, &[("activity_3", ""), ("ratings", given_up)]);
        post(&page, "/clients/R07/intake/person", &fewer).await.location();
        assert_eq!(ratings().keys().collect::<Vec<_>>(), ["sculling"]);
    });
}

#[test]
fn a_second_press_doubles_no_session() {
    wait_for(async {
        let page = case(21).await;
        let on = today(&page).to_string();
        page.post("/clients/R07/log", &entry(&on, "flexors", "", "0", "")).await.location();
        let before = page.everything();
        let again = page.post("/clients/R07/log", &entry(&on, "flexors", "", "0", "")).await;
        is_refused(&page, &before, &again, "is in the log already: correct that entry");
        // what may have to stop the plan is never turned away
        page.post("/clients/R07/log", &entry(&on, "flexors", "", "8", "")).await.location();
        assert!(page.get("/clients/R07/plan").await.text().contains("clinician"));
        let sign = [entry(&on, "flexors", "", "0", ""), vec![("danger_sign", "fever")]].concat();
        page.post("/clients/R07/log", &sign).await.location();
        assert!(page.get("/clients/R07/log").await.text().contains("Do not go on"));
    });
}

#[test]
fn an_older_form_of_an_entry_undoes_no_correction_unseen() {
    wait_for(async {
        let page = case(21).await;
        let on = today(&page).plus(-1).to_string();
        page.post("/clients/R07/log", &entry(&on, "flexors", "", "0", "0")).await.location();
        let form = page.get("/clients/R07/log/1").await.text();
        let was = fields_of(&form).remove("was").unwrap();
        let filled = |pain| [entry(&on, "flexors", "1 kg", pain, "0"), vec![("was", was.as_str())]].concat();
        page.post("/clients/R07/log/1", &filled("4")).await.location();
        let before = page.everything();
        let stale = page.post("/clients/R07/log/1", &filled("0")).await;
        is_refused(&page, &before, &stale, "was corrected since this form was opened");
    });
}

#[test]
fn an_address_that_only_takes_something_leads_back_when_it_is_opened() {
    wait_for(async {
        let page = case(21).await;
        for (path, above) in [
            ("/clients/R07/plan/file", "/clients/R07/plan"),
            ("/clients/R07/log/morning", "/clients/R07/log"),
            ("/clients/R07/visits", "/clients/R07"),
            ("/clients", "/"),
        ] {
            assert_eq!(page.get(path).await.location(), above);
        }
    });
}

#[test]
fn a_log_leads_to_the_next_dose_and_says_why() {
    wait_for(async {
        let page = case(21).await;
        let shown = page.get("/clients/R07/log").await.text();
        assert!(shown.contains("Wrist flexors") && shown.contains("Start, because"), "{shown}");
        // two good sessions a stage are what the default plan asks for before a rise
        for days_ago in [6, 4] {
            let day = today(&page).plus(-days_ago).to_string();
            page.post("/clients/R07/log", &entry(&day, "flexors", "1 kg", "0", "")).await.location();
            let asked = page.get("/clients/R07/log").await.text();
            assert!(asked.contains(&format!("value=\"{day}\"")), "the morning after is asked for: {asked}");
            page.post("/clients/R07/log/morning", &[("day", &day), ("pain", "0")]).await.location();
        }
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(plan.contains("One step up, because the dose was done in full"), "{plan}");
        // a correction: it hurt after all
        let id = page.app.records.log_entries(1, &Plan::default_plan(Unit::Kg), bounds(&page)).unwrap()[1].id;
        let day = today(&page).plus(-4).to_string();
        let hurt = entry(&day, "flexors", "1 kg", "3", "0");
        page.post(&format!("/clients/R07/log/{id}"), &hurt).await.location();
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(!plan.contains("One step up, because the dose was done in full"), "{plan}");
        assert!(plan.contains("it hurt more during the session than the plan takes"), "{plan}");
        page.post(&format!("/clients/R07/log/{id}/delete"), &[]).await.location();
        assert_eq!(page.get(&format!("/clients/R07/log/{id}")).await.status, StatusCode::NOT_FOUND);
    });
}

fn bounds(page: &Page) -> tworeach::plan::LogBounds {
    tworeach::plan::LogBounds { today: today(page), first_visit: None }
}

#[test]
fn what_a_log_cannot_say_is_refused_in_a_sentence() {
    wait_for(async {
        let page = case(21).await;
        let before = page.everything();
        let day = |days: i32| today(&page).plus(days).to_string();
        let (now, tomorrow, early) = (day(0), day(1), day(-22));
        for (fields, named) in [
            (entry(&now, "flexors", "1 kg", "11", ""), "Most pain during it is \"11\", expected a whole number"),
            (entry(&now, "flexors", "-5 kg", "0", ""), "Load is \"-5 kg\", expected a weight above 0"),
            (entry(&now, "flexors", "90 kg", "0", ""), "Load is \"90 kg\""),
            (entry(&tomorrow, "flexors", "1 kg", "0", ""), "in the future"),
            (entry(&early, "flexors", "1 kg", "0", ""), "the day of the first visit"),
            (entry(&now, "knees", "", "0", ""), "What was done is \"knees\""),
            (entry(&now, "flexors", "1 kg", "", ""), "Most pain during it is empty"),
            (entry("yesterday", "flexors", "1 kg", "0", ""), "Day is \"yesterday\""),
        ] {
            for is_form in [false, true] {
                let mut fields = fields.clone();
                fields.extend(is_form.then_some(("form", "entry")));
                let refused = page.post("/clients/R07/log", &fields).await;
                is_refused(&page, &before, &refused, &named.replace('"', "&quot;"));
            }
        }
        let refused = page.post("/clients/R07/log/morning", &[("day", &now), ("pain", "0")]).await;
        is_refused(&page, &before, &refused, "has not come yet");
        // nothing is logged before the intake
        page.post("/clients", &client("K7", &[])).await.location();
        let before = page.everything();
        let refused = page.post("/clients/K7/log", &entry(&now, "flexors", "1 kg", "0", "")).await;
        is_refused(&page, &before, &refused, "The log begins with the intake");
    });
}

#[test]
fn a_log_goes_out_and_comes_back_and_a_bad_one_names_the_line() {
    wait_for(async {
        let page = case(21).await;
        let day = today(&page).plus(-4).to_string();
        page.post("/clients/R07/log", &entry(&day, "flexors", "1 kg", "0", "0")).await.location();
        let out = page.get("/clients/R07/log.csv").await;
        assert!(out.headers[header::CONTENT_TYPE].to_str().unwrap().starts_with("text/csv"));
        let text = out.text();
        let rows = page.everything();
        assert_eq!(
            send_file(&page, "/clients/R07/log/file", "log.csv", text.as_bytes()).await.location(),
            "/clients/R07/log"
        );
        assert_eq!(page.get("/clients/R07/log.csv").await.text(), text, "what goes out comes back the same");
        let count = |all: &str| all.lines().filter(|line| line.starts_with("log_entries:")).count();
        assert_eq!(count(&page.everything()), count(&rows));

        let before = page.everything();
        let bad = text.replace(",0,0,", ",11,0,");
        assert_ne!(bad, text);
        for (file, named) in [
            (bad.as_bytes(), "line 2: "),
            (&b"day,stage\n"[..], "line 1: "),
            (&[0xff, 0xfe, 0x00][..], "not UTF-8"),
            (&b""[..], "choose a file"),
        ] {
            let refused = send_file(&page, "/clients/R07/log/file", "log.csv", file).await;
            is_refused(&page, &before, &refused, named);
        }
        let large = vec![b'a'; 3 << 20];
        let refused = send_file(&page, "/clients/R07/log/file", "log.csv", &large).await;
        assert_eq!(refused.status, StatusCode::PAYLOAD_TOO_LARGE);
        assert_eq!(page.everything(), before);
    });
}

#[test]
fn a_danger_sign_in_the_log_stops_everything() {
    wait_for(async {
        let page = case(21).await;
        let now = today(&page).to_string();
        let mut fields = entry(&now, "cuff", "", "0", "");
        fields.push(("danger_sign", "numb_ring_little_finger"));
        page.post("/clients/R07/log", &fields).await.location();
        for path in ["/clients/R07/log", "/clients/R07/plan"] {
            let shown = page.get(path).await.text();
            assert!(shown.contains("Do not go on") && !shown.contains("Done as proposed"), "{path}: {shown}");
        }
        assert_eq!(page.post("/clients/R07/visits", &[]).await.status, StatusCode::UNPROCESSABLE_ENTITY);
        let before = page.everything();
        let refused = page.post("/clients/R07/log", &entry(&now, "flexors", "1 kg", "0", "")).await;
        is_refused(&page, &before, &refused, "while a danger sign stands open");
        // what was done before may still be told
        let earlier = today(&page).plus(-1).to_string();
        page.post("/clients/R07/log", &entry(&earlier, "flexors", "1 kg", "0", "0")).await.location();
        // a clinician's "no" to all takes the sign back on the page of signs; the plan wants a word on this one all the same
        let clear = Answers { answered_by: AnsweredBy::Clinician, signs: Vec::new(), reason: None };
        page.app.records.add_screening(1, &clear).unwrap();
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(plan.contains("numbness in ring and little finger was noted on"), "{plan}");
        assert!(!page.get("/clients/R07/log").await.text().contains("Done as proposed"));
    });
}

#[test]
fn only_a_clinician_with_a_reason_lets_the_plan_go_on() {
    wait_for(async {
        let page = case(21).await;
        let day = today(&page).plus(-3).to_string();
        // pain of 8 in a session stops the plan by its own law
        page.post("/clients/R07/log", &entry(&day, "flexors", "1 kg", "8", "0")).await.location();
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(plan.contains("severe pain during a session was noted on"), "{plan}");
        let before = page.everything();
        let refused = page.post("/clients/R07/plan/clearance", &[("reason", "looked at")]).await;
        is_refused(&page, &before, &refused, "only a licensed clinician");
        let refused = page.post("/clients/R07/plan/clearance", &[("is_clinician", "on")]).await;
        is_refused(&page, &before, &refused, "write down why");
        let clearance = [("is_clinician", "on"), ("reason", "examined, goes on")];
        page.post("/clients/R07/plan/clearance", &clearance).await.location();
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(
            !plan.contains("severe pain during a session was noted") && plan.contains("examined, goes on"),
            "{plan}"
        );
        // what is entered after that is not answered by it, though it is of an earlier day
        let earlier = today(&page).plus(-4).to_string();
        page.post("/clients/R07/log", &entry(&earlier, "cuff", "", "9", "0")).await.location();
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(plan.contains("severe pain during a session was noted on"), "{plan}");
        // the log says why nothing is due, and what comes first
        let log = page.get("/clients/R07/log").await.text();
        assert!(
            log.contains("Nothing is due today. A clinician should look first") && !log.contains("Rest is part"),
            "{log}"
        );
        // a danger sign is answered where it was asked: a decision on the plan alone is not taken for that
        let sign = [entry(&earlier, "soft_tissue", "", "0", "0"), vec![("danger_sign", "fever")]].concat();
        page.post("/clients/R07/log", &sign).await.location();
        let before = page.everything();
        let refused = page.post("/clients/R07/plan/clearance", &clearance).await;
        is_refused(
            &page,
            &before,
            &refused,
            "nothing was noted, since this alone would not let the plan go on: a danger sign stands open",
        );
    });
}

#[test]
fn a_file_is_not_answered_by_a_clearance_that_came_before_it() {
    wait_for(async {
        let page = case(21).await;
        let day = |days: i32| today(&page).plus(days).to_string();
        page.post("/clients/R07/log", &entry(&day(-9), "flexors", "1 kg", "8", "0")).await.location();
        let clearance = [("is_clinician", "on"), ("reason", "examined, goes on")];
        page.post("/clients/R07/plan/clearance", &clearance).await.location();
        assert!(!page.get("/clients/R07/plan").await.text().contains("See a clinician"));
        // what comes back as it went out stays answered
        let out = page.get("/clients/R07/log.csv").await.text();
        send_file(&page, "/clients/R07/log/file", "log.csv", out.as_bytes()).await.location();
        assert!(!page.get("/clients/R07/plan").await.text().contains("See a clinician"));
        // a row that was not there is news, whenever it says that it was entered
        let row = format!("{day},cuff,yes,,,,,9,0,,{entered},\n", day = day(-6), entered = day(-5));
        send_file(&page, "/clients/R07/log/file", "log.csv", format!("{out}{row}").as_bytes()).await.location();
        assert!(page.get("/clients/R07/plan").await.text().contains("severe pain during a session was noted on"));
    });
}

#[test]
fn a_clinicians_decision_on_a_danger_sign_is_one_on_the_plan() {
    wait_for(async {
        let page = case(21).await;
        let mut fields = entry("", "cuff", "", "0", "0");
        let day = today(&page).plus(-2).to_string();
        fields[0].1 = &day;
        fields.push(("danger_sign", "night_pain"));
        page.post("/clients/R07/log", &fields).await.location();
        let goes_on = Answers {
            answered_by: AnsweredBy::Clinician,
            signs: vec![DangerSign::NightPain],
            reason: Some("looked at".to_owned()),
        };
        page.app.records.add_screening(1, &goes_on).unwrap();
        let plan = page.get("/clients/R07/plan").await.text();
        assert!(!plan.contains("See a clinician, because") && plan.contains("Wrist flexors"), "{plan}");
    });
}

/// Names and values of a form's fields, as a browser would send them back.
pub(super) fn fields_of(form: &str) -> std::collections::BTreeMap<String, String> {
    let attribute = |tag: &str, name: &str| {
        let (_, rest) = tag.split_once(&format!(" {name}=\""))?;
        Some(rest.split('"').next().unwrap().to_owned())
    };
    let inputs = form.split("<input").skip(1).filter_map(|rest| {
        let tag = rest.split('>').next().unwrap();
        Some((attribute(tag, "name")?, attribute(tag, "value").unwrap_or_default()))
    });
    inputs.chain([("pain_rule".to_owned(), "pain_free".to_owned())]).collect()
}

#[test]
fn the_plan_waits_for_the_intake_and_takes_the_screen_from_the_visits() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        assert!(page.get("/clients/R07/plan").await.text().contains("The plan begins with the intake"));
        page.get(&format!("/visits/{visit}/result")).await;
        post(&page, "/clients/R07/intake", &intake(&page, 0)).await.location();
        // the demo's outward reach is lower and a stretch brings it up: the stretch is in the plan
        let shown = page.get("/clients/R07/plan").await.text();
        let stretch = shown.split("id=\"stage-lat_stretch\"").nth(1).unwrap().split("</li>").next().unwrap();
        assert!(stretch.contains("start") && !stretch.contains("has not been made"), "{stretch}");
    });
}

/// Gives the demo's client an earlier visit with the result that it has now, changed by a function.
fn earlier_visit(page: &Page, visit: i64, days_ago: i32, change: impl Fn(&mut serde_json::Value)) {
    let result = page.app.records.result(visit).unwrap().expect("the demo's result is kept");
    let mut result = serde_json::to_value(result).unwrap();
    change(&mut result);
    let database = rusqlite::Connection::open(page.folder.path().join("data/tworeach.sqlite3")).unwrap();
    let day = today(page).plus(-days_ago).to_string();
    let add_visit = "INSERT INTO visits (client, made_on, taped_grips, margin_deg, changes) VALUES (1, ?1, 0, 3, 1)";
    database.execute(add_visit, [day]).unwrap();
    let add_result = "INSERT INTO results (visit, changes, result, made_at) VALUES (last_insert_rowid(), 1, ?1, '')";
    database.execute(add_result, [result.to_string()]).unwrap();
}

#[test]
fn the_course_has_every_screen_and_leaves_out_what_is_not_comparable() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        page.get(&format!("/visits/{visit}/result")).await;
        let of_today =
            page.app.records.result(visit).unwrap().unwrap().comparisons[0].difference_elevation_deg.unwrap();
        // a fortnight ago the outward reach was 10 deg lower still, and a week ago nothing could be told
        earlier_visit(&page, visit, 14, |result| {
            for field in ["value", "lo", "hi"] {
                let deg = &mut result["comparisons"][0]["difference_elevation_deg"][field];
                *deg = (deg.as_f64().unwrap() - 10.0).into();
            }
        });
        earlier_visit(&page, visit, 7, |result| result["comparisons"][0]["call"] = "not_comparable".into());
        let shown = page.get("/clients/R07/course").await.text();
        let degrees = |deg: f64| format!("−{:.1}°", deg.abs());
        for told in [
            "Every screen",
            "right side, affected",
            "One screen was not comparable and is left out.",
            &degrees(of_today.value),
            &degrees(of_today.value - 10.0),
            "+10.0",
        ] {
            assert!(shown.contains(told), "{told}: {shown}");
        }
        assert!(page.get("/clients/R07").await.text().contains("3 screens"));
        // two of them have an interval: u of their difference is root 2 times u, the change counts beyond 1.96 times that
        let least = 1.96 * std::f64::consts::SQRT_2 * of_today.u;
        assert!(least < 10.0, "the demo's marks are better than that");
        assert!(shown.contains(&format!("counts: {least:.1} or more does")), "{least}: {shown}");

        let report = page.get(&format!("/visits/{visit}/report.html")).await.text();
        assert!(report.contains(">Course</h2>") && report.contains("From the first day to the latest"), "no course");
        assert!(page.get(&format!("/visits/{visit}/report.pdf")).await.body.starts_with(b"%PDF"));
    });
}

#[test]
fn a_client_without_a_history_has_no_course_in_the_report() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let report = page.get(&format!("/visits/{visit}/report.html")).await.text();
        assert!(!report.contains(">Course</h2>"));
        page.post("/clients", &client("K7", &[])).await.location();
        assert!(page.get("/clients/K7/course").await.text().contains("Nothing to show yet"));
    });
}
