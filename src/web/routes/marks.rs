//! The marking page, the marks as JSON, and the live numbers.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::response::Response;
use serde_json::{Value, json};

use super::carry::{left_behind, older_here, sources_json};
use super::follow::{With, follow_json};
use super::{onwards, page as shown};
use crate::geometry::{Landmark, Side};
use crate::pose::View;
use crate::records::{CarriedFrom, Confirmed, Feel, Followable, Marking, Reach, ReachMarks, Word};
use crate::screen::marks::is_covariance;
use crate::screen::{LimitedBy, RAISE_GAP_S, further_landmarks, needed_landmarks};
use crate::video::TIME_TOLERANCE_S;
use crate::web::danger;
use crate::web::error::{ApiError, WebError, chain_words};
use crate::web::measured;
use crate::web::pages;
use crate::web::request::{Id, JsonBody, Parameters, field};
use crate::web::state::{App, blocking};
use crate::web::view::{LandmarkView, LiveView, MarkView, PicturesView};

/// The most raises of a clip and repeats of a marking.
pub(super) const RAISES_MAX: u32 = 20;
const REPEATS_MAX: u32 = 20;

/// `GET /reaches/{id}/mark`.
pub async fn page(State(app): State<Arc<App>>, Id(id): Id, parameters: Parameters) -> Result<Response, WebError> {
    let (raise, repeat) = (parameters.count("raise", RAISES_MAX)?, parameters.count("repeat", REPEATS_MAX)?);
    blocking(move || {
        let reach = app.records.reach(id)?;
        if danger::refusal_of_visit(&app.records, reach.visit)?.is_some() {
            return Ok(onwards(&format!("/visits/{}", reach.visit)));
        }
        let marks = app.records.marks(id)?;
        let visit = app.records.visit(reach.visit)?;
        let client = app.records.client_by_id(visit.client)?;
        let Reach { facts, media, .. } = &reach;
        let view = MarkView {
            reach: id,
            visit: reach.visit,
            client_code: client.facts.code,
            is_alone: visit.is_alone,
            occasion: facts.occasion,
            rotation: facts.rotation,
            view: facts.view,
            near_side: facts.near_side,
            mirrored: facts.mirrored,
            image_size: media.facts.upright_size,
            frames: media.facts.frame_times_s.len(),
            is_followable: repeat == 1 && Followable::of(&reach, &marks)? != Followable::Never,
            repeat,
            raise,
            landmarks: landmarks(&reach)
                .map(|(landmark, is_required)| LandmarkView { landmark, is_required })
                .collect(),
            pain: marks.feel.pain,
            limited_by: marks.feel.limited_by,
            back_flat: marks.feel.back_flat,
        };
        Ok(shown(pages::mark(&view)))
    })
    .await
}

fn landmarks(reach: &Reach) -> impl Iterator<Item = (Landmark, bool)> {
    landmarks_of_view(reach.facts.view, reach.facts.near_side)
}

/// The landmarks of a view in the order in which they are asked for, and whether it needs them.
pub(super) fn landmarks_of_view(view: View, near_side: Option<Side>) -> impl Iterator<Item = (Landmark, bool)> {
    let needed = needed_landmarks(view, near_side).into_iter().map(|landmark| (landmark, true));
    needed.chain(further_landmarks(view, near_side).into_iter().map(|landmark| (landmark, false)))
}

/// `GET /api/reaches/{id}`.
pub async fn read(State(app): State<Arc<App>>, Id(id): Id, parameters: Parameters) -> Result<Json<Value>, ApiError> {
    let (raise, repeat) = (parameters.count("raise", RAISES_MAX)?, parameters.count("repeat", REPEATS_MAX)?);
    let json = blocking(move || {
        let reach = app.records.reach(id)?;
        let marks = app.records.marks(id)?;
        let time_s = shown_time(&marks, raise, repeat);
        let live = live_of(&app, &reach, time_s, repeat);
        let mut json = reach_json(&reach, &marks, (raise, repeat), live);
        let older = app.records.older_marks(reach.visit)?;
        // a repeat is placed by hand, or it would tell nothing of the hand
        let sources = if repeat > 1 { Vec::new() } else { sources_json(&app.records, &reach, raise)? };
        json["sources"] = sources.into();
        json["older"] = older_here(&older, id, raise).into();
        json["left_behind"] = left_behind(&app.records, &older, id)?.into();
        // the curve tells numbers, which a repeat is placed without
        json["follow"] = if repeat > 1 { Value::Null } else { follow_json(&app, &reach, &marks, With::Curve)? };
        Ok(json)
    });
    Ok(Json(json.await?))
}

