//! `/reaches/{id}/mark`: the marking page. Its modules fill it from `GET /api/reaches/{id}`.

use maud::{Markup, PreEscaped, html};

use super::figure::figure;
use super::shell::bare_page;
use crate::geometry::Landmark;
use crate::screen::LimitedBy;
use crate::web::text::{self, mark as words};
use crate::web::view::{LandmarkView, MarkView};

/// Renders the page.
#[must_use]
pub fn render(view: &MarkView) -> Markup {
    let is_blind = view.repeat > 1;
    let title = if is_blind { words::TITLE_BLIND } else { words::TITLE };
    let texts = text::mark_words().to_string();
    bare_page(
        title,
        &["mark.js"],
        &html! {
            main #content {
                div.marking #mark data-reach=(view.reach) data-repeat=(view.repeat) data-raise=(view.raise)
                    data-followable=(if view.is_followable { "yes" } else { "no" }) data-words=(texts) {
                    (head(view, title, is_blind))
                    (stage(view))
                    (time(view))
                    div.side {
                        (ask(view))
                        (left_behind())
                        (live())
                        (marks(&view.landmarks))
                        (questions(view))
                        (checks())
                        @if !is_blind { (again(view)) }
                        (keys())
                    }
                }
                p.sr #say role="status" aria-live="polite" {}
                (conflict())
            }
        },
    )
}

/// Where the page leads once it is done: to the steps of a visit that is done alone, else to the visit.
fn leads_to(view: &MarkView) -> String {
    let visit = view.visit;
    if view.is_alone { format!("/visits/{visit}/alone") } else { format!("/visits/{visit}") }
}

fn head(view: &MarkView, title: &str, is_blind: bool) -> Markup {
    html! {
        div.mark-head {
            a href=(leads_to(view)) { @if view.is_alone { (text::alone::BACK) } @else { (words::BACK) } }
            h1 { (title) }
            p {
                (view.client_code) ", " (text::occasion(view.occasion).to_lowercase()) ", " (text::palms(view.rotation))
                @if view.raise > 1 { ", " (words::raise(view.raise)) }
            }
            @if is_blind { p.small { (words::BLIND) } }
            p.saved #saved role="status" data-state="saved" {}
        }
        noscript { p.errors { (words::NEEDS_SCRIPTS) } }
    }
}

fn stage(view: &MarkView) -> Markup {
    let rotation = match view.rotation {
        crate::pose::Rotation::Internal => "internal",
        crate::pose::Rotation::External => "external",
    };
    html! {
        section.stage aria-label=(words::STAGE) {
            canvas #picture tabindex="0" role="application" aria-label=(words::PICTURE) aria-describedby="ask-title ask-how keys-note"
                data-rotation=(rotation) {}
            div.banner #banner hidden {
                p { (words::OTHER_MOMENT) }
                button #back-to-moment type="button" { (words::BACK_TO_MOMENT) }
                button #mark-here-instead type="button" { (words::MARK_HERE_INSTEAD) }
            }
        }
    }
}

