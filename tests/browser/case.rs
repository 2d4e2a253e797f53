//! A case from the intake to its third week, on a desk and on a phone, and the path of one who screens alone.

use serde_json::json;

use super::browser::{Browser, Screen, with_browser};
use super::job::answer_signs;
use super::marking::hand_marks;
use super::server::demo_file;

#[test]
fn from_intake_to_the_third_week_on_a_desk() {
    with_browser(Screen::Desktop, three_weeks);
}

#[test]
fn from_intake_to_the_third_week_on_a_phone() {
    with_browser(Screen::Phone, three_weeks);
}

#[test]
fn screening_alone_on_a_phone() {
    with_browser(Screen::Phone, alone);
}

async fn three_weeks(browser: Browser) -> Browser {
    // a measured visit, so that the course has a screen
    browser.follow("form[action='/demo'] button").await;
    browser.go("/visits/1/result").await;
    browser.go("/clients/R07").await;
    browser.look("case-client").await;
    intake(&browser).await;
    browser.go("/clients/R07/plan").await;
    browser.look("case-plan").await;
    let day = |days: i64| format!("return new Date(Date.now() - {days} * 864e5).toLocaleDateString('sv-SE')");
    for (days, stage, load) in
        [(20, "flexors", "1 kg"), (18, "flexors", "1 kg"), (16, "flexors", "1 kg"), (3, "cuff", "")]
    {
        let day = browser.run(&day(days)).await;
        catch_up(&browser, day.as_str().unwrap(), stage, load).await;
    }
    let yesterday = browser.run(&day(1)).await;
    catch_up(&browser, yesterday.as_str().unwrap(), "soft_tissue", "").await;
    browser.go("/clients/R07/log").await;
    browser.look("case-log").await;
    // the morning after, and what is due done with one press
    let mornings = count(&browser, ".morning").await;
    assert_eq!(mornings, 3, "the latest three mornings are asked for");
    browser.press(".morning input[name=pain][value='0']").await;
    browser.send(".morning button").await;
    assert_eq!(count(&browser, ".morning").await, 3, "the one before them is asked for next");
    let due = count(&browser, ".due").await;
    assert!(due > 0);
    browser.send(".due button.main").await;
    assert!(count(&browser, ".due").await < due, "what was done is not due any more");
    // another one hurt: the refused entry keeps what was typed, and names the field
    let stage = browser.run("return document.querySelector('.due').id").await;
    let stage = format!("#{}", stage.as_str().unwrap());
    browser.press(&format!("{stage} summary.button")).await;
    browser.send(&format!("{stage} details[open] button.main")).await;
    assert!(browser.text(".errors").await.contains("Most pain during it"), "{}", browser.text(".errors").await);
    browser.look("case-log-refused").await;
    browser.press(&format!("{stage} input[name=pain_during][value='2']")).await;
    browser.send(&format!("{stage} details[open] button.main")).await;
    assert!(!browser.is_there(".errors").await);
    assert!(browser.text(".entries").await.contains("pain 2"));
    browser.follow(".entries li a").await;
    browser.look("case-entry").await;
    change_plan(&browser).await;
    second_visit(&browser).await;
    browser.go("/clients/R07/course").await;
    browser.look("case-course").await;
    assert!(count(&browser, ".charts svg").await >= 4);
    report(&browser).await;
    severe(&browser).await;
    if browser.screen == Screen::Desktop {
        by_keyboard(&browser).await;
        narrow(&browser).await;
    } else {
        fingers(&browser).await;
    }
    browser
}

async fn intake(browser: &Browser) {
    browser.follow(".ways a[href='/clients/R07/intake']").await;
    browser.look("case-intake-new").await;
    // nothing is answered: what is missing is named
    browser.send("main button.main").await;
    assert!(browser.text(".errors").await.contains("Pain in use"));
    browser.look("case-intake-refused").await;
    let first = "return new Date(Date.now() - 21 * 864e5).toLocaleDateString('sv-SE')";
    let first = browser.run(first).await;
    browser.run(&format!("document.querySelector('#field-on').value = {first}")).await;
    // a press on the drawing ticks the box in the list
    browser.press(".spot[data-spot=right_flexor_mass]").await;
    let ticked = browser.run("return document.querySelector('#field-spot_right_flexor_mass').checked").await;
    assert_eq!(ticked, json!(true));
    browser.press("#field-spot_right_inner_elbow_tip").await;
    browser.press("#field-provoked_rowing").await;
    browser.press("#field-provoked_pulling_up").await;
    for (field, text) in [
        ("weeks_since_onset", "9"),
        ("sport", "rowing, masters"),
        ("goals", "row ten kilometres"),
        ("activity_1", "rowing"),
        ("grip_left_kg", "41 42 40"),
        ("grip_right_kg", "33 30 31"),
    ] {
        browser.type_into(&format!("#field-{field}"), text).await;
    }
    for (field, value) in [("pain_at_rest", 1), ("pain_in_use", 5), ("pain_on_pressing", 6), ("rating_1", 3)] {
        browser.press(&format!("#field-{field} input[value='{value}']")).await;
    }
    browser.look("case-intake-filled").await;
    browser.send("main button.main").await;
    assert!(!browser.is_there(".errors").await, "{}", browser.text(".errors").await);
    browser.look("case-intake").await;
}

