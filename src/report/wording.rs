//! Numbers as they are printed, and the words for calls, reaches and statuses.
//!
//! Angles are printed to a tenth of a degree. Other quantities are printed to the leading digit of their standard
//! uncertainty, within the limits of [`Unit::decimals`], and so are their intervals.

use crate::pose::{Rotation, View};
use crate::screen::{Call, CheckStatus, Occasion, ResultSide, RetestOutcome};
use crate::uncertainty::Measured;

/// U+2212, as wide as the plus sign and never broken from its number.
const MINUS: char = '−';

/// The unit of a printed quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Unit {
    Degree,
    Millimetre,
    /// Lengths of the client's arm, shoulder to wrist.
    ArmLength,
    Percent,
    Pixel,
    /// Pain, on the scale from 0 to 10.
    OfTen,
    One,
}

impl Unit {
    /// What follows the number, with a no-break space where one belongs.
    pub const fn suffix(self) -> &'static str {
        match self {
            Self::Degree => "°",
            Self::Millimetre => "\u{a0}mm",
            Self::ArmLength => "\u{a0}arm lengths",
            Self::Percent => "\u{a0}%",
            Self::Pixel => "\u{a0}px",
            Self::OfTen => " of 10",
            Self::One => "",
        }
    }

    /// Decimals for a quantity of standard uncertainty `u`: those of the leading digit of `u`, not more and not less
    /// than what makes sense for the unit.
    pub fn decimals(self, u: Option<f64>) -> usize {
        let (least, most) = match self {
            Self::Degree => (1, 1),
            Self::Millimetre | Self::Percent | Self::Pixel => (0, 1),
            Self::ArmLength => (2, 3),
            Self::OfTen => (0, 0),
            Self::One => (0, 2),
        };
        match u {
            Some(u) if u.is_finite() && u > 0.0 => {
                (least..most).find(|&decimals| u * 10_f64.powi(decimal_power(decimals)) >= 1.0).unwrap_or(most)
            }
            _ => least,
        }
    }
}

/// A number with a fixed count of decimals and a true minus sign; never a negative zero.
pub(crate) fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    if value < 0.0 && text.bytes().any(|b| matches!(b, b'1'..=b'9')) { format!("{MINUS}{text}") } else { text }
}

/// The same with a plus sign before what is above zero.
pub(crate) fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let is_zero = !text.bytes().any(|b| matches!(b, b'1'..=b'9'));
    if value > 0.0 && !is_zero { format!("+{text}") } else { text }
}

/// Whether a quantity is printed with its plus sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sign {
    /// A difference or change.
    Always,
    /// Anything else.
    Minus,
}

/// The estimate with its unit, such as `−11.3°`.
pub(crate) fn value(measured: Measured, unit: Unit, sign: Sign) -> String {
    format!("{}{}", bare(measured.value, unit.decimals(Some(measured.u)), sign), unit.suffix())
}

/// The interval without unit, such as `−13.9 to −8.7`.
pub(crate) fn interval(measured: Measured, unit: Unit, sign: Sign) -> String {
    let decimals = unit.decimals(Some(measured.u));
    format!("{} to {}", bare(measured.lo, decimals, sign), bare(measured.hi, decimals, sign))
}

/// A number without its unit.
pub(crate) fn bare(number: f64, decimals: usize, sign: Sign) -> String {
    match sign {
        Sign::Always => signed(number, decimals),
        Sign::Minus => fixed(number, decimals),
    }
}

fn decimal_power(decimals: usize) -> i32 {
    i32::try_from(decimals).unwrap_or(i32::MAX)
}

/// The word that a client understands: pass, fail.
pub(crate) const fn call_word(call: Call) -> &'static str {
    match call {
        Call::Positive => "Fail",
        Call::Negative => "Pass",
        Call::Inconclusive => "Inconclusive",
        Call::NotComparable => "Not comparable",
    }
}

/// The trade's words beside it.
pub(crate) const fn call_trade_words(call: Call) -> &'static str {
    match call {
        Call::Positive => "positive screen",
        Call::Negative => "negative screen",
        Call::Inconclusive | Call::NotComparable => "no call",
    }
}

/// Both in a sentence, such as `fail (positive)`.
pub(crate) const fn call_in_sentence(call: Call) -> &'static str {
    match call {
        Call::Positive => "fail (positive)",
        Call::Negative => "pass (negative)",
        Call::Inconclusive => "inconclusive",
        Call::NotComparable => "not comparable",
    }
}

/// What became of the external reach, as a heading.
pub(crate) const fn outcome_word(outcome: RetestOutcome) -> &'static str {
    match outcome {
        RetestOutcome::Improved => "Improved",
        RetestOutcome::Unchanged => "Unchanged",
        RetestOutcome::Worse => "Worse",
        RetestOutcome::Inconclusive => "Inconclusive",
        RetestOutcome::NotComparable => "Not comparable",
    }
}

/// Before or after, in a column head.
pub(crate) const fn occasion_word(occasion: Occasion) -> &'static str {
    match occasion {
        Occasion::Before => "Before",
        Occasion::After => "After",
    }
}

