//! Wrong input to `measure` and `check`: exit code 1, one sentence with file, line and field, and nothing written.

use std::fs;

use crate::case_files::{CLEARED, CaseFiles, From, code, names, stderr, stdout, tworeach};

fn case() -> CaseFiles {
    CaseFiles::new(From::RightSide, &CLEARED)
}

/// Measuring fails with all of these words, and leaves nothing behind; checking names the same.
fn refuses(files: &CaseFiles, words: &[&str]) {
    let output = files.measure(&[]);
    assert_eq!(code(&output), 1, "{}", stdout(&output));
    let said = stderr(&output);
    for words in words {
        assert!(said.contains(words), "no {words}\nin {said}");
    }
    assert!(!files.path("out").exists(), "{:?}", files.names("out"));
    let checked = tworeach(&["check", files.path("case.toml").to_str().unwrap()]);
    assert_eq!(code(&checked), 1);
    for words in words {
        assert!(stdout(&checked).contains(words), "no {words}\nin {}", stdout(&checked));
    }
}

#[test]
fn missing_case() {
    let files = case();
    fs::remove_file(files.path("case.toml")).unwrap();
    refuses(&files, &["case.toml: cannot be read: ", "no such file"]);
}

#[test]
fn empty_case() {
    let files = case();
    files.write("case.toml", "");
    let checked = tworeach(&["check", files.path("case.toml").to_str().unwrap()]);
    assert_eq!(code(&checked), 1);
    let said = stdout(&checked);
    for field in ["schema", "client", "reach"] {
        assert!(said.contains(&format!("line 1: missing field \"{field}\" in the case")), "{said}");
    }
    assert!(stderr(&checked).contains("3 problems in"), "each once: {said}");
}

#[test]
fn missing_clip() {
    let files = case();
    fs::remove_file(files.path("before-external.png")).unwrap();
    refuses(&files, &["case.toml: line 27: cannot read ", "before-external.png"]);
}

#[test]
fn missing_marks() {
    let files = case();
    fs::remove_file(files.path("before-external.marks.json")).unwrap();
    refuses(&files, &["case.toml: line 28: before-external.marks.json cannot be read: no such file"]);
}

#[test]
fn lens_profiles_that_cannot_be_used() {
    let files = case();
    files.replace("case.toml", "[bar]", "[camera]\nprofile = \"phone.camera.json\"\n[bar]");
    let said = stderr(&files.measure(&[]));
    // named once, at the line of [camera], though four reaches share it
    assert_eq!(said.matches("phone.camera.json").count(), 2, "{said}");
    refuses(&files, &["case.toml: line 7: phone.camera.json: "]);
    let profile = r#"{ "schema": "tworeach/camera/1", "name": "x", "image_size": [640, 480], "fx": 500, "fy": 500,
        "cx": 320, "cy": 240, "distortion": [0, 0, 0, 0, 0] }"#;
    files.write("phone.camera.json", profile);
    refuses(&files, &["case.toml: line 19: phone.camera.json: ", "640x480", "1280x720"]);
    files.write("phone.camera.json", &profile.replace("\"fy\"", "\"fz\""));
    refuses(&files, &["case.toml: line 7: phone.camera.json: ", "\"fz\""]);
}

#[test]
fn not_a_video() {
    let files = case();
    files.replace("case.toml", "before-external.png", "before-external.mp4");
    files.write("before-external.mp4", "this is no video\n");
    refuses(&files, &["case.toml: line 27: ", "before-external.mp4 is "]);
}

#[test]
fn unknown_field() {
    let files = case();
    files.replace("case.toml", "rotation =", "rotaton =");
    refuses(
        &files,
        &[
            "case.toml: line 11: unknown field \"rotaton\" in [[reach]], expected one of occasion, rotation, view, ",
            "the nearest is \"rotation\"",
            "missing field \"rotation\" in [[reach]]",
        ],
    );
}

#[test]
fn unknown_mark() {
    let files = case();
    files.replace("before-internal.marks.json", "right_shoulder", "right_sholder");
    refuses(
        &files,
        &[
            "before-internal.marks.json: line 5: unknown mark \"right_sholder\" in points",
            "the nearest is \"right_shoulder\"",
        ],
    );
}

