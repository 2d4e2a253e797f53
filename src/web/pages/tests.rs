//! Every page rendered from made-up views: nothing inline, ids unique, labels joined to fields. With `TWOREACH_GALLERY=DIR`
//! the pages are written there to be looked at.

mod case_samples;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use maud::Markup;

use super::*;
use crate::geometry::{Landmark, Side};
use crate::plan::Decision;
use crate::pose::{Rotation, View};
use crate::records::{AnsweredBy, DangerSign, ScreeningOutcome};
use crate::report::{draw_comparison, draw_retest};
use crate::screen::{
    Call, CheckStatus, MeasureOptions, Occasion, ResultSide, RetestOutcome, VisitResult, measure_case,
};
use crate::web::view::*;
use case_samples::*;

/// What the demo case measures, for the drawings.
static DEMO: LazyLock<VisitResult> = LazyLock::new(|| {
    let case = concat!(env!("CARGO_MANIFEST_DIR"), "/demo-clips/side/case.toml");
    measure_case(case.as_ref(), MeasureOptions::default()).expect("the demo case measures").result
});

fn all_pages() -> Vec<(&'static str, Markup)> {
    let mut refused = FormView::default();
    refused.values.insert("code".to_owned(), "Jane Doe".to_owned());
    refused.errors = vec![
        FieldError { field: "sign_fever".to_owned(), message: "fever: answer yes or no".to_owned() },
        FieldError { field: "code".to_owned(), message: "code: letters, digits and hyphens".to_owned() },
    ];
    let signs = DangerSign::ALL.to_vec();
    let first = ClientsView { clients: Vec::new(), offers_demo: true };
    vec![
        ("start", clients(&first)),
        ("clients", clients(&client_list())),
        ("new-client", new_client(&NewClientView { signs: signs.clone(), form: FormView::default() })),
        ("new-client-refused", new_client(&NewClientView { signs: signs.clone(), form: refused })),
        ("screening", screening(&ScreeningFormView { code: "R07".to_owned(), signs, form: FormView::default() })),
        ("client", client(&one_client(ScreeningOutcome::Clear))),
        ("client-stopped", client(&one_client(ScreeningOutcome::SeeClinician))),
        ("delete-client", delete_client(&client_to_delete(FormView::default()))),
        ("delete-reach", delete_reach(&reach_to_delete())),
        ("delete-visit", delete_visit(&visit_to_delete())),
        ("client-facts", client_facts(&CorrectClientView { code: "R07".to_owned(), form: FormView::default() })),
        ("reach-facts", reach_facts(&reach_to_correct())),
        ("visit", visit(&one_visit())),
        ("visit-stopped", visit(&VisitView { stopped: Some("See a clinician first.".to_owned()), ..one_visit() })),
        ("result-stopped", result(&ResultView { stopped: Some("See a clinician first.".to_owned()), ..measured() })),
        ("palms", palms(&still(false))),
        ("palms-contrary", palms(&still(true))),
        ("mark", mark(&marking(1))),
        ("mark-blind", mark(&marking(2))),
        ("result", result(&measured())),
        ("alone-start", alone_start(&AloneStartView { signs: DangerSign::ALL.to_vec(), form: FormView::default() })),
        ("alone", alone(&AloneView { visit: one_visit(), goes_on: None, landmarks: marking(1).landmarks })),
        ("alone-result", alone_result(&one_answer(Call::Positive))),
        ("alone-result-open", alone_result(&one_answer(Call::NotComparable))),
        ("intake", intake(&one_intake())),
        ("intake-new", intake_form(&intake_to_fill(IntakeParts::All, FormView::default()))),
        ("intake-new-refused", intake_form(&intake_to_fill(IntakeParts::All, refused_intake()))),
        ("intake-visit", intake_form(&intake_to_fill(IntakeParts::Visit, FormView::default()))),
        ("plan", plan(&one_plan(Decision::Up))),
        ("plan-stopped", plan(&one_plan(Decision::SeeClinician))),
        ("plan-edit", plan_form(&plan_to_edit())),
        ("course", course(&one_course())),
        ("log", log(&one_log(FormView::default()))),
        ("log-refused", log(&one_log(refused_entry()))),
        ("log-entry", log_entry(&entry_to_correct())),
        ("guide", guide()),
        ("error", error(&ErrorView { status: 404, text: "There is no such visit.".to_owned() })),
    ]
}