/// The time of the frame to show, s: a repeat is placed on the frame that was marked first, without a sight of where.
fn shown_time(marks: &ReachMarks, raise: u32, repeat: u32) -> Option<f64> {
    marks.marking(raise, repeat).or_else(|| marks.marking(raise, 1)).map(|marking| marking.time_s)
}

/// The live numbers while a reach is marked; null, with a line in the log, where they cannot be had. A repeat is blind: what
/// is drawn over the frame would show where the earlier marks are.
fn live_of(app: &Arc<App>, reach: &Reach, time_s: Option<f64>, repeat: u32) -> Option<LiveView> {
    match measured::live(app, reach.visit, Some((reach, time_s))) {
        Ok(live) if repeat > 1 => Some(LiveView { overlay: None, ..live }),
        Ok(live) => Some(live),
        Err(error) => {
            app.log(&chain_words(&error));
            None
        }
    }
}

fn reach_json(reach: &Reach, marks: &ReachMarks, (raise, repeat): (u32, u32), live: Option<LiveView>) -> Value {
    let marking = marks.marking(raise, repeat);
    let times_s = &reach.media.facts.frame_times_s;
    let points: BTreeMap<&str, [f64; 2]> = marking
        .into_iter()
        .flat_map(|marking| marking.points.iter().map(|(landmark, point)| (landmark.name(), *point)))
        .collect();
    let carried: BTreeMap<&str, CarriedFrom> = marking
        .into_iter()
        .flat_map(|marking| marking.carried.iter().map(|(landmark, from)| (landmark.name(), *from)))
        .collect();
    let raises = marks.markings.iter().map(|marking| {
        json!({ "raise": marking.raise, "repeat": marking.repeat, "time_s": marking.time_s, "marks": marking.points.len() })
    });
    let landmarks = landmarks(reach).map(|(landmark, is_required)| {
        json!({ "name": landmark.name(), "words": landmark.words(), "required": is_required })
    });
    let placed = marks.markings.iter().filter(|marking| marking.raise == raise && !marking.points.is_empty());
    let repeats = placed.map(|marking| marking.repeat);
    let facts = &reach.facts;
    json!({
        "id": reach.id,
        "visit": reach.visit,
        "occasion": facts.occasion,
        "rotation": facts.rotation,
        "view": facts.view,
        "near_side": facts.near_side,
        "mirrored": facts.mirrored,
        "image_size": reach.media.facts.upright_size,
        "frame_times_s": times_s,
        "landmarks": landmarks.collect::<Vec<_>>(),
        "raises": raises.collect::<Vec<_>>(),
        "raise": raise,
        "repeat": repeat,
        "time_s": shown_time(marks, raise, repeat),
        "suggested_time_s": times_s.get(times_s.len() / 2),
        "points": points,
        "carried": carried,
        "pain": marks.feel.pain,
        "limited_by": marks.feel.limited_by.map(Word::word),
        "back_flat": marks.feel.back_flat,
        "revision": marks.revision,
        "repeats": repeats.collect::<Vec<_>>(),
        "live": live,
    })
}

/// `PUT /api/reaches/{id}/marks`: when this answers, the marks are on the disk.
pub async fn confirm(
    State(app): State<Arc<App>>,
    Id(id): Id,
    JsonBody(body): JsonBody,
) -> Result<Json<Value>, ApiError> {
    let answer = blocking(move || {
        let reach = app.records.reach(id)?;
        danger::must_not_be_stopped(&app.records, reach.visit)?;
        let Edit { from, marking, feel } = edit(&body, &reach)?;
        note_same_raise(&app.records.marks(id)?, &marking)?;
        let revision = match app.records.confirm_marks(id, from, &marking, &feel)? {
            Confirmed::Revision(revision) => revision,
            Confirmed::Stale(current) => return Err(WebError::Stale { current, found: from }),
        };
        // confirmed whatever becomes of the numbers
        let live = live_of(&app, &reach, Some(marking.time_s), marking.repeat);
        let left_behind = left_behind(&app.records, &app.records.older_marks(reach.visit)?, id)?;
        let follow = follow_json(&app, &reach, &app.records.marks(id)?, With::StateAlone)?;
        Ok(json!({ "revision": revision, "live": live, "left_behind": left_behind, "follow": follow }))
    });
    Ok(Json(answer.await?))
}

