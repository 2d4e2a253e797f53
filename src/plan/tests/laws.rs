//! What no sequence of logs can bring about, whatever the client does and the clinician clears.

use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;

use super::super::decision::{Cause, Choice, Decision};
use super::super::engine::Progress;
use super::clients::*;
use super::*;

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 1000,
        failure_persistence: Some(Box::new(FileFailurePersistence::WithSource("regressions"))),
        ..ProptestConfig::default()
    })]

    /// After pain above the safe limit, or a morning that is not settled, no dose of the stage has more load, sets, repetitions,
    /// hold or volume than the session that hurt, until a later session of it.
    #[test]
    fn nothing_is_more_than_what_hurt(rule in rule_name(), events in prop::collection::vec(event(), 1..150)) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        let mut hurt: Vec<Option<[u64; 5]>> = vec![None; plan.stages().len()];
        for (event, on) in events.iter().zip(days) {
            let now = progress.choices(on);
            let entry = entry_of(&plan, event, on, &now[event.stage]);
            let of_plan = &plan.stages()[event.stage];
            if entry.is_done || entry.pain_next_morning.is_some() {
                let proposed = now[event.stage].dose(of_plan);
                let is_known = proposed.is_some() || entry.is_done;
                let size = done(&entry, &proposed.unwrap_or(of_plan.rungs()[0]));
                hurt[event.stage] = (is_sore(&plan, &entry) && is_known).then_some(size);
            }
            progress.record(&entry).unwrap();
            for later in [0, 1, 2, 3, 20].map(|gap| on.plus(gap)) {
                for (stage, choice) in progress.choices(later).iter().enumerate() {
                    let Some((dose, hurt)) = choice.dose(&plan.stages()[stage]).zip(hurt[stage]) else { continue };
                    let size = sizes(dose.load, [dose.sets, dose.repetitions, dose.hold_s]);
                    prop_assert!(!exceeds(&size, &hurt), "{stage}: {size:?} after {hurt:?}, {choice:?}");
                }
            }
        }
    }

    /// Severe pain leaves no dose in any stage until a clinician has looked, and nothing begins on the day of, or the day after,
    /// pain beyond what the plan takes.
    #[test]
    fn pain_stops_what_is_new_and_severe_pain_all(
        rule in rule_name(), events in prop::collection::vec(event(), 1..150)
    ) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        let mut begun = vec![false; plan.stages().len()];
        let (mut severe, mut quiet_until): (Option<Day>, Option<Day>) = (None, None);
        for (event, on) in events.iter().zip(days) {
            let choices = progress.choices(on);
            let entry = entry_of(&plan, event, on, &choices[event.stage]);
            begun[event.stage] |= entry.is_done || entry.pain_next_morning.is_some();
            progress.record(&entry).unwrap();
            // 7 of 10 in a session and 5 on the next morning: common practice, no source
            let (during, morning) = (entry.pain_during.unwrap_or(0), entry.pain_next_morning.unwrap_or(0));
            let felt = if morning >= 5 { Some(on.plus(1)) } else { (during >= 7).then_some(on) };
            // what is told late no clinician has looked at before
            severe = severe.max(felt.map(|felt| entry.entered.map_or(felt, |entered| felt.max(entered))));
            let limits = plan.pain_limits(event.stage);
            let quiet_days = match (morning > limits.morning_at_most, during > limits.acceptable_at_most) {
                (true, _) => Some(2),
                (_, true) => Some(1),
                _ => None,
            };
            quiet_until = quiet_until.max(quiet_days.map(|days| on.plus(days)));
            for later in [0, 1, 2, 3, 20].map(|gap| on.plus(gap)) {
                let is_cleared = severe.is_none_or(|felt| facts.clearances.iter().any(|day| *day > felt && *day <= later));
                let is_quiet = quiet_until.is_some_and(|until| later <= until);
                for (stage, choice) in progress.choices(later).iter().enumerate().filter(|(_, choice)| choice.rung.is_some()) {
                    prop_assert!(is_cleared, "{choice:?} with severe pain on {severe:?}");
                    prop_assert!(!is_quiet || begun[stage], "{stage} begins on {later}, quiet until {quiet_until:?}");
                }
            }
        }
    }

    /// While a dose is cut down, it rises by one thing at a time, by no more than the plan's step.
    #[test]
    fn a_dose_that_was_cut_rises_by_one_thing(rule in rule_name(), events in prop::collection::vec(event(), 1..150)) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        for (event, on) in events.iter().zip(days) {
            let choices = progress.choices(on);
            for (stage, (choice, state)) in choices.iter().zip(&progress.states).enumerate() {
                let of_plan = &plan.stages()[stage];
                let Some(dose) = choice.dose(of_plan).filter(|_| choice.rung == Some(state.rung)) else { continue };
                let before = state.dose(of_plan);
                let phase = &of_plan.phases[dose.phase];
                let steps = [
                    (before.repetitions, dose.repetitions, phase.repetitions_step),
                    (before.hold_s, dose.hold_s, phase.hold_step_s.unwrap_or(1)),
                    (before.sets, dose.sets, 1),
                ];
                let risen = steps.iter().filter(|(before, now, _)| now > before);
                prop_assert!(risen.clone().count() <= 1, "{before:?} to {dose:?}");
                prop_assert!(risen.clone().all(|(before, now, step)| now - before <= *step), "{before:?} to {dose:?}");
            }
            progress.record(&entry_of(&plan, event, on, &choices[event.stage])).unwrap();
        }
    }

    /// After pain above the safe limit, or a morning that is not settled, the stage's next dose has no more load than the one
    /// that hurt and than the one proposed before, and is no higher on the ladder. After a danger sign nothing rises in any
    /// stage until a session without trouble.
    #[test]
    fn nothing_rises_after_a_stop_sign(rule in rule_name(), events in prop::collection::vec(event(), 1..150)) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        for (event, on) in events.iter().zip(days) {
            let before = progress.choices(on);
            let entry = entry_of(&plan, event, on, &before[event.stage]);
            let was_at = before[event.stage].rung;
            progress.record(&entry).unwrap();
            for later in [1, 3, 20] {
                let after = progress.choices(on.plus(later));
                let own = &after[event.stage];
                if is_sore(&plan, &entry) {
                    if let Some(next) = amount(&plan, event.stage, own) {
                        let proposed = amount(&plan, event.stage, &before[event.stage]);
                        prop_assert!(proposed.is_none_or(|proposed| next <= proposed), "{own:?}");
                        let used = if entry.load == Load::None { proposed } else { Some(entry.load.amount()) };
                        prop_assert!(used.is_none_or(|used| next <= used), "{own:?} {entry:?}");
                    }
                    prop_assert!(!rises(own, was_at), "{own:?} after {:?}", before[event.stage]);
                    prop_assert!(own.decision != Decision::StageDone && own.decision != Decision::Up);
                }
                if entry.sign.is_some() || is_sore(&plan, &entry) {
                    for (stage, (choice, state)) in after.iter().zip(&progress.states).enumerate() {
                        prop_assert!(choice.rung.is_none_or(|rung| rung <= state.rung), "{stage} {choice:?}");
                    }
                }
                let told_on = entry.entered.unwrap_or(on);
                let is_cleared = |cleared: &Day| *cleared > told_on && *cleared <= on.plus(later);
                if entry.sign.is_some() && !facts.clearances.iter().any(is_cleared) {
                    prop_assert!(after.iter().all(|choice| choice.rung.is_none()));
                }
            }
        }
    }

    /// A rise is one place on the ladder, follows good sessions on as many days in a row as the stage asks for, and never an
    /// unknown morning.
    #[test]
    fn a_rise_is_one_step_and_earned(rule in rule_name(), events in prop::collection::vec(event(), 1..150)) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        let mut entries: Vec<LogEntry> = Vec::new();
        for (event, on) in events.iter().zip(days) {
            let choices = progress.choices(on);
            for (stage, (choice, state)) in choices.iter().zip(&progress.states).enumerate() {
                if let Some(rung) = choice.rung.filter(|rung| *rung > state.rung) {
                    prop_assert_eq!(rung, state.rung + 1);
                    let wanted = usize::from(plan.stages()[stage].sessions_to_rise);
                    let of_stage = |entry: &&LogEntry| {
                        entry.stage == stage && (entry.is_done || entry.pain_next_morning.is_some())
                    };
                    let mut days: Vec<Day> = entries.iter().rev().filter(of_stage).map(|entry| entry.day).collect();
                    days.dedup();
                    prop_assert!(days.len() >= wanted, "{wanted} days, {days:?}");
                    // with the plan's days between them
                    let days_between = i32::from(plan.stages()[stage].days_between);
                    let is_whole = |day: &Day| {
                        entries.iter().filter(of_stage).filter(|entry| entry.day == *day).all(|entry| {
                            entry.is_done && entry.pain_next_morning.is_some() && !is_sore(&plan, entry)
                        })
                    };
                    let run: Vec<Day> = days.iter().copied().take_while(is_whole).collect();
                    let (mut counted, mut before) = (0, None::<Day>);
                    for day in run.into_iter().rev() {
                        if before.is_none_or(|before| day.days_since(before) >= days_between) {
                            (counted, before) = (counted + 1, Some(day));
                        }
                    }
                    prop_assert!(counted >= wanted, "{counted} of {wanted} with days between, {days:?}");
                    let latest = entries.iter().filter(of_stage).filter(|entry| days[..wanted].contains(&entry.day));
                    for entry in latest {
                        prop_assert!(entry.is_done && entry.pain_next_morning.is_some() && !is_sore(&plan, entry));
                    }
                }
            }
            let entry = entry_of(&plan, event, on, &choices[event.stage]);
            progress.record(&entry).unwrap();
            entries.push(entry);
        }
    }

    /// After a pause no dose has more load, sets, repetitions or hold than the latest one, and the longer the pause, the less load.
    #[test]
    fn a_pause_never_brings_more(rule in rule_name(), events in prop::collection::vec(event(), 1..150)) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut entries = Vec::new();
        let mut progress = Progress::new(&plan, &facts);
        for (event, on) in events.iter().zip(days) {
            let choices = progress.choices(on);
            let entry = entry_of(&plan, event, on, &choices[event.stage]);
            progress.record(&entry).unwrap();
            entries.push(entry);
            // beyond two, four and twelve weeks
            let later = [15, 29, 85].map(|gap| progress.choices(on.plus(gap)));
            for (stage, of_plan) in plan.stages().iter().enumerate().filter(|(at, _)| progress.states[*at].last.is_some()) {
                let latest = progress.states[stage].dose(of_plan);
                let mut before = sizes(latest.load, [latest.sets, latest.repetitions, latest.hold_s]);
                // what was done of a stage that is closed counts for nothing, be it beside what hurt on the same day
                let last_day = progress.states[stage].last.map(|last| last.day);
                let of_day = entries.iter().filter(|entry: &&LogEntry| entry.stage == stage && Some(entry.day) == last_day);
                let last = of_day.clone().next().filter(|entry| entry.is_done && of_day.count() == 1);
                let done = last.map(|entry| done(entry, &latest));
                for choice in later.iter().map(|choices| choices[stage]) {
                    let Some(dose) = choice.dose(of_plan) else { continue };
                    let size = sizes(dose.load, [dose.sets, dose.repetitions, dose.hold_s]);
                    prop_assert!(!exceeds(&size, &before), "{latest:?}: {dose:?}, {choice:?}");
                    // less was done than proposed: the way back begins from that, but no load is lighter than the lightest
                    if let Some(done) = done.filter(|_| !matches!(choice.cause, Cause::FirstDose(_))) {
                        prop_assert!(!exceeds(&size, &done), "{done:?}: {dose:?}, {choice:?}");
                    }
                    before[0] = size[0];
                }
            }
        }
    }

    /// Beside what was done last, whatever was proposed and by which plan, the word of each dose is true: the same again is the same,
    /// less is less, and a step up is no less.
    #[test]
    fn words_are_true_beside_what_was_done(
        rule in rule_name(), events in prop::collection::vec(event(), 1..150), edit in edit(), gap in 0_i32..40
    ) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        let mut entries = Vec::new();
        let check = |plan: &Plan, progress: &Progress<'_>, on: Day, entries: &[LogEntry]| {
            let choices = progress.choices(on);
            for (stage, (choice, of_plan)) in choices.iter().zip(plan.stages()).enumerate() {
                let Some(dose) = choice.dose(of_plan) else { continue };
                let own = |entry: &&LogEntry| entry.stage == stage && entry.is_done;
                // everything that was done is stated; of a day with several entries any may be meant
                let Some(last) = entries.iter().rfind(own) else { continue };
                // what was done of a stage that is closed counts for nothing
                if progress.states[stage].last.is_none_or(|counted| counted.day != last.day) {
                    continue;
                }
                if entries.iter().filter(own).filter(|entry| entry.day == last.day).count() > 1 {
                    continue;
                }
                // an entry without a session, of pain alone, counts as one of what was proposed
                if entries.iter().any(|entry| entry.stage == stage && !entry.is_done && entry.day >= last.day) {
                    continue;
                }
                let (Some(sets), Some(repetitions)) = (last.sets, last.repetitions) else { continue };
                let done = [last.load.amount(), u64::from(sets), u64::from(repetitions), u64::from(last.seconds.unwrap_or(0))];
                let next = [dose.load.amount(), dose.sets.into(), dose.repetitions.into(), dose.hold_s.into()];
                let is_all = |holds: fn(&u64, &u64) -> bool| next.iter().zip(&done).all(|(next, done)| holds(next, done));
                let (is_load, at_most, at_least) = (next[0] == done[0], is_all(|a, b| a <= b), is_all(|a, b| a >= b));
                let is_true = match choice.decision {
                    Decision::Hold => next == done,
                    Decision::Down => next != done && (next[0] < done[0] || is_load && !at_least),
                    Decision::Up => next != done && (next[0] > done[0] || is_load && !at_most),
                    Decision::Stay => next != done && (next[0] > done[0] || is_load && !at_most),
                    _ => true,
                };
                prop_assert!(is_true, "{stage}: {next:?} after {done:?}, {choice:?}");
            }
            Ok(())
        };
        for (event, on) in events.iter().zip(&days) {
            let choices = progress.choices(*on);
            check(&plan, &progress, *on, &entries)?;
            let entry = progress.stated(entry_of(&plan, event, *on, &choices[event.stage]));
            progress.record(&entry).unwrap();
            entries.push(entry);
        }
        let last = days[days.len() - 1];
        check(&plan, &progress, last.plus(gap), &entries)?;
        let Some(changed) = edited(&plan, &edit) else { return Ok(()) };
        let log = Log::from_entries(entries.clone());
        check(&changed, &Progress::after(&changed, &facts, &log, last), last.plus(gap), &entries)?;
    }

    /// Whatever of the plan is changed between two sessions, the next load is no more than one step above the one that was done last:
    /// the next weight that exists, or the next of the stage.
    #[test]
    fn no_edit_of_the_plan_leaps(
        rule in rule_name(), events in prop::collection::vec(event(), 1..150), edit in edit(), gap in 0_i32..4
    ) {
        let plan = plan_of(rule);
        let flexors = plan.stage_at("flexors").unwrap();
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        let mut entries = Vec::new();
        for (event, on) in events.iter().zip(&days) {
            // most of them are of the flexors, so that they come far
            let event = if event.stage % 2 == 0 { Event { stage: flexors, ..event.clone() } } else { event.clone() };
            let choices = progress.choices(*on);
            let entry = progress.stated(entry_of(&plan, &event, *on, &choices[event.stage]));
            progress.record(&entry).unwrap();
            entries.push(entry);
        }
        let Some(changed) = edited(&plan, &edit) else { return Ok(()) };
        let last = days[days.len() - 1];
        let log = Log::from_entries(entries);
        let choice = Progress::after(&changed, &facts, &log, last).choices(last.plus(gap))[flexors];
        let done = log.entries().iter().rev().filter(|entry| entry.stage == flexors && entry.is_done);
        let Some(done) = done.map(|entry| entry.load).find(|load| *load != Load::None) else { return Ok(()) };
        if let Some(dose) = choice.dose(&changed.stages()[flexors]) {
            let existing: Vec<Load> = changed.equipment().weights.iter().map(|weight| Load::Weight(*weight)).collect();
            let of_stage: Vec<Load> = changed.stages()[flexors].rungs().iter().map(|rung| rung.load).collect();
            // one of them is what was done, and none lies between that and the dose, but for the slack of a weight
            let is_next = |loads: &[Load]| {
                let is_done = |load: &&Load| load.is_at_least(done) && done.is_at_least(**load);
                let is_between = |load: &&Load| load.amount() < dose.load.amount() && !done.is_at_least(**load);
                (loads.iter().any(|load| is_done(&load)), !loads.iter().any(|load| is_between(&load)))
            };
            let (is_of_stage, is_next_of_stage) = is_next(&of_stage);
            let (is_existing, is_next_existing) = is_next(&existing);
            // from what is neither, by no more than half of it
            let is_close = dose.load.amount() * 2 <= done.amount() * 3;
            prop_assert!(
                done.is_at_least(dose.load)
                    || is_next_of_stage && (is_of_stage || is_close)
                    || is_next_existing && (is_existing || is_close),
                "{dose:?} after {done:?} by {edit:?}"
            );
        }
    }

    /// A session that did not hurt and is told twice counts once.
    #[test]
    fn a_day_is_one_session(rule in rule_name(), events in prop::collection::vec(event(), 1..150)) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let (mut once, mut twice) = (Progress::new(&plan, &facts), Progress::new(&plan, &facts));
        for (event, on) in events.iter().zip(days) {
            let choices = once.choices(on);
            let entry = entry_of(&plan, event, on, &choices[event.stage]);
            once.record(&entry).unwrap();
            twice.record(&entry).unwrap();
            if !is_sore(&plan, &entry) {
                twice.record(&entry).unwrap();
            }
            for later in [0, 1, 2, 20].map(|gap| on.plus(gap)) {
                // that it was told in parts may be said, and changes nothing
                let apart = |choice: Choice| match choice.cause {
                    Cause::InParts(rule) => Choice { cause: Cause::Rule(rule), ..choice },
                    _ => choice,
                };
                let twice: Vec<Choice> = twice.choices(later).into_iter().map(apart).collect();
                prop_assert_eq!(once.choices(later), twice);
            }
        }
    }

    /// A stage has a dose only once every stage that it waits for has met its exit, by a count of the log that shares nothing
    /// with the engine.
    #[test]
    fn no_exit_is_skipped(rule in rule_name(), events in prop::collection::vec(event(), 1..150)) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        let (first, second) = (plan.stage_at("soft_tissue").unwrap(), plan.stage_at("pull").unwrap());
        let (mut run, mut longest, mut before_day) = (0_u16, 0_u16, 0_u16);
        let mut latest: Option<Day> = None;
        for (event, on) in events.iter().zip(days) {
            let choices = progress.choices(on);
            longest = longest.max(run);
            if choices[second].rung.is_some() {
                prop_assert!(longest >= plan.stages()[first].exit.sessions, "{longest} sessions, then {:?}", choices[second]);
            }
            let entry = entry_of(&plan, event, on, &choices[event.stage]);
            if entry.stage == first && (entry.is_done || entry.pain_next_morning.is_some()) {
                let is_good = entry.is_done && entry.pain_next_morning.is_some() && !is_sore(&plan, &entry);
                // a day counts once, and not at all if any of it was not good
                let before = if latest == Some(on) { before_day } else { run };
                run = if is_good && (latest != Some(on) || run > before) { before + 1 } else { 0 };
                (latest, before_day) = (Some(on), before);
            }
            progress.record(&entry).unwrap();
        }
    }

    /// Doses do not rise and fall for ever: without a clinician, each stage's falls between two new heights are bounded, and so
    /// is the number of all changes.
    #[test]
    fn nothing_oscillates_without_end(rule in rule_name(), pattern in prop::collection::vec(event(), 1..12)) {
        // without the rule on weeks without gain, which would end it sooner, the count of falls alone has to
        let plan = plan_with(&[
            ("rule = \"pain_free\"", &format!("rule = \"{rule}\"")),
            ("days_without_gain_above = 42", "days_without_gain_above = 365"),
            ("weights = [0.5, 1, 1.5, 2, 2.5, 3, 4, 4.5, 5, 6, 7, 8, 9, 10]", "weights = [0.5, 1, 2, 4, 5, 8]"),
            ("sessions_to_rise = 2\nkeep = true\nstart", "sessions_to_rise = 1\nkeep = true\nstart"),
        ]);
        // the same days over and over, with nobody clearing anything
        let pattern: Vec<Event> =
            pattern.into_iter().map(|event| Event { cleared: false, sign: false, ..event }).collect();
        let events: Vec<Event> = pattern.iter().cycle().take(1500).cloned().collect();
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        let mut changes = vec![0_usize; plan.stages().len()];
        let mut late_changes = 0_usize;
        for (at, (event, on)) in events.iter().zip(days).enumerate() {
            let of_plan = &plan.stages()[event.stage];
            let (before, cut) = (progress.states[event.stage].rung, progress.states[event.stage].dose(of_plan));
            let choices = progress.choices(on);
            progress.record(&entry_of(&plan, event, on, &choices[event.stage])).unwrap();
            changes[event.stage] += usize::from(progress.states[event.stage].rung != before);
            // where nothing is proposed, what is done of the client's own accord is no move of the plan
            let is_proposed = choices[event.stage].rung.is_some();
            late_changes += usize::from(at >= 1200 && is_proposed && progress.states[event.stage].dose(of_plan) != cut);
        }
        for (stage, changes) in changes.iter().enumerate() {
            // at most three falls, each as deep as the ladder, for every new height, and the climbs between them
            let rungs = plan.stages()[stage].rungs().len();
            prop_assert!(*changes <= rungs * (3 + 4 * rungs), "{stage}: {changes}");
        }
        prop_assert_eq!(late_changes, 0, "still moving after 1200 sessions");
    }

    /// Heavy work of the wrist flexors is never proposed for the day of, or the day after, other such work. Clients do what was
    /// proposed in the morning, whatever hurt in the course of the day.
    #[test]
    fn heavy_days_are_never_next_to_each_other(events in prop::collection::vec(event(), 1..200)) {
        let plan = plan_with(&[
            ("start = \"light\"", "start = \"heavy\""),
            ("after = [\"flexors\", \"cuff\"]\npain_in_use_at_most = 2\n", ""),
            ("sets = [2, 4]\nrepetitions = [3, 3]", "sets = [2, 2]\nrepetitions = [3, 3]"),
        ]);
        let (days, facts) = days_and_facts(&events);
        let mut progress = Progress::new(&plan, &facts);
        let mut heavy: Vec<Day> = Vec::new();
        let mut morning: Option<(Day, Vec<Choice>)> = None;
        for (event, on) in events.iter().zip(days) {
            let now = progress.choices(on);
            let choices = match morning.take().filter(|(day, _)| *day == on) {
                Some((_, choices)) => choices,
                None => now.clone(),
            };
            let is_heavy = |stage: usize, rung: usize| plan.stages()[stage].phase_of(rung).is_heavy;
            for (stage, choice) in now.iter().enumerate() {
                if let Some((rung, due)) = choice.rung.zip(choice.due_on).filter(|(rung, _)| is_heavy(stage, *rung)) {
                    prop_assert!(heavy.iter().all(|day| due.days_since(*day) > 1), "{rung} on {due} after {heavy:?}");
                }
            }
            let entry = entry_of(&plan, event, on, &choices[event.stage]);
            let proposed = choices[event.stage].rung.is_some_and(|rung| is_heavy(event.stage, rung));
            if entry.is_done && proposed {
                heavy.push(on);
            }
            progress.record(&entry).unwrap();
            morning = Some((on, choices));
        }
    }

    /// Looking at proposals on the way changes nothing, and a log that is read anew leads to the same place.
    #[test]
    fn a_replay_gives_the_same_proposals(rule in rule_name(), events in prop::collection::vec(event(), 1..80)) {
        let plan = plan_of(rule);
        let (days, facts) = days_and_facts(&events);
        let mut looked = Progress::new(&plan, &facts);
        let mut entries = Vec::new();
        let mut until = day("2026-10-02");
        for (event, on) in events.iter().zip(days) {
            let choices = looked.choices(on);
            let _ = looked.choices(on.plus(40));
            let entry = entry_of(&plan, event, on, &choices[event.stage]);
            looked.record(&entry).unwrap();
            entries.push(entry);
            until = on;
        }
        let log = Log::from_entries(entries);
        let replayed = Progress::after(&plan, &facts, &log, until);
        prop_assert_eq!(replayed.choices(until.plus(1)), looked.choices(until.plus(1)));
        let written = log.to_csv(&plan).unwrap();
        let bounds = super::super::log::LogBounds { today: until.plus(20), first_visit: None };
        prop_assert_eq!(Log::parse(&written, Path::new("log.csv"), &plan, bounds).unwrap(), log);
    }
}
