//! Chromium's driver as a child process, and sessions on it.

use std::io::{BufRead as _, BufReader};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use fantoccini::wd::{Capabilities, TimeoutConfiguration};
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::json;

use super::browser::Screen;

/// Longer than the slowest page under load; a wait that takes it has failed.
const TIMEOUT: Duration = Duration::from_secs(60);

/// Headless, without what would ask the network or the desktop for something.
const FLAGS: [&str; 13] = [
    "--headless=new",
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--disable-gpu",
    "--force-device-scale-factor=1",
    "--hide-scrollbars",
    "--no-first-run",
    "--no-default-browser-check",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--disable-features=OptimizationHints,MediaRouter,Translate",
];

/// So many drivers are started, one after another, until one has a port.
const STARTS_MAX: usize = 5;

/// The driver; ended when dropped, with the browsers that it started.
pub struct Driver {
    child: Child,
    port: u16,
}

impl Driver {
    /// Starts it; `None` where there is none, and then says so.
    pub fn start() -> Option<Self> {
        // one that finds its port taken, for one of both kinds of addresses, ends without naming it
        for _ in 0..STARTS_MAX {
            let mut command = Command::new("chromedriver");
            command.arg("--port=0").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
            let Ok(mut child) = command.spawn() else {
                skip("chromedriver is not installed");
                return None;
            };
            // the first line names port 0, the last the one that it got
            let lines = BufReader::new(child.stdout.take().unwrap()).lines();
            let port = lines.map_while(Result::ok).find_map(|line| {
                let (_, rest) = line.split_once("successfully on port ")?;
                rest.trim_end_matches('.').parse().ok()
            });
            if let Some(port) = port {
                return Some(Self { child, port });
            }
            child.kill().ok();
            child.wait().unwrap();
        }
        panic!("of {STARTS_MAX} drivers none said on which port it listens");
    }

    /// A browser of a size, with mouse or fingers.
    pub async fn open(&self, screen: Screen) -> Client {
        let (width, height) = screen.size();
        let window = format!("--window-size={width},{height}");
        let mut options = json!({ "args": FLAGS.iter().copied().chain([window.as_str()]).collect::<Vec<_>>() });
        if screen == Screen::Phone {
            options["mobileEmulation"] =
                json!({ "deviceMetrics": { "width": width, "height": height, "pixelRatio": 2.0, "touch": true } });
        }
        let wanted = json!({ "goog:chromeOptions": options, "unhandledPromptBehavior": "ignore" });
        let serde_json::Value::Object(wanted) = wanted else { unreachable!() };
        let client = ClientBuilder::new(HttpConnector::new())
            .capabilities(Capabilities::from_iter(wanted))
            .connect(&format!("http://127.0.0.1:{}", self.port))
            .await
            .unwrap();
        let timeouts = TimeoutConfiguration::new(Some(TIMEOUT), Some(TIMEOUT), Some(Duration::ZERO));
        client.update_timeouts(timeouts).await.unwrap();
        client
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Says why a test did not run; fails it where it must run.
pub fn skip(why: &str) {
    assert!(std::env::var("TWOREACH_BROWSER_REQUIRED").as_deref() != Ok("1"), "a browser is required, but {why}");
    println!("skipped: {why}");
}
