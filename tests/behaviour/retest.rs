//! The retest: the external reach after the stretch against the one before.

use tworeach::screen::{Call, RetestOutcome};

use crate::case_files::{CLEARED, CaseFiles, From, Reach, code, stderr, stdout};

#[test]
fn a_positive_screen_that_comes_up_is_cleared() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let result = files.result();
    let calls: Vec<Call> = result.comparisons.iter().map(|comparison| comparison.call).collect();
    assert_eq!(calls, [Call::Positive, Call::Negative]);
    let retest = result.retest.unwrap();
    assert_eq!((retest.outcome, retest.cleared), (RetestOutcome::Improved, Some(true)));
    // 153 - 142, and (153 - 152) - (142 - 152)
    assert!((retest.change_elevation_deg.unwrap().value - 11.0).abs() < 1.0, "{retest:?}");
    assert!((retest.change_difference_deg.unwrap().value - 11.0).abs() < 1.0, "{retest:?}");
    assert!(stdout(&output).contains("Retest: improved, cleared"), "{}", stdout(&output));
}

#[test]
fn only_before_has_a_call_and_no_retest() {
    let files = CaseFiles::new(From::RightSide, &CLEARED[..2]);
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let result = files.result();
    assert_eq!(result.comparisons.len(), 1);
    assert_eq!(result.comparisons[0].call, Call::Positive);
    assert!(result.retest.is_none());
    assert!(!stdout(&output).contains("Retest"), "{}", stdout(&output));
}

#[test]
fn a_chart_of_an_earlier_retest_does_not_stay_beside_a_result_without_one() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    assert_eq!(code(&files.measure(&[])), 0);
    assert!(files.path("out/retest-delta.svg").exists(), "{:?}", files.names("out"));
    let case = files.text("case.toml");
    let before: Vec<&str> = case.split("[[reach]]").take(3).collect();
    files.write("case.toml", &before.join("[[reach]]"));
    files.write("out/notes.txt", "mine");
    assert_eq!(code(&files.measure(&["--force"])), 0);
    assert!(files.result().retest.is_none());
    assert!(!files.path("out/retest-delta.svg").exists(), "{:?}", files.names("out"));
    assert_eq!(files.text("out/notes.txt"), "mine");
}

#[test]
fn pain_after_the_stretch_breaks_the_retest_and_never_the_exit_code() {
    let files = CaseFiles::new(From::RightSide, &CLEARED);
    let case = files.text("case.toml");
    let (rest, last) = case.rsplit_once("limited_by = \"stretch\"").unwrap();
    files.write("case.toml", &format!("{rest}limited_by = \"pain\"{last}"));
    let output = files.measure(&[]);
    assert_eq!(code(&output), 0, "{}", stderr(&output));
    let result = files.result();
    assert_eq!(result.comparisons[1].call, Call::NotComparable);
    let retest = result.retest.unwrap();
    assert_eq!((retest.outcome, retest.cleared), (RetestOutcome::NotComparable, Some(false)));
    assert!(retest.reason.contains("Pain ended this reach"), "{}", retest.reason);
}

#[test]
fn a_reach_that_stays_is_not_called_improved() {
    let stays = [
        Reach { occasion: "before", rotation: "internal", elevation_deg: 150.0 },
        Reach { occasion: "before", rotation: "external", elevation_deg: 140.0 },
        Reach { occasion: "after", rotation: "internal", elevation_deg: 150.0 },
        Reach { occasion: "after", rotation: "external", elevation_deg: 140.0 },
    ];
    let files = CaseFiles::new(From::RightSide, &stays);
    assert_eq!(code(&files.measure(&[])), 0);
    let retest = files.result().retest.unwrap();
    assert!(matches!(retest.outcome, RetestOutcome::Unchanged | RetestOutcome::Inconclusive), "{retest:?}");
    assert_eq!(retest.cleared, Some(false));
}
