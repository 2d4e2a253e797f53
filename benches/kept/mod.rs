//! Rendered frames kept on disk, so that a change of what looks at them can be tried without rendering again.
//!
//! They are kept under a key of everything that makes them: the bench's own source that films them, the rooms that draw them, the
//! crates' versions, seed and number. A change of any of these renders anew.

use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use image::{GrayImage, ImageFormat};
use sha2::{Digest as _, Sha256};

/// What makes the frames of every bench, in the crate's folder.
const SOURCES: [&str; 3] = ["src/demo", "src/geometry", "Cargo.lock"];

/// A folder of kept frames.
pub struct KeptFrames {
    folder: PathBuf,
    /// Of the sources.
    key: Sha256,
}

impl KeptFrames {
    /// A folder of this name in the target's own, for frames that the source `filming` makes with the rooms that draw.
    pub fn open(name: &str, filming: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        fs::create_dir_all(&folder).expect("the target's folder can be written");
        let mut key = Sha256::new();
        for source in SOURCES.into_iter().chain([filming]) {
            add(&Path::new(env!("CARGO_MANIFEST_DIR")).join(source), &mut key);
        }
        Self { folder, key }
    }

    /// The frames of a clip or visit, as they were kept, or rendered and kept.
    pub fn frames(
        &self,
        case: &str,
        seed: u64,
        number: u64,
        render: impl FnOnce() -> Vec<GrayImage>,
    ) -> Vec<GrayImage> {
        let mut key = self.key.clone();
        key.update(case);
        key.update(seed.to_le_bytes());
        key.update(number.to_le_bytes());
        let name: String = key.finalize().iter().take(12).map(|byte| format!("{byte:02x}")).collect();
        let path = self.folder.join(format!("{case}-{seed}-{number}-{name}"));
        if let Ok(bytes) = fs::read(&path) {
            return parsed(&bytes);
        }
        let frames = render();
        let mut bytes = Vec::new();
        for frame in &frames {
            let mut png = Cursor::new(Vec::new());
            frame.write_to(&mut png, ImageFormat::Png).expect("a grey picture can be written as PNG");
            let png = png.into_inner();
            bytes.extend((png.len() as u64).to_le_bytes());
            bytes.extend(png);
        }
        // under another name first: what is there is whole
        let unfinished = path.with_extension(std::process::id().to_string());
        fs::write(&unfinished, bytes).and_then(|()| fs::rename(&unfinished, &path)).expect("there is room on the disk");
        frames
    }
}

/// Pictures as PNG, each behind its length in 8 bytes.
fn parsed(mut bytes: &[u8]) -> Vec<GrayImage> {
    let mut frames = Vec::new();
    while let Some((length, rest)) = bytes.split_first_chunk::<8>() {
        let length = usize::try_from(u64::from_le_bytes(*length)).expect("a picture fits memory");
        let (png, rest) = rest.split_at(length);
        frames.push(image::load_from_memory_with_format(png, ImageFormat::Png).expect("as written").into_luma8());
        bytes = rest;
    }
    frames
}

/// Adds a file, or all files of a folder in the order of their names.
fn add(path: &Path, key: &mut Sha256) {
    if path.is_dir() {
        let entries = fs::read_dir(path).expect("the sources are there");
        let mut paths: Vec<PathBuf> = entries.map(|entry| entry.expect("can be read").path()).collect();
        paths.sort();
        paths.iter().for_each(|path| add(path, key));
    } else {
        let text = fs::read(path).expect("the sources are there");
        key.update((text.len() as u64).to_le_bytes());
        key.update(text);
    }
}
