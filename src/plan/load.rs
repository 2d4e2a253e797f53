//! What is lifted: a weight in kg or lb that exists, a band, a share of what the client usually lifts, or nothing.

use std::fmt;

use serde::{Serialize, Serializer};

/// A weight counts as another if it is lighter by no more than this: 10 lb are 4.54 kg, and stand for 4.5 kg. Common
/// practice, no source.
pub const WEIGHT_SLACK_PERCENT: u64 = 3;

/// The heaviest weight that a plan or a log may state, in its unit.
pub const WEIGHT_MAX: f64 = 500.0;

/// Unit of a weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Kilograms.
    Kg,
    /// Pounds, of 0.45359237 kg each.
    Lb,
}

impl Unit {
    /// The unit's symbol.
    #[must_use]
    pub const fn symbol(self) -> &'static str {
        match self {
            Self::Kg => "kg",
            Self::Lb => "lb",
        }
    }

    /// The mass of a hundredth of the unit, in tenths of a microgram, exactly.
    const fn hundredth_mass(self) -> u64 {
        match self {
            Self::Kg => 100_000_000,
            Self::Lb => 45_359_237,
        }
    }
}

/// A weight, exact to a hundredth of its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Weight {
    hundredths: u32,
    unit: Unit,
}

impl Weight {
    /// A weight above zero and up to [`WEIGHT_MAX`] that is a whole number of hundredths; `None` for anything else.
    #[must_use]
    pub fn new(amount: f64, unit: Unit) -> Option<Self> {
        let hundredths = (amount * 100.0).round();
        let is_exact = (amount * 100.0 - hundredths).abs() < 1e-6;
        if !amount.is_finite() || !is_exact || hundredths < 1.0 || amount > WEIGHT_MAX {
            return None;
        }
        // within 1 and 50 000 by the line above, and printed without a fraction
        let hundredths = format!("{hundredths:.0}").parse().ok()?;
        Some(Self { hundredths, unit })
    }

    /// In the weight's unit.
    #[must_use]
    pub fn amount(self) -> f64 {
        f64::from(self.hundredths) / 100.0
    }

    /// Kilograms.
    #[must_use]
    pub fn kg(self) -> f64 {
        match self.unit {
            Unit::Kg => self.amount(),
            Unit::Lb => self.amount() * 0.453_592_37,
        }
    }

    /// Unit of [`Self::amount`].
    #[must_use]
    pub const fn unit(self) -> Unit {
        self.unit
    }

    /// In tenths of a microgram, which kg and lb share exactly.
    const fn mass(self) -> u64 {
        self.hundredths as u64 * self.unit.hundredth_mass()
    }
}

impl fmt::Display for Weight {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.amount(), self.unit.symbol())
    }
}

/// What is lifted, pulled or pressed against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Load {
    /// Nothing but the body, or nothing stated.
    None,
    /// A weight.
    Weight(Weight),
    /// A band, by its place in the plan's list, the lightest first.
    Band(u8),
    /// A share of what the client usually lifts, %.
    Share(u8),
}

/// The kind of a load. Loads of one kind can be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LoadKind {
    /// No load.
    None,
    /// A weight in kg or lb.
    Weight,
    /// A band.
    Band,
    /// A share of the usual load.
    Share,
}

impl Load {
    /// Its kind.
    #[must_use]
    pub const fn kind(self) -> LoadKind {
        match self {
            Self::None => LoadKind::None,
            Self::Weight(_) => LoadKind::Weight,
            Self::Band(_) => LoadKind::Band,
            Self::Share(_) => LoadKind::Share,
        }
    }

    /// A number that grows with the load; only loads of one kind compare by it. No load is zero.
    #[must_use]
    pub const fn amount(self) -> u64 {
        match self {
            Self::None => 0,
            Self::Weight(weight) => weight.mass(),
            // bands count from one, so that the lightest is more than none
            Self::Band(place) => place as u64 + 1,
            Self::Share(percent) => percent as u64,
        }
    }

    /// Whether this load counts as at least `other`, a weight with [`WEIGHT_SLACK_PERCENT`].
    #[must_use]
    pub fn is_at_least(self, other: Self) -> bool {
        match (self, other) {
            (Self::Weight(own), Self::Weight(other)) => own.mass() * 100 >= other.mass() * (100 - WEIGHT_SLACK_PERCENT),
            _ => self.amount() >= other.amount(),
        }
    }

