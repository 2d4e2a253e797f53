//! The tables of quantities and of differences.

use std::path::Path;

use crate::geometry::Side;
use crate::pose::{Rotation, View};
use crate::report::content::{Cell, Row, Table};
use crate::report::wording::{
    Sign, Unit, fixed, interval as interval_words, listed, occasion_word, palms, rotation_word, side_word, view_word,
};
use crate::screen::words::capitalized;
use crate::screen::{Occasion, ReachResult, ResultSide, SimulatedInterval, Subject, UsedInterval, VisitResult};
use crate::uncertainty::Measured;
use crate::video::is_still_by_name;

/// Views in the order in which they are shown: the side view first, since it sees the elevation best.
const VIEWS: [View; 3] = [View::Side, View::Oblique, View::Front];

/// Head of the row of the plain picture's angle.
const IMAGE_ANGLE: &str = "Image angle";

/// Head of the row of what the difference changed by.
const CHANGE_OF_DIFFERENCE: &str = "Change of the difference";

/// A row of the quantities table: head, unit words, and where the number comes from.
struct Quantity {
    head: &'static str,
    unit_words: &'static str,
    unit: Unit,
    of: Accessor,
}

/// Reads a quantity of a reach.
type Accessor = fn(&ReachResult) -> Option<Measured>;

const QUANTITIES: [Quantity; 11] = [
    Quantity { head: "Elevation", unit_words: "° from the trunk", unit: Unit::Degree, of: |r| r.elevation_deg },
    Quantity {
        head: "Elevation, left",
        unit_words: "° from the trunk",
        unit: Unit::Degree,
        of: |r| r.elevation_left_deg.filter(|_| !is_only(r, Side::Left)),
    },
    Quantity {
        head: "Elevation, right",
        unit_words: "° from the trunk",
        unit: Unit::Degree,
        of: |r| r.elevation_right_deg.filter(|_| !is_only(r, Side::Right)),
    },
    Quantity {
        head: "Elevation from vertical",
        unit_words: "° from the plumb line",
        unit: Unit::Degree,
        of: |r| r.elevation_from_vertical_deg,
    },
    Quantity { head: "Trunk lean", unit_words: "°, backward +", unit: Unit::Degree, of: |r| r.trunk_lean_deg },
    Quantity {
        head: "Elbow flexion", unit_words: "°, 0 is straight", unit: Unit::Degree, of: |r| r.elbow_flexion_deg
    },
    Quantity {
        head: "Bar height",
        unit_words: "mm above the datum",
        unit: Unit::Millimetre,
        of: |r| r.bar_height_mm.filter(|_| is_above_datum(r)),
    },
    Quantity {
        head: "Bar height",
        unit_words: "mm above mid-hip",
        unit: Unit::Millimetre,
        of: |r| r.bar_height_mm.filter(|_| !is_above_datum(r)),
    },
    Quantity { head: "Bar height", unit_words: "arm lengths", unit: Unit::ArmLength, of: |r| r.bar_height_arm },
    Quantity { head: "Bar tilt", unit_words: "°, right end up +", unit: Unit::Degree, of: |r| r.bar_tilt_deg },
    Quantity { head: "Grip width", unit_words: "mm", unit: Unit::Millimetre, of: |r| r.grip_width_mm },
];

/// The side's own elevation is `elevation_deg` already.
fn is_only(reach: &ReachResult, side: Side) -> bool {
    reach.side == ResultSide::from(side)
}

fn is_above_datum(reach: &ReachResult) -> bool {
    reach.reference.as_deref() == Some("datum")
}

/// The reaches of a view in the order before internal, before external, after internal, after external.
pub(crate) fn reaches_by_view(result: &VisitResult) -> Vec<(View, Vec<usize>)> {
    VIEWS
        .into_iter()
        .map(|view| {
            let mut indices: Vec<usize> =
                (0..result.reaches.len()).filter(|&index| result.reaches[index].view == view).collect();
            indices.sort_by_key(|&index| (result.reaches[index].occasion, result.reaches[index].rotation));
            (view, indices)
        })
        .filter(|(_, indices)| !indices.is_empty())
        .collect()
}

