//! The course of a case.

use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;

use super::page;
use crate::report::case_course::{course_rows, left_out_of_course};
use crate::report::chart::case_charts;
use crate::web::casework::Casework;
use crate::web::error::WebError;
use crate::web::pages;
use crate::web::request::Code;
use crate::web::state::{App, blocking};
use crate::web::view::CourseView;

/// `GET /clients/{code}/course`.
pub async fn read(State(app): State<Arc<App>>, Code(code): Code) -> Result<Response, WebError> {
    blocking(move || {
        let case = Casework::of(&app.records, &code)?;
        let course = case.course(case.today);
        let charts = case_charts(&course)?.into_iter().map(|chart| (chart.svg, chart.caption));
        Ok(page(pages::course(&CourseView {
            code: case.code().to_owned(),
            charts: charts.collect(),
            rows: course_rows(&course),
            left_out: left_out_of_course(&course),
        })))
    })
    .await
}
