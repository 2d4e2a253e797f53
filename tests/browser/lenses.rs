//! A lens profile from pictures of the board, and the board on the screen.

use serde_json::json;

use super::board_pictures::{poses, write_stills};
use super::browser::{Browser, Screen, with_browser};

#[test]
fn a_lens_profile_on_a_desk() {
    with_browser(Screen::Desktop, lens);
}

#[test]
fn a_lens_profile_on_a_phone() {
    with_browser(Screen::Phone, lens);
}

async fn lens(browser: Browser) -> Browser {
    browser.go("/lenses").await;
    browser.look("lenses-none").await;
    browser.follow("main a.button.main").await;
    browser.look("lens-new").await;
    board(&browser).await;

    browser.go("/lenses/new").await;
    browser.type_into("#field-name", "Test phone, 480p").await;
    let stills = write_stills(browser.server.folder.path(), &poses());
    // one name a line: several files
    browser.type_into("#field-file", &stills[..2].join("\n")).await;
    browser.press("form button.main").await;
    browser.until("document.querySelector('.sending p')?.textContent.includes('expected at least 3')").await;
    browser.look("lens-refused").await;
    browser.type_into("#field-file", &stills[2..].join("\n")).await;
    browser.follow("form button.main").await;
    assert_eq!(browser.path().await, "/lenses/1");
    browser.look("lens").await;
    let (status, profile) = browser.fetch("/lenses/1/profile.json").await;
    assert!(status == 200 && profile.contains("tworeach/camera/1"), "{profile}");
    browser.go("/lenses/1/sheet.html").await;
    browser.picture("lens-sheet").await;
    browser.go("/lenses/1/delete").await;
    browser.look("delete-lens").await;
    browser.go("/lenses").await;
    browser.look("lenses").await;
    if browser.screen == Screen::Desktop {
        browser.resize((360, 640)).await;
        for path in ["/lenses", "/lenses/new", "/lenses/board", "/lenses/1", "/lenses/1/delete"] {
            browser.go(path).await;
            let wide = browser.run("return document.documentElement.scrollWidth").await;
            assert!(wide.as_u64().unwrap() <= 360, "{path} is {wide} px wide");
        }
    }
    browser
}

/// The board fills the screen with sharp squares, of a size that goes with the frame that is fitted to a card.
async fn board(browser: &Browser) {
    browser.go("/lenses/board").await;
    browser.look("board-measure").await;
    // a card of 85.6 by 53.98 mm, which stands upright on a phone, on 428 or 270 px: 0.2 mm a CSS px
    let width_px = if browser.screen == Screen::Phone { 270 } else { 428 };
    let slide = "const slider = document.querySelector('#card-width'); slider.dispatchEvent(new Event('input'));";
    browser.run(&slide.replace("slider.disp", &format!("slider.value = {width_px}; slider.disp"))).await;
    browser.press("button.show").await;
    browser.until("!document.querySelector('.shown').hidden && document.querySelector('canvas').width > 0").await;
    browser.until("document.querySelector('.shown .squares').textContent.length > 0").await;
    browser.picture("board-shown").await;
    let measured = browser
        .run(
            "const canvas = document.querySelector('canvas'), pen = canvas.getContext('2d');
            const row = pen.getImageData(0, Math.round(canvas.height / 2), canvas.width, 1).data;
            const edges = [];
            for (let x = 1; x < canvas.width; x += 1) if (Math.abs(row[4 * x] - row[4 * x - 4]) > 100) edges.push(x);
            const widths = new Set(edges.slice(1).map((edge, index) => edge - edges[index]));
            return { squares: edges.length, widths: [...widths], ratio: devicePixelRatio,
                told: document.querySelector('.shown .squares').textContent }",
        )
        .await;
    // ten squares across have eleven edges, but for those at the ends that are white on white
    assert!((10..=11).contains(&measured["squares"].as_u64().unwrap()), "{measured}");
    assert_eq!(measured["widths"].as_array().unwrap().len(), 1, "all squares are alike: {measured}");
    let width = measured["widths"][0].as_f64().unwrap();
    let expected_mm = 0.2 * width / measured["ratio"].as_f64().unwrap();
    assert_eq!(measured["told"], json!(format!("Squares of {expected_mm:.1} mm")));
    browser.press("button.back").await;
    browser.until("document.querySelector('.shown').hidden").await;
}
