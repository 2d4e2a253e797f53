//! The command line itself: help, completions, manual pages, colours, closed pipes.

use std::io::Read as _;
use std::process::{Command, Stdio};

use crate::case_files::{CLEARED, CaseFiles, From, code, stderr, stdout, tworeach};

#[test]
fn every_command_has_help_with_examples() {
    let help = stdout(&tworeach(&["--help"]));
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .collect();
    assert!(commands.contains(&"measure") && commands.contains(&"check"), "{commands:?}");
    assert!(help.contains("Examples:"), "{help}");
    for command in commands {
        let output = tworeach(&[command, "--help"]);
        assert_eq!(code(&output), 0, "{command}");
        assert!(stdout(&output).contains("Example"), "{command} has no example\n{}", stdout(&output));
    }
}

#[test]
fn completions_and_manual_pages_name_every_command() {
    for shell in ["bash", "zsh", "fish"] {
        let output = tworeach(&["completions", shell]);
        assert_eq!(code(&output), 0);
        for word in ["measure", "check", "letter"] {
            assert!(stdout(&output).contains(word), "{shell}: no {word}");
        }
    }
    let page = stdout(&tworeach(&["man"]));
    assert!(page.contains(".TH tworeach 1"), "{page}");
    assert!(page.contains("tworeach\\-measure(1)"), "{page}");
    let files = CaseFiles::new(From::RightSide, &CLEARED[..1]);
    let folder = files.path("man");
    assert_eq!(code(&tworeach(&["man", "--out", folder.to_str().unwrap()])), 0);
    let names = files.names("man");
    assert!(names.contains(&"tworeach.1".to_owned()) && names.contains(&"tworeach-measure.1".to_owned()), "{names:?}");
}

#[test]
fn completions_are_valid_bash() {
    let script = stdout(&tworeach(&["completions", "bash"]));
    let checked = Command::new("bash").args(["-n", "-c", &script]).output().unwrap();
    assert!(checked.status.success(), "{}", stderr(&checked));
}

#[test]
fn problems_are_given_as_json_too() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    files.replace("case.toml", "pain = 0", "pain = 11");
    let output = tworeach(&["check", "--json", files.path("case.toml").to_str().unwrap()]);
    assert_eq!(code(&output), 1);
    let check: serde_json::Value = serde_json::from_str(&stdout(&output)).unwrap();
    let problems = &check["problems"];
    assert_eq!((&problems[0]["line"], &check["warnings"]), (&serde_json::json!(14), &serde_json::json!([])));
    assert!(problems[0]["text"].as_str().unwrap().starts_with("\"pain\" in [[reach]] is 11"), "{problems}");
}

#[cfg(unix)]
#[test]
fn a_reader_that_has_enough_ends_it_quietly() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_tworeach"))
        .args(["completions", "bash"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let status = child.wait().unwrap();
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    assert_eq!((status.code(), said.as_str()), (Some(0), ""));
}

/// Runs the binary on a terminal of its own, as `script` of util-linux makes one; `None` where there is no `script`.
fn on_a_terminal(command: &str) -> Option<String> {
    let output = Command::new("script").args(["-qec", command, "/dev/null"]).stdin(Stdio::null()).output().ok()?;
    Some(String::from_utf8_lossy(&output.stdout).into_owned())
}

#[cfg(unix)]
#[test]
fn colours_are_for_terminals_and_can_be_turned_off() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let measure = format!(
        "'{}' measure '{}' --out '{}' --force",
        env!("CARGO_BIN_EXE_tworeach"),
        files.path("case.toml").display(),
        files.path("out").display()
    );
    let Some(said) = on_a_terminal(&format!("env -u NO_COLOR {measure}")) else {
        println!("skipped: no script command");
        return;
    };
    assert!(said.contains("\u{1b}[1mpositive (fail)\u{1b}[0m"), "{said}");
    let said = on_a_terminal(&format!("env NO_COLOR=1 {measure}")).unwrap();
    assert!(said.contains("positive (fail)") && !said.contains("\u{1b}[1m"), "{said}");
}
