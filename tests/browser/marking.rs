//! Placing the marks of a reach as a person does: find the moment, point at each landmark that is asked for, answer.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::browser::{Browser, Screen};
use super::server::demo_file;

/// Page Down, as WebDriver writes it.
const PAGE_DOWN: char = '\u{e00f}';
/// Page Up.
const PAGE_UP: char = '\u{e00e}';

/// Marks that a hand placed on a frame of a demo clip, px.
pub struct HandMarks {
    pub time_s: f64,
    pub points: BTreeMap<String, [f64; 2]>,
}

/// The marks that belong to a demo clip; `repeat` counts from 1.
pub fn hand_marks(clip: &str, repeat: usize) -> HandMarks {
    let marks: Value = read_json(&format!("{clip}.marks.json"));
    let frame = &marks["frames"][repeat - 1];
    HandMarks {
        time_s: frame["time_s"].as_f64().unwrap(),
        points: serde_json::from_value(frame["points"].clone()).unwrap(),
    }
}

/// The true elevation at the end of a demo clip's reach, deg, of the arm towards the camera. The clips are rendered from it.
pub fn true_elevation_deg(clip: &str) -> f64 {
    let truth = read_json("truth.json");
    let file = format!("{clip}.mp4");
    let reach = truth["reaches"].as_array().unwrap().iter().find(|reach| reach["file"] == file).unwrap();
    reach["end_range"]["elevation_right_deg"].as_f64().unwrap()
}

fn read_json(name: &str) -> Value {
    serde_json::from_slice(&std::fs::read(demo_file(name)).unwrap()).unwrap()
}

impl Browser {
    /// Waits until the marking page shows a full frame.
    pub async fn wait_for_frame(&self) {
        self.until("document.getElementById('mark').dataset.ready === 'yes'").await;
        self.until("document.getElementById('mark').dataset.shownSize === 'full' && document.getElementById('mark').dataset.shown === document.getElementById('scrub').value").await;
    }

    /// Steps to the frame at a time of the clip.
    pub async fn step_to(&self, time_s: f64) {
        self.wait_for_frame().await;
        let script = format!(
            "const reach = document.getElementById('mark').dataset.reach;
             const done = arguments[0];
             fetch(`/api/reaches/${{reach}}`).then((answer) => answer.json()).then(({{ frame_times_s: times }}) => {{
               const away = times.map((time) => Math.abs(time - {time_s}));
               done(away.indexOf(Math.min(...away)) - Number(document.getElementById('scrub').value));
             }});"
        );
        let steps = self.client.execute_async(&script, Vec::new()).await.unwrap().as_i64().unwrap();
        let count = usize::try_from(steps.unsigned_abs()).unwrap();
        match self.screen {
            Screen::Desktop => {
                self.focus_picture().await;
                let key = if steps > 0 { PAGE_DOWN } else { PAGE_UP };
                self.keys(&[], &vec![key; count]).await;
            }
            Screen::Phone => {
                let button = if steps > 0 { "#frame-after" } else { "#frame-before" };
                for _ in 0..count {
                    self.press(button).await;
                }
            }
        }
        self.wait_for_frame().await;
    }

    /// Moves the focus onto the picture by the Tab key alone.
    pub async fn focus_picture(&self) {
        for _ in 0..80 {
            if self.run("return document.activeElement.id === 'picture'").await == json!(true) {
                return;
            }
            self.keys(&[], &['\u{e004}']).await;
        }
        panic!("the Tab key does not reach the picture");
    }

    /// The landmark that is asked for.
    pub async fn asked(&self) -> Option<String> {
        let asked = "return document.querySelector('[data-landmark][aria-current=true]')?.dataset.landmark ?? null";
        self.run(asked).await.as_str().map(str::to_owned)
    }