/// `GET /api/visits/{id}/live?reach=N`.
pub async fn live(
    State(app): State<Arc<App>>,
    Id(visit): Id,
    parameters: Parameters,
) -> Result<Json<LiveView>, ApiError> {
    let live = blocking(move || {
        let reach = match parameters.text("reach") {
            None => None,
            Some(text) => {
                let found = text.parse().map_err(|_| field("reach", format!("found {text:?}, expected a number")))?;
                let reach = app.records.reach(found)?;
                if reach.visit != visit {
                    return Err(field("reach", "belongs to another visit".to_owned()));
                }
                Some(reach)
            }
        };
        measured::live(&app, visit, reach.as_ref().map(|reach| (reach, None)))
    });
    Ok(Json(live.await?))
}

/// `GET /api/visits/{id}/pictures`: how it stands with the comparison of the visit's pictures. Nothing is begun by it.
pub async fn pictures(State(app): State<Arc<App>>, Id(visit): Id) -> Result<Json<PicturesView>, ApiError> {
    let told = blocking(move || Ok(measured::pictures_view(&app, visit, &app.records.case_of(visit)?)));
    Ok(Json(told.await?))
}

/// An edit as it was sent.
struct Edit {
    from: i64,
    marking: Marking,
    feel: Feel,
}

/// Reads an edit; the first thing that is wrong is named.
fn edit(body: &Value, reach: &Reach) -> Result<Edit, WebError> {
    const FIELDS: [&str; 9] =
        ["revision", "raise", "repeat", "time_s", "points", "carried", "pain", "limited_by", "back_flat"];
    let fields = body.as_object().ok_or_else(|| field("body", "expected an object".to_owned()))?;
    if let Some(unknown) = fields.keys().find(|name| !FIELDS.contains(&name.as_str())) {
        return Err(field(unknown, format!("is not known, expected {}", FIELDS.join(", "))));
    }
    let given = |name: &str| fields.get(name).filter(|value| !value.is_null());
    let from = given("revision").and_then(Value::as_i64).filter(|revision| *revision >= 0);
    let from = from.ok_or_else(|| field("revision", "expected the revision that was read last".to_owned()))?;
    let raise = count("raise", given("raise"), RAISES_MAX)?;
    let repeat = count("repeat", given("repeat"), REPEATS_MAX)?;
    let time_s = time(given("time_s"), reach)?;
    let points = points(given("points"), reach)?;
    let carried = carried(given("carried"), &points, repeat)?;
    let pain = given("pain")
        .map(|value| {
            let pain = value.as_f64().filter(|pain| (0.0..=10.0).contains(pain));
            pain.ok_or_else(|| field("pain", format!("found {value}, expected a number from 0 to 10")))
        })
        .transpose()?;
    let limited_by = given("limited_by")
        .map(|value| {
            let word = value.as_str().and_then(|word| LimitedBy::of_word(word).ok());
            word.ok_or_else(|| field("limited_by", format!("found {value}, expected stretch, pain or other")))
        })
        .transpose()?;
    let back_flat = given("back_flat")
        .map(|value| value.as_bool().ok_or_else(|| field("back_flat", "expected true or false".to_owned())))
        .transpose()?;
    Ok(Edit {
        from,
        marking: Marking { raise, repeat, time_s, points, carried },
        feel: Feel { pain, limited_by, back_flat },
    })
}

/// A whole number from 1; 1 where there is none.
pub(super) fn count(name: &str, value: Option<&Value>, most: u32) -> Result<u32, WebError> {
    let Some(value) = value else { return Ok(1) };
    let number = value.as_u64().and_then(|number| u32::try_from(number).ok());
    let number = number.filter(|number| (1..=most).contains(number));
    number.ok_or_else(|| field(name, format!("found {value}, expected a whole number from 1 to {most}")))
}

