//! Cases of days and changes: several entries of one day, what is told late, pauses in what is told, plans that are changed, and
//! the long way to the end. Expected doses follow from the default plan, as in [`super::cases`].

use std::cell::Cell;

use super::super::danger::DangerSign;
use super::super::decision::Decision;
use super::super::engine::Progress;
use super::*;

#[test]
fn entries_of_one_day_are_one_session_and_the_worst_of_them_decides() {
    let plan = plan();
    let twice = [good(&plan, 1), good(&plan, 1)].concat();
    let proposal = next(&plan, &facts(), &twice, "2026-10-04");
    assert_eq!(of(&proposal, "flexors").decision, Decision::Hold, "{}", of(&proposal, "flexors").reason);
    assert_eq!(words(&proposal, "flexors"), "3 sets of 10, 1 kg, lowering over 5 s");
    // six sessions end the ball's stage: six rows of one day are one
    let rolled = vec![session(&plan, "2026-10-02", "soft_tissue", "", 0, Some(0)); 6];
    let ball = next(&plan, &facts(), &rolled, "2026-10-03");
    assert_ne!(of(&ball, "soft_tissue").decision, Decision::StageDone);
    // the second day counts, and is named once
    let days = [twice.clone(), vec![session(&plan, "2026-10-04", "flexors", "", 0, Some(0)); 2]].concat();
    let up = next(&plan, &facts(), &days, "2026-10-06");
    assert_eq!(words(&up, "flexors"), "3 sets of 15, 1 kg, lowering over 5 s");
    assert!(of(&up, "flexors").reason.ends_with("(rule ready; 2 and 4 October)."), "{}", of(&up, "flexors").reason);
    // whatever hurt or was not known on a day holds, in either order
    for bad in [
        LogEntry { pain_during: Some(3), ..twice[0].clone() },
        LogEntry { pain_next_morning: Some(2), ..twice[0].clone() },
        LogEntry { pain_next_morning: None, ..twice[0].clone() },
        LogEntry { sets: Some(1), ..twice[0].clone() },
    ] {
        let mut days = days.clone();
        days[3] = LogEntry { day: days[3].day, ..bad };
        for _ in 0..2 {
            let proposal = next(&plan, &facts(), &days, "2026-10-06");
            let stage = of(&proposal, "flexors");
            assert!(
                matches!(stage.decision, Decision::Hold | Decision::Stay | Decision::ChangeOfMode),
                "{}",
                stage.reason
            );
            assert!(!words(&proposal, "flexors").contains("of 15"), "{}", words(&proposal, "flexors"));
            days.swap(2, 3);
        }
    }
}

#[test]
fn a_clearance_answers_only_what_was_entered_before_it() {
    let plan = plan();
    let cleared = Facts { clearances: vec![day("2026-10-15")], ..facts() };
    let with = |late: LogEntry| [good(&plan, 2), vec![late]].concat();
    let sign = LogEntry { sign: Some(DangerSign::Fever), ..session(&plan, "2026-10-10", "cuff", "", 0, Some(0)) };
    let severe = session(&plan, "2026-10-10", "cuff", "", 9, None);
    let morning = session(&plan, "2026-10-10", "cuff", "", 0, Some(8));
    for (late, words) in [
        (sign, "a fever was noted on 10 October"),
        (severe, "severe pain during a session was noted on 10 October"),
        (morning, "strong pain on the morning after a session was noted on 11 October"),
    ] {
        assert_ne!(
            of(&next(&plan, &cleared, &with(late.clone()), "2026-10-20"), "flexors").decision,
            Decision::SeeClinician
        );
        for entered in ["2026-10-15", "2026-10-20"] {
            let late = LogEntry { entered: Some(day(entered)), ..late.clone() };
            let proposal = next(&plan, &cleared, &with(late.clone()), "2026-10-20");
            for stage in &proposal.stages {
                assert_eq!((stage.decision, stage.dose.is_none()), (Decision::SeeClinician, true), "{entered}");
                assert!(stage.reason.contains(words), "{}", stage.reason);
            }
            // one that came up and was told later does not hide it, nor does the answer to that one answer it
            let other = LogEntry { day: day("2026-10-12"), entered: None, ..late.clone() };
            let both = next(&plan, &cleared, &[with(late.clone()), vec![other]].concat(), "2026-10-20");
            assert!(of(&both, "pull").reason.contains(words), "{}", of(&both, "pull").reason);
            let again = Facts { clearances: vec![day("2026-10-15"), day("2026-10-21")], ..facts() };
            let after = next(&plan, &again, &with(late), "2026-10-21");
            assert_ne!(of(&after, "flexors").decision, Decision::SeeClinician);
        }
    }
}

