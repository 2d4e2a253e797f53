//! Malformed requests and uploads: none is the server's fault, and none changes anything.

use std::io::{Read as _, Write as _};
use std::path::Path;
use std::process::{Command, Stdio};

use axum::body::Body;
use axum::http::{Method, Request, StatusCode, header};
use rand::seq::IndexedRandom as _;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use serde_json::json;
use tworeach::web::UploadLimits;

use super::page::{HOST, Page, demo_clip, multipart, wait_for};

/// Requests of each test run; those that send a file start a decoder each, so they are fewer.
const REQUESTS: usize = 440;
const UPLOADS: usize = 60;
const SEED: u64 = 20_261_125;

#[test]
fn five_hundred_malformed_requests_do_no_harm() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let empty = page.visit("K9").await;
        let reach = page.app.records.reaches(visit).unwrap()[0].id;
        // the result is kept when it is first looked at, which is no harm
        page.get(&format!("/visits/{visit}/result")).await;
        let before = page.everything();
        let mut rng = ChaCha8Rng::seed_from_u64(SEED);
        let clip = demo_clip("before-internal.mp4");
        for number in 0..REQUESTS + UPLOADS {
            let request = if number < REQUESTS {
                malformed(&page, &mut rng, visit, reach)
            } else {
                malformed_upload(&page, &mut rng, empty, &clip)
            };
            let (method, path) = (request.method().clone(), request.uri().clone());
            let answer = page.send(request).await;
            let status = answer.status;
            assert!(!status.is_server_error(), "{number}: {method} {path}: {status}, {:?}", page.log.lock().unwrap());
            assert!(!status.is_success() || method == Method::GET, "{number}: {method} {path}: {status}");
            assert!(!status.is_redirection(), "{number}: {method} {path}: {status}");
        }
        assert_eq!(page.everything(), before);
        assert!(page.log.lock().unwrap().is_empty(), "{:?}", page.log.lock().unwrap());
    });
}

#[test]
fn a_clip_that_brings_the_decoder_down_is_refused_and_the_server_goes_on() {
    wait_for(async {
        let (page, visit) = Page::with_demo();
        let reach = page.app.records.reaches(visit).unwrap()[0].id;
        let Page { folder, router, app, .. } = page;
        drop((router, app));
        // a program that ends with an error at once, as a decoder does that was brought down
        let page = Page::decoding_by(Path::new("/bin/false"), folder, UploadLimits::default());
        let other = page.visit("K8").await;
        let before = page.everything();
        let fields = [("occasion", "before"), ("rotation", "internal"), ("view", "side"), ("near_side", "right")];
        let refused = page.upload(other, &fields, "clip.mp4", &demo_clip("before-internal.mp4")).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(refused.text().contains("brought the decoder down"), "{}", refused.text());
        let frames = format!("/api/reaches/{reach}/frames/3.jpg");
        assert_eq!(page.get(&frames).await.status, StatusCode::NOT_FOUND);
        assert_eq!(page.get(&format!("{frames}?size=preview")).await.status, StatusCode::OK);
        assert_eq!(page.get("/").await.status, StatusCode::OK);
        assert_eq!(page.everything(), before);
        assert!(page.log.lock().unwrap().is_empty(), "{:?}", page.log.lock().unwrap());
    });
}

#[test]
#[cfg(target_os = "linux")]
fn a_decoder_has_bounds_before_it_opens_a_clip() {
    let clip = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side/before-internal.mp4");
    let mut child = Command::new(env!("CARGO_BIN_EXE_tworeach"))
        .arg("decode-show")
        .arg(&clip)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.as_mut().unwrap().write_all(b"0\n").unwrap();
    let mut length = [0; 4];
    child.stdout.as_mut().unwrap().read_exact(&mut length).unwrap();
    assert!((1000..1_000_000).contains(&u32::from_le_bytes(length)));
    let limits = std::fs::read_to_string(format!("/proc/{}/limits", child.id())).unwrap();
    child.kill().unwrap();
    child.wait().unwrap();
    let of = |name: &str| limits.lines().find(|line| line.starts_with(name)).unwrap().to_owned();
    assert!(of("Max address space").contains(&(3_u64 << 30).to_string()), "{limits}");
    let core: Vec<String> = of("Max core file size").split_whitespace().map(str::to_owned).collect();
    assert_eq!(core[4..6], ["0", "0"], "{limits}");
}