/// The time of the frame, which must be one of the clip's; its exact value is taken from there.
pub(super) fn time(value: Option<&Value>, reach: &Reach) -> Result<f64, WebError> {
    let times_s = &reach.media.facts.frame_times_s;
    let found = value.and_then(Value::as_f64);
    let frame_s = found.and_then(|found| {
        let frame_s = *times_s.get(reach.media.facts.frame_at(found))?;
        ((frame_s - found).abs() <= 2.0 * TIME_TOLERANCE_S).then_some(frame_s)
    });
    frame_s.ok_or_else(|| {
        let found = value.map_or_else(|| "nothing".to_owned(), Value::to_string);
        field("time_s", format!("found {found}, expected one of frame_times_s"))
    })
}

fn points(value: Option<&Value>, reach: &Reach) -> Result<BTreeMap<Landmark, [f64; 2]>, WebError> {
    let named = value.and_then(Value::as_object);
    let named = named.ok_or_else(|| field("points", "expected an object of marks".to_owned()))?;
    let [width, height] = reach.media.facts.upright_size;
    let mut points = BTreeMap::new();
    for (name, value) in named {
        let path = format!("points.{name}");
        let landmark: Landmark = name.parse().map_err(|_| field(&path, "is no landmark".to_owned()))?;
        let numbers = value.as_array().map(Vec::as_slice).unwrap_or_default();
        let point = match numbers {
            [x, y] => x.as_f64().zip(y.as_f64()),
            _ => None,
        };
        let (x, y) = point.ok_or_else(|| field(&path, format!("found {value}, expected [x, y] in px")))?;
        // the outer edges of the outer pixels are half a pixel beyond their centres
        let is_inside = (-0.5..=f64::from(width) - 0.5).contains(&x) && (-0.5..=f64::from(height) - 0.5).contains(&y);
        if !is_inside {
            return Err(field(&path, format!("[{x}, {y}] is outside the picture of {width} x {height} px")));
        }
        points.insert(landmark, [x, y]);
    }
    Ok(points)
}

/// Whence marks were carried, of those that were. A repeat has none: it would tell nothing of the hand.
fn carried(
    value: Option<&Value>,
    points: &BTreeMap<Landmark, [f64; 2]>,
    repeat: u32,
) -> Result<BTreeMap<Landmark, CarriedFrom>, WebError> {
    let Some(value) = value else { return Ok(BTreeMap::new()) };
    let named = value.as_object().ok_or_else(|| field("carried", "expected an object of marks".to_owned()))?;
    if repeat > 1 && !named.is_empty() {
        return Err(field("carried", "a repeat is placed by hand".to_owned()));
    }
    let mut carried = BTreeMap::new();
    for (name, value) in named {
        let path = format!("carried.{name}");
        let landmark: Landmark = name.parse().map_err(|_| field(&path, "is no landmark".to_owned()))?;
        if !points.contains_key(&landmark) {
            return Err(field(&path, "is not among the points".to_owned()));
        }
        let from: CarriedFrom =
            serde_json::from_value(value.clone()).map_err(|error| field(&path, format!("cannot be read: {error}")))?;
        if !is_covariance(from.covariance_px2) {
            let found = from.covariance_px2;
            return Err(field(&path, format!("the covariance {found:?} is not positive definite")));
        }
        carried.insert(landmark, from);
    }
    Ok(carried)
}

/// Two raises cannot be so close in time that they are measured as one.
fn note_same_raise(marks: &ReachMarks, marking: &Marking) -> Result<(), WebError> {
    let is_same =
        |other: &&Marking| other.raise != marking.raise && (other.time_s - marking.time_s).abs() <= RAISE_GAP_S;
    // marks that are taken back are no raise
    let others = marks.markings.iter().filter(|other| !other.points.is_empty() && !marking.points.is_empty());
    match others.into_iter().find(is_same) {
        Some(other) => Err(field(
            "time_s",
            format!(
                "raise {} is marked {:.1} s from here: moments less than {RAISE_GAP_S} s apart count as one raise, so go to \
                 another one",
                other.raise,
                (other.time_s - marking.time_s).abs()
            ),
        )),
        None => Ok(()),
    }
}
