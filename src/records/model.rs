//! What the records hold.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::geometry::{Landmark, Side};
use crate::pose::{Rotation, View};
use crate::screen::{LimitedBy, Occasion, Picture, ResultSide};
use crate::video::Damage;

/// A client.
#[derive(Debug, Clone, PartialEq)]
pub struct Client {
    /// Its number.
    pub id: i64,
    /// What is known of the person.
    pub facts: ClientFacts,
    /// The day on which the client was recorded, as `2026-11-25`.
    pub made_on: String,
}

/// What is known of a client.
#[derive(Debug, Clone, PartialEq)]
pub struct ClientFacts {
    /// A code, never a name; codes that differ in case alone are the same.
    pub code: String,
    /// The side or sides with the complaint.
    pub affected_side: ResultSide,
    /// Standing height, mm.
    pub stature_mm: Option<f64>,
    /// Shoulder to wrist with the elbow straight, mm.
    pub arm_length_mm: Option<f64>,
    /// Invented for trying things out.
    pub is_demo: bool,
}

/// Answers on danger signs, with their day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Screening {
    /// The answers.
    pub answers: super::screening::Answers,
    /// The day, as `2026-11-25`.
    pub made_on: String,
}

/// A visit.
#[derive(Debug, Clone, PartialEq)]
pub struct Visit {
    /// Its number.
    pub id: i64,
    /// The client's number.
    pub client: i64,
    /// The day, as `2026-11-25`.
    pub made_on: String,
    /// Bar, margin and profile.
    pub settings: VisitSettings,
    /// Counts everything that can change the result.
    pub changes: i64,
    /// One person does it alone, step by step.
    pub is_alone: bool,
}

/// What is set for a visit.
#[derive(Debug, Clone, PartialEq)]
pub struct VisitSettings {
    /// The bar, end to end, mm.
    pub bar_length_mm: Option<f64>,
    /// The hands are on tape marks in every reach.
    pub taped_grips: bool,
    /// The margin of the call, deg.
    pub margin_deg: f64,
    /// The text of a lens profile, `tworeach/camera/1`.
    pub profile: Option<String>,
}

impl Default for VisitSettings {
    fn default() -> Self {
        let margin_deg = crate::screen::case::MARGIN_DEG_DEFAULT;
        Self { bar_length_mm: None, taped_grips: false, margin_deg, profile: None }
    }
}

/// Which reach of a visit, and how it was filmed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReachFacts {
    /// Before or after the stretch.
    pub occasion: Occasion,
    /// How the shoulders are turned.
    pub rotation: Rotation,
    /// From where it was filmed.
    pub view: View,
    /// The side towards the camera, in side and oblique views.
    pub near_side: Option<Side>,
    /// The picture is a mirror picture.
    pub mirrored: bool,
}

/// A reach.
#[derive(Debug, Clone, PartialEq)]
pub struct Reach {
    /// Its number, never given out again.
    pub id: i64,
    /// The visit's number.
    pub visit: i64,
    /// Which reach.
    pub facts: ReachFacts,
    /// Which way the palms were seen to face; `None` until somebody looked.
    pub palms: Option<Palms>,
    /// The clip or still.
    pub media: Media,
}

impl Reach {
    /// Whether the palms were seen to face as in the other rotation.
    #[must_use]
    pub fn is_contrary(&self) -> bool {
        self.palms.and_then(|palms| palms.are_of(self.facts.rotation)) == Some(false)
    }

    /// Whether somebody looked at the palms, and the picture did not tell: only the word of who brought the clip in says which
    /// reach it is.
    #[must_use]
    pub fn has_unclear_palms(&self) -> bool {
        self.palms == Some(Palms::Unclear)
    }
}

/// Which way the palms face.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Palms {
    /// Down: internally rotated.
    Down,
    /// Up: externally rotated.
    Up,
    /// The picture does not tell.
    Unclear,
}

