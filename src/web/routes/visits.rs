//! A visit: its sheet, its settings, its result.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::response::Response;

use super::alone::alone_path;
use super::clients::{client_path, client_view};
use super::{onwards, page, page_again};
use crate::camera::{LensProfile, parse_profile};
use crate::pose::Rotation;
use crate::records::{Reach, Records, RecordsError, VisitCase, VisitSettings};
use crate::report::wording::typeset;
use crate::report::{
    CallDrawings, CaseFacts, DangerNote, draw_comparison, draw_retest, letters_not_in_print, render_charts,
};
use crate::screen::case::{BAR_LENGTH_MM, MARGIN_DEG_DEFAULT, MARGIN_DEG_MAX};
use crate::screen::{Occasion, VisitResult, pain_stops};
use crate::web::danger;
use crate::web::dates::{day_words, size_words};
use crate::web::error::{WebError, chain_words};
use crate::web::looks::Looks;
use crate::web::measured::{self, comparison_view, left_out_words, reach_figures, result_of, retest_view};
use crate::web::pages;
use crate::web::request::{Code, Form, Id};
use crate::web::sheet;
use crate::web::state::{App, blocking};
use crate::web::view::{
    ChartView, ComparisonView, DeleteVisitView, FormView, ResultView, RetestView, SettingsView, VisitView,
};

/// How long a result waits for the comparison of its pictures, which as a rule has ended long before.
pub(super) const RESULT_WAIT: Duration = Duration::from_secs(10);

/// The least margin, deg: what is printed as more than zero.
const MARGIN_DEG_MIN: f64 = 0.1;

/// The longest text of a lens profile, characters.
const PROFILE_LENGTH_MAX: usize = 60_000;

/// `POST /clients/{code}/visits`, with `alone` for one that is done step by step.
pub async fn start(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let client = app.records.client(&code)?;
        if let Some(refused) = danger::refusal(&app.records, client.id)? {
            return Ok(page_again(pages::client(&client_view(&app, client, Some(refused))?)));
        }
        let visit = app.records.add_visit(client.id)?;
        if form.flag("alone") {
            app.records.set_alone(visit.id)?;
            return Ok(onwards(&alone_path(visit.id)));
        }
        Ok(onwards(&format!("/visits/{}", visit.id)))
    })
    .await
}

/// `GET /visits/{id}`.
pub async fn sheet(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || Ok(page(pages::visit(&visit_view(&app.records, id, None, FormView::default())?)))).await
}

/// The sheet of a visit, with a settings form or an upload that was refused.
pub(super) fn visit_view(
    records: &Records,
    id: i64,
    settings: Option<FormView>,
    upload: FormView,
) -> Result<VisitView, WebError> {
    let visit = records.visit(id)?;
    let client = records.client_by_id(visit.client)?.facts;
    let (case, result) = result_of(records, id)?;
    let reaches = records.reaches(id)?;
    let mut cells = Vec::new();
    for occasion in [Occasion::Before, Occasion::After] {
        for rotation in [Rotation::Internal, Rotation::External] {
            let of_cell =
                reaches.iter().filter(|reach| (reach.facts.occasion, reach.facts.rotation) == (occasion, rotation));
            let of_cell: Vec<&Reach> = of_cell.collect();
            cells.push(sheet::cell(records, occasion, rotation, &of_cell, &case, result.as_ref())?);
        }
    }
    Ok(VisitView {
        id,
        client_code: client.code,
        is_demo: client.is_demo,
        is_alone: visit.is_alone,
        date: day_words(&visit.made_on),
        affected_side: client.affected_side,
        cells,
        stopped: danger::refusal(records, visit.client)?,
        has_result: result.is_some(),
        is_painful: is_painful(records, &reaches)?,
        steadiness: measured::steadiness(&case),
        settings: SettingsView {
            form: settings.unwrap_or_else(|| settings_form(&visit.settings)),
            profile_name: case.profile.map(|profile| profile.name),
            lenses: records.lenses()?.iter().map(super::lenses::line_of).collect(),
        },
        upload,
    })
}