#[test]
fn falls_that_were_told_after_a_clearance_are_not_answered_by_it() {
    let plan = plan();
    let sore = |on: &str| session(&plan, on, "flexors", "", 4, Some(0));
    let mut entries = vec![sore("2026-10-02"), sore("2026-10-04"), sore("2026-10-06")];
    let cleared = Facts { clearances: vec![day("2026-10-07")], ..facts() };
    assert_eq!(of(&next(&plan, &cleared, &entries, "2026-10-08"), "flexors").decision, Decision::Hold);
    entries.iter_mut().for_each(|entry| entry.entered = Some(day("2026-10-08")));
    assert_eq!(of(&next(&plan, &cleared, &entries, "2026-10-08"), "flexors").decision, Decision::SeeClinician);
}

/// The first day on which the flexors end with a clinician or are done, of somebody who does all of them as proposed, every second
/// day, with pain as a function of the phase and of how many sessions were done before.
fn flexors_until_the_end(plan: &Plan, pain: impl Fn(&str, usize) -> u8) -> (i32, Decision, String) {
    let (facts, flexors) = (facts(), plan.stage_at("flexors").unwrap());
    let (first, mut entries) = (day("2026-10-02"), Vec::new());
    let mut progress = Progress::new(plan, &facts);
    for on in (0..1000).map(|at| first.plus(at)) {
        let choice = progress.choices(on)[flexors];
        if matches!(choice.decision, Decision::StageDone | Decision::SeeClinician) {
            let proposal = next(plan, &facts, &entries, &on.to_string());
            return (on.days_since(first), choice.decision, of(&proposal, "flexors").reason.clone());
        }
        if let Some(rung) = choice.rung.filter(|_| choice.due_on == Some(on)) {
            let pain = pain(&plan.stages()[flexors].phase_of(rung).id, entries.len());
            let entry = session(plan, &on.to_string(), "flexors", "", pain, Some(0));
            progress.record(&entry).unwrap();
            entries.push(entry);
        }
    }
    panic!("neither done nor stopped");
}

#[test]
fn lowering_only_leads_back_to_lifting_and_to_the_end() {
    for plan in [Plan::default_plan(Unit::Kg), Plan::default_plan(Unit::Lb)] {
        // the first session hurts, and none after it: lowering only from the lightest weight up, then lifting from there
        let (days, decision, reason) = flexors_until_the_end(&plan, |_, before| if before == 0 { 2 } else { 0 });
        assert_eq!(decision, Decision::StageDone, "day {days}: {reason}");
        // the last weight of lowering only stands for 4.5 kg, or 10 lb
        let stage = &plan.stages()[plan.stage_at("flexors").unwrap()];
        let last = stage.rungs().iter().rfind(|rung| stage.phases[rung.phase].id == "lowering").unwrap();
        assert!(matches!(last.load, Load::Weight(weight) if (weight.kg() - 4.5).abs() < 0.05), "{last:?}");
    }
}

#[test]
fn a_single_flare_up_on_the_way_is_no_standstill() {
    let plan = plan();
    // 22 doses of lifting, two sessions each: whenever it hurts once, the way back is taken for one
    for at in 0..44 {
        let (days, decision, reason) = flexors_until_the_end(&plan, |_, before| if before == at { 3 } else { 0 });
        assert_eq!(decision, Decision::StageDone, "flare-up in session {at}, day {days}: {reason}");
    }
}

