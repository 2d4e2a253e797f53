//! The checks: who passed what, and what to do about those that are not in order.

use crate::report::content::{Cell, Finding, Row, Table};
use crate::report::tables::reaches_by_view;
use crate::report::wording::{
    Unit, fixed, listed, occasion_word, rotation_word, status_sign, status_words, typeset, view_word,
};
use crate::screen::words::PERCENT_MAX;
use crate::screen::words::capitalized;
use crate::screen::{Check, CheckStatus, Comparison, ReachResult, VisitResult};

/// How a check is named in words, the unit of its value and limit, and what to do where it is not determined. What to do
/// about a failed check stands in its own sentence already.
struct Words {
    name: &'static str,
    title: &'static str,
    unit: Unit,
    determine: &'static str,
}

/// The checks of the format, in its order.
const WORDS: [Words; 12] = [
    Words {
        name: "elbow_straight",
        title: "Elbow straight",
        unit: Unit::Degree,
        determine: "Mark shoulder, elbow and wrist of the arm towards the camera.",
    },
    Words {
        name: "bar_level",
        title: "Bar level",
        unit: Unit::Degree,
        determine: "To check it, film from the front or obliquely and mark both ends of the bar.",
    },
    Words { name: "view_as_stated", title: "View as stated", unit: Unit::One, determine: "" },
    Words { name: "marks_agree", title: "Marks agree", unit: Unit::Pixel, determine: "Place more marks." },
    Words { name: "pain_free", title: "Free of pain", unit: Unit::OfTen, determine: "" },
    Words { name: "back_flat", title: "Back flat", unit: Unit::One, determine: "" },
    Words {
        name: "held",
        title: "Held at the top",
        unit: Unit::Degree,
        determine: "To check it, film a clip and let the marks be followed through the hold.",
    },
    Words { name: "same_grip", title: "Same grip", unit: Unit::Percent, determine: "" },
    Words {
        name: "trunk_still",
        title: "Trunk still",
        unit: Unit::Degree,
        determine: "Mark shoulder and hip in a side view.",
    },
    Words {
        name: "camera_unmoved",
        title: "Camera unmoved",
        unit: Unit::Pixel,
        determine: "Mark the plumb line, and if there is one the datum, in every reach.",
    },
    Words {
        name: "same_person_and_bar",
        title: "Same person and bar",
        unit: Unit::Percent,
        determine: "Mark the same places in both reaches.",
    },
    Words { name: "two_takes", title: "Two takes", unit: Unit::One, determine: "" },
];

/// A basis of the result's numbers that a reader should know of.
struct Basis {
    name: &'static str,
    title: &'static str,
    text: &'static str,
    advice: &'static str,
}

/// The bases of the format.
const BASES: [Basis; 5] = [
    Basis {
        name: "single_raise",
        title: "Single raise",
        text: "The interval covers the measurement alone, not how this client varies from raise to raise.",
        advice: "Film three raises of each reach.",
    },
    Basis {
        name: "spread_from_other_reaches",
        title: "Spread from other reaches",
        text: "How this client varies from raise to raise was seen in the other reaches of this visit.",
        advice: "Film three raises of each reach.",
    },
    Basis {
        name: "vertical",
        title: "Angle from the plumb line",
        text: "The trunk is not determined, so the angle from the plumb line stands in for the elevation, and the interval \
               is wider by what a trunk may move.",
        advice: "Film from the side to measure from the trunk.",
    },
    Basis {
        name: "other_side",
        title: "Other side",
        text: "The camera saw the side without complaint.",
        advice: "Film the screened side too.",
    },
    Basis {
        name: "bar_height_mid_hip",
        title: "Bar height above the hips",
        text: "The datum cannot be compared between the two reaches, so the difference of bar heights is above mid-hip.",
        advice: "",
    },
];

/// Stands for the list of all reaches.
const EVERY_REACH: &str = "every reach";
/// Ends the words of a pair.
const PAIR: &str = "pair";
/// The words of the retest.
const RETEST: &str = "retest";
/// A column of the table of checks: its head and the checks in it.
struct Place<'a> {
    head: [String; 2],
    /// In a sentence.
    words: String,
    checks: &'a [Check],
}

/// No table has more columns of checks than this; beyond it, every view and the pairs get a table of their own.
const COLUMNS_MAX: usize = 8;
/// What the signs of the cells mean.
const SIGNS: &str = "✓ in order, △ in doubt, ✗ failed, ? not determined";

