//! `copperwalk records check | save | restore`: the record store as a file.

use std::path::PathBuf;

use super::{Failure, Status, output::Output, records};
use crate::{
    records::{self as store, Findings, Records},
    report::json,
    visible::path as shown,
};

#[derive(clap::Args)]
pub struct Args {
    #[command(subcommand)]
    command: Command,
}

#[derive(clap::Subcommand)]
enum Command {
    /// Check that every record is as it was written, and the file sound. Exit status 2 if anything is wrong.
    Check {
        /// One JSON object on standard output, and nothing else there.
        #[arg(long)]
        json: bool,
    },
    /// Copy the store into a new file, also while others write to it.
    Save {
        /// The copy; never over an existing file.
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// Put a copy in the place of a store that is not there, after checking it.
    Restore {
        /// The copy.
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    match args.command {
        Command::Check { json } => {
            let findings = records::open_to_read(store)?.check()?;
            let status = if findings.sound() { Status::Pass } else { Status::Input };
            output.settle(status);
            let text = if json {
                json::object(&findings).map_err(|error| Failure::Output(error.into()))?
            } else {
                in_words(&findings)
            };
            output.text(&text)?;
            Ok(status)
        }
        Command::Save { file } => {
            records::open_to_read(store)?.save(&file)?;
            output.text(&format!("saved in {}", shown(&file)))?;
            Ok(Status::Pass)
        }
        Command::Restore { file } => {
            let place = store::path(store)?;
            let findings = Records::restore(&file, &place)?;
            output.text(&format!("{}restored to {}", in_words(&findings), shown(&place)))?;
            Ok(Status::Pass)
        }
    }
}

fn in_words(findings: &Findings) -> String {
    let mut text: String = findings.wrong.iter().map(|wrong| format!("wrong: {wrong}\n")).collect();
    text += &format!(
        "as they were written: {} sweeps with {} judgements, the log of {} units, {} photos, {} board and \
         fixture files, {} proofs of benches\n",
        findings.whole_sweeps,
        findings.judgements,
        findings.whole_units,
        findings.photos,
        findings.files,
        findings.proofs
    );
    text
}