/// A table of quantities for each view, with the quantities that none of its reaches determines as a footnote.
pub(crate) fn of_quantities(result: &VisitResult) -> Vec<Table> {
    let views = reaches_by_view(result);
    views
        .iter()
        .map(|(view, indices)| {
            let reaches: Vec<&ReachResult> = indices.iter().map(|&index| &result.reaches[index]).collect();
            let mut rows: Vec<Row> = QUANTITIES.iter().filter_map(|quantity| row(quantity, &reaches)).collect();
            rows.extend(image_angle_row(&reaches));
            rows.push(end_range_row(&reaches));
            let title = "What was measured, with 95\u{a0}% intervals";
            Table {
                caption: if views.len() > 1 { format!("{title}: {} view", view_word(*view)) } else { title.to_owned() },
                corner: "Quantity",
                columns: reaches.iter().map(|reach| reach_head(reach)).collect(),
                rows,
                footnote: undetermined(&reaches),
            }
        })
        .collect()
}

/// The column head of a reach: occasion and rotation, then where the palms face.
fn reach_head(reach: &ReachResult) -> [String; 2] {
    [format!("{}, {}", occasion_word(reach.occasion), rotation_word(reach.rotation)), palms(reach.rotation).to_owned()]
}

fn row(quantity: &Quantity, reaches: &[&ReachResult]) -> Option<Row> {
    let values: Vec<Option<Measured>> = reaches.iter().map(|reach| (quantity.of)(reach)).collect();
    if values.iter().all(Option::is_none) {
        return None;
    }
    let cells = Cell::alike(&values, quantity.unit, Sign::Minus)
        .into_iter()
        .map(|cell| Cell { is_strong: quantity.head == "Elevation", ..cell })
        .collect();
    Some(Row { head: quantity.head.to_owned(), note: quantity.unit_words.to_owned(), cells })
}

/// The angle as it lies in the picture, which has no interval of its own.
fn image_angle_row(reaches: &[&ReachResult]) -> Option<Row> {
    let cell = |reach: &&ReachResult| {
        reach
            .image_angle_deg
            .map_or_else(Cell::nothing, |deg| Cell { main: fixed(deg, Unit::Degree.decimals(None)), ..Cell::default() })
    };
    reaches.iter().any(|reach| reach.image_angle_deg.is_some()).then(|| Row {
        head: IMAGE_ANGLE.to_owned(),
        note: "°, cross-check only".to_owned(),
        cells: reaches.iter().map(cell).collect(),
    })
}

fn end_range_row(reaches: &[&ReachResult]) -> Row {
    let cells = reaches
        .iter()
        .map(|reach| {
            let raises = match reach.raises {
                1 => "1 raise".to_owned(),
                count => format!("{count} raises"),
            };
            Cell {
                main: match reach.end_range_time_s {
                    _ if is_still_by_name(Path::new(&reach.file)) => "still".to_owned(),
                    Some(time_s) => format!("{}\u{a0}s", fixed(time_s, 2)),
                    None => "–".to_owned(),
                },
                sub: raises,
                is_strong: false,
            }
        })
        .collect();
    Row { head: "End range".to_owned(), note: "time in the clip".to_owned(), cells }
}

fn undetermined(reaches: &[&ReachResult]) -> Option<String> {
    let is_null = |of: Accessor| reaches.iter().all(|reach| of(reach).is_none());
    let candidates: [(&str, Accessor); 7] = [
        ("elevation from the trunk", |r| r.elevation_deg),
        ("elevation from vertical", |r| r.elevation_from_vertical_deg),
        ("trunk lean", |r| r.trunk_lean_deg),
        ("elbow flexion", |r| r.elbow_flexion_deg),
        ("bar height", |r| r.bar_height_mm.or(r.bar_height_arm)),
        ("bar tilt", |r| r.bar_tilt_deg),
        ("grip width", |r| r.grip_width_mm),
    ];
    let names: Vec<String> =
        candidates.into_iter().filter(|(_, of)| is_null(*of)).map(|(name, _)| name.to_owned()).collect();
    (!names.is_empty()).then(|| format!("Not determined by these marks: {}.", listed(&names)))
}

