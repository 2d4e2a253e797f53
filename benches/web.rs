//! How quick the page is: start, frames, live numbers, five people at once, memory, weight, and a client with 200 visits, by the real server.
//!
//! `cargo bench --bench web -- [SECONDS]` prints the 95th percentile of each; SECONDS is how long five people step through
//! clips of their own (60 by default). `-- visits` measures the client with 200 visits alone. The clips are 1080p, of moving texture with noise, which is harder than a still wall.
#![allow(clippy::unwrap_used, reason = "a measurement that cannot go on should stop")]
#![allow(clippy::print_stdout, reason = "the figures are printed")]
#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "pixels of invented pictures")]

use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use image::{Rgb, RgbImage};
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value, json};
use tworeach::video::{EncodeOptions, Encoder};

const PEOPLE: usize = 5;
const CLIP_FRAMES: usize = 300;
/// A brisk hand on the arrow key.
const PAUSE: Duration = Duration::from_millis(60);

fn main() {
    let seconds: u64 = std::env::args().filter_map(|argument| argument.parse().ok()).next().unwrap_or(60);
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");

    if std::env::args().any(|argument| argument == "visits") {
        let server = Server::start(&data);
        let mut client = server.client();
        assert_eq!(client.ask("POST", "/demo", "", b"").0, 303);
        assert_eq!(client.ask("GET", "/visits/1/result", "", b"").0, 200);
        drop(client);
        drop(server);
        return case_of_200_visits(&data);
    }

    let mut starts = Vec::new();
    for _ in 0..20 {
        let began = Instant::now();
        let server = Server::start(&data);
        assert_eq!(server.client().ask("GET", "/", "", b"").0, 200);
        starts.push(began.elapsed());
    }
    print("start to first page", &mut starts);

    let server = Server::start(&data);
    let mut client = server.client();
    let (_, page) = client.ask("GET", "/", "", b"");
    println!("{:<44} {:>8} bytes", "first page without its files", page.len());

    let (status, _) = client.ask("POST", "/demo", "", b"");
    assert_eq!(status, 303);
    let visit = 1;
    live_numbers(&mut client);

    // five visits of five people, each with a clip of its own
    let mut reaches = Vec::new();
    for person in 0..PEOPLE {
        let code = format!("P{person}");
        client.add_client(&code);
        client.ask("POST", &format!("/clients/{code}/visits"), "", b"");
        let path = folder.path().join(format!("{person}.mp4"));
        film(&path, person as u64);
        let began = Instant::now();
        let reach = client.upload(visit + 1 + person, &std::fs::read(&path).unwrap());
        if person == 0 {
            println!("{:<44} {:>8.0} ms", "upload of 300 frames, looked at", began.elapsed().as_secs_f64() * 1e3);
        }
        reaches.push(reach);
    }
    frames(&mut client, &reaches);
    stepping_while_followed(&server, &mut client, &reaches);
    five_people(&server, &reaches, Duration::from_secs(seconds));
    drop(client);
    drop(server);
    case_of_200_visits(&data);
}

/// Opens a client with many visits, an intake and a long log.
fn case_of_200_visits(data: &Path) {
    many_visits(data);
    let server = Server::start(data);
    let mut client = server.client();
    for (name, path) in [
        ("a client with 200 visits", "/clients/R07"),
        ("the course of 200 visits", "/clients/R07/course"),
        ("the plan after 26 weeks", "/clients/R07/plan"),
        ("the log of 26 weeks", "/clients/R07/log"),
    ] {
        let mut times = Vec::new();
        for _ in 0..50 {
            let began = Instant::now();
            assert_eq!(client.ask("GET", path, "", b"").0, 200);
            times.push(began.elapsed());
        }
        print(name, &mut times);
    }
}

