//! The side view that comes with the project, and its truth.

use std::path::{Path, PathBuf};

use serde_json::Value;

/// Its folder.
pub fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-clips/side")
}

/// A copy of it, to be changed.
pub fn copy_to(folder_of_copy: &Path) {
    for entry in std::fs::read_dir(folder()).unwrap() {
        let path = entry.unwrap().path();
        std::fs::copy(&path, folder_of_copy.join(path.file_name().unwrap())).unwrap();
    }
}

/// A JSON file.
pub fn json(path: &Path) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}