    /// The load in words, such as `2.5 kg`, `light` or `60 %`; empty for none.
    #[must_use]
    pub fn words(self, bands: &[String]) -> String {
        match self {
            Self::None => String::new(),
            Self::Weight(weight) => weight.to_string(),
            Self::Band(place) => bands.get(usize::from(place)).cloned().unwrap_or_default(),
            Self::Share(percent) => format!("{percent} %"),
        }
    }

    /// Reads what [`Self::words`] writes; a decimal comma and a missing space are taken too.
    ///
    /// # Errors
    /// [`NotALoad`] with the text.
    pub fn parse(text: &str, bands: &[String]) -> Result<Self, NotALoad> {
        let text = text.trim();
        if text.is_empty() {
            return Ok(Self::None);
        }
        if let Some(place) = bands.iter().position(|band| band.eq_ignore_ascii_case(text)) {
            return u8::try_from(place).map(Self::Band).map_err(|_| NotALoad::of(text));
        }
        let (digits, unit) = text.split_at(text.find(|c: char| c.is_alphabetic() || c == '%').unwrap_or(text.len()));
        let amount: f64 = digits.trim().replace(',', ".").parse().map_err(|_| NotALoad::of(text))?;
        let weight = |unit| Weight::new(amount, unit).map(Self::Weight);
        match unit.trim() {
            "kg" => weight(Unit::Kg),
            "lb" | "lbs" => weight(Unit::Lb),
            "%" => percent(amount).map(Self::Share),
            _ => None,
        }
        .ok_or_else(|| NotALoad::of(text))
    }
}

impl Serialize for Weight {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

/// A text that is no load.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{}\" is no load, expected a weight above 0 and up to {WEIGHT_MAX} with its unit such as 2.5 kg or 5 lb, the name of a band, or a share from 1 to 150 %", found.escape_debug())]
pub struct NotALoad {
    /// The text found.
    pub found: String,
}

impl NotALoad {
    fn of(text: &str) -> Self {
        Self { found: text.chars().take(40).collect() }
    }
}

/// A whole share from 1 to 150 %.
fn percent(amount: f64) -> Option<u8> {
    if !(1.0..=150.0).contains(&amount) || amount.fract().abs() > 0.0 {
        return None;
    }
    format!("{amount:.0}").parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn load(text: &str) -> Load {
        Load::parse(text, &["light".to_owned(), "firm".to_owned()]).unwrap()
    }

    #[test]
    fn loads_come_back_as_they_were_written() {
        let bands = ["light".to_owned(), "firm".to_owned()];
        for text in ["2.5 kg", "5 lb", "firm", "60 %", "", "0.75 kg"] {
            assert_eq!(load(text).words(&bands), text);
        }
        assert_eq!(load("2,5kg"), load("2.5 kg"));
        assert_eq!(load("Light"), Load::Band(0));
    }

    #[test]
    fn what_cannot_be_lifted_is_refused() {
        for text in [
            "-5 kg", "0 kg", "2.5", "kg", "2.501 kg", "501 kg", "nan kg", "inf lb", "151 %", "0 %", "2.5 %", "rope",
            "−5 kg",
        ] {
            assert!(Load::parse(text, &[]).is_err(), "{text}");
        }
    }

    #[test]
    fn kilograms_and_pounds_compare() {
        // One pound is 0.45359237 kg by definition: 10 lb are 4.5359237 kg.
        assert!(load("10 lb").amount() > load("4.53 kg").amount());
        assert!(load("10 lb").amount() < load("4.54 kg").amount());
        // 5 lb are 2.268 kg, 2.25 kg are 0.8 % less, 2 kg are 12 % less.
        assert!(load("2.25 kg").is_at_least(load("5 lb")));
        assert!(!load("2 kg").is_at_least(load("5 lb")));
        assert!(load("firm").is_at_least(load("light")) && !load("light").is_at_least(load("firm")));
        assert!((Weight::new(10.0, Unit::Lb).unwrap().kg() - 4.535_923_7).abs() < 1e-12);
    }
}
