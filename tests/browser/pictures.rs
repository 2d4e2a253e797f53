//! The pictures of a visit compared after marks are saved: what the marking page says of it, and that nothing jumps meanwhile.

use serde_json::Value;

use super::browser::{Browser, Screen, with_browser};

#[test]
fn numbers_sharpen_in_their_place_once_the_pictures_are_compared() {
    with_browser(Screen::Desktop, compared);
}

#[test]
fn numbers_sharpen_in_their_place_on_a_phone() {
    with_browser(Screen::Phone, compared);
}

async fn compared(browser: Browser) -> Browser {
    browser.send("form[action='/demo'] button").await;
    browser.go("/reaches/1/mark").await;
    browser.wait_for_frame().await;
    let says = |words: &str| format!("document.getElementById('pictures').textContent === '{words}'");
    browser.until(&says("Pictures compared")).await;
    browser.look("pictures-compared").await;
    let said = "return document.getElementById('difference-interval').textContent";
    let height = "return document.querySelector('.live').getBoundingClientRect().height";
    let (sharp, before): (Value, Value) = (browser.run(said).await, browser.run(height).await);
    browser.press("[data-landmark=right_hip]").await;
    browser.press("#nudge-up").await;
    browser.until(&says("Comparing the pictures…")).await;
    let alone = browser.run(said).await;
    assert_ne!(alone, sharp, "the marks alone do not tell as much");
    assert_eq!(browser.run(height).await, before, "what lies below jumps");
    browser.glance("pictures-comparing").await;
    browser.until(&says("Pictures compared")).await;
    assert_ne!(browser.run(said).await, alone);
    assert_eq!(browser.run(height).await, before, "what lies below jumps");
    // whoever hears the page hears of it once it is done
    browser.until("document.getElementById('say').textContent.startsWith('Pictures compared. Elevation')").await;
    browser
}
