//! A result as a short table, the call and the cautions, for the terminal.

use std::io::{self, Write};

use crate::plan::words::CAUTIONS;
use crate::screen::words::{decimal, deg_interval};
use crate::screen::{
    Call, CheckStatus, Comparison, MeasuredVisit, Occasion, ReachResult, ResultSide, RetestOutcome, Subject,
    UsedInterval, VisitResult,
};
use crate::uncertainty::Measured;

/// The width that sentences are wrapped to.
const COLUMNS: usize = 100;

/// Prints warnings, each on a line of its own.
pub(super) fn print_warnings(out: &mut impl Write, warnings: &[String]) -> io::Result<()> {
    warnings.iter().try_for_each(|warning| writeln!(out, "warning: {warning}"))
}

/// Prints cautions, table, calls and retest. `is_styled` sets the calls in bold.
pub(super) fn print_result(out: &mut impl Write, visit: &MeasuredVisit, is_styled: bool) -> io::Result<()> {
    wrapped(out, "", CAUTIONS)?;
    writeln!(out)?;
    let mut result = visit.result.clone();
    if result.pain_stops_today() {
        result.leave_out_filming();
    }
    print_reaches(out, &result)?;
    print_compared(out, visit)?;
    let comparisons = &result.comparisons;
    for comparison in comparisons {
        // a single side that agrees with both together adds nothing but its number
        let of_both = comparisons.iter().find(|other| {
            other.occasion == comparison.occasion && other.side == ResultSide::Both && other.call == comparison.call
        });
        match of_both {
            Some(both) if comparison.side != both.side => print_side(out, comparison)?,
            _ => print_comparison(out, comparison, is_styled)?,
        }
    }
    print_retest(out, &result, is_styled)?;
    print_simulation(out, &result)?;
    print_checks(out, &result)?;
    if visit.has_single_raise() {
        writeln!(out)?;
        wrapped(
            out,
            "",
            "Single raise: the intervals cover the measurement alone, not how much the person varies from raise to raise. \
             Three raises in a clip would.",
        )?;
    }
    Ok(())
}

fn print_reaches(out: &mut impl Write, result: &VisitResult) -> io::Result<()> {
    let header = ["reach", "elevation, deg", "95 % interval", "elbow, deg", "trunk, deg", "bar height, mm"];
    let mut rows = vec![header.map(str::to_owned)];
    for reach in &result.reaches {
        let value = |quantity: &Option<Measured>, digits: usize| {
            quantity.as_ref().map_or_else(|| "-".to_owned(), |measured| decimal(measured.value, digits))
        };
        // where the trunk is not seen, the plumb line stands in
        let (elevation, sign) = match (&reach.elevation_deg, &reach.elevation_from_vertical_deg) {
            (None, from_vertical @ Some(_)) => (from_vertical, "*"),
            (elevation, _) => (elevation, ""),
        };
        let interval = elevation.as_ref().map_or_else(
            || "-".to_owned(),
            |measured| format!("{} to {}", decimal(measured.lo, 1), decimal(measured.hi, 1)),
        );
        rows.push([
            reach_words(reach),
            value(elevation, 1) + sign,
            interval,
            value(&reach.elbow_flexion_deg, 0),
            value(&reach.trunk_lean_deg, 1),
            value(&reach.bar_height_mm, 0),
        ]);
    }
    print_rows(out, &rows)?;
    if rows.iter().any(|row| row[1].ends_with('*')) {
        writeln!(out, "  * from the plumb line: the trunk is not seen")?;
    }
    Ok(())
}

/// What the pictures of the reaches added to the marks.
fn print_compared(out: &mut impl Write, visit: &MeasuredVisit) -> io::Result<()> {
    let said = match (visit.result.compared_pictures, visit.carried_marks) {
        (None, 0) => return Ok(()),
        (None, carried) => format!("Carried marks: {carried} were brought over from another reach."),
        (Some(compared), _) => compared.words(),
    };
    writeln!(out)?;
    wrapped(out, "", &said)
}

