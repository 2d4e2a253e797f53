//! The stills of the reaches side by side, cropped alike, each with what was marked and measured drawn over it.

use crate::pose::{Rotation, View};
use crate::report::error::ReportError;
use crate::report::input::StillInput;
use crate::report::overlay;
use crate::report::picture::{self, Crop};
use crate::report::tables::reaches_by_view;
use crate::report::wording::{Sign, Unit, interval, occasion_word, palms, rotation_word, value, view_word};
use crate::screen::words::capitalized;
use crate::screen::{Occasion, ReachResult, VisitResult};

/// The stills of one view.
#[derive(Debug, Clone)]
pub(crate) struct StillRow {
    /// The view, where there are several.
    pub heading: Option<String>,
    /// One for each reach, before first and internal first; a missing half of a pair has a tile without picture.
    pub tiles: Vec<Tile>,
}

/// A still with its caption.
#[derive(Debug, Clone)]
pub(crate) struct Tile {
    /// Occasion and rotation.
    pub label: String,
    /// The elevation, or that there is none.
    pub figure: String,
    /// The interval of the elevation, or what stands in for it.
    pub detail: String,
    /// The still with its overlay; `None` where there is none.
    pub picture: Option<Picture>,
    /// What stands in the place of a picture that is missing.
    pub absence: &'static str,
}

/// A picture as SVG.
#[derive(Debug, Clone)]
pub(crate) struct Picture {
    /// A JPEG with vectors over it.
    pub svg: String,
    /// Width over height.
    pub aspect: f64,
    /// What is seen, for those who cannot see it.
    pub alt: String,
}

/// What the lines on the stills mean; nothing where there is no still.
pub(crate) fn legend(inputs: &[StillInput]) -> Option<String> {
    let has_disagreeing = inputs.iter().any(|still| !still.overlay.disagreeing.is_empty());
    (!inputs.is_empty()).then(|| {
        if has_disagreeing {
            format!("{} {}", overlay::LEGEND, overlay::LEGEND_OF_DISAGREEING)
        } else {
            overlay::LEGEND.to_owned()
        }
    })
}

/// Renders the stills, a row for each view.
///
/// # Errors
/// [`ReportError`] when a picture cannot be encoded.
pub(crate) fn render_rows(result: &VisitResult, inputs: &[StillInput]) -> Result<Vec<StillRow>, ReportError> {
    let views = reaches_by_view(result);
    let byte_budget = picture::byte_budget(inputs.len());
    let mut rows = Vec::new();
    for (view, indices) in &views {
        let stills: Vec<&StillInput> = inputs.iter().filter(|still| indices.contains(&still.reach)).collect();
        let crops = picture::crops(&stills);
        let crop_of = |reach: usize| {
            stills.iter().zip(&crops).find(|(still, _)| still.reach == reach).map(|(still, crop)| (*still, *crop))
        };
        let mut tiles = Vec::new();
        for (occasion, rotation) in slots(result, *view) {
            let index = indices.iter().copied().find(|&index| {
                let reach = &result.reaches[index];
                reach.occasion == occasion && reach.rotation == rotation
            });
            let label = format!("{}, {}", occasion_word(occasion), rotation_word(rotation));
            tiles.push(match index {
                Some(index) => tile(&result.reaches[index], label, crop_of(index), byte_budget)?,
                None => Tile {
                    label,
                    figure: "–".to_owned(),
                    detail: "no elevation".to_owned(),
                    picture: None,
                    absence: "not filmed",
                },
            });
        }
        let heading = (views.len() > 1).then(|| format!("{} view", capitalized(view_word(*view))));
        rows.push(StillRow { heading, tiles });
    }
    Ok(rows)
}

/// The tiles of a view: both rotations of every occasion that has at least one reach.
fn slots(result: &VisitResult, view: View) -> Vec<(Occasion, Rotation)> {
    [Occasion::Before, Occasion::After]
        .into_iter()
        .filter(|occasion| result.reaches.iter().any(|reach| reach.view == view && reach.occasion == *occasion))
        .flat_map(|occasion| [(occasion, Rotation::Internal), (occasion, Rotation::External)])
        .collect()
}

fn tile(
    reach: &ReachResult,
    label: String,
    still: Option<(&StillInput, Crop)>,
    byte_budget: usize,
) -> Result<Tile, ReportError> {
    let (shown, from) = match (reach.elevation_deg, reach.elevation_from_vertical_deg) {
        (Some(elevation), _) => (Some(elevation), ""),
        (None, Some(elevation)) => (Some(elevation), " from vertical"),
        (None, None) => (None, ""),
    };
    let figure = shown.map(|elevation| value(elevation, Unit::Degree, Sign::Minus));
    let detail = shown.map_or_else(
        || "elevation not determined".to_owned(),
        |elevation| format!("{}{from}", interval(elevation, Unit::Degree, Sign::Minus)),
    );
    let picture = still
        .map(|(still, crop)| {
            let jpeg = picture::encode_jpeg(still, crop, byte_budget)?;
            let alt = format!(
                "Still of the reach {}, {} view: elevation {}{from}.",
                label.to_lowercase(),
                view_word(reach.view),
                figure.as_deref().unwrap_or("not determined")
            );
            let svg = overlay::render(&jpeg, crop, &still.overlay, reach.rotation, figure.as_deref(), &alt);
            Ok(Picture { svg, aspect: crop.aspect(), alt })
        })
        .transpose()?;
    Ok(Tile {
        label: format!("{label}, {}", palms(reach.rotation)),
        figure: figure.unwrap_or_else(|| "–".to_owned()),
        detail,
        picture,
        absence: "no still",
    })
}
