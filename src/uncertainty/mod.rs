//! Measured quantities, propagation of uncertainty, Monte Carlo, reliability statistics.
//!
//! Follows JCGM 100:2008 (the Guide to the expression of uncertainty in measurement) and its supplements. It cannot detect an
//! error that no input's uncertainty speaks of.

pub mod agreement;
pub mod anova;
pub mod error;
pub mod line;
pub mod measured;
pub mod monte_carlo;
pub mod propagation;
pub mod quantile;
pub mod reliability;
pub mod spread;

pub use agreement::{LimitsOfAgreement, limits_of_agreement};
pub use anova::{OneWay, TwoWay, one_way, two_way};
pub use error::UncertaintyError;
pub use line::{LineFit, WeightedLineFit, fit_line, fit_weighted_line};
pub use measured::{COVERAGE, Component, Measured, combine_independent, coverage_factor, effective_dof};
pub use monte_carlo::{
    CoverageInterval, MonteCarloOptions, NormalSampler, SimulatedDistribution, draw_stream, monte_carlo,
};
pub use propagation::{RepeatedMeans, correlation_of, propagate, repeated_means};
pub use quantile::{chi_squared_quantile, f_quantile, student_t_quantile};
pub use reliability::{Coefficient, Reliability, reliability_of};
pub use spread::{PooledSpread, pooled_spread};
