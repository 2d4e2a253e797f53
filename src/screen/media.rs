//! What the screen needs of a clip or still: how large its upright picture is, when it ends, and the frame to show.

use std::path::Path;

use image::RgbImage;

use crate::video::{Damage, Media, VideoError};

/// A clip or still, opened.
pub(crate) struct OpenMedia {
    media: Media,
    damage: Option<Damage>,
}

impl OpenMedia {
    /// Opens a clip or still.
    pub(crate) fn open(path: &Path) -> Result<Self, VideoError> {
        let mut media = Media::open(path)?;
        let damage = media.known_damage()?;
        Ok(Self { media, damage })
    }

    /// Width and height of the upright picture, px.
    pub(crate) fn upright_size(&self) -> [u32; 2] {
        self.media.upright_size()
    }

    /// Quarter turns clockwise from the stored to the upright picture.
    pub(crate) fn quarter_turns(&self) -> u8 {
        match self.media.info().orientation.clockwise_deg {
            90 => 1,
            180 => 2,
            270 => 3,
            _ => 0,
        }
    }

    /// Makes sure that there is a frame at a time, s. The decoder stays there, so that showing that frame costs little.
    pub(crate) fn go_to(&mut self, time_s: f64) -> Result<(), VideoError> {
        self.media.luma_at(time_s).map(|_| ())
    }

    /// The upright frame at a time, s.
    pub(crate) fn show(&mut self, time_s: f64) -> Result<RgbImage, VideoError> {
        self.media.frame_at(time_s).map(|frame| frame.image)
    }

    /// Where the file stops being usable, as far as can be told without decoding it all.
    pub(crate) fn damage(&self) -> Option<Damage> {
        self.damage
    }
}
