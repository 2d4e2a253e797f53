//! The page: who may ask, clients, uploads, marks, results, deletion.

mod carry;
mod correct;
mod guarding;
mod hostile;
mod job;
mod kill;
pub mod page;
mod serve;
