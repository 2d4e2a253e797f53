//! `/clients/{code}/intake`: what a client tells and a clinician finds, at first and at every visit.

use maud::{Markup, html};

use super::parts::{Scale, choose, day, lines, tick};
use super::shell::{Choice, Crumbs, Input, error_text, errors, ids, page, stopped};
use crate::plan::{PainSpot, Provocation};
use crate::records::Word;
use crate::web::text::{self, intake as words, screening};
use crate::web::view::{FormView, IntakeFormView, IntakeParts, IntakeView, IntakeVisitView};

/// Renders what was told.
#[must_use]
pub fn render(view: &IntakeView) -> Markup {
    let address = format!("/clients/{}/intake", view.code);
    page(
        words::TITLE,
        &Crumbs::client(&view.code),
        &[],
        &html! {
            div.nextstep {
                a.button.main href={ (address) "/visit" } { (words::ASK) }
                a.button href={ "/clients/" (view.code) "/plan" } { (words::TO_PLAN) }
            }
            @if view.has_other_side { div.caution { p { strong { (words::OTHER_SIDE) } } } }
            section {
                h2 { (words::VISITS) }
                ul.findings { @for visit in &view.visits { (visit_line(visit, &address)) } }
            }
            section {
                h2 { (words::REPEATED) }
                dl.told { @for (label, text) in &view.facts { div { dt { (label) } dd { (text) } } } }
                p { a href={ (address) "/person" } { (words::CORRECT_PERSON) } }
            }
        },
    )
}

fn visit_line(visit: &IntakeVisitView, address: &str) -> Markup {
    html! {
        li {
            h3 { (visit.date) }
            @if let Some(alarm) = visit.alarm { div.caution { p { strong { (words::alarm(alarm)) } } } }
            dl.numbers { @for (label, number) in &visit.numbers { div { dt { (label) } dd { (number) } } } }
            @if visit.is_worse_at_rest { p { strong { (words::WORSE_AT_REST) } } }
            @if !visit.findings.is_empty() {
                p.small { (words::BY_CLINICIAN) }
                dl.told { @for (label, text) in &visit.findings { div { dt { (label) } dd { (text) } } } }
            }
            p.actions { a href={ (address) "/visit?on=" (visit.on) } { (words::CORRECT) span.sr { ", " (visit.date) } } }
        }
    }
}

/// Renders a form of the intake.
#[must_use]
pub fn render_form(view: &IntakeFormView) -> Markup {
    let (title, lead, path) = match view.parts {
        IntakeParts::All => (words::TITLE_NEW, words::LEAD_NEW, ""),
        IntakeParts::Person => (words::TITLE_PERSON, "", "/person"),
        IntakeParts::Visit => (words::TITLE_VISIT, words::LEAD_VISIT, "/visit"),
    };
    let form = &view.form;
    page(
        title,
        &Crumbs::client(&view.code),
        &[],
        &html! {
            @if !lead.is_empty() { p.lead { (lead) } }
            @if let Some(refusal) = &view.stopped { (stopped(refusal, &view.code)) }
            (errors(form))
            form method="post" action={ "/clients/" (view.code) "/intake" (path) } novalidate {
                @if view.parts != IntakeParts::Visit { (person(form)) }
                @if view.parts != IntakeParts::Person { (visit(view)) }
                div.actions {
                    button.main { (words::SAVE) }
                    @if view.parts != IntakeParts::All { a href={ "/clients/" (view.code) "/intake" } { (text::BACK) } }
                }
            }
        },
    )
}

fn person(form: &FormView) -> Markup {
    let sides = [("left", screening::LEFT), ("right", screening::RIGHT), ("both", screening::BOTH)];
    html! {
        fieldset.space {
            legend { (words::WHERE) }
            (Choice { name: "affected_side", legend: words::SIDE, hint: "", values: &sides }.render(form))
            (spots(form))
        }
        fieldset #field-provoked {
            legend { (words::PROVOKED) }
            div.choices.wide {
                @for (name, provocation) in Provocation::ALL {
                    (tick(form, &format!("provoked_{name}"), words::provocation(provocation)))
                }
            }
            (error_text(form.error("provoked"), "error-provoked"))
            (input(form, "weeks_since_onset", words::WEEKS, words::WEEKS_HINT, "numeric"))
        }
        fieldset {
            legend { (words::LIFE) }
            div.fields {
                (input(form, "work", words::WORK, "", "text"))
                (input(form, "sport", words::SPORT, "", "text"))
            }
            (lines(form, "goals", words::GOALS, words::ONE_A_LINE))
            (lines(form, "earlier_care", words::CARE, words::ONE_A_LINE))
            h3.label { (words::ACTIVITIES) }
            p.hint { (words::ACTIVITIES_HINT) }
            div.fields {
                @for number in 1..=3 {
                    (input(form, &format!("activity_{number}"), &words::activity(number), "", "text"))
                }
            }
            (agreed(form, "ratings", words::RATINGS, words::RATINGS_AGREED))
        }
    }
}