    /// Where a point of the picture lies in the window, CSS px. The picture is brought into sight.
    pub async fn window_point(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let script = format!(
            "const picture = document.getElementById('picture');
             const done = arguments[0];
             const box = picture.getBoundingClientRect();
             if (box.top < 0 || box.bottom > innerHeight) picture.scrollIntoView({{ block: 'center', behavior: 'instant' }});
             requestAnimationFrame(() => requestAnimationFrame(() => {{
               const box = picture.getBoundingClientRect();
               const {{ scale, left, top }} = picture.dataset;
               done([box.left + Number(left) + ({x} + 0.5) * scale, box.top + Number(top) + ({y} + 0.5) * scale]);
             }}));"
        );
        let point = self.client.execute_async(&script, Vec::new()).await.unwrap();
        [point[0].as_f64().unwrap(), point[1].as_f64().unwrap()]
    }

    /// CSS px for each px of the picture.
    pub async fn scale(&self) -> f64 {
        self.run("return Number(document.getElementById('picture').dataset.scale)").await.as_f64().unwrap()
    }

    /// The marks as they are saved.
    pub async fn saved_points(&self, reach: i64, repeat: u32) -> BTreeMap<String, [f64; 2]> {
        let (status, answer) = self.fetch(&format!("/api/reaches/{reach}?repeat={repeat}")).await;
        assert_eq!(status, 200);
        let answer: Value = serde_json::from_str(&answer).unwrap();
        serde_json::from_value(answer["points"].clone()).unwrap()
    }

    /// Everything that is saved of a reach.
    pub async fn saved(&self, reach: i64) -> Value {
        let (status, answer) = self.fetch(&format!("/api/reaches/{reach}")).await;
        assert_eq!(status, 200);
        serde_json::from_str(&answer).unwrap()
    }

    /// Marks the moment shown and places all marks.
    pub async fn place_all(&self, marks: &HandMarks) {
        self.mark_moment().await;
        self.place_asked(marks).await;
    }

    /// Marks the moment shown.
    pub async fn mark_moment(&self) {
        match self.screen {
            Screen::Desktop => {
                self.focus_picture().await;
                self.keys(&[], &['m']).await;
            }
            Screen::Phone => self.press("#mark-here").await,
        }
        self.until("document.getElementById('mark-here').hidden").await;
    }

    /// Places all marks that are asked for; what has none is skipped.
    pub async fn place_asked(&self, marks: &HandMarks) {
        for _ in 0..30 {
            let Some(name) = self.asked().await else { return };
            match (marks.points.get(&name), self.screen) {
                (Some(point), _) => self.point_at(self.window_point(*point).await).await,
                (None, Screen::Desktop) => self.keys(&[], &['n']).await,
                (None, Screen::Phone) => self.press("#skip").await,
            }
            let moved_on =
                format!("document.querySelector('[data-landmark][aria-current=true]')?.dataset.landmark !== '{name}'");
            self.until(&moved_on).await;
        }
        panic!("marks are asked for without end");
    }

    /// Zooms in with two fingers until the marks fill the picture's room.
    pub async fn pinch_to(&self, marks: &HandMarks) {
        let sum = marks.points.values().fold([0.0, 0.0], |sum, point| [sum[0] + point[0], sum[1] + point[1]]);
        #[allow(clippy::cast_precision_loss, reason = "a dozen")]
        let count = marks.points.len() as f64;
        let middle = self.window_point([sum[0] / count, sum[1] / count]).await;
        let before = self.scale().await;
        self.pinch(middle, 40.0, 90.0).await;
        let after = self.scale().await;
        // 90 against 40 is 2.25; a touch is known to a px
        assert!((after / before - 2.25).abs() < 0.15, "two fingers zoomed by {}", after / before);
    }

    /// Answers the three questions: no pain, stopped by a stretch, back flat.
    pub async fn answer(&self) {
        for css in
            ["input[name=pain][value='0']", "input[name=limited_by][value=stretch]", "input[name=back_flat][value=yes]"]
        {
            self.press(css).await;
        }
        self.until_saved().await;
    }

    pub async fn until_saved(&self) {
        self.until("document.getElementById('saved').dataset.state === 'saved'").await;
    }
}
