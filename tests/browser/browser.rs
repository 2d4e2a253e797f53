//! One browser on one server, and what a person does with it.

use std::time::{Duration, Instant};

use fantoccini::actions::{
    InputSource as _, KeyAction, KeyActions, MOUSE_BUTTON_LEFT, MouseActions, PointerAction, TouchActions,
};
use fantoccini::elements::Element;
use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, Locator};
use serde_json::{Value, json};

use super::driver::Driver;
use super::server::Server;

/// How long something may take to appear.
const PATIENCE: Duration = Duration::from_secs(20);

/// How long a finger takes to get somewhere.
const GLIDE: Duration = Duration::from_millis(60);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Screen {
    Desktop,
    Phone,
}

impl Screen {
    /// CSS px.
    pub const fn size(self) -> (u32, u32) {
        match self {
            Self::Desktop => (1280, 800),
            Self::Phone => (390, 844),
        }
    }

    pub const fn name(self) -> &'static str {
        match self {
            Self::Desktop => "desktop",
            Self::Phone => "phone",
        }
    }
}

/// A browser with the page open.
pub struct Browser {
    pub client: Client,
    pub server: Server,
    pub screen: Screen,
}

/// Runs a test in a browser of a size on an empty data folder; says "skipped" where there is no browser.
pub fn with_browser<F: Future<Output = Browser>>(screen: Screen, test: impl FnOnce(Browser) -> F) {
    let Some(driver) = Driver::start() else { return };
    let server = Server::start();
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    runtime.block_on(async {
        let browser = Browser { client: driver.open(screen).await, server, screen };
        if screen == Screen::Desktop {
            // the window has a frame around what it shows
            browser.resize(screen.size()).await;
        }
        browser.client.goto(&browser.server.address).await.unwrap();
        let browser = test(browser).await;
        browser.client.close().await.unwrap();
    });
}

impl Browser {
    /// Makes what the window shows so large, CSS px.
    pub async fn resize(&self, (width, height): (u32, u32)) {
        let is_phone = self.screen == Screen::Phone;
        let metrics = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": is_phone });
        self.ask_browser("Emulation.setDeviceMetricsOverride", metrics).await;
    }

    /// Opens a path of the page.
    pub async fn go(&self, path: &str) {
        self.client.goto(&format!("{}{path}", self.server.origin())).await.unwrap();
    }

    /// The path that is shown.
    pub async fn path(&self) -> String {
        self.client.current_url().await.unwrap().path().to_owned()
    }

    pub async fn find(&self, css: &str) -> Element {
        let found = self.client.wait().at_most(PATIENCE).for_element(Locator::Css(css)).await;
        found.unwrap_or_else(|error| panic!("{css}: {error}"))
    }

    pub async fn is_there(&self, css: &str) -> bool {
        !self.client.find_all(Locator::Css(css)).await.unwrap().is_empty()
    }

    pub async fn text(&self, css: &str) -> String {
        self.find(css).await.text().await.unwrap()
    }

    /// Clicks or taps in the middle of an element, after bringing it into sight.
    pub async fn press(&self, css: &str) {
        // what is fixed at an edge of the window may cover what lies there
        let script = "arguments[0].scrollIntoView({ block: 'center', behavior: 'instant' })";
        let element = serde_json::to_value(self.find(css).await).unwrap();
        self.client.execute(script, vec![element]).await.unwrap();
        self.find(css).await.click().await.unwrap_or_else(|error| panic!("{css}: {error}"));
    }

