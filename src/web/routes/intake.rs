//! The intake: what was told, its forms, and the questions of each visit.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;

use super::clients::client_path;
use super::{onwards, page, page_again, state_of};
use crate::plan::pain::PAIN_MAX;
use crate::plan::{
    Day, Findings, GRIP_MAX_KG, Intake, IntakeVisit, PainSpot, Provocation, TEXT_MAX, VISITS_BACK_DAYS, WEEKS_MAX,
};
use crate::records::Word as _;
use crate::screen::ResultSide;
use crate::web::casework::{Casework, faults};
use crate::web::dates::day_words;
use crate::web::error::WebError;
use crate::web::pages;
use crate::web::request::{Code, Form, Parameters};
use crate::web::state::{App, blocking};
use crate::web::text::{self, intake as words};
use crate::web::view::{FormView, IntakeFormView, IntakeParts, IntakeView, IntakeVisitView};

/// Activities that are rated at most.
const ACTIVITIES_MAX: usize = 3;

/// Characters of an activity's name at most: it is printed beside its number.
const ACTIVITY_LENGTH_MAX: usize = 60;

/// Tries of grip force at a visit at most.
const TRIES_MAX: usize = 10;

/// `GET /clients/{code}/intake`.
pub async fn read(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        Ok(page(match &case.intake {
            Some(intake) => pages::intake(&intake_view(&case, intake)),
            None => pages::intake_form(&form_view(&case, IntakeParts::All, first_form(&case))),
        }))
    })
    .await
}

/// `POST /clients/{code}/intake`: the first questions.
pub async fn begin(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        if case.intake.is_some() {
            return Err(WebError::Refused { reason: "this client has an intake already: correct it".to_owned() });
        }
        let person = take_person(&case, &mut form, None);
        let activities = person.as_ref().map_or_else(Vec::new, |person| person.activities.clone());
        let visit = take_visit(&case, &mut form, &activities);
        let taken = person.zip(visit).filter(|_| form.is_right()).map(|(mut intake, visit)| {
            intake.put_visit(None, visit);
            intake
        });
        keep(&app, &case, taken, form, IntakeParts::All)
    })
    .await
}

/// `GET /clients/{code}/intake/person`.
pub async fn person(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let intake = begun(&case)?;
        Ok(page(pages::intake_form(&form_view(&case, IntakeParts::Person, person_form(intake)))))
    })
    .await
}

/// `POST /clients/{code}/intake/person`.
pub async fn correct(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let taken = take_person(&case, &mut form, Some(begun(&case)?)).filter(|_| form.is_right());
        keep(&app, &case, taken, form, IntakeParts::Person)
    })
    .await
}

/// `GET /clients/{code}/intake/visit?on=DAY`: a visit that was, or one of today.
pub async fn visit(State(app): State<Arc<App>>, Code(code): Code, of: Parameters) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let intake = begun(&case)?;
        let wanted = of.text("on").map(str::to_owned).unwrap_or_else(|| case.today.to_string());
        let known = intake.visits.iter().find(|visit| visit.on.to_string() == wanted);
        let form = match known {
            Some(visit) => visit_form(visit, &intake.activities),
            None if of.text("on").is_some() => return Err(WebError::NotFound { what: "visit" }),
            None => FormView { values: BTreeMap::from([("on".to_owned(), wanted)]), ..FormView::default() },
        };
        Ok(page(pages::intake_form(&form_view(&case, IntakeParts::Visit, form))))
    })
    .await
}

/// `POST /clients/{code}/intake/visit`.
pub async fn put_visit(State(app): State<Arc<App>>, Code(code): Code, mut form: Form) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let mut intake = begun(&case)?.clone();
        let was = form.text("was");
        let before = intake.visits.iter().find(|visit| Some(visit.on.to_string()) == was);
        // another tab, or another person, may have corrected it since this form was filled
        let state = before.map(visit_state);
        if let Some(state) = &state
            && form.text("was_state").is_some_and(|was| was != *state)
        {
            form.fault("on", words::CHANGED_MEANWHILE);
            form.view.values.insert("was_state".to_owned(), state.clone());
        }
        let was = before.map(|visit| visit.on);
        let visit = take_visit(&case, &mut form, &intake.activities).filter(|_| form.is_right());
        let taken = visit.map(|visit| {
            intake.put_visit(was, visit);
            intake
        });
        keep(&app, &case, taken, form, IntakeParts::Visit)
    })
    .await
}

