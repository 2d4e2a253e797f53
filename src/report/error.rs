//! What can go wrong while a report is rendered.

/// A report could not be rendered.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A still names a reach that the result does not have.
    #[error("still for reach {reach}, but the result has {reaches} reaches")]
    StillWithoutReach {
        /// Index that the still names.
        reach: usize,
        /// Number of reaches in the result.
        reaches: usize,
    },
    /// A still has no pixels.
    #[error("still of reach {reach} has no pixels")]
    EmptyStill {
        /// Index of the reach.
        reach: usize,
    },
}