#[test]
fn what_goes_to_and_fro_is_seen_by_a_clinician() {
    let plan = plan();
    // Lowering never hurts and lifting always does. Lowering takes 7 weights with three doses of two sessions, every second day:
    // 84 days a climb less the dose that it begins at, and lifting hurts again at once: the second time, with nothing gained between
    let (days, decision, reason) = flexors_until_the_end(&plan, |phase, _| if phase == "lowering" { 0 } else { 2 });
    assert_eq!(decision, Decision::SeeClinician);
    assert!((80..=90).contains(&days) && reason.contains("rule hurts_again"), "day {days}: {reason}");
    assert!(reason.contains("2 October and 27 December"), "{reason}");
    // who comes further each time is not sent away: the third session of lifting hurts, and the fifth one after the way back
    let (falls, lifted) = (Cell::new(0), Cell::new(0));
    let (_, decision, reason) = flexors_until_the_end(&plan, |phase, _| {
        if phase != "light" || falls.get() == 2 {
            return 0;
        }
        lifted.set(lifted.get() + 1);
        let is_sore = lifted.get() == [3, 5][falls.get()];
        if is_sore {
            falls.set(falls.get() + 1);
            lifted.set(0);
        }
        u8::from(is_sore)
    });
    assert_eq!((decision, falls.get()), (Decision::StageDone, 2), "{reason}");
    // one dose higher hurts each time: up and down by a step, three falls
    let (days, decision, reason) = flexors_until_the_end(&plan, |phase, before| match phase {
        "light" if before < 6 => 0,
        "light" => 2,
        _ => u8::from(before % 5 == 0),
    });
    assert_eq!(decision, Decision::SeeClinician, "day {days}: {reason}");
}

#[test]
fn a_plan_that_is_changed_does_not_leap() {
    let before = plan();
    // ten entries that state nothing are kept with what was proposed: 1, 1.5 and 2 kg with 10 and 15
    let kept = Log::from_entries(good(&before, 10)).stated(&before, &facts());
    let loads: Vec<String> = kept.entries().iter().map(|entry| entry.load.words(&[])).collect();
    assert_eq!(loads, ["1 kg", "1 kg", "1 kg", "1 kg", "1.5 kg", "1.5 kg", "1.5 kg", "1.5 kg", "2 kg", "2 kg"]);
    assert_eq!((kept.entries()[2].sets, kept.entries()[2].repetitions), (Some(3), Some(15)));
    assert_eq!(
        words(&next(&before, &facts(), kept.entries(), "2026-10-22"), "flexors"),
        "3 sets of 15, 2 kg, lowering over 5 s"
    );
    // one session a rise from now on: no further than one step above the 2 kg that were done
    let eager = plan_with(&[("sessions_to_rise = 2\nkeep = true\nstart", "sessions_to_rise = 1\nkeep = true\nstart")]);
    let proposal = next(&eager, &facts(), kept.entries(), "2026-10-22");
    let load = of(&proposal, "flexors").dose.as_ref().unwrap().load.clone().unwrap();
    assert!(["2 kg", "2.5 kg"].contains(&load.as_str()), "{load}");
    // light up to 1 kg, heavy from 5 kg: what was done lies in neither, and 5 kg are not the same again
    let gap = plan_with(&[
        ("lowering_s = 5\nweight_kg = [1.0, 4.5]", "lowering_s = 5\nweight_kg = [1.0, 1.0]"),
        ("lowering_s = 5\nweight_kg = [1.0, 4.5]", "lowering_s = 5\nweight_kg = [1.0, 1.0]"),
    ]);
    let proposal = next(&gap, &facts(), kept.entries(), "2026-10-22");
    assert_eq!(of(&proposal, "flexors").dose.as_ref().unwrap().load.as_deref(), Some("1 kg"));
    let heavy = plan_with(&[
        ("start = \"light\"", "start = \"heavy\""),
        ("lowering_s = 5\nweight_kg = [1.0, 4.5]", "lowering_s = 5\nweight_kg = [4.5, 4.5]"),
        ("lowering_s = 5\nweight_kg = [1.0, 4.5]", "lowering_s = 5\nweight_kg = [4.5, 4.5]"),
    ]);
    let stage = of(&next(&heavy, &facts(), kept.entries(), "2026-10-22"), "flexors").clone();
    assert_eq!((stage.decision, stage.dose.is_none()), (Decision::SeeClinician, true), "{}", stage.reason);
    assert!(stage.reason.contains("the plan needs a lighter one"), "{}", stage.reason);
}