async fn catch_up(browser: &Browser, day: &str, stage: &str, load: &str) {
    browser.go("/clients/R07/log/new").await;
    browser.run(&format!("document.querySelector('#field-day').value = '{day}'")).await;
    browser.run(&format!("document.querySelector('#field-stage').value = '{stage}'")).await;
    browser.run("document.querySelector('#field-pain_during').value = '0'").await;
    if !load.is_empty() {
        browser.type_into("#field-load", load).await;
    }
    if stage == "cuff" {
        browser.look("case-entry-new").await;
    }
    browser.follow("main button.main").await;
}

async fn change_plan(browser: &Browser) {
    browser.go("/clients/R07/plan/edit").await;
    browser.look("case-plan-edit").await;
    let days = "[id='field-days_between.flexors']";
    browser.run(&format!("document.querySelector(\"{days}\").value = '1'")).await;
    browser.send("main button.main").await;
    assert!(browser.text(".errors").await.contains("consecutive days"));
    browser.look("case-plan-edit-refused").await;
    browser.run(&format!("document.querySelector(\"{days}\").value = '3'")).await;
    browser.follow("main button.main").await;
    browser.look("case-plan-running").await;
}

async fn second_visit(browser: &Browser) {
    browser.go("/clients/R07/intake/visit").await;
    for (field, value) in [("pain_at_rest", 0), ("pain_in_use", 2), ("pain_on_pressing", 3), ("rating_1", 6)] {
        browser.press(&format!("#field-{field} input[value='{value}']")).await;
    }
    browser.type_into("#field-grip_right_kg", "38 39 41").await;
    browser.look("case-visit").await;
    browser.follow("main button.main").await;
}

/// The report has the course, and the PDF is one.
async fn report(browser: &Browser) {
    let (status, html) = browser.fetch("/visits/1/report.html").await;
    assert_eq!(status, 200);
    assert!(html.contains(">Course</h2>") && html.contains("Pain in use"), "the report has no course");
    browser.look_at_report("/visits/1/report.html").await;
    browser.picture("report-course").await;
    browser.go("/clients/R07").await;
    let (status, pdf) = browser.fetch("/visits/1/report.pdf").await;
    assert!(status == 200 && pdf.starts_with("%PDF"));
}

/// Pain that stops the plan, and a clinician who lets it go on.
async fn severe(browser: &Browser) {
    let yesterday = browser.run("return new Date(Date.now() - 864e5).toLocaleDateString('sv-SE')").await;
    browser.go("/clients/R07/log/new").await;
    browser.run(&format!("document.querySelector('#field-day').value = {yesterday}")).await;
    browser.run("document.querySelector('#field-stage').value = 'flexors'").await;
    browser.run("document.querySelector('#field-pain_during').value = '8'").await;
    browser.follow("main button.main").await;
    browser.look("case-log-clinician").await;
    browser.go("/clients/R07/plan").await;
    assert!(browser.text(".caution").await.contains("See a clinician"));
    browser.look("case-plan-clinician").await;
}

/// The drawing's boxes and the scale are reached and set with keys alone.
async fn by_keyboard(browser: &Browser) {
    browser.go("/clients/R07/intake/person").await;
    browser.run("document.querySelector('#field-spot_right_shoulder').focus()").await;
    browser.keys(&[], &[' ']).await;
    assert_eq!(browser.run("return document.querySelector('#field-spot_right_shoulder').checked").await, json!(true));
    browser.go("/clients/R07/intake/visit").await;
    browser.run("document.querySelector('#field-pain_at_rest input').focus()").await;
    // space takes the first, the right arrow goes on to the next
    browser.keys(&[], &[' ', '\u{e014}', '\u{e014}']).await;
    let chosen = browser.run("return document.querySelector('#field-pain_at_rest input:checked').value").await;
    assert_eq!(chosen, json!("2"));
}

