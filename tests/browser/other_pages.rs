//! Pages beside the job: the guide, the demo case, what is shown in place of a page, and all of them on the narrowest screen.

use super::browser::{Browser, Screen, with_browser};

#[test]
fn guide_demo_and_errors_on_a_desk() {
    with_browser(Screen::Desktop, other_pages);
}

#[test]
fn guide_demo_and_errors_on_a_phone() {
    with_browser(Screen::Phone, other_pages);
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
    if browser.screen == Screen::Desktop {
        narrow(&browser).await;
    }
    browser
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
        "/reaches/1/palms",
        "/reaches/1/mark",
        "/reaches/1/delete",
    ] {
        browser.go(path).await;
        let wide = browser.run("return document.documentElement.scrollWidth").await;
        assert!(wide.as_u64().unwrap() <= 360, "{path} is {wide} px wide");
    }
}
