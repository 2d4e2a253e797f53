//! The pages: each a pure function from its view to markup.

mod alone;
mod client;
mod clients;
mod course;
mod delete;
mod drawings;
mod error;
mod figure;
mod guide;
mod lenses;
mod intake;
mod log;
mod mark;
mod palms;
mod parts;
mod plan;
mod reach_facts;
mod result;
mod screening;
mod shell;
mod visit;
#[cfg(test)]
mod tests;

pub use alone::{render as alone, render_result as alone_result, render_start as alone_start};
pub use client::render as client;
pub use clients::render as clients;
pub use course::render as course;
pub use delete::{render_client as delete_client, render_reach as delete_reach, render_visit as delete_visit};
pub use error::render as error;
pub use guide::render as guide;
pub use intake::{render as intake, render_form as intake_form};
pub use lenses::{
    render_all as lenses, render_board as board, render_delete as delete_lens, render_new as new_lens,
    render_one as lens,
};
pub use log::{render as log, render_entry as log_entry};
pub use mark::render as mark;
pub use palms::render as palms;
pub use plan::{render as plan, render_form as plan_form};
pub use reach_facts::render as reach_facts;
pub use result::render as result;
pub use screening::{render_again as screening, render_facts as client_facts, render_new as new_client};
pub use visit::render as visit;
