//! A measured quantity as it is reported.

use serde::{Deserialize, Serialize};

/// A reported quantity: estimate, standard uncertainty and a 95 % coverage interval, all in the quantity's own unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// The estimate.
    pub value: f64,
    /// Standard uncertainty (JCGM 100).
    pub u: f64,
    /// Lower end of the 95 % coverage interval.
    pub lo: f64,
    /// Upper end of the 95 % coverage interval.
    pub hi: f64,
}
