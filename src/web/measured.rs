//! A visit's result as the pages and the live numbers show it. All numbers come from [`crate::screen`], and are only put
//! into words here.

use std::sync::Arc;

use crate::geometry::{ImagePoint, Landmark};
use crate::pose::{Overlay, View};
use crate::records::{Palms, Reach, ReachFacts, Records, VisitCase};
use crate::report::wording::{Sign, Unit, call_in_sentence, fixed, interval, listed, outcome_word, typeset, value};
use crate::screen::words::reach_name;
use crate::screen::{
    Check, CheckStatus, Comparison, MarksFile, MeasuredVisit, Occasion, ReachResult, Retest, VisitResult,
};
use crate::screen::{needed_landmarks, repeatability_of_marks};
use crate::uncertainty::Measured;

use super::danger;
use super::error::WebError;
use super::looks::Looks;
use super::state::App;
use super::text;
use super::view::{
    ArmView, CheckView, ComparisonView, FigureView, LiveView, OverlayView, PicturesState, PicturesView,
    ReachFiguresView, RetestView, SteadinessView,
};

/// The latest result of a visit: the kept one if nothing has changed, else measured now and kept.
pub(super) fn result_of(records: &Records, visit: i64) -> Result<(VisitCase, Option<VisitResult>), WebError> {
    let case = records.case_of(visit)?;
    let kept = records.result(visit)?;
    if kept.is_some() {
        return Ok((case, kept));
    }
    let measured = measure(records, visit, &case)?;
    Ok((case, measured.map(|measured| measured.result)))
}

/// The result as it is told: that nobody saw which way the palms face stands beside the call, and where a danger sign stops
/// everything there is nothing to do next.
pub(super) fn told(case: &VisitCase, result: &VisitResult, is_stopped: bool) -> VisitResult {
    let mut told = result.clone();
    let is_painful = told.pain_stops_today();
    for comparison in &mut told.comparisons {
        tell_unmeasured(case, comparison, is_painful);
        let (sentences, next) = palms_words(case, Some(comparison.occasion));
        sentences.iter().for_each(|sentence| add_sentence(&mut comparison.reason, sentence));
        // to stop comes before anything else there is to do
        if let Some(next) = next.filter(|_| !is_painful) {
            comparison.next_step = format!("{next} {}", comparison.next_step);
        }
    }
    if let Some(retest) = &mut told.retest {
        palms_words(case, None).0.iter().for_each(|sentence| add_sentence(&mut retest.reason, sentence));
    }
    if is_stopped {
        told.comparisons.iter_mut().for_each(|comparison| comparison.next_step.clear());
    }
    if is_stopped || is_painful {
        told.leave_out_filming();
    }
    told
}

/// Where a rotation was filmed and is not measured yet, its clip is not to be filmed but marked, or put in its place.
fn tell_unmeasured(case: &VisitCase, comparison: &mut Comparison, is_painful: bool) {
    // a pair always has checks
    if !comparison.checks.is_empty() || comparison.difference_elevation_deg.is_some() {
        return;
    }
    let is_measured = |facts: &ReachFacts| {
        let mut entries = case.case.reaches.iter();
        entries.any(|entry| (entry.occasion, entry.rotation) == (facts.occasion, facts.rotation))
    };
    let mut of_occasion = case.left_out.iter().filter(|left_out| left_out.facts.occasion == comparison.occasion);
    let Some(left_out) = of_occasion.find(|left_out| !is_measured(&left_out.facts)) else { return };
    let name = reach_name(left_out.facts.rotation, left_out.facts.occasion);
    comparison.reason = text::result::not_measured_yet(&name);
    if !is_painful {
        comparison.next_step =
            if left_out.is_contrary { text::result::exchange(&name) } else { text::result::finish_marks(&name) };
    }
}

/// What palms that nobody saw mean for the calls of an occasion, or of all, in sentences, and what to do about it first.
pub(super) fn palms_words(case: &VisitCase, occasion: Option<Occasion>) -> (Vec<String>, Option<String>) {
    let names = |is_open: &dyn Fn(Option<Palms>) -> bool| {
        let entries = case.case.reaches.iter().zip(&case.reaches).filter(|(_, reach)| is_open(reach.palms));
        let entries = entries.filter(|(entry, _)| occasion.is_none_or(|occasion| occasion == entry.occasion));
        let names: Vec<String> = entries.map(|(entry, _)| reach_name(entry.rotation, entry.occasion)).collect();
        Some(listed(&names)).filter(|names| !names.is_empty())
    };
    let (open, unclear) = (names(&|palms| palms.is_none()), names(&|palms| palms == Some(Palms::Unclear)));
    let sentences = open.as_deref().map(text::result::palms_open).into_iter();
    let sentences = sentences.chain(unclear.as_deref().map(text::result::palms_unclear)).collect();
    let next = open.as_deref().map(text::result::look_at_palms);
    (sentences, next.or_else(|| unclear.as_deref().map(text::result::settle_palms)))
}

