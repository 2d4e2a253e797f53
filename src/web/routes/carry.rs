//! Marks brought over from another reach of the visit, proposed to the person who confirms or moves them.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use serde_json::{Value, json};

use super::marks::{RAISES_MAX, count, time};
use crate::geometry::Landmark;
use crate::records::{CarriedFrom, CarrySource, OlderMarks, Reach, Records};
use crate::screen::words::reach_name;
use crate::track::ArmTurn;
use crate::web::danger;
use crate::web::decode::parent;
use crate::web::decode::program::{CarryOutcome, CarryRequest};
use crate::web::error::{ApiError, WebError};
use crate::web::request::{Id, JsonBody, field};
use crate::web::state::{App, blocking};

/// `POST /api/reaches/{id}/carry` with `raise`, `time_s` and the names of the `landmarks` that are wanted. Nothing is recorded:
/// what is confirmed comes back with the marks.
pub async fn carry(State(app): State<Arc<App>>, Id(id): Id, JsonBody(body): JsonBody) -> Result<Json<Value>, ApiError> {
    let known = app.clone();
    let (reach, Wanted { time_s, landmarks }, sources) = blocking(move || {
        let reach = known.records.reach(id)?;
        danger::must_not_be_stopped(&known.records, reach.visit)?;
        let (raise, wanted) = wanted(&body, &reach)?;
        let sources = known.records.carry_sources(&reach, raise)?;
        Ok((reach, wanted, sources))
    })
    .await?;
    let _one_at_a_time = app.carrying.acquire().await.map_err(|_| WebError::Stopped { task: "carrying marks" })?;
    let (mut marks, mut left) = (BTreeMap::new(), BTreeMap::new());
    for source in sources {
        let CarrySource { reach: from, link } = &source;
        let is_wanted = |landmark: &Landmark| landmarks.contains(landmark) && link.own.contains(landmark);
        let request = CarryRequest {
            from_time_s: link.from_time_s,
            to_time_s: time_s,
            is_turned_alike: link.arms == ArmTurn::Same,
            given: link.given.iter().map(|(landmark, at)| (landmark.name().to_owned(), [at.x, at.y])).collect(),
        };
        if !link.given.iter().any(|(landmark, _)| is_wanted(landmark)) {
            continue;
        }
        let (from_path, to_path) = (app.records.media_path(&from.media), app.records.media_path(&reach.media));
        let outcomes = parent::carry(&app.decoder, &from_path, &to_path, &request).await?;
        for (landmark, at) in link.given.iter().filter(|(landmark, _)| is_wanted(landmark)) {
            match outcomes.get(landmark.name()) {
                // the first source has trunk, bar and room; the second adds what that one has not
                Some(CarryOutcome::Carried { point, covariance_px2 }) if !marks.contains_key(landmark.name()) => {
                    let carried = CarriedFrom {
                        reach: from.id,
                        time_s: link.from_time_s,
                        source: [at.x, at.y],
                        covariance_px2: *covariance_px2,
                    };
                    left.remove(landmark.name());
                    marks.insert(landmark.name(), json!({ "point": point, "carried": carried }));
                }
                Some(CarryOutcome::Left(why)) if !marks.contains_key(landmark.name()) => {
                    left.insert(landmark.name(), why.clone());
                }
                _ => {}
            }
        }
    }
    Ok(Json(json!({ "marks": marks, "left": left })))
}

struct Wanted {
    time_s: f64,
    landmarks: Vec<Landmark>,
}

fn wanted(body: &Value, reach: &Reach) -> Result<(u32, Wanted), WebError> {
    const FIELDS: [&str; 3] = ["raise", "time_s", "landmarks"];
    let fields = body.as_object().ok_or_else(|| field("body", "expected an object".to_owned()))?;
    if let Some(unknown) = fields.keys().find(|name| !FIELDS.contains(&name.as_str())) {
        return Err(field(unknown, format!("is not known, expected {}", FIELDS.join(", "))));
    }
    let raise = count("raise", fields.get("raise"), RAISES_MAX)?;
    let time_s = time(fields.get("time_s"), reach)?;
    let names = fields.get("landmarks").and_then(Value::as_array);
    let names = names.ok_or_else(|| field("landmarks", "expected a list of landmarks".to_owned()))?;
    let landmark = |name: &Value| name.as_str().and_then(|name| name.parse::<Landmark>().ok());
    let landmarks = names
        .iter()
        .map(|name| landmark(name).ok_or_else(|| field("landmarks", format!("{name} is no landmark"))))
        .collect::<Result<_, _>>()?;
    Ok((raise, Wanted { time_s, landmarks }))
}

/// Where marks can be brought over from, in words; each with what was placed by hand there.
pub(super) fn sources_json(records: &Records, reach: &Reach, raise: u32) -> Result<Vec<Value>, WebError> {
    let sources = records.carry_sources(reach, raise)?.into_iter();
    let source = |CarrySource { reach: from, link }: CarrySource| {
        let marks: Vec<&str> = link.own.iter().map(|landmark| landmark.name()).collect();
        json!({ "words": reach_name(from.facts.rotation, from.facts.occasion), "marks": marks })
    };
    Ok(sources.map(source).collect())
}

/// Marks of this raise that come from marks which were moved since.
pub(super) fn older_here(older: &[OlderMarks], reach: i64, raise: u32) -> Vec<&'static str> {
    let here = older.iter().filter(|older| (older.reach, older.raise) == (reach, raise));
    here.flat_map(|older| older.landmarks.iter().map(|landmark| landmark.name())).collect()
}

/// Marks of other reaches that come from marks of this one which were moved since.
pub(super) fn left_behind(records: &Records, older: &[OlderMarks], reach: i64) -> Result<Vec<Value>, WebError> {
    let elsewhere = older.iter().filter(|older| older.from_reach == reach);
    elsewhere
        .map(|older| {
            let facts = records.reach(older.reach)?.facts;
            let address = format!("/reaches/{}/mark?raise={}", older.reach, older.raise);
            let words = reach_name(facts.rotation, facts.occasion);
            Ok(json!({ "words": words, "address": address, "marks": older.landmarks.len() }))
        })
        .collect()
}
