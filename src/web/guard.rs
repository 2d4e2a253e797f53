//! Who may ask, and what an answer may do in the browser.
//!
//! The address that is printed has a random token; it is exchanged for a cookie that no other site can make the browser
//! send (SameSite=Strict) and no script can read. The address that this program opens itself has another token, good once and
//! for a minute: the browser's command line shows it to everybody on this machine, as long as the browser runs. `Host` must be this server's own name, against DNS rebinding, and
//! whatever changes data must have this page's `Origin`, against forged requests.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::error::{ApiError, LoggedFault, WebError};
use super::state::App;

/// Nothing inline, nothing from elsewhere. `blob:` and `data:` pictures are made by the marking page from our own frames.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; \
                           connect-src 'self'; font-src 'self'; form-action 'self'; base-uri 'none'; \
                           frame-ancestors 'none'; object-src 'none'";

/// A finished document, such as the report, which carries its own style and pictures and no script at all.
pub(super) const DOCUMENT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; \
                                          base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox";

/// Bytes of randomness in the token and in the session.
const SECRET_BYTES: usize = 24;

/// How long the browser that this program opens may take to get here.
const OPENING: Duration = Duration::from_secs(60);

/// Secrets and names of one run of the server.
pub struct Guard {
    token: String,
    /// A token that is good once, and until when.
    once: Mutex<Option<(String, Instant)>>,
    session: String,
    cookie: String,
    hosts: Vec<String>,
}

impl Guard {
    /// New secrets for a server on `port` of the loopback interface.
    #[must_use]
    pub fn new(port: u16) -> Self {
        Self {
            token: secret(),
            once: Mutex::new(None),
            session: secret(),
            // browsers keep cookies by host and not by port: two servers must not take each other's
            cookie: format!("tworeach_{port}"),
            hosts: ["127.0.0.1", "localhost", "[::1]"].map(|host| format!("{host}:{port}")).to_vec(),
        }
    }

    /// The path and query that start a session.
    #[must_use]
    pub fn entrance(&self) -> String {
        format!("/?token={}", self.token)
    }

    /// The path and query that start a session once, within a minute. The one given before is good no more.
    #[must_use]
    pub fn entrance_once(&self) -> String {
        let token = secret();
        let path = format!("/?token={token}");
        *self.once() = Some((token, Instant::now() + OPENING));
        path
    }

    fn once(&self) -> std::sync::MutexGuard<'_, Option<(String, Instant)>> {
        self.once.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Whether a token starts a session; one that is good once is used up by this.
    fn opens(&self, token: &str) -> bool {
        let used = self.once().take_if(|(once, until)| is_same(token, once) && Instant::now() < *until);
        used.is_some() || is_same(token, &self.token)
    }

    /// The `Cookie` header of a session, for programs that are no browser.
    #[must_use]
    pub fn session_cookie(&self) -> String {
        format!("{}={}", self.cookie, self.session)
    }

    fn host<'a>(&self, headers: &'a HeaderMap) -> Result<&'a str, WebError> {
        let found = text_of(headers, header::HOST).unwrap_or_default();
        match self.hosts.iter().any(|host| host == found) {
            true => Ok(found),
            false => Err(WebError::NotOurPage { header: "Host", found: found.to_owned() }),
        }
    }

    fn has_session(&self, headers: &HeaderMap) -> bool {
        let cookies = headers.get_all(header::COOKIE).into_iter().filter_map(|value| value.to_str().ok());
        cookies
            .flat_map(|cookies| cookies.split(';'))
            .filter_map(|cookie| cookie.trim().split_once('='))
            .any(|(name, value)| name == self.cookie && is_same(value, &self.session))
    }

    /// Lets a request pass, or says what to answer in its place.
    fn admit(&self, request: &Request) -> Result<(), Refusal> {
        let headers = request.headers();
        let host = self.host(headers)?;
        let is_reading = matches!(*request.method(), Method::GET | Method::HEAD);
        if !is_reading {
            let origin = text_of(headers, header::ORIGIN).unwrap_or_default();
            if origin.strip_prefix("http://") != Some(host) {
                return Err(WebError::NotOurPage { header: "Origin", found: origin.to_owned() }.into());
            }
        }
        let path = request.uri().path();
        if is_reading && path.starts_with("/assets/") {
            return Ok(());
        }
        if let Some(token) = request.uri().query().and_then(token_of)
            && is_reading
            && self.opens(token)
        {
            let cookie = format!("{}; Path=/; HttpOnly; SameSite=Strict", self.session_cookie());
            return Err(Refusal::Enter { path: path.to_owned(), cookie });
        }
        if self.has_session(headers) { Ok(()) } else { Err(WebError::NoSession.into()) }
    }
}