fn client_list() -> ClientsView {
    let line = |code: &str, visits, last: Option<&str>, is_demo| ClientLine {
        code: code.to_owned(),
        side: ResultSide::Right,
        visits,
        last_visit: last.map(str::to_owned),
        is_demo,
    };
    ClientsView {
        clients: vec![line("C12", 0, None, false), line("R07", 1, Some("25 November 2026"), true)],
        offers_demo: false,
    }
}

fn one_client(outcome: ScreeningOutcome) -> ClientView {
    let is_clear = outcome == ScreeningOutcome::Clear;
    ClientView {
        code: "R07".to_owned(),
        side: ResultSide::Right,
        stature: Some("1790 mm".to_owned()),
        arm_length: Some("630 mm".to_owned()),
        is_demo: true,
        screening: Some(ScreeningView {
            date: "25 November 2026".to_owned(),
            answered_by: AnsweredBy::Client,
            signs: if is_clear { Vec::new() } else { vec![DangerSign::NightPain, DangerSign::WeakGrip] },
            reason: None,
            outcome,
        }),
        may_visit: is_clear,
        refused: None,
        ways: vec![WayView { path: "intake", name: "Intake", state: "not begun".to_owned() }],
        visits: vec![VisitLine {
            id: 1,
            date: "25 November 2026".to_owned(),
            reaches: 4,
            call: Some(Call::Negative),
            retest: Some(RetestOutcome::Improved),
        }],
    }
}

fn words_of(text: &str) -> String {
    text.to_owned()
}

fn client_to_delete(form: FormView) -> DeleteClientView {
    DeleteClientView {
        code: "R07".to_owned(),
        visits: 1,
        reaches: 4,
        marks: 52,
        log_entries: 9,
        media: 4,
        media_kept: 1,
        size: "2 MB".to_owned(),
        form,
    }
}

fn reach_to_delete() -> DeleteReachView {
    DeleteReachView {
        reach: 3,
        visit: 1,
        client_code: "R07".to_owned(),
        occasion: Occasion::Before,
        rotation: Rotation::External,
        marks: 12,
        size: Some("480 kB".to_owned()),
    }
}

fn visit_to_delete() -> DeleteVisitView {
    DeleteVisitView {
        visit: 1,
        client_code: "R07".to_owned(),
        date: "25 November 2026".to_owned(),
        reaches: 4,
        marks: 61,
        media: 3,
        media_kept: 1,
        size: "1.4 MB".to_owned(),
    }
}

fn reach_to_correct() -> ReachFactsView {
    let still_url = "/api/reaches/1/frames/60.jpg?size=preview".to_owned();
    let mut form = FormView::default();
    form.values.insert("near_side".to_owned(), "right".to_owned());
    form.errors = vec![FieldError { field: "near_side".to_owned(), message: "choose the side".to_owned() }];
    ReachFactsView { reach: 1, visit: 1, client_code: "R07".to_owned(), still_url, form }
}

fn one_visit() -> VisitView {
    let reach = |id, state, elevation: Option<&str>| ReachView {
        id,
        view: View::Side,
        near_side: Some(Side::Right),
        mirrored: false,
        state,
        elevation: elevation.map(str::to_owned),
        interval: elevation.map(|_| "151.4° to 155.2°".to_owned()),
        reason: None,
        still_url: "/api/reaches/1/frames/60.jpg?size=preview".to_owned(),
        clip: "3.4 s, 1280 × 720".to_owned(),
        warning: None,
        has_unclear_palms: state == CellState::Marked,
        repeats: 1,
    };
    let missing = vec![Landmark::Hip(Side::Right), Landmark::PlumbTop];
    let cell = |occasion, rotation, state, next, reaches| CellView { occasion, rotation, state, next, reaches };
    VisitView {
        id: 1,
        client_code: "R07".to_owned(),
        is_alone: false,
        is_demo: true,
        date: "25 November 2026".to_owned(),
        affected_side: ResultSide::Right,
        cells: vec![
            cell(
                Occasion::Before,
                Rotation::Internal,
                CellState::Measured,
                NextStep::MarkAgain { reach: 1, repeat: 2 },
                vec![reach(1, CellState::Measured, Some("153.3°"))],
            ),
            cell(
                Occasion::Before,
                Rotation::External,
                CellState::Marked,
                NextStep::FinishMarks { reach: 2, missing },
                vec![reach(2, CellState::Marked, None)],
            ),
            cell(
                Occasion::After,
                Rotation::Internal,
                CellState::Filmed,
                NextStep::ConfirmPalms { reach: 3 },
                vec![reach(3, CellState::Filmed, None)],
            ),
            cell(Occasion::After, Rotation::External, CellState::Empty, NextStep::Film, Vec::new()),
        ],
        stopped: None,
        is_painful: false,
        has_result: true,
        steadiness: Some(SteadinessView {
            spread: "1.4".to_owned(),
            interval: "1.2 to 1.7".to_owned(),
            assumed: "1.5".to_owned(),
            is_worse: false,
            angle: Some(("0.6".to_owned(), "1.7".to_owned())),
        }),
        settings: SettingsView {
            form: FormView::default(),
            profile_name: Some("phone main camera".to_owned()),
            lenses: Vec::new(),
        },
        upload: FormView::default(),
    }
}