fn time(view: &MarkView) -> Markup {
    html! {
        section.time aria-label=(words::TIME) {
            @if view.is_followable { (curve(view)) }
            div.scrub hidden[view.frames <= 1] {
                (icon("frame-before", words::FRAME_BEFORE, "M15 4L7 12L15 20M4 4V20"))
                div.between #curve-row {
                    label {
                        span.sr { (words::TIME) }
                        input #scrub type="range" min="0" max=(view.frames.saturating_sub(1)) step="1" value="0";
                    }
                    @if view.is_followable { p.here {} }
                }
                (icon("frame-after", words::FRAME_AFTER, "M9 4L17 12L9 20M20 4V20"))
            }
            div.tools {
                (icon("zoom-in", words::ZOOM_IN, "M12 5V19M5 12H19"))
                (icon("zoom-out", words::ZOOM_OUT, "M5 12H19"))
                (icon("zoom-fit", words::ZOOM_FIT, "M4 9V4H9M15 4H20V9M20 15V20H15M9 20H4V15"))
                button #undo type="button" disabled { (words::UNDO) }
                button #redo type="button" disabled { (words::REDO) }
                div.readout {
                    output #when hidden[view.frames <= 1] {}
                    // beside the curve there is no room for it on a wide screen, and here there is none on a narrow one
                    @if view.is_followable { p.here {} }
                }
                span.gap {}
                div.pad {
                    (icon("nudge-left", words::LEFT, "M19 12H5M12 5L5 12L12 19"))
                    (icon("nudge-up", words::UP, "M12 19V5M5 12L12 5L19 12"))
                    (icon("nudge-down", words::DOWN, "M12 5V19M5 12L12 19L19 12"))
                    (icon("nudge-right", words::RIGHT, "M5 12H19M12 5L19 12L12 19"))
                }
            }
            @if view.is_followable { p.small #curve-note hidden { (words::CURVE_NOTE) } }
        }
    }
}

/// The curve of a followed clip, and until it is there the offer to follow.
fn curve(view: &MarkView) -> Markup {
    html! {
        div.curve-box #curve-box {
            div.curve #curve role="slider" tabindex="0" aria-label=(words::CURVE) aria-describedby="curve-note"
                aria-valuemin="0" aria-valuemax=(view.frames.saturating_sub(1)) aria-valuenow="0" hidden {}
            div.follow #follow hidden {
                p.small #follow-what {}
                progress #follow-progress aria-label=(words::FOLLOW) hidden {}
                button #follow-start type="button" aria-describedby="follow-what" hidden { (words::FOLLOW_START) }
                button #follow-stop type="button" hidden { (words::FOLLOW_STOP) }
            }
        }
    }
}

fn ask(view: &MarkView) -> Markup {
    let landmarks: Vec<Landmark> = view.landmarks.iter().map(|landmark| landmark.landmark).collect();
    html! {
        section.ask aria-label=(words::ASK) {
            div.asked {
                (figure(view.view, view.near_side, &landmarks))
                div {
                    h2 #ask-title { "…" }
                    p.how #ask-how {}
                }
            }
            div.actions {
                button.main #mark-here type="button" hidden { (words::MARK_HERE) }
                button #before type="button" hidden { (words::BEFORE) }
                button #skip type="button" hidden { (words::SKIP) }
                button #remove type="button" hidden { (words::REMOVE) }
                button.main #confirm type="button" hidden { (words::CONFIRM) }
                button.main #next type="button" hidden { (words::NEXT) }
                a.button.main #to-questions href="#questions" hidden { (words::TO_QUESTIONS) }
                a.button.main #done href=(leads_to(view)) hidden { (words::DONE) }
            }
            (carry())
        }
    }
}

/// Marks from another reach of the visit.
fn carry() -> Markup {
    html! {
        div.carry #carry hidden {
            p.small #carry-what {}
            div.actions {
                button #bring type="button" aria-describedby="carry-what" { (words::BRING) }
                button #confirm-all type="button" hidden { (words::CONFIRM_ALL) }
                button #drop type="button" hidden { (words::DROP) }
            }
            p.small #carry-state role="status" {}
            div #carry-left hidden {
                p.small { (words::CARRY_LEFT) }
                ul.small #carry-left-list {}
            }
        }
    }
}

/// Marks of other reaches that came from marks which were moved on this one since.
fn left_behind() -> Markup {
    html! {
        section.behind #behind aria-label=(words::BEHIND) hidden {
            p.small { (words::BEHIND_TEXT) }
            ul.small #behind-list {}
        }
    }
}

