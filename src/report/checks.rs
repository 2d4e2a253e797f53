//! The checks: who passed what, and what to do about those that are not in order.

use crate::report::content::{Cell, Finding, Row, Table};
use crate::report::tables::{reach_head, reaches_by_view};
use crate::report::wording::{
    Unit, capitalized, fixed, listed, occasion_word, rotation_word, side_word, status_words, view_word,
};
use crate::screen::{Check, CheckStatus, Comparison, ReachResult, VisitResult};

/// How a check is named in words, the unit of its value and limit, and what to do about it.
struct Words {
    name: &'static str,
    title: &'static str,
    unit: Unit,
    /// When it fails or is near its limit.
    mend: &'static str,
    /// When the marks do not determine it.
    determine: &'static str,
}

/// The checks of the format, in its order.
const WORDS: [Words; 11] = [
    Words {
        name: "elbow_straight",
        title: "Elbow straight",
        unit: Unit::Degree,
        mend: "Film this reach again with the elbow straight, even if the bar then stays lower.",
        determine: "Mark shoulder, elbow and wrist of the arm towards the camera.",
    },
    Words {
        name: "bar_level",
        title: "Bar level",
        unit: Unit::Degree,
        mend: "Raise both hands to the same height before the hold.",
        determine: "Mark both ends of the bar in a front or oblique view.",
    },
    Words {
        name: "view_as_stated",
        title: "View as stated",
        unit: Unit::One,
        mend: "Compare the side and the mirroring stated in the case file with the picture, and measure again.",
        determine: "Mark the near arm, the hip and the face, so that the side can be told.",
    },
    Words {
        name: "marks_agree",
        title: "Marks agree",
        unit: Unit::Pixel,
        mend: "Look at the mark that is named, place it again and measure again.",
        determine: "Place more marks, so that one can be judged by the others.",
    },
    Words {
        name: "pain_free",
        title: "Free of pain",
        unit: Unit::One,
        mend: "Stop here. A reach that pain ends says nothing of muscle length; have the shoulder examined first.",
        determine: "Ask what ended the reach, and enter it in the case file.",
    },
    Words {
        name: "back_flat",
        title: "Back flat",
        unit: Unit::One,
        mend: "Film again with low back and ribs staying down against the wall.",
        determine: "Watch low back and ribs during the reach, and enter in the case file whether they stayed down.",
    },
    Words {
        name: "held",
        title: "Held at the top",
        unit: Unit::One,
        mend: "Raise slowly and hold still at the top.",
        determine: "Film a clip with the hold in it; a still cannot show one.",
    },
    Words {
        name: "same_grip",
        title: "Same grip",
        unit: Unit::Percent,
        mend: "Mark the grip on the bar with tape and film the pair again.",
        determine: "Mark both wrists, or tape the grips and say so in the case file.",
    },
    Words {
        name: "trunk_still",
        title: "Trunk still",
        unit: Unit::Degree,
        mend: "Sit with the back in the same place for both reaches and film the pair again.",
        determine: "Mark shoulder and hip in a side view.",
    },
    Words {
        name: "camera_unmoved",
        title: "Camera unmoved",
        unit: Unit::Pixel,
        mend: "Put the phone on a stand and leave it alone between reaches. Until then, heights above the datum cannot be \
               compared.",
        determine: "Mark the plumb line and the datum in both reaches.",
    },
    Words {
        name: "same_person_and_bar",
        title: "Same person and bar",
        unit: Unit::Percent,
        mend: "Make sure that all clips are of this client with this bar, and that the marks are on the same places.",
        determine: "Mark the same places in both reaches.",
    },
];

/// The sentence for reaches of a single raise.
const SINGLE_RAISE_TEXT: &str =
    "The interval covers the measurement alone, not how this client varies from raise to raise.";
const SINGLE_RAISE_ADVICE: &str = "Film three raises of each reach.";
/// Stands for the list of all reaches.
const EVERY_REACH: &str = "every reach";
/// Ends the words of a pair.
const PAIR: &str = "pair";
/// The words of the retest.
const RETEST: &str = "retest";
/// Bases of a result in the format's words.
const SINGLE_RAISE: &str = "single_raise";
const VERTICAL: &str = "vertical";