#[test]
fn who_does_less_goes_on_one_step_above_it() {
    let plan = plan();
    // the ninth session was to be 2 kg with 10; with 1 kg, of its own accord, the next is 1.5 kg
    let mut entries = good(&plan, 8);
    entries.push(session(&plan, "2026-10-18", "flexors", "1 kg", 0, Some(0)));
    let proposal = next(&plan, &facts(), &entries, "2026-10-20");
    assert_eq!(words(&proposal, "flexors"), "3 sets of 10, 1.5 kg, lowering over 5 s");
    let reason = &of(&proposal, "flexors").reason;
    assert!(
        reason.contains("no more is proposed than one step above what was done last (18 October: 1 kg"),
        "{reason}"
    );
    // 2 lb are no weight of the plan, and near enough to its lightest
    let odd = [session(&plan, "2026-10-02", "flexors", "0.9 kg", 0, Some(0))];
    assert_eq!(words(&next(&plan, &facts(), &odd, "2026-10-04"), "flexors"), "3 sets of 10, 1 kg, lowering over 5 s");
}

#[test]
fn a_kept_stage_that_is_done_says_so_on_later_days() {
    let plan = plan();
    let daily: Vec<LogEntry> = (0..24)
        .map(|at| session(&plan, &day("2026-10-02").plus(at).to_string(), "lat_stretch", "", 0, Some(0)))
        .collect();
    // three sessions a dose and three doses, and six at the last: the stage is done on the day after the twelfth
    let done = next(&plan, &facts(), &daily[..12], "2026-10-14");
    assert_eq!(of(&done, "lat_stretch").decision, Decision::StageDone, "{}", of(&done, "lat_stretch").reason);
    for until in 13..24 {
        let on = day("2026-10-02").plus(until).to_string();
        let later = next(&plan, &facts(), &daily[..usize::try_from(until).unwrap()], &on);
        let stage = of(&later, "lat_stretch");
        assert_eq!(stage.decision, Decision::Hold);
        assert!(stage.reason.contains("what ends this stage is done, and it goes on"), "{}", stage.reason);
    }
}

#[test]
fn a_visit_that_is_missing_is_asked_for_and_is_no_standstill() {
    let plan = plan();
    let before = VisitPain { on: day("2026-10-01"), in_use: 2, on_pressing: 5 };
    let rolls: Vec<LogEntry> = (0..80)
        .map(|at| session(&plan, &day("2026-10-02").plus(at).to_string(), "soft_tissue", "", 1, Some(0)))
        .collect();
    let at = |visits: Vec<VisitPain>, count: i32| {
        let entries = &rolls[..usize::try_from(count).unwrap()];
        let on = day("2026-10-02").plus(count).to_string();
        of(&next(&plan, &Facts { visits, ..facts() }, entries, &on), "soft_tissue").clone()
    };
    for count in [8, 50, 80] {
        let stage = at(vec![before], count);
        assert_eq!(stage.decision, Decision::Hold, "{}", stage.reason);
        assert!(stage.reason.contains("a visit at which pressing the spot hurts 2 or less"), "{}", stage.reason);
    }
    // a visit that asked, and found it as sore as ever: six weeks of it are no gain
    let asked = VisitPain { on: day("2026-10-20"), in_use: 2, on_pressing: 5 };
    assert_eq!(at(vec![before, asked], 20).decision, Decision::Hold);
    assert_eq!(at(vec![before, asked], 80).rule.as_deref(), Some("no_gain"));
    let eased = VisitPain { on_pressing: 2, ..asked };
    assert_eq!(at(vec![before, eased], 20).decision, Decision::Finished);
}

#[test]
fn mornings_that_are_not_told_are_asked_for_and_are_no_standstill() {
    let plan = plan();
    let mut entries = good(&plan, 40);
    entries.iter_mut().for_each(|entry| entry.pain_next_morning = None);
    let stage = of(&next(&plan, &facts(), &entries, "2026-12-21"), "flexors").clone();
    assert_eq!((stage.decision, stage.rule.as_deref()), (Decision::Hold, Some("morning_unknown")), "{}", stage.reason);
}