fn begun(case: &Casework) -> Result<&Intake, WebError> {
    case.intake.as_ref().ok_or(WebError::NotFound { what: "intake" })
}

/// Keeps an intake if all of it can be, and shows the form again if not. Nothing is changed then.
fn keep(
    app: &App,
    case: &Casework,
    taken: Option<Intake>,
    mut form: Form,
    parts: IntakeParts,
) -> Result<Response, WebError> {
    if let Some(intake) = taken {
        let has_pain = |visit: &IntakeVisit| {
            [visit.pain_at_rest, visit.pain_in_use, visit.pain_on_pressing].iter().any(|pain| *pain > 0)
        };
        let earliest = case.entries.first().map(|logged| logged.entry.day);
        if intake.pain_spots.is_empty() && intake.visits.iter().any(has_pain) {
            form.fault("spots", words::PAIN_NOWHERE);
        } else if let Some((first, logged)) = intake.first_visit().zip(earliest).filter(|(first, day)| first > day) {
            form.fault("on", text::log::before_first(&day_words(&first.to_string()), &day_words(&logged.to_string())));
        } else {
            match intake.checked(case.today) {
                Ok(intake) => {
                    app.records.keep_intake(case.client.id, &intake)?;
                    return Ok(onwards(&format!("{}/intake", client_path(case.code()))));
                }
                Err(error) => faults(&error, false).into_iter().for_each(|fault| form.fault("on", fault)),
            }
        }
    }
    // those two are sentences that the person agrees to as they stand
    form.name_faults(|name| (!matches!(name, "ratings" | "rest_above")).then(|| text::log::field(name)));
    Ok(page_again(pages::intake_form(&form_view(case, parts, form.view))))
}

fn form_view(case: &Casework, parts: IntakeParts, form: FormView) -> IntakeFormView {
    IntakeFormView {
        code: case.code().to_owned(),
        parts,
        activities: case.intake.as_ref().map(|intake| intake.activities.clone()).unwrap_or_default(),
        today: case.today.to_string(),
        was: form.values.get("was").cloned(),
        stopped: case.stopped.clone(),
        form,
    }
}

fn first_form(case: &Casework) -> FormView {
    let mut form = FormView::default();
    form.values.insert("affected_side".to_owned(), case.client.facts.affected_side.word().to_owned());
    form.values.insert("on".to_owned(), case.today.to_string());
    form
}

fn person_form(intake: &Intake) -> FormView {
    let mut form = FormView::default();
    let mut set = |name: String, value: String| form.values.insert(name, value);
    set("affected_side".to_owned(), intake.affected_side.word().to_owned());
    for spot in &intake.pain_spots {
        set(format!("spot_{}", spot.name()), "on".to_owned());
    }
    for (name, _) in Provocation::ALL.iter().filter(|(_, known)| intake.provoked_by.contains(known)) {
        set(format!("provoked_{name}"), "on".to_owned());
    }
    set("weeks_since_onset".to_owned(), intake.weeks_since_onset.to_string());
    for (name, text) in [("work", &intake.work), ("sport", &intake.sport)] {
        set(name.to_owned(), text.clone().unwrap_or_default());
    }
    set("earlier_care".to_owned(), intake.earlier_care.join("\n"));
    set("goals".to_owned(), intake.goals.join("\n"));
    for (number, activity) in (1..).zip(&intake.activities) {
        set(format!("activity_{number}"), activity.clone());
    }
    form
}

/// All that a visit tells, for a form to say what it was filled from.
fn visit_state(visit: &IntakeVisit) -> String {
    state_of(&format!("{visit:?}"))
}

fn visit_form(visit: &IntakeVisit, activities: &[String]) -> FormView {
    let mut form = FormView::default();
    let mut set = |name: &str, value: String| form.values.insert(name.to_owned(), value);
    set("was", visit.on.to_string());
    set("was_state", visit_state(visit));
    set("on", visit.on.to_string());
    set("pain_at_rest", visit.pain_at_rest.to_string());
    set("pain_in_use", visit.pain_in_use.to_string());
    set("pain_on_pressing", visit.pain_on_pressing.to_string());
    if visit.is_worse_at_rest() {
        set("rest_above", words::rest_above(visit));
    }
    for (number, activity) in (1..).zip(activities) {
        if let Some(rating) = visit.ratings.get(activity) {
            set(&format!("rating_{number}"), rating.to_string());
        }
    }
    let found = &visit.findings;
    let findings = [
        ("resisted_wrist_flexion", found.resisted_wrist_flexion.map(|found| found.word())),
        ("resisted_pronation", found.resisted_pronation.map(|found| found.word())),
        ("valgus_stress", found.valgus_stress.map(|found| found.word())),
        ("ulnar_nerve", found.ulnar_nerve.map(|found| found.word())),
    ];
    for (name, word) in findings {
        set(name, word.unwrap_or_default().to_owned());
    }
    set("grip_left_kg", tries_words(&found.grip_left_kg));
    set("grip_right_kg", tries_words(&found.grip_right_kg));
    form
}