fn still(is_contrary: bool) -> PalmsView {
    PalmsView {
        reach: 1,
        visit: 1,
        client_code: "R07".to_owned(),
        occasion: Occasion::Before,
        rotation: Rotation::Internal,
        still_url: "/api/reaches/1/frames/60.jpg?size=full".to_owned(),
        warning: None,
        answered: is_contrary.then_some("up"),
        error: None,
        is_contrary,
        has_other: true,
        is_wide: true,
    }
}

fn marking(repeat: u32) -> MarkView {
    let right = Side::Right;
    let landmark = |landmark, is_required| LandmarkView { landmark, is_required };
    MarkView {
        reach: 1,
        visit: 1,
        client_code: "R07".to_owned(),
        is_alone: false,
        occasion: Occasion::Before,
        rotation: Rotation::Internal,
        view: View::Side,
        near_side: Some(right),
        mirrored: false,
        image_size: [1280, 720],
        frames: 102,
        is_followable: repeat == 1,
        repeat,
        raise: 1,
        landmarks: vec![
            landmark(Landmark::Shoulder(right), true),
            landmark(Landmark::Elbow(right), true),
            landmark(Landmark::Wrist(right), true),
            landmark(Landmark::Hip(right), true),
            landmark(Landmark::PlumbTop, true),
            landmark(Landmark::PlumbBottom, true),
            landmark(Landmark::Wrist(Side::Left), false),
            landmark(Landmark::BarEnd(right), false),
            landmark(Landmark::BarEnd(Side::Left), false),
            landmark(Landmark::Datum, false),
        ],
        pain: None,
        limited_by: None,
        back_flat: None,
    }
}

fn measured() -> ResultView {
    let drawn = &*DEMO;
    let check = |name: &str, status, text: &str| CheckView { name: name.to_owned(), status, text: text.to_owned() };
    let figure = |value: &str, interval: &str| FigureView { value: value.to_owned(), interval: interval.to_owned() };
    let drawings = draw_comparison(drawn, 0, 3.0);
    let comparison = ComparisonView {
        occasion: Occasion::Before,
        side: ResultSide::Right,
        call: Call::Positive,
        call_words: "positive (fail)".to_owned(),
        difference: Some(figure("−11.3°", "−13.9° to −8.7°")),
        margin: "3.0°".to_owned(),
        bar_height_difference: Some(figure("−52 mm", "−64 to −40 mm")),
        bar_height_says: Some(Call::Positive),
        basis: vec!["single_raise".to_owned()],
        reason: "The externally rotated reach is lower. That is beyond the margin of 3.0 deg.".to_owned(),
        next_step: "Film three raises in each reach.".to_owned(),
        checks: vec![check("same_grip", CheckStatus::Ok, "Grip width 620 mm in both reaches.")],
        rays_svg: drawings.rays,
        gauge_svg: drawings.gauge,
    };
    let retest = drawn.retest.as_ref().map(|retest| {
        let drawings = draw_retest(drawn, retest, 3.0);
        RetestView {
            outcome: RetestOutcome::Improved,
            outcome_words: "improved".to_owned(),
            cleared: Some(true),
            change: Some(figure("+9.5°", "+7.6° to +11.4°")),
            change_difference: Some(figure("+8.9°", "+6.8° to +11.0°")),
            change_bar_height: None,
            reason: "The externally rotated reach is higher after the stretch.".to_owned(),
            checks: Vec::new(),
            rays_svg: drawings.rays,
            gauge_svg: drawings.gauge,
        }
    });
    let reach = ReachFiguresView {
        id: 1,
        occasion: Occasion::Before,
        rotation: Rotation::Internal,
        view: View::Side,
        side: ResultSide::Right,
        raises: 1,
        elevation: Some("153.3°".to_owned()),
        interval: Some("151.4° to 155.2°".to_owned()),
        figures: vec![("Trunk lean".to_owned(), figure("1.5°", "0.4° to 2.6°"))],
        reason: None,
        checks: vec![
            check("elbow_straight", CheckStatus::Warn, "The elbow is bent by 13.2 deg."),
            check("back_flat", CheckStatus::Unknown, "Nobody confirmed that low back and ribs stayed flat."),
        ],
        still_url: "/api/reaches/1/frames/60.jpg?size=full".to_owned(),
        overlay_url: "/visits/1/stills/1.svg".to_owned(),
    };
    ResultView {
        visit: 1,
        client_code: "R07".to_owned(),
        is_demo: true,
        date: "25 November 2026".to_owned(),
        affected_side: ResultSide::Right,
        stopped: None,
        comparisons: vec![comparison],
        retest,
        reaches: vec![reach],
        charts: Vec::new(),
        pictures: crate::web::text::pictures::compared(crate::screen::ComparedMarks { tried: 18, found: 15 }, 0),
        warnings: vec!["The clip is damaged after 3.2 s; nothing there is used.".to_owned()],
        left_out: Vec::new(),
        is_painful: false,
        not_in_print: Some("漢 字".to_owned()),
    }
}