impl Palms {
    /// Whether they face as in this rotation; `None` where the picture does not tell.
    #[must_use]
    pub fn are_of(self, rotation: Rotation) -> Option<bool> {
        match self {
            Self::Down => Some(rotation == Rotation::Internal),
            Self::Up => Some(rotation == Rotation::External),
            Self::Unclear => None,
        }
    }
}

/// A clip or still in the data folder.
#[derive(Debug, Clone, PartialEq)]
pub struct Media {
    /// SHA-256 of its content, which is also its file's name.
    pub hash: String,
    /// Its size, bytes.
    pub bytes: u64,
    /// What it is.
    pub facts: MediaFacts,
}

/// What a clip or still is, found when it was brought in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MediaFacts {
    /// The usual extension of such a file, without the dot.
    pub extension: String,
    /// Container and codec in words.
    pub words: String,
    /// Width and height of the upright picture, px.
    pub upright_size: [u32; 2],
    /// Quarter turns clockwise from the stored to the upright picture.
    pub quarter_turns: u8,
    /// The times of all usable frames, s, increasing; 0 alone for a still.
    pub frame_times_s: Vec<f64>,
    /// When the last usable frame ends, s.
    pub end_s: f64,
    /// Where the clip stops being usable.
    pub damage: Option<Damage>,
}

impl MediaFacts {
    /// What the screen must know of it.
    #[must_use]
    pub const fn picture(&self) -> Picture {
        Picture { upright_size: self.upright_size, quarter_turns: self.quarter_turns, damage: self.damage }
    }

    /// The frame shown at a time, s: the last one that begins at or before it, give or take half a millisecond.
    #[must_use]
    pub fn frame_at(&self, time_s: f64) -> usize {
        let limit_s = time_s + crate::video::TIME_TOLERANCE_S;
        self.frame_times_s.partition_point(|frame_s| *frame_s <= limit_s).saturating_sub(1)
    }
}

/// The marks of one raise, placed once.
#[derive(Debug, Clone, PartialEq)]
pub struct Marking {
    /// Which raise of the clip, from 1.
    pub raise: u32,
    /// Which time it was marked, from 1.
    pub repeat: u32,
    /// The frame's time, s.
    pub time_s: f64,
    /// The marks, px of the upright picture.
    pub points: BTreeMap<Landmark, [f64; 2]>,
    /// Those of them that were carried from another reach, and whence; the others were placed by hand.
    pub carried: BTreeMap<Landmark, CarriedFrom>,
}

/// Whence a mark was carried.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CarriedFrom {
    /// The number of the reach.
    pub reach: i64,
    /// Time of the frame there, s.
    pub time_s: f64,
    /// Where the mark was there, px.
    pub source: [f64; 2],
    /// Covariance of the carrying alone: cxx, cxy, cyy in px².
    pub covariance_px2: [f64; 3],
}

/// What the person said of a reach.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Feel {
    /// Pain at end range, 0 to 10.
    pub pain: Option<f64>,
    /// What ended the reach.
    pub limited_by: Option<LimitedBy>,
    /// Low back and ribs were seen to stay flat.
    pub back_flat: Option<bool>,
}

/// Everything marked in a reach, as it stands now.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ReachMarks {
    /// The number of the last confirmed edit; 0 before the first.
    pub revision: i64,
    /// By raise and repeat.
    pub markings: Vec<Marking>,
    /// What the person said.
    pub feel: Feel,
}

impl ReachMarks {
    /// The marks of a raise, placed for the `repeat`-th time.
    #[must_use]
    pub fn marking(&self, raise: u32, repeat: u32) -> Option<&Marking> {
        self.markings.iter().find(|marking| (marking.raise, marking.repeat) == (raise, repeat))
    }
}

/// What deleting removes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Removal {
    /// Visits.
    pub visits: usize,
    /// Reaches.
    pub reaches: usize,
    /// Confirmed edits of marks.
    pub marks: usize,
    /// Entries of the log.
    pub log_entries: usize,
    /// Clips and stills that go from the disk.
    pub media: usize,
    /// Their size, bytes.
    pub media_bytes: u64,
    /// Clips and stills that stay, because another reach is the same file.
    pub media_kept: usize,
}
