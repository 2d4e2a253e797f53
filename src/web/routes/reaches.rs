//! Reaches: the upload, the palms, deletion.

use std::sync::Arc;

use axum::extract::multipart::MultipartRejection;
use axum::extract::{Multipart, State};
use axum::response::Response;

use super::alone::alone_view;
use super::visits::visit_view;
use super::{onwards, page, page_again, parts};
use crate::geometry::Side;
use crate::pose::View;
use crate::records::{Palms, Reach, ReachFacts, Records, RecordsError, Word as _};
use crate::web::danger;
use crate::web::dates::size_words;
use crate::web::error::WebError;
use crate::web::measured::{picture_url, still_url};
use crate::web::pages;
use crate::web::request::{Form, Id};
use crate::web::state::{App, blocking};
use crate::web::text;
use crate::web::upload::{self, Received, Upload};
use crate::web::view::{DeleteReachView, FormView, PalmsView, ReachFactsView};

/// `POST /visits/{id}/reaches`: an upload.
pub async fn upload(
    State(app): State<Arc<App>>,
    Id(visit): Id,
    multipart: Result<Multipart, MultipartRejection>,
) -> Result<Response, WebError> {
    let multipart = parts(multipart)?;
    let known = app.clone();
    blocking(move || known.records.visit(visit).map_err(WebError::from)).await?;
    let Upload { mut form, mut files } = upload::receive(&app, multipart, 1).await?;
    let file = files.pop();
    let facts = reach_facts(&mut form);
    if file.is_none() {
        form.fault("file", "choose a clip or a still; an empty file is none");
    }
    let asked = app.clone();
    let (mut form, facts) = blocking(move || {
        // a sign may have come up while the clip was on its way
        if let Some(refusal) = danger::refusal_of_visit(&asked.records, visit)? {
            form.fault("file", refusal);
        }
        if let Some(facts) = &facts {
            note_contradictions(&asked.records, visit, facts, &mut form)?;
        }
        Ok((form, facts))
    })
    .await?;
    if form.is_right()
        && let (Some(facts), Some(file)) = (facts, file)
    {
        match take(app.clone(), visit, facts, file).await? {
            Ok(reach) => return Ok(onwards(&format!("/reaches/{reach}/palms"))),
            Err(reason) => form.fault("file", reason),
        }
    }
    blocking(move || {
        let view = visit_view(&app.records, visit, None, form.view)?;
        Ok(page_again(if view.is_alone { pages::alone(&alone_view(&app.records, view)?) } else { pages::visit(&view) }))
    })
    .await
}

async fn take(app: Arc<App>, visit: i64, facts: ReachFacts, file: Received) -> Result<Result<i64, String>, WebError> {
    match upload::accept(app, visit, facts, file).await {
        // for the first one, another upload of the same reach came in between
        Err(WebError::Records(error @ (RecordsError::ReachTaken | RecordsError::ClipTaken { .. }))) => {
            Ok(Err(error.to_string()))
        }
        taken => taken,
    }
}

fn reach_facts(form: &mut Form) -> Option<ReachFacts> {
    let (occasion, rotation, view) = (form.word("occasion"), form.word("rotation"), form.word("view"));
    let near_side = form.optional_word("near_side");
    let mirrored = form.flag("mirrored");
    match (view, near_side) {
        (Some(View::Side | View::Oblique), None) if form.view.error("near_side").is_none() => {
            form.fault("near_side", "choose the side towards the camera");
        }
        (Some(View::Front), Some(_)) => form.fault("near_side", "a front view has none: leave it out"),
        _ => {}
    }
    Some(ReachFacts { occasion: occasion?, rotation: rotation?, view: view?, near_side, mirrored })
}

/// Notes what an upload and the reaches that are there cannot both be.
fn note_contradictions(records: &Records, visit: i64, facts: &ReachFacts, form: &mut Form) -> Result<(), WebError> {
    let reaches = records.reaches(visit)?;
    let is_same = |reach: &&Reach| {
        let there = reach.facts;
        (there.view, there.occasion, there.rotation) == (facts.view, facts.occasion, facts.rotation)
    };
    if reaches.iter().any(|reach| is_same(&reach)) {
        form.fault("file", RecordsError::ReachTaken.to_string());
    }
    note_other_side(&reaches, facts, form);
    Ok(())
}

/// Notes that other reaches of the same view show the other side.
fn note_other_side(reaches: &[Reach], facts: &ReachFacts, form: &mut Form) {
    for reach in reaches.iter().filter(|reach| reach.facts.view == facts.view) {
        if let (Some(there), Some(found)) = (reach.facts.near_side, facts.near_side)
            && there != found
            && form.view.error("near_side").is_none()
        {
            let there = there.word();
            form.fault(
                "near_side",
                format!("the other reaches of this view show the {there} side: film from that side"),
            );
        }
    }
}

/// `GET /reaches/{id}/palms`.
pub async fn palms(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        let reach = app.records.reach(id)?;
        if danger::refusal_of_visit(&app.records, reach.visit)?.is_some() {
            return Ok(onwards(&format!("/visits/{}", reach.visit)));
        }
        Ok(page(pages::palms(&palms_view(&app.records, id)?)))
    })
    .await
}