/// The values of an attribute, in order.
fn values<'a>(html: &'a str, attribute: &str) -> Vec<&'a str> {
    let start = format!(" {attribute}=\"");
    html.split(start.as_str()).skip(1).filter_map(|rest| rest.split('"').next()).collect()
}

#[test]
fn nothing_is_inline() {
    for (name, page) in all_pages() {
        let html = page.into_string();
        assert!(values(&html, "style").is_empty() && !html.contains("<style"), "{name} has a style");
        for script in html.split("<script").skip(1) {
            assert!(script.starts_with(" type=\"module\" src=\"/assets/"), "{name} has a script of its own");
        }
        assert!(!html.contains("javascript:"), "{name} has a script in a link");
        for event in ["onclick", "onload", "onchange", "onsubmit", "oninput"] {
            assert!(values(&html, event).is_empty(), "{name} has {event}");
        }
    }
}

#[test]
fn ids_are_unique_and_every_reference_has_its_target() {
    for (name, page) in all_pages() {
        let html = page.into_string();
        let mut seen = BTreeMap::new();
        for id in values(&html, "id") {
            *seen.entry(id).or_insert(0) += 1;
        }
        let twice: Vec<_> = seen.iter().filter(|(_, count)| **count > 1).collect();
        assert!(twice.is_empty(), "{name}: {twice:?}");
        let ids: BTreeSet<&str> = seen.keys().copied().collect();
        let mut references = values(&html, "for");
        for attribute in ["aria-describedby", "aria-labelledby"] {
            references.extend(values(&html, attribute).into_iter().flat_map(str::split_whitespace));
        }
        references.extend(values(&html, "href").into_iter().filter_map(|link| link.strip_prefix('#')));
        for reference in references {
            assert!(ids.contains(reference), "{name}: nothing has the id {reference}");
        }
    }
}

#[test]
fn every_page_has_one_main_heading_and_a_title() {
    for (name, page) in all_pages() {
        let html = page.into_string();
        assert_eq!(html.matches("<h1").count(), 1, "{name}");
        assert!(html.contains("<title>") && !html.contains("<title> ·"), "{name}");
    }
}

#[test]
fn text_from_outside_is_escaped() {
    let view = ErrorView { status: 404, text: "<img src=x>".to_owned() };
    assert!(error(&view).into_string().contains("&lt;img src=x&gt;"));
}

#[test]
fn pages_can_be_looked_at() {
    let Ok(folder) = std::env::var("TWOREACH_GALLERY") else {
        eprintln!("skipped: set TWOREACH_GALLERY to a directory to see every page");
        return;
    };
    for (name, page) in all_pages() {
        let path = std::path::Path::new(&folder).join(format!("{name}.html"));
        std::fs::write(&path, page.into_string()).unwrap();
    }
}
