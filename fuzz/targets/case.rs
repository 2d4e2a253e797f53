//! The reader of case files: no text makes it panic or hang, and what it accepts it writes and reads back the same.
#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use tworeach::screen::CaseFile;

fuzz_target!(|text: &str| {
    if let Ok(case) = CaseFile::parse(text, Path::new("case.toml")) {
        let written = case.to_toml().expect("what came from TOML can be written as TOML");
        let read = CaseFile::parse(&written, Path::new("case.toml")).expect("what was written can be read");
        assert_eq!(read, case);
    }
});