/// Gives the demo's client 200 visits in all, each with the demo's own result, an intake with as many visits, and a log of 26 weeks
/// with four entries on every other day.
fn many_visits(data: &Path) {
    let database = rusqlite::Connection::open(data.join("tworeach.sqlite3")).unwrap();
    database
        .execute_batch(
            "BEGIN;
             WITH RECURSIVE numbers(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM numbers WHERE n < 199)
             INSERT INTO visits (client, made_on, taped_grips, margin_deg, changes)
                 SELECT 1, date('now', '-' || (7 * n) || ' days'), 0, 3, 1 FROM numbers;
             INSERT INTO results (visit, changes, result, made_at)
                 SELECT visits.id, 1, result, results.made_at FROM visits, results
                 WHERE visits.client = 1 AND visits.id > 1 AND results.visit = 1;
             WITH RECURSIVE numbers(n) AS (SELECT 0 UNION ALL SELECT n + 2 FROM numbers WHERE n < 182)
             INSERT INTO log_entries (client, day, stage, done, load, sets, repetitions, seconds, pain_during, pain_next_morning,
                     danger_sign, entered, note, made_at)
                 SELECT 1, date('now', '-' || (182 - n) || ' days'), stage, 'yes', '', '', '', '', '0', '0', '', '', '', ''
                 FROM numbers, (SELECT 'soft_tissue' AS stage UNION SELECT 'flexors' UNION SELECT 'cuff' UNION SELECT 'lat_stretch');
             COMMIT;",
        )
        .unwrap();
    let mut intake = "schema = \"tworeach/intake/1\"\nclient = \"R07\"\naffected_side = \"right\"\n\
        pain_spots = [\"right_flexor_mass\"]\nprovoked_by = []\nweeks_since_onset = 9\nactivities = [\"rowing\"]\n"
        .to_owned();
    let mut days = database.prepare("SELECT DISTINCT made_on FROM visits WHERE client = 1 ORDER BY made_on").unwrap();
    for day in days.query_map([], |row| row.get::<_, String>(0)).unwrap() {
        intake += &format!(
            "[[visit]]\non = \"{}\"\npain_at_rest = 1\npain_in_use = 4\npain_on_pressing = 5\nratings = {{ rowing = 5 }}\n\
             [visit.findings]\ngrip_left_kg = [41, 42]\ngrip_right_kg = [33, 31]\n",
            day.unwrap()
        );
    }
    database.execute("INSERT INTO intakes (client, text, made_at) VALUES (1, ?1, datetime('now'))", [intake]).unwrap();
}

fn live_numbers(client: &mut Client) {
    let reach = client.json("/api/reaches/1");
    let mut revision = reach["revision"].as_i64().unwrap();
    let mut times = Vec::new();
    let mut points = reach["points"].clone();
    for step in 0..100 {
        points["right_wrist"][0] = json!(673.0 + 0.25 * f64::from(step % 8));
        let body = json!({ "revision": revision, "repeat": 1, "time_s": reach["time_s"], "points": points,
            "pain": 0, "limited_by": "stretch", "back_flat": true });
        let began = Instant::now();
        let (status, answer) =
            client.ask("PUT", "/api/reaches/1/marks", "application/json", body.to_string().as_bytes());
        times.push(began.elapsed());
        assert_eq!(status, 200);
        let answer: Value = serde_json::from_slice(&answer).unwrap();
        assert!(answer["live"]["reach"]["elevation"].is_string());
        revision = answer["revision"].as_i64().unwrap();
    }
    print("moved mark to new numbers, four reaches", &mut times);
}

