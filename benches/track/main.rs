//! How marks are followed through rendered clips: where they end, what is declared lost, and whether raises and holds are found.
//! `cargo bench --bench track -- [CLIPS] [SEED] [front] [--keep] [--hide N]`; `CLIPS` may be `FROM..TO`. Rendering takes half a minute of CPU a
//! clip. With `--keep` rendered frames are kept in the target's folder (some 25 MB a clip), and read from there the next time. With
//! `--hide N` each clip in which nothing is hidden is followed N times more, each time with another mark hidden: many hidden marks
//! for little rendering.

#![allow(clippy::print_stdout, missing_docs, reason = "a program that prints a table")]

mod clip;
#[path = "../kept/mod.rs"]
mod kept;

use std::collections::BTreeMap;
use std::time::Instant;

use nalgebra::Vector2;
use tworeach::demo::DemoCase;
use tworeach::geometry::{ImagePoint, Landmark, Side};
use tworeach::track::{Follower, MarkState, RaiseLimits, bar_heights, course};

use clip::{FRAME_RATE, HIDDEN_FRAMES, TrialClip};
use kept::KeptFrames;

/// A mark that claims to be followed counts as wrong beyond this, px at a width of 1280.
const WRONG_PX: f64 = 5.0;

fn main() {
    let mut arguments = std::env::args().skip(1).filter(|argument| !argument.starts_with("--"));
    let clips = arguments.next().unwrap_or_else(|| "20".to_owned());
    let (from, to) = clips.split_once("..").unwrap_or(("0", &clips));
    let number = |text: &str| text.parse::<u64>().expect("CLIPS is a number, or two with .. between");
    let numbers = number(from)..number(to);
    let seed: u64 = arguments.next().map_or(1, |text| text.parse().expect("SEED is a number"));
    let mut options = std::env::args().skip_while(|argument| argument != "--hide").skip(1);
    let hidings: u64 = options.next().map_or(0, |text| text.parse().expect("N is a number"));
    let case = if arguments.next().as_deref() == Some("front") { DemoCase::Front } else { DemoCase::Side };
    let kept = std::env::args()
        .any(|argument| argument == "--keep")
        .then(|| KeptFrames::open("track-clips", "benches/track/clip.rs"));
    let (mut sum, mut more) = (Sum::default(), Sum::default());
    for number in numbers {
        let clip = TrialClip::draw(case, seed, number, kept.as_ref());
        let started = Instant::now();
        let states = followed(&clip);
        sum.seconds += started.elapsed().as_secs_f64();
        sum.add(number, &clip, &states);
        let more_often = if clip.hidden.is_none() { hidings } else { 0 };
        for draw in 0..more_often {
            if let Some(clip) = clip.hiding_another(seed, number, draw) {
                more.add(number, &clip, &followed(&clip));
            }
        }
    }
    sum.print();
    if more.clips > 0 {
        println!("and these clips with other marks hidden:");
        more.print();
    }
}

/// How it stands with each mark in each frame.
fn followed(clip: &TrialClip) -> Vec<Vec<MarkState>> {
    let picture = |frame: usize| clip.frames[frame].clone();
    let placed = clip.marks.iter().map(|(_, point)| MarkState::Followed { point: *point, sd_px: 0.0 }).collect();
    let mut states = vec![Vec::new(); clip.frames.len()];
    states[clip.start] = placed;
    let ways: [Vec<usize>; 2] = [(0..clip.start).rev().collect(), (clip.start + 1..clip.frames.len()).collect()];
    for way in ways {
        let mut follower = Follower::start(picture(clip.start), &clip.marks);
        for frame in way {
            states[frame] = follower.advance(picture(frame)).into_iter().map(|(_, state)| state).collect();
        }
    }
    states
}

#[derive(Default)]
struct Sum {
    seconds: f64,
    frames: usize,
    clips: usize,
    by_landmark: BTreeMap<Landmark, Tally>,
    hidden: Tally,
    hidden_again: usize,
    hidden_marks: usize,
    clips_right: usize,
    ends: usize,
    ends_right: usize,
    swings: usize,
    swings_right: usize,
}

