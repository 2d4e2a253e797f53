//! Made-up views of a case's pages: intake, plan, log, course and the answer alone.

use super::*;
use crate::report::CourseRow;

pub(super) fn one_intake() -> IntakeView {
    IntakeView {
        code: words_of("R07"),
        facts: vec![("Sport", words_of("rowing"))],
        visits: vec![IntakeVisitView {
            on: words_of("2026-11-05"),
            date: words_of("5 November 2026"),
            numbers: vec![(words_of("Pain in use"), words_of("4"))],
            findings: vec![("Ulnar nerve at the elbow", words_of("tingling"))],
            alarm: Some("a sign of the ulnar nerve"),
            is_worse_at_rest: true,
        }],
        has_other_side: true,
    }
}

pub(super) fn intake_to_fill(parts: IntakeParts, form: FormView) -> IntakeFormView {
    IntakeFormView {
        code: words_of("R07"),
        parts,
        activities: vec![words_of("rowing")],
        today: words_of("2026-11-20"),
        was: (parts == IntakeParts::Visit).then(|| words_of("2026-11-05")),
        stopped: None,
        form,
    }
}

pub(super) fn refused_intake() -> FormView {
    let fault = |field: &str, message: &str| FieldError { field: words_of(field), message: words_of(message) };
    FormView {
        errors: vec![
            fault("spots", "there is pain, but no spot"),
            fault("pain_in_use", "expected a whole number from 0 to 10"),
            fault("grip_left_kg", "expected numbers"),
        ],
        ..FormView::default()
    }
}

pub(super) fn one_plan(decision: Decision) -> PlanView {
    let is_stopped = decision == Decision::SeeClinician;
    let stage = StageView {
        id: words_of("flexors"),
        name: words_of("Wrist flexors"),
        proposed: Some(ProposedView {
            decision,
            reason: words_of("One step up, because the dose was done in full."),
            dose: (!is_stopped).then(|| (words_of("Lowering only"), words_of("3 sets of 10, 2.5 kg"))),
            due: Some(words_of("now")),
            step: Some(words_of("dose 3 of 37")),
        }),
        how: words_of("Curl the wrist."),
        felt: words_of("Work."),
        stop: words_of("Stop when it hurts."),
        pain: words_of("None."),
        entry: words_of("Begins at once."),
        exit: words_of("Done at the end."),
        phases: vec![(words_of("Lowering only"), words_of("from light to heavy"))],
    };
    PlanView {
        code: words_of("R07"),
        name: words_of("Inner elbow"),
        stopped: None,
        needs_intake: false,
        to_mend: Vec::new(),
        cautions: words_of("Not a diagnosis."),
        see_clinician: if is_stopped { vec![words_of("See a clinician, because it hurt.")] } else { Vec::new() },
        cleared: Some((words_of("5 November 2026"), words_of("looked at"))),
        clearing: FormView::default(),
        stages: vec![stage],
        rules: vec![("one step up", words_of("the dose was done in full"))],
        is_in_pounds: false,
        upload: FormView::default(),
    }
}

pub(super) fn plan_to_edit() -> PlanFormView {
    let both = vec![words_of("sets_from.flexors.light"), words_of("sets_to.flexors.light")];
    let one = vec![words_of("lowering.flexors.light")];
    PlanFormView {
        code: words_of("R07"),
        bands: vec![words_of("light"), words_of("firm")],
        stages: vec![StageFormView {
            id: words_of("flexors"),
            name: words_of("Wrist flexors"),
            fields: vec![(words_of("days_between.flexors"), "Days from session to session")],
            optional: vec![(words_of("entry_pain.flexors"), "Begins with pain in use up to")],
            phases: vec![PhaseFormView {
                name: words_of("Light"),
                fields: vec![("Sets", both), ("Lowering, s", one)],
                bands: vec![words_of("band_from.flexors.light"), words_of("band_to.flexors.light")],
            }],
        }],
        form: FormView {
            errors: vec![FieldError { field: words_of("plan"), message: words_of("does not fit") }],
            ..FormView::default()
        },
    }
}

pub(super) fn one_answer(call: Call) -> AloneResultView {
    AloneResultView {
        visit: 1,
        client_code: words_of("R07"),
        date: words_of("5 November 2026"),
        stopped: None,
        answer: Some(AnswerView {
            call,
            difference: Some(FigureView { value: words_of("−6.1°"), interval: words_of("−8.0° to −4.2°") }),
            margin: words_of("3.0°"),
            reason: words_of("The interval lies below zero."),
            next_step: words_of("Stretch, then film again."),
            is_to_stretch: call == Call::Positive,
        }),
    }
}

pub(super) fn one_course() -> CourseView {
    let pair = |value: &str, below: &str| [words_of(value), words_of(below)];
    CourseView {
        code: words_of("R07"),
        charts: vec![(words_of("<svg></svg>"), words_of("Bar: interval."))],
        rows: vec![CourseRow {
            name: words_of("pain in use"),
            first: pair("5 of 10", "5 October"),
            latest: pair("2 of 10", "26 October"),
            change: pair("−3", "a change: 2 or more counts"),
            trend: pair("−1.00", "−1.40 to −0.60"),
            is_detected: true,
        }],
        left_out: Some(words_of("One screen was not comparable and is left out.")),
    }
}

pub(super) fn one_log(form: FormView) -> LogView {
    let due = |stage: &str| DueView {
        stage: words_of(stage),
        name: words_of("Wrist flexors"),
        decision: Decision::Hold,
        reason: words_of("The same again, because the next morning is not known."),
        dose: (words_of("Lowering only"), words_of("3 sets of 10, 2.5 kg")),
        how: [words_of("Curl."), words_of("Work."), words_of("Stop when it hurts.")],
        pain: words_of("None."),
        cells: [words_of("2.5 kg"), words_of("3"), words_of("10"), String::new()],
        load_hint: Some(words_of("a weight")),
        has_seconds: true,
    };
    LogView {
        code: words_of("R07"),
        today: words_of("2026-11-20"),
        stopped: None,
        needs_intake: false,
        is_to_mend: false,
        see_clinician: Vec::new(),
        mornings: vec![MorningView {
            day: words_of("2026-11-19"),
            date: words_of("19 November"),
            stages: words_of("Cuff"),
        }],
        due: vec![due("flexors"), due("cuff")],
        not_due: vec![(words_of("Pulling up"), words_of("not yet"), words_of("Not yet, because."))],
        entries: vec![EntryView {
            id: 4,
            stage: words_of("Cuff"),
            words: words_of("19 November: pain 0"),
            sign: Some(DangerSign::WeakGrip),
            note: words_of("slow"),
        }],
        has_more: true,
        adherence: words_of("1 session in the last 28 days."),
        form,
    }
}

pub(super) fn refused_entry() -> FormView {
    let values = [("stage", "flexors"), ("pain_during", "11"), ("load", "-5 kg")];
    FormView {
        values: values.map(|(name, value)| (words_of(name), words_of(value))).into_iter().collect(),
        errors: vec![
            FieldError { field: words_of("load"), message: words_of("Load is \"-5 kg\"") },
            FieldError { field: words_of("pain_during"), message: words_of("is 11") },
            FieldError { field: words_of("file"), message: words_of("line 3: is 11") },
        ],
    }
}

pub(super) fn entry_to_correct() -> EntryFormView {
    EntryFormView {
        code: words_of("R07"),
        id: Some(4),
        today: words_of("2026-11-20"),
        stages: vec![(words_of("flexors"), words_of("Wrist flexors"))],
        stopped: Some(words_of("See a clinician first.")),
        form: FormView::default(),
    }
}
