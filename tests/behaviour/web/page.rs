//! The page without a socket: requests go straight to the router, as a browser with a session sends them.

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, OnceLock};

use axum::Router;
use axum::body::{Body, Bytes};
use axum::http::{HeaderMap, Method, Request, StatusCode, header};
use tower::ServiceExt as _;
use tworeach::web::{App, Options, UploadLimits, router};

/// No server listens on it; it is part of the names that the guard accepts.
pub const PORT: u16 = 7326;
pub const HOST: &str = "127.0.0.1:7326";
const BOUNDARY: &str = "what-separates-the-fields";

/// A page with its data in a temporary folder.
pub struct Page {
    pub app: Arc<App>,
    pub router: Router,
    pub folder: tempfile::TempDir,
    /// What the server logged: its own faults.
    pub log: Arc<Mutex<Vec<String>>>,
}

/// What came back.
pub struct Answer {
    pub status: StatusCode,
    pub headers: HeaderMap,
    pub body: Bytes,
}

impl Page {
    pub fn new() -> Self {
        Self::with_limits(UploadLimits::default())
    }

    pub fn with_limits(limits: UploadLimits) -> Self {
        Self::on(tempfile::tempdir().unwrap(), limits)
    }

    /// A page with the demo case, and its visit. The case is taken in once by its button; each page gets a copy.
    pub fn with_demo() -> (Self, i64) {
        static TAKEN_IN: OnceLock<(PathBuf, i64)> = OnceLock::new();
        let (data, visit) = TAKEN_IN.get_or_init(|| {
            let made = std::thread::spawn(|| {
                wait_for(async {
                    let page = Self::new();
                    let answer = page.post("/demo", &[]).await;
                    let visit = answer.location().strip_prefix("/visits/").unwrap().parse().unwrap();
                    // once for all pages
                    page.compare_pictures(visit).await;
                    (page.folder, visit)
                })
            });
            let (folder, visit) = made.join().unwrap();
            let kept = Path::new(env!("CARGO_TARGET_TMPDIR")).join("web-demo");
            let _ = std::fs::remove_dir_all(&kept);
            copy_folder(&folder.path().join("data"), &kept);
            (kept, visit)
        });
        let folder = tempfile::tempdir().unwrap();
        copy_folder(data, &folder.path().join("data"));
        (Self::on(folder, UploadLimits::default()), *visit)
    }

    fn on(folder: tempfile::TempDir, limits: UploadLimits) -> Self {
        Self::decoding_by(Path::new(env!("CARGO_BIN_EXE_tworeach")), folder, limits)
    }

    /// A page whose decoder is some program.
    pub fn decoding_by(decoder: &Path, folder: tempfile::TempDir, limits: UploadLimits) -> Self {
        let log = Arc::new(Mutex::new(Vec::new()));
        let lines = log.clone();
        let options = Options {
            data: folder.path().join("data"),
            decoder: decoder.to_owned(),
            limits,
            log: Box::new(move |line| lines.lock().unwrap().push(line.to_owned())),
        };
        let app = Arc::new(App::open(PORT, options).unwrap());
        Self { router: router(app.clone()), app, folder, log }
    }

    /// Sends a request as it is.
    pub async fn send(&self, request: Request<Body>) -> Answer {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (parts, body) = response.into_parts();
        let body = axum::body::to_bytes(body, usize::MAX).await.unwrap();
        Answer { status: parts.status, headers: parts.headers, body }
    }

