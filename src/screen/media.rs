//! What the screen needs of a clip or still: how large its upright picture is, when it ends, and the frame to show.
//!
//! A decoder holds many frames, so only one clip is open at a time: what is needed of it is kept, and it is closed.

use std::path::{Path, PathBuf};

use image::RgbImage;

use crate::video::{Damage, Media, VideoError};

use super::found_bar::{RoughBar, SeenBar, look_for_bars};
use super::in_memory::Picture;

/// What is needed of a clip or still.
pub(crate) struct SeenMedia {
    path: PathBuf,
    /// A single picture.
    pub(crate) is_still: bool,
    /// Width and height of the upright picture, px.
    pub(crate) upright_size: [u32; 2],
    /// Quarter turns clockwise from the stored to the upright picture.
    pub(crate) quarter_turns: u8,
    /// Where the file stops being usable, as far as can be told without decoding it all.
    pub(crate) damage: Option<Damage>,
    /// The bars that were looked for.
    pub(crate) bars: Vec<SeenBar>,
    /// A frame and the time that it was asked for, s.
    kept: Option<(f64, RgbImage)>,
}

/// What to look at a clip or still for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Look {
    /// See whether there is a frame.
    Only,
    /// Look for the bar, too.
    ForBars,
    /// Look for the bar, and keep the frame: it is likely to be shown.
    ForBarsAndKeep,
}

impl SeenMedia {
    /// What is known already, without a look at the file.
    pub(crate) fn known(path: &Path, picture: Picture) -> Self {
        let Picture { upright_size, quarter_turns, damage } = picture;
        Self {
            path: path.to_owned(),
            is_still: false,
            upright_size,
            quarter_turns,
            damage,
            bars: Vec::new(),
            kept: None,
        }
    }

    /// Opens a clip or still and looks at the frame of a time, s, and for bars. The second result says whether that frame is there.
    pub(crate) fn open(
        path: &Path,
        time_s: f64,
        look: Look,
        rough_bars: &[RoughBar],
    ) -> Result<(Self, Result<(), VideoError>), VideoError> {
        let mut media = Media::open(path)?;
        let mut seen = Self {
            path: path.to_owned(),
            is_still: matches!(media, Media::Still(_)),
            upright_size: media.upright_size(),
            quarter_turns: media.info().orientation.quarter_turns(),
            damage: None,
            // before the latest frame, so that the clip is gone through once
            bars: if look == Look::Only { Vec::new() } else { look_for_bars(&mut media, rough_bars) },
            kept: None,
        };
        let found = match look {
            Look::Only | Look::ForBars => media.luma_at(time_s).map(|_| ()),
            Look::ForBarsAndKeep => media.frame_at(time_s).map(|frame| seen.kept = Some((time_s, frame.image))),
        };
        seen.damage = media.known_damage()?;
        Ok((seen, found))
    }

    /// The file.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// The upright frame at a time, s.
    pub(crate) fn show(&mut self, time_s: f64) -> Result<RgbImage, VideoError> {
        match self.kept.take() {
            Some((kept_s, image)) if kept_s.total_cmp(&time_s).is_eq() => Ok(image),
            _ => Media::open(&self.path)?.frame_at(time_s).map(|frame| frame.image),
        }
    }
}