fn add_sentence(text: &mut String, sentence: &str) {
    if !text.is_empty() {
        text.push(' ');
    }
    text.push_str(sentence);
}

/// Measures a visit and keeps the result.
pub(super) fn measure(records: &Records, visit: i64, case: &VisitCase) -> Result<Option<MeasuredVisit>, WebError> {
    let measured = case.measure()?;
    if let Some(measured) = &measured {
        records.keep_result(visit, case.changes, &measured.result)?;
    }
    Ok(measured)
}

/// The numbers of a visit while the marks of `reach` move, from its pictures as far as they are compared, which goes on meanwhile;
/// `time_s` is the frame that is marked.
pub(super) fn live(app: &Arc<App>, visit: i64, reach: Option<(&Reach, Option<f64>)>) -> Result<LiveView, WebError> {
    let records = &app.records;
    let case = records.case_of(visit)?;
    Looks::see_to(app, visit, &case)?;
    let is_stopped = danger::refusal_of_visit(records, visit)?.is_some();
    let measured = measure(records, visit, &case)?;
    let index = reach.and_then(|(reach, _)| case.index_of(reach.id));
    let result = measured.as_ref().map(|measured| told(&case, &measured.result, is_stopped));
    let result = result.as_ref();
    let comparison = result.and_then(|result| match reach {
        Some((reach, _)) => result.comparisons.iter().find(|comparison| comparison.occasion == reach.facts.occasion),
        None => result.comparisons.last(),
    });
    let reason = match (reach, index, comparison) {
        (Some((reach, _)), None, _) => left_out_words(&case, reach),
        (_, _, Some(comparison)) => typeset(&comparison.reason),
        (_, _, None) => "Nothing can be measured yet.".to_owned(),
    };
    let overlay = measured.as_ref().zip(index).zip(reach).and_then(|((measured, index), (_, time_s))| {
        let time_s = time_s.or_else(|| measured.shown(index).map(|(time_s, _)| time_s))?;
        Some(overlay_view(time_s, &measured.overlay_at(index, time_s)?))
    });
    let figures = result
        .zip(index)
        .zip(reach)
        .map(|((result, index), (reach, _))| reach_figures(reach, &result.reaches[index], &case.reaches[index]));
    let margin_deg = case.case.call.margin_deg;
    // a difference or a call from marks that are not complete would be taken for the reach's
    let is_open = figures.as_ref().is_some_and(|figures| figures.elevation.is_none());
    let comparison = comparison.filter(|_| !is_open).map(|comparison| comparison_view(comparison, margin_deg));
    Ok(LiveView {
        reach: figures,
        difference: comparison.as_ref().and_then(|comparison| comparison.difference.clone()),
        call: comparison.as_ref().map(|comparison| comparison.call),
        call_words: comparison.as_ref().map(|comparison| comparison.call_words.clone()),
        reason,
        pair_checks: comparison.map(|comparison| comparison.checks).unwrap_or_default(),
        retest: result.and_then(|result| result.retest.as_ref()).map(retest_view),
        overlay,
        pictures: pictures_view(app, visit, &case),
        notes: index.map(|index| notes_of(&case, index)).unwrap_or_default(),
    })
}

/// How it stands with the pictures of a visit.
pub(super) fn pictures_view(app: &App, visit: i64, case: &VisitCase) -> PicturesView {
    let seen = &case.seen;
    let (state, words) = if !seen.open.is_empty() && app.looks.is_under_way(visit) {
        (PicturesState::Comparing, text::pictures::COMPARING)
    } else if !seen.open.is_empty() {
        (PicturesState::Alone, text::pictures::NOT_COMPARED)
    } else if seen.answers == 0 {
        (PicturesState::None, "")
    } else if seen.compared.found > 0 || !seen.bars.is_empty() {
        (PicturesState::Compared, text::pictures::COMPARED)
    } else {
        (PicturesState::Alone, text::pictures::NO_MATCH)
    };
    PicturesView { state, words: words.to_owned() }
}

/// What the pictures did for the numbers of a visit, as sentences; empty where there is nothing to compare.
pub(super) fn pictures_words(app: &App, visit: i64, case: &VisitCase) -> String {
    let seen = &case.seen;
    match pictures_view(app, visit, case).state {
        PicturesState::None => String::new(),
        PicturesState::Comparing => text::pictures::STILL_COMPARING.to_owned(),
        PicturesState::Alone if !seen.open.is_empty() => text::pictures::MARKS_ALONE.to_owned(),
        PicturesState::Compared | PicturesState::Alone => text::pictures::compared(seen.compared, seen.bars.len()),
    }
}

