//! Synthetic clips with known truth. Shares no projection code with the fit.
