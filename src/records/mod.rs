//! Clients, visits, media and results in the database; exports.
//!
//! One SQLite database and a folder of media files, named by their content. What a method returned from is on the disk.
//! It cannot tell who uses it: whoever can read the folder can read everything.

mod error;
mod media;
mod migrations;
mod screening;
mod store;

pub use error::RecordsError;
pub use screening::{AnsweredBy, Answers, DangerSign, ScreeningOutcome, UnknownWord};
pub use store::{Records, hash_words};