fn frames(client: &mut Client, reaches: &[i64]) {
    let reach = reaches[0];
    let mut sizes = Vec::new();
    let mut ask = |reach: i64, index: usize, size: &str| {
        let began = Instant::now();
        let (status, jpeg) =
            client.ask("GET", &format!("/api/reaches/{reach}/frames/{index}.jpg?size={size}"), "", b"");
        assert_eq!(status, 200);
        assert!(jpeg.starts_with(&[0xff, 0xd8]));
        sizes.push(jpeg.len());
        began.elapsed()
    };
    let mut rng = ChaCha8Rng::seed_from_u64(1);
    let mut cold = Vec::new();
    for reach in reaches {
        cold.push(ask(*reach, 211, "full"));
    }
    print("first frame of a clip, its decoder started", &mut cold);
    let mut jumps: Vec<Duration> = (0..40)
        .map(|_| {
            let elapsed = ask(reach, rng.random_range(0..CLIP_FRAMES), "full");
            std::thread::sleep(PAUSE);
            elapsed
        })
        .collect();
    print("any frame, jumping", &mut jumps);
    let mut previews: Vec<Duration> =
        (0..40).map(|_| ask(reach, rng.random_range(0..CLIP_FRAMES), "preview")).collect();
    print("any frame, preview", &mut previews);
    for (name, start, step) in [("next frame, warm", 20_isize, 1_isize), ("previous frame, warm", 280, -1)] {
        ask(reach, start as usize, "full");
        std::thread::sleep(Duration::from_millis(800));
        let mut steps = Vec::new();
        for number in 1..=120 {
            steps.push(ask(reach, (start + step * number) as usize, "full"));
            std::thread::sleep(PAUSE);
        }
        print(name, &mut steps);
    }
    sizes.sort_unstable();
    println!("{:<44} {:>8} kB median", "size of a frame", sizes[sizes.len() / 2] / 1000);
}

/// Steps through a clip while an arm is followed through another one, over and over.
fn stepping_while_followed(server: &Server, client: &mut Client, reaches: &[i64]) {
    let [followed, stepped] = [reaches[0], reaches[1]];
    let reach = client.json(&format!("/api/reaches/{followed}"));
    let points = json!({ "right_shoulder": [900, 500], "right_elbow": [950, 400], "right_wrist": [1000, 300],
        "right_hip": [900, 700] });
    let body =
        json!({ "revision": reach["revision"], "time_s": reach["suggested_time_s"], "points": points }).to_string();
    let marks = format!("/api/reaches/{followed}/marks");
    assert_eq!(client.ask("PUT", &marks, "application/json", body.as_bytes()).0, 200);
    let follow = format!("/api/reaches/{followed}/follow");
    let before_kb = memory(server.child.id());
    let (mut steps, mut runs, mut most_kb, mut words) = (Vec::new(), 0, 0, String::new());
    for index in 0..240 {
        if index % 8 == 0 {
            let work = client.json(&follow)["work"].clone();
            if work.is_null() {
                assert_eq!(client.ask("POST", &follow, "", b"").0, 202);
                runs += 1;
            } else {
                assert_ne!(work["state"], "failed", "{work}");
                words = work["words"].as_str().unwrap_or(&words).to_owned();
                most_kb = most_kb.max(memory(server.child.id()));
            }
        }
        let began = Instant::now();
        assert_eq!(client.ask("GET", &format!("/api/reaches/{stepped}/frames/{}.jpg", 20 + index), "", b"").0, 200);
        steps.push(began.elapsed());
        std::thread::sleep(PAUSE);
    }
    print("next frame while a clip is followed", &mut steps);
    println!("{:<44} {runs:>8} runs; {words}", "of 300 frames followed");
    println!("{:<44} {:>8} MB more than before", "memory meanwhile", most_kb.saturating_sub(before_kb) / 1000);
    client.ask("DELETE", &follow, "", b"");
}

