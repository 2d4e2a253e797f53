//! What the screen needs to know of a clip or still: how large its upright picture is, and when it ends.

use std::error::Error;
use std::path::Path;

/// What a clip or still is, as far as marks depend on it.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct MediaFacts {
    /// Width and height of the upright picture, px.
    pub(crate) upright_size: [u32; 2],
    /// Quarter turns clockwise from the stored to the upright picture.
    pub(crate) quarter_turns: u8,
    /// When the last frame ends, s; `None` for a still.
    pub(crate) end_s: Option<f64>,
    /// What is wrong with the file though it can be used.
    pub(crate) warning: Option<String>,
}

/// Reads the facts of a clip or still.
pub(crate) fn media_facts(path: &Path) -> Result<MediaFacts, Box<dyn Error + Send + Sync>> {
    let (width, height) = image::image_dimensions(path)?;
    Ok(MediaFacts { upright_size: [width, height], quarter_turns: 0, end_s: None, warning: None })
}