#[test]
fn mark_outside_the_picture() {
    let files = case();
    let text = files.text("before-internal.marks.json");
    let start = text.find("\"right_hip\": [").unwrap();
    let end = start + text[start..].find(']').unwrap();
    files.write("before-internal.marks.json", &format!("{}\"right_hip\": [640, 720.5{}", &text[..start], &text[end..]));
    refuses(
        &files,
        &[
            "before-internal.marks.json: line 8: mark \"right_hip\" at (640, 720.5) lies outside the picture of 1280x720 px",
        ],
    );
}

#[test]
fn numbers_that_are_not_finite() {
    let files = case();
    files.replace("case.toml", "stature_mm = 1760", "stature_mm = nan");
    refuses(&files, &["case.toml: line 5: \"stature_mm\" in [client] is NaN, expected a number from 500 to 2500 mm"]);
    let files = case();
    files.replace("before-internal.marks.json", "\"time_s\": 0", "\"time_s\": 1e999");
    refuses(&files, &["before-internal.marks.json: line 4: \"time_s\" in frames is inf"]);
    let files = case();
    files.replace("before-internal.marks.json", "\"time_s\": 0", "\"time_s\": NaN");
    refuses(&files, &["before-internal.marks.json: line 4: not valid JSON"]);
}

#[test]
fn image_size_that_does_not_match() {
    let files = case();
    files.replace("before-internal.marks.json", "[1280, 720]", "[1920, 1080]");
    refuses(
        &files,
        &[
            "before-internal.marks.json: line 2: \"image_size\" is 1920x1080, but the upright picture of before-internal.png is 1280x720",
        ],
    );
}

#[test]
fn time_past_the_end() {
    let files = case();
    files.film("before-internal", 3);
    // the last of twelve frames is shown from 2.75 s to 3 s
    files.replace("before-internal.marks.json", "\"time_s\": 0", "\"time_s\": 2.9");
    assert_eq!(code(&files.measure(&[])), 0);
    std::fs::remove_dir_all(files.path("out")).unwrap();
    files.replace("before-internal.marks.json", "\"time_s\": 2.9", "\"time_s\": 3.5");
    refuses(
        &files,
        &[
            "before-internal.marks.json: line 4: \"time_s\" is 3.5 s, past the last frame of before-internal.mp4 at 2.750 s",
        ],
    );
    let files = case();
    files.replace("before-internal.marks.json", "\"time_s\": 0", "\"time_s\": 0.5");
    refuses(&files, &["\"time_s\" is 0.5 s, but before-internal.png is a single picture: expected 0"]);
}

#[test]
fn the_same_reach_twice() {
    let files = case();
    files.replace("case.toml", "rotation = \"external\"", "rotation = \"internal\"");
    refuses(&files, &["case.toml: line 19: the same reach twice: before internal side is also at line 9"]);
}

#[test]
fn contradictory_sides() {
    let files = case();
    files.replace("case.toml", "near_side = \"right\"\n", "");
    refuses(&files, &["case.toml: line 9: missing field \"near_side\" in [[reach]]: a side view needs the side"]);
    let files = case();
    files.replace("case.toml", "near_side = \"right\"", "near_side = \"left\"");
    refuses(
        &files,
        &[
            "contradicts line 13, where the same view has near_side = \"left\"",
            "the marks of the arm are those of the right one",
        ],
    );
    // the far wrist is seen as well, and what is marked is still the right arm
    let files = case();
    let far = "\"left_wrist\": [700, 300], \"right_wrist\"";
    for name in ["before-internal", "before-external", "after-internal", "after-external"] {
        files.replace(&format!("{name}.marks.json"), "\"right_wrist\"", far);
        files.replace("case.toml", "near_side = \"right\"", "near_side = \"left\"");
    }
    refuses(
        &files,
        &["the marks of the arm are those of the right one, but the side towards the camera (near_side) is the left"],
    );
}

#[test]
fn every_problem_at_once() {
    let files = case();
    files.replace("case.toml", "pain = 0", "pain = 11");
    files.replace("case.toml", "affected_side = \"right\"", "affected_side = \"righ\"");
    files.replace("after-internal.marks.json", "\"hand\"", "\"track\"");
    fs::remove_file(files.path("before-external.png")).unwrap();
    // the client cannot be read: its reaches are read all the same
    let checked = tworeach(&["check", files.path("case.toml").to_str().unwrap()]);
    assert_eq!(code(&checked), 1);
    let said = stdout(&checked);
    for words in
        ["line 4: \"affected_side\"", "line 14: \"pain\"", "line 27: cannot read ", "a frame with source = \"track\""]
    {
        assert!(said.contains(words), "no {words}\nin {said}");
    }
    assert!(stderr(&checked).contains("4 problems in"), "{}", stderr(&checked));
}

