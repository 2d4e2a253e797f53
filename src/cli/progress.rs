//! One line on a terminal that says what goes on, once it has gone on for a while. Elsewhere nothing is said.

use std::borrow::Cow;
use std::io::{self, IsTerminal as _, Write};
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
    steps: Option<Sender<Cow<'static, str>>>,
    shower: Option<JoinHandle<()>>,
}

impl Progress {
    /// Starts with a first step, such as "fitting". Silent where standard error is no terminal, or `is_quiet`.
    pub(super) fn start(step: &'static str, is_quiet: bool) -> Self {
        if is_quiet || !io::stderr().is_terminal() {
            return Self { steps: None, shower: None };
        }
        let (steps, received) = channel();
        let shower = thread::Builder::new()
            .name("progress".to_owned())
            .spawn(move || show(&mut io::stderr(), PATIENCE, step.into(), &received))
            .ok();
        Self { steps: Some(steps), shower }
    }

    /// Goes on to another step.
    pub(super) fn step(&self, step: impl Into<Cow<'static, str>>) {
        if let Some(steps) = &self.steps {
            // a shower that is gone has nothing to show: no harm
            let _ = steps.send(step.into());
        }
    }
}

/// How far work over frames has come and how fast it goes, such as "frame 30 of 300, 45 a second, 6 s left".
pub(super) fn pace(done: usize, all: usize, taken: Duration) -> String {
    let seconds = taken.as_secs_f64();
    let rate = done as f64 / seconds;
    if !rate.is_finite() || rate <= 0.0 {
        return format!("frame {done} of {all}");
    }
    let left_s = all.saturating_sub(done) as f64 / rate;
    format!("frame {done} of {all}, {rate:.0} a second, {left_s:.0} s left")
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

fn show(out: &mut impl Write, patience: Duration, first: Cow<'static, str>, steps: &Receiver<Cow<'static, str>>) {
    let start = Instant::now();
    let mut step = first;
    let mut is_shown = false;
    loop {
        let wait = if is_shown { TICK } else { patience.saturating_sub(start.elapsed()) };
        match steps.recv_timeout(wait) {
            // of many steps at once the last
            Ok(next) => step = steps.try_iter().last().unwrap_or(next),
            Err(RecvTimeoutError::Timeout) => is_shown = true,
            Err(RecvTimeoutError::Disconnected) => break,
        }
        if is_shown {
            // a terminal that is gone is no reason to stop the work
            let _ = write!(out, "{CLEAR_LINE}{step}, {} s", start.elapsed().as_secs());
            let _ = out.flush();
        }
    }
    if is_shown {
        let _ = write!(out, "{CLEAR_LINE}");
        let _ = out.flush();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(patience: Duration, work: impl FnOnce(Sender<Cow<'static, str>>) + Send + 'static) -> String {
        let (steps, received) = channel();
        let worker = thread::spawn(move || work(steps));
        let mut out = Vec::new();
        show(&mut out, patience, "measuring".into(), &received);
        worker.join().unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn pace_tells_speed_and_what_is_left() {
        // 30 frames in 2 s are 15 a second; 270 more take 18 s
        assert_eq!(pace(30, 300, Duration::from_secs(2)), "frame 30 of 300, 15 a second, 18 s left");
        assert_eq!(pace(0, 300, Duration::ZERO), "frame 0 of 300");
    }

    #[test]
    fn short_work_is_not_spoken_of() {
        assert_eq!(shown(Duration::from_secs(3600), |steps| steps.send("rendering".into()).unwrap()), "");
    }

    #[test]
    fn long_work_names_its_step_and_leaves_a_clear_line() {
        let said = shown(Duration::from_millis(20), |steps| {
            thread::sleep(Duration::from_millis(200));
            steps.send("rendering".into()).unwrap();
        });
        assert!(said.starts_with(&format!("{CLEAR_LINE}measuring, 0 s")), "{said:?}");
        assert!(said.ends_with(&format!("rendering, 0 s{CLEAR_LINE}")), "{said:?}");
    }
}
