//! Many simulated clients through the progression engine: `cargo bench --bench plan -- [CLIENTS] [WEEKS] [SEED]`.
//!
//! Each client does what is proposed for the day, or less, or something else, with pain that follows the load by their own
//! capacity; some report danger signs, some see a clinician. What must never happen is counted while they go: the count is
//! printed beside the time. All distributions are the simulation's own.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on should stop")]
#![allow(clippy::print_stdout, reason = "a bench prints what it finds")]
#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "small invented numbers")]

use std::time::Instant;

use rand::RngExt as _;
use rand::SeedableRng as _;
use rand_chacha::ChaCha8Rng;
use tworeach::plan::{
    DangerSign, Day, Decision, Facts, Load, Log, LogEntry, Plan, Progress, Rung, ScreenState, Unit, VisitPain, Zone,
    propose,
};

/// What a simulation found.
#[derive(Debug, Default)]
struct Tally {
    entries: usize,
    proposals: usize,
    by_decision: [usize; 10],
    broken: usize,
    all_done: usize,
}

fn main() {
    let numbers: Vec<u64> = std::env::args().skip(1).filter_map(|word| word.parse().ok()).collect();
    let number = |at: usize, otherwise: u64| numbers.get(at).copied().unwrap_or(otherwise);
    let (clients, weeks, seed) = (number(0, 10_000), number(1, 26), number(2, 1));
    let plan = Plan::default_plan(Unit::Kg);
    let mut tally = Tally::default();
    let started = Instant::now();
    for client in 0..clients {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(client);
        live(&plan, weeks, &mut rng, &mut tally);
    }
    let elapsed_s = started.elapsed().as_secs_f64();
    println!("{clients} clients, {weeks} weeks, seed {seed}, one thread: {elapsed_s:.2} s");
    println!(
        "{} entries, {} proposals, {} clients with every stage done",
        tally.entries, tally.proposals, tally.all_done
    );
    println!("start, up, hold, down, change, done, clinician, other: {:?}", &tally.by_decision[..8]);
    println!("invariants broken: {}", tally.broken);

    // a whole year read anew, with its words, as a page or the command line asks for it
    let facts = facts(Day::from_ymd(2026, 1, 5).unwrap());
    let log = Log::from_entries(year(&plan, &facts));
    let started = Instant::now();
    let rounds = 100;
    for _ in 0..rounds {
        std::hint::black_box(propose(&plan, &facts, &log, Day::from_ymd(2027, 1, 5).unwrap()));
    }
    let each_ms = started.elapsed().as_secs_f64() * 1000.0 / f64::from(rounds);
    println!("one proposal from a log of {} entries: {each_ms:.3} ms", log.entries().len());
}

fn facts(on: Day) -> Facts {
    Facts {
        visits: vec![VisitPain { on, in_use: 2, on_pressing: 2 }],
        screens: vec![(on, ScreenState::Improved)],
        ..Facts::default()
    }
}

/// A year without pain in which everything due is done.
fn year(plan: &Plan, facts: &Facts) -> Vec<LogEntry> {
    let first = Day::from_ymd(2026, 1, 5).unwrap();
    let mut progress = Progress::new(plan, facts);
    let mut entries = Vec::new();
    for on in (0..365).map(|at| first.plus(at)) {
        for (stage, choice) in progress.choices(on).iter().enumerate() {
            if choice.rung.is_some() && choice.due_on == Some(on) {
                let entry = entry(on, stage, Load::None, 0, 0);
                progress.record(&entry).unwrap();
                entries.push(entry);
            }
        }
    }
    entries
}

fn entry(day: Day, stage: usize, load: Load, pain: u8, morning: u8) -> LogEntry {
    LogEntry {
        day,
        entered: None,
        stage,
        is_done: true,
        load,
        sets: None,
        repetitions: None,
        seconds: None,
        pain_during: Some(pain),
        pain_next_morning: Some(morning),
        sign: None,
        note: String::new(),
    }
}

/// What a stage was last left with, for the invariants.
#[derive(Clone, Copy, Default)]
struct Left {
    /// What was done, and its place, in the session that hurt, until one does not.
    sore: Option<(Rung, usize)>,
    rung: Option<usize>,
}