/// A column of the table of checks: its head and the checks in it.
struct Place<'a> {
    head: [String; 2],
    /// In a sentence.
    words: String,
    checks: &'a [Check],
}

/// Tables of checks: of the reaches of each view, and of the pairs.
pub(crate) fn tables(result: &VisitResult) -> Vec<Table> {
    let views = reaches_by_view(result);
    let mut tables: Vec<Table> = views
        .iter()
        .filter_map(|(view, indices)| {
            let places: Vec<Place> = indices.iter().map(|&index| reach_place(&result.reaches[index], false)).collect();
            let caption = if views.len() > 1 {
                format!("Checks of each reach: {} view", view_word(*view))
            } else {
                "Checks of each reach".to_owned()
            };
            table(caption, &places)
        })
        .collect();
    tables.extend(table("Checks between reaches".to_owned(), &pair_places(result)));
    tables
}

/// What is not in order, worst first, with what to do.
pub(crate) fn findings(result: &VisitResult) -> Vec<Finding> {
    let has_many_views = reaches_by_view(result).len() > 1;
    let mut places: Vec<Place> = reaches_by_view(result)
        .iter()
        .flat_map(|(_, indices)| indices)
        .map(|&index| reach_place(&result.reaches[index], has_many_views))
        .collect();
    places.extend(pair_places(result));
    let mut findings = Vec::new();
    for status in [CheckStatus::Fail, CheckStatus::Warn, CheckStatus::Unknown] {
        let mut groups: Vec<(&Check, Vec<String>)> = Vec::new();
        for place in &places {
            for check in place.checks.iter().filter(|check| check.status == status) {
                match groups.iter_mut().find(|(first, _)| first.name == check.name && first.text == check.text) {
                    Some((_, words)) => words.push(place.words.clone()),
                    None => groups.push((check, vec![place.words.clone()])),
                }
            }
        }
        findings.extend(groups.into_iter().map(|(check, words)| Finding {
            status: status_words(status),
            is_failed: status == CheckStatus::Fail,
            title: title(&check.name),
            places: if is_every_reach(&words, result) { EVERY_REACH.to_owned() } else { listed(&words) },
            text: check.text.clone(),
            advice: advice(check),
        }));
    }
    findings.extend(of_basis(result));
    findings
}

/// The same number of places as reaches, none of them a pair.
fn is_every_reach(words: &[String], result: &VisitResult) -> bool {
    words.len() > 1
        && words.len() == result.reaches.len()
        && words.iter().all(|words| !words.ends_with(PAIR) && words != RETEST)
}

fn of_basis(result: &VisitResult) -> Vec<Finding> {
    let mut findings = Vec::new();
    let single: Vec<String> = result
        .reaches
        .iter()
        .filter(|reach| reach.basis.iter().any(|basis| basis == SINGLE_RAISE))
        .map(|reach| reach_words(reach, false))
        .collect();
    if !single.is_empty() {
        let is_every = single.len() == result.reaches.len();
        findings.push(Finding {
            status: "· note",
            is_failed: false,
            title: "Single raise".to_owned(),
            places: if is_every { EVERY_REACH.to_owned() } else { listed(&single) },
            text: SINGLE_RAISE_TEXT.to_owned(),
            advice: SINGLE_RAISE_ADVICE,
        });
    }
    let vertical: Vec<String> = result
        .comparisons
        .iter()
        .filter(|comparison| comparison.basis.iter().any(|basis| basis == VERTICAL))
        .map(pair_words)
        .collect();
    if !vertical.is_empty() {
        findings.push(Finding {
            status: "· note",
            is_failed: false,
            title: "Angle from the plumb line".to_owned(),
            places: listed(&vertical),
            text: "The trunk is not determined, so the angle from the plumb line stands in for the elevation, and the \
                   interval is wider by what a trunk may move."
                .to_owned(),
            advice: "Film from the side to measure from the trunk.",
        });
    }
    findings
}