/// What the pictures say against marks of a reach, in sentences.
fn notes_of(case: &VisitCase, index: usize) -> Vec<String> {
    let all = case.seen.warnings.iter().chain(&case.seen.contradicted);
    let here = all.filter(|(reach, _)| *reach == index);
    here.map(|(_, sentence)| typeset(sentence)).collect()
}

/// Why a reach is not in the result, as a sentence.
pub(super) fn left_out_words(case: &VisitCase, reach: &Reach) -> String {
    let name = reach_name(reach.facts.rotation, reach.facts.occasion);
    match case.left_out.iter().find(|left_out| left_out.id == reach.id) {
        Some(left_out) if left_out.is_unmarked && !left_out.is_contrary => format!("The {name} is not marked yet."),
        Some(left_out) => typeset(&format!("The {name} is not measured: {}.", left_out.reason)),
        None => format!("The {name} is not measured."),
    }
}

/// The figures of a reach.
pub(super) fn reach_figures(
    reach: &Reach,
    result: &ReachResult,
    of_case: &crate::records::CaseReach,
) -> ReachFiguresView {
    let missing = missing_landmarks(reach, of_case);
    // what the fit says without the marks that the view needs is what it took to be likely beforehand
    let (shown, from) = match (result.elevation_deg, result.elevation_from_vertical_deg) {
        _ if !missing.is_empty() => (None, ""),
        (Some(elevation), _) => (Some(elevation), ""),
        // the front view's own angle; where the trunk should be seen, it is no stand-in
        (None, Some(elevation)) if result.view == View::Front => (Some(elevation), " from vertical"),
        (None, _) => (None, ""),
    };
    let of_complete = |measured: Option<Measured>| measured.filter(|_| shown.is_some());
    let degrees = |measured: Measured| value(measured, Unit::Degree, Sign::Minus);
    let others = [
        ("elevation, left", of_complete(result.elevation_left_deg), Unit::Degree),
        ("elevation, right", of_complete(result.elevation_right_deg), Unit::Degree),
        ("elevation from vertical", of_complete(result.elevation_from_vertical_deg), Unit::Degree),
        ("elbow flexion", result.elbow_flexion_deg, Unit::Degree),
        ("trunk lean", result.trunk_lean_deg, Unit::Degree),
        ("bar height", result.bar_height_mm, Unit::Millimetre),
        ("bar height, in arms", result.bar_height_arm, Unit::ArmLength),
        ("bar tilt", result.bar_tilt_deg, Unit::Degree),
        ("grip width", result.grip_width_mm, Unit::Millimetre),
    ];
    let figures = others
        .into_iter()
        .filter_map(|(name, measured, unit)| Some((name.to_owned(), figure(measured?, unit, Sign::Minus))));
    let frame = result.end_range_time_s.map(|time_s| of_case.media.facts.frame_at(time_s));
    ReachFiguresView {
        id: reach.id,
        occasion: result.occasion,
        rotation: result.rotation,
        view: result.view,
        side: result.side,
        raises: result.raises,
        elevation: shown.map(|elevation| format!("{}{from}", degrees(elevation))),
        interval: shown.map(|elevation| figure(elevation, Unit::Degree, Sign::Minus).interval),
        figures: figures.collect(),
        reason: match (shown, result.elevation_deg) {
            (Some(_), Some(_)) => None,
            (Some(_), None) => Some(text::result::FROM_PLUMB_LINE.to_owned()),
            (None, _) => Some(no_elevation_words(&missing)),
        },
        checks: result.checks.iter().map(check_view).collect(),
        still_url: frame.map_or_else(String::new, |frame| still_url(reach.id, frame)),
        overlay_url: format!("/visits/{}/stills/{}.svg", reach.visit, reach.id),
    }
}

/// The address of a small picture.
pub(super) fn still_url(reach: i64, frame: usize) -> String {
    format!("/api/reaches/{reach}/frames/{frame}.jpg?size=preview")
}

/// The address of a full picture.
pub(super) fn picture_url(reach: i64, frame: usize) -> String {
    format!("/api/reaches/{reach}/frames/{frame}.jpg")
}

