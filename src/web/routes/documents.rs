//! The report, its charts and the export.

use std::io::{Seek as _, SeekFrom};
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use image::{ImageFormat, RgbImage};
use tokio_util::io::ReaderStream;

use super::frames::clip_frames;
use crate::records::VisitCase;
use crate::report::{
    CaseFacts, PageSize, Report, ReportInput, ReportOptions, StillInput, render_charts, render_report, render_still,
};
use crate::screen::MeasuredVisit;
use crate::web::casework::Casework;
use crate::web::danger;
use crate::web::dates::day_words;
use crate::web::error::WebError;
use crate::web::guard::DOCUMENT_POLICY;
use crate::web::looks::Looks;
use crate::web::measured::{measure, palms_words, result_of, told};
use crate::web::request::{Id, IdAndName, Parameters, field};
use crate::web::state::{App, blocking};

/// How long a report or an export waits for the comparison of its pictures, which as a rule has ended long before.
const DOCUMENT_WAIT: Duration = Duration::from_secs(120);

/// Headers of a finished document, which carries its own style and pictures.
pub(super) fn document_headers(kind: &'static str) -> [(header::HeaderName, &'static str); 2] {
    [(header::CONTENT_TYPE, kind), (header::CONTENT_SECURITY_POLICY, DOCUMENT_POLICY)]
}

/// Nothing can be reported or exported yet.
fn nothing_marked() -> WebError {
    WebError::Refused { reason: "no reach of this visit can be measured yet: place its marks first".to_owned() }
}

/// `GET /visits/{id}/report.html?paper=letter`.
pub async fn report_html(
    State(app): State<Arc<App>>,
    Id(id): Id,
    parameters: Parameters,
) -> Result<Response, WebError> {
    let report = report(app, id, &parameters).await?;
    Ok((document_headers("text/html; charset=utf-8"), report.html).into_response())
}

/// `GET /visits/{id}/report.pdf?paper=letter`.
pub async fn report_pdf(State(app): State<Arc<App>>, Id(id): Id, parameters: Parameters) -> Result<Response, WebError> {
    let report = report(app, id, &parameters).await?;
    let headers = [
        (header::CONTENT_TYPE, "application/pdf"),
        (header::CONTENT_DISPOSITION, "inline; filename=\"report.pdf\""),
        // the browser's own viewer is an embedded object, which the policy of pages forbids
        (header::CONTENT_SECURITY_POLICY, "frame-ancestors 'none'; base-uri 'none'"),
    ];
    Ok((headers, report.pdf).into_response())
}

/// The paper that `?paper=` names; A4 where it names none.
pub(super) fn paper(parameters: &Parameters) -> Result<PageSize, WebError> {
    match parameters.text("paper") {
        None | Some("a4") => Ok(PageSize::A4),
        Some("letter") => Ok(PageSize::Letter),
        Some(found) => Err(field("paper", format!("found {found:?}, expected a4 or letter"))),
    }
}

async fn report(app: Arc<App>, id: i64, parameters: &Parameters) -> Result<Report, WebError> {
    let page = paper(parameters)?;
    Looks::settle(&app, id, DOCUMENT_WAIT).await?;
    let records = app.clone();
    let (case, measured, date, danger, course) = blocking(move || {
        let visit = records.records.visit(id)?;
        let date = day_words(&visit.made_on);
        let case = records.records.case_of(id)?;
        let measured = measure(&records.records, id, &case)?.ok_or_else(nothing_marked)?;
        let danger = danger::note(&records.records, id)?;
        // after measuring, so that this visit is in it
        let client = records.records.client_by_id(visit.client)?;
        let of_client = Casework::of_client(&records.records, client)?;
        // one screen alone is no course
        let has_course = of_client.intake.is_some() || of_client.screens() > 1;
        let until = visit.made_on.parse().unwrap_or(of_client.today);
        Ok((case, measured, date, danger, has_course.then(|| of_client.course(until))))
    })
    .await?;
    let stills = stills(&app, &case, &measured).await?;
    blocking(move || {
        let stills = stills.into_iter().map(|(reach, jpeg, overlay)| {
            let image = image::load_from_memory_with_format(&jpeg, ImageFormat::Jpeg).ok()?.into_rgb8();
            Some(StillInput { reach, image, overlay })
        });
        let stills: Vec<StillInput> = stills.flatten().filter(|still| has_pixels(&still.image)).collect();
        let warnings = measured.warnings.iter().cloned();
        let left_out =
            case.left_out.iter().map(|left| format!("{} is not measured: {}.", left.file.display(), left.reason));
        let is_stopped = danger.as_ref().is_some_and(|note| note.is_stop);
        let input = ReportInput {
            result: &told(&case, &measured.result, is_stopped),
            case: CaseFacts::of(&case.case, Some(date)),
            danger,
            courses: Vec::new(),
            case_course: course,
            found_bars: measured.found_bars.iter().filter(|bar| bar.has_seen_end()).count(),
            carried_marks: measured.carried_marks,
            stills,
            warnings: warnings.chain(left_out).collect(),
        };
        Ok(render_report(&input, &ReportOptions { page })?)
    })
    .await
}

