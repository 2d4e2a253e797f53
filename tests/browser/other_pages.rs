//! Pages beside the job: the guide, the demo case, what is shown in place of a page, and all of them on the narrowest screen.

use super::browser::{Browser, Screen, with_browser};
use super::job::answer_signs;

#[test]
fn guide_demo_and_errors_on_a_desk() {
    with_browser(Screen::Desktop, other_pages);
}

#[test]
fn guide_demo_and_errors_on_a_phone() {
    with_browser(Screen::Phone, other_pages);
}

#[test]
fn marks_wait_for_a_server_that_is_started_anew() {
    with_browser(Screen::Desktop, started_anew);
}

/// A server that was started anew knows no browser: what was not saved waits until this one is let in again.
async fn started_anew(mut browser: Browser) -> Browser {
    browser.follow("form[action='/demo'] button").await;
    browser.go("/reaches/1/mark").await;
    browser.wait_for_frame().await;
    browser.server.kill();
    browser.press("input[name=pain][value='2']").await;
    browser.until("document.getElementById('saved').dataset.state === 'failed'").await;
    browser.server.start_again();
    browser.until("document.getElementById('saved').textContent.includes('started anew')").await;
    let here = browser.client.window().await.unwrap();
    let other = browser.client.new_window(true).await.unwrap().handle;
    browser.client.switch_to_window(other).await.unwrap();
    browser.client.goto(&browser.server.address).await.unwrap();
    browser.client.switch_to_window(here).await.unwrap();
    browser.until_saved().await;
    assert_eq!(browser.saved(1).await["pain"], 2.0);
    browser
}

async fn other_pages(browser: Browser) -> Browser {
    browser.go("/guide").await;
    browser.look("guide").await;
    browser.go("/no-such-page").await;
    browser.look("error").await;
    browser.go("/").await;
    browser.follow("form[action='/demo'] button").await;
    browser.look("demo-visit").await;
    browser.go("/visits/1/result").await;
    browser.look("demo-result").await;
    browser.go("/").await;
    browser.look("clients").await;
    for (path, name) in [
        ("/clients/R07/facts", "client-facts"),
        ("/reaches/1/facts", "reach-facts"),
        ("/visits/1/delete", "delete-visit"),
    ] {
        browser.go(path).await;
        browser.look(name).await;
    }
    other_calls(&browser).await;
    if browser.screen == Screen::Desktop {
        narrow(&browser).await;
    }
    browser
}

/// What the result says beside a call of positive or negative, and under an open danger sign.
async fn other_calls(browser: &Browser) {
    browser.go("/reaches/1/palms").await;
    browser.press("input[name=palms][value=unclear]").await;
    browser.follow("form button.main").await;
    answer(browser, "input[name=limited_by][value=pain]").await;
    browser.go("/visits/1/result").await;
    assert!(browser.text(".verdict .word").await.contains("Not comparable"));
    browser.look("result-not-comparable").await;
    browser.go("/reaches/1/mark").await;
    answer(browser, "input[name=limited_by][value=stretch]").await;
    // a margin within the interval of the difference leaves the call open
    browser.go("/visits/1").await;
    browser.run("document.querySelector('input[name=margin_deg]').value = '8.5'").await;
    browser.send("form[action='/visits/1/settings'] button").await;
    browser.look("visit-unclear-palms").await;
    browser.go("/visits/1/result").await;
    assert!(browser.text(".verdict .word").await.contains("Inconclusive"));
    browser.look("result-inconclusive").await;
    browser.go("/clients/R07/screening").await;
    answer_signs(browser, &["night_pain"]).await;
    browser.press("input[name=answered_by][value=client]").await;
    browser.follow("main button.main").await;
    for (path, name) in [("/visits/1", "visit-stopped"), ("/visits/1/result", "result-stopped")] {
        browser.go(path).await;
        browser.look(name).await;
        // the retest is open there, and nothing may be filmed to settle it
        assert!(!browser.text("main").await.contains("another raise"), "{name} orders to film");
    }
}

/// Answers a question of the marking page, and waits until that is saved.
async fn answer(browser: &Browser, css: &str) {
    // before its script is ready the page hears no answer
    browser.wait_for_frame().await;
    browser.press(css).await;
    browser.until("document.querySelector('#saved').textContent.includes('Saved')").await;
}

/// Nothing needs scrolling sideways at 360 px.
async fn narrow(browser: &Browser) {
    browser.resize((360, 640)).await;
    for path in [
        "/",
        "/guide",
        "/clients/new",
        "/clients/R07",
        "/clients/R07/screening",
        "/clients/R07/delete",
        "/visits/1",
        "/visits/1/result",
        "/visits/1/delete",
        "/clients/R07/facts",
        "/reaches/1/facts",
        "/reaches/1/palms",
        "/reaches/1/mark",
        "/reaches/1/delete",
    ] {
        browser.go(path).await;
        let wide = browser.run("return document.documentElement.scrollWidth").await;
        assert!(wide.as_u64().unwrap() <= 360, "{path} is {wide} px wide");
    }
}