/// The occasion as a heading.
pub(crate) const fn occasion_heading(occasion: Occasion) -> &'static str {
    match occasion {
        Occasion::Before => "Before the stretch",
        Occasion::After => "After the stretch",
    }
}

/// The rotation as a word.
pub(crate) const fn rotation_word(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => "internal",
        Rotation::External => "external",
    }
}

/// Where the palms face in that rotation.
pub(crate) const fn palms(rotation: Rotation) -> &'static str {
    match rotation {
        Rotation::Internal => "palms down",
        Rotation::External => "palms up",
    }
}

/// The view as a word.
pub(crate) const fn view_word(view: View) -> &'static str {
    match view {
        View::Side => "side",
        View::Front => "front",
        View::Oblique => "oblique",
    }
}

/// The side or sides as a word.
pub(crate) const fn side_word(side: ResultSide) -> &'static str {
    match side {
        ResultSide::Left => "left",
        ResultSide::Right => "right",
        ResultSide::Both => "both",
    }
}

/// The sign of a status.
pub(crate) const fn status_sign(status: CheckStatus) -> &'static str {
    match status {
        CheckStatus::Ok => "✓",
        CheckStatus::Warn => "△",
        CheckStatus::Fail => "✗",
        CheckStatus::Unknown => "?",
    }
}

/// The sign and word of a status, so that neither colour nor shape alone tells it.
pub(crate) const fn status_words(status: CheckStatus) -> &'static str {
    match status {
        CheckStatus::Ok => "✓ ok",
        CheckStatus::Warn => "△ in doubt",
        CheckStatus::Fail => "✗ fail",
        CheckStatus::Unknown => "? unknown",
    }
}

/// `a`, `a and b` or `a, b and c`.
pub(crate) fn listed(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [start @ .., last] => format!("{} and {last}", start.join(", ")),
    }
}

/// The sentence set as everywhere in a report: "deg" after a number becomes the degree sign, and a percent sign is not
/// broken from its number.
pub(crate) fn typeset(sentence: &str) -> String {
    let mut written = String::with_capacity(sentence.len());
    let mut rest = sentence;
    while let Some(at) = rest.find("deg") {
        let (before, unit_on) = rest.split_at(at);
        let after = &unit_on["deg".len()..];
        let number = before.strip_suffix([' ', '\u{a0}']).filter(|text| text.ends_with(|c: char| c.is_ascii_digit()));
        match number.filter(|_| !after.starts_with(char::is_alphanumeric)) {
            Some(number) => written.extend([number, "°"]),
            None => written.extend([before, "deg"]),
        }
        rest = after;
    }
    (written + rest).replace(" %", "\u{a0}%")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured(value: f64, u: f64) -> Measured {
        Measured { value, u, lo: value - 2.0 * u, hi: value + 2.0 * u }
    }

    #[test]
    fn negative_numbers_have_a_true_minus_and_zero_has_no_sign() {
        assert_eq!(fixed(-11.26, 1), "−11.3");
        assert_eq!(fixed(-0.04, 1), "0.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(signed(7.94, 1), "+7.9");
    }

    #[test]
    fn angles_keep_a_tenth_whatever_their_uncertainty() {
        assert_eq!(value(measured(151.234, 0.04), Unit::Degree, Sign::Minus), "151.2°");
        assert_eq!(value(measured(151.234, 4.0), Unit::Degree, Sign::Minus), "151.2°");
    }

    #[test]
    fn lengths_stop_at_the_digit_of_their_uncertainty() {
        assert_eq!(value(measured(612.34, 12.0), Unit::Millimetre, Sign::Minus), "612\u{a0}mm");
        assert_eq!(value(measured(612.34, 0.4), Unit::Millimetre, Sign::Minus), "612.3\u{a0}mm");
        assert_eq!(fixed(1.0346, Unit::ArmLength.decimals(Some(0.02))), "1.03");
        assert_eq!(fixed(1.0346, Unit::ArmLength.decimals(Some(0.004))), "1.035");
    }

    #[test]
    fn intervals_share_the_digits_of_the_estimate() {
        assert_eq!(interval(measured(-11.3, 1.3), Unit::Degree, Sign::Always), "−13.9 to −8.7");
    }

    #[test]
    fn degrees_of_a_sentence_get_their_sign() {
        assert_eq!(typeset("−13.9 to −8.7 deg, by 3 deg."), "−13.9 to −8.7°, by 3°.");
        assert_eq!(typeset("10.0\u{a0}deg lower"), "10.0° lower");
        assert_eq!(typeset("within 95 %"), "within 95\u{a0}%");
        assert_eq!(typeset("2 degrees of freedom, some deg"), "2 degrees of freedom, some deg");
    }

    #[test]
    fn lists_end_with_and() {
        let items = ["a", "b", "c"].map(str::to_owned);
        assert_eq!(listed(&items), "a, b and c");
        assert_eq!(listed(&items[..2]), "a and b");
        assert_eq!(listed(&items[..1]), "a");
    }
}
