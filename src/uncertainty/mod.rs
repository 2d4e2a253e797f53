//! Measured quantities, propagation of uncertainty, Monte Carlo, reliability statistics.

pub mod measured;

pub use measured::Measured;