/// What blind repeats tell of the hand that placed a visit's marks.
pub(super) fn steadiness(case: &VisitCase) -> Option<SteadinessView> {
    let names: Vec<String> = case.reaches.iter().map(|reach| reach.id.to_string()).collect();
    let clips: Vec<(&str, &MarksFile)> =
        names.iter().map(String::as_str).zip(case.reaches.iter().map(|reach| &reach.placed)).collect();
    let found = repeatability_of_marks(&clips)?;
    // the page knows no raters: all marks are of one hand
    let spread = found.raters.first()?.all?;
    let assumed_px = case.case.marking.sd_px;
    Some(SteadinessView {
        spread: fixed(spread.sd, 1),
        interval: format!("{} to {}", fixed(spread.interval.lo, 1), fixed(spread.interval.hi, 1)),
        assumed: fixed(assumed_px, 1),
        is_worse: spread.interval.lo > assumed_px,
        angle: found.angles.first().map(|angle| (fixed(angle.sem.sd, 1), fixed(angle.mdc95, 1))),
    })
}

/// The marks that the view needs and that are on no frame.
fn missing_landmarks(reach: &Reach, of_case: &crate::records::CaseReach) -> Vec<Landmark> {
    let marked = |landmark: &Landmark| of_case.marks.frames.iter().any(|frame| frame.points.contains_key(landmark));
    let needed = needed_landmarks(reach.facts.view, reach.facts.near_side);
    needed.into_iter().filter(|landmark| !marked(landmark)).collect()
}

fn no_elevation_words(missing: &[Landmark]) -> String {
    if missing.is_empty() {
        "These marks do not determine the elevation: look for one on the wrong landmark or side.".to_owned()
    } else {
        format!("The elevation is not determined; not marked yet: {}.", text::landmarks(missing))
    }
}

/// A comparison in words.
pub(super) fn comparison_view(comparison: &Comparison, margin_deg: f64) -> ComparisonView {
    let signed = |measured: Option<Measured>, unit| measured.map(|measured| figure(measured, unit, Sign::Always));
    ComparisonView {
        occasion: comparison.occasion,
        side: comparison.side,
        call: comparison.call,
        call_words: call_in_sentence(comparison.call).to_owned(),
        difference: signed(comparison.difference_elevation_deg, Unit::Degree),
        margin: format!("{}{}", fixed(margin_deg, 1), Unit::Degree.suffix()),
        bar_height_difference: signed(comparison.difference_bar_height_mm, Unit::Millimetre),
        bar_height_says: comparison.bar_height_says,
        basis: comparison.basis.clone(),
        reason: typeset(&comparison.reason),
        next_step: typeset(&comparison.next_step),
        checks: comparison.checks.iter().map(check_view).collect(),
        rays_svg: None,
        gauge_svg: None,
    }
}

/// A retest in words.
pub(super) fn retest_view(retest: &Retest) -> RetestView {
    let signed = |measured: Option<Measured>, unit| measured.map(|measured| figure(measured, unit, Sign::Always));
    RetestView {
        outcome: retest.outcome,
        outcome_words: outcome_word(retest.outcome).to_owned(),
        cleared: retest.cleared,
        change: signed(retest.change_elevation_deg, Unit::Degree),
        change_difference: signed(retest.change_difference_deg, Unit::Degree),
        change_bar_height: signed(retest.change_bar_height_mm, Unit::Millimetre),
        reason: typeset(&retest.reason),
        checks: retest.checks.iter().map(check_view).collect(),
        rays_svg: None,
        gauge_svg: None,
    }
}

fn check_view(check: &Check) -> CheckView {
    // the case file's words for what is asked on the page
    let asked = text::not_answered(&check.name).filter(|_| check.status == CheckStatus::Unknown);
    let text = asked.map_or_else(|| typeset(&check.text), str::to_owned);
    CheckView { name: check.name.clone(), status: check.status, text }
}

fn figure(measured: Measured, unit: Unit, sign: Sign) -> FigureView {
    let interval = format!("{}{}", interval(measured, unit, sign), unit.suffix());
    FigureView { value: value(measured, unit, sign), interval }
}

fn overlay_view(time_s: f64, overlay: &Overlay) -> OverlayView {
    let place = |point: &ImagePoint| [point.x, point.y];
    let places = |points: &[ImagePoint]| points.iter().map(place).collect::<Vec<_>>();
    OverlayView {
        time_s,
        trunk: overlay.trunk.as_ref().map(|points| points.each_ref().map(place)),
        arms: overlay
            .arms
            .iter()
            .map(|(side, points)| ArmView { side: *side, points: points.each_ref().map(place) })
            .collect(),
        plumb: places(&overlay.plumb),
        arc: places(&overlay.arc),
        bar: overlay.bar.as_ref().map(|points| points.each_ref().map(place)),
        disagreeing: overlay
            .disagreeing
            .iter()
            .map(|(landmark, placed, predicted)| (landmark.name().to_owned(), place(placed), place(predicted)))
            .collect(),
    }
}