fn live(plan: &Plan, weeks: u64, rng: &mut ChaCha8Rng, tally: &mut Tally) {
    let first = Day::from_ymd(2026, 1, 5).unwrap();
    let days = i32::try_from(weeks * 7).unwrap();
    let mut facts = facts(first);
    let visits_every = rng.random_range(14..60);
    for on in (visits_every..days).step_by(visits_every as usize).map(|at| first.plus(at)) {
        facts.visits.push(VisitPain { on, in_use: rng.random_range(0..4), on_pressing: rng.random_range(0..4) });
        facts.clearances.push(on);
    }
    // how far up each ladder this client gets before it hurts, how often they do what is due, how often it hurts by chance
    let capacity: Vec<f64> = plan.stages().iter().map(|_| rng.random_range(0.1..1.6)).collect();
    let (diligence, flares) = (rng.random_range(0.4..1.0), rng.random_range(0.0..0.08));
    let mut progress = Progress::new(plan, &facts);
    let mut left = vec![Left::default(); plan.stages().len()];
    let (mut heavy_on, mut stopped_on, mut quiet_until): (Option<Day>, Option<Day>, Option<Day>) = (None, None, None);
    for on in (0..days).map(|at| first.plus(at)) {
        let choices = progress.choices(on);
        tally.proposals += choices.len();
        let mut is_heavy_day = false;
        for (stage, choice) in choices.iter().enumerate() {
            tally.by_decision[place(choice.decision)] += 1;
            let of_plan = &plan.stages()[stage];
            let Some((rung, due_on)) = choice.rung.zip(choice.due_on) else { continue };
            let dose = choice.dose(of_plan).unwrap();
            // no more of anything than hurt, and no higher; one step at most; nothing while a danger sign or severe pain stands;
            // nothing new right after pain; heavy days apart
            let is_kept = left[stage].sore.is_none_or(|(done, place)| !is_more(&dose, &done) && rung <= place)
                && left[stage].rung.is_none_or(|before| rung <= before + 1)
                && stopped_on.is_none_or(|stop| facts.clearances.iter().any(|day| *day > stop && *day <= on))
                && (left[stage].rung.is_some() || quiet_until.is_none_or(|until| on > until))
                && !(of_plan.phase_of(rung).is_heavy && heavy_on.is_some_and(|heavy| due_on.days_since(heavy) < 2));
            tally.broken += usize::from(!is_kept);
            if due_on > on || !rng.random_bool(diligence) {
                continue;
            }
            let height = (rung as f64 + 1.0) / of_plan.rungs().len() as f64;
            let excess = (height - capacity[stage]).max(0.0) * 12.0 + if rng.random_bool(flares) { 3.0 } else { 0.0 };
            let pain = (excess + rng.random_range(0.0..0.5)).round().min(10.0) as u8;
            let morning = pain.saturating_sub(2);
            let mut entry = entry(on, stage, dose.load, pain, morning);
            if rng.random_bool(0.1) {
                entry.sets = Some(1);
            }
            if rng.random_bool(0.0005) {
                entry.sign = Some(DangerSign::NightPain);
            }
            let limits = plan.pain_limits(stage);
            let is_sore = pain > limits.safe_at_most || morning > limits.morning_at_most;
            let done = Rung { sets: entry.sets.unwrap_or(dose.sets), ..dose };
            left[stage] = Left { sore: is_sore.then_some((done, rung)), rung: Some(rung) };
            // 7 of 10 in a session, 5 on the next morning
            let stop = match (morning >= 5, pain >= 7 || entry.sign.is_some()) {
                (true, _) => Some(on.plus(1)),
                (_, true) => Some(on),
                _ => None,
            };
            stopped_on = stopped_on.max(stop);
            if morning > limits.morning_at_most {
                quiet_until = quiet_until.max(Some(on.plus(2)));
            } else if limits.zone(pain) == Zone::TooMuch {
                quiet_until = quiet_until.max(Some(on.plus(1)));
            }
            is_heavy_day |= of_plan.phase_of(rung).is_heavy;
            progress.record(&entry).unwrap();
            tally.entries += 1;
            // what the morning proposed is not gone on with on such a day
            if stop.is_some() || is_sore {
                break;
            }
        }
        if is_heavy_day {
            heavy_on = Some(on);
        }
    }
    let is_over = |decision: Decision| {
        matches!(decision, Decision::Finished | Decision::StageDone | Decision::Hold | Decision::NotNeeded)
    };
    let last = progress.choices(first.plus(days));
    tally.all_done += usize::from(last.iter().all(|choice| is_over(choice.decision)) && last[5].rung.is_none());
}

fn is_more(dose: &Rung, done: &Rung) -> bool {
    let sizes = |rung: &Rung| [rung.sets, rung.repetitions, rung.hold_s];
    dose.load.amount() > done.load.amount() || sizes(dose).iter().zip(sizes(done)).any(|(dose, done)| *dose > done)
}

const fn place(decision: Decision) -> usize {
    match decision {
        Decision::Start => 0,
        Decision::Up => 1,
        Decision::Hold | Decision::Stay => 2,
        Decision::Down => 3,
        Decision::ChangeOfMode => 4,
        Decision::StageDone => 5,
        Decision::SeeClinician => 6,
        Decision::Finished | Decision::Waiting | Decision::NotNeeded => 7,
    }
}
