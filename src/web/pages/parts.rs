//! Fields that the pages of a case share: a scale from 0 to 10, a day, a longer text, a box to tick, a file.

use maud::{Markup, html};

use super::shell::{describes, error_text, ids};
use crate::plan::pain::PAIN_MAX;
use crate::web::view::FormView;

/// A scale from 0 to 10, chosen by one press.
pub(super) struct Scale<'a> {
    /// The field's name in the form.
    pub(super) name: &'a str,
    /// What is rated.
    pub(super) legend: &'a str,
    /// What 0 and 10 mean.
    pub(super) hint: &'a str,
}

impl Scale<'_> {
    /// Renders the scale with the form's value and error.
    pub(super) fn render(&self, form: &FormView) -> Markup {
        self.render_as(form, self.name)
    }

    /// The same, where several forms of a page have such a field: `id` tells them apart.
    pub(super) fn render_as(&self, form: &FormView, id: &str) -> Markup {
        let (id, hint_id, error_id) = ids(id);
        let error = form.error(self.name);
        html! {
            fieldset.field.plain id=(id) aria-describedby=[describes(self.hint, error, &hint_id, &error_id)] {
                legend.label { (self.legend) }
                @if !self.hint.is_empty() { span.hint id=(hint_id) { (self.hint) } }
                div.scale {
                    @for value in 0..=PAIN_MAX {
                        label {
                            input type="radio" name=(self.name) value=(value) checked[form.value(self.name) == value.to_string()];
                            (value)
                        }
                    }
                }
                (error_text(error, &error_id))
            }
        }
    }
}

/// A field with its label, hint and error around the control that `control` makes of its id, what describes it, and whether it is
/// wrong.
fn labelled(
    form: &FormView,
    [id, name, label, hint]: [&str; 4],
    control: impl FnOnce(&str, Option<&str>, Option<&str>) -> Markup,
) -> Markup {
    let (id, hint_id, error_id) = ids(id);
    let error = form.error(name);
    let described = describes(hint, error, &hint_id, &error_id);
    html! {
        div.field {
            label for=(id) { (label) }
            @if !hint.is_empty() { span.hint id=(hint_id) { (hint) } }
            (control(&id, described.as_deref(), error.map(|_| "true")))
            (error_text(error, &error_id))
        }
    }
}

/// A day of the calendar.
pub(super) fn day(form: &FormView, name: &str, label: &str, hint: &str, latest: &str) -> Markup {
    labelled(form, [name, name, label, hint], |id, described, invalid| {
        html! {
            input type="date" id=(id) name=(name) value=(form.value(name)) max=(latest)
                aria-describedby=[described] aria-invalid=[invalid];
        }
    })
}

/// A text of several lines.
pub(super) fn lines(form: &FormView, name: &str, label: &str, hint: &str) -> Markup {
    labelled(form, [name, name, label, hint], |id, described, invalid| {
        html! {
            textarea id=(id) name=(name) rows="3" aria-describedby=[described] aria-invalid=[invalid] { (form.value(name)) }
        }
    })
}

/// A choice from a list that unfolds, each `(value, label)`.
pub(super) fn choose(form: &FormView, name: &str, label: &str, hint: &str, values: &[(&str, &str)]) -> Markup {
    choose_as(form, name, name, label, hint, values)
}

/// The same, where several forms of a page have such a field: `id` tells them apart.
pub(super) fn choose_as(
    form: &FormView,
    id: &str,
    name: &str,
    label: &str,
    hint: &str,
    values: &[(&str, &str)],
) -> Markup {
    labelled(form, [id, name, label, hint], |id, described, invalid| {
        html! {
            select id=(id) name=(name) aria-describedby=[described] aria-invalid=[invalid] {
                @for (value, label) in values { option value=(value) selected[form.value(name) == *value] { (label) } }
            }
        }
    })
}

/// A box to tick.
pub(super) fn tick(form: &FormView, name: &str, label: &str) -> Markup {
    let (id, _, _) = ids(name);
    html! {
        label.choice { input type="checkbox" id=(id) name=(name) value="on" checked[form.value(name) == "on"]; (label) }
    }
}

/// A file that is sent with a form of type multipart.
pub(super) fn file(form: &FormView, label: &str, hint: &str, accept: &str) -> Markup {
    labelled(form, ["file", "file", label, hint], |id, described, invalid| {
        html! {
            input type="file" id=(id) name="file" accept=(accept) required aria-describedby=[described] aria-invalid=[invalid];
        }
    })
}
