//! The checks: conditions that make a reach, or a pair of reaches, trustworthy.
//!
//! A check fails only when its interval lies wholly beyond the limit. All limits are common practice without source.

pub(crate) mod pair;
pub(crate) mod reach;
pub(crate) mod view;

use crate::uncertainty::Measured;

use super::result::{Check, CheckStatus};
use super::words::decimal;

/// The checks that break a pair when they fail.
const BREAKING: [&str; 7] =
    ["elbow_straight", "view_as_stated", "pain_free", "back_flat", "same_grip", "trunk_still", "two_takes"];

/// The order to film that ends the text of a failed check, by the check's name; [`Check::finding`] leaves it out.
pub(crate) fn filming_order(name: &str) -> &'static str {
    match name {
        "elbow_straight" => ": film again with straight elbows.",
        "back_flat" => ": film again with the back kept flat.",
        "same_grip" => ": film again with the hands on tape marks.",
        "trunk_still" => "; film again with the back against the wall in both.",
        "two_takes" => ". Name the clip of each reach, or film the missing one.",
        "camera_unmoved" => ". Film both with the same phone, in the same mode, on a stand.",
        _ => "",
    }
}

/// Whether this check failed and so breaks the pair.
pub(crate) fn is_breaking(check: &Check) -> bool {
    check.status == CheckStatus::Fail && BREAKING.contains(&check.name.as_str())
}

/// How a quantity that must not exceed `limit` came out.
pub(crate) fn status_below(measured: &Measured, limit: f64) -> CheckStatus {
    if measured.lo > limit {
        CheckStatus::Fail
    } else if measured.value + measured.u > limit {
        // beyond it by the estimate, or nearer to it than one standard uncertainty
        CheckStatus::Warn
    } else {
        CheckStatus::Ok
    }
}

/// How a quantity lies to its limit, as the end of a sentence without its full stop. Where value and interval lie on both sides
/// of the limit, the sentence says that it can't be told. `write` writes a number
/// without its unit, `unit` follows it.
pub(crate) fn limit_words(measured: &Measured, limit: f64, write: impl Fn(f64) -> String, unit: &str) -> String {
    let limit_written = write(limit);
    match status_below(measured, limit) {
        CheckStatus::Fail => format!(", beyond the limit of {limit_written}{unit}"),
        CheckStatus::Warn if write(measured.value) == limit_written => {
            format!(", at the limit of {limit_written}{unit}: whether it is kept can't be told")
        }
        CheckStatus::Warn => {
            let (is, reaches) = if measured.value > limit { ("beyond", "within") } else { ("within", "beyond") };
            format!(
                ", {is} the limit of {limit_written}{unit}, but the 95\u{a0}% interval ({} to {}{unit}) reaches {reaches} it: \
                 whether the limit is kept can't be told",
                write(measured.lo),
                write(measured.hi)
            )
        }
        CheckStatus::Ok | CheckStatus::Unknown => format!("; limit {limit_written}{unit}"),
    }
}

/// [`limit_words`] of an angle.
pub(crate) fn deg_limit(measured: &Measured, limit_deg: f64) -> String {
    limit_words(measured, limit_deg, |value| decimal(value, 1), "\u{a0}deg")
}

/// A signed quantity as the size of its departure from zero: the interval is kept at or above zero.
pub(crate) fn magnitude(measured: &Measured) -> Measured {
    let half_width = 0.5 * (measured.hi - measured.lo);
    let value = measured.value.abs();
    Measured { value, u: measured.u, lo: (value - half_width).max(0.0), hi: value + half_width }
}

/// A check without a number.
pub(crate) fn plain(name: &str, status: CheckStatus, text: impl Into<String>) -> Check {
    Check { name: name.to_owned(), status, value: None, u: None, limit: None, text: text.into() }
}

/// A check whose quantity these marks do not determine.
pub(crate) fn unknown(name: &str, limit: Option<f64>, text: impl Into<String>) -> Check {
    Check { limit, ..plain(name, CheckStatus::Unknown, text) }
}

/// Why `what` is not known, in a sentence.
pub(crate) fn not_determined(what: &str, reason: &str) -> String {
    match reason.strip_prefix("the marks do not") {
        Some(rest) => format!("The marks do not{rest}."),
        None => format!("{what} not determined: {reason}."),
    }
}

/// A check of a measured quantity against its limit.
pub(crate) fn against(name: &str, measured: &Measured, limit: f64, text: impl Into<String>) -> Check {
    Check {
        name: name.to_owned(),
        status: status_below(measured, limit),
        value: Some(measured.value),
        u: Some(measured.u),
        limit: Some(limit),
        text: text.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fails_only_when_the_whole_interval_is_beyond() {
        let measured = |value: f64, u: f64| Measured { value, u, lo: value - 2.0 * u, hi: value + 2.0 * u };
        assert_eq!(status_below(&measured(10.0, 1.0), 15.0), CheckStatus::Ok);
        assert_eq!(status_below(&measured(14.5, 1.0), 15.0), CheckStatus::Warn);
        assert_eq!(status_below(&measured(16.0, 1.0), 15.0), CheckStatus::Warn);
        assert_eq!(status_below(&measured(17.1, 1.0), 15.0), CheckStatus::Fail);
    }

    #[test]
    fn a_value_beyond_the_limit_that_may_be_within_is_told_as_open() {
        let said = |value: f64, u: f64| {
            let measured = Measured { value, u, lo: value - 2.0 * u, hi: value + 2.0 * u };
            limit_words(&measured, 15.0, |value| decimal(value, 1), " deg")
        };
        let open = "whether the limit is kept can't be told";
        let interval = |ends: &str| format!("but the 95\u{a0}% interval ({ends} deg)");
        assert_eq!(
            said(17.1, 5.0),
            format!(", beyond the limit of 15.0 deg, {} reaches within it: {open}", interval("7.1 to 27.1"))
        );
        assert_eq!(
            said(14.5, 1.0),
            format!(", within the limit of 15.0 deg, {} reaches beyond it: {open}", interval("12.5 to 16.5"))
        );
        // rounded alike, the two numbers would contradict "beyond" and "within"
        assert_eq!(said(15.04, 1.0), ", at the limit of 15.0 deg: whether it is kept can't be told");
        assert_eq!(said(20.0, 1.0), ", beyond the limit of 15.0 deg");
        assert_eq!(said(4.0, 1.0), "; limit 15.0 deg");
    }
}
