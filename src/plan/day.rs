//! A day of the calendar, as logs and visits state it. There is no clock in this room: today is always given.

use std::fmt;
use std::str::FromStr;

use serde::{Serialize, Serializer};

/// Years that are accepted: whatever lies outside is a slip of the finger.
pub const YEARS: [i32; 2] = [1900, 2199];

/// A day of the Gregorian calendar, written as in ISO 8601: `2026-11-05`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(
    /// Days since 1 January 1970.
    i32,
);

/// A text that is no day.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{}\" is no day, expected one of the calendar such as 2026-11-05", found.escape_debug())]
pub struct NotADay {
    /// The text found.
    pub found: String,
}

impl Day {
    /// A day by year, month from 1 and day of the month from 1; `None` where the calendar has no such day.
    ///
    /// # Source
    /// Days are counted in eras of 400 years that begin in March, common practice.
    #[must_use]
    pub fn from_ymd(year: i32, month: i32, day: i32) -> Option<Self> {
        if !(YEARS[0]..=YEARS[1]).contains(&year) || !(1..=12).contains(&month) || day < 1 {
            return None;
        }
        let march_year = if month <= 2 { year - 1 } else { year };
        let (era, year_of_era) = (march_year.div_euclid(400), march_year.rem_euclid(400));
        let day_of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
        let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
        let made = Self(era * 146_097 + day_of_era - 719_468);
        // the thirtieth of February counts on into March, and does not come back as it went in
        (made.ymd() == [year, month, day]).then_some(made)
    }

    /// Year, month and day of the month, both from 1.
    #[must_use]
    pub fn ymd(self) -> [i32; 3] {
        let days = self.0 + 719_468;
        let (era, day_of_era) = (days.div_euclid(146_097), days.rem_euclid(146_097));
        let year_of_era = (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let from_march = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * from_march + 2) / 5 + 1;
        let month = if from_march < 10 { from_march + 3 } else { from_march - 9 };
        [year_of_era + era * 400 + i32::from(month <= 2), month, day]
    }

    /// The day that many days later; earlier when negative.
    #[must_use]
    pub const fn plus(self, days: i32) -> Self {
        Self(self.0.saturating_add(days))
    }

    /// The day's place in a cycle of that many days, from 0.
    pub(super) fn place_in(self, days: usize) -> usize {
        i32::try_from(days).map_or(0, |days| usize::try_from(self.0.rem_euclid(days)).unwrap_or(0))
    }

    /// Days from `earlier` to this day, negative when that is the later one.
    #[must_use]
    pub const fn days_since(self, earlier: Self) -> i32 {
        self.0.saturating_sub(earlier.0)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [year, month, day] = self.ymd();
        write!(f, "{year:04}-{month:02}-{day:02}")
    }
}

impl FromStr for Day {
    type Err = NotADay;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let not_a_day = || NotADay { found: text.chars().take(40).collect() };
        let is_shaped = text.len() == 10
            && text
                .bytes()
                .enumerate()
                .all(|(at, byte)| if at == 4 || at == 7 { byte == b'-' } else { byte.is_ascii_digit() });
        if !is_shaped {
            return Err(not_a_day());
        }
        let number = |part: &str| part.parse::<i32>().map_err(|_| not_a_day());
        Self::from_ymd(number(&text[..4])?, number(&text[5..7])?, number(&text[8..])?).ok_or_else(not_a_day)
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    #[test]
    fn days_count_from_the_first_of_1970() {
        // 1 January 1970 is day 0 and 1 January 2000 day 10957: 30 years of 365 days and 7 leap days (1972 to 1996).
        assert_eq!(day("1970-01-01"), Day(0));
        assert_eq!(day("2000-01-01").days_since(day("1970-01-01")), 30 * 365 + 7);
        assert_eq!(day("2024-03-01").days_since(day("2024-02-28")), 2);
        assert_eq!(day("2026-12-31").plus(1), day("2027-01-01"));
    }

    #[test]
    fn every_day_of_four_centuries_comes_back() {
        let mut at = day("1900-01-01");
        let mut lengths = 0;
        while at < day("2199-12-31") {
            let next = at.plus(1);
            assert_eq!(next.to_string().parse(), Ok(next));
            let [_, month, date] = next.ymd();
            // the day after any day is the next of its month, or the first of another
            assert!(date == at.ymd()[2] + 1 || (date == 1 && month == at.ymd()[1] % 12 + 1), "{at} {next}");
            lengths += 1;
            at = next;
        }
        // 300 years with 73 leap years (75 multiples of 4 less 1900 and 2100), from the first day to the last.
        assert_eq!(lengths, 300 * 365 + 73 - 1);
    }

    #[test]
    fn what_the_calendar_does_not_have_is_refused() {
        for text in [
            "2026-02-29",
            "2026-13-01",
            "2026-00-10",
            "2026-04-31",
            "26-04-01",
            "2026-4-1",
            "1899-12-31",
            "",
            "2026-11-05 ",
        ] {
            assert!(text.parse::<Day>().is_err(), "{text}");
        }
        assert!(day("2024-02-29") > day("2024-02-28"));
    }
}