#[test]
fn existing_output_is_not_overwritten_without_force() {
    let files = case();
    fs::create_dir(files.path("out")).unwrap();
    files.write("out/report.pdf", "precious");
    let output = files.measure(&[]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("report.pdf exists already"), "{}", stderr(&output));
    assert!(stderr(&output).contains("--force"), "{}", stderr(&output));
    assert_eq!(files.text("out/report.pdf"), "precious");
    assert_eq!(files.names("out"), ["report.pdf"]);
    let output = files.measure(&["--force"]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    assert_ne!(fs::read(files.path("out/report.pdf")).unwrap(), b"precious");
    assert!(!files.names("out").iter().any(|name| name.starts_with('.')), "{:?}", files.names("out"));
}

#[test]
fn output_that_cannot_be_written() {
    let files = case();
    files.write("out", "a file where the directory should be");
    let output = files.measure(&[]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("out is a file, expected a directory"), "{}", stderr(&output));
    let output = tworeach(&["measure", files.path("case.toml").to_str().unwrap(), "--out", "/proc/no-such-place"]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("cannot make directory /proc/no-such-place"), "{}", stderr(&output));
}

#[test]
fn a_name_taken_by_a_directory_leaves_nothing_half_written() {
    let files = case();
    fs::create_dir_all(files.path("out/report.html")).unwrap();
    let output = files.measure(&["--force"]);
    assert_eq!(code(&output), 1);
    assert!(stderr(&output).contains("report.html is a directory"), "{}", stderr(&output));
    assert_eq!(names(&files.path("out")), ["report.html"]);
}

/// What is in the place of a clip, and what is said of it.
#[test]
fn clips_that_are_none() {
    let files = case();
    let clip = files.path("before-external.png");
    let replaced = |make: &dyn Fn(&std::path::Path)| {
        let _ = fs::remove_file(&clip);
        make(&clip);
    };
    replaced(&|clip| fs::write(clip, "").unwrap());
    refuses(&files, &["case.toml: line 27: ", "before-external.png is empty"]);
    replaced(&|clip| fs::write(clip, [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, 0, 0]).unwrap());
    refuses(&files, &["case.toml: line 27: ", "before-external.png"]);
    replaced(&|clip| fs::create_dir(clip).unwrap());
    refuses(&files, &["case.toml: line 27: ", "before-external.png is not a file but a directory"]);
}

#[cfg(unix)]
#[test]
fn links_that_lead_in_a_circle() {
    let files = case();
    for name in ["before-external.png", "before-internal.marks.json"] {
        fs::remove_file(files.path(name)).unwrap();
        std::os::unix::fs::symlink(files.path("other"), files.path(name)).unwrap();
        let _ = fs::remove_file(files.path("other"));
        std::os::unix::fs::symlink(files.path(name), files.path("other")).unwrap();
    }
    refuses(&files, &["before-internal.marks.json cannot be read: ", "levels of symbolic links"]);
}

#[cfg(unix)]
#[test]
fn files_that_may_not_be_read() {
    use std::os::unix::fs::PermissionsExt as _;
    let files = case();
    let marks = files.path("before-internal.marks.json");
    fs::set_permissions(&marks, fs::Permissions::from_mode(0o000)).unwrap();
    if fs::File::open(&marks).is_ok() {
        println!("skipped: this user may read every file");
        return;
    }
    refuses(&files, &["before-internal.marks.json: cannot be read: permission denied"]);
}

#[cfg(unix)]
#[test]
fn a_disk_that_fills_up_leaves_nothing_half_written() {
    let files = case();
    // a limit of the size of files stands in for a full disk: writing fails in the middle of the report
    let script = format!(
        "trap '' XFSZ; ulimit -f 16; exec '{}' measure '{}' --out '{}'",
        env!("CARGO_BIN_EXE_tworeach"),
        files.path("case.toml").display(),
        files.path("out").display()
    );
    let output = std::process::Command::new("bash").args(["-c", &script]).output().unwrap();
    assert_eq!(code(&output), 1, "{}", stdout(&output));
    assert!(stderr(&output).contains("cannot write "), "{}", stderr(&output));
    assert!(!files.path("out").exists(), "{:?}", files.names("out"));
    // beside older results, these stay as they were
    fs::create_dir(files.path("out")).unwrap();
    files.write("out/result.json", "older");
    let script = script + " --force";
    let output = std::process::Command::new("bash").args(["-c", &script]).output().unwrap();
    assert_eq!(code(&output), 1, "{}", stdout(&output));
    assert_eq!(files.names("out"), ["result.json"]);
    assert_eq!(files.text("out/result.json"), "older");
}

#[test]
fn wrong_usage_exits_with_2() {
    for arguments in
        [&["measure"][..], &["measure", "case.toml"], &["measure", "a", "--oot", "b"], &["schema", "cases"], &[]]
    {
        let output = tworeach(arguments);
        assert_eq!(code(&output), 2, "{arguments:?}");
    }
}

#[test]
fn hostile_texts_are_refused_in_a_sentence() {
    let files = case();
    for text in ["", "\u{0}\u{1}", "[[[[[[[[", "schema = ", "reach = 3", "[reach]\n", "client = 1\nreach = [1, 2]\n"] {
        files.write("case.toml", text);
        let output = files.measure(&[]);
        assert_eq!(code(&output), 1, "{text}");
        assert!(stderr(&output).contains("case.toml: "), "{text}: {}", stderr(&output));
    }
    fs::write(files.path("case.toml"), [0xff, 0xfe, 0x00]).unwrap();
    refuses(&files, &["case.toml: cannot be read: not utf-8 text at byte 0"]);
    fs::remove_file(files.path("case.toml")).unwrap();
    fs::create_dir(files.path("case.toml")).unwrap();
    refuses(&files, &["case.toml: cannot be read: is a directory"]);
}

#[test]
fn one_marks_file_for_two_reaches_is_refused() {
    let files = case();
    let text = files.text("case.toml");
    files.write("case.toml", &text.replace("before-external.marks.json", "before-internal.marks.json"));
    refuses(&files, &["before-internal.marks.json holds the marks of the reach at line", "already"]);
}

#[test]
#[cfg(unix)]
fn a_pipe_in_place_of_a_file_is_refused_and_not_waited_for() {
    let files = case();
    let pipe = files.path("pipe.toml");
    assert!(std::process::Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let output = std::process::Command::new("timeout")
        .args(["20", env!("CARGO_BIN_EXE_tworeach"), "check"])
        .arg(&pipe)
        .output()
        .unwrap();
    assert_eq!(code(&output), 1, "{}", stderr(&output));
    let said = stdout(&output) + &stderr(&output);
    assert!(said.contains("pipe.toml: cannot be read: neither a file nor a folder"), "{said}");
}

#[test]
fn one_picture_is_not_two_reaches() {
    let files = case();
    fs::copy(files.path("before-internal.png"), files.path("before-external.png")).unwrap();
    let measured = files.measure(&[]);
    assert_eq!(code(&measured), 1);
    let said = stderr(&measured);
    assert!(said.contains("line 27: before-external.png shows the very picture of before-internal.png"), "{said}");
    assert!(!files.path("out").exists());

    // nor is one raise, at two of its frames, whatever the clip is called
    let files = case();
    files.film("before-internal", 8);
    fs::copy(files.path("before-internal.mp4"), files.path("before-external.mp4")).unwrap();
    files.replace("case.toml", "before-external.png", "before-external.mp4");
    let at = |time_s: &str| {
        let path = "before-external.marks.json";
        fs::write(files.path(path), files.text("before-internal.marks.json").replace("\"time_s\": 0", time_s)).unwrap();
        let checked = tworeach(&["check", files.path("case.toml").to_str().unwrap()]);
        (code(&checked), stdout(&checked))
    };
    let (code, said) = at("\"time_s\": 0.75");
    assert_eq!(code, 1);
    assert!(
        said.contains("before-external.mp4 at 0.75 s shows the very raise of before-internal.mp4 at 0.00 s"),
        "{said}"
    );
    // raises lie further apart than 1.5 s
    assert!(!at("\"time_s\": 5").1.contains("the very raise"));
}
