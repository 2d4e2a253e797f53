//! What the pictures of a visit say of its marks: what is to be asked, and the answers that are kept.
//!
//! An answer is kept with a hash of all that it rests on: the clips, the times, and the marks that are looked for. It counts while the
//! marks of today raise the same question, and again where they are put back. Where spots of one reach are in the picture of another
//! does not hang on the marks of that other one, so that moving these asks for nothing. What is kept changes no marks.

use std::collections::HashMap;

use rusqlite::{TransactionBehavior, params};

use super::case::CaseReach;
use super::error::{RecordsError, database};
use super::model::Media;
use super::store::{Records, hash_words};
use super::visits::note_change;
use crate::screen::case::ReachEntry;
use crate::screen::{Answer, Look, MarksFile, Question, looks, needed_landmarks};

/// Answers to the same question by an earlier way of looking are no answers. To be raised with every change of what is found.
const WAY_OF_LOOKING: u32 = 3;

/// Of each reach as many answers are kept as there may be questions to all its raises, and those of marks that may be put back.
const KEPT_ANSWERS_MAX: u32 = 100;

/// A question to the pictures of a visit that no kept answer is to.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenLook {
    /// The number of the reach whose marks the answer bears on.
    pub reach: i64,
    /// Its clip or still.
    pub media: Media,
    /// That of the reach that it is held against, where it is.
    pub from_media: Option<Media>,
    /// What is asked.
    pub question: Question,
    /// A hash of all that the answer rests on.
    pub origin: String,
}

/// The looks that the marks of a visit ask for.
pub(super) struct AskedLooks {
    /// Those with an answer.
    pub(super) answered: Vec<(Look, Answer)>,
    /// Those without.
    pub(super) open: Vec<OpenLook>,
}

impl Records {
    /// What the marks of the reaches of a case ask of their pictures. `by_origin` holds their marks with all that were brought over told
    /// from those placed by hand, also where they count as such by now. Only reaches that have all their marks are held against each
    /// other.
    pub(super) fn asked_looks(
        &self,
        entries: &[ReachEntry],
        reaches: &[CaseReach],
        by_origin: &[MarksFile],
    ) -> Result<AskedLooks, RecordsError> {
        let pairs: Vec<(&ReachEntry, &MarksFile)> = entries.iter().zip(by_origin).collect();
        let is_complete: Vec<bool> = pairs.iter().map(|(entry, marks)| is_complete(entry, marks)).collect();
        let kept: Vec<HashMap<String, Answer>> =
            reaches.iter().map(|reach| self.kept_answers(reach.id)).collect::<Result<_, _>>()?;
        let mut asked = AskedLooks { answered: Vec::new(), open: Vec::new() };
        for look in looks(&pairs) {
            if !is_complete[look.reach] || look.from_reach.is_some_and(|from| !is_complete[from]) {
                continue;
            }
            let (id, media) = (reaches[look.reach].id, &reaches[look.reach].media);
            let from_media = look.from_reach.map(|from| &reaches[from].media);
            let rests_on = (WAY_OF_LOOKING, &media.hash, from_media.map(|media| &media.hash), &look.question);
            let rests_on = serde_json::to_vec(&rests_on).map_err(|source| RecordsError::Document { source })?;
            let origin = hash_words(&rests_on);
            match kept[look.reach].get(&origin) {
                Some(answer) => asked.answered.push((look, answer.clone())),
                None => asked.open.push(OpenLook {
                    reach: id,
                    media: media.clone(),
                    from_media: from_media.cloned(),
                    question: look.question,
                    origin,
                }),
            }
        }
        Ok(asked)
    }

    /// The answers that are kept of a reach, by what they rest on. What another version wrote and this one cannot read counts as none.
    fn kept_answers(&self, reach: i64) -> Result<HashMap<String, Answer>, RecordsError> {
        let step = "read what pictures say";
        let connection = self.connection();
        let mut statement =
            connection.prepare_cached("SELECT origin, answer FROM looks WHERE reach = ?1").map_err(database(step))?;
        let rows = statement.query_map([reach], |row| Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?)));
        let rows = rows.and_then(Iterator::collect::<Result<Vec<_>, _>>).map_err(database(step))?;
        Ok(rows
            .into_iter()
            .filter_map(|(origin, answer)| Some((origin, serde_json::from_str(&answer).ok()?)))
            .collect())
    }

    /// Keeps answers, all of them or none. A reach that was deleted meanwhile gets none.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn keep_answers(&self, visit: i64, answers: &[(OpenLook, Answer)]) -> Result<(), RecordsError> {
        let step = "keep what pictures say";
        let mut connection = self.connection();
        let transaction =
            connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(database(step))?;
        for (look, answer) in answers {
            let answer = serde_json::to_string(answer).map_err(|source| RecordsError::Document { source })?;
            transaction
                .execute(
                    "INSERT OR REPLACE INTO looks (reach, origin, answer, made_at)
                     SELECT id, ?2, ?3, strftime('%Y-%m-%dT%H:%M:%fZ', 'now') FROM reaches WHERE id = ?1",
                    params![look.reach, look.origin, answer],
                )
                .map_err(database(step))?;
            transaction
                .execute(
                    "DELETE FROM looks WHERE reach = ?1 AND origin NOT IN
                         (SELECT origin FROM looks WHERE reach = ?1 ORDER BY made_at DESC LIMIT ?2)",
                    params![look.reach, KEPT_ANSWERS_MAX],
                )
                .map_err(database(step))?;
        }
        note_change(&transaction, visit)?;
        transaction.commit().map_err(database(step))
    }
}

/// Whether all marks that the view needs are placed.
fn is_complete(entry: &ReachEntry, marks: &MarksFile) -> bool {
    let is_marked = |landmark| marks.frames.iter().any(|frame| frame.points.contains_key(&landmark));
    needed_landmarks(entry.view, entry.near_side).into_iter().all(is_marked)
}
