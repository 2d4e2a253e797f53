//! The binary: hands over to [`tworeach::cli`].

use std::process::ExitCode;

fn main() -> ExitCode {
    tworeach::cli::run()
}