/// What is told once, on top of an intake that is there. Faults are noted in the form.
fn take_person(case: &Casework, form: &mut Form, before: Option<&Intake>) -> Option<Intake> {
    let affected_side: Option<ResultSide> = form.word("affected_side");
    let clients = case.client.facts.affected_side;
    if affected_side.is_some_and(|side| side != clients) {
        form.fault("affected_side", words::not_the_clients(text::side(clients)));
    }
    let ticked = PainSpot::ALL.into_iter().filter(|(name, _)| form.flag(&format!("spot_{name}")));
    let pain_spots: Vec<PainSpot> = ticked.map(|(_, spot)| spot).collect();
    let contrary = match affected_side {
        Some(ResultSide::Left) => pain_spots.iter().find(|spot| !spot.is_left),
        Some(ResultSide::Right) => pain_spots.iter().find(|spot| spot.is_left),
        _ => None,
    };
    if let (Some(spot), Some(side)) = (contrary, affected_side) {
        form.fault("spots", words::other_side(&words::spot(*spot), text::side(side)));
    }
    let ticked = Provocation::ALL.into_iter().filter(|(name, _)| form.flag(&format!("provoked_{name}")));
    let provoked_by: Vec<Provocation> = ticked.map(|(_, provocation)| provocation).collect();
    let weeks_since_onset = whole(form, "weeks_since_onset", WEEKS_MAX);
    let [work, sport] = ["work", "sport"].map(|name| form.line_up_to(name, TEXT_MAX));
    let [earlier_care, goals] = ["earlier_care", "goals"].map(|name| {
        let text = form.text_up_to(name, TEXT_MAX).unwrap_or_default();
        text.lines().map(|line| line.trim().to_owned()).filter(|line| !line.is_empty()).collect::<Vec<_>>()
    });
    let mut activities: Vec<String> = Vec::new();
    for number in 1..=ACTIVITIES_MAX {
        let name = format!("activity_{number}");
        match form.line_up_to(&name, ACTIVITY_LENGTH_MAX) {
            Some(activity) if activities.iter().any(|other| other.to_lowercase() == activity.to_lowercase()) => {
                form.fault(&name, words::SAME_ACTIVITY);
            }
            Some(activity) => activities.push(activity),
            None => {}
        }
    }
    let mut intake = before.cloned().unwrap_or_else(|| Intake::blank(case.code(), clients));
    move_ratings(&mut intake, &activities, form)?;
    intake.client = case.code().to_owned();
    intake.affected_side = affected_side?;
    intake.pain_spots = pain_spots;
    intake.provoked_by = provoked_by;
    intake.weeks_since_onset = weeks_since_onset?;
    intake.work = work;
    intake.sport = sport;
    intake.earlier_care = earlier_care;
    intake.goals = goals;
    intake.activities = activities;
    Some(intake)
}

/// What was rated stays rated: where an activity that has ratings is named no more, the person says whether it has another name
/// now or is given up.
fn move_ratings(intake: &mut Intake, activities: &[String], form: &mut Form) -> Option<()> {
    let is_rated = |activity: &String| intake.visits.iter().any(|visit| visit.ratings.contains_key(activity));
    let gone: Vec<(usize, String)> = (intake.activities.iter().cloned().enumerate())
        .filter(|(_, activity)| !activities.contains(activity) && is_rated(activity))
        .collect();
    if gone.is_empty() {
        return Some(());
    }
    // a new name where the old one stood is its new name
    let mut moves: Vec<(String, Option<String>)> = Vec::new();
    for (at, before) in gone {
        let renamed = form.line_up_to(&format!("activity_{}", at + 1), ACTIVITY_LENGTH_MAX);
        moves.push((before, renamed.filter(|name| !intake.activities.contains(name))));
    }
    let told: Vec<String> = moves.iter().map(|(before, name)| words::moved(before, name.as_deref())).collect();
    let told = told.join(" ");
    // what was agreed to is what happens, and nothing that was typed since
    if form.text("ratings").as_deref() != Some(told.as_str()) {
        form.view.values.remove("ratings");
        form.fault("ratings", told);
        return None;
    }
    for (before, renamed) in moves {
        for visit in &mut intake.visits {
            if let (Some(rating), Some(name)) = (visit.ratings.remove(&before), &renamed) {
                visit.ratings.insert(name.clone(), rating);
            }
        }
    }
    Some(())
}

