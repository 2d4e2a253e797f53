//! A clip followed from its marks, and the arm's curve as the time control: by mouse, finger and keys.

use std::time::Duration;

use serde_json::{Value, json};

use super::browser::{Browser, Screen, with_browser};

/// Keys as WebDriver writes them.
const TAB: char = '\u{e004}';
const RIGHT: char = '\u{e014}';
const LEFT: char = '\u{e012}';
const PAGE_UP: char = '\u{e00e}';
const HOME: char = '\u{e011}';
const END: char = '\u{e010}';

/// A target is at least so large for a mouse and for a finger, CSS px (WCAG 2.2, 2.5.8 and 2.5.5).
const TARGET_PX: [f64; 2] = [24.0, 44.0];

#[test]
fn the_curve_moves_through_the_clip_with_mouse_and_keys() {
    with_browser(Screen::Desktop, curve);
}

#[test]
fn the_curve_moves_through_the_clip_by_touch() {
    with_browser(Screen::Phone, curve);
}

async fn curve(browser: Browser) -> Browser {
    browser.send("form[action='/demo'] button").await;
    browser.go("/reaches/1/mark").await;
    browser.wait_for_frame().await;
    browser.until("!document.getElementById('follow-start').hidden").await;
    browser.look("curve-offered").await;
    let tools = "document.querySelector('.tools').getBoundingClientRect().top + scrollY";
    let before = browser.run(&format!("return {tools}")).await;
    browser.press("#follow-start").await;
    browser
        .until(
            "!document.getElementById('follow-stop').hidden || document.getElementById('mark').dataset.curve === 'yes'",
        )
        .await;
    browser.picture("curve-following").await;
    browser.until("document.getElementById('mark').dataset.curve === 'yes'").await;
    browser.until("document.getElementById('follow').hidden").await;
    assert_eq!(browser.run(&format!("return {tools}")).await, before, "what lies below jumps when the curve comes");
    assert_eq!(browser.run("return document.getElementById('scrub').offsetParent").await, Value::Null);
    browser.look("curve").await;
    targets(&browser).await;
    frames_along(&browser).await;
    browser.glance("curve-in-sight").await;
    pointer(&browser).await;
    keys(&browser).await;
    older(&browser).await;
    blind(&browser).await;
    browser
}

async fn targets(browser: &Browser) {
    let size = browser
        .run(
            "return ['curve', 'frame-before', 'frame-after'].map((id) => {
               const { width, height } = document.getElementById(id).getBoundingClientRect();
               return Math.min(width, height);
             })",
        )
        .await;
    let least = TARGET_PX[usize::from(browser.screen == Screen::Phone)];
    for side in size.as_array().unwrap() {
        assert!(side.as_f64().unwrap() >= least, "{size} is smaller than {least}");
    }
}

/// Where the curve has a frame, in px of the window, and how many frames there are. The cursor tells it: it is drawn on the frame
/// that is shown.
async fn frames_along(browser: &Browser) -> (f64, f64, f64, i64) {
    let script = "document.getElementById('curve').scrollIntoView({ block: 'center', behavior: 'instant' });
        const box = document.getElementById('curve').getBoundingClientRect();
        const axis = document.querySelector('#curve path.axis').getBBox();
        return [box.left + axis.x, box.left + axis.x + axis.width, box.top + box.height / 2,
          Number(document.getElementById('curve').getAttribute('aria-valuemax'))]";
    let found = browser.run(script).await;
    let number = |place: usize| found[place].as_f64().unwrap();
    (number(0), number(1), number(2), found[3].as_i64().unwrap())
}

async fn shown(browser: &Browser) -> i64 {
    browser.run("return Number(document.getElementById('curve').getAttribute('aria-valuenow'))").await.as_i64().unwrap()
}

