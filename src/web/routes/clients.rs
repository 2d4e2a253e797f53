//! Clients: the list, one client, danger signs, deletion.

use axum::response::Html;

use crate::web::pages;
use crate::web::view::ClientsView;

/// `GET /`.
pub async fn all() -> Html<String> {
    let view = ClientsView { clients: Vec::new(), offers_demo: true };
    Html(pages::clients(&view).into_string())
}

/// `GET /guide`.
pub async fn guide() -> Html<String> {
    Html(pages::guide().into_string())
}
