//! A file that is a clip or a still, for callers that take either.

use std::path::Path;

use image::DynamicImage;

use super::clip::{Clip, LumaFrame, TIME_TOLERANCE_S, UprightFrame};
use super::error::VideoError;
use super::info::MediaInfo;
use super::planes::YccPicture;
use super::reader::Damage;
use super::sniff::{self, Kind};
use super::still::Still;

/// A clip or a still, told apart by the file's content and not by its name.
pub enum Media {
    /// Frames with times.
    Clip(Box<Clip>),
    /// One picture, at time 0.
    Still(Box<Still>),
}

impl Media {
    /// Opens the file at `path`.
    ///
    /// # Errors
    /// [`VideoError`] says in one sentence why the file can't be used.
    pub fn open(path: &Path) -> Result<Self, VideoError> {
        match sniff::kind_of(path)? {
            Kind::Still(format) => Still::open(path, format).map(|still| Self::Still(Box::new(still))),
            Kind::Clip => Clip::open(path).map(|clip| Self::Clip(Box::new(clip))),
        }
    }

    /// As [`Self::open`], with a clip opened by [`Clip::open_to_show`].
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn open_to_show(path: &Path) -> Result<Self, VideoError> {
        match sniff::kind_of(path)? {
            Kind::Still(format) => Still::open(path, format).map(|still| Self::Still(Box::new(still))),
            Kind::Clip => Clip::open_to_show(path).map(|clip| Self::Clip(Box::new(clip))),
        }
    }

    /// What the file is.
    #[must_use]
    pub fn info(&self) -> &MediaInfo {
        match self {
            Self::Clip(clip) => clip.info(),
            Self::Still(still) => still.info(),
        }
    }

    /// Width and height of the upright picture, px.
    #[must_use]
    pub fn upright_size(&self) -> [u32; 2] {
        self.info().upright_size
    }

    /// The upright frame shown at `time_s` (s), as [`Clip::frame_at`]; a still is shown at time 0 alone.
    ///
    /// # Errors
    /// As [`Clip::frame_at`].
    pub fn frame_at(&mut self, time_s: f64) -> Result<UprightFrame, VideoError> {
        match self {
            Self::Clip(clip) => clip.frame_at(time_s),
            Self::Still(still) => {
                check_still_time(still, time_s)?;
                Ok(UprightFrame { time_s: 0.0, image: still.image().clone() })
            }
        }
    }

    /// The upright frame shown at `time_s` (s) as a JPEG file holds it, as [`Clip::ycc_at`].
    ///
    /// # Errors
    /// As [`Clip::frame_at`].
    pub fn ycc_at(&mut self, time_s: f64) -> Result<YccPicture, VideoError> {
        match self {
            Self::Clip(clip) => clip.ycc_at(time_s),
            Self::Still(still) => {
                check_still_time(still, time_s)?;
                Ok(YccPicture::from_rgb(still.image()))
            }
        }
    }

    /// The luma of the upright frame shown at `time_s` (s), as [`Self::frame_at`].
    ///
    /// # Errors
    /// As [`Clip::frame_at`].
    pub fn luma_at(&mut self, time_s: f64) -> Result<LumaFrame, VideoError> {
        match self {
            Self::Clip(clip) => clip.luma_at(time_s),
            Self::Still(still) => {
                check_still_time(still, time_s)?;
                let image = DynamicImage::ImageRgb8(still.image().clone()).into_luma8();
                Ok(LumaFrame { time_s: 0.0, image })
            }
        }
    }

    /// Where the file stops being usable, by [`Clip::known_damage`]; a still is whole or can't be opened.
    ///
    /// # Errors
    /// As [`Clip::known_damage`].
    pub fn known_damage(&mut self) -> Result<Option<Damage>, VideoError> {
        match self {
            Self::Clip(clip) => clip.known_damage(),
            Self::Still(_) => Ok(None),
        }
    }
}

fn check_still_time(still: &Still, time_s: f64) -> Result<(), VideoError> {
    if !time_s.is_finite() || time_s < -TIME_TOLERANCE_S {
        return Err(VideoError::NotATime { found_s: time_s });
    }
    if time_s > TIME_TOLERANCE_S {
        return Err(VideoError::NotInStill { path: still.path().to_owned(), found_s: time_s });
    }
    Ok(())
}