    /// Presses what leads to another page, and waits for that.
    pub async fn follow(&self, css: &str) {
        let left = self.client.current_url().await.unwrap();
        self.press(css).await;
        let began = Instant::now();
        while self.client.current_url().await.unwrap() == left {
            assert!(began.elapsed() < PATIENCE, "{css} leads nowhere from {left}");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        self.until("document.readyState === 'complete'").await;
    }

    /// Presses a button that sends a form, which may answer with the same address.
    pub async fn send(&self, css: &str) {
        self.run("window.isLeft = false").await;
        self.press(css).await;
        self.until("window.isLeft === undefined && document.readyState === 'complete'").await;
    }

    pub async fn type_into(&self, css: &str, text: &str) {
        self.find(css).await.send_keys(text).await.unwrap();
    }

    /// What a script returns.
    pub async fn run(&self, script: &str) -> Value {
        self.client.execute(script, Vec::new()).await.unwrap_or_else(|error| panic!("{script}: {error}"))
    }

    /// Waits until an expression holds.
    pub async fn until(&self, expression: &str) {
        let began = Instant::now();
        // while a page is left, scripts fail
        while !matches!(self.client.execute(&format!("return {expression}"), Vec::new()).await, Ok(Value::Bool(true))) {
            assert!(began.elapsed() < PATIENCE, "not so in time: {expression}");
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    }

    /// The status and the first bytes, as text, of what an address answers to this browser.
    pub async fn fetch(&self, path: &str) -> (u64, String) {
        let script = "const [path, done] = arguments;
            fetch(path).then(async (answer) => done([answer.status, (await answer.text())]), (error) => done([0, String(error)]))";
        let answer = self.client.execute_async(script, vec![json!(path)]).await.unwrap();
        (answer[0].as_u64().unwrap(), answer[1].as_str().unwrap().to_owned())
    }

    /// Presses keys one after the other, held while `held`.
    pub async fn keys(&self, held: &[char], keys: &[char]) {
        let mut actions = KeyActions::new("keys".to_owned());
        for value in held {
            actions = actions.then(KeyAction::Down { value: *value });
        }
        for value in keys {
            actions = actions.then(KeyAction::Down { value: *value }).then(KeyAction::Up { value: *value });
        }
        for value in held {
            actions = actions.then(KeyAction::Up { value: *value });
        }
        self.client.perform_actions(actions).await.unwrap();
    }

    /// Clicks or taps at a point of the window, CSS px.
    pub async fn point_at(&self, [x, y]: [f64; 2]) {
        self.drag([x, y], [x, y]).await;
    }

    /// Presses at one point of the window and lets go at another.
    pub async fn drag(&self, from: [f64; 2], to: [f64; 2]) {
        let [begin, press, go] = held(from, to);
        self.act(&[begin, press, go, PointerAction::Up { button: MOUSE_BUTTON_LEFT }]).await;
    }

    /// Presses the mouse at one point of the window and goes to another, without letting go.
    pub async fn hold_mouse(&self, from: [f64; 2], to: [f64; 2]) {
        assert_eq!(self.screen, Screen::Desktop, "the driver forgets a finger that is down when its command ends");
        self.act(&held(from, to)).await;
    }

    /// Lets go of the mouse.
    pub async fn let_go(&self) {
        self.act(&[PointerAction::Up { button: MOUSE_BUTTON_LEFT }]).await;
    }

    /// Does what a mouse or a finger does.
    async fn act(&self, steps: &[PointerAction]) {
        let steps = steps.iter().cloned();
        let done = match self.screen {
            Screen::Desktop => {
                let mouse = MouseActions::new("mouse".to_owned());
                self.client.perform_actions(steps.clone().fold(mouse, |mouse, step| mouse.then(step))).await
            }
            Screen::Phone => {
                let finger = TouchActions::new("finger".to_owned());
                self.client.perform_actions(steps.clone().fold(finger, |finger, step| finger.then(step))).await
            }
        };
        done.unwrap_or_else(|error| panic!("{:?}: {error}", steps.collect::<Vec<_>>()));
    }

    /// Two fingers around a point that part from `near` to `far`, CSS px to each side.
    pub async fn pinch(&self, [x, y]: [f64; 2], near: f64, far: f64) {
        let finger = |name: &str, sign: f64| {
            TouchActions::new(name.to_owned())
                .then(PointerAction::MoveTo { duration: None, x: x + sign * near, y })
                .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT })
                .then(PointerAction::MoveTo { duration: Some(4 * GLIDE), x: x + sign * far, y })
                .then(PointerAction::Up { button: MOUSE_BUTTON_LEFT })
        };
        self.client.perform_actions(vec![finger("finger", -1.0), finger("thumb", 1.0)]).await.unwrap();
    }

    /// Asks the browser itself, by its developer's protocol.
    pub async fn ask_browser(&self, method: &'static str, parameters: Value) -> Value {
        self.client.issue_cmd(DevTools { method, parameters }).await.unwrap()
    }
}

fn held(from: [f64; 2], to: [f64; 2]) -> [PointerAction; 3] {
    [
        PointerAction::MoveTo { duration: None, x: from[0], y: from[1] },
        PointerAction::Down { button: MOUSE_BUTTON_LEFT },
        PointerAction::MoveTo { duration: Some(GLIDE), x: to[0], y: to[1] },
    ]
}

/// A command of the developer's protocol, by way of the driver.
#[derive(Debug)]
struct DevTools {
    method: &'static str,
    parameters: Value,
}

impl WebDriverCompatibleCommand for DevTools {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/goog/cdp/execute", session.unwrap_or_default()))
    }

    fn method_and_body(&self, _: &url::Url) -> (axum::http::Method, Option<String>) {
        (axum::http::Method::POST, Some(json!({ "cmd": self.method, "params": self.parameters }).to_string()))
    }
}
