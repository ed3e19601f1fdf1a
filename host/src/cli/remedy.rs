//! `copperwalk remedy SN`: what to do about a unit's faults. `copperwalk repair SN --remedy N` takes one of it.

use std::path::PathBuf;

use super::{
    Failure, Status,
    deliver::{Kind, Place},
    output::Output,
    records,
};
use crate::{
    proposed::Proposed,
    records::text,
    report::{html, json, remedies::Sheet, terminal},
};

#[derive(clap::Args)]
pub struct Args {
    /// Serial number.
    #[arg(value_name = "SN")]
    serial: String,
    /// Write a page with the wires drawn on the board as well.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// The board or fixture file whose photos stand behind the drawing.
    #[arg(long, value_name = "FILE", requires = "html")]
    photos: Option<PathBuf>,
    /// Replace the file of that name even if copperwalk did not make it. A record store is never replaced.
    #[arg(long, requires = "html")]
    force: bool,
    /// One JSON object on standard output, and nothing else there.
    #[arg(long)]
    json: bool,
}

pub fn run(args: Args, store: Option<PathBuf>, output: &mut Output) -> Result<Status, Failure> {
    let serial = text::serial(&args.serial)?;
    let records = records::open_to_read(store)?;
    let place =
        args.html.map(|path| Place::new(&path, Kind::Page, args.force, Some(records.path()))).transpose()?;
    let proposed = Proposed::from(&records, &serial)?;
    let sheet = Sheet::of(&proposed);
    if let Some(place) = place {
        let photos = args.photos.as_deref().map(html::Backdrop::beside).unwrap_or_default();
        let links = html::Links { photos: &|_| photos.clone(), ..html::Links::NONE };
        place.write(html::remedies(&sheet, &proposed.board, &links))?;
    }
    match args.json {
        true => output.text(&json::object(&sheet).map_err(|error| Failure::Output(error.into()))?)?,
        false => output.text(&terminal::remedies(&sheet, output.screen()))?,
    }
    Ok(Status::Pass)
}
