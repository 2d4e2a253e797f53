//! What the screen needs of a clip or still: how large its upright picture is, when it ends, and the frame to show.
//!
//! A decoder holds many frames, so only one clip is open at a time: what is needed of it is kept, and it is closed.

use std::hash::{DefaultHasher, Hash as _, Hasher as _};
use std::path::{Path, PathBuf};

use image::{GrayImage, RgbImage};

use crate::video::{Damage, Media, VideoError};

use super::found_bar::{RoughBar, SeenBar, look_for_bars};
use super::in_memory::Picture;
use super::marks::SAME_TIME_S;

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
    /// Tells the picture of the latest marked frame from any other; `None` where it was not looked at.
    pub(crate) print: Option<u64>,
    /// Pictures that are wanted for later, each with the time that it was asked for, s.
    pictures: Vec<(f64, GrayImage)>,
    /// A frame and the time that it was asked for, s.
    kept: Option<(f64, RgbImage)>,
}

/// How closely a clip or still is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Viewing {
    /// Look into the pictures at end range: for the bar, and for spots that other reaches show, too.
    pub(crate) is_close: bool,
    /// Keep the latest marked frame: it is likely to be shown.
    pub(crate) keeps_frame: bool,
}

impl Viewing {
    /// See whether there is a frame, no more.
    pub(crate) const ONLY: Self = Self { is_close: false, keeps_frame: false };
}

/// What to look for in a clip or still, when looked at closely.
#[derive(Debug, Clone, Default)]
pub(crate) struct Wanted {
    /// Times of pictures to keep, s, increasing.
    pub(crate) times_s: Vec<f64>,
    /// Bars to look for.
    pub(crate) bars: Vec<RoughBar>,
}

/// A number for a picture's values: the same values give the same number.
fn print_of(values: &[u8]) -> u64 {
    let mut hasher = DefaultHasher::new();
    values.hash(&mut hasher);
    hasher.finish()
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
            print: None,
            pictures: Vec::new(),
            kept: None,
        }
    }

    /// Opens a clip or still and looks at the frame of a time, s, and for what is wanted. The second result says whether that frame is
    /// there.
    pub(crate) fn open(
        path: &Path,
        time_s: f64,
        viewing: Viewing,
        wanted: &Wanted,
    ) -> Result<(Self, Result<(), VideoError>), VideoError> {
        let mut media = Media::open(path)?;
        let mut seen = Self {
            path: path.to_owned(),
            is_still: matches!(media, Media::Still(_)),
            upright_size: media.upright_size(),
            quarter_turns: media.info().orientation.quarter_turns(),
            damage: None,
            bars: Vec::new(),
            print: None,
            pictures: Vec::new(),
            kept: None,
        };
        if viewing.is_close {
            // before the latest frame, so that the clip is gone through once
            let picture = |time_s: &f64| Some((*time_s, media.luma_at(*time_s).ok()?.image));
            seen.pictures = wanted.times_s.iter().filter_map(picture).collect();
            seen.bars = look_for_bars(&wanted.bars, |time_s| match seen.picture(time_s) {
                Some(picture) => Some(picture.clone()),
                None => media.luma_at(time_s).ok().map(|frame| frame.image),
            });
        }
        let found = if viewing.keeps_frame {
            media.frame_at(time_s).map(|frame| {
                seen.print = Some(print_of(frame.image.as_raw()));
                seen.kept = Some((time_s, frame.image));
            })
        } else {
            media.luma_at(time_s).map(|frame| seen.print = Some(print_of(frame.image.as_raw())))
        };
        seen.damage = media.known_damage()?;
        Ok((seen, found))
    }

    /// The file.
    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// A picture that was wanted.
    pub(crate) fn picture(&self, time_s: f64) -> Option<&GrayImage> {
        self.pictures.iter().find(|(at_s, _)| (at_s - time_s).abs() < SAME_TIME_S).map(|(_, picture)| picture)
    }

    /// Gives the pictures of these times away, each with its time, s: those that were wanted when the file was opened, and those that
    /// are decoded for it.
    pub(crate) fn take_pictures(&mut self, times_s: &[f64]) -> Vec<(f64, GrayImage)> {
        let missing: Vec<f64> = times_s.iter().copied().filter(|time_s| self.picture(*time_s).is_none()).collect();
        let mut pictures = std::mem::take(&mut self.pictures);
        if let (false, Ok(mut media)) = (missing.is_empty(), Media::open(&self.path)) {
            pictures.extend(missing.into_iter().filter_map(|time_s| Some((time_s, media.luma_at(time_s).ok()?.image))));
        }
        pictures
    }

    /// The upright frame at a time, s.
    pub(crate) fn show(&mut self, time_s: f64) -> Result<RgbImage, VideoError> {
        match self.kept.take() {
            Some((kept_s, image)) if kept_s.total_cmp(&time_s).is_eq() => Ok(image),
            _ => Media::open(&self.path)?.frame_at(time_s).map(|frame| frame.image),
        }
    }
}
