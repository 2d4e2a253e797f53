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
        let (child, address) = serve(&folder.path().join("data"), "0");
        Self { child, address, folder }
    }

    /// Kills it.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Starts it again with its data and on its port, after [`Self::kill`]; the address has another token.
    pub fn start_again(&mut self) {
        let origin = self.origin();
        let (_, port) = origin.rsplit_once(':').unwrap();
        (self.child, self.address) = serve(&self.folder.path().join("data"), port);
    }

    /// The address without path and token.
    pub fn origin(&self) -> String {
        let (origin, _) = self.address.split_once("/?").unwrap();
        origin.to_owned()
    }
}

fn serve(data: &Path, port: &str) -> (Child, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_tworeach"))
        .args(["serve", "--no-open", "--port", port, "--data"])
        .arg(data)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    (child, line.trim().to_owned())
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
