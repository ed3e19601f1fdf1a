//! `copperwalk import FILE --from POINT --to POINT --return POINT -o board.toml`

use std::path::PathBuf;

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    output::Output,
};
use crate::{
    check::{self, Checked},
    import::{self, Request},
    report::terminal,
};

#[derive(clap::Args)]
pub struct Args {
    /// The layout: a KiCad board (.kicad_pcb, saved with its zones filled), an IPC-D-356A netlist, or a folder of Gerber files with X2
    /// attributes and drill files.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The pad that the supply comes in at: reference and number, such as J1.1.
    #[arg(long, value_name = "POINT")]
    from: String,
    /// The pads of the loads; several are branches.
    #[arg(long, value_name = "POINT,POINT…", required = true, value_delimiter = ',')]
    to: Vec<String>,
    /// The pad that the return goes out at.
    #[arg(long = "return", value_name = "POINT")]
    ret: String,
    /// The two pads that the current passes, of a part with more than two or of one whose value does not tell: SW1.3-2. Of what
    /// conducts one way, the pad first that the current enters at.
    #[arg(long, value_name = "PART.PAD-PAD")]
    through: Vec<String>,
    /// The board file to write.
    #[arg(short, long, value_name = "FILE")]
    out: PathBuf,
    /// Replace what stands there already. A record store is never replaced.
    #[arg(long)]
    force: bool,
}

/// Said where copper could not be worked out.
const NOT_WHOLE: &str = "\nThe board file is written but does not pass `check`: it lacks the figures of copper that could not be \
                         worked out. Write them in; the questions name them.\n";

pub fn run(args: Args, output: &mut Output) -> Result<Status, Failure> {
    let place = Place::new(&args.out, Kind::Board, args.force, None)?;
    let request = Request { from: args.from, to: args.to, ret: args.ret, through: args.through };
    let imported = import::import(&args.file, &request)?;
    place.write(&imported.text)?;
    let checked = check::check(&[&args.out]);
    let status = if checked.iter().all(Checked::usable) { Status::Pass } else { Status::Input };
    output.settle(status);
    output.text(&terminal::check(&checked, output.screen()))?;
    if status != Status::Pass {
        output.text(NOT_WHOLE)?;
    }
    output.text(&terminal::questions(&imported.questions, output.screen()))?;
    Ok(status)
}
