//! What every page has around its content.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use crate::web::text;
use crate::web::view::{FieldError, FormView};

/// The plumb bob beside the product's name.
const BOB: &str = r#"<svg class="drawing" viewBox="0 0 14 26" aria-hidden="true"><path class="accent" d="M7 0v12"/><path class="accent-fill" d="M4 12h6l3 5-6 9-6-9z"/></svg>"#;

/// Where a page belongs: links from the list of clients down to it.
#[derive(Debug, Default)]
pub(super) struct Crumbs(Vec<(String, String)>);

impl Crumbs {
    /// Below the list of clients.
    pub(super) fn clients() -> Self {
        Self(vec![("/".to_owned(), text::CLIENTS.to_owned())])
    }

    /// Below the list of lens profiles.
    pub(super) fn lenses() -> Self {
        Self(vec![("/lenses".to_owned(), text::LENSES.to_owned())])
    }

    /// Below a client.
    pub(super) fn client(code: &str) -> Self {
        let mut crumbs = Self::clients();
        crumbs.0.push((format!("/clients/{code}"), code.to_owned()));
        crumbs
    }

    /// One level further down.
    pub(super) fn push(&mut self, address: String, name: &str) {
        self.0.push((address, name.to_owned()));
    }

    /// Below a client's log.
    pub(super) fn log(code: &str) -> Self {
        let mut crumbs = Self::client(code);
        crumbs.0.push((format!("/clients/{code}/log"), text::log::TITLE.to_owned()));
        crumbs
    }

    /// Below a client's plan.
    pub(super) fn plan(code: &str) -> Self {
        let mut crumbs = Self::client(code);
        crumbs.0.push((format!("/clients/{code}/plan"), text::plan::TITLE.to_owned()));
        crumbs
    }

    /// Below a visit.
    pub(super) fn visit(code: &str, id: i64) -> Self {
        let mut crumbs = Self::client(code);
        crumbs.0.push((format!("/visits/{id}"), text::visit::TITLE.to_owned()));
        crumbs
    }
}

/// A page on the sheet: heading, where it belongs, content, and ES modules (names under `/assets/`).
pub(super) fn page(title: &str, crumbs: &Crumbs, modules: &[&str], content: &Markup) -> Markup {
    let heading = html! {
        @if !crumbs.0.is_empty() {
            nav aria-label=(text::WHERE) {
                ol.crumbs { @for (address, name) in &crumbs.0 { li { a href=(address) { (name) } } } }
            }
        }
        h1 { (title) }
    };
    bare_page(title, modules, &html! { main.sheet #content { (heading) (content) } })
}

/// A page that has the whole window below the head.
pub(super) fn bare_page(title: &str, modules: &[&str], main: &Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en-GB" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · " (text::NAME) }
                link rel="icon" href="/assets/icon.svg" type="image/svg+xml";
                link rel="stylesheet" href="/assets/sheet.css";
                link rel="stylesheet" href="/assets/case.css";
                @if modules.contains(&"mark.js") { link rel="stylesheet" href="/assets/mark.css"; }
                @for module in modules {
                    script type="module" src={ "/assets/" (module) } {}
                }
            }
            body {
                a.skip href="#content" { (text::SKIP_TO_CONTENT) }
                header {
                    nav.top aria-label=(text::MAIN_LINKS) {
                        a.name href="/" { (PreEscaped(BOB)) (text::NAME) }
                        a href="/" { (text::CLIENTS) }
                        a href="/guide" { (text::GUIDE) }
                        a href="/lenses" { (text::LENSES) }
                    }
                }
                (main)
                footer { (text::FOOT) }
            }
        }
    }
}