/// Whether what was said of any reach, measured or not, stops the day.
fn is_painful(records: &Records, reaches: &[Reach]) -> Result<bool, WebError> {
    for reach in reaches {
        let feel = records.marks(reach.id)?.feel;
        if pain_stops(feel.pain, feel.limited_by) {
            return Ok(true);
        }
    }
    Ok(false)
}

fn settings_form(settings: &VisitSettings) -> FormView {
    let mut form = FormView::default();
    let mut set = |name: &str, value: String| form.values.insert(name.to_owned(), value);
    if let Some(length_mm) = settings.bar_length_mm {
        set("bar_length_mm", length_mm.to_string());
    }
    if settings.taped_grips {
        set("taped_grips", "on".to_owned());
    }
    set("margin_deg", settings.margin_deg.to_string());
    form
}

/// `POST /visits/{id}/settings`.
pub async fn settings(State(app): State<Arc<App>>, Id(id): Id, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let old = app.records.visit(id)?.settings;
        let bar_length_mm = form.number("bar_length_mm", BAR_LENGTH_MM, "mm");
        let taped_grips = form.flag("taped_grips");
        let margin_deg = form.number("margin_deg", [MARGIN_DEG_MIN, MARGIN_DEG_MAX], "deg");
        let removes_profile = form.flag("remove_profile");
        let profile = form.text_up_to("profile", PROFILE_LENGTH_MAX);
        if let Some(Err(error)) = profile.as_deref().map(parse_profile) {
            form.fault("profile", chain_words(&error));
        }
        let chosen = match form.text("lens").map(|number| number.parse().map(|number| app.records.lens(number))) {
            None => None,
            Some(Ok(Ok(lens))) => Some(lens.profile),
            Some(Err(_) | Ok(Err(RecordsError::NotFound { .. }))) => {
                form.fault("lens", "this lens profile is gone: choose another");
                None
            }
            Some(Ok(Err(error))) => return Err(error.into()),
        };
        let named = if profile.is_some() { "profile" } else { "lens" };
        if let Some(lens) = profile.as_deref().or(chosen.as_deref()).and_then(|text| parse_profile(text).ok())
            && let Some(reason) = not_served(&app.records, id, &lens)?
        {
            form.fault(named, reason);
        }
        if !form.is_right() {
            let view = visit_view(&app.records, id, Some(form.view), FormView::default())?;
            return Ok(page_again(pages::visit(&view)));
        }
        let profile = profile.or(chosen).or(old.profile.filter(|_| !removes_profile));
        let margin_deg = margin_deg.unwrap_or(MARGIN_DEG_DEFAULT);
        app.records.set_visit(id, &VisitSettings { bar_length_mm, taped_grips, margin_deg, profile })?;
        Ok(onwards(&format!("/visits/{id}")))
    })
    .await
}

/// Why a lens profile does not serve the clips of a visit; `None` where it does.
fn not_served(records: &Records, visit: i64, profile: &LensProfile) -> Result<Option<String>, WebError> {
    let serves = |reach: &Reach| {
        let facts = &reach.media.facts;
        profile.lens_for(facts.upright_size, facts.quarter_turns)
    };
    Ok(records.reaches(visit)?.iter().find_map(|reach| serves(reach).err()).map(|error| chain_words(&error)))
}

/// `GET /visits/{id}/delete`.
pub async fn before_delete(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        let visit = app.records.visit(id)?;
        let removal = app.records.removal_of_visit(id)?;
        let view = DeleteVisitView {
            visit: id,
            client_code: app.records.client_by_id(visit.client)?.facts.code,
            date: day_words(&visit.made_on),
            reaches: removal.reaches,
            marks: removal.marks,
            media: removal.media,
            media_kept: removal.media_kept,
            size: size_words(removal.media_bytes),
        };
        Ok(page(pages::delete_visit(&view)))
    })
    .await
}