/// Text of all kinds of letters.
fn noise(rng: &mut ChaCha8Rng, length: usize) -> String {
    let letters = ['a', '9', '.', '-', '/', '%', '\0', '\u{202e}', 'é', '内', '"', '<', '\'', ';', '\n', '{', '\\'];
    (0..rng.random_range(0..=length)).map(|_| *letters.choose(rng).unwrap()).collect()
}

fn bytes(rng: &mut ChaCha8Rng, length: usize) -> Vec<u8> {
    (0..rng.random_range(0..=length)).map(|_| rng.random()).collect()
}

fn escaped(text: &str) -> String {
    form_urlencoded::byte_serialize(text.as_bytes()).collect::<String>().replace('+', "%20")
}

fn malformed(page: &Page, rng: &mut ChaCha8Rng, visit: i64, reach: i64) -> Request<Body> {
    let form = "application/x-www-form-urlencoded";
    let send = |method: Method, path: &str, kind: &str, body: Vec<u8>| {
        page.request(method, path).header(header::CONTENT_TYPE, kind).body(Body::from(body)).unwrap()
    };
    let ids = ["0", "-1", "99999999", "9223372036854775808", "x", "1e3", "1.0", "%00", "..%2f..%2fdata", "1%202"];
    match rng.random_range(0..11) {
        // places that are not there
        0 => {
            let id = ids.choose(rng).unwrap();
            let paths = [
                "/visits/ID",
                "/visits/ID/result",
                "/visits/ID/report.pdf",
                "/visits/ID/export.zip",
                "/reaches/ID/mark",
                "/reaches/ID/palms",
                "/reaches/ID/delete",
                "/reaches/ID/facts",
                "/visits/ID/delete",
                "/api/reaches/ID",
                "/api/reaches/ID/follow",
                "/api/visits/ID/live",
                "/api/reaches/ID/frames/0.jpg",
                "/visits/ID/charts/rotations.svg",
                "/assets/ID",
                "/clients/ID/delete",
                "/clients/ID/facts",
            ];
            send(Method::GET, &paths.choose(rng).unwrap().replace("ID", id), form, Vec::new())
        }
        1 => {
            let name = escaped(&noise(rng, 40));
            let paths = [
                format!("/api/reaches/{reach}/frames/{name}"),
                format!("/visits/{visit}/charts/{name}"),
                format!("/assets/{name}"),
                format!("/{name}"),
                format!("/clients/x{name}"),
            ];
            send(Method::GET, paths.choose(rng).unwrap(), form, Vec::new())
        }
        // parameters that are not accepted
        2 => {
            let value = escaped(&format!("9999{}", noise(rng, 20)));
            let paths = [
                format!("/api/reaches/{reach}?repeat={value}"),
                format!("/reaches/{reach}/mark?raise={value}"),
                format!("/visits/{visit}/report.pdf?paper={value}"),
                format!("/api/visits/{visit}/live?reach={value}"),
                format!("/api/reaches/{reach}/frames/0.jpg?size={value}"),
            ];
            send(Method::GET, paths.choose(rng).unwrap(), form, Vec::new())
        }
        // methods that a place does not take
        3 => {
            let method = [Method::DELETE, Method::PATCH, Method::OPTIONS, Method::PUT, Method::TRACE]
                .choose(rng)
                .unwrap()
                .clone();
            send(method, &format!("/visits/{visit}"), form, bytes(rng, 50))
        }
        // forms of noise, of which none is complete
        4 | 5 => {
            let fields = ["code", "affected_side", "sign_fever", "answered_by", "stature_mm", "reason", "", "x"];
            let mut body = form_urlencoded::Serializer::new(String::new());
            for _ in 0..rng.random_range(0..8) {
                body.append_pair(fields.choose(rng).unwrap(), &noise(rng, 60));
            }
            let paths = ["/clients", "/clients/R07/screening", "/clients/R07/delete", "/clients/R07/facts"];
            send(Method::POST, paths.choose(rng).unwrap(), form, body.finish().into_bytes())
        }
        6 => {
            let fields = ["bar_length_mm", "margin_deg", "profile", "taped_grips"];
            let field = *fields.choose(rng).unwrap();
            let body = form_urlencoded::Serializer::new(String::new())
                .append_pair(field, &format!("?{}", noise(rng, 900)))
                .finish();
            send(Method::POST, &format!("/visits/{visit}/settings"), form, body.into_bytes())
        }
        7 => {
            let (place, field) = [
                ("palms", "palms"),
                ("facts", "occasion"),
                ("facts", "rotation"),
                ("facts", "near_side"),
                ("facts", "mirrored"),
            ]
            .choose(rng)
            .copied()
            .unwrap();
            let body = form_urlencoded::Serializer::new(String::new()).append_pair(field, &noise(rng, 9)).finish();
            send(Method::POST, &format!("/reaches/{reach}/{place}"), form, body.into_bytes())
        }
        // marks that are none
        8 | 9 => {
            let text = noise(rng, 12);
            let number = [-1e300, -1.0, 0.5, 1e9, 1e300].choose(rng).copied().unwrap();
            let wrong = [
                json!({ "revision": number, "time_s": 0, "points": {} }),
                json!({ "revision": 1_000_000, "time_s": 0, "points": {} }),
                json!({ "revision": 3, "time_s": 1e9, "points": {} }),
                json!({ "revision": 3, "time_s": 0, "points": { text.clone(): [1, 2] } }),
                json!({ "revision": 3, "time_s": 0, "points": { "right_hip": [number * 1e4, 1] } }),
                json!({ "revision": 3, "time_s": 0, "points": { "right_hip": text } }),
                json!({ "revision": 3, "time_s": 0, "points": {}, "repeat": number }),
                json!({ "revision": 3, "time_s": 0, "points": {}, "pain": 1e3, "x": [[[[]]]] }),
                json!([[], {}, null]),
            ];
            let mut body = wrong.choose(rng).unwrap().to_string().into_bytes();
            if rng.random_bool(0.3) {
                let length = body.len();
                body.truncate(rng.random_range(0..length));
            }
            send(Method::PUT, &format!("/api/reaches/{reach}/marks"), "application/json", body)
        }
        // strangers
        _ => {
            let host = if rng.random_bool(0.5) { "example.org" } else { HOST };
            let request = Request::builder().method(Method::POST).uri(format!("/reaches/{reach}/delete"));
            let request = request.header(header::HOST, host).header(header::ORIGIN, "http://example.org");
            request.header(header::COOKIE, page.app.guard.session_cookie()).body(Body::from(bytes(rng, 40))).unwrap()
        }
    }
}