/// The differences and changes, or nothing when there is no pair.
pub(crate) fn of_differences(result: &VisitResult) -> Option<Table> {
    let has_many_sides = result.comparisons.windows(2).any(|pair| pair[0].side != pair[1].side);
    let mut heads: Vec<(String, &str)> = Vec::new();
    // by column: the elevation, and the bar's height in mm and in arm lengths
    let mut columns: [Vec<Option<Measured>>; 3] = Default::default();
    let mut push = |head: String, note: &'static str, values: [Option<Measured>; 3]| {
        heads.push((head, note));
        columns.iter_mut().zip(values).for_each(|(column, value)| column.push(value));
    };
    for comparison in &result.comparisons {
        let when = match comparison.occasion {
            Occasion::Before => "Difference before",
            Occasion::After => "Difference after",
        };
        let head = if has_many_sides { format!("{when}, {}", side_word(comparison.side)) } else { when.to_owned() };
        let values = [
            comparison.difference_elevation_deg,
            comparison.difference_bar_height_mm,
            comparison.difference_bar_height_arm,
        ];
        push(head, "external minus internal", values);
    }
    if let Some(retest) = &result.retest {
        const NOTE: &str = "after minus before";
        let values = [retest.change_elevation_deg, retest.change_bar_height_mm, None];
        push(format!("Change, {} reach", rotation_word(Rotation::External)), NOTE, values);
        push(CHANGE_OF_DIFFERENCE.to_owned(), NOTE, [retest.change_difference_deg, None, None]);
    }
    let units = [Unit::Degree, Unit::Millimetre, Unit::ArmLength];
    let cells: Vec<Vec<Cell>> =
        columns.iter().zip(units).map(|(column, unit)| Cell::alike(column, unit, Sign::Always)).collect();
    let rows: Vec<Row> = heads
        .into_iter()
        .enumerate()
        .map(|(index, (head, note))| {
            let mut cells: Vec<Cell> = cells.iter().map(|column| column[index].clone()).collect();
            // what a call or an outcome rests on
            cells[0].is_strong = head != CHANGE_OF_DIFFERENCE;
            Row { head, note: note.to_owned(), cells }
        })
        .collect();
    let columns = [["Elevation", "degrees"], ["Bar height", "mm"], ["Bar height", "arm lengths"]]
        .map(|head| head.map(str::to_owned));
    (!rows.is_empty()).then(|| Table {
        caption: "Differences and changes, with 95\u{a0}% intervals".to_owned(),
        corner: "Comparison",
        columns: columns.to_vec(),
        rows,
        footnote: None,
    })
}

/// Both intervals of what the call rests on and of all that are stated by simulation; nothing without a simulation.
pub(crate) fn of_simulation(result: &VisitResult) -> Option<Table> {
    let simulated = result.monte_carlo.as_ref()?;
    let rows: Vec<Row> = simulated.notable().filter_map(|interval| simulation_row(result, interval)).collect();
    let columns = [["First order", "95\u{a0}% interval"], ["Simulated", "95\u{a0}% interval"], ["Stated", ""]];
    let is_used = |of: &SimulatedInterval| of.used == UsedInterval::Simulated;
    let mut footnote = vec![format!("{} draws, seed {}.", simulated.draws, simulated.seed)];
    match (&simulated.note, simulated.intervals.iter().any(is_used)) {
        (Some(note), _) => footnote.push(note.clone()),
        (None, false) => footnote.push("The first-order intervals are stated.".to_owned()),
        (None, true) => footnote.push(
            "The simulated interval is stated where the two differ by more than a tenth of their half-width and by more \
             than chance: there the measurement is not near linear, or rests on few raises."
                .to_owned(),
        ),
    }
    Some(Table {
        caption: "The same by simulation".to_owned(),
        corner: "Quantity",
        columns: columns.map(|head| head.map(str::to_owned)).to_vec(),
        rows,
        footnote: Some(footnote.join(" ")),
    })
}

fn simulation_row(result: &VisitResult, interval: &SimulatedInterval) -> Option<Row> {
    let (note, sign) = match result.subject(interval)? {
        Subject::Reach(reach) => (
            format!("{}, {}, {}", occasion_word(reach.occasion), rotation_word(reach.rotation), view_word(reach.view)),
            Sign::Minus,
        ),
        Subject::Comparison(comparison) => {
            (format!("{}, {}", occasion_word(comparison.occasion), side_word(comparison.side)), Sign::Always)
        }
        Subject::Retest => ("After minus before".to_owned(), Sign::Always),
    };
    let units =
        [("_deg", "°", Unit::Degree), ("_mm", "mm", Unit::Millimetre), ("_arm", "arm lengths", Unit::ArmLength)];
    let (stem, unit_words, unit) =
        units.iter().find_map(|(end, words, unit)| Some((interval.name().strip_suffix(end)?, *words, *unit)))?;
    let cell = |measured: Measured| Cell { main: interval_words(measured, unit, sign), ..Cell::default() };
    let used = match interval.used {
        UsedInterval::FirstOrder => Cell { main: "first order".to_owned(), ..Cell::default() },
        UsedInterval::Simulated => Cell { main: "simulated".to_owned(), is_strong: true, ..Cell::default() },
    };
    Some(Row {
        head: format!("{}, {unit_words}", capitalized(&stem.replace('_', " "))),
        note,
        cells: vec![cell(interval.first_order), cell(interval.simulated), used],
    })
}
