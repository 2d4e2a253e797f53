//! Ctrl-C: a command that is stopped leaves nothing half-written.
#![cfg(unix)]

use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

use crate::case_files::{CLEARED, CaseFiles, From, names};

/// A slow machine gets this long.
const PATIENCE: Duration = Duration::from_secs(60);

fn start(arguments: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_tworeach"))
        .args(arguments)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

fn wait_until(is_so: impl Fn() -> bool) {
    let start = Instant::now();
    while !is_so() {
        assert!(start.elapsed() < PATIENCE, "nothing was begun");
        thread::sleep(Duration::from_millis(20));
    }
}

/// Stops it as a terminal or the system does; what it exits with.
fn stop(mut child: Child, signal: Signal) -> Option<i32> {
    kill_process(Pid::from_child(&child), signal).unwrap();
    child.wait().unwrap().code()
}

#[test]
fn a_stopped_measurement_leaves_no_folder() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let (case, out) = (files.path("case.toml"), files.path("out"));
    let arguments =
        ["measure", case.to_str().unwrap(), "--out", out.to_str().unwrap(), "--monte-carlo", "100000", "--quiet"];
    for (signal, code) in [(Signal::INT, 130), (Signal::TERM, 143)] {
        let child = start(&arguments);
        wait_until(|| out.exists());
        thread::sleep(Duration::from_millis(300));
        assert_eq!(stop(child, signal), Some(code));
        assert!(!out.exists());
    }
}

#[test]
fn a_stopped_demo_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("samples");
    let child = start(&["demo", "--out", out.to_str().unwrap(), "--case", "side", "--width", "320", "--quiet"]);
    // the first clip grows in a folder under a temporary name
    let is_growing = |out: &Path| names(out).iter().any(|name| !names(&out.join(name)).is_empty());
    wait_until(|| is_growing(&out));
    assert_eq!(stop(child, Signal::INT), Some(130));
    assert_eq!(names(&out), Vec::<String>::new());
}

#[test]
fn a_stopped_film_leaves_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (marks, out) = (folder.path().join("marks.json"), folder.path().join("out"));
    let points = serde_json::json!({ "right_hip": [600.0, 500.0] });
    let text = serde_json::json!({
        "schema": "tworeach/marks/1", "image_size": [1280, 720],
        "frames": [{ "time_s": 0.0, "source": "hand", "use": "end_range", "points": points }]
    });
    std::fs::write(&marks, text.to_string()).unwrap();
    let clip = crate::sample_case::folder().join("before-internal.mp4");
    let paths = [&clip, &marks, &out].map(|path| path.to_str().unwrap());
    let child = start(&["track", paths[0], "--marks", paths[1], "--out", paths[2], "--film", "--quiet"]);
    // the film grows in a folder under a temporary name
    wait_until(|| names(&out).iter().any(|name| !names(&out.join(name)).is_empty()));
    assert_eq!(stop(child, Signal::INT), Some(130));
    assert!(!out.exists());
}
