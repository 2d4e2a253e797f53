//! Days and sizes in words.

use crate::plan::words::MONTHS;

/// A day such as `2026-11-25` as `25 November 2026`; anything else as it stands.
pub(super) fn day_words(day: &str) -> String {
    let parts: Vec<usize> = day.split('-').filter_map(|part| part.parse().ok()).collect();
    match parts[..] {
        [year, month @ 1..=12, day] => format!("{day} {} {year}", MONTHS[month - 1]),
        _ => day.to_owned(),
    }
}

/// A size such as `48 MB`, with one decimal below ten.
pub(super) fn size_words(bytes: u64) -> String {
    let (unit, name) = match bytes {
        1_000_000_000.. => (1_000_000_000, "GB"),
        1_000_000.. => (1_000_000, "MB"),
        1_000.. => (1_000, "kB"),
        _ => return format!("{bytes} bytes"),
    };
    let tenths = (bytes * 10 + unit / 2) / unit;
    if tenths < 100 {
        format!("{}.{}\u{a0}{name}", tenths / 10, tenths % 10)
    } else {
        format!("{}\u{a0}{name}", (tenths + 5) / 10)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_and_sizes_read_well() {
        assert_eq!(day_words("2026-11-05"), "5 November 2026");
        assert_eq!(day_words("some day"), "some day");
        assert_eq!(size_words(999), "999 bytes");
        assert_eq!(size_words(1_067_175), "1.1\u{a0}MB");
        assert_eq!(size_words(48_400_000), "48\u{a0}MB");
        assert_eq!(size_words(1_990_000_000), "2.0\u{a0}GB");
    }
}
