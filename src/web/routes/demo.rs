//! The demo case: an invented rower's four clips with their marks, embedded in the program.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;

use super::clients::client_path;
use super::onwards;
use crate::records::{AnsweredBy, Answers, ClientFacts, Feel, Marking, Palms, ReachFacts, RecordsError, VisitSettings};
use crate::screen::{CaseFile, MarksFile, ReachEntry};
use crate::web::error::WebError;
use crate::web::state::{App, blocking};
use crate::web::upload::{self, receive_bytes};

const CASE: &str = include_str!("../../../demo-clips/side/case.toml");
const PROFILE: &str = include_str!("../../../demo-clips/side/phone.camera.json");

/// Name, clip and marks.
macro_rules! demo_reach {
    ($name:literal) => {
        (
            concat!($name, ".mp4"),
            include_bytes!(concat!("../../../demo-clips/side/", $name, ".mp4")).as_slice(),
            include_str!(concat!("../../../demo-clips/side/", $name, ".marks.json")),
        )
    };
}

const REACHES: [(&str, &[u8], &str); 4] = [
    demo_reach!("before-internal"),
    demo_reach!("before-external"),
    demo_reach!("after-internal"),
    demo_reach!("after-external"),
];

/// `POST /demo`: goes to the demo client, who is made on the first call.
pub async fn install(State(app): State<Arc<App>>) -> Result<Response, WebError> {
    let case = CaseFile::parse(CASE, Path::new("demo/case.toml"))?;
    let path = client_path(&case.client.code);
    let one_at_a_time = app.demo.lock().await;
    let (asked, code) = (app.clone(), case.client.code.clone());
    let is_there = blocking(move || match asked.records.client(&code) {
        Ok(_) => Ok(true),
        Err(RecordsError::NotFound { .. }) => Ok(false),
        Err(error) => Err(error.into()),
    });
    if is_there.await? {
        return Ok(onwards(&path));
    }
    let (asked, facts) = (app.clone(), case.clone());
    let (client, visit) = blocking(move || begin(&asked, &facts)).await?;
    for entry in &case.reaches {
        if let Err(error) = add(&app, visit, entry).await {
            // a demo in part would look like a fault of the person's own
            let asked = app.clone();
            blocking(move || asked.records.delete_client(client).map_err(WebError::from)).await?;
            return Err(error);
        }
    }
    drop(one_at_a_time);
    Ok(onwards(&format!("/visits/{visit}")))
}

fn begin(app: &App, case: &CaseFile) -> Result<(i64, i64), WebError> {
    let facts = ClientFacts {
        code: case.client.code.clone(),
        affected_side: case.client.affected_side,
        stature_mm: case.client.stature_mm,
        arm_length_mm: case.client.arm_length_mm,
        is_demo: true,
    };
    let answers = Answers { answered_by: AnsweredBy::Client, signs: Vec::new(), reason: None };
    let client = app.records.add_client(&facts, &answers)?.id;
    let visit = app.records.add_visit(client)?.id;
    let settings = VisitSettings {
        bar_length_mm: case.bar.length_mm,
        taped_grips: case.bar.taped_grips,
        margin_deg: case.call.margin_deg,
        profile: Some(PROFILE.to_owned()),
    };
    app.records.set_visit(visit, &settings)?;
    Ok((client, visit))
}

async fn add(app: &Arc<App>, visit: i64, entry: &ReachEntry) -> Result<(), WebError> {
    let embedded = || WebError::Stopped { task: "the demo case" };
    let name = entry.file.to_string_lossy();
    let (_, clip, marks) = REACHES.iter().find(|(known, _, _)| *known == name).ok_or_else(embedded)?;
    let marks = MarksFile::parse(marks, Path::new("demo/marks.json"))?;
    let asked = app.clone();
    let received = blocking(move || receive_bytes(&asked, clip)).await?;
    let facts = ReachFacts {
        occasion: entry.occasion,
        rotation: entry.rotation,
        view: entry.view,
        near_side: entry.near_side,
        mirrored: entry.mirrored,
    };
    let reach = upload::accept(app.clone(), visit, facts, received).await?.map_err(|_| embedded())?;
    let feel = Feel { pain: entry.pain, limited_by: entry.limited_by, back_flat: entry.back_flat };
    let (app, rotation) = (app.clone(), entry.rotation);
    blocking(move || {
        let times_s = app.records.reach(reach)?.media.facts;
        for (revision, frame) in (0..).zip(&marks.frames) {
            let time_s = times_s.frame_times_s[times_s.frame_at(frame.time_s)];
            let points = frame.points.iter().map(|(landmark, mark)| (*landmark, [mark.point.x, mark.point.y]));
            let (repeat, points, carried) = (frame.repeat.unwrap_or(1), points.collect(), BTreeMap::new());
            let marking = Marking { raise: 1, repeat, time_s, points, carried };
            app.records.confirm_marks(reach, revision, &marking, &feel)?;
        }
        let palms = match rotation {
            crate::pose::Rotation::Internal => Palms::Down,
            crate::pose::Rotation::External => Palms::Up,
        };
        Ok(app.records.set_palms(reach, palms)?)
    })
    .await
}
