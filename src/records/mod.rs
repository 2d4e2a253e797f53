//! Clients, visits, media and results in the database; exports.
//!
//! One SQLite database and a folder of media files, named by their content. What a method returned from is on the disk.
//! It cannot tell who uses it: whoever can read the folder can read everything.

mod carried;
mod case;
mod clients;
mod error;
mod export;
mod followed;
mod lenses;
mod history;
mod looked;
mod media;
mod migrations;
mod model;
mod plans;
mod reaches;
mod screening;
mod store;
mod visits;
mod words;
#[cfg(test)]
mod tests;

pub use crate::plan::{DangerSign, UnknownWord};
pub use carried::{CarrySource, OlderMarks};
pub use case::{CaseReach, LeftOut, SeenPictures, VisitCase};
pub use clients::ClientSummary;
pub use error::RecordsError;
pub use followed::{Followable, KeptArm};
pub use history::VisitSummary;
pub use lenses::{LensFacts, MadeLens};
pub use looked::OpenLook;
pub use media::{Accepted, MediaHash};
pub use model::{
    CarriedFrom, Client, ClientFacts, Feel, Marking, Media, MediaFacts, Palms, Reach, ReachFacts, ReachMarks, Removal,
    Screening, Visit, VisitSettings,
};
pub use plans::LoggedEntry;
pub use reaches::Confirmed;
pub use screening::{AnsweredBy, Answers, ScreeningOutcome};
pub use store::{Records, hash_words};
pub use words::Word;
