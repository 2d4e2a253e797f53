//! `tworeach serve`: the page, on this machine alone.

use std::io::{self, Write as _};
use std::path::PathBuf;

use anyhow::Context as _;

use crate::web::{Options, Server, UploadLimits, WebError};

/// The usual port; any free one serves as well.
const PORT: u16 = 7326;

/// Serves the page on this machine alone: clips in, marks placed, call out, in the browser.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:
  tworeach serve                           opens the page in the browser
  tworeach serve --data practice --no-open data in another folder; open the printed address yourself

The address holds a token: whoever has it can see the clients. Nothing leaves the machine. Stop with Ctrl-C.")]
pub(super) struct Args {
    /// Port of the loopback interface; 0 takes a free one.
    #[arg(long, default_value_t = PORT)]
    port: u16,
    /// Data folder, made if it is not there [default: tworeach in the user's own data folder]
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Print the address, and do not open it.
    #[arg(long)]
    no_open: bool,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let data = match &args.data {
        Some(data) => data.clone(),
        None => {
            dirs::data_local_dir().context("this system names no data folder: give one with --data")?.join("tworeach")
        }
    };
    let log = Box::new(|text: &str| {
        // a terminal that is gone must not stop the server
        let _ = writeln!(io::stderr(), "tworeach: {text}");
    });
    let decoder = std::env::current_exe().context("this program cannot be found to be started again")?;
    let options = Options { data, decoder, limits: UploadLimits::default(), log };
    let server = Server::bind(args.port, options).map_err(|error| {
        let is_port = matches!(error, WebError::Io { .. });
        let error = anyhow::Error::from(error);
        if is_port {
            error.context(format!("cannot serve on port {}; --port 0 takes a free one", args.port))
        } else {
            error
        }
    })?;
    let mut out = io::stdout().lock();
    writeln!(out, "{}", server.address())?;
    out.flush()?;
    drop(out);
    if !args.no_open && open::that_detached(server.address_once()).is_err() {
        writeln!(io::stderr(), "tworeach: no browser could be opened: open the address above")?;
    }
    server.run().context("the server stopped")
}
