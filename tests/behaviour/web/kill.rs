//! The server is killed in the middle of a marking session, again and again: what it confirmed is there the next time.

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::Duration;

use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};
use tworeach::records::Records;

use super::page::{BEFORE_INTERNAL, Page, demo_clip, wait_for};

const KILLS: usize = 50;
const SEED: u64 = 4;

/// The latest moment of a kill after the first edit was sent.
const SESSION: Duration = Duration::from_millis(120);

#[test]
fn fifty_kills_lose_no_confirmed_mark() {
    // a visit with one reach; the page that makes it is gone before the server starts
    let (folder, reach) = wait_for(async {
        let page = Page::new();
        let visit = page.visit("K5").await;
        let taken = page.upload(visit, &BEFORE_INTERNAL, "clip.mp4", &demo_clip("before-internal.mp4")).await;
        taken.location();
        let reach = page.app.records.reaches(visit).unwrap()[0].id;
        (page.folder, reach)
    });
    let data = folder.path().join("data");
    let mut rng = ChaCha8Rng::seed_from_u64(SEED);
    let confirmed = Arc::new(AtomicI64::new(0));
    for kill in 0..KILLS {
        let mut server = Server::start(&data);
        let found = server.client().get(&format!("/api/reaches/{reach}"));
        let revision = found["revision"].as_i64().unwrap();
        let last = confirmed.load(Ordering::SeqCst);
        // an edit that was on the disk but whose answer was cut off may be there too
        assert!((last..=last + 1).contains(&revision), "kill {kill}: {revision} after {last}");
        if revision > 0 {
            assert_eq!(found["points"]["right_wrist"], json!([f64::from(revision as i32), 7.25]), "kill {kill}");
        }
        confirmed.store(revision, Ordering::SeqCst);
        let (mut client, count) = (server.client(), confirmed.clone());
        let session = std::thread::spawn(move || {
            for revision in revision.. {
                let body = json!({ "revision": revision, "repeat": 1, "time_s": 0.0,
                    "points": { "right_wrist": [f64::from(revision as i32 + 1), 7.25] } });
                let Some(answer) = client.send("PUT", &format!("/api/reaches/{reach}/marks"), &body.to_string()) else {
                    return;
                };
                count.store(answer["revision"].as_i64().unwrap(), Ordering::SeqCst);
            }
        });
        std::thread::sleep(SESSION.mul_f64(rng.random()));
        server.child.kill().unwrap();
        server.child.wait().unwrap();
        session.join().unwrap();
    }
    let edits = confirmed.load(Ordering::SeqCst);
    assert!(edits > KILLS as i64, "only {edits} edits were made in {KILLS} sessions");
    // opening checks the integrity of the database
    let marks = Records::open(&data).unwrap().marks(reach).unwrap();
    assert!((edits..=edits + 1).contains(&marks.revision), "{} after {edits}", marks.revision);
}

struct Server {
    child: Child,
    host: String,
    cookie: String,
}

impl Server {
    fn start(data: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tworeach"))
            .args(["serve", "--port", "0", "--no-open", "--data"])
            .arg(data)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("http://").unwrap();
        let (host, entrance) = address.split_once('/').unwrap();
        let mut stream = TcpStream::connect(host).unwrap();
        write!(stream, "GET /{entrance} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n").unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let cookie = answer.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
        let cookie = cookie.split(';').next().unwrap().to_owned();
        Self { child, host: host.to_owned(), cookie }
    }

    fn client(&self) -> Client {
        let stream = TcpStream::connect(&self.host).unwrap();
        Client { reader: BufReader::new(stream), host: self.host.clone(), cookie: self.cookie.clone() }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

struct Client {
    reader: BufReader<TcpStream>,
    host: String,
    cookie: String,
}

impl Client {
    fn get(&mut self, path: &str) -> Value {
        self.send("GET", path, "").unwrap()
    }

    /// The answer, or nothing where the server is gone.
    fn send(&mut self, method: &str, path: &str, body: &str) -> Option<Value> {
        let (host, cookie) = (&self.host, &self.cookie);
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {cookie}\r\n\
             Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        );
        self.reader.get_mut().write_all(head.as_bytes()).ok()?;
        let (mut length, mut line) = (0, String::new());
        let mut status = None;
        loop {
            line.clear();
            if self.reader.read_line(&mut line).ok()? == 0 {
                return None;
            }
            let text = line.trim().to_lowercase();
            if text.is_empty() {
                break;
            }
            status.get_or_insert_with(|| text.clone());
            if let Some(value) = text.strip_prefix("content-length: ") {
                length = value.parse().unwrap();
            }
        }
        let mut bytes = vec![0; length];
        self.reader.read_exact(&mut bytes).ok()?;
        let status = status.unwrap();
        assert!(status.contains(" 200 "), "{status}: {}", String::from_utf8_lossy(&bytes));
        Some(serde_json::from_slice(&bytes).unwrap())
    }
}