/// Both intervals of what the call rests on and of all that are stated by simulation.
fn print_simulation(out: &mut impl Write, result: &VisitResult) -> io::Result<()> {
    let Some(simulated) = &result.monte_carlo else { return Ok(()) };
    writeln!(out, "\nSimulation: {} draws, seed {}", simulated.draws, simulated.seed)?;
    let header = ["quantity", "first order", "simulated", "stated"];
    let mut rows = vec![header.map(str::to_owned)];
    for interval in simulated.notable() {
        let Some(place) = result.subject(interval).map(subject_words) else { continue };
        let (name, digits) = quantity_words(interval.name());
        let ends =
            |measured: &Measured| format!("{} to {}", decimal(measured.lo, digits), decimal(measured.hi, digits));
        let used = match interval.used {
            UsedInterval::FirstOrder => "first order",
            UsedInterval::Simulated => "simulated",
        };
        rows.push([
            format!("{place}: {name}"),
            ends(&interval.first_order),
            ends(&interval.simulated),
            used.to_owned(),
        ]);
    }
    if rows.len() > 1 {
        print_rows(out, &rows)?;
    }
    // one sentence for each reason, whichever quantities it holds for
    let mut reasons: Vec<&str> = simulated.intervals.iter().filter_map(|of| of.reason.as_deref()).collect();
    reasons.sort_unstable();
    let said = reasons.chunk_by(|first, second| first == second);
    match &simulated.note {
        Some(note) => wrapped(out, "  ", note),
        None if reasons.is_empty() => {
            wrapped(out, "  ", "No interval differs by more than a tenth: the first-order ones are stated.")
        }
        None => said.into_iter().try_for_each(|same| {
            wrapped(out, "  ", &format!("{} of {}: {}", same.len(), simulated.intervals.len(), same[0]))
        }),
    }
}

fn subject_words(subject: Subject<'_>) -> String {
    match subject {
        Subject::Reach(reach) => reach_words(reach),
        Subject::Comparison(comparison) => match comparison.occasion {
            Occasion::Before => format!("before, {}", side_words(comparison.side)),
            Occasion::After => format!("after, {}", side_words(comparison.side)),
        },
        Subject::Retest => "retest".to_owned(),
    }
}

/// A quantity's name with its unit, and its decimals.
fn quantity_words(name: &str) -> (String, usize) {
    let units = [("_deg", "deg", 1), ("_mm", "mm", 0), ("_arm", "arm lengths", 3)];
    let unit = units.iter().find_map(|(end, unit, digits)| Some((name.strip_suffix(end)?, *unit, *digits)));
    let (stem, unit, digits) = unit.unwrap_or((name, "", 3));
    (format!("{}, {unit}", stem.replace('_', " ")), digits)
}

fn print_rows<const N: usize>(out: &mut impl Write, rows: &[[String; N]]) -> io::Result<()> {
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    for row in rows {
        let mut line = format!("  {:<width$}", row[0], width = width(0));
        for (column, cell) in row.iter().enumerate().skip(1) {
            line.push_str(&format!("  {cell:>width$}", width = width(column)));
        }
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}

fn print_comparison(out: &mut impl Write, comparison: &Comparison, is_styled: bool) -> io::Result<()> {
    let occasion = match comparison.occasion {
        Occasion::Before => "before the stretch",
        Occasion::After => "after the stretch",
    };
    let (side, call) = (side_words(comparison.side), call_words(comparison.call));
    writeln!(out, "\nCall {occasion}, {side}: {}", bold(call, is_styled))?;
    wrapped(out, "  ", &comparison.reason)?;
    wrapped(out, "  ", &comparison.next_step)
}

fn print_side(out: &mut impl Write, comparison: &Comparison) -> io::Result<()> {
    let difference = comparison.difference_elevation_deg.as_ref().map_or_else(String::new, |difference| {
        format!(", difference {} ({})", decimal(difference.value, 1), deg_interval(difference.lo, difference.hi))
    });
    wrapped(out, "  ", &format!("{}: {}{difference}.", side_words(comparison.side), call_words(comparison.call)))
}

const fn side_words(side: ResultSide) -> &'static str {
    match side {
        ResultSide::Left => "left",
        ResultSide::Right => "right",
        ResultSide::Both => "both sides",
    }
}

