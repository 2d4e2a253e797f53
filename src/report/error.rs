//! What can go wrong while a report is rendered.

use std::error::Error;

/// A report could not be rendered.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A still names a reach that the result does not have.
    #[error("still for reach {reach}, but the result has {reaches} reaches, counted from 0")]
    StillWithoutReach {
        /// Index that the still names.
        reach: usize,
        /// Number of reaches in the result.
        reaches: usize,
    },
    /// A reach has more than one still.
    #[error("reach {reach} has more than one still, and a report shows one")]
    DuplicateStill {
        /// Index of the reach.
        reach: usize,
    },
    /// A still has no pixels.
    #[error("still of reach {reach} has no pixels")]
    EmptyStill {
        /// Index of the reach.
        reach: usize,
    },
    /// A still could not be encoded.
    #[error("cannot encode the still of reach {reach} as JPEG")]
    Jpeg {
        /// Index of the reach.
        reach: usize,
        /// The encoder's fault.
        #[source]
        source: image::ImageError,
    },
    /// A still does not fit into its share of bytes even at the coarsest setting.
    #[error("still of reach {reach} does not fit into {budget} bytes at any quality")]
    StillTooLarge {
        /// Index of the reach.
        reach: usize,
        /// Bytes allowed.
        budget: usize,
    },
    /// The embedded typeface could not be read.
    #[error("the embedded typeface cannot be read")]
    FontUnreadable,
    /// A chart could not be drawn.
    #[error("cannot draw the chart {name}")]
    Chart {
        /// The chart's name.
        name: String,
        /// The fault.
        #[source]
        source: Box<dyn Error + Send + Sync>,
    },
    /// A drawing could not be read back for the PDF.
    #[error("cannot put the drawing \"{name}\" into the PDF")]
    Drawing {
        /// What is drawn.
        name: String,
        /// The fault.
        #[source]
        source: usvg::Error,
    },
    /// A length of the PDF is not a positive number.
    #[error("a page or box of {width} by {height} points cannot be laid out, both must be above zero")]
    Size {
        /// Width, points.
        width: f32,
        /// Height, points.
        height: f32,
    },
    /// A film could not be made.
    #[error("cannot make the film")]
    Film {
        /// What decoding or encoding met with.
        #[source]
        source: crate::video::VideoError,
    },
    /// The PDF could not be written.
    #[error("cannot write the PDF: {fault}")]
    Pdf {
        /// What the writer found.
        fault: String,
    },
}