/// Dragging goes through the clip, and the frame where the hand lets go is shown in full.
async fn pointer(browser: &Browser) {
    let (left, right, y, last) = frames_along(browser).await;
    // the demo's frames are evenly spaced, so that the frame's share of the axis is its number's
    #[allow(clippy::cast_precision_loss, reason = "a clip of some hundred frames")]
    let x = |frame: i64| left + (right - left) * frame as f64 / last as f64;
    let (from, to) = (last / 4, last * 3 / 4);
    match browser.screen {
        Screen::Desktop => {
            browser.hold_mouse([x(from), y], [x(to), y]).await;
            browser.until(&format!("document.getElementById('curve').getAttribute('aria-valuenow') === '{to}'")).await;
            browser.glance("curve-dragging").await;
            browser.let_go().await;
        }
        Screen::Phone => {
            let at_first = shown(browser).await;
            // a finger that scrolls moves nothing
            browser.drag([x(from), y], [x(from), y - 60.0]).await;
            assert_eq!(shown(browser).await, at_first, "scrolling over the curve moves through the clip");
            // a page that was flung goes on for a while
            let scrolled = async || browser.run("return scrollY").await;
            let mut last = Value::Null;
            while last != scrolled().await {
                last = scrolled().await;
                tokio::time::sleep(Duration::from_millis(300)).await;
            }
            let (_, _, y, _) = frames_along(browser).await;
            browser.drag([x(from), y], [x(to), y]).await;
        }
    }
    browser.until(&format!("document.getElementById('curve').getAttribute('aria-valuenow') === '{to}'")).await;
    browser.wait_for_frame().await;
    assert_eq!(browser.run("return document.getElementById('mark').dataset.shown").await, json!(to.to_string()));
    browser.point_at([x(from), y]).await;
    browser.until(&format!("document.getElementById('curve').getAttribute('aria-valuenow') === '{from}'")).await;
    browser.wait_for_frame().await;
    // past the ends it stays there
    browser.drag([x(from), y], [left - 20.0, y]).await;
    browser.until("document.getElementById('curve').getAttribute('aria-valuenow') === '0'").await;
    browser.wait_for_frame().await;
}

async fn keys(browser: &Browser) {
    let last = frames_along(browser).await.3;
    for _ in 0..80 {
        if browser.run("return document.activeElement.id === 'curve'").await == json!(true) {
            break;
        }
        browser.keys(&[], &[TAB]).await;
    }
    for (key, expected) in [(END, last), (LEFT, last - 1), (HOME, 0), (LEFT, 0), (RIGHT, 1), (PAGE_UP, 11), (RIGHT, 12)]
    {
        browser.keys(&[], &[key]).await;
        assert_eq!(shown(browser).await, expected, "after {key:?}");
    }
    browser.wait_for_frame().await;
    let said = browser.run("return document.getElementById('curve').getAttribute('aria-valuetext')").await;
    let said = said.as_str().unwrap();
    assert!(said.contains(" s, frame 13 of ") && said.contains("° on the picture"), "{said}");
}

/// A mark that is moved makes what was followed older, until it is put back or the clip followed anew.
async fn older(browser: &Browser) {
    browser.press("[data-landmark=right_hip]").await;
    browser.press("#nudge-up").await;
    browser.until("!document.getElementById('follow-start').hidden").await;
    browser.until_saved().await;
    assert!(browser.text("#follow-what").await.contains("moved since"));
    browser.look("curve-older").await;
    browser.press("#undo").await;
    browser.until("document.getElementById('follow').hidden").await;
    browser.press("#nudge-up").await;
    browser.until("!document.getElementById('follow-start').hidden").await;
    browser.press("#follow-start").await;
    browser.until("document.getElementById('follow').hidden").await;
    browser.until("document.getElementById('say').textContent !== ''").await;
    browser.client.refresh().await.unwrap();
    browser.wait_for_frame().await;
    assert_eq!(browser.run("return document.getElementById('mark').dataset.curve").await, json!("yes"), "it is kept");
    assert_eq!(browser.run("return document.getElementById('follow').hidden").await, json!(true));
}

/// Marking again is done without the numbers: the slider stays.
async fn blind(browser: &Browser) {
    browser.go("/reaches/1/mark?repeat=2").await;
    browser.wait_for_frame().await;
    assert!(!browser.is_there("#curve").await);
    assert!(browser.find("#scrub").await.is_displayed().await.unwrap());
}
