//! The reader of marks files: no text makes it panic or hang, and what it accepts it writes and reads back the same.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use tworeach::screen::MarksFile;

fuzz_target!(|text: &str| {
    if let Ok(marks) = MarksFile::parse(text, Path::new("a.marks.json")) {
        let written = marks.to_json();
        let read = MarksFile::parse(&written, Path::new("a.marks.json")).expect("what was written can be read");
        assert_eq!(read, marks);
    }
});
