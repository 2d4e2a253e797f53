//! One line on a terminal that says what goes on, once it has gone on for a while. Elsewhere nothing is said.

use std::io::{self, IsTerminal as _, Write as _};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// Work that takes less is not spoken of.
const PATIENCE: Duration = Duration::from_secs(2);

/// How often the line is brought up to date.
const TICK: Duration = Duration::from_millis(500);

/// Clears the line that the cursor is on.
const CLEAR_LINE: &str = "\r\u{1b}[2K";

/// Shows a step on standard error while it lasts. The line goes when this is dropped.
pub(super) struct Progress {
    steps: Option<Sender<&'static str>>,
    shower: Option<JoinHandle<()>>,
}

impl Progress {
    /// Starts with a first step, such as "fitting". Silent where standard error is no terminal, or `is_quiet`.
    pub(super) fn start(step: &'static str, is_quiet: bool) -> Self {
        if is_quiet || !io::stderr().is_terminal() {
            return Self { steps: None, shower: None };
        }
        let (steps, received) = channel();
        let shower = thread::Builder::new().name("progress".to_owned()).spawn(move || show(step, &received)).ok();
        Self { steps: Some(steps), shower }
    }

    /// Goes on to another step.
    pub(super) fn step(&self, step: &'static str) {
        if let Some(steps) = &self.steps {
            // a shower that is gone has nothing to show: no harm
            let _ = steps.send(step);
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.steps = None;
        if let Some(shower) = self.shower.take() {
            // the line is cleared before anything else is printed
            let _ = shower.join();
        }
    }
}

fn show(first: &'static str, steps: &Receiver<&'static str>) {
    let start = Instant::now();
    let mut step = first;
    let mut is_shown = false;
    loop {
        let wait = if is_shown { TICK } else { PATIENCE.saturating_sub(start.elapsed()) };
        match steps.recv_timeout(wait) {
            Ok(next) => step = next,
            Err(RecvTimeoutError::Timeout) => is_shown = true,
            Err(RecvTimeoutError::Disconnected) => break,
        }
        if is_shown {
            let mut out = io::stderr().lock();
            let _ = write!(out, "{CLEAR_LINE}{step}, {} s", start.elapsed().as_secs());
            let _ = out.flush();
        }
    }
    if is_shown {
        let mut out = io::stderr().lock();
        let _ = write!(out, "{CLEAR_LINE}");
        let _ = out.flush();
    }
}