const PAGES: [&str; 14] = [
    "/clients/R07",
    "/clients/R07/intake",
    "/clients/R07/intake/person",
    "/clients/R07/intake/visit",
    "/clients/R07/plan",
    "/clients/R07/plan/edit",
    "/clients/R07/log",
    "/clients/R07/log/new",
    "/clients/R07/course",
    "/clients/R07/log/1",
    "/clients/R07/delete",
    "/alone",
    "/visits/1/alone",
    "/visits/1/alone/result",
];

/// Nothing needs scrolling sideways at 360 px.
async fn narrow(browser: &Browser) {
    browser.resize((360, 640)).await;
    for path in PAGES {
        browser.go(path).await;
        let wide = browser.run("return document.documentElement.scrollWidth").await;
        assert!(wide.as_u64().unwrap() <= 360, "{path} is {wide} px wide");
    }
}

/// What is pressed is at least 44 px high for a finger; a link within a sentence is as high as its line.
async fn fingers(browser: &Browser) {
    let small = "return [...document.querySelectorAll('main button, main .button, main summary, main input, main select, main label.choice, \
                 main .scale label, main .actions a, main .ways a')]
        .filter((one) => one.checkVisibility() && one.type !== 'hidden' && !one.closest('.choice input, .scale input') && !one.matches('.scale input, .choice input'))
        .filter((one) => one.getBoundingClientRect().height < 43.5)
        .map((one) => `${one.tagName} ${one.className} ${one.textContent.trim().slice(0, 30)} ${one.getBoundingClientRect().height}`)";
    for path in PAGES {
        browser.go(path).await;
        let found = browser.run(small).await;
        assert_eq!(found, json!([]), "{path}");
    }
}

async fn count(browser: &Browser, css: &str) -> u64 {
    browser.run(&format!("return document.querySelectorAll('{css}').length")).await.as_u64().unwrap()
}

async fn alone(browser: Browser) -> Browser {
    browser.look("alone-offer").await;
    browser.follow("a[href='/alone']").await;
    browser.look("alone-start").await;
    answer_signs(&browser, &[]).await;
    browser.press("input[name=affected_side][value=right]").await;
    browser.type_into("#field-code", "R07").await;
    browser.follow("main button.main").await;
    assert_eq!(browser.path().await, "/visits/1/alone");
    browser.look("alone-clips").await;
    for (clip, palms) in [("before-internal", "down"), ("before-external", "up")] {
        browser.go("/visits/1/alone").await;
        browser.type_into(&format!("#{clip}-file"), demo_file(&format!("{clip}.mp4")).to_str().unwrap()).await;
        browser.follow("li.now form button.main").await;
        browser.press(&format!("input[value={palms}]")).await;
        browser.follow("form:has(fieldset) button.main").await;
    }
    browser.go("/visits/1/alone").await;
    browser.look("alone-marks").await;
    for clip in ["before-internal", "before-external"] {
        browser.follow("li.now a.button.main").await;
        place(&browser, clip).await;
        browser.follow("a[href='/visits/1/alone']").await;
    }
    browser.look("alone-done").await;
    browser.follow("li.now a.button.main").await;
    assert!(browser.text(".answer h2").await.contains("With the palms up you reach less far"));
    browser.look("alone-answer").await;
    browser
}

/// Puts a hand's marks in place as the marking page would send them, and answers its questions.
async fn place(browser: &Browser, clip: &str) {
    browser.wait_for_frame().await;
    let marks = hand_marks(clip, 1);
    let body = json!({ "revision": 0, "repeat": 1, "time_s": marks.time_s, "points": marks.points,
        "pain": 0, "limited_by": "stretch", "back_flat": true });
    let script = format!(
        "const done = arguments[0]; const id = location.pathname.split('/')[2];
         fetch(`/api/reaches/${{id}}/marks`, {{ method: 'PUT', headers: {{ 'Content-Type': 'application/json' }}, body: JSON.stringify({body}) }})
           .then((answer) => done(answer.status))"
    );
    let status = browser.client.execute_async(&script, Vec::new()).await.unwrap();
    assert_eq!(status, json!(200));
}
