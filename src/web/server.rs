//! The listener on the loopback interface and the table of routes.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};
use std::sync::Arc;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{get, post, put};

use super::error::WebError;
use super::state::{App, Options};
use super::text_file::TEXT_FILE_BODY_MAX;
use super::{embedded, guard, routes};
use crate::records::Records;

/// The largest body of a form or of JSON, bytes. Uploads have their own bound.
const BODY_BYTES_MAX: usize = 256 << 10;

/// Threads that wait for the database, the fit and the disk at most.
const BLOCKING_THREADS_MAX: usize = 16;

/// A server that listens, and runs when told.
pub struct Server {
    app: Arc<App>,
    listener: TcpListener,
    origin: String,
    address: String,
}

impl Server {
    /// Opens the records, whose integrity is checked, and listens on `port` of the loopback interface; 0 takes a free one.
    ///
    /// # Errors
    /// [`WebError::Io`] when the port cannot be had, [`WebError::Records`] when the records cannot be opened.
    pub fn bind(port: u16, options: Options) -> Result<Self, WebError> {
        let listening = |source| WebError::Io { step: "listen on this port", source };
        // first, so that a second server for the same folder hears of the folder and not of the port
        let records = Records::open(&options.data)?;
        let listener = TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).map_err(listening)?;
        listener.set_nonblocking(true).map_err(listening)?;
        let port = listener.local_addr().map_err(listening)?.port();
        let app = Arc::new(App::with(records, port, options));
        let origin = format!("http://127.0.0.1:{port}");
        let address = format!("{origin}{}", app.guard.entrance());
        Ok(Self { app, listener, origin, address })
    }

    /// The address to open, with the token that starts a session.
    #[must_use]
    pub fn address(&self) -> &str {
        &self.address
    }

    /// An address that starts a session once, within a minute: for a browser whose command line others can read.
    #[must_use]
    pub fn address_once(&self) -> String {
        format!("{}{}", self.origin, self.app.guard.entrance_once())
    }

    /// Serves until interrupted.
    ///
    /// # Errors
    /// [`WebError::Io`] when the network cannot be used any more.
    pub fn run(self) -> Result<(), WebError> {
        let failed = |source| WebError::Io { step: "serve", source };
        let runtime = tokio::runtime::Builder::new_multi_thread()
            .enable_all()
            .max_blocking_threads(BLOCKING_THREADS_MAX)
            .build()
            .map_err(failed)?;
        let router = router(self.app);
        let served = runtime.block_on(async move {
            let listener = tokio::net::TcpListener::from_std(self.listener)?;
            tokio::select! {
                served = async { axum::serve(listener, router).await } => served,
                stopped = tokio::signal::ctrl_c() => stopped,
            }
        });
        // decoders are killed when the runtime drops them; a fit under way is not waited for
        runtime.shutdown_background();
        served.map_err(failed)
    }
}