fn malformed_upload(page: &Page, rng: &mut ChaCha8Rng, visit: i64, clip: &[u8]) -> Request<Body> {
    let right = [("occasion", "before"), ("rotation", "internal"), ("view", "side"), ("near_side", "right")];
    let name = noise(rng, 30).replace(['"', '\n', '\0', '\\'], "_");
    // the beginning of a real clip, so that the decoder gets somewhere, and noise after that
    let start = rng.random_range(0..1000);
    let mut file = clip[..start].to_vec();
    file.extend(bytes(rng, 20_000));
    let body = match rng.random_range(0..5) {
        0 => multipart(&right[..rng.random_range(0..4)], &[(&name, &file)]),
        1 => multipart(&[("occasion", "never"), ("rotation", &noise(rng, 10)), ("view", "side")], &[(&name, &file)]),
        2 => {
            let mut body = multipart(&right, &[(&name, &file)]);
            body.truncate(rng.random_range(0..body.len() - 60));
            body
        }
        3 => bytes(rng, 3000),
        _ => multipart(&right, &[(&name, &file)]),
    };
    let kinds = ["multipart/form-data; boundary=what-separates-the-fields", "multipart/form-data", "text/plain"];
    let kind = kinds[[0, 0, 0, 0, 0, 0, 1, 2].choose(rng).copied().unwrap()];
    let request = page.request(Method::POST, &format!("/visits/{visit}/reaches"));
    request.header(header::CONTENT_TYPE, kind).body(Body::from(body)).unwrap()
}
