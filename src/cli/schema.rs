//! `tworeach schema`: prints the JSON Schema of a file format.

use std::io::{self, Write as _};

use crate::{demo, plan, screen};

/// Prints the JSON Schema (2020-12) of a file format.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: tworeach schema result > result.schema.json")]
pub(super) struct Args {
    /// The format.
    #[arg(value_parser = clap::builder::PossibleValuesParser::new(schemas().map(|(name, _)| name)))]
    format: String,
}

/// Runs the command.
pub(super) fn run(args: &Args) -> anyhow::Result<()> {
    let mut out = io::stdout().lock();
    for (_, schema) in schemas().filter(|(name, _)| *name == args.format) {
        out.write_all(schema.as_bytes())?;
    }
    out.flush()?;
    Ok(())
}

/// Every format's name and JSON Schema.
fn schemas() -> impl Iterator<Item = (&'static str, &'static str)> {
    screen::schema::SCHEMAS.into_iter().chain(plan::schema::SCHEMAS).chain(demo::schema::SCHEMAS)
}
