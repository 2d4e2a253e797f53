//! What can keep the uncertainty room from doing its work.

/// A fault of the input to a computation of uncertainty.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UncertaintyError {
    /// Sizes that have to match do not.
    #[error("{what} has {found} entries, expected {expected}")]
    SizeDiffers {
        /// What was given.
        what: &'static str,
        /// Its size.
        found: usize,
        /// The size it has to have.
        expected: usize,
    },
    /// Too few values for what was asked.
    #[error("{what} needs at least {needed} values, found {found}")]
    TooFew {
        /// What was asked for.
        what: &'static str,
        /// Values given.
        found: usize,
        /// Least number of values.
        needed: usize,
    },
    /// A number that is not finite.
    #[error("{what} holds {found}, expected finite numbers")]
    NotFinite {
        /// Where.
        what: &'static str,
        /// The number.
        found: f64,
    },
    /// A matrix that cannot be a covariance.
    #[error("covariance has a relative eigenvalue of {smallest:.3e}, expected none below zero")]
    NotACovariance {
        /// Least eigenvalue over the largest.
        smallest: f64,
    },
}