    /// A request with session, host and origin.
    pub fn request(&self, method: Method, path: &str) -> axum::http::request::Builder {
        Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, HOST)
            .header(header::ORIGIN, format!("http://{HOST}"))
            .header(header::COOKIE, self.app.guard.session_cookie())
    }

    pub async fn get(&self, path: &str) -> Answer {
        self.send(self.request(Method::GET, path).body(Body::empty()).unwrap()).await
    }

    pub async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let mut form = form_urlencoded::Serializer::new(String::new());
        let body = form.extend_pairs(fields).finish();
        let request = self
            .request(Method::POST, path)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from(body));
        self.send(request.unwrap()).await
    }

    pub async fn put(&self, path: &str, body: &serde_json::Value) -> Answer {
        let request = self
            .request(Method::PUT, path)
            .header(header::CONTENT_TYPE, "application/json")
            .body(Body::from(body.to_string()));
        self.send(request.unwrap()).await
    }

    /// Sends a clip to a visit under a file name.
    pub async fn upload(&self, visit: i64, fields: &[(&str, &str)], name: &str, clip: &[u8]) -> Answer {
        self.upload_to(&format!("/visits/{visit}/reaches"), fields, &[(name, clip)]).await
    }

    /// Sends files under their names.
    pub async fn upload_to(&self, path: &str, fields: &[(&str, &str)], files: &[(&str, &[u8])]) -> Answer {
        let request = self
            .request(Method::POST, path)
            .header(header::CONTENT_TYPE, format!("multipart/form-data; boundary={BOUNDARY}"))
            .body(Body::from(multipart(fields, files)));
        self.send(request.unwrap()).await
    }

    /// A client without danger signs, with a visit.
    pub async fn visit(&self, code: &str) -> i64 {
        let answer = self.post("/clients", &client(code, &[])).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text());
        let answer = self.post(&format!("/clients/{code}/visits"), &[]).await;
        answer.location().strip_prefix("/visits/").unwrap().parse().unwrap()
    }

    /// All rows of all tables, and all files of the data folder with their sizes.
    pub fn everything(&self) -> String {
        let data = self.folder.path().join("data");
        let database = rusqlite::Connection::open(data.join("tworeach.sqlite3")).unwrap();
        let mut tables = database.prepare("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name").unwrap();
        let tables: Vec<String> = tables.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
        let mut all = String::new();
        for table in tables {
            let mut rows = database.prepare(&format!("SELECT * FROM {table}")).unwrap();
            let columns = rows.column_count();
            let mut rows = rows.query([]).unwrap();
            while let Some(row) = rows.next().unwrap() {
                let cells: Vec<String> =
                    (0..columns).map(|column| format!("{:?}", row.get_ref(column).unwrap())).collect();
                all += &format!("{table}: {}\n", cells.join(", "));
            }
        }
        for folder in ["media", "incoming"] {
            for name in names(&data.join(folder)) {
                all += &format!("{folder}/{name}\n");
            }
        }
        all
    }

    pub fn media(&self) -> Vec<String> {
        names(&self.folder.path().join("data/media"))
    }
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).unwrap()
    }

    pub fn location(&self) -> String {
        assert_eq!(self.status, StatusCode::SEE_OTHER, "{}", self.text());
        self.headers[header::LOCATION].to_str().unwrap().to_owned()
    }
}

/// Runs a test that waits.
pub fn wait_for<T>(test: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap().block_on(test)
}

/// A form for a new client whose danger signs are all answered with no, but for some.
pub fn client<'a>(code: &'a str, signs: &[&str]) -> Vec<(&'a str, &'a str)> {
    let mut fields =
        vec![("code", code), ("affected_side", "right"), ("answered_by", "client"), ("stature_mm", "1790")];
    for sign in tworeach::records::DangerSign::ALL {
        let answer = if signs.contains(&sign.name()) { "yes" } else { "no" };
        fields.push((Box::leak(format!("sign_{}", sign.name()).into_boxed_str()), answer));
    }
    fields
}

pub fn multipart(fields: &[(&str, &str)], files: &[(&str, &[u8])]) -> Vec<u8> {
    let mut body = Vec::new();
    for (field, value) in fields {
        body.extend_from_slice(
            format!("--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"{field}\"\r\n\r\n{value}\r\n").as_bytes(),
        );
    }
    for (name, content) in files {
        let head = format!(
            "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\
             Content-Type: application/octet-stream\r\n\r\n"
        );
        body.extend_from_slice(head.as_bytes());
        body.extend_from_slice(content);
        body.extend_from_slice(b"\r\n");
    }
    body.extend_from_slice(format!("--{BOUNDARY}--\r\n").as_bytes());
    body
}

/// A clip of the demo case.
pub fn demo_clip(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side").join(name)).unwrap()
}

pub const BEFORE_INTERNAL: [(&str, &str); 4] =
    [("occasion", "before"), ("rotation", "internal"), ("view", "side"), ("near_side", "right")];

fn copy_folder(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap().map(|entry| entry.unwrap()) {
        let to = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy_folder(&entry.path(), &to);
        } else {
            std::fs::copy(entry.path(), to).unwrap();
        }
    }
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap());
    let mut names: Vec<String> = entries
        .map(|entry| format!("{} {}", entry.file_name().to_string_lossy(), entry.metadata().unwrap().len()))
        .collect();
    names.sort();
    names
}
