//! A clip with what was followed and measured drawn over it, as a film that any phone plays.
//!
//! What is drawn in a frame was followed to that frame, or is the fit's and stands still; nothing is guessed for a frame in
//! which a mark is lost, and that is said. Frames stream from the decoder to the encoder one by one, so that memory does not
//! grow with the clip, and each keeps its own time.

mod canvas;
mod held;
mod scene;
mod write;

pub use held::HeldReach;
pub use write::{FilmInput, film_name, write_film};