#[test]
fn sessions_that_come_too_soon_do_not_count_towards_a_rise() {
    let plan = plan();
    let daily: Vec<LogEntry> =
        (0..3).map(|at| session(&plan, &day("2026-10-02").plus(at).to_string(), "flexors", "", 0, Some(0))).collect();
    let early = next(&plan, &facts(), &daily[..2], "2026-10-05");
    let stage = of(&early, "flexors");
    assert_eq!(stage.decision, Decision::Hold);
    let words = "a session sooner than 2 days after the one before does not count towards a rise (3 October: pain 0";
    assert!(stage.reason.contains(words), "{}", stage.reason);
    // the third day is two after the first, and those are the two sessions of a rise
    let third = next(&plan, &facts(), &daily, "2026-10-06");
    assert_eq!(
        (of(&third, "flexors").decision, of(&third, "flexors").entries.as_slice()),
        (Decision::Up, [day("2026-10-02"), day("2026-10-04")].as_slice())
    );
    // pain in it counts as in any other
    let mut sore = daily.clone();
    sore[1].pain_during = Some(3);
    assert_eq!(of(&next(&plan, &facts(), &sore[..2], "2026-10-05"), "flexors").decision, Decision::ChangeOfMode);
    // heavy work every day never counts, and says why
    let heavy = plan_with(&[("start = \"light\"", "start = \"heavy\"")]);
    let daily: Vec<LogEntry> =
        (0..10).map(|at| session(&heavy, &day("2026-10-02").plus(at).to_string(), "flexors", "", 0, Some(0))).collect();
    for count in 2..10 {
        let on = day("2026-10-02").plus(i32::try_from(count).unwrap() + 1).to_string();
        let proposal = next(&heavy, &facts(), &daily[..count], &on);
        let stage = of(&proposal, "flexors");
        assert_eq!(stage.decision, Decision::Hold);
        assert!(stage.reason.contains("heavy work of the forearm on consecutive days"), "{}", stage.reason);
    }
}

#[test]
fn a_plan_that_gets_another_weight_follows_what_was_done() {
    // 4.5 kg come to exist once somebody is at 8 kg: what was done from 5 kg on, with fewer repetitions, is no less than 4.5 kg
    let before = plan_with(&[("4, 4.5, 5", "4, 5")]);
    let kept = Log::from_entries(good(&before, 44)).stated(&before, &facts());
    let stage = of(&next(&plan(), &facts(), kept.entries(), "2027-01-01"), "flexors").clone();
    assert_eq!(stage.dose.as_ref().unwrap().words, "3 sets of 8, 8 kg, lowering over 3 s", "{}", stage.reason);
    assert_eq!(stage.decision, Decision::StageDone, "{}", stage.reason);
}

#[test]
fn sets_that_are_entered_apart_are_asked_for_together() {
    let plan = plan();
    let first = good(&plan, 1);
    let part = |sets: u16| LogEntry { sets: Some(sets), ..session(&plan, "2026-10-04", "flexors", "", 0, Some(0)) };
    let told = |parts: &[u16]| {
        let entries = [first.clone(), parts.iter().map(|sets| part(*sets)).collect()].concat();
        of(&next(&plan, &facts(), &entries, "2026-10-06"), "flexors").clone()
    };
    let apart = told(&[2, 1]);
    assert_eq!((apart.decision, apart.rule.as_deref()), (Decision::Stay, Some("short")));
    assert!(
        apart.reason.contains("are not added up, so enter them together (rule short; 4 October: "),
        "{}",
        apart.reason
    );
    for short in [&[2][..], &[1, 1], &[3, 2]] {
        let stage = told(short);
        assert_eq!(stage.decision, Decision::Stay);
        assert!(!stage.reason.contains("added up"), "{}", stage.reason);
    }
    assert_eq!(told(&[3]).decision, Decision::Up);
}