fn table(caption: String, places: &[Place]) -> Option<Table> {
    let mut names: Vec<&str> = Vec::new();
    for check in places.iter().flat_map(|place| place.checks) {
        if !names.contains(&check.name.as_str()) {
            names.push(&check.name);
        }
    }
    names.sort_by_key(|name| WORDS.iter().position(|words| words.name == *name).unwrap_or(WORDS.len()));
    let is_plainly_ok = |name: &&str| {
        let mut checks = places.iter().flat_map(|place| place.checks).filter(|check| check.name == **name);
        checks.all(|check| check.status == CheckStatus::Ok && (check.value.is_none() || unit(&check.name) == Unit::One))
    };
    let (plain, names): (Vec<&str>, Vec<&str>) = names.into_iter().partition(|name| is_plainly_ok(name));
    let plain: Vec<String> = plain.into_iter().map(|name| title(name).to_lowercase()).collect();
    let rows: Vec<Row> = names
        .into_iter()
        .map(|name| {
            let cells: Vec<Cell> = places
                .iter()
                .map(|place| place.checks.iter().find(|check| check.name == name).map_or_else(Cell::nothing, cell))
                .collect();
            let limit = places
                .iter()
                .flat_map(|place| place.checks)
                .find_map(|check| (check.name == name).then_some(check.limit).flatten());
            let note = limit.map_or_else(String::new, |limit| {
                let unit = unit(name);
                format!("limit {}{}", shortest(limit), unit.suffix())
            });
            Row { head: title(name), note, cells }
        })
        .collect();
    let footnote = (!plain.is_empty()).then(|| format!("In order throughout: {}.", listed(&plain)));
    (!rows.is_empty() || footnote.is_some()).then(|| Table {
        caption,
        corner: "Check",
        columns: places.iter().map(|place| place.head.clone()).collect(),
        rows,
        footnote,
    })
}

fn cell(check: &Check) -> Cell {
    let unit = unit(&check.name);
    Cell {
        main: status_words(check.status).to_owned(),
        sub: check
            .value
            .filter(|_| unit != Unit::One)
            .map_or_else(String::new, |value| format!("{}{}", fixed(value, unit.decimals(check.u)), unit.suffix())),
        is_strong: check.status == CheckStatus::Fail,
    }
}

fn reach_place(reach: &ReachResult, with_view: bool) -> Place<'_> {
    Place { head: reach_head(reach), words: reach_words(reach, with_view), checks: &reach.checks }
}

fn reach_words(reach: &ReachResult, with_view: bool) -> String {
    let words = format!("{} {}", occasion_word(reach.occasion).to_lowercase(), rotation_word(reach.rotation));
    if with_view { format!("{words} ({} view)", view_word(reach.view)) } else { words }
}

fn pair_places(result: &VisitResult) -> Vec<Place<'_>> {
    let has_many_sides = result.comparisons.windows(2).any(|pair| pair[0].side != pair[1].side);
    let mut places: Vec<Place> = result
        .comparisons
        .iter()
        .filter(|comparison| !comparison.checks.is_empty())
        .map(|comparison| Place {
            head: [
                occasion_word(comparison.occasion).to_owned(),
                if has_many_sides { side_word(comparison.side).to_owned() } else { "the pair".to_owned() },
            ],
            words: pair_words(comparison),
            checks: &comparison.checks,
        })
        .collect();
    if let Some(retest) = result.retest.as_ref().filter(|retest| !retest.checks.is_empty()) {
        places.push(Place {
            head: ["Retest".to_owned(), "the change".to_owned()],
            words: RETEST.to_owned(),
            checks: &retest.checks,
        });
    }
    places
}

fn pair_words(comparison: &Comparison) -> String {
    format!("{} {PAIR}", occasion_word(comparison.occasion).to_lowercase())
}

fn words(name: &str) -> Option<&'static Words> {
    WORDS.iter().find(|words| words.name == name)
}

fn title(name: &str) -> String {
    words(name).map_or_else(|| capitalized(&name.replace('_', " ")), |words| words.title.to_owned())
}

fn unit(name: &str) -> Unit {
    words(name).map_or(Unit::One, |words| words.unit)
}

fn advice(check: &Check) -> &'static str {
    match (words(&check.name), check.status) {
        (None, _) | (_, CheckStatus::Ok) => "",
        (Some(words), CheckStatus::Unknown) => words.determine,
        (Some(words), CheckStatus::Warn | CheckStatus::Fail) => words.mend,
    }
}

/// A limit as it was set: without decimals that say nothing.
fn shortest(limit: f64) -> String {
    fixed(limit, usize::from((limit - limit.round()).abs() > 1e-9))
}
