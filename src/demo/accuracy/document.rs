//! What was found as JSON, CSV, Markdown and chart.

use std::fmt::Write as _;

use super::study::{Accuracy, AccuracyRow, CallPoint, Calls, MarksBy};
use crate::pose::View;
use crate::report::{CallCurve, CallShares, Chart, ReportError, render_call_curves};

/// The name of the format.
pub const ACCURACY_SCHEMA: &str = "tworeach/accuracy/1";

/// Coverage that a 95 % interval may have and be called right: common practice, no source.
const COVERAGE_RIGHT: [f64; 2] = [0.93, 0.97];

/// The true differences that the Markdown table shows, deg: twice the margin and more, the margin, none, higher.
const SHOWN_DIFFERENCES_DEG: [f64; 6] = [-8.0, -6.0, -5.0, -3.0, 0.0, 3.0];

impl Accuracy {
    /// `accuracy.json`.
    ///
    /// # Panics
    /// Never: the fields are texts, numbers and lists of them.
    #[must_use]
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self).expect("texts, numbers and lists of them have JSON") + "\n"
    }

    /// Every row as CSV, with a header.
    #[must_use]
    pub fn rows_csv(&self) -> String {
        let mut text =
            "view,marks,quantity,basis,n,undetermined,bias_deg,rms_deg,p95_deg,mean_u_deg,coverage\n".to_owned();
        for (marks, row) in self.all_rows() {
            let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
            // Writing to a String cannot fail.
            let _ = writeln!(
                text,
                "{},{},{},{},{},{},{},{},{},{},{}",
                row.view.map_or("all", view_word),
                marks_word(marks),
                row.quantity,
                row.basis.join(" "),
                row.n,
                row.undetermined,
                number(row.bias_deg),
                number(row.rms_deg),
                number(row.p95_deg),
                number(row.mean_u_deg),
                number(row.coverage)
            );
        }
        text
    }

    /// The share of every call as CSV, with a header.
    #[must_use]
    pub fn calls_csv(&self) -> String {
        let mut text = "view,marks,true_difference_deg,n,positive,negative,inconclusive,not_comparable\n".to_owned();
        for calls in &self.calls {
            for at in &calls.points {
                let _ = writeln!(
                    text,
                    "{},{},{},{},{},{},{},{}",
                    view_word(calls.view),
                    marks_word(calls.marks),
                    at.true_difference_deg,
                    at.n,
                    at.positive,
                    at.negative,
                    at.inconclusive,
                    at.not_comparable
                );
            }
        }
        text
    }

    /// Both tables as Markdown, with the command that makes them.
    #[must_use]
    pub fn to_markdown(&self) -> String {
        let mut text = format!(
            "`tworeach accuracy --scenes {} --seed {} --out accuracy`, version {}:\n\n\
             | view, marks | quantity | n (null) | bias, rms, p95, deg | mean stated u, deg | 95 % interval holds |\n\
             |---|---|---|---|---|---|\n",
            self.scenes, self.seed, self.tool_version
        );
        for (marks, row) in self.all_rows() {
            let number = |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| format!("{value:.2}"));
            let _ = writeln!(
                text,
                "| {} | {} | {} ({}) | {}, {}, {} | {} | {} |",
                row.view.map_or_else(|| "all views, by hand".to_owned(), |view| title(view, marks).to_lowercase()),
                quantity_words(row),
                row.n,
                row.undetermined,
                number(row.bias_deg),
                number(row.rms_deg),
                number(row.p95_deg),
                number(row.mean_u_deg),
                coverage_words(row),
            );
        }
        text.push_str(
            "\nCalls at a true difference, %: positive / negative / inconclusive / not comparable\n\n| view, marks |",
        );
        for deg in SHOWN_DIFFERENCES_DEG {
            let _ = write!(text, " {deg} deg |");
        }
        text.push_str("\n|---|---|---|---|---|---|---|\n");
        for calls in &self.calls {
            let _ = write!(text, "| {} |", title(calls.view, calls.marks).to_lowercase());
            for deg in SHOWN_DIFFERENCES_DEG {
                let _ = write!(text, " {} |", calls.at(deg).map_or_else(|| "-".to_owned(), shares_words));
            }
            text.push('\n');
        }
        text
    }

    /// The share of every call over the true difference, as a chart.
    ///
    /// # Errors
    /// [`ReportError`] when it cannot be drawn.
    pub fn chart(&self) -> Result<Chart, ReportError> {
        let curves: Vec<CallCurve> = self.calls.iter().map(curve).collect();
        render_call_curves(&curves, self.margin_deg)
    }

    fn all_rows(&self) -> impl Iterator<Item = (MarksBy, &AccuracyRow)> {
        let by_hand = self.rows.iter().chain(&self.overall).map(|row| (MarksBy::Hand, row));
        by_hand.chain(self.carried.iter().map(|row| (MarksBy::Carried, row)))
    }
}