fn palms_view(records: &Records, id: i64) -> Result<PalmsView, WebError> {
    let reach = records.reach(id)?;
    let is_contrary = reach.is_contrary();
    let Reach { visit, facts, media, palms, .. } = reach;
    let marks = records.marks(id)?;
    let marked_s = marks.markings.first().map(|marking| marking.time_s);
    let frame = marked_s.map_or(media.facts.frame_times_s.len() / 2, |time_s| media.facts.frame_at(time_s));
    let client = records.client_by_id(records.visit(visit)?.client)?;
    let others = records.reaches(visit)?;
    Ok(PalmsView {
        reach: id,
        visit,
        client_code: client.facts.code,
        occasion: facts.occasion,
        rotation: facts.rotation,
        still_url: picture_url(id, frame),
        warning: media.facts.damage.map(|damage| text::damaged(damage.time_s)),
        answered: palms.map(Palms::word),
        error: None,
        is_contrary,
        has_other: others
            .iter()
            .any(|other| (other.facts.occasion, other.facts.view) == (facts.occasion, facts.view) && other.id != id),
        is_wide: media.facts.upright_size[0] > media.facts.upright_size[1],
    })
}

/// `POST /reaches/{id}/palms`.
pub async fn confirm_palms(State(app): State<Arc<App>>, Id(id): Id, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let reach = app.records.reach(id)?;
        danger::must_not_be_stopped(&app.records, reach.visit)?;
        let swaps = form.flag("swap");
        let palms = if swaps { form.optional_word::<Palms>("palms") } else { form.word("palms") };
        let again = |error: Option<String>| {
            let view = PalmsView { error, ..palms_view(&app.records, id)? };
            Ok(page_again(pages::palms(&view)))
        };
        if let Some(error) = form.view.errors.first() {
            return again(Some(error.message.clone()));
        }
        if swaps {
            app.records.swap_contrary(id)?;
            return Ok(onwards(&format!("/visits/{}", reach.visit)));
        }
        let Some(palms) = palms else { return again(None) };
        app.records.set_palms(id, palms)?;
        match palms.are_of(reach.facts.rotation) {
            Some(false) => again(None),
            _ => Ok(onwards(&format!("/reaches/{id}/mark"))),
        }
    })
    .await
}

/// `GET /reaches/{id}/facts`.
pub async fn facts(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        let reach = app.records.reach(id)?;
        if danger::refusal_of_visit(&app.records, reach.visit)?.is_some() {
            return Ok(onwards(&format!("/visits/{}", reach.visit)));
        }
        let ReachFacts { occasion, rotation, view, near_side, mirrored } = reach.facts;
        let mut form = FormView::default();
        let mut set = |name: &str, value: &str| form.values.insert(name.to_owned(), value.to_owned());
        set("occasion", occasion.word());
        set("rotation", rotation.word());
        set("view", view.word());
        set("near_side", near_side.map_or("", Side::word));
        set("mirrored", if mirrored { "on" } else { "" });
        Ok(page(pages::reach_facts(&facts_view(&app.records, &reach, form)?)))
    })
    .await
}

/// `POST /reaches/{id}/facts`.
pub async fn correct(State(app): State<Arc<App>>, Id(id): Id, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let reach = app.records.reach(id)?;
        danger::must_not_be_stopped(&app.records, reach.visit)?;
        let facts = reach_facts(&mut form);
        if let Some(facts) = facts.filter(|facts| facts.view != reach.facts.view) {
            // of the same view all are corrected
            note_other_side(&app.records.reaches(reach.visit)?, &facts, &mut form);
        }
        if let Some(facts) = facts.filter(|_| form.is_right()) {
            match app.records.correct_reach(id, &facts) {
                Ok(()) => return Ok(onwards(&format!("/visits/{}", reach.visit))),
                Err(RecordsError::ReachTaken) => form.fault("rotation", text::reach_facts::TAKEN),
                Err(error) => return Err(error.into()),
            }
        }
        Ok(page_again(pages::reach_facts(&facts_view(&app.records, &reach, form.view)?)))
    })
    .await
}

fn facts_view(records: &Records, reach: &Reach, form: FormView) -> Result<ReachFactsView, WebError> {
    let client = records.client_by_id(records.visit(reach.visit)?.client)?;
    Ok(ReachFactsView {
        reach: reach.id,
        visit: reach.visit,
        client_code: client.facts.code,
        still_url: still_url(reach.id, reach.media.facts.frame_times_s.len() / 2),
        form,
    })
}

/// `GET /reaches/{id}/delete`.
pub async fn before_delete(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        let reach = app.records.reach(id)?;
        let removal = app.records.removal_of_reach(id)?;
        let client = app.records.client_by_id(app.records.visit(reach.visit)?.client)?;
        let view = DeleteReachView {
            reach: id,
            visit: reach.visit,
            client_code: client.facts.code,
            occasion: reach.facts.occasion,
            rotation: reach.facts.rotation,
            marks: removal.marks,
            size: (removal.media > 0).then(|| size_words(removal.media_bytes)),
        };
        Ok(page(pages::delete_reach(&view)))
    })
    .await
}

/// `POST /reaches/{id}/delete`.
pub async fn delete(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    blocking(move || {
        let reach = app.records.reach(id)?;
        app.follows.stop(id);
        app.looks.stop(reach.visit);
        app.records.delete_reach(id)?;
        app.frames.forget(&reach.media.hash);
        Ok(onwards(&format!("/visits/{}", reach.visit)))
    })
    .await
}
