//! Starting the server: what keeps it from starting is named, and nothing else.

use std::io::{BufRead as _, BufReader};
use std::net::TcpListener;
use std::path::Path;
use std::process::{Child, Command, Stdio};

fn serve(data: &Path, port: u16) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tworeach"));
    command.args(["serve", "--no-open", "--port", &port.to_string(), "--data"]).arg(data);
    command
}

/// A server that has printed its address.
fn started(data: &Path) -> Child {
    let mut child = serve(data, 0).stdout(Stdio::piped()).spawn().unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    assert!(line.starts_with("http://127.0.0.1:"), "{line}");
    child
}

/// What a server says that does not start.
fn refused(data: &Path, port: u16) -> String {
    let output = serve(data, port).output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert_eq!((output.status.code(), output.stdout.len()), (Some(1), 0), "{said}");
    assert_eq!(said.trim_end().lines().count(), 1, "{said}");
    said
}

#[test]
fn a_second_server_for_a_folder_is_refused_until_the_first_is_gone_however_it_ends() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let mut first = started(&data);
    let said = refused(&data, 0);
    assert!(said.contains(&data.display().to_string()) && said.contains("already"), "{said}");
    assert!(!said.contains("port"), "{said}");
    // SIGKILL
    first.kill().unwrap();
    first.wait().unwrap();
    let mut second = started(&data);
    second.kill().unwrap();
    second.wait().unwrap();
}

#[test]
fn a_folder_that_cannot_be_used_is_not_blamed_on_the_port() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a-file");
    std::fs::write(&file, "not a folder").unwrap();
    for data in [file.clone(), file.join("below")] {
        let said = refused(&data, 0);
        assert!(said.contains(&data.display().to_string()) && !said.contains("port"), "{said}");
    }
}

#[test]
fn a_port_that_is_taken_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let taken = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let port = taken.local_addr().unwrap().port();
    let said = refused(&folder.path().join("data"), port);
    assert!(said.contains(&format!("port {port}")) && said.contains("--port 0"), "{said}");
}