fn live() -> Markup {
    html! {
        section.live aria-label=(words::LIVE) data-state="none" {
            h2 { (words::LIVE) }
            p.number #elevation { "…" }
            p.small #interval {}
            div.pair #pair hidden {
                p { b #difference {} " " span #call {} }
                p.small { (words::DIFFERENCE) ", " span #difference-interval {} }
            }
            // its line is kept free: nothing below it jumps
            p.small #pictures {}
        }
    }
}

fn marks(landmarks: &[LandmarkView]) -> Markup {
    let (needed, other): (Vec<_>, Vec<_>) = landmarks.iter().partition(|landmark| landmark.is_required);
    html! {
        section {
            h2 { (words::MARKS) }
            @for (heading, group) in [(words::NEEDED, needed), (words::SHARPENS, other)] {
                @if !group.is_empty() {
                    h3.small { (heading) }
                    ul.marks {
                        @for LandmarkView { landmark, .. } in group {
                            li { button type="button" data-landmark=(landmark.name()) { (landmark.words()) span.sr {} } }
                        }
                    }
                }
            }
        }
    }
}

fn questions(view: &MarkView) -> Markup {
    let limits = [("stretch", LimitedBy::Stretch), ("pain", LimitedBy::Pain), ("other", LimitedBy::Other)];
    html! {
        // the script lets them be answered once it hears the answers
        section.questions #questions tabindex="-1" {
            h2 { (words::QUESTIONS) }
            fieldset disabled aria-describedby="pain-hint" {
                legend { (words::PAIN) }
                div.scale {
                    @for level in 0..=10 { label { input type="radio" name="pain" value=(level); (level) } }
                }
                span.hint #pain-hint { (words::PAIN_HINT) }
            }
            fieldset disabled {
                legend { (words::LIMIT) }
                div.choices {
                    @for (value, limit) in limits {
                        label.choice { input type="radio" name="limited_by" value=(value); (text::limited_by(limit)) }
                    }
                }
            }
            fieldset disabled {
                legend { (words::BACK_FLAT) }
                div.choices {
                    @for (value, answer) in [("yes", text::YES), ("no", text::NO)] {
                        label.choice { input type="radio" name="back_flat" value=(value); (answer) }
                    }
                }
            }
            // whoever answered has left the card with the same link behind
            p { a.button.main #done-below href=(leads_to(view)) hidden { (words::DONE) } }
        }
    }
}

fn checks() -> Markup {
    html! {
        section {
            h2 { (words::CHECKS) }
            ul.checklist #checks {}
            p.small #checks-ok {}
        }
    }
}

fn again(view: &MarkView) -> Markup {
    let address = format!("/reaches/{}/mark", view.reach);
    html! {
        section {
            h2 { (words::AGAIN) }
            p.small { (words::AGAIN_TEXT) }
            p { a href={ (address) "?raise=" (view.raise) "&repeat=" (view.repeat + 1) } { (words::AGAIN_LINK) } }
            @if view.frames > 1 {
                p.small { (words::RAISE_TEXT) }
                p { a href={ (address) "?raise=" (view.raise + 1) } { (words::RAISE_LINK) } }
            }
        }
    }
}

fn keys() -> Markup {
    html! {
        section.keys {
            details {
                summary { (words::KEYS) }
                p.small #keys-note { (words::KEYS_NOTE) }
                dl { @for (key, what) in words::KEY_LIST { dt { kbd { (key) } } dd { (what) } } }
            }
        }
    }
}

fn conflict() -> Markup {
    html! {
        dialog #conflict aria-labelledby="conflict-title" {
            h2 #conflict-title { (words::CONFLICT) }
            p { (words::CONFLICT_TEXT) }
            form.actions method="dialog" {
                button.main value="mine" { (words::KEEP_MINE) }
                button value="theirs" { (words::TAKE_THEIRS) }
            }
        }
    }
}

/// A button with a drawn sign; its name is for a screen reader and the tooltip.
fn icon(id: &str, label: &str, path: &str) -> Markup {
    let drawing = format!("<svg viewBox=\"0 0 24 24\" aria-hidden=\"true\"><path d=\"{path}\"/></svg>");
    html! { button id=(id) type="button" aria-label=(label) title=(label) { (PreEscaped(drawing)) } }
}