/// A sentence that the person agrees to: shown once it was asked, and afterwards with what was agreed to.
fn agreed(form: &FormView, name: &str, legend: &str, yes: &str) -> Markup {
    let error = form.error(name);
    let told = error.unwrap_or(form.value(name));
    html! {
        @if !told.is_empty() {
            (Choice { name, legend, hint: if error.is_none() { told } else { "" }, values: &[(told, yes)] }.render(form))
        }
    }
}

/// The drawing and the list beside it say the same: a press on a spot of the drawing ticks its box in the list.
fn spots(form: &FormView) -> Markup {
    let (id, hint_id, error_id) = ids("spots");
    let error = form.error("spots");
    html! {
        fieldset.field.plain.spots id=(id) aria-describedby={ (hint_id) @if error.is_some() { " " (error_id) } } {
            legend.label { (words::SPOTS) }
            span.hint id=(hint_id) { (words::SPOTS_HINT) }
            div.bodymap aria-hidden="true" {
                (body())
                @for (name, _) in PainSpot::ALL { label.spot for={ "field-spot_" (name) } data-spot=(name) {} }
            }
            div.list {
                @for (name, spot) in PainSpot::ALL { (tick(form, &format!("spot_{name}"), &words::spot(spot))) }
            }
            (error_text(error, &error_id))
        }
    }
}

/// The upper body from the front, arms a little out and palms forward: the person's right is on the reader's left.
fn body() -> Markup {
    html! {
        svg.drawing viewBox="0 0 300 260" {
            (super::figure::limb("M104 84L66 152L38 222", 20.0))
            (super::figure::limb("M196 84L234 152L262 222", 20.0))
            path.body d="M96 76C120 64 180 64 204 76C208 120 200 170 194 246H106C100 170 92 120 96 76z" {}
            path.body d="M137 58H163V74C160 80 140 80 137 74z" {}
            ellipse.body cx="150" cy="38" rx="21" ry="26" {}
            path.fine d="M150 78V236M112 104C124 112 140 112 148 104M152 104C160 112 176 112 188 104" {}
            path.body d="M28 226C24 236 24 248 32 252C42 254 48 244 48 230z" {}
            path.body d="M272 226C276 236 276 248 268 252C258 254 252 244 252 230z" {}
            text x="56" y="44" text-anchor="middle" { (words::DRAWING_RIGHT) }
            text x="244" y="44" text-anchor="middle" { (words::DRAWING_LEFT) }
        }
    }
}

fn visit(view: &IntakeFormView) -> Markup {
    let form = &view.form;
    html! {
        fieldset.space {
            legend { (if view.was.is_some() { words::THAT_DAY } else { words::NOW }) }
            @if let Some(was) = &view.was { input type="hidden" name="was" value=(was); }
            @if !form.value("was_state").is_empty() { input type="hidden" name="was_state" value=(form.value("was_state")); }
            (day(form, "on", words::ON, words::ON_HINT, &view.today))
            @for (name, legend) in [
                ("pain_at_rest", words::AT_REST), ("pain_in_use", words::IN_USE), ("pain_on_pressing", words::ON_PRESSING),
            ] {
                (Scale { name, legend, hint: words::PAIN_HINT }.render(form))
            }
            (agreed(form, "rest_above", words::REST_ABOVE, words::REST_ABOVE_AGREED))
            @if view.parts == IntakeParts::All {
                @for number in 1..=3 {
                    (Scale { name: &format!("rating_{number}"), legend: &words::activity(number), hint: words::RATING_HINT }.render(form))
                }
            } @else {
                @for (number, activity) in (1..).zip(&view.activities) {
                    (Scale { name: &format!("rating_{number}"), legend: activity, hint: words::RATING_HINT }.render(form))
                }
            }
        }
        fieldset {
            legend { (words::FINDINGS) }
            p.hint { (words::FINDINGS_HINT) }
            div.fields {
                (found(form, "resisted_wrist_flexion", words::FLEXION, words::resisted))
                (found(form, "resisted_pronation", words::PRONATION, words::resisted))
                (found(form, "valgus_stress", words::VALGUS, words::valgus))
                (found(form, "ulnar_nerve", words::ULNAR, words::ulnar))
                (input(form, "grip_left_kg", words::GRIP_LEFT, words::GRIP_HINT, "text"))
                (input(form, "grip_right_kg", words::GRIP_RIGHT, words::GRIP_HINT, "text"))
            }
        }
    }
}

fn found<T: Word>(form: &FormView, name: &str, label: &str, of: impl Fn(T) -> &'static str) -> Markup {
    let mut values = vec![("", words::NOT_LOOKED_AT)];
    values.extend(T::WORDS.iter().map(|(word, value)| (*word, of(*value))));
    choose(form, name, label, "", &values)
}

fn input(form: &FormView, name: &str, label: &str, hint: &str, mode: &str) -> Markup {
    Input { name, label, hint, mode, is_required: false }.render(form)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_spot_has_its_place_on_the_drawing() {
        let style = include_str!("../assets/case.css");
        for (name, _) in PainSpot::ALL {
            assert!(style.contains(&format!(".spot[data-spot={name}]")), "{name}");
            assert!(style.contains(&format!(":has(#field-spot_{name}:checked)")), "{name}");
        }
    }
}