/// Mark by frame.
#[derive(Default)]
struct Tally {
    seen: usize,
    followed: usize,
    /// Told by the arm, and said to be hidden.
    hidden: usize,
    wrong: usize,
    /// Wrong, and beyond three of its stated spreads, too.
    wrong_and_stated: usize,
    /// Told as sure to be right.
    sure: usize,
    sure_but_wrong: usize,
    squares_px2: f64,
    /// Sum of squares over the stated variance, of both directions.
    squares: f64,
}

impl Tally {
    fn add(&mut self, state: &MarkState, truth: ImagePoint, own_error: Vector2<f64>) {
        let scale = TrialClip::scale();
        self.seen += 1;
        self.hidden += usize::from(matches!(state, MarkState::Hidden { .. }));
        let MarkState::Followed { point, sd_px } = state else { return };
        self.followed += 1;
        // the mark's own error goes along: what counts is what following adds
        let off = (Vector2::new(point.x - truth.x, point.y - truth.y) - own_error) / scale;
        let sd_px = (sd_px / scale).max(0.1);
        let is_wrong = off.norm() > WRONG_PX;
        self.wrong += usize::from(is_wrong);
        self.wrong_and_stated += usize::from(is_wrong && off.norm() > 3.0 * sd_px);
        if state.is_sure(scale) {
            self.sure += 1;
            self.sure_but_wrong += usize::from(is_wrong);
        }
        self.squares_px2 += off.norm_squared();
        self.squares += off.norm_squared() / sd_px.powi(2);
    }

    fn print(&self, name: &str) {
        let count = self.followed.max(1) as f64;
        println!(
            "  {name:18} followed {:5.1} %, hidden {:5.1} %, rms {:4.2} px, over stated {:4.2}, beyond {WRONG_PX} px {:5.2} %, and beyond 3 stated {:5.2} %; told as sure {:5.1} %, of them beyond {WRONG_PX} px {} of {}",
            100.0 * self.followed as f64 / self.seen.max(1) as f64,
            100.0 * self.hidden as f64 / self.seen.max(1) as f64,
            (self.squares_px2 / count).sqrt(),
            (self.squares / (2.0 * count)).sqrt(),
            100.0 * self.wrong as f64 / count,
            100.0 * self.wrong_and_stated as f64 / count,
            100.0 * self.sure as f64 / self.seen.max(1) as f64,
            self.sure_but_wrong,
            self.sure
        );
    }
}

impl Sum {
    fn add(&mut self, number: u64, clip: &TrialClip, states: &[Vec<MarkState>]) {
        self.frames += states.len();
        self.clips += 1;
        for (place, (landmark, placed)) in clip.marks.iter().enumerate() {
            let at = clip.truth[clip.start][place];
            let own_error = Vector2::new(placed.x - at.x, placed.y - at.y);
            let tally = self.by_landmark.entry(*landmark).or_default();
            for (frame, state) in states.iter().enumerate().filter(|(frame, _)| *frame != clip.start) {
                tally.add(&state[place], clip.truth[frame][place], own_error);
            }
            let Some((_, from)) = clip.hidden.filter(|(hidden, _)| *hidden == place) else { continue };
            // while it is hidden, and for as long after, in the direction in which it was followed
            let frames = if from > clip.start {
                from..(from + 2 * HIDDEN_FRAMES).min(states.len())
            } else {
                from.saturating_sub(HIDDEN_FRAMES)..from + HIDDEN_FRAMES
            };
            self.hidden_marks += 1;
            let after = if from > clip.start { frames.end - 1 } else { frames.start };
            self.hidden_again += usize::from(matches!(states[after][place], MarkState::Followed { .. }));
            for frame in frames {
                self.hidden.add(&states[frame][place], clip.truth[frame][place], own_error);
            }
        }
        self.add_raises(number, clip, states);
    }

