//! Measured quantities, propagation of uncertainty, Monte Carlo, reliability statistics.
//!
//! Follows JCGM 100:2008 (the Guide to the expression of uncertainty in measurement) and its supplements. It cannot detect an
//! error that no input's uncertainty speaks of.

pub mod error;
pub mod measured;
pub mod monte_carlo;
pub mod propagation;

pub use error::UncertaintyError;
pub use measured::{
    COVERAGE, Component, Measured, combine_independent, coverage_factor, effective_dof, student_t_quantile,
};
pub use monte_carlo::{CoverageInterval, MonteCarloOptions, NormalSampler, SimulatedDistribution, monte_carlo};
pub use propagation::{RepeatedMeans, correlation_of, propagate, repeated_means};
