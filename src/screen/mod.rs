//! Reaches, checks, the call and the retest: from a case file to a result.

pub mod result;

pub use result::{
    Call, Check, CheckStatus, Comparison, Occasion, ReachResult, ResultSide, Retest, RetestOutcome, VisitResult,
};