/// What was wrong with a form, each linked to its field, whose id is `field-NAME`.
pub(super) fn errors(form: &FormView) -> Markup {
    html! {
        @if !form.errors.is_empty() {
            div.errors role="alert" {
                h2 { (text::ERRORS) }
                ul {
                    @for faults in form.errors.chunk_by(|one, next| one.message == next.message) {
                        @if let Some(FieldError { field, message }) = faults.first() {
                            li {
                                a href={ "#field-" (field) } { (message) }
                                @if faults.len() > 1 { " " (text::times(faults.len())) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A line of text to type, with its label, hint and error.
pub(super) struct Input<'a> {
    /// The field's name in the form.
    pub(super) name: &'a str,
    /// What to type.
    pub(super) label: &'a str,
    /// Says more; may be empty.
    pub(super) hint: &'a str,
    /// The keyboard that a phone offers: `text`, `numeric` or `decimal`.
    pub(super) mode: &'a str,
    /// The form is sent back without it.
    pub(super) is_required: bool,
}

impl Input<'_> {
    /// Renders the field with the form's value and error.
    pub(super) fn render(&self, form: &FormView) -> Markup {
        let (id, hint_id, error_id) = ids(self.name);
        let error = form.error(self.name);
        html! {
            div.field {
                label for=(id) { (self.label) }
                @if !self.hint.is_empty() { span.hint id=(hint_id) { (self.hint) } }
                input type="text" id=(id) name=(self.name) value=(form.value(self.name)) inputmode=(self.mode)
                    autocomplete="off" required[self.is_required]
                    aria-describedby=[describes(self.hint, error, &hint_id, &error_id)]
                    aria-invalid=[error.map(|_| "true")];
                (error_text(error, &error_id))
            }
        }
    }
}

/// A choice between a few values, each `(value, label)`.
pub(super) struct Choice<'a> {
    /// The field's name in the form.
    pub(super) name: &'a str,
    /// What is chosen.
    pub(super) legend: &'a str,
    /// Says more; may be empty.
    pub(super) hint: &'a str,
    /// The values.
    pub(super) values: &'a [(&'a str, &'a str)],
}

impl Choice<'_> {
    /// Renders the choice with the form's value and error.
    pub(super) fn render(&self, form: &FormView) -> Markup {
        let (id, hint_id, error_id) = ids(self.name);
        let error = form.error(self.name);
        html! {
            fieldset.field.plain id=(id) aria-describedby=[describes(self.hint, error, &hint_id, &error_id)] {
                legend.label { (self.legend) }
                @if !self.hint.is_empty() { span.hint id=(hint_id) { (self.hint) } }
                (radios(self.name, self.values, form.value(self.name)))
                (error_text(error, &error_id))
            }
        }
    }
}

/// The radio buttons of a choice.
pub(super) fn radios(name: &str, values: &[(&str, &str)], chosen: &str) -> Markup {
    html! {
        div.choices {
            @for (value, label) in values {
                label.choice { input type="radio" name=(name) value=(value) checked[chosen == *value]; (label) }
            }
        }
    }
}

/// The ids of a field, its hint and its error.
pub(super) fn ids(name: &str) -> (String, String, String) {
    (format!("field-{name}"), format!("hint-{name}"), format!("error-{name}"))
}

/// What stands below a field that was refused.
pub(super) fn error_text(error: Option<&str>, id: &str) -> Markup {
    html! { @if let Some(error) = error { p.error id=(id) { (error) } } }
}

/// What describes a field to a screen reader.
pub(super) fn describes(hint: &str, error: Option<&str>, hint_id: &str, error_id: &str) -> Option<String> {
    let parts: Vec<&str> =
        [(!hint.is_empty()).then_some(hint_id), error.map(|_| error_id)].into_iter().flatten().collect();
    (!parts.is_empty()).then(|| parts.join(" "))
}

/// An angle such as `148.2° from vertical`, with what it is from in small letters.
pub(super) fn elevation(words: &str) -> Markup {
    match words.split_once("° ") {
        Some((number, from)) => html! { (number) "°" span.small { " " (from) } },
        None => html! { (words) },
    }
}

/// Why nothing goes on, where a danger sign stands open.
pub(super) fn stopped(refusal: &str, client_code: &str) -> Markup {
    html! {
        div.caution role="alert" {
            h2 { (text::danger::STOP) }
            p { strong { (refusal) } }
            p { a href={ "/clients/" (client_code) } { (text::danger::SIGNS) } }
        }
    }
}