fn five_people(server: &Server, reaches: &[i64], length: Duration) {
    let spent_s = processor_s(server.child.id());
    let stop = AtomicBool::new(false);
    let (mut times, most) = std::thread::scope(|scope| {
        let people: Vec<_> = reaches
            .iter()
            .map(|reach| {
                let (mut client, stop) = (server.client(), &stop);
                scope.spawn(move || {
                    let mut rng = ChaCha8Rng::seed_from_u64(*reach as u64);
                    let (mut index, mut step) = (CLIP_FRAMES / 2, 1_isize);
                    let mut times = Vec::new();
                    while !stop.load(Ordering::Relaxed) {
                        // now and then the other way, or somewhere else
                        match rng.random_range(0..40) {
                            0 => step = -step,
                            1 => index = rng.random_range(0..CLIP_FRAMES),
                            _ => {}
                        }
                        index = index.saturating_add_signed(step).clamp(1, CLIP_FRAMES - 2);
                        let began = Instant::now();
                        let (status, _) =
                            client.ask("GET", &format!("/api/reaches/{reach}/frames/{index}.jpg"), "", b"");
                        times.push(began.elapsed());
                        assert_eq!(status, 200);
                        std::thread::sleep(PAUSE);
                    }
                    times
                })
            })
            .collect();
        let began = Instant::now();
        let mut most = 0;
        while began.elapsed() < length {
            std::thread::sleep(Duration::from_millis(250));
            most = most.max(memory(server.child.id()));
        }
        stop.store(true, Ordering::Relaxed);
        (people.into_iter().flat_map(|person| person.join().unwrap()).collect::<Vec<_>>(), most)
    });
    println!("{:<44} {:>8} frames, no error", "five people stepping", times.len());
    print("five people stepping", &mut times);
    println!(
        "{:<44} {:>8.1} ms a frame, with its decoders",
        "processor time",
        1e3 * (processor_s(server.child.id()) - spent_s) / times.len() as f64
    );
    println!("{:<44} {:>8} MB, with its decoders", "memory of the server at most", most / 1000);
    println!(
        "{:<44} {:>8} MB",
        "of which its decoders now",
        (memory(server.child.id()) - own(server.child.id())) / 1000
    );
}

/// Proportional memory of a process and its children, kB: pages that several share count once.
fn memory(process: u32) -> u64 {
    family(process).into_iter().map(own).sum()
}

/// A process and its children.
fn family(process: u32) -> Vec<u32> {
    let children = std::fs::read_to_string(format!("/proc/{process}/task/{process}/children")).unwrap_or_default();
    let mut all: Vec<u32> = children.split_whitespace().filter_map(|child| child.parse().ok()).collect();
    // children are started by any thread
    for task in std::fs::read_dir(format!("/proc/{process}/task")).into_iter().flatten().flatten() {
        let more = std::fs::read_to_string(task.path().join("children")).unwrap_or_default();
        all.extend(more.split_whitespace().filter_map(|child| child.parse::<u32>().ok()));
    }
    all.push(process);
    all.sort_unstable();
    all.dedup();
    all
}

/// Processor time of a process, of the children that it had and of those that it has, s.
fn processor_s(process: u32) -> f64 {
    /// Of Linux, to user programs.
    const TICKS_PER_S: f64 = 100.0;
    let ticks = |process: u32| {
        let stat = std::fs::read_to_string(format!("/proc/{process}/stat")).unwrap_or_default();
        // utime, stime, cutime and cstime, after a name that may hold anything
        let numbers = stat.rsplit(')').next().unwrap_or_default().split_whitespace().skip(11).take(4);
        numbers.filter_map(|number| number.parse::<f64>().ok()).sum::<f64>()
    };
    family(process).into_iter().map(ticks).sum::<f64>() / TICKS_PER_S
}

/// Proportional memory of one process, kB.
fn own(process: u32) -> u64 {
    let rollup = std::fs::read_to_string(format!("/proc/{process}/smaps_rollup")).unwrap_or_default();
    let line = rollup.lines().find_map(|line| line.strip_prefix("Pss:").map(str::to_owned));
    line.and_then(|line| line.split_whitespace().next()?.parse::<u64>().ok()).unwrap_or(0)
}

