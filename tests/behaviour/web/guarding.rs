//! Who may ask, and what an answer may do in the browser.

use axum::body::Body;
use axum::http::{Method, Request, StatusCode, header};

use super::page::{HOST, Page, wait_for};

fn bare(method: Method, path: &str) -> axum::http::request::Builder {
    Request::builder().method(method).uri(path)
}

#[test]
fn the_printed_address_starts_a_session_and_nothing_else_does() {
    wait_for(async {
        let page = Page::new();
        let ask = async |path: &str, cookie: &str| {
            let request = bare(Method::GET, path).header(header::HOST, HOST).header(header::COOKIE, cookie);
            page.send(request.body(Body::empty()).unwrap()).await
        };
        assert_eq!(ask("/", "").await.status, StatusCode::UNAUTHORIZED);
        assert_eq!(ask("/?token=0", "").await.status, StatusCode::UNAUTHORIZED);
        assert_eq!(ask("/api/reaches/1", "").await.status, StatusCode::UNAUTHORIZED);
        let entered = ask(&page.app.guard.entrance(), "").await;
        assert_eq!(entered.location(), "/");
        let cookie = entered.headers[header::SET_COOKIE].to_str().unwrap().to_owned();
        for part in ["HttpOnly", "SameSite=Strict", "Path=/"] {
            assert!(cookie.contains(part), "{cookie}");
        }
        let cookie = cookie.split(';').next().unwrap().to_owned();
        assert_eq!(ask("/", &cookie).await.status, StatusCode::OK);
        let token = page.app.guard.entrance().replace("/?token=", "");
        assert!(!cookie.contains(&token), "the token in the address is not the session");
        assert_eq!(ask("/", &cookie[..cookie.len() - 1]).await.status, StatusCode::UNAUTHORIZED);
        // two slashes at the start of a path would be read as another host
        let elsewhere = ask(&format!("//example.org/?token={token}"), "").await;
        assert!(elsewhere.location().starts_with("/e"), "{}", elsewhere.location());
    });
}

#[test]
fn other_hosts_and_other_pages_are_refused() {
    wait_for(async {
        let page = Page::new();
        let with = |host: &str, origin: Option<&str>, method: Method| {
            let mut request = bare(method, "/demo").header(header::HOST, host);
            request = request.header(header::COOKIE, page.app.guard.session_cookie());
            if let Some(origin) = origin {
                request = request.header(header::ORIGIN, origin);
            }
            request.body(Body::empty()).unwrap()
        };
        for host in ["example.org", "127.0.0.1", "127.0.0.1:1", "localhost.example.org:7326", ""] {
            assert_eq!(page.send(with(host, None, Method::GET)).await.status, StatusCode::FORBIDDEN, "{host}");
        }
        let others = [None, Some("null"), Some("http://example.org"), Some("https://127.0.0.1:7326")];
        for origin in others.into_iter().chain([Some("http://127.0.0.1:7327"), Some("http://localhost:7326")]) {
            for method in [Method::POST, Method::PUT, Method::DELETE, Method::PATCH] {
                let answer = page.send(with(HOST, origin, method)).await;
                assert_eq!(answer.status, StatusCode::FORBIDDEN, "{origin:?}");
            }
        }
        assert!(page.media().is_empty(), "no demo case was made");
        assert_eq!(page.app.records.clients().unwrap().len(), 0);
    });
}

#[test]
fn every_answer_forbids_what_the_page_does_not_need() {
    wait_for(async {
        let page = Page::new();
        for path in ["/", "/clients/new", "/guide", "/nowhere", "/api/reaches/1", "/assets/sheet.css"] {
            let answer = page.get(path).await;
            let policy = answer.headers[header::CONTENT_SECURITY_POLICY].to_str().unwrap();
            for rule in ["default-src 'none'", "script-src 'self'", "frame-ancestors 'none'", "base-uri 'none'"] {
                assert!(policy.contains(rule), "{path}: {policy}");
            }
            assert!(!policy.contains("unsafe"), "{path}: {policy}");
            assert_eq!(answer.headers[header::X_CONTENT_TYPE_OPTIONS], "nosniff");
            let caching = answer.headers[header::CACHE_CONTROL].to_str().unwrap();
            assert_eq!(caching, if path.starts_with("/assets/") { "no-cache" } else { "no-store" }, "{path}");
        }
        let tag = page.get("/assets/sheet.css").await.headers[header::ETAG].clone();
        let request = page.request(Method::GET, "/assets/sheet.css").header(header::IF_NONE_MATCH, tag);
        assert_eq!(page.send(request.body(Body::empty()).unwrap()).await.status, StatusCode::NOT_MODIFIED);
    });
}
