//! The words that stand for choices in the database and in forms.

use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSql, ToSqlOutput, ValueRef};

use super::model::Palms;
use super::screening::AnsweredBy;
use crate::geometry::Side;
use crate::plan::{PainRule, Resisted, UlnarNerve, Unit, UnknownWord, Valgus};
use crate::pose::{Rotation, View};
use crate::screen::{LimitedBy, Occasion, ResultSide};

/// A choice with a word for each of its values.
pub trait Word: Copy + PartialEq + 'static {
    /// All values with their words.
    const WORDS: &'static [(&'static str, Self)];

    /// The word of a value.
    fn word(self) -> &'static str {
        let word = Self::WORDS.iter().find(|(_, value)| *value == self).map(|(word, _)| *word);
        word.expect("every value has a word, which the tests check")
    }

    /// The value of a word.
    ///
    /// # Errors
    /// [`UnknownWord`] with the word.
    fn of_word(word: &str) -> Result<Self, UnknownWord> {
        let value = Self::WORDS.iter().find(|(known, _)| *known == word).map(|(_, value)| *value);
        value.ok_or_else(|| UnknownWord { found: word.to_owned() })
    }
}

impl Word for Occasion {
    const WORDS: &'static [(&'static str, Self)] = &[("before", Self::Before), ("after", Self::After)];
}

impl Word for Rotation {
    const WORDS: &'static [(&'static str, Self)] = &[("internal", Self::Internal), ("external", Self::External)];
}

impl Word for View {
    const WORDS: &'static [(&'static str, Self)] =
        &[("side", Self::Side), ("front", Self::Front), ("oblique", Self::Oblique)];
}

impl Word for Side {
    const WORDS: &'static [(&'static str, Self)] = &[("left", Self::Left), ("right", Self::Right)];
}

impl Word for ResultSide {
    const WORDS: &'static [(&'static str, Self)] =
        &[("left", Self::Left), ("right", Self::Right), ("both", Self::Both)];
}

impl Word for LimitedBy {
    const WORDS: &'static [(&'static str, Self)] =
        &[("stretch", Self::Stretch), ("pain", Self::Pain), ("other", Self::Other)];
}

impl Word for Palms {
    const WORDS: &'static [(&'static str, Self)] =
        &[("down", Self::Down), ("up", Self::Up), ("unclear", Self::Unclear)];
}

impl Word for AnsweredBy {
    const WORDS: &'static [(&'static str, Self)] = &[("client", Self::Client), ("clinician", Self::Clinician)];
}

impl Word for Resisted {
    const WORDS: &'static [(&'static str, Self)] = &[
        ("clear", Self::Clear),
        ("painful", Self::Painful),
        ("weak", Self::Weak),
        ("painful_and_weak", Self::PainfulAndWeak),
    ];
}

impl Word for Valgus {
    const WORDS: &'static [(&'static str, Self)] =
        &[("clear", Self::Clear), ("painful", Self::Painful), ("gaps", Self::Gaps)];
}

impl Word for UlnarNerve {
    const WORDS: &'static [(&'static str, Self)] =
        &[("clear", Self::Clear), ("tingling", Self::Tingling), ("weak", Self::Weak)];
}

impl Word for PainRule {
    const WORDS: &'static [(&'static str, Self)] = &[
        ("pain_free", Self::PainFree),
        ("thomee_1997", Self::Thomee1997),
        ("silbernagel_2007", Self::Silbernagel2007),
        ("own", Self::Own),
    ];
}

impl Word for Unit {
    const WORDS: &'static [(&'static str, Self)] = &[("kg", Self::Kg), ("lb", Self::Lb)];
}

/// A choice as the database holds it.
pub(super) struct Stored<T>(pub(super) T);

impl<T: Word> ToSql for Stored<T> {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.0.word().into())
    }
}

impl<T: Word> FromSql for Stored<T> {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        T::of_word(value.as_str()?).map(Self).map_err(FromSqlError::other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holds<T: Word + std::fmt::Debug>(values: &[T]) {
        for value in values {
            assert_eq!(T::of_word(value.word()), Ok(*value));
        }
        assert!(T::of_word("sideways").is_err());
    }

    #[test]
    fn every_value_has_a_word_of_its_own() {
        holds(&[Occasion::Before, Occasion::After]);
        holds(&[Rotation::Internal, Rotation::External]);
        holds(&[View::Side, View::Front, View::Oblique]);
        holds(&Side::BOTH);
        holds(&[ResultSide::Left, ResultSide::Right, ResultSide::Both]);
        holds(&[LimitedBy::Stretch, LimitedBy::Pain, LimitedBy::Other]);
        holds(&[Palms::Down, Palms::Up, Palms::Unclear]);
        holds(&[AnsweredBy::Client, AnsweredBy::Clinician]);
        holds(&[Resisted::Clear, Resisted::Painful, Resisted::Weak, Resisted::PainfulAndWeak]);
        holds(&[Valgus::Clear, Valgus::Painful, Valgus::Gaps]);
        holds(&[UlnarNerve::Clear, UlnarNerve::Tingling, UlnarNerve::Weak]);
        holds(&[PainRule::PainFree, PainRule::Thomee1997, PainRule::Silbernagel2007, PainRule::Own]);
        holds(&[Unit::Kg, Unit::Lb]);
    }
}