/// `POST /visits/{id}/delete`.
pub async fn delete(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        let client = app.records.client_by_id(app.records.visit(id)?.client)?;
        let reaches = app.records.reaches(id)?;
        reaches.iter().for_each(|reach| app.follows.stop(reach.id));
        app.looks.stop(id);
        app.records.delete_visit(id)?;
        reaches.iter().for_each(|reach| app.frames.forget(&reach.media.hash));
        Ok(onwards(&client_path(&client.facts.code)))
    })
    .await
}

/// `GET /visits/{id}/result`.
pub async fn result(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    Looks::settle(&app, id, RESULT_WAIT).await?;
    blocking(move || Ok(page(pages::result(&result_view(&app, id)?)))).await
}

pub(super) fn result_view(app: &App, id: i64) -> Result<ResultView, WebError> {
    let records = &app.records;
    let visit = records.visit(id)?;
    let client = records.client_by_id(visit.client)?.facts;
    let case = records.case_of(id)?;
    let measured = measured::measure(records, id, &case)?;
    let reaches = records.reaches(id)?;
    let stopped = danger::refusal(records, visit.client)?;
    let told = measured.as_ref().map(|measured| measured::told(&case, &measured.result, stopped.is_some()));
    let result = told.as_ref();
    let margin_deg = case.case.call.margin_deg;
    let figures = reaches.iter().filter_map(|reach| {
        let index = case.index_of(reach.id)?;
        Some(reach_figures(reach, result?.reaches.get(index)?, &case.reaches[index]))
    });
    let left_out = reaches.iter().filter(|reach| case.index_of(reach.id).is_none());
    Ok(ResultView {
        visit: id,
        client_code: client.code,
        is_demo: client.is_demo,
        date: day_words(&visit.made_on),
        affected_side: client.affected_side,
        stopped,
        comparisons: result.map(|result| drawn_comparisons(result, margin_deg)).unwrap_or_default(),
        retest: result.and_then(|result| {
            let retest = result.retest.as_ref()?;
            let CallDrawings { rays, gauge } = draw_retest(result, retest, margin_deg);
            Some(RetestView { rays_svg: rays, gauge_svg: gauge, ..retest_view(retest) })
        }),
        reaches: figures.collect(),
        charts: result.map(|result| chart_views(id, &case, result)).transpose()?.unwrap_or_default(),
        pictures: measured::pictures_words(app, id, &case),
        warnings: measured.iter().flat_map(|measured| &measured.warnings).map(|warning| typeset(warning)).collect(),
        left_out: left_out.map(|reach| left_out_words(&case, reach)).collect(),
        is_painful: result.is_some_and(VisitResult::pain_stops_today),
        not_in_print: not_in_print(&case, danger::note(records, id)?.as_ref()),
    })
}

/// Letters of what a person typed that the PDF's typeface lacks.
fn not_in_print(case: &VisitCase, note: Option<&DangerNote>) -> Option<String> {
    let profile = case.profile.as_ref().map_or("", |profile| profile.name.as_str());
    let typed = [case.case.client.code.as_str(), note.map_or("", |note| note.text.as_str()), profile].concat();
    let letters: Vec<String> = letters_not_in_print(&typed).iter().map(char::to_string).collect();
    (!letters.is_empty()).then(|| letters.join(" "))
}

fn drawn_comparisons(result: &VisitResult, margin_deg: f64) -> Vec<ComparisonView> {
    let drawn = result.comparisons.iter().enumerate().map(|(index, comparison)| {
        let CallDrawings { rays, gauge } = draw_comparison(result, index, margin_deg);
        ComparisonView { rays_svg: rays, gauge_svg: gauge, ..comparison_view(comparison, margin_deg) }
    });
    drawn.collect()
}

fn chart_views(id: i64, case: &VisitCase, result: &VisitResult) -> Result<Vec<ChartView>, WebError> {
    let charts = render_charts(result, &CaseFacts::of(&case.case, None))?;
    let views = charts.into_iter().map(|chart| {
        let url = format!("/visits/{id}/charts/{}.svg", chart.name);
        ChartView { name: chart.name, url }
    });
    Ok(views.collect())
}