/// What is answered in place of what was asked for.
enum Refusal {
    Enter { path: String, cookie: String },
    Fault(WebError),
}

impl From<WebError> for Refusal {
    fn from(error: WebError) -> Self {
        Self::Fault(error)
    }
}

/// Around every request: refuses what may not pass, and sets the headers of every answer.
pub(super) async fn guard(State(app): State<Arc<App>>, request: Request, next: Next) -> Response {
    let is_api = request.uri().path().starts_with("/api/");
    let mut response = match app.guard.admit(&request) {
        Ok(()) => next.run(request).await,
        Err(Refusal::Enter { path, cookie }) => {
            // a path of two slashes would be read as another host
            let path = format!("/{}", path.trim_start_matches('/'));
            (StatusCode::SEE_OTHER, [(header::LOCATION, path), (header::SET_COOKIE, cookie)]).into_response()
        }
        Err(Refusal::Fault(error)) if is_api => ApiError(error).into_response(),
        Err(Refusal::Fault(error)) => error.into_response(),
    };
    if let Some(LoggedFault(text)) = response.extensions_mut().remove::<LoggedFault>() {
        app.log(&text);
    }
    let headers = response.headers_mut();
    let mut preset = |name: HeaderName, value: &'static str| {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    };
    preset(header::CONTENT_SECURITY_POLICY, PAGE_POLICY);
    preset(header::CACHE_CONTROL, "no-store");
    preset(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    // `no-referrer` would make browsers send `Origin: null` with our own forms
    preset(header::REFERRER_POLICY, "same-origin");
    preset(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    preset(HeaderName::from_static("cross-origin-resource-policy"), "same-origin");
    preset(HeaderName::from_static("permissions-policy"), "camera=(), microphone=(), geolocation=()");
    response
}

fn text_of(headers: &HeaderMap, name: HeaderName) -> Option<&str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}

fn token_of(query: &str) -> Option<&str> {
    query.split('&').find_map(|pair| pair.strip_prefix("token="))
}

fn secret() -> String {
    let bytes: [u8; SECRET_BYTES] = rand::random();
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Compares in a time that does not tell how much is the same.
fn is_same(found: &str, secret: &str) -> bool {
    let differing = found.bytes().zip(secret.bytes()).fold(0, |differing, (a, b)| differing | (a ^ b));
    found.len() == secret.len() && differing == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn secrets_compare_as_texts_do() {
        assert!(is_same("abc", "abc"));
        for other in ["abd", "ab", "abcd", ""] {
            assert!(!is_same(other, "abc"), "{other}");
        }
    }

    #[test]
    fn the_opened_address_is_good_once_and_the_printed_one_again_and_again() {
        let guard = Guard::new(80);
        let token = |path: String| path.strip_prefix("/?token=").unwrap().to_owned();
        let (printed, replaced, opened) =
            (token(guard.entrance()), token(guard.entrance_once()), token(guard.entrance_once()));
        assert!(!guard.opens(&replaced), "a later one takes its place");
        assert!(!guard.opens("") && !guard.opens(&opened[1..]));
        assert!(guard.opens(&opened), "a wrong guess does not use it up");
        assert!(!guard.opens(&opened));
        assert!(guard.opens(&printed) && guard.opens(&printed));
        let _ = guard.entrance_once();
        guard.once().as_mut().unwrap().1 = Instant::now();
        let late = guard.once().as_ref().unwrap().0.clone();
        assert!(!guard.opens(&late), "it came too late");
    }

    #[test]
    fn no_two_runs_share_a_secret() {
        let (first, second) = (Guard::new(80), Guard::new(80));
        assert_ne!(first.token, second.token);
        assert_ne!(first.session, second.session);
        assert_ne!(first.token, first.session);
        assert_eq!(first.token.len(), 2 * SECRET_BYTES);
    }
}
