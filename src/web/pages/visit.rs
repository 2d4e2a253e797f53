//! `/visits/{id}`: the two-by-two sheet.

use maud::{Markup, html};

use super::shell::page;
use crate::web::view::VisitView;

/// Renders the page.
#[must_use]
pub fn render(view: &VisitView) -> Markup {
    page(
        &view.client_code,
        &[],
        html! {
            @for cell in &view.cells {
                section {
                    p { (format!("{:?} {:?} {:?}", cell.occasion, cell.rotation, cell.next)) }
                    @for reach in &cell.reaches {
                        a href={ "/reaches/" (reach.id) "/mark" } { (reach.elevation.as_deref().unwrap_or("–")) }
                    }
                }
            }
            form method="post" enctype="multipart/form-data" action={ "/visits/" (view.id) "/reaches" } {
                @for field in ["occasion", "rotation", "view", "near_side", "mirrored"] {
                    label { (field) input name=(field) value=(view.upload.value(field)); }
                    @if let Some(error) = view.upload.error(field) { p { (error) } }
                }
                input type="file" name="file";
                @if let Some(error) = view.upload.error("file") { p { (error) } }
                button { "Bring in" }
            }
            form method="post" action={ "/visits/" (view.id) "/settings" } {
                @for field in ["bar_length_mm", "taped_grips", "margin_deg", "profile"] {
                    label { (field) input name=(field) value=(view.settings.form.value(field)); }
                    @if let Some(error) = view.settings.form.error(field) { p { (error) } }
                }
                button { "Save" }
            }
            @if view.has_result { p { a href={ "/visits/" (view.id) "/result" } { "Result" } } }
        },
    )
}