fn has_pixels(image: &RgbImage) -> bool {
    image.width() > 0 && image.height() > 0
}

/// The frames that the report shows, decoded in children like all others, with what is drawn on them.
async fn stills(
    app: &App,
    case: &VisitCase,
    measured: &MeasuredVisit,
) -> Result<Vec<(usize, axum::body::Bytes, crate::pose::Overlay)>, WebError> {
    let mut stills = Vec::new();
    for (index, reach) in case.reaches.iter().enumerate() {
        let Some((time_s, overlay)) = measured.shown(index) else { continue };
        let clip = clip_frames(&app.records, &reach.media);
        if let Some(jpeg) = app.frames.frame(&clip, reach.media.facts.frame_at(time_s)).await? {
            stills.push((index, jpeg, overlay));
        }
    }
    Ok(stills)
}

/// `GET /visits/{id}/stills/{reach}.svg`: the frame at end range with what was measured drawn over it.
pub async fn still(State(app): State<Arc<App>>, IdAndName(id, name): IdAndName) -> Result<Response, WebError> {
    let no_still = || WebError::NotFound { what: "still" };
    let reach: i64 = name.strip_suffix(".svg").and_then(|reach| reach.parse().ok()).ok_or_else(no_still)?;
    let records = app.clone();
    let (case, measured, index) = blocking(move || {
        let case = records.records.case_of(id)?;
        let index = case.index_of(reach).ok_or_else(no_still)?;
        let measured = measure(&records.records, id, &case)?.ok_or_else(no_still)?;
        Ok((case, measured, index))
    })
    .await?;
    let (time_s, overlay) = measured.shown(index).ok_or_else(no_still)?;
    let media = &case.reaches[index].media;
    let jpeg = app.frames.frame(&clip_frames(&app.records, media), media.facts.frame_at(time_s)).await?;
    let jpeg = jpeg.ok_or_else(no_still)?;
    blocking(move || {
        let image = image::load_from_memory_with_format(&jpeg, ImageFormat::Jpeg).map_err(|_| no_still())?.into_rgb8();
        let svg = render_still(&measured.result, StillInput { reach: index, image, overlay })?.ok_or_else(no_still)?;
        Ok((document_headers("image/svg+xml"), svg).into_response())
    })
    .await
}

/// `GET /visits/{id}/charts/{name}.svg`.
pub async fn chart(State(app): State<Arc<App>>, IdAndName(id, name): IdAndName) -> Result<Response, WebError> {
    blocking(move || {
        let no_chart = || WebError::NotFound { what: "chart" };
        let name = name.strip_suffix(".svg").ok_or_else(no_chart)?;
        let (case, result) = result_of(&app.records, id)?;
        let charts = render_charts(&result.ok_or_else(no_chart)?, &CaseFacts::of(&case.case, None))?;
        let chart = charts.into_iter().find(|chart| chart.name == name).ok_or_else(no_chart)?;
        let headers = [(header::CONTENT_TYPE, "image/svg+xml"), (header::CONTENT_SECURITY_POLICY, DOCUMENT_POLICY)];
        Ok((headers, chart.svg).into_response())
    })
    .await
}

/// `GET /visits/{id}/export.zip`.
pub async fn export(State(app): State<Arc<App>>, Id(id): Id) -> Result<Response, WebError> {
    Looks::settle(&app, id, DOCUMENT_WAIT).await?;
    let (file, name, length) = blocking(move || {
        let failed = |source| WebError::Io { step: "write an export", source };
        let case = app.records.case_of(id)?;
        if case.reaches.is_empty() {
            return Err(nothing_marked());
        }
        // without a name: it is gone when the download ends, however it ends
        let mut file = app.records.incoming()?.into_file();
        let danger = danger::note(&app.records, id)?.map(|note| note.text);
        let notes: Vec<String> = danger.into_iter().chain(palms_words(&case, None).0).map(|note| note + "\n").collect();
        app.records.write_export(&case, &notes.concat(), &mut file)?;
        let length = file.seek(SeekFrom::End(0)).map_err(failed)?;
        file.seek(SeekFrom::Start(0)).map_err(failed)?;
        let code: String = case.case.client.code.chars().filter(char::is_ascii_alphanumeric).collect();
        Ok((file, format!("visit-{code}-{id}.zip"), length))
    })
    .await?;
    let headers = [
        (header::CONTENT_TYPE, "application/zip".to_owned()),
        (header::CONTENT_LENGTH, length.to_string()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
    ];
    let body = Body::from_stream(ReaderStream::new(tokio::fs::File::from_std(file)));
    Ok((headers, body).into_response())
}
