//! A clip followed from the marks of a reach: how it stands, and the arm's curve, which is the marking page's time control.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use serde_json::{Value, json};

use crate::records::{Followable, Reach, ReachMarks};
use crate::report::Curve;
use crate::web::danger;
use crate::web::error::{ApiError, WebError};
use crate::web::follow::{FollowState, Follows, Wanted};
use crate::web::request::Id;
use crate::web::state::{App, blocking};
use crate::web::text::mark as words;

/// `GET /api/reaches/{id}/follow`.
pub async fn read(State(app): State<Arc<App>>, Id(id): Id) -> Result<Json<Value>, ApiError> {
    Ok(Json(blocking(move || told(&app, &app.records.reach(id)?, With::Curve)).await?))
}

/// `POST /api/reaches/{id}/follow`: follows the clip from the marks as they are now.
pub async fn start(State(app): State<Arc<App>>, Id(id): Id) -> Result<(StatusCode, Json<Value>), ApiError> {
    let known = app.clone();
    let (reach, followable) = blocking(move || {
        let reach = known.records.reach(id)?;
        danger::must_not_be_stopped(&known.records, reach.visit)?;
        let followable = Followable::of(&reach, &known.records.marks(id)?)?;
        Ok((reach, followable))
    })
    .await?;
    let refused = |reason: String| WebError::Refused { reason };
    match followable {
        Followable::Never => return Err(refused(words::FOLLOW_NEVER.to_owned()).into()),
        Followable::Lacks(missing) => return Err(refused(words::follow_lacks(&missing)).into()),
        Followable::From { arm, origin } => {
            let clip = app.records.media_path(&reach.media);
            Follows::start(&app, Wanted { reach: id, clip, arm, origin });
        }
    }
    let told = blocking(move || told(&app, &reach, With::StateAlone)).await?;
    Ok((StatusCode::ACCEPTED, Json(told)))
}

/// `DELETE /api/reaches/{id}/follow`: stops following; what was followed before stays.
pub async fn stop(State(app): State<Arc<App>>, Id(id): Id) -> Result<Json<Value>, ApiError> {
    let told = blocking(move || {
        let reach = app.records.reach(id)?;
        app.follows.stop(id);
        told(&app, &reach, With::StateAlone)
    });
    Ok(Json(told.await?))
}

/// How much is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum With {
    /// All.
    Curve,
    /// All but the curve.
    StateAlone,
}

fn told(app: &App, reach: &Reach, with: With) -> Result<Value, WebError> {
    follow_json(app, reach, &app.records.marks(reach.id)?, with)
}

/// How it stands with the following of a reach's clip; null where it never can be followed.
pub(super) fn follow_json(app: &App, reach: &Reach, marks: &ReachMarks, with: With) -> Result<Value, WebError> {
    let followable = Followable::of(reach, marks)?;
    if followable == Followable::Never {
        return Ok(Value::Null);
    }
    // first the work, then what it led to: it is kept before its work ends
    let work = app.follows.state(reach.id).map(|state| state_json(&state));
    let missing = match &followable {
        Followable::Lacks(missing) => missing.iter().map(|landmark| landmark.name()).collect(),
        _ => Vec::new(),
    };
    let mut json = json!({ "missing": missing, "work": work });
    match with {
        With::StateAlone => {
            let origin = app.records.followed_origin(reach.id)?;
            json["is_followed"] = origin.is_some().into();
            json["is_older"] = origin.is_some_and(|origin| followable.makes_older(&origin)).into();
        }
        With::Curve => {
            let kept = app.records.followed(reach.id)?;
            json["is_followed"] = kept.is_some().into();
            json["is_older"] = kept.as_ref().is_some_and(|kept| followable.makes_older(&kept.origin)).into();
            let mut curve = kept.and_then(|kept| Curve::of(&kept.arm, &reach.media.facts.frame_times_s));
            for span in curve.iter_mut().flat_map(|curve| &mut curve.spans) {
                span.words = words::unseen(&span.marks, span.is_lost);
            }
            json["curve"] = serde_json::to_value(curve).unwrap_or_default();
        }
    }
    Ok(json)
}

fn state_json(state: &FollowState) -> Value {
    match state {
        FollowState::Waiting => json!({ "state": "waiting" }),
        FollowState::Failed(reason) => json!({ "state": "failed", "words": reason }),
        FollowState::Running { done, all, begun } => {
            json!({ "state": "running", "done": done, "all": all, "words": words::pace(*done, *all, begun.elapsed()) })
        }
    }
}