/// What is told and found at a visit. Faults are noted in the form.
fn take_visit(case: &Casework, form: &mut Form, activities: &[String]) -> Option<IntakeVisit> {
    let on = day(form, "on", case.today);
    let [at_rest, in_use, on_pressing] =
        ["pain_at_rest", "pain_in_use", "pain_on_pressing"].map(|name| whole(form, name, u16::from(PAIN_MAX)));
    let are_chosen_here = form.view.values.keys().any(|name| name.starts_with("activity_"));
    let mut ratings = BTreeMap::new();
    for number in 1..=ACTIVITIES_MAX {
        let name = format!("rating_{number}");
        if form.view.value(&name).trim().is_empty() {
            continue;
        }
        // where activities are chosen in the same form, some before this one may have no name
        let activity = if are_chosen_here {
            Some(form.view.value(&format!("activity_{number}")).trim().to_owned())
        } else {
            activities.get(number - 1).cloned()
        };
        // of names that were refused, what is wrong is told with them
        let activity = activity.filter(|name| !name.is_empty() && (are_chosen_here || activities.contains(name)));
        let rating = whole(form, &name, u16::from(PAIN_MAX)).and_then(|rating| u8::try_from(rating).ok());
        match (activity, rating) {
            (Some(activity), Some(rating)) => {
                ratings.insert(activity, rating);
            }
            (None, Some(_)) => form.fault(&name, words::RATING_OF_NOTHING),
            (_, None) => {}
        }
    }
    let findings = Findings {
        resisted_wrist_flexion: form.optional_word("resisted_wrist_flexion"),
        resisted_pronation: form.optional_word("resisted_pronation"),
        valgus_stress: form.optional_word("valgus_stress"),
        ulnar_nerve: form.optional_word("ulnar_nerve"),
        grip_left_kg: tries(form, "grip_left_kg"),
        grip_right_kg: tries(form, "grip_right_kg"),
    };
    let pain = |pain: Option<u16>| pain.and_then(|pain| u8::try_from(pain).ok());
    let visit = IntakeVisit {
        on: on?,
        pain_at_rest: pain(at_rest)?,
        pain_in_use: pain(in_use)?,
        pain_on_pressing: pain(on_pressing)?,
        danger_signs: Vec::new(),
        ratings,
        findings,
    };
    let earliest = case.today.plus(-VISITS_BACK_DAYS);
    if visit.on < earliest {
        let [on, earliest] = [visit.on, earliest].map(|day| day_words(&day.to_string()));
        form.fault("on", words::long_ago(&on, &earliest));
    }
    ask_of_rest(&visit, form);
    Some(visit)
}

/// Pain at rest well above pain in use is a slip, or something to tell a clinician: the person says which.
fn ask_of_rest(visit: &IntakeVisit, form: &mut Form) {
    let told = words::rest_above(visit);
    // what was agreed to is what is typed now
    if visit.is_worse_at_rest() && form.text("rest_above").as_deref() != Some(told.as_str()) {
        form.view.values.remove("rest_above");
        form.fault("rest_above", told);
    }
}

/// A day that has come.
pub(super) fn day(form: &mut Form, name: &str, today: Day) -> Option<Day> {
    let text = form.text(name);
    let found: Option<Day> = text.as_deref().and_then(|text| text.parse().ok());
    match (text, found) {
        (None, _) => form.fault(name, text::log::NO_DAY),
        (Some(text), None) => form.fault(name, text::log::not_a_day(&text)),
        (Some(_), Some(day)) if day > today => {
            form.fault(name, text::log::in_future(&day_words(&day.to_string()), &day_words(&today.to_string())));
        }
        _ => return found,
    }
    None
}