    /// The angle of the arm in each frame, deg.
    fn angles(clip: &TrialClip, states: &[Vec<MarkState>]) -> Vec<Option<f64>> {
        let angle = |states: &Vec<MarkState>| {
            let place = |landmark: Landmark| {
                let index = clip.marks.iter().position(|(marked, _)| *marked == landmark)?;
                match states[index] {
                    MarkState::Followed { point, .. } | MarkState::Hidden { point, .. } => {
                        Some(Vector2::new(point.x, point.y))
                    }
                    MarkState::Lost | MarkState::OutOfPicture => None,
                }
            };
            let side = Side::Right;
            let shoulder = place(Landmark::Shoulder(side))?;
            let (down, arm) = (place(Landmark::Hip(side))? - shoulder, place(Landmark::Wrist(side))? - shoulder);
            let deg = (down.y * arm.x - down.x * arm.y).atan2(down.dot(&arm)).to_degrees();
            Some(if deg < -90.0 { deg + 360.0 } else { deg })
        };
        states.iter().map(angle).collect()
    }

    fn add_raises(&mut self, number: u64, clip: &TrialClip, states: &[Vec<MarkState>]) {
        // hips are marked from the side alone
        let is_from_front = clip.marks.iter().all(|(landmark, _)| !matches!(landmark, Landmark::Hip(_)));
        let (values, limits) = if is_from_front {
            let landmarks: Vec<Landmark> = clip.marks.iter().map(|(landmark, _)| *landmark).collect();
            (bar_heights(&landmarks, states, &clip.marks), RaiseLimits::BAR_HEIGHT)
        } else {
            (Self::angles(clip, states), RaiseLimits::ARM_ANGLE)
        };
        let found = course(&clip.times_s, &values, &limits).raises;
        self.clips_right += usize::from(found.len() == clip.raises.len());
        if found.len() != clip.raises.len() {
            println!("  clip {number}: {} raises in place of {}", found.len(), clip.raises.len());
        }
        for truth in &clip.raises {
            let is_it = |peak_s: f64| (truth.hold_start_s - 0.3..=truth.hold_end_s + 0.3).contains(&peak_s);
            let raise = found.iter().find(|raise| is_it(raise.peak_s));
            if truth.hold_end_s <= truth.hold_start_s {
                self.swings += 1;
                self.swings_right += usize::from(raise.is_some_and(|raise| raise.hold.is_none()));
                continue;
            }
            self.ends += 1;
            let half_frame_s = 0.5 / FRAME_RATE;
            let is_right = raise.and_then(|raise| raise.hold).is_some_and(|hold| {
                let end_range = [0.25, 0.75].map(|share| hold.start_s + share * (hold.end_s - hold.start_s));
                end_range[0] >= truth.hold_start_s - half_frame_s && end_range[1] <= truth.hold_end_s + half_frame_s
            });
            self.ends_right += usize::from(is_right);
            if !is_right {
                println!(
                    "  clip {number}: true hold {:.2} to {:.2} s, found {raise:?}",
                    truth.hold_start_s, truth.hold_end_s
                );
            }
        }
    }

    fn print(&self) {
        let clips = self.clips;
        let percent = |part: usize, all: usize| 100.0 * part as f64 / all.max(1) as f64;
        println!(
            "{clips} clips, {} frames, px at a width of 1280; following takes {:.1} ms a frame of {} px with {} marks",
            self.frames,
            1e3 * self.seconds / self.frames as f64,
            clip::WIDTH_PX,
            self.by_landmark.len()
        );
        for (landmark, tally) in &self.by_landmark {
            tally.print(landmark.name());
        }
        println!(
            "marks hidden for {HIDDEN_FRAMES} frames, then and {HIDDEN_FRAMES} frames on: {} of {} followed again",
            self.hidden_again, self.hidden_marks
        );
        self.hidden.print("hidden");
        println!("number of raises right: {} of {clips} ({:.1} %)", self.clips_right, percent(self.clips_right, clips));
        println!(
            "end range inside the true hold: {} of {} ({:.1} %)",
            self.ends_right,
            self.ends,
            percent(self.ends_right, self.ends)
        );
        println!("swings told from holds: {} of {}", self.swings_right, self.swings);
    }
}
