//! The angle between arm and trunk on the picture, marking by marking: how well it repeats, within raters and between them.
//!
//! It is the plain image angle, from 0 to 180 deg, not the fitted elevation: all it is for is to tell one marking from another
//! of the same picture. Without hips the plumb line stands in for the trunk.

use std::collections::BTreeSet;

use nalgebra::Vector2;
use serde::Serialize;

use crate::geometry::{Angle, ImagePoint, Landmark, Side};
use crate::uncertainty::agreement::normal_multiplier;
use crate::uncertainty::{
    CoverageInterval, LimitsOfAgreement, PooledSpread, Reliability, limits_of_agreement, pooled_spread, reliability_of,
};

use super::repeatability::{Picture, Placing};

/// How well one rater repeats the angle, deg.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AngleSpread {
    /// The rater.
    pub rater: String,
    /// Standard error of measurement: the spread of repeats on one picture, deg.
    pub sem: PooledSpread,
    /// Minimal detectable change between two markings at 95 %, deg.
    pub mdc95: f64,
    /// Its 95 % interval, deg.
    pub mdc95_interval: CoverageInterval,
}

/// Reliability of the angle over pictures that several judges marked; a judge is a rater or a repeat.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AngleComparison {
    /// What is compared, such as "raters a, b" or "repeats of rater a".
    pub between: String,
    /// The judges' names, in the order of the table's columns.
    pub judges: Vec<String>,
    /// The angles, deg: a row for each picture and side, a column for each judge.
    pub table_deg: Vec<Vec<f64>>,
    /// Correlations, error of measurement and detectable change; `None` where there are too few pictures.
    pub reliability: Option<Reliability>,
    /// Limits of agreement of the first two judges, first minus second, deg; `None` below two pictures.
    pub agreement: Option<LimitsOfAgreement>,
}

/// Pools each rater's repeats.
pub(crate) fn angle_spreads(pictures: &[Picture], raters: &BTreeSet<&str>) -> Vec<AngleSpread> {
    let to_change = normal_multiplier() * std::f64::consts::SQRT_2;
    raters
        .iter()
        .filter_map(|rater| {
            let groups: Vec<Vec<f64>> = pictures
                .iter()
                .flat_map(|picture| Side::BOTH.map(|side| angles_deg(picture.of_rater(rater), side)))
                .collect();
            let sem = pooled_spread(&groups).ok()?;
            let mdc95_interval = CoverageInterval { lo: to_change * sem.interval.lo, hi: to_change * sem.interval.hi };
            Some(AngleSpread { rater: (*rater).to_owned(), sem, mdc95: to_change * sem.sd, mdc95_interval })
        })
        .collect()
}

/// Between the repeats of each rater, and between raters.
pub(crate) fn angle_comparisons(
    pictures: &[Picture],
    raters: &BTreeSet<&str>,
    notes: &mut Vec<String>,
) -> Vec<AngleComparison> {
    let mut comparisons = Vec::new();
    for rater in raters {
        // Unequal repeats: as many as every picture with repeats has; pictures without repeats are named.
        let rows: Vec<(String, Vec<f64>)> = targets(pictures)
            .map(|(picture, side)| (picture.words(), angles_deg(picture.of_rater(rater), side)))
            .filter(|(_, angles)| !angles.is_empty())
            .collect();
        let Some(repeats) = rows.iter().map(|(_, angles)| angles.len()).filter(|count| *count > 1).min() else {
            continue;
        };
        let mut table_deg = Vec::new();
        for (words, angles) in &rows {
            match angles.get(..repeats) {
                Some(first) => table_deg.push(first.to_vec()),
                None => notes.push(format!("{words}: rater {rater} marked it once, which says nothing of repeats")),
            }
        }
        if rows.iter().any(|(_, angles)| angles.len() > repeats) {
            notes.push(format!(
                "rater {rater} has unequal numbers of repeats: the first {repeats} of each picture enter the coefficients, all of them the spreads"
            ));
        }
        let judges = (1..=repeats).map(|repeat| format!("repeat {repeat}")).collect();
        comparisons.push(compared(format!("repeats of rater {rater}"), judges, table_deg));
    }
    if raters.len() > 1 {
        let names: Vec<String> = raters.iter().map(|rater| (*rater).to_owned()).collect();
        let mut table_deg = Vec::new();
        for (picture, side) in targets(pictures) {
            // One judgement each: a rater's first.
            let row: Vec<Option<f64>> =
                names.iter().map(|rater| angles_deg(picture.of_rater(rater), side).first().copied()).collect();
            let missing = row.iter().filter(|angle| angle.is_none()).count();
            if missing == 0 {
                table_deg.push(row.into_iter().flatten().collect());
            } else if missing < names.len() {
                notes.push(format!(
                    "{}: not marked by all raters, left out of the comparison between them",
                    picture.words()
                ));
            }
        }
        comparisons.push(compared(format!("raters {}", names.join(", ")), names, table_deg));
    }
    comparisons
}

fn targets(pictures: &[Picture]) -> impl Iterator<Item = (&Picture, Side)> {
    pictures.iter().flat_map(|picture| Side::BOTH.map(|side| (picture, side)))
}

fn compared(between: String, judges: Vec<String>, table_deg: Vec<Vec<f64>>) -> AngleComparison {
    let pairs: Vec<[f64; 2]> = table_deg.iter().map(|row| [row[0], row[1]]).collect();
    AngleComparison {
        between,
        judges,
        reliability: reliability_of(&table_deg).ok(),
        agreement: limits_of_agreement(&pairs, normal_multiplier()).ok(),
        table_deg,
    }
}

/// The angles of one side's arm, in the order of the placings; those that lack a mark are passed over.
fn angles_deg<'a>(placings: impl Iterator<Item = &'a Placing>, side: Side) -> Vec<f64> {
    placings.filter_map(|placing| angle_deg(placing, side)).collect()
}

fn angle_deg(placing: &Placing, side: Side) -> Option<f64> {
    let place = |landmark: Landmark| placing.points.get(&landmark).copied().map(ImagePoint::to_vector);
    let shoulder = place(Landmark::Shoulder(side))?;
    let arm = place(Landmark::Wrist(side))? - shoulder;
    let down = match (place(Landmark::Hip(side)), place(Landmark::PlumbTop), place(Landmark::PlumbBottom)) {
        (Some(hip), _, _) => hip - shoulder,
        (None, Some(top), Some(bottom)) => bottom - top,
        _ => return None,
    };
    let lift = |v: Vector2<f64>| v.push(0.0);
    (arm.norm() > 0.0 && down.norm() > 0.0).then(|| Angle::between(&lift(down), &lift(arm)).deg())
}
