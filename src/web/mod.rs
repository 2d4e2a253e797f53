//! The local page: a server on the loopback interface, server-rendered pages and small ES modules.
//!
//! Reads requests, calls one library function and shows what it returns; no arithmetic on measured values. Whoever holds
//! the address that was printed at the start may do everything: it assumes one machine with one user, and cannot tell
//! programs of that user apart. Clips and stills are decoded in child processes (see [`decode`]).

pub mod decode;
pub mod error;
pub mod guard;
pub mod pages;
pub mod server;
pub mod state;
pub mod text;
pub mod view;

mod casework;
mod danger;
mod dates;
mod embedded;
mod follow;
mod frames;
mod looks;
mod measured;
mod request;
mod routes;
mod sheet;
mod text_file;
mod upload;

pub use error::WebError;
pub use server::{Server, router};
pub use state::{App, Options, UploadLimits};