#[test]
fn words_stand_beside_what_was_done() {
    let plan = plan();
    // 2 kg of its own accord, twice, where 1 kg was proposed: the plan takes its own step, which is less
    let entries: Vec<LogEntry> =
        ["2026-10-02", "2026-10-04"].iter().map(|on| session(&plan, on, "flexors", "2 kg", 0, Some(0))).collect();
    let more = next(&plan, &facts(), &entries, "2026-10-06");
    assert_eq!(words(&more, "flexors"), "3 sets of 15, 1 kg, lowering over 5 s");
    assert_eq!(
        of(&more, "flexors").reason,
        "Less, because more was done last than the plan has come to, and it goes one step at a time (4 October: 2 kg, pain 0, \
         0 the next morning)."
    );
    // 15 repetitions where 10 were proposed are the next step
    let ahead: Vec<LogEntry> =
        ["2026-10-02", "2026-10-04"].iter().map(|on| counted(&plan, on, [3, 15], 0, Some(0))).collect();
    let stage = of(&next(&plan, &facts(), &ahead, "2026-10-06"), "flexors").clone();
    assert_eq!((stage.decision, stage.dose.as_ref().unwrap().repetitions), (Decision::Hold, 15));
    assert!(
        stage.reason.starts_with("The same again, because the plan's next step is what was done last"),
        "{}",
        stage.reason
    );
    // what hurt was less than was proposed: the next is less than that, and where there is none, no more
    let mut sore = good(&plan, 4);
    sore.push(counted(&plan, "2026-10-10", [3, 10], 3, Some(0)));
    let mut lowered = next(&plan, &facts(), &sore, "2026-10-12");
    assert_eq!(words(&lowered, "flexors"), "3 sets of 10, 1 kg, lowering over 5 s");
    assert_eq!(of(&lowered, "flexors").decision, Decision::ChangeOfMode);
    sore.push(counted(&plan, "2026-10-12", [2, 10], 3, Some(0)));
    lowered = next(&plan, &facts(), &sore, "2026-10-14");
    let stage = of(&lowered, "flexors");
    assert_eq!((stage.decision, stage.dose.as_ref().unwrap().sets), (Decision::Hold, 2), "{}", stage.reason);
    assert!(stage.reason.contains("the plan has no lighter dose than this one"), "{}", stage.reason);
}

#[test]
fn a_pause_does_not_hide_what_was_before_it() {
    let plan = plan();
    let mut entries = good(&plan, 10);
    entries[9].pain_during = Some(3);
    let sore = next(&plan, &facts(), &entries, "2026-11-22");
    let reason = &of(&sore, "flexors").reason;
    assert!(
        reason.contains("off, the way back begins no more than half way up, and because it hurt before that"),
        "{reason}"
    );
    // the stage's exit was met by the last session before the pause
    let done = good(&plan, 44);
    let stage = of(&next(&plan, &facts(), &done, "2026-12-28"), "flexors").clone();
    assert_eq!(stage.decision, Decision::StageDone, "{}", stage.reason);
    let stage = of(&next(&plan, &facts(), &done, "2027-04-20"), "flexors").clone();
    assert_eq!(stage.dose.as_ref().unwrap().load.as_deref(), Some("1 kg"), "{}", stage.reason);
    assert!(matches!(stage.decision, Decision::Down | Decision::ChangeOfMode), "{}", stage.reason);
    assert!(
        stage.reason.contains(
            "begins from the start; what ends this stage had been done before, and it goes on (rule pause_of_months"
        ),
        "{}",
        stage.reason
    );
    // where a visit with less pain on pressing is still to come, nothing is done by its sessions alone
    let pressing = Facts { visits: vec![VisitPain { on: day("2026-10-01"), in_use: 2, on_pressing: 5 }], ..facts() };
    let balls: Vec<LogEntry> = (0..10)
        .map(|at| session(&plan, &day("2026-10-02").plus(at).to_string(), "soft_tissue", "", 0, Some(0)))
        .collect();
    let reason = of(&next(&plan, &pressing, &balls, "2026-10-28"), "soft_tissue").reason.clone();
    assert!(reason.contains("rule long_pause") && !reason.contains("had been done"), "{reason}");
    // less was done than proposed before the pause: the way back begins from what was done
    let mut less = good(&plan, 16);
    less[15] = session(&plan, "2026-11-01", "flexors", "1.5 kg", 0, Some(0));
    let proposal = next(&plan, &facts(), &less, "2026-11-17");
    assert_eq!(of(&proposal, "flexors").dose.as_ref().unwrap().load.as_deref(), Some("1 kg"));
}