impl Calls {
    /// The calls at a true difference, deg.
    #[must_use]
    pub fn at(&self, true_difference_deg: f64) -> Option<&CallPoint> {
        self.points.iter().find(|point| point.true_difference_deg.total_cmp(&true_difference_deg).is_eq())
    }
}

fn curve(calls: &Calls) -> CallCurve {
    let shares = |at: &CallPoint| CallShares {
        true_difference_deg: at.true_difference_deg,
        positive: at.positive,
        negative: at.negative,
        inconclusive: at.inconclusive,
        not_comparable: at.not_comparable,
    };
    CallCurve { title: title(calls.view, calls.marks), points: calls.points.iter().map(shares).collect() }
}

fn title(view: View, marks: MarksBy) -> String {
    let view = match view {
        View::Side => "Side",
        View::Oblique => "Oblique",
        View::Front => "Front",
    };
    match marks {
        MarksBy::Hand => format!("{view}, by hand"),
        MarksBy::Carried => format!("{view}, carried"),
    }
}

const fn view_word(view: View) -> &'static str {
    match view {
        View::Side => "side",
        View::Oblique => "oblique",
        View::Front => "front",
    }
}

const fn marks_word(marks: MarksBy) -> &'static str {
    match marks {
        MarksBy::Hand => "hand",
        MarksBy::Carried => "carried",
    }
}

fn quantity_words(row: &AccuracyRow) -> String {
    let name = if row.quantity == "elevation_deg" { "one reach" } else { "difference" };
    if row.basis.is_empty() { name.to_owned() } else { format!("{name}, from the plumb line") }
}

fn coverage_words(row: &AccuracyRow) -> String {
    let Some(coverage) = row.coverage else { return "-".to_owned() };
    let percent = format!("{:.1} %", 100.0 * coverage);
    if coverage < COVERAGE_RIGHT[0] {
        format!("{percent}: too narrow")
    } else if coverage > COVERAGE_RIGHT[1] {
        format!("{percent}: wider than needed")
    } else {
        percent
    }
}

fn shares_words(at: &CallPoint) -> String {
    [at.positive, at.negative, at.inconclusive, at.not_comparable]
        .map(|share| format!("{:.0}", 100.0 * share))
        .join(" / ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(view: Option<View>, coverage: Option<f64>) -> AccuracyRow {
        AccuracyRow {
            view,
            quantity: "difference_elevation_deg",
            basis: Vec::new(),
            n: usize::from(coverage.is_some()),
            undetermined: 0,
            bias_deg: coverage.map(|_| -0.125),
            rms_deg: coverage.map(|_| 1.5),
            p95_deg: coverage.map(|_| 2.75),
            mean_u_deg: coverage.map(|_| 1.25),
            coverage,
        }
    }

    #[test]
    fn tables_hold_every_row_and_say_where_intervals_are_wrong() {
        let point = CallPoint {
            true_difference_deg: -6.0,
            n: 8,
            positive: 0.75,
            negative: 0.0,
            inconclusive: 0.125,
            not_comparable: 0.125,
        };
        let found = Accuracy {
            schema: ACCURACY_SCHEMA.to_owned(),
            tool_version: "0".to_owned(),
            seed: 7,
            scenes: 24,
            margin_deg: 3.0,
            rows: vec![row(Some(View::Side), Some(0.9)), row(Some(View::Front), None)],
            overall: vec![row(None, Some(0.95))],
            carried: vec![row(Some(View::Side), Some(0.99))],
            calls: vec![Calls { view: View::Side, marks: MarksBy::Carried, points: vec![point] }],
        };
        let csv = found.rows_csv();
        assert_eq!(csv.lines().count(), 5);
        assert!(csv.contains("\nside,hand,difference_elevation_deg,,1,0,-0.125,1.5,2.75,1.25,0.9\n"), "{csv}");
        assert!(csv.contains("\nfront,hand,difference_elevation_deg,,0,0,,,,,\n"), "{csv}");
        assert!(found.calls_csv().ends_with("\nside,carried,-6,8,0.75,0,0.125,0.125\n"));
        let markdown = found.to_markdown();
        assert!(markdown.starts_with("`tworeach accuracy --scenes 24 --seed 7 --out accuracy`"));
        for words in ["90.0 %: too narrow |", "| 95.0 % |", "99.0 %: wider than needed", "| 75 / 0 / 12 / 12 |"] {
            assert!(markdown.contains(words), "no {words} in {markdown}");
        }
    }
}
