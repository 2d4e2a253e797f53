//! What runs in a child process to look at the pictures of a visit: spots of one reach in another, and the bar.
//!
//! Nobody waits for it: it gives way to whatever else runs, and ends with its input, so that it does not outlive a server that was
//! killed.

use std::collections::HashMap;
use std::io::{self, BufRead as _, Write};
use std::path::PathBuf;

use image::GrayImage;
use serde::{Deserialize, Serialize};

use super::program::{end_with_input, give_way, limit_resources};
use crate::screen::Question;
use crate::video::Media;

/// Processor time, s; the parent's clock runs out first unless many cores are at work.
const LOOK_CPU_S_MAX: u64 = 1200;

/// A look at files that were named.
#[derive(Debug, Serialize, Deserialize)]
pub struct LookTask {
    /// The clip or still: its place among the files.
    pub file: usize,
    /// The one that it is held against, where it is.
    pub from_file: Option<usize>,
    /// What is asked.
    pub question: Question,
}

/// Looks at the clips and stills `files`: takes [`LookTask`]s as one line of JSON from standard input, and writes a [`crate::screen::Answer`] to each
/// as JSON to `out`. Ends early when its input ends.
///
/// # Errors
/// When the request cannot be read or `out` is closed.
pub fn look(files: &[PathBuf], out: &mut impl Write) -> io::Result<()> {
    limit_resources(Some(LOOK_CPU_S_MAX))?;
    give_way();
    let mut line = String::new();
    io::stdin().lock().read_line(&mut line)?;
    let tasks: Vec<LookTask> = serde_json::from_str(&line)?;
    end_with_input();
    let mut pictures = Pictures { files, seen: HashMap::new() };
    let mut answers = Vec::new();
    for LookTask { file, from_file, question } in &tasks {
        let (time_s, from_time_s) = question.times_s();
        let from = from_file.zip(from_time_s);
        pictures.see(*file, time_s);
        if let Some((from_file, from_time_s)) = from {
            pictures.see(from_file, from_time_s);
        }
        let from = from.and_then(|(file, time_s)| pictures.at(file, time_s));
        answers.push(question.answer(pictures.at(*file, time_s), from));
    }
    serde_json::to_writer(&mut *out, &answers)?;
    out.flush()
}

/// Pictures by file and time, each decoded once; `None` where it cannot be.
struct Pictures<'a> {
    files: &'a [PathBuf],
    seen: HashMap<(usize, u64), Option<GrayImage>>,
}

impl Pictures<'_> {
    fn see(&mut self, file: usize, time_s: f64) {
        self.seen.entry((file, time_s.to_bits())).or_insert_with(|| {
            let frame = Media::open(self.files.get(file)?).and_then(|mut media| media.luma_at(time_s));
            frame.ok().map(|frame| frame.image)
        });
    }

    fn at(&self, file: usize, time_s: f64) -> Option<&GrayImage> {
        self.seen.get(&(file, time_s.to_bits()))?.as_ref()
    }
}