fn film(path: &Path, seed: u64) {
    let (width, height) = (1920, 1080);
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let texture: Vec<u8> = (0..width * height).map(|_| rng.random_range(0..24)).collect();
    let wave_x: Vec<f64> = (0..width + 4 * CLIP_FRAMES as u32).map(|x| (f64::from(x) / 90.0).sin() * 60.0).collect();
    let wave_y: Vec<f64> = (0..height).map(|y| (f64::from(y) / 70.0).cos() * 60.0).collect();
    let mut encoder =
        Encoder::create(path, EncodeOptions { preset: "veryfast", crf: 23, ..EncodeOptions::new(width, height) })
            .unwrap();
    for frame in 0..CLIP_FRAMES as u32 {
        let image = RgbImage::from_fn(width, height, |x, y| {
            let grain = texture[((y * width + x + frame * 3) % (width * height)) as usize];
            let wave = (wave_x[(x + frame * 4) as usize] + wave_y[y as usize] + 120.0) as u8;
            Rgb([wave.saturating_add(grain), wave, 200 - wave / 2])
        });
        encoder.push(&image).unwrap();
    }
    encoder.finish().unwrap();
}

fn print(name: &str, times: &mut [Duration]) {
    times.sort_unstable();
    let at = |share: usize| times[(times.len() * share / 100).min(times.len() - 1)].as_secs_f64() * 1e3;
    println!("{name:<44} {:>8.1} ms median, {:.1} ms p95, {:.1} ms most", at(50), at(95), at(100));
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
        Self { child, host: host.to_owned(), cookie: cookie.split(';').next().unwrap().to_owned() }
    }

    fn client(&self) -> Client {
        let stream = TcpStream::connect(&self.host).unwrap();
        stream.set_nodelay(true).unwrap();
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
    fn ask(&mut self, method: &str, path: &str, kind: &str, body: &[u8]) -> (u16, Vec<u8>) {
        let (host, cookie) = (&self.host, &self.cookie);
        let kind = if kind.is_empty() { "application/x-www-form-urlencoded" } else { kind };
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {cookie}\r\n\
             Content-Type: {kind}\r\nContent-Length: {}\r\n\r\n",
            body.len()
        );
        self.reader.get_mut().write_all(&[head.as_bytes(), body].concat()).unwrap();
        let (mut status, mut length, mut line) = (0, 0, String::new());
        loop {
            line.clear();
            assert!(self.reader.read_line(&mut line).unwrap() > 0, "the server is gone");
            let text = line.trim().to_lowercase();
            if text.is_empty() {
                break;
            }
            if let Some(rest) = text.strip_prefix("http/1.1 ") {
                status = rest[..3].parse().unwrap();
            }
            if let Some(value) = text.strip_prefix("content-length: ") {
                length = value.parse().unwrap();
            }
        }
        let mut bytes = vec![0; length];
        self.reader.read_exact(&mut bytes).unwrap();
        (status, bytes)
    }

    fn json(&mut self, path: &str) -> Value {
        serde_json::from_slice(&self.ask("GET", path, "", b"").1).unwrap()
    }

    fn add_client(&mut self, code: &str) {
        let signs: Vec<String> =
            tworeach::records::DangerSign::ALL.iter().map(|sign| format!("sign_{}=no", sign.name())).collect();
        let body = format!("code={code}&affected_side=right&answered_by=client&{}", signs.join("&"));
        assert_eq!(self.ask("POST", "/clients", "", body.as_bytes()).0, 303);
    }

    fn upload(&mut self, visit: usize, clip: &[u8]) -> i64 {
        let mut body = Vec::new();
        for (field, value) in
            [("occasion", "before"), ("rotation", "internal"), ("view", "side"), ("near_side", "right")]
        {
            body.extend(
                format!("--part\r\nContent-Disposition: form-data; name=\"{field}\"\r\n\r\n{value}\r\n").bytes(),
            );
        }
        body.extend(b"--part\r\nContent-Disposition: form-data; name=\"file\"; filename=\"x\"\r\n\r\n");
        body.extend(clip);
        body.extend(b"\r\n--part--\r\n");
        let (status, page) =
            self.ask("POST", &format!("/visits/{visit}/reaches"), "multipart/form-data; boundary=part", &body);
        assert_eq!(status, 303, "{}", String::from_utf8_lossy(&page));
        // four reaches of the demo case come first
        4 + i64::try_from(visit).unwrap() - 1
    }
}