/// A whole number from 0 to `most`, which must be there.
pub(super) fn whole(form: &mut Form, name: &str, most: u16) -> Option<u16> {
    let text = form.text(name);
    let number = text.as_deref().and_then(|text| text.parse::<u16>().ok()).filter(|number| *number <= most);
    if number.is_none() && form.view.error(name).is_none() {
        let label = text::log::field(name);
        form.fault(name, text::log::not_whole(&label, text.as_deref(), most));
    }
    number
}

/// Numbers of tries of grip force, kg, apart by spaces or semicolons; a decimal comma is taken.
fn tries(form: &mut Form, name: &str) -> Vec<f64> {
    let text = form.text(name).unwrap_or_default();
    let mut tries = Vec::new();
    for part in
        text.split([' ', ';', '\t', '\n', '\r']).map(|part| part.trim_matches(',')).filter(|part| !part.is_empty())
    {
        match part.replace(',', ".").parse::<f64>() {
            Ok(kg) if (0.0..=GRIP_MAX_KG).contains(&kg) => tries.push(kg),
            _ => {
                form.fault(name, text::log::not_grip(&text::log::field(name), part, GRIP_MAX_KG));
                return Vec::new();
            }
        }
    }
    if tries.len() > TRIES_MAX {
        form.fault(name, format!("has {} numbers, expected at most {TRIES_MAX}", tries.len()));
    }
    tries
}

fn tries_words(tries: &[f64]) -> String {
    tries.iter().map(f64::to_string).collect::<Vec<_>>().join(" ")
}

fn intake_view(case: &Casework, intake: &Intake) -> IntakeView {
    let listed = |items: Vec<String>| items.join(", ");
    let mut facts = vec![
        (words::SIDE, text::side(intake.affected_side).to_owned()),
        (words::WHERE, listed(intake.pain_spots.iter().map(|spot| words::spot(*spot)).collect())),
        (
            words::PROVOKED,
            listed(intake.provoked_by.iter().map(|found| words::provocation(*found).to_owned()).collect()),
        ),
        (words::WEEKS, intake.weeks_since_onset.to_string()),
        (words::WORK, intake.work.clone().unwrap_or_default()),
        (words::SPORT, intake.sport.clone().unwrap_or_default()),
        (words::GOALS, intake.goals.join("; ")),
        (words::CARE, intake.earlier_care.join("; ")),
        (words::ACTIVITIES, listed(intake.activities.clone())),
    ];
    facts.retain(|(_, text)| !text.is_empty());
    IntakeView {
        code: case.code().to_owned(),
        facts: facts.into_iter().map(|(label, text)| (label.trim_end_matches(" (optional)"), text)).collect(),
        visits: intake.visits.iter().rev().map(|visit| visit_view(visit, &intake.activities)).collect(),
        has_other_side: intake.affected_side != case.client.facts.affected_side,
    }
}

fn visit_view(visit: &IntakeVisit, activities: &[String]) -> IntakeVisitView {
    let number = |label: &str, value: u8| (label.to_owned(), value.to_string());
    let mut numbers = vec![
        number(words::AT_REST, visit.pain_at_rest),
        number(words::IN_USE, visit.pain_in_use),
        number(words::ON_PRESSING, visit.pain_on_pressing),
    ];
    numbers.extend(activities.iter().filter_map(|activity| Some(number(activity, *visit.ratings.get(activity)?))));
    let found = &visit.findings;
    let kilograms = |tries: &[f64]| Some(tries_words(tries)).filter(|words| !words.is_empty());
    let findings = [
        (words::FLEXION, found.resisted_wrist_flexion.map(|found| words::resisted(found).to_owned())),
        (words::PRONATION, found.resisted_pronation.map(|found| words::resisted(found).to_owned())),
        (words::VALGUS, found.valgus_stress.map(|found| words::valgus(found).to_owned())),
        (words::ULNAR, found.ulnar_nerve.map(|found| words::ulnar(found).to_owned())),
        (words::GRIP_LEFT, kilograms(&found.grip_left_kg)),
        (words::GRIP_RIGHT, kilograms(&found.grip_right_kg)),
    ];
    IntakeVisitView {
        on: visit.on.to_string(),
        date: day_words(&visit.on.to_string()),
        numbers,
        findings: findings.into_iter().filter_map(|(label, text)| Some((label, text?))).collect(),
        alarm: found.alarm(),
        is_worse_at_rest: visit.is_worse_at_rest(),
    }
}