/// All routes, behind the guard.
pub fn router(app: Arc<App>) -> Router {
    use routes::{
        alone, carry, clients, course, demo, documents, follow, frames, intake, lenses, log, marks, plan, reaches,
        visits,
    };
    let takes_file = || DefaultBodyLimit::max(TEXT_FILE_BODY_MAX);
    Router::new()
        .route("/", get(clients::all))
        .route("/clients", get(routes::upwards).post(clients::add))
        .route("/clients/new", get(clients::new))
        .route("/clients/{code}", get(clients::one))
        .route("/clients/{code}/facts", get(clients::facts).post(clients::correct))
        .route("/clients/{code}/screening", get(clients::screening).post(clients::screen_again))
        .route("/clients/{code}/visits", get(routes::upwards).post(visits::start))
        .route("/clients/{code}/delete", get(clients::before_delete).post(clients::delete))
        .route("/clients/{code}/course", get(course::read))
        .route("/clients/{code}/intake", get(intake::read).post(intake::begin))
        .route("/clients/{code}/intake/person", get(intake::person).post(intake::correct))
        .route("/clients/{code}/intake/visit", get(intake::visit).post(intake::put_visit))
        .route("/clients/{code}/plan", get(plan::read))
        .route("/clients/{code}/plan.toml", get(plan::download))
        .route("/clients/{code}/plan/file", get(routes::upwards).post(plan::upload).layer(takes_file()))
        .route("/clients/{code}/plan/edit", get(plan::form).post(plan::edit))
        .route("/clients/{code}/plan/unit", get(routes::upwards).post(plan::unit))
        .route("/clients/{code}/plan/clearance", get(routes::upwards).post(plan::clear))
        .route("/clients/{code}/log", get(log::read).post(log::add))
        .route("/clients/{code}/log.csv", get(log::download))
        .route("/clients/{code}/log/file", get(routes::upwards).post(log::upload).layer(takes_file()))
        .route("/clients/{code}/log/morning", get(routes::upwards).post(log::morning))
        .route("/clients/{code}/log/new", get(log::new))
        .route("/clients/{code}/log/{id}", get(log::entry).post(log::correct))
        .route("/clients/{code}/log/{id}/delete", get(routes::upwards).post(log::delete))
        .route("/alone", get(alone::start).post(alone::begin))
        .route("/visits/{id}/alone", get(alone::steps))
        .route("/visits/{id}/alone/result", get(alone::result))
        .route("/visits/{id}", get(visits::sheet))
        .route("/visits/{id}/delete", get(visits::before_delete).post(visits::delete))
        .route("/visits/{id}/settings", get(routes::upwards).post(visits::settings))
        .route("/visits/{id}/reaches", get(routes::upwards).post(reaches::upload).layer(DefaultBodyLimit::disable()))
        .route("/visits/{id}/result", get(visits::result))
        .route("/visits/{id}/report.html", get(documents::report_html))
        .route("/visits/{id}/report.pdf", get(documents::report_pdf))
        .route("/visits/{id}/export.zip", get(documents::export))
        .route("/visits/{id}/charts/{name}", get(documents::chart))
        .route("/visits/{id}/stills/{name}", get(documents::still))
        .route("/reaches/{id}/palms", get(reaches::palms).post(reaches::confirm_palms))
        .route("/reaches/{id}/facts", get(reaches::facts).post(reaches::correct))
        .route("/reaches/{id}/mark", get(marks::page))
        .route("/reaches/{id}/delete", get(reaches::before_delete).post(reaches::delete))
        .route("/guide", get(clients::guide))
        .route("/lenses", get(lenses::all).post(lenses::add).layer(DefaultBodyLimit::disable()))
        .route("/lenses/new", get(lenses::new))
        .route("/lenses/board", get(lenses::board))
        .route("/lenses/board.html", get(lenses::board_file))
        .route("/lenses/board.pdf", get(lenses::board_pdf))
        .route("/lenses/{id}", get(lenses::one))
        .route("/lenses/{id}/sheet.html", get(lenses::sheet))
        .route("/lenses/{id}/profile.json", get(lenses::profile))
        .route("/lenses/{id}/delete", get(lenses::before_delete).post(lenses::delete))
        .route("/demo", get(routes::upwards).post(demo::install))
        .route("/api/reaches/{id}", get(marks::read))
        .route("/api/reaches/{id}/marks", put(marks::confirm))
        .route("/api/reaches/{id}/carry", post(carry::carry))
        .route("/api/reaches/{id}/follow", get(follow::read).post(follow::start).delete(follow::stop))
        .route("/api/visits/{id}/live", get(marks::live))
        .route("/api/visits/{id}/pictures", get(marks::pictures))
        .route("/api/reaches/{id}/frames/{name}", get(frames::frame))
        .route("/assets/{name}", get(embedded::asset))
        .fallback(async || WebError::NotFound { what: "page" })
        .layer(DefaultBodyLimit::max(BODY_BYTES_MAX))
        .layer(middleware::from_fn_with_state(app.clone(), guard::guard))
        .with_state(app)
}
