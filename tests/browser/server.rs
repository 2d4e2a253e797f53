//! The real program, serving an empty data folder.

use std::io::{BufRead as _, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// A server with data of its own; ended when dropped.
pub struct Server {
    child: Child,
    /// The address that it printed, with the token.
    pub address: String,
    pub folder: tempfile::TempDir,
}

impl Server {
    pub fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_tworeach"))
            .args(["serve", "--port", "0", "--no-open", "--data"])
            .arg(folder.path().join("data"))
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        Self { child, address: line.trim().to_owned(), folder }
    }

    /// The address without path and token.
    pub fn origin(&self) -> String {
        let (origin, _) = self.address.split_once("/?").unwrap();
        origin.to_owned()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A file of the demo case.
pub fn demo_file(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side").join(name)
}
