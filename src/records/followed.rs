//! Arms followed through clips: from which marks they can be, and what was followed last.
//!
//! What was followed is kept with a hash of what it was followed from: the clip, the side and the marks of the arm. Where these are
//! others today it is older; where they are put back, it is not any more.

use rusqlite::{OptionalExtension as _, params};

use super::carried::RecordedReach;
use super::case::entry;
use super::error::{RecordsError, database};
use super::model::{Reach, ReachMarks};
use super::store::{Records, hash_words};
use crate::geometry::Landmark;
use crate::screen::{ArmToFollow, FollowedArm};

/// Whether the near arm of a reach can be followed.
#[derive(Debug, Clone, PartialEq)]
pub enum Followable {
    /// From these marks.
    From {
        /// The marks.
        arm: ArmToFollow,
        /// A hash of all that the following rests on.
        origin: String,
    },
    /// Not yet: these landmarks are missing.
    Lacks(Vec<Landmark>),
    /// Never: a still, or no side is towards the camera.
    Never,
}

/// An arm that was followed.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptArm {
    /// A hash of all that the following rested on.
    pub origin: String,
    /// What was followed.
    pub arm: FollowedArm,
}

impl Followable {
    /// Whether the near arm of a reach can be followed from its marks. Marks that were carried and confirmed count as placed.
    ///
    /// # Errors
    /// [`RecordsError::Document`] where the marks have no form as text.
    pub fn of(reach: &Reach, marks: &ReachMarks) -> Result<Self, RecordsError> {
        if reach.media.facts.frame_times_s.len() < 2 || reach.facts.near_side.is_none() {
            return Ok(Self::Never);
        }
        let entry = entry(reach, marks);
        let recorded = RecordedReach { reach: reach.clone(), marks: marks.clone(), entry };
        match ArmToFollow::of(&recorded.entry, &recorded.marks_file(|_| None)) {
            Err(missing) => Ok(Self::Lacks(missing)),
            Ok(arm) => {
                let rests_on = serde_json::to_vec(&(&reach.media.hash, &arm));
                let origin = hash_words(&rests_on.map_err(|source| RecordsError::Document { source })?);
                Ok(Self::From { arm, origin })
            }
        }
    }

    /// Whether something that was followed rests on other marks than these.
    #[must_use]
    pub fn makes_older(&self, kept_origin: &str) -> bool {
        !matches!(self, Self::From { origin, .. } if origin == kept_origin)
    }
}

impl Records {
    /// The arm of a reach as it was followed last. What an earlier version wrote and this one cannot read counts as none.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn followed(&self, reach: i64) -> Result<Option<KeptArm>, RecordsError> {
        let row = self
            .connection()
            .query_row("SELECT origin, arm FROM followed WHERE reach = ?1", [reach], |row| {
                Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?))
            })
            .optional()
            .map_err(database("read a followed arm"))?;
        Ok(row.and_then(|(origin, arm)| Some(KeptArm { origin, arm: serde_json::from_str(&arm).ok()? })))
    }

    /// From what the arm of a reach was followed last.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn followed_origin(&self, reach: i64) -> Result<Option<String>, RecordsError> {
        let sql = "SELECT origin FROM followed WHERE reach = ?1";
        let found = self.connection().query_row(sql, [reach], |row| row.get(0)).optional();
        found.map_err(database("read a followed arm"))
    }

    /// Keeps an arm that was followed in place of the one before. A reach that was deleted meanwhile gets none.
    ///
    /// # Errors
    /// [`RecordsError::Database`].
    pub fn keep_followed(&self, reach: i64, kept: &KeptArm) -> Result<(), RecordsError> {
        let arm = serde_json::to_string(&kept.arm).map_err(|source| RecordsError::Document { source })?;
        self.connection()
            .execute(
                "INSERT OR REPLACE INTO followed (reach, origin, arm, made_at)
                 SELECT id, ?2, ?3, strftime('%Y-%m-%dT%H:%M:%fZ', 'now') FROM reaches WHERE id = ?1",
                params![reach, kept.origin, arm],
            )
            .map_err(database("keep a followed arm"))?;
        Ok(())
    }
}