const fn call_words(call: Call) -> &'static str {
    match call {
        Call::Positive => "positive (fail)",
        Call::Negative => "negative (pass)",
        Call::Inconclusive => "inconclusive",
        Call::NotComparable => "not comparable",
    }
}

fn print_retest(out: &mut impl Write, result: &VisitResult, is_styled: bool) -> io::Result<()> {
    let Some(retest) = &result.retest else { return Ok(()) };
    let outcome = match retest.outcome {
        RetestOutcome::Improved => "improved",
        RetestOutcome::Unchanged => "unchanged",
        RetestOutcome::Worse => "worse",
        RetestOutcome::Inconclusive => "inconclusive",
        RetestOutcome::NotComparable => "not comparable",
    };
    let cleared = match retest.cleared {
        Some(true) => ", cleared",
        Some(false) => ", not cleared",
        None => "",
    };
    writeln!(out, "\nRetest: {}", bold(&format!("{outcome}{cleared}"), is_styled))?;
    wrapped(out, "  ", &retest.reason)?;
    if let Some(change) = &retest.change_difference_deg {
        let interval = deg_interval(change.lo, change.hi);
        wrapped(out, "  ", &format!("Change of the difference: {} deg ({interval}).", decimal(change.value, 1)))?;
    }
    Ok(())
}

/// The checks that are not all right, each once with where it is.
fn print_checks(out: &mut impl Write, result: &VisitResult) -> io::Result<()> {
    let of_reaches =
        result.reaches.iter().flat_map(|reach| reach.checks.iter().map(|check| (reach_words(reach), check)));
    let of_pairs = result.comparisons.iter().flat_map(|comparison| {
        let pair = match comparison.occasion {
            Occasion::Before => "pair before",
            Occasion::After => "pair after",
        };
        comparison.checks.iter().map(move |check| (pair.to_owned(), check))
    });
    let of_retest =
        result.retest.iter().flat_map(|retest| retest.checks.iter().map(|check| ("retest".to_owned(), check)));
    let notable: Vec<_> = of_reaches
        .chain(of_pairs)
        .chain(of_retest)
        .filter(|(_, check)| matches!(check.status, CheckStatus::Fail | CheckStatus::Warn))
        .collect();
    if notable.is_empty() {
        return Ok(());
    }
    writeln!(out, "\nChecks to look at:")?;
    let mut said: Vec<(String, &str)> = Vec::new();
    for (place, check) in notable {
        let status = if check.status == CheckStatus::Fail { "fail" } else { "warn" };
        if said.contains(&(place.clone(), check.text.as_str())) {
            continue;
        }
        wrapped(out, "  ", &format!("{status}: {place}: {}", check.text))?;
        said.push((place, check.text.as_str()));
    }
    Ok(())
}

fn reach_words(reach: &ReachResult) -> String {
    let occasion = match reach.occasion {
        Occasion::Before => "before",
        Occasion::After => "after",
    };
    let rotation = match reach.rotation {
        crate::pose::Rotation::Internal => "internal",
        crate::pose::Rotation::External => "external",
    };
    let view = match reach.view {
        crate::pose::View::Side => "side",
        crate::pose::View::Front => "front",
        crate::pose::View::Oblique => "oblique",
    };
    format!("{occasion} {rotation} ({view})")
}

fn bold(text: &str, is_styled: bool) -> String {
    if is_styled { format!("\u{1b}[1m{text}\u{1b}[0m") } else { text.to_owned() }
}

/// Prints a text in lines of at most [`COLUMNS`] characters, each after `indent`.
pub(super) fn wrapped(out: &mut impl Write, indent: &str, text: &str) -> io::Result<()> {
    let mut line = String::new();
    // a no-break space keeps a number with its unit
    for word in text.split(' ').filter(|word| !word.is_empty()) {
        let length = line.chars().count() + 1 + word.chars().count() + indent.len();
        if !line.is_empty() && length > COLUMNS {
            writeln!(out, "{indent}{line}")?;
            line.clear();
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    writeln!(out, "{indent}{line}")
}
