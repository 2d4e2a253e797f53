//! The page: who may ask, clients, uploads, marks, results, deletion.

mod alone;
mod carry;
mod case;
mod case_plan;
mod case_stops;
mod correct;
mod follow;
mod guarding;
mod hostile;
mod job;
mod kill;
mod lenses;
pub mod page;
mod pictures;
mod serve;
