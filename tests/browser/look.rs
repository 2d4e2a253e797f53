//! What a page looks like, and whether everybody can use it: pictures in both schemes, axe-core on each, no sideways scrolling.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use base64::Engine as _;
use serde_json::{Value, json};

use super::browser::Browser;
use super::driver::skip;

/// Success criteria of WCAG 2.2, levels A and AA. The size of targets is not on by itself.
const RUN: &str = r#"const done = arguments[arguments.length - 1];
    axe.run(document, {
      runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"],
      rules: { "target-size": { enabled: true } },
      resultTypes: ["violations"],
      preload: false,
    }).then(
      ({ violations, passes }) => done({ passed: passes.length, violations: violations.flatMap(({ id, nodes }) =>
        nodes.map((node) => `${id}: ${node.target.join(" ")}: ${node.failureSummary.replace(/\s+/g, " ")}`)) }),
      (error) => done({ passed: 0, violations: [String(error)] }),
    );"#;

impl Browser {
    /// Takes pictures of the page that is shown, light and dark, and fails where axe-core finds something.
    pub async fn look(&self, name: &str) {
        let images = "[...document.images]";
        self.run(&format!("{images}.forEach((image) => {{ image.loading = 'eager'; }})")).await;
        self.until(&format!("{images}.every((image) => image.complete && image.naturalWidth > 0)")).await;
        for scheme in ["light", "dark"] {
            self.set_scheme(scheme).await;
            self.picture(&format!("{name}-{scheme}")).await;
            self.check_access(&format!("{name}, {} {scheme}", self.screen.name())).await;
        }
        self.set_scheme("light").await;
        let overflow =
            self.run("return document.documentElement.scrollWidth - document.documentElement.clientWidth").await;
        assert_eq!(overflow, json!(0), "{name} scrolls sideways on a {}", self.screen.name());
    }

    /// Looks at the report, which is served in a sandbox without scripts: the picture is of it, and axe-core gets the same
    /// bytes from a file.
    pub async fn look_at_report(&self, path: &str) {
        let (status, html) = self.fetch(path).await;
        assert_eq!(status, 200);
        let file = self.server.folder.path().join("report.html");
        std::fs::write(&file, html).unwrap();
        self.go(path).await;
        self.picture("report-light").await;
        self.client.goto(&format!("file://{}", file.display())).await.unwrap();
        self.check_access(&format!("report, {}", self.screen.name())).await;
    }

    pub async fn set_scheme(&self, scheme: &str) {
        let features = json!([
            { "name": "prefers-color-scheme", "value": scheme },
            { "name": "prefers-reduced-motion", "value": "reduce" },
        ]);
        self.ask_browser("Emulation.setEmulatedMedia", json!({ "features": features })).await;
    }

    /// The whole page as a picture, `DEVICE-NAME.png`.
    pub async fn picture(&self, name: &str) {
        let metrics = self.ask_browser("Page.getLayoutMetrics", json!({})).await;
        let size = &metrics["cssContentSize"];
        let clip = json!({ "x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1 });
        self.shot(name, json!({ "captureBeyondViewport": true, "clip": clip })).await;
    }

    /// What is on the screen now, without a change of its size.
    pub async fn glance(&self, name: &str) {
        self.shot(name, json!({})).await;
    }

    async fn shot(&self, name: &str, parameters: Value) {
        let taken = self.ask_browser("Page.captureScreenshot", parameters).await;
        let png = base64::engine::general_purpose::STANDARD.decode(taken["data"].as_str().unwrap()).unwrap();
        std::fs::write(screens().join(format!("{}-{name}.png", self.screen.name())), png).unwrap();
    }

    async fn check_access(&self, place: &str) {
        let Some(axe) = axe() else { return };
        self.client.execute(axe, Vec::new()).await.unwrap();
        let found = self.client.execute_async(RUN, Vec::new()).await.unwrap();
        let violations: Vec<&str> = found["violations"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
        assert!(violations.is_empty(), "{place}:\n{}", violations.join("\n"));
        assert!(found["passed"].as_u64().unwrap() > 5, "{place}: axe-core checked next to nothing");
    }
}

/// axe-core's script.
fn axe() -> Option<&'static str> {
    static SCRIPT: OnceLock<Option<String>> = OnceLock::new();
    let script = SCRIPT.get_or_init(|| {
        let path = std::env::var_os("TWOREACH_AXE").filter(|path| !path.is_empty());
        let read = path.and_then(|path| std::fs::read_to_string(path).ok());
        if read.is_none() {
            skip("TWOREACH_AXE names no script of axe-core");
        }
        read
    });
    script.as_deref()
}

/// Where the pictures are kept.
fn screens() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("screens");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}