/// Tables of checks: one of all reaches and pairs where they have room side by side.
pub(crate) fn tables(result: &VisitResult) -> Vec<Table> {
    let views = reaches_by_view(result);
    let places_of = |indices: &[usize]| -> Vec<Place> {
        indices.iter().map(|&index| reach_place(&result.reaches[index], false)).collect()
    };
    let of_pairs = pair_places(result);
    let all: Vec<usize> = views.iter().flat_map(|(_, indices)| indices.clone()).collect();
    if views.len() <= 1 && all.len() + of_pairs.len() <= COLUMNS_MAX {
        let mut places = places_of(&all);
        places.extend(of_pairs);
        return table(SIGNS.to_owned(), &places).into_iter().collect();
    }
    let of_views = views.iter().filter_map(|(view, indices)| {
        table(format!("{} view: {SIGNS}", capitalized(view_word(*view))), &places_of(indices))
    });
    of_views.chain(table(format!("Between reaches: {SIGNS}"), &of_pairs)).collect()
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
                    Some((_, words)) if words.contains(&place.words) => {}
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
            text: typeset(&check.text),
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
    BASES
        .iter()
        .filter_map(|basis| {
            let has = |found: &[String]| found.iter().any(|found| found == basis.name);
            let reaches: Vec<String> = result
                .reaches
                .iter()
                .filter(|reach| has(&reach.basis))
                .map(|reach| reach_words(reach, false))
                .collect();
            let mut words = if reaches.len() == result.reaches.len() && reaches.len() > 1 {
                vec![EVERY_REACH.to_owned()]
            } else {
                reaches
            };
            if words.is_empty() {
                words = result.comparisons.iter().filter(|pair| has(&pair.basis)).map(pair_words).collect();
            }
            words.dedup();
            (!words.is_empty()).then(|| Finding {
                status: "· note",
                is_failed: false,
                title: basis.title.to_owned(),
                places: listed(&words),
                text: basis.text.to_owned(),
                advice: basis.advice,
            })
        })
        .collect()
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
            let of_name: Vec<Option<&Check>> =
                places.iter().map(|place| place.checks.iter().find(|check| check.name == name)).collect();
            // one row, one number of decimals: that of the least certain
            let u = of_name.iter().flatten().filter_map(|check| check.u).max_by(f64::total_cmp);
            let cells: Vec<Cell> =
                of_name.iter().map(|check| check.map_or_else(Cell::default, |check| cell(check, u))).collect();
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

fn cell(check: &Check, u: Option<f64>) -> Cell {
    let unit = unit(&check.name);
    let value = check.value.filter(|value| unit != Unit::One && value.is_finite());
    let number = value.map(|value| match unit {
        Unit::Percent if value > PERCENT_MAX => format!("over {PERCENT_MAX}{}", unit.suffix()),
        _ => format!("{}{}", fixed(value, unit.decimals(u)), unit.suffix()),
    });
    Cell {
        main: number.map_or_else(
            || status_words(check.status).to_owned(),
            |number| format!("{} {number}", status_sign(check.status)),
        ),
        sub: String::new(),
        is_strong: check.status == CheckStatus::Fail,
    }
}

fn reach_place(reach: &ReachResult, with_view: bool) -> Place<'_> {
    let head = [occasion_word(reach.occasion).to_owned(), rotation_word(reach.rotation).to_owned()];
    Place { head, words: reach_words(reach, with_view), checks: &reach.checks }
}

fn reach_words(reach: &ReachResult, with_view: bool) -> String {
    let words = format!("{} {}", occasion_word(reach.occasion).to_lowercase(), rotation_word(reach.rotation));
    if with_view { format!("{words} ({} view)", view_word(reach.view)) } else { words }
}

fn pair_places(result: &VisitResult) -> Vec<Place<'_>> {
    let mut places: Vec<Place> = result
        .comparisons
        .iter()
        .enumerate()
        .filter(|(index, comparison)| {
            // The sides of an occasion are checked as one pair.
            let mut earlier = result.comparisons[..*index].iter();
            let is_repeated =
                earlier.any(|other| other.occasion == comparison.occasion && other.checks == comparison.checks);
            !comparison.checks.is_empty() && !is_repeated
        })
        .map(|(_, comparison)| Place {
            head: [occasion_word(comparison.occasion).to_owned(), "the pair".to_owned()],
            words: pair_words(comparison),
            checks: &comparison.checks,
        })
        .collect();
    if let Some(retest) = result.retest.as_ref().filter(|retest| !retest.checks.is_empty()) {
        places.push(Place {
            head: ["Retest".to_owned(), "change".to_owned()],
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
        (Some(words), CheckStatus::Unknown) => words.determine,
        _ => "",
    }
}

/// A limit in words, such as `elbow straight 20°`.
pub(crate) fn limit_words(name: &str, limit: f64) -> String {
    format!("{} {}{}", title(name).to_lowercase(), shortest(limit), unit(name).suffix())
}

/// A limit as it was set: without decimals that say nothing.
fn shortest(limit: f64) -> String {
    fixed(limit, usize::from((limit - limit.round()).abs() > 1e-9))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_beyond_the_whole_has_no_digits() {
        let said = |value| {
            let status = CheckStatus::Fail;
            let check =
                Check { name: "same_grip".to_owned(), status, value, u: None, limit: Some(8.0), text: String::new() };
            cell(&check, None).main
        };
        assert!(said(Some(12.0)).ends_with(" 12\u{a0}%"), "{}", said(Some(12.0)));
        assert!(said(Some(494.8)).ends_with(" over 100\u{a0}%"), "{}", said(Some(494.8)));
    }
}
